"""Basis: every choice behind the study; what a change would do is listed before it is applied."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException, Request, Response

from quietseat.basis import Basis, choices, make
from quietseat.effects import effect, kinds, plan_effect
from quietseat.register import Job, jobs_of, read
from quietseat.report.words import MARKS, code
from quietseat.status import InputUnusable
from quietseat.store import chosen, jobs, plants, studies
from quietseat.store.plants import Plant
from quietseat.web.plan import LIVES
from quietseat.web.site import Site, shown_of, signed, site

router = APIRouter()
Here = Annotated[Site, Depends(site)]

ALL = 500  # valves a change is tried on, all of them
SOME = 300  # of a larger fleet so many, spread evenly over the ranking: the worst alone would not show what turns from sound to misfit


@router.get("/plant/{number}/basis")
def page(at: Here, request: Request, number: int) -> Response:
    """Every choice by group; choices given in the address (to.NAME=value) are not applied: their effect is listed first, as a piece of its own."""
    plant = at.plant(number)
    wanted, wrong = _wanted(plant, request.query_params)
    groups: dict[str, list[Any]] = {}
    for choice in choices().values():
        groups.setdefault(choice.group, []).append(choice)
    with at.workspace.reading() as connection:
        history = chosen.listed(connection, number)
    study = at.study(plant)
    since = study is not None and _differs(study["head"]["basis"]["changed"], plant.basis)
    return at.page(
        "basis.html", title="Basis", plant=plant, here="basis", groups=groups, basis=make(plant.basis), changed=plant.basis, wanted=wanted, wrong=wrong,
        history=history, marks=MARKS, study=study, since=since, query=_query(wanted),
    )  # fmt: skip


@router.get("/plant/{number}/basis/effect")
def tried(at: Here, request: Request, number: int) -> Response:
    """What the choices given in the address would change, and the form that applies them. Refused in words where one cannot be used."""
    plant = at.plant(number)
    wanted, wrong = _wanted(plant, request.query_params)
    if wrong or not wanted:
        raise HTTPException(422, "; ".join(wrong.values()) or "No choice differs from what stands: nothing would change.")
    return at.page(
        "basis_effect.html", title="Basis", plant=plant, here="basis", basis=make(plant.basis), wanted=wanted, found=_effect(at, request, plant, wanted),
        code=code, study=at.study(plant), money=signed(shown_of(make(plant.basis))),
    )  # fmt: skip


def _query(wanted: Mapping[str, str | None]) -> str:
    return urlencode([(f"to.{name}", value or "") for name, value in wanted.items()])


def _differs(studied: Mapping[str, str], now: Mapping[str, str]) -> bool:
    """Whether the study shown rests on other choices; a first look differs in time_marching by itself."""
    left, right = ({name: str(value) for name, value in side.items() if name != "time_marching"} for side in (studied, now))
    return left != right


def _wanted(plant: Plant, query: Mapping[str, str]) -> tuple[dict[str, str | None], dict[str, str]]:
    """The changes the address asks for (None: back to the default), and what is wrong with them in words by choice ("": with them together)."""
    known = choices()
    now = make(plant.basis)
    wanted: dict[str, str | None] = {}
    for key, value in query.items():
        name = key.removeprefix("to.")
        if key.startswith("to.") and name in known and value.strip() != now.text(name):
            wanted[name] = None if value.strip() == known[name].default or not value.strip() else value.strip()
    if not (together := _refusal(plant, wanted)):
        return wanted, {}
    return wanted, {name: words for name, value in wanted.items() if (words := _refusal(plant, {name: value}))} or {"": together}


def _refusal(plant: Plant, wanted: Mapping[str, str | None]) -> str:
    """Why the Basis cannot be made with these changes, or ""."""
    try:
        make(_merged(plant, wanted))
    except InputUnusable as error:
        return str(error)
    return ""


def _merged(plant: Plant, wanted: Mapping[str, str | None]) -> dict[str, str]:
    merged = {**plant.basis, **{name: value for name, value in wanted.items() if value is not None}}
    return {name: value for name, value in merged.items() if wanted.get(name, value) is not None}


def _effect(at: Site, request: Request, plant: Plant, wanted: Mapping[str, str | None]) -> dict[str, Any]:
    """What the changes would do: the plan's limits to the plan of the study, the others to the valves in closed form."""
    old, new = make(plant.basis), make(_merged(plant, wanted))
    asked = kinds({name: value or "" for name, value in wanted.items()})
    out: dict[str, Any] = {"marched": asked["marched"], "plan": None, "valves": None, "left": 0}
    if asked["plan"] and plant.study is not None:
        out["plan"] = plan_effect(LIVES.items(at.workspace, plant.study), old, new)
    if asked["valves"]:
        loaded = request.app.state.registers.get(plant)
        before = _tried(at, plant, loaded.jobs)
        after = before if not _rereads(wanted) else _read_again(at, plant, new, before)
        out["left"] = len(loaded.jobs) - len(before)
        out["valves"] = effect(list(before.values()), list(after.values()), old, new)
    return out


def _tried(at: Site, plant: Plant, every: Mapping[str, Job]) -> dict[str, Job]:
    """The valves a change is tried on: all of a small fleet, else a share spread evenly over the ranking of the study shown."""
    if len(every) <= ALL:
        return dict(every)
    tags = list(every)
    if plant.study is not None:
        with at.workspace.reading() as connection:
            tags = [tag for tag in studies.tags_by_rank(connection, plant.study) if tag in every] or tags
    return {tags[place * len(tags) // SOME]: every[tags[place * len(tags) // SOME]] for place in range(min(SOME, len(tags)))}


def _rereads(wanted: Mapping[str, str | None]) -> bool:
    return any(choices()[name].group == "reading" for name in wanted)


def _read_again(at: Site, plant: Plant, basis: Basis, before: Mapping[str, Job]) -> dict[str, Job]:
    """The same valves read under another Basis."""
    register, mends = plants.inputs(at.workspace, plant)
    found = read(register, basis, mends)
    return {job[0].tag: job for job in jobs_of(found) if job[0].tag in before or len(found.locations) <= ALL}


@router.post("/plant/{number}/basis")
async def apply(request: Request, number: int) -> Response:
    """Apply changes of choices (to.NAME=value, why=...), kept with who and when, and queue a study."""
    at = site(request)
    plant = at.plant(number)
    name = at.named()
    form = await request.form()
    given = {key: str(value) for key, value in form.items()}
    wanted, wrong = _wanted(plant, given)
    if wrong:
        raise HTTPException(422, "; ".join(wrong.values()))
    if not wanted:
        raise HTTPException(422, "No choice differs from what stands: nothing was changed.")
    why = " ".join(given.get("why", "").split())[:500]
    if not why:
        raise HTTPException(422, "Write why: who decided it, or where it stands. It is kept beside the change.")
    with at.workspace.writing() as connection:
        chosen.choose(connection, number, wanted, why, name)
        jobs.add(connection, number, "study", {"stage": "first look"}, who=name)
    return at.go(f"/plant/{number}/basis")
