"""One case on its pipes: rated, un-derated and required flow, inlet loss and back pressure at each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, NamedTuple

from quietseat.assess import capacity
from quietseat.assess.capacity import Duty
from quietseat.assess.copies import changed
from quietseat.assess.settle import Settled, built_up_of, settle
from quietseat.basis import Basis
from quietseat.formula import One, Sheet, formula, kg_s
from quietseat.model import CaseResult, Fitting, Line, Location
from quietseat.piping import lines
from quietseat.piping.inlet import loss_fraction
from quietseat.piping.records import Choices, InletResult
from quietseat.piping.resistance import Resistance, pipe_bore, resistance
from quietseat.sizing.letters import letters
from quietseat.sizing.rated import CERTIFIED, Pair
from quietseat.status import CalculationFailed, Status


@formula("definition: required over rated flow")
def utilisation(W: kg_s, W_rated: kg_s) -> One:
    """Share of the rated flow that the case needs."""
    return W / W_rated


@dataclass(frozen=True, slots=True)
class Pipes:
    """Both lines of a Location made ready once for all its cases; None with the reason why."""

    inlet: Resistance | None
    inlet_reason: str
    outlet: Resistance | None
    outlet_reason: str


@dataclass(frozen=True, slots=True)
class Hydraulics:
    """What one case needs beyond its CaseResult: used by the checks and by stability."""

    index: int  # of the case in its Location
    result: CaseResult
    duty: Duty | None = None
    inlet_loss: float | None = None  # Pa at un-derated flow
    inlet_reason: str = ""
    inlet_choked: bool = False  # the inlet line cannot pass the rated flow
    starved: bool = False  # nor the required flow
    outlet_reason: str = ""
    outlet_blocked: bool = False  # the outlet line cannot pass the rated flow
    outlet_stated: bool = False  # built-up back pressure as the register states it
    body_alone: bool = False  # the back pressure is that of the valve's own choked outlet, the pipe adds nothing
    effective_share: float | None = None  # required effective area over the letter's
    share_with_loss: float | None = None  # required over rated flow with the inlet loss taken off, where above its limit
    certified: bool = False  # the valve's own area and rated coefficient are known


def pipes(location: Location, basis: Basis, sheet: Sheet) -> Pipes:
    """Resistances of inlet and outlet; each K is a line on the sheet, marked measured or assumed."""
    valve = location.valve
    sheet.section("Inlet line")
    inlet, inlet_reason = _resistance(_with_disk(location), basis, sheet, "inlet", valve.inlet_size)
    sheet.section("Outlet line")
    outlet, outlet_reason = _resistance(location.outlet, basis, sheet, "outlet", valve.outlet_size)
    return Pipes(inlet, inlet_reason, outlet, outlet_reason)


def _resistance(line: Line, basis: Basis, sheet: Sheet, end: str, size: float | None) -> tuple[Resistance | None, str]:
    if sheet.record:
        return _built(line, basis, sheet, end, size)
    choices = _Choices(basis.atmospheric_pressure, basis.default_roughness, basis.default_schedule, basis.default_entrance,
                       basis.default_block_valve, basis.friction_correlation)  # fmt: skip
    return _built_before(line, choices, end, size)


class _Choices(NamedTuple):
    """What piping reads from the Basis, as a key."""

    atmospheric_pressure: float
    default_roughness: float
    default_schedule: str
    default_entrance: str
    default_block_valve: str
    friction_correlation: str


@lru_cache(maxsize=256)
def _built_before(line: Line, choices: _Choices, end: str, size: float | None) -> tuple[Resistance | None, str]:
    """Without a record a line is built once: the remedies of a valve mostly keep its lines."""
    return _built(line, choices, Sheet(record=False), end, size)


def _built(line: Line, choices: Choices, sheet: Sheet, end: str, size: float | None) -> tuple[Resistance | None, str]:
    try:
        return resistance(line, choices, sheet, end, end=end, valve_bore=_flange_bore(size)), ""
    except CalculationFailed as failed:
        return None, failed.reason


def _with_disk(location: Location) -> Line:
    """The inlet line; a rupture disk of the valve's size adds its own loss where no fitting stands for it."""
    line = location.inlet
    if not location.valve.rupture_disk or line.loss_coefficient is not None:
        return line
    if any(fitting.kind == "rupture-disk" for fitting in line.fittings):
        return line
    return changed(line, {"fittings": (*line.fittings, Fitting("rupture-disk", 1.0, location.valve.inlet_size, False))})


def _flange_bore(size: float | None) -> float | None:
    """Bore behind the valve's own flange: Schedule 40 of its size; None where the size is unknown."""
    if size is None:
        return None
    try:
        return pipe_bore(size, "40")[0]
    except CalculationFailed:
        return None


def assess_case(location: Location, index: int, ready: Pipes, basis: Basis, sheet: Sheet) -> Hydraulics:
    """Size one case, find its rated flow with back pressure counted in, and run its pipes.

    Never raises for data: the CaseResult carries Status and reason.
    """
    case = location.cases[index]
    name = case.name or case.cause or "case"
    if not case.name and len(location.cases) > 1:
        name = f"{name} {index + 1}"
    sheet.section(f"Case {name}")
    try:
        duty = capacity.duty(location, case, basis, sheet)
    except CalculationFailed as failed:
        return Hydraulics(index, CaseResult(name, failed.status, failed.reason))
    try:
        return _run(location, index, name, duty, ready, basis, sheet)
    except CalculationFailed as failed:
        partial = CaseResult(
            name, failed.status, failed.reason, duty.method,
            relieving_pressure=duty.relieving_pressure, required_flow=duty.required_flow,
        )  # fmt: skip
        return Hydraulics(index, partial, duty)


def _run(
    location: Location, index: int, name: str, duty: Duty, ready: Pipes, basis: Basis, sheet: Sheet
) -> Hydraulics:
    derated, whole = capacity.pairs(location.valve, duty, sheet)
    settled = settle(duty, derated, ready.outlet, basis)
    values: dict[str, Any] = {
        "name": name, "method": duty.method, "relieving_pressure": duty.relieving_pressure,
        "required_flow": duty.required_flow, "built_up": settled.built_up,
        "back_pressure": settled.back if settled.built_up is not None else None,
    }  # fmt: skip
    extra: dict[str, Any] = {
        "outlet_reason": settled.reason or ready.outlet_reason, "outlet_blocked": settled.blocked,
        "outlet_stated": settled.stated, "certified": derated.kind == CERTIFIED, "body_alone": _body_alone(settled),
    }  # fmt: skip
    sheet.section(f"Case {name}: outlet line at rated flow")
    _outlet(duty, settled, ready, values, basis, sheet)
    if settled.failed is not None:  # back pressure found, but the equations have no flow against it
        values |= {"status": settled.failed.status, "reason": settled.failed.reason}
        return Hydraulics(index, CaseResult(**values), duty, **extra)
    _sizes(location, name, duty, settled, derated, values, extra, basis, sheet)
    hydraulic, full = _flows(duty, settled, derated, whole, basis, sheet)
    values["full_flow"] = full
    _inlet_line(location, name, duty, ready, derated, settled.back, hydraulic, full, values, extra, basis, sheet)
    return Hydraulics(index, CaseResult(**values), duty, **extra)


def _sizes(
    location: Location, name: str, duty: Duty, settled: Settled, derated: Pair, values: dict[str, Any],
    extra: dict[str, Any], basis: Basis, sheet: Sheet,
) -> None:  # fmt: skip
    """Required area and letter, rated flow, utilisation."""
    sheet.section(f"Case {name}: required area")
    sized = capacity.required_area(duty, settled.back, basis, sheet)
    if sized is not None:
        values |= {"required_area": sized.required_area, "regime": sized.regime, "orifice": sized.orifice,
                   "status": sized.status, "reason": sized.reason}  # fmt: skip
        if sized.valves is not None:
            values["valves_needed"], values["orifice"] = sized.valves
        if sized.required_area is not None:
            extra["effective_share"] = _effective_share(location, sized.required_area)
    sheet.section(f"Case {name}: rated flow")
    if sheet.record:
        capacity.passed(derated, duty, duty.relieving_pressure, settled.back, basis, sheet)
    values["rated_flow"] = settled.flow
    if duty.required_flow is not None:
        values["utilisation"] = sheet.apply("u", utilisation, W=duty.required_flow, W_rated=settled.flow)


def _effective_share(location: Location, area: float) -> float | None:
    valve = location.valve
    installed = valve.effective_area or (letters().get(valve.orifice) if valve.orifice else None)
    return area / (installed * (valve.lift_restriction or 1.0)) if installed else None


def _flows(
    duty: Duty, settled: Settled, derated: Pair, whole: Pair, basis: Basis, sheet: Sheet
) -> tuple[float, float]:
    """Rated and un-derated flow at 10 % overpressure on set: what inlet loss and stability work with."""
    pressure, back = duty.rated_pressure, settled.back
    hydraulic = settled.flow
    if abs(pressure - duty.relieving_pressure) > 1e-9 * pressure:
        hydraulic = capacity.passed(derated, duty, pressure, back, basis, Sheet(record=False)).flow or 0.0
    full = hydraulic
    if whole is not derated or duty.request.overrides:  # Kc is a deduction too: the flow itself is not less
        full = capacity.passed(whole, duty, pressure, back, basis, Sheet(record=False), overrides={}).flow or 0.0
    sheet.given("W_10", "rated flow at 10 % overpressure on set, for the pipes", hydraulic, "kg/s", "same equations")
    source = "rated coefficient / 0.9 where certified, no Kc"
    sheet.given("W_full", "un-derated flow at 10 % overpressure on set", full, "kg/s", source)
    return hydraulic, full


def _inlet_line(
    location: Location, name: str, duty: Duty, ready: Pipes, derated: Pair, back: float, hydraulic: float, full: float,
    values: dict[str, Any], extra: dict[str, Any], basis: Basis, sheet: Sheet,
) -> None:  # fmt: skip
    """Inlet loss at rated, un-derated and required flow; capacity with the loss taken off where it is above its limit."""
    if ready.inlet is None:
        extra["inlet_reason"] = ready.inlet_reason
        return
    set_gauge = basis.gauge(location.valve.set_pressure or 0.0)
    sheet.section(f"Case {name}: inlet line at rated flow")
    at_rated, extra["inlet_reason"] = _inlet(duty, ready.inlet, hydraulic, basis, sheet)
    extra["inlet_choked"] = at_rated is not None and at_rated.choked
    if at_rated is not None and at_rated.loss is not None:
        values["inlet_loss_rated"] = sheet.apply("L_rated", loss_fraction, loss=at_rated.loss, set_gauge=set_gauge)
    at_full = at_rated if full == hydraulic else _inlet(duty, ready.inlet, full, basis, Sheet(record=False))[0]
    extra["inlet_loss"] = at_full.loss if at_full is not None else None
    required = duty.required_flow
    if required is None or required <= 0.0:
        return
    sheet.section(f"Case {name}: inlet line at required flow")
    at_required, reason = _inlet(duty, ready.inlet, required, basis, sheet)
    if at_required is None or at_required.loss is None:
        extra["starved"] = at_required is not None and at_required.choked
        extra["inlet_reason"] = extra["inlet_reason"] or reason
        return
    loss = sheet.apply("L_required", loss_fraction, loss=at_required.loss, set_gauge=set_gauge)
    values["inlet_loss_required"] = loss
    if loss > basis.inlet_loss_limit:
        _with_loss(name, duty, derated, at_required.loss, back, extra, basis, sheet)


def _with_loss(
    name: str, duty: Duty, derated: Pair, loss: float, back: float, extra: dict[str, Any], basis: Basis, sheet: Sheet
) -> None:
    """Share of the rated flow with the inlet loss at required flow taken off the relieving pressure."""
    left = duty.relieving_pressure - loss
    if left <= back:
        extra["starved"] = True
        return
    sheet.section(f"Case {name}: rated flow with the inlet loss taken off")
    flow = capacity.passed(derated, duty, left, back, basis, sheet).flow or 0.0
    extra["share_with_loss"] = sheet.apply("u_loss", utilisation, W=duty.required_flow or 0.0, W_rated=flow)


def _inlet(
    duty: Duty, line: Resistance, flow: float, basis: Basis, sheet: Sheet
) -> tuple[InletResult | None, str]:
    try:
        result = lines.inlet(None, duty.state, flow, basis, sheet, resistance=line)
    except CalculationFailed as failed:
        return None, failed.reason
    return result, "" if result.status is Status.OK else result.reason


def _body_alone(settled: Settled) -> bool:
    """True where the static pressure at the outlet flange is no more than that of the choked flange itself."""
    out = settled.outlet
    if out is None or out.floor is None or out.outlet_static is None or settled.stated or not settled.built_up:
        return False
    return out.outlet_static <= out.floor * (1 + 1e-6)


def _outlet(
    duty: Duty, settled: Settled, ready: Pipes, values: dict[str, Any], basis: Basis, sheet: Sheet
) -> None:
    """Put the outlet line on the sheet, and what it builds up at required flow."""
    if settled.stated:
        sheet.given("p_bu", "built-up back pressure as the register states it", settled.built_up or 0.0, "Pa", "register")
    out = settled.outlet
    if ready.outlet is None or out is None:
        return
    if sheet.record:
        lines.outlet(None, duty.outlet_state, settled.outlet_flow, duty.superimposed, basis, sheet, resistance=ready.outlet)
    values["outlet_mach"] = out.mach_max
    if out.floor is not None and out.floor > duty.superimposed:  # below it the outlet does not choke: no floor
        values["body_floor"] = out.floor
    required = duty.required_flow
    if required is not None and required > 0.0:
        less, _ = built_up_of(duty, ready.outlet, required, basis)
        if less is not None:
            values["built_up_required"] = less.built_up
