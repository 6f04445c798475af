"""Leak bases, routes and footprints against the figures of the rules and a worked example."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import pytest

from quietseat.emissions import LeakFacts, footprint, leak_rate, potential, route
from quietseat.formula import Sheet
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
        ("population", {"sector": "oil-gas"}, 77), ("leaker", {"sector": "oil-gas"}, 338),
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
