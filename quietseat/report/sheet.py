"""The sheet of one valve: what a reviewer or a shop needs of it on one or two pages of paper."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from quietseat.report import brief, by_hand, drawing, evidence, fitted, leakage, money, reliability
from quietseat.report.document import (
    Beside,
    Block,
    Callout,
    Cell,
    Column,
    Document,
    Heading,
    OnePage,
    Pairs,
    Prose,
    TableBlock,
)  # fmt: skip
from quietseat.report.valve import cure, facts, rests_on, verdict_title
from quietseat.report.words import (
    DASH,
    OUTCOMES,
    SEVERITIES,
    Shown,
    code,
    cut,
    is_number,
    nothing_found,
    percent,
    place,
    plain,
    shown,
)

_EVENTS, _CASES = 6, 6  # lines printed


def document(valve: Mapping[str, Any], head: Mapping[str, Any]) -> Document:
    """The sheet of one valve as a document. valve: as unpacked from its record; head: of its study."""
    tag, study = str(valve["tag"]), str(head.get("hash") or "")
    first = (
        Heading(2, f"{tag}: {valve['verdict']}", "valve", valve["verdict"]), *brief.issue({**head, "issue": _without_remarks(head)}),
        *front(valve, shown(head)), *by_hand.of_valve(head, valve), *_remarks(head, tag), _caution(),
    )  # fmt: skip
    return Document(
        f"{tag}: {brief.title(head)}", brief.subtitle(head), study[:12], (OnePage(first), *fit(valve, study))
    )


def front(valve: Mapping[str, Any], show: Shown) -> Iterable[Block]:
    """The first page of the sheet below its heading."""
    said = " ".join(str(one.get("words")) for one in valve.get("findings") or ())
    others = tuple(str(one) for one in valve.get("reasons") or () if str(one).partition(": ")[2] not in said)
    about = (facts(valve, show), Callout(valve["verdict"], verdict_title(valve), others))
    ladder = drawing.ladder(str(valve["tag"]), valve.get("ladder") or (), show)
    if ladder:
        yield Beside(about, (ladder,))
    else:
        yield from about
    yield _findings(valve, show)
    yield _cases(valve, show)
    yield from _stability(valve)
    yield from cure(valve, show)
    yield from _money(valve, show)
    yield rests_on(valve)
    yield from _history(valve, show)


def fit(valve: Mapping[str, Any], study: str) -> Iterable[Block]:
    """The fit of the recommended remedy, drawn to scale, or what to measure first. study: the study's hash, printed in the title block."""
    chosen = next((one for one in valve.get("remedies") or () if one["name"] == valve.get("recommended")), None)
    return fitted.of_remedy(valve, chosen, study) if chosen else ()


def _findings(valve: Mapping[str, Any], show: Shown) -> Block:
    rows = tuple(
        (Cell(f"{code(one['code'])}: {OUTCOMES.get(one['outcome'], one['outcome'])}"), cut(evidence.words(one) or DASH, 260),
         evidence.value(one, "value", show), evidence.value(one, "limit", show), SEVERITIES.get(one["severity"], one["severity"]), evidence.source(one))
        for one in valve.get("findings") or ()
    )  # fmt: skip
    if not rows:
        return Prose(f"Findings: none. {nothing_found(valve.get('verdict'), valve.get('reasons'))}")
    return TableBlock("Findings", (Column("Finding"), Column("In words", "wide"), Column("Value", "number"), Column("Limit", "number"),
                                   Column("Severity"), Column("Rests on")), rows, note="Open = not decided, never passed.")  # fmt: skip


def _cases(valve: Mapping[str, Any], show: Shown) -> Block:
    cases = valve.get("cases") or ()
    if not cases:
        return Prose("Relief cases: none could be read, so sizing was not checked.")
    rows = tuple(
        (cut(plain(one["name"]), 40), show.flow_of(one.get("required_flow_kg_s"), False), show.flow_of(one.get("rated_flow_kg_s"), False),
         percent(one.get("utilisation")), percent(one.get("inlet_loss_rated")), show.difference_of(one.get("built_up_pa"), False),
         show.pressure_of(one.get("back_pressure_pa"), False), plain(one.get("orifice"))
         if one.get("status") in (None, "ok") else f"{one['status']}: {cut(plain(one.get('reason')), 90)}")
        for one in cases[:_CASES]
    )  # fmt: skip
    more = f" {len(cases) - _CASES} more stand in study.html." if len(cases) > _CASES else ""
    return TableBlock(
        "Relief cases", (Column("Case", "wide"), Column(f"Required, {show.flow}", "number"), Column(f"Rated, {show.flow}", "number"),
                         Column("Required / rated", "number"), Column("Inlet loss, of set", "number"), Column(f"Built-up, {show.difference}", "number"),
                         Column(f"Back pressure, {show.pressure}", "number"), Column("Letter needed")), rows,
        note=f"Losses and back pressure at rated flow.{more}",
    )  # fmt: skip


def _stability(valve: Mapping[str, Any]) -> Iterable[Block]:
    found, marched = valve.get("stability") or {}, valve.get("chatter") or {}
    if found:
        yield Prose(
            f"Stability by the model: {found.get('verdict', 'unproven')}. {found.get('words') or found.get('reason') or 'Not assessed.'}"
        )
    if marched and marched.get("words") and marched["words"] != found.get("words"):
        yield Prose(f"Simulated in time: {marched.get('verdict', 'unproven')}. {marched['words']}")


def _money(valve: Mapping[str, Any], show: Shown) -> Iterable[Block]:
    if (valve.get("money") or {}).get("npv") and valve.get("recommended") != "measure-first":
        yield Prose(money.sentence(valve["money"], show))
    if (valve.get("leakage") or {}).get("bases"):
        yield Prose(f"Leak. {leakage.sentence(valve['leakage'], show)}")
    if (valve.get("reliability") or {}).get("status") == "ok":
        yield Prose(f"Reliability. {reliability.sentence(valve['reliability'])}")


def _event(one: Mapping[str, Any], show: Shown) -> str:
    """The value of an event; a pop is a pressure."""
    value = one.get("value")
    if not is_number(value):
        return plain(value)
    return show.pressure_of(value) if one.get("event") == "pop" else f"{value:.6g}"


def _history(valve: Mapping[str, Any], show: Shown) -> Iterable[Block]:
    found = valve.get("history") or {}
    events = sorted(found.get("events") or (), key=lambda one: str(one.get("date") or ""), reverse=True)
    if found.get("condition"):
        yield Prose(f"Condition on record: {plain(found['condition'])}.")
    if not events:
        yield Prose("History: none in the register.")
        return
    rows = tuple(
        (plain(one.get("date")), plain(one.get("event")).replace("-", " "), _event(one, show),
         cut(plain(one.get("note")), 120)) for one in events[:_EVENTS]
    )  # fmt: skip
    more = (
        f"{len(events) - _EVENTS} older ones stand in the register, {place(valve.get('sheet'), valve.get('row'))}."
        if len(events) > _EVENTS
        else ""
    )
    yield TableBlock(
        "History, newest first",
        (Column("Day"), Column("Event"), Column("Value", "number"), Column("Note", "wide")),
        rows,
        note=more,
    )


def _remarks(head: Mapping[str, Any], tag: str) -> Iterable[Block]:
    found = head.get("issue") or {}
    said = brief.remarks({"remarks": [one for one in found.get("remarks") or () if one.get("tag") == tag]})
    if said:
        yield Pairs(tuple(("Remark of the review", Cell(one)) for one in said))


def _without_remarks(head: Mapping[str, Any]) -> dict[str, Any]:
    return {**(head.get("issue") or {}), "remarks": ()}


def _caution() -> Block:
    return Callout("caution", "Before anything is done", (
        "No valve may be removed, reset, re-trimmed or replaced without the owner's management of change.",
        "This sheet holds only once a competent engineer has checked and signed the study. Every step, input and remedy of the valve stands in "
        "study.html and study.json.",
    ))  # fmt: skip
