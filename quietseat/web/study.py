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

from quietseat import changes
from quietseat.report import pdf, sheet
from quietseat.report.problems import quiet
from quietseat.report.words import DASH, VERDICTS, Shown, code, is_number, percent
from quietseat.store import issued, jobs, plants, studies
from quietseat.store.plants import Plant
from quietseat.store.rows import Row
from quietseat.web.site import Site, blocks, forget_studies, shown, site
from quietseat.web.valve import found
from quietseat.work import MADE, compared, compared_file, report_files, report_folder

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
        said = issued.remarks(connection, one["id"]) if one else []
        mark = issued.mark(issued.as_data(connection, one["id"])) if one else ""
        going = [
            job for job in jobs.of_plant(connection, number) if job["kind"] == "report" and job["state"] in jobs.OPEN
        ]
    if one is None:
        return at.page("study_none.html", title="Study", plant=plant, here="study")
    files, stale = _files(at, one["id"], mark)
    return at.page(
        "study.html", title="Study", plant=plant, here="study", known=known, one=one, said=said, stale=stale,
        files=[one_file for one_file in files if "/" not in one_file["name"]], drawings=[one_file for one_file in files if "/" in one_file["name"]],
        making=any(job["given"].get("study") == one["id"] for job in going), earlier=[row for row in known if row["number"] < one["number"]],
        others=[row for row in known if row["number"] != one["number"]],
    )  # fmt: skip


def _chosen(known: list[Row], wanted: str, plant: Plant) -> Row | None:
    if wanted:
        one = next((row for row in known if str(row["number"]) == wanted), None)
        if one is None:
            raise HTTPException(404, f"There is no study {wanted} of this plant.")
        return one
    return next((row for row in known if row["id"] == plant.study), known[0] if known else None)


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
    made = json.loads((folder / MADE).read_text(encoding="utf-8"))
    names = report_files(folder)
    order = {name: place for place, name in enumerate(FILE_WORDS)}
    out = [
        {"name": name, "words": FILE_WORDS.get(name, ""), "size": _size((folder / name).stat().st_size)}
        for name in sorted(names, key=lambda name: (order.get(name, len(order)), name))
    ]
    return out, made["mark"] != mark


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB" if count >= 1e6 else f"{max(1, round(count / 1e3))} kB"


# --- Changes of state ------------------------------------------------------------------------------------------------


@router.post("/plant/{number}/study/{study}/show")
def show(at: Here, number: int, study: int) -> Response:
    """Let the pages of the plant show this study."""
    at.plant(number)
    at.named()
    one = _study(at, number, study)
    with at.workspace.writing() as connection:
        plants.show_study(connection, number, one["id"])
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
def lock(at: Here, number: int, study: int) -> Response:
    """Lock an issued study."""
    who, one = at.named(), _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.lock(connection, one["id"], who)
    return _changed(at, number, study)


@router.post("/plant/{number}/study/{study}/reviewer")
def reviewer(at: Here, number: int, study: int, name: Annotated[str, Form()] = "") -> Response:
    """Name the reviewer."""
    at.named()
    one = _study(at, number, study)
    with at.workspace.writing() as connection:
        issued.review_by(connection, one["id"], name)
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


def _changed(at: Site, number: int, study: int, where: str = "") -> Response:
    forget_studies()
    return at.go(address(number, study) + where)


# --- Files -----------------------------------------------------------------------------------------------------------


@router.post("/plant/{number}/study/{study}/files")
def make_files(at: Here, number: int, study: int) -> Response:
    """Queue the making of a study's files."""
    one = _study(at, number, study)
    with at.workspace.writing() as connection:
        jobs.add(connection, number, "report", {"study": one["id"], "number": study})
    return at.go(address(number, study) + "#files")


@router.get("/plant/{number}/study/{study}/file/{name:path}")
def file(at: Here, number: int, study: int, name: str) -> Response:
    """One file of a study, to be kept."""
    folder = report_folder(at.workspace, _study(at, number, study)["id"])
    if not folder.is_dir() or name not in report_files(folder):
        raise HTTPException(404, f"There is no file {name} of study {study}: make the files first.")
    path = folder / name
    return FileResponse(
        path,
        media_type=KINDS_OF_FILES.get(path.suffix, "application/octet-stream"),
        filename=f"study-{study}-{path.name}",
    )


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
        state = issued.as_data(connection, study["id"])
    return plant, valve, {**study["head"], "issue": state}


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
                    jobs.add(connection, plant, "compare", {"old": old, "new": new})
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
