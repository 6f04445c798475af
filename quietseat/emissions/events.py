"""Emissions beside the shut seat: simmer near set, lifts, the bleed of a pilot, and its tube and fittings."""

from __future__ import annotations

from dataclasses import dataclass, replace

from quietseat.dynamics.closed import bore_area
from quietseat.emissions.formulas import lift_mass, mean_rate, opened_share, part_of, reduction, several, surplus_mass
from quietseat.emissions.records import LeakFacts, base_row
from quietseat.emissions.seat import QUIET, gap
from quietseat.formula import Sheet
from quietseat.model import Spread
from quietseat.sizing.constants import HOUR
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table, weakest

YEAR = 8760 * HOUR
FITTINGS = (4, 7, 10)  # connectors of a pilot, its tube and its filter (estimate, 4 to 10)


@dataclass(frozen=True, slots=True)
class Part:
    """An emission beside the shut seat, kg/s averaged over the year."""

    name: str  # simmer, lifts, pilot-bleed, pilot-fittings
    low: float
    mid: float
    high: float
    words: str
    confidence: str


@dataclass(frozen=True, slots=True)
class Lifts:
    """What is known of the lifts of a valve. SI; None = not known."""

    a_year: float
    set_gauge: float
    blowdown: float  # fraction of gauge set
    volume: float | None = None  # m3 of the vessel
    sound_speed: float | None = None
    valve_flow: float | None = None  # kg/s, full
    inflow: float | None = None  # kg/s that goes on coming
    modulating: bool = False
    simulated: tuple[Spread, str] | None = None  # kg a lift by simulation, and the words for it


@dataclass(frozen=True, slots=True)
class LiftMass:
    """Mass of one lift, kg."""

    low: float
    mid: float
    high: float
    by: str  # simulation, cycle model
    words: str


def simmer(facts: LeakFacts, start: float, sheet: Sheet = QUIET) -> Part | None:
    """Simmer of a seat that is operated close to set; None below the start.

    start: pressure over set (gauge) at which the seat begins to simmer. Between it and set the seat opens towards the
    seat gap, in a straight line (estimate); the low end is none, since the maximum need not last.
    """
    ratio = _ratio(facts)
    if ratio is None or ratio < start:
        return None
    share = sheet.apply("x_simmer", opened_share, ratio=min(ratio, 1.0), start=start)
    whole = gap(replace(facts, gap=None), sheet)
    mid, high = (sheet.apply("W_simmer", part_of, rate=rate, share=share) for rate in (whole.mid, whole.high))
    words = f"operated at {100 * ratio:.0f} % of set; the seat simmers from {100 * start:.0f} %"
    return Part("simmer", 0.0, mid, high, words, "estimate")


def bleed(facts: LeakFacts, kind: str | None, sheet: Sheet = QUIET) -> Part | None:
    """What a pilot lets out between the end of its null zone and set; None where it lets out nothing.

    kind: bleeding, non-bleeding (nothing until set), None = not stated (low end nothing). That one kind bleeds and the
    other does not is common practice without a source; how much is a port of 0.5 to 2 mm, open in a straight line
    (estimate).
    """
    ratio = _ratio(facts)
    start = float(table("pilot_limits").row(item="null-zone")["low"])
    if kind == "non-bleeding" or ratio is None or ratio <= start:
        return None
    share = sheet.apply("x_bleed", opened_share, ratio=min(ratio, 1.0), start=start)
    port = table("pilot_limits").row(item="port")
    bores = (float(port["low"]), 1.0, float(port["high"]))  # mm; the middle is their geometric mean
    low, mid, high = (
        sheet.apply("W_bleed", part_of, rate=gap(replace(facts, gap=bore_area(bore=bore * 1e-3)), sheet).mid, share=share)
        for bore in bores
    )
    said = "the pilot bleeds" if kind == "bleeding" else "the pilot may bleed (kind not stated)"
    words = f"{said} between {100 * start:.0f} % and 100 % of set (common practice, no source); operated at {100 * ratio:.0f} %"
    return Part("pilot-bleed", low if kind == "bleeding" else 0.0, mid, high, words, "common practice")


def fittings(sheet: Sheet = QUIET) -> Part:
    """Leakage of the pilot, its tube and its fittings: what stays when the seat is tight, kg/s.

    4 to 10 connectors (estimate), each with the factor of a connector: a tight one, the average of oil and gas
    production, the average of the chemical industry (US EPA protocol).
    """
    rows = [base_row(f"epa-{name}") for name in ("petroleum-connector-zero", "oilgas-connector-gas", "socmi-connector")]
    low, mid, high = (
        sheet.apply("W_fit", several, count=count, rate=float(row["rate_kg_h"]) / HOUR)
        for count, row in zip(FITTINGS, rows, strict=True)
    )
    words = f"{FITTINGS[0]} to {FITTINGS[-1]} connectors of the pilot and its tube, EPA-453/R-95-017"
    return Part("pilot-fittings", low, mid, high, words, weakest(("estimate", *(str(row["provenance"]) for row in rows))))


def credit(before: float, residual: float) -> float:
    """Share of a leak a remedy takes away, never 1 where something stays and never below 0.

    before, residual: kg/s. Raises CalculationFailed where there was no leak.
    """
    if before <= 0:
        raise CalculationFailed(Status.NOT_COMPUTED, "no leak before: nothing to reduce")
    return max(0.0, reduction(before=before, residual=residual))


def lift_of(known: Lifts, sheet: Sheet = QUIET) -> LiftMass:
    """Mass of one lift. Raises CalculationFailed where it cannot be had.

    By simulation where the valve was marched in time, else by the cycle model: the vessel relieved from set to reseat. The
    low end of the model is the surplus of the vessel alone; a modulating pilot lets go no more than that.
    """
    if known.simulated is not None:
        mass, words = known.simulated
        return LiftMass(mass.low, mass.mid, mass.high, "simulation", words)
    if known.volume is None or known.sound_speed is None:
        missing = "vessel volume" if known.volume is None else "sound speed"
        raise CalculationFailed(Status.NOT_COMPUTED, f"{missing} unknown, the mass of a lift cannot be had")
    given = {"volume": known.volume, "blowdown": known.blowdown, "set_gauge": known.set_gauge, "sound_speed": known.sound_speed}
    least = sheet.apply("m_lift", surplus_mass, **given)
    mid, words = least, "surplus of the vessel above reseat; a modulating pilot passes no more"
    if not known.modulating:
        words = "surplus of the vessel above reseat; what flows in meanwhile is not known"
        if known.valve_flow is not None and known.inflow is not None and 0 <= known.inflow < known.valve_flow:
            mid = sheet.apply("m_lift", lift_mass, **given, valve_flow=known.valve_flow, inflow=known.inflow)
            words = "vessel relieved from set to reseat while the required flow goes on"
    return LiftMass(least, mid, mid, "cycle model", f"{mid:.3g} kg a lift by the cycle model: {words}")


def lifts(known: Lifts, sheet: Sheet = QUIET, mass: LiftMass | None = None) -> Part:
    """What lifts let go, averaged over a year. mass: of one lift; None = by `lift_of`, which raises where it cannot be had."""
    try:
        mass = mass or lift_of(known, sheet)
    except CalculationFailed as failed:
        raise CalculationFailed(failed.status, f"{known.a_year:g} lifts a year: {failed.reason}") from None
    low, mid, high = (sheet.apply("W_lift", mean_rate, mass=one, times=known.a_year, year=YEAR) for one in (mass.low, mass.mid, mass.high))
    return Part("lifts", low, mid, high, f"{known.a_year:g} lifts a year, {mass.words}", "computed")


def _ratio(facts: LeakFacts) -> float | None:
    """Operating over set, gauge."""
    if facts.operating_pressure is None or facts.set_pressure is None or facts.set_pressure <= facts.atmospheric:
        return None
    return (facts.operating_pressure - facts.atmospheric) / (facts.set_pressure - facts.atmospheric)
