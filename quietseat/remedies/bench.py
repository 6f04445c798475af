"""The workbench on which remedies are built: what an option is, and the copies and texts they all need."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from quietseat import catalogue, units
from quietseat.economics import ZERO, prices
from quietseat.model import Fit, Location, Origin, Spread, Work
from quietseat.remedies import hardware
from quietseat.remedies.gate import OPEN, Gate
from quietseat.remedies.trouble import Trouble
from quietseat.remedies.work import Toolbox, toolbox

FLOW_CURES = frozenset(("oversized", "chatter", "cycling", "inlet-loss", "back-pressure"))


@dataclass(frozen=True, slots=True)
class Made:
    """A changed Location with what it buys.

    proofs hold back a plain yes; conditions are things to build in; yearly: money a year besides upkeep.
    """

    location: Location
    fit: Fit
    capital: Spread = ZERO
    work: tuple[Work, ...] = ()
    proofs: tuple[str, ...] = ()
    yearly: Spread = ZERO
    valves: int = 1
    title: str = ""  # where building it says more than the option could


@dataclass(frozen=True, slots=True)
class Option:
    """One remedy before it is built. blocked: a guard says it is out, in words."""

    name: str
    title: str
    touches: frozenset[str] = frozenset()
    blocked: str = ""
    gate: Gate = OPEN
    build: Callable[[], Made | str] | None = None  # a text says why it cannot be built after all
    question: str = ""


class Bench:
    """One troubled Location on the bench."""

    def __init__(self, trouble: Trouble) -> None:
        self.trouble = trouble
        self.basis = trouble.basis
        self.valve = trouble.valve
        self.tools: Toolbox = toolbox(prices(trouble.basis))
        self.stays = catalogue.same_body(trouble.valve)

    def touch(self, *codes: str) -> frozenset[str]:
        """Codes a remedy touches, with the injuries that heal when their root is cured."""
        plain = frozenset(codes)
        return plain | self.trouble.injuries(plain)

    def changed(
        self, fields: dict[str, str], rule: str, cures: frozenset[str], *, new_valve: bool = False,
        base: Location | None = None, **parts: Any,
    ) -> Location:  # fmt: skip
        """A copy with new parts, proposed origins, and the history healed of what this cures."""
        if new_valve:
            parts.setdefault("dynamics", hardware.new_dynamics())
        return replace(
            base or self.trouble.location,
            history=hardware.healed(self.trouble, cures, new_valve=new_valve),
            origins=hardware.proposed(self.trouble, rule, fields),
            **parts,
        )

    def further(self, made: Location, fields: dict[str, str], rule: str, cures: frozenset[str], **parts: Any) -> Location:
        """A changed Location changed once more in the same visit: origins and healed history of both."""
        origins = {**made.origins, **{field: Origin("proposed", "remedy", text, rule) for field, text in fields.items()}}
        return replace(made, history=hardware.healed(self.trouble, cures, history=made.history), origins=origins, **parts)

    def as_it_stands(self) -> Made:
        """Nothing changed and nothing bought yet."""
        return Made(self.trouble.location, self.stays)

    def overhaul(self) -> tuple[Work, ...]:
        """The valve itself goes to the shop where something on it is hurt."""
        hurt = {"leaks", "bellows", "stuck", "corrosion"} & self.trouble.failing.keys()
        return self.tools.shop(self.valve.inlet_size) if hurt else ()

    def size(self) -> str:
        """Inlet x outlet and class in words."""
        valve = self.valve
        inlet = f"{valve.inlet_size:g}" if valve.inlet_size is not None else "?"
        outlet = f"{valve.outlet_size:g}" if valve.outlet_size is not None else "?"
        return f"{inlet}x{outlet} class {valve.inlet_class or 'not known'}"

    def show(self, pressure: float) -> str:
        """A pressure in the Basis's unit."""
        return units.show(pressure, self.basis.pressure_unit, atmospheric=self.basis.atmospheric_pressure)


def once(*lists: tuple[Work, ...]) -> tuple[Work, ...]:
    """Work of several jobs done in one visit: what they share (take out, papers, shop) is done once."""
    return tuple(dict.fromkeys(item for items in lists for item in items))


def only(*words: str) -> tuple[str, ...]:
    """The texts that say something."""
    return tuple(word for word in words if word)
