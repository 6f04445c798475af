"""Bayes on a register's history: closed forms, general libraries, simulated fleets; and which look a history holds."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from scipy.stats import beta as beta_distribution
from scipy.stats import gamma as gamma_distribution
from valves_sample import ATM, BAR, BASIS, SOUND, bent

from quietseat.basis import make
from quietseat.formula import Sheet
from quietseat.model import Event, Location
from quietseat.reliability import Learned, Look, as_left, learn, learn_valve, observe, of_pool
from quietseat.reliability.observed import stated_interval, when
from quietseat.reliability.posterior import grid
from quietseat.status import CalculationFailed


def learned(looks: tuple[Look, ...], eta: float = 10.0, shape: float = 1.8, weight: float = 2.0, modifier: float = 1.0) -> Learned:
    return Learned("open", "conventional", "moderate", eta, shape, weight, modifier, looks)


# --- the distribution ---------------------------------------------------------------------------------------


def test_no_history_leaves_the_table() -> None:
    found = learned(())
    assert found.mean_factor() == 1.0 and found.eta_at_mean() == pytest.approx(10.0) and found.conjugate
    assert "the table as it stands" in found.words()


def test_conjugate_case_against_scipy() -> None:
    """Ages seen to work and failures on a known day: gamma (weight + failures, weight + sum of (age/eta)^beta)."""
    found = learned((Look(4.0), Look(8.0), Look(3.0, 3.0)))
    oracle = gamma_distribution(3.0, scale=1 / (2 + 0.4**1.8 + 0.8**1.8 + 0.3**1.8))
    assert found.factor(0.05) == pytest.approx(oracle.ppf(0.05), rel=1e-10)
    assert found.mean_factor() == pytest.approx(oracle.mean(), rel=1e-12)
    assert found.eta() == pytest.approx(oracle.expect(lambda x: 10 * x ** (-1 / 1.8)), rel=1e-6)
    low, high = found.eta_interval()
    assert (low, high) == pytest.approx([10 * oracle.ppf(share) ** (-1 / 1.8) for share in (0.95, 0.05)], rel=1e-10)
    assert found.within(6.0) == pytest.approx(oracle.expect(lambda x: -math.expm1(-x * 0.6**1.8)), rel=1e-6)


@pytest.mark.parametrize(("shape", "rate"), [(1.0, 1.0), (2.0, 5.5), (40.0, 12.0), (3000.0, 2500.0)])
def test_the_grid_gives_the_conjugate_case(shape: float, rate: float) -> None:
    factors, chances, quantile = grid(shape, rate, ())
    oracle = gamma_distribution(shape, scale=1 / rate)
    assert float(chances @ factors) == pytest.approx(shape / rate, rel=1e-9)
    assert float(chances @ factors**2) == pytest.approx(shape * (shape + 1) / rate**2, rel=1e-9)
    assert [quantile(share) for share in (0.05, 0.5, 0.95)] == pytest.approx(oracle.ppf([0.05, 0.5, 0.95]), rel=1e-6)


@pytest.mark.parametrize(("passed", "failed"), [(0, 1), (5, 3), (40, 1), (0, 30), (200, 100)])
def test_found_failed_against_the_beta_distribution(passed: int, failed: int) -> None:
    """All looks at one age, weight 1: the chance to work is beta before and after (conjugate to a count of failures)."""
    w = 0.6**1.8
    found = learned(tuple([Look(6.0)] * passed + [Look(0.0, 6.0)] * failed), weight=1.0)
    oracle = beta_distribution(1 / w + passed, 1 + failed)
    assert found.within(6.0) == pytest.approx(1 - oracle.mean(), rel=1e-9)
    assert found.within_interval(6.0) == pytest.approx((1 - oracle.ppf(0.95), 1 - oracle.ppf(0.05)), rel=1e-5)
    assert not found.conjugate


def test_found_failed_by_fractions() -> None:
    """Two failures between looks: the product of differences of exponentials, expanded by hand into four gammas."""
    found = learned((Look(5.0, 10.0), Look(0.0, 10.0), Look(10.0)), shape=2.0)
    base, windows = Fraction(2) + Fraction(1, 4) + 1, (Fraction(3, 4), Fraction(1))

    def moment(order: int) -> Fraction:  # of gammas of shape 2, signs by the number of windows taken
        terms = [(1, base), (-1, base + windows[0]), (-1, base + windows[1]), (1, base + sum(windows))]
        return sum((sign * math.factorial(1 + order) / rate ** (2 + order) for sign, rate in terms), Fraction(0))

    assert found.mean_factor() == pytest.approx(float(moment(1) / moment(0)), rel=1e-9)


def test_many_failures_against_what_was_simulated() -> None:
    """5,000 valves of a known life, each looked at once: the interval holds it and is narrow."""
    rng = np.random.default_rng(3)
    ages, lives = rng.uniform(1, 10, 5000), 12.0 * rng.weibull(1.8, 5000)
    found = learned(tuple(Look(age) if life > age else Look(0.0, age) for age, life in zip(ages, lives)), eta=23.9)
    low, high = found.eta_interval()
    assert low < 12.0 < high and high - low < 1.0


def test_intervals_hold_what_they_promise() -> None:
    """Lives drawn as the table's distribution says, ten looks each: nine in ten 90 % intervals hold the life drawn.

    600 fleets: the share's standard error is 1.2 %.
    """
    rng, held = np.random.default_rng(11), 0
    for factor in rng.gamma(2.0, 0.5, 600):
        eta = 10.0 * factor ** (-1 / 1.8)
        ages, lives = rng.uniform(1, 8, 10), eta * rng.weibull(1.8, 10)
        low, high = learned(tuple(Look(a) if b > a else Look(0.0, a) for a, b in zip(ages, lives))).eta_interval()
        held += low <= eta <= high
    assert held / 600 == pytest.approx(0.90, abs=0.04)


def test_modifiers_of_the_looks() -> None:
    """A look at half the life and at half the age says the same; the modifier of the valve scales its life."""
    one, half = learned((Look(0.0, 6.0),)), learned((Look(0.0, 3.0, scale=0.5),))
    assert half.eta() == pytest.approx(one.eta(), rel=1e-12)
    assert replace(one, modifier=0.5).eta() == pytest.approx(one.eta() / 2, rel=1e-12)
    assert replace(one, modifier=0.5).within(2.0) == pytest.approx(one.within(4.0), rel=1e-12)


def test_what_follows_agrees_with_itself() -> None:
    for found in (learned((Look(5.0),)), learned((Look(5.0), Look(0.0, 5.0)))):
        assert found.within(found.reaches(0.05)) == pytest.approx(0.05, rel=1e-9)
        assert found.later(0.0, 3.0) == pytest.approx(found.within(3.0), rel=1e-12)
        low, high = found.within_interval(5.0)
        assert low < found.within(5.0) < high
        assert found.life_at(0.05).within(5.0) == pytest.approx(low, rel=1e-9)
        times = np.linspace(0, 6, 4001)
        mean = np.trapezoid([found.within(float(t)) for t in times[:: 40]], times[::40]) / 6
        assert found.hidden(6.0) == pytest.approx(mean, rel=1e-3)


def test_steps() -> None:
    """The sheet ends with the same probability, closed form or grid."""
    for looks, symbols in (((Look(5.0),), ["shape", "rate", "exposure", "P_f"]), ((Look(0.0, 5.0),), ["exposure", "grid", "P_f"])):
        sheet, found = Sheet(), learned(looks)
        assert found.record(4.0, sheet) == pytest.approx(found.within(4.0), rel=1e-12)
        assert [step.symbol for step in sheet.steps()][-len(symbols) :] == symbols


def test_against_a_survival_library() -> None:
    library = pytest.importorskip("lifelines", reason="the library lifelines is not installed: an oracle less")
    rng = np.random.default_rng(5)
    ages, lives = rng.uniform(2, 14, 4000), 12.0 * rng.weibull(1.8, 4000)
    upper = np.where(lives < ages, ages, np.inf)
    lower = np.where(lives < ages, 0.0, ages)
    fitted = library.WeibullFitter().fit_interval_censoring(lower, upper)
    looks = tuple(Look(0.0, float(b)) if math.isfinite(b) else Look(float(a)) for a, b in zip(lower, upper))
    found = learned(looks, shape=float(fitted.rho_), weight=1.0)
    assert found.eta() == pytest.approx(float(fitted.lambda_), rel=0.01)


def test_refusals() -> None:
    with pytest.raises(CalculationFailed, match="at least 1"):
        learned((), weight=0.5)
    with pytest.raises(CalculationFailed, match="negative"):
        learned(()).within(-1.0)
    for look in (Look(-1.0), Look(5.0, 4.0), Look(0.0, 0.0), Look(math.nan)):
        with pytest.raises(CalculationFailed, match="age at which"):
            learned((look,))


# --- what a history holds -----------------------------------------------------------------------------------


def test_dates() -> None:
    assert when("2021-04-20") - when("2020-04-20") == pytest.approx(1.0, abs=0.003)  # type: ignore[operator]
    assert when("2021") == when("2021-07-01") and when("2021-04") == when("2021-04-15")
    assert when(None) is None and when("TA2019") is None and when("2021-02-31") is None


def place(*events: Event, **change: object) -> Location:
    return bent(events=events, **change)  # type: ignore[arg-type]


def pop(date: str, bar: float, note: str = "as found") -> Event:
    return Event("pop", date, ATM + bar * BAR, note)


def test_pops_by_the_stuck_ratio() -> None:
    """Set 10 barg, stuck ratio 1.3: 13 barg is a failure to open, 12.9 barg is none."""
    seen = observe(place(pop("2015-01-01", 10.1), pop("2020-01-01", 12.9), pop("2024-01-01", 13.0)), "open", BASIS)
    assert [(round(look.worked, 1), look.failed and round(look.failed, 1), look.assumed) for look in seen.looks] == [
        (5.0, None, True), (5.0, None, False), (0.0, 4.0, False),
    ]  # fmt: skip
    assert seen.silent == ()


def test_a_pop_is_judged_by_its_cold_differential_test_pressure() -> None:
    low = place(pop("2020-01-01", 11.8), valve={"cdtp": ATM + 9.0 * BAR})
    assert observe(low, "open", BASIS).looks[0].failed is not None
    assert observe(place(pop("2020-01-01", 11.8)), "open", BASIS).looks[0].failed is None


def test_a_visit_without_a_result_is_silent() -> None:
    """A bare overhaul, a pop after cleaning, a last test without a reading: neither a pass nor a failure."""
    cleaned, tested = pop("2020-01-01", 10, "popped after cleaning"), Event("other", "2020-01-01", None, "last test")
    for event in (Event("overhaul", "2020-01-01"), cleaned, tested):
        seen = observe(place(event), "open", BASIS)
        assert seen.looks == () and len(seen.silent) == 1
    assert as_left(pop("2020-01-01", 10, "cleaned, then popped"))


def test_leaks_between_visits() -> None:
    """A clean reading at 1 year, 800 ppm at 2 years, 900 ppm at 3: one life, failed between the first and the second."""
    history = (
        Event("overhaul", "2020-01-01"), Event("leak", "2021-01-01", 30.0), Event("leak", "2022-01-01", 800.0),
        Event("leak", "2023-01-01", 900.0),
    )  # fmt: skip
    (look,) = observe(place(*history), "leak", BASIS).looks
    assert (look.worked, look.failed) == (pytest.approx(1.0, abs=0.01), pytest.approx(2.0, abs=0.01))
    assert observe(place(*history), "open", BASIS).looks == ()


def test_a_clean_survey_is_a_clean_look() -> None:
    """Overhaul, clean survey after 2 years, passing after 3: failed between the two; nothing of opening follows."""
    here = place(Event("overhaul", "2020-01-01"), Event("leak", "2023-01-01", None, "passing"))
    here = replace(here, history=replace(here.history, last_clean_survey="2022-01-01"))
    (look,) = observe(here, "leak", BASIS).looks
    assert (look.worked, look.failed) == (pytest.approx(2.0, abs=0.01), pytest.approx(3.0, abs=0.01))
    assert observe(here, "open", BASIS).looks == ()


def test_what_is_found_on_the_day_of_a_visit_ends_the_life_before_it() -> None:
    history = (Event("overhaul", "2018-01-01"), Event("leak", "2022-01-01", None, "passing"), Event("overhaul", "2022-01-01"))
    seen = observe(place(*history), "leak", BASIS)
    assert [look.failed for look in seen.looks] == [pytest.approx(4.0, abs=0.01)]


def test_a_lift_in_service_shows_that_it_opens() -> None:
    seen = observe(place(Event("overhaul", "2018-01-01"), Event("lift", "2020-01-01"), Event("stuck", "2021-01-01")), "open", BASIS)
    assert [(round(look.worked), round(look.failed or 0)) for look in seen.looks] == [(2, 3)]


def test_an_undated_failure_has_an_assumed_age_and_never_doubles_a_dated_one() -> None:
    (look,) = observe(place(Event("stuck", None, None, "seized")), "open", make({"interval_spring_years": 4})).looks
    assert look.failed == 4.0 and look.assumed
    both = observe(place(Event("stuck", "2020-01-01"), Event("stuck", None, None, "seized")), "open", BASIS)
    assert sum(look.failed is not None for look in both.looks) == 1


def test_one_life_before_the_first_visit() -> None:
    """Readings on both sides of a lone date of the same life: one failure, not two."""
    tested = Event("other", "2024-04-22", None, "last test")
    history = (Event("leak", "2024-03-11", None, "passing"), Event("leak", "2024-04-22", 2300.0), tested)
    assert len(observe(place(*history), "leak", BASIS).looks) == 1


def test_dates_of_one_visit() -> None:
    """Out on the 1st, on the bench three weeks later: one visit, the failure belongs to the five years before it."""
    history = (Event("overhaul", "2018-01-01"), Event("other", "2023-01-01", None, "last test"), Event("stuck", "2023-01-22"))
    seen = observe(place(*history), "open", BASIS)
    assert [look.failed for look in seen.looks] == [pytest.approx(5.06, abs=0.01)]
    assert len(seen.silent) == 1  # the overhaul of 2018


def test_stated_interval() -> None:
    dates = (Event("other", "2021-01-01", None, "last test"), Event("other", "2024-01-01", None, "next due"))
    assert stated_interval(place(*dates), BASIS) == pytest.approx(3.0, abs=0.01)
    assert stated_interval(place(*dates, Event("other", None, 2.0, "interval")), BASIS) == 2.0
    assert stated_interval(SOUND, BASIS) == BASIS.interval_spring_years


# --- the fleet ----------------------------------------------------------------------------------------------


def test_pooled_and_alone() -> None:
    """Three valves of one kind: the pool has all looks, each valve its own; the unknown kind is named and left out."""
    stuck = place(Event("overhaul", "2018-01-01"), Event("stuck", "2023-01-01"))
    good = place(Event("overhaul", "2018-01-01"), pop("2023-01-01", 10.0))
    silent = place(Event("overhaul", "2018-01-01"), Event("overhaul", "2023-01-01"))
    places = [replace(one, tag=f"PSV-{n}") for n, one in enumerate((stuck, good, silent), 1)]
    lost = replace(bent(valve={"kind": None}), tag="PSV-9", row=12)
    fleet = learn([*places, lost], BASIS)
    pool = fleet.pools["conventional", "moderate", "open"]
    assert (pool.valves, len(pool.learned.looks), pool.learned.failures) == (3, 2, 1)
    assert len(fleet.valves["PSV-1"]["open"].looks) == 1 and fleet.valves["PSV-3"]["open"].looks == ()
    assert pool.if_silent_passed.eta() > pool.learned.eta()
    assert "left out" in pool.words() and "had they all been passes" in pool.words()
    assert [problem.value for problem in fleet.problems] == ["PSV-9"]
    alone = learn_valve(places[0], "open", BASIS)
    assert alone.looks == fleet.valves["PSV-1"]["open"].looks
    assert of_pool(pool.learned, alone).looks == pool.learned.looks


def test_pooling_takes_the_modifiers_out() -> None:
    """A chattering valve found stuck at 5 years counts in the pool as an unmodified one found stuck at 10."""
    history = (Event("overhaul", "2018-01-01"), Event("stuck", "2023-01-01"))
    shaken = learn([place(*history, Event("chatter"))], BASIS).pools["conventional", "moderate", "open"]
    quiet = learn([place(Event("overhaul", "2013-01-01"), Event("stuck", "2023-01-01"))], BASIS)
    assert shaken.learned.eta() == pytest.approx(quiet.pools["conventional", "moderate", "open"].learned.eta(), rel=1e-3)


def test_an_empty_history_and_an_empty_register() -> None:
    fleet = learn([SOUND], BASIS)
    assert fleet.pools["conventional", "moderate", "open"].learned.mean_factor() == 1.0
    assert learn([], BASIS).pools == {}


def test_the_weight_is_the_choice_of_the_basis() -> None:
    """A heavier table moves less: 1 failure in 1 look at half of eta."""
    history = place(Event("overhaul", "2018-01-01"), Event("stuck", "2023-01-01"))
    light, heavy = (learn_valve(history, "open", make({"reliability_weight": weight})).mean_factor() for weight in (1, 50))
    assert light > 1.5 and heavy == pytest.approx(1.02, abs=0.01)
