"""The programme of a plan against brute force; its stages, limits, lead times and delays."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietseat import basis as bases
from quietseat.model import Spread
from quietseat.planning.candidates import lead_time, undominated
from quietseat.planning.plan import columns, limits_of, refused, solve
from quietseat.planning.programme import Programme
from quietseat.planning.records import ZERO, Item, Option, Terms, Window

FREE = bases.make({"discount_rate": "0 %", "horizon_years": "10"})


def spread(value: float) -> Spread:
    return Spread(value, value, value)


def option(money: float, hours: float = 0.0, worth: float = 0.0, lead: float = 0.0, name: str = "overhaul", other: float = 0.0) -> Option:
    """A remedy that costs and is worth (net) so much now."""
    return Option(name, name, "yes", "", spread(money), ((spread(money + worth), ZERO),), 0.0, hours, other, spread(lead))


def item(tag: str, stops: int, *options: Option) -> Item:
    return Item(tag, stops, 1, ("chatter",) * stops + ("leaks",), options)


def brute(items: list[Item], windows: tuple[Window, ...], total: float) -> tuple[float, float, float]:
    """Stop findings, earliness, value of the best plan, by looking at every plan (no discounting: the worth is linear in time)."""
    best = (-1.0, 0.0, 0.0)
    choices = [[None, *itertools.product(range(len(one.options)), range(len(windows)))] for one in items]
    last = max(window.delay for window in windows)
    for picks in itertools.product(*choices):
        taken = [(one, one.options[pick[0]], windows[pick[1]]) for one, pick in zip(items, picks) if pick is not None]
        if sum(o.spend.mid for _, o, _ in taken) > total:
            continue
        if any(
            sum(o.spend.mid for _, o, w in taken if w is window) > (window.budget if window.budget is not None else 1e9)
            or sum(o.hours for _, o, w in taken if w is window) > window.crew
            or any(o.outage_hours > window.outage * window.hours_per_day for _, o, w in taken if w is window)
            for window in windows
        ):
            continue
        stops = sum(one.stops for one, _, _ in taken)
        early = sum(one.stops * (1 + last - w.delay) for one, _, w in taken) if last else 0.0
        value = sum(o.running[0][0].mid * (10 - w.delay) / 10 - o.spend.mid for _, o, w in taken)
        best = max(best, (stops, round(early, 9), value), key=lambda key: (key[0], key[1], round(key[2], 6)))
    return best


options = st.builds(option, st.integers(1, 12), st.integers(0, 9), st.integers(-4, 9))
valves = st.lists(st.tuples(st.integers(0, 2), st.lists(options, max_size=2)), min_size=1, max_size=4)


@settings(max_examples=60, deadline=None)
@given(valves, st.integers(0, 30), st.integers(1, 20), st.integers(1, 25))
def test_plan_equals_brute_force(drawn, total, second, crew):
    """Every small plan over two windows is the best one: stop findings, then early, then value (brute force)."""
    items = [item(f"V{i}", stops, *found) for i, (stops, found) in enumerate(drawn)]
    windows = (
        Window("A", None, 0.7, float(crew), 10.0, None, None, 0.0), Window("B", None, 3.0, 12.0, 10.0, float(second), None, 2.0),
    )  # fmt: skip
    plan = solve(columns(items, Terms(windows, float(total)), FREE))
    stops, early, value = brute(items, windows, float(total))
    assert plan.ended and (plan.stops, plan.value) == (stops, pytest.approx(value, abs=1e-6))
    assert plan.bound == pytest.approx(value, abs=1e-4)
    taken = [plan.columns.at(column) for column in plan.chosen]
    assert sum(one.spend.mid for _, one, _ in taken) <= total
    assert len({one.tag for one, _, _ in taken}) == len(taken)
    if stops:
        assert sum(one.stops * (3.0 - window.delay) for one, _, window in taken) == pytest.approx(early)


def test_large_set_is_within_the_gap_of_dynamic_programming():
    """A knapsack of 3,000 whole numbers: the optimum by dynamic programming, an independent algorithm."""
    money = [3 + (i * 7) % 23 for i in range(3000)]
    worth = [2 + (i * 5) % 31 for i in range(3000)]
    items = [item(f"V{i}", 0, option(m, 0.0, w)) for i, (m, w) in enumerate(zip(money, worth))]
    plan = solve(columns(items, Terms((Window("A", None, 1.0, 1.0, 10.0),), 6000.0), FREE))
    table = np.zeros(6001)
    for m, w in zip(money, worth):
        table[m:] = np.maximum(table[m:], table[:-m] + w)
    assert plan.value <= table[-1] + 1e-6 <= plan.bound + 1e-3
    assert plan.value >= table[-1] * (1 - 1e-3)
    assert plan.bound - plan.value <= 1e-3 * plan.bound


def test_a_column_outside_the_core_is_found():
    """The reduced costs name every column that can matter: against the same programme solved whole."""
    dice = np.random.default_rng(3)
    drawn = dice.integers(5, 40, (900, 3, 3)).astype(float)
    items = [item(f"V{i}", 0, *(option(*one) for one in drawn[i].tolist())) for i in range(900)]
    cols = columns(items, Terms((Window("A", None, 9.0, 4000.0, 10.0),), 5000.0), FREE)
    assert len(cols.item) > 2500
    part = solve(cols)
    from scipy.optimize import Bounds, LinearConstraint, milp

    programme = Programme(cols.item, limits_of(cols))
    whole = milp(-cols.value, integrality=np.ones(len(cols.item)), bounds=Bounds(0, 1),
                 constraints=LinearConstraint(programme.matrix, -np.inf, programme.upper))  # fmt: skip
    assert part.value == pytest.approx(-whole.fun, rel=1e-3)
    assert part.bound >= -whole.fun - 1e-6


NOW = date(2027, 1, 1)


def test_a_remedy_waits_for_its_order():
    """18 weeks from 1 January 2027 is 7 May 2027: out of a window of the 6th, in one of the 7th."""
    terms = Terms((), 1e6, now=NOW)
    kind, words = refused(option(1, lead=126.0), Window("early", date(2027, 5, 6), 9, 9, 10), terms)
    assert kind == "lead time" and "2027-05-07" in words
    assert refused(option(1, lead=126.0), Window("in time", date(2027, 5, 7), 9, 9, 10), terms) == ("", "")


@pytest.mark.parametrize(
    ("one", "window", "kind"),
    [
        (option(5, 31.0), Window("W", None, 3.0, 99.0, 10.0), "outage"),  # 31 h at 10 h a day: 3.1 d
        (option(5, 20.0, other=5.0), Window("W", None, 3.0, 24.0, 10.0), "crew hours"),  # one pool of 24 h
        (option(5, 20.0, other=5.0), Window("W", None, 3.0, 24.0, 10.0, None, 4.0), "crew hours"),  # 5 h outside, 4 there
        (option(5, 20.0, other=4.0), Window("W", None, 3.0, 24.0, 10.0, None, 4.0), ""),
        (option(5), Window("W", None, 3.0, 24.0, 10.0, 4.0), "budget"),
        (option(101), Window("W", None, 3.0, 24.0, 10.0), "budget"),
        (option(61), Window("W", date(2027, 6, 1), 3.0, 24.0, 10.0), "budget"),
    ],
)
def test_the_limit_that_refuses_is_named(one, window, kind):
    assert refused(one, window, Terms((window,), 100.0, {2027: 60.0}, now=NOW))[0] == kind


def test_year_budgets_hold_over_their_windows():
    """Two windows of one year share 10; the third, a year later, has its own 5."""
    windows = tuple(
        Window(name, start, 9.0, 99.0, 10.0, None, None, (start - NOW).days / 365.25)
        for name, start in (("A", date(2027, 3, 1)), ("B", date(2027, 9, 1)), ("C", date(2028, 3, 1)))
    )
    items = [item(f"V{i}", 0, option(5, 0.0, 50.0)) for i in range(5)]
    plan = solve(columns(items, Terms(windows, None, {2027: 10.0, 2028: 5.0}, now=NOW), FREE))
    years = [plan.columns.at(column)[2].start.year for column in plan.chosen]
    assert sorted(years) == [2027, 2027, 2028]


def test_waiting_costs_the_savings_of_the_wait():
    """At no discount rate a saving of 10 a year over 10 years, done after 2 years, is worth 80 (by hand)."""
    window = Window("late", None, 9.0, 99.0, 10.0, None, None, 2.0)
    plan = solve(columns([item("V", 0, option(30, 0.0, 70.0))], Terms((window,), 100.0), FREE))
    assert plan.value == pytest.approx(80 - 30)


def test_only_what_is_beaten_in_everything_is_dropped():
    """Dearer but sooner, or dearer but fewer hours, stays; equal or worse in all goes."""
    cheap, soon, light = option(10, 9, 5, 90), option(12, 9, 3, 7, "soon"), option(12, 2, 3, 90, "light")
    worse, equal = option(13, 9, 2, 90, "worse"), option(10, 9, 5, 90, "equal")
    assert [one.remedy for one in undominated([cheap, soon, light, worse, equal])] == ["overhaul", "soon", "light"]


def test_the_recommended_remedy_is_not_left_for_a_few_coins():
    """1 % of 1000: 9 less or 9 more saved is no reason, 11 less is; without a share every coin counts."""
    best = replace(option(1000, 9, 5, 90, "best"), recommended=True)
    near, less = option(991, 9, 5, 90, "near"), option(989, 9, 5, 90, "less")
    for one, share, kept in ((near, 0.01, ["best"]), (less, 0.01, ["best", "less"]), (near, 0.0, ["best", "near"])):
        assert [each.remedy for each in undominated([one, best], share)] == kept


def test_of_several_words_the_longest_lead_time_counts():
    """Rows of the table lead_times: bellows 16 weeks, more-blowdown 3, anything else 12."""
    assert lead_time("more-blowdown-bellows").mid == 16 * 7
    assert lead_time("more-blowdown").mid == 3 * 7
    assert lead_time("a new idea").mid == 12 * 7
