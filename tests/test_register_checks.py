"""The free cross-checks: each fires on a row made wrong and stays silent on the row it was made from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from registers import make

from quietseat import basis
from quietseat.register import Register, read

BASIS = basis.make()
EXTRA: dict[str, Any] = {
    "CDTP (barg)": 9.5, "Max op press (barg)": 8, "Superimposed back pressure min (barg)": 0.5,
    "Superimposed back pressure max (barg)": 0.5, "Built-up back pressure (bar)": 0.4, "Total back pressure (barg)": 0.9,
    "Body material": "WCB", "Outlet class": 150, "Operating temp (degC)": 50, "Design temperature (degC)": 120,
    "Effective area (in2)": 6.38, "Required area (in2)": 5.0, "Last test": "2021-05-01", "Next due": "2026-05-01", "Interval (years)": 5,
    "Spring range": "8.5 - 10.5 barg", "Serial No": "B-4471", "Phase": "gas", "High alarm (barg)": 9, "Number installed": 2,
    "Number required": 1,
}  # fmt: skip


@pytest.fixture
def load(tmp_path: Path) -> Any:
    def loaded(changes: dict[str, Any] | None = None, basis_: Any = BASIS, **main: Any) -> Register:
        extra = EXTRA | (changes or {})
        rows = [[*make.HEADINGS, *extra], [*make.one(**{"mawp": 10.2, **main}), *extra.values()]]
        return read(make.xlsx(tmp_path / "c.xlsx", {"PSV": rows}), basis_)

    return loaded


def checks(found: Register) -> dict[str, str]:
    return {str(p.field): p.rule for p in found.problems if p.rule.startswith("check: ")}


def test_clean_row_has_no_problem(load: Any) -> None:
    found = load()
    assert [p.sentence() for p in found.problems] == [] and found.rows_read == 1


@pytest.mark.parametrize(
    ("changes", "main", "field", "words"),
    [
        ({}, {"mawp": 9.7}, "set_pressure", "allowed only for an additional valve"),  # 103 %
        ({}, {"mawp": 9.0}, "set_pressure", "above 105%"),
        ({"Max op press (barg)": 10.0}, {}, "operating_pressure", "not below the set pressure"),
        ({"High alarm (barg)": 11}, {}, "alarm_pressure", "above the set pressure"),
        ({"CDTP (barg)": 10}, {}, "cdtp", "9.5 barg"),  # 10 - 0.5 = 9.5
        ({"CDTP (barg)": None}, {"set_pressure": 9.7}, "set_pressure", "CDTP in the set column"),  # 10.2 - 0.5
        ({"Spring range": "10 - 12 barg"}, {}, "spring_range", "does not hold"),
        ({}, {"inlet_size": 6, "outlet_size": 4}, "outlet_size", "smaller than the inlet"),
        ({"Effective area (in2)": 0.785, "Required area (in2)": 0.5}, {"orifice": "H", "rate": 3000}, "orifice", "API 526 has no 4H6"),
        ({"Operating temp (degC)": 350, "Design temperature (degC)": 400}, {"temperature": 360}, "inlet_class", "holds 8 barg"),
        ({"Superimposed back pressure max (barg)": 20, "Total back pressure (barg)": None, "CDTP (barg)": None}, {}, "outlet_class", "less than the back pressure"),
        ({"Superimposed back pressure min (barg)": 0.9, "CDTP (barg)": None, "Total back pressure (barg)": None}, {}, "superimposed_min", "above the highest"),
        ({"Total back pressure (barg)": 1.5}, {}, "total_back_pressure", "0.9 barg"),
        ({"Required area (in2)": 7.0}, {}, "required_area", "more than the selected"),
        ({"Effective area (in2)": 7.4}, {}, "effective_area", "an actual area in the effective column"),
        ({"Next due": "2020-05-01"}, {}, "next_due", "before the last one"),
        ({"Next due": "2024-05-01"}, {}, "next_due", "the interval is 5 years"),
        ({"Operating temp (degC)": 130}, {}, "operating_temperature", "above the design temperature"),
        ({"Number installed": 1, "Number required": 2}, {}, "required", "2 valves are required, 1 installed"),
    ],
)  # fmt: skip
def test_check_fires(load: Any, changes: dict[str, Any], main: dict[str, Any], field: str, words: str) -> None:
    found = checks(load(changes, **main))
    assert words in found.pop(field)
    assert found == {}


def test_rating_is_that_of_the_table(load: Any) -> None:
    # ASME B16.5 table 2-1.1, class 150: 9.3 barg at 325 degC, 8.4 barg at 350 degC
    hot = {"Design temperature (degC)": 400}
    fine = {"CDTP (barg)": None, "Spring range": None, "Max op press (barg)": None, "High alarm (barg)": None}
    assert "inlet_class" not in checks(load(hot | fine | {"Operating temp (degC)": 325}, temperature=325, set_pressure=9.29))
    assert "inlet_class" in checks(load(hot | fine | {"Operating temp (degC)": 325}, temperature=325, set_pressure=9.4))


@pytest.mark.parametrize(
    ("heads", "field", "words"),
    [
        ({"Actual area (in2)": 7.07, "Effective coefficient": 0.975, "Effective area (in2)": None}, "effective_coefficient", "crossed pair"),
        ({"Rated coefficient": 0.86}, "rated_coefficient", "crossed pair"),
        ({"Actual area (in2)": 6.38, "Rated coefficient": 0.86}, "actual_area", "equals the API effective area"),
        ({"Actual area (in2)": 7.07, "Rated coefficient": 0.975}, "rated_coefficient", "an effective Kd"),
        ({"Actual area (in2)": 5.0, "Rated coefficient": 0.86}, "actual_area", "below the effective area"),
    ],
)  # fmt: skip
def test_area_and_coefficient_are_pairs(load: Any, heads: dict[str, Any], field: str, words: str) -> None:
    assert words in checks(load(heads))[field]


def test_certified_pair_is_no_problem(load: Any) -> None:
    assert checks(load({"Actual area (in2)": 7.07, "Rated coefficient": 0.86})) == {}


def test_nameplate_capacity_as_required_rate(load: Any) -> None:
    # capacity of a 4P6 in propane of these conditions at 110 % of set is near 48 000 kg/h
    assert "nameplate figure" in checks(load({"Rated capacity (kg/h)": 48000}, rate=47500))["flow"]
    assert checks(load({"Rated capacity (kg/h)": 48000, "Rate basis": "nameplate"}, rate=47500)) == {}
    assert checks(load({"Rated capacity (kg/h)": 48000})) == {}


def test_capacity_against_area_and_pressure(load: Any) -> None:
    # air, 60 degF: W = A C Kd P1 sqrt(M/(T Z)); API 520-1 USC: 6.38 in2 x 356 x 0.975 x 174.3 psia x sqrt(28.97/520) = 91 100 lb/h
    # = 1.192e6 SCF/h = 19 880 SCFM (379.48 SCF/lbmol)
    assert checks(load({"Rated capacity (SCFM)": 20000})) == {}
    assert "times what area P passes" in checks(load({"Rated capacity (SCFM)": 2000}))["nameplate_flow"]


def test_rate_equal_to_what_the_letter_passes_of_air(load: Any) -> None:
    rate = 91_100 * 0.45359237
    assert "nameplate figure" in checks(load({}, fluid="air", mol_wt=28.97, k=1.4, rate=rate))["flow"]


def test_steam_in_the_wrong_degree(load: Any) -> None:
    # saturation at 10 barg (11.013 bara): 184.1 degC = 363.4 degF (steam tables)
    steam = {"Phase": "steam"}
    assert "does the number mean degF" in checks(load(steam, fluid="steam", temperature=363, rate=9000))["temperature"]
    assert "below its saturation" in checks(load(steam, fluid="steam", temperature=150, rate=9000))["temperature"]
    assert checks(load(steam, fluid="steam", temperature=190, rate=9000)) == {}


def test_bellows_valve_has_cdtp_equal_to_set(load: Any) -> None:
    assert "cdtp" in checks(load({}, type="Bellows"))
    assert checks(load({"CDTP (barg)": 10}, type="Bellows")) == {}


def test_limits_come_from_the_basis(load: Any) -> None:
    assert "set_pressure" in checks(load({}, mawp=9.7))
    assert checks(load({}, basis.make({"set_limit_first": "104 %"}), mawp=9.7)) == {}
