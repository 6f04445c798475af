"""What if: change a valve, see verdict, pressures and money at once; march it, queue the full run, or keep the change as mends."""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, HTTPException, Request, Response

from quietseat import __version__
from quietseat.basis import Basis
from quietseat.fields import fields
from quietseat.model import Location
from quietseat.report.money import npv_range
from quietseat.report.words import OUTCOMES, Shown, clears, code, percent
from quietseat.status import InputUnusable
from quietseat.store import jobs
from quietseat.store import mends as kept
from quietseat.store.plants import Plant
from quietseat.web.overlay import ladders
from quietseat.web.registers import MOST, Loaded
from quietseat.web.site import Site, blocks, shown, site
from quietseat.web.valve import found, frame
from quietseat.what_if import as_it_is, label, mends, read_changes, stated, what_if
from quietseat.worklog import Worklog, read_orders

router = APIRouter()

DRAWS = 12  # of a march somebody waits for: at the smallest credible and the rated flow
KIND = "what-if"
_FIELDS = ("valve.set_pressure", "vessel.operating_pressure", "inlet.length", "valve.blowdown")
_CHOICES = ("valve.kind", "valve.pilot_action", "valve.pilot_sense", "valve.seat")
_marching = threading.Lock()  # one march at a time: two would only slow each other down

_keeping = threading.Lock()


@dataclass(frozen=True, slots=True)
class Asked:
    """A valve of the register and the changes asked for, by field."""

    loaded: Loaded
    location: Location
    problems: Any
    changes: dict[str, str]


@router.get("/plant/{number}/valve/what-if")
def page(
    at: Annotated[Site, Depends(site)], request: Request, number: int, tag: str = "", draws: str = "", job: int = 0
) -> Response:
    """The form with its answer; the answer alone where htmx asks. Fields of the address are the changes; draws: march it in time; job: a full run."""
    plant, study, valve = found(at, number, tag)
    loaded, current = request.app.state.registers.at_once(plant)
    if loaded is None or (not current and tag not in loaded.jobs):
        return at.page("what_if_wait.html", **frame(at, plant, study, valve, KIND))
    asked = _asked(request, loaded, tag)
    more: dict[str, Any] = {"answer": None, "wrong": "", "draws": DRAWS, "full": None, "reading": "" if current else "reads"}
    if job:
        more["full"], asked = _full(at, plant, tag, job, asked)
    try:
        if more["full"] and more["full"]["result"]:
            more["answer"] = _shown(more["full"]["result"], asked, valve, shown(study))
        elif asked.changes:
            more["answer"] = _shown(_judged(asked, DRAWS if draws else None), asked, valve, shown(study))
    except InputUnusable as error:
        more["wrong"] = str(error).removeprefix("what-if: ")
    more["why_other"] = _why_other(at, plant, study, valve, more["answer"]) if more["answer"] else ""
    more |= {
        "changes": json.dumps(asked.changes),
        "plant": plant,
        "tag": tag,
        "valve": valve,
        "link": _address(number, tag, asked.changes),
        "beside": _beside(asked), "label": partial(label, asked.location),
    }
    if request.headers.get("hx-request") == "true" and request.headers.get("hx-boosted") != "true":
        return at.page("what_if_answer.html", **more, units=shown(study), study=study)
    more |= {"form": _form(asked), "runs": _runs(at, plant, tag, asked.location)}
    if request.app.state.runs_jobs and not draws and not job:
        _march_ahead(asked)
    return at.page("what_if.html", **{**frame(at, plant, study, valve, KIND), **more})


@router.get("/plant/{number}/valve/what-if/reading")
def reading(at: Annotated[Site, Depends(site)], request: Request, number: int, tag: str) -> Response:
    """Whether the register has been read with the newest mends, as a piece of the page that asks again by itself."""
    plant = at.plant(number)
    _, current = request.app.state.registers.look(plant, 0.0)
    return at.page("what_if_reading.html", title="What if", plant=plant, here="fleet", tag=tag, reading="read" if current else "reads")


def _asked(request: Request, loaded: Loaded, tag: str) -> Asked:
    """The register's valve and what the address changes of it; a field that says what is stated is no change."""
    if tag not in loaded.jobs:
        raise HTTPException(
            404, f"The register as it stands has no valve {tag}: a mend may have renamed it. Run the study again."
        )
    location, problems = loaded.jobs[tag]
    given = {name: text.strip() for name, text in request.query_params.items() if "." in name}
    return Asked(
        loaded,
        location,
        problems,
        {name: text for name, text in given.items() if text and text != stated(location, name, loaded.basis)},
    )


def _judged(asked: Asked, draws: int | None) -> dict[str, Any]:
    """The answer; the valve as it is is judged once for a register and kept."""
    before = _before(asked, draws)
    orders = _orders(asked.loaded)
    if draws is None:
        return what_if(asked.location, asked.problems, asked.loaded.basis, asked.changes, orders=orders, before=before)
    with _marching:
        return what_if(
            asked.location, asked.problems, asked.loaded.basis, asked.changes, draws=draws, orders=orders, before=before
        )


_SIDES: dict[tuple[int, str, int | None], tuple[Loaded, dict[str, Any]]] = {}
_MOST_SIDES = 300


def _before(asked: Asked, draws: int | None) -> dict[str, Any]:
    key = (id(asked.loaded), asked.location.tag, draws)  # the register is kept beside, so that its id stays its own
    kept = _SIDES.get(key)
    if kept is not None:
        return kept[1]
    with _marching if draws else nullcontext():
        if key in _SIDES:  # somebody else has judged it meanwhile
            return _SIDES[key][1]
        side = as_it_is(asked.location, asked.problems, asked.loaded.basis, draws=draws, orders=_orders(asked.loaded))
        with _keeping:
            while len(_SIDES) >= _MOST_SIDES:
                _SIDES.pop(next(iter(_SIDES)))
            _SIDES[key] = (asked.loaded, side)
    return side


def _march_ahead(asked: Asked) -> None:
    """March the valve as it is while somebody fills in the form, so that a march waits for the changed one only."""
    if (id(asked.loaded), asked.location.tag, DRAWS) not in _SIDES:
        threading.Thread(target=_quietly, args=(asked,), name="quietseat what-if", daemon=True).start()


def _quietly(asked: Asked) -> None:
    with suppress(Exception):  # who asks for the march is told
        _before(asked, DRAWS)


_READ: dict[int, tuple[Loaded, Worklog]] = {}


def _orders(loaded: Loaded) -> Worklog:
    """The work orders of a register, read once for each register kept in memory."""
    kept = _READ.get(id(loaded))
    if kept is None:
        orders = read_orders(loaded.register.locations)
        with _keeping:
            while len(_READ) >= MOST:
                _READ.pop(next(iter(_READ)))
            kept = _READ[id(loaded)] = (loaded, orders)
    return kept[1]


def _address(plant: int, tag: str, changes: Mapping[str, str], **more: Any) -> str:
    return f"/plant/{plant}/valve/what-if?{urlencode({'tag': tag, **changes, **more})}"


def _form(asked: Asked) -> list[dict[str, Any]]:
    """The fields of the form: what is stated, and what the address says instead."""
    rates = [f"cases.{at}.{'volume_flow' if case.flow is None and case.volume_flow is not None else 'flow'}" for at, case in enumerate(asked.location.cases)]
    known = (*_FIELDS, *rates, *_CHOICES)
    out = []
    for name in (*known, *(other for other in asked.changes if other not in known)):
        was = stated(asked.location, name, asked.loaded.basis)
        choices = fields()[name].choices if name in _CHOICES else ()
        out.append(
            {
                "name": name,
                "id": name.replace(".", "-"),
                "words": label(asked.location, name),
                "was": was,
                "value": asked.changes.get(name, was),
                "choices": choices,
                "changed": name in asked.changes,
            }
        )
    return out


def _beside(asked: Asked) -> list[str]:
    """Other valves of the same row of the register: a mend of it is theirs too."""
    own = asked.location
    return [
        tag
        for tag, (place, _) in asked.loaded.jobs.items()
        if tag != own.tag and (place.sheet, place.row) == (own.sheet, own.row)
    ]


# -- the answer as shown -------------------------------------------------------------------------------------------


def _shown(answer: Mapping[str, Any], asked: Asked, valve: Mapping[str, Any], units: Shown) -> dict[str, Any]:
    before, after = answer["before"], answer["after"]
    picture = ladders(str(answer["tag"]), before["ladder"], after["ladder"], units)
    cases = [
        (
            one["name"],
            _case(next((old for old in before["cases"] if old["name"] == one["name"]), {}), units),
            _case(one, units),
        )
        for one in after["cases"]
    ]
    return {
        "before": before, "after": after, "changes": [{**one, "field": label(asked.location, str(one["field"]))} for one in answer["changes"]],
        "gone": [_finding(one) for one in answer["gone"]],
        "new": [_finding(one) for one in answer["new"]],
        "moved": [{**_finding(one["after"]), "was": OUTCOMES.get(one["before"]["outcome"], one["before"]["outcome"])} for one in answer["changed"]],
        "ladder": blocks([picture]) if picture else "", "cases": cases, "money": _all_money(answer, valve, units), "draws": answer["draws"],
        "marched": [_marched(before), _marched(after)], "stability": [before["stability"]["verdict"], after["stability"]["verdict"]],
    }  # fmt: skip


def _finding(one: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "name": code(one["code"]),
        "outcome": OUTCOMES.get(one["outcome"], one["outcome"]),
        "words": one["words"],
        "margin": percent(one.get("margin")),
    }


def _case(one: Mapping[str, Any], units: Shown) -> list[tuple[str, str]]:
    return [
        ("Required over rated", percent(one.get("utilisation"))), ("Required area", units.area_of(one.get("required_area_m2"))),
        ("Rated flow", units.flow_of(one.get("rated_flow_kg_s"))), ("Inlet loss at rated flow, of set", percent(one.get("inlet_loss_rated"))),
        ("Built-up back pressure at rated flow", units.difference_of(one.get("built_up_pa"))),
    ]  # fmt: skip


def _all_money(answer: Mapping[str, Any], valve: Mapping[str, Any], units: Shown) -> dict[str, Any]:
    """The money of the study, of both sides, and their difference. here: the valve as it is as judged here, where that is not what the study says."""
    study = _money(_of_study(valve), units)
    here, after = (_money(answer[side], units) for side in ("before", "after"))
    return {"study": study, "here": here if any(here[key] != study[key] for key in ("title", "cost", "npv", "pays")) else None,
            "after": after, "difference": _difference(answer.get("difference") or {}, units)}  # fmt: skip


def _why_other(at: Site, plant: Plant, study: Mapping[str, Any], valve: Mapping[str, Any], answer: Mapping[str, Any]) -> str:
    """Why the valve as it is, judged here, may differ from the study: everything that is known to be another."""
    money, seen = answer["money"], valve.get("chatter") or {}
    said = ["mends or choices were changed since the study"] if at.since(plant) else []
    if study["head"].get("version") != __version__:
        said.append(f"the study was run by quietseat {study['head'].get('version')}, this answer by {__version__}")
    if money["here"] and money["here"]["draws"] != money["study"]["draws"] and money["study"]["draws"]:
        said.append(f"the study drew the money {money['study']['draws']} times, this answer {money['here']['draws'] or 'not at all'}")
    if seen.get("samples") and seen["samples"] != answer["draws"]:
        said.append(f"the study marched the valve in time with {seen['samples']} draws and its remedies too, this answer {'with ' + str(answer['draws']) + ' draws and no remedies' if answer['draws'] else 'is closed form'}")
    return "; ".join(said) or "no reason is known; run the study again"


def _of_study(valve: Mapping[str, Any]) -> dict[str, Any]:
    """What the study says of the valve, as a side of a what-if."""
    best = next((one for one in valve.get("remedies") or () if one["name"] == valve.get("recommended")), None)
    fit = ((best or {}).get("fit") or {}).get("verdict")
    return {"verdict": valve["verdict"], "recommended": {**best, "fit": fit} if best else None}


def _money(side: Mapping[str, Any], units: Shown) -> dict[str, str]:
    best = side["recommended"]
    if best is None:
        return {"title": "nothing to cure" if side["verdict"] == "sound" else "none: nothing tried clears it", "clears": "–", "cost": "–", "npv": "–", "pays": "–",
                "condition": "", "fit": "–", "draws": ""}  # fmt: skip
    life = best.get("life_cycle") or {}
    return {
        "title": best["title"], "clears": clears(best["clears"], best["name"]), "cost": units.spread((best.get("cost") or {}).get("total")),
        "npv": npv_range(life, units), "pays": percent(life.get("probability_pays")), "condition": best.get("condition") or "", "fit": best["fit"] or "–",
        "draws": f"{life['draws']:,}".replace(",", "\u00a0") if life.get("draws") else "",
    }  # fmt: skip


def _difference(found: Mapping[str, Any], units: Shown) -> dict[str, str]:
    """What the change does to the money, signed, in words for each row."""

    def signed(value: float | None) -> str:
        return "–" if value is None else ("+" if value > 0 else "−" if value < 0 else "") + units.money(abs(value))

    pays = found.get("pays")
    return {
        "cost": signed(found.get("cost_mid")), "npv": f"{signed(found.get('npv_mid'))} (mean {signed(found.get('npv_mean'))})" if found.get("npv_mid") is not None else "–",
        "pays": "–" if pays is None else ("+" if pays > 0 else "") + percent(pays),
    }  # fmt: skip


def _marched(side: Mapping[str, Any]) -> dict[str, str] | None:
    seen = side["chatter"]
    if seen is None:
        return None
    low, high = seen["interval"] or (None, None)
    return {
        "verdict": seen["verdict"], "words": seen["words"] or seen["reason"], "chatter": percent(seen["chatter_probability"]),
        "interval": f"{percent(low)} to {percent(high)}" if low is not None else "–", "cycling": percent(seen["cycling_probability"]),
        "flutter": percent(seen["flutter_probability"]), "draws": str(seen["samples"]), "cases": str(seen["marched"]),
    }  # fmt: skip


# -- the full run --------------------------------------------------------------------------------------------------


def _runs(at: Site, plant: Plant, tag: str, location: Location) -> list[dict[str, Any]]:
    """The full runs asked for this valve, newest first."""
    with at.workspace.reading() as connection:
        known = jobs.of_plant(connection, plant.id)
    return [
        {"id": one["id"], "state": one["state"], "words": "; ".join(f"{label(location, name)} {text}" for name, text in one["given"]["changes"].items()),
         "link": _address(plant.id, tag, {}, job=one["id"])}
        for one in known if one["kind"] == KIND and one["given"]["tag"] == tag
    ]  # fmt: skip


def _full(at: Site, plant: Plant, tag: str, number: int, asked: Asked) -> tuple[dict[str, Any], Asked]:
    with at.workspace.reading() as connection:
        job = jobs.get(connection, number)
    if job is None or job["kind"] != KIND or job["plant_id"] != plant.id or job["given"]["tag"] != tag:
        raise HTTPException(404, "There is no such run for this valve.")
    return job, Asked(asked.loaded, asked.location, asked.problems, dict(job["given"]["changes"]))


@router.post("/plant/{number}/valve/what-if/queue")
def queue(
    at: Annotated[Site, Depends(site)],
    request: Request,
    number: int,
    tag: Annotated[str, Form()],
    changes: Annotated[str, Form()],
) -> Response:
    """Queue the full run of a what-if: all draws, remedies marched too."""
    plant, _, _ = found(at, number, tag)
    who = at.named()
    asked = _posted(request, plant, tag, changes)
    with at.workspace.writing() as connection:
        job = jobs.add(connection, plant.id, KIND, {"tag": tag, "changes": asked.changes}, who=who)
    return at.go(_address(number, tag, {}, job=job))


def _posted(request: Request, plant: Plant, tag: str, changes: str) -> Asked:
    """The changes of a form, checked. Raises InputUnusable, or 422, where they cannot be used."""
    try:
        given = json.loads(changes)
    except ValueError as error:
        raise HTTPException(422, "The changes could not be read; load the page again.") from error
    if not isinstance(given, dict) or not given or not all(isinstance(text, str) for text in given.values()):
        raise HTTPException(422, "Nothing is changed yet: change a field first.")
    loaded: Loaded = request.app.state.registers.get(plant)
    if tag not in loaded.jobs:
        raise HTTPException(404, f"The register as it stands has no valve {tag}.")
    location, problems = loaded.jobs[tag]
    read_changes(location, loaded.basis, given)
    return Asked(loaded, location, problems, given)


# -- keeping it ----------------------------------------------------------------------------------------------------


@router.post("/plant/{number}/valve/what-if/keep")
def keep(
    at: Annotated[Site, Depends(site)], request: Request, number: int, tag: Annotated[str, Form()], changes: Annotated[str, Form()],
    why: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """Keep each changed field as a mend of the register, with who and why; a mend of the same cell that stood before is undone."""
    plant, _, _ = found(at, number, tag)
    who = at.named()
    if not why.strip():
        raise HTTPException(422, "Write why the register is mended: the reason is kept with the name.")
    asked = _posted(request, plant, tag, changes)
    wanted = mends(asked.location, _changes(asked.location, asked.loaded.basis, asked.changes), _lines(asked.loaded))
    with at.workspace.writing() as connection:
        for one in wanted:
            kept.keep(connection, plant.id, {**one, "why": why.strip()[:2000]}, who)
    return at.go(f"/plant/{number}/valve?{urlencode({'tag': tag})}")


def _changes(location: Location, basis: Basis, given: Mapping[str, str]) -> list[dict[str, Any]]:
    return [{"field": one.field, "text": one.text} for one in read_changes(location, basis, given)]


def _lines(loaded: Loaded) -> dict[int, tuple[str, int]]:
    """Sheet and row of each line of the mends file."""
    return {one.line: (one.sheet, one.row) for one in loaded.register.mends if one.row is not None}
