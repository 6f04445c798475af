"""Lines: resistance, inlet loss, built-up back pressure, sound. Expected values come from outside the code."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from math import isclose, log10, pi, sqrt

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from quietseat.formula import Sheet
from quietseat.model import Fitting, Line, Segment
from quietseat.piping import sonic
from quietseat.piping.capacity import choked_flow, passed_flow
from quietseat.piping.friction import solve_colebrook
from quietseat.piping.lines import inlet, outlet
from quietseat.piping.records import FlowState
from quietseat.piping.resistance import contraction_loss, enlargement_loss, pipe_bore, resistance
from quietseat.status import CalculationFailed, Status

R = 8.31446261815324
AIR = 0.0289647


@dataclass(frozen=True)
class Choices:
    atmospheric_pressure: float = 101325.0
    default_roughness: float = 4.6e-5
    default_schedule: str = "by size"
    default_entrance: str = "sharp"
    default_block_valve: str = "gate"
    friction_correlation: str = "Colebrook"


BASIS = Choices()
GAS = FlowState("gas", 11.0e5, temperature=300.0, molar_mass=AIR, k=1.4, Z=1.0, viscosity=1.8e-5)
WATER = FlowState("liquid", 11.0e5, density=1000.0, viscosity=1.0e-3)
BARE = Line(diameter=0.1, length=10.0, friction_factor=0.02, entrance="none", block_valve="none")


def quiet() -> Sheet:
    return Sheet(record=False)


def loss(line: Line, flow: FlowState, rate: float) -> float:
    result = inlet(line, flow, rate, BASIS, quiet())
    assert result.status is Status.OK
    assert result.loss is not None
    return result.loss


def back(line: Line, flow: FlowState, rate: float, superimposed: float = 101325.0) -> float:
    result = outlet(line, flow, rate, superimposed, BASIS, quiet())
    assert result.status is Status.OK
    assert result.outlet_static is not None
    return result.outlet_static


# Fanno table for k = 1.4: Shapiro's table to 4 digits, recomputed with 6 or more.
@pytest.mark.parametrize(
    "mach, length, static, stagnation",
    [
        (0.1, 66.921560, 10.943513, 5.821829),
        (0.2, 14.533266, 5.455447, 2.963520),
        (0.3, 5.299253, 3.619057, 2.035065),
        (0.5, 1.069060, 2.138090, 1.339844),
        (0.7, 0.208139, 1.493452, 1.094373),
    ],
)
def test_fanno_table(mach: float, length: float, static: float, stagnation: float) -> None:
    assert sonic.fanno_length(mach, 1.4) == pytest.approx(length, abs=6e-7)
    same = {"mass_flux": 1.0, "temperature": 300.0, "Z": 1.0, "molar_mass": AIR, "k": 1.4}
    ratio = sonic.static_from_mach(mach=mach, **same) / sonic.static_from_mach(mach=1.0, **same)
    assert ratio == pytest.approx(static, abs=6e-7)
    assert sonic.stagnation_ratio(mach, 1.0, 1.4) == pytest.approx(stagnation, abs=6e-7)
    assert sonic.solve_fanno(length, 1.4)[0] == pytest.approx(mach, abs=1e-6)


# Mach number before a choked nozzle and pressure behind the opening wave, k = 1.4 (computed to 8 digits).
@pytest.mark.parametrize("alpha, mach, kept", [(0.05, 0.02894974, 0.9603930), (0.1, 0.05798720, 0.9224566)])
def test_sudden_opening(alpha: float, mach: float, kept: float) -> None:
    found, _ = sonic.solve_stagnation_mach(sonic.nozzle_number(alpha, 1.4), 1.4)
    assert found == pytest.approx(mach, abs=6e-9)
    assert sonic.expansion_wave_ratio(found, 1.4) == pytest.approx(kept, abs=6e-8)


# Drop of the opening wave in % by line and orifice: C 0.975 on API 526 areas, Schedule 40 bores, air.
@pytest.mark.parametrize(
    "size, area_in2, drop",
    [
        (1, 0.110, 9.5), (1, 0.196, 16.4), (1.5, 0.307, 11.2), (1.5, 0.503, 17.7), (2, 0.785, 16.8),
        (2, 1.287, 26.3), (3, 1.838, 17.8), (3, 2.853, 26.5), (4, 3.60, 20.0), (4, 6.38, 33.3),
        (6, 11.05, 26.2), (6, 16.00, 36.4), (8, 26.00, 34.4),
    ],
)  # fmt: skip
def test_drop_by_pair(size: float, area_in2: float, drop: float) -> None:
    bore = pipe_bore(size, "40")[0]
    alpha = 0.975 * area_in2 * 0.0254**2 / (pi / 4 * bore**2)
    mach, _ = sonic.solve_stagnation_mach(sonic.nozzle_number(alpha, 1.4), 1.4)
    assert 100 * (1 - sonic.expansion_wave_ratio(mach, 1.4)) == pytest.approx(drop, abs=0.051)


def test_sound_and_wave() -> None:
    # Air R 287.05, 293.15 K: 343.23198 m/s, quarter wave of 2 m 42.904 Hz; water in 52.5 x 3.9 mm steel pipe 1382.925
    assert sonic.sound_speed_gas(1.4, 1.0, 293.15, R / 287.05) == pytest.approx(343.23198, abs=6e-6)
    assert 0.5 / sonic.wave_return(sonic.travel_time(2.0, 343.23198)) == pytest.approx(42.90400, abs=6e-6)
    free = sonic.sound_speed_liquid(2.19e9, 998.0)
    assert sonic.sound_speed_pipe(free, 998.0, 0.0525, 0.0039, 200e9) == pytest.approx(1382.925, abs=6e-4)
    assert sonic.sound_speed_pipe(free, 998.0, 0.1541, 0.0071, 200e9) == pytest.approx(1331.545, abs=6e-4)


def test_liquid_by_hand() -> None:
    # 2 m/s of water: velocity head 2000 Pa; f L/D = 2, K = 1.5, sharp entrance 0.5: 4 heads
    line = replace(BARE, loss_coefficient=1.5, entrance="sharp", height=3.0)
    rate = 1000.0 * 2.0 * pi / 4 * 0.1**2
    result = inlet(line, WATER, rate, BASIS, quiet(), set_gauge=1e6)
    assert result.loss == pytest.approx(8000.0, rel=1e-12)
    assert result.fraction == pytest.approx(0.008, rel=1e-12)
    assert result.static_head == pytest.approx(1000 * 9.80665 * 3, rel=1e-12)
    assert result.K_total == pytest.approx(4.0, rel=1e-12)
    assert result.stagnation == pytest.approx(11e5 - 8000, rel=1e-12)  # the static head is kept out


def test_zero_length_is_the_entrance_alone() -> None:
    line = Line(diameter=0.1, length=0.0, entrance="sharp", block_valve="none")
    rate = 1000.0 * 2.0 * pi / 4 * 0.1**2
    assert loss(line, WATER, rate) == pytest.approx(0.5 * 2000.0, rel=1e-12)
    assert loss(replace(line, entrance="none"), WATER, rate) == 0.0


def test_gas_at_low_mach_is_darcy() -> None:
    rate = 0.2
    density = 11e5 * AIR / (R * 300)
    expected = 2.0 * (rate / (pi / 4 * 0.01)) ** 2 / (2 * density)
    assert loss(BARE, GAS, rate) == pytest.approx(expected, rel=1e-4)


def test_inlet_chokes_where_fanno_says() -> None:
    # With f L/D = 5.299253 (Fanno, k 1.4) the line chokes at Mach 0.3 in its mouth.
    line = replace(BARE, length=5.299253 * 0.1 / 0.02)
    mouth = 11e5 / (1 + 0.2 * 0.09) ** 3.5
    density = mouth * AIR / (R * 300 / (1 + 0.2 * 0.09))
    largest = density * 0.3 * sqrt(1.4 * mouth / density) * pi / 4 * 0.01
    under = inlet(line, GAS, largest * (1 - 1e-6), BASIS, quiet())
    over = inlet(line, GAS, largest * (1 + 1e-6), BASIS, quiet())
    assert under.status is Status.OK
    assert under.mach is not None
    assert under.mach > 0.99
    assert over.status is Status.OUT_OF_RANGE
    assert over.choked
    assert over.loss is None
    assert "chokes" in over.reason


def test_flow_through_line_and_nozzle_agrees_with_the_march_from_the_vessel() -> None:
    line = Line(diameter=0.1, length=8.0, entrance="sharp", block_valve="none", loss_coefficient=1.0)
    built = resistance(line, BASIS, quiet())
    passed = passed_flow(built, 0.975, 0.0028, GAS, 1.5e5, BASIS, quiet())
    marched = inlet(line, GAS, passed.flow, BASIS, quiet())
    assert marched.stagnation == pytest.approx(passed.stagnation, rel=1e-9)
    assert marched.mach == pytest.approx(passed.mach, rel=1e-9)
    # choked nozzle of an ideal gas, k 1.4: 0.684731 p0 A/sqrt(RT)
    nozzle = 0.684731 * 0.975 * 0.0028 * passed.stagnation / sqrt(R / AIR * 300)
    assert passed.flow == pytest.approx(nozzle, rel=2e-6)


def test_liquid_through_line_and_nozzle_by_hand() -> None:
    built = resistance(replace(BARE, height=2.0), BASIS, quiet())
    passed = passed_flow(built, 0.65, 0.0028, WATER, 2e5, BASIS, quiet())
    drive = 11e5 - 2e5 - 1000 * 9.80665 * 2
    line = 2.0 * (passed.flow / (pi / 4 * 0.01)) ** 2 / 2000
    nozzle = (passed.flow / (0.65 * 0.0028)) ** 2 / 2000
    assert line + nozzle == pytest.approx(drive, rel=1e-10)
    assert passed.stagnation == pytest.approx(2e5 + nozzle, rel=1e-10)


def test_choked_exit() -> None:
    # Primitive variables at Mach 1: T* = 2 T0/(k+1), a* = sqrt(k R T*), rho* = G/a*
    rate, area = 6.0, pi / 4 * 0.01
    t_star = 300 * 2 / 2.4
    p_star = rate / area / sqrt(1.4 * R / AIR * t_star) * R / AIR * t_star
    result = outlet(BARE, GAS, rate, 101325.0, BASIS, quiet())
    assert result.choked
    assert result.mach_exit == 1.0
    assert result.exit_pressure == pytest.approx(p_star, rel=1e-12)
    assert result.exit_temperature == pytest.approx(t_star, rel=1e-12)
    # f L/D = 2 before the choked exit: k 1.4, Mach 0.4154 by interpolation of the Fanno function above
    assert result.mach_outlet is not None
    assert sonic.fanno_length(result.mach_outlet, 1.4) == pytest.approx(2.0, rel=1e-10)
    assert result.floor == pytest.approx(p_star, rel=1e-12)
    assert result.above_floor == pytest.approx(result.outlet_static - p_star, rel=1e-9)


def test_bare_outlet_builds_up_nothing_beside_the_floor() -> None:
    line = Line(diameter=0.1, length=0.0, discharge_to="atmosphere")
    low = outlet(line, GAS, 0.5, 101325.0, BASIS, quiet())
    assert (low.built_up, low.outlet_static, low.choked) == (0.0, 101325.0, False)
    high = outlet(line, GAS, 6.0, 101325.0, BASIS, quiet())
    assert high.built_up == 0.0
    assert high.choked
    assert high.outlet_static == high.floor
    assert high.floor is not None
    assert high.floor > 101325.0


@pytest.mark.parametrize("ratio", [3.03, 4.53, 14.71, 30.55])  # outlet over orifice, Smith & Zappe table 5-1
def test_body_floor_is_the_choked_outlet(ratio: float) -> None:
    orifice, p1, k = 0.001, 11e5, 1.3
    rate = choked_flow(0.975, orifice, p1, 400.0, 0.9, 0.03, k)
    floor = sonic.body_floor(p1, 0.975, 1 / ratio, k)
    again = sonic.static_from_mach(rate / (orifice * ratio), 400.0, 0.9, 0.03, k, 1.0)
    assert floor == pytest.approx(again, rel=1e-12)
    # a T orifice in 8T10 at k 1.4: 0.975/3.03 x 0.528282 = 0.16999 of P1
    assert sonic.body_floor(1.0, 0.975, 1 / 3.03, 1.4) == pytest.approx(0.16999, abs=6e-6)


def test_sudden_enlargement_keeps_mass_momentum_and_energy() -> None:
    pipe = replace(BARE, diameter=0.15, length=300.0)
    rate, small, large = 2.0, pi / 4 * 0.08**2, pi / 4 * 0.15**2
    before = outlet(pipe, GAS, rate, 101325.0, BASIS, quiet(), valve_bore=0.08)
    after = outlet(pipe, GAS, rate, 101325.0, BASIS, quiet())

    def impulse(p: float, mach: float, area: float, whole: float) -> tuple[float, float]:
        temperature = 300 / (1 + 0.2 * mach**2)
        density = p * AIR / (R * temperature)
        speed = mach * sqrt(1.4 * R / AIR * temperature)
        return density * speed * area, p * whole + density * speed**2 * area

    assert before.mach_outlet is not None and before.outlet_static is not None
    assert after.mach_outlet is not None and after.outlet_static is not None
    assert 0.3 < before.mach_outlet < 1.0
    mass1, momentum1 = impulse(before.outlet_static, before.mach_outlet, small, large)
    mass2, momentum2 = impulse(after.outlet_static, after.mach_outlet, large, large)
    assert (mass1, mass2) == pytest.approx((rate, rate), rel=1e-10)
    assert momentum1 == pytest.approx(momentum2, rel=1e-10)


def test_small_flange_chokes_before_a_large_pipe() -> None:
    result = outlet(replace(BARE, diameter=0.2), GAS, 6.0, 101325.0, BASIS, quiet(), valve_bore=0.08)
    assert result.choked
    assert result.mach_outlet == 1.0
    assert result.mach_exit is not None and result.mach_exit < 1.0
    assert result.outlet_static == pytest.approx(result.floor, rel=1e-12)
    assert result.above_floor == 0.0


def test_no_jump_where_the_flange_or_the_exit_begins_to_choke() -> None:
    for bore in (None, 0.08):
        line = replace(BARE, diameter=0.1 if bore is None else 0.15)
        pressures = []
        for step in range(400):
            result = outlet(line, GAS, 1.0 + step * 0.01, 101325.0, BASIS, quiet(), valve_bore=bore)
            pressures.append(result.outlet_static or 0.0)
        rises = [after - before for before, after in pairwise(pressures)]
        assert max(rises) < 8e3  # 0.01 kg/s more never moves the flange pressure by more than this
        if bore is None:
            assert min(rises) > 0.0


def test_back_pressure_above_the_inlet_is_out_of_range() -> None:
    result = outlet(replace(BARE, length=2000.0), GAS, 12.0, 101325.0, BASIS, quiet())
    assert result.status is Status.OUT_OF_RANGE
    assert result.built_up is None
    assert "cannot pass" in result.reason


def test_liquid_outlet_by_hand() -> None:
    rate = 1000.0 * 2.0 * pi / 4 * 0.1**2
    rising = outlet(replace(BARE, height=5.0), WATER, rate, 1.5e5, BASIS, quiet())
    assert rising.built_up == pytest.approx(2 * 2000 + 1000 * 9.80665 * 5, rel=1e-12)
    falling = outlet(replace(BARE, height=-5.0), WATER, rate, 1.5e5, BASIS, quiet())
    assert falling.built_up == pytest.approx(4000.0, rel=1e-12)
    # 0.1 to 0.2 m: Borda loses (1 - 1/4)^2 of 2000 Pa, the head falls from 2000 to 125 Pa: static rises by 750 Pa;
    # f L/D = 10 of the wide bore loses 1250 Pa
    line = Line(segments=(Segment(0.1, 0.0), Segment(0.2, 100.0)), friction_factor=0.02, block_valve="none")
    wide = outlet(line, WATER, rate, 1.5e5, BASIS, quiet())
    assert wide.outlet_static == pytest.approx(1.5e5 + 1250 - 750, rel=1e-12)
    short = replace(line, segments=(Segment(0.1, 0.0), Segment(0.2, 10.0)))
    assert outlet(short, WATER, rate, 1.5e5, BASIS, quiet()).built_up == 0.0  # recovery is not credited


def test_flashing_liquid_is_refused_at_the_outlet_and_told_at_the_inlet() -> None:
    hot = replace(WATER, saturation_pressure=10.9e5)
    with pytest.raises(CalculationFailed, match="flashes"):
        outlet(BARE, hot, 5.0, 101325.0, BASIS, quiet())
    result = inlet(replace(BARE, height=5.0), hot, 15.0, BASIS, quiet())
    assert result.status is Status.OUT_OF_RANGE
    assert "flashes" in result.reason


def test_two_phase_with_omega_zero_is_the_liquid() -> None:
    mix = FlowState("two-phase", 11e5, specific_volume=1e-3, omega=0.0, viscosity=1e-3)
    assert loss(BARE, mix, 15.0) == pytest.approx(loss(BARE, WATER, 15.0), rel=1e-12)
    assert back(BARE, mix, 15.0) == pytest.approx(back(BARE, replace(WATER), 15.0), rel=1e-9)
    assert inlet(BARE, mix, 15.0, BASIS, quiet()).indicative


@pytest.mark.parametrize(
    "changes, words",
    [
        ({"length": None}, "inlet length unknown"),
        ({"diameter": None}, "inlet size unknown"),
        ({"diameter": None, "size": 4.0, "schedule": "77"}, "no pipe NPS 4 schedule 77"),
        ({"fittings": (Fitting("bellmouth"),)}, "bellmouth"),
        ({"block_valve": "reduced-gate"}, "reduced-gate"),
        ({"entrance": "square"}, "square"),
    ],
)
def test_missing_line_data_is_never_zero(changes: dict[str, object], words: str) -> None:
    with pytest.raises(CalculationFailed, match=words) as failed:
        resistance(replace(BARE, **changes), BASIS, quiet())
    assert failed.value.status is Status.NOT_COMPUTED


@pytest.mark.parametrize(
    "state, words",
    [
        (replace(GAS, k=None), "k unknown"),
        (replace(GAS, temperature=None), "temperature unknown"),
        (replace(GAS, molar_mass=None), "molar mass unknown"),
        (replace(WATER, density=None), "density unknown"),
        (FlowState("two-phase", 1e6, specific_volume=0.01), "omega unknown"),
        (FlowState("slurry", 1e6), "slurry"),
    ],
)
def test_missing_fluid_data_is_never_zero(state: FlowState, words: str) -> None:
    for call in (
        lambda: inlet(BARE, state, 1.0, BASIS, quiet()),
        lambda: outlet(BARE, state, 1.0, 101325.0, BASIS, quiet()),
    ):
        with pytest.raises(CalculationFailed, match=words):
            call()


@pytest.mark.parametrize("rate", [0.0, -1.0, float("nan")])
def test_a_flow_that_is_no_flow_is_refused(rate: float) -> None:
    with pytest.raises(CalculationFailed, match="flow unknown"):
        inlet(BARE, GAS, rate, BASIS, quiet())


def test_every_k_is_marked_measured_or_assumed() -> None:
    sheet = Sheet()
    line = Line(size=4.0, length=3.0, fittings=(Fitting("elbow-90", 2), Fitting("tee-branch", 1, measured=False)))
    built = resistance(line, BASIS, sheet)
    lines = [step.name for step in sheet.steps()]
    assert "elbow-90 x 2, measured" in lines
    assert "tee-branch x 1, assumed" in lines
    assert "gate-full x 1, assumed" in lines
    assert "entrance, sharp: assumed: Basis default_entrance" in lines
    assert set(built.assumed) == {"schedule", "entrance", "block_valve", "roughness", "fittings.tee-branch"}
    stated = replace(line, schedule="40", entrance="sharp", block_valve="gate", roughness=4.6e-5,
                     fittings=(Fitting("elbow-90"),))  # fmt: skip
    assert resistance(stated, BASIS, quiet()).assumed == ()


def test_equivalent_lengths_by_hand() -> None:
    # fT of 0.10226 m clean steel: 0.25/log10(4.6e-5/0.10226/3.7)^2 = 0.01631; 2 elbows L/D 30, gate 8, entrance 0.5
    line = Line(size=4.0, length=3.0, entrance="sharp", block_valve="gate", fittings=(Fitting("elbow-90", 2),))
    built = resistance(line, BASIS, quiet())
    assert built.bore == pytest.approx(0.10226, abs=1e-9)
    assert built.K_total == pytest.approx(0.5 + 0.01631 * (60 + 8), abs=5e-4)
    assert built.volume == pytest.approx(3 * pi / 4 * 0.10226**2, rel=1e-12)
    assert built.acoustic == ((3.0, pytest.approx(0.10226)),)


def test_a_fitting_of_another_size_is_carried_over_by_the_fourth_power() -> None:
    line = Line(size=4.0, schedule="40", length=3.0, entrance="none", block_valve="none")
    other = replace(line, fittings=(Fitting("globe", 1, size=3.0),))
    # globe L/D 340 on 77.93 mm (fT 0.01733 by von Karman), seen from 102.26 mm: x (102.26/77.93)^4
    expected = 340 * 0.01733 * (102.26 / 77.93) ** 4
    assert resistance(other, BASIS, quiet()).K_total == pytest.approx(expected, rel=2e-3)
    runs = replace(line, segments=(Segment(0.10226, 2.0, 4.0), Segment(0.07793, 1.0, 3.0)), fittings=other.fittings)
    assert resistance(runs, BASIS, quiet()).runs[1].K_fittings == pytest.approx(
        340 * 0.01733 + 0.5 * (1 - 0.5807), rel=2e-3
    )


def test_fittings_stand_in_the_pipe_not_in_the_flange_of_the_valve() -> None:
    line = Line(size=8.0, schedule="40", length=3.0, fittings=(Fitting("elbow-90", 2),))
    built = resistance(line, BASIS, quiet(), end="outlet", valve_bore=0.1541)
    assert built.runs[0].K_fittings == 0.0
    assert built.runs[1].K_fittings > 0.0
    stated = resistance(replace(line, loss_coefficient=1.5), BASIS, quiet(), end="outlet", valve_bore=0.1541)
    assert (stated.runs[0].K_fittings, stated.runs[1].K_fittings) == (0.0, 1.5)


def test_schedule_by_size() -> None:
    # ASME B36.10: NPS 2 schedule 80 bore 49.25 mm, NPS 3 schedule 40 bore 77.93 mm, within the rounding in use
    assert resistance(Line(size=2.0, length=1.0), BASIS, quiet()).bore == pytest.approx(0.04925, abs=6e-5)
    assert resistance(Line(size=3.0, length=1.0), BASIS, quiet()).bore == pytest.approx(0.07793, abs=6e-5)


def test_step_losses() -> None:
    assert enlargement_loss(0.25) == 0.5625  # Borda-Carnot (1 - 1/4)^2
    assert contraction_loss(0.25) == 0.375  # sudden: 0.5 (1 - 1/4)
    narrow = Line(segments=(Segment(0.2, 0.0), Segment(0.1, 0.0)), entrance="none", block_valve="none")
    assert resistance(narrow, BASIS, quiet()).K_total == pytest.approx(0.375, rel=1e-12)
    valve = replace(BARE, diameter=0.2, length=0.0)
    assert resistance(valve, BASIS, quiet(), valve_bore=0.1).K_total == pytest.approx(0.375, rel=1e-12)


def test_steps_print_the_converged_values() -> None:
    sheet = Sheet()
    line = replace(BARE, friction_factor=None, roughness=4.6e-5)
    result = inlet(line, GAS, 5.0, BASIS, sheet)
    outlet(line, GAS, 5.0, 2e5, BASIS, sheet)
    steps = sheet.steps()
    assert not sheet.flags
    friction = next(step for step in steps if step.symbol == "f" and step.value is not None)
    f = friction.value
    assert f is not None
    number, ratio = 5.0 / (pi / 4 * 0.01) * 0.1 / 1.8e-5, 4.6e-5 / 0.1
    assert 1 / sqrt(f) == pytest.approx(-2 * log10(ratio / 3.7 + 2.51 / (number * sqrt(f))), rel=1e-12)
    left = [step.value for step in steps if step.symbol == "F_2"]
    assert left[0] == pytest.approx(left[1], rel=1e-10)  # wanted, and of the Mach number found
    assert next(step.value for step in steps if step.symbol == "dp_inlet") == result.loss
    assert any("converged in" in step.substituted for step in steps)
    assert all(step.source for step in steps)


def test_recording_does_not_change_the_answer() -> None:
    line = Line(size=4.0, length=3.0, fittings=(Fitting("elbow-90"),), height=2.0)
    for state, rate in ((GAS, 4.0), (WATER, 20.0)):
        assert inlet(line, state, rate, BASIS, Sheet()) == inlet(line, state, rate, BASIS, quiet())
        assert outlet(line, state, rate, 1.3e5, BASIS, Sheet()) == outlet(line, state, rate, 1.3e5, BASIS, quiet())


def test_haaland_is_the_named_rival() -> None:
    # Haaland stays within 1.5 % of Colebrook for Re above 4000 (his paper)
    line = replace(BARE, friction_factor=None, roughness=4.6e-5)
    one = loss(line, WATER, 15.0)
    other = inlet(line, WATER, 15.0, replace(BASIS, friction_correlation="Haaland"), quiet()).loss
    assert other is not None
    assert other != one
    assert other == pytest.approx(one, rel=0.015)
    with pytest.raises(CalculationFailed, match="Blasius"):
        inlet(line, WATER, 15.0, replace(BASIS, friction_correlation="Blasius"), quiet())


def test_laminar_loss_is_poiseuille() -> None:
    line = replace(BARE, friction_factor=None, roughness=4.6e-5)
    oil = replace(WATER, viscosity=1.0)
    rate = 10.0  # Re = 4 W/(pi D mu) = 127
    poiseuille = 128 * 1.0 * 10.0 * (rate / 1000) / (pi * 0.1**4)
    assert loss(line, oil, rate) == pytest.approx(poiseuille, rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(
    rate=st.floats(0.05, 6.0),
    length=st.floats(0.0, 40.0),
    k=st.floats(1.01, 1.66),
    more=st.floats(1.001, 1.5),
)
def test_gas_losses_grow_with_flow_length_and_loss(rate: float, length: float, k: float, more: float) -> None:
    state, line = replace(GAS, k=k), replace(BARE, length=length, entrance="sharp")
    first = inlet(line, state, rate, BASIS, quiet())
    for changed in (
        inlet(line, state, rate * more, BASIS, quiet()),
        inlet(replace(line, length=length + more), state, rate, BASIS, quiet()),
        inlet(replace(line, loss_coefficient=more), state, rate, BASIS, quiet()),
    ):
        if first.loss is None:
            assert changed.status is Status.OUT_OF_RANGE
        else:
            assert changed.loss is None or changed.loss > first.loss
    p = outlet(line, state, rate, 101325.0, BASIS, quiet())
    q = outlet(replace(line, length=length + more), state, rate, 101325.0, BASIS, quiet())
    if p.outlet_static is not None:
        assert q.outlet_static is None or q.outlet_static > p.outlet_static
        assert p.outlet_static >= 101325.0


@settings(max_examples=60, deadline=None)
@given(rate=st.floats(0.5, 40.0), times=st.floats(1.1, 2.0))
def test_liquid_loss_goes_with_flow_squared(rate: float, times: float) -> None:
    state = replace(WATER, pressure=1e8)
    assert loss(BARE, state, rate * times) == pytest.approx(loss(BARE, state, rate) * times**2, rel=1e-10)


@settings(max_examples=60, deadline=None)
@given(rate=st.floats(0.1, 3.5), share=st.floats(0.01, 0.99), k=st.floats(1.05, 1.66))
def test_cutting_a_run_in_two_changes_nothing(rate: float, share: float, k: float) -> None:
    state = replace(GAS, k=k)
    whole = Line(segments=(Segment(0.1, 10.0),), friction_factor=0.02, entrance="none", block_valve="none")
    cut = replace(whole, segments=(Segment(0.1, 10.0 * share), Segment(0.1, 10.0 * (1 - share))))
    assert loss(cut, state, rate) == pytest.approx(loss(whole, state, rate), rel=1e-8)
    assert back(cut, state, rate) == pytest.approx(back(whole, state, rate), rel=1e-9)


@settings(max_examples=100, deadline=None)
@given(mach=st.floats(1e-4, 0.9999), k=st.floats(1.001, 1.9))
def test_solvers_undo_their_formulas(mach: float, k: float) -> None:
    number = mach**2 * (1 + (k - 1) / 2 * mach**2) ** (-(k + 1) / (k - 1))
    assert isclose(sonic.solve_stagnation_mach(number, k)[0], mach, rel_tol=1e-6)
    again, _ = sonic.solve_fanno(sonic.fanno_length(mach, k), k)
    assert isclose(sonic.fanno_length(again, k), sonic.fanno_length(mach, k), rel_tol=1e-9, abs_tol=1e-12)


def test_colebrook_takes_few_passes() -> None:
    assert all(
        solve_colebrook(ratio, number)[1] <= 5 for ratio in (0.0, 1e-6, 1e-4, 1e-2, 0.05) for number in (2e3, 1e5, 1e8)
    )
