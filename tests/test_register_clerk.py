"""Registers as a sceptical clerk would break them: one test for each. Expected values are worked by hand."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from registers import make

from quietseat import basis, units
from quietseat.register import Register, read, tags
from quietseat.register.words import void
from quietseat.status import InputUnusable

BASIS = basis.make()
ATM, PSI, LB_H = 101325.0, 6894.757293168, 0.45359237 / 3600
MENDS = "sheet,row,field,value,who,when,why\n"


@pytest.fixture
def load(tmp_path: Path) -> Any:
    """Read sheets of rows, as a workbook."""

    def loaded(rows: Sequence[Sequence[Any]], mends: str = "", **extra: Any) -> Register:
        sheets = {"PSV": rows, **extra.pop("sheets", {})}
        file = make.xlsx(tmp_path / "reg.xlsx", sheets, **extra)
        listed = None
        if mends:
            listed = tmp_path / "mends.csv"
            listed.write_text(MENDS + mends, encoding="utf-8")
        found = read(file, BASIS, listed)
        assert found.rows_found == found.rows_read + found.rows_partial + found.rows_refused
        found.to_dict()
        return found

    return loaded


def plain(*rows: Sequence[Any]) -> list[Sequence[Any]]:
    return [make.HEADINGS, *rows]


def rules(found: Register) -> str:
    return " | ".join(p.rule for p in found.problems)


# --- headings ------------------------------------------------------------------------------------------------


def test_units_in_the_middle_row_of_a_deep_heading(load: Any) -> None:
    title = [[f"Line {n} of the legend"] for n in range(20)]
    groups = ["Identification", None, "Valve body", None, None, "Pressures", None, "Relief", None]
    measured = [None, None, "in", None, "in", "psig", "barg", "lb/hr", "°F"]
    names = ["Tag", "Eqpt. protected", "Inlet", "Orif.", "Outlet", "Set\npress.", "MAWP", "Req'd\nrate", "Rel. temp"]
    rows = [*title, groups, measured, names, ["PSV-1", "V-1", 4, "P", 6, 150, 10.5, 50000, 140]]
    found = load(rows, merges={"PSV": [(20, 0, 20, 1), (20, 2, 20, 4), (20, 5, 20, 6), (20, 7, 20, 8)]})
    place = found.locations[0]
    assert found.sheets[0].unit_row == 22 and found.rows_read == 1
    assert place.valve.set_pressure == pytest.approx(ATM + 150 * PSI) and place.vessel.mawp == pytest.approx(ATM + 10.5e5)
    assert place.cases[0].flow == pytest.approx(50000 * LB_H) and place.cases[0].temperature == pytest.approx(333.15)


def test_one_group_over_the_last_two_of_many_headings(load: Any) -> None:
    found = load([
        ["Relief valve list"], [None] * 13 + ["Centre to face (mm)", None], [*make.HEADINGS, "Inlet", "Outlet"], [*make.one(), 181, 229],
    ])  # fmt: skip
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.outlet_size) == (4.0, 6.0)
    assert (valve.inlet_height, valve.outlet_reach) == (pytest.approx(0.181), pytest.approx(0.229))


def test_unit_of_a_group_counts_for_each_of_its_columns(load: Any) -> None:
    found = load([["Valve", "Valve", "Pressure, barg", "Pressure, barg"], ["Tag", "Size", "Set", "Design"], ["PSV-1", "4P6", 10, 11]])
    place = found.locations[0]
    assert place.valve.set_pressure == pytest.approx(ATM + 10e5) and place.vessel.mawp == pytest.approx(ATM + 11e5)


@pytest.mark.parametrize(
    ("heading", "field"),
    [
        ("S.P. (psig)", "set_pressure"), ("C.D.T.P. (psig)", "cdtp"), ("Max. Allow. Wkg. Press. (psig)", "mawp"),
        ("Norm Op Press\n(psig)", "operating_pressure"), ("Op P (bar abs)", "operating_pressure"), ("Design P (psi (g))", "mawp"),
        ("In. Sz", "inlet_size"), ("Orf", "orifice"), ("Rlvg Temp\n(°F)", "temperature"), ("B.P. Sup. (psig)", "superimposed_max"),
        ("B.P. B/U (psig)", "built_up"), ("Class", "inlet_class"), ("Asset No.", "tag"), ("Overpr. %", "accumulation"),
        ("Set Pressuer (psig)", "set_pressure"), ("M.W.", "molar_mass"), ("Set pressure kPa(g)", "set_pressure"),
    ],
)  # fmt: skip
def test_words_of_headings(heading: str, field: str) -> None:
    from quietseat.register.fields import naming, shown

    assert shown(naming(heading, "", True).ids[0]) == field


def test_unit_of_heading_with_the_gauge_mark_apart() -> None:
    for text in ("Set pressure kPa(g)", "Set pressure (kPa(g))", "Set pressure kPa (g)", "Set pressure [kPa(g)]"):
        assert units.unit_of(text) == "kPag"
    assert units.unit_of("Set pressure kPa(a)") == "kPaa"


def test_tags_without_a_heading(load: Any) -> None:
    found = load([["", "Set (psig)", "Size"], ["PSV-1", 150, "4P6"], ["PSV-2", 150, "3L4"], ["PSV-3", 150, "3L4"]])
    assert found.valves_found == found.rows_partial + found.rows_read == 3
    assert found.columns[0].how == "content"


def test_no_unit_anywhere_is_told_once_for_the_column(load: Any) -> None:
    found = load([["All pressures in barg"], ["Tag", "Set pressure", "Size"], ["PSV-1", 10, "4P6"], ["PSV-2", 11, "4P6"]])
    told = [p for p in found.problems if p.row is None and p.field == "set_pressure"]
    assert len(told) == 1 and "names a unit" in told[0].rule and "(barg)" in (told[0].mend or "")
    assert found.rows_partial == 2 and all(place.valve.set_pressure is None for place in found.locations)


def test_units_column_belongs_to_the_column_it_names(load: Any) -> None:
    heads = ["Tag", "Set (psig)", "Size", "Req'd Cap", "Mol Wt", "Cap Units", "Rated capacity SCFM air"]
    found = load([heads, ["PSV-1", 150, "4P6", 20, 44.1, "MMSCFD", 5000], ["PSV-2", 150, "4P6", 300, None, "USGPM", None]])
    first, second = (place.cases[0] for place in found.locations)
    # 20e6 SCF/d over 379.48 SCF/lbmol (gas engineers' figure)
    assert first.flow == pytest.approx(20e6 / 86400 / 379.48 * 0.45359237 * 44.1, rel=2e-4)
    assert second.volume_flow == pytest.approx(300 * 3.785411784e-3 / 60) and first.molar_mass == pytest.approx(0.0441)
    # 5000 SCFM of air, 28.9647 g/mol
    assert found.locations[0].valve.nameplate_flow == pytest.approx(5000 / 60 / 379.48 * 0.45359237 * 28.9647, rel=2e-4)


def test_units_column_that_fits_nothing_is_told(load: Any) -> None:
    found = load([["Tag", "Size", "Units", "Set (psig)"], ["PSV-1", "4P6", "psig", 10], ["PSV-2", "4P6", "barg", 10]])
    assert "fits no column of numbers" in rules(found)
    assert found.locations[1].valve.set_pressure == pytest.approx(ATM + 10 * PSI)


def test_valves_in_columns_are_refused_in_one_sentence(tmp_path: Path) -> None:
    rows = [["Tag", "PSV-1", "PSV-2"], ["Set pressure (barg)", 10, 12], ["Inlet size", 4, 3], ["Orifice", "P", "L"], ["MAWP (barg)", 10, 12]]
    with pytest.raises(InputUnusable, match="one valve in each row"):
        read(make.xlsx(tmp_path / "a.xlsx", {"DS": rows}), BASIS)


# --- tables and rows --------------------------------------------------------------------------------------------


def test_second_table_with_other_columns_is_read_by_its_own_headings(load: Any) -> None:
    found = load([
        ["Tag", "Set pressure (barg)", "Inlet size", "Orifice", "Outlet size"], ["PSV-1", 10, 4, "P", 6], [],
        ["Tag", "MAWP (psig)", "Set pressure (psig)", "Orifice", "Inlet size", "Outlet size"], ["PSV-2", 150, 145, "P", 4, 6],
    ], mends="PSV,5,mawp,140 psig,A. Person,2026-01-02,nameplate\n,2,mawp,11 barg,A. Person,2026-01-02,nameplate\n")  # fmt: skip
    first, second = found.locations
    assert second.valve.set_pressure == pytest.approx(ATM + 145 * PSI) and second.valve.inlet_size == 4.0
    assert second.vessel.mawp == pytest.approx(ATM + 140 * PSI) and first.vessel.mawp == pytest.approx(ATM + 11e5)
    assert [(s.role, s.header_rows, s.rows_found) for s in found.sheets] == [("main", (1,), 1), ("main", (4,), 1)]
    assert sum("further table begins in row 4" in p.rule for p in found.problems) == 1
    assert all(m.applied for m in found.mends)


def test_second_table_of_something_else_is_told_once(load: Any) -> None:
    found = load([
        ["Tag", "Set pressure (barg)", "Size"], ["PSV-1", 10, "4P6"], [], ["Rupture discs"],
        ["Disc", "Burst pressure barg", "Size", "Supplier", "Temp degC"], ["D-1", 15, '3"', "x", 40], ["D-2", 16, '4"', "x", 50],
    ])  # fmt: skip
    assert (found.rows_found, found.valves_found) == (1, 1)
    assert [p.rule for p in found.problems if p.row is None and "further table" in p.rule] == [
        "a further table begins in row 5 with headings of its own; its 2 rows were not read: it names no tag column"
    ]


def test_headings_of_two_lines_repeated_on_each_page(load: Any) -> None:
    groups = ["Valve", None, None, "Pressures (psig)", None, "Process"]
    names = ["Tag No.", "Inlet size", "Orifice", "Set", "MAWP", "Fluid"]
    found = load([
        ["Page 1 of 2"], groups, names, ["PSV-1", 4, "P", 150, 150, "C3"], [], ["Page 2 of 2"], groups, names, ["PSV-2", 4, "P", 150, 150, "C3"],
        [None, None, None, "Total", 300], ["Prepared by", "AB", None, "Date", datetime.date(2020, 1, 1)],
    ], merges={"PSV": [(1, 0, 1, 2), (1, 3, 1, 4), (6, 0, 6, 2), (6, 3, 6, 4)]})  # fmt: skip
    assert (found.rows_found, found.valves_found, len(found.sheets)) == (2, 2, 1)
    assert [kind for _, kind, _ in found.sheets[0].skipped] == ["note", "heading", "heading", "total", "note"]
    assert found.locations[1].unit is None and found.locations[1].valve.set_pressure == pytest.approx(ATM + 150 * PSI)


CASES = ["Tag", "Inlet size", "Orifice", "Outlet size", "Set pressure (barg)", "MAWP (barg)", "Scenario", "Fluid", "Required rate (kg/h)"]


@pytest.mark.parametrize("merged", [True, False])
def test_cases_in_rows_below_the_valve(load: Any, merged: bool) -> None:
    rows = [CASES, ["PSV-1", 4, "P", 6, 10, 10, "Fire", "propane", 3600], [None] * 6 + ["Blocked outlet", "propane", 7200],
            [None] * 6 + ["CV failure", "propane", 7200], ["PSV-2", 4, "P", 6, 10, 10, "Fire", "propane", 3600],
            [None] * 6 + ["see the other list", None, None], ["Unit 2"], [None] * 6 + ["Fire", "propane", 3600]]  # fmt: skip
    found = load(rows, merges={"PSV": [(1, c, 3, c) for c in range(6)]} if merged else {})
    assert [(case.name, case.cause, case.flow) for case in found.locations[0].cases] == [
        ("Fire", "fire", 1.0), ("Blocked outlet", "blocked-outlet", 2.0), ("CV failure", "control-valve", 2.0),
    ]  # fmt: skip
    # a row without a rate is no case, a row below a section heading belongs to nobody: both are refused by name
    assert (found.rows_read, found.rows_refused, found.valves_found) == (4, 2, 2)
    assert [row.row for row in found.rows if row.state == "refused"] == [6, 8]
    assert merged or any("further case of the valve above" in a.rule for a in found.assumptions)


def test_tag_cell_that_is_none_is_told_once(load: Any) -> None:
    found = load(plain(make.one(tag="TBC"), make.one(tag="N/A")))
    assert found.rows_refused == 2 and [p.row for p in found.problems] == [2, 3]


@pytest.mark.parametrize("text", ["deleted", "Removed from service", "demolished 2019", "out of service", "VOID"])
def test_valve_that_is_gone_is_asked_about(load: Any, text: str) -> None:
    found = load(plain(make.one(tag=f"PSV-1 ({text})"), make.one(tag="PSV-2 (spare)")))
    assert [p.row for p in found.problems] == [2] and "read all the same" in found.problems[0].rule
    assert found.valves_found == 2 and void("seal removed and renewed") == ""


# --- tags ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("PSV-101A/B/C", ("PSV-101A", "PSV-101B", "PSV-101C")), ("PSV-201 to 204", ("PSV-201", "PSV-202", "PSV-203", "PSV-204")),
        ("PSV-098~101", ("PSV-098", "PSV-099", "PSV-100", "PSV-101")), ("PSV-501…503", ("PSV-501", "PSV-502", "PSV-503")),
        ("PSV-201 to PSV-203", ("PSV-201", "PSV-202", "PSV-203")), ("PSV-801, 802, 803", ("PSV-801", "PSV-802", "PSV-803")),
        ("PSV-901/2", ("PSV-901", "PSV-902")), ("PSV-1 / PSV-2 / PSV-3", ("PSV-1", "PSV-2", "PSV-3")),
        ("PSV-1701A/1701B", ("PSV-1701A", "PSV-1701B")), ("PSV-1801A thru D", ("PSV-1801A", "PSV-1801B", "PSV-1801C", "PSV-1801D")),
        ("PSV-21A-C", ("PSV-21A", "PSV-21B", "PSV-21C")), ("PSV-101A,B", ("PSV-101A", "PSV-101B")), ("PSV—601", ("PSV-601",)),
        ("PSV‐601", ("PSV-601",)), ("(PSV-1201)", ("PSV-1201",)), ("PSV-201-204", ("PSV-201-204",)), ("0701", ("0701",)),
        ("PSV-101A\nPSV-101B", ("PSV-101A", "PSV-101B")),
    ],
)  # fmt: skip
def test_one_cell_and_its_tags(load: Any, text: str, expected: tuple[str, ...]) -> None:
    found = load(plain(make.one(tag=text)))
    assert tuple(place.tag for place in found.locations) == expected and found.rows_read == 1


@pytest.mark.parametrize("text", ["PSV-204 to 201", "PSV-201 to 299", "PSV-1D to A"])
def test_range_that_cannot_be_one_is_refused(load: Any, text: str) -> None:
    found = load(plain(make.one(tag=text)))
    assert (found.rows_refused, found.valves_found) == (1, 0) and text in found.rows[0].reason


def test_only_lettered_valves_share_a_duty(load: Any) -> None:
    found = load(plain(make.one(tag="PSV-201 to 203"), make.one(tag="PSV-301A/B")))
    assert [place.cases[0].installed for place in found.locations] == [None] * 3 + [2, 2]
    assert [place.twin for place in found.locations] == [None] * 3 + ["PSV-301B", "PSV-301A"]
    assert any(a.field == "location.tag" and a.rule == "one cell, 3 tags" for a in found.assumptions)
    assert tags.lettered(("PSV-1A", "PSV-1B")) and not tags.lettered(("PSV-1A", "PSV-2A"))


def test_set_pressures_of_three_valves_and_of_two_lines(load: Any) -> None:
    found = load(plain(make.one(tag="PSV-2A/B/C", set_pressure="10/10.5/11", mawp=11), make.one(tag="PSV-7A/B", set_pressure="10\n10.5", mawp=11),
                       make.one(tag="PSV-8A/B", set_pressure="10/10.5/11", mawp=11)))  # fmt: skip
    assert [round(((place.valve.set_pressure or ATM) - ATM) / 1e5, 6) for place in found.locations] == [10, 10.5, 11, 10, 10.5, 0, 0]
    assert "holds three pressures" in rules(found)


# --- numbers ---------------------------------------------------------------------------------------------------------


def test_point_in_a_column_of_decimal_commas_is_thousands(tmp_path: Path) -> None:
    rows = [["Tag", "Typ", "Size", "Set pressure (psig)", "MAWP (barg)", "Mol. wt."], ["PSV-1", "Conv", "4P6", "145,5", "10,5", "42,08"],
            ["PSV-2", "Conv", "3L4", "1.250", "90,0", "58,12"], ["Summe;", "", "", "", "", "1"]]  # fmt: skip
    found = read(make.csv(tmp_path / "a.csv", rows, mark=";", encoding="cp1252"), BASIS)
    assert found.locations[0].valve.set_pressure == pytest.approx(ATM + 145.5 * PSI)
    assert found.locations[1].valve.set_pressure == pytest.approx(ATM + 1250 * PSI)
    origin = found.locations[1].origins["valve.set_pressure"]
    assert origin.how == "assumed" and "point as thousands separator, as '145,5' in the same column proves" in origin.rule
    assert (found.rows_read, found.rows_partial, found.rows_refused) == (2, 0, 0) and found.locations[0].valve.kind == "conventional"


def test_comma_that_the_file_proves_to_be_thousands(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text('Tag,Set (psig),Size,Rate (lb/h),Rated Cap (lb/h)\nPSV-1,"1,250",4P6,"13,000","12,500.5"\n', encoding="utf-8")
    place = read(file, BASIS).locations[0]
    assert place.valve.set_pressure == pytest.approx(ATM + 1250 * PSI) and place.cases[0].flow == pytest.approx(13000 * LB_H)
    origin = place.origins["cases.0.flow"]
    assert origin.how == "assumed" and "'12,500.5'" in origin.rule and origin.text == "13,000"
    file.write_text('Tag,Set (psig),Size,Rate (lb/h)\nPSV-1,"1,250",4P6,"13,000"\n', encoding="utf-8")
    assert read(file, BASIS).locations[0].valve.set_pressure is None  # nothing proves it: refused


def test_number_kept_as_text_by_its_mark(load: Any) -> None:
    assert load(plain(make.one(mawp="'12"))).locations[0].vessel.mawp == pytest.approx(ATM + 12e5)


def test_accumulation_in_pressure_units(load: Any) -> None:
    heads = [*make.HEADINGS, "Accumulation"]
    given = load([heads, [*make.one(mawp=1), "0.2 bar"]]).locations[0]
    assert given.cases[0].accumulation == pytest.approx(1.2) and given.origins["cases.0.accumulation"].how == "derived"
    missing = load([heads, [*make.one(mawp=None, set_pressure=None), "0.2 bar"]])
    assert missing.locations[0].cases[0].accumulation is None and "needs the MAWP" in rules(missing)


def test_blowdown_in_pressure_units_without_a_set_pressure_is_told(load: Any) -> None:
    found = load([[*make.HEADINGS, "Blowdown"], [*make.one(set_pressure=None), "0.5 bar"]])
    assert found.locations[0].valve.blowdown is None and "needs the set pressure" in rules(found)


def test_difference_written_with_a_gauge_unit(load: Any) -> None:
    found = load([[*make.HEADINGS, "Built-up back pressure"], [*make.one(), "5 psig"], [*make.one(tag="PSV-2"), "0.5 barg"],
                  [*make.one(tag="PSV-3"), "2 bara"]])  # fmt: skip
    assert [place.cases[0].built_up for place in found.locations] == [pytest.approx(5 * PSI), pytest.approx(5e4), None]
    assert any("read as a difference" in a.rule for a in found.assumptions) and found.rows_partial == 1


def test_saturated_is_no_unreadable_temperature(load: Any) -> None:
    found = load(plain(make.one(fluid="Steam", temperature="sat", mol_wt=None, k=None)))
    assert found.rows_read == 1 and found.locations[0].cases[0].temperature is None


def test_counts_of_valves_in_words_are_refused_plainly(load: Any) -> None:
    found = load([[*make.HEADINGS, "Number installed"], [*make.one(), "2 x 100%"]])
    assert [p.rule for p in found.problems] == ["'2 x 100%' is not a whole number"]


def test_refusal_keeps_a_colon_of_the_cell(load: Any) -> None:
    problem = load(plain(make.one(tag="PSV-4A/B", set_pressure="A: 10 B: 10.5"))).problems[0]
    assert problem.rule == "'A: 10 B: 10.5' is not a number with a unit" and (problem.mend or "").startswith("write")


# --- fluids and cases --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "fluid", "phase"),
    [("Propane / Gas", "Propane", "gas"), ("C3/C4 mix (2-phase)", "C3/C4 mix", "two-phase"), ("Boiler feed water - liquid", "Boiler feed water", "liquid"),
     ("Steam", None, "steam"), ("Gas", None, "gas"), ("Naphtha", "Naphtha", None)],
)  # fmt: skip
def test_fluid_and_state_in_one_cell(load: Any, cell: str, fluid: str | None, phase: str | None) -> None:
    rows = [[*make.HEADINGS[:8], "Fluid / State", *make.HEADINGS[9:]], *(make.one(tag=f"PSV-{n}", fluid="Gas") for n in range(1, 5)), make.one(fluid=cell)]
    case = load(rows).locations[-1].cases[0]
    assert (case.fluid, case.phase) == (fluid, phase)


def test_twin_on_the_cases_sheet_adds_what_the_row_lacks(load: Any) -> None:
    cases = {"Cases": [["Tag", "Scenario", "Required rate (kg/h)", "v1 (m3/kg)", "v9 (m3/kg)", "Quality", "Built-up BP"],
                       ["PSV-101", "Blocked outlet", 24000, 0.05, 0.06, 0.4, "5 psig"], ["PSV-101", "Fire", 24000, None, None, None, None]]}  # fmt: skip
    found = load([[*make.HEADINGS, "Governing case"], [*make.one(), "Blocked outlet"]], sheets=cases)
    first, second = found.locations[0].cases
    assert (first.specific_volume, first.specific_volume_90, first.quality) == (0.05, 0.06, 0.4)
    assert first.flow == pytest.approx(24000 / 3600) and first.built_up == pytest.approx(5 * PSI)
    # the same rate under another name is another case; the fluid of the row is an assumption there
    assert (second.cause, second.molar_mass, second.temperature) == ("fire", pytest.approx(0.0441), None)
    assert found.locations[0].origins["cases.1.molar_mass"].how == "assumed"


def test_count_of_a_column_and_the_history_sheet_are_not_added(load: Any) -> None:
    history = {"History": [["Tag", "Date", "Event", "Remarks"], *(["PSV-101", f"202{n}-05-01", "bellows renewed", ""] for n in (1, 3)),
                           ["PSV-101", "2023-05-01", "overhaul", "lapped"]]}  # fmt: skip
    found = load([[*make.HEADINGS, "Bellows replaced", "Overhauls"], [*make.one(), 2, 3]], sheets=history)
    events = found.locations[0].history.events
    assert sum(int(e.value or 1) for e in events if e.event == "bellows") == 2
    assert sum(int(e.value or 1) for e in events if e.event == "overhaul") == 3


def test_row_with_a_check_only_figure_has_no_case(load: Any) -> None:
    found = load([["Tag", "Set (barg)", "Required area (in2)"], ["PSV-1", 10, 1.2]])
    assert found.locations[0].cases == ()


# --- mends -----------------------------------------------------------------------------------------------------------


def test_mends_of_a_pair_of_a_blank_and_of_the_cases_sheet(load: Any) -> None:
    cases = {"Cases": [["Tag", "Case", "Required rate (kg/h)"], ["PSV-101A", "Fire", "TBC"]]}
    found = load(plain(make.one(tag="PSV-101A/B", set_pressure="TBC", mawp=None, rate=None)), sheets=cases, mends=(
        "PSV,2,set_pressure,10/10.5 barg,A,2026-01-02,two valves\nPSV,2,set pressure,9.5 barg,A,2026-01-02,nameplate\n"
        "PSV,2,mawp,12 barg,A,2026-01-02,nameplate\nCases,2,flow,3600 kg/h,A,2026-01-02,study\n"
    ))  # fmt: skip
    assert [place.valve.set_pressure for place in found.locations] == [pytest.approx(ATM + 9.5e5)] * 2
    assert all(place.vessel.mawp == pytest.approx(ATM + 12e5) and place.cases[0].flow == 1.0 for place in found.locations)
    assert [(m.applied, m.before) for m in found.mends] == [(False, "TBC"), (True, "TBC"), (True, ""), (True, "TBC")]
    assert found.rows_read == 1 and "mend not applied" in rules(found)
    assert found.locations[0].origins["cases.0.flow"].how == "mended"


@pytest.mark.parametrize(("line", "words"), [("PSV,two,mawp,9 barg,A,2026-01-02,x", "number cannot be read"), ("PSV,1,mawp,9 barg,A,2026-01-02,x", "no row"),
                                             ("PSV,2,colour,red,A,2026-01-02,x", "unknown field"), ("PSV,2,mawp,heavy,A,2026-01-02,x", "not a number")])  # fmt: skip
def test_bad_mend_is_a_problem(load: Any, line: str, words: str) -> None:
    found = load(plain(make.one()), mends=line + "\n")
    assert [p.file for p in found.problems if words in p.rule] == ["mends.csv"] and not found.mends[0].applied


def test_second_mend_of_one_cell_is_told(load: Any) -> None:
    found = load(plain(make.one()), mends="PSV,2,mawp,11 barg,A,2026-01-02,x\nPSV,2,mawp,12 barg,A,2026-01-03,y\n")
    assert "second mend of mawp" in rules(found) and found.locations[0].vessel.mawp == pytest.approx(ATM + 12e5)


def test_reading_leaves_the_garbage_collector_as_it_was(load: Any) -> None:
    import gc

    load(plain(make.one()))
    assert gc.isenabled()
