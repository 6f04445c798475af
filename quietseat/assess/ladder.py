"""The pressure ladder: operating maximum, alarm, trip, reseat, simmer, set, MAWP, relieving."""

from __future__ import annotations

from quietseat.assess.filler import assumed
from quietseat.basis import Basis
from quietseat.formula import One, Pa, Sheet, formula
from quietseat.model import CaseResult, Location, Rung


@formula("definition")
def reseat(p_set: Pa, blowdown: One, p_atm: Pa) -> Pa:
    """Reseat pressure."""
    return p_atm + (1 - blowdown) * (p_set - p_atm)


@formula("definition")
def simmer(p_set: Pa, share: One, p_atm: Pa) -> Pa:
    """Pressure at which the seat starts to emit."""
    return p_atm + share * (p_set - p_atm)


def ladder(location: Location, cases: tuple[CaseResult, ...], basis: Basis, sheet: Sheet) -> tuple[Rung, ...]:
    """The rungs that are known, lowest first."""
    valve, vessel = location.valve, location.vessel
    set_pressure = valve.set_pressure
    if set_pressure is None:
        return ()
    sheet.section("Pressure ladder")
    rungs: list[Rung] = []
    for name, pressure, field in (
        ("operating maximum", vessel.operating_pressure, "vessel.operating_pressure"),
        ("alarm", vessel.alarm_pressure, "vessel.alarm_pressure"),
        ("trip", vessel.trip_pressure, "vessel.trip_pressure"),
        ("set", set_pressure, "valve.set_pressure"),
        ("MAWP", vessel.mawp, "vessel.mawp"),
    ):
        if pressure is not None:
            rungs.append(Rung(name, pressure, _rests(location, field)))
            sheet.given(name, f"pressure ladder: {name}", pressure, "Pa(a)", rungs[-1].rests_on)
    atm = basis.atmospheric_pressure
    if valve.blowdown is not None:
        pressure = sheet.apply("p_reseat", reseat, p_set=set_pressure, blowdown=valve.blowdown, p_atm=atm)
        rungs.append(Rung("reseat", pressure, f"blowdown, {_rests(location, 'valve.blowdown')}"))
    pressure = sheet.apply("p_simmer", simmer, p_set=set_pressure, share=_emits(location, basis), p_atm=atm)
    rungs.append(Rung("simmer", pressure, "estimate"))
    rungs += [
        Rung(f"relieving, {case.name}", case.relieving_pressure, "accumulation x MAWP")
        for case in cases
        if case.relieving_pressure is not None
    ]
    return tuple(sorted(rungs, key=lambda rung: (rung.pressure, rung.name)))


def _rests(location: Location, field: str) -> str:
    return f"default: {location.origins[field].text}" if assumed(location, field) else "stated"


def _emits(location: Location, basis: Basis) -> float:
    """Share of set at which the valve starts to emit."""
    if location.valve.kind == "pilot":
        return basis.simmer_pilot
    return basis.simmer_soft if location.valve.seat == "soft" else basis.simmer_metal
