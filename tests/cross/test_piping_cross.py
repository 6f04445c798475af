"""Lines against independent libraries: fluids (friction, fittings, isothermal flow) and scipy (integrated Fanno)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi, sqrt

import pytest

from quietseat.formula import Sheet
from quietseat.model import Line
from quietseat.piping import sonic
from quietseat.piping.friction import fully_rough, haaland, laminar, solve_colebrook
from quietseat.piping.lines import inlet, outlet
from quietseat.piping.records import FlowState
from quietseat.piping.resistance import (
    clean_roughness,
    contraction_loss,
    enlargement_loss,
    fitting_loss,
    fitting_row,
    pipe_bore,
    referred_loss,
    turbulent_friction,
)
from quietseat.status import Status

fluids = pytest.importorskip("fluids")
integrate = pytest.importorskip("scipy.integrate")
optimize = pytest.importorskip("scipy.optimize")

R = 8.31446261815324


@dataclass(frozen=True)
class Choices:
    atmospheric_pressure: float = 101325.0
    default_roughness: float = 4.6e-5
    default_schedule: str = "by size"
    default_entrance: str = "sharp"
    default_block_valve: str = "gate"
    friction_correlation: str = "Colebrook"


BASIS = Choices()
GAS = FlowState("gas", 11.0e5, temperature=300.0, molar_mass=0.029, k=1.4, Z=0.95, viscosity=1.8e-5, Z_outlet=0.95)
PIPE = Line(diameter=0.1, length=20.0, friction_factor=0.018, entrance="none", block_valve="none")


def quiet() -> Sheet:
    return Sheet(record=False)


def test_colebrook_over_a_grid() -> None:
    worst = 0.0
    for i in range(25):
        number = 10 ** (3 + 5 * i / 24)
        for j in range(20):
            ratio = 0.0 if j == 0 else 10 ** (-6 + (4.69897 - 0.0) * (j - 1) / 18)
            theirs = fluids.friction.Colebrook(number, ratio)
            worst = max(worst, abs(solve_colebrook(ratio, number)[0] / theirs - 1))
            assert haaland(ratio, number) == pytest.approx(fluids.friction.Haaland(number, ratio), rel=1e-12)
    assert worst < 1e-9
    assert laminar(1500.0) == pytest.approx(fluids.friction.friction_laminar(1500.0), rel=1e-12)
    # von Karman's law is Colebrook at infinite Reynolds number
    assert fully_rough(4.6e-4) == pytest.approx(fluids.friction.von_Karman(4.6e-4), rel=1e-9)


def test_losses_of_fittings_and_steps() -> None:
    for share in (0.1, 0.25, 0.5, 0.9):
        small, large = sqrt(share) * 0.1, 0.1
        assert enlargement_loss(share) == pytest.approx(
            fluids.fittings.diffuser_sharp(small, large, method="Rennels"), rel=1e-12
        )
        theirs = fluids.fittings.contraction_conical_Crane(large, small, angle=180.0)
        assert contraction_loss(share) == pytest.approx(theirs, rel=1e-9)
    assert referred_loss(1.0, 0.1, 0.05) == pytest.approx(fluids.fittings.change_K_basis(1.0, 0.1, 0.05), rel=1e-12)
    fd = turbulent_friction(0.10226)
    basis, ratio = fitting_row("gate-full")[:2]
    assert basis == "L/D"
    ours = fitting_loss(1.0, fd, ratio)
    assert ours == pytest.approx(fluids.fittings.K_gate_valve_Crane(0.1, 0.1, 0.0, fd=fd), rel=1e-12)
    ball = fitting_loss(1.0, fd, fitting_row("ball-full")[1])
    assert ball == pytest.approx(fluids.fittings.K_ball_valve_Crane(0.1, 0.1, 0.0, fd=fd), rel=1e-12)
    # the printed fT stand on 0.045 mm or so; ours on 0.046 mm
    for bore in (0.04, 0.1, 0.3):
        assert turbulent_friction(bore) == pytest.approx(fluids.fittings.ft_Crane(bore), rel=0.02)
    assert clean_roughness() == pytest.approx(4.6e-5)


def test_pipe_bores() -> None:
    for size in (1, 2, 3, 4, 6, 8, 10):
        assert pipe_bore(size, "40")[0] == pytest.approx(fluids.nearest_pipe(NPS=size, schedule="40")[1], abs=1e-6)


def test_critical_pressure() -> None:
    for k in (1.1, 1.4, 1.66):
        assert sonic.static_pressure(670e3, 1.0, k) == pytest.approx(
            fluids.compressible.P_critical_flow(670e3, k), rel=1e-12
        )
        cold = fluids.compressible.T_critical_flow(473.0, k)
        assert sonic.static_temperature(473.0, 1.0, k) == pytest.approx(cold, rel=1e-12)


def isothermal(p1: float, p2: float, density_1: float, k_pipe: float) -> float:
    """Flow of fluids' isothermal equation; its density is the one at P1 (its equation with P2 -> P1 shows it)."""
    return float(fluids.compressible.isothermal_gas(rho=density_1, fd=k_pipe * 0.1 / 20.0, P1=p1, P2=p2, L=20.0, D=0.1))


@pytest.mark.parametrize("rate", [0.3, 1.0, 2.0, 3.0])
def test_outlet_against_isothermal_flow(rate: float) -> None:
    """With k near 1 adiabatic flow is isothermal, and fluids' equation must come out."""
    result = outlet(PIPE, replace(GAS, k=1.001), rate, 2.0e5, BASIS, quiet())
    assert result.outlet_static is not None and result.exit_pressure is not None
    density = result.outlet_static * 0.029 / (0.95 * R * 300)
    flow = isothermal(result.outlet_static, result.exit_pressure, density, 3.6)
    assert flow == pytest.approx(rate, rel=5e-4)


@pytest.mark.parametrize("rate", [0.5, 1.5, 3.0])
def test_two_phase_with_omega_one_is_isothermal_gas(rate: float) -> None:
    """omega = 1 makes the mixture an isothermal ideal gas: fluids checks the momentum integral."""
    mix = FlowState("two-phase", 11e5, specific_volume=R * 300 / (0.029 * 11e5), omega=1.0, viscosity=1.8e-5)
    result = outlet(PIPE, mix, rate, 2.0e5, BASIS, quiet())
    assert result.outlet_static is not None and result.exit_pressure is not None
    density = result.outlet_static * 0.029 / (R * 300)
    assert isothermal(result.outlet_static, result.exit_pressure, density, 3.6) == pytest.approx(rate, rel=1e-8)
    gas = inlet(PIPE, replace(GAS, k=1.001, Z=1.0), 1.0, BASIS, quiet())
    same = inlet(PIPE, mix, 1.0, BASIS, quiet())
    assert same.loss == pytest.approx(gas.loss, rel=5e-3)


@pytest.mark.parametrize("resistance", [0.5, 3.6, 20.0])
@pytest.mark.parametrize("share", [0.2, 0.7, 0.95, 0.999])
@pytest.mark.parametrize("k", [1.1, 1.4, 1.66])
def test_inlet_against_integrated_equations(resistance: float, share: float, k: float) -> None:
    """Vessel, mouth and pipe by scipy: isentropic mouth, then d(rho u), d(p + rho u2), d(h0) along the pipe."""
    r = 0.95 * R / 0.029
    cp, area = k * r / (k - 1), pi / 4 * 0.01

    def mouth(mach: float) -> tuple[float, float, float]:
        t = 300 / (1 + (k - 1) / 2 * mach**2)
        return 11e5 * (t / 300) ** (k / (k - 1)), t, mach * sqrt(k * r * t)

    def flow(mach: float) -> float:
        p, t, u = mouth(mach)
        return p / (r * t) * u * area

    def left(mach: float) -> float:
        return float(integrate.quad(lambda x: 2 * (1 - x * x) / (k * x**3 * (1 + (k - 1) / 2 * x * x)), mach, 1)[0])

    choking = optimize.brentq(lambda mach: left(mach) - resistance, 0.02, 0.95, xtol=1e-13)
    rate = share * flow(choking)
    start = optimize.brentq(lambda mach: flow(mach) - rate, 1e-4, choking, xtol=1e-14)
    p1, _, _ = mouth(start)
    flux = rate / area

    def speed(p: float) -> tuple[float, float]:
        # continuity with p = rho r T and cp T + u2/2 = cp 300: a quadratic in u
        b = cp * p / (r * flux)
        u = -b + sqrt(b * b + 2 * cp * 300)
        return u, 300 - u * u / (2 * cp)

    def slope(_: float, p: list[float]) -> list[float]:
        u, t = speed(p[0])
        m2 = u * u / (k * r * t)
        return [-flux * u / 2 * (1 + (k - 1) * m2) / (1 - m2)]

    end = integrate.solve_ivp(slope, (0, resistance), [p1], rtol=1e-11, atol=1e-6, method="DOP853").y[0][-1]
    u, t = speed(end)
    expected = 11e5 - end * (300 / t) ** (k / (k - 1))
    line = Line(diameter=0.1, length=0.0, entrance="none", loss_coefficient=resistance)
    result = inlet(line, replace(GAS, k=k), rate, BASIS, quiet())
    assert result.status is Status.OK
    assert result.loss == pytest.approx(expected, rel=1e-6)
    assert result.mach == pytest.approx(u / sqrt(k * r * t), rel=1e-6)
    over = inlet(line, replace(GAS, k=k), rate / share * 1.0001, BASIS, quiet())
    assert over.status is Status.OUT_OF_RANGE
