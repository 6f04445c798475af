"""The two questions about a line: what the inlet loses, and what the outlet builds up, at one flow.

Missing data raise CalculationFailed. A flow the line cannot pass comes back with status out-of-range.
"""

from __future__ import annotations

from dataclasses import replace

from quietseat.formula import Sheet
from quietseat.model import Line
from quietseat.piping.capacity import Passed, passed_flow
from quietseat.piping.inlet import GASES, inlet_gas, inlet_liquid, loss_fraction
from quietseat.piping.mixture import inlet_mixture, outlet_mixture
from quietseat.piping.outlet import outlet_gas, outlet_liquid
from quietseat.piping.records import Choices, FlowState, InletResult, OutletResult, positive_flow
from quietseat.piping.resistance import Resistance
from quietseat.piping.resistance import resistance as build
from quietseat.status import CalculationFailed, Status

__all__ = [
    "Choices",
    "FlowState",
    "InletResult",
    "OutletResult",
    "Passed",
    "Resistance",
    "build",
    "inlet",
    "outlet",
    "passed_flow",
]


def inlet(
    line: Line | None,
    flow: FlowState,
    flow_kg_s: float,
    basis: Choices,
    sheet: Sheet,
    label: str = "inlet",
    *,
    resistance: Resistance | None = None,
    set_gauge: float | None = None,
    valve_bore: float | None = None,
) -> InletResult:
    """Non-recoverable loss from the vessel to the valve inlet flange at one flow.

    flow_kg_s: the rated or the required flow. resistance: the line's resistance where it is already built
    (the second flow of a case); set_gauge in Pa gives `fraction`; valve_bore in m: bore of the valve's inlet
    flange where it differs from the pipe. Raises CalculationFailed for missing data (length, bore, property).
    """
    rate = positive_flow(flow_kg_s, label)
    if resistance is None:
        resistance = build(_stated(line, label), basis, sheet, label, "inlet", valve_bore)
    if flow.phase in GASES:
        result = inlet_gas(resistance, flow, rate, basis, sheet, label)
    elif flow.phase == "liquid":
        result = inlet_liquid(resistance, flow, rate, basis, sheet, label)
    elif flow.phase == "two-phase":
        result = inlet_mixture(resistance, flow, rate, basis, sheet, label)
    else:
        raise _unknown_phase(flow, label)
    if set_gauge is None or result.loss is None:
        return result
    if not set_gauge > 0.0:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, f"{label}: gauge set pressure {set_gauge:.6g} Pa is not above zero"
        )
    fraction = sheet.apply("dp/p_set", loss_fraction, loss=result.loss, set_gauge=set_gauge)
    return replace(result, fraction=fraction)


def outlet(
    line: Line | None,
    flow: FlowState,
    flow_kg_s: float,
    superimposed: float,
    basis: Choices,
    sheet: Sheet,
    label: str = "outlet",
    *,
    resistance: Resistance | None = None,
    valve_bore: float | None = None,
) -> OutletResult:
    """Static pressure at the valve outlet flange at one flow, and what of it is built up.

    superimposed: Pa absolute at the discharge point (header or atmosphere). resistance, valve_bore: as for
    the inlet. A line with no length and no loss builds up nothing; the choked valve outlet is its `floor`.
    Raises CalculationFailed for missing data, and for a liquid that flashes at the superimposed pressure.
    """
    rate = positive_flow(flow_kg_s, label)
    if not superimposed > 0.0:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, f"{label}: superimposed pressure {superimposed:.6g} Pa is not above zero"
        )
    if resistance is None:
        resistance = build(_stated(line, label), basis, sheet, label, "outlet", valve_bore)
    if flow.phase in GASES:
        return outlet_gas(resistance, flow, rate, superimposed, basis, sheet, label)
    if flow.phase == "liquid":
        return outlet_liquid(resistance, flow, rate, superimposed, basis, sheet, label)
    if flow.phase == "two-phase":
        return outlet_mixture(resistance, flow, rate, superimposed, basis, sheet, label)
    raise _unknown_phase(flow, label)


def _unknown_phase(flow: FlowState, label: str) -> CalculationFailed:
    return CalculationFailed(
        Status.NOT_COMPUTED, f"{label}: phase {flow.phase!r} is none of gas, steam, liquid, two-phase"
    )


def _stated(line: Line | None, label: str) -> Line:
    if line is None:
        raise CalculationFailed(Status.NOT_COMPUTED, f"{label}: no line and no resistance given")
    return line
