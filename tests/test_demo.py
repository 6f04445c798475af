"""The packaged demo: made by its script, read without loss, every trap of docs/demo.md handled as the page says.

Expected values are the clean figures of the invented plant (examples/demo_plant.py), which the reader never sees.
"""

from __future__ import annotations

import csv
import importlib
import re
import sys
import zipfile
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from quietseat import basis as bases
from quietseat import demo
from quietseat.assess import assess
from quietseat.model import Assessment, Location, Remedy
from quietseat.register import Register, read

ROOT = Path(__file__).parents[1]
MAIN = "PSV list"


@pytest.fixture(scope="module")
def script() -> Any:
    sys.path.insert(0, str(ROOT / "examples"))
    try:
        return importlib.import_module("make_demo_register")
    finally:
        sys.path.remove(str(ROOT / "examples"))


@pytest.fixture(scope="module")
def plant(script: Any) -> dict[str, dict[str, Any]]:
    return {valve["tag"]: valve for valve in script.VALVES}


@pytest.fixture(scope="module")
def basis() -> bases.Basis:
    return bases.load(demo.files().basis)


@pytest.fixture(scope="module")
def register(basis: bases.Basis) -> Register:
    return read(demo.files().register, basis, demo.files().mends)


@pytest.fixture(scope="module")
def unmended(basis: bases.Basis) -> Register:
    return read(demo.files().register, basis)


@pytest.fixture(scope="module")
def places(register: Register) -> dict[str, Location]:
    return {location.tag: location for location in register.locations}


@pytest.fixture(scope="module")
def judged(register: Register, basis: bases.Basis) -> dict[str, Assessment]:
    return {location.tag: assess(location, basis, record=False) for location in register.locations}


@pytest.fixture(scope="module")
def remedies(register: Register, judged: dict[str, Assessment], basis: bases.Basis) -> dict[str, tuple[Remedy, ...]]:
    module = pytest.importorskip("quietseat.remedies", reason="the remedies are not built yet")
    return {
        location.tag: module.propose(location, judged[location.tag], basis) for location in register.locations
        if judged[location.tag].verdict == "misfit"
    }  # fmt: skip


def said(register: Register, row: int | None, *words: str) -> bool:
    """Whether one problem of a row holds all the words."""
    return any(
        all(word in problem.sentence() for word in words)
        for problem in register.problems
        if problem.sheet == MAIN and problem.row == row
    )


# --- The files -----------------------------------------------------------------------------------------------


def test_the_packaged_files_are_what_the_script_writes(script: Any) -> None:
    made = script.files()
    assert made == script.files()
    for name, content in made.items():
        assert (demo.files().register.parent / name).read_bytes() == content, f"run examples/{script.__name__}.py"


def test_the_workbook_says_that_it_is_invented() -> None:
    with zipfile.ZipFile(demo.files().register) as book:
        words = book.read("xl/sharedStrings.xml").decode()
    assert "an invented plant" in words
    assert words.count("invented") >= 3


def test_copying_gives_the_same_files(tmp_path: Path) -> None:
    for copied, packaged in zip(demo.copy(tmp_path / "new" / "folder"), demo.files(), strict=True):
        assert copied.read_bytes() == packaged.read_bytes()


def test_the_page_lists_every_trap_once() -> None:
    page = (ROOT / "docs" / "demo.md").read_text(encoding="utf-8")
    numbers = [int(number) for number in re.findall(r"^\| (\d+) \|", page, re.M)]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) >= 20
    source = Path(__file__).read_text(encoding="utf-8")
    tested = {
        int(number)
        for found in re.findall(r"^def test_trap((?:_\d+)+)", source, re.M)
        for number in found[1:].split("_")
    }
    assert tested == set(numbers)


# --- Nothing is lost -----------------------------------------------------------------------------------------


def test_the_counts_add_up(register: Register, plant: dict[str, Any]) -> None:
    assert register.rows_found == register.rows_read + register.rows_partial + register.rows_refused
    assert register.rows_found == len(plant) + 3  # one duplicate, two rows without a tag
    assert register.rows_refused == 2
    assert register.valves_found == len(plant) + 2 + 1  # two A/B rows, the duplicate
    assert register.valves_found >= 60
    for sheet in register.sheets:
        if sheet.role in ("cases", "lines", "history"):
            assert sheet.rows_found == sheet.rows_matched > 0, sheet.name


# Fields as the plant has them -> where they end up; cells that a trap changes are tested one by one below.
CLEAN = (
    ("set", lambda at: at.valve.set_pressure, "gauge"), ("mawp", lambda at: at.vessel.mawp, "gauge"),
    ("op", lambda at: at.vessel.operating_pressure, "gauge"), ("blowdown", lambda at: at.valve.blowdown, 0.01),
    ("rating", lambda at: at.valve.inlet_class, 1), ("volume", lambda at: at.vessel.volume, 1),
    ("seat", lambda at: at.valve.seat, None), ("material", lambda at: at.valve.body_material, None),
    ("to", lambda at: at.outlet.discharge_to, None), ("kind", lambda at: at.valve.kind, None),
)  # fmt: skip


def test_every_cell_that_no_trap_touches_is_read_as_it_was_meant(
    script: Any, plant: dict[str, Any], places: dict[str, Location], basis: bases.Basis
) -> None:
    wrong = []
    for tag, valve in plant.items():
        at = places[tag]
        touched = {key for (_, where), cells in script.CELLS.items() if where.startswith(tag) for key in cells}
        for key, value, unit in CLEAN:
            if key in touched or (key == "kind" and "type" in touched):
                continue
            meant = valve.get(key)
            if meant is not None and unit is not None:
                meant = basis.atmospheric_pressure + meant * 1e5 if unit == "gauge" else meant * unit
            found = value(at)
            if isinstance(meant, float) and found is not None:
                found, meant = round(found, 3), round(meant, 3)
            if found != meant:
                wrong.append((tag, key, valve.get(key), found))
        inlet = valve["inlet"]
        if inlet is not None and (at.inlet.size, at.inlet.block_valve) != (inlet[0], inlet[3]):
            wrong.append((tag, "inlet", inlet, at.inlet))
        sizes = f"{at.valve.inlet_size or 0:g}{at.valve.orifice}{at.valve.outlet_size or 0:g}"
        if sizes != valve["size"] and tag != "30-PSV-3020":
            wrong.append((tag, "size", valve["size"], sizes))
    assert not wrong


# --- Traps ---------------------------------------------------------------------------------------------------


def test_trap_1_designation_eaten(unmended: Register, places: dict[str, Location]) -> None:
    row = places["20-PSV-2017"].row
    assert said(unmended, row, "probably 1E2")
    valve = places["20-PSV-2017"].valve
    assert (valve.inlet_size, valve.orifice, valve.outlet_size) == (1, "E", 2)
    assert places["20-PSV-2017"].origins["valve.orifice"].how == "mended"


def test_trap_2_size_turned_into_a_date(register: Register, places: dict[str, Location]) -> None:
    at = places["30-PSV-3023"]
    assert said(register, at.row, "2026-04-03", "3/4")
    assert (at.valve.inlet_size, at.valve.orifice, at.valve.outlet_size) == (3, "L", 4)


def test_trap_3_letter_turned_into_false(register: Register, places: dict[str, Location]) -> None:
    at = places["30-PSV-3020"]
    assert at.valve.orifice is None
    assert said(register, at.row, "FALSE", "the letter F")


def test_trap_4_letter_among_digits(register: Register, places: dict[str, Location]) -> None:
    at = places["30-PSV-3018"]
    assert at.valve.inlet_class is None
    assert said(register, at.row, "3OO", "probably 300")


def test_trap_5_shifted_cells(register: Register, places: dict[str, Location]) -> None:
    at = places["30-PSV-3012"]
    assert (at.valve.inlet_size, at.valve.orifice, at.valve.outlet_size) == (2, "J", 3)
    assert said(register, at.row, "shifted", "2J3")


def test_trap_6_spellings_of_a_size(places: dict[str, Location]) -> None:
    sizes = {"10-PSV-1003": (4, "P", 6), "10-PSV-1005": (4, "N", 6), "10-PSV-1006": (2, "J", 3), "10-PSV-1009": (6, "Q", 8),
             "10-PSV-1011": (1.5, "F", 2), "20-PSV-2014": (1.5, "H", 3)}  # fmt: skip
    for tag, size in sizes.items():
        valve = places[tag].valve
        assert (valve.inlet_size, valve.orifice, valve.outlet_size) == size, tag
    assert (places["10-PSV-1009"].valve.inlet_class, places["10-PSV-1009"].valve.facing) == (150, "raised")


def test_trap_7_dn_or_inch(unmended: Register, places: dict[str, Location]) -> None:
    assert said(unmended, places["30-PSV-3019"].row, "40", "DN")
    assert places["30-PSV-3019"].valve.inlet_size == 1.5
    assert places["30-PSV-3019"].origins["valve.inlet_size"].how == "mended"


def test_trap_8_gauge_or_absolute(
    register: Register, places: dict[str, Location], judged: dict[str, Assessment]
) -> None:
    at = places["10-PSV-1024"]
    assert at.valve.set_pressure is None
    assert said(register, at.row, "12.5 bar", "gauge or absolute", "12.5 barg")
    assert judged[at.tag].verdict == "unproven"


def test_trap_9_own_unit_of_a_cell(places: dict[str, Location], basis: bases.Basis) -> None:
    psi = 0.45359237 * 9.80665 / 0.0254**2  # definition of the pound and the inch
    at = places["10-PSV-1001"]
    assert at.valve.set_pressure == pytest.approx(basis.atmospheric_pressure + 174 * psi, rel=1e-9)
    assert at.vessel.mawp == at.valve.set_pressure


def test_trap_10_one_pressure_in_two_units(places: dict[str, Location], basis: bases.Basis) -> None:
    assert places["30-PSV-3013"].valve.set_pressure == pytest.approx(basis.atmospheric_pressure + 10e5)


def test_trap_11_22_one_row_two_valves(places: dict[str, Location], basis: bases.Basis) -> None:
    a, b = places["20-PSV-2003A"], places["20-PSV-2003B"]
    assert a.valve.set_pressure == pytest.approx(basis.atmospheric_pressure + 17e5)
    assert b.valve.set_pressure == pytest.approx(basis.atmospheric_pressure + 16.5e5)
    assert (a.twin, b.twin, a.row) == (b.tag, a.tag, b.row)
    spare = places["10-PSV-1002B"]
    assert (spare.cases[0].installed, spare.cases[0].required) == (2, 1)


def test_trap_12_33_kg_cm2_and_thousands(register: Register, places: dict[str, Location]) -> None:
    at = places["20-PSV-2020"]
    assert said(register, at.row, "9.7 kg/cm2", "gauge or absolute")
    assert said(register, at.row, "1,400", "decimal or thousands")
    assert at.vessel.operating_pressure is None
    assert at.cases[0].flow is None
    assert places["30-PSV-3008"].cases[0].flow == pytest.approx(26000 / 3600)


def test_trap_13_cdtp_in_the_set_column(
    unmended: Register, register: Register, places: dict[str, Location], basis: bases.Basis
) -> None:
    at = places["30-PSV-3006"]
    assert said(unmended, at.row, "CDTP in the set column")
    assert not said(register, at.row, "CDTP in the set column")
    assert at.valve.set_pressure == pytest.approx(basis.atmospheric_pressure + 62e5)
    assert at.valve.cdtp == pytest.approx(basis.atmospheric_pressure + 57e5)


def test_trap_14_decimal_comma(places: dict[str, Location], basis: bases.Basis) -> None:
    at = places["10-PSV-1007"]
    assert at.valve.set_pressure == pytest.approx(basis.atmospheric_pressure + 8e5)
    assert at.vessel.operating_pressure == pytest.approx(basis.atmospheric_pressure + 6.5e5)


def test_trap_15_atm(places: dict[str, Location], basis: bases.Basis) -> None:
    assert places["10-PSV-1010"].cases[0].superimposed_max == pytest.approx(basis.atmospheric_pressure)


def test_trap_16_nameplate_as_rate(register: Register, places: dict[str, Location]) -> None:
    assert said(register, places["10-PSV-1019"].row, "stamped capacity", "nameplate")


def test_trap_17_18_19_20_rows_that_are_no_valves(register: Register, script: Any) -> None:
    sheet = next(sheet for sheet in register.sheets if sheet.name == MAIN)
    assert sheet.header_rows == (5, 6)
    kinds = Counter(kind for _, kind, _ in sheet.skipped)
    assert kinds == {"section": 3, "total": 4, "heading": 2, "note": 2}
    assert len(sheet.hidden_rows) == 1
    keys = [key for key, _, _ in script.COLUMNS]
    hidden = {keys[_index(letters)] for letters in sheet.hidden_columns}
    assert hidden == {"old", "capacity"}
    heights = {column.field: column.heading for column in register.columns if column.sheet == MAIN}
    assert heights["inlet_height"] == "Centre to face Inlet (mm)"
    assert heights["inlet_size"] == "Size Inlet"
    assert not [column for column in register.columns if column.sheet == MAIN and not column.field]


def _index(letters: str) -> int:
    out = 0
    for char in letters:
        out = out * 26 + ord(char) - 64
    return out - 1


def test_trap_20_hidden_row_is_read(register: Register, places: dict[str, Location]) -> None:
    sheet = next(sheet for sheet in register.sheets if sheet.name == MAIN)
    assert places["10-PSV-1011"].row in sheet.hidden_rows
    assert "RV-430" in places["10-PSV-1011"].alias  # from the hidden column


def test_trap_21_comment(places: dict[str, Location]) -> None:
    at = places["20-PSV-2023"]
    place = next(
        i for i, event in enumerate(at.history.events) if event.event == "leak" and "drain" in (event.note or "")
    )
    assert at.origins[f"history.events.{place}"].how == "assumed"


def test_trap_23_24_tags(places: dict[str, Location], plant: dict[str, Any]) -> None:
    assert "spare in store" in places["20-PSV-2016"].remarks
    assert "30-PSV-3005" in places
    for tag in ("20-PSV-2001", "20-PSV-2004"):
        assert places[tag].inlet.size == plant[tag]["inlet"][0]
    assert any(event.event == "stuck" for event in places["20-PSV-2005"].history.events)


def test_trap_25_26_27_tags_and_serials(register: Register, places: dict[str, Location]) -> None:
    first, second = (at for at in register.locations if at.tag.startswith("10-PSV-1010"))
    assert first.tag == "10-PSV-1010" != second.tag
    assert said(register, second.row, "also stands in", "'7' and '7.5'")
    refused = [row for row in register.rows if row.state == "refused"]
    assert len(refused) == 2
    assert all("tag" in row.reason for row in refused)
    assert said(register, places["30-PSV-3009"].row, "serial number also stands in", f"row {places['10-PSV-1009'].row}")


def test_trap_28_29_30_dates(register: Register, places: dict[str, Location]) -> None:
    tested = next(event for event in places["10-PSV-1006"].history.events if event.note == "last test")
    assert tested.date == "2021-04-03"
    assert said(register, places["10-PSV-1017"].row, "TA2019")
    assert said(register, places["20-PSV-2005"].row, "due before the last one")


def test_trap_31_temperatures(register: Register, places: dict[str, Location]) -> None:
    assert places["10-PSV-1012"].vessel.operating_temperature is None
    assert said(register, places["10-PSV-1012"].row, "AMB", "ambient")
    assert places["30-PSV-3020"].cases[0].temperature == pytest.approx(368.15)  # 203 degF = 95 degC


def test_trap_32_flows_of_volume(places: dict[str, Location]) -> None:
    # Ideal gas at 0 degC and 101.325 kPa: 22.413 97 m3/kmol (CODATA 2018); nitrogen 28.01.
    assert places["30-PSV-3010"].cases[0].flow == pytest.approx(960 / 22.41397 * 28.01 / 3600, rel=1e-5)
    # At 60 degF and 14.696 psia a lbmol fills 379.49 ft3 (handbook figure); natural gas 18.4, air 28.97.
    assert places["30-PSV-3011"].cases[0].flow == pytest.approx(
        1200 * 60 / 379.49 * 0.45359237 * 28.97 / 3600, rel=2e-4
    )
    assert places["10-PSV-1003"].cases[0].flow == pytest.approx(
        5.7e6 / 24 / 379.49 * 0.45359237 * 18.4 / 3600, rel=2e-4
    )
    assert places["30-PSV-3009"].cases[0].volume_flow == pytest.approx(84 * 3.785411784e-3 / 60)  # US gallon


def test_trap_34_absent_is_not_blank(register: Register, places: dict[str, Location]) -> None:
    assert said(register, places["10-PSV-1018"].row, "pending", "TBC")
    assert said(register, places["30-PSV-3018"].row, "pending", "see note 3")
    assert said(register, places["30-PSV-3018"].row, "pending", "vendor")
    assert said(register, places["10-PSV-1014"].row, "unknown", "?")
    assert not said(register, places["30-PSV-3018"].row, "N/A")  # not applicable is an answer


def test_trap_35_error_cells(register: Register, places: dict[str, Location]) -> None:
    assert said(register, places["20-PSV-2018"].row, "error #REF!")
    assert said(register, places["20-PSV-2004"].row, "error #DIV/0!")
    assert places["20-PSV-2018"].vessel.operating_pressure is None


def test_trap_36_37_per_cent_and_lengths(places: dict[str, Location]) -> None:
    assert places["10-PSV-1021"].valve.blowdown == pytest.approx(0.09)
    assert places["20-PSV-2004"].inlet.length == pytest.approx(0.4)
    assert places["30-PSV-3017"].inlet.length == pytest.approx(87 * 0.0254)


def test_trap_38_crossed_pair(register: Register, places: dict[str, Location]) -> None:
    assert said(register, places["20-PSV-2014"].row, "crossed pair")


def test_trap_39_text_that_looks_like_a_formula(places: dict[str, Location]) -> None:
    assert "=SUM(A1:A9)" in places["30-PSV-3021"].remarks


def test_trap_40_cases_on_another_sheet(places: dict[str, Location], plant: dict[str, Any]) -> None:
    cases = places["20-PSV-2001"].cases
    assert [round((case.flow or 0) * 3600) for case in cases] == [
        case["rate"] for case in plant["20-PSV-2001"]["cases"]
    ]
    assert {case.cause for case in cases} == {"blocked-outlet", "reflux", "fire"}
    flashing = places["30-PSV-3007"].cases[0]
    assert (flashing.specific_volume, flashing.specific_volume_90) == (0.0126, 0.0167)


def test_trap_41_defaults_leave_the_verdict_open(judged: dict[str, Assessment]) -> None:
    for tag, field in (("20-PSV-2011", "block_valve"), ("20-PSV-2018", "operating_pressure"), ("20-PSV-2020", "mawp")):
        assert judged[tag].verdict == "unproven", tag
        assert any(field in rests for finding in judged[tag].findings for rests in finding.rests_on), tag
    assert judged["20-PSV-2019"].verdict == "unproven"
    assert any("default blowdown" in finding.words for finding in judged["20-PSV-2019"].findings)


def test_the_mends_are_all_applied_and_signed(register: Register) -> None:
    with demo.files().mends.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(register.mends) == len(rows) >= 3
    assert all(mend.applied and mend.who and mend.when and mend.why for mend in register.mends)


# --- What the study finds -------------------------------------------------------------------------------------


def test_the_verdicts_are_the_ones_the_figures_were_chosen_for(
    plant: dict[str, Any], judged: dict[str, Assessment]
) -> None:
    other = {
        tag: (valve["expect"], judged[tag].verdict)
        for tag, valve in plant.items()
        if judged[tag].verdict != valve["expect"]
    }
    assert len(other) <= len(plant) // 12, other


def test_the_verdicts_and_causes_are_spread(judged: dict[str, Assessment]) -> None:
    count, total = Counter(found.verdict for found in judged.values()), len(judged)
    assert 0.20 <= (count["sound"] + count["watch"]) / total <= 0.40
    assert 0.40 <= count["misfit"] / total <= 0.55
    assert 0.12 <= count["unproven"] / total <= 0.28
    codes = {finding.code for found in judged.values() for finding in found.findings if finding.outcome == "fail"}
    assert codes >= {"oversized", "chatter", "inlet-loss", "back-pressure", "bellows", "close-to-set", "leaks", "stuck",
                     "set-above-mawp", "undersized", "rating", "cycling", "corrosion"}  # fmt: skip
    assert len({found.cause_code for found in judged.values() if found.cause_code}) >= 9
    assert "injury" in judged["10-PSV-1004"].cause


def _best(remedies: dict[str, tuple[Remedy, ...]], tag: str) -> Remedy | None:
    from quietseat.remedies import recommended

    return recommended(remedies[tag])


def test_a_pilot_wins_for_some_and_loses_for_others(remedies: dict[str, tuple[Remedy, ...]]) -> None:
    winners = {tag: _best(remedies, tag) for tag in remedies}
    names = Counter(winner.name.split("-")[0] for winner in winners.values() if winner)
    assert 8 <= names["pilot"] <= 0.6 * len(remedies)
    assert len({winner.name for winner in winners.values() if winner and not winner.name.startswith("pilot")}) >= 8
    for tag in ("10-PSV-1005", "10-PSV-1008", "10-PSV-1009", "20-PSV-2009"):
        winner = winners[tag]
        assert winner is not None, tag
        assert winner.name.startswith("pilot"), tag
    for tag, winner in winners.items():
        if winner is not None and not winner.name.startswith("pilot"):
            reasons = [remedy.rejected_because for remedy in remedies[tag] if remedy.name.startswith("pilot")]
            assert reasons, tag
            assert all(reasons), tag


@pytest.mark.parametrize(
    ("tag", "word"),
    [("10-PSV-1017", "veto"), ("20-PSV-2005", "polymer"), ("20-PSV-2007", "fast"), ("10-PSV-1010", "dearer")],
)
def test_a_pilot_loses_for_the_reason_the_page_gives(
    remedies: dict[str, tuple[Remedy, ...]], tag: str, word: str
) -> None:
    reasons = [remedy.rejected_because for remedy in remedies[tag] if remedy.name.startswith("pilot")]
    assert any(word in reason for reason in reasons)


@pytest.mark.parametrize("tag", ["10-PSV-1003", "20-PSV-2009", "20-PSV-2010", "20-PSV-2012"])
def test_a_pilot_body_fails_on_centre_to_face(remedies: dict[str, tuple[Remedy, ...]], tag: str) -> None:
    fits = [remedy.fit for remedy in remedies[tag] if remedy.name.endswith("pilot-body") and remedy.fit is not None]
    assert fits
    for fit in fits:
        assert fit.verdict in ("spacer", "spool", "does not fit")
        gap = max(abs(fit.difference_inlet or 0.0), abs(fit.difference_outlet or 0.0))
        assert fit.tolerance is not None
        assert gap > fit.tolerance
