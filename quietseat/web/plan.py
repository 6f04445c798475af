"""Plan: budget, outage and crew against what they cure, moved by hand; valves held in or out, with the price of holding them."""

from __future__ import annotations

import csv
import io
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import zip_longest
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Response

from quietseat.basis import Basis, make
from quietseat.celltext import quiet
from quietseat.planning.live import Live, as_decided
from quietseat.planning.programme import SMALL
from quietseat.planning.records import Item, Terms
from quietseat.planning.windows import terms_of
from quietseat.report import figures
from quietseat.report.words import Shown
from quietseat.status import InputUnusable
from quietseat.store import Workspace, decided, studies
from quietseat.store.plants import Plant
from quietseat.store.rows import Row
from quietseat.web.site import Site, blocks, shown, signed, site

router = APIRouter()
Here = Annotated[Site, Depends(site)]
Amount = Annotated[float | None, Query(ge=0, le=1e12, allow_inf_nan=False)]
Texts = Annotated[list[str] | None, Query()]
Key = TypeVar("Key")
Value = TypeVar("Value")

MOST = 300  # rows of a list on the page; the others are counted and stand in the CSV
NAMED = 60  # valves named in the answer at once
WINDOWS = 6  # dated windows a page takes
KEPT = 8  # plans held in memory
ROW = ("window", "start", "days", "hours", "money")  # fields of a dated window in an address


@dataclass(frozen=True, slots=True)
class Given:
    """What the page plans with: money, days, hours, and rows of dated windows (name, start, days, hours, money) as written."""

    budget: float
    outage: float
    crew: float
    windows: tuple[tuple[str, ...], ...] = ()

    def query(self) -> str:
        """The part of an address that gives the same again."""
        rows = [(field, value) for row in self.windows for field, value in zip(ROW, row, strict=True)]
        return urlencode([*((name, plain_number(getattr(self, name))) for name in ("budget", "outage", "crew")), *rows])

    def terms(self, live: Live) -> Terms:
        """The same as terms of a plan. Raises InputUnusable where the windows cannot be read."""
        if not self.windows:
            return live.terms(self.budget, self.outage, self.crew)
        listed = [_window(place, row) for place, row in enumerate(self.windows, start=1)]
        return terms_of(
            "Windows", {"window": listed}, live.basis, budget=plain_number(self.budget), outage=f"{plain_number(self.outage)} d",
            crew=f"{plain_number(self.crew)} h", today=date.today(),
        )  # fmt: skip


def _window(place: int, row: tuple[str, ...]) -> dict[str, str]:
    name, start, days, hours, money = row
    written = {"name": name or f"window {place}", "start": start, "outage": days and f"{days} d", "crew": hours and f"{hours} h", "budget": money}
    return {key: value for key, value in written.items() if value}


def plain_number(value: float) -> str:
    """A number without exponent and without losing a digit, as an address and a form take it."""
    return f"{value:.6f}".rstrip("0").rstrip(".")


@dataclass(frozen=True, slots=True)
class Limits:
    """What the address asks for; None: as the Basis of the study has it."""

    budget: float | None
    outage: float | None
    crew: float | None
    windows: tuple[tuple[str, ...], ...]


def limits(
    budget: Amount = None, outage: Amount = None, crew: Amount = None, window: Texts = None, start: Texts = None, days: Texts = None,
    hours: Texts = None, money: Texts = None,
) -> Limits:  # fmt: skip
    """The limits of an address; a row of a window counts where any part of it is filled in."""
    rows = zip_longest(*((one or [])[:WINDOWS] for one in (window, start, days, hours, money)), fillvalue="")
    filled = [tuple(part.strip()[:40] for part in row) for row in rows]
    return Limits(budget, outage, crew, tuple(row for row in filled if any(row)))


Asked = Annotated[Limits, Depends(limits)]


class Lives:
    """The valves of the studies last looked at and their plans, kept in memory."""

    def __init__(self) -> None:
        self._items: OrderedDict[tuple[str, int], list[Item]] = OrderedDict()
        self._kept: OrderedDict[tuple[object, ...], Live] = OrderedDict()
        self._lock = threading.Lock()

    def items(self, workspace: Workspace, study: int) -> list[Item]:
        """The valves of a study with something to plan."""

        def read() -> list[Item]:
            with workspace.reading() as connection:
                return studies.items(connection, study)

        with self._lock:
            return _held(self._items, (str(workspace.folder), study), read)

    def get(self, workspace: Workspace, study: int, basis: Basis, chosen: Mapping[str, str]) -> Live:
        """The valves of a study, ready to be planned. chosen: remedies decided on by tag; the plan takes no other one of those valves."""
        items = self.items(workspace, study)
        key = (str(workspace.folder), study, tuple(sorted(chosen.items())))
        with self._lock:
            return _held(self._kept, key, lambda: Live(as_decided(items, chosen), basis))

    def over(self, workspace: Workspace, study: int, live: Live, chosen: Mapping[str, str], terms: Terms) -> Live:
        """The same valves, ready to be planned in dated windows."""
        frame = repr([(one.name, one.start, one.hours_per_day) for one in terms.windows] + [terms.now])
        key = (str(workspace.folder), study, tuple(sorted(chosen.items())), frame)
        with self._lock:
            return _held(self._kept, key, lambda: live.over(terms))


def _held(kept: OrderedDict[Key, Value], key: Key, made: Callable[[], Value]) -> Value:
    """What is kept under a key, made where it is not; the longest unused gives way."""
    if key not in kept:
        kept[key] = made()
        while len(kept) > KEPT:
            kept.popitem(last=False)
    kept.move_to_end(key)
    return kept[key]


LIVES = Lives()


@dataclass(frozen=True, slots=True)
class Ready:
    """A plant's study, its plan in memory, what the page plans with, and the holds. wrong: why the windows cannot be read."""

    plant: Plant
    study: Any
    basis: Basis
    live: Live
    given: Given
    terms: Terms
    held: dict[str, Row]
    show: Shown
    wrong: str = ""

    @property
    def places(self) -> dict[str, str]:
        """In or out by tag, of the holds that can bind."""
        return self.live.holds({tag: row["place"] for tag, row in self.held.items()})


def _ready(at: Site, number: int, asked: Limits) -> Ready | None:
    plant = at.plant(number)
    study = at.study(plant)
    if study is None:
        return None
    basis = make(study["head"]["basis"]["changed"])
    hours = basis.crews * basis.crew_hours_per_day
    days = basis.outage_days if asked.outage is None else asked.outage
    given = Given(basis.budget if asked.budget is None else asked.budget, days, hours * days if asked.crew is None else asked.crew, asked.windows)
    with at.workspace.reading() as connection:
        held = decided.pinned(connection, number)
        chosen = {tag: row["remedy"] for tag, row in decided.decisions(connection, number).items()}
    live, wrong = LIVES.get(at.workspace, study["id"], basis, chosen), ""
    terms = live.terms(given.budget, given.outage, given.crew)
    if given.windows:
        try:
            terms = given.terms(live)
            live = LIVES.over(at.workspace, study["id"], live, chosen, terms)
        except InputUnusable as error:
            wrong = str(error)
    return Ready(plant, study, basis, live, given, terms, held, shown(study), wrong)


def _planned(at: Site, number: int, asked: Limits) -> Ready:
    """As _ready. Raises 404 without a study, 422 where the windows cannot be read."""
    ready = _ready(at, number, asked)
    if ready is None:
        raise HTTPException(404, "There is no study to plan yet.")
    if ready.wrong:
        raise HTTPException(422, ready.wrong)
    return ready


@router.get("/plant/{number}/plan")
def page(at: Here, number: int, asked: Asked) -> Response:
    """The page; where htmx asks for it, the answer of the linear relaxation alone."""
    ready = _ready(at, number, asked)
    if ready is None:
        return at.page("plan.html", title="Plan", plant=at.plant(number), here="plan", ready=None)
    quick = None if ready.wrong else ready.live.quick(ready.terms, ready.places)
    blank = tuple("" for _ in ROW)
    return at.page(
        "plan.html", title="Plan", plant=ready.plant, here="plan", ready=ready, quick=quick, ends=_ends(ready), named=NAMED, query=ready.given.query(),
        plain=plain_number, money=signed(ready.show), rows=[*ready.given.windows, blank][:WINDOWS],
    )  # fmt: skip


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


@router.get("/plant/{number}/plan/exact")
def exact(at: Here, number: int, asked: Asked) -> Response:
    """The integer plan, with reasons, what would let a valve in, interim measures and the price of every hold."""
    ready = _planned(at, number, asked)
    answer = ready.live.exact(ready.terms, ready.places)
    holds = ready.live.prices(ready.terms, ready.places)
    return at.page(
        "plan_exact.html", title="Plan", plant=ready.plant, here="plan", ready=ready, answer=answer, holds=holds, most=MOST, query=ready.given.query(),
        money=signed(ready.show), fits=ready.live.quick(ready.terms, ready.places)["fits"], small=len(answer["chosen"]) + len(answer["left_out"]) <= SMALL,
        idle=[row for tag, row in ready.held.items() if tag not in ready.places], several=len(ready.terms.windows) > 1,
    )  # fmt: skip


@router.get("/plant/{number}/plan/curve")
def curve(at: Here, number: int, asked: Asked) -> Response:
    """Value and stop findings cured against the budget, and how firm the choice is."""
    ready = _planned(at, number, asked)
    answer = ready.live.exact(ready.terms, ready.places, beyond=True)
    drawn = figures.curve(answer, ready.show)
    return at.page("plan_curve.html", title="Budget curve", plant=ready.plant, here="plan", ready=ready, answer=answer,
                   picture=blocks([drawn] if drawn else []), query=ready.given.query())  # fmt: skip


@router.post("/plant/{number}/plan/hold")
def hold(at: Here, number: int, asked: Asked, tag: Annotated[str, Form()], place: Annotated[str, Form(pattern="^(in|out|free)$")]) -> Response:
    """Hold a valve in the plan or out of it by hand, or free it. Kept with who and when."""
    ready = _ready(at, number, asked)
    name = at.named()
    if ready is None:
        raise HTTPException(404, "There is no study to plan yet.")
    item = ready.live.item(tag)
    if item is None and not (place == "free" and tag in ready.held):
        raise HTTPException(404, f"The plan has no valve {tag}: nothing fails there, or the study was run again.")
    if place == "in" and item is not None and not item.options:
        raise HTTPException(422, f"{tag} cannot be held in: no remedy of the study clears every finding of it.")
    with at.workspace.writing() as connection:
        decided.pin(connection, number, tag, None if place == "free" else place, name)
    return at.go(f"/plant/{number}/plan?{ready.given.query()}")


@router.get("/plant/{number}/plan.csv")
def table(at: Here, number: int, asked: Asked) -> Response:
    """The integer plan as CSV: chosen and left out, with the reasons."""
    ready = _planned(at, number, asked)
    answer = ready.live.exact(ready.terms, ready.places)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    money = ready.basis.currency
    writer.writerow(("place", "tag", "remedy", "window", "severity", f"cost low {money}", f"cost middle {money}", f"cost high {money}", "hours",
                     f"value {money}", "why", "what would let it in", "held by hand"))  # fmt: skip
    for place, rows in (("in", answer["chosen"]), ("out", answer["left_out"])):
        for one in rows:
            cost = one["cost"] or {"low": None, "mid": None, "high": None}
            writer.writerow((place, *map(quiet, (one["tag"], one["title"], one["window"] or "", one["severity"])), cost["low"], cost["mid"], cost["high"],
                             one.get("hours"), one.get("value"), *map(quiet, (one.get("why") or one.get("reason"), one.get("counterfactual") or "")),
                             ready.places.get(one["tag"], "")))  # fmt: skip
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers={"Content-Disposition": 'attachment; filename="plan.csv"'})
