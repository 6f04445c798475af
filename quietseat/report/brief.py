"""The management summary: two pages that stand alone and open the study."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import by_hand
from quietseat.report.document import (
    Block,
    Bullets,
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
from quietseat.report.words import (
    DASH,
    VERDICT_WORDS,
    VERDICTS,
    Shown,
    choices,
    clears,
    code,
    codes,
    cut,
    is_number,
    percent,
    plain,
    sentence,
)  # fmt: skip

_WORST, _CHOSEN, _OPEN, _ASKED, _CAUSES, _REMARKS = 10, 12, 6, 4, 5, 3  # lines of each list
_TONNE = 1000.0


def document(
    head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]], carbon: Mapping[str, float] | None, show: Shown
) -> Document:
    """The management summary as a document of its own (summary.pdf): exactly two pages."""
    return Document(title(head), subtitle(head), str(head["hash"])[:12], tuple(pages(head, rows, carbon, show, {})))


def title(head: Mapping[str, Any]) -> str:
    """The title of a study."""
    return str(head.get("title") or "Relief valve study")


def subtitle(head: Mapping[str, Any]) -> str:
    """Register and standard in one line."""
    values = choices(head)
    file = head["register"].get("file") or DASH
    return f"Register {file}. Standard {values.get('standard', DASH)}, edition {values.get('edition', DASH)}."


def pages(
    head: Mapping[str, Any],
    rows: Sequence[Mapping[str, Any]],
    carbon: Mapping[str, float] | None,
    show: Shown,
    links: Mapping[str, str],
) -> Iterable[OnePage]:
    """Two pages. rows: summaries, worst first. carbon: kg CO2 equivalent a year, or None. links: tag -> anchor of its section."""
    yield OnePage((
        Heading(2, "Management summary", "summary"), *issue(head), *_looked_at(head, rows), *_counts(head, rows), *_worst(rows, links),
    ))  # fmt: skip
    yield OnePage(
        (*_plan(head.get("plan") or {}, show, links), *_carbon(carbon), *_unknown(head, rows), *_cautions(head))
    )


# --- First page: what was looked at, and what is worst ---------------------------------------------------------------


def issue(head: Mapping[str, Any]) -> Iterable[Block]:
    """State, number, issue and reviewer of the study, with what the reviewer said; "not issued" where nobody has issued it."""
    found = head.get("issue") or {}
    when = str(found.get("issued_at") or "")[:10]
    state = str(found.get("state") or "not issued")
    issued = f"by {plain(found.get('issued_by'))} on {when}" if when else "not issued"
    words = f": {cut(plain(found['words']), 120)}" if found.get("words") else ""
    items = [
        (
            "State",
            Cell({"draft": "draft, not issued", "issued": "issued", "locked": "issued and locked"}.get(state, state)),
        ),
        ("Issue", Cell(f"study {found['number']}, {issued}{words}" if found.get("number") else issued)),
        ("Reviewer", Cell(plain(found.get("reviewer") or "none named"))),
        ("Version, hash", Cell(f"{plain(head.get('version'))}, {plain(head.get('hash'))}")),
    ]
    decided = by_hand.counted(head)
    if decided:
        items.append(("Decided by hand", Cell(f"{decided}: listed in study.pdf under “Decided by hand”")))
    yield Pairs(tuple(items))
    said = remarks(found)
    if said:
        more = (
            f" {len(said) - _REMARKS} more stand in study.pdf under “Remarks of the review”."
            if len(said) > _REMARKS
            else ""
        )
        yield Prose("Remarks: " + " ".join(cut(one, 160) for one in said[:_REMARKS]) + more)


def remarks(found: Mapping[str, Any]) -> list[str]:
    """What was said in the review, each with valve, name and day."""
    return [
        f"{one['tag'] + ': ' if one.get('tag') else ''}{sentence(one.get('words'))} ({plain(one.get('who'))}, {str(one.get('made_at') or '')[:10]})"
        for one in found.get("remarks") or ()
    ]


def _looked_at(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Iterable[Block]:
    register, counts = head["register"], head.get("counts") or {}
    said = ", ".join(f"{counts.get(word, 0)} {word}" for word in VERDICTS)
    yield Prose(f"{len(rows)} valves were assessed: {said}.", "lead")
    yield Prose(
        f"Read were {plain(register.get('rows_found'))} rows of {plain(register.get('file'))}: {plain(register.get('rows_read'))} whole, "
        f"{plain(register.get('rows_partial'))} in part, {plain(register.get('rows_refused'))} refused."
        + (f" {len(register['mends'])} mends stand on top of it." if register.get("mends") else "")
    )


def _counts(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Iterable[Block]:
    counts, total = head.get("counts") or {}, len(rows)
    yield TableBlock(
        "Verdicts", (Column("Verdict"), Column("Valves", "number"), Column("Share", "number"), Column("Meaning", "wide")),
        tuple((Cell(word, word), str(counts.get(word, 0)), percent(counts.get(word, 0) / total) if total else DASH, VERDICT_WORDS[word])
              for word in VERDICTS),
    )  # fmt: skip
    causes = [
        f"{cut(plain(one.get('words') or code(one['code'])), 60)} ({one['count']})" for one in head.get("causes") or ()
    ]
    if causes:
        yield Prose(f"Causes found most: {'; '.join(causes[:_CAUSES])}.")


def _worst(rows: Sequence[Mapping[str, Any]], links: Mapping[str, str]) -> Iterable[Block]:
    worst = [row for row in rows if row["verdict"] != "sound"][:_WORST]
    if not worst:
        yield Prose("Every valve passed the checks listed here.")
        return
    yield TableBlock(
        "The worst, and why", (Column("Rank", "number"), Column("Tag"), Column("Verdict"), Column("Cause", "wide"), Column("Cure", "wide")),
        tuple((str(row["rank"]), _tag(row, links), Cell(row["verdict"], row["verdict"]), cut(plain(row.get("cause")), 170), _cure(row))
              for row in worst),
        note="Worst first: what endangers people, then what pays. All valves stand in study.pdf and study.html.",
    )  # fmt: skip


def _cure(row: Mapping[str, Any]) -> str:
    if not row.get("recommended"):
        return "none tried clears every finding"
    return f"{cut(plain(row.get('recommended_title')), 80)}: {clears(row.get('clears'), row.get('recommended'))}"


def _tag(one: Mapping[str, Any], links: Mapping[str, str]) -> Cell:
    return Cell(cut(plain(one["tag"]), 30), link=links.get(one["tag"], ""))


# --- Second page: what to do, what stays open, what is not known -----------------------------------------------------


def _plan(plan: Mapping[str, Any], show: Shown, links: Mapping[str, str]) -> Iterable[Block]:
    yield Heading(3, "What to do with this budget, and what stays open", "summary-plan")
    if not plan.get("words"):
        yield Prose("No plan was made.")
        return
    yield Prose(plan["words"])
    yield Pairs(tuple((name, Cell(text)) for name, text in _money(plan, show)))
    chosen = plan.get("chosen") or ()
    if chosen:
        more = f"{len(chosen) - _CHOSEN} more stand in study.pdf under “The plan”." if len(chosen) > _CHOSEN else ""
        yield TableBlock(
            f"To do ({len(chosen)})", (Column("Tag"), Column("Remedy", "wide"), Column("Clears"), Column(f"Cost, {show.currency}", "number")),
            tuple((_tag(one, links), cut(plain(one.get("title") or one.get("remedy")), 80), clears(one.get("clears")), show.spread(one.get("cost")))
                  for one in chosen[:_CHOSEN]), note=f"Cost: middle (low to high). {more}".strip(),
        )  # fmt: skip
    stays = [one for one in plan.get("interim") or () if not one.get("funded")]
    if stays:
        more = (f"{len(stays) - _OPEN} more, and what to do meanwhile, stand in study.pdf under “The plan”." if len(stays) > _OPEN
                else "What to do meanwhile stands in study.pdf under “The plan”.")  # fmt: skip
        yield Callout("misfit", "Stop findings that stay open", (
            *(f"{plain(one['tag'])}, {codes(one.get('codes'))}: {cut(plain(one.get('refused_by')), 110)}." for one in stays[:_OPEN]), more,
        ))  # fmt: skip


def _money(plan: Mapping[str, Any], show: Shown) -> Iterable[tuple[str, str]]:
    totals = plan.get("totals") or {}
    keys = {"mid": "spent", "low": "spent_low", "high": "spent_high"}
    cost = {end: float(totals[key]) for end, key in keys.items() if is_number(totals.get(key))}
    if len(cost) == len(keys):
        yield (
            "Cost, middle (low to high)",
            f"{show.spread(cost)} {show.currency}, of a budget of {show.money(plan.get('budget'))} {show.currency}",
        )
    if is_number(plan.get("value")):
        yield "Net value over the horizon", f"{show.money(plan['value'])} {show.currency}".replace("-", "−")
    if totals:
        yield "Crew hours", show.money(totals.get("hours"))
        yield (
            "Stop findings",
            f"{plain(totals.get('stop_findings_cured'))} cured, {plain(totals.get('stop_findings_left'))} left",
        )


def _carbon(carbon: Mapping[str, float] | None) -> Iterable[Block]:
    yield Heading(3, "What the valves leak", "summary-carbon")
    if not carbon or not carbon["valves"]:
        yield Prose("No leakage was estimated.")
        return
    low, mid, high = (f"{carbon[key] / _TONNE:,.3g}".replace(",", "\u00a0") for key in ("low", "mid", "high"))
    yield Prose(
        f"{mid} t CO2 equivalent a year ({low} to {high}: every valve at its low, every valve at its high end) from {carbon['valves']:.0f} valves "
        "as they stand; estimates, valve by valve in study.xlsx, sheet Leakage."
    )


def tally(valves: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """CO2 equivalent of a year over valves as unpacked, kg: low, mid, high, and of how many valves there is an estimate."""
    total = {"low": 0.0, "mid": 0.0, "high": 0.0, "valves": 0.0}
    for valve in valves:
        found = valve.get("leakage") or {}
        seat, beside = found.get("co2e_kg_a") or {}, found.get("co2e_parts_kg_a") or {}
        if not all(is_number(seat.get(key)) for key in ("low", "mid", "high")):
            continue
        for key in ("low", "mid", "high"):
            total[key] += seat[key] + (beside.get(key) or 0.0)
        total["valves"] += 1
    return total


def _unknown(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Iterable[Block]:
    counts, asked = head.get("counts") or {}, head.get("questions") or {}
    yield Heading(3, "What is not known", "summary-unknown")
    rested = sum(1 for row in rows if row.get("defaults"))
    lines = [
        f"{counts.get('unproven', 0)} valves are unproven: data are missing, or a check rests on the very value that was assumed.",
        f"{rested} of {len(rows)} valves rest on at least one assumed value; {len(head.get('problems') or ())} problems were found in the register.",
    ]  # fmt: skip
    worth = [one for one in asked.get("questions") or () if (one.get("value") or 0.0) > 0.0]
    first = "; ".join(
        f"{plain(one['tag'])}: {cut(plain(one.get('title')), 60)} ({plain(one.get('who'))})" for one in worth[:_ASKED]
    )
    if first:
        lines.append(f"Ask first, for what it is worth an hour: {first}.")
    yield Bullets(tuple(lines))


def _cautions(head: Mapping[str, Any]) -> Iterable[Block]:
    yield Callout(
        "caution", "What this study is, and what it is not", tuple(str(line) for line in head.get("cautions") or ())
    )
