"""First page: the plants of this workspace, the demo in one click, and who is looking."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, Form, Response

from quietseat import demo
from quietseat.basis import load
from quietseat.store import jobs, plants, rows, studies, tables
from quietseat.web.site import Site, site

router = APIRouter()
NOT_NAMED = "not named"  # who the record names where somebody looks at the demo before giving a name


@router.get("/")
def home(at: Annotated[Site, Depends(site)]) -> Response:
    """The plants, each with its latest study."""
    with at.workspace.reading() as connection:
        known = plants.listed(connection)
        latest = {one.id: next(iter(studies.of_plant(connection, one.id)), None) for one in known}
    return at.page("home.html", title="Plants", plants=known, latest=latest)


@router.post("/name")
def name(at: Annotated[Site, Depends(site)], who: Annotated[str, Form()] = "", back: Annotated[str, Form()] = "/") -> Response:
    """Keep the name changes are made under, in a cookie of this browser."""
    parts = urlsplit(back)
    own = not parts.netloc and parts.path.startswith("/") and not parts.path.startswith("//")
    return at.go((f"{parts.path}?{parts.query}" if parts.query else parts.path) if own else "/", who)


@router.post("/demo")
def add_demo(at: Annotated[Site, Depends(site)]) -> Response:
    """Bring in the packaged register of an invented plant with its mends and choices, and start its study.

    It is for looking: nobody need give a name, and the record says so.
    """
    who = at.who or NOT_NAMED
    files = demo.files()
    basis = load(files.basis)
    number = at.workspace.keep_file(files.register.name, files.register.read_bytes())
    from quietseat.register import mends

    given = mends.load(files.mends).entries
    with at.workspace.writing() as connection:
        plant = plants.add(connection, "Demo plant (invented)", number, {key: basis.text(key) for key in basis.changed()}, demo=True, who=who)
        for one in given:
            rows.add(
                connection, tables.mend, plant_id=plant, kind="cell", sheet=one.sheet, row=one.row, field=one.field, value=one.value,
                why=one.why, who=one.who, made_at=f"{one.when}T00:00:00Z",
            )  # fmt: skip
        chosen = "; ".join(f"{key}: {basis.text(key)}" for key in basis.changed())
        rows.note(connection, plant, "plant", "came with", who, row=plant, after=f"{len(given)} mends under the names in {files.mends.name}", words=f"Basis: {chosen}")
        jobs.add(connection, plant, "study", {"stage": "first look"}, who)
    return at.go(f"/plant/{plant}/bring-in")
