"""Rated flow and the back pressure it builds up, brought into agreement."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from quietseat.assess import capacity
from quietseat.assess.capacity import Duty
from quietseat.basis import Basis
from quietseat.formula import Sheet
from quietseat.piping import lines
from quietseat.piping.records import OutletResult
from quietseat.piping.resistance import Resistance
from quietseat.sizing.rated import Flow, Pair
from quietseat.status import CalculationFailed, Status

AGREED = 1e-7  # relative
_ARITHMETIC = (ValueError, ZeroDivisionError, OverflowError)


@dataclass(frozen=True, slots=True)
class Settled:
    """Rated flow at the relieving pressure with its back pressure."""

    flow: float  # kg/s, 0 where `failed`
    back: float  # Pa absolute; superimposed only where nothing is known of the built-up part
    built_up: float | None  # Pa
    outlet: OutletResult | None
    outlet_flow: float  # kg/s, at which the outlet was run
    stated: bool = False  # the register's own built-up figure stands
    blocked: bool = False  # the outlet line cannot pass the rated flow
    reason: str = ""  # why nothing is known of the built-up part
    failed: CalculationFailed | None = None  # no flow against this back pressure


def settle(duty: Duty, pair: Pair, line: Resistance | None, basis: Basis) -> Settled:
    """Rated flow of a pair against the back pressure its own flow builds up.

    Raises CalculationFailed where there is no flow even against the superimposed back pressure, or no
    agreement is found.
    """
    pressure, superimposed = duty.relieving_pressure, duty.superimposed

    def against(back: float) -> Flow:
        return capacity.passed(pair, duty, pressure, back, basis, Sheet(record=False))

    # A bellows valve's own factor may have no value: its flow for the pipe starts without it (more flow, careful).
    plain = {"kind": "conventional"} if duty.request.kind == "bellows" else {}
    first = capacity.passed(pair, duty, pressure, superimposed, basis, Sheet(record=False), **plain)
    flow = first.flow or 0.0
    if line is None or duty.case.built_up is not None:
        found = _with_stated(duty, line, flow, basis)
    else:
        found = _computed(duty, line, flow, basis)
    if found.built_up is None:
        if plain:
            first = against(superimposed)
        return Settled(first.flow or 0.0, superimposed, None, found.outlet, flow, False, found.blocked, found.reason)
    if not capacity.throttled(duty, first, found.back):
        return found
    try:
        return _agree(duty, found, line, against, basis)
    except CalculationFailed as failed:
        if failed.status is Status.NOT_CONVERGED:
            raise
        return Settled(0.0, found.back, found.built_up, found.outlet, flow, found.stated, failed=failed)


def _with_stated(duty: Duty, line: Resistance | None, flow: float, basis: Basis) -> Settled:
    """The register's own figure, unless the line builds up more: a header may add to what the line does."""
    found = _computed(duty, line, flow, basis) if line is not None else Settled(flow, duty.superimposed, None, None, flow)
    said = duty.case.built_up
    if said is None or found.blocked or (found.built_up is not None and found.built_up >= said):
        return found
    return Settled(flow, duty.superimposed + said, said, found.outlet, flow, stated=True)


def _computed(duty: Duty, line: Resistance, flow: float, basis: Basis) -> Settled:
    result, reason = built_up_of(duty, line, flow, basis)
    if result is None or result.built_up is None:
        return Settled(flow, duty.superimposed, None, result, flow, False, result is not None, reason)
    return Settled(flow, duty.superimposed + result.built_up, result.built_up, result, flow)


def built_up_of(duty: Duty, line: Resistance, flow: float, basis: Basis) -> tuple[OutletResult | None, str]:
    """The outlet line at a flow; None and the reason where it cannot be computed."""
    state = duty.outlet_state
    try:
        result = lines.outlet(None, state, flow, duty.superimposed, basis, Sheet(record=False), resistance=line)
    except CalculationFailed as failed:
        return None, failed.reason
    except _ARITHMETIC as error:
        return None, f"outlet: the equations have no value here ({error})"
    flash = state.reference_pressure if duty.method == "subcooled" else None
    if flash is not None and result.outlet_static is not None and result.outlet_static > flash:
        return None, "outlet: the liquid flashes somewhere along the line, which needs a two-phase study"
    return result, "" if result.status is Status.OK else result.reason


def _agree(
    duty: Duty, start: Settled, line: Resistance | None, against: Callable[[float], Flow], basis: Basis
) -> Settled:
    """Flow and back pressure in agreement: false position on the flow between its two ends."""

    def gap_at(found: Settled, flow: float) -> float:
        return (against(found.back).flow or 0.0) - flow

    high, above = start.flow, gap_at(start, start.flow)
    if start.stated or line is None or abs(above) <= AGREED * high:
        return _at(start, high + above)
    low = high + above
    found = _computed(duty, line, low, basis)
    below = gap_at(found, low)
    for _ in range(60):
        if abs(below) <= AGREED * high:
            return _at(found, low + below)
        flow = (low * above - high * below) / (above - below)
        found = _computed(duty, line, flow, basis)
        if found.built_up is None:
            raise CalculationFailed(Status.NOT_COMPUTED, found.reason)
        gap = gap_at(found, flow)
        if abs(gap) <= AGREED * high:
            return _at(found, flow + gap)
        if gap < 0:
            high, above = flow, gap
        else:
            low, below = flow, gap
    raise CalculationFailed(Status.NOT_CONVERGED, "rated flow and back pressure do not agree after 60 passes")


def _at(found: Settled, flow: float) -> Settled:
    return Settled(flow, found.back, found.built_up, found.outlet, found.outlet_flow, found.stated)
