"""The management summary: two pages that stand alone and open the study."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import by_hand, evidence, leakage
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
    choice_number,
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

_WORST, _CHOSEN, _OPEN, _ASKED, _CAUSES, _REMARKS = 10, 20, 8, 4, 5, 3  # lines of each list
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
    return f"Register {file}. Standard {values.get('standard', DASH)}, edition {values.get('edition', DASH)}.{_dated(head)}"


def _dated(head: Mapping[str, Any]) -> str:
    """Day of issue, issuer and reviewer; "" where nobody has issued the study."""
    found = head.get("issue") or {}
    day = str(found.get("issued_at") or "")[:10]
    if not day:
        return ""
    reviewer = f", reviewed by {plain(found['reviewer'])}" if found.get("reviewer") else ""
    return f" Issued {day} by {plain(found.get('issued_by'))}{reviewer}."


def made_from(head: Mapping[str, Any]) -> str:
    """Which register and which version made the study."""
    mark = str(((head.get("inputs") or {}).get("register") or {}).get("sha256") or "")[:12]
    return f"made from register {f'sha256 {mark}' if mark else plain(head['register'].get('file'))} with quietseat {plain(head.get('version'))}"


def pages(
    head: Mapping[str, Any],
    rows: Sequence[Mapping[str, Any]],
    carbon: Mapping[str, float] | None,
    show: Shown,
    links: Mapping[str, str],
) -> Iterable[OnePage]:
    """Two pages. rows: summaries as of `build.survey`, worst first. carbon: what `tally` gave, or None. links: tag -> anchor of its section."""
    yield OnePage((
        Heading(2, "Management summary", "summary"), *issue(head), *_looked_at(head, rows), *_counts(head, rows), *_worst(head, rows, links),
    ))  # fmt: skip
    yield OnePage(
        (*_plan(head.get("plan") or {}, show, links), *_carbon(carbon), *_unknown(head, rows), *_cautions(head))
    )


# --- First page: what was looked at, and what is worst ---------------------------------------------------------------


def issue(head: Mapping[str, Any]) -> Iterable[Block]:
    """Issue and reviewer of the study, with what the reviewer said; "not issued" where nobody has issued it."""
    items = list(issued(head))
    decided = by_hand.counted(head)
    if decided:
        items.append(("Decided by hand", Cell(f"{decided}: listed in study.pdf under “Decided by hand”")))
    yield Pairs(tuple(items))
    said = remarks(head.get("issue") or {})
    if said:
        more = (
            f" {len(said) - _REMARKS} more stand in study.pdf under “Remarks of the review”."
            if len(said) > _REMARKS
            else ""
        )
        yield Prose("Remarks: " + " ".join(cut(one, 160) for one in said[:_REMARKS]) + more)


def issued(head: Mapping[str, Any]) -> Iterable[tuple[str, Cell]]:
    """Issue with its day, reviewer, version and hash; the first pair is the issue."""
    found = head.get("issue") or {}
    when = str(found.get("issued_at") or "")[:10]
    state = {"draft": "draft, not issued", "issued": "issued", "locked": "issued and locked"}.get(
        str(found.get("state")), str(found.get("state") or "")
    )
    number = f"study {plain(found['number'])}" if found.get("number") else ""
    words = f": {plain(found['words'])}" if found.get("words") else ""
    if when:
        text = f"{number}{', ' if number else ''}by {plain(found.get('issued_by'))} on {when}{words}"
        text = f"{state or 'issued'}; {text}"
    else:
        text = "; ".join(part for part in (state or "not issued", number) if part) + f"; {made_from(head)}{words}"
    yield "Issue", Cell(text)
    if when or found.get("reviewer"):
        yield "Reviewer", Cell(plain(found.get("reviewer") or "none named"))
    yield "Version, hash", Cell(f"{plain(head.get('version'))}, {plain(head.get('hash'))}")


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
    causes = [f"{plain(one.get('words') or code(one['code']))} ({one['count']})" for one in head.get("causes") or ()]
    if causes:
        foreseen = any(one["code"] in ("chatter", "cycling") for one in head.get("causes") or ())
        note = " Chatter and cycling are what the model predicts, unless the history reports them." if foreseen else ""
        yield Prose(f"Causes found most: {'; '.join(causes[:_CAUSES])}.{note}")


def _worst(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]], links: Mapping[str, str]) -> Iterable[Block]:
    worst = [row for row in rows if row["verdict"] != "sound"][:_WORST]
    if not worst:
        yield Prose("Every valve passed the checks listed here.")
        return
    yield TableBlock(
        "The worst, and why",
        (Column("Rank", "number"), Column("Tag"), Column("Verdict"), Column("Rests on"), Column("Cause", "wide"), Column("Cure", "wide"), Column("In plan")),
        tuple((str(row["rank"]), _tag(row, links), Cell(row["verdict"], row["verdict"]), plain(row.get("rests")), plain(row.get("cause")), _cure(row),
               evidence.in_plan(row)) for row in worst),
        note=" ".join(part for part in (
            "Worst first: what endangers people, then what pays. Rests on: the weakest source behind the verdict.",
            evidence.other_remedies(head.get("plan") or {}, worst), where(head, rows)) if part),
    )  # fmt: skip


def where(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> str:
    """Which valves have a sheet in the PDF, and where the others stand."""
    bad = sum(row["verdict"] != "sound" for row in rows)
    sheets = min(bad, int(choice_number(head, "worst_valves", "number", 50)))
    of = f"all {bad}" if sheets == bad else f"the {sheets} worst of {bad}"
    return f"study.pdf has a sheet for {of} valves that are not sound; all {len(rows)} valves stand in study.html and study.xlsx."


def _cure(row: Mapping[str, Any]) -> str:
    if not row.get("recommended"):
        return "none tried clears every finding"
    if row["recommended"] == "measure-first":
        return "none yet: ask first"
    return f"{plain(row.get('recommended_title'))}: {clears(row.get('clears'), row.get('recommended'))}"


def _tag(one: Mapping[str, Any], links: Mapping[str, str]) -> Cell:
    return Cell(cut(plain(one["tag"]), 30), link=links.get(one["tag"], ""))


# --- Second page: what to do, what stays open, what is not known -----------------------------------------------------


def _plan(plan: Mapping[str, Any], show: Shown, links: Mapping[str, str]) -> Iterable[Block]:
    yield Heading(3, "What to do with this budget, and what stays open", "summary-plan")
    if not plan.get("words"):
        yield Prose("No plan was made.")
        return
    yield Prose(plan["words"])
    bought = negative_value(plan, show)
    if bought:
        yield Prose(bought)
    yield Pairs(tuple((name, Cell(text)) for name, text in _money(plan, show)))
    chosen = plan.get("chosen") or ()
    if chosen:
        more = f"{len(chosen) - _CHOSEN} more stand in study.pdf under “The plan”." if len(chosen) > _CHOSEN else ""
        yield TableBlock(
            f"To do ({len(chosen)})", (Column("Tag"), Column("Remedy", "wide"), Column("Clears"), Column(f"Outlay, {show.currency}", "number")),
            tuple((_tag(one, links), plain(one.get("title") or one.get("remedy")), clears(one.get("clears")), show.spread(one.get("cost")))
                  for one in chosen[:_CHOSEN]), note=" ".join(part for part in ("Outlay: what buying and doing it costs, middle (low to high).", _other(chosen), more) if part),
        )  # fmt: skip
    stays = [one for one in plan.get("interim") or () if not one.get("funded")]
    if stays:
        more = (f"{len(stays) - _OPEN} more, and what to do meanwhile, stand in study.pdf under “The plan”." if len(stays) > _OPEN
                else "What to do meanwhile stands in study.pdf under “The plan”.")  # fmt: skip
        yield Callout("misfit", "Stop findings that stay open", (
            *(f"{plain(one['tag'])}, {codes(one.get('codes'))}: {plain(one.get('refused_by')).rstrip('.')}." for one in stays[:_OPEN]), more,
        ))  # fmt: skip


def _other(chosen: Sequence[Mapping[str, Any]]) -> str:
    """Which jobs of the plan are another remedy than the recommended one."""
    tags = [plain(one["tag"]) for one in chosen if one.get("recommended") is False]
    return f"Another remedy than the recommended one: {', '.join(tags)}." if tags else ""


def negative_value(plan: Mapping[str, Any], show: Shown) -> str:
    """What a negative net value means; "" where it is not negative."""
    value, totals = plan.get("value"), plan.get("totals") or {}
    if not is_number(value) or value >= 0 or not totals.get("count"):
        return ""
    return (
        f"The net value is negative: the plan is bought to cure {plain(totals.get('stop_findings_cured'))} stop findings, not for a return; it costs "
        f"{show.money(-value)} {show.currency} more than it saves over the horizon."
    )


def over_budget(plan: Mapping[str, Any], show: Shown) -> str:
    """Said where the high end of the outlay is above the budget; "" elsewhere."""
    high, budget = (plan.get("totals") or {}).get("spent_high"), plan.get("budget")
    if not is_number(high) or not is_number(budget) or high <= budget:
        return ""
    return f"OVER BUDGET at the high end, by {show.money(high - budget)} {show.currency}"


def _money(plan: Mapping[str, Any], show: Shown) -> Iterable[tuple[str, str]]:
    totals = plan.get("totals") or {}
    keys = {"mid": "spent", "low": "spent_low", "high": "spent_high"}
    cost = {end: float(totals[key]) for end, key in keys.items() if is_number(totals.get(key))}
    if len(cost) == len(keys):
        over = over_budget(plan, show)
        yield (
            "Outlay, middle (low to high)",
            f"{show.spread(cost)} {show.currency}, of a budget of {show.money(plan.get('budget'))} {show.currency}"
            + (f": {over}" if over else ""),
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
    low, mid, high, seat, beside = (_tonnes(carbon[key]) for key in ("low", "mid", "high", "seat", "beside"))
    yield Prose(
        f"{mid} t CO2 equivalent a year ({low} to {high}: every valve at its low, every valve at its high end) from {carbon['valves']:.0f} valves "
        f"as they stand: {seat} t through the seats and {beside} t beside them. Estimates; valve by valve, with these totals, in study.xlsx, sheet "
        "Leakage."
    )


def _tonnes(kilograms: float) -> str:
    return f"{kilograms / _TONNE:,.4g}".replace(",", "\u00a0")


def tally(valves: Iterable[Mapping[str, Any]]) -> dict[str, float]:
    """CO2 equivalent of a year over valves as unpacked, kg: low, mid, high; the middle's seat and beside; of how many valves there is an estimate."""
    total = dict.fromkeys(("low", "mid", "high", "seat", "beside", "valves"), 0.0)
    for valve in valves:
        add_leak(total, valve)
    return total


def add_leak(total: dict[str, float], valve: Mapping[str, Any]) -> None:
    """Add one valve to what `tally` counts."""
    found = leakage.amounts(valve)
    if found:
        for key in leakage.ENDS:
            total[key] += found["all"][key]
        total["seat"] += found["seat"]["mid"]
        total["beside"] += found["beside"]["mid"]
        total["valves"] += 1


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
        f"{plain(one['tag'])}: {plain(one.get('title'))} ({plain(one.get('who'))})" for one in worth[:_ASKED]
    )
    if first:
        lines.append(f"Ask first, for what it is worth an hour: {first}.")
    yield Bullets(tuple(lines))


def _cautions(head: Mapping[str, Any]) -> Iterable[Block]:
    yield Callout(
        "caution", "What this study is, and what it is not", tuple(str(line) for line in head.get("cautions") or ())
    )
