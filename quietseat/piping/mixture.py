"""Homogeneous two-phase flow on the omega line, inlet and outlet: simple, and marked indicative."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt

from quietseat.formula import One, Pa, PaD, Sheet, formula, kg_m2s, kg_m3, m3_kg
from quietseat.piping import sonic
from quietseat.piping.inlet import (
    all_assumed,
    head_loss,
    inlet_choked,
    mass_flux,
    run_resistance,
    static_head,
    velocity_head,
)
from quietseat.piping.outlet import built_up_pressure, credited, finish, pressure_above, upstream_pressure
from quietseat.piping.records import Choices, FlowState, InletResult, OutletResult, known
from quietseat.piping.resistance import SAME_BORE, Resistance, Run, referred_loss
from quietseat.status import CalculationFailed, Status


@formula("omega line (Leung), memory-hi; indicative")
def mixture_volume(specific_volume: m3_kg, omega: One, reference: Pa, pressure: Pa) -> m3_kg:
    """Specific volume of the homogeneous mixture at a pressure below the reference."""
    return specific_volume * (1.0 + omega * (reference / pressure - 1.0))


@formula("definition")
def density_of(volume: m3_kg) -> kg_m3:
    """Density from specific volume."""
    return 1.0 / volume


@formula("homogeneous flow, sound speed of the omega line, computed; indicative")
def choking_pressure_mixture(flux: kg_m2s, specific_volume: m3_kg, omega: One, reference: Pa) -> Pa:
    """Static pressure at which a bore passes the mixture at its sound speed."""
    return flux * sqrt(specific_volume * omega * reference)


@formula("definition; indicative")
def mixture_mach(choking: Pa, pressure: Pa) -> One:
    """Mach number of the homogeneous mixture."""
    return choking / pressure


@formula("definition")
def pressure_left(before: Pa, part: PaD) -> Pa:
    """Stagnation pressure after the run."""
    return before - part


@formula("mid-point of the run; indicative")
def mid_pressure(before: Pa, loss: PaD, head: PaD) -> Pa:
    """Static pressure in the middle of the run."""
    return before - loss / 2.0 - head


@formula("Simpson's rule over pressure; indicative")
def mean_density(start: kg_m3, middle: kg_m3, end: kg_m3) -> kg_m3:
    """Mean density of the run."""
    return (start + 4.0 * middle + end) / 6.0


@formula(
    "momentum of homogeneous flow in a constant bore, computed; right when the start pressure behind the "
    "density and volume comes out; indicative"
)
def mixture_start(end: Pa, flux: kg_m2s, density: kg_m3, resistance: One, volume_end: m3_kg, volume_start: m3_kg) -> Pa:
    """Static pressure at the start of the run, friction and acceleration."""
    return end + flux**2 / (2.0 * density) * (resistance + 2.0 * log(volume_end / volume_start))


@dataclass(frozen=True, slots=True)
class Mixture:
    """What the two-phase formulas need, complete."""

    specific_volume: float
    omega: float
    reference: float
    viscosity: float | None

    def volume(self, pressure: float) -> float:
        """Specific volume at a pressure; above the reference it is that of the reference."""
        return mixture_volume(self.specific_volume, self.omega, self.reference, min(pressure, self.reference))


def mixture_of(flow: FlowState, assumed: list[str]) -> Mixture:
    """The two-phase properties of a flow. Raises CalculationFailed for a missing volume or omega."""
    if flow.viscosity is None:
        assumed.append("viscosity")
    return Mixture(
        known(flow.specific_volume, "two-phase specific volume"),
        known(flow.omega, "omega", "state the specific volume at 90 % of the relieving pressure"),
        flow.reference_pressure if flow.reference_pressure is not None else flow.pressure,
        flow.viscosity,
    )


def inlet_mixture(
    line: Resistance, flow: FlowState, rate: float, basis: Choices, sheet: Sheet, label: str
) -> InletResult:
    """Inlet loss of a homogeneous two-phase mixture, density at the middle of each run; indicative."""
    assumed: list[str] = []
    mix = mixture_of(flow, assumed)
    sheet.note("method", "inlet loss", "homogeneous two-phase, mid-run density: indicative", "estimate")
    p0, total, mach = flow.pressure, 0.0, 0.0
    rho = density_of(mix.volume(p0))
    for run in line.runs:
        flux = sheet.apply("G", mass_flux, flow=rate, area=run.area)
        n = run_resistance(run, flux, mix.viscosity, basis, sheet, enlargement=True)
        total += referred_loss(n, run.diameter, line.bore)
        choking = sheet.apply(
            "p_choke",
            choking_pressure_mixture,
            flux=flux,
            specific_volume=mix.specific_volume,
            omega=mix.omega,
            reference=mix.reference,
        )
        middle, passes = _mid(mix, p0, flux, n)
        if middle is None:
            return inlet_choked(line, label, rate, run, total, assumed, True)
        volume = sheet.apply(
            "v",
            mixture_volume,
            specific_volume=mix.specific_volume,
            omega=mix.omega,
            reference=mix.reference,
            pressure=min(middle, mix.reference),
        )
        rho = sheet.apply("rho", density_of, volume=volume)
        head = sheet.apply("q", velocity_head, flux=flux, density=rho)
        part = sheet.apply("dp", head_loss, resistance=n, head=head)
        if sheet.record:
            sheet.note("p_mid", "density", f"taken at {middle:.6g} Pa, converged in {passes} passes", "calculation")
        p0 = sheet.apply("p_0", pressure_left, before=p0, part=part)
        static = p0 - head
        if static <= choking:
            return inlet_choked(line, label, rate, run, total, assumed, True)
        mach = sheet.apply("M", mixture_mach, choking=choking, pressure=static)
    loss = sheet.apply("dp_inlet", sonic.stagnation_loss, before=flow.pressure, after=p0)
    rise = None
    if line.height is not None:
        rise = sheet.apply("dp_head", static_head, density=rho, height=line.height)
    return InletResult(
        loss=loss,
        fraction=None,
        mach=mach,
        static_head=rise,
        stagnation=p0,
        status=Status.OK,
        reason="indicative: homogeneous two-phase",
        K_total=total,
        length=line.length,
        indicative=True,
        choked=False,
        assumed=all_assumed(line, assumed),
    )


def _mid(mix: Mixture, p0: float, flux: float, n: float) -> tuple[float | None, int]:
    """Static pressure in the middle of the run by substitution; None when it falls away (choked)."""
    pressure = p0
    for passes in range(1, 41):
        head = velocity_head(flux, density_of(mix.volume(pressure)))
        new = mid_pressure(p0, head_loss(n, head), head)
        if new <= 0.1 * p0:
            return None, passes
        if abs(new - pressure) < 1e-10 * p0:
            return new, passes
        pressure = new
    return None, 40


def outlet_mixture(
    line: Resistance,
    flow: FlowState,
    rate: float,
    superimposed: float,
    basis: Choices,
    sheet: Sheet,
    label: str,
) -> OutletResult:
    """Back pressure of a homogeneous two-phase mixture, choked exits included; the rise is left out."""
    assumed: list[str] = []
    mix = mixture_of(flow, assumed)
    sheet.note("method", "built-up back pressure", "homogeneous two-phase on the omega line: indicative", "estimate")
    first_flux = mass_flux(rate, line.runs[0].area)
    floor = _choke(sheet, "p_floor", mix, first_flux)
    if line.no_pipe:
        static = max(floor, superimposed)
        mach = min(mixture_mach(floor, static), 1.0)
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
            indicative=True,
        )
    exit_flux = mass_flux(rate, line.runs[-1].area)
    choking = _choke(sheet, "p_choke", mix, exit_flux)
    choked = choking > superimposed
    pressure = exit_pressure = max(choking, superimposed)
    exit_mach = most = mach = sheet.apply("M_exit", mixture_mach, choking=choking, pressure=pressure)
    total, after = 0.0, None
    for run in reversed(line.runs):
        flux = sheet.apply("G", mass_flux, flow=rate, area=run.area)
        n = run_resistance(run, flux, mix.viscosity, basis, sheet, enlargement=False)
        total += referred_loss(n + run.K_enlargement, run.diameter, line.bore)
        choking = _choke(sheet, "p_choke", mix, flux)
        if after is not None:
            pressure = _mixture_step(mix, run, after, rate, pressure, sheet)
            choked, pressure = choked or choking > pressure, max(choking, pressure)
            most = max(most, mixture_mach(choking, pressure))
        if n > 0.0:
            pressure = _mixture_up(mix, flux, n, pressure, choking, sheet)
        mach = sheet.apply("M", mixture_mach, choking=choking, pressure=pressure)
        after = run
    pressure = credited(pressure, superimposed, sheet)
    back = sheet.apply("dp_built_up", built_up_pressure, outlet=pressure, superimposed=superimposed)
    above = sheet.apply("dp_pipe", pressure_above, outlet=pressure, floor=max(floor, superimposed))
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
        K_total=total,
        indicative=True,
    )


def _choke(sheet: Sheet, symbol: str, mix: Mixture, flux: float) -> float:
    return sheet.apply(
        symbol,
        choking_pressure_mixture,
        flux=flux,
        specific_volume=mix.specific_volume,
        omega=mix.omega,
        reference=mix.reference,
    )


def _mixture_step(mix: Mixture, run: Run, after: Run, rate: float, pressure: float, sheet: Sheet) -> float:
    """Static pressure before a change of bore, at the density behind it (enlargement: Borda loss)."""
    if abs(run.diameter / after.diameter - 1.0) <= SAME_BORE:
        return pressure
    density = density_of(mix.volume(pressure))
    head = velocity_head(mass_flux(rate, run.area), density)
    return sheet.apply(
        "p",
        upstream_pressure,
        downstream=pressure,
        head_downstream=velocity_head(mass_flux(rate, after.area), density),
        losses=head_loss(run.K_enlargement, head),
        head=head,
    )


def _mixture_up(mix: Mixture, flux: float, n: float, end: float, choking: float, sheet: Sheet) -> float:
    """Static pressure at the start of a run: Newton's method on its momentum, from the high side."""
    volume_end = mix.volume(end)
    pressure = end + flux**2 * volume_end * n / 2.0 + choking * sqrt(n)
    for passes in range(1, 61):
        start, density = mix.volume(pressure), _mean(mix, pressure, end)
        new = mixture_start(end, flux, density, n, volume_end, start)
        # d(new)/dp: the mean density and the acceleration both follow the start pressure
        slope = 1.0 - start**-1.0 / density * max(1.0 - (choking / pressure) ** 2, 1e-6)
        step = (pressure - new) / (1.0 - slope)
        pressure = max(pressure - step, end)
        if abs(step) < 1e-10 * pressure:
            if sheet.record:
                sheet.note("p_1", "start of the run", f"converged in {passes} passes to 1e-10", "calculation")
            break
    else:
        raise CalculationFailed(Status.NOT_CONVERGED, "two-phase outlet: the start pressure did not converge")
    start = sheet.apply(
        "v_1",
        mixture_volume,
        specific_volume=mix.specific_volume,
        omega=mix.omega,
        reference=mix.reference,
        pressure=min(pressure, mix.reference),
    )
    density = sheet.apply(
        "rho",
        mean_density,
        start=density_of(start),
        middle=density_of(mix.volume((pressure + end) / 2.0)),
        end=density_of(volume_end),
    )
    return sheet.apply(
        "p_1",
        mixture_start,
        end=end,
        flux=flux,
        density=density,
        resistance=n,
        volume_end=volume_end,
        volume_start=start,
    )


def _mean(mix: Mixture, start: float, end: float) -> float:
    return mean_density(
        density_of(mix.volume(start)),
        density_of(mix.volume((start + end) / 2.0)),
        density_of(mix.volume(end)),
    )
