"""The study page: issue, review, lock, files, what changed, valve sheets; over two studies of a small register made here.

Browser tests are skipped with a line where there is no Chromium.
"""

from __future__ import annotations

import csv
import io
import json
import re
import shutil
import zipfile
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pypdf
import pytest
from conftest import served
from fastapi.testclient import TestClient

from quietseat.basis import make
from quietseat.status import InputUnusable
from quietseat.store import Workspace, decided, issued, jobs, open_workspace, plants, studies
from quietseat.study import run
from quietseat.web import study as study_page
from quietseat.web.app import make_app
from quietseat.web.site import NAME_COOKIE
from quietseat.work import compared_file, report_folder, work

REGISTER = (
    "Tag,Type,Designation,Inlet class,Set pressure (barg),MAWP (barg),Operating pressure (barg),Blowdown (%),Seat,Phase,Fluid,Mol wt,k,Z,"
    "Relieving temp (degC),Required rate (kg/h),Rate basis,Case,Inlet line size,Inlet length (m),Outlet line size,Outlet length (m),Discharge to,Volume (m3)\n"
    "PSV-1,Conventional,3L4,300,{},10,{},7,metal,gas,propane,44,1.13,0.9,60,4000,signed,blocked outlet,3,0.9,4,4,atmosphere,20\n"
    "PSV-2 <b>,Conventional,3L4,300,10,10,8,10,metal,gas,propane,44,1.13,0.9,60,15000,signed,blocked outlet,6,0.3,8,1,atmosphere,20\n"
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workspace with a first look and two full studies of one plant; the second full one has another operating pressure and budget."""
    folder = tmp_path_factory.mktemp("study")
    workspace = open_workspace(folder)
    basis = {"time_marching": "none", "money_draws": "100"}
    kept = [workspace.keep_file("register.csv", REGISTER.format(10, each).encode()) for each in ("9.6", "8")]
    found = [
        run(workspace.file(file)[1], make({**basis, **more}))
        for file, more in zip(kept, ({}, {"budget": "90000"}), strict=True)
    ]
    with workspace.writing() as connection:
        plant = plants.add(connection, "Invented", kept[0], basis)
        numbers = [studies.save(connection, plant, found[0], stage) for stage in ("first look", "full")]
        numbers.append(studies.save(connection, plant, found[1], "full"))
        plants.show_study(connection, plant, numbers[1])
    workspace.engine.dispose()
    return folder


@pytest.fixture
def space(made: Path, tmp_path: Path) -> Workspace:
    shutil.copytree(made, tmp_path / "ws")
    return open_workspace(tmp_path / "ws")


@pytest.fixture
def client(space: Workspace) -> Iterator[TestClient]:
    with TestClient(make_app(space, runs_jobs=False), follow_redirects=False) as out:
        out.cookies.set(NAME_COOKIE, "Ann%20Body")
        yield out


def text(client: TestClient, address: str = "/plant/1/study", status: int = 200) -> str:
    answer = client.get(address)
    assert answer.status_code == status, answer.text
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)))


def post(client: TestClient, what: str, number: int = 2, status: int = 303, **given: Any) -> str:
    answer = client.post(f"/plant/1/study/{number}/{what}", data=given)
    assert answer.status_code == status, answer.text
    return unescape(re.sub(r"<[^>]+>", " ", answer.text)) if status != 303 else str(answer.headers["location"])


# --- The list and the state -------------------------------------------------------------------------------------------


def test_the_page_lists_all_studies_and_opens_the_shown_one(client: TestClient) -> None:
    said = text(client)
    assert "Study 2:" in said and "Full study of 2 valves" in said and "verify study.json" in said
    for words in ("first look", "full", "▸", "shown"):
        assert words in said
    assert re.search(r"\b[0-9a-f]{64}\b", said)
    assert "Study 3:" in text(client, "/plant/1/study?number=3")
    assert "no study 9" in text(client, "/plant/1/study?number=9", 404)


def test_another_study_can_be_shown(client: TestClient, space: Workspace) -> None:
    assert post(client, "show", 3) == "/plant/1/study?number=3"
    with space.reading() as connection:
        plant = plants.get(connection, 1)
    assert plant is not None and plant.study == 3
    assert "The pages of this plant show it." in text(client)


def test_only_a_named_person_changes_anything(client: TestClient) -> None:
    client.cookies.clear()
    for what in ("show", "issue", "withdraw", "lock", "reviewer", "remark", "remark/1/undo"):
        assert "Give your name first" in post(client, what, status=422, words="x")


def test_draft_issued_locked_in_this_order_and_never_back_from_locked(client: TestClient, space: Workspace) -> None:
    assert "issue it first" in post(client, "lock", status=422)
    assert "only a full study is issued" in post(client, "issue", 1, status=422, words="A")
    assert "Give the issue a title" in post(client, "issue", status=422, words="  ")
    post(client, "issue", words="Revision A")
    assert "is issued already, by Ann Body" in post(client, "issue", status=422, words="B")
    post(client, "reviewer", name="Kim Roe")
    post(client, "remark", words="Check the isometric", tag="PSV-1")
    said = text(client)
    assert (
        "issued by Ann Body on" in said
        and "“Revision A”" in said
        and "Kim Roe" in said
        and "Check the isometric" in said
    )
    post(client, "lock")
    assert "locked" in text(client)
    for what, given in (
        ("issue", {"words": "B"}),
        ("withdraw", {}),
        ("lock", {}),
        ("reviewer", {"name": "X"}),
        ("remark", {"words": "late"}),
        ("remark/1/undo", {}),
    ):
        refused = post(client, what, 2, 422, **given)
        assert "was locked on" in refused and "belongs to the next study" in refused, what
    with space.reading() as connection:
        state = issued.as_data(connection, 2)
    assert (state["state"], state["words"], state["reviewer"]) == ("locked", "Revision A", "Kim Roe")


def test_an_issue_is_taken_back_with_who_and_why_on_record(client: TestClient) -> None:
    post(client, "issue", words="Revision A")
    post(client, "withdraw", why="wrong register")
    said = text(client)
    assert "draft, not issued" in said and "taken back: wrong register" in said
    post(client, "issue", words="Revision B")
    assert "“Revision B”" in text(client)


def test_remarks_are_undone_and_stand_again(client: TestClient, space: Workspace) -> None:
    post(client, "remark", words="look here <script>", tag="PSV-2 <b>")
    assert "has no valve NO" in post(client, "remark", status=422, words="x", tag="NO")
    assert "remark is empty" in post(client, "remark", status=422, words=" ")
    with space.reading() as connection:
        before = issued.mark(issued.as_data(connection, 2))
    post(client, "remark/1/undo")
    assert "undone by Ann Body" in text(client)
    with space.reading() as connection:
        assert issued.as_data(connection, 2)["remarks"] == []
    post(client, "remark/1/undo", again="yes")
    with space.reading() as connection:
        assert issued.mark(issued.as_data(connection, 2)) == before
    post(client, "remark/1/undo", 3, status=404)  # a remark of another study


def test_what_a_locked_study_prints_stays_whatever_is_said_elsewhere(client: TestClient, space: Workspace) -> None:
    post(client, "issue", words="A")
    post(client, "remark", words="first")
    post(client, "lock")
    with space.reading() as connection:
        before = issued.as_data(connection, 2)
    with space.writing() as connection:
        connection.exec_driver_sql("update study set locked_at = '2026-01-01T00:00:00Z' where id = 2")
        connection.exec_driver_sql("update remark set made_at = '2025-12-31T00:00:00Z'")
        decided.remark(connection, 1, "later, on the valve's page", "Bo", tag="PSV-1", study=2)
        decided.undo(connection, 1, "remark", 1, "Bo")
    with space.reading() as connection:
        after = issued.as_data(connection, 2)
    assert "after the lock, no part of this study" in text(client)
    assert (
        [one["words"] for one in after["remarks"]]
        == [one["words"] for one in before["remarks"]]
        == ["first", "Locked."]
    )


# --- Files ----------------------------------------------------------------------------------------------------------


def test_files_are_made_by_a_job_and_say_when_they_are_old(
    client: TestClient, space: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    def draw(folder: Path, _: Any) -> list[Path]:
        (folder / "fit-drawings").mkdir()
        (folder / "fit-drawings" / "PSV-1.dxf").write_text("0\nEOF\n", encoding="utf-8")
        return []

    monkeypatch.setattr("quietseat.report.fit.write_dxf", draw)
    assert "make the files first" in text(client, "/plant/1/study/2/file/study.pdf", 404)
    post(client, "issue", words="Revision A")
    post(client, "files")
    assert "being made" in text(client)
    job = jobs.take(space)
    assert job is not None
    work(space.folder, job["id"])
    said = text(client)
    for name in (
        "summary.pdf",
        "study.pdf",
        "study.html",
        "study.xlsx",
        "study.json",
        "problems.csv",
        "fit-drawings.zip",
    ):
        assert name in said
        answer = client.get(f"/plant/1/study/2/file/{name}")
        assert answer.status_code == 200 and "attachment" in answer.headers["content-disposition"]
        if name == "summary.pdf":
            pages = pypdf.PdfReader(io.BytesIO(answer.content)).pages
            assert (
                len(pages) == 2 and "by Ann Body" in pages[0].extract_text() and "Revision A" in pages[0].extract_text()
            )
        if name == "study.json":
            assert "issue" not in json.loads(answer.content)  # verify compares it with a fresh run
        if name.endswith(".zip"):
            assert all(
                each.startswith("fit-drawings/") for each in zipfile.ZipFile(io.BytesIO(answer.content)).namelist()
            )
    assert (
        client.get("/plant/1/study/2/file/fit-drawings/PSV-1.dxf").status_code == 200
        and "Fit drawings one by one (1)" in said
    )
    for wrong in ("made.json", "..%2Fworkspace.db", "../../workspace.db", "no.pdf"):
        assert client.get(f"/plant/1/study/2/file/{wrong}").status_code == 404
    assert "older state" not in said
    post(client, "remark", words="one more thing")
    assert "older state" in text(client)
    assert (report_folder(space, 2) / "study.pdf").is_file()
    assert "Files of study 2" in text(client, "/plant/1/work")


# --- What changed ---------------------------------------------------------------------------------------------------


def test_two_studies_are_compared_filtered_and_taken_away_as_csv(client: TestClient) -> None:
    said = text(client, "/plant/1/study/changes?old=2&new=3")
    assert "What changed from study 2 to study 3" in said and "Of 2 valves 1 have nothing to tell of" in said
    assert (
        "operating pressure" in said
        and "9.6 barg" in said
        and "8 barg" in said
        and "budget" in said
        and "PSV-2" not in said.replace("PSV-2 <b>", "")
    )
    only = text(client, "/plant/1/study/changes?old=2&new=3&kind=choice")
    assert "operating pressure" not in only and "budget" in only
    assert "0 changes" in text(client, "/plant/1/study/changes?old=2&new=3&q=nothing+like+it")
    answer = client.get("/plant/1/study/changes.csv?old=2&new=3")
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    told = next(row for row in rows if row["what"] == "operating pressure")
    assert (
        float(told["old"]) == pytest.approx(9.6e5 + 101325) and told["unit"] == "Pa(a)"
    )  # 9.6 barg over one atmosphere, by hand
    assert "Nothing changed." in text(client, "/plant/1/study/changes?old=1&new=2")
    assert text(client, "/plant/1/study/changes?old=2&new=77", 404)


def test_large_studies_are_compared_by_a_job(
    client: TestClient, space: Workspace, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(study_page, "AT_ONCE", 1)
    for _ in range(2):  # asked twice, queued once
        assert "are being compared" in text(client, "/plant/1/study/changes?old=2&new=3")
    assert client.get("/plant/1/study/changes.csv?old=2&new=3").status_code == 409
    job = jobs.take(space)
    assert job is not None and jobs.take(space) is None
    work(space.folder, job["id"])
    assert compared_file(space, 2, 3).is_file()
    assert "operating pressure" in text(client, "/plant/1/study/changes?old=2&new=3")


def test_a_side_that_is_gone_is_told(space: Workspace) -> None:
    with pytest.raises(InputUnusable, match="no such study"):
        issued.side(space, 99)


# --- Sheets ---------------------------------------------------------------------------------------------------------


def test_the_sheet_of_a_valve_is_a_page_and_a_pdf(client: TestClient) -> None:
    post(client, "remark", words="Check the isometric", tag="PSV-1")
    said = text(client, "/plant/1/valve/sheet?tag=PSV-1")
    assert "Relief cases" in said and "Pressure ladder" in said and "Check the isometric" in said and "PSV-1" in said
    answer = client.get("/plant/1/valve/sheet.pdf", params={"tag": "PSV-2 <b>"})
    assert (
        answer.status_code == 200
        and answer.headers["content-type"] == "application/pdf"
        and 'filename="PSV-2-b.pdf"' in answer.headers["content-disposition"]
    )
    assert len(pypdf.PdfReader(io.BytesIO(answer.content)).pages) <= 2
    assert text(client, "/plant/1/valve/sheet?tag=NO", 404)


def test_no_page_has_inline_style_or_script(client: TestClient) -> None:
    for address in ("/plant/1/study", "/plant/1/study/changes?old=2&new=3", "/plant/1/valve/sheet?tag=PSV-1"):
        page = client.get(address).text
        assert (
            " style=" not in page
            and page.count("<h1") == 1
            and not re.search(r"<script(?![^>]*src=)", page)
            and "<style" not in page
        )


def test_a_plant_without_a_study_says_so(space: Workspace, client: TestClient) -> None:
    with space.writing() as connection:
        plants.add(connection, "Empty", 1, {})
    assert "no study yet" in text(client, "/plant/2/study")


# --- In a browser -----------------------------------------------------------------------------------------------------


def test_the_pages_hold_on_a_phone_and_for_a_screen_reader(space: Workspace, chromium: Any) -> None:
    from axe_playwright_python.sync_playwright import Axe

    with served(make_app(space, runs_jobs=False)) as here:
        context = chromium.new_context(viewport={"width": 390, "height": 844}, bypass_csp=True)
        context.add_cookies([{"name": NAME_COOKIE, "value": "Ann", "url": here}])
        page = context.new_page()
        wrong: list[Any] = []
        page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
        page.on(
            "request",
            lambda request: wrong.append(request.url) if not request.url.startswith((here, "data:")) else None,
        )
        for address in ("/plant/1/study", "/plant/1/study/changes?old=2&new=3", "/plant/1/valve/sheet?tag=PSV-1"):
            page.goto(here + address)
            page.wait_for_timeout(300)
            assert page.evaluate("document.documentElement.scrollWidth") <= 390, address
            found = Axe().run(page).response["violations"]
            assert not found, (address, [(one["id"], one["nodes"][0]["html"][:200]) for one in found])
        assert wrong == []
        context.close()
