"""The plan of a study and its questions: what is done with which money, what stays and why, and what to find out next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import asking, brief, evidence, figures
from quietseat.report.document import (
    PAPER_ROWS,
    Block,
    Bullets,
    Callout,
    Cell,
    Column,
    Fold,
    Heading,
    Pairs,
    Prose,
    TableBlock,
    long_table,
)  # fmt: skip
from quietseat.report.tried import noted
from quietseat.report.words import (
    DASH,
    Shown,
    choices,
    clears,
    code,
    codes,
    cut,
    field_words,
    is_number,
    percent,
    plain,
)

_ALL = "study.xlsx"
_SURE, _LIKELY = 0.95, 0.5  # shares of the draws that the words about the choice tell apart
_TELLING = 0.05  # a difference of shares worth a column
_MOST_ASKED, _MOST_TAGS = 20, 12

Links = Mapping[str, str]  # tag -> anchor of the valve's own section


# --- The plan -----------------------------------------------------------------------------------------------------


def section(
    head: Mapping[str, Any], show: Shown, links: Links, rows: Sequence[Mapping[str, Any]] = ()
) -> Iterable[Block]:
    """The plan: what is chosen within which limits, what is left out, what stays dangerous meanwhile, and how firm that is.

    rows: the summaries of the valves, to say where the plan takes another remedy than the recommended one.
    """
    plan = head.get("plan") or {}
    yield Heading(2, "The plan", "plan")
    if not plan.get("words"):
        older = (
            "This study holds a plan of an older version; make the study again to see one."
            if plan.get("totals")
            else "No plan was made."
        )
        yield Prose(older)
        return
    yield Prose(plan["words"], "lead")
    bought, over = brief.negative_value(plan, show), brief.over_budget(plan, show)
    if bought:
        yield Prose(bought)
    if over:
        yield Callout("watch", over, (_ends(plan, show),))
    yield from _stops(plan)
    yield from _limits(plan, show)
    yield from (figure for figure in (figures.use(figures.limits(plan), show), figures.curve(plan, show)) if figure)
    yield from _choice(plan, show, links)
    other = evidence.other_remedies(plan, rows)
    if other:
        yield Prose(other, "small")
    yield from _interim(plan, links)
    yield from _firm(plan)
    yield from _curve(plan, show)
    yield _method(plan, show)


def _stops(plan: Mapping[str, Any]) -> Iterable[Block]:
    """What becomes of the stop findings, and what money would cure all of them."""
    totals = plan.get("totals") or {}
    cured, left = totals.get("stop_findings_cured") or 0, totals.get("stop_findings_left") or 0
    need = (plan.get("stop_findings_need") or {}).get("words")
    if left:
        lines = [f"Stop findings cured by this plan: {cured}. Left: {left}."]
        lines += (
            [f"{_sentence(need)} The interim measures below say what to do meanwhile and what refuses the cure."]
            if need
            else []
        )
        yield Callout("misfit", "Stop findings stay uncured", tuple(lines))
    elif cured:
        yield Prose(
            f"The plan cures {'the one stop finding' if cured == 1 else f'all {cured} stop findings'} of this study. {_sentence(need)}".strip()
        )
    else:
        yield Prose("No valve of this study has a stop finding.")


def _limits(plan: Mapping[str, Any], show: Shown) -> Iterable[Block]:
    """Budget, crew hours and outage as given, and what the plan takes of them."""
    totals, several = plan.get("totals") or {}, len(plan.get("windows") or ()) > 1
    rows = [(one.words, f"{show.money(one.given)} {one.unit}", f"{show.money(one.taken)} {one.unit}",
             percent(one.taken / one.given) if one.given else DASH) for one in figures.limits(plan)]  # fmt: skip
    for window in plan.get("windows") or ():
        if not is_number(window.get("outage_days")):
            continue
        here = [
            one["outage_hours"]
            for one in plan["chosen"]
            if one["window"] == window["name"] and is_number(one.get("outage_hours"))
        ]
        words = (
            f"Outage of {window['name']}" + (f", from {window['start']}" if window.get("start") else "")
            if several
            else "Outage"
        )
        given = f"{window['outage_days']:g} days, a job worked {window['hours_per_day']:g} h a day"
        rows.append((words, given, f"longest job {max(here):g} h of it" if any(here) else "no job needs it", DASH))
    yield TableBlock("Limits, and what the plan takes of them", (Column("Limit"), Column("Given"), Column("Taken"), Column("Share taken", "number")),
                     tuple(rows))  # fmt: skip
    if totals.get("count") and is_number(totals.get("spent_high")) and not brief.over_budget(plan, show):
        yield Prose(_ends(plan, show))


def _ends(plan: Mapping[str, Any], show: Shown) -> str:
    """What the plan costs at both ends of its ranges."""
    totals, budget = plan.get("totals") or {}, plan.get("budget")
    high = totals.get("spent_high")
    over = (
        ""
        if not is_number(budget) or not is_number(high)
        else ", more than the budget"
        if high > budget
        else ", within the budget"
    )
    return (
        f"The budget is kept at the middle of the ranges. At the low ends of all ranges the chosen remedies come to {show.money(totals.get('spent_low'))} "
        f"{show.currency}, at the high ends to {show.money(high)} {show.currency}{over}."
    )


def _curve(plan: Mapping[str, Any], show: Shown) -> Iterable[Block]:
    """The budget curve in figures; what the picture shows, for those who cannot see it or want to redo it."""
    points = plan.get("curve") or ()
    if not any(point["count"] for point in points):
        if points:
            yield Prose("The budget curve is flat: within these windows no amount of money changes the plan.")
        return
    table = TableBlock(
        "Budget curve", (Column(f"Budget, {show.currency}", "number"), Column("Stop findings cured", "number"), Column("Valves", "number"),
                         Column(f"Outlay, {show.currency}", "number"), Column(f"Net value, {show.currency}", "number")),
        tuple((show.money(p["budget"]), f"{p['stop_findings_cured']:.4g}", f"{p['count']:.4g}", show.money(p["spent"]), _minus(show.money(p["value"])))
              for p in points), note=_sentence(plan.get("curve_words")),
    )  # fmt: skip
    yield Fold("Budget curve in figures", (table,))


def _choice(plan: Mapping[str, Any], show: Shown, links: Links) -> Iterable[Block]:
    """Chosen, left out although a remedy would clear, and valves that have no remedy to plan."""
    chosen, left = plan.get("chosen") or (), plan.get("left_out") or ()
    shares = {one["tag"]: one for one in plan.get("stability") or ()}
    without = [one for one in left if one.get("remedy") is None]
    left = [one for one in left if one.get("remedy") is not None]
    if chosen:
        yield from _chosen(plan, shares, show, links)
    if left:
        columns = (Column("Tag"), Column("Severity"), Column("Remedy the plan reckons with", "wide"), Column(f"Outlay, middle, {show.currency}", "number"), Column("Why it is left out", "wide"),
                   Column("What would let it in", "wide"), Column("In the best set", "number"))  # fmt: skip
        rows = [(_tag(one, links), plain(one.get("severity")), plain(one.get("title") or one.get("remedy")), show.money((one.get("cost") or {}).get("mid")), plain(one.get("reason")),
                 plain(one.get("counterfactual")), percent((shares.get(one["tag"]) or {}).get("share"))) for one in left]  # fmt: skip
        yield from long_table(f"Left out, though a remedy clears every finding ({len(left)})", columns, rows, _ALL)
    if without:
        waits = [(_tag(one, links), plain(one.get("severity")), plain(one.get("reason"))) for one in without]
        table = long_table(
            "Valves without a remedy to plan",
            (Column("Tag"), Column("Severity"), Column("What it waits for", "wide")),
            waits,
            _ALL,
        )
        yield Fold(f"No remedy to plan yet ({len(without)})", table)


def _chosen(plan: Mapping[str, Any], shares: Mapping[str, Any], show: Shown, links: Links) -> tuple[Block, ...]:
    chosen, windows = plan["chosen"], plan.get("windows") or ()
    dated = len(windows) > 1 or any(one.get("start") for one in chosen)
    when = (Column("Window"),) if dated else ()
    firm = ("share", "remedy_share") if _other_remedies(chosen, shares) else ("share",)
    columns = (
        Column("Tag"), Column("Remedy", "wide"), *when, Column("Clears"), Column(f"Outlay, {show.currency}", "number"), Column("Hours", "number"),
        Column(f"Net value, {show.currency}", "number"), Column("Why", "wide"),
        *(Column(title, "number") for title in ("In the best set", "By this remedy")[: len(firm)]),
    )  # fmt: skip

    notes: dict[str, int] = {}

    def row(number: int, one: Mapping[str, Any]) -> tuple[str | Cell, ...]:
        proved = one.get("clears") == "subject-to-proof"
        proof = noted(str(one.get("condition") or "").split("; "), notes) if proved and number < PAPER_ROWS else ""
        return (
            _tag(one, links), plain(one.get("title") or one.get("remedy")), *((_window(one),) if dated else ()),
            "subject to proof" + proof if proved else clears(one.get("clears")), show.spread(one.get("cost")), f"{one['hours']:.3g}",
            _minus(show.money(one.get("value"))),
            plain(one.get("why")).removesuffix("; subject to proof"), *(percent((shares.get(one["tag"]) or {}).get(key)) for key in firm),
        )  # fmt: skip

    where = "" if dated or not windows else f" for {windows[0]['name']}"
    note = (
        "Outlay: middle (low to high). Net value: what the remedy saves over the horizon against keeping the valve, less what it costs, in the "
        "money of today. In the best set: share of the draws of outlay and value in which the valve is chosen."
    )  # fmt: skip
    rows = [row(number, one) for number, one in enumerate(chosen)]
    table = long_table(f"Chosen{where} ({len(chosen)})", columns, rows, _ALL, note)
    if not notes:
        return table
    further = (Prose(f"Further conditions stand in {_ALL}.", "small"),) if len(chosen) > PAPER_ROWS else ()
    said = Bullets(tuple(f"Note {number}: {_sentence(words)}" for words, number in notes.items()))
    return (*table, Fold(f"What has to be proved before the work ({len(notes)})", (said, *further)))


def _window(one: Mapping[str, Any]) -> str:
    said = plain(one.get("window"))
    start, order = (
        str(one.get(key) or "").replace("-", "\u2011") for key in ("start", "order_by")
    )  # a day is not broken over two lines
    said += f", {start}" if start else ""
    return f"{said}; order by {order}" if order else said


def _other_remedies(chosen: Sequence[Mapping[str, Any]], shares: Mapping[str, Any]) -> bool:
    """Whether some draw cures a chosen valve by another remedy than the plan does."""
    found = [shares[one["tag"]] for one in chosen if one["tag"] in shares]
    return any(is_number(one.get("remedy_share")) and one["share"] - one["remedy_share"] >= _TELLING for one in found)


def _interim(plan: Mapping[str, Any], links: Links) -> Iterable[Block]:
    """What to do about each stop finding until it is cured: those without money first."""
    found = plan.get("interim") or ()
    for funded, title in (
        (False, "Interim measures until cured: stop findings that stay"),
        (True, "Interim measures until the work is done: stop findings this plan cures"),
    ):
        members = [one for one in found if bool(one.get("funded")) is funded]
        if not members:
            continue
        last = Column("Until") if funded else Column("What refuses the cure", "wide")
        columns = (Column("Tag"), Column("Stop findings"), Column("What to do until then", "wide"), last)
        rows = [(_tag(one, links), codes(one.get("codes")), measures(one), plain(one.get("until") if funded else one.get("refused_by")))
                for one in members]  # fmt: skip
        note = " ".join(dict.fromkeys(str(one["words"]) for one in members if one.get("words")))
        sources = dict.fromkeys(
            str(measure["source"]) for one in members for measure in one.get("measures") or () if measure.get("source")
        )
        table = long_table(
            title, columns, rows, _ALL, f"{note} Sources of the measures: {'; '.join(sources)}." if sources else note
        )
        yield from (Fold(f"{title} ({len(members)})", table),) if funded else table


def measures(one: Mapping[str, Any]) -> str:
    """The interim measures of one valve as sentences, each with its finding where there are several."""
    found = one.get("measures") or ()
    several = len({measure.get("code") for measure in found}) > 1
    said = [
        f"{code(measure.get('code'))}: {measure['measure']}" if several else str(measure["measure"])
        for measure in found
    ]
    return " ".join(_sentence(text) for text in dict.fromkeys(said)) or DASH


def _firm(plan: Mapping[str, Any]) -> Iterable[Block]:
    """How much of the choice would be another one if prices were a little off."""
    found = [one for one in plan.get("stability") or () if is_number(one.get("share"))]
    if not found:
        return
    inside = sorted((one for one in found if one.get("in_plan")), key=lambda one: float(one["share"]))
    near = [one for one in found if not one.get("in_plan") and one["share"] >= _LIKELY]
    yield Prose("How firm the choice is", "label")
    said = []
    if inside:
        sure, weak = sum(one["share"] >= _SURE for one in inside), [one for one in inside if one["share"] < _LIKELY]
        said.append(f"Chosen valves in the best set in at least {percent(_SURE)} of the draws: {sure} of {len(inside)}; "
                    f"in fewer than half of them: {len(weak)}{_named(weak)}.")  # fmt: skip
    said.append(f"Left out, yet in the best set in at least half of the draws: {len(near)}{_named(near)}.")
    yield Prose(" ".join([*said, _sentence(plan.get("stability_words"))]))


def _named(some: Sequence[Mapping[str, Any]]) -> str:
    tags = [f"{one['tag']} {percent(one['share'])}" for one in some[:_MOST_TAGS]]
    more = f" and {len(some) - len(tags)} more" if len(some) > len(tags) else ""
    return f" ({', '.join(tags)}{more})" if tags else ""


def _method(plan: Mapping[str, Any], show: Shown) -> Fold:
    ended = plan.get("status") == "ok"
    gap = plan.get("gap")
    value, bound = (
        f"{_minus(show.money(plan.get(key)))} {show.currency}" if is_number(plan.get(key)) else DASH
        for key in ("value", "bound")
    )
    facts = (
        ("Search for the best plan", "came to its end; the gap below says how far from the best the plan may be" if ended else "stopped before it could prove the plan best: treat the plan as good, not as the best"),
        ("Net value of the plan", value), ("No plan that cures as much is worth more than", bound),
        ("Gap between them", percent(gap) if is_number(gap) else "unknown"),
    )  # fmt: skip
    return Fold("How the plan was made, and what it assumes", (
        Prose(_sentence(plan.get("method"))), Pairs(tuple((name, Cell(text)) for name, text in facts)), *_assumed("Assumptions of the plan", plan),
    ))  # fmt: skip


def _assumed(caption: str, found: Mapping[str, Any]) -> tuple[Block, ...]:
    rows = tuple((field_words(str(one["field"])), plain(one.get("value")), plain(one.get("rule")), plain(one.get("source")))
                 for one in found.get("assumptions") or ())  # fmt: skip
    columns = (Column("What"), Column("Taken", "wide"), Column("Rule", "wide"), Column("Source", "wide"))
    return (TableBlock(caption, columns, rows),) if rows else ()


# --- The questions ------------------------------------------------------------------------------------------------


def questions(head: Mapping[str, Any], show: Shown, links: Links) -> Iterable[Block]:
    """What to ask for next; nothing where the study was made before studies held questions."""
    if "questions" not in head:
        return
    yield Heading(2, "What to ask for next", "questions")
    found = head["questions"]
    if not found or not found.get("valves_asked"):
        number = choices(head).get("asked_valves")
        yield Prose(
            "No question was worked out: the Basis asks of no valve"
            + (f" (asked_valves = {number})." if number is not None else ".")
        )
        return
    yield Prose(asking.sentence(found), "lead")
    if found.get("notes"):
        yield Bullets(tuple(str(note) for note in found["notes"]))
    members = found.get("questions") or ()
    worth = [one for one in members if (one.get("value") or 0.0) > 0.0]
    others = [one for one in members if (one.get("value") or 0.0) <= 0.0]
    if worth:
        shown_of = "" if len(worth) <= _MOST_ASKED else f", {_MOST_ASKED} of {len(worth)}"
        note = "Worth: money gained on average by knowing before deciding, from ranges that are estimates; it orders the questions and promises nothing."
        rest = f" The others stand in {_ALL}, sheet “Ask next”." if shown_of else ""
        yield TableBlock(f"The most rewarding questions, by worth an hour{shown_of}", _asked_columns(show),
                         tuple(_asked(one, links) for one in worth[:_MOST_ASKED]), note=note + rest)  # fmt: skip
    elif members:
        yield Prose("No answer would change what is done now; the questions below close open checks.")
    if members:
        yield asking.who_where(found, _MOST_TAGS)
    if others:
        title = "Asked whatever they are worth: contradictions and open checks"
        yield Fold(
            f"{title} ({len(others)})",
            long_table(title, _asked_columns(show), [_asked(one, links) for one in others], _ALL),
        )
    yield Fold(
        "How the questions are valued",
        (Prose(_sentence(found.get("rule"))), *_assumed("Assumptions behind the questions", found)),
    )
    if members:
        yield Prose(
            "“quietseat ask study.json” writes the lists to carry and a blank form; a filled form is read back as signed mends.",
            "small",
        )


def _asked_columns(show: Shown) -> tuple[Column, ...]:
    return (Column("Tag"), Column("What to find out", "wide"), Column("Who"), Column("Where"), Column("Hours", "number"),
            Column(f"Worth, {show.currency}", "number"), Column("Why it matters", "wide"))  # fmt: skip


def _asked(one: Mapping[str, Any], links: Links) -> tuple[str | Cell, ...]:
    hours = f"{one['hours']:g}" if is_number(one.get("hours")) else DASH
    return (_tag(one, links), plain(one.get("title")), plain(one.get("who")), plain(one.get("where")), hours, asking.worth(one.get("value")),
            cut(plain(one.get("reason")), 400))  # fmt: skip


# --- Words --------------------------------------------------------------------------------------------------------


def _tag(one: Mapping[str, Any], links: Links) -> Cell:
    return Cell(plain(one["tag"]), link=links.get(one["tag"], ""))


def _minus(text: str) -> str:
    return text.replace("-", "−")


def _sentence(words: Any) -> str:
    """Words as a sentence: a capital first, a full stop last; nothing for nothing."""
    text = str(words or "").strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in ".!?" else ".") if text else ""
