"""Study: the studies of a plant, the one its pages show, issue, review and lock, files, what changed since an earlier one, valve sheets."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Mapping
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, HTTPException, Response
from fastapi.responses import FileResponse
from sqlalchemy import Connection

from quietseat import changes
from quietseat.celltext import quiet
from quietseat.report import pdf, sheet
from quietseat.report.words import DASH, VERDICTS, Shown, code, is_number, percent
from quietseat.store import issued, jobs, plants, since, studies
from quietseat.store.plants import Plant
from quietseat.store.rows import Row
from quietseat.web.site import Site, blocks, forget_studies, shown, site
from quietseat.web.valve import found
from quietseat.work import MADE, compared, compared_file, made, report_files, report_folder, sha256

router = APIRouter()
Here = Annotated[Site, Depends(site)]
AT_ONCE = 500  # valves of two studies that are compared while the page waits
LINES = 200  # of changes on a page
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")
KIND_WORDS = {
    "verdict": "verdicts", "finding": "findings", "number": "numbers", "remedy": "remedies", "plan": "plan", "choice": "choices of the Basis",
    "input": "inputs", "valve": "valves gone or new",
}  # fmt: skip
FILE_WORDS = {
    "summary.pdf": "management summary, two pages", "study.pdf": "the study on paper, a sheet for each of the worst valves",
    "study.html": "the whole study with every step, one file that works offline", "study.xlsx": "workbook with all tables",
    "study.json": "the study for programs, and for checking it again", "problems.csv": "problems in the data, with the way to mend each",
    "fit-drawings.zip": "fit drawings as DXF, millimetres, 1 : 1",
}  # fmt: skip
_ORDER = {name: place for place, name in enumerate(FILE_WORDS)}
KINDS_OF_FILES = {".pdf": "application/pdf", ".html": "text/html", ".json": "application/json", ".csv": "text/csv", ".zip": "application/zip",
                  ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", ".dxf": "image/vnd.dxf"}  # fmt: skip


def address(plant: int, study: int) -> str:
    """The page of one study of a plant, by their numbers."""
    return f"/plant/{plant}/study?number={study}"


@router.get("/plant/{number}/study")
def page(at: Here, number: int) -> Response:
    """The studies of a plant, newest first, and one of them whole: the one asked for by number, else the one its pages show."""
    wanted = at.request.query_params.get("number", "")
    plant = at.plant(number)
    with at.workspace.reading() as connection:
        known = studies.of_plant(connection, number)
        one = _chosen(known, wanted, plant)
        if one is None:
            return at.page("study_none.html", title="Study", plant=plant, here="study")
        told = _told(at, connection, plant, one)
        going = [
            job for job in jobs.of_plant(connection, number) if job["kind"] == "report" and job["state"] in jobs.OPEN
        ]
    if told["sealed"]:
        files, stale = _sealed(at, one["id"], told["sealed"], read=at.request.query_params.get("check") == "files"), False
    else:
        files, stale = _files(at, one["id"], issued.mark(told["state"]))
    return at.page(
        "study.html", title="Study", plant=plant, here="study", known=known, one=one, stale=stale, **told,
        files=[one_file for one_file in files if "/" not in one_file["name"]], drawings=[one_file for one_file in files if "/" in one_file["name"]],
        making=any(job["given"].get("study") == one["id"] for job in going), before=_before(known, one),
        others=[row for row in known if row["number"] != one["number"]],
    )  # fmt: skip


def _told(at: Site, connection: Connection, plant: Plant, one: Row) -> dict[str, Any]:
    """What was said and done about a study, and what is not in it."""
    locked, state = one["state"] == issued.LOCKED, issued.as_data(connection, one["id"])
    whole = at.study(replace(plant, study=one["id"]))
    assert whole is not None  # listed a moment ago, and studies are never removed
    lately = [] if locked or one["stage"] != "full" else since.not_in(connection, whole)
    return {
        "inputs": _inputs(whole), "state": state, "said": [*issued.remarks(connection, one["id"]), *issued.unbound(connection, one)],
        "next_said": issued.on_plant(connection, plant.id) if locked else [], "history": issued.history(connection, one["id"]),
        "since": lately[: since.MOST], "since_more": max(0, len(lately) - since.MOST), "since_counts": since.counts(lately),
        "by_hand": since.standing(connection, plant.id), "noted": state["missing"], "sealed": issued.sealed(connection, one["id"]),
    }  # fmt: skip


def _inputs(study: Mapping[str, Any]) -> list[dict[str, str]]:
    """The files a study was run from, by name and SHA-256."""
    found = (study["head"].get("inputs") or {}).items()
    return [{"which": which, "name": Path(str(one["path"])).name, "sha256": str(one["sha256"])} for which, one in found if one]


def _chosen(known: list[Row], wanted: str, plant: Plant) -> Row | None:
    if wanted:
        one = next((row for row in known if str(row["number"]) == wanted), None)
        if one is None:
            raise HTTPException(404, f"There is no study {wanted} of this plant.")
        return one
    return next((row for row in known if row["id"] == plant.study), known[0] if known else None)


def _before(known: list[Row], one: Row) -> int | None:
    """Number of the study one is compared with first: the last full one before it, else the last before it, else None."""
    earlier = [row for row in known if row["number"] < one["number"]]
    return next((int(row["number"]) for row in [*(row for row in earlier if row["stage"] == "full"), *earlier]), None)


def _study(at: Site, plant: int, number: int) -> Row:
    with at.workspace.reading() as connection:
        one = next((row for row in studies.of_plant(connection, plant) if row["number"] == number), None)
    if one is None:
        raise HTTPException(404, f"There is no study {number} of this plant.")
    return one


def _files(at: Site, study: int, mark: str) -> tuple[list[dict[str, Any]], bool]:
    """The files of a study that were made, in the order people want them; and whether they print an older state."""
    folder = report_folder(at.workspace, study)
    if not (folder / MADE).is_file():
        return [], False
    printed = json.loads((folder / MADE).read_text(encoding="utf-8"))["mark"]
    names = report_files(folder)
    out = [
        {"name": name, "words": FILE_WORDS.get(name, ""), "size": _size((folder / name).stat().st_size), "wrong": "", "good": "", "sha256": ""}
        for name in sorted(names, key=lambda name: (_ORDER.get(name, len(_ORDER)), name))
    ]
    return out, printed != mark


def _sealed(at: Site, study: int, sealed: Mapping[str, Row], *, read: bool) -> list[dict[str, Any]]:
    """The files a study was locked with. read: read each through and compare its SHA-256; else only whether it is there, in its size."""
    folder = report_folder(at.workspace, study)
    out = []
    for name in sorted(sealed, key=lambda name: (_ORDER.get(name, len(_ORDER)), name)):
        place, kept = folder / name, sealed[name]
        wrong = "" if place.is_file() else "gone from the folder of the workspace"
        if not wrong and (place.stat().st_size != kept["size"] or (read and sha256(place) != kept["sha256"])):
            wrong = "altered since the lock"
        good = "as locked" if read and not wrong else ""
        out.append({"name": name, "words": FILE_WORDS.get(name, ""), "size": _size(kept["size"]), "sha256": kept["sha256"], "wrong": wrong, "good": good})
    return out


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{max(1, round(count / 1e3))} kB"


# --- Changes of state ------------------------------------------------------------------------------------------------


@router.post("/plant/{number}/study/{study}/show")
def show(at: Here, number: int, study: int) -> Response:
    """Let the pages of the plant show this study."""
    at.plant(number)
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        plants.show_study(connection, number, one["id"], who)
    return at.go(address(number, study))


@router.post("/plant/{number}/study/{study}/issue")
def issue(at: Here, number: int, study: int, words: Annotated[str, Form()] = "") -> Response:
    """Issue a draft."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.issue(connection, one["id"], words[:200], who)
    return _changed(at, number, study)


@router.post("/plant/{number}/study/{study}/withdraw")
def withdraw(at: Here, number: int, study: int, why: Annotated[str, Form()] = "") -> Response:
    """Take an issue back."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.withdraw(connection, one["id"], why[:400], who)
    return _changed(at, number, study)


@router.post("/plant/{number}/study/{study}/lock")
def lock(at: Here, number: int, study: int, reviewed: Annotated[str, Form()] = "") -> Response:
    """Lock an issued study with its files. reviewed: somebody ticked that the reviewer has looked at it."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:  # no files are put in place meanwhile
        issued.lock(connection, one["id"], who, lambda: made(at.workspace, one["id"]), reviewed=bool(reviewed))
    return _changed(at, number, study)


@router.post("/plant/{number}/study/{study}/reviewer")
def reviewer(at: Here, number: int, study: int, name: Annotated[str, Form()] = "") -> Response:
    """Name the reviewer."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.review_by(connection, one["id"], name, who)
    return _changed(at, number, study)


@router.post("/plant/{number}/study/{study}/remark")
def remark(
    at: Here, number: int, study: int, words: Annotated[str, Form()] = "", tag: Annotated[str, Form()] = ""
) -> Response:
    """Keep a remark on a study, or on one valve of it."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.remark(connection, one["id"], words[:4000], who, tag.strip())
    return _changed(at, number, study, "#remarks")


@router.post("/plant/{number}/study/{study}/remark/{row}/undo")
def undo(at: Here, number: int, study: int, row: int, again: Annotated[str, Form()] = "") -> Response:
    """Undo a remark; again: let it stand again."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        done = issued.undo_remark(connection, one["id"], row, who, again=bool(again))
    if not done:
        raise HTTPException(404, "There is no such remark, or somebody has done this already.")
    return _changed(at, number, study, "#remarks")


@router.post("/plant/{number}/study/{study}/next-remark")
def next_remark(
    at: Here, number: int, study: int, words: Annotated[str, Form()] = "", tag: Annotated[str, Form()] = ""
) -> Response:
    """Keep a remark for the study after a locked one."""
    who, _ = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.remark_on_plant(connection, number, words[:4000], who, tag.strip()[:80])
    return _changed(at, number, study, "#next")


def _changed(at: Site, number: int, study: int, where: str = "") -> Response:
    forget_studies()
    return at.go(address(number, study) + where)


# --- Files -----------------------------------------------------------------------------------------------------------


@router.post("/plant/{number}/study/{study}/files")
def make_files(at: Here, number: int, study: int) -> Response:
    """Queue the making of a study's files; refused in words where it was locked with them."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.may_make(connection, one["id"])
        jobs.add(connection, number, "report", {"study": one["id"], "number": study}, who)
    return at.go(address(number, study) + "#files")


@router.get("/plant/{number}/study/{study}/file/{name:path}")
def file(at: Here, number: int, study: int, name: str) -> Response:
    """One file of a study, to be kept; of a locked study only as it was at the lock."""
    one = _study(at, number, study)
    folder = report_folder(at.workspace, one["id"])
    with at.workspace.reading() as connection:
        kept = issued.sealed(connection, one["id"])
    if not folder.is_dir() or name not in report_files(folder):
        gone = f"The file {name} study {study} was locked with is gone from {folder}: take it from a copy of the workspace folder."
        raise HTTPException(404, gone if name in kept else f"There is no file {name} of study {study}: make the files first.")
    path = folder / name
    if kept and (name not in kept or sha256(path) != kept[name]["sha256"]):
        was = f"SHA-256 {kept[name]['sha256']}" if name in kept else "there was none of this name"
        raise HTTPException(
            409, f"{name} was altered since study {study} was locked and is not handed out. At the lock: {was}; in the folder now: {sha256(path)}. "
            "Take the locked one from a copy of the workspace folder.",
        )  # fmt: skip
    return FileResponse(
        path,
        media_type=KINDS_OF_FILES.get(path.suffix, "application/octet-stream"),
        filename=f"study-{study}-{path.name}",
    )


@router.get("/plant/{number}/study/{study}/input/{which}")
def input_file(at: Here, number: int, study: int, which: str) -> Response:
    """A file a study was run from, as it was then: register or mends."""
    whole = at.study(replace(at.plant(number), study=_study(at, number, study)["id"]))
    one = next((one for one in _inputs(whole or {"head": {}}) if one["which"] == which), None)
    place = at.workspace.by_hash(one["sha256"]) if one else None
    if one is None or place is None:
        raise HTTPException(404, f"The workspace does not hold {one['name'] if one else 'such a file'} of study {study}.")
    if sha256(place) != one["sha256"]:
        raise HTTPException(409, f"{one['name']} was altered since study {study} was run from it, and is not handed out. Take it from a copy of the workspace.")
    return FileResponse(place, media_type="application/octet-stream", filename=one["name"])


@router.get("/plant/{number}/valve/sheet.pdf")
def sheet_pdf(at: Here, number: int, tag: str) -> Response:
    """The sheet of one valve as a PDF."""
    _, valve, head = _sheet(at, number, tag)
    name = _UNSAFE.sub("-", tag).strip("-.")[:80] or "valve"
    return Response(pdf.render(sheet.document(valve, head)), media_type="application/pdf",
                    headers={"Content-Disposition": f'attachment; filename="{name}.pdf"'})  # fmt: skip


@router.get("/plant/{number}/valve/sheet")
def sheet_page(at: Here, number: int, tag: str) -> Response:
    """The sheet of one valve as a page."""
    plant, valve, head = _sheet(at, number, tag)
    document = sheet.document(valve, head)
    return at.page(
        "study_sheet.html",
        title=f"Sheet of {tag}",
        plant=plant,
        here="",
        document=document,
        body=blocks(document.blocks),
        tag=tag,
    )


def _sheet(at: Site, number: int, tag: str) -> tuple[Plant, Mapping[str, Any], Mapping[str, Any]]:
    plant, study, valve = found(at, number, tag)
    with at.workspace.reading() as connection:
        state, stands = issued.as_data(connection, study["id"]), issued.by_hand(connection, study["id"])
    return plant, valve, {**study["head"], "issue": {**state, "by_hand": stands}}


# --- What changed ----------------------------------------------------------------------------------------------------


@router.get("/plant/{number}/study/changes")
def compare(at: Here, number: int, old: int, new: int, kind: str = "", q: str = "", page: int = 1) -> Response:
    """What changed from one study of a plant to another, with search and filter."""
    plant, rows = at.plant(number), (_study(at, number, old), _study(at, number, new))
    answer = _compared(at, number, rows)
    if answer is None:
        return at.page("study_wait.html", title="Changes", plant=plant, here="study", old=rows[0], new=rows[1])
    lines = _filtered(answer, kind, q)
    pages = max(1, -(-len(lines) // LINES))
    at_page = min(max(page, 1), pages)
    show = _units(at, plant, rows[1]["id"])
    return at.page(
        "study_changes.html", title="Changes", plant=plant, here="study", old=rows[0], new=rows[1], answer=answer["answer"], kind=kind, q=q, total=len(lines),
        kinds=[(name, words, answer["by_kind"].get(name, 0)) for name, words in KIND_WORDS.items()], last=pages, number=at_page,
        lines=[_printed(line, show) for line in lines[(at_page - 1) * LINES : at_page * LINES]], verdicts=VERDICTS, tolerance=percent(answer["answer"]["tolerance"]),
    )  # fmt: skip


@router.get("/plant/{number}/study/changes.csv")
def as_csv(at: Here, number: int, old: int, new: int, kind: str = "", q: str = "") -> Response:
    """The changes, those of a filter where one is given, as CSV: numbers in SI with their unit."""
    rows = (_study(at, number, old), _study(at, number, new))
    answer = _compared(at, number, rows)
    if answer is None:
        raise HTTPException(409, "These studies are being compared; ask again when the work is done.")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    keys = ("kind", "tag", "what", "old", "new", "unit", "words")
    writer.writerow(keys)
    writer.writerows(
        [line[key] if is_number(line[key]) else quiet(line[key]) for key in keys] for line in _filtered(answer, kind, q)
    )
    return Response(
        out.getvalue(),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'attachment; filename="changes-{old}-{new}.csv"'},
    )


def _compared(at: Site, plant: int, rows: tuple[Row, Row]) -> Mapping[str, Any] | None:
    """The comparison, made at once for small studies; for large ones by a job, None until it is done."""
    old, new = (row["id"] for row in rows)
    place = compared_file(at.workspace, old, new)
    if not place.is_file():
        if max(row["valves"] for row in rows) > AT_ONCE:
            with at.workspace.writing() as connection:
                if not any(job["kind"] == "compare" and job["given"] == {"old": old, "new": new} and job["state"] in jobs.OPEN
                           for job in jobs.of_plant(connection, plant)):  # fmt: skip
                    jobs.add(connection, plant, "compare", {"old": old, "new": new}, at.who)
            return None
        compared(at.workspace, old, new)
    return _read(place)


@lru_cache(maxsize=4)
def _read(place: Path) -> Mapping[str, Any]:
    """A comparison that was kept, with its changes as one list; it never changes."""
    answer = json.loads(place.read_text(encoding="utf-8"))
    lines = changes.flat(answer)
    by_kind: dict[str, int] = {}
    for line in lines:
        by_kind[line["kind"]] = by_kind.get(line["kind"], 0) + 1
    return {"answer": answer, "lines": lines, "by_kind": by_kind}


def _filtered(answer: Mapping[str, Any], kind: str, q: str) -> list[dict[str, Any]]:
    wanted = q.strip().lower()
    return [
        line for line in answer["lines"]
        if (not kind or line["kind"] == kind) and (not wanted or wanted in f"{line['tag']} {line['what']} {line['words']}".lower())
    ]  # fmt: skip


def _units(at: Site, plant: Plant, study: int) -> Shown:
    row = at.study(replace(plant, study=study))
    assert row is not None  # listed a moment ago, and studies are never removed
    return shown(row)


def _printed(line: Mapping[str, Any], show: Shown) -> dict[str, Any]:
    what = line["what"]
    if line["kind"] == "finding":
        name, mark, case = what.partition(", case ")
        what = code(name) + mark + case
    return {
        **line,
        "what": what,
        "old": _value(line["old"], line["unit"], show),
        "new": _value(line["new"], line["unit"], show),
    }


def _value(value: Any, unit: str, show: Shown) -> str:
    if not is_number(value):
        return DASH if value is None else str(value)
    if unit == "money":
        return f"{show.money(value)} {show.currency}".replace("-", "−")
    return show.quantity(value, unit) if unit else f"{value:g}"
