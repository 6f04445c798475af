"""Built-up back pressure: static pressure at the valve outlet, marched upstream from the discharge point.

Gas and steam: adiabatic with friction, Mach 1 at most, sudden enlargements by the momentum balance (the
recovery of a gradual expander is not credited: conservative). Liquid: Darcy-Weisbach and the rise. Two-phase:
homogeneous on the omega line, indicative.
"""

from __future__ import annotations

from quietseat.formula import One, Pa, PaD, Sheet, formula, m2
from quietseat.piping import sonic
from quietseat.piping.inlet import (
    Gas,
    gas_of,
    head_loss,
    mass_flux,
    run_resistance,
    static_head,
    velocity_head,
)
from quietseat.piping.records import Choices, FlowState, OutletResult, known
from quietseat.piping.resistance import SAME_BORE, Resistance, Run, referred_loss
from quietseat.status import CalculationFailed, Status


@formula("definition")
def built_up_pressure(outlet: Pa, superimposed: Pa) -> PaD:
    """Built-up back pressure."""
    return outlet - superimposed


@formula("definition")
def pressure_above(outlet: Pa, floor: Pa) -> PaD:
    """What the pipe adds above the choked valve outlet or the superimposed pressure."""
    return outlet - floor


@formula("definition")
def step_ratio(area: m2, area_downstream: m2) -> One:
    """Area before over area after a step."""
    return area / area_downstream


@formula("Bernoulli with losses")
def upstream_pressure(downstream: Pa, head_downstream: PaD, losses: PaD, head: PaD) -> Pa:
    """Static pressure before the losses, from static pressure and velocity heads."""
    return downstream + head_downstream + losses - head


@formula("hydrostatics")
def risen_pressure(pressure: Pa, head: PaD) -> Pa:
    """Static pressure under the rise of the line."""
    return pressure + head


def outlet_gas(
    line: Resistance,
    flow: FlowState,
    rate: float,
    superimposed: float,
    basis: Choices,
    sheet: Sheet,
    label: str,
) -> OutletResult:
    """Back pressure of gas or steam; the stagnation temperature is that of the vessel, Z that of the pipe."""
    assumed: list[str] = []
    if flow.Z_outlet is None:
        sheet.note("Z", "Z in the outlet", "taken as 1: the gas has expanded", "common practice, no source")
    gas = gas_of(flow, 1.0 if flow.Z_outlet is None else flow.Z_outlet, sheet, assumed)
    first = line.runs[0]
    flux = sheet.apply("G", mass_flux, flow=rate, area=first.area)
    floor = _static(sheet, "p_floor", gas, flux, 1.0)
    if line.no_pipe:
        return _bare(line, flow, label, gas, flux, floor, superimposed, sheet, assumed)
    sheet.note(
        "method",
        "built-up back pressure",
        "adiabatic with friction (Fanno), upstream from the exit",
        "computed",
    )
    pressure, mach, choked = _exit(gas, line.runs[-1], rate, superimposed, sheet)
    exit_pressure, exit_mach, most, total = pressure, mach, mach, 0.0
    after: Run | None = None
    for run in reversed(line.runs):
        flux = sheet.apply("G", mass_flux, flow=rate, area=run.area)
        if after is not None:
            pressure, mach, here = _step(gas, run, after, flux, pressure, mach, sheet)
            choked, most = choked or here, max(most, mach)
        n = run_resistance(run, flux, gas.viscosity, basis, sheet, enlargement=False)
        total += referred_loss(n + run.K_enlargement, run.diameter, line.bore)
        if n > 0.0:
            mach = _fanno_up(mach, n, gas.k, sheet)
            pressure = _static(sheet, "p_1", gas, flux, mach)
        after = run
    pressure = credited(pressure, superimposed, sheet)
    back = sheet.apply("dp_built_up", built_up_pressure, outlet=pressure, superimposed=superimposed)
    above = sheet.apply("dp_pipe", pressure_above, outlet=pressure, floor=max(floor, superimposed))
    temperature = sheet.apply("T_exit", sonic.static_temperature, temperature=gas.temperature, mach=exit_mach, k=gas.k)
    return finish(
        line,
        flow,
        label,
        assumed,
        built_up=back,
        outlet_static=pressure,
        mach_outlet=mach,
        mach_exit=exit_mach,
        mach_max=most,
        choked=choked,
        floor=floor,
        above_floor=above,
        exit_pressure=exit_pressure,
        exit_temperature=temperature,
        K_total=total,
    )


def _static(sheet: Sheet, symbol: str, gas: Gas, flux: float, mach: float) -> float:
    return sheet.apply(
        symbol,
        sonic.static_from_mach,
        mass_flux=flux,
        temperature=gas.temperature,
        Z=gas.Z,
        molar_mass=gas.molar_mass,
        k=gas.k,
        mach=mach,
    )


def _number(sheet: Sheet, gas: Gas, flux: float, pressure: float) -> float:
    return sheet.apply(
        "B",
        sonic.flux_number,
        mass_flux=flux,
        pressure=pressure,
        temperature=gas.temperature,
        Z=gas.Z,
        molar_mass=gas.molar_mass,
        k=gas.k,
    )


def _exit(gas: Gas, run: Run, rate: float, superimposed: float, sheet: Sheet) -> tuple[float, float, bool]:
    """Static pressure, Mach number and choking at the discharge point."""
    flux = mass_flux(rate, run.area)
    mach = sheet.apply("M_exit", sonic.mach_from_static, number=_number(sheet, gas, flux, superimposed), k=gas.k)
    if mach < 1.0:
        if sheet.record:
            sheet.note("exit", "discharge point", f"subsonic: Mach {mach:.4g} < 1", "calculation")
        return superimposed, mach, False
    if sheet.record:
        sheet.note("exit", "discharge point", f"choked: {mach:.4g} >= 1, so Mach 1 and its pressure", "calculation")
    return _static(sheet, "p_exit", gas, flux, 1.0), 1.0, True


def _step(
    gas: Gas, run: Run, after: Run, flux: float, pressure: float, mach: float, sheet: Sheet
) -> tuple[float, float, bool]:
    """Static pressure and Mach number before a change of bore, and whether the smaller bore chokes there."""
    k = gas.k
    if abs(run.diameter / after.diameter - 1.0) <= SAME_BORE:
        return pressure, mach, False
    if run.diameter > after.diameter:  # the loss of the contraction is in the run after it
        p0 = sheet.apply("p_0", sonic.stagnation_pressure, pressure=pressure, mach=mach, k=k)
        number = _number(sheet, gas, flux, p0)
        before, _ = sonic.solve_stagnation_mach(number, k)
        before = sheet.apply("M", sonic.mach_from_stagnation, number=number, k=k, mach=before)
        return sheet.apply("p", sonic.static_pressure, stagnation=p0, mach=before, k=k), before, False
    share = sheet.apply("A_ratio", step_ratio, area=run.area, area_downstream=after.area)
    impulse = sheet.apply("J", sonic.impulse_number, mach=mach, k=k)
    linear = sheet.apply("b", sonic.enlargement_linear, area_ratio=share, impulse=impulse, k=k)
    square = sheet.apply("a", sonic.enlargement_square, area_ratio=share, impulse=impulse, k=k)
    before = 2.0
    if linear > 0.0 and linear * linear > 4.0 * square:
        before = sheet.apply("M", sonic.enlargement_mach, linear=linear, square=square)
    if before >= 1.0:
        sheet.note("M", "before the enlargement", "the smaller bore chokes: Mach 1", "calculation")
        return _static(sheet, "p", gas, flux, 1.0), 1.0, True
    return _static(sheet, "p", gas, flux, before), before, False


def _fanno_up(mach: float, n: float, k: float, sheet: Sheet) -> float:
    """Mach number at the start of a run from that at its end."""
    after = sheet.apply("F_2", sonic.fanno_length, mach=mach, k=k)
    before = sheet.apply("F_1", sonic.fanno_before, length_downstream=after, resistance=n)
    first, passes = sonic.solve_fanno(before, k)
    if sheet.record:
        sheet.given("M_1", "Mach number at the start of the run", first, "", "Newton on the next line")
        sheet.apply("F_1", sonic.fanno_length, mach=first, k=k)
        sheet.note("M_1", "Mach number", f"converged in {passes} passes to 1e-12", "calculation")
    return first


def _bare(
    line: Resistance,
    flow: FlowState,
    label: str,
    gas: Gas,
    flux: float,
    floor: float,
    superimposed: float,
    sheet: Sheet,
    assumed: list[str],
) -> OutletResult:
    """An outlet without a pipe: no built-up pressure; the choked valve outlet is reported as the floor."""
    static = max(floor, superimposed)
    number = _number(sheet, gas, flux, static)
    mach = min(sheet.apply("M_exit", sonic.mach_from_static, number=number, k=gas.k), 1.0)
    sheet.note("dp_built_up", "built-up back pressure", "no outlet pipe: 0 beside the body's own floor", "definition")
    temperature = sheet.apply("T_exit", sonic.static_temperature, temperature=gas.temperature, mach=mach, k=gas.k)
    return finish(
        line,
        flow,
        label,
        assumed,
        built_up=0.0,
        outlet_static=static,
        mach_outlet=mach,
        mach_exit=mach,
        mach_max=mach,
        choked=floor > superimposed,
        floor=floor,
        above_floor=0.0,
        exit_pressure=static,
        exit_temperature=temperature,
    )


def credited(pressure: float, superimposed: float, sheet: Sheet) -> float:
    """Static pressure at the flange; what an enlargement recovers below the discharge pressure is not credited."""
    if pressure >= superimposed:
        return pressure
    sheet.note(
        "p_outlet",
        "static pressure at the flange",
        "below the discharge pressure (recovered downstream): not credited",
        "conservative",
    )
    return superimposed


def finish(
    line: Resistance,
    flow: FlowState,
    label: str,
    assumed: list[str],
    *,
    built_up: float,
    outlet_static: float,
    above_floor: float,
    exit_pressure: float,
    mach_outlet: float | None = None,
    mach_exit: float | None = None,
    mach_max: float | None = None,
    choked: bool = False,
    floor: float | None = None,
    exit_temperature: float | None = None,
    K_total: float = 0.0,
    indicative: bool = False,
) -> OutletResult:
    """The result, out of range when the pipe would need more pressure than the vessel has."""
    bad = not outlet_static < flow.pressure
    reason = "indicative: homogeneous two-phase" if indicative else ""
    if bad:
        reason = (
            f"{label}: the flow needs {outlet_static:.5g} Pa at the valve outlet, not below the "
            f"{flow.pressure:.5g} Pa at the inlet: the pipe cannot pass it"
        )
    return OutletResult(
        built_up=None if bad else built_up,
        outlet_static=None if bad else outlet_static,
        mach_outlet=mach_outlet,
        mach_exit=mach_exit,
        mach_max=mach_max,
        choked=choked,
        floor=floor,
        above_floor=None if bad else above_floor,
        exit_pressure=exit_pressure,
        exit_temperature=exit_temperature,
        exit_bore=line.runs[-1].diameter,
        status=Status.OUT_OF_RANGE if bad else Status.OK,
        reason=reason,
        K_total=K_total,
        length=line.length,
        indicative=indicative,
        assumed=(*line.assumed, *assumed),
    )


def outlet_liquid(
    line: Resistance,
    flow: FlowState,
    rate: float,
    superimposed: float,
    basis: Choices,
    sheet: Sheet,
    label: str,
) -> OutletResult:
    """Back pressure of a liquid that does not flash; a rise counts, a fall is not credited."""
    density = known(flow.density, "liquid density")
    if flow.saturation_pressure is not None and flow.saturation_pressure > superimposed:
        raise CalculationFailed(
            Status.NOT_COMPUTED,
            f"{label}: the liquid flashes at {superimposed:.5g} Pa: its outlet needs v and omega",
        )
    assumed: list[str] = [] if flow.viscosity is not None else ["viscosity"]
    rise = _rise(line, density, sheet, assumed)
    if line.no_pipe:
        return finish(
            line,
            flow,
            label,
            assumed,
            built_up=0.0,
            outlet_static=superimposed,
            above_floor=0.0,
            exit_pressure=superimposed,
        )
    pressure, total = superimposed, 0.0
    head_after: float | None = None
    for run in reversed(line.runs):
        flux = sheet.apply("G", mass_flux, flow=rate, area=run.area)
        n = run_resistance(run, flux, flow.viscosity, basis, sheet, enlargement=True)
        total += referred_loss(n, run.diameter, line.bore)
        head = sheet.apply("q", velocity_head, flux=flux, density=density)
        part = sheet.apply("dp", head_loss, resistance=n, head=head)
        pressure = sheet.apply(
            "p_1",
            upstream_pressure,
            downstream=pressure,
            head_downstream=head if head_after is None else head_after,
            losses=part,
            head=head,
        )
        head_after = head
    pressure = sheet.apply("p_outlet", risen_pressure, pressure=pressure, head=rise)
    pressure = credited(pressure, superimposed, sheet)
    back = sheet.apply("dp_built_up", built_up_pressure, outlet=pressure, superimposed=superimposed)
    return finish(
        line,
        flow,
        label,
        assumed,
        built_up=back,
        outlet_static=pressure,
        above_floor=back,
        exit_pressure=superimposed,
        K_total=total,
    )


def _rise(line: Resistance, density: float, sheet: Sheet, assumed: list[str]) -> float:
    if line.height is None:
        sheet.note("h", "rise", "not stated: level taken", "assumed")
        assumed.append("height")
        return 0.0
    if line.height <= 0.0:
        sheet.note("h", "rise", "the line does not rise; a fall is not credited", "conservative, common practice")
        return 0.0
    return sheet.apply("dp_head", static_head, density=density, height=line.height)
