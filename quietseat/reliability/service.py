"""How hard the service is on a valve: severity and modifiers, from what is known of its location."""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.basis import Basis
from quietseat.model import Location
from quietseat.reliability.weibull import KINDS, Life, life
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

HARD = ("fouling", "polymerising", "corrosive", "hydrates", "viscous")  # one of them makes a service severe


@dataclass(frozen=True, slots=True)
class Setting:
    """What the life of a valve rests on. severity: mild, moderate, severe; words say why."""

    kind: str
    severity: str
    modifiers: tuple[str, ...]
    discharge: str | None
    words: str

    def life(self, mode: str) -> Life:
        """The Weibull life by table for a failure mode: open, leak."""
        return life(self.kind, mode, self.severity, self.modifiers, discharge=self.discharge)


def setting(location: Location, basis: Basis, *, chatters: bool = False) -> Setting:
    """Severity, modifiers and discharge of a location.

    Severe where the service is known to be fouling, polymerising, corrosive, viscous or to form hydrates; mild where all five
    are known to be absent; else moderate, the default of API RP 581 (the sorting is an estimate). Modifiers by the
    limits of the table api581_modifiers. chatters: the assessment found the valve unstable, beside reports in the
    history. Raises CalculationFailed where the kind of valve is not known.
    """
    kind = location.valve.kind
    if kind not in KINDS:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no Weibull life: kind of valve {kind or 'unknown'}")
    severity, why = _severity(location)
    modifiers = _modifiers(location, basis, chatters)
    words = f"{severity} service ({why})" + (f"; {', '.join(modifiers)}" if modifiers else "")
    return Setting(kind, severity, modifiers, location.outlet.discharge_to, words)


def _severity(location: Location) -> tuple[str, str]:
    known = {name: getattr(location.service, name) for name in HARD}
    hard = [name for name, said in known.items() if said]
    if hard:
        return "severe", ", ".join(hard)
    if all(said is False for said in known.values()):
        return "mild", "known to be clean"
    return "moderate", "default of API RP 581: nobody stated it all"


def _modifiers(location: Location, basis: Basis, chatters: bool) -> tuple[str, ...]:
    valve, vessel, events = location.valve, location.vessel, location.history.events
    limits = {row.condition: row for row in table("api581_modifiers")}
    out = []
    temperature = vessel.operating_temperature
    if temperature is not None:
        out += [name for name in ("warm", "hot")
                if limits[name].above < temperature and temperature <= (limits[name].up_to or temperature)]  # fmt: skip
    close = limits["close-to-set"]
    if valve.set_pressure is not None and vessel.operating_pressure is not None:
        set_gauge, operating = basis.gauge(valve.set_pressure), basis.gauge(vessel.operating_pressure)
        if operating > set_gauge * (close.pilot_limit if valve.kind == "pilot" else close.limit):
            out.append("close-to-set")
    if location.service.pulsating:
        out.append("pulsating")
    lifts = max((event.value or 0.0 for event in events if event.event == "lift"), default=0.0)
    if lifts > limits["many-lifts"].limit:
        out.append("many-lifts")
    if chatters or any(event.event == "chatter" for event in events):
        out.append("chatter")
    if valve.seat == "soft":
        out.append("soft-seat")
    return tuple(out)
