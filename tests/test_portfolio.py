"""The plan against brute force, and its words."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietseat import basis as bases
from quietseat.model import Assessment, Cost, Finding, Location, Remedy, Spread
from quietseat.portfolio import Candidate, Entry, entry, rank, solve


def candidate(money: float, hours: float, value: float, name: str = "soft-seat", clears: str = "yes") -> Candidate:
    return Candidate(name, name, clears, "", Spread(0.5 * money, money, 2 * money), hours, value)


def valve(tag: str, stops: int, acts: int, *candidates: Candidate) -> Entry:
    codes = ("chatter", "undersized", "stuck")[:stops] + ("leaks", "oversized", "inlet-loss")[:acts]
    return Entry(tag, "misfit", "stop" if stops else "act", stops, acts, codes, candidates)


def key(entries: list[Entry], picks: tuple[int | None, ...]) -> tuple[float, float, float, float]:
    """What the plan maximises, in the order of its stages (brute force side)."""
    pairs = [(one, one.candidates[pick]) for one, pick in zip(entries, picks) if pick is not None]
    return (
        sum(one.stops for one, _ in pairs), sum(max(c.value, 0.0) for _, c in pairs),
        sum(one.acts for one, _ in pairs), -sum(c.spend.mid for _, c in pairs),
    )  # fmt: skip


def brute(entries: list[Entry], budget: float, hours: float) -> tuple[float, float, float, float]:
    best = (-1.0, 0.0, 0.0, 0.0)
    for picks in itertools.product(*[[None, *range(len(one.candidates))] for one in entries]):
        pairs = [(one, one.candidates[pick]) for one, pick in zip(entries, picks) if pick is not None]
        if sum(c.spend.mid for _, c in pairs) <= budget and sum(c.hours for _, c in pairs) <= hours:
            best = max(best, key(entries, picks))
    return best


candidates = st.builds(candidate, st.integers(1, 12), st.integers(1, 9), st.integers(-4, 9))
entries = st.lists(
    st.tuples(st.integers(0, 2), st.integers(0, 2), st.lists(candidates, max_size=3)), min_size=1, max_size=5
)


@settings(max_examples=60, deadline=None)
@given(entries, st.integers(0, 30), st.integers(0, 25))
def test_plan_equals_brute_force(drawn, budget, hours):
    """Every small plan is the best one in the order safety, value, other findings, money."""
    listed = [valve(f"V{i}", stops, acts, *found) for i, (stops, acts, found) in enumerate(drawn)]
    picks, status = solve(listed, float(budget), float(hours))
    assert status == "ok"
    pairs = [(one, one.candidates[pick]) for one, pick in zip(listed, picks) if pick is not None]
    assert sum(c.spend.mid for _, c in pairs) <= budget
    assert sum(c.hours for _, c in pairs) <= hours
    assert key(listed, tuple(picks)) == pytest.approx(brute(listed, budget, hours))


def test_larger_set_needs_more_than_one_core():
    """A set larger than the first core against an independent bound: dynamic programming over whole money."""
    listed = [valve(f"V{i}", 0, 0, candidate(3 + (i * 7) % 11, 1, 2 + (i * 5) % 13)) for i in range(700)]
    budget = 1500
    picks, status = solve(listed, float(budget), 1e9)
    table = [0] * (budget + 1)
    for one in listed:
        cost, value = int(one.candidates[0].spend.mid), int(one.candidates[0].value)
        for money in range(budget, cost - 1, -1):
            table[money] = max(table[money], table[money - cost] + value)
    assert status == "ok"
    assert sum(one.candidates[0].value for one, pick in zip(listed, picks) if pick is not None) == table[budget]


def basis(**given: str):
    return bases.make({"budget": "100", "outage_days": "10", "crews": "1", "crew_hours_per_day": "10", **given})


def test_safety_comes_before_any_money():
    """A stop finding is cured first, whatever an act finding is worth."""
    plan = rank([valve("A", 0, 1, candidate(60, 1, 1e6)), valve("B", 1, 0, candidate(60, 1, -5.0))], basis())
    assert [chosen["tag"] for chosen in plan["chosen"]] == ["B"]
    (left,) = plan["left_out"]
    assert left["tag"] == "A" and "of the budget is left" in left["reason"]
    assert plan["totals"]["cost_mid"] == 60 and plan["totals"]["cost_high"] == 120
    assert plan["totals"]["stop_findings_cured"] == 1


def test_one_remedy_a_valve_and_crew_hours_hold():
    plan = rank(
        [valve("A", 1, 0, candidate(10, 90, 0), candidate(40, 20, 0)), valve("B", 1, 0, candidate(10, 60, 0))], basis()
    )
    assert {chosen["tag"] for chosen in plan["chosen"]} == {"A", "B"}
    assert plan["totals"]["crew_hours"] == 80 and plan["hours_available"] == 100


@pytest.mark.parametrize(("given", "words"), [({"budget": "0"}, "budget"), ({"outage_days": "0"}, "crew hours")])
def test_nothing_to_spend_ends_in_words(given, words):
    plan = rank([valve("A", 1, 0, candidate(10, 5, 0))], basis(**given))
    assert plan["chosen"] == [] and plan["status"] == "ok"
    assert words in plan["left_out"][0]["reason"]


def test_same_plan_whatever_the_order_of_the_rows():
    listed = [valve(f"V{i}", i % 2, 1, candidate(10 + i % 3, 2, 1)) for i in range(20)]
    forward, backward = rank(listed, basis()), rank(listed[::-1], basis())
    assert forward == backward


def cost(capital: float, upkeep: float, hours: float = 8.0) -> Cost:
    zero, money, kept = Spread(0, 0, 0), Spread(capital, capital, capital), Spread(upkeep, upkeep, upkeep)
    return Cost(money, zero, kept, zero, zero, money + kept, "USD", crew_hours=hours)


def test_entry_takes_clearing_remedies_and_values_them_against_leaving_it():
    """Value by hand: upkeep 900 before less 400 after, plus 2 stop findings of 50 a year over 10 years at 0 %."""
    made = bases.make({"misfit_cost": "50", "discount_rate": "0 %", "horizon_years": "10"})
    place = Location("T1")
    findings = (
        Finding("chatter", "stop", "fail", "", ""), Finding("undersized", "stop", "fail", "", ""),
        Finding("leaks", "act", "fail", "", ""),
    )  # fmt: skip
    remedies = (
        Remedy("soft-seat", "Soft seat", place, "yes", cost=cost(700, 400)),
        Remedy("bellows", "Bellows", place, "no", cost=cost(1, 1)),
        Remedy("re-pipe-inlet", "Re-pipe", place, "subject-to-proof", "x", cost=cost(900, 500, 40)),
        Remedy("keep", "Leave", place, "no", cost=cost(0, 900, 0)),
    )
    one = entry("T1", Assessment("T1", "misfit", findings), remedies, made)
    assert (one.stops, one.acts, one.severity) == (2, 1, "stop")
    assert [c.remedy for c in one.candidates] == ["soft-seat"]  # the other is dearer, slower and worth less
    assert one.candidates[0].value == pytest.approx(900 - 400 + 2 * 50 * 10)
    assert one.candidates[0].spend.mid == 700


def test_unproven_valves_say_what_to_measure():
    remedies = (
        Remedy("measure-first", "Measure first: inlet length", Location("T"), "subject-to-proof", cost=cost(0, 1)),
    )
    one = entry("T", Assessment("T", "unproven"), remedies, basis())
    plan = rank([one, entry("S", Assessment("S", "sound"), (), basis())], basis())
    assert plan["chosen"] == []
    assert [(left["tag"], left["reason"]) for left in plan["left_out"]] == [("T", "Measure first: inlet length")]
