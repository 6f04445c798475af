"""Changed records: every remedy is a copy of the Location with new hardware; the input is never written to."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from functools import lru_cache
from math import pi
from typing import Any

from quietseat.catalogue import Frame
from quietseat.formula import One, PaD, formula, m, m2
from quietseat.model import Dynamics, History, Line, Location, Origin, Valve
from quietseat.remedies.trouble import Trouble
from quietseat.tables import table

INCH = 0.0254
TUBE_OUTSIDE, TUBE_WALL = 0.375 * INCH, 0.035 * INCH  # sense tube of 47 mm2, the smallest usual one above 45 mm2
# What each kind of event says about the hardware; it does not outlive that hardware.
_EVENTS = {
    "leaks": ("leak",), "bellows": ("bellows",), "stuck": ("stuck", "pop"), "corrosion": ("corrosion", "pop"),
    "fouling": ("fouling",), "chatter": ("chatter",), "cycling": ("lift",),
}  # fmt: skip
_NEW_DYNAMICS = Dynamics()


@formula("built-up back pressure goes with the flow squared (estimate)")
def scaled_built_up(built_up: PaD, area_ratio: One) -> PaD:
    """Stated built-up back pressure at another flow area."""
    return built_up * area_ratio**2


@formula("geometry")
def tube_bore(outside: m, wall: m) -> m:
    """Bore of a tube."""
    return outside - 2 * wall


@formula("geometry")
def bore_for(area: m2) -> m:
    """Bore of a given area."""
    return (4 * area / pi) ** 0.5  # type: ignore[no-any-return]


def proposed(trouble: Trouble, rule: str, fields: dict[str, str]) -> dict[str, Origin]:
    """Origins of a changed Location: the changed fields are proposals of this remedy."""
    origins = dict(trouble.location.origins)
    for field, text in fields.items():
        origins[field] = Origin("proposed", "remedy", text, rule)
    return origins


def healed(trouble: Trouble, codes: frozenset[str], *, new_valve: bool = False, history: History | None = None) -> History:
    """The history without what the remedy does away with: old findings do not follow new hardware.

    Events behind a finding the remedy does not touch stay, so that it is not cleared by a fresh body alone. history: what an earlier
    change of the same visit left of it.
    """
    gone = {kind for code in codes for kind in _EVENTS.get(code, ())}
    if new_valve:
        kept = {kind for code in trouble.failing.keys() - codes for kind in _EVENTS.get(code, ())}
        gone |= {kind for kinds in _EVENTS.values() for kind in kinds if kind != "fouling"} - kept
    return without(history or trouble.location.history, gone)


def without(history: History, kinds: Collection[str]) -> History:
    """The history without these kinds of events."""
    events = tuple(event for event in history.events if event.event not in kinds)
    return history if len(events) == len(history.events) else replace(history, events=events)


def spring(valve: Valve, letter: str, frame: Frame | None, kind: str) -> Valve:
    """A spring valve of another letter or kind; areas and stamps of the old one do not carry over."""
    changes: dict[str, Any] = {
        "kind": kind, "orifice": letter, "body_pattern": "spring", "pilot_action": None, "pilot_sense": None,
        "pilot_bleed": None, "backflow_preventer": None, **_UNSTAMPED,
    }  # fmt: skip
    if frame is not None:
        changes |= {
            "inlet_size": frame.inlet, "outlet_size": frame.outlet, "inlet_height": frame.inlet_height,
            "outlet_reach": frame.outlet_reach, "outlet_class": frame.outlet_class or valve.outlet_class,
        }  # fmt: skip
    return replace(valve, **changes)


def pilot(
    valve: Valve,
    action: str,
    sense: str,
    bleed: str,
    pattern: str,
    frame: Frame | None,
    blowdown: float,
    backflow: bool,
) -> Valve:
    """A pilot valve of the same letter and sizes, soft seated, in a body of either pattern."""
    changes: dict[str, Any] = {
        "kind": "pilot", "pilot_action": action, "pilot_sense": sense, "pilot_bleed": bleed, "body_pattern": pattern,
        "seat": "soft", "blowdown": blowdown, "bonnet": None, "liquid_trim": None, "backflow_preventer": backflow,
        **_UNSTAMPED,
    }  # fmt: skip
    if valve.orifice is None:
        changes |= {"effective_area": valve.effective_area, "effective_coefficient": valve.effective_coefficient}
    if frame is not None:
        changes |= {"inlet_height": frame.inlet_height, "outlet_reach": frame.outlet_reach}
    return replace(valve, **changes)


_UNSTAMPED: dict[str, Any] = {
    "effective_area": None, "effective_coefficient": None, "actual_area": None, "rated_coefficient": None,
    "nameplate_flow": None, "cdtp": None, "lift_restriction": None, "serial": None, "spring_range": None,
}  # fmt: skip


def pilot_dynamics(sense: str, sense_area: float, blowdown: float) -> Dynamics:
    """Moving parts of a proposed pilot: unknown, but its blowdown and sense tube are ordered."""
    if sense != "remote":
        return Dynamics(pilot_blowdown=blowdown)
    bore = max(tube_bore(TUBE_OUTSIDE, TUBE_WALL), bore_for(sense_area))
    return Dynamics(pilot_blowdown=blowdown, sense_bore=bore)


def new_dynamics() -> Dynamics:
    """Moving parts of a valve nobody has seen yet."""
    return _NEW_DYNAMICS


def restated(location: Location, area_ratio: float) -> Location:
    """The Location with stated built-up back pressures carried over to another flow area."""
    if not any(case.built_up for case in location.cases):
        return location
    cases = (replace(case, built_up=scaled_built_up(case.built_up, area_ratio)) if case.built_up else case for case in location.cases)
    return replace(location, cases=tuple(cases))


def larger(line: Line, steps: int = 1) -> Line | None:
    """The line one pipe size larger all along, with a full-bore block valve; None where its size is not known."""
    if line.segments or line.size is None:
        return None
    size = next_size(line.size, steps)
    if size is None:
        return None
    block = "gate" if line.block_valve in ("reduced-gate", "reduced-ball", "plug", "three-way") else line.block_valve
    fittings = tuple(replace(fitting, size=None) for fitting in line.fittings)
    return replace(
        line, size=size, diameter=None, loss_coefficient=line.loss_coefficient, block_valve=block, fittings=fittings
    )


def nearer(line: Line, length: float) -> Line:
    """The line cut to this length, m: no bend and no branch is left in it."""
    fittings = tuple(fitting for fitting in line.fittings if not fitting.kind.startswith(("elbow", "tee")))
    height = None if line.height is None else max(-length, min(line.height, length))
    return replace(line, length=length, height=height, fittings=fittings)


_PREFERRED = (0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0, 24.0)


@lru_cache(maxsize=64)
def next_size(size: float, steps: int = 1) -> float | None:
    """The next pipe size that plants stock (NPS), or None above the largest."""
    known = {row["nps"] for row in table("pipe_sizes")}
    larger_sizes = [value for value in _PREFERRED if value > size + 1e-9 and value in known]
    return larger_sizes[steps - 1] if len(larger_sizes) >= steps else None
