"""Interval advice and kinds compared: closed forms, and what must hold of any advice."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import quad
from scipy.special import lambertw
from scipy.stats import weibull_min

from quietseat.formula import Sheet
from quietseat.reliability import Costs, Learned, Life, Look, advise, cheapest, compare, life, point
from quietseat.status import CalculationFailed

NEVER = Life("leak", "conventional", "moderate", 1e9, 1.6, 1.0, "computed")


def _life(eta: float, beta: float) -> Life:
    return Life("open", "conventional", "moderate", eta, beta, 1.0, "computed")


@pytest.mark.parametrize("cost", [200.0, 1000.0, 2000.0])
def test_cheapest_of_an_exponential_life(cost: float) -> None:
    """exp(-x)(1 + x) = 1 - overhaul/(damage x eta), by Lambert's W."""
    x = -1 - lambertw(-(1 - cost / 10000) / math.e, -1).real
    assert cheapest(_life(10.0, 1.0), NEVER, Costs(cost, 1000.0, 1.0)).interval == pytest.approx(10 * x, abs=1e-3)


def test_cheapest_where_failures_are_rare() -> None:
    """P about (t/eta)^beta: T^(beta+1) = overhaul (beta+1) eta^beta / (beta damage demands); classical inspection interval."""
    eta, beta, overhaul, damage = 300.0, 1.8, 1.0, 2000.0
    expected = (overhaul * (beta + 1) * eta**beta / (beta * damage)) ** (1 / (beta + 1))
    assert 1 < expected < 9
    assert cheapest(_life(eta, beta), NEVER, Costs(overhaul, damage, 1.0)).interval == pytest.approx(expected, rel=2e-3)


def test_cost_of_a_point() -> None:
    """All terms by scipy.stats.weibull_min and numerical integration."""
    opening, leaking = weibull_min(1.8, scale=23.9), weibull_min(1.6, scale=15.5)
    costs = Costs(4000.0, 1e6, 0.1, 1200.0, 800.0)
    found = point(life("conventional", "open"), life("conventional", "leak"), 4.0, costs)
    down, leaks = (quad(dist.cdf, 0, 4)[0] / 4 for dist in (opening, leaking))
    assert found.cost == pytest.approx((4000 + 1200 * leaking.cdf(4)) / 4 + 1e6 * 0.1 * down + 800 * leaks, rel=1e-9)
    assert found.open_end == pytest.approx(opening.cdf(4)) and found.leak_mean == pytest.approx(leaks, rel=1e-9)


def test_target_and_curve() -> None:
    """The target's interval by the inverse of the distribution; risk grows along the curve from 0.5 to 10 years."""
    found = advise(life("conventional", "open"), life("conventional", "leak"), 0.05)
    assert found.keeps == pytest.approx(weibull_min(1.8, scale=23.9).ppf(0.05), rel=1e-9)
    assert [p.interval for p in (found.curve[0], found.curve[-1])] == [0.5, 10.0] and found.cheapest is None
    for name in ("open_end", "open_mean", "leak_end", "leak_mean"):
        values = [getattr(p, name) for p in found.curve]
        assert values == sorted(values)
    assert found.confidence == "memory-md"


def test_advice_says_where_nothing_fits() -> None:
    pilot = advise(life("pilot", "open", "severe"), life("pilot", "leak", "severe"), 0.01)
    assert pilot.keeps < 0.5 and "another kind" in pilot.words[0]
    disk = advise(life("disk", "open"), life("disk", "leak"), 0.9)
    assert disk.keeps > 10 and "codes" in disk.words[0]


def test_the_cheapest_may_be_an_end_and_may_miss_the_target() -> None:
    opening, leaking = life("conventional", "open"), life("conventional", "leak")
    free = advise(opening, leaking, 0.05, Costs(5000.0))
    assert free.edge and free.cheapest is not None and free.cheapest.interval == pytest.approx(10.0)
    assert any("does not keep the target" in words for words in free.words)
    dear = advise(opening, leaking, 0.05, Costs(1.0, 1e9, 1.0))
    assert dear.edge and dear.cheapest is not None and dear.cheapest.interval == pytest.approx(0.5)


def test_steps_of_the_advice() -> None:
    sheet = Sheet()
    found = advise(life("conventional", "open"), life("conventional", "leak"), 0.05, Costs(5000.0, 1e6, 0.1), sheet)
    steps = {step.symbol: step.value for step in sheet.steps()}
    assert found.cheapest is not None and steps["cost"] == found.cheapest.cost and steps["T_target"] == found.keeps


def test_advice_on_a_learned_life() -> None:
    """Failures found shorten the interval, passes lengthen it."""

    def keeps(*looks: Look) -> float:
        learned = Learned("open", "conventional", "moderate", 23.9, 1.8, 2.0, 1.0, looks)
        return advise(learned, life("conventional", "leak"), 0.05).keeps

    assert keeps(Look(0.0, 5.0), Look(0.0, 5.0)) < keeps() < keeps(*[Look(8.0)] * 10)
    assert keeps() == pytest.approx(weibull_min(1.8, scale=23.9).ppf(0.05), rel=0.03)


@pytest.mark.parametrize(("target", "costs"), [(0.0, None), (1.0, None), (0.05, Costs(-1.0)), (0.05, Costs(math.nan))])
def test_refusals(target: float, costs: Costs | None) -> None:
    with pytest.raises(CalculationFailed):
        advise(life("conventional", "open"), life("conventional", "leak"), target, costs)


def _modes(kind: str, severity: str, *modifiers: str) -> dict[str, Life]:
    return {mode: life(kind, mode, severity, modifiers) for mode in ("open", "leak")}


@pytest.mark.parametrize("severity", ["mild", "moderate", "severe"])
@pytest.mark.parametrize("spring", ["conventional", "bellows"])
def test_a_pilot_is_less_reliable_like_for_like(spring: str, severity: str) -> None:
    """Lives of the table: the pilot's life to failing to open is the shorter one in every severity."""
    opening = compare(_modes(spring, severity), _modes("pilot", severity), 5.0, names=("the spring valve", "the pilot valve"))[0]
    assert opening.verdict == "worse" and "less reliable" in opening.words and opening.same_risk < 5
    assert "sense or supply blocked" in opening.words


def test_a_pilot_against_a_chattering_valve() -> None:
    """Chatter halves the spring valve's life: 25.25 against 33.7 years in mild service turns it round, 11.95 against 8 does not."""
    names = ("the chattering valve", "the pilot valve")
    mild = compare(_modes("conventional", "mild", "chatter"), _modes("pilot", "mild"), 5.0, names=names)[0]
    moderate = compare(_modes("conventional", "moderate", "chatter"), _modes("pilot", "moderate"), 5.0, names=names)[0]
    assert mild.verdict == "better" and mild.same_risk == pytest.approx(5 * 33.7 / 25.25)
    assert moderate.verdict == "worse" and moderate.same_risk == pytest.approx(5 * 8 / 11.95)


def test_alike() -> None:
    leak = compare(_modes("conventional", "mild"), _modes("pilot", "mild"), 5.0, names=("a", "b"))[1]
    assert leak.mode == "leak" and leak.verdict == "alike" and leak.ratio == 1.0
    with pytest.raises(CalculationFailed):
        compare(_modes("conventional", "mild"), _modes("pilot", "mild"), 0.0, names=("a", "b"))
