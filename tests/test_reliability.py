"""Weibull failure probabilities of API RP 581 against the recomputed table of the module."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import weibull_min
from valves_sample import ATM, BAR, BASIS, SOUND, bent

from quietseat.formula import Sheet
from quietseat.model import Event
from quietseat.reliability import Life, expected_failures, failure, renewals, setting, yearly_failures
from quietseat.status import CalculationFailed

# Recomputed from the remembered lives (eta, beta memory-md): probability after 1, 2, 3 and 10 years.
PRINTED = {
    ("conventional", "open", "mild"): (0.0009, 0.0030, 0.0062, 0.0528),
    ("conventional", "open", "moderate"): (0.0033, 0.0114, 0.0236, 0.1881),
    ("conventional", "open", "severe"): (0.0057, 0.0198, 0.0405, 0.3034),
    ("pilot", "open", "mild"): (0.0018, 0.0062, 0.0128, 0.1062),
    ("pilot", "open", "moderate"): (0.0234, 0.0792, 0.1573, 0.7756),
    ("pilot", "open", "severe"): (0.0996, 0.3059, 0.5313, 0.9987),
    ("conventional", "leak", "mild"): (0.0102, 0.0306, 0.0578, 0.3353),
    ("pilot", "leak", "moderate"): (0.0124, 0.0371, 0.0697, 0.3910),
    ("conventional", "leak", "severe"): (0.0162, 0.0482, 0.0902, 0.4775),
    ("bellows", "leak", "mild"): (0.0118, 0.0353, 0.0664, 0.3759),
    ("bellows", "leak", "moderate"): (0.0146, 0.0435, 0.0815, 0.4422),
    ("bellows", "leak", "severe"): (0.0199, 0.0591, 0.1100, 0.5505),
}


@pytest.mark.parametrize("case", PRINTED, ids="-".join)
def test_table(case: tuple[str, str, str]) -> None:
    for years, expected in zip((1, 2, 3, 10), PRINTED[case], strict=True):
        assert failure(*case, time=years).probability == pytest.approx(expected, abs=6e-5)


# Check case 22: at 5 years.
@pytest.mark.parametrize(
    ("case", "expected"),
    [(("conventional", "open", "severe"), 0.0986), (("pilot", "open", "moderate"), 0.3489),
     (("bellows", "leak", "severe"), 0.2319)],
)  # fmt: skip
def test_five_years(case: tuple[str, str, str], expected: float) -> None:
    found = failure(*case, time=5)
    assert found.probability == pytest.approx(expected, abs=6e-5)
    assert found.confidence == "memory-md"


def test_modifiers() -> None:
    """Section 8: chatter halves both lives; closed discharge 0.75 for conventional valves only; soft seat 1.25 on leaks."""
    assert failure("conventional", "open").eta == 23.9
    assert failure("conventional", "open", modifiers=["chatter"]).eta == pytest.approx(11.95)
    assert failure("conventional", "leak", modifiers=["chatter"]).eta == pytest.approx(7.75)
    assert failure("conventional", "open", modifiers=["close-to-set"]).eta == 23.9
    assert failure("conventional", "leak", modifiers=["close-to-set", "vibration"]).eta == pytest.approx(
        15.5 * 0.5 * 0.8
    )
    assert failure("conventional", "leak", modifiers=["soft-seat"]).eta == pytest.approx(15.5 * 1.25)
    assert failure("conventional", "open", discharge="flare").eta == pytest.approx(23.9 * 0.75)
    assert failure("bellows", "open", discharge="flare").eta == 23.9
    assert failure("conventional", "open", discharge="atmosphere").eta == 23.9
    assert "chatter 0.5" in failure("conventional", "open", modifiers=["chatter"]).words


def test_a_pilot_is_not_flattered() -> None:
    """The life of a pilot failing to open is the shorter one: the words say so."""
    pilot, spring = (failure(kind, "open", time=5) for kind in ("pilot", "conventional"))
    assert pilot.probability > 5 * spring.probability
    assert "clean service only" in pilot.words and "clean service only" not in spring.words


def test_start_and_refusals() -> None:
    assert failure("pilot", "open", time=0).probability == 0.0
    for case, change in (
        (("spring", "open"), {}), (("pilot", "burst"), {}), (("pilot", "open", "awful"), {}),
        (("pilot", "open"), {"modifiers": ["rust"]}), (("pilot", "open"), {"time": -1}),
    ):  # fmt: skip
        with pytest.raises(CalculationFailed):
            failure(*case, **change)


def test_steps_name_their_tables() -> None:
    sheet = Sheet()
    failure("conventional", "leak", modifiers=["chatter"], sheet=sheet)
    assert [step.symbol for step in sheet.steps()] == ["eta", "F_env", "eta_mod", "P_f"]


# --- closed forms and general libraries ---------------------------------------------------------------------


def _life(eta: float, beta: float) -> Life:
    return Life("open", "conventional", "moderate", eta, beta, 1.0, "computed")


@pytest.mark.parametrize(("eta", "beta"), [(23.9, 1.8), (15.5, 1.6), (3.5, 1.8), (10.0, 1.0)])
def test_weibull_against_scipy(eta: float, beta: float) -> None:
    """Expected values: scipy.stats.weibull_min and numerical integration."""
    oracle, found = weibull_min(beta, scale=eta), _life(eta, beta)
    assert found.mean == pytest.approx(oracle.mean(), rel=1e-12)
    assert found.reaches(0.05) == pytest.approx(oracle.ppf(0.05), rel=1e-12)
    assert found.within(4.0) == pytest.approx(oracle.cdf(4.0), rel=1e-12)
    assert found.later(4.0, 2.0) == pytest.approx(1 - oracle.sf(6.0) / oracle.sf(4.0), rel=1e-12)
    assert found.hidden(5.0) == pytest.approx(quad(oracle.cdf, 0, 5)[0] / 5, rel=1e-9)


def test_weibull_against_a_reliability_library() -> None:
    library = pytest.importorskip("reliability.Distributions", reason="the library reliability is not installed: an oracle less")
    oracle, found = library.Weibull_Distribution(alpha=23.9, beta=1.8), _life(23.9, 1.8)
    assert found.mean == pytest.approx(oracle.mean, rel=1e-6)
    assert found.within(5.0) == pytest.approx(float(oracle.CDF(5.0, show_plot=False)), rel=1e-6)


def test_renewals_against_a_simulation() -> None:
    """Lives drawn one after another and counted: 200,000 valves, standard error about 0.002."""
    rng, time, number = np.random.default_rng(7), 12.0, 200_000
    at, count = np.zeros(number), np.zeros(number)
    while (at < time).any():
        at = at + 10.0 * rng.weibull(1.8, number)
        count += at < time
    assert renewals(_life(10.0, 1.8), time) == pytest.approx(count.mean(), abs=4 * count.std() / number**0.5)


def test_failures_over_a_horizon() -> None:
    """Hidden ones: at most one an interval; seen ones: more, as mended valves fail again; years sum to the horizon."""
    found = _life(8.0, 1.8)
    hidden = expected_failures(found, 12.0, 5.0, seen=False)
    assert hidden == pytest.approx(2 * found.within(5.0) + found.within(2.0), rel=1e-12)
    assert expected_failures(found, 12.0, 5.0, seen=True) > hidden
    for seen in (True, False):
        yearly = yearly_failures(found, 12, 5.0, seen=seen)
        assert len(yearly) == 12 and sum(yearly) == pytest.approx(expected_failures(found, 12.0, 5.0, seen=seen), rel=1e-9)
        assert yearly[5] == pytest.approx(yearly[0], rel=1e-9)  # as new after the overhaul
        assert all(value > 0 for value in yearly)
    assert expected_failures(found, 0.0, 5.0, seen=True) == 0.0
    for horizon, interval in ((-1.0, 5.0), (10.0, 0.0), (math.nan, 5.0), (10.0, math.inf)):
        with pytest.raises(CalculationFailed, match=r"horizon|interval"):
            expected_failures(found, horizon, interval, seen=True)


# --- severity and modifiers of a place ----------------------------------------------------------------------

CLEAN = {name: False for name in ("fouling", "polymerising", "corrosive", "hydrates", "viscous")}


@pytest.mark.parametrize(
    ("change", "severity"),
    [({}, "moderate"), ({"fouling": True}, "severe"), (CLEAN, "mild"), ({**CLEAN, "corrosive": None}, "moderate")],
)
def test_severity(change: dict[str, bool | None], severity: str) -> None:
    """Moderate is the default of API RP 581 (seen); clean only where all is known, not where nobody said."""
    assert setting(bent(service=change), BASIS).severity == severity


@pytest.mark.parametrize(
    ("change", "modifiers"),
    [
        ({}, ()), ({"vessel": {"operating_temperature": 273.15 + 93.1}}, ("warm",)),
        ({"vessel": {"operating_temperature": 273.15 + 261}}, ("hot",)),
        ({"vessel": {"operating_pressure": ATM + 9.1 * BAR}}, ("close-to-set",)),
        ({"vessel": {"operating_pressure": ATM + 9.1 * BAR}, "valve": {"kind": "pilot"}}, ()),
        ({"vessel": {"operating_pressure": ATM + 9.6 * BAR}, "valve": {"kind": "pilot"}}, ("close-to-set",)),
        ({"vessel": {"operating_pressure": None, "operating_temperature": None}}, ()),
        ({"service": {"pulsating": True}}, ("pulsating",)), ({"valve": {"seat": "soft"}}, ("soft-seat",)),
        ({"events": (Event("lift", None, 6.0, "lifts"),)}, ("many-lifts",)), ({"events": (Event("lift", None, 5.0, "lifts"),)}, ()),
        ({"events": (Event("chatter"),)}, ("chatter",)),
    ],
)  # fmt: skip
def test_modifiers_of_a_place(change: dict[str, Any], modifiers: tuple[str, ...]) -> None:
    """Limits as the table states them: 93 and 260 degC, 90 % (95 % for a pilot), more than 5 lifts a year."""
    assert setting(bent(**change), BASIS).modifiers == modifiers


def test_setting_of_an_unknown_kind_and_of_an_unstable_valve() -> None:
    with pytest.raises(CalculationFailed, match="kind of valve unknown"):
        setting(bent(valve={"kind": None}), BASIS)
    assert setting(SOUND, BASIS, chatters=True).life("open").eta == pytest.approx(23.9 / 2)
    assert setting(bent(outlet={"discharge_to": "flare"}), BASIS).life("open").eta == pytest.approx(23.9 * 0.75)
