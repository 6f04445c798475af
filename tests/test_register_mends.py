"""Mends of whole columns and of rows: units, codes, headings, split rows. Expected values are worked by hand."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from registers import make

from quietseat import basis
from quietseat.register import Register, read

BASIS = basis.make()
ATM, PSI = 101325.0, 6894.757293168  # Pa; NIST SP 811: 1 psi
SIGNED = "A. Person,2026-01-02,asked the plant"
HEADS = ("Tag", "Type", "Inlet size", "Orifice", "Outlet size", "Inlet class", "Set pressure", "MAWP (barg)",
         "Fluid", "Mol wt", "k", "Relieving temp (degC)", "Required rate (kg/h)")  # fmt: skip


@pytest.fixture
def load(tmp_path: Path) -> Any:
    """Read rows of the sheet PSV, and further sheets, under mends."""

    def loaded(rows: Sequence[Sequence[Any]], *mends: str, heads: Sequence[Any] = HEADS, **sheets: Any) -> Register:
        file = make.xlsx(tmp_path / "reg.xlsx", {"PSV": [heads, *rows], **sheets})
        listed = tmp_path / "mends.csv"
        listed.write_text("\n".join(("sheet,row,field,value,who,when,why", *mends)), encoding="utf-8")
        found = read(file, BASIS, listed)
        assert found.rows_found == found.rows_read + found.rows_partial + found.rows_refused
        assert all(m.applied or any(p.file == "mends.csv" and p.value == m.value for p in found.problems) for m in found.mends)
        return found

    return loaded


def row(tag: str, kind: str = "Conventional", set_pressure: Any = 100) -> list[Any]:
    return [tag, kind, 4, "P", 6, 150, set_pressure, 10, "propane", 44.1, 1.13, 60, 24000]


def sets(found: Register) -> list[float | None]:
    return [place.valve.set_pressure for place in found.locations]


def rules(found: Register) -> list[str]:
    return [p.rule for p in found.problems if p.file == "mends.csv"]


# --- unit of a column ------------------------------------------------------------------------------------------------


def test_without_a_unit_the_column_is_refused(load: Any) -> None:
    found = load([row("PSV-1"), row("PSV-2")])
    assert sets(found) == [None, None] and found.rows_partial == 2


@pytest.mark.parametrize("name", ["set_pressure.unit", "valve.set_pressure.unit", "Set pressure.unit"])
def test_a_unit_reads_the_whole_column(load: Any, name: str) -> None:
    found = load([row("PSV-1"), row("PSV-2", set_pressure=120), row("PSV-3", set_pressure="9 barg")], f"PSV,,{name},psig,{SIGNED}")
    # a cell with its own unit keeps it
    assert sets(found) == pytest.approx([ATM + 100 * PSI, ATM + 120 * PSI, ATM + 9e5])
    (mend,) = found.mends
    assert (mend.kind, mend.applied, mend.cells, mend.before) == ("unit", True, 2, "no unit")
    origins = [place.origins["valve.set_pressure"] for place in found.locations]
    assert [(o.how, o.where) for o in origins] == [("mended", "PSV!G2"), ("mended", "PSV!G3"), ("read", "PSV!G4")]
    assert "mends line 2" in origins[0].rule and "A. Person" in origins[0].rule and origins[0].text == "100"
    column = next(c for c in found.columns if c.field == "set_pressure")
    assert column.unit == "psig" and "A. Person" in column.note and rules(found) == []
    assert not any("names a unit" in p.rule for p in found.problems)


def test_a_unit_wins_over_the_heading(load: Any) -> None:
    heads = [*HEADS[:6], "Set pressure (barg)", *HEADS[7:]]
    found = load([row("PSV-1")], f",,set_pressure.unit,psig,{SIGNED}", heads=heads)
    assert sets(found) == pytest.approx([ATM + 100 * PSI]) and found.mends[0].before == "barg"


@pytest.mark.parametrize(("line", "words"), [
    (f"PSV,,set_pressure.unit,furlong,{SIGNED}", "no unit of set_pressure"),
    (f"PSV,,set_pressure.unit,kg/h,{SIGNED}", "no unit of set_pressure"),
    (f"PSV,,kind.unit,psig,{SIGNED}", "kind has no unit"),
    (f"PSV,,cdtp.unit,psig,{SIGNED}", "no column is read as cdtp"),
    (f"PSV,,setpresure.unit,psig,{SIGNED}", "unknown field 'setpresure'"),
    (f"List,,set_pressure.unit,psig,{SIGNED}", "unknown sheet 'List'"),
    ("PSV,,set_pressure.unit,psig,,,", "without who and when"),
    (f"PSV,,set_pressure.code,100,{SIGNED}", "not the meaning of a code"),
    (f"PSV,,kind.code,CV=sideways,{SIGNED}", "'sideways' is none of"),
    (f"PSV,,kind.code,XY=pilot,{SIGNED}", "stands in no cell"),
    (f"PSV,,tag.code,X=PSV-3,{SIGNED}", "mend the cell in its row"),
    (f"PSV,,column.ZZ,kind,{SIGNED}", "no column 'ZZ'"),
    (f"PSV,,column.B,sort of,{SIGNED}", "unknown field 'sort of'"),
    (f"PSV,,column.G,set_pressure_barg,{SIGNED}", "names a unit too"),
    ("PSV,,column.B,kind,,,", "without who and when"),
    (f"PSV,2,split,PSV-1,{SIGNED}", "two tags or more"),
    (f"PSV,2,split,PSV-1A|no tag,{SIGNED}", "two tags or more"),
    (f"PSV,2,split,PSV-1A|PSV-01A,{SIGNED}", "the same"),
    (f"PSV,99,split,PSV-1A|PSV-1B,{SIGNED}", "no row of the register"),
    (f"PSV,,split,PSV-1A|PSV-1B,{SIGNED}", "no row"),
    ("PSV,2,split,PSV-1A|PSV-1B,,,", "without who and when"),
])  # fmt: skip
def test_what_cannot_be_used_is_a_problem_with_its_mend(load: Any, line: str, words: str) -> None:
    found = load([row("PSV-1", set_pressure="9 barg")], line)
    told = [p for p in found.problems if p.file == "mends.csv"]
    assert not found.mends[0].applied and any(words in f"{p.rule} {p.mend}" for p in told) and all(p.mend for p in told)
    assert sets(found) == pytest.approx([ATM + 9e5])


# --- meaning of a code -----------------------------------------------------------------------------------------------


def test_codes_get_their_meaning(load: Any) -> None:
    rows = [row("PSV-1", "CV", "9 barg"), row("PSV-2", "bw", "9 barg"), row("PSV-3", "CV", "9 barg"), row("PSV-4", "pilot", "9 barg")]
    found = load(rows, f"PSV,,kind.code,CV=conventional,{SIGNED}", f"PSV,,kind.code,BW = bellows,{SIGNED}")
    assert [place.valve.kind for place in found.locations] == ["conventional", "bellows", "conventional", "pilot"]
    assert [(m.kind, m.cells, m.before) for m in found.mends] == [("code", 2, "refused"), ("code", 1, "refused")]
    origin = found.locations[0].origins["valve.kind"]
    assert (origin.how, origin.where, origin.text) == ("mended", "PSV!B2", "CV") and "'CV' means 'conventional'" in origin.rule


def test_codes_make_a_column_readable_that_no_word_of_was_known(load: Any) -> None:
    rows = [row(f"PSV-{n}", "KX", "9 barg") for n in range(6)]
    assert next(c for c in load(rows).columns if c.heading == "Type").field == ""
    found = load(rows, f"PSV,,kind.code,KX=pilot,{SIGNED}")
    assert {place.valve.kind for place in found.locations} == {"pilot"} and found.mends[0].cells == 6


def test_a_code_may_mean_that_nothing_is_known(load: Any) -> None:
    found = load([row("PSV-1", "??-old", "9 barg")], f"PSV,,kind.code,??-old=unknown,{SIGNED}")
    assert found.locations[0].valve.kind is None and found.mends[0].applied
    assert [p.rule for p in found.problems if p.field == "kind"] == ["'??-old' means 'unknown': mends line 2, by A. Person on 2026-01-02: asked the plant"]


def test_the_name_of_a_case_by_code_tells_its_cause(load: Any) -> None:
    heads = [*HEADS, "Case"]
    found = load([[*row("PSV-1", set_pressure="9 barg"), "F"]], f"PSV,,case.name.code,F=Fire,{SIGNED}", heads=heads)
    assert found.locations[0].cases[0].cause == "fire"


# --- meaning of a heading --------------------------------------------------------------------------------------------


def test_a_column_is_named(load: Any) -> None:
    heads = [*HEADS[:6], "Zeta", *HEADS[7:]]
    found = load([row("PSV-1", set_pressure="9 barg"), row("PSV-2", set_pressure=100)],
                 f"PSV,,column.G,set_pressure,{SIGNED}", f"PSV,,set_pressure.unit,psig,{SIGNED}", heads=heads)  # fmt: skip
    assert sets(found) == pytest.approx([ATM + 9e5, ATM + 100 * PSI])
    assert [(m.kind, m.before, m.cells, m.applied) for m in found.mends] == [("column", "not mapped", 2, True), ("unit", "no unit", 1, True)]
    column = next(c for c in found.columns if c.letter == "G")
    assert (column.field, column.how) == ("set_pressure", "mended") and "A. Person" in column.note


def test_a_named_column_wins_and_the_other_becomes_the_second(load: Any) -> None:
    heads = [*HEADS, "Set pressure (barg)"]
    found = load([[*row("PSV-1", set_pressure="9 barg"), 9]], f"PSV,,column.N,set_pressure,{SIGNED}", heads=heads)
    assert found.locations[0].origins["valve.set_pressure"].where == "PSV!N2"
    assert next(c for c in found.columns if c.letter == "G").how == "second for N"


def test_a_column_is_not_used(load: Any) -> None:
    heads = [*HEADS, "Set pressure (barg)"]
    found = load([[*row("PSV-1", set_pressure="8 barg"), 9]], f"PSV,,column.G,not used,{SIGNED}", heads=heads)
    assert sets(found) == pytest.approx([ATM + 9e5])  # the other column stands in
    assert (found.mends[0].before, found.mends[0].applied) == ("set_pressure", True)


def test_a_sheet_is_read_once_its_columns_are_named(load: Any) -> None:
    beside = [["Zahl", "Fluid", "Mol wt"], ["PSV-1", "butane", 58.1]]
    heads = [*HEADS[:8], "Drawing", "Sheet no", "Rev", *HEADS[11:]]
    assert all(s.role == "other" for s in load([row("PSV-1")], heads=heads, Other=beside).sheets[1:])
    found = load([row("PSV-1")], f"Other,,column.A,tag,{SIGNED}", heads=heads, Other=beside)
    assert found.sheets[1].role == "cases" and "butane" in [case.fluid for case in found.locations[0].cases]


def test_the_sheet_may_be_left_out_where_one_lists_valves_only(load: Any) -> None:
    more = [HEADS, row("PSV-9")]
    assert "without its sheet" in rules(load([row("PSV-1")], f",,set_pressure.unit,psig,{SIGNED}", Area2=more))[0]
    found = load([row("PSV-1")], f"Area2,,set_pressure.unit,psig,{SIGNED}", Area2=more)
    assert sets(found) == [None, pytest.approx(ATM + 100 * PSI)]


# --- split rows ------------------------------------------------------------------------------------------------------


def test_a_row_is_split(load: Any) -> None:
    found = load([row("PSV-7 (pair)", set_pressure="9 barg / 9.5 barg")], f"PSV,2,split,PSV-7A|PSV-7B,{SIGNED}")
    assert [place.tag for place in found.locations] == ["PSV-7A", "PSV-7B"] and found.rows_found == 1
    assert sets(found) == pytest.approx([ATM + 9e5, ATM + 9.5e5])
    assert found.locations[0].twin == "PSV-7B" and found.locations[0].cases[0].installed == 2
    (mend,) = found.mends
    assert (mend.kind, mend.before, mend.applied) == ("split", "PSV-7 (pair)", True)
    origin = found.locations[0].origins["location.tag"]
    assert (origin.how, origin.where) == ("mended", "mends line 2") and found.rows[0].tags == ("PSV-7A", "PSV-7B")
    assert "pair" in found.locations[0].remarks


def test_a_row_without_a_tag_is_split(load: Any) -> None:
    found = load([row("", set_pressure="9 barg")], f",2,split,PSV-7|PSV-8,{SIGNED}")
    assert [place.tag for place in found.locations] == ["PSV-7", "PSV-8"] and found.rows_refused == 0
    assert found.locations[0].twin is None  # two valves, no duty and spare


def test_a_split_row_keeps_its_other_mends(load: Any) -> None:
    found = load([row("PSV-7")], f"PSV,2,split,PSV-7A|PSV-7B,{SIGNED}", f"PSV,2,set_pressure,9 barg,{SIGNED}")
    assert sets(found) == pytest.approx([ATM + 9e5] * 2) and all(m.applied for m in found.mends)


def test_only_a_row_of_valves_is_split(load: Any) -> None:
    cases = [["Tag", "Case", "Cause", "Required rate (kg/h)"], ["PSV-1", "A", "fire", 100]]
    found = load([row("PSV-1", set_pressure="9 barg")], f"Cases,2,split,PSV-1A|PSV-1B,{SIGNED}", Cases=cases)
    assert "only a row of a list of valves" in rules(found)[0]


# --- where the headings stand ----------------------------------------------------------------------------------------

NAMED = [f"PSV,,column.{letters},{field},{SIGNED}" for letters, field in (("A", "tag"), ("C", "inlet_size"), ("D", "orifice"), ("E", "outlet_size"), ("G", "set_pressure"))]
ODD = ("Tunnus", "Rakenne", "sisään", "Kirjain", "ulos", "PN", "Asetuspaine", "Paine max", "Aine", "Paino", "kappa", "Aste", "Massavirta")


def odd(load: Any, *mends: str) -> Register:
    """The list under two title rows and words of another language."""
    found: Register = load([[], ODD, row("PSV-1", set_pressure="9 barg"), row("PSV-2", set_pressure="8 barg")], *mends, heads=["Werk Nord"])
    return found


@pytest.mark.parametrize(("value", "rows"), [("3", (3,)), ("row 3", (3,)), ("2-3", (3,)), ("3 to 3", (3,))])
def test_headings_stand_where_a_mend_says(load: Any, value: str, rows: tuple[int, ...]) -> None:
    found = odd(load, f"PSV,,headings,{value},{SIGNED}", *NAMED)
    assert sets(found) == pytest.approx([ATM + 9e5, ATM + 8e5]) and found.sheets[0].header_rows == rows
    assert (found.mends[0].kind, found.mends[0].applied, found.mends[0].before) == ("headings", True, "no headings found")


def test_the_sheet_of_headings_may_be_left_out_where_no_other_holds_anything(load: Any) -> None:
    assert len(odd(load, f",,headings,3,{SIGNED}", *NAMED).locations) == 2


def test_headings_found_wrongly_are_put_right(load: Any) -> None:
    more = [["Tag", "Set pressure (barg)", "Orifice", "MAWP (barg)"], *[["Kennz.", "Druck barg", "Buchst.", "PS"]], ["PSV-9", 9, "P", 10], ["PSV-8", 9, "P", 10]]
    found = load([row("PSV-1", set_pressure="9 barg")], f"Nord,,headings,2,{SIGNED}", f"Nord,,column.A,tag,{SIGNED}", Nord=more)
    nord = next(sheet for sheet in found.sheets if sheet.name == "Nord")
    assert nord.header_rows == (2,) and found.mends[0].before == "row 1"


@pytest.mark.parametrize(("line", "words"), [
    (f"PSV,,headings,the third,{SIGNED}", "no row number"),
    (f"PSV,,headings,88,{SIGNED}", "empty"),
    (f"PSV,,headings,2,{SIGNED}", "nothing stands below"),
    (f"PSV,,headings,1-9,{SIGNED}", "one to 3 rows"),
    (f"List,,headings,1,{SIGNED}", "unknown sheet 'List'"),
    ("PSV,,headings,1,,,", "without who and when"),
])  # fmt: skip
def test_headings_that_cannot_stand_there_are_a_problem(load: Any, line: str, words: str) -> None:
    found = load([row("PSV-1", set_pressure="9 barg")], line)
    assert not found.mends[0].applied and words in rules(found)[0] and sets(found) == pytest.approx([ATM + 9e5])


def test_without_a_list_of_valves_the_command_says_so_and_the_pages_get_the_sheets(tmp_path: Path) -> None:
    from quietseat.register import read_with_cells
    from quietseat.status import InputUnusable

    file = make.xlsx(tmp_path / "odd.xlsx", {"Liste": [["Werk Nord"], ODD, row("PSV-1")]})
    with pytest.raises(InputUnusable, match="no row of headings"):
        read(file, BASIS)
    found, cells = read_with_cells(file, BASIS)
    assert found.locations == () and "no row of headings" in found.problems[0].rule and cells.sheets() == ("Liste",)
    assert cells.top("Liste")[1][1][6] == "Asetuspaine" and cells.no_headings("Liste", "2") == "" and "empty" in cells.no_headings("Liste", "9")


# --- answers, and the file -------------------------------------------------------------------------------------------


def test_an_apostrophe_before_what_a_spreadsheet_would_run_is_not_part_of_it(load: Any) -> None:
    found = load([row("PSV-1", set_pressure="9 barg")], f"PSV,2,remarks,'=1+1,{SIGNED}", f"PSV,2,operating_temperature,'-5 degC,{SIGNED}", f"PSV,2,k,'-,{SIGNED}")
    assert [m.value for m in found.mends] == ["=1+1", "-5 degC", "-"] and found.locations[0].vessel.operating_temperature == pytest.approx(268.15)


def test_a_mend_that_does_not_say_why_is_applied_and_told(load: Any) -> None:
    found = load([row("PSV-1")], "PSV,2,set_pressure,9 barg,A. Person,2026-01-02,")
    assert found.mends[0].applied and rules(found) == ["the mend was applied, but does not say why"]


def test_only_a_row_of_valves_keeps_an_answer(load: Any) -> None:
    cases = [["Tag", "Case", "Cause", "Required rate (kg/h)"], ["PSV-1", "A", "fire", 100]]
    found = load([row("PSV-1", set_pressure="9 barg")], f"Cases,2,answer,it is so,{SIGNED}", f"PSV,2,answer,it is so,{SIGNED}", f"PSV,9,answer,it is so,{SIGNED}", Cases=cases)
    assert [m.applied for m in found.mends] == [False, True, False] and "only a row of a list of valves" in rules(found)[0] and "no row of the register" in rules(found)[1]
    assert found.locations[0].remarks == ("it is so (by A. Person on 2026-01-02: asked the plant)",)


@pytest.mark.parametrize(("name", "value", "words"), [
    ("set_pressure", "1e9 barg", "0 to 10 000 bar"), ("temperature", "50000 degC", "up to 3000 degC"), ("inlet.length", "-3 m", "0 to 20 km"),
    ("set_pressure", "nine", "not a number with a unit"), ("k", "7", "outside 1 to 2"), ("kind", "sideways", "none of"), ("flow", "nameplate", "not a number"),
    ("tag", "-/-", "is no tag"), ("sett", "9 barg", "no field"),
])  # fmt: skip
def test_a_value_is_tried_before_it_is_kept(name: str, value: str, words: str) -> None:
    from quietseat.register.trial import refusal

    wrong = refusal(name, value, BASIS)
    assert wrong is not None and words in wrong.rule and wrong.mend and wrong.value == value


def test_a_value_that_can_be_read_is_let_through() -> None:
    from quietseat.register.trial import refusal, tells

    assert refusal("set_pressure", "9", BASIS, "barg") is None and refusal("set_pressure_psig", "130", BASIS) is None
    assert refusal("set_pressure", "9", BASIS) is not None  # no unit anywhere
    assert refusal("inlet.height", "-3 m", BASIS) is None and refusal("mawp", "tbc", BASIS) is None
    assert tells("mawp", "9 barg", BASIS) and not tells("mawp", "tbc", BASIS) and not tells("mawp", "-", BASIS)


# --- all of them -----------------------------------------------------------------------------------------------------


def test_the_answer_and_the_terminal_show_every_mend(load: Any) -> None:
    from quietseat import terminal

    found = load([row("PSV-1", "CV")], f"PSV,,set_pressure.unit,psig,{SIGNED}", f"PSV,,kind.code,CV=conventional,{SIGNED}",
                 f"PSV,,kind.code,XX=pilot,{SIGNED}")  # fmt: skip
    listed = found.head()["mends"]
    assert [(m["kind"], m["field"], m["row"], m["applied"]) for m in listed] == [
        ("unit", "set_pressure.unit", None, True), ("code", "kind.code", None, True), ("code", "kind.code", None, False),
    ]  # fmt: skip
    text = terminal.register(found)
    assert "PSV set_pressure.unit = 'psig' by A. Person" in text and "not applied" in text


def test_the_last_of_two_mends_of_one_column_counts_and_both_are_told(load: Any) -> None:
    found = load([row("PSV-1")], f"PSV,,set_pressure.unit,barg,{SIGNED}", f"PSV,,set_pressure.unit,psig,{SIGNED}")
    assert sets(found) == pytest.approx([ATM + 100 * PSI])
    assert [m.applied for m in found.mends] == [False, True] and ["last one counts" in rule for rule in rules(found)] == [True]


def test_a_study_takes_and_prints_them(tmp_path: Path) -> None:
    from quietseat.report import html
    from quietseat.report.build import build
    from quietseat.study import run

    file = make.xlsx(tmp_path / "reg.xlsx", {"PSV": [HEADS, row("PSV-1", "CV", 100)]})
    mends = tmp_path / "mends.csv"
    mends.write_text("\n".join((
        "sheet,row,field,value,who,when,why", f"PSV,,set_pressure.unit,psig,{SIGNED}", f"PSV,,kind.code,CV=conventional,{SIGNED}", f"PSV,2,split,PSV-1A|PSV-1B,{SIGNED}",
    )), encoding="utf-8")  # fmt: skip
    study = run(file, basis.make({"time_marching": "none"}), mends, workers=1)
    assert {record.tag for record in study.records} == {"PSV-1A", "PSV-1B"}
    assert [mend["applied"] for mend in study.head["register"]["mends"]] == [True] * 3
    page = html.render(build(study))
    assert "set_pressure.unit" in page and "CV=conventional" in page and "PSV-1A|PSV-1B" in page and "asked the plant" in page
