"""Readings that nobody should have to guess: back pressure totals, number marks, foreign headings, second lists, points in dates.

Expected values are worked by hand; the hand calculation stands beside each.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from registers import make

from quietseat import basis, demo
from quietseat.assess import assess
from quietseat.register import Register, read

BASIS = basis.make()
ATM, BAR = 101325.0, 1e5


@pytest.fixture
def load(tmp_path: Path) -> Any:
    """Read rows under headings as a workbook; further sheets by name."""

    def loaded(*rows: Sequence[Any], heads: Sequence[Any] = make.HEADINGS, **sheets: Any) -> Register:
        found = read(make.xlsx(tmp_path / "r.xlsx", {"PSV": [heads, *rows], **sheets}), BASIS)
        assert found.rows_found == found.rows_read + found.rows_partial + found.rows_refused == len(found.rows)
        json.dumps(found.to_dict())
        return found

    return loaded


def text(found: Register) -> str:
    return "\n".join(problem.sentence() for problem in found.problems)


# --- total back pressure -----------------------------------------------------------------------------------------------


def with_back(load: Any, **extra: Any) -> Register:
    found: Register = load(
        [*make.one(), *extra.values()], heads=[*make.HEADINGS, *(key.replace("_", " ") for key in extra)]
    )
    return found


def test_a_total_alone_is_all_built_up(load: Any) -> None:
    found = load([*make.one(), 3], heads=[*make.HEADINGS, "Back pressure (barg)"])
    case, origin = found.locations[0].cases[0], found.locations[0].origins["cases.0.built_up"]
    assert case.built_up == pytest.approx(3 * BAR) and case.superimposed_max == pytest.approx(ATM)  # 3 barg less 0 barg
    assert (
        origin.how == "assumed"
        and origin.where == "PSV!N2"
        and origin.rule.startswith("total back pressure taken as built-up")
    )
    told = next(a for a in found.assumptions if a.field == "cases.built_up")
    assert told.source.startswith("this tool's rule") and "PSV!N2" in told.source and found.problems == ()


def test_a_total_less_the_superimposed_is_built_up(load: Any) -> None:
    found = load(
        [*make.one(), 3, 0.5], heads=[*make.HEADINGS, "Back pressure (barg)", "Superimposed back pressure max (barg)"]
    )
    case = found.locations[0].cases[0]
    assert case.built_up == pytest.approx(2.5 * BAR) and case.superimposed_max == pytest.approx(
        ATM + 0.5 * BAR
    )  # 3 - 0.5


def test_a_total_matters_to_a_conventional_valve(load: Any) -> None:
    heads = [*make.HEADINGS, "Back pressure (barg)"]
    none, some = (assess(load([*make.one(rate=9000), bar], heads=heads).locations[0], BASIS) for bar in (0, 3))
    # 3 bar of 10 barg set is 30 % built-up, above the 10 % of a conventional valve (API 520-1)
    assert none.cases[0].built_up == pytest.approx(0.0) and some.cases[0].built_up == pytest.approx(3 * BAR)
    outcomes = [[one.outcome for one in found.findings if one.code == "back-pressure"] for found in (none, some)]
    assert outcomes[0] in ([], ["pass"]) and outcomes[1] == ["fail"]


def test_a_total_beside_a_known_line_is_kept_for_a_cross_check(load: Any) -> None:
    heads = [*make.HEADINGS, "Back pressure (barg)", "Outlet line size (in)", "Outlet line length (m)"]
    found = load([*make.one(), 3, 6, 20], heads=heads)
    place = found.locations[0]
    assert place.cases[0].built_up is None and found.rows_read == 1
    assert "kept for a cross-check: the line is calculated" in text(found) and "read all the same" in text(found)
    assert place.origins["cases.0.total_back_pressure"].where == "PSV!N2"  # what the cell is used for is not blank


def test_a_total_with_a_line_of_unknown_length_is_built_up(load: Any) -> None:
    heads = [*make.HEADINGS, "Back pressure (barg)", "Outlet line size (in)"]
    assert load([*make.one(), 1.2, 6], heads=heads).locations[0].cases[0].built_up == pytest.approx(1.2 * BAR)


def test_a_total_below_the_superimposed_is_a_contradiction(load: Any) -> None:
    heads = [*make.HEADINGS, "Back pressure (barg)", "Superimposed back pressure max (barg)"]
    found = load([*make.one(), 1, 2], heads=heads)
    assert found.locations[0].cases[0].built_up is None and found.rows_partial == 1
    told = next(p for p in found.problems if p.field == "total_back_pressure")
    assert told.rule.startswith("check: the total back pressure is below the superimposed") and len(told.settles) == 2


def test_the_total_of_the_row_counts_for_its_further_cases(load: Any) -> None:
    cases = [["Tag", "Case", "Required rate (kg/h)"], ["PSV-101", "Fire", 9000], ["PSV-101", "Blocked outlet", 8000]]
    found = load([*make.one(), 2], heads=[*make.HEADINGS, "Back pressure (barg)"], Cases=cases)
    assert [case.built_up for case in found.locations[0].cases] == pytest.approx([2 * BAR] * 3)


def test_a_contradiction_is_told_where_it_stands(load: Any) -> None:
    cases = [
        ["Tag", "Case", "Required rate (kg/h)", "Back pressure (barg)", "Superimposed back pressure max (barg)"],
        ["PSV-101", "Fire", 9000, 1, 2],
    ]
    told = next(p for p in load(make.one(rate=None), Cases=cases).problems if p.field == "total_back_pressure")
    assert (told.sheet, told.row, told.column) == ("Cases", 2, "D")


# --- a share of what ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "set_heading", "set_", "words"),
    [
        ("20 %", "Set pressure (psig)", 110, "20 % of set 110 psig is 22 psi: write it with its unit"),
        ("10 %", "Set pressure", "12 kg/cm2", "10 % of set 12 kg/cm2(g) is 1.2 kg/cm2: write it with its unit"),
        ("10 %", "Set pressure", None, "write it with its unit of pressure"),
    ],
)  # fmt: skip
def test_a_back_pressure_in_per_cent(load: Any, cell: str, set_heading: str, set_: Any, words: str) -> None:
    found = load(["PSV-1", "4P6", set_, cell], heads=["Tag", "Size", set_heading, "Back pressure"])
    told = next(p for p in found.problems if p.field == "total_back_pressure")
    assert "is a share of what?" in told.rule and told.mend == words and "for example" not in told.sentence()


def test_a_back_pressure_under_a_heading_in_per_cent(load: Any) -> None:
    found = load(
        ["PSV-1", "4P6", 10, 30], ["PSV-2", "4P6", 8, 0], heads=["Tag", "Size", "Set (barg)", "Back pressure (%)"]
    )
    assert "30 % of set 10 barg is 3 bar" in text(found) and "names a unit" not in text(found)
    assert found.locations[1].cases[0].built_up == 0.0  # 0 % of any pressure


# --- one mark, three digits --------------------------------------------------------------------------------------------

RATES = ["Tag", "Set pressure (barg)", "Required rate (kg/h)", "Size"]


def rate(found: Register, at: int = 0) -> float | None:
    flow = next((case.flow for case in found.locations[at].cases), None)
    return None if flow is None else flow * 3600


@pytest.mark.parametrize("cell", ["6.500", "6,500", "6.500 kg/h", "6,500 kg/h"])
def test_undecided_marks_are_refused_with_both_readings(load: Any, cell: str) -> None:
    found = load(
        ["PSV-1", 10.5, cell, "1.5F2"], ["PSV-2", 9, 4000, "1.5F2"], heads=RATES
    )  # a designation proves nothing
    unit = " kg/h" if "kg" in cell else ""
    told = next(p for p in found.problems if p.field == "flow")
    assert f"6.5{unit} or 6500{unit}" in told.rule and told.mend == f"write the number as '6500{unit}' or '6.5{unit}'"
    assert rate(found) is None


@pytest.mark.parametrize(
    ("cell", "proof", "expected"),
    [("6.500", "10,5", 6500), ("6,500", "10,5", 6.5), ("6.500", "10.5", 6.5), ("6,500", "10.5", 6500),
     ("6.500", "1.234,5", 6500), ("6,500", "1,234.5", 6500), ("6.500", "1.234.567", 6500)],
)  # fmt: skip
@pytest.mark.parametrize("same", [True, False])
def test_marks_decided_by_column_or_sheet(load: Any, cell: str, proof: str, expected: float, same: bool) -> None:
    rows = (["PSV-1", 10, cell, "3K4", None], ["PSV-2", 10, proof if same else 5000, "3K4", None if same else proof])
    found = load(*rows, heads=[*RATES, "Density (kg/m3)"])
    assert rate(found) == pytest.approx(expected)
    origin = found.locations[0].origins["cases.0.flow"]
    if expected == 6500:
        assert origin.how == "assumed" and repr(proof) in origin.rule and ("column" if same else "sheet") in origin.rule


def test_mixed_marks_are_refused(load: Any) -> None:
    found = load(["PSV-1", 10, "6.500", "3K4"], ["PSV-2", 10, "10,5", "3K4"], ["PSV-3", 10, "7.25", "3K4"], heads=RATES)
    assert rate(found) is None and "'10,5' and '7.25' in the same column prove both marks decimal" in text(found)


def test_the_column_goes_before_the_sheet(load: Any) -> None:
    found = load(["PSV-1", "10.5", "6.500", "3K4"], ["PSV-2", "9.5", "1.250,5", "3K4"], heads=RATES)
    assert rate(found) == pytest.approx(6500) and found.locations[0].valve.set_pressure == pytest.approx(
        ATM + 10.5 * BAR
    )


def test_a_real_number_is_never_ambiguous(load: Any) -> None:
    assert rate(load(["PSV-1", "10,5", 6.125, "3K4"], heads=RATES)) == pytest.approx(6.125)


def test_a_ratio_of_heats_cannot_be_thousands(load: Any) -> None:
    found = load(["PSV-1", 10, 5000, "3K4", "1.399"], heads=[*RATES, "k"])
    assert found.locations[0].cases[0].k == pytest.approx(1.399)


def test_a_reading_of_the_history_is_decided_too(load: Any) -> None:
    history = [
        ["Tag", "Date", "Event", "Reading"],
        ["PSV-101", "2024-06-01", "leak", "2.300 ppm"],
        ["PSV-101", "2023-06-01", "pop", "10,5 barg"],
    ]
    events = load(make.one(), History=history).locations[0].history.events
    assert [event.value for event in events] == pytest.approx([2300, ATM + 10.5 * BAR])


# --- sizes of a sheet beside the list -----------------------------------------------------------------------------------


def test_classes_on_a_sheet_of_cases_are_taken_apart(load: Any) -> None:
    cases = [
        ["Tag", "Class", "Back pressure (barg)", "Required rate (kg/h)", "Case"],
        ["PSV-101", "300/150", 0, 5000, "fire"],
    ]
    found = load(make.one(inlet_class=None, rate=None), cases=cases)
    valve = found.locations[0].valve
    assert (valve.inlet_class, valve.outlet_class) == (300, 150) and "Size(" not in text(found)


def test_a_designation_beside_the_list_fills_its_parts(load: Any) -> None:
    cases = [["Tag", "Case", "Required rate (kg/h)", "Size"], ["PSV-101", "Fire", 5000, "4P6"]]
    found = load(make.one(inlet_size=None, orifice=None, outlet_size=None, rate=None), Cases=cases)
    valve = found.locations[0].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size) == (4.0, "P", 6.0) and found.problems == ()


def test_no_record_is_printed_to_the_user(load: Any, tmp_path: Path) -> None:
    odd = [["Tag", "Class", "Size", "Case"], ["PSV-101", "300/150", "3L4", "fire"], ["PSV-101", "Q", "1E2", "fire"]]
    samples = [
        read(demo.files().register, BASIS), read(demo.files().register, BASIS, demo.files().mends),
        load(make.one(), Cases=odd), load(make.one(), History=[["Tag", "Event", "Class"], ["PSV-101", "pop", "300 x 150"]]),
        load(make.one(), make.one(inlet_class="600/150"), make.one(tag="PSV-7", inlet_size="4P6", orifice="Q")),
    ]  # fmt: skip
    for found in samples:
        for said in (text(found), json.dumps([row.reason for row in found.rows]), json.dumps(found.to_dict())):
            assert "Size(" not in said and "=None" not in said


# --- foreign headings, second lists ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "heads",
    [
        ("Ventil-Nr.", "Bauart", "Größe", "Ansprechdruck [barg]", "Auslegungsdruck [barg]", "Betriebsdruck [barg]", "Medium", "Abblasemenge [kg/h]"),
        ("Repère", "Type de soupape", "Taille", "Pression de tarage (barg)", "Pression de calcul (barg)", "Pression de service (barg)", "Fluide", "Débit requis (kg/h)"),
        ("Etiqueta", "Tipo de válvula", "Tamaño", "Presión de ajuste (barg)", "Presión de diseño (barg)", "Presión de operación (barg)", "Fluido", "Caudal requerido (kg/h)"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("kind", ["konventionell", "Conventionnelle", "Convencional"])
def test_german_french_and_spanish_headings(load: Any, heads: tuple[str, ...], kind: str) -> None:
    found = load(["PSV-1", kind, "3K4", 10.5, 12, 8, "air", 5000], heads=heads)
    place = found.locations[0]
    assert found.problems == () and found.rows_read == 1 and place.valve.kind == "conventional"
    assert place.valve.set_pressure == pytest.approx(ATM + 10.5 * BAR) and place.vessel.mawp == pytest.approx(
        ATM + 12 * BAR
    )
    assert place.vessel.operating_pressure == pytest.approx(ATM + 8 * BAR) and rate(found) == pytest.approx(5000)


HEADS_2 = [
    "Tag",
    "API size",
    "Asetuspaine (barg)",
    "Fluid",
    "k",
    "Mol wt",
    "Relief temp (degC)",
    "Required rate (kg/h)",
    "Case",
]


def second(*numbers: int) -> list[list[Any]]:
    return [HEADS_2, *([f"PSV-{number}", "3K4", 10, "air", 1.4, 29, 40, 5000, "fire"] for number in numbers)]


def test_a_sheet_that_lists_new_valves_is_a_further_list(load: Any) -> None:
    found = load(make.one(), **{"Unit 41": second(201, 202, 203)})
    assert [(sheet.role, sheet.rows_found, sheet.rows_matched) for sheet in found.sheets] == [
        ("main", 1, 1),
        ("main", 3, 3),
    ]
    assert found.rows_found == 4 and {place.tag for place in found.locations} >= {"PSV-201", "PSV-202", "PSV-203"}
    first = found.problems[0]
    assert first.sheet == "Unit 41" and first.rule == "no column was read as set pressure: 3 rows have none"
    assert first.mend == "name its set pressure column: C 'Asetuspaine (barg)' [barg] may be it"
    assert "the set pressure is missing" not in text(found) and "C 'Asetuspaine (barg)'" in text(found)


def test_rows_that_match_no_valve_are_counted_and_listed(load: Any) -> None:
    listed = second(301, 302)
    cases = [
        [head for head in listed[0] if head != "API size"],
        *([cell for place, cell in enumerate(row) if place != 1] for row in listed[1:]),
    ]
    cases.append(["PSV-101", 10, "propane", 1.13, 44.1, 60, 9000, "reflux"])
    found = load(make.one(), Cases=cases)
    assert (found.rows_found, found.rows_refused) == (3, 2)
    lost = [row for row in found.rows if row.state == "refused"]
    assert [(row.sheet, row.row) for row in lost] == [("Cases", 2), ("Cases", 3)] and "'PSV-301'" in lost[0].reason
    first = found.problems[0]
    assert first.sheet == "Cases" and first.rule.startswith("2 of 3 rows match no valve: is this a list of valves?")
    assert "name its set pressure column: B 'Asetuspaine (barg)' [barg] may be it" in str(first.mend)


def test_columns_nobody_knows_are_named_once(load: Any) -> None:
    found = load([*make.one(), "B-12", "x"], heads=[*make.HEADINGS, "Drawer", "Binder"])
    assert [p.rule for p in found.problems] == ["2 columns not known: their cells are not used: N 'Drawer', O 'Binder'"]


def test_a_kind_nobody_states_is_an_assumption(load: Any) -> None:
    for found in (load(make.one(type=None)), load(make.one(), heads=["Tag", "Typologie", *make.HEADINGS[2:]])):
        place = found.locations[0]
        assert place.valve.kind is None and "valve.kind" not in place.origins
        assert any(a.field == "valve.kind" and a.value == "conventional" for a in assess(place, BASIS).assumptions)


# --- dates, words ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "day"),
    [("03.06.2022", "2022-06-03"), ("1.2.22", "2022-02-01"), ("5.4.98", "1998-04-05"), ("31.12.2020", "2020-12-31")],
)
def test_dates_with_points_have_the_day_first(load: Any, cell: str, day: str) -> None:
    found = load([*make.one(), cell], ["PSV-102", *make.one()[1:], "12/31/2021"], heads=[*make.HEADINGS, "Last test"])
    assert found.locations[0].history.events[0].date == day and found.rows_read == 2
    if cell != "31.12.2020":
        assert any("written with points: day, month, year" in a.rule for a in found.assumptions)


def test_the_mend_of_a_date_is_no_reading_of_it(load: Any) -> None:
    found = load([*make.one(), "03/04/2021"], heads=[*make.HEADINGS, "Last test"])
    assert "write it as year-month-day (YYYY-MM-DD)" in text(found) and "2021-0" not in text(found)


def test_a_word_found_names_its_field(load: Any) -> None:
    found = load([*make.one(), "chatters at start-up"], heads=[*make.HEADINGS, "Remarks"])
    assert any(a.rule == "word found in remarks: 'chatters'" for a in found.assumptions), found.assumptions
