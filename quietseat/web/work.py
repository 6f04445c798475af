"""The strip of running work on every page of a plant: how far it has come, cancel, go on."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, HTTPException, Response

from quietseat.store import jobs
from quietseat.web.site import Site, site

router = APIRouter()


@router.get("/plant/{number}/work")
def strip(at: Annotated[Site, Depends(site)], number: int) -> Response:
    """The jobs of a plant that wait, run, or ended badly; the newest ended one says what it brought."""
    plant = at.plant(number)
    with at.workspace.reading() as connection:
        found = jobs.of_plant(connection, number)
    return at.page("work.html", title="Running work", plant=plant, here="work", jobs=found, going=any(one["state"] in jobs.OPEN for one in found))


@router.post("/plant/{number}/work/{job}/cancel")
def cancel(at: Annotated[Site, Depends(site)], number: int, job: int) -> Response:
    """Cancel a job; what it has finished is kept."""
    _mine(at, number, job)
    who = at.named()
    with at.workspace.writing() as connection:
        jobs.cancel(connection, job, who)
    return at.go(f"/plant/{number}/work")


@router.post("/plant/{number}/work/{job}/resume")
def resume(at: Annotated[Site, Depends(site)], number: int, job: int) -> Response:
    """Let a cancelled or failed job go on from what it has finished."""
    _mine(at, number, job)
    who = at.named()
    with at.workspace.writing() as connection:
        jobs.resume(connection, job, who)
    return at.go(f"/plant/{number}/work")


@router.post("/plant/{number}/study-again")
def again(at: Annotated[Site, Depends(site)], number: int) -> Response:
    """Queue a study of the plant as it stands: a first look at once, the full one after it."""
    at.plant(number)
    who = at.named()
    with at.workspace.writing() as connection:
        jobs.add(connection, number, "study", {"stage": "first look"}, who)
    return at.go(f"/plant/{number}/work")


def _mine(at: Site, number: int, job: int) -> None:
    with at.workspace.reading() as connection:
        found = jobs.get(connection, job)
    if found is None or found["plant_id"] != number:
        raise HTTPException(404, "There is no such work for this plant.")
