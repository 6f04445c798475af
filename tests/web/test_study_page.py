"""The study page: issue, review, lock, files, what changed, valve sheets; over two studies of a small register made here.

Browser tests are skipped with a line where there is no Chromium.
"""

from __future__ import annotations

import csv
import hashlib
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
from quietseat.store import Workspace, chosen, decided, issued, jobs, mends, open_workspace, plants, studies
from quietseat.study import run
from quietseat.web import study as study_page
from quietseat.web.app import make_app
from quietseat.web.site import NAME_COOKIE
from quietseat.work import MADE, compared_file, report_folder, work

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
    for what in ("show", "issue", "withdraw", "lock", "reviewer", "remark", "remark/1/undo", "files", "next-remark"):
        assert "Give your name first" in post(client, what, status=422, words="x")


def test_draft_issued_locked_in_this_order_and_never_back_from_locked(client: TestClient, space: Workspace) -> None:
    assert "issue it first" in post(client, "lock", status=422)
    assert "only a full study is issued" in post(client, "issue", 1, status=422, words="A")
    assert "Give the issue a title" in post(client, "issue", status=422, words="  ")
    post(client, "issue", words="Revision A")
    assert "is issued already, by Ann Body" in post(client, "issue", status=422, words="B")
    post(client, "reviewer", name="Kim Roe")
    post(client, "remark", words="Check the isometric", tag="PSV-1")
    put_files(space)
    said = text(client)
    assert (
        "issued by Ann Body on" in said
        and "“Revision A”" in said
        and "Kim Roe" in said
        and "Check the isometric" in said
    )
    post(client, "lock", reviewed="yes")
    assert "locked by Ann Body on" in text(client)
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
    assert (state["state"], state["words"], state["reviewer"], state["locked_by"]) == ("locked", "Revision A", "Kim Roe", "Ann Body")
    assert state["locked_at"]


def put_files(space: Workspace, study: int = 2) -> Path:
    """Files of a study in place, as its job leaves them, printing its state of now."""
    folder = report_folder(space, study)
    folder.mkdir(parents=True, exist_ok=True)
    with space.reading() as connection:
        mark = issued.mark(issued.as_data(connection, study))
    for name in (*issued.FILES, "fit-drawings/PSV-1.dxf"):
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(f"content of {name}", encoding="utf-8")
    (folder / MADE).write_text(json.dumps({"mark": mark}), encoding="utf-8")
    return folder


def locked(client: TestClient, space: Workspace) -> Path:
    """Study 2 issued, reviewed by Kim and locked; gives the folder of its files."""
    post(client, "issue", words="Revision A")
    post(client, "reviewer", name="Kim Roe")
    folder = put_files(space)
    post(client, "lock", reviewed="yes")
    return folder


def test_a_lock_takes_a_reviewer_a_review_and_files_of_now(client: TestClient, space: Workspace) -> None:
    post(client, "issue", words="Revision A")
    put_files(space)
    assert "Name the reviewer first" in post(client, "lock", status=422, reviewed="yes")
    post(client, "reviewer", name="Kim Roe")
    assert "Nothing was said by Kim Roe" in post(client, "lock", status=422)
    assert "print an older state" in post(client, "lock", status=422, reviewed="yes")  # the reviewer came after them
    shutil.rmtree(report_folder(space, 2))
    assert "Make the files first" in post(client, "lock", status=422, reviewed="yes")
    (put_files(space) / "study.pdf").unlink()
    assert "study.pdf not there" in post(client, "lock", status=422, reviewed="yes")
    with space.writing() as connection:
        issued.remark(connection, 2, "read it all", "kim roe")
    put_files(space)
    post(client, "files")
    assert "are being made" in post(client, "lock", status=422)
    with space.writing() as connection:
        jobs.cancel(connection, 1, "Ann Body")
    post(client, "lock")  # what the reviewer said is the review
    assert "reviewed by Kim Roe (1 remark)" in text(client)


def test_every_reviewer_ever_named_stays_on_record(client: TestClient, space: Workspace) -> None:
    post(client, "reviewer", name="Kim Roe")
    client.cookies.set(NAME_COOKIE, "Bo%20Ny")
    for name in ("Lou Tan", "Lou Tan", ""):
        post(client, "reviewer", name=name)
    with space.reading() as connection:
        told = [(one["who"], one["before"], one["after"]) for one in issued.history(connection, 2) if one["done"] == "reviewer"]
    assert told == [("Ann Body", None, "Kim Roe"), ("Bo Ny", "Kim Roe", "Lou Tan"), ("Bo Ny", "Lou Tan", None)]
    said = text(client)
    assert "Kim Roe, before: nobody" in said and "Lou Tan, before: Kim Roe" in said and "nobody, before: Lou Tan" in said


def test_files_of_a_locked_study_are_kept_by_their_hash(client: TestClient, space: Workspace) -> None:
    folder = locked(client, space)
    digest = hashlib.sha256(b"content of study.pdf").hexdigest()
    said = text(client)
    assert digest in said and "Make the files" not in said
    assert client.get("/plant/1/study/2/file/study.pdf").text == "content of study.pdf"
    assert "they are not made again" in post(client, "files", status=422)
    with space.writing() as connection:  # queued all the same, by an older page or a job that goes on
        job = jobs.add(connection, 1, "report", {"study": 2, "number": 2})
    assert jobs.take(space) is not None
    work(space.folder, job)
    with space.reading() as connection:
        ended = jobs.get(connection, job)
    assert ended is not None and ended["state"] == "failed" and "they are not made again" in ended["error"]
    assert (folder / "study.pdf").read_text() == "content of study.pdf"

    (folder / "study.pdf").write_text("CONTENT of study.pdf", encoding="utf-8")  # of the same size
    refused = text(client, "/plant/1/study/2/file/study.pdf", 409)
    assert "study.pdf was altered since study 2 was locked" in refused and digest in refused
    (folder / "study.json").write_text("longer than it was before", encoding="utf-8")
    (folder / "study.html").unlink()
    (folder / "slipped-in.pdf").write_text("x", encoding="utf-8")
    assert "is gone from" in text(client, "/plant/1/study/2/file/study.html", 404)
    assert text(client, "/plant/1/study/2/file/slipped-in.pdf", 409)
    said = text(client)
    assert "2 files of this locked study are not as locked" in said and said.count("altered since the lock") == 1
    said = text(client, "/plant/1/study?number=2&check=files")
    assert "3 files of this locked study" in said and said.count("altered since the lock") == 2 and said.count("✓ as locked") == 4


def test_what_a_study_was_run_from_is_handed_out_as_it_was(client: TestClient, space: Workspace) -> None:
    assert client.get("/plant/1/study/3/input/register").text == REGISTER.format(10, "8")
    answer = client.get("/plant/1/study/2/input/register")
    content = REGISTER.format(10, "9.6")
    digest = hashlib.sha256(content.encode()).hexdigest()
    assert answer.text == content and 'filename="register.csv"' in answer.headers["content-disposition"] and digest in text(client)
    for which in ("mends", "..%2Fworkspace.db", "other"):
        assert client.get(f"/plant/1/study/2/input/{which}").status_code == 404
    (space.folder / "files" / digest[:2] / f"{digest}.bin").write_text("altered")
    assert "was altered since study 2 was run" in text(client, "/plant/1/study/2/input/register", 409)


def test_a_study_locked_before_hashes_were_kept_gets_its_files_once(client: TestClient, space: Workspace, monkeypatch: pytest.MonkeyPatch) -> None:
    locked(client, space)
    with space.writing() as connection:
        connection.exec_driver_sql("delete from sealed")
    monkeypatch.setattr("quietseat.report.write", lambda found, folder, progress: [(folder / name).write_text("x") for name in issued.FILES])
    assert "the files made now are kept with it" in text(client)
    post(client, "files")
    job = jobs.take(space)
    assert job is not None
    work(space.folder, job["id"])
    assert hashlib.sha256(b"x").hexdigest() in text(client)
    assert "they are not made again" in post(client, "files", status=422)


def test_what_is_not_in_a_study_is_said_and_kept_with_its_issue(client: TestClient, space: Workspace) -> None:
    assert "Not in this study" not in text(client)
    with space.writing() as connection:
        mends.keep(connection, 1, {"kind": "cell", "sheet": "", "row": 2, "field": "set_pressure", "value": "9 barg", "why": "nameplate"}, "Bo")
        chosen.choose(connection, 1, {"budget": "70000"}, "new year", "Cy")
        decided.decide_all(connection, 1, [(f"PSV-{n}", "keep", "Keep it") for n in range(7)], "bulk", "Dee")
        decided.pin(connection, 1, "PSV-1", "out", "Eve")
        decided.undo(connection, 1, "pin", 1, "Fay")
        issued.remark(connection, 3, "on the other one", "Gil")
    said = text(client)
    assert "Not in this study: 1 mend, 1 choice of the Basis, 7 decisions, 2 holds, 1 remark" in said
    for words in (
        "set_pressure in row 2 “9 barg” (Bo", "Choice budget: the default, now “70000” (Cy", "PSV-0, PSV-1, PSV-2, PSV-3, PSV-4 and 2 more valves: Keep it (Dee",
        "PSV-1: held out (Eve", "Hold undone since: PSV-1 (Fay", "Remark on study 3: on the other one (Gil", "7 decisions by hand stand",
    ):  # fmt: skip
        assert words in said, words
    post(client, "issue", words="Revision A")
    with space.reading() as connection:
        state, told = issued.as_data(connection, 2), issued.history(connection, 2)
    assert state["missing"][0] == "Not in it: 1 mend, 1 choice of the Basis, 7 decisions, 2 holds, 1 remark."
    assert told[-1]["done"] == "issued" and "“9 barg” (Bo" in told[-1]["words"]
    with space.writing() as connection:
        mends.undo(connection, 1, 1, "Bo")
    assert "“9 barg” (Bo" in text(client)  # as kept at the issue
    post(client, "reviewer", name="Kim Roe")
    put_files(space)
    post(client, "lock", reviewed="yes")
    with space.reading() as connection:
        state = issued.as_data(connection, 2)
    assert state["missing"][0] == "Not in it: 1 choice of the Basis, 7 decisions, 2 holds, 1 remark."


def test_which_study_is_shown_is_kept_with_who(client: TestClient, space: Workspace) -> None:
    post(client, "show", 3)
    with space.reading() as connection:
        (told,) = [one for one in issued.history(connection, 3) if one["done"] == "shown"]
    assert (told["who"], told["before"], told["after"]) == ("Ann Body", "study 2", "study 3")


def test_an_issue_is_taken_back_with_who_and_why_on_record(client: TestClient) -> None:
    post(client, "issue", words="Revision A")
    for why in ("", "  "):
        assert "Write why the issue is taken back" in post(client, "withdraw", status=422, why=why)
    post(client, "withdraw", why="wrong register")
    said = text(client)
    assert "draft, not issued" in said and "taken back: wrong register" in said
    post(client, "issue", words="Revision B")
    assert "“Revision B”" in text(client)


def test_who_did_what_holds_the_remarks(client: TestClient) -> None:
    post(client, "remark", words="Check the isometric", tag="PSV-1")
    post(client, "remark/1/undo")
    done = text(client).partition("Who did what")[2]
    assert re.search(r"Ann Body remark PSV-1 ?: Check the isometric", done) and "Ann Body remark undone PSV-1" in done


def test_a_study_is_compared_with_the_last_full_one_first(client: TestClient, space: Workspace) -> None:
    with space.writing() as connection:
        study = studies.load(connection, 1)
        assert study is not None
        studies.save(connection, 1, study, "first look")  # of the run whose full study is number 5
        studies.save(connection, 1, study, "full")
    chosen_first = re.findall(r'<option value="(\d+)" selected', client.get("/plant/1/study?number=5").text)
    assert chosen_first == ["3"]
    assert re.findall(r'<option value="(\d+)" selected', client.get("/plant/1/study?number=2").text) == ["1"]  # no full one before it


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
    post(client, "reviewer", name="Kim Roe")
    post(client, "remark", words="undone before the lock")
    post(client, "remark", words="first", tag="PSV-1")
    post(client, "remark/1/undo")
    put_files(space)
    post(client, "lock", reviewed="yes")
    with space.reading() as connection:
        before = issued.as_data(connection, 2)
    assert [one["words"] for one in before["remarks"]] == ["first"]
    for number, again in (("1", "yes"), ("2", "")):  # from the page of the study, from that of the valve, from anywhere
        assert "locked" in post(client, f"remark/{number}/undo", status=422, again=again)
        answer = client.post("/plant/1/valve/undo", data={"tag": "PSV-1", "kind": "remark", "row": number, "again": again})
        assert answer.status_code == 422 and "locked" in answer.text
    with space.writing() as connection:
        with pytest.raises(InputUnusable, match="Study 2 is locked"):
            decided.redo(connection, 1, "remark", 1, "Bo")
        with pytest.raises(InputUnusable, match="Study 2 is locked"):
            decided.undo(connection, 1, "remark", 2, "Bo")
        with pytest.raises(InputUnusable, match="Study 2 is locked"):
            decided.remark(connection, 1, "later", "Bo", study=2)
        connection.exec_driver_sql("update remark set undone_at = null, undone_by = null")  # as an earlier version let stand again
    with space.reading() as connection:
        assert issued.as_data(connection, 2) == before
    sheet = text(client, "/plant/1/valve/sheet?tag=PSV-1")
    assert "first" in sheet and "undone before the lock" not in sheet


def test_a_remark_after_the_lock_is_printed_with_the_next_study(client: TestClient, space: Workspace) -> None:
    locked(client, space)
    assert "remark is empty" in post(client, "next-remark", status=422, words=" ")
    post(client, "next-remark", words="for the next one", tag="PSV-1")
    assert "for the next one" in text(client)
    with space.reading() as connection:
        printed = {study: [one["words"] for one in issued.as_data(connection, study)["remarks"]] for study in (1, 2, 3)}
    assert printed == {1: [], 2: [], 3: ["for the next one"]}
    post(client, "remark/1/undo")
    post(client, "remark/1/undo", 3, again="yes")
    assert "undone by Ann Body" in text(client) and "stands again, let so by Ann Body" in text(client, "/plant/1/study?number=3")
    post(client, "issue", 3, words="Revision B")
    post(client, "reviewer", 3, name="Kim Roe")
    put_files(space, 3)
    post(client, "lock", 3, reviewed="yes")
    with space.reading() as connection:
        assert issued.on_plant(connection, 1) == [] and [one["words"] for one in issued.remarks(connection, 3)] == ["for the next one"]
    assert "was locked on" in post(client, "remark/1/undo", 3, status=422)


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
