"""Every trap of a messy register, one test each, named after the trap. Expected values are worked by hand."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from registers import make

from quietseat import basis
from quietseat.register import Register, read
from quietseat.register.cells import Reader
from quietseat.register.fields import fields
from quietseat.register.workbook import Cell

BASIS = basis.make()
ATM, PSI = 101325.0, 6894.757293168


@pytest.fixture
def load(tmp_path: Path) -> Any:
    """Read rows under headings, as a workbook."""

    def loaded(*rows: Sequence[Any], heads: Sequence[Any] = make.HEADINGS, basis_: Any = BASIS, mends: str = "", **extra: Any) -> Register:
        file = make.xlsx(tmp_path / "reg.xlsx", {"PSV": [heads, *rows], **extra.pop("sheets", {})}, **extra)
        listed = None
        if mends:
            listed = tmp_path / "mends.csv"
            listed.write_text(mends, encoding="utf-8")
        found = read(file, basis_, listed)
        assert found.rows_found == found.rows_read + found.rows_partial + found.rows_refused
        return found

    return loaded


def problem(found: Register, field: str, row: int = 2) -> str:
    rules = [p.rule for p in found.problems if p.field == field and p.row == row]
    assert len(rules) == 1, [p.sentence() for p in found.problems]
    assert all(p.mend for p in found.problems if p.row == row)
    return rules[0]


def head(**changes: str) -> list[str]:
    keys = ("tag", "type", "inlet_size", "orifice", "outlet_size", "inlet_class", "set_pressure", "mawp", "fluid", "mol_wt", "k",
            "temperature", "rate")  # fmt: skip
    assert changes.keys() <= set(keys)
    return [changes.get(key, text) for key, text in zip(keys, make.HEADINGS, strict=True)]


def test_plain_row_is_read_in_full(load: Any) -> None:
    found = load(make.one())
    assert (found.rows_read, found.problems) == (1, ())
    valve, case = found.locations[0].valve, found.locations[0].cases[0]
    assert (valve.kind, valve.inlet_size, valve.orifice, valve.outlet_size, valve.inlet_class) == ("conventional", 4.0, "P", 6.0, 150)
    assert valve.set_pressure == pytest.approx(ATM + 10e5)
    assert case.flow == pytest.approx(24000 / 3600) and case.molar_mass == pytest.approx(0.0441)
    assert case.temperature == pytest.approx(333.15)
    assert found.locations[0].origins["valve.set_pressure"].where == "PSV!G2"
    assert found.locations[0].origins["cases.0.flow"].how == "read"


# --- designation eaten by the spreadsheet --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        (make.Styled(100.0, "0.00E+00"), "1E2"), (100, "1E2"), ("1.00E+02", "1E2"), (2000, "2E3"), (1500, "1.5E3"),
        (datetime.date(2020, 1, 2), "1-2"), (datetime.date(2026, 4, 3), "3/4"), (43833, "date 2020-01-03"), (True, "truth value"),
    ],
)  # fmt: skip
def test_designation_eaten(load: Any, cell: Any, word: str) -> None:
    found = load(["PSV-1", cell, 10, 12], heads=["Tag", "Designation", "Set pressure (barg)", "MAWP (barg)"])
    assert word in problem(found, "designation")
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size) == (None, None, None)
    assert found.rows_partial == 1


@pytest.mark.parametrize("cell", [100, 2000, 43833, datetime.date(2020, 3, 4)])
def test_size_column_eaten(load: Any, cell: Any) -> None:
    found = load(make.one(inlet_size=cell))
    assert "turned into" in problem(found, "inlet_size")
    assert found.locations[0].valve.inlet_size is None


def test_designation_kept_as_text_is_read(load: Any) -> None:
    found = load(["PSV-1", "1E2", 10, 12], heads=["Tag", "Designation", "Set pressure (barg)", "MAWP (barg)"])
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size) == (1.0, "E", 2.0) and found.rows_read == 1


# --- the four kinds of absence ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "state"),
    [
        ("NA", "not-applicable"), ("N/A", "not-applicable"), ("n.a.", "not-applicable"), ("None", "not-applicable"), ("-", "blank"),
        ("--", "blank"), ("?", "unknown"), ("not known", "unknown"), ("TBC", "pending"), ("tbd", "pending"),
        ("see note 3", "pending"), ("existing", "pending"), ("vendor", "pending"), ("by vendor", "pending"), ("nan", "not-applicable"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("field", ["valve.orifice", "valve.set_pressure", "valve.inlet_size", "case.flow", "history.last_test"])
def test_absence_has_four_kinds(text: str, state: str, field: str) -> None:
    assert Reader(BASIS).take(Cell(text, "text"), fields()[field]).state == state


def test_absent_set_pressure_leaves_the_row_partial(load: Any) -> None:
    for text in ("TBC", "N/A", None, "?"):
        found = load(make.one(set_pressure=text))
        assert found.rows_partial == 1 and found.locations[0].valve.set_pressure is None
        assert "set pressure missing" in found.rows[0].reason


# --- letters ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("cell", "words"), [(True, "letter T"), (False, "letter F"), ("No", "N read as no"), ("TRUE", "letter T"),
                                             ("0", "not an API 526"), ("O", "not an API 526"), (0, "not an API 526")])  # fmt: skip
def test_letter_read_as_truth_value_or_digit(load: Any, cell: Any, words: str) -> None:
    found = load(make.one(orifice=cell))
    assert words in problem(found, "orifice")
    assert found.locations[0].valve.orifice is None


@pytest.mark.parametrize("letter", "DEFGHJKLMNPQRT")
def test_letters_are_letters(load: Any, letter: str) -> None:
    assert load(make.one(orifice=letter)).locations[0].valve.orifice == letter
    assert load(make.one(orifice=letter.lower())).locations[0].valve.orifice == letter


def test_letter_in_the_outlet_column(load: Any) -> None:
    found = load(make.one(inlet_size=4, orifice=6, outlet_size="P"))
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size) == (4.0, "P", 6.0)
    origin = found.locations[0].origins["valve.orifice"]
    assert (origin.how, origin.where) == ("assumed", "PSV!E2") and "shifted" in origin.rule
    assert found.rows_partial == 1 and any("cells shifted" in p.rule for p in found.problems)
    assert any("shifted" in a.rule for a in found.assumptions)


def test_row_shifted_by_one_with_the_rating_in_the_size_column(load: Any) -> None:
    found = load(make.one(inlet_size=150, orifice=4, outlet_size="P", inlet_class=6))
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size, valve.inlet_class) == (4.0, "P", 6.0, 150)
    assert found.locations[0].origins["valve.inlet_class"].how == "assumed" and found.rows_partial == 1


def test_shifted_cells_that_fit_nothing_are_refused(load: Any) -> None:
    found = load(make.one(inlet_size=150, orifice=4, outlet_size="P", inlet_class=None))
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size, valve.inlet_class) == (None, None, None, None)
    assert any("cells shifted" in p.rule and "refused" in p.rule for p in found.problems)


# --- size text ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4P6", (4, "P", 6)), ('4" P 6"', (4, "P", 6)), ("4x6P", (4, "P", 6)), ("4 X P X 6", (4, "P", 6)), ("4-P-6", (4, "P", 6)),
        ("1 1/2 H 3", (1.5, "H", 3)), ("1½H3", (1.5, "H", 3)), ("1.5H3", (1.5, "H", 3)), ("1-1/2H3", (1.5, "H", 3)),
        ("6Q8 #300xRF", (6, "Q", 8)), ("DN100 P DN150", (4, "P", 6)), ("100x150P", (4, "P", 6)), ("P 4x6", (4, "P", 6)), ("4p6", (4, "P", 6)),
    ],
)  # fmt: skip
def test_size_text(load: Any, text: str, expected: tuple[float, str, float]) -> None:
    found = load(["PSV-1", text, 10, 12], heads=["Tag", "Size", "Set pressure (barg)", "MAWP (barg)"])
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size) == expected
    assert found.rows_partial == 0
    if "#300" in text:
        assert (valve.inlet_class, valve.facing) == (300, "raised")


def test_size_text_without_letter(load: Any) -> None:
    found = load(["PSV-1", "100x150", 10], heads=["Tag", "Size", "Set pressure (barg)"])
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size) == (4.0, None, 6.0)
    assert found.locations[0].origins["valve.inlet_size"].how == "assumed"  # DN by the list of real combinations
    assert found.rows_partial == 1 and "orifice missing" in found.rows[0].reason


@pytest.mark.parametrize(("text", "nps"), [("DN100", 4.0), ("1 1/2", 1.5), ("1½", 1.5), (1.5, 1.5), ('4"', 4.0), ("3/4 MNPT", 0.75), ("4 in", 4.0)])
def test_pipe_size_text(load: Any, text: Any, nps: float) -> None:
    assert load(make.one(inlet_size=text)).locations[0].valve.inlet_size == nps


def test_bare_40_is_dn_or_inch(load: Any) -> None:
    found = load(make.one(inlet_size=40))
    assert "DN or inch" in problem(found, "inlet_size")
    told = load(make.one(inlet_size=40), basis_=basis.make({"bare_size": "DN"}))
    assert told.locations[0].valve.inlet_size == 1.5 and told.locations[0].origins["valve.inlet_size"].how == "assumed"
    headed = load(make.one(inlet_size=40), heads=head(inlet_size="Inlet size (DN)"))
    assert headed.locations[0].valve.inlet_size == 1.5 and headed.locations[0].origins["valve.inlet_size"].how == "read"


def test_combination_outside_api_526_is_questioned(load: Any) -> None:
    found = load(make.one(inlet_size=2, orifice="P", outlet_size=3))
    assert "API 526 has no 2P3" in problem(found, "orifice")
    assert found.locations[0].valve.orifice == "P"  # a question, not a refusal


def test_not_a_real_pipe_size(load: Any) -> None:
    assert "not a nominal pipe size" in problem(load(make.one(inlet_size=7)), "inlet_size")


def test_designation_and_single_columns_disagree(load: Any) -> None:
    found = load([*make.one(), "4N6"], heads=[*make.HEADINGS, "Designation"])
    assert found.locations[0].valve.orifice == "P" and found.rows_partial == 1
    assert "single column is used" in problem(found, "designation")


# --- pressures -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "pa"),
    [
        ("150 psig", ATM + 150 * PSI), ("164.7 psia", 164.7 * PSI), ("10 barg", ATM + 10e5), ("11 bara", 11e5), ("1000 kPa(g)", ATM + 1e6),
        ("10 kg/cm2g", ATM + 10 * 98066.5), ("500 mm H2Og", ATM + 500 * 9.80665), ("1,0 MPag", ATM + 1e6),
        ("10.5 (152)", ATM + 10.5e5), ("10.34 barg / 150 psig", ATM + 10.34e5), ("150 psig (10.34 barg)", ATM + 150 * PSI),
    ],
)  # fmt: skip
def test_pressure_text(load: Any, cell: str, pa: float) -> None:
    found = load(make.one(set_pressure=cell, mawp="300 bara"))
    assert found.locations[0].valve.set_pressure == pytest.approx(pa, rel=1e-9)


@pytest.mark.parametrize(("cell", "pa"), [("FV", 0.0), ("ATM", ATM)])
def test_pressure_in_words(load: Any, cell: str, pa: float) -> None:
    found = load([*make.one(), cell], heads=[*make.HEADINGS, "Operating pressure (barg)"])
    assert found.locations[0].vessel.operating_pressure == pytest.approx(pa)


@pytest.mark.parametrize("cell", ["FV", "ATM", 0, -1, "0 barg"])
def test_set_pressure_not_above_atmospheric(load: Any, cell: Any) -> None:
    found = load(make.one(set_pressure=cell))
    assert "not above atmospheric" in problem(found, "set_pressure")
    assert found.locations[0].valve.set_pressure is None and found.rows_partial == 1


@pytest.mark.parametrize("cell", ["12.5 bar", "150 psi", "1000 kPa", "10 kg/cm2", "1,250", "12-13", "> 10", "15O psig", "1OO"])
def test_pressure_text_that_says_two_things(load: Any, cell: str) -> None:
    found = load(make.one(set_pressure=cell))
    problem(found, "set_pressure")
    assert found.locations[0].valve.set_pressure is None and found.rows_partial == 1


def test_pressure_without_reference_by_the_basis(load: Any) -> None:
    found = load(make.one(set_pressure="12.5 bar", mawp="13"), basis_=basis.make({"bare_pressure": "gauge"}), heads=head(mawp="MAWP (bar)"))
    place = found.locations[0]
    assert place.valve.set_pressure == pytest.approx(ATM + 12.5e5) and place.vessel.mawp == pytest.approx(ATM + 13e5)
    assert place.origins["valve.set_pressure"].how == place.origins["vessel.mawp"].how == "assumed"
    assert any("gauge (Basis)" in a.rule for a in found.assumptions)


def test_pressure_unit_from_heading_cell_or_neither(load: Any) -> None:
    assert "unit of the heading: barg" in load(make.one()).locations[0].origins["valve.set_pressure"].rule
    none = load(make.one(), heads=head(set_pressure="Set pressure"))
    assert "no unit" in problem(none, "set_pressure")
    beside = load([*make.one()[:7], "psig", *make.one(mawp=100)[7:]], heads=[*make.HEADINGS[:6], "Set pressure", "Unit", *make.HEADINGS[7:]])
    assert beside.locations[0].valve.set_pressure == pytest.approx(ATM + 10 * PSI)


def test_two_pressures_in_one_cell(load: Any) -> None:
    pair = load(make.one(tag="PSV-101A/B", set_pressure="10/10.5", mawp=11))
    assert [round((place.valve.set_pressure or 0) - ATM) for place in pair.locations] == [1000000, 1050000]
    assert pair.rows_read == 1 and pair.locations[0].origins["valve.set_pressure"].how == "assumed"
    single = load(make.one(set_pressure="10/10.5"))
    assert "two pressures" in problem(single, "set_pressure") and single.locations[0].valve.set_pressure is None


def test_site_pressure_enters_gauge(load: Any) -> None:
    found = load(make.one(), basis_=basis.make({"atmospheric_pressure": "85 kPaa"}))
    assert found.locations[0].valve.set_pressure == pytest.approx(85e3 + 10e5)


# --- tags ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["PSV-101A/B", "PSV-101 A/B", "PSV-101 A & B", "PSV-101(A/B)", "PSV-101A/PSV-101B", "PSV-101 A and B"])
def test_one_row_two_valves(load: Any, text: str) -> None:
    found = load(make.one(tag=text))
    assert (found.rows_found, found.valves_found) == (1, 2)
    first, second = found.locations
    assert (first.tag, second.tag, first.twin, second.twin) == ("PSV-101A", "PSV-101B", "PSV-101B", "PSV-101A")
    assert (first.cases[0].installed, first.cases[0].required) == (2, 1)
    assert first.origins["cases.0.required"].how == "assumed"
    assert any("one duty, one spare" in a.rule for a in found.assumptions)


def test_remark_inside_the_tag_cell(load: Any) -> None:
    place = load(make.one(tag="PSV-101 (spare)")).locations[0]
    assert place.tag == "PSV-101" and "spare" in place.remarks


@pytest.mark.parametrize("text", ["PSV101", "PSV-0101", "psv 101", "PSV-1O1", "PSV\u2011101"])
def test_tag_spelling_and_lost_zeros(load: Any, text: str) -> None:
    cases = {"Cases": [["Tag", "Case", "Required rate (kg/h)"], [text, "Fire", 9000]]}
    found = load(make.one(rate=None), sheets=cases)
    assert found.locations[0].cases[0].flow == pytest.approx(2.5) and found.locations[0].cases[0].name == "Fire"


def test_tag_with_plant_prefix(load: Any) -> None:
    cases = {"Cases": [["Tag", "Case", "Required rate (kg/h)"], ["20-PSV-0101", "Fire", 9000], ["PSV-999", "Fire", 1]]}
    found = load(make.one(rate=None), sheets=cases)
    assert found.locations[0].cases[0].flow == pytest.approx(2.5)
    assert any("plant prefix" in a.rule for a in found.assumptions)
    sheet = next(s for s in found.sheets if s.name == "Cases")
    assert (sheet.role, sheet.rows_found, sheet.rows_matched) == ("cases", 2, 1)
    assert any("1 of 2 rows belongs to no valve" in p.rule for p in found.problems)


def test_parts_of_a_number_are_not_joined(load: Any) -> None:
    found = load(make.one(tag="PSV-10-1"), make.one(tag="PSV-101"))
    assert found.valves_found == 2 and found.rows_partial == 0


def test_row_without_a_tag_is_refused_with_its_reason(load: Any) -> None:
    found = load(make.one(), make.one(tag=None), make.one(tag="later"))
    assert (found.rows_found, found.rows_read, found.rows_refused, found.valves_found) == (3, 1, 2, 1)
    assert all("no tag" in row.reason for row in found.rows if row.state == "refused")


def test_serial_moves_between_tags(load: Any) -> None:
    heads = [*make.HEADINGS, "Serial No"]
    found = load([*make.one(), "A-1234"], [*make.one(tag="PSV-102"), "a1234"], heads=heads)
    assert "also stands in PSV row 2" in problem(found, "serial", 3)
    assert [place.valve.serial for place in found.locations] == ["A-1234", "a1234"]


# --- sheets ------------------------------------------------------------------------------------------------------------


def test_title_rows_and_three_heading_rows(load: Any, tmp_path: Path) -> None:
    rows = [
        ["RELIEF VALVE REGISTER"], ["Unit 100"], [],
        ["Identification", None, "Valve", None, None, None, "Pressures", None, "Relief", None],
        ["Tag", "Equipment", "Size", None, "Orifice", "Rating", "Set", "MAWP", "Fluid", "Required"],
        [None, None, "Inlet", "Outlet", None, "Inlet", None, None, None, "rate"],
        [None, None, "in", "in", None, None, "psig", "psig", None, "lb/h"],
        ["PSV-1", "V-1", 4, 6, "P", 150, 100, 100, "propane", 50000],
        ["TOTAL", None, None, None, None, None, None, None, None, 50000],
    ]  # fmt: skip
    merges = {"A": [(3, 0, 3, 1), (3, 2, 3, 5), (3, 6, 3, 7), (3, 8, 3, 9), (4, 2, 4, 3)]}
    found = read(make.xlsx(tmp_path / "h.xlsx", {"A": rows}, merges=merges), BASIS)
    place = found.locations[0]
    assert found.sheets[0].header_rows == (4, 5, 6) or found.sheets[0].header_rows == (5, 6)
    assert found.sheets[0].unit_row == 7 and found.rows_found == 1
    assert (place.valve.inlet_size, place.valve.outlet_size, place.valve.orifice, place.valve.inlet_class) == (4.0, 6.0, "P", 150)
    assert place.valve.set_pressure == pytest.approx(ATM + 100 * PSI)
    assert place.cases[0].flow == pytest.approx(50000 * 0.45359237 / 3600)
    assert ("total" in kind for _, kind, _ in found.sheets[0].skipped)


def test_group_headings_that_are_not_merged(tmp_path: Path) -> None:
    rows = [
        ["Tag", "Set pressure (barg)", "Design", None, "Inlet piping", None, None, "Outlet piping", None, None],
        [None, None, "Pressure (barg)", "Temperature (degC)", "Size (in)", "Length (m)", "Elbows", "Size (in)", "Length (m)", "Elbows"],
        ["PSV-1", 10, 12, 80, 4, 2.5, 2, 6, 20, 3],
    ]  # fmt: skip
    place = read(make.csv(tmp_path / "g.csv", rows), BASIS).locations[0]
    assert (place.inlet.size, place.inlet.length, place.outlet.size, place.outlet.length) == (4.0, 2.5, 6.0, 20.0)
    assert [(f.kind, f.count) for f in place.inlet.fittings + place.outlet.fittings] == [("elbow-90", 2), ("elbow-90", 3)]
    assert place.vessel.mawp == pytest.approx(ATM + 12e5) and place.vessel.design_temperature == pytest.approx(353.15)


def test_units_row_subtotals_and_repeated_heading_do_not_count(load: Any) -> None:
    found = load(
        ["Unit 10 - gas"], make.one(), ["Sub-total", None, None, None, 1], [], list(make.HEADINGS), ["Unit 20 - liquids"],
        make.one(tag="PSV-201"), ["Total", 2], ["Note 1: all pressures are gauge"],
    )  # fmt: skip
    assert (found.rows_found, found.rows_read) == (2, 2)
    assert [kind for _, kind, _ in found.sheets[0].skipped] == ["section", "total", "heading", "section", "total", "note"]
    assert [place.unit for place in found.locations] == ["Unit 10 - gas", "Unit 20 - liquids"]
    assert found.locations[0].origins["location.unit"].how == "assumed"


def test_cells_merged_downwards(tmp_path: Path) -> None:
    heads = ["Unit", *make.HEADINGS]
    rows = [heads, ["A", *make.one()], [None, *make.one(tag="PSV-102")]]
    found = read(make.xlsx(tmp_path / "m.xlsx", {"P": rows}, merges={"P": [(1, 0, 2, 0)]}), BASIS)
    assert [place.unit for place in found.locations] == ["A", "A"]


def test_columns_not_understood_are_named(load: Any) -> None:
    found = load([*make.one(), "x"], heads=[*make.HEADINGS, "P&ID"])
    assert [(c.heading, c.field, c.how) for c in found.columns if not c.field] == [("P&ID", "", "not mapped")]


def test_two_columns_of_one_field(load: Any) -> None:
    heads = [*make.HEADINGS, "Set press. (psig)"]
    same = load([*make.one(), 145.0], heads=heads)  # 145 psig = 9.997 barg
    assert same.rows_read == 1 and any(c.how == "second for G" for c in same.columns)
    differ = load([*make.one(), 160.0], heads=heads)
    assert differ.rows_partial == 1 and "disagree" in problem(differ, "set_pressure")
    assert differ.locations[0].valve.set_pressure == pytest.approx(ATM + 10e5)
    blank = load([*make.one(set_pressure=None), 145.0], make.one(tag="PSV-102"), heads=heads)
    assert blank.locations[0].valve.set_pressure == pytest.approx(ATM + 145 * PSI)
    assert blank.locations[0].origins["valve.set_pressure"].how == "assumed"


def test_misspelt_heading_is_told(load: Any) -> None:
    found = load(make.one(), heads=head(set_pressure="Set presure (barg)"))
    assert found.locations[0].valve.set_pressure == pytest.approx(ATM + 10e5)
    assert next(c.how for c in found.columns if c.field == "set_pressure") == "near spelling"
    assert any("near spelling" in p.rule for p in found.problems)


def test_column_without_heading_is_known_by_its_cells(load: Any) -> None:
    rows = [make.one(tag=f"PSV-{n}") for n in range(101, 106)]
    found = load(*rows, heads=head(orifice=""))
    assert {place.valve.orifice for place in found.locations} == {"P"}
    assert next(c.how for c in found.columns if c.field == "orifice") == "content"


def test_area_is_a_unit_or_an_area_by_content(load: Any) -> None:
    words = load([*make.one(), "North"], heads=[*make.HEADINGS, "Area"])
    assert words.locations[0].unit == "North"
    number = load([*make.one(), 4116.0], heads=[*make.HEADINGS, "Area (mm2)"])
    assert number.locations[0].valve.effective_area == pytest.approx(4116e-6)


# --- other quantities -----------------------------------------------------------------------------------------------------


def test_temperature_text(load: Any) -> None:
    assert load(make.one(temperature="212 F")).locations[0].cases[0].temperature == pytest.approx(373.15)
    assert "ambient" in problem(load(make.one(temperature="AMB")), "temperature")


@pytest.mark.parametrize(
    ("cell", "kg_s"),
    [("10000 lb/h", 10000 * 0.45359237 / 3600), ("10 t/h", 10 / 3.6), ("1 MMSCFD", 1e6 / 86400 * 453.59237 / 379.48 * 0.0441),
     ("1000 Nm3/h", 1000 / 3600 * 44.6150 * 0.0441), ("1000 Sm3/h", 1000 / 3600 * 42.2928 * 0.0441)],
)  # fmt: skip
def test_flow_units_and_reference_conditions(load: Any, cell: str, kg_s: float) -> None:
    # mol per reference volume: 44.6150 /Nm3 and 42.2928 /Sm3 (p/(R T)); 379.48 SCF/lbmol at 60 degF, 14.696 psia (gas engineers' figure)
    assert load(make.one(rate=cell)).locations[0].cases[0].flow == pytest.approx(kg_s, rel=2e-4)


def test_liquid_flow_us_or_uk_gallons(load: Any) -> None:
    us, uk = (load(make.one(rate=text)).locations[0].cases[0] for text in ("100 gpm", "100 UK gpm"))
    assert us.flow is None and us.volume_flow == pytest.approx(100 * 3.785411784e-3 / 60)
    assert uk.volume_flow == pytest.approx(100 * 4.54609e-3 / 60)


def test_gas_volume_without_molar_mass(load: Any) -> None:
    found = load(make.one(rate="1000 Nm3/h", mol_wt=None))
    assert "needs a molar mass" in problem(found, "flow") and found.locations[0].cases[0].flow is None


def test_specific_gravity_and_kinematic_viscosity(load: Any) -> None:
    case = load([*make.one(), 0.8, "10 cSt"], heads=[*make.HEADINGS, "SG", "Viscosity"]).locations[0].cases[0]
    assert case.density == pytest.approx(0.8 * 999.0, rel=1e-4)
    assert case.viscosity == pytest.approx(10e-6 * 0.8 * 999.0, rel=1e-4)


def test_built_up_in_gauge_is_a_difference(load: Any) -> None:
    place = load([*make.one(), 0.5], heads=[*make.HEADINGS, "Built-up back pressure (barg)"]).locations[0]
    assert place.cases[0].built_up == pytest.approx(5e4) and place.origins["cases.0.built_up"].how == "assumed"


@pytest.mark.parametrize(("cell", "heading", "factor"), [("10 %", "Overpressure", 1.10), (121, "Accumulation (%)", 1.21), (1.16, "Accumulation", 1.16)])
def test_accumulation_is_a_factor_on_mawp(load: Any, cell: Any, heading: str, factor: float) -> None:
    assert load([*make.one(), cell], heads=[*make.HEADINGS, heading]).locations[0].cases[0].accumulation == pytest.approx(factor)


# --- dates ---------------------------------------------------------------------------------------------------------------


def dates(found: Register) -> list[str | None]:
    return [event.date for place in found.locations for event in place.history.events if event.note == "last test"]


def test_day_and_month_told_by_the_column(load: Any) -> None:
    heads = [*make.HEADINGS, "Last test"]
    alone = load([*make.one(), "03/04/2021"], heads=heads)
    assert "cannot be told apart" in problem(alone, "last_test") and dates(alone) == []
    proved = load([*make.one(), "03/04/2021"], [*make.one(tag="PSV-2"), "25/12/2020"], heads=heads)
    assert dates(proved) == ["2021-04-03", "2020-12-25"]
    assert any("N3 25/12/2020 proves" in a.rule for a in proved.assumptions)
    other = load([*make.one(), "03/04/2021"], [*make.one(tag="PSV-2"), "12/25/2020"], heads=heads)
    assert dates(other) == ["2021-03-04", "2020-12-25"]
    both = load([*make.one(), "03/04/2021"], [*make.one(tag="PSV-2"), "12/25/2020"], [*make.one(tag="PSV-3"), "25/12/2020"], heads=heads)
    assert dates(both) == ["2020-12-25", "2020-12-25"]
    chosen = load([*make.one(), "03/04/2021"], heads=heads, basis_=basis.make({"date_order": "month-first"}))
    assert dates(chosen) == ["2021-03-04"]


@pytest.mark.parametrize(("cell", "date"), [(datetime.date(2021, 4, 3), "2021-04-03"), (44289, "2021-04-03"), ("3-Apr-21", "2021-04-03"),
                                            ("2021-04-03", "2021-04-03"), ("Apr 2021", "2021-04"), ("2021", "2021")])  # fmt: skip
def test_date_text(load: Any, cell: Any, date: str) -> None:
    assert dates(load([*make.one(), cell], heads=[*make.HEADINGS, "Last test"])) == [date]


def test_turnaround_is_not_a_date(load: Any) -> None:
    assert "turnaround" in problem(load([*make.one(), "TA2019"], heads=[*make.HEADINGS, "Last test"]), "last_test")


# --- words ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "events"),
    [
        ("PSV passing", ["leak"]), ("weeping", ["leak"]), ("popping off", ["lift"]), ("simmering", ["leak"]), ("lapped & set", ["overhaul"]),
        ("bellow gone", ["bellows"]), ("seized", ["stuck"]), ("no spare", []), ("R&R", ["overhaul"]), ("hammering on lift", ["chatter"]),
        ("not leaking", []), ("no sign of chatter", []), ("leak test passed", []), ("FTO", ["stuck"]),
    ],
)  # fmt: skip
def test_free_text_of_work_orders(load: Any, text: str, events: list[str]) -> None:
    place = load([*make.one(), text], heads=[*make.HEADINGS, "Condition"]).locations[0]
    assert [event.event for event in place.history.events] == events
    assert place.history.condition == text
    for number in range(len(events)):
        assert place.origins[f"history.events.{number}"].how == "assumed"
        assert place.history.events[number].note == text


@pytest.mark.parametrize(("text", "flag"), [("dirty service", "fouling"), ("popcorn polymer found", "polymerising"), ("wax", "viscous"), ("50 ppm H2S", "sour")])
def test_service_words_in_remarks(load: Any, text: str, flag: str) -> None:
    place = load([*make.one(), text], heads=[*make.HEADINGS, "Remarks"]).locations[0]
    assert getattr(place.service, flag) is True and place.origins[f"service.{flag}"].how == "assumed"
    assert place.remarks == (text,)


def test_stated_service_wins_over_words(load: Any) -> None:
    place = load([*make.one(), "dirty strainer", "N"], heads=[*make.HEADINGS, "Remarks", "Fouling"]).locations[0]
    assert place.service.fouling is False


# --- several sources ----------------------------------------------------------------------------------------------------------


def test_same_tag_twice_with_different_values(load: Any) -> None:
    found = load(make.one(), make.one(set_pressure=9))
    assert [row.state for row in found.rows] == ["read", "partial"]
    assert [place.tag for place in found.locations] == ["PSV-101", "PSV-101 [row 3]"]
    assert "set pressure '10' and '9'" in problem(found, "tag", 3)


def test_same_tag_twice_as_a_further_case(load: Any) -> None:
    heads = [*make.HEADINGS, "Cause"]
    found = load([*make.one(), "Fire"], [*make.one(rate=12000), "Blocked outlet"], heads=heads)
    assert (found.rows_read, found.valves_found) == (2, 1)
    assert [case.cause for case in found.locations[0].cases] == ["fire", "blocked-outlet"]


def test_same_tag_twice_saying_the_same(load: Any) -> None:
    found = load(make.one(mawp=None), make.one())
    assert (found.rows_found, found.valves_found) == (2, 1)
    assert found.locations[0].vessel.mawp == pytest.approx(ATM + 10e5)  # the second row fills the blank
    assert found.rows[1].state == "partial"


def test_lines_sheet_with_a_row_for_each_end(load: Any) -> None:
    lines = {"Piping": [["Tag", "Line", "Size (in)", "Schedule", "Length (m)", "Elbows"], ["PSV-101", "inlet", 4, 40, 1.5, 1],
                        ["PSV-101", "outlet", 6, "STD", 20, 4]]}  # fmt: skip
    place = load(make.one(), sheets=lines).locations[0]
    assert (place.inlet.size, place.inlet.schedule, place.inlet.length) == (4.0, "40", 1.5)
    assert (place.outlet.size, place.outlet.schedule, place.outlet.length) == (6.0, "STD", 20.0)
    assert [(f.kind, f.count) for f in place.outlet.fittings] == [("elbow-90", 4)]


def test_cases_sheet_takes_what_the_row_says_of_the_fluid(load: Any) -> None:
    cases = {"Cases": [["Tag", "Case", "Cause", "Required rate (kg/h)"], ["PSV-101", "A", "fire", 3600], ["PSV-101", "B", "blocked outlet", 7200]]}
    found = load(make.one(rate=None), sheets=cases)
    assert [(case.name, case.cause, case.flow) for case in found.locations[0].cases] == [("A", "fire", 1.0), ("B", "blocked-outlet", 2.0)]
    assert all(case.molar_mass == pytest.approx(0.0441) for case in found.locations[0].cases)
    assert found.rows_read == 1
    assert found.locations[0].origins["cases.1.flow"].where == "Cases!D3"


def test_history_sheet(load: Any) -> None:
    history = {"History": [["Tag", "Date", "Event", "Reading", "Details", "Cost (USD)"],
                           ["PSV-101", datetime.date(2023, 5, 1), "pop", "13.2 barg", "as found", 1200],
                           ["PSV-101", "2024-06-01", "leak", 2300, "passing", None],
                           ["PSV-777", "2024-06-01", "leak", 2300, "passing", None]]}  # fmt: skip
    found = load(make.one(), sheets=history)
    events = found.locations[0].history.events
    assert [(e.event, e.date) for e in events] == [("pop", "2023-05-01"), ("leak", "2024-06-01")]
    assert events[0].value == pytest.approx(ATM + 13.2e5) and events[0].cost == 1200.0 and events[1].value == pytest.approx(2300)
    assert any("1 of 3 rows belongs to no valve" in p.rule for p in found.problems)


# --- mends ------------------------------------------------------------------------------------------------------------------

MENDS = "sheet,row,field,value,who,when,why\n"


def test_mend_is_applied_and_shown(load: Any) -> None:
    found = load(make.one(set_pressure="12.5 bar"), mends=MENDS + "PSV,2,set_pressure,9.5 barg,A. Person,2026-01-02,nameplate\n")
    place = found.locations[0]
    assert place.valve.set_pressure == pytest.approx(ATM + 9.5e5) and found.rows_read == 1
    origin = place.origins["valve.set_pressure"]
    assert (origin.how, origin.where) == ("mended", "mends line 2") and "A. Person" in origin.rule
    assert [(m.applied, m.before) for m in found.mends] == [(True, "12.5 bar")]


def test_mend_gives_a_tag_to_a_refused_row(load: Any) -> None:
    found = load(make.one(tag=None), mends=MENDS + ",2,tag,PSV-500,A. Person,2026-01-02,field\n")
    assert (found.rows_read, found.locations[0].tag) == (1, "PSV-500")


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("PSV,99,set_pressure,9 barg,A,2026-01-02,x", "no row of the register"), ("PSV,2,set_presure,9 barg,A,2026-01-02,x", "unknown field"),
        ("Other,2,set_pressure,9 barg,A,2026-01-02,x", "unknown sheet"), ("PSV,2,set_pressure,9 barg,,,x", "who and when"),
        ("PSV,2,set_pressure,9 bar,A,2026-01-02,x", "gauge or absolute"),
    ],
)  # fmt: skip
def test_mend_that_cannot_be_used_is_a_problem(load: Any, line: str, words: str) -> None:
    found = load(make.one(), mends=MENDS + line + "\n")
    assert [p.file for p in found.problems if words in p.rule] == ["mends.csv"]
    assert not found.mends[0].applied and found.locations[0].valve.set_pressure == pytest.approx(ATM + 10e5)


# --- the answer ------------------------------------------------------------------------------------------------------------


def test_answer_has_the_keys_of_the_contract(load: Any) -> None:
    answer = load(make.one(), make.one(tag=None)).to_dict()
    assert {"status", "problems", "assumptions", "rows_found", "rows_read", "rows_partial", "rows_refused", "columns", "valves",
            "valves_found"} <= answer.keys()  # fmt: skip
    assert {"heading", "field", "unit", "how"} <= answer["columns"][0].keys()
    assert set(answer["problems"][0]) == {"file", "sheet", "row", "column", "field", "value", "rule", "mend"}
    valve = answer["valves"][0]
    assert valve["set_pressure_pa"] == {"value": pytest.approx(ATM + 10e5), "text": "10", "from": "PSV!G2", "how": "read",
                                        "rule": "unit of the heading: barg"}  # fmt: skip
    assert valve["cases"][0]["flow_kg_s"]["from"] == "PSV!M2" and valve["vessel"]["mawp_pa"]["from"] == "PSV!H2"
    assert (valve["tag"], valve["row"], valve["state"]) == ("PSV-101", 2, "read")


def test_stated_zero_is_not_a_blank(load: Any) -> None:
    heads = [*make.HEADINGS, "Inlet elbows", "Outlet elbows"]
    place = load([*make.one(), 0, None], heads=heads).locations[0]
    assert [(f.kind, f.count) for f in place.inlet.fittings] == [("elbow-90", 0.0)]
    assert place.outlet.fittings == () and "outlet.elbows" not in place.origins


@pytest.mark.parametrize("text", ["²", "٣", "4٣", "1e400", "-", "\u200b", "+", "..", "1/0", "0/0", "9" * 400])
@pytest.mark.parametrize("key", ["inlet_size", "orifice", "inlet_class", "set_pressure", "rate", "temperature", "k", "tag", "mol_wt"])
def test_odd_characters_never_break_the_reading(load: Any, text: str, key: str) -> None:
    found = load(make.one(**{key: text}))
    assert found.rows_found == 1


def test_unit_in_a_column_of_its_own(load: Any) -> None:
    heads = ["Tag", "Set press", "Set press unit", "Rate", "Rate UOM"]
    found = load(["PSV-1", 250, "PSIG", 20, "t/h"], ["PSV-2", 17.2, "barg", 5000, "lb/hr"], heads=heads)
    pressures = [place.valve.set_pressure for place in found.locations]
    assert pressures == [pytest.approx(ATM + 250 * PSI), pytest.approx(ATM + 17.2e5)]
    assert [place.cases[0].flow for place in found.locations] == [pytest.approx(20 / 3.6), pytest.approx(5000 * 0.45359237 / 3600)]
    assert [c.how for c in found.columns if "unit" in c.how] == ["unit of B", "unit of D"]


def test_fluid_and_service_are_two_columns(load: Any) -> None:
    place = load([*make.one(fluid="HC gas"), "Feed drum"], heads=[*make.HEADINGS, "Service"]).locations[0]
    assert place.cases[0].fluid == "HC gas" and "Feed drum" in place.remarks


def test_one_sheet_that_looks_like_cases_is_the_register(tmp_path: Path) -> None:
    rows = [["Tag", "Case", "Set (barg)", "Flow (kg/h)"], ["PSV-1", "Fire", 10, 3600], [None, "Blocked outlet", None, 7200]]
    found = read(make.xlsx(tmp_path / "m.xlsx", {"P": rows}, merges={"P": [(1, 0, 2, 0)]}), BASIS)
    assert [(case.name, case.flow) for case in found.locations[0].cases] == [("Fire", 1.0), ("Blocked outlet", 2.0)]
    assert (found.rows_read, found.valves_found) == (2, 1)


def test_words_of_the_type_column_tell_the_pilot(load: Any) -> None:
    valve = load(make.one(type="Pilot - modulating, remote sense")).locations[0].valve
    assert (valve.kind, valve.pilot_action, valve.pilot_sense) == ("pilot", "modulating", "remote")
