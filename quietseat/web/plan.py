"""Plan: budget, outage and crew against what they cure, moved by hand; valves held in or out, with the price of holding them."""

from __future__ import annotations

import csv
import io
import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Response

from quietseat.basis import Basis, make
from quietseat.planning.live import Live
from quietseat.planning.programme import SMALL
from quietseat.planning.records import Item
from quietseat.report import figures
from quietseat.report.problems import quiet
from quietseat.report.words import Shown
from quietseat.store import Workspace, decided, studies
from quietseat.store.plants import Plant
from quietseat.web.site import Site, blocks, shown, site

router = APIRouter()
Here = Annotated[Site, Depends(site)]
Amount = Annotated[float | None, Query(ge=0, le=1e12)]

MOST = 300  # rows of a list on the page; the others are counted and stand in the CSV


@dataclass(frozen=True, slots=True)
class Given:
    """What the page plans with: money, days, hours."""

    budget: float
    outage: float
    crew: float


class Lives:
    """The plans of the studies last looked at, kept in memory."""

    def __init__(self) -> None:
        self._items: OrderedDict[tuple[str, int], list[Item]] = OrderedDict()
        self._kept: OrderedDict[tuple[object, ...], Live] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, workspace: Workspace, study: int, basis: Basis, chosen: Mapping[str, str]) -> Live:
        """The valves of a study, ready to be planned. chosen: remedies decided on by tag; the plan takes no other one of those valves."""
        key = (str(workspace.folder), study)
        whole = (*key, tuple(sorted(chosen.items())))
        with self._lock:
            if key not in self._items:
                with workspace.reading() as connection:
                    self._items[key] = studies.items(connection, study)
            if whole not in self._kept:
                self._kept[whole] = Live([_as_decided(item, chosen.get(item.tag)) for item in self._items[key]], basis)
            live = self._kept[whole]
            while len(self._items) > 4:
                self._items.popitem(last=False)
            while len(self._kept) > 4:
                self._kept.popitem(last=False)
            return live


def _as_decided(item: Item, remedy: str | None) -> Item:
    """The valve with the remedy somebody decided on alone, where that is one a plan may take."""
    only = tuple(option for option in item.options if option.remedy == remedy)
    return replace(item, options=only) if only else item


LIVES = Lives()


@dataclass(frozen=True, slots=True)
class Ready:
    """A plant's study, its plan in memory, what the page plans with, and the holds."""

    plant: Plant
    study: Any
    basis: Basis
    live: Live
    given: Given
    held: dict[str, str]
    chosen: dict[str, str]
    show: Shown


def _ready(at: Site, number: int, budget: float | None, outage: float | None, crew: float | None) -> Ready | None:
    plant = at.plant(number)
    study = at.study(plant)
    if study is None:
        return None
    basis = make(study["head"]["basis"]["changed"])
    hours = basis.crews * basis.crew_hours_per_day
    days = basis.outage_days if outage is None else outage
    given = Given(basis.budget if budget is None else budget, days, hours * days if crew is None else crew)
    with at.workspace.reading() as connection:
        held = decided.pins(connection, number)
        chosen = {tag: row["remedy"] for tag, row in decided.decisions(connection, number).items()}
    return Ready(plant, study, basis, LIVES.get(at.workspace, study["id"], basis, chosen), given, held, chosen, shown(study))


@router.get("/plant/{number}/plan")
def page(at: Here, number: int, budget: Amount = None, outage: Amount = None, crew: Amount = None) -> Response:
    """The page; where htmx asks for it, the answer of the linear relaxation alone."""
    ready = _ready(at, number, budget, outage, crew)
    if ready is None:
        return at.page("plan.html", title="Plan", plant=at.plant(number), here="plan", ready=None)
    terms = ready.live.terms(ready.given.budget, ready.given.outage, ready.given.crew)
    quick = ready.live.quick(terms, ready.held)
    return at.page("plan.html", title="Plan", plant=ready.plant, here="plan", ready=ready, quick=quick, ends=_ends(ready), most=MOST, query=_query(ready.given), plain=plain_number)


def _ends(ready: Ready) -> dict[str, tuple[float, float]]:
    """Highest value and step of each slider."""
    basis = ready.basis
    hours = basis.crews * basis.crew_hours_per_day
    money = _round_up(max(1.2 * min(ready.live.useful, 20 * max(basis.budget, 1.0)), 2 * basis.budget, ready.given.budget, 1000.0))
    days = max(30.0, 2 * basis.outage_days, ready.given.outage)
    return {"budget": (money, money / 200), "outage": (days, 0.5), "crew": (max(hours * days, ready.given.crew, 100.0), 10.0)}


def _round_up(value: float) -> float:
    """The next 1, 2 or 5 with noughts."""
    size = 10 ** (len(f"{value:.0f}") - 1)
    return float(next(step * size for step in (1, 2, 5, 10) if step * size >= value))


def _query(given: Given) -> str:
    return "&".join(f"{name}={plain_number(getattr(given, name))}" for name in ("budget", "outage", "crew"))


def plain_number(value: float) -> str:
    """A number without exponent and without losing a digit, as an address and a form take it."""
    text = f"{value:.6f}"
    return text.rstrip("0").rstrip(".")


@router.get("/plant/{number}/plan/exact")
def exact(at: Here, number: int, budget: Amount = None, outage: Amount = None, crew: Amount = None) -> Response:
    """The integer plan, with reasons, what would let a valve in, interim measures and the price of every hold."""
    ready = _ready(at, number, budget, outage, crew)
    if ready is None:
        raise HTTPException(404, "There is no study to plan yet.")
    terms = ready.live.terms(ready.given.budget, ready.given.outage, ready.given.crew)
    answer = ready.live.exact(terms, ready.held)
    holds = ready.live.prices(terms, ready.held)
    return at.page(
        "plan_exact.html", title="Plan", plant=ready.plant, here="plan", ready=ready, answer=answer, holds=holds, most=MOST, query=_query(ready.given), plain=plain_number,
        fits=ready.live.quick(terms, ready.held)["fits"], small=len(answer["chosen"]) + len(answer["left_out"]) <= SMALL,
    )  # fmt: skip


@router.get("/plant/{number}/plan/curve")
def curve(at: Here, number: int, budget: Amount = None, outage: Amount = None, crew: Amount = None) -> Response:
    """Value and stop findings cured against the budget, and how firm the choice is."""
    ready = _ready(at, number, budget, outage, crew)
    if ready is None:
        raise HTTPException(404, "There is no study to plan yet.")
    terms = ready.live.terms(ready.given.budget, ready.given.outage, ready.given.crew)
    answer = ready.live.exact(terms, ready.held, beyond=True)
    drawn = figures.curve(answer, ready.show)
    return at.page("plan_curve.html", title="Budget curve", plant=ready.plant, here="plan", ready=ready, answer=answer,
                   picture=blocks([drawn] if drawn else []), query=_query(ready.given))  # fmt: skip


@router.post("/plant/{number}/plan/hold")
def hold(
    at: Here, number: int, tag: Annotated[str, Form()], place: Annotated[str, Form(pattern="^(in|out|free)$")], budget: Annotated[float, Form(ge=0)],
    outage: Annotated[float, Form(ge=0)], crew: Annotated[float, Form(ge=0)],
) -> Response:  # fmt: skip
    """Hold a valve in the plan or out of it by hand, or free it. Kept with who and when."""
    ready = _ready(at, number, budget, outage, crew)
    name = at.named()
    if ready is None or tag not in {item.tag for item in ready.live.items}:
        raise HTTPException(404, f"The plan has no valve {tag}: nothing fails there, or the study was run again.")
    if place == "in" and not next(item for item in ready.live.items if item.tag == tag).options:
        raise HTTPException(422, f"{tag} cannot be held in: no remedy of the study clears every finding of it.")
    with at.workspace.writing() as connection:
        decided.pin(connection, number, tag, None if place == "free" else place, name)
    return at.go(f"/plant/{number}/plan?{_query(ready.given)}")


@router.get("/plant/{number}/plan.csv")
def table(at: Here, number: int, budget: Amount = None, outage: Amount = None, crew: Amount = None) -> Response:
    """The integer plan as CSV: chosen and left out, with the reasons."""
    ready = _ready(at, number, budget, outage, crew)
    if ready is None:
        raise HTTPException(404, "There is no study to plan yet.")
    answer = ready.live.exact(ready.live.terms(ready.given.budget, ready.given.outage, ready.given.crew), ready.held)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    money = ready.basis.currency
    writer.writerow(("place", "tag", "remedy", "severity", f"cost low {money}", f"cost middle {money}", f"cost high {money}", "hours", f"value {money}", "why", "what would let it in"))
    for place, rows in (("in", answer["chosen"]), ("out", answer["left_out"])):
        for one in rows:
            cost = one["cost"] or {"low": None, "mid": None, "high": None}
            writer.writerow((place, *map(quiet, (one["tag"], one["title"], one["severity"])), cost["low"], cost["mid"], cost["high"], one.get("hours"),
                             one.get("value"), *map(quiet, (one.get("why") or one.get("reason"), one.get("counterfactual") or ""))))  # fmt: skip
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers={"Content-Disposition": 'attachment; filename="plan.csv"'})
