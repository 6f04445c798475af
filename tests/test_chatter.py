"""Chatter of whole valves: draws, linear theory of many draws, verdict rule, sensitivities, and one valve end to end.

Expected values: tables 2.17 and 1.3 of the dynamics review, scipy distributions, the scalar linear theory, closed forms.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log, pi, sqrt

import numpy as np
import pytest
from scipy import stats

from quietseat import basis as choices
from quietseat.dynamics import linear as exact
from quietseat.dynamics.parameters import Estimate
from quietseat.dynamics.situation import Situation
from quietseat.march import dice, draws, linear, marchcase, preselect, sensitivities, verdict
from quietseat.march import job as jobs
from quietseat.march.chatter import Question, answer, chatter
from quietseat.march.linear import F
from quietseat.model import Dynamics
from quietseat.status import CalculationFailed, Status

BASIS = choices.make()
PARTS_A = Dynamics(
    seat_diameter=0.05, moving_mass=1.5, spring_rate=47.3e3, max_lift=0.0125, discharge_coefficient=0.7,
    effective_area_ratio=1.0, damping_ratio=0.0, restitution=0.5,
)  # fmt: skip
REF_A = Situation(
    kind="conventional", phase="gas", set_pressure=11e5, atmospheric=1e5, blowdown=0.07, relieving_pressure=12e5,
    molar_mass=0.028965, k=1.4, Z=1.0, temperature=293.15, pipes=((1.0, 0.0779, 0.0, 0.0),), vessel_volume=10.0,
    dynamics=PARTS_A,
)  # fmt: skip
REF_P = replace(
    REF_A, pipes=((1.0, 0.0525, 0.02, 0.0),), vessel_volume=2.0, blowdown_is_default=False,
    dynamics=Dynamics(
        seat_diameter=0.034, max_lift=9.18e-3, moving_mass=2.0, spring_rate=0.25 * pi / 4 * 0.034**2 * 1e6 / 9.18e-3,
        effective_area_ratio=1.2097, effective_area_knee=0.5, discharge_coefficient=0.85, damping_ratio=0.02,
        restitution=0.5,
    ),
)  # fmt: skip
UNKNOWN = replace(
    REF_A, blowdown_is_default=True, orifice="J", dynamics=Dynamics(), pipes=((1.5, 0.0525, 0.02, 0.8),),
    vessel_volume=5.0, least_flow=1.4,
)  # fmt: skip


@dataclass
class Told:
    """A run as the engine tells it."""

    verdict: str = "quiet"
    status: Status = Status.OK
    reason: str = ""
    frequency: float | None = 50.0
    seat_impacts: float = 0.0
    impact_energy: float = 0.0
    inlet_pressure_min: float | None = 9e5
    inlet_pressure_max: float | None = 11e5
    opening_time: float | None = 0.03
    cycle_period: float | None = None
    mean_flow_ratio: float | None = 1.0
    openings: int = 1
    simulated: float = 1.0
    times: object = None


def marcher(told: Told):
    return lambda cases, **_: [told for _ in cases]


# Draws


def test_draws_are_a_latin_hypercube_with_the_laws_of_section_5() -> None:
    unit = dice.hypercube(200, 7)
    for column in unit.T:  # one value in each of 200 strata
        assert sorted((column * 200).astype(int)) == list(range(200))
    span = Estimate(0.5, 1.0, 2.0, "", "", "")
    u = unit[:, 0]
    np.testing.assert_allclose(dice.lognormal(u, span), stats.lognorm(s=log(4) / (2 * 1.96)).ppf(u), rtol=1e-9)
    span = Estimate(0.1, 0.25, 0.45, "", "", "")
    law = stats.triang(c=0.15 / 0.35, loc=0.1, scale=0.35)
    np.testing.assert_allclose(dice.triangular(u, span), law.ppf(u), rtol=1e-9)
    span = Estimate(0.003, 0.02, 0.1, "", "", "")
    np.testing.assert_allclose(dice.log_uniform(u, span), stats.loguniform(0.003, 0.1).ppf(u), rtol=1e-9)


def test_a_stated_value_is_never_drawn() -> None:
    drawn = draws.draw(REF_A, 200, 1, as_built=True)
    assert (drawn.names, drawn.count) == ((), 1)
    part = replace(UNKNOWN, dynamics=Dynamics(moving_mass=2.2, damping_ratio=0.05, restitution=0.4))
    drawn = draws.draw(part, 200, 1)
    assert np.all(drawn.mass == 2.2) and np.all(drawn.damping_ratio == 0.05) and np.all(drawn.restitution == 0.4)
    assert np.all(drawn.friction_force == 0.0)  # a stated damping says what damps
    assert not {"moving mass", "damping", "friction", "restitution"} & set(drawn.names)


def test_same_seed_same_draws_and_all_of_them_certifiable() -> None:
    one, two = draws.draw(UNKNOWN, 200, 5), draws.draw(UNKNOWN, 200, 5)
    assert np.array_equal(one.mass, two.mass) and one.count == 200 and one.rejected > 0
    assert not np.array_equal(one.mass, draws.draw(UNKNOWN, 200, 6).mass)
    gauge = UNKNOWN.set_pressure - UNKNOWN.atmospheric
    ratio = one.spring_rate * one.max_lift / (one.seat_area * gauge)
    assert np.all((1 + ratio) / one.area_ratio <= 1.1 + 1e-12)  # full lift by 110 % of set
    # dynamics review 1.3: phi_m = (1 + beta xi)/(1 - BD)
    np.testing.assert_allclose(one.area_ratio, (1 + ratio * one.knee) / (1 - one.blowdown), rtol=1e-9)
    mass_mid = 0.15 + 2941 * 0.0341**2.2  # letter J, section 5
    assert np.quantile(one.mass, 0.5) == pytest.approx(mass_mid, rel=0.05)


def test_a_stated_blowdown_shifts_only_with_the_rings() -> None:
    drawn = draws.draw(replace(UNKNOWN, blowdown=0.08, blowdown_is_default=False), 200, 5)
    assert drawn.blowdown.min() >= 0.05 and drawn.blowdown.max() <= 0.11 and "ring setting" in drawn.names


def test_pilot_draws_stay_in_their_ranges() -> None:
    pilot = replace(UNKNOWN, kind="pilot", pilot_action="snap", pilot_sense="remote")
    drawn = draws.draw(pilot, 50, 3)
    assert drawn.pilot["dome_area_ratio"].min() >= 1.15 and drawn.pilot["dome_area_ratio"].max() <= 1.40
    ratio = drawn.pilot["fill_area"] / drawn.pilot["vent_area"]
    assert ratio.min() >= 0.3 and ratio.max() <= 0.7
    assert "seal friction" in drawn.names and np.all(drawn.spring_rate == 0)


# Cases


def test_loss_of_a_line_without_fittings_meets_the_full_loss() -> None:
    lossy = replace(REF_A, pipes=(), segments=((1.0, 0.004), (0.5, 0.002)), inlet_loss_full=3e4, full_flow=2.0)
    line = marchcase.setting(lossy).line
    density = 12e5 * 0.028965 / (8.314462618 * 293.15)
    assert line.resistance * 2.0**2 / density == pytest.approx(3e4, rel=1e-9)


def test_fittings_without_length_go_to_their_neighbour_on_its_bore() -> None:
    line = marchcase._merged(((0.0, 0.1, 0.0, 0.5), (2.0, 0.05, 0.02, 0.1), (0.0, 0.05, 0.0, 0.2)))
    assert (line.lengths, line.bores) == ((2.0,), (0.05,))
    assert line.losses[0] == pytest.approx(0.5 * (0.05 / 0.1) ** 4 + 0.1 + 0.2)


def test_large_vessel_is_cut_for_the_march_and_the_period_is_not() -> None:
    job = jobs.prepare(Question(replace(UNKNOWN, vessel_volume=500.0)), BASIS)
    case = jobs.build(job, 0, 0)
    assert 100 * job.at.line.volume <= case.vessel_volume < 50.0
    assert job.features is not None and job.features[0, 0, F["period"]] > 100


def test_zero_mass_and_lift_above_bore_are_refused_by_name() -> None:
    for change, name in (
        ({"moving_mass": 0.0}, "mass"), ({"max_lift": 0.06}, "max_lift"), ({"max_lift": 0.0}, "max_lift"),
        ({"spring_rate": 0.0}, "spring_rate"), ({"seat_diameter": -0.05}, "seat_diameter"),
        ({"restitution": 1.5}, "restitution"), ({"damping_ratio": -0.1}, "damping_ratio"),
    ):  # fmt: skip
        told = chatter(Question(replace(REF_A, dynamics=replace(PARTS_A, **change)), flow=2.0), BASIS)
        assert told.verdict == "unproven" and name in told.reason
    told = chatter(Question(replace(REF_A, pipes=((-1.0, 0.0779, 0.0, 0.0),)), flow=2.0), BASIS)
    assert told.status != Status.OK and "length" in told.reason


def test_library_vapour_has_the_density_of_the_library() -> None:
    from quietseat import fluids

    steam = replace(REF_A, phase="steam", fluid="steam", temperature=460.0, set_pressure=11e5)
    at = marchcase.setting(steam)
    state = fluids.state("Water", 11e5, temperature=460.0)
    assert at.fluid.gas_constant * at.fluid.temperature == pytest.approx(11e5 / state.density, rel=1e-9)
    assert state.sound_speed is not None
    assert at.sound_speed == pytest.approx(state.sound_speed, rel=1e-6)
    assert any("isentrope" in one.rule for one in at.assumptions)


# Linear theory


@pytest.mark.parametrize(
    ("length", "growth", "frequency"),
    [(0.9, -2.51, 95.31), (1.0, 5.95, 85.98), (1.2, 20.85, 72.38), (1.5, 37.75, None), (2.0, 50.57, None)],
)
def test_growth_of_ref_a(length: float, growth: float, frequency: float | None) -> None:
    """Table 2.17, exact column."""
    job = jobs.prepare(Question(replace(REF_A, pipes=((length, 0.0779, 0.0, 0.0),)), flow=2.0286), BASIS)
    assert job.middle_feature("growth") == pytest.approx(growth, abs=0.01)
    if frequency:
        assert job.middle_feature("frequency") == pytest.approx(frequency, abs=0.01)
    assert job.middle_feature("critical") == pytest.approx(0.9286, rel=1e-4)
    assert job.middle_feature("pressure") == pytest.approx(12.506e5, rel=1e-4)


def test_many_draws_agree_with_the_scalar_linear_theory() -> None:
    random = np.random.default_rng(3)
    for _ in range(40):
        a, mass, spring = random.uniform(250, 600), random.uniform(0.3, 10), random.uniform(1e4, 3e5)
        area, pipe = random.uniform(3e-4, 3e-3), random.uniform(2e-3, 8e-3)
        flow, pressure, lift = random.uniform(0.5, 5), random.uniform(5e5, 4e6), random.uniform(2e-3, 1e-2)
        gain_p, gain_x = 0.857 * flow / pressure, flow / lift
        coupled = sqrt((spring + area * gain_x / gain_p) / mass)
        length = random.uniform(0.8, 1.4) * pi * a / (2 * coupled)
        at = exact.Equilibrium(
            ((0.6 * length, pipe), (0.4 * length, 0.8 * pipe)), a, random.uniform(1, 50), gain_p, gain_x, area, mass,
            spring, 0.02 * 2 * sqrt(spring * mass),
        )  # fmt: skip
        growth, frequency = linear.growth(at)
        plain = exact.mode(at)
        assert growth >= plain[0] - 1e-6 * abs(plain[0])  # the fastest of several modes
        root = exact.root(at, complex(growth, 2 * pi * frequency))
        assert (root.real, root.imag / (2 * pi)) == pytest.approx((growth, frequency), rel=1e-5, abs=1e-6)


def test_static_curve_of_ref_p() -> None:
    """Review 1.3, example: reseat at 1 - BD = 93 % and full lift at 103.3 % of gauge set."""
    job = jobs.prepare(Question(REF_P, flow=0.5), BASIS)
    valve = linear.valve_of(job.at, 1.0)
    row = linear._columns(job.draws)[0]
    top, _, _, _ = linear._static(valve, row, 9.18e-3)
    knee, _, _, _ = linear._static(valve, row, 0.5 * 9.18e-3)
    assert (top - 1e5) / 10e5 == pytest.approx(1.033, abs=5e-4)
    assert (knee - 1e5) / 10e5 == pytest.approx(0.93, abs=1e-4)


# Verdict rule, section 9


def shares(**given: float) -> dict[str, float]:
    out = dict.fromkeys(("quiet", "flutters", "chatters", "cycles", "unproven"), 0.0)
    out.update(given)
    return out


@pytest.mark.parametrize(
    ("given", "ratio", "extra", "word"),
    [
        (shares(quiet=1.0), 0.6, {}, "quiet"),
        (shares(quiet=1.0), 0.75, {}, "unproven"),
        (shares(quiet=0.97, chatters=0.03), 0.6, {}, "quiet"),
        (shares(quiet=0.94, chatters=0.06), 0.6, {}, "unproven"),
        (shares(quiet=0.94, unproven=0.06), 0.6, {}, "unproven"),  # failed runs are never quiet
        (shares(quiet=0.45, chatters=0.55), 0.6, {}, "chatters"),
        (shares(quiet=0.45, chatters=0.2, flutters=0.35), 0.6, {}, "flutters"),
        (shares(quiet=1.0), 1.6, {}, "chatters"),
        (shares(quiet=1.0), 1.6, {"on_stop": True}, "quiet"),
        (shares(quiet=0.4, cycles=0.6), 0.6, {"harmful_cycling": True}, "cycles"),
        (shares(quiet=0.4, cycles=0.6), 0.6, {}, "quiet"),
        (shares(quiet=1.0), 0.6, {"least_known": False}, "unproven"),
        (shares(chatters=1.0), 2.0, {"never_judged": "two-phase"}, "unproven"),
        (shares(quiet=1.0), 0.6, {"never_quiet": "cavitates"}, "unproven"),
        (shares(chatters=1.0), 0.6, {"never_quiet": "cavitates"}, "chatters"),
        (shares(flutters=1.0), 0.6, {"single": True}, "flutters"),
        (shares(quiet=1.0), 9.0, {"single": True}, "quiet"),
    ],
)
def test_verdict_rule(given: dict[str, float], ratio: float, extra: dict[str, object], word: str) -> None:
    seen = verdict.Evidence(False, given, ratio, False, False, True, "", "")
    got, reason = verdict.judge(replace(seen, **extra), BASIS)
    assert got == word
    assert bool(reason) == (word == "unproven")


# Sensitivities


def test_first_order_shares_of_a_linear_score() -> None:
    """y = 2 u1 + u2 with uniform u: shares 4/5 and 1/5 (variances add)."""
    unit = {name: dice.hypercube(400, 2)[:, index] for index, name in enumerate(("one", "two", "three"))}
    got = dict(sensitivities.first_order(unit, 2 * unit["one"] + unit["two"]))
    assert got["one"] == pytest.approx(0.8, abs=0.05) and got["two"] == pytest.approx(0.2, abs=0.05)
    assert got.get("three", 0.0) < 0.04
    assert sensitivities.first_order(unit, np.zeros(400)) == ()


# End to end with a stand-in for the march


def test_failed_runs_count_as_unproven_never_quiet() -> None:
    bad = Told(verdict="unproven", status=Status.NOT_CONVERGED, reason="diverged")
    told = answer([Question(UNKNOWN, samples=60)], BASIS, engine="local", march=marcher(bad))[0]
    job = jobs.prepare(Question(UNKNOWN, samples=60), BASIS)
    for index, flow in enumerate(told.flows):
        if job.flows[index].counted:
            assert flow.unproven == pytest.approx(np.mean(job.codes[:, index] == preselect.DOUBTFUL))
    assert sum(flow.unproven for flow in told.flows) > 0 and told.verdict != "quiet"


def test_interval_is_clopper_pearson() -> None:
    told = answer([Question(UNKNOWN, samples=60)], BASIS, engine="local", march=marcher(Told("chatters")))[0]
    assert told.chatter_probability is not None and told.interval is not None
    hits = round(60 * told.chatter_probability)
    low = stats.beta.ppf(0.025, hits, 61 - hits) if hits else 0.0
    high = stats.beta.ppf(0.975, hits + 1, 60 - hits) if hits < 60 else 1.0
    assert told.interval == pytest.approx((low, high), abs=1e-6)


def test_flows_counted_are_those_at_or_above_the_smallest_credible_one() -> None:
    job = jobs.prepare(Question(UNKNOWN, samples=20), BASIS)
    names = {flow.name: flow.counted for flow in job.flows}
    assert names["25 %"] is False and names["required"] and names["rated"]
    stated = jobs.prepare(Question(UNKNOWN, flow=1.0, samples=20), BASIS)
    assert [(flow.name, flow.value) for flow in stated.flows] == [("stated", 1.0)]


def test_what_cannot_be_built_is_a_status_and_stays_in_its_place() -> None:
    fleet = [Question(replace(UNKNOWN, orifice=None), samples=8), Question(UNKNOWN, samples=8)]
    told = answer(fleet, BASIS, engine="local", march=marcher(Told()))
    assert (told[0].verdict, told[0].status) == ("unproven", Status.NOT_COMPUTED) and "seat bore" in told[0].reason
    assert told[1].samples == 8


@pytest.mark.parametrize("phase", ["two-phase", "modulating"])
def test_indicative_only_is_never_better_than_unproven(phase: str) -> None:
    if phase == "two-phase":
        one = replace(UNKNOWN, phase="two-phase", density=40.0, sound_speed=150.0)
    else:
        one = replace(UNKNOWN, kind="pilot", pilot_action="modulating", pilot_sense="remote")
    told = answer([Question(one, samples=8)], BASIS, engine="local", march=marcher(Told()))[0]
    assert told.verdict == "unproven" and told.reason


def test_missing_line_is_not_a_crash() -> None:
    with pytest.raises(CalculationFailed):
        jobs.prepare(Question(replace(UNKNOWN, pipes=())), BASIS)


# The real march


@pytest.mark.parametrize(("length", "word"), [(0.9, "quiet"), (1.0, "flutters"), (1.5, "chatters")])
def test_ref_a_marched(length: float, word: str) -> None:
    """Review 2.17: dies out at 0.9 m, flutters at 1 m, chatters at 1.5 m."""
    question = Question(
        replace(REF_A, pipes=((length, 0.0779, 0.0, 0.0),)), flow=2.0286, start="equilibrium", cells=40, duration=4.0
    )
    told = chatter(question, BASIS)
    assert told.verdict == word
    assert told.critical_length == pytest.approx(0.9286, rel=0.02)
    assert told.drawn == () and told.samples == 1
    if word == "flutters":
        assert told.frequency == pytest.approx(85.98, rel=0.03)


@pytest.mark.parametrize(("length", "word"), [(1.5, "quiet"), (2.0, "chatters")])
def test_ref_p_marched(length: float, word: str) -> None:
    """Review 2.17: one clean opening up to 1.5 m, chatter from 2 m at 0.6 of the flow at 110 % of set."""
    psi = 0.684731  # 1.4
    rated = 0.85 * pi / 4 * 0.034**2 * 12e5 * psi / sqrt(287.05 * 293.15)
    told = chatter(Question(replace(REF_P, pipes=((length, 0.0525, 0.02, 0.0),)), flow=0.6 * rated, cells=40), BASIS)
    assert (told.verdict, told.drawn) == (word, ())


def test_plain_samples_agree_with_the_march() -> None:
    """The pre-selection against full marching on a few random valves (the bench does a hundred)."""
    import sys
    from pathlib import Path

    sys.path.insert(0, str(Path(__file__).parent.parent / "bench"))
    import preselect as bench

    found, said, _ = bench.compare(12, 8, seed=5)
    plain = np.concatenate([before.ravel() for before in said])
    marched = np.concatenate([job.codes.ravel() for job in found])
    sure = plain != preselect.DOUBTFUL
    assert sure.mean() > 0.5
    assert np.mean(plain[sure] == marched[sure]) >= 0.95
