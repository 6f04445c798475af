"""Leak bases, routes and footprints against the figures of the rules and a worked example."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import sqrt

import pytest

from quietseat.emissions import (
    NAMES,
    SURVEY,
    LeakFacts,
    Lifts,
    bleed,
    bubbles_to_mass,
    charge_on,
    choose,
    credit,
    fittings,
    footprint,
    in_force,
    judge,
    leak_rate,
    lift_of,
    lifts,
    potential,
    repair_on,
    route,
    side_by_side,
    simmer,
    split,
)
from quietseat.formula import Sheet
from quietseat.model import Spread
from quietseat.status import CalculationFailed
from quietseat.tables import table

HOUR, YEAR = 3600.0, 3600.0 * 8760
PSI = 6894.757293168361
METHANE = LeakFacts(
    set_pressure=101325 + 150 * PSI, atmospheric=101325.0, operating_pressure=21.01325e5, molar_mass=0.01604, k=1.31,
    temperature=300.0, effective_area=0.196 * 0.0254**2, discharge_to="atmosphere",
)  # fmt: skip


def per_year(basis: str, facts: LeakFacts) -> float:
    return leak_rate(basis, facts).mid * YEAR


def test_allowance() -> None:
    """6.1: 0.60 scf a day = 4.2 kg methane a year up to 0.307 in2, half above; a soft seat 0."""
    assert per_year("api-527", METHANE) == pytest.approx(4.2, abs=0.05)
    large = replace(METHANE, effective_area=1.287 * 0.0254**2)
    assert per_year("api-527", large) == pytest.approx(2.1, abs=0.05)
    soft = leak_rate("api-527", replace(METHANE, seat="soft"))
    assert (soft.low, soft.mid) == (0.0, 0.0)
    assert 0 < soft.high < leak_rate("api-527", METHANE).mid  # one bubble a minute against 40
    assert leak_rate("api-527", METHANE).low == 0.0


def test_allowance_rises_with_set() -> None:
    """API 527 Table 1 (memory-hi): 1500 psig 60 bubbles against 40; between rows linear; over the end the last row."""
    at = {
        psig: per_year("api-527", replace(METHANE, set_pressure=101325 + psig * PSI))
        for psig in (1000, 1250, 1500, 6000, 9000)
    }
    assert at[1500] / at[1000] == pytest.approx(60 / 40, rel=1e-9)
    assert at[1250] / at[1000] == pytest.approx(50 / 40, rel=1e-9)
    assert at[9000] == at[6000] == pytest.approx(2.5 * at[1000], rel=1e-9)


def test_allowance_of_a_liquid_valve() -> None:
    """API 527 (memory-hi): 10 cm3/h per inch of inlet, at least one inch."""
    water = LeakFacts(11e5, 1e5, phase="liquid", density=1000.0, inlet_size=3)
    assert leak_rate("api-527", water).mid * HOUR == pytest.approx(0.030, rel=1e-9)
    assert leak_rate("api-527", replace(water, inlet_size=0.75)).mid * HOUR == pytest.approx(0.010, rel=1e-9)
    assert leak_rate("api-527", replace(water, seat="soft")).high == 0.0


# 6.1, kg/year at 8760 h, as printed beside each basis.
@pytest.mark.parametrize(
    ("basis", "change", "expected"),
    [
        ("population", {"sector": "chemical"}, 911), ("population", {"sector": "refinery"}, 1402),
        ("average", {"sector": "oil-gas"}, 77), ("average", {"sector": "refinery"}, 1402),
        ("leaker", {"sector": "oil-gas"}, 338),
        ("leaker", {"sector": "oil-gas", "compressor": True}, 6670), ("leaker", {"sector": "refinery"}, 14813),
        ("correlation", {"ppm": 500.0}, 4.6), ("correlation", {"ppm": 10_000.0}, 27),
        ("correlation", {"ppm": 0.0}, 0.04), ("correlation", {"ppm": 100_000.0}, 964),
        ("correlation", {"ppm": 500.0, "sector": "chemical"}, 28),
        ("correlation", {"ppm": 10_000.0, "sector": "chemical"}, 329),
        ("correlation", {"ppm": 100_000.0, "sector": "chemical"}, 5431),
    ],
)  # fmt: skip
def test_bases(basis: str, change: dict[str, object], expected: float) -> None:
    assert per_year(basis, replace(METHANE, **change)) == pytest.approx(expected, rel=0.02 if expected > 1 else 0.15)


BOTH = [row for row in table("leak_bases") if row["rate_scf_h"] is not None and row["kg_year"] is not None]


@pytest.mark.parametrize("row", BOTH, ids=lambda row: row["basis"])
def test_scf_rows_agree_with_their_printed_mass(row: dict[str, object]) -> None:
    """Each row prints kg methane a year beside its factor (0.0192 kg/scf): the two must agree."""
    assert row["rate_scf_h"] * 0.0192 * 8760 == pytest.approx(row["kg_year"], rel=0.04)


def test_gap() -> None:
    """6.1: 0.1 mm2, methane, 20 barg, choked, 300 K: about 1.3 kg/h (closed form beside it)."""
    found = leak_rate("gap", METHANE)
    k, gas_constant = 1.31, 8.314462618 / 0.01604
    exact = 1e-7 * 21.01325e5 * sqrt(k / (gas_constant * 300)) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    assert found.mid == pytest.approx(exact, rel=1e-6)
    assert found.mid * HOUR == pytest.approx(1.3, abs=0.05)
    assert found.low < found.mid < found.high and found.confidence == "estimate"
    measured = leak_rate("gap", replace(METHANE, gap=2.3e-7))
    assert measured.low == measured.mid == measured.high
    assert measured.mid * HOUR == pytest.approx(2.9, abs=0.1)  # 0.23 mm2


def test_history_takes_what_history_says() -> None:
    assert leak_rate("history", METHANE).basis == "api-527"
    assert leak_rate("history", replace(METHANE, found_leaking=True)).basis == "leaker"
    assert leak_rate("history", replace(METHANE, found_leaking=True, ppm=700.0)).basis == "correlation"
    assert leak_rate("history", replace(METHANE, found_leaking=True, discharge_to="flare")).basis == "gap"
    assert leak_rate("history", replace(METHANE, discharge_to="flare")).basis == "api-527"


def test_no_survey_factor_into_a_flare() -> None:
    for basis in ("population", "leaker", "correlation"):
        for where in ("flare", "closed", "process"):
            with pytest.raises(CalculationFailed, match="discharges to"):
                leak_rate(basis, replace(METHANE, ppm=500.0, discharge_to=where))
    assert route("atmosphere").fugitive and route(None).fugitive and "not stated" in route(None).words
    assert route("flare").burned and not route("flare").fugitive and route("process").returned


def test_every_answer_is_a_range_with_its_source() -> None:
    for basis in ("api-527", "population", "leaker", "correlation", "gap", "history"):
        found = leak_rate(basis, replace(METHANE, ppm=500.0))
        assert 0 <= found.low <= found.mid <= found.high
        assert found.source and found.confidence and found.words


def test_population_between_east_and_west() -> None:
    """6.1: population factors 7 and 32 kg a year; the middle is their geometric mean."""
    found = leak_rate("population", replace(METHANE, sector="oil-gas"))
    assert found.low * YEAR == pytest.approx(7, rel=0.05) and found.high * YEAR == pytest.approx(32, rel=0.05)
    assert found.mid == pytest.approx(sqrt(found.low * found.high))
    assert found.year == 2016


def test_a_pegged_instrument_opens_the_high_end() -> None:
    """6.1: 10 000 ppm: 27 kg a year by the correlation, 1226 if the instrument ended there (SOCMI, pegged)."""
    found = leak_rate("screening", replace(METHANE, ppm=10_000.0))
    assert found.high * YEAR == pytest.approx(1226, rel=0.01) and "ended there" in found.words
    assert leak_rate("screening", replace(METHANE, ppm=9_999.0)).high * YEAR == pytest.approx(329, rel=0.02)


@pytest.mark.parametrize(
    ("change", "basis"),
    [
        ({}, "population"), ({"found_leaking": True}, "leaker"), ({"found_leaking": True, "ppm": 700.0}, "screening"),
        ({"ppm": 700.0, "measured": 1e-6}, "measured"), ({"phase": "liquid"}, "in-spec"), ({"discharge_to": "flare"}, "in-spec"),
        ({"discharge_to": "flare", "ppm": 700.0, "found_leaking": True}, "gap"), ({"mended": True, "ppm": 700.0}, "in-spec"),
        ({"discharge_to": "process"}, "in-spec"),
    ],
)  # fmt: skip
def test_the_rule(change: dict[str, object], basis: str) -> None:
    """Rules of use, 6.1: reading, found leaking, population; survey factors only to atmosphere."""
    leaks = side_by_side(replace(METHANE, **change))
    assert [leak.basis for leak in leaks] == list(NAMES)
    assert [leak.basis for leak in leaks if leak.applies] == [basis]
    assert all(leak.why and leak.source for leak in leaks)


def test_a_flare_takes_no_survey_factor_and_says_why() -> None:
    leaks = {leak.basis: leak for leak in side_by_side(replace(METHANE, discharge_to="flare", ppm=500.0))}
    for name in SURVEY:
        assert leaks[name].mid is None and "flare" in leaks[name].why and not leaks[name].applies
    assert leaks["in-spec"].mid is not None and leaks["gap"].mid is not None


def test_the_choice_of_the_basis_is_taken_where_it_can_be() -> None:
    assert choose(METHANE, "leaker")[0] == "leaker" and choose(METHANE, "api-527")[0] == "in-spec"
    assert choose(replace(METHANE, discharge_to="flare"), "leaker")[0] == "in-spec"


def test_bubbles() -> None:
    """40 bubbles a minute are 0.60 scf a day, 4.2 kg methane a year (6.1)."""
    assert bubbles_to_mass(40, 0.01604) * YEAR == pytest.approx(4.2, abs=0.05)
    with pytest.raises(CalculationFailed, match="negative"):
        bubbles_to_mass(-1, 0.01604)


def test_a_gap_that_does_not_choke() -> None:
    """Isentropic nozzle from 1.5 to 1.01325 bara, air at 300 K, k 1.4, by hand: 332.757 kg/m2/s."""
    air = replace(METHANE, molar_mass=0.0289655, k=1.4, operating_pressure=1.5e5, gap=1e-7)
    found = leak_rate("gap", air)
    assert found.mid == pytest.approx(3.32757e-5, rel=1e-5) and "unchoked" in found.source
    with pytest.raises(CalculationFailed, match="nothing leaks out"):
        leak_rate("gap", replace(air, operating_pressure=101325.0))


def test_a_gap_of_liquid() -> None:
    water = replace(METHANE, phase="liquid", density=1000.0, operating_pressure=1101325.0, gap=1e-7)
    assert leak_rate("gap", water).mid == pytest.approx(1e-7 * sqrt(2 * 1000 * 1e6), rel=1e-9)


@pytest.mark.parametrize(
    ("fluid", "molar_mass", "methane", "co2"),
    [
        ("methane", None, 1.0, 0.0), ("CO2", None, 0.0, 1.0), ("nitrogen", None, 0.0, 0.0), ("propane", None, 0.0, 0.0),
        ("90 % methane, 6 % ethane, 4 % carbon dioxide", None, 0.80200, 0.09778), ("methane 50 %, nitrogen 50 %", None, 0.36413, 0.0),
    ],
)  # fmt: skip
def test_composition(fluid: str, molar_mass: float | None, methane: float, co2: float) -> None:
    """By hand with molar masses 16.0425, 30.069, 44.0095, 28.0134."""
    found = split(fluid, molar_mass)
    assert (found.methane, found.co2) == pytest.approx((methane, co2), abs=5e-5)
    assert found.methane + found.co2 <= 1.0 + 1e-12 and found.confidence == "computed"


def test_unknown_composition_is_a_range_and_an_estimate() -> None:
    named, nameless = split("natural gas", 0.018), split("vent stream", 0.018)
    assert 0 < named.methane_low < named.methane < named.methane_high < 1 and named.confidence == "estimate"
    assert nameless.methane_low == 0.0
    assert split(None, None).methane == 1.0 and split("crude oil", None, "liquid").methane == 0.0
    for wrong, words in (("60 % methane, 60 % ethane", "sums to 120"), ("50 % methane, 50 % unobtainium", "not known by name")):
        with pytest.raises(CalculationFailed, match=words):
            split(wrong, None)


def test_simmer_and_bleed_near_set() -> None:
    """Common practice: the bleeding kind emits from about 95 % of set, the non-bleeding kind not before set."""

    def at(ratio: float) -> LeakFacts:
        return replace(METHANE, operating_pressure=101325 + ratio * 150 * PSI)

    assert simmer(at(0.94), 0.95) is None and bleed(at(0.94), "bleeding") is None
    half = simmer(at(0.975), 0.95)
    assert half is not None and half.mid == pytest.approx(0.5 * leak_rate("gap", at(0.975)).mid, rel=1e-6) and half.low == 0.0
    near, unknown = bleed(at(0.97), "bleeding"), bleed(at(0.97), None)
    assert near is not None and near.low > 0 and near.confidence == "common practice"
    assert unknown is not None and unknown.low == 0.0
    assert bleed(at(0.99), "non-bleeding") is None


def test_lifts() -> None:
    """V dp / a^2 by hand: 10 x 0.07 x 1e6 / 400^2 = 4.375 kg a lift; a simulation's figure wins."""
    known = Lifts(12, 1e6, 0.07, 10.0, 400.0, 2.0, 1.0)
    both = lifts(known)
    assert both.low * YEAR == pytest.approx(12 * 4.375) and both.mid * YEAR == pytest.approx(12 * 8.75)
    fewer = lifts(replace(known, modulating=True, blowdown=0.02))
    assert fewer.mid * YEAR == pytest.approx(12 * 1.25)
    told = lifts(replace(known, simulated=(Spread(2.0, 3.0, 4.0), "3 kg a lift by simulation")))
    assert (told.low * YEAR, told.mid * YEAR, told.high * YEAR) == pytest.approx((24.0, 36.0, 48.0)) and "by simulation" in told.words
    assert "by the cycle model" in both.words and lift_of(known).by == "cycle model"
    with pytest.raises(CalculationFailed, match="vessel volume unknown"):
        lifts(replace(known, volume=None))


def test_a_pilot_never_takes_everything_away() -> None:
    rest = fittings()
    assert 0 < rest.low < rest.mid < rest.high
    assert 0 < credit(1e-4, rest.mid) < 1 and credit(1e-12, rest.mid) == 0.0
    with pytest.raises(CalculationFailed, match="nothing to reduce"):
        credit(0.0, rest.mid)


def test_rule_packs_are_dated() -> None:
    """A charge of 900, 1200, 1500 for 2024, 2025, 2026 and later (seen); none is in force before."""
    assert in_force("us-waste-charge", date(2023, 12, 31)) == () and in_force("none", date(2025, 1, 1)) == ()
    assert [judge("us-waste-charge", date(year, 6, 1), None, None).charge for year in (2024, 2025, 2026, 2030)] == [900, 1200, 1500, 1500]
    found = judge("eu-2024-1787", date(2026, 3, 1), 8000.0, None)
    assert found.over and any("2026-03-06" in words for words in found.words) and any("2026-03-31" in words for words in found.words)
    assert "no rule of eu-2024-1787" in judge("eu-2024-1787", date(2020, 1, 1), 8000.0, None).words[0]


def test_missing_facts() -> None:
    for basis, change in (
        ("guess", {}), ("api-527", {"molar_mass": None}), ("correlation", {}), ("correlation", {"ppm": -1.0}),
        ("gap", {"operating_pressure": None}), ("gap", {"phase": "liquid"}), ("api-527", {"phase": "liquid"}),
    ):  # fmt: skip
        with pytest.raises(CalculationFailed):
            leak_rate(basis, replace(METHANE, **change))


# GHG Protocol (seen): CH4 fossil over 100 years 30 (AR5), 29.8 (AR6), 25 (AR4); 82.5 over 20 (EU 2024/1787).
@pytest.mark.parametrize(("name", "value"), [("AR4-100", 25), ("AR5-100", 30), ("AR6-100", 29.8), ("AR6-20", 82.5)])
def test_potentials(name: str, value: float) -> None:
    assert potential(name)[0] == value
    for wrong in ("AR9-100", "AR6", "AR6-x"):
        with pytest.raises(CalculationFailed):
            potential(wrong)


def test_worked_example() -> None:
    """6.2: leaker 39.66 scf/h pure methane: 6.67 t/year, x 28 = 187 t CO2e, at 50 a tonne 9.3 k a year."""
    rate = 39.66 * 0.0192 / HOUR
    found = footprint(rate, 8760, "AR5-100", "atmosphere", product_price=0.1, carbon_price=50.0)
    assert found.product == pytest.approx(6670, rel=1e-3)
    assert found.co2e * 28 / found.potential == pytest.approx(187e3, rel=2e-3)
    assert found.carbon_cost * 28 / found.potential == pytest.approx(9.3e3, rel=6e-3)
    assert found.product_cost == pytest.approx(667, rel=1e-3)


def test_flare_and_process() -> None:
    """6.2: flared leak: CO2 = m 44/16 0.98, plus slip 0.02 m GWP."""
    burned = footprint(1e-3, 1000, "AR6-100", "flare")
    assert burned.product == pytest.approx(3600, rel=1e-12)
    assert burned.co2e == pytest.approx(3600 * (44 / 16 * 0.98 + 0.02 * 29.8), rel=1e-12)
    back = footprint(1e-3, 1000, "AR6-100", "process", product_price=1.0, carbon_price=50.0)
    assert (back.product, back.co2e, back.product_cost, back.carbon_cost) == (0.0, 0.0, 0.0, 0.0)


def test_prices_are_zero_unless_stated() -> None:
    found = footprint(1e-3, 1000, "AR6-100", "atmosphere")
    assert found.co2e > 0 and found.product_cost == 0.0 and found.carbon_cost == 0.0


def test_the_steps_say_where_numbers_come_from() -> None:
    sheet = Sheet()
    leak_rate("leaker", METHANE, sheet)
    assert any("leaker factor" in step.source for step in sheet.steps())


def test_a_measured_rate_beats_the_reading_in_the_money_too() -> None:
    known = replace(METHANE, ppm=5000.0, found_leaking=True, measured=2e-4)
    assert leak_rate("history", known).mid == 2e-4 and choose(known)[0] == "measured"


def test_charges_and_repairs_of_a_pack_on_a_day() -> None:
    """Table leak_rules: 900, 1200, 1500 a tonne of methane; 30 days from 500 ppm; nothing of a pack that is off or has no row."""
    assert [charge_on("us-waste-charge", date(year, 12, 31))[0] for year in (2023, 2024, 2025, 2026, 2040)] == [0.0, 900.0, 1200.0, 1500.0, 1500.0]
    assert "from 2026-01-01 (seen)" in charge_on("us-waste-charge", date(2030, 1, 1))[1] and charge_on("none", date(2030, 1, 1)) == (0.0, "")
    day = date(2026, 1, 1)
    assert (repair_on("eu-2024-1787", day, 700.0, None) or (0, ""))[0] == 30 and (repair_on("us-ldar", day, 700.0, None) or (0, ""))[0] == 5
    assert repair_on("eu-2024-1787", day, 400.0, None) is None and repair_on("none", day, 1e5, None) is None
    assert repair_on("us-waste-charge", day, 1e5, None) is None


def test_gap_passes_more_of_a_gas_of_low_compressibility() -> None:
    """Critical flux C p sqrt(M / Z R T) by hand: G = p sqrt(k M / Z R T (2 / (k + 1)) ^ ((k + 1) / (k - 1))), times 0.1 mm2."""
    facts = LeakFacts(set_pressure=19e5, atmospheric=1e5, operating_pressure=16e5, molar_mass=0.0441, k=1.13, temperature=330.0, Z=0.82)
    by_hand = 16e5 * (1.13 * 0.0441 / (0.82 * 8.31446 * 330.0) * (2 / 2.13) ** (2.13 / 0.13)) ** 0.5 * 1e-7
    assert leak_rate("gap", facts).mid == pytest.approx(by_hand, rel=1e-4)
    assert leak_rate("gap", replace(facts, Z=None)).mid == pytest.approx(by_hand * 0.82**0.5, rel=1e-4)
