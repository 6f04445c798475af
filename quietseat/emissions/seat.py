"""Leaks at the seat: what the tightness test allows, and a gap that passes gas or liquid."""

from __future__ import annotations

from math import sqrt

from quietseat.emissions.formulas import bubble_flow, gap_leak, liquid_gap_flux, standard_density, volume_to_mass
from quietseat.emissions.records import LeakFacts, LeakRate
from quietseat.formula import R, Sheet
from quietseat.sizing import gas as gas_flow
from quietseat.sizing.constants import HOUR, INCH
from quietseat.status import CalculationFailed, Status
from quietseat.tables import sources, table

STANDARD_TEMPERATURE = 288.705555555556  # K, 60 degF: the standard cubic foot of the leak factors
STANDARD_PRESSURE = 101325.0  # Pa
SMALL_ORIFICE = 0.307 * INCH**2  # m2, border of the two columns of API 527 Table 1
GAP = 1e-7  # m2, the worked seat gap of 0.1 mm2 (estimate)
GAP_LOW, GAP_HIGH = 0.1, 3.0  # spread of an unmeasured gap (estimate)
QUIET = Sheet(record=False)


def density(facts: LeakFacts, sheet: Sheet) -> float:
    """Density of the leaking gas at the standard state. Raises CalculationFailed without a molar mass."""
    if facts.molar_mass is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "molar mass unknown: a volume leak cannot become a mass")
    return sheet.apply(
        "rho_std", standard_density, pressure=STANDARD_PRESSURE, molar_mass=facts.molar_mass,
        temperature=STANDARD_TEMPERATURE,
    )  # fmt: skip


def bubbles_to_mass(
    bubbles_per_minute: float, molar_mass: float, temperature: float = STANDARD_TEMPERATURE, sheet: Sheet = QUIET
) -> float:
    """Mass leak (kg/s) of bubbles counted at the outlet under atmospheric pressure.

    bubbles_per_minute: 0 or more. molar_mass kg/mol and temperature K of the gas in the bubbles. Raises
    CalculationFailed for a negative count. Source: API 527, volume of one bubble from Table 1 (computed).
    """
    if bubbles_per_minute < 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{bubbles_per_minute:g} bubbles a minute: cannot be negative")
    bubble = float(table("seat_tests").row(item="bubble-volume")["value"]) * 1e-6
    volume = sheet.apply("V_leak", bubble_flow, bubbles=bubbles_per_minute / 60, bubble=bubble)
    rho = sheet.apply("rho", standard_density, pressure=STANDARD_PRESSURE, molar_mass=molar_mass, temperature=temperature)
    return sheet.apply("W_leak", volume_to_mass, volume_flow=volume, density=rho)


def allowance(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """API 527: the most a valve may leak that has just passed its test; none is the least."""
    words = "no more than the test allows, as long as the valve stays in specification"
    year = sources()["api_527"].year
    if facts.phase == "liquid":
        return _allowance_liquid(facts, words, year, sheet)
    if facts.seat == "soft":
        if facts.molar_mass is None:
            raise CalculationFailed(Status.NOT_COMPUTED, "molar mass unknown: a volume leak cannot become a mass")
        # one bubble in the shortest hold of a minute stays unseen
        high = bubbles_to_mass(1.0, facts.molar_mass, sheet=sheet)
        return LeakRate(0.0, 0.0, high, "api-527", "API 527: soft seat, no bubble in the hold time", "memory-hi", words, year)
    if facts.set_pressure is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "set pressure unknown: the allowance of a metal seat depends on it")
    held = table("api527")
    # the larger allowance where the orifice is not known
    large = facts.effective_area is not None and facts.effective_area > SMALL_ORIFICE
    gauge = facts.set_pressure - facts.atmospheric
    lowest, highest = held.rows[0]["set_pressure"], held.rows[-1]["set_pressure"]
    volume = held.at(min(max(gauge, lowest), highest), "large_flow" if large else "small_flow")
    sheet.given("V_leak", "allowance", volume, "m**3/s", "API 527 Table 1 (memory-hi)")
    most = sheet.apply("W_leak", volume_to_mass, volume_flow=volume, density=density(facts, sheet))
    where = "" if lowest <= gauge <= highest else ", end of the table"
    return LeakRate(0.0, most, most, "api-527", f"API 527 Table 1, metal seat{where}", "memory-hi", words, year)


def _allowance_liquid(facts: LeakFacts, words: str, year: int | None, sheet: Sheet) -> LeakRate:
    if facts.seat == "soft":
        return LeakRate(0.0, 0.0, 0.0, "api-527", "API 527: soft seat, water, none", "memory-hi", words, year)
    if facts.density is None or facts.inlet_size is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "density or inlet size unknown: no liquid allowance")
    row = table("seat_tests").row(item="water")
    volume = float(row["value"]) * 1e-6 / HOUR * max(facts.inlet_size, 1.0)
    sheet.given("V_leak", "allowance, water", volume, "m**3/s", f"API 527 ({row['provenance']})")
    most = sheet.apply("W_leak", volume_to_mass, volume_flow=volume, density=facts.density)
    return LeakRate(0.0, most, most, "api-527", "API 527: metal seat, water, per inch of inlet", "memory-hi", words, year)


def gap(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Flow through a gap at the seat at operating pressure; the gap is a guess unless measured."""
    flux, how = _flux(facts, sheet)
    mid = sheet.apply("W_leak", gap_leak, flux=flux, gap=facts.gap if facts.gap is not None else GAP)
    if facts.gap is not None:
        return LeakRate(mid, mid, mid, "gap", f"{how} gap of the stated area", "computed", "stated seat gap")
    return LeakRate(
        GAP_LOW * mid, mid, GAP_HIGH * mid, "gap", f"{how} seat gap of 0.1 mm2, not measured", "estimate",
        "a guess until the leak is measured",
    )  # fmt: skip


def _flux(facts: LeakFacts, sheet: Sheet) -> tuple[float, str]:
    """Mass flux through the gap and how it flows: choked, unchoked or liquid."""
    pressure = facts.operating_pressure
    if pressure is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "operating pressure unknown: no flow through a gap")
    back = facts.back_pressure if facts.back_pressure is not None else facts.atmospheric
    if pressure <= back:
        raise CalculationFailed(Status.OUT_OF_RANGE, "operating pressure is not above the pressure behind the seat: nothing leaks out")
    if facts.phase == "liquid":
        if facts.density is None:
            raise CalculationFailed(Status.NOT_COMPUTED, "density unknown: no liquid flow through a gap")
        return sheet.apply("G", liquid_gap_flux, density=facts.density, drop=pressure - back), "liquid"
    if facts.k is None or facts.molar_mass is None or facts.temperature is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "the gap basis needs a gas with molar mass, k and temperature")
    k, M, T, Z = max(facts.k, 1.001), facts.molar_mass, facts.temperature, facts.Z or 1.0
    sheet.given("Z", "compressibility factor", Z, "", "stated, or of the property library" if facts.Z else "not known: ideal gas")
    if back <= pressure * gas_flow.critical_ratio(k=k):
        C = sheet.apply("C", gas_flow.coefficient, c=R**-0.5, k=k)
        return sheet.apply("G", gas_flow.critical_flux, C=C, P1=pressure, M=M, T=T, Z=Z), "choked"
    F2 = sheet.apply("F2", gas_flow.subcritical_coefficient, k=k, r=back / pressure)
    flux = sheet.apply("G", gas_flow.subcritical_flux, c_2=sqrt(2 / R), F2=F2, M=M, P1=pressure, P2=back, T=T, Z=Z)
    return flux, "unchoked"
