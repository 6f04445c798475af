"""Closed-form and linear stability against closed forms and computed reference cases.

Sources of expected values: analytic results recomputed by hand (quarter wave, Joukowsky, simple wave), the
flutter reference case A of the dynamics review (linear theory and a non-linear code) and its tables.
"""

from __future__ import annotations

import dataclasses
import timeit
from dataclasses import dataclass, replace
from math import cos, pi, sqrt, tan

import pytest

from quietseat.dynamics import closed, linear
from quietseat.dynamics.parameters import moving_parts, ranges
from quietseat.dynamics.screening import Situation, equivalent_length, mach_of, screen
from quietseat.formula import R, Sheet
from quietseat.model import Dynamics
from quietseat.piping import sonic
from quietseat.sizing import gas
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table


@dataclass(frozen=True)
class Limits:
    """The choices a screening reads, at their defaults."""

    opening_time: str = "valve-frequency"
    critical_length_margin: float = 0.7
    critical_length_excess: float = 1.5
    cycling_utilisation: float = 0.3
    damaging_period: float = 1.0
    inlet_loss_limit: float = 0.03
    sense_area: float = 45e-6


BASIS = Limits()
AIR = R / 287.05  # kg/mol, air with R = 287.05 J/kg/K
A_AIR = sonic.sound_speed_gas(1.4, 1.0, 293.15, AIR)
PIPE = pi / 4 * 0.0779**2

# Reference case A (flutter, no pop): D 50 mm, 1.5 kg, 47.3 kN/m, x_max 12.5 mm, 10 barg, C 0.7 of the curtain.
SEAT = pi / 4 * 0.05**2
SQUEEZE = SEAT * 10e5 / 47.3e3


def reference_a(fraction: float) -> tuple[float, float, float]:
    """Lift, pressure and flow of reference case A in equilibrium."""
    lift = fraction * 0.0125
    pressure = closed.disc_pressure(1e5, 47.3e3, SQUEEZE, lift, SEAT)
    flux = gas.critical_flux(C=gas.coefficient(c=R**-0.5, k=1.4), P1=pressure, M=AIR, T=293.15, Z=1.0)
    return lift, pressure, 0.7 * pi * 0.05 * lift * flux


def equilibrium_a(fraction: float, length: float) -> linear.Equilibrium:
    lift, pressure, flow = reference_a(fraction)
    return linear.Equilibrium(
        ((length, PIPE),), A_AIR, 10.0, closed.gain_pressure(closed.exponent_choked(1.4), flow, pressure),
        closed.gain_lift(flow, lift), SEAT, 1.5, 47.3e3,
    )  # fmt: skip


# 2.17 of the dynamics review: mdot, p0, critical length in closed form and by the exact relation.
@pytest.mark.parametrize(
    ("fraction", "flow", "pressure", "closed_form", "exact"),
    [(0.25, 0.9532, 11.753e5, 0.6926, 0.6927), (0.50, 2.0286, 12.506e5, 0.9286, 0.9288)],
)
def test_reference_a(fraction: float, flow: float, pressure: float, closed_form: float, exact: float) -> None:
    lift, p0, mdot = reference_a(fraction)
    assert p0 == pytest.approx(pressure, rel=5e-5)
    assert mdot == pytest.approx(flow, abs=6e-5)
    coupled = closed.coupled_frequency(47.3e3, SEAT, p0, closed.exponent_choked(1.4), lift, 1.5)
    assert closed.critical_length(A_AIR, coupled) == pytest.approx(closed_form, rel=1e-4)
    assert linear.critical_length(equilibrium_a(fraction, 1.0), closed_form) == pytest.approx(exact, abs=6e-5)


@pytest.mark.parametrize(("fraction", "expected"), [(0.25, 0.6926), (0.50, 0.9286)])
def test_reference_a_through_screen(fraction: float, expected: float) -> None:
    """The same figures through the calculation: within 0.1 % (and the sound speed and frequency on the way)."""
    lift, pressure, flow = reference_a(fraction)
    p1 = 1.1 * 10e5 + 1e5
    situation = Situation(
        kind="conventional", phase="gas", set_pressure=11e5, atmospheric=1e5, blowdown=0.07, relieving_pressure=p1,
        full_flow=flow * 0.0125 / lift * p1 / pressure, least_flow=flow, molar_mass=AIR, k=1.4, Z=1.0,
        temperature=293.15, inlet_loss_full=0.0, inlet_length=0.5, pipe_area=PIPE, vessel_volume=10.0,
        dynamics=Dynamics(
            seat_diameter=0.05, moving_mass=1.5, spring_rate=47.3e3, max_lift=0.0125, effective_area_ratio=1.0,
            damping_ratio=0.0,
        ),
    )  # fmt: skip
    found = screen(situation, BASIS, Sheet())
    assert found.status is Status.OK
    assert found.critical_length == pytest.approx(expected, rel=1e-3)
    assert found.valve_frequency == pytest.approx(28.262, abs=1e-3)  # 2.17: 177.576 rad/s
    assert found.cycle_period is None  # no pop: every lift is an equilibrium


# 2.17: growth rate 1/s and frequency Hz at x/x_max = 0.5.
@pytest.mark.parametrize(
    ("length", "growth", "frequency"),
    [(0.9, -2.51, 95.31), (1.0, 5.95, 85.98), (1.2, 20.85, 72.38), (1.5, 37.75, None), (2.0, 50.57, None)],
)
def test_growth_rates(length: float, growth: float, frequency: float | None) -> None:
    found = linear.mode(equilibrium_a(0.5, length))
    assert found[0] == pytest.approx(growth, abs=0.006)
    if frequency is not None:
        assert found[1] == pytest.approx(frequency, abs=0.006)


def test_damping_hardly_matters() -> None:
    """2.17: zeta 0.1 lowers the growth at 1.2 m from 20.9 to 18.9 1/s."""
    damped = replace(equilibrium_a(0.5, 1.2), damping=closed.damping(0.1, 47.3e3, 1.5))
    assert linear.mode(damped)[0] == pytest.approx(18.9, abs=0.05)


def test_no_coupling_no_flutter() -> None:
    """A nozzle-limited lift (no gain with lift) cannot flutter: the quarter wave only loses energy."""
    assert linear.mode(replace(equilibrium_a(0.5, 2.0), gain_lift=0.0))[0] < 0
    with pytest.raises(CalculationFailed):
        linear.critical_length(replace(equilibrium_a(0.5, 1.0), gain_lift=0.0), 0.9286)


# 2.17: bare-vessel damping threshold at x = 6.25 mm, N s/m and zeta.
@pytest.mark.parametrize(
    ("volume", "damping", "zeta"),
    [(0.01, 219.5, 0.412), (0.1, 23.79, 0.0447), (1.0, 2.381, 0.0045), (10.0, 0.238, 0.00045)],
)
def test_bare_vessel(volume: float, damping: float, zeta: float) -> None:
    lift, pressure, flow = reference_a(0.5)
    found = closed.damping_needed(
        volume, A_AIR, 1.5, 47.3e3, SEAT, closed.gain_pressure(closed.exponent_choked(1.4), flow, pressure),
        closed.gain_lift(flow, lift),
    )  # fmt: skip
    assert found == pytest.approx(damping, abs=0.6 * 10 ** -(len(str(damping).partition(".")[2])))
    assert found / (2 * sqrt(47.3e3 * 1.5)) == pytest.approx(zeta, rel=0.012)


def test_liquid_closed_form() -> None:
    """LIQ-A: w_c = w_v sqrt((3 x + 2 x_e)/x) where the disc area is constant."""
    lift = 0.25 * 0.0125
    pressure = closed.disc_pressure(1e5, 47.3e3, SQUEEZE, lift, SEAT)
    found = closed.coupled_frequency(47.3e3, SEAT, pressure, closed.exponent_liquid(pressure, 1e5), lift, 1.5)
    assert found == pytest.approx(sqrt(47.3e3 / 1.5) * sqrt((3 * lift + 2 * SQUEEZE) / lift), rel=1e-12)


def test_subcritical_exponent_meets_the_choked_one() -> None:
    """At the critical ratio the flow stops caring about the back pressure: both forms agree."""
    for k in (1.1, 1.4, 1.67):
        at_choke = closed.exponent_subcritical(k, (2 / (k + 1)) ** (k / (k - 1)))
        assert at_choke == pytest.approx(closed.exponent_choked(k), rel=1e-12)
    # Small pressure difference: a gas is a liquid, d ln W / d ln p = p/(2 dp) to first order.
    assert closed.exponent_subcritical(1.4, 0.999) == pytest.approx(closed.exponent_liquid(1.0, 0.999), rel=2e-3)


# T2: open-closed pipe, air, a = 343.23198 m/s.
@pytest.mark.parametrize(("length", "hertz"), [(0.5, 171.61599), (1, 85.80799), (2, 42.90400), (5, 17.16160)])
def test_quarter_wave(length: float, hertz: float) -> None:
    assert pytest.approx(343.23198, abs=5e-6) == A_AIR
    assert closed.quarter_wave_frequency(length, A_AIR) == pytest.approx(hertz, abs=6e-6)
    assert sonic.wave_return(sonic.travel_time(length, A_AIR)) == pytest.approx(0.5 / hertz, rel=1e-6)


def test_joukowsky() -> None:
    """T3: 11.976 bar and 14.79036 bar."""
    assert closed.surge(998, 1200, 1) == pytest.approx(11.976e5, rel=1e-9)
    assert closed.surge(998, 1482, 1) == pytest.approx(14.79036e5, rel=1e-9)


# T5: Mach number behind a sudden choked opening, and the pressure left.
@pytest.mark.parametrize(("ratio", "mach", "left"), [(0.05, 0.02894974, 0.9603930), (0.1, 0.05798720, 0.9224566)])
def test_sudden_opening(ratio: float, mach: float, left: float) -> None:
    assert mach_of(ratio, 1.4) == pytest.approx(mach, abs=6e-9)
    assert 1 - closed.expansion_drop(1.0, mach, 1.4) == pytest.approx(left, abs=6e-8)


# 3.11: drop in % of p0 by line and orifice, C = 0.975 on the API effective area, air.
@pytest.mark.parametrize(
    ("letter", "bore", "percent"),
    [("D", 26.64, 9.5), ("E", 26.64, 16.4), ("F", 40.89, 11.2), ("G", 40.89, 17.7), ("H", 52.5, 16.8),
     ("J", 52.5, 26.3), ("K", 77.93, 17.8), ("L", 77.93, 26.5), ("M", 102.26, 20.0), ("P", 102.26, 33.3),
     ("Q", 154.05, 26.2), ("R", 154.05, 36.4), ("T", 202.7, 34.4)],
)  # fmt: skip
def test_drop_by_letter(letter: str, bore: float, percent: float) -> None:
    ratio = 0.975 * table("orifices").row(letter=letter)["area"] / (pi / 4 * (bore * 1e-3) ** 2)
    assert 100 * closed.expansion_drop(1.0, mach_of(ratio, 1.4), 1.4) == pytest.approx(percent, abs=0.06)


def test_ramped_outflow() -> None:
    """T6: 3 m, 77.9 mm, 3 kg/s over 20 ms, a 343 m/s: 188.833 kPa, wave return 17.493 ms, sudden 215.899 kPa."""
    assert closed.ramp_drop(3 / PIPE, 3, 0.020) == pytest.approx(188.833e3, abs=0.6)
    assert closed.sudden_drop(343, 3, PIPE) == pytest.approx(215.899e3, abs=0.6)
    assert sonic.wave_return(sonic.travel_time(3, 343)) == pytest.approx(17.493e-3, abs=6e-7)


# 3.12: opening time of the correlation for d = 50 mm, ms.
@pytest.mark.parametrize(
    ("ratio", "milliseconds", "digit"), [(2, 31, 0.5), (5, 18, 0.5), (11, 16.5, 0.06), (50, 15.5, 0.06)]
)
def test_cremers(ratio: float, milliseconds: float, digit: float) -> None:
    assert 1e3 * closed.opening_time_cremers(0.05, ratio, 1.0, 1.0) == pytest.approx(milliseconds, abs=digit)


def test_cycle_period() -> None:
    """3.7 against the mass an isentropic vessel of air gains and loses between reseat and set."""
    volume, inflow, valve = 2.0, 0.9, 2.2
    at_set = volume * 11e5 / (287.05 * 293.15)
    swing = at_set * (1 - (10.5e5 / 11e5) ** (1 / 1.4))  # 5 % of 10 barg down to reseat
    exact = swing / inflow + swing / (valve - inflow)
    assert closed.cycle_period(volume, 0.05, 10e5, A_AIR, inflow, valve) == pytest.approx(exact, rel=0.02)


def test_reseat_and_full_lift_of_the_static_curve() -> None:
    """1.3: beta 0.25, xi 0.5, BD 7 %: phi_m 1.2097, full lift at 103.3 % of set, reseat at 93 %."""
    parts = moving_parts(Dynamics(), "J", 10e5, 0.07, Sheet(False))
    assert parts.area_ratio == pytest.approx(1.2097, abs=6e-5)
    area = parts.seat_area * parts.area_ratio
    at = {
        y: closed.disc_pressure(0.0, parts.spring_rate, parts.precompression, y * parts.max_lift, area)
        for y in (0.5, 1)
    }
    assert at[1] / 10e5 == pytest.approx(1.033, abs=6e-4)
    assert at[0.5] / 10e5 == pytest.approx(0.93, rel=1e-9)


# Section 5 of the review: seat bore and moving mass by letter (table moving_parts).
@pytest.mark.parametrize("row", table("moving_parts").rows, ids=lambda row: row["letter"])
def test_moving_parts_by_letter(row: dict[str, float]) -> None:
    parts = moving_parts(Dynamics(), str(row["letter"]), 10e5, 0.07, Sheet(False))
    assert parts.seat_diameter == pytest.approx(row["seat_diameter"], rel=0.006)
    assert parts.mass == pytest.approx(row["mass"], rel=0.05)
    bellows = moving_parts(Dynamics(), str(row["letter"]), 10e5, 0.07, Sheet(False), bellows=True)
    assert bellows.mass == pytest.approx(1.3 * parts.mass, rel=1e-12)


def test_stated_parts_win() -> None:
    stated = Dynamics(seat_diameter=0.03, moving_mass=1.0, spring_rate=3e4, max_lift=0.008, effective_area_ratio=1.2,
                      effective_area_knee=0.4, damping_ratio=0.01)  # fmt: skip
    parts = moving_parts(stated, None, 10e5, 0.07, Sheet(False))
    assert parts.estimated == ()
    assert (parts.seat_diameter, parts.mass, parts.spring_rate, parts.max_lift) == (0.03, 1.0, 3e4, 0.008)
    assert parts.spring_ratio == pytest.approx(3e4 * 0.008 / (pi / 4 * 0.03**2 * 10e5), rel=1e-12)


def test_ranges_are_in_order_and_marked() -> None:
    known = ranges()
    assert known["spring_ratio"].low == 0.10 and known["spring_ratio"].high == 0.45  # section 5
    for name, span in known.items():
        assert span.low <= span.mid <= span.high, name
        assert span.confidence, name


def test_stepped_line() -> None:
    """Two parts, open at the vessel: tan(k L1) tan(k L2) = A1/A2 (A2 at the shut valve); textbook duct acoustics."""
    (l1, a1), (l2, a2) = (0.5, 0.018), (0.7, 0.008)
    number = pi / (2 * equivalent_length(((l1, a1), (l2, a2))))
    assert tan(number * l1) * tan(number * l2) == pytest.approx(a1 / a2, rel=1e-6)
    assert cos(number * l1) > 0  # the lowest root
    assert equivalent_length(((l1, a1), (l2, a1))) == pytest.approx(1.2, rel=1e-12)


# A 4P6 valve on gas at 10 barg, short line, stated blowdown: the case every verdict is turned from.
GAS = Situation(
    kind="conventional", phase="gas", set_pressure=11e5, atmospheric=1e5, blowdown=0.07, relieving_pressure=12e5,
    full_flow=8.6, least_flow=6.0, molar_mass=0.020, k=1.27, Z=1.0, temperature=320.0, inlet_loss_full=20e3,
    inlet_length=1.0, pipe_area=8.21e-3, vessel_volume=20.0, orifice="P",
)  # fmt: skip
SNAP = replace(GAS, kind="pilot", pilot_action="snap", pilot_sense="remote", blowdown=0.05,
               dynamics=Dynamics(sense_bore=0.0076))  # fmt: skip


@pytest.mark.parametrize(
    ("change", "verdict", "says"),
    [
        ({}, "quiet", "critical length"),
        ({"inlet_length": 3.0}, "chatters", "starves itself"),
        ({"inlet_loss_full": 60e3}, "unproven", "ring setting"),
        ({"inlet_loss_full": 120e3}, "chatters", "starves itself"),
        ({"built_up": 50e3}, "unproven", "ring setting"),
        ({"built_up": 50e3, "bellows": True}, "quiet", ""),
        ({"blowdown_is_default": True}, "unproven", "default blowdown"),
        ({"least_flow": 1.0}, "cycles", "12 %"),
        ({"least_flow": None}, "unproven", "lowest credible flow"),
        ({"inlet_loss_full": None}, "unproven", "inlet loss is unknown"),
        ({"vessel_volume": 0.01}, "flutters", "small"),
        ({"phase": "two-phase", "sound_speed": 200.0}, "unproven", "two-phase"),
        ({"dynamics": Dynamics(moving_mass=2.0)}, "unproven", "weigh the moving parts"),
        ({"dynamics": Dynamics(moving_mass=0.3, spring_rate=1.0e4)}, "chatters", "hammers"),
    ],
)
def test_verdicts(change: dict[str, object], verdict: str, says: str) -> None:
    found = screen(replace(GAS, **change), BASIS, Sheet())
    assert found.status is Status.OK
    assert found.verdict == verdict, found.words
    assert says in found.words
    assert (found.reason == "") == (verdict != "unproven")


@pytest.mark.parametrize(
    ("change", "verdict", "says"),
    [
        ({}, "quiet", "at the vessel"),
        ({"inlet_loss_full": 50e3}, "quiet", "derate its capacity"),
        ({"dynamics": Dynamics()}, "unproven", "sense line is unknown"),
        ({"dynamics": Dynamics(sense_bore=0.007)}, "unproven", "wider tube"),  # 38.5 mm2 against 45 mm2
        ({"pilot_sense": "integral"}, "cycles", "senses at the valve inlet"),
        ({"pilot_sense": "integral", "inlet_length": 0.1, "inlet_loss_full": 5e3}, "quiet", "at the inlet"),
        ({"pilot_sense": "integral", "inlet_length": 0.3, "inlet_loss_full": 10e3}, "unproven", "maker's proof"),
        ({"pilot_action": "modulating"}, "unproven", "maker's proof"),
        ({"pilot_action": None}, "unproven", "snaps or modulates"),
        ({"least_flow": 1.0}, "cycles", "12 %"),
    ],
)
def test_pilot_verdicts(change: dict[str, object], verdict: str, says: str) -> None:
    found = screen(replace(SNAP, **change), BASIS, Sheet())
    assert found.verdict == verdict, found.words
    assert says in found.words


# Reference case P (pop valve): one clean opening up to 1.5 m, chatter from 2 m at 60 % (non-linear code, section 2.17).
@pytest.mark.parametrize(("length", "class_"), [(0.5, "quiet"), (1.0, "quiet"), (2.0, "chatters"), (4.0, "chatters")])
def test_reference_p(length: float, class_: str) -> None:
    rated = 0.85 * pi / 4 * 0.034**2 * 12e5 * 0.684731 / sqrt(287.05 * 293.15)
    line = pi / 4 * 0.0525**2
    velocity_head = rated**2 / (2 * (12e5 / (287.05 * 293.15)) * line**2)
    situation = Situation(
        kind="conventional", phase="gas", set_pressure=11e5, atmospheric=1e5, blowdown=0.07, relieving_pressure=12e5,
        full_flow=rated, least_flow=0.6 * rated, molar_mass=AIR, k=1.4, temperature=293.15,
        inlet_loss_full=0.02 * length / 0.0525 * velocity_head, inlet_length=length, pipe_area=line, vessel_volume=2.0,
        dynamics=Dynamics(seat_diameter=0.034, max_lift=0.00918, moving_mass=2.0, damping_ratio=0.02),
    )  # fmt: skip
    assert screen(situation, BASIS, Sheet(False)).verdict == class_


def test_missing_and_impossible_data_end_in_a_status() -> None:
    for change, status, reason in (
        ({"inlet_length": None}, Status.NOT_COMPUTED, "length of the inlet line"),
        ({"pipe_area": None}, Status.NOT_COMPUTED, "bore of the inlet line"),
        ({"full_flow": None}, Status.NOT_COMPUTED, "flow at full lift"),
        ({"molar_mass": None}, Status.NOT_COMPUTED, "sound speed"),
        ({"orifice": None}, Status.NOT_COMPUTED, "seat bore"),
        ({"orifice": "X"}, Status.NOT_COMPUTED, "seat bore"),
        ({"set_pressure": 0.9e5}, Status.OUT_OF_RANGE, "atmospheric"),
        ({"built_up": 20e5}, Status.OUT_OF_RANGE, "back pressure"),
        ({"lift_restriction": 1.5}, Status.OUT_OF_RANGE, "lift restriction"),
    ):
        found = screen(replace(GAS, **change), BASIS, Sheet())
        assert (found.status, found.verdict) == (status, "unproven"), change
        assert reason in found.reason
        assert found.critical_length is None


def test_trends() -> None:
    """Section 1.9: the critical length grows with the root of the mass and with the flow; a liquid's is longer."""
    light, heavy = (
        screen(replace(GAS, dynamics=Dynamics(moving_mass=mass)), BASIS, Sheet(False)).critical_length
        for mass in (5.0, 20.0)
    )
    assert heavy == pytest.approx(2 * light, rel=1e-9)
    less, more = (screen(replace(GAS, least_flow=flow), BASIS, Sheet(False)).critical_length for flow in (5.0, 7.0))
    assert less < more
    liquid = replace(GAS, phase="liquid", sound_speed=1400.0, full_flow=100.0, least_flow=60.0)
    assert screen(liquid, BASIS, Sheet(False)).critical_length > more


def test_restricted_lift_helps_the_stop() -> None:
    """arXiv 2603.19015 (abstract): an oversized valve with reduced lift and strong blowdown pins on the upper stop."""
    restricted = replace(GAS, lift_restriction=0.5, full_flow=8.6 / 2, least_flow=4.3, blowdown=0.15, inlet_length=0.2,
                         inlet_loss_full=5e3, dynamics=Dynamics(moving_mass=0.02, spring_rate=5.2e4))  # fmt: skip
    free = replace(restricted, lift_restriction=None, full_flow=8.6)
    assert screen(restricted, BASIS, Sheet(False)).verdict == "quiet"
    assert screen(free, BASIS, Sheet(False)).verdict != "quiet"


def test_opening_time_is_the_basis_choice() -> None:
    """The Basis names one of the two estimates."""
    slow = screen(GAS, BASIS, Sheet(False))
    fast = screen(GAS, replace(BASIS, opening_time="cremers"), Sheet(False))
    assert slow.opening_time == pytest.approx(0.7 / slow.valve_frequency, rel=1e-12)
    assert fast.opening_time < 0.02 < slow.opening_time
    assert fast.wave_drop > slow.wave_drop


def test_cycling_faster_than_the_damaging_period_is_said() -> None:
    found = screen(replace(GAS, least_flow=1.0, vessel_volume=1.5), BASIS, Sheet(False))
    assert found.cycle_period < 1.0
    assert found.verdict == "cycles" and "damage the seat" in found.words


def test_recording_does_not_change_the_answer() -> None:
    sheet = Sheet()
    assert dataclasses.asdict(screen(GAS, BASIS, sheet)) == dataclasses.asdict(screen(GAS, BASIS, Sheet(False)))
    assert {"L_crit", "dp_w", "t_o", "m"} <= {step.symbol for step in sheet.steps()}


def test_fast_enough_for_a_fleet() -> None:
    """10 000 valves with all remedies: 60 microseconds a screening; five times that here, the machine is shared."""
    screen(GAS, BASIS, Sheet(False))
    best = min(timeit.repeat(lambda: screen(GAS, BASIS, Sheet(False)), number=200, repeat=5)) / 200
    assert best < 300e-6
