"""Leakage by a stated basis, where it goes, and what it comes to in product and CO2 equivalent.

The bases differ by two to four orders of magnitude; none is the truth about one valve, so each answer is a
range with the name of its basis. What leaks into a flare or closed system is not a fugitive emission: no
survey factor applies, the product is lost and burned.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, Any

from quietseat.formula import K, Money, One, Pa, R, Sheet, formula, kg, kg_m2s, kg_m3, kg_mol, kg_s, m2, m3_s
from quietseat.sizing import gas as gas_flow
from quietseat.sizing.constants import FOOT, HOUR, INCH
from quietseat.status import CalculationFailed, Status
from quietseat.tables import NotInTable, table, weakest

BASES = ("history", "api-527", "population", "leaker", "correlation", "gap")
STANDARD_TEMPERATURE = 288.705555555556  # K, 60 degF: the standard cubic foot of the leak factors
STANDARD_PRESSURE = 101325.0  # Pa
SMALL_ORIFICE = 0.307 * INCH**2  # m2, border of the two columns of API 527 Table 1
GAP = 1e-7  # m2, the worked seat gap of 0.1 mm2 (estimate)
GAP_LOW, GAP_HIGH = 0.1, 3.0  # spread of an unmeasured gap (estimate)
SLIP = 0.02  # share of the flared gas that is not burned (memory-md)
_QUIET = Sheet(record=False)


@formula("ideal gas")
def standard_density(pressure: Pa, molar_mass: kg_mol, temperature: K) -> kg_m3:
    """Density of the gas at the standard state of the leak factor."""
    return pressure * molar_mass / (R * temperature)


@formula("definition")
def volume_to_mass(volume_flow: m3_s, density: kg_m3) -> kg_s:
    """Mass leak of a volume leak."""
    return volume_flow * density


@formula("US EPA protocol 453/R-95-017, leak rate from a screening value (memory-md)", empirical=True)
def correlation(coefficient: One, ppm: One, exponent: One) -> kg_s:
    """Leak rate from a screening value."""
    return coefficient / 3600 * ppm**exponent  # type: ignore[no-any-return]


@formula("choked gap at the seat, flow coefficient 1 (computed)")
def gap_leak(flux: kg_m2s, gap: m2) -> kg_s:
    """Leak through a gap at the seat."""
    return flux * gap


@formula("definition of CO2 equivalent")
def released(product: kg, methane_fraction: One, potential: One) -> kg:
    """CO2 equivalent of product released to atmosphere."""
    return product * methane_fraction * potential


@formula("carbon burned to CO2, the slip released (memory-md)")
def flared(product: kg, carbon_fraction: One, slip: One, methane_fraction: One, potential: One) -> kg:
    """CO2 equivalent of product sent to a flare."""
    return product * carbon_fraction * (44 / 12) * (1 - slip) + slip * product * methane_fraction * potential


@formula("definition")
def price_of(mass: kg, price: Annotated[float, "money/kg"]) -> Money:
    """Money for a mass at a price."""
    return mass * price


@dataclass(frozen=True, slots=True)
class LeakFacts:
    """What is known of a valve that bears on its leakage. SI; pressures absolute Pa; None = not known."""

    set_pressure: float
    atmospheric: float
    operating_pressure: float | None = None
    effective_area: float | None = None  # m2; decides the column of API 527
    inlet_size: float | None = None  # NPS, liquids
    seat: str = "metal"  # metal, soft
    phase: str = "gas"
    molar_mass: float | None = None
    k: float | None = None
    temperature: float | None = None
    density: float | None = None  # liquids
    discharge_to: str | None = None  # atmosphere, flare, closed, process
    sector: str | None = None  # oil-gas, refinery, chemical
    compressor: bool = False
    found_leaking: bool = False
    ppm: float | None = None  # screening value above background
    gap: float | None = None  # m2


@dataclass(frozen=True, slots=True)
class LeakRate:
    """Leakage in kg/s: low, middle, high; the basis used and where it stands."""

    low: float
    mid: float
    high: float
    basis: str
    source: str
    confidence: str
    words: str


@dataclass(frozen=True, slots=True)
class Route:
    """Where a leak goes: fugitive (survey factors apply), burned, or returned to the process."""

    fugitive: bool
    burned: bool
    returned: bool
    words: str


@dataclass(frozen=True, slots=True)
class Footprint:
    """What a leak comes to over its hours; money 0 where no price was stated."""

    product: float  # kg lost
    co2e: float  # kg
    product_cost: float
    carbon_cost: float
    potential: float
    confidence: str
    words: str


def route(discharge_to: str | None) -> Route:
    """What happens to a leak by where the valve discharges; not stated counts as atmosphere."""
    if discharge_to in ("flare", "closed"):
        return Route(False, True, False, "leaks into the flare system: lost and burned, not fugitive")
    if discharge_to == "process":
        return Route(False, False, True, "leaks back into the process: not lost, not emitted")
    stated = "to atmosphere" if discharge_to == "atmosphere" else "to atmosphere (discharge not stated)"
    return Route(True, False, False, f"leaks {stated}: fugitive")


def leak_rate(basis_name: str, facts: LeakFacts, sheet: Sheet = _QUIET) -> LeakRate:
    """Leakage of one valve by a stated basis, kg/s.

    basis_name: api-527 (the allowance of a valve that passes its test), population (average of all valves),
    leaker (found leaking), correlation (from ppm), gap (choked gap at the seat), or history: correlation with a
    reading, leaker (or gap, where the discharge is closed) if found leaking, else api-527. Raises
    CalculationFailed for an unknown basis, a fact that is missing, and a survey factor on a closed discharge.
    """
    if basis_name not in BASES:
        raise CalculationFailed(Status.NOT_COMPUTED, f"leak basis {basis_name!r} is not one of {', '.join(BASES)}")
    chosen = basis_name
    fugitive = route(facts.discharge_to).fugitive
    if basis_name == "history":
        chosen = "api-527"
        if facts.ppm is not None and fugitive:
            chosen = "correlation"
        elif facts.found_leaking:
            chosen = "leaker" if fugitive else "gap"
        if sheet.record:
            sheet.note("basis", "leak basis by the history", chosen, "this tool's rule (estimate)")
    if chosen in ("population", "leaker", "correlation") and not fugitive:
        raise CalculationFailed(
            Status.NOT_COMPUTED,
            f"the {chosen} basis counts leaks to atmosphere; this valve discharges to {facts.discharge_to}: "
            "use api-527 or gap",
        )
    rule = {
        "api-527": _allowance, "population": _population, "leaker": _leaker, "correlation": _correlation, "gap": _gap
    }[chosen]  # fmt: skip
    return rule(facts, sheet)


@lru_cache(maxsize=64)
def _row(name: str) -> Any:
    try:
        return table("leak_bases").row(basis=name)
    except NotInTable as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no leak basis: {error}") from None


def _density(facts: LeakFacts, sheet: Sheet) -> float:
    if facts.molar_mass is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "molar mass unknown: a volume leak cannot become a mass")
    return sheet.apply(
        "rho_std", standard_density, pressure=STANDARD_PRESSURE, molar_mass=facts.molar_mass,
        temperature=STANDARD_TEMPERATURE,
    )  # fmt: skip


def _rate(name: str, facts: LeakFacts, sheet: Sheet) -> float:
    """One factor of the table in kg/s."""
    row = _row(name)
    cite = f"{row['title']} ({row['provenance']})"
    if row["rate_kg_h"] is not None:
        return sheet.given("W_leak", "leak factor", float(row["rate_kg_h"]) / HOUR, "kg/s", cite)
    volume = sheet.given("V_leak", "leak factor", float(row["rate_scf_h"]) * FOOT**3 / HOUR, "m**3/s", cite)
    return sheet.apply("W_leak", volume_to_mass, volume_flow=volume, density=_density(facts, sheet))


def _spread(names: tuple[str, str, str], basis: str, words: str, facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Low, middle and high from three factors of the table; repeated names are one figure."""
    values = {name: _rate(name, facts, sheet) for name in dict.fromkeys(names)}
    rows = [_row(name) for name in values]
    low, mid, high = (values[name] for name in names)
    titles = "; ".join(f"{row['title']} ({row['source']} {row['place']})".strip() for row in rows)
    return LeakRate(
        min(low, mid),
        mid,
        max(mid, high),
        basis,
        titles,
        weakest(str(row["provenance"]) for row in rows),
        words,
    )


def _allowance(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """API 527: the most a valve may leak that has just passed its test; none is the least."""
    words = "no more than the test allows, as long as the valve stays in specification"
    if facts.phase == "liquid":
        return _allowance_liquid(facts, words, sheet)
    if facts.seat == "soft":
        bubble = table("seat_tests").row(item="bubble-volume")
        most = float(bubble["value"]) * 1e-6 / 60  # one bubble in the shortest hold of a minute stays unseen
        high = sheet.apply("W_leak", volume_to_mass, volume_flow=most, density=_density(facts, sheet))
        return LeakRate(0.0, 0.0, high, "api-527", "API 527: soft seat, no bubble in the hold time", "memory-hi", words)
    held = table("api527")
    column = (
        "small_flow" if facts.effective_area is not None and facts.effective_area <= SMALL_ORIFICE else "large_flow"
    )
    if facts.effective_area is None:
        column = "small_flow"  # the larger allowance where the orifice is not known
    gauge = facts.set_pressure - facts.atmospheric
    lowest, highest = held.rows[0]["set_pressure"], held.rows[-1]["set_pressure"]
    volume = held.at(min(max(gauge, lowest), highest), column)
    sheet.given("V_leak", "allowance", volume, "m**3/s", "API 527 Table 1 (memory-hi)")
    most = sheet.apply("W_leak", volume_to_mass, volume_flow=volume, density=_density(facts, sheet))
    where = "" if lowest <= gauge <= highest else ", end of the table"
    return LeakRate(0.0, most, most, "api-527", f"API 527 Table 1, metal seat{where}", "memory-hi", words)


def _allowance_liquid(facts: LeakFacts, words: str, sheet: Sheet) -> LeakRate:
    if facts.seat == "soft":
        return LeakRate(0.0, 0.0, 0.0, "api-527", "API 527: soft seat, water, none", "memory-hi", words)
    if facts.density is None or facts.inlet_size is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "density or inlet size unknown: no liquid allowance")
    row = table("seat_tests").row(item="water")
    volume = float(row["value"]) * 1e-6 / HOUR * max(facts.inlet_size, 1.0)
    sheet.given("V_leak", "allowance, water", volume, "m**3/s", f"API 527 ({row['provenance']})")
    most = sheet.apply("W_leak", volume_to_mass, volume_flow=volume, density=facts.density)
    return LeakRate(0.0, most, most, "api-527", "API 527: metal seat, water, per inch of inlet", "memory-hi", words)


def _population(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Average of all valves, leaking or not; says little about one valve."""
    names = {
        "refinery": ("epa-refinery-average",) * 3,
        "chemical": ("epa-socmi-average",) * 3,
        "oil-gas": ("subpart-w-population-east", "epa-oilgas-average-gas", "epa-oilgas-average-gas"),
    }.get(facts.sector or "", ("subpart-w-population-east", "epa-oilgas-average-gas", "epa-refinery-average"))
    return _spread((names[0], names[1], names[2]), "population",
                   "average over all valves of such plants, most of which do not leak", facts, sheet)  # fmt: skip


def _leaker(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Average of valves found leaking."""
    if facts.sector in ("refinery", "chemical"):
        names = ("epa-oilgas-leaking", "epa-screening-leaking", "epa-screening-leaking")
    elif facts.compressor:
        names = ("subpart-w-leaker-compressor-m21", "subpart-w-leaker-compressor", "subpart-w-2024-leaker")
    else:
        names = ("subpart-w-leaker-other-m21", "subpart-w-leaker-other", "subpart-w-leaker-compressor")
    return _spread(names, "leaker", "average of valves found leaking: only if it really leaks", facts, sheet)


def _correlation(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Leak rate from a screening value by two published correlations; pegged and zero readings by their factors."""
    ppm = facts.ppm
    if ppm is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "no leak reading in ppm: the correlation needs one")
    if ppm < 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "leak reading is negative")
    first, second = ("socmi", "petroleum") if facts.sector == "chemical" else ("petroleum", "socmi")
    values = [_screened(family, ppm, facts, sheet) for family in (first, second)]
    return LeakRate(
        min(values), values[0], max(values), "correlation",
        f"EPA-453/R-95-017, {first} correlation; {second} as the other end", "memory-md",
        f"from a reading of {ppm:g} ppm",
    )  # fmt: skip


def _screened(family: str, ppm: float, facts: LeakFacts, sheet: Sheet) -> float:
    if ppm == 0:
        return _rate(f"epa-{family}-zero", facts, sheet)
    if ppm >= 100_000:
        return _rate(f"epa-{family}-pegged-100k", facts, sheet)
    row = _row(f"epa-{family}-correlation")
    return sheet.apply(
        "W_leak", correlation, coefficient=float(row["coefficient"]), ppm=ppm, exponent=float(row["exponent"])
    )


def _gap(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Choked gap at the seat at operating pressure; the gap is a guess unless measured."""
    k, molar_mass, temperature = facts.k, facts.molar_mass, facts.temperature
    if facts.phase == "liquid" or k is None or molar_mass is None or temperature is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "the gap basis needs a gas with molar mass, k and temperature")
    pressure = facts.operating_pressure
    if pressure is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "operating pressure unknown: no flow through a gap")
    coefficient = sheet.apply("C", gas_flow.coefficient, c=R**-0.5, k=max(k, 1.001))
    flux = sheet.apply("G", gas_flow.critical_flux, C=coefficient, P1=pressure, M=molar_mass, T=temperature, Z=1.0)
    mid = sheet.apply("W_leak", gap_leak, flux=flux, gap=facts.gap if facts.gap is not None else GAP)
    if facts.gap is not None:
        return LeakRate(mid, mid, mid, "gap", "choked gap of the stated area", "computed", "stated seat gap")
    return LeakRate(
        GAP_LOW * mid, mid, GAP_HIGH * mid, "gap", "choked seat gap of 0.1 mm2, not measured", "estimate",
        "a guess until the leak is measured",
    )  # fmt: skip


@lru_cache(maxsize=32)
def potential(gwp_set: str, gas: str = "CH4-fossil") -> tuple[float, str]:
    """Warming potential and its mark by a named set, "AR6-100" = report and horizon in years.

    Raises CalculationFailed for a set or gas the table does not hold.
    """
    name, _, horizon = gwp_set.rpartition("-")
    try:
        row = table("gwp").row(set=name, horizon=int(horizon), gas=gas)
    except (NotInTable, ValueError) as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no warming potential {gwp_set!r}, {gas}: {error}") from None
    return float(row["value"]), str(row["provenance"])


def footprint(
    rate: float,
    hours: float,
    gwp_set: str,
    discharge_to: str | None,
    sheet: Sheet = _QUIET,
    *,
    methane_fraction: float = 1.0,
    carbon_fraction: float = 0.75,
    product_price: float = 0.0,
    carbon_price: float = 0.0,
) -> Footprint:
    """Product and CO2 equivalent of a leak over some hours.

    rate kg/s; methane_fraction and carbon_fraction by mass of the product (pure methane: 1 and 0.75);
    product_price money/kg; carbon_price money/tonne CO2e; both 0 unless stated. Raises CalculationFailed for an
    unknown gwp_set or a negative rate or time.
    """
    if rate < 0 or hours < 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "leak rate and hours must not be negative")
    way = route(discharge_to)
    factor, mark = potential(gwp_set)
    product = 0.0 if way.returned else rate * hours * HOUR
    if way.burned:
        co2e = sheet.apply(
            "CO2e", flared, product=product, carbon_fraction=carbon_fraction, slip=SLIP,
            methane_fraction=methane_fraction, potential=factor,
        )  # fmt: skip
        mark = weakest((mark, "memory-md"))
    else:
        co2e = sheet.apply("CO2e", released, product=product, methane_fraction=methane_fraction, potential=factor)
    return Footprint(
        product, co2e, price_of(product, product_price), price_of(co2e, carbon_price / 1000), factor, mark,
        f"{way.words}; {gwp_set} {factor:g}",
    )  # fmt: skip
