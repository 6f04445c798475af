"""Work orders: the words of the trade, what stays unknown, and what the register's own rows have cost."""

from __future__ import annotations

from dataclasses import replace

import pytest
from valves_sample import SOUND, bent

from quietseat.model import Event, History
from quietseat.tables import table
from quietseat.worklog import UNKNOWN, classify, rate_interval, read_orders, stated_hours


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("PSV passing", "leak"), ("Weeping at drain", "leak"), ("simmering", "leak"), ("lapped & set", "overhaul"),
        ("Lapped&Set", "overhaul"),
        ("bellow gone", "bellows"), ("Bellows leaking at bonnet vent", "bellows"), ("SEIZED", "stuck"), ("siezed up", "stuck"),
        ("no lift on the bench", "stuck"), ("No spare", "no-spare"), ("R&R", "overhaul"), ("R & R by contractor", "overhaul"),
        ("popped low, spring relaxed", "low-pop"), ("popping off", "opened"), ("spurious lift", "opened"),
        ("seat beaten, lapped & set", "chatter"),
        ("pilot sticking", "pilot"), ("popped high", "high-pop"), ("bench test", "test"), ("corroded, lapped", "corrosion"),
    ],
)  # fmt: skip
def test_words_of_the_trade(text: str, kind: str) -> None:
    """What such texts mean to those who write them (common practice)."""
    found = classify(text)
    assert found.kind == kind and found.matched and found.matched[0][0] in found.words


@pytest.mark.parametrize("text", ["", "painted and tagged", "no leak", "not seized", "leak: none", "unleaded", "replacement of gauge"])
def test_what_says_nothing_stays_unknown(text: str) -> None:
    assert classify(text).kind == UNKNOWN


def test_what_was_wrong_comes_before_what_was_done() -> None:
    found = classify("Found stuck, seat leaking, overhauled and bench tested")
    assert found.kind == "stuck"
    assert [kind for _, kind in found.matched] == ["stuck", "leak", "overhaul", "test"]


def test_denied_words_do_not_count() -> None:
    assert classify("no leak found, lapped").matched == (("lapped", "overhaul"),)
    assert classify("leak test ok").kind == "test"


@pytest.mark.parametrize(
    ("text", "hours"),
    [("took 6 h", 6), ("2 x 4.5 hrs", 9), ("3,5 man-hours", 3.5), ("4 hours and 2 h", 6), ("at 14 h", None), ("9.8 barg", None),
     ("", None), ("6 mh", 6)],
)  # fmt: skip
def test_hours(text: str, hours: float | None) -> None:
    assert stated_hours(text) == hours


def test_the_vocabulary_is_whole() -> None:
    """Every word names a class; every class but none has words; each phrase is read as its own class."""
    classes = {row["class"] for row in table("worklog_classes")}
    assert {row["class"] for row in table("worklog_words")} == classes
    for row in table("worklog_words"):
        assert (row["words"], row["class"]) in classify(row["words"]).matched, row


def test_costs_and_hours_rest_on_the_registers_rows() -> None:
    """Costs 2,000, 3,000 and 7,000: median 3,000 of 3 rows; hours 6 and 10 of 2 rows; by hand."""
    places = [
        replace(bent(events=events), tag=f"PSV-{n}")
        for n, events in enumerate(
            (
                (Event("leak", "2019-01-01", None, "passing, 6 h", 2000.0), Event("overhaul", "2019-01-01", None, "passing, 6 h")),
                (Event("leak", "2021-01-01", None, "weeping", 3000.0), Event("leak", "2022-01-01", None, "leaking, 10 hrs", 7000.0)),
                (Event("leak", "2023-01-01", 900.0, "ppm"), Event("other", "2023-01-01", None, "painted"), Event("overhaul", "2024-01-01")),
            )
        )
    ]
    log = read_orders(places)
    leak = log.classes["leak"]
    assert leak.cost is not None and (leak.cost.rows, leak.cost.low, leak.cost.median, leak.cost.high) == (3, 2000, 3000, 7000)
    assert leak.hours is not None and (leak.hours.rows, leak.hours.median) == (2, 8)
    assert leak.cost.spread().mid == 3000
    assert log.unknown == 1 and log.classes[UNKNOWN].orders == 1 and "1 of them unknown" in log.words()
    assert log.classes["overhaul"].cost is None and log.classes["overhaul"].orders == 1
    assert [order.evidence for order in log.orders if order.kind == "overhaul"] == ['heading "overhaul"']
    assert leak.rate == pytest.approx(3 / (3 * 5), rel=1e-3)
    assert "from 3 rows" in leak.words() and "from 2 rows" in leak.words()


def test_condition_counts_once() -> None:
    both = replace(SOUND, history=History((Event("stuck", None, None, "seized"),), "seized"))
    assert len(read_orders([both]).orders) == 1
    assert read_orders([replace(SOUND, history=History((), "seized"))]).classes["stuck"].orders == 1


def test_nothing_to_learn() -> None:
    log = read_orders([SOUND])
    assert log.orders == () and log.classes == {} and log.unknown == 0
    one = read_orders([bent(events=(Event("leak", "2021-01-01", None, "passing"),))])
    assert one.classes["leak"].rate is None and one.classes["leak"].cost is None


def test_rate_interval_of_no_event() -> None:
    """Upper 95 % limit of a count of 0: -ln 0.05 = 2.9957."""
    assert rate_interval(0, 10.0) == (0.0, pytest.approx(0.29957, abs=1e-5))
