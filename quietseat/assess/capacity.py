"""One case: what the valve must pass and what it can pass, with back pressure counted in."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

from quietseat import fluids
from quietseat.assess.copies import changed
from quietseat.basis import Basis
from quietseat.formula import One, Pa, PaD, Sheet, formula, m2
from quietseat.model import Case, Location, Valve
from quietseat.piping.records import FlowState
from quietseat.sizing import size
from quietseat.sizing.pressure import least_rise, over_set, overpressure, relieving_pressure_mawp
from quietseat.sizing.rated import CERTIFIED, Flow, Pair, flow_through, full_pair, pair_of
from quietseat.sizing.request import Request, Result
from quietseat.sizing.twophase import omega_subcooled, omega_two_phase
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

WATER = 0.01801528  # kg/mol, IAPWS
RATED_OVERPRESSURE = 0.10  # at which capacity is stamped (ASME VIII/XIII; seen)
_NO_SET = "set pressure unknown: state it in the register"


@formula("ASME VIII/XIII: capacity is stamped at 10 % or 3 psi above set, whichever is more; memory-hi")
def least_rated(p_set: Pa, rise: PaD) -> Pa:
    """Pressure of the rated capacity, least rise above set."""
    return p_set + rise


@formula("capacity about linear in lift; common practice, no source (the certificate decides)")
def restricted_area(A: m2, lift: One) -> m2:
    """Flow area left by a lift stop."""
    return A * lift


@dataclass(frozen=True, slots=True)
class Duty:
    """One case made ready for the equations."""

    case: Case
    method: str
    request: Request  # at the relieving pressure of the case, back pressure still superimposed only
    state: FlowState  # in the vessel, at 10 % overpressure
    outlet_state: FlowState  # what the outlet line carries
    required_flow: float | None  # kg/s, this valve's share
    relieving_pressure: float  # Pa absolute
    rated_pressure: float  # Pa absolute at 10 % overpressure on set: inlet loss and stability
    overpressure: float | None  # allowed, on gauge set
    superimposed: float  # Pa absolute, the highest
    sound_speed: float | None  # m/s, where stated or looked up
    indicative: bool = False  # homogeneous two-phase


def duty(location: Location, case: Case, basis: Basis, sheet: Sheet) -> Duty:
    """Make a case ready. Raises CalculationFailed(NOT_COMPUTED) naming what is missing."""
    valve, mawp = location.valve, location.vessel.mawp
    set_pressure, atmospheric = valve.set_pressure, basis.atmospheric_pressure
    if set_pressure is None or mawp is None:
        raise CalculationFailed(Status.NOT_COMPUTED, _NO_SET)
    if set_pressure <= atmospheric:
        raise CalculationFailed(Status.OUT_OF_RANGE, "set pressure is not above atmospheric pressure")
    factor = case.accumulation or basis.accumulation_single
    pressure = relieving_pressure_mawp(mawp, factor, atmospheric, sheet, basis.code)
    rated = _rated_pressure(set_pressure, basis, sheet)
    superimposed = case.superimposed_max or atmospheric
    method = _method(case, pressure, superimposed)
    flow = _share(case, sheet)
    state, sound_speed = _state(case, method, rated, pressure)
    request = _request(valve, case, method, pressure, superimposed, flow)
    return Duty(
        case, method, request, state, _outlet_state(case, method, state), flow, pressure, rated,
        overpressure(pressure, set_pressure, atmospheric), superimposed, case.sound_speed or sound_speed,
        method in ("two-phase", "hem", "subcooled"),
    )  # fmt: skip


def _rated_pressure(set_pressure: float, basis: Basis, sheet: Sheet) -> float:
    """Pressure at which capacity is rated: 10 % above set, or 3 psi by ASME VIII/XIII."""
    atmospheric = basis.atmospheric_pressure
    rated = sheet.apply("P_r", over_set, OP=RATED_OVERPRESSURE, p_set=set_pressure, p_atm=atmospheric)
    least = least_rise(basis.code, 1.0 + RATED_OVERPRESSURE)
    if least is not None and set_pressure + least[0] > rated:
        rated = sheet.apply("P_r", least_rated, p_set=set_pressure, rise=least[0])
    return rated


def _method(case: Case, pressure: float, superimposed: float) -> str:
    if case.phase is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "phase at relief unknown: state gas, steam, liquid or two-phase")
    if case.phase == "two-phase":
        return _two_phase_method(case, pressure)
    if case.phase != "liquid" or case.saturation_pressure is None or case.saturation_pressure <= superimposed:
        return case.phase  # a liquid which stays liquid down to the back pressure
    if case.density_90 is None:
        raise CalculationFailed(
            Status.NOT_COMPUTED,
            "the liquid flashes at the back pressure: state its mixture density at 90 % of the saturation pressure",
        )
    return "subcooled"


def _two_phase_method(case: Case, pressure: float) -> str:
    if case.specific_volume is not None and case.specific_volume_90 is not None:
        return "two-phase"
    key = fluids.resolve(case.fluid) if case.fluid else None
    if key and case.quality is not None:
        return "hem"
    if key and case.temperature is not None and fluids.state(key, pressure, case.temperature).phase == "liquid":
        return "hem"  # a liquid that flashes in the nozzle
    raise CalculationFailed(
        Status.NOT_COMPUTED,
        "two-phase case needs the specific volume at P1 and at 0.9 P1, or a pure fluid with its vapour fraction",
    )


def _share(case: Case, sheet: Sheet) -> float | None:
    """The flow one valve must pass: a case shared by m needed valves is split evenly."""
    flow = case.flow
    if flow is None and case.volume_flow is not None and case.density is not None:
        flow = case.volume_flow * case.density
    if flow is None:
        return None
    needed = case.required or 1
    if needed > 1:
        sheet.note("share", "valves that share the case", f"{needed} of {case.installed or needed} valves are needed; "
                   f"each passes 1/{needed}", "register")  # fmt: skip
    return flow / needed


_NEED = {"gas": ("molar_mass", "k", "temperature"), "liquid": ("density",), "subcooled": ("density",)}


def _request(
    valve: Valve, case: Case, method: str, pressure: float, superimposed: float, flow: float | None
) -> Request:
    for name in _NEED.get(method, ()):
        if getattr(case, name) is None:
            raise CalculationFailed(Status.NOT_COMPUTED, f"{name.replace('_', ' ')} at relief unknown: state it")
    return Request(
        method=method, relieving_pressure=pressure, set_pressure=valve.set_pressure, back_pressure=superimposed,
        kind=valve.kind or "conventional", flow=flow, molar_mass=case.molar_mass, k=case.k,
        temperature=case.temperature if method != "hem" or case.quality is None else None, Z=case.Z, density=case.density,
        viscosity=case.viscosity if method == "liquid" else None,
        certified=valve.liquid_trim is not False, specific_volume=case.specific_volume,
        specific_volume_90=case.specific_volume_90, saturation_pressure=case.saturation_pressure,
        density_90=case.density_90, fluid=fluids.resolve(case.fluid) if method == "hem" else None,
        quality=case.quality, overrides={"Kc": disk_factor()} if valve.rupture_disk else {},
    )  # fmt: skip


@cache
def disk_factor() -> float:
    """Kc of a rupture disk that is not certified with its valve."""
    return float(table("defaults").row(field="Kc")["value"])


# -- the fluid on its way --------------------------------------------------------------------------------------


def _state(case: Case, method: str, pressure: float, relieving: float) -> tuple[FlowState, float | None]:
    """The fluid in the vessel at rated pressure as the piping equations want it, and its sound speed if known."""
    if method == "gas":
        return FlowState("gas", pressure, case.temperature, case.molar_mass, case.k, case.Z, viscosity=case.viscosity), None
    if method == "steam":
        return _steam(case, pressure)
    if method in ("liquid", "subcooled"):
        return FlowState("liquid", pressure, case.temperature, density=case.density, viscosity=case.viscosity,
                         saturation_pressure=case.saturation_pressure), None  # fmt: skip
    if method == "hem":
        return _hem_state(case, pressure), None
    volume, volume_90 = case.specific_volume, case.specific_volume_90
    assert volume is not None and volume_90 is not None
    omega = omega_two_phase(v9=volume_90, v1=volume)
    return FlowState("two-phase", pressure, case.temperature, specific_volume=volume, omega=omega,
                     reference_pressure=relieving), None  # fmt: skip


def _steam(case: Case, pressure: float) -> tuple[FlowState, float | None]:
    """Steam at rated pressure; a stated temperature at or below saturation means saturated steam."""
    state = None
    if case.temperature is not None and case.temperature > fluids.saturation_temperature("Water", pressure) + 0.1:
        state = fluids.state("Water", pressure, case.temperature)
    state = state or fluids.state("Water", pressure, None, 1.0)
    line = FlowState("steam", pressure, state.temperature, WATER, case.k or state.k_ideal, state.Z, viscosity=state.viscosity)
    return line, state.sound_speed


def _hem_state(case: Case, pressure: float) -> FlowState:
    key = fluids.known(case.fluid or "")
    state = fluids.state(key, pressure, None if case.quality is not None else case.temperature, case.quality)
    density_90, _ = fluids.isentrope(key, state.entropy, 0.9 * pressure)
    omega = omega_two_phase(v9=1 / density_90, v1=1 / state.density)
    return FlowState("two-phase", pressure, case.temperature, specific_volume=1 / state.density, omega=omega)


def _outlet_state(case: Case, method: str, state: FlowState) -> FlowState:
    """Behind the valve: a subcooled liquid flashes on the omega line of its saturation pressure (indicative)."""
    if method != "subcooled":
        return state
    density, density_90 = case.density, case.density_90
    assert density is not None and density_90 is not None
    omega = omega_subcooled(rho_l0=density, rho_9=density_90)
    return FlowState("two-phase", state.pressure, state.temperature, viscosity=state.viscosity, specific_volume=1 / density,
                     omega=omega, reference_pressure=case.saturation_pressure)  # fmt: skip


# -- what passes -----------------------------------------------------------------------------------------------


def required_area(ready: Duty, back: float, basis: Basis, sheet: Sheet) -> Result | None:
    """Required effective area of the case at a total back pressure; None where no rate is known."""
    if ready.required_flow is None:
        return None
    return size(changed(ready.request, {"back_pressure": back}), basis, sheet)


def pairs(valve: Valve, ready: Duty, sheet: Sheet) -> tuple[Pair, Pair]:
    """The derated pair and the un-derated pair of the valve; a lift restriction scales both areas.

    Raises CalculationFailed where the valve has neither an area nor a letter, or an impossible lift restriction.
    """
    pair = pair_of(valve, ready.method, valve.liquid_trim is not False)
    lift = valve.lift_restriction
    if lift is not None and not 0.0 < lift <= 1.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"a lift restriction of {lift:.3g} is not a share of full lift")
    if lift is not None and lift < 1.0:
        area = sheet.apply("A_lift", restricted_area, A=pair.area, lift=lift)
        pair = Pair(area, pair.coefficient, pair.kind, pair.rests_on)
    return pair, full_pair(pair) if pair.kind == CERTIFIED else pair


def passed(
    pair: Pair, ready: Duty, pressure: float, back: float, basis: Basis, sheet: Sheet, **changes: Any
) -> Flow:
    """Flow through a pair at given pressures. Raises CalculationFailed where it did not end ok.

    changes: other fields of the request, such as kind="conventional" for a bellows valve without its Kb.
    """
    request = changed(ready.request, {"relieving_pressure": pressure, "back_pressure": back, **changes})
    flow = flow_through(pair, request, basis, sheet)
    if flow.status is not Status.OK or flow.flow is None:
        raise CalculationFailed(flow.status, flow.reason)
    return flow


def throttled(ready: Duty, flow: Flow, back: float) -> bool:
    """True where this back pressure can change the flow."""
    if ready.request.kind == "bellows" or ready.method in ("liquid", "subcooled"):
        return True
    return flow.choking_pressure is None or back > flow.choking_pressure
