"""What people have decided beside the study: remedies and places in the plan, and a plan that takes them. Printed with issue and reviewer."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report.document import Block, Callout, Cell, Column, Heading, Prose, TableBlock, long_table
from quietseat.report.words import DASH, Shown, plain

_RECORD = "the record of the workspace"

Links = Mapping[str, str]  # tag -> anchor of the valve's own section


def counted(head: Mapping[str, Any]) -> str:
    """How many decisions and holds stand, in words; "" for none."""
    found = _found(head)
    some = (
        (len(found.get("decisions") or ()), "remedy", "remedies"),
        (len(found.get("holds") or ()), "place in the plan", "places in the plan"),
    )
    return " and ".join(f"{count} {one if count == 1 else many}" for count, one, many in some if count)


def section(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]], show: Shown, links: Links) -> Iterable[Block]:
    """Decisions and holds with name, day and reason, beside what the study recommends; then the plan that takes them. Nothing where none stand.

    rows: the summaries of the valves.
    """
    found = _found(head)
    if not found:
        return
    yield Heading(2, "Decided by hand", "by-hand")
    yield Prose(
        "What people have decided in the workspace, as it stood when these files were made. It is no part of the study or its hash: the plan of "
        "the study takes none of it, the plan below takes all of it."
    )
    yield from _decisions(found.get("decisions") or (), {str(row["tag"]): row for row in rows}, links)
    yield from _holds(found.get("holds") or (), links)
    yield from _plan(found, show, links)


def of_valve(head: Mapping[str, Any], valve: Mapping[str, Any]) -> Iterable[Block]:
    """What was decided about one valve, as a line of its sheet."""
    found, tag = _found(head), valve["tag"]
    said = [f"{plain(one['title'])} ({_by(one)})" for one in found.get("decisions") or () if one["tag"] == tag]
    said += [f"held {one['place']} of the plan ({_by(one)})" if one["place"] == "out" else f"held in the plan ({_by(one)})"
             for one in found.get("holds") or () if one["tag"] == tag]  # fmt: skip
    if said:
        yield Prose(f"Decided by hand: {'; '.join(said)}.")


def _found(head: Mapping[str, Any]) -> Mapping[str, Any]:
    return (head.get("issue") or {}).get("by_hand") or {}


def _by(one: Mapping[str, Any]) -> str:
    why = f": {plain(one['why'])}" if one.get("why") else ""
    return f"{plain(one['who'])}, {str(one['made_at'])[:10]}{why}"


def _tag(one: Mapping[str, Any], links: Links) -> Cell:
    return Cell(plain(one["tag"]), link=links.get(one["tag"], ""))


def _decisions(
    found: Sequence[Mapping[str, Any]], known: Mapping[str, Mapping[str, Any]], links: Links
) -> Iterable[Block]:
    if not found:
        return
    columns = (
        Column("Tag"),
        Column("Decided", "wide"),
        Column("The study recommends", "wide"),
        Column("By, on"),
        Column("Why", "wide"),
    )
    lines = []
    for one in found:
        row = known.get(one["tag"])
        if row is None:
            advice = "the study has no such valve"
        elif row.get("recommended") == one["remedy"]:
            advice = "the same"
        else:
            advice = plain(row.get("recommended_title")) if row.get("recommended") else "nothing"
        lines.append(
            (
                _tag(one, links),
                plain(one["title"]),
                advice,
                f"{plain(one['who'])}, {str(one['made_at'])[:10]}",
                plain(one.get("why") or DASH),
            )
        )
    yield from long_table(f"Remedies decided on ({len(found)})", columns, lines, _RECORD)


def _holds(found: Sequence[Mapping[str, Any]], links: Links) -> Iterable[Block]:
    if found:
        lines = [
            (_tag(one, links), plain(one["place"]), f"{plain(one['who'])}, {str(one['made_at'])[:10]}") for one in found
        ]
        yield from long_table(
            f"Held in or out of the plan ({len(found)})",
            (Column("Tag"), Column("Held"), Column("By, on")),
            lines,
            _RECORD,
        )


def _plan(found: Mapping[str, Any], show: Shown, links: Links) -> Iterable[Block]:
    plan = found.get("plan") or {}
    if not found.get("fits"):
        yield Callout(
            "misfit",
            "What is held in the plan does not fit",
            ("Budget, outage and crews of the Basis leave no plan that keeps every hold.",),
        )
        return
    yield Prose(
        f"The plan that takes what was decided, under the budget, outage and crews of the Basis: {plan['words']}"
    )
    columns = (Column("Tag"), Column("Remedy", "wide"), Column(f"Outlay, {show.currency}", "number"), Column("Hours", "number"),
               Column(f"Net value, {show.currency}", "number"), Column("Why", "wide"))  # fmt: skip
    lines = [(_tag(one, links), plain(one["title"]), show.spread(one["cost"]), f"{one['hours']:.3g}", show.money(one["value"]).replace("-", "−"),
              plain(one["why"])) for one in plan["chosen"]]  # fmt: skip
    yield from long_table(f"Chosen, with what was decided ({len(lines)})", columns, lines, _RECORD)
    left = [one for one in plan["left_out"] if one.get("severity") == "stop"]
    if left:
        yield TableBlock(
            f"Stop findings left out of it ({len(left)})", (Column("Tag"), Column("Reason", "wide")),
            tuple((_tag(one, links), plain(one["reason"])) for one in left),
        )  # fmt: skip
