"""Record: everything that was done to a plant, by whom, when and why, with search and filter, as a page, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from functools import lru_cache
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Response

from quietseat.celltext import quiet
from quietseat.store import Workspace, decided, record
from quietseat.store.record import Line
from quietseat.web.site import Site, site

router = APIRouter()
Here = Annotated[Site, Depends(site)]
LINES = 200  # on a page


@router.get("/plant/{number}/record")
def page(at: Here, number: int, kind: str = "", q: str = "", page: int = 1) -> Response:
    """The record of a plant, the newest first."""
    plant = at.plant(number)
    every = _told(at, number)
    found = every.found(kind, q)[::-1]
    last = max(1, -(-len(found) // LINES))
    at_page = min(max(page, 1), last)
    with at.workspace.reading() as connection:
        gone = decided.removed_views(connection, number)
    return at.page(
        "record.html", title="Record", plant=plant, here="record", kind=kind, q=q, total=len(found), last=last, number=at_page, gone=gone,
        lines=found[(at_page - 1) * LINES : at_page * LINES], words=record.KINDS,
        kinds=[(name, words, every.counts[name]) for name, words in record.KINDS.items()],
    )  # fmt: skip


@router.get("/plant/{number}/record.csv")
def as_csv(at: Here, number: int, kind: str = "", q: str = "") -> Response:
    """The record as CSV, the oldest first; times are UTC."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(record.COLUMNS)
    at.plant(number)
    for line in _told(at, number).found(kind, q):
        told = line.plain()
        writer.writerow([quiet(told[name]) for name in record.COLUMNS])
    return _download("\ufeff" + out.getvalue(), "text/csv; charset=utf-8", f"record-{number}.csv")


@router.get("/plant/{number}/record.json")
def as_json(at: Here, number: int, kind: str = "", q: str = "") -> Response:
    """The record as JSON, the oldest first; times are UTC."""
    plant = at.plant(number)
    told: dict[str, Any] = {"plant": plant.name, "lines": [line.plain() for line in _told(at, number).found(kind, q)]}
    return _download(json.dumps(told, ensure_ascii=False, indent=1), "application/json", f"record-{number}.json")


@router.post("/plant/{number}/view/{view}/restore")
def restore(at: Here, number: int, view: int) -> Response:
    """Let a saved view of the fleet that was removed stand again."""
    at.plant(number)
    who = at.named()
    with at.workspace.writing() as connection:
        if not decided.restore_view(connection, number, view, who):
            raise HTTPException(404, "There is no such removed view; somebody has let it stand again already.")
    return at.go(f"/plant/{number}/record?kind=view")


class _Told:
    """The lines of a record with what is searched in them, and how many there are of each kind."""

    def __init__(self, lines: list[Line]) -> None:
        self.lines, self.counts = lines, Counter(line.kind for line in lines)
        self._words = [" ".join((one.when, one.who, one.done, one.about, one.before, one.after, one.why)).lower() for one in lines]

    def found(self, kind: str, q: str) -> list[Line]:
        """Those of a kind ("": every one) in which all words occur."""
        terms = q.lower().split()
        return [
            line for line, words in zip(self.lines, self._words, strict=True)
            if (not kind or line.kind == kind) and all(term in words for term in terms)
        ]  # fmt: skip


def _told(at: Site, number: int) -> _Told:
    with at.workspace.reading() as connection:
        return _read(at.workspace, number, record.mark(connection, number))


@lru_cache(maxsize=4)
def _read(workspace: Workspace, number: int, mark: tuple[Any, ...]) -> _Told:
    """The record of a plant, kept until it has become longer."""
    with workspace.reading() as connection:
        return _Told(record.lines(connection, number))


def _download(text: str, kind: str, name: str) -> Response:
    return Response(text, media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'})
