"""Bring in: a register dropped here, what was read, assumed and refused of it cell by cell, and the mends on top."""

from __future__ import annotations

import tempfile
from functools import cache
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from quietseat.basis import make
from quietseat.fields import fields
from quietseat.register.fields import UNIT_OF, by_name, example_unit, shown
from quietseat.register.mends import ident
from quietseat.register.parts import letter
from quietseat.register.seen import CellSeen
from quietseat.report import problems, words
from quietseat.status import InputUnusable
from quietseat.store import jobs, mends, plants
from quietseat.store.plants import Plant
from quietseat.store.rows import Row
from quietseat.unit_table import UNITS
from quietseat.web import mending, registers
from quietseat.web.reading import KINDS_OF_CELL, Reading, as_mended, part, value_words
from quietseat.web.registers import Loaded
from quietseat.web.site import Site, shown_of, site

LARGEST = 40_000_000  # bytes of a file that is taken
PATIENCE = 0.6  # seconds a page waits for a register to be read
SMALL = 2000  # rows: a larger register takes longer than that, and its page does not wait
PARTS = (("cells", "Cells"), ("columns", "Columns"), ("codes", "Codes"), ("rows", "Rows"), ("mends", "Mends"))
LEAST = (3, 3)  # rows and columns of a sheet that may hold a list of valves under headings nobody knows

router = APIRouter()
Here = Annotated[Site, Depends(site)]


# --- bringing in -----------------------------------------------------------------------------------------------------


@router.post("/register")
async def register(request: Request) -> Response:
    """Take a register: read it whole, keep it, add its plant and queue its first study. Nothing is kept of one that cannot be read."""
    at = site(request)
    size = request.headers.get("content-length", "")
    if not size.isdecimal() or int(size) > LARGEST + 100_000:
        async for _ in request.stream():  # taken to its end, so that the browser shows the words
            pass
        raise HTTPException(413, f"The file is larger than {LARGEST // 1_000_000} MB. Bring in the sheets with the valves alone, without pictures.")
    async with request.form(max_files=1, max_fields=4) as form:
        file, name, given = form.get("file"), str(form.get("name") or ""), str(form.get("who") or "")
        if not isinstance(file, UploadFile) or not file.filename:
            raise HTTPException(422, "No file was chosen. Choose a register: .xlsx, .csv, .xls or .ods.")
        content = await file.read()
        title = file.filename.replace("\\", "/").rpartition("/")[2][-120:]
    if len(content) > LARGEST:
        raise HTTPException(413, f"The file is larger than {LARGEST // 1_000_000} MB. Bring in the sheets with the valves alone, without pictures.")
    who = at.named(given)
    number = await run_in_threadpool(_take, request, title, name, content, who)
    return at.go(f"/plant/{number}/bring-in", who)


def _take(request: Request, title: str, name: str, content: bytes, who: str) -> int:
    """Read the file first; only what can be read is kept. Raises InputUnusable."""
    workspace = request.app.state.workspace
    with tempfile.TemporaryDirectory(prefix="quietseat-") as folder:
        place = Path(folder) / file_name(title)
        place.write_bytes(content)
        try:
            loaded = registers.load(place, None, make({}))
        except InputUnusable:
            raise
        except Exception as error:  # a file no reader was written for is no fault of the server
            raise InputUnusable(f"{title}: cannot be read ({type(error).__name__}: {error}). Save it as .xlsx or .csv and try again.") from error
    listed = lists_valves(loaded)
    if not listed and not _may_list(loaded):
        raise InputUnusable("; ".join(f"{title}: {one.rule}" for one in loaded.reading.whole[:1]) or f"{title}: lists no valves.")
    file = workspace.keep_file(title, content)
    with workspace.writing() as connection:
        number = plants.add(connection, name or Path(title).stem, file, {}, who=who)
        if listed:
            jobs.add(connection, number, "study", {"stage": "first look"}, who)
        plant = plants.get(connection, number)
    assert plant is not None
    request.app.state.registers.put(plant, loaded)
    return number


def lists_valves(loaded: Loaded) -> bool:
    """Whether one of the sheets was read as a list of valves."""
    return any(sheet.role == "main" for sheet in loaded.register.sheets)


def _may_list(loaded: Loaded) -> bool:
    """Whether a sheet is large enough to be a list of valves whose headings a person can name."""
    tops = [loaded.cells.top(sheet) for sheet in loaded.cells.sheets()]
    return any(len(top) >= LEAST[0] and max(sum(map(bool, cells)) for _, cells in top) >= LEAST[1] for top in tops)


def file_name(title: str) -> str:
    """A file name without signs a file system stumbles over; the ending stays, the reader goes by it."""
    return "".join(sign if sign.isalnum() or sign in " ._-()+" else "_" for sign in title).strip(" .") or "register"


# --- the page --------------------------------------------------------------------------------------------------------


@router.get("/plant/{number}/bring-in")
def look(
    request: Request, at: Here, number: int, show: str = "cells", what: str = "doubt", sheet: str = "", state: str = "short",
    q: str = "", page: Annotated[int, Query(ge=1, le=100_000)] = 1,
) -> Response:  # fmt: skip
    """What was read, assumed and refused, in parts: cells, columns, codes, rows, mends."""
    plant = at.plant(number)
    show = show if show in dict(PARTS) else "cells"
    loaded, current = _read(request, plant)
    if loaded is None:
        return at.page("bring_in_wait.html", title="Bring in", plant=plant, here="bring-in", back=_here(request))
    with at.workspace.reading() as connection:
        kept, seen = mends.listed(connection, plant.id), mends.mark(connection, plant.id)
    reading: Reading = loaded.reading
    low = " ".join(q.lower().split())
    given = {"show": show, "what": what, "sheet": sheet, "state": state, "q": q}
    lists: dict[str, Any] = {}
    if show == "cells":
        lists["cells"] = part(reading.cells("" if what == "all" else what, sheet, low), page)
    elif show == "rows":
        lists["lines"] = part(reading.rows("" if state == "all" else state, low), page)
    elif show == "columns":
        lists["columns"] = reading.columns(sheet, low)
    elif show == "codes":
        lists["codes"] = part(reading.codes, page)
    else:
        lists["mends"] = part(list(reversed([_fate(row, reading, current) for row in kept])), page)
    return at.page(
        "bring_in.html", title="Bring in", plant=plant, here="bring-in", found=loaded.register, reading=reading, current=current, parts=PARTS, show=show,
        given=given, kinds=KINDS_OF_CELL, standing=[row for row in kept if row["undone_at"] is None], since=_since(at, plant, kept), back=_here(request),
        address_of=lambda **changes: f"?{urlencode({**given, **changes})}", field_names=_names(), examples=_examples(), unit_names=_units(),
        listed=lists_valves(loaded), unread=[name for name in loaded.cells.sheets() if all(one.name != name for one in loaded.register.sheets)],
        running=_running(at, plant), cells_of=loaded.cells.sheets(), seen=seen, **lists,
    )  # fmt: skip


def _running(at: Site, plant: Plant) -> bool:
    """Whether a study of the plant waits or runs."""
    with at.workspace.reading() as connection:
        return any(job["kind"] == "study" and job["state"] in jobs.OPEN for job in jobs.of_plant(connection, plant.id))


@router.get("/plant/{number}/bring-in/headings")
def headings(request: Request, at: Here, number: int, sheet: str) -> Response:
    """The first rows of a sheet as written, and a form that says in which of them its headings stand."""
    plant = at.plant(number)
    loaded, current = _read(request, plant)
    if loaded is None:
        return at.page("bring_in_wait.html", title="Bring in", plant=plant, here="bring-in", back=_here(request))
    top = loaded.cells.top(sheet)
    if not top:
        raise HTTPException(404, f"The register has no sheet {sheet!r} that holds anything. Its sheets are {', '.join(loaded.cells.sheets())}.")
    read = next((one for one in loaded.register.sheets if one.name == sheet), None)
    with at.workspace.reading() as connection:
        kept = [_fate(one, loaded.reading, current) for one in mends.listed(connection, plant.id) if one["sheet"] == sheet and one["kind"] == "headings"]
        seen = mends.mark(connection, plant.id)
    return at.page(
        "bring_in_headings.html", title=f"Headings of {sheet}", plant=plant, here="bring-in", sheet=sheet, top=top, read=read, current=current,
        width=max(len(cells) for _, cells in top), letter=letter, back=f"/plant/{plant.id}/bring-in?show=columns&sheet={quote(sheet)}", here_again=_here(request),
        mends=kept, seen=seen,
    )  # fmt: skip


def _read(request: Request, plant: Plant) -> tuple[Loaded | None, bool]:
    """The register as read and whether it holds the latest mends; of a large one the reading before, while the next is made."""
    kept = request.app.state.registers
    loaded, current = kept.look(plant, 0.0)
    if current or (loaded is not None and loaded.register.rows_found > SMALL):
        return loaded, current
    found: tuple[Loaded | None, bool] = kept.look(plant, PATIENCE)
    return found


@router.get("/plant/{number}/bring-in/ready")
def ready(request: Request, at: Here, number: int, back: str = "") -> Response:
    """Whether the latest mends are read; a piece the page asks for while they are not."""
    plant = at.plant(number)
    _, current = request.app.state.registers.look(plant, 0.0)
    return at.page("bring_in_ready.html", plant=plant, current=current, back=_own(plant.id, back))


@router.get("/plant/{number}/bring-in/row")
def row(request: Request, at: Here, number: int, sheet: str, row: int) -> Response:
    """Every cell of one row as written and what became of it."""
    plant = at.plant(number)
    loaded, current = _read(request, plant)
    if loaded is None:
        return at.page("bring_in_wait.html", title="Bring in", plant=plant, here="bring-in", back=_here(request))
    written = loaded.cells.row(sheet, row)
    if written is None:
        raise HTTPException(404, f"The register has no row {row} on a sheet {sheet!r} that was read.")
    units = shown_of(loaded.basis)
    state = next((one for one in loaded.register.rows if one.sheet == sheet and one.row == row), None)
    role = next((one.role for one in loaded.register.sheets if one.name == sheet), "")
    with at.workspace.reading() as connection:
        kept = [_fate(one, loaded.reading, current) for one in mends.listed(connection, plant.id) if one["sheet"] == sheet and one["row"] == row]
        stood = mends.mark(connection, plant.id)
    mended = {ident(one["field"]): one for one in kept if one["undone_at"] is None and one["kind"] == "cell"}
    return at.page(
        "bring_in_row.html", title=f"{sheet}, row {row}", plant=plant, here="bring-in", sheet=sheet, row=row, state=state, role=role, current=current,
        cells=[_row_cell(cell, mended.get(by_name().get(cell.field, "")), loaded, units) for cell in written], seen=stood,
        told=[e for e in loaded.reading.entries if e.sheet == sheet and e.row == row], kinds=KINDS_OF_CELL, mends=kept, back=_here(request),
        comments=loaded.cells.comments(sheet, row), field_names=_names(), examples=_examples(), used=loaded.reading.used(sheet, row),
    )  # fmt: skip


def _row_cell(cell: CellSeen, mended: dict[str, Any] | None, loaded: Loaded, units: words.Shown) -> tuple[CellSeen, str, str, dict[str, Any] | None]:
    """A cell of a row, its value as shown and in SI, and the mend that stands on it; the value is that of the mend where one is applied."""
    taken = cell
    if mended is not None:
        unit = next((one.unit for one in loaded.register.columns if one.field == cell.field and one.letter == cell.letter and one.sheet == mended["sheet"]), "")
        taken = as_mended(cell, mended, loaded.basis, unit) if mended["fate"] == "applied" else cell
    return cell, *value_words(taken, units), mended


def _since(at: Site, plant: Plant, kept: list[Row]) -> tuple[int, int, int] | None:
    """Number of the study the pages show, mends made and undone since; None before the first study."""
    study = at.study(plant)
    if study is None:
        return None
    standing = [one for one in kept if one["undone_at"] is None]
    return (int(study["number"]), *mends.since(standing, study["head"]["register"].get("mends") or ()))


def _fate(one: Row, reading: Reading, current: bool) -> dict[str, Any]:
    """A mend and what became of it: applied, not applied and why, undone, or not read yet."""
    key = (one["sheet"], one["row"], one["field"], one["value"])
    read, wrong = reading.mends.get(key), reading.refused_mends.get(key)
    before = read.before if read is not None else ""
    if one["undone_at"] is not None:
        fate = "undone"
    elif read is None:
        fate = "not read yet"
    else:
        fate = "applied" if read.applied else "not applied"
    why_not = f"{wrong.rule}. {wrong.mend or ''}".strip() if wrong is not None and fate in ("applied", "not applied") else ""
    return {**one, "fate": fate, "before": before, "why_not": why_not, "cells": read.cells if read is not None else 0}


@cache
def _names() -> list[str]:
    return [shown(name) for name in fields()]


@cache
def _examples() -> dict[str, str]:
    """A unit for each field that is measured in one."""
    bare = ("number", "pressure_class")
    return {shown(name): example_unit(name) for name, field in fields().items() if field.quantity in UNIT_OF and field.quantity not in bare}


@cache
def _units() -> list[str]:
    allowed = {quantity for kinds in UNIT_OF.values() for quantity in kinds}
    return [name for name, unit in UNITS.items() if unit.quantity in allowed]


# --- mends -----------------------------------------------------------------------------------------------------------


@router.post("/plant/{number}/mend")
def mend(
    request: Request, at: Here, number: int, kind: Annotated[str, Form()], sheet: Annotated[str, Form()], value: Annotated[str, Form()] = "",
    field: Annotated[str, Form()] = "", row: Annotated[int | None, Form()] = None, why: Annotated[str, Form()] = "",
    code: Annotated[str, Form()] = "", who: Annotated[str, Form()] = "", back: Annotated[str, Form()] = "",
    seen: Annotated[str, Form()] = "", replace: Annotated[int, Form()] = 0,
) -> Response:  # fmt: skip
    """Keep one mend; of two about the same thing the later one stands. seen: what stood when the page of the form was made; replace: number of
    a mend made since then that may give way. One made since then that says something else is shown first, and asked about.
    """
    plant = at.plant(number)
    name = at.named(" ".join(who.split()))
    given = mending.given(kind, sheet, row, field, value, code, why)
    mending.fits(request.app.state.registers, plant, given)
    with at.workspace.writing() as connection:
        newer = mends.newer(connection, plant.id, given, seen)
        if newer is None or newer["id"] == replace or newer["value"] == given["value"]:
            mends.keep(connection, plant.id, given, name)
            return at.go(_own(plant.id, back), name)
    sent = {"kind": kind, "sheet": sheet, "row": "" if row is None else row, "field": field, "value": value, "code": code, "why": why, "back": back, "seen": seen}
    return at.page("mend_again.html", status=409, title="Mended meanwhile", plant=plant, here="bring-in", newer=newer, given=given, sent=sent, giver=name, back=_own(plant.id, back))


@router.post("/plant/{number}/mend/{mend}/undo")
def undo(at: Here, number: int, mend: int, back: Annotated[str, Form()] = "") -> Response:
    """Undo a mend; it stays on record."""
    plant, who = at.plant(number), at.named()
    with at.workspace.writing() as connection:
        if not mends.undo(connection, plant.id, mend, who):
            raise HTTPException(404, "There is no such mend that stands.")
    return at.go(_own(plant.id, back))


@router.post("/plant/{number}/mend/{mend}/redo")
def redo(at: Here, number: int, mend: int, back: Annotated[str, Form()] = "") -> Response:
    """Let an undone mend stand again."""
    plant, who = at.plant(number), at.named()
    with at.workspace.writing() as connection:
        if not mends.redo(connection, plant.id, mend, who):
            raise HTTPException(404, "There is no such mend that was undone.")
    return at.go(_own(plant.id, back))


# --- files -----------------------------------------------------------------------------------------------------------


@router.get("/plant/{number}/bring-in/mends.csv")
def mends_file(at: Here, number: int) -> Response:
    """The standing mends, as `read` and `study` take them with --mends."""
    plant = at.plant(number)
    with at.workspace.reading() as connection:
        standing = [one for one in mends.listed(connection, plant.id) if one["undone_at"] is None]
    return _file(plants.mends_text(standing), "mends.csv")


@router.get("/plant/{number}/bring-in/problems.csv")
def problems_file(request: Request, at: Here, number: int) -> Response:
    """Every problem of the register as it is read now, with how to mend it."""
    loaded: Loaded = request.app.state.registers.get(at.plant(number))
    return _file(problems.render(one.as_dict() for one in loaded.register.problems), "problems.csv")


def _file(text: str, name: str) -> Response:
    return Response(text, media_type="text/csv; charset=utf-8", headers={"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"})


def _here(request: Request) -> str:
    return request.url.path + (f"?{request.url.query}" if request.url.query else "")


def _own(plant: int, back: str) -> str:
    """Where to go back to: a place on this page, nowhere else."""
    start = f"/plant/{plant}/bring-in"
    return back if back == start or back.startswith((f"{start}?", f"{start}/row?", f"{start}/headings?")) else start
