"""The page of one valve, part by part: verdict and reasons first, every number with the way to where it comes from."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from functools import lru_cache
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, HTTPException, Query, Request, Response

from quietseat import plain, tables
from quietseat.assess import assess
from quietseat.remedies.choose import STANDING
from quietseat.report import drawing, evidence, in_time, leakage, money, motion, reliability, tried
from quietseat.report import valve as printed
from quietseat.report.document import Block, Column, Figure, Heading, TableBlock
from quietseat.report.words import MARKS, OUTCOMES, SEVERITIES, VERDICTS_IN_TIME, Shown, code, is_number, percent
from quietseat.status import InputUnusable
from quietseat.store import decided, issued, valves
from quietseat.store.plants import Plant
from quietseat.web import lengths, remedies
from quietseat.web.registers import Loaded
from quietseat.web.site import Site, blocks, shown, site
from quietseat.web.steps import Trail

router = APIRouter()
_ahead = ThreadPoolExecutor(1, "quietseat steps")

# The parts of the page, in the order of the work: end of the address, title.
PARTS = (
    ("overview", "Verdict"), ("cases", "Cases"), ("steps", "Steps"), ("stability", "Stability"), ("leakage", "Leakage"), ("remedies", "Remedies"),
    ("money", "Money"), ("history", "History"),
)  # fmt: skip
_FIGURES = (
    ("required_flow_kg_s", "Required flow", "flow"), ("rated_flow_kg_s", "Rated flow", "flow"), ("full_flow_kg_s", "Un-derated flow at 10 % over set", "flow"),
    ("utilisation", "Required over rated", "share"), ("required_area_m2", "Required area", "area"), ("relieving_pressure_pa", "Relieving pressure P1", "pressure"),
    ("inlet_loss_required", "Inlet loss at required flow, of set", "share"), ("inlet_loss_rated", "Inlet loss at rated flow, of set", "share"),
    ("built_up_required_pa", "Built-up back pressure at required flow", "difference"), ("built_up_pa", "Built-up back pressure at rated flow", "difference"),
    ("back_pressure_pa", "Total back pressure", "pressure"), ("outlet_mach", "Mach number in the outlet line", "number"),
    ("body_floor_pa", "Floor of the body outlet", "pressure"),
)  # fmt: skip


@router.get("/plant/{number}/valve")
def valve_page(
    at: Annotated[Site, Depends(site)], request: Request, number: int, tag: str = "", part: str = "overview", work: str = "",
    tick: Annotated[list[str] | None, Query()] = None,
) -> Response:  # fmt: skip
    """One part of a valve's page. work=now: the steps worked out anew where the study has not kept them. tick: remedies to compare."""
    plant, study, valve = found(at, number, tag)
    if part not in dict(PARTS):
        raise HTTPException(
            404, f"The page of a valve has no part {part!r}; it has {', '.join(name for name, _ in PARTS)}."
        )
    more: dict[str, Any] = {}
    with suppress(InputUnusable):
        request.app.state.registers.look(plant, 0.0)  # read it in the background: a what-if may come next
    if part == "steps" and not valve.get("steps") and work == "now":
        loaded, current = request.app.state.registers.at_once(plant)
        more["anew"] = "waits" if loaded is None else "now" if current else "before"
        valve = _steps_anew(loaded, valve) if loaded is not None else valve
    units = shown(study)
    trail = Trail(valve, study["head"], plant.id, units, None if more.get("anew") else (str(at.workspace.folder), study["id"], tag))
    more = {**PART[part](valve, units, trail, tick or []), **more}
    if part in ("overview", "remedies", "history"):
        more |= _decided(at, plant, tag)
    answer = at.page(f"valve_{part}.html", **frame(at, plant, study, valve, part), **more)
    if part != "steps" and request.app.state.runs_jobs:
        _ahead.submit(trail.groups)  # who looks at a valve looks at its steps next
    return answer


def found(at: Site, number: int, tag: str) -> tuple[Plant, Mapping[str, Any], dict[str, Any]]:
    """Plant, study and valve of an address. Raises 404 in words."""
    plant = at.plant(number)
    if not tag:
        raise HTTPException(404, "The address names no valve: it ends in valve?tag=TAG.")
    study = at.study(plant)
    if plant.study is None or study is None:
        raise HTTPException(
            404, "This plant has no study yet. Run it from the page Bring in; then its valves can be looked at."
        )
    return plant, study, at.valve(plant.study, tag).full()


def frame(at: Site, plant: Plant, study: Mapping[str, Any], valve: Mapping[str, Any], part: str) -> dict[str, Any]:
    """What the head of every part shows."""
    with at.workspace.reading() as connection:
        before, after = valves.neighbours(connection, study["id"], valve["rank"])
    units = shown(study)
    body = valve.get("valve") or {}
    size = printed.designation(body)
    return {
        "what": " ".join(word for word in (size, body.get("kind") or "kind not stated") if word),
        "title": str(valve["tag"]), "plant": plant, "here": "fleet", "study": study, "valve": valve, "tag": valve["tag"], "part": part, "parts": PARTS,
        "before": before, "after": after, "units": units, "of": lambda name, **given: address(plant.id, valve["tag"], name, **given),
        "set_pressure": units.pressure_of(body.get("set_pressure_pa")), "other": lambda name: address(plant.id, name, part),
    }  # fmt: skip


def address(plant: int, tag: Any, part: str = "overview", **given: Any) -> str:
    """The address of a part of a valve's page."""
    return f"/plant/{plant}/valve?{urlencode({'tag': tag, 'part': part, **given})}"


def _steps_anew(loaded: Loaded, valve: dict[str, Any]) -> dict[str, Any]:
    """The valve with steps worked out from the register as read."""
    if valve["tag"] not in loaded.jobs:
        raise HTTPException(
            404,
            f"The register as it stands has no valve {valve['tag']}: a mend may have renamed it. Run the study again.",
        )
    location, problems = loaded.jobs[valve["tag"]]
    return {**valve, "steps": plain.clean(plain.steps(assess(location, loaded.basis, problems=problems).steps))}


# -- the parts -----------------------------------------------------------------------------------------------------


def _overview(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: list[str]) -> dict[str, Any]:
    rungs = sorted(
        (rung for rung in valve.get("ladder") or () if is_number(rung.get("pressure_pa"))),
        key=lambda rung: -rung["pressure_pa"],
    )
    picture = drawing.ladder(str(valve["tag"]), rungs, units)
    return {
        "cure": blocks(printed.cure(valve, units)), "facts": blocks([printed.facts(valve, units)]), "rests": blocks([printed.rests_on(valve)]),
        "findings": [_finding(one, units, trail) for one in valve.get("findings") or ()],
        "passed": [_finding(one, units, trail) for one in valve.get("passed") or ()],
        "rungs": [{"name": rung["name"], "text": units.pressure_of(rung["pressure_pa"]), "href": trail.of_rung(rung), "rests_on": rung.get("rests_on") or ""} for rung in rungs],
        "ladder": blocks([picture]) if picture else "", "meaning": printed.verdict_title(valve), "reasons": evidence.reworded(valve.get("reasons") or (), valve),
        "evidence": evidence.reworded(valve.get("evidence") or (), valve), "measure": remedies.to_measure(valve), "holdable": _holdable(valve),
        "only_keep": valve.get("recommended") == "keep",
    }  # fmt: skip


def _finding(one: Mapping[str, Any], units: Shown, trail: Trail) -> dict[str, Any]:
    return {
        "name": code(one["code"]), "outcome": OUTCOMES.get(one["outcome"], one["outcome"]), "severity": SEVERITIES.get(one["severity"], one["severity"]),
        "fails": one["outcome"] == "fail", "words": evidence.words(one), "value": printed.finding_value(one, "value", units),
        "limit": printed.finding_value(one, "limit", units), "margin": percent(one.get("margin")), "rule": printed.rule_words(one), "href": trail.of_finding(one),
        "made_of": trail.made_of(one), "limit_href": trail.of_limit(one),
    }  # fmt: skip


def _cases(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: list[str]) -> dict[str, Any]:
    bases = printed.rate_bases(valve)
    cases = [
        {
            "name": case["name"], "basis": bases.get(place, "not stated"), "ended": printed.ended(case), "orifice": case.get("orifice") or "–",
            "figures": [(title, _figure(case.get(key), kind, units), trail.of_case(case, key)) for key, title, kind in _FIGURES],
        }
        for place, case in enumerate(valve.get("cases") or ())
    ]  # fmt: skip
    return {"cases": cases, "resistances": blocks(printed.resistances(valve))}


def _figure(value: Any, kind: str, units: Shown) -> str:
    if kind == "share":
        return percent(value)
    if kind == "number":
        return f"{value:.3g}" if is_number(value) else "–"
    show: dict[str, Callable[[Any], str]] = {
        "flow": units.flow_of, "area": units.area_of, "pressure": units.pressure_of, "difference": units.difference_of,
    }  # fmt: skip
    return show[kind](value)


def _steps(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: list[str]) -> dict[str, Any]:
    return {
        "groups": trail.groups(), "inputs": trail.inputs(), "assumptions": valve.get("assumptions") or (), "anew": "",
        "problems": blocks([printed.problem_table(valve["problems"], "Problems in its cells")]) if valve.get("problems") else "",
    }  # fmt: skip


def _stability(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: list[str]) -> dict[str, Any]:
    found = valve.get("chatter") or {}
    bare = {**valve, "chatter": {**found, "traces": [], "map": None} if found else None}
    lines = [(place, line) for place, line in enumerate(found.get("traces") or ()) if len(line.get("t_s") or ()) > 2]
    return {
        "closed": blocks(list(printed.stability(valve, units))[1:]), "marched": blocks(in_time.section(bare, units)), "has_map": bool(found.get("map")),
        "traces": [(place, f"{motion.name(line)} flow: {VERDICTS_IN_TIME.get(line.get('verdict'), line.get('verdict'))}") for place, line in lines],
        "judged": lengths.judged(valve, trail.head), **lengths.critical(valve, trail.head, trail.of_symbol("L_crit", "Stability")),
        "cycling": lengths.cycling(valve, trail.head),
    }  # fmt: skip


def _leakage(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: list[str]) -> dict[str, Any]:
    return {"body": blocks(opened(leakage.section(valve, units)))}


def _money(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: list[str]) -> dict[str, Any]:
    chosen = next((one for one in valve.get("remedies") or () if one["name"] == valve.get("recommended")), None)
    prices = blocks(opened(tried.price_tables(chosen, units))) if chosen else ""
    return {"body": blocks(opened(money.section(valve, units))), "prices": prices}


def opened(some: Iterable[Block]) -> Iterable[Block]:
    """Blocks with what is folded away laid open under its title."""
    for block in some:
        inside = getattr(block, "blocks", None)
        if inside is not None and hasattr(block, "quiet"):
            yield Heading(3, block.title)  # type: ignore[union-attr]
            yield from opened(inside)
        else:
            yield block


def _history(valve: Mapping[str, Any], units: Shown, trail: Trail, tick: list[str]) -> dict[str, Any]:
    events = (valve.get("history") or {}).get("events") or ()
    lines = tuple(
        (str(one.get("date") or "–"), str(one["event"]), _reading(one, units), str(one.get("note") or "–"), units.money(one.get("cost")))
        for one in sorted(events, key=lambda one: str(one.get("date") or ""))
    )  # fmt: skip
    table = TableBlock("What is known of its past", (Column("Date"), Column("Event"), Column("Reading", "number"), Column("In words", "wide"),
                       Column(f"Cost, {units.currency}", "number")), lines)  # fmt: skip
    return {
        "events": blocks([table]) if lines else "", "condition": (valve.get("history") or {}).get("condition") or "", "remarks_read": valve.get("remarks") or (),
        "reliability": blocks(opened(reliability.section(valve, units))),
    }  # fmt: skip


def _reading(one: Mapping[str, Any], units: Shown) -> str:
    value = one.get("value")
    if not is_number(value):
        return "–"
    if one["event"] in ("pop", "stuck"):
        return units.pressure_of(value)
    return {"leak": f"{value:,.6g} ppm", "bellows": f"{value:g} renewed", "lift": f"{value:g} lifts"}.get(str(one["event"]), f"{value:g}")


PART: Mapping[str, Callable[[Mapping[str, Any], Shown, Trail, list[str]], dict[str, Any]]] = {
    "overview": _overview, "cases": _cases, "steps": _steps, "stability": _stability, "leakage": _leakage, "money": _money, "history": _history,
    "remedies": remedies.part,
}  # fmt: skip


# -- pictures and sources ------------------------------------------------------------------------------------------


@router.get("/plant/{number}/valve/picture.svg")
def picture(at: Annotated[Site, Depends(site)], number: int, tag: str, what: str, study: int) -> Response:
    """A picture of a valve in a study: map, or trace-0, trace-1, ...; drawn once and kept, for a study never changes."""
    plant = at.plant(number)
    head = at.study(plant)
    if head is None or plant.study != study:
        raise HTTPException(404, "The page shows another study now; load it again.")
    drawn = _drawn(at.workspace.folder, study, tag, what) or _draw(at, head, study, tag, what)
    if drawn is None:
        raise HTTPException(404, "There is no such picture of this valve.")
    return Response(drawn, media_type="image/svg+xml", headers={"Cache-Control": "private, max-age=86400"})


_KEPT: dict[tuple[Any, ...], str] = {}
_MOST = 400  # pictures
_keeping = threading.Lock()


def _drawn(*key: Any) -> str | None:
    return _KEPT.get(key)


def _draw(at: Site, study: Mapping[str, Any], number: int, tag: str, what: str) -> str | None:
    valve = at.valve(number, tag).full()
    seen, units = valve.get("chatter") or {}, shown(study)
    figure: Figure | None = None
    if what == "map":
        figure = motion.stability_map(tag, seen.get("map"), units)
    elif what.startswith("trace-") and what[6:].isdigit() and int(what[6:]) < len(seen.get("traces") or ()):
        limit = (valve.get("valve") or {}).get("set_pressure_pa")
        figure = motion.trace(
            tag, seen["traces"][int(what[6:])], units, limit, seen.get("stop_lift_m"), seen.get("frequency_hz")
        )
    if figure is None:
        return None
    with _keeping:
        while len(_KEPT) >= _MOST:
            _KEPT.pop(next(iter(_KEPT)))
        _KEPT[at.workspace.folder, number, tag, what] = figure.svg
    return figure.svg


@router.get("/plant/{number}/source")
def source_page(at: Annotated[Site, Depends(site)], number: int, table: str) -> Response:
    """A packaged table with the document, place and confidence of each row; #row-N is one row."""
    plant = at.plant(number)
    if table not in tables.names():
        raise HTTPException(404, f"There is no table {table!r}.")
    return at.page("valve_source.html", title=f"Table {table.replace('_', ' ')}", plant=plant, here="", **_table(table))


@lru_cache(maxsize=32)
def _table(name: str) -> dict[str, Any]:
    kept = tables.table(name)
    columns = [
        column
        for column in kept.columns
        if column not in ("provenance", "source", "place") and not column.endswith("_provenance")
    ]
    lines = [
        ([_shown(row.get(column)) for column in columns], row.cite(), MARKS.get(row.mark(), row.mark()))
        for row in kept.rows
    ]
    document = tables.sources().get(kept.source)
    return {"columns": columns, "lines": lines, "document": document, "note": kept.note, "lookup": kept.lookup}


def _shown(value: Any) -> str:
    return "" if value is None else f"{value:.6g}" if isinstance(value, float) else str(value)


# -- what people decide --------------------------------------------------------------------------------------------


def _decided(at: Site, plant: Plant, tag: str) -> dict[str, Any]:
    with at.workspace.reading() as connection:
        found = decided.history(connection, plant.id, tag)
    stands = {kind: [row for row in kept if row["undone_at"] is None] for kind, kept in found.items()}
    return {
        "decision": stands["decision"][-1] if stands["decision"] else None, "pin": stands["pin"][-1] if stands["pin"] else None,
        "remarks": stands["remark"], "decided": found,
    }  # fmt: skip


@router.post("/plant/{number}/valve/decide")
def decide(
    at: Annotated[Site, Depends(site)], number: int, tag: Annotated[str, Form()], remedy: Annotated[str, Form()], why: Annotated[str, Form()] = "",
    part: Annotated[str, Form()] = "remedies",
) -> Response:  # fmt: skip
    """Decide on one of a valve's remedies, with the reason."""
    plant, _, valve = found(at, number, tag)
    who = at.named()
    chosen = next((one for one in valve.get("remedies") or () if one["name"] == remedy), None)
    if chosen is None:
        raise HTTPException(422, f"The study has no remedy {remedy!r} for {tag}.")
    if not why.strip():
        raise HTTPException(422, "Write why this remedy was decided on: the reason is kept with the name.")
    with at.workspace.writing() as connection:
        decided.decide(connection, plant.id, tag, remedy, str(chosen["title"]), why.strip()[:2000], who)
    return at.go(address(number, tag, _part(part)))


def _holdable(valve: Mapping[str, Any]) -> bool:
    """Whether the plan could take this valve: a remedy of it clears every finding. Keeping and measuring bind nothing there."""
    return any(one["clears"] != "no" and one["name"] not in STANDING for one in valve.get("remedies") or ())


@router.post("/plant/{number}/valve/hold")
def hold(
    at: Annotated[Site, Depends(site)], number: int, tag: Annotated[str, Form()], place: Annotated[str, Form()] = ""
) -> Response:
    """Hold a valve in or out of the plan, or let the plan choose again (place empty)."""
    plant, _, valve = found(at, number, tag)
    who = at.named()
    if place not in ("", *decided.PLACES):
        raise HTTPException(422, "A valve is held in the plan, out of it, or free.")
    if place == "in" and not _holdable(valve):
        raise HTTPException(422, f"{tag} cannot be held in: no remedy of the study clears every finding of it.")
    with at.workspace.writing() as connection:
        decided.pin(connection, plant.id, tag, None, who)
        if place:
            decided.pin(connection, plant.id, tag, place, who)
    return at.go(address(number, tag))


@router.post("/plant/{number}/valve/remark")
def remark(
    at: Annotated[Site, Depends(site)], number: int, tag: Annotated[str, Form()], words: Annotated[str, Form()] = ""
) -> Response:
    """Keep a remark about a valve of the study shown; refused in words where that study is locked."""
    _, study, _ = found(at, number, tag)
    who = at.named()
    with at.workspace.writing() as connection:
        issued.remark(connection, study["id"], words.strip()[:4000], who, tag)
    return at.go(address(number, tag))


@router.post("/plant/{number}/valve/undo")
def undo(
    at: Annotated[Site, Depends(site)], number: int, tag: Annotated[str, Form()], kind: Annotated[str, Form()], row: Annotated[int, Form()],
    part: Annotated[str, Form()] = "overview", again: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """Undo a decision, a hold or a remark; again: let an undone one stand again."""
    plant = at.plant(number)
    who = at.named()
    if kind not in ("decision", "pin", "remark"):
        raise HTTPException(422, "There is nothing of this kind to undo.")
    with at.workspace.writing() as connection:
        if kind == "remark":
            done = issued.undo_of_plant(connection, plant.id, row, who, again=bool(again))
        elif again:
            done = bool(decided.redo(connection, plant.id, kind, row, who))
        else:
            done = bool(decided.undo(connection, plant.id, kind, row, who))
    if not done:
        raise HTTPException(404, "It was undone already.")
    return at.go(address(number, tag, _part(part)))


def _part(name: str) -> str:
    return name if name in dict(PARTS) else "overview"
