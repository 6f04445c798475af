"""Bring in: registers of any kind, what was read of them, mends that are kept, undone and survive a killed server."""

from __future__ import annotations

import csv
import html
import io
import os
import re
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from conftest import served
from fastapi.testclient import TestClient
from registers import make

from quietseat.store import Workspace, jobs, open_workspace, plants, rows, tables
from quietseat.web import bring_in, registers
from quietseat.web.app import make_app

HEADS = ("Tag", "Type", "Inlet size", "Orifice", "Outlet size", "Inlet class", "Set pressure", "MAWP (barg)", "Fluid", "Mol wt", "k",
         "Relieving temp (degC)", "Required rate (kg/h)", "Zeta")  # fmt: skip


def line(tag: str, kind: str = "Conventional", set_pressure: Any = 100) -> list[Any]:
    return [tag, kind, 4, "P", 6, 150, set_pressure, 10, "propane", 44.1, 1.13, 60, 24000, "9.5 barg"]


@pytest.fixture
def space(tmp_path: Path) -> Workspace:
    return open_workspace(tmp_path / "space")


@pytest.fixture
def client(space: Workspace) -> Iterator[TestClient]:
    with TestClient(make_app(space, runs_jobs=False), follow_redirects=False) as made:
        made.cookies.set("quietseat_name", "Ada")
        yield made


@pytest.fixture
def book(tmp_path: Path) -> bytes:
    listed = [line("PSV-1"), line("PSV-2", "CV", "9 barg"), line("PSV-3 A/B", "pilot", "??"), line("", "CV", "9 barg"), line("PSV-5", "CV", 120)]
    return make.xlsx(tmp_path / "reg.xlsx", {"PSV": [HEADS, *listed]}).read_bytes()


def bring(client: TestClient, content: bytes, name: str = "reg.xlsx", title: str = "Plant A") -> Any:
    return client.post("/register", files={"file": (name, content)}, data={"name": title})


def text(client: TestClient, query: str = "", start: str = "/plant/1/bring-in") -> str:
    answer = client.get(f"{start}{query}")
    assert answer.status_code == 200, answer.text
    for _ in range(100):
        if "being read" not in answer.text:
            break
        time.sleep(0.1)
        answer = client.get(f"{start}{query}")
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)))


def mend(client: TestClient, **given: Any) -> Any:
    return client.post("/plant/1/mend", data={"sheet": "PSV", "why": "nameplate", **given})


# --- bringing in ------------------------------------------------------------------------------------------------------


def test_a_register_is_read_kept_and_its_study_queued(client: TestClient, space: Workspace, book: bytes) -> None:
    answer = bring(client, book)
    assert (answer.status_code, answer.headers["location"]) == (303, "/plant/1/bring-in")
    with space.reading() as connection:
        plant = plants.get(connection, 1)
        (job,) = jobs.of_plant(connection, 1)
    assert plant is not None and plant.name == "Plant A" and job["given"] == {"stage": "first look"}
    page = text(client)
    # PSV-1, PSV-3 A and B, PSV-5 lack a set pressure, PSV-2 and PSV-5 have an unknown code, one row names no valve
    assert "5 rows found = 0 read + 4 partial + 1 refused; 5 valves" in page
    assert "list of valves" in page and "No study yet" in page


def test_any_format_read_takes(client: TestClient, tmp_path: Path) -> None:
    head = [*HEADS[:6], "Set pressure (barg)", *HEADS[7:]]
    listed = [head, line("PSV-1", set_pressure=9)]
    text_ = "\n".join(";".join(map(str, one)) for one in listed).encode()
    assert bring(client, text_, "list.csv", "").status_code == 303
    assert bring(client, make.ods(tmp_path / "list.ods", "PSV", listed).read_bytes(), "list.ods", "").status_code == 303
    for number in (1, 2):
        assert "1 rows found = 1 read" in text(client, start=f"/plant/{number}/bring-in")
    assert {"list", "list 2"} <= set(re.findall(r"list(?: 2)?", client.get("/").text))  # two plants of one name are told apart


@pytest.mark.parametrize(("name", "content", "words"), [
    ("reg.xlsx", b"", "is empty"),
    ("reg.xlsx", b"%PDF-1.7 not a workbook", "is not a workbook"),
    ("reg.xlsx", b"PK\x03\x04 broken", "is damaged"),
    ("reg.csv", b"a,b\n1,2\n", "no row of headings"),
    ("../../x.csv", b"a,b\n1,2\n", "x.csv: no row of headings"),
])  # fmt: skip
def test_what_cannot_be_read_is_said_and_nothing_is_kept(client: TestClient, space: Workspace, name: str, content: bytes, words: str) -> None:
    answer = bring(client, content, name)
    assert answer.status_code == 422 and words in html.unescape(answer.text)
    with space.reading() as connection:
        assert rows.listed(connection, tables.plant) == [] and rows.listed(connection, tables.file) == [] and rows.listed(connection, tables.job) == []
    assert not (space.folder / "files").exists()


def test_a_file_too_large_is_refused_in_words(client: TestClient, space: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bring_in, "LARGEST", 1_000_000)
    answer = bring(client, b"x" * 1_200_000)
    assert answer.status_code == 413 and "larger than 1 MB" in answer.text
    answer = bring(client, b"x" * 1_050_000)
    assert answer.status_code == 413 and "larger than 1 MB" in answer.text
    assert client.post("/register", data={"name": "x"}).status_code == 422


def test_the_demo_is_one_click_away_at_the_first_start(client: TestClient) -> None:
    first = client.get("/").text
    assert 'action="/demo"' in first and first.count("Bring in the demo plant") == 1
    assert client.post("/demo").headers["location"] == "/plant/1/bring-in"
    assert "77 rows found" in text(client)


# --- mends ------------------------------------------------------------------------------------------------------------


def test_every_kind_of_mend_is_read_and_can_be_undone(client: TestClient, book: bytes) -> None:
    bring(client, book)
    assert mend(client, kind="unit", field="set_pressure", value="psig").status_code == 303
    assert mend(client, kind="code", field="kind", code="CV", value="conventional").status_code == 303
    assert mend(client, kind="cell", row=5, field="tag", value="PSV-4").status_code == 303
    assert mend(client, kind="cell", row=4, field="set_pressure", value="9 barg").status_code == 303
    assert mend(client, kind="split", row=2, value="PSV-1A, PSV-1B").status_code == 303
    assert "5 rows found = 5 read + 0 partial + 0 refused; 7 valves" in text(client)
    listed = text(client, "?show=mends")
    assert listed.count(" applied ") == 5 and "by Ada" not in listed and "Ada," in listed and "applied to 3 cells" in listed
    assert client.post("/plant/1/mend/1/undo", data={"back": "/plant/1/bring-in?show=mends"}).headers["location"] == "/plant/1/bring-in?show=mends"
    assert "3 read + 2 partial" in text(client) and "undone by Ada" in text(client, "?show=mends")
    assert client.post("/plant/1/mend/1/undo").status_code == 404
    assert client.post("/plant/1/mend/1/redo").status_code == 303
    assert "5 read" in text(client)


def test_a_column_is_named_or_not_used(client: TestClient, book: bytes) -> None:
    bring(client, book)
    assert mend(client, kind="column", field="column.N", value="set_pressure").status_code == 303
    assert "2 read + 2 partial + 1 refused" in text(client)
    columns = text(client, "?show=columns")
    assert "mended: mends line 2, by Ada" in columns and "second for N" in columns
    assert mend(client, kind="column", field="column.N", value="not used").status_code == 303
    assert "0 read + 4 partial" in text(client)
    listed = text(client, "?show=mends")  # the later one stands in place of the first
    assert "undone by Ada" in listed and client.post("/plant/1/mend/1/redo").status_code == 303
    assert "2 read" in text(client)


def test_a_mend_that_is_not_applied_says_why(client: TestClient, book: bytes) -> None:
    bring(client, book)
    assert mend(client, kind="column", field="column.N", value="cdtp").status_code == 303
    assert mend(client, kind="unit", field="cdtp", value="psig").status_code == 303
    assert mend(client, kind="column", field="column.N", value="not used").status_code == 303  # and so its unit has no column
    listed = text(client, "?show=mends")
    assert listed.count(" not applied ") == 1 and "no column is read as cdtp" in listed


def test_a_code_that_cannot_be_read_leaves_the_good_one_standing(client: TestClient, space: Workspace, book: bytes) -> None:
    bring(client, book)
    assert mend(client, kind="code", field="kind", code="CV", value="conventional").status_code == 303
    answer = mend(client, kind="code", field="kind", code="CV", value="banana")
    assert answer.status_code == 422 and "conventional, bellows, pilot" in html.unescape(answer.text)
    with space.reading() as connection:
        (kept,) = rows.standing(connection, tables.mend)
    assert kept["value"] == "CV=conventional"


def test_the_refused_form_comes_back_filled_as_it_was_sent(client: TestClient, book: bytes) -> None:
    bring(client, book)
    back = "/plant/1/bring-in/row?sheet=PSV&row=4"
    answer = mend(client, kind="cell", row=4, field="set_pressure", value="9 furlong", why="name<plate>", back=back, seen="0.0")
    assert answer.status_code == 422 and 'action="/plant/1/mend"' in answer.text
    sent = {name: html.unescape(value) for name, value in re.findall(r'name="(\w+)" value="([^"]*)"', answer.text.partition('action="/plant/1/mend"')[2])}
    assert sent == {"kind": "cell", "sheet": "PSV", "row": "4", "field": "set_pressure", "value": "9 furlong", "why": "name<plate>", "back": back, "seen": "0.0"}
    assert client.post("/plant/1/mend", data={**sent, "value": "9 barg"}).headers["location"] == back


def test_a_cell_mended_in_two_tabs_is_asked_about_once_more(client: TestClient, space: Workspace, book: bytes) -> None:
    bring(client, book)
    page = client.get("/plant/1/bring-in/row?sheet=PSV&row=4").text
    (seen,) = set(re.findall(r'name="seen" value="([0-9.]+)"', page))
    given = {"kind": "cell", "row": 4, "field": "set_pressure", "seen": seen}
    assert mend(client, **given, value="9 barg", why="nameplate of Ada").status_code == 303
    answer = mend(client, **given, value="10 barg")
    said = html.unescape(answer.text)
    assert answer.status_code == 409 and "9 barg" in said and "nameplate of Ada" in said and "Ada," in said
    with space.reading() as connection:
        assert [one["value"] for one in rows.standing(connection, tables.mend)] == ["9 barg"]
    sent = {name: html.unescape(value) for name, value in re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', answer.text)}
    assert client.post("/plant/1/mend", data=sent).status_code == 303
    with space.reading() as connection:
        assert [one["value"] for one in rows.standing(connection, tables.mend)] == ["10 barg"]
    # a page made after that asks nothing; one from before is asked where the first is let stand again
    (late,) = set(re.findall(r'name="seen" value="([0-9.]+)"', client.get("/plant/1/bring-in?show=rows").text))
    assert client.post("/plant/1/mend/1/redo").status_code == 303
    assert mend(client, **{**given, "seen": late}, value="11 barg").status_code == 409
    (now,) = set(re.findall(r'name="seen" value="([0-9.]+)"', client.get("/plant/1/bring-in/row?sheet=PSV&row=4").text))
    assert mend(client, **{**given, "seen": now}, value="11 barg").status_code == 303


def test_a_mended_cell_shows_its_value_in_si_and_what_it_is_used_for(client: TestClient, book: bytes) -> None:
    bring(client, book)
    mend(client, kind="cell", row=4, field="set_pressure", value="9 barg")
    mend(client, kind="cell", row=4, field="inlet_length", value="2 m")
    said = text(client, "?sheet=PSV&row=4", "/plant/1/bring-in/row")
    # 9 bar above 101325 Pa
    assert "1.00132e+06 Pa" in said and "set pressure (mended)" in said
    assert "in no column: " in said and "inlet length (mended)" in said.partition("in no column: ")[2]


@pytest.mark.parametrize(("given", "words"), [
    ({"kind": "cell", "row": 2, "field": "set_pressure", "value": ""}, "says nothing"),
    ({"kind": "cell", "row": 2, "field": "set_pressure", "value": "9 barg", "why": " "}, "Write why"),
    ({"kind": "cell", "field": "set_pressure", "value": "9 barg"}, "names its row"),
    ({"kind": "cell", "row": 2, "field": "sett", "value": "9 barg"}, "no field"),
    ({"kind": "cell", "row": 2, "field": "set_pressure", "value": "9" * 600}, "longer than"),
    ({"kind": "unit", "field": "set_pressure", "value": "kg/h"}, "no unit of set_pressure"),
    ({"kind": "column", "field": "column.N", "value": "sort of"}, "no field"),
    ({"kind": "code", "field": "kind", "code": " ", "value": "pilot"}, "as it stands in the cell"),
    ({"kind": "split", "row": 2, "value": "PSV-1"}, "two tags or more"),
    ({"kind": "split", "row": 2, "value": "PSV-1A|nothing"}, "'nothing' is no tag of one valve"),
    ({"kind": "split", "row": 2, "value": "PSV-1A|PSV-1A"}, "Two of the tags are the same"),
    ({"kind": "code", "field": "kind", "code": "CV", "value": "banana"}, "none of conventional, bellows, pilot"),
    ({"kind": "code", "field": "kind", "code": "XX", "value": "pilot"}, "stands in no cell of kind"),
    ({"kind": "code", "field": "kind", "code": "Type", "value": "pilot"}, "stands in no cell of kind"),
    ({"kind": "code", "field": "tag", "code": "PSV-1", "value": "PSV-9"}, "no meaning of its own"),
    ({"kind": "unit", "field": "cdtp", "value": "psig"}, "no column is read as cdtp"),
    ({"kind": "column", "field": "column.N", "value": "set_pressure_barg"}, "names a unit too"),
    ({"kind": "all", "value": "x"}, "names its sheet"),
    ({"kind": "cell", "row": 2, "field": "set_pressure", "value": "a lot"}, "PSV, row 2, set_pressure: 'a lot' is not a number with a unit. To mend it"),
    ({"kind": "cell", "row": 2, "field": "k", "value": "7"}, "outside 1 to 2"),
    ({"kind": "cell", "row": 2, "field": "kind", "value": "sideways"}, "none of conventional, bellows, pilot"),
    ({"kind": "cell", "row": 99, "field": "set_pressure", "value": "9 barg"}, "no row 99 that holds a valve"),
    ({"kind": "cell", "row": 1, "field": "set_pressure", "value": "9 barg"}, "no row 1 that holds a valve"),
    ({"kind": "split", "row": 99, "value": "PSV-1A|PSV-1B"}, "no row 99"),
    ({"kind": "unit", "sheet": "List", "field": "set_pressure", "value": "psig"}, "no sheet 'List'. Its sheets are PSV"),
    ({"kind": "cell", "sheet": "List", "row": 2, "field": "set_pressure", "value": "9 barg"}, "no sheet 'List'"),
    ({"kind": "column", "field": "column.ZZ", "value": "kind"}, "no column ZZ"),
    ({"kind": "headings", "value": "two"}, "no row number"),
    ({"kind": "headings", "value": "77"}, "empty"),
    ({"kind": "headings", "value": "1-9"}, "one to 3 rows"),
])  # fmt: skip
def test_a_mend_that_cannot_be_meant_is_refused_at_once(client: TestClient, space: Workspace, book: bytes, given: dict[str, Any], words: str) -> None:
    bring(client, book)
    answer = mend(client, **given)
    assert answer.status_code == 422 and words in html.unescape(answer.text)
    with space.reading() as connection:
        assert rows.listed(connection, tables.mend) == []


def test_a_change_needs_a_name_and_may_bring_it_along(client: TestClient, space: Workspace, book: bytes) -> None:
    bring(client, book)
    client.cookies.clear()
    given = {"kind": "cell", "row": 2, "field": "set_pressure", "value": "9 barg"}
    assert mend(client, **given).status_code == 422
    answer = mend(client, **given, who="Noor")
    assert answer.status_code == 303 and "quietseat_name=Noor" in answer.headers["set-cookie"]
    with space.reading() as connection:
        (kept,) = rows.listed(connection, tables.mend)
    assert (kept["who"], kept["why"]) == ("Noor", "nameplate") and kept["made_at"]
    assert client.post("/plant/1/mend", data={**given, "sheet": "PSV", "why": "x", "back": "//elsewhere.example/"}).headers["location"] == "/plant/1/bring-in"


def test_the_files_hold_what_the_page_holds(client: TestClient, book: bytes, tmp_path: Path) -> None:
    from quietseat.basis import make as basis
    from quietseat.register import read

    bring(client, book)
    mend(client, kind="unit", field="set_pressure", value="psig", why="=cmd, \"quoted\"\nsecond line")
    mend(client, kind="split", row=2, value="PSV-1A|PSV-1B")
    mend(client, kind="cell", row=4, field="remarks", value="=1+1")
    mend(client, kind="cell", row=3, field="operating_temperature", value="-5 degC", why="-3.2")
    mends = tmp_path / "mends.csv"
    written = client.get("/plant/1/bring-in/mends.csv").text
    assert "'=1+1" in written and "'-5 degC" in written and "'=cmd" in written and ",-3.2" in written  # text stays text in a spreadsheet, a number a number
    mends.write_bytes(client.get("/plant/1/bring-in/mends.csv").content)
    (tmp_path / "reg.xlsx").write_bytes(book)
    found = read(tmp_path / "reg.xlsx", basis({}), mends)
    assert all(one.applied for one in found.mends) and [one.kind for one in found.mends] == ["unit", "split", "cell", "cell"]
    assert [(one.value, one.why) for one in found.mends[2:]] == [("=1+1", "nameplate"), ("-5 degC", "-3.2")]
    assert found.mends[0].why == '=cmd, "quoted" second line' and "=1+1" in found.locations[3].remarks
    listed = list(csv.DictReader(io.StringIO(client.get("/plant/1/bring-in/problems.csv").text)))
    assert [one["rule"] for one in listed] == [p.rule for p in found.problems]


def test_mends_since_the_study_are_counted(client: TestClient, space: Workspace, tmp_path: Path) -> None:
    from quietseat.store import studies
    from quietseat.study import run

    heads = [*HEADS[:6], "Set pressure (barg)", *HEADS[7:]]
    bring(client, make.xlsx(tmp_path / "reg.xlsx", {"PSV": [heads, line("PSV-1", set_pressure=9)]}).read_bytes())
    mend(client, kind="cell", row=2, field="mawp", value="12 barg")
    with space.reading() as connection:
        plant = plants.get(connection, 1)
    assert plant is not None
    from quietseat.basis import make as basis

    study = run(*plants.inputs(space, plant)[:1], basis({"time_marching": "none"}), plants.inputs(space, plant)[1], workers=1)
    with space.writing() as connection:
        plants.show_study(connection, 1, studies.save(connection, 1, study, "first look"))
    assert "since study" not in text(client)
    mend(client, kind="cell", row=2, field="k", value="1.2")
    mend(client, kind="cell", row=2, field="temperature", value="70 degC")
    assert "2 mends since study 1" in text(client) and "Run the study again" in text(client)
    client.post("/plant/1/mend/1/undo")
    assert "1 mend of study 1 no longer stands" in text(client)


# --- a sheet whose headings nobody knows ------------------------------------------------------------------------------

ODD = [
    ["Sicherheitsventile, Werk Nord"], [],
    ["Tunnus", "Tyyppi", "Koko", "Avautumispaine", "Paine max", "Aine"],
    ["PSV-1", "conventional", "4P6", "9 barg", "10 barg", "propane"],
    ["PSV-2", "bellows", "3L4", "7 barg", "8 barg", "butane"],
]  # fmt: skip


def test_a_list_under_odd_words_is_kept_and_read_once_its_headings_are_named(client: TestClient, space: Workspace, tmp_path: Path) -> None:
    assert bring(client, make.xlsx(tmp_path / "odd.xlsx", {"Liste": ODD}).read_bytes(), "odd.xlsx").status_code == 303
    page = text(client)
    assert "No list of valves was found in this file" in page and "say where they stand" in page and "Run the first study" not in page
    with space.reading() as connection:
        assert jobs.of_plant(connection, 1) == []  # nothing to study yet
    top = text(client, "/headings?sheet=Liste")
    assert "Avautumispaine" in top and "No row of headings was found" in top
    assert client.get("/plant/1/bring-in/headings?sheet=No").status_code == 404
    answer = mend(client, sheet="Liste", kind="headings", value="3", back="/plant/1/bring-in?show=columns&sheet=Liste")
    assert answer.headers["location"] == "/plant/1/bring-in?show=columns&sheet=Liste"
    assert "Avautumispaine" in text(client, "?show=columns")
    for letters, field in (("A", "tag"), ("B", "kind"), ("C", "designation"), ("D", "set_pressure"), ("E", "mawp"), ("F", "fluid")):
        assert mend(client, sheet="Liste", kind="column", field=f"column.{letters}", value=field).status_code == 303
    page = text(client)
    assert "2 rows found" in page and "2 valves" in page and "Run the first study" in page
    assert "headings in row 3" in text(client, "?show=mends") and "applied" in text(client, "?show=mends")
    row = text(client, "/row?sheet=Liste&row=4")
    assert "9 barg" in row and "PSV-1: valve set pressure" in row
    client.post("/plant/1/mend/1/undo")
    assert "2 valves" not in text(client)


def test_headings_beside_a_list_that_was_read(client: TestClient, book: bytes, tmp_path: Path) -> None:
    content = make.xlsx(tmp_path / "two.xlsx", {"PSV": [HEADS, line("PSV-1", set_pressure="9 barg")], "Nord": ODD}).read_bytes()
    bring(client, content)
    assert "1 valves" in text(client) and "none found say where they stand in Nord" in text(client)
    mend(client, sheet="Nord", kind="headings", value="row 3")
    for letters, field in (("A", "tag"), ("C", "designation"), ("D", "set_pressure"), ("E", "mawp")):
        mend(client, sheet="Nord", kind="column", field=f"column.{letters}", value=field)
    assert mend(client, sheet="Nord", kind="cell", row=5, field="kind", value="bellows").status_code == 303
    assert "3 rows found" in text(client) and "2 valves" in text(client)  # PSV-1 stands in both sheets


def test_a_mend_is_answered_while_the_register_is_still_being_read(client: TestClient, book: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    from quietseat.web import registers

    bring(client, book)
    text(client)
    slow = registers.load

    def waited(*given: Any) -> Any:
        time.sleep(2.0)
        return slow(*given)

    monkeypatch.setattr(registers, "load", waited)
    began = time.monotonic()
    for row in (2, 3):
        assert mend(client, kind="cell", row=row, field="set_pressure", value="9 barg").status_code == 303
    assert mend(client, sheet="List", kind="cell", row=2, field="set_pressure", value="9 barg").status_code == 422
    page = client.get("/plant/1/bring-in").text
    assert time.monotonic() - began < 1.9 and "being read" in page and "5 rows found" in page
    assert "3 partial" in text(client) or "2 partial" in text(client)


# --- looking ----------------------------------------------------------------------------------------------------------


def test_cells_rows_and_codes_are_listed_filtered_and_paged(client: TestClient, tmp_path: Path) -> None:
    listed = [line(f"PSV-{n}", "CV" if n % 2 else "KX <b>", "??" if n % 3 else "9 barg") for n in range(1, 131)]
    bring(client, make.xlsx(tmp_path / "reg.xlsx", {"PSV": [HEADS, *listed]}).read_bytes())
    # 87 of 130 are not divisible by 3
    assert "87 cells" in text(client, "?what=open") and "Page 2 of 2" in text(client, "?what=open&page=2") and "Page 2 of 2" in text(client, "?what=open&page=99")
    assert "1 cells" in text(client, "?what=open&q=G132") or "Nothing of this kind" in text(client, "?what=open&q=G132")
    assert "87 rows" in text(client, "?show=rows&state=partial") and "1 rows" in text(client, "?show=rows&state=all&q=psv-130")
    columns = text(client, "?show=columns")
    assert "hardly a cell can be read as one" in columns
    mend(client, kind="column", field="column.B", value="kind")
    codes = text(client, "?show=codes")
    assert "2 codes" in codes and "KX <b>" in codes
    assert "<b>" not in client.get("/plant/1/bring-in?show=codes").text
    mend(client, kind="code", field="kind", code="KX <b>", value="pilot")
    assert "1 codes" in text(client, "?show=codes")


def test_a_row_shows_every_cell_and_what_became_of_it(client: TestClient, book: bytes) -> None:
    bring(client, book)
    mend(client, kind="unit", field="set_pressure", value="psig")
    page = text(client, "/row?sheet=PSV&row=2")
    # 100 psig is 6.8948 barg and 790801 Pa absolute (NIST SP 811: 1 psi = 6894.757 Pa)
    assert "6.895 barg" in page and "790801 Pa(a)" in page and "unit psig: mends line 2, by Ada" in page
    assert "PSV-1: valve set pressure (mended)" in page and "G2" in page and "not used" in page
    assert client.get("/plant/1/bring-in/row?sheet=PSV&row=99").status_code == 404
    assert client.get("/plant/1/bring-in/row?sheet=No&row=2").status_code == 404


def test_pages_keep_the_policy(client: TestClient, book: bytes) -> None:
    bring(client, book)
    text(client)
    for query in ("", "?show=columns", "?show=codes", "?show=rows", "?show=mends", "/row?sheet=PSV&row=2", "/ready?back=x"):
        page = client.get(f"/plant/1/bring-in{query}").text
        assert not re.search(r"<script(?! src)|<style|\sstyle=|\son\w+=|https?://", page), query
        ids = re.findall(r'\sid="([^"]+)"', page)
        assert len(ids) == len(set(ids)), query


# --- nothing is lost --------------------------------------------------------------------------------------------------


def serve(folder: Path, port: int) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "quietseat", "serve", "--folder", str(folder), "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True)
    for _ in range(300):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5).close()
            return process
        except OSError:
            time.sleep(0.1)
    raise AssertionError("the server did not start")


def killed(process: subprocess.Popen[bytes]) -> None:
    if hasattr(os, "killpg"):
        os.killpg(process.pid, signal.SIGKILL)
    else:
        process.kill()
    process.wait()


def free_port() -> int:
    import socket

    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def test_a_killed_server_has_lost_nothing(space: Workspace, client: TestClient, book: bytes) -> None:
    bring(client, book)
    with space.writing() as connection:
        jobs.cancel(connection, 1)  # the study is another test's
    port = free_port()
    process = serve(space.folder, port)
    try:
        given = urlencode({"kind": "unit", "sheet": "PSV", "field": "set_pressure", "value": "psig", "why": "nameplate", "who": "Ada"}).encode()
        urllib.request.urlopen(f"http://127.0.0.1:{port}/plant/1/mend", given, timeout=60).close()
    finally:
        killed(process)
    process = serve(space.folder, port)
    try:
        for _ in range(100):
            page = urllib.request.urlopen(f"http://127.0.0.1:{port}/plant/1/bring-in?show=mends", timeout=60).read().decode()
            if "being read" not in page:
                break
            time.sleep(0.2)
    finally:
        killed(process)
    assert "set_pressure.unit" in page and ">applied</span> to 2 cells" in page and "1 read + 3 partial" in page


# --- in a browser -----------------------------------------------------------------------------------------------------

def test_a_person_brings_in_a_register_and_mends_it(space: Workspace, book: bytes, tmp_path: Path, chromium: Any) -> None:
    from axe_playwright_python.sync_playwright import Axe
    from playwright.sync_api import expect

    port = free_port()
    process = serve(space.folder, port)
    try:
        context = chromium.new_context(viewport={"width": 390, "height": 844}, bypass_csp=True)
        page = context.new_page()
        errors: list[str] = []
        asked: list[str] = []
        page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: errors.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(f"http://127.0.0.1:{port}/")
        # dropped on the form, as from a file manager
        page.evaluate(
            """content => {
              const data = new DataTransfer();
              data.items.add(new File([Uint8Array.from(content)], "reg.xlsx"));
              document.querySelector("form[data-drop]").dispatchEvent(new DragEvent("drop", {dataTransfer: data, bubbles: true}));
            }""",
            list(book),
        )
        assert "reg.xlsx is ready" in page.locator("form[data-drop]").inner_text()
        page.get_by_label("Who brings it in").fill("Ada")
        page.get_by_role("button", name="Read it").click()
        page.get_by_role("heading", name="Bring in: reg.xlsx").wait_for()
        heights: set[float] = set()
        for show in ("cells", "columns", "codes", "rows", "mends"):
            page.goto(f"http://127.0.0.1:{port}/plant/1/bring-in?show={show}")
            assert page.evaluate("document.documentElement.scrollWidth") <= 390, show
            heights.add(page.evaluate("document.querySelector('#work').getBoundingClientRect().height"))
            page.wait_for_function("!document.querySelector('#work').textContent.startsWith('Running work')")
            heights.add(page.evaluate("document.querySelector('#work').getBoundingClientRect().height"))
            found = Axe().run(page).response["violations"]
            assert found == [], (show, [(one["id"], one["nodes"][0]["html"]) for one in found])
        assert len(heights) == 1, heights  # news of running work must not move the page under the pointer
        page.goto(f"http://127.0.0.1:{port}/plant/1/bring-in?what=open")
        page.locator("details.mend summary").first.click()
        form = page.locator("details.mend[open] form")
        form.get_by_label("set_pressure, with its unit").fill("9 barg")
        form.get_by_label("Why").fill("read on the nameplate")
        form.get_by_role("button").click()
        expect(page.locator("main")).to_contain_text("1 read + 3 partial + 1 refused", timeout=30_000)  # says what stands there instead
        page.goto(f"http://127.0.0.1:{port}/plant/1/bring-in?show=mends")
        page.get_by_role("button", name="Undo").click()
        page.get_by_role("button", name="Let it stand again").wait_for()
        assert errors == [] and all(url.startswith((f"http://127.0.0.1:{port}/", "data:")) for url in asked)
        context.close()
    finally:
        killed(process)


def brought(page: Any, root: str, book: bytes) -> None:
    """Ada brings the register in and sees it read."""
    page.goto(root)
    page.get_by_label("Your name").fill("Ada")
    page.get_by_role("button", name="Keep").click()
    page.locator("form[data-drop] input[type=file]").set_input_files({"name": "reg.xlsx", "mimeType": "application/zip", "buffer": book})
    page.get_by_role("button", name="Read it").click()
    page.get_by_text("0 read + 4 partial + 1 refused").wait_for()


def test_a_page_shows_the_new_reading_by_itself_unless_something_is_being_written(
    space: Workspace, book: bytes, chromium: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    load = registers.load
    with served(make_app(space, runs_jobs=False)) as root:
        context = chromium.new_context()
        page = context.new_page()
        errors: list[str] = []
        page.on("pageerror", lambda error: errors.append(str(error)))

        def mended(row: int, field: str, value: str) -> None:
            form = {"kind": "cell", "sheet": "PSV", "row": str(row), "field": field, "value": value, "why": "nameplate"}
            assert context.request.post(f"{root}/plant/1/mend", form=form, headers={"origin": root}).ok
            page.goto(f"{root}/plant/1/bring-in")
            page.get_by_text("below is the reading before").wait_for()

        brought(page, root, book)
        monkeypatch.setattr(registers, "load", lambda *given: (time.sleep(2.5), load(*given))[1])

        mended(4, "set_pressure", "9 barg")
        page.get_by_text("1 read + 3 partial + 1 refused").wait_for()
        assert page.locator("#ready").count() == 0

        mended(2, "set_pressure", "9 barg")
        page.locator("details.mend summary").first.click()
        why = page.locator("details.mend[open] input[name=why]")
        why.fill("half a sentence")
        page.get_by_role("link", name="Show it").wait_for()
        page.wait_for_timeout(500)
        assert why.input_value() == "half a sentence" and page.get_by_text("1 read + 3 partial").count() == 1
        page.get_by_role("link", name="Show it").click()
        page.get_by_text("2 read + 2 partial + 1 refused").wait_for()
        assert errors == []
        context.close()


def test_refused_and_overtaken_mends_in_a_browser(space: Workspace, book: bytes, chromium: Any) -> None:
    from axe_playwright_python.sync_playwright import Axe

    with served(make_app(space, runs_jobs=False)) as root:
        context = chromium.new_context(viewport={"width": 390, "height": 844}, bypass_csp=True)
        page = context.new_page()
        brought(page, root, book)

        def send(value: str) -> None:
            form = page.locator("form[action='/plant/1/mend']:visible").first
            form.locator("input[name=value]").fill(value)
            form.locator("input[name=why]").fill("nameplate")
            with page.expect_navigation():
                form.get_by_role("button").click()

        def clean() -> None:
            found = Axe().run(page).response["violations"]
            assert found == [], [(one["id"], one["nodes"][0]["html"]) for one in found]
            assert page.evaluate("document.documentElement.scrollWidth") <= 390

        page.goto(f"{root}/plant/1/bring-in/row?sheet=PSV&row=2")
        cell = page.locator("tr", has_text="set_pressure").locator("details.mend")
        cell.locator("summary").click()
        send("heavy")
        assert page.locator("form[action='/plant/1/mend'] input[name=value]:visible").first.input_value() == "heavy"  # to be corrected there
        clean()
        page.goto(f"{root}/plant/1/bring-in/row?sheet=PSV&row=2")
        cell.locator("summary").click()
        other = {"kind": "cell", "sheet": "PSV", "row": "2", "field": "set_pressure", "value": "8 barg", "why": "shop record", "who": "Kim"}
        assert context.request.post(f"{root}/plant/1/mend", form=other, headers={"origin": root}).ok
        send("9 barg")
        assert "8 barg" in page.locator("main").inner_text() and "Kim" in page.locator("main").inner_text()
        clean()
        with page.expect_navigation():
            page.get_by_role("button", name="Replace it with what I sent").click()
        page.goto(f"{root}/plant/1/bring-in?show=mends")
        assert "9 barg" in page.locator("main").inner_text()
        context.close()
