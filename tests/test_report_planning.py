"""The plan and the questions in the report: what a sceptical reader must find, and that holes in a plan stop nothing."""

from __future__ import annotations

import copy
import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
import report_sample as sample

from quietseat import terminal
from quietseat.report import build, figures, html, pdf, planning, words, xlsx
from quietseat.report.document import Block, Callout, Cell, Fold, Only, Prose, TableBlock

LINKS: dict[str, str] = {}


def flat(blocks: Any, medium: str = "page") -> Iterator[Block]:
    for block in blocks:
        if isinstance(block, Fold) or (isinstance(block, Only) and block.medium == medium):
            yield from flat(block.blocks, medium)
        elif not isinstance(block, Only):
            yield block


def tables(blocks: Any, medium: str = "page") -> dict[str, TableBlock]:
    return {block.caption: block for block in flat(blocks, medium) if isinstance(block, TableBlock)}


def said(blocks: Any) -> str:
    out: list[str] = []
    for block in flat(blocks):
        if isinstance(block, Prose):
            out.append(block.text)
        elif isinstance(block, Callout):
            out += [block.title, *block.text]
    return " ".join(out).replace("\u00a0", " ")


def shown(cell: str | Cell) -> str:
    return (cell if isinstance(cell, str) else cell.text).replace("\u00a0", " ")


def column(table: TableBlock, title: str) -> list[str]:
    at = [one.title for one in table.columns].index(title)
    return [shown(row[at]) for row in table.rows]


@pytest.fixture(scope="module")
def head() -> dict[str, Any]:
    return sample.study(7).head


def plan_of(head: dict[str, Any]) -> list[Block]:
    return list(planning.section(head, words.shown(head), LINKS))


def asked(head: dict[str, Any]) -> list[Block]:
    return list(planning.questions(head, words.shown(head), LINKS))


# --- The plan -----------------------------------------------------------------------------------------------------


def test_the_plan_says_what_is_taken_of_its_limits(head: dict[str, Any]) -> None:
    table = tables(plan_of(head))["Limits, and what the plan takes of them"]
    rows = [tuple(shown(cell) for cell in row) for row in table.rows]
    # five valves: 5 x 41 000 of 250 000 is 82 %; 5 x 24 h of 240 h is 50 %
    assert rows[:2] == [("Budget", "250 000 USD", "205 000 USD", "82 %"), ("Crew hours", "240 h", "120 h", "50 %")]
    assert rows[2][:3] == ("Outage", "12 days, a job worked 10 h a day", "longest job 20 h of it")
    # 5 x 28 700 and 5 x 69 700, three digits; the high end is above the budget
    assert (
        "low ends of all ranges the chosen remedies come to 144 000 USD, at the high ends to 348 000 USD, more than"
        in said(plan_of(head))
    )


def test_the_chosen_stand_with_value_reason_and_how_firm(head: dict[str, Any]) -> None:
    table = tables(plan_of(head))["Chosen for the outage (5)"]
    assert column(table, "Net value, USD") == ["−40 000"] * 5
    assert column(table, "Outlay, USD")[0] == "41 000 (28 700 to 69 700)"
    assert column(table, "In the best set") == ["100 %", "80 %", "60 %", "40 %", "20 %"]
    assert column(table, "By this remedy") == ["90 %", "70 %", "50 %", "30 %", "10 %"]
    assert column(table, "Clears")[0] == "subject to proof (notes 1, 2)"
    text = said(plan_of(head))
    assert (
        "Chosen valves in the best set in at least 95 % of the draws: 1 of 5; in fewer than half of them: 2 (" in text
    )
    assert "at least half of the draws: 2 (" in text


def test_windows_with_a_day_are_printed_with_the_day_to_order(head: dict[str, Any]) -> None:
    dated = {**head, "plan": sample.plan(["A", "B"], ["C"], windows=True)}
    table = tables(plan_of(dated))["Chosen (2)"]
    assert column(table, "Window")[0].replace("\u2011", "-").endswith("2027-05-10; order by 2026-12-07")


def test_left_out_has_reason_and_counterfactual(head: dict[str, Any]) -> None:
    found = tables(plan_of(head))
    left = found["Left out, though a remedy clears every finding (2)"]
    assert column(left, "What would let it in") == ["in at 900 USD less (Soft seat, now 3 k USD)"] * 2
    assert column(left, "In the best set") == ["55 %"] * 2
    assert column(found["Valves without a remedy to plan"], "Tag") == ["PSV-WAITS"]


def test_stop_findings_that_stay_are_told_first_with_their_measures(head: dict[str, Any]) -> None:
    blocks = plan_of(head)
    text = said(blocks)
    assert (
        "Stop findings cured by this plan: 5. Left: 1." in text
        and "Curing every stop finding needs 44 k USD at least." in text
    )
    found = tables(blocks)
    stays = found["Interim measures until cured: stop findings that stay"]
    assert column(stays, "What refuses the cure") == ["budget: too little"]
    assert column(stays, "What to do until then")[0].startswith("Chatter: inspect the seat after every lift. Stuck: ")
    assert "risk assessment" in stays.note and "Sources of the measures: trade practice." in stays.note
    assert len(found["Interim measures until the work is done: stop findings this plan cures"].rows) == 5


def test_the_curve_is_a_picture_with_words_and_a_table(head: dict[str, Any]) -> None:
    plan = head["plan"]
    figure = figures.curve(plan, words.shown(head))
    assert figure is not None
    alt = figure.alt.replace("\u00a0", " ")
    # points at 25 000 a step, at most 7 / 2 stop findings, reached at step 7
    assert "At most 3.5 stop findings are cured, from 175 000 USD on." in alt and "highest at 0 USD" in alt
    assert "5 stop findings cured, net value −200 000 USD" in alt
    table = tables(plan_of(head))["Budget curve"]
    assert len(table.rows) == 21 and [shown(cell) for cell in table.rows[20]] == [
        "500 000",
        "3.5",
        "10",
        "410 000",
        "−80 000",
    ]


def test_long_plans_are_cut_and_say_where_the_rest_is(head: dict[str, Any]) -> None:
    many = sample.plan([f"T{at}" for at in range(700)], [f"L{at}" for at in range(120)])
    blocks = plan_of({**head, "plan": many})
    for medium, most in (("page", 500), ("paper", 100)):
        table = tables(blocks, medium)["Chosen for the outage (700)"]
        assert len(table.rows) == most and f"{most} of 700 are shown; all of them are in study.xlsx." in table.note
    assert len(tables(blocks, "page")["Left out, though a remedy clears every finding (120)"].rows) == 120
    assert len(tables(blocks, "paper")["Left out, though a remedy clears every finding (120)"].rows) == 100


def _nothing() -> dict[str, Any]:
    plan = sample.plan([], ["L1"])
    plan.update(
        budget=0.0,
        curve=[{**point, "count": 0.0} for point in plan["curve"]],
        words="Nothing is chosen.",
        value=0.0,
        bound=None,
        gap=None,
        status="not-converged",
    )
    plan["windows"][0].update(budget=0.0)
    return plan


def _no_remedy() -> dict[str, Any]:
    plan = sample.plan([], [])
    plan.update(
        curve=[],
        stability=[],
        interim=[],
        assumptions=[],
        words="Nothing to plan.",
        stop_findings_need={"spend": None, "words": "no stop finding"},
    )
    return plan


OLDER = {
    "budget": 1.0,
    "outage_days": 12.0,
    "crews": 2,
    "chosen": [],
    "left_out": [],
    "totals": {"cost_mid": 1.0, "count": 0},
}
HOLES: tuple[tuple[Any, str], ...] = (
    (None, "No plan was made."), ({}, "No plan was made."), (OLDER, "a plan of an older version"),
    (_nothing(), "within these windows no amount of money changes the plan"), (_no_remedy(), "No valve of this study has a stop finding."),
)  # fmt: skip


@pytest.mark.parametrize("at", range(len(HOLES)))
def test_holes_in_a_plan_stop_no_file(at: int) -> None:
    plan, expected = HOLES[at]
    study = sample.study(2)
    study.head["plan"] = plan
    document = build.build(study)
    assert expected in html.render(document)
    assert pdf.render(document).startswith(b"%PDF") and xlsx.render(study).startswith(b"PK")


def test_a_solver_that_stopped_is_said(head: dict[str, Any]) -> None:
    text = html.render(build.build(_study(plan=_nothing())))
    assert "stopped before it could prove the plan best" in text and "unknown" in text


def test_a_study_without_the_key_prints() -> None:
    study = sample.study(2)
    for key in ("plan", "questions"):
        study.head.pop(key)
    text = html.render(build.build(study))
    assert "No plan was made." in text and "What to ask for next" not in text
    assert xlsx.render(study).startswith(b"PK")


# --- The questions ------------------------------------------------------------------------------------------------


def test_the_twenty_most_rewarding_and_the_visits(head: dict[str, Any]) -> None:
    blocks = asked(head)
    # 27 questions of half an hour; worth 25 x 12 000 - 400 x (0 + ... + 24)
    assert (
        "27 questions about 3 of 3 valves, 13.5 hours of asking. Knowing before deciding is worth about 180 000 USD"
        in said(blocks)
    )
    found = tables(blocks)
    best = found["The most rewarding questions, by worth an hour, 20 of 25"]
    assert column(best, "Worth, USD")[:2] == ["12 000", "11 600"] and len(best.rows) == 20 and "study.xlsx" in best.note
    others = found["Asked whatever they are worth: contradictions and open checks"]
    assert column(others, "Worth, USD") == ["not valued", "0"]
    visits = found["Who walks where"]
    assert column(visits, "Questions") == ["27"] and column(visits, "Valves")[0].endswith(" and 6 more")


@pytest.mark.parametrize(
    "found", [None, {**sample.questions(["A"]), "questions": [], "visits": [], "valves": [], "valves_asked": 0}]
)
def test_a_basis_that_asks_of_no_valve_is_said(head: dict[str, Any], found: Any) -> None:
    assert "the Basis asks of no valve (asked_valves = " in said(asked({**head, "questions": found}))


def test_nothing_to_ask_is_said(head: dict[str, Any]) -> None:
    empty = {**sample.questions(["A"]), "questions": [], "visits": []}
    assert "Nothing to ask: of 3 valves" in said(asked({**head, "questions": empty}))


# --- Workbook, page, terminal -------------------------------------------------------------------------------------


def test_the_workbook_has_the_plan_as_rows() -> None:
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(xlsx.render(_study(7, plan=sample.plan(["A", "B"], ["C"], windows=True)))))
    rows = [[cell.value for cell in row] for row in book["Plan"].iter_rows()]
    title = {name: at for at, name in enumerate(rows[0])}
    first, left = rows[1], rows[3]
    assert (first[title["Order by"]], first[title["Hours"]], first[title["Net value, USD"]]) == (
        "2026-12-07",
        24,
        -40000,
    )
    assert first[title["In the best set, of draws"]] == 1 and first[title["Why it is in or out"]].startswith(
        "mandatory"
    )
    assert (
        left[title["What would let it in"]].startswith("in at 900 USD less")
        and left[title["In at so much less, USD"]] == 900
    )
    assert book["Budget curve"].max_row == 22 and book["Until cured"].max_row == 4 and book["Ask next"].max_row == 28
    assert book["Until cured"]["A2"].value == "C" and book["Until cured"]["C2"].value == "no"


def test_empty_sheets_are_left_out() -> None:
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(xlsx.render(_study(plan=None, questions=None))))
    assert "Plan" in book.sheetnames and not {"Budget curve", "Until cured", "Ask next"} & set(book.sheetnames)


def test_tags_lead_to_the_section_of_their_valve() -> None:
    text = html.render(build.build(sample.study(3)))
    assert re.search(r'<td class="t" data-label="Tag" role="cell"><a href="#valve-1">PSV-0001</a>', text)


def test_the_terminal_tells_the_plan_and_the_first_question() -> None:
    study = sample.study(7)
    study.head["counts"] = {word: 0 for word in ("misfit", "unproven", "watch", "sound")}
    text = re.sub(r"\s+", " ", terminal.study(study))  # type: ignore[arg-type]
    assert "Plan: 5 valves chosen" in text and "cost 205,000 USD (143,500 to 348,500) and take 120 crew hours." in text
    assert "Stop findings: 5 cured, 1 left; curing every stop finding needs 44 k USD at least." in text
    assert "Ask first: " in text and "worth 12,000 USD for 0.5 h; 27 questions in all." in text
    study.head.update(plan=None, questions=None)
    assert "Plan:" not in terminal.study(study)  # type: ignore[arg-type]


def _study(count: int = 2, **changed: Any) -> sample.Study:
    study = sample.study(count)
    study.head.update(copy.deepcopy(changed))
    return study
