"""Non-recoverable loss of the inlet line, from the vessel to the valve inlet flange, at one flow.

Gas and steam: adiabatic flow with friction from the stagnation state in the vessel, right up to choking.
Liquid: Darcy-Weisbach. Two-phase: homogeneous on the omega line, indicative. The static head is reported
beside the loss. The velocity head is recoverable and not in the loss.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.formula import (
    GRAVITY,
    K,
    One,
    Pa,
    PaD,
    PaG,
    R,
    Sheet,
    formula,
    kg_m2s,
    kg_m3,
    kg_mol,
    kg_s,
    m,
    m2,
)
from quietseat.piping import sonic
from quietseat.piping.friction import GAS_VISCOSITY, friction_factor
from quietseat.piping.records import Choices, FlowState, InletResult, known
from quietseat.piping.resistance import Resistance, Run, friction_loss, referred_loss, total_loss
from quietseat.status import Status

GASES = ("gas", "steam")
LOWEST_K = 1.001  # the gas formulas divide by k - 1


@formula("definition")
def mass_flux(flow: kg_s, area: m2) -> kg_m2s:
    """Mass flux of the bore."""
    return flow / area


@formula("definition")
def velocity_head(flux: kg_m2s, density: kg_m3) -> PaD:
    """Velocity head."""
    return flux**2 / (2.0 * density)


@formula("Darcy-Weisbach")
def head_loss(resistance: One, head: PaD) -> PaD:
    """Loss of a run of constant density."""
    return resistance * head


@formula("definition")
def added(sum_so_far: PaD, part: PaD) -> PaD:
    """Sum of losses."""
    return sum_so_far + part


@formula("hydrostatics")
def static_head(density: kg_m3, height: m) -> PaD:
    """Static head of the rise."""
    return density * GRAVITY * height


@formula("definition")
def kept_pressure(pressure: Pa, ratio: One) -> Pa:
    """Stagnation pressure after the run."""
    return pressure * ratio


@formula("ideal gas with Z")
def gas_density(pressure: Pa, molar_mass: kg_mol, Z: One, temperature: K) -> kg_m3:
    """Density of a gas."""
    return pressure * molar_mass / (Z * R * temperature)


@formula("definition")
def loss_fraction(loss: PaD, set_gauge: PaG) -> One:
    """Inlet loss as a fraction of gauge set pressure."""
    return loss / set_gauge


@dataclass(frozen=True, slots=True)
class Gas:
    """What the gas formulas need, complete."""

    temperature: float
    molar_mass: float
    k: float
    Z: float
    viscosity: float


def gas_of(flow: FlowState, Z: float | None, sheet: Sheet, assumed: list[str]) -> Gas:
    """The gas properties of a flow; missing Z and viscosity are assumed and listed, others are a failure."""
    if Z is None:
        Z = 1.0
        assumed.append("Z")
    viscosity = flow.viscosity
    if viscosity is None:
        viscosity = sheet.given("mu", "viscosity, not stated: assumed", GAS_VISCOSITY, "Pa*s", "estimate")
        assumed.append("viscosity")
    k = known(flow.k, "k", "state cp/cv of the gas")
    if k < LOWEST_K:
        sheet.note("k", "heat capacity ratio", f"{k:.6g} raised to {LOWEST_K}", "limit of the gas formulas")
        k = LOWEST_K
    return Gas(
        known(flow.temperature, "temperature"),
        known(flow.molar_mass, "molar mass"),
        k,
        Z,
        viscosity,
    )


def hand_check(sheet: Sheet, gas: Gas, pressure: float, flux: float, n: float) -> None:
    """Record the constant-density estimate of a run beside the exact one (close below about Mach 0.2)."""
    density = sheet.apply(
        "rho", gas_density, pressure=pressure, molar_mass=gas.molar_mass, Z=gas.Z, temperature=gas.temperature
    )
    head = sheet.apply("q", velocity_head, flux=flux, density=density)
    sheet.apply("dp_hand", head_loss, resistance=n, head=head)


def run_resistance(
    run: Run, flux: float, viscosity: float | None, basis: Choices, sheet: Sheet, enlargement: bool
) -> float:
    """Loss coefficient of one run at one flow, on its own bore: fittings, steps, entrance and wall."""
    fixed = run.K_fittings + run.K_enlargement if enlargement else run.K_fittings
    if run.length == 0.0:
        return fixed
    if run.friction_factor is not None:
        f = sheet.given("f", "Darcy friction factor, as stated", run.friction_factor, "", "stated")
    else:
        f = friction_factor(run.roughness, run.diameter, flux, viscosity, basis.friction_correlation, sheet)
    wall = sheet.apply("K_pipe", friction_loss, friction=f, length=run.length, bore=run.diameter)
    return sheet.apply("N", total_loss, fittings=fixed, friction=wall)


def inlet_gas(line: Resistance, flow: FlowState, rate: float, basis: Choices, sheet: Sheet, label: str) -> InletResult:
    """Inlet loss of gas or steam: stagnation pressure followed run by run, adiabatic with friction."""
    assumed: list[str] = []
    gas = gas_of(flow, flow.Z, sheet, assumed)
    k, p0, mach, total = gas.k, flow.pressure, 0.0, 0.0
    sheet.note("method", "inlet loss", "adiabatic with friction (Fanno), losses spread over the run", "computed")
    largest = sonic.choking_number(k)
    for run in line.runs:
        flux = sheet.apply("G", mass_flux, flow=rate, area=run.area)
        n = run_resistance(run, flux, gas.viscosity, basis, sheet, enlargement=True)
        total += referred_loss(n, run.diameter, line.bore)
        number = sheet.apply(
            "B",
            sonic.flux_number,
            mass_flux=flux,
            pressure=p0,
            temperature=gas.temperature,
            Z=gas.Z,
            molar_mass=gas.molar_mass,
            k=k,
        )
        if number >= largest:
            return inlet_choked(line, label, rate, run, total, assumed)
        first, passes = sonic.solve_stagnation_mach(number, k)
        first = sheet.apply("M_1", sonic.mach_from_stagnation, number=number, k=k, mach=first)
        before = sheet.apply("F_1", sonic.fanno_length, mach=first, k=k)
        if before <= n:
            return inlet_choked(line, label, rate, run, total, assumed)
        after = sheet.apply("F_2", sonic.fanno_left, length_upstream=before, resistance=n)
        mach, more = sonic.solve_fanno(after, k)
        if sheet.record:
            sheet.note("M", "Mach numbers", f"converged in {passes} and {more} passes to 1e-12", "Newton")
            sheet.given("M_2", "Mach number at the end of the run", mach, "", "Newton on the next line")
            sheet.apply("F_2", sonic.fanno_length, mach=mach, k=k)
        ratio = sheet.apply("p_ratio", sonic.stagnation_ratio, mach=mach, mach_other=first, k=k)
        if sheet.record:
            hand_check(sheet, gas, p0, flux, n)
        p0 = sheet.apply("p_0", kept_pressure, pressure=p0, ratio=ratio)
    loss = sheet.apply("dp_inlet", sonic.stagnation_loss, before=flow.pressure, after=p0)
    return InletResult(
        loss=loss,
        fraction=None,
        mach=mach,
        static_head=None,
        stagnation=p0,
        status=Status.OK,
        reason="",
        K_total=total,
        length=line.length,
        indicative=False,
        choked=False,
        assumed=all_assumed(line, assumed),
    )


def all_assumed(line: Resistance, assumed: list[str]) -> tuple[str, ...]:
    """What was assumed of the line and of the flow, by field name."""
    return (*line.assumed, *assumed) if assumed else line.assumed


def inlet_choked(
    line: Resistance,
    label: str,
    rate: float,
    run: Run,
    total: float,
    assumed: list[str],
    indicative: bool = False,
) -> InletResult:
    """The result of a flow the line cannot pass: out of range, with the reason."""
    reason = f"{label}: the line chokes, its bore of {run.diameter * 1e3:.4g} mm cannot pass {rate:.4g} kg/s"
    return InletResult(
        loss=None,
        fraction=None,
        mach=None,
        static_head=None,
        stagnation=None,
        status=Status.OUT_OF_RANGE,
        reason=reason,
        K_total=total,
        length=line.length,
        indicative=indicative,
        choked=True,
        assumed=all_assumed(line, assumed),
    )


def inlet_liquid(
    line: Resistance, flow: FlowState, rate: float, basis: Choices, sheet: Sheet, label: str
) -> InletResult:
    """Inlet loss of a liquid of constant density; flashing in the line is told by status and reason."""
    density = known(flow.density, "liquid density")
    assumed: list[str] = [] if flow.viscosity is not None else ["viscosity"]
    loss = total = 0.0
    head = 0.0
    for run in line.runs:
        flux = sheet.apply("G", mass_flux, flow=rate, area=run.area)
        n = run_resistance(run, flux, flow.viscosity, basis, sheet, enlargement=True)
        total += referred_loss(n, run.diameter, line.bore)
        head = sheet.apply("q", velocity_head, flux=flux, density=density)
        part = sheet.apply("dp", head_loss, resistance=n, head=head)
        loss = sheet.apply("dp_inlet", added, sum_so_far=loss, part=part)
    rise = None
    if line.height is not None:
        rise = sheet.apply("dp_head", static_head, density=density, height=line.height)
    stagnation = flow.pressure - loss
    status, reason, choked = Status.OK, "", False
    lowest = stagnation - head - (rise or 0.0)
    if lowest <= 0.0:
        status, choked = Status.OUT_OF_RANGE, True
        reason = f"{label}: the loss exceeds the pressure, the line cannot pass {rate:.4g} kg/s"
    elif flow.saturation_pressure is not None and lowest < flow.saturation_pressure < flow.pressure:
        status = Status.OUT_OF_RANGE
        reason = f"{label}: the liquid flashes in the line ({lowest:.5g} Pa, below its saturation pressure)"
    bad = status is not Status.OK
    return InletResult(
        loss=None if bad else loss,
        fraction=None,
        mach=None,
        static_head=rise,
        stagnation=None if bad else stagnation,
        status=status,
        reason=reason,
        K_total=total,
        length=line.length,
        indicative=False,
        choked=choked,
        assumed=all_assumed(line, assumed),
    )
