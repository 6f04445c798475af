"""Two cures in one visit: a soft seat or a bellows added to a remedy that leaves only what they cure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from quietseat import economics
from quietseat.model import Location, Origin
from quietseat.remedies import gate, guards
from quietseat.remedies.bench import Bench, Made, Option
from quietseat.remedies.gate import Gate
from quietseat.remedies.hardware import without

MOST = 3  # combinations assessed for one valve: the cheapest kinds of work first
BASES = (
    "restricted-lift", "smaller-orifice", "more-blowdown", "larger-orifice", "re-pipe-inlet", "smaller-valve",
    "staggered-pair", "reset-to-mawp", "higher-class", "soft-seat", "alloy-trim",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class AddOn:
    """Something that goes into the same body in the same visit."""

    word: str
    title: str
    cures: frozenset[str]
    gate: Gate
    fit_in: Callable[[Bench, Made], Made]


def combined(bench: Bench, options: list[Option]) -> list[Option]:
    """The options, where a few that leave only what an add-on cures are replaced by their combination with it."""
    failing = frozenset(bench.trouble.failing)
    parts = _parts(bench)
    if not parts:
        return options
    out, used = [], 0
    for option in sorted(options, key=_place):
        left = failing - option.touches
        helps = bool(left) and left != failing
        part = next((p for p in parts if helps and left <= p.cures and p.word != option.name), None)
        if part is None or used >= MOST or option.name not in BASES or option.blocked or option.gate.closed:
            out.append(option)
            continue
        used += 1
        out.append(_with(bench, option, part))
    return out


def _place(option: Option) -> int:
    return BASES.index(option.name) if option.name in BASES else len(BASES)


def _parts(bench: Bench) -> list[AddOn]:
    """The add-ons that can go into this valve."""
    trouble, valve = bench.trouble, bench.valve
    if valve.kind == "pilot":
        return []
    found = []
    soft = gate.soft_gate(trouble)
    if valve.seat != "soft" and not soft.closed and not guards.set_tolerance(trouble):
        found.append(AddOn("soft-seat", "a soft seat", frozenset(("leaks", "close-to-set")), soft, _soft))
    balanced = gate.bellows_gate(trouble)
    if valve.kind == "conventional" and not balanced.closed:
        found.append(AddOn("bellows", "a balanced bellows", frozenset(("back-pressure",)), balanced, _bellows))
    return found


def _with(bench: Bench, option: Option, part: AddOn) -> Option:
    def build() -> Made | str:
        made = option.build() if option.build is not None else "cannot be built"
        if isinstance(made, str):
            return made
        whole = part.fit_in(bench, made)
        return replace(whole, title=f"{whole.title or option.title}, with {part.title}")

    conditions = (*option.gate.suitability.conditions, *part.gate.suitability.conditions)
    suitability = replace(option.gate.suitability, verdict="with conditions", conditions=conditions)
    return replace(
        option, name=f"{option.name}-{part.word}", title=f"{option.title}, with {part.title}",
        touches=option.touches | part.cures, gate=Gate(suitability, (*option.gate.proofs, *part.gate.proofs)), build=build,
    )  # fmt: skip


def _soft(bench: Bench, made: Made) -> Made:
    location = _changed(made.location, "valve.seat", "soft", seat="soft")
    location = replace(location, history=without(location.history, ("leak",)))
    return replace(made, location=location, work=made.work + bench.tools.part("soft-seat-kit"))


def _bellows(bench: Bench, made: Made) -> Made:
    location = _changed(made.location, "valve.kind", "bellows", kind="bellows", cdtp=None)
    return replace(made, location=location, capital=made.capital + economics.maintenance("bellows", bench.basis))


def _changed(location: Location, field: str, text: str, **values: object) -> Location:
    origins = {**location.origins, field: Origin("proposed", "remedy", text, "added in the same visit")}
    return replace(location, valve=replace(location.valve, **values), origins=origins)  # type: ignore[arg-type]
