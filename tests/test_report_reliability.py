"""The section on reliability and the tornado: what is said, what is drawn, and that no text becomes markup."""

from __future__ import annotations

import re
from typing import Any
from xml.etree import ElementTree

import pytest
import report_sample as sample
from test_upkeep import CLEAN, keeping, remedy, told
from valves_sample import SOUND, bent

from quietseat.model import Event
from quietseat.report import build, html, money, pdf, plot, reliability, words
from quietseat.report.document import Block, Figure, Fold, Prose, TableBlock

SHOWN = words.shown(sample.study(1).head)
STUCK = (Event("stuck", "2020-01-01"),)


def section(found: dict[str, Any] | None) -> list[Block]:
    return list(reliability.section({"tag": "PSV-1", "reliability": found}, SHOWN))


def prose(blocks: list[Block]) -> str:
    return " ".join(block.text for block in blocks if isinstance(block, Prose))


def tables(blocks: list[Block]) -> list[TableBlock]:
    (fold,) = (block for block in blocks if isinstance(block, Fold))
    return [block for block in fold.blocks if isinstance(block, TableBlock)]


def figure(blocks: list[Block]) -> Figure:
    (found,) = (block for block in blocks if isinstance(block, Figure))
    return found


# -- words and tables ------------------------------------------------------------------------------------------


def test_nothing_is_said_where_the_study_has_none() -> None:
    assert section(None) == [] and list(reliability.section({"tag": "PSV-1"}, SHOWN)) == []


def test_what_was_not_computed_says_why() -> None:
    said = prose(section({"status": "not-computed", "reason": "no Weibull life: kind of valve unknown"}))
    assert "Not computed: no Weibull life: kind of valve unknown." in said


def test_the_first_sentences_hold_the_probabilities_and_the_pilot() -> None:
    """5.81 % and 15.1 % within 5 years, 4.6 years for 5 %; pilot 34.9 %: tables by hand in test_upkeep."""
    said = prose(section(told()))
    assert "5.81 % not to open on demand and 15.1 % to leak within 5 years, the interval of the Basis." in said
    assert "An overhaul every 4.6 years keeps the probability of not opening at 5 % or less." in said
    assert (
        "Less reliable than the present valve is a pilot in its place, nothing else changed: 34.9 % not to open on demand"
        in said
    )
    assert "every 1.7 years" in said and "from memory, verify" in said and "no result" in said


def test_a_better_pilot_is_said_to_be_better() -> None:
    place = bent(service=CLEAN, events=(Event("chatter", "2020-01-01"),))
    found = told(place, (remedy(bent(service=CLEAN, valve={"kind": "pilot"})),), "pilot-snap-integral")
    said = prose(section(found))
    assert (
        "None of the kinds compared is less reliable" in said
        and "More reliable is the recommended remedy (a pilot)" in said
    )


def test_what_the_history_did_is_said() -> None:
    said = prose(section(told(bent(events=STUCK))))
    assert "1 of 1 look found that it does not open on demand" in said and "from 5.81 % to" in said


def test_a_difference_of_history_alone_is_called_alike() -> None:
    found = told(bent(events=STUCK), (remedy(SOUND, "re-pipe-inlet"),), "re-pipe-inlet")
    assert "More reliable" not in prose(section(found)) and "before its history" in prose(section(found))
    rows = [row for row in tables(section(found))[1].rows if row[0] == "The recommended remedy (a conventional valve)"]
    assert [row[4] for row in rows] == ["alike by the table", "alike"]  # nothing was seen of leaks


def test_tables_hold_lives_kinds_and_curve() -> None:
    lives, kinds, curve = tables(section(told()))
    held = {row[0]: row[1:] for row in lives.rows}
    assert held["Shape β (table)"] == ("1.8", "1.6") and held["Life η by the table, years"] == ("23.9", "15.5")
    assert [row[:5] for row in kinds.rows] == [
        ("A pilot in its place, nothing else changed", "does not open on demand", "5.81 %", "34.9 %", "less reliable"),
        ("A pilot in its place, nothing else changed", "leaks", "15.1 %", "15.1 %", "alike"),
    ]
    assert "How a pilot fails unseen" in kinds.note
    assert len(curve.rows) == 12 and len(curve.columns) == 5 and all(len(row) == 5 for row in curve.rows)


def test_costs_stand_beside_the_curve_where_they_are_known() -> None:
    found, _ = keeping(SOUND)
    curve = tables(section(found))[2]
    assert len(curve.columns) == 6 and all(len(row) == 6 for row in curve.rows)
    assert "an overhaul 3\u00a0200" in curve.note and "0.1 demands a year" in curve.note


# -- pictures --------------------------------------------------------------------------------------------------


def test_the_picture_says_in_words_what_it_shows() -> None:
    found = told()
    shows = figure(section(found))
    assert (
        "present conventional valve: does not open on demand: 5.81 %" in shows.alt
        and "a pilot: does not open on demand: 34.9 %" in shows.alt
    )
    assert "target of 5 %" in shows.alt and "5 years" in shows.caption
    drawn = ElementTree.fromstring(shows.svg)
    assert (
        len([node for node in drawn.iter() if node.tag.endswith("path")]) == 3
    )  # two of the present valve, one of a pilot


def test_a_picture_of_four_lines_tells_them_apart_without_colour() -> None:
    found = told(SOUND, (remedy(bent(valve={"kind": "bellows"}), "bellows"),), "bellows")
    paths = re.findall(r"<path [^>]*>", figure(section(found)).svg)
    assert len(paths) == 4 and len({re.sub(r'd="[^"]*"|stroke="[^"]*"', "", path) for path in paths}) == 4


@pytest.mark.parametrize(("low", "high", "most", "expected"), [
    (0.0, 10.0, 10, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10]), (-7300.0, 0.0, 6, [-6000, -4000, -2000, 0]), (0.0, 0.3, 7, [0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3]),
    (1.0, 1.0, 5, []),
])  # fmt: skip
def test_ticks_are_round(low: float, high: float, most: int, expected: list[float]) -> None:
    assert plot.ticks(low, high, most) == pytest.approx(expected)


def test_bars_of_the_tornado_lie_to_scale() -> None:
    """Ends 0 and 100, spare 3 each side, 436 wide from 12: x = 12 + (v + 3)/106 x 436. Middle 50, low 100, high 20."""
    drawn = plot.swings([("price", 100.0, 20.0)], 50.0, "npv", lambda value: f"{value:g}")
    bars = re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)" height="12" fill="(#\w+)"', drawn)[
        2:
    ]  # after the legend
    x = {value: 12 + (value + 3) / 106 * 436 for value in (20, 50, 100)}
    assert [float(part) for part in bars[0][:2]] == pytest.approx([x[50], x[100] - x[50]], abs=0.06) and bars[0][
        2
    ] == plot.PALE
    assert [float(part) for part in bars[1][:2]] == pytest.approx([x[20], x[50] - x[20]], abs=0.06) and bars[1][
        2
    ] == plot.NEW
    zero = 12 + 3 / 106 * 436
    assert f'<line x1="{zero:.1f}"' in drawn and 'stroke-dasharray="6 3"' in drawn


def test_the_tornado_is_a_picture_and_its_table_stays_folded() -> None:
    found = {"tag": "PSV-1", "money": sample.money()}
    blocks = list(money.section(found, SHOWN))
    shows = figure(blocks)
    assert (
        shows.alt.startswith("Tornado of PSV-1: net present value in USD, −680 with every input at its middle")
        and "Dashed: zero" in shows.caption
    )
    assert "<script" not in shows.svg and "&lt;script" in shows.svg  # names are text
    ElementTree.fromstring(shows.svg)
    assert any(table.caption == "What moves the net present value most" for table in tables(blocks))


@pytest.mark.parametrize("bars", [[], [{"input": "a", "npv_low": None, "npv_high": 1.0}]])
def test_a_tornado_without_bars_is_not_drawn(bars: list[dict[str, Any]]) -> None:
    found = sample.money() | {"tornado": bars}
    assert not any(isinstance(block, Figure) for block in money.section({"tag": "PSV-1", "money": found}, SHOWN))


# -- page and paper --------------------------------------------------------------------------------------------


def test_the_section_stands_after_the_money_on_page_and_paper() -> None:
    study = sample.study(1)
    study.records[0]._valve["reliability"] = told(bent(events=STUCK))
    document = build.build(study)
    page = html.render(document)
    assert (
        page.index("What it costs over its life")
        < page.index("How reliable it is")
        < page.index("Weibull lives of the present valve")
    )
    assert pdf.render(document).startswith(b"%PDF")
