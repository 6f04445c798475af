"""What a vessel really pushes through an inlet line and the valve's nozzle behind it."""

# mypy: disable-error-code="no-any-return"
# (a float raised to a float is Any to the checker: it may be complex)

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from quietseat.formula import GRAVITY, K, One, Pa, R, Sheet, formula, kg_m3, kg_mol, kg_s, m, m2
from quietseat.piping import sonic
from quietseat.piping.inlet import GASES, gas_of, kept_pressure, mass_flux, run_resistance, static_head
from quietseat.piping.records import Choices, FlowState, known
from quietseat.piping.resistance import Resistance, referred_loss
from quietseat.status import CalculationFailed, Status


@formula("definition")
def nozzle_share(coefficient: One, nozzle: m2, area: m2) -> One:
    """Coefficient times nozzle area over pipe area."""
    return coefficient * nozzle / area


@formula("choked ideal-gas nozzle, computed", valid={"k": sonic.K_VALID})
def choked_flow(
    coefficient: One, nozzle: m2, stagnation: Pa, temperature: K, Z: One, molar_mass: kg_mol, k: One
) -> kg_s:
    """Flow of a choked nozzle."""
    return (
        coefficient
        * nozzle
        * stagnation
        * sqrt(k * molar_mass / (Z * R * temperature))
        * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))
    )


@formula("isentropic flow, computed", valid={"k": sonic.K_VALID})
def critical_pressure(stagnation: Pa, k: One) -> Pa:
    """Pressure behind a nozzle below which it chokes."""
    return stagnation * (2.0 / (k + 1.0)) ** (k / (k - 1.0))


@formula("Bernoulli with line loss and nozzle in series, computed")
def liquid_flow(
    pressure: Pa, back_pressure: Pa, density: kg_m3, height: m, share: One, resistance: One, area: m2
) -> kg_s:
    """Flow of a liquid through line and nozzle; share is coefficient x nozzle over pipe area."""
    return area * sqrt(
        2.0 * density * (pressure - back_pressure - density * GRAVITY * height) / (1.0 / share**2 + resistance)
    )


@formula("Bernoulli, computed")
def nozzle_stagnation(back_pressure: Pa, flow: kg_s, density: kg_m3, coefficient: One, nozzle: m2) -> Pa:
    """Stagnation pressure before a liquid nozzle."""
    return back_pressure + (flow / (coefficient * nozzle)) ** 2 / (2.0 * density)


@dataclass(frozen=True, slots=True)
class Passed:
    """Flow through line and nozzle, and the stagnation pressure left at the valve inlet."""

    flow: float  # kg/s
    stagnation: float  # Pa absolute at the valve inlet
    mach: float | None


def passed_flow(
    line: Resistance,
    coefficient: float,
    nozzle: float,
    flow: FlowState,
    back_pressure: float,
    basis: Choices,
    sheet: Sheet,
) -> Passed:
    """The flow that line and nozzle settle on: choked gas, steam, or liquid.

    coefficient x nozzle (m2): one area and its own discharge coefficient. back_pressure: Pa absolute behind
    the nozzle. Raises CalculationFailed: out-of-range when the gas nozzle does not choke or the line chokes
    first, not-computed for two-phase.
    """
    if flow.phase in GASES:
        return _gas(line, coefficient, nozzle, flow, back_pressure, basis, sheet)
    if flow.phase != "liquid":
        raise CalculationFailed(Status.NOT_COMPUTED, "flow through line and nozzle: no two-phase")
    return _liquid(line, coefficient, nozzle, flow, back_pressure, basis, sheet)


def _gas(
    line: Resistance,
    coefficient: float,
    nozzle: float,
    flow: FlowState,
    back_pressure: float,
    basis: Choices,
    sheet: Sheet,
) -> Passed:
    """Choked nozzle: the Mach number before it follows from the areas, the rest marches to the vessel."""
    gas = gas_of(flow, flow.Z, sheet, [])
    k, last = gas.k, line.runs[-1]
    share = sheet.apply("alpha", nozzle_share, coefficient=coefficient, nozzle=nozzle, area=last.area)
    if share >= 1.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"the nozzle is not below the pipe (alpha {share:.4g})")
    rest = (gas.temperature, gas.Z, gas.molar_mass, k)
    rate = choked_flow(coefficient, nozzle, flow.pressure, *rest)
    quiet = Sheet(record=False)
    for passes in range(1, 41):  # the friction factor follows the flow
        ratio, mach = _march(line, share, rate, gas.viscosity, k, basis, quiet)
        new = choked_flow(coefficient, nozzle, flow.pressure * ratio, *rest)
        if abs(new - rate) <= 1e-12 * rate:
            sheet.note("W", "flow", f"converged in {passes} passes to 1e-12", "calculation")
            break
        rate = new
    else:
        raise CalculationFailed(Status.NOT_CONVERGED, "flow through line and nozzle did not converge")
    ratio, mach = _march(line, share, rate, gas.viscosity, k, basis, sheet)
    stagnation = sheet.apply("p_0", kept_pressure, pressure=flow.pressure, ratio=ratio)
    if back_pressure > sheet.apply("p_crit", critical_pressure, stagnation=stagnation, k=k):
        raise CalculationFailed(Status.OUT_OF_RANGE, f"the nozzle does not choke against {back_pressure:.5g} Pa")
    rate = sheet.apply(
        "W",
        choked_flow,
        coefficient=coefficient,
        nozzle=nozzle,
        stagnation=stagnation,
        temperature=gas.temperature,
        Z=gas.Z,
        molar_mass=gas.molar_mass,
        k=k,
    )
    return Passed(rate, stagnation, mach)


def _march(
    line: Resistance, share: float, rate: float, viscosity: float, k: float, basis: Choices, sheet: Sheet
) -> tuple[float, float]:
    """Stagnation pressure at the nozzle over that in the vessel, and the Mach number before the nozzle."""
    number = sheet.apply("B", sonic.nozzle_number, alpha=share, k=k)
    at_valve, area, ratio = 0.0, line.runs[-1].area, 1.0
    for run in reversed(line.runs):
        number *= (area / run.area) ** 2  # same flow and stagnation pressure on both sides of a step
        area = run.area
        if number >= sonic.choking_number(k):
            bore = f"{run.diameter * 1e3:.4g} mm"
            raise CalculationFailed(Status.OUT_OF_RANGE, f"the line chokes in its bore of {bore}")
        mach, _ = sonic.solve_stagnation_mach(number, k)
        mach = sheet.apply("M_2", sonic.mach_from_stagnation, number=number, k=k, mach=mach)
        at_valve = at_valve or mach
        n = run_resistance(run, mass_flux(rate, run.area), viscosity, basis, sheet, enlargement=True)
        after = sheet.apply("F_2", sonic.fanno_length, mach=mach, k=k)
        before = sheet.apply("F_1", sonic.fanno_before, length_downstream=after, resistance=n)
        first, _ = sonic.solve_fanno(before, k)
        sheet.apply("F_1", sonic.fanno_length, mach=first, k=k)
        step = sheet.apply("p_ratio", sonic.stagnation_ratio, mach=mach, mach_other=first, k=k)
        ratio *= step
        number *= step * step
    return ratio, at_valve


def _liquid(
    line: Resistance,
    coefficient: float,
    nozzle: float,
    flow: FlowState,
    back_pressure: float,
    basis: Choices,
    sheet: Sheet,
) -> Passed:
    """Liquid: Bernoulli through line and nozzle, the friction factor following the flow."""
    density = known(flow.density, "liquid density")
    share = sheet.apply("alpha", nozzle_share, coefficient=coefficient, nozzle=nozzle, area=line.area)
    given = {
        "pressure": flow.pressure,
        "back_pressure": back_pressure,
        "density": density,
        "height": line.height or 0.0,
        "share": share,
        "area": line.area,
    }
    if flow.pressure - static_head(density, given["height"]) <= back_pressure:
        raise CalculationFailed(Status.OUT_OF_RANGE, "no pressure is left to drive the liquid")
    rate, quiet = liquid_flow(resistance=0.0, **given), Sheet(record=False)
    for passes in range(1, 41):
        total = _total(line, rate, flow.viscosity, basis, quiet)
        new = liquid_flow(resistance=total, **given)
        if abs(new - rate) <= 1e-12 * rate:
            sheet.note("W", "flow", f"converged in {passes} passes to 1e-12", "calculation")
            break
        rate = new
    else:
        raise CalculationFailed(Status.NOT_CONVERGED, "flow through line and nozzle did not converge")
    rate = sheet.apply("W", liquid_flow, resistance=_total(line, rate, flow.viscosity, basis, sheet), **given)
    stagnation = sheet.apply(
        "p_0",
        nozzle_stagnation,
        back_pressure=back_pressure,
        flow=rate,
        density=density,
        coefficient=coefficient,
        nozzle=nozzle,
    )
    return Passed(rate, stagnation, None)


def _total(line: Resistance, rate: float, viscosity: float | None, basis: Choices, sheet: Sheet) -> float:
    """Loss coefficient of the whole line at this flow, on its smallest bore."""
    return sum(
        referred_loss(
            run_resistance(run, mass_flux(rate, run.area), viscosity, basis, sheet, enlargement=True),
            run.diameter,
            line.bore,
        )
        for run in line.runs
    )
