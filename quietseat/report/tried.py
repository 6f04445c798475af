"""The remedies tried at a valve: what each clears, leaves, creates and costs, why it lost, and the price of the recommended one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import drawing, fitted, money
from quietseat.report.document import Block, Bullets, Cell, Column, Fold, TableBlock
from quietseat.report.words import CLEARS_NOTHING, DASH, MARKS, Shown, clears, codes, plain


def section(valve: Mapping[str, Any], shown: Shown, study: str) -> Iterable[Block]:
    """Every remedy tried at a valve, and the price of the recommended one. study: the study's hash, printed in the fit drawing."""
    remedies = valve.get("remedies") or ()
    if not remedies:
        return
    notes: dict[str, int] = {}
    remedies = folded(remedies)
    lives = any(remedy.get("life_cycle") for remedy in remedies)
    rows = tuple(_remedy_row(remedy, valve, shown, notes, lives) for remedy in remedies)
    yield TableBlock(
        "Remedies tried, with the reason for each that lost",
        (
            Column("Remedy", "wide"), Column("Clears", "wide"), Column("Leaves or creates"), Column("Fit"), Column("Suitability", "wide"),
            Column(f"Whole-life cost, {shown.currency}", "number"),
            *([Column(f"Net present value (P10 to P90), {shown.currency}", "number")] if lives else []), Column("Why", "wide"),
        ), rows, note="For measuring first and for keeping the valve, the whole-life cost is that of the valve as it is.",
    )  # fmt: skip
    if notes:
        yield Bullets(tuple(f"Note {at}: {words}." for words, at in notes.items()))
    chosen = next((item for item in remedies if item["name"] == valve.get("recommended")), None)
    if chosen:
        yield from fitted.of_remedy(valve, chosen, study)
    costs = drawing.cost_ranges(str(valve["tag"]), remedies, valve.get("recommended"), shown)
    if costs:
        yield costs
    if chosen:
        yield from price_tables(chosen, shown)


def folded(remedies: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Pilots that differ by nothing but bleeding stand in one line: same price, same fit, same reason."""
    out: list[Mapping[str, Any]] = []
    at: dict[tuple[Any, ...], int] = {}
    for remedy in remedies:
        title = str(remedy["title"])
        plain = title.replace("non-bleeding", "bleeding")
        cost, fit = remedy.get("cost") or {}, remedy.get("fit") or {}
        key = (plain, remedy["clears"], remedy.get("condition"), remedy.get("rejected_because"), fit.get("verdict"), str(cost.get("total")),
               str((remedy.get("life_cycle") or {}).get("npv")))  # fmt: skip
        if "bleeding" in title and key in at:
            out[at[key]] = {**out[at[key]], "title": plain.replace("bleeding", "bleeding or not")}
            continue
        at[key] = len(out)
        out.append(remedy)
    return out


def _remedy_row(
    remedy: Mapping[str, Any], valve: Mapping[str, Any], shown: Shown, notes: dict[str, int], lives: bool
) -> tuple[str | Cell, ...]:
    fit, suits, cost = remedy.get("fit"), remedy.get("suitability"), remedy.get("cost")
    spoils = [f"leaves {codes(remedy['left'])}"] if remedy.get("left") else []
    spoils += [f"creates {codes(remedy['created'])}"] if remedy.get("created") else []
    suit = DASH
    if suits:
        suit = ": ".join(
            part for part in (str(suits["verdict"]), "; ".join(map(str, suits.get("reasons") or ()))) if part
        )
        suit += noted(suits.get("conditions") or (), notes)
    why = remedy.get("rejected_because") or DASH
    if remedy["name"] == valve.get("recommended") and remedy["name"] in CLEARS_NOTHING:
        why = (
            "Ask first: no remedy can be named yet."
            if remedy["name"] == "measure-first"
            else "Recommended: nothing fails."
        )
    elif remedy["name"] == valve.get("recommended"):
        why = "Recommended: the cheapest that clears every finding."
    elif remedy["name"] == valve.get("best_yes"):
        why = f"Best without proof. {remedy.get('rejected_because') or ''}".strip()
    verdict = clears(remedy["clears"], remedy["name"]) + noted((remedy.get("condition") or "").split("; "), notes)
    return (
        str(remedy["title"]), verdict, "; ".join(spoils) or "none", str(fit["verdict"]) if fit else DASH, suit,
        shown.spread(cost["total"]) if cost else "not priced",
        *([money.npv_range(remedy.get("life_cycle"), shown)] if lives else []), why,
    )  # fmt: skip


def noted(conditions: Iterable[Any], notes: dict[str, int]) -> str:
    """Conditions as numbers of notes: many remedies share them, so each one is printed once, below the table."""
    numbers = [
        notes.setdefault(words, len(notes) + 1)
        for words in (str(item).strip().rstrip(".") for item in conditions)
        if words
    ]
    said = ", ".join(map(str, sorted(set(numbers))))
    return f" ({'note' if len(set(numbers)) == 1 else 'notes'} {said})" if numbers else ""


def price_tables(remedy: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """Fit, work and cost of one remedy."""
    fit, cost, work = remedy.get("fit"), remedy.get("cost"), remedy.get("work")
    blocks: list[Block] = []
    if fit and fit.get("flanges"):
        blocks.append(TableBlock(
            "Flanges, old against new", (Column("End"), Column("Old"), Column("New"), Column("Matches"), Column("In words", "wide")),
            tuple((item["end"], item["old"], item["new"], plain(item["matches"]), plain(item["words"])) for item in fit["flanges"]),
            note=f"Dimension rows: {MARKS.get(fit.get('confidence'), plain(fit.get('confidence')))}; {plain(fit.get('sources'))}.",
        ))  # fmt: skip
    if work:
        blocks.append(TableBlock(
            "Work", (Column("Item", "wide"), Column("Crew hours, low to high", "number"),
                     Column(f"Besides labour, {shown.currency}, low to high", "number"), Column("Line open"), Column("Source")),
            tuple((item["item"], _range(item["hours"], shown), _range(item["money"], shown), plain(item["outage"]), plain(item["source"]))
                  for item in work),
        ))  # fmt: skip
    if cost:
        names = ("capital", "work", "upkeep", "leakage", "carbon", "other", "total")
        rows = tuple(
            (name.capitalize(), *(shown.money(cost[name][key]) for key in ("low", "mid", "high")))
            for name in names
            if cost.get(name)
        )
        blocks.append(TableBlock(
            "Whole-life cost, present value",
            (Column("Part"), *(Column(f"{word}, {shown.currency}", "number") for word in ("Low", "Middle", "High"))), rows,
            note=f"Leakage by: {plain(cost.get('leak_basis'))}. Line open {plain(cost.get('outage_hours'))} h, "
                 f"crew {plain(cost.get('crew_hours'))} h. Ranges are to be overwritten with site figures.",
        ))  # fmt: skip
    if blocks:
        yield Fold(f"Fit, work and cost of the recommended remedy: {remedy['title']}", tuple(blocks))


def _range(spread: Mapping[str, float], shown: Shown) -> str:
    return f"{shown.money(spread['low'])} to {shown.money(spread['high'])}" if spread.get("high") else DASH
