"""A plan moved by hand: the relaxation bounds the integer plan, holds are kept, and their price is the difference of two plans."""

from __future__ import annotations

import itertools
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietseat.basis import make
from quietseat.model import Spread
from quietseat.planning import afterwards
from quietseat.planning.live import Live
from quietseat.planning.records import Item, Option, Terms, Window, from_plain, to_plain

BASIS = make({"discount_rate": "0 %", "horizon_years": "10"})


def known(value: float) -> Spread:
    return Spread(value, value, value)


def option(spend: float, saved: float, hours: float = 1.0, name: str = "soft-seat") -> Option:
    return Option(name, name, "yes", "", known(spend), ((known(saved), known(0.0)),), 0.0, hours, 0.0, recommended=True)


def valve(tag: str, stops: int, *options: Option) -> Item:
    return Item(tag, stops, 0, ("chatter",)[:stops], options, "" if options else "measure first")


THREE = (valve("A", 0, option(60, 100)), valve("B", 0, option(50, 80)), valve("C", 0, option(50, 75)))


def best(items: tuple[Item, ...], budget: float, held: dict[str, str]) -> tuple[int, float] | None:
    """Brute force: most stop findings, then most value."""
    found = []
    for picks in itertools.product(*[[None, *one.options] for one in items]):
        spend = sum(pick.spend.mid for pick in picks if pick)
        kept = all((pick is not None) == (held[one.tag] == "in") for one, pick in zip(items, picks, strict=True) if one.tag in held)
        if spend <= budget and kept:
            value = sum(pick.running[0][0].mid - pick.spend.mid for pick in picks if pick)
            found.append((sum(one.stops for one, pick in zip(items, picks, strict=True) if pick), value))
    return max(found, default=None)


def test_relaxation_by_hand() -> None:
    """Most value a unit of money first: A whole (60 for 40), then 40/50 of B: 40 + 24 = 64. Whole valves only: B and C, 55."""
    live = Live(THREE, BASIS)
    quick = live.quick(live.terms(100, 12, 900), {})
    assert quick["value"] == pytest.approx(64) and quick["split"] == 1 and quick["spent"] == pytest.approx(100)
    exact = live.exact(live.terms(100, 12, 900), {})
    assert [one["tag"] for one in exact["chosen"]] == ["B", "C"] and exact["value"] == pytest.approx(55)


def test_price_of_a_hold_by_hand() -> None:
    """With A held in 40 are left: nothing else fits, so 40 of value against 55 without the hold."""
    live = Live(THREE, BASIS)
    terms = live.terms(100, 12, 900)
    (hold,) = live.prices(terms, {"A": "in"})
    assert hold.fits and hold.exact and hold.value == pytest.approx(15) and hold.stops == 0
    (out,) = live.prices(terms, {"B": "out"})
    assert out.value == pytest.approx(55 - 40)
    assert [one["tag"] for one in live.exact(terms, {"A": "in"})["chosen"]] == ["A"]
    left = {one["tag"]: one for one in live.exact(terms, {"B": "out"})["left_out"]}
    held = left["B"]
    assert (held["remedy"], held["cost"]["mid"], held["reason"], held["counterfactual"]) == ("soft-seat", 50, "held out by hand", "in once freed")


def test_a_stop_finding_held_out_says_so_everywhere() -> None:
    live = Live((valve("S", 1, option(60, 100)), valve("M", 1)), BASIS)
    answer = live.exact(live.terms(100, 12, 900), {"S": "out", "M": "out"})
    assert "held out by hand" in answer["words"] and answer["chosen"] == []
    reasons = {one["tag"]: one["reason"] for one in answer["left_out"]}
    assert reasons == {"S": "held out by hand", "M": "measure first"}
    assert {one["tag"]: one["refused_by"] for one in answer["interim"]}["S"] == "held out by hand"
    assert answer["totals"]["stop_findings_left"] == 2


def test_what_would_let_a_valve_in_is_told_of_one_remedy() -> None:
    """Cheap and long: 24.5 k, 113 h, at 8 h a day 14.1 d of outage; dear and short: 90 k, 8 h. Budget 30 k, outage 12 d: the cheap one needs the outage alone."""
    live = Live((valve("P", 1, option(24_500, 0, 113, "re-pipe"), option(90_000, 0, 8, "bellows")),), make({"crew_hours_per_day": "8"}))
    (left,) = live.exact(live.terms(30_000, 12, 900), {})["left_out"]
    assert left["counterfactual"].startswith("could be in (re-pipe) with an outage of 14.1 d") and "budget" not in left["counterfactual"]
    assert left["remedy"] == "re-pipe" and left["cost"]["mid"] == 24_500 and "outage of the outage" not in left["reason"]
    (less,) = live.exact(live.terms(20_000, 12, 900), {})["left_out"]
    assert "a budget of 24\u00a0500\u00a0USD and an outage of 14.1 d" in less["counterfactual"]


def test_what_does_not_fit_says_so() -> None:
    live = Live(THREE, BASIS)
    terms = live.terms(100, 12, 900)
    held = {"A": "in", "B": "in"}
    assert not live.quick(terms, held)["fits"]
    assert all(not hold.fits and "fit" in hold.words for hold in live.prices(terms, held))
    assert live.exact(terms, held)["chosen"] == []


amounts = st.integers(1, 12)
fleets = st.lists(st.tuples(st.integers(0, 1), st.lists(st.tuples(amounts, st.integers(-3, 20)), max_size=2)), min_size=1, max_size=5)


@settings(max_examples=60, deadline=None)
@given(fleets, st.integers(0, 30), st.lists(st.sampled_from(["in", "out", None]), min_size=5, max_size=5))
def test_holds_equal_brute_force(drawn, budget, places):
    items = tuple(valve(f"V{i}", stops, *(option(a, a + v, name=f"r{n}") for n, (a, v) in enumerate(found))) for i, (stops, found) in enumerate(drawn))
    held = {one.tag: place for one, place in zip(items, places) if place and (place == "out" or one.options)}
    live = Live(items, BASIS)
    terms = live.terms(float(budget), 12, 900)
    wanted, quick = best(items, budget, held), live.quick(terms, held)
    if wanted is None:
        assert live.exact(terms, held)["chosen"] == []
        return
    answer = live.exact(terms, held)
    assert (answer["totals"]["stop_findings_cured"], answer["value"]) == (wanted[0], pytest.approx(wanted[1]))
    assert quick["fits"] and quick["stops"] >= wanted[0] - 1e-6


def test_the_relaxation_by_prices_is_that_over_all_columns():
    """2,000 valves, scipy's linprog over every column as the reference."""
    import numpy as np
    from scipy.optimize import linprog

    dice = np.random.default_rng(5)
    items = tuple(
        valve(f"V{i}", int(dice.integers(0, 2)), *(option(float(a), float(a + b), float(h), f"r{n}") for n, (a, b, h) in enumerate(zip(
            dice.uniform(1, 50, 3), dice.uniform(-5, 40, 3), dice.uniform(1, 20, 3), strict=True)))) for i in range(2000)
    )  # fmt: skip
    live = Live(items, BASIS)
    held = {"V7": "in", "V8": "out"}
    quick = live.quick(live.terms(900, 12, 300), held)
    cols = live._open(live.terms(900, 12, 300), held)
    gain = afterwards.weighted(cols) + cols.value
    owners = np.zeros((2000, len(cols.item)))
    owners[cols.item, np.arange(len(cols.item))] = 1
    rows = np.vstack([owners, cols.spend, cols.outage + cols.other, -owners[live._number["V7"]]])
    whole = linprog(-gain, A_ub=rows, b_ub=[*[1] * 2000, 900, 300, -1], method="highs")
    assert whole.status == 0
    assert quick["stops"] == pytest.approx(float(cols.stops @ whole.x), rel=1e-7)
    assert quick["value"] == pytest.approx(float(cols.value @ whole.x), rel=1e-5)


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 10**6), st.integers(1, 60), st.integers(1, 3), st.booleans(), st.sampled_from([1, 3, 300]))
def test_the_relaxation_over_windows_is_that_over_all_columns(seed, count, options, ties, core):
    """Two dated windows with money and hours of their own, and holds; scipy's linprog over every column as the reference."""
    import numpy as np
    from scipy.optimize import linprog

    dice = np.random.default_rng(seed)
    draw = (lambda low, high: float(dice.integers(low, high))) if ties else (lambda low, high: float(dice.uniform(low, high)))
    items = tuple(valve(f"V{i}", int(dice.integers(0, 2)), *(option(draw(1, 9), draw(-5, 40), draw(1, 5), f"r{n}") for n in range(options))) for i in range(count))
    windows = (Window("early", date(2026, 6, 1), 9.0, 30.0, 10.0, 40.0, delay=0.4), Window("late", date(2028, 6, 1), 9.0, 50.0, 10.0, None, delay=2.4))
    terms = Terms(windows, 90.0, now=date(2026, 1, 1))
    held = {"V0": "in", "V1": "out", "V2": "in"}
    live = Live(items, BASIS, terms)
    with pytest.MonkeyPatch.context() as patch:  # small cores, so that few valves go through every part of the search
        patch.setattr("quietseat.planning.relaxed.CORE", core)
        patch.setattr("quietseat.planning.relaxed.DOUBTFUL", core)
        quick = live.quick(terms, held)
    cols = live._open(terms, live.holds(held))
    gain = afterwards.weighted(cols) + cols.value
    owners = np.array([(cols.item == i).astype(float) for i in range(count)])
    early, hours = cols.window == 0, cols.outage + cols.other
    musts = [live._number[tag] for tag, place in live.holds(held).items() if place == "in"]
    rows = np.vstack([owners, cols.spend, cols.spend * early, hours * early, hours * ~early, *(-owners[i] for i in musts)])
    whole = linprog(-gain, A_ub=rows, b_ub=[*[1] * count, 90, 40, 30, 50, *[-1] * len(musts)], method="highs")
    assert quick["fits"] and whole.status == 0
    chosen = {(one["tag"], one["window"], one["remedy"]): one["part"] for one in quick["parts"]}
    x = np.array([chosen.get((cols.at(c)[0].tag, cols.at(c)[2].name, cols.at(c)[1].remedy), 0.0) for c in range(len(gain))])
    assert (rows @ x <= np.array([*[1] * count, 90, 40, 30, 50, *[-1] * len(musts)]) + 1e-4).all()
    assert float(gain @ x) == pytest.approx(-whole.fun, rel=1e-7, abs=1e-6)


def test_an_item_comes_back_as_it_went() -> None:
    one = valve("A", 1, option(1, 2), Option("x", "X", "yes", "c", known(1), (), 2.0, 1.0, 0.5, saved=Spread(1, 2, 3)))
    assert from_plain(to_plain(one)) == one
