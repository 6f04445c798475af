"""The mass of one lift from a valve marched in time.

A trace shows the vessel pressure while the valve opens, blows down and shuts again. The march may cut a large vessel, which
only slows the cycle; so the trace gives what does not depend on the vessel (pressures, and times over the rate at which the
vessel fills while the valve is shut), and the mass follows for the vessel as it is by its mass balance.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.emissions.formulas import filling, marched_mass
from quietseat.model import Chatter, Spread, Trace
from quietseat.status import Status

SHUT = 0.005  # of the stop lift: below it the valve counts as shut, as in the march
REFILLED = 0.02  # of the fall of a lift: what the vessel must have risen since, before its lowest pressure counts as reseat
LEAST_POINTS = 3  # of the part that fills, before its slope is used


@dataclass(frozen=True, slots=True)
class Cycle:
    """One opening of a trace. SI."""

    flow: float  # kg/s into the vessel
    fall: float  # Pa, vessel pressure at opening less that at reseat
    fill: float  # Pa/s while the valve is shut
    time: float  # s from opening to reseat


def simulated(chatter: Chatter | None, volume: float | None, sound_speed: float | None) -> tuple[Spread, str] | None:
    """Mass of one lift (kg) of a valve marched in time, and the words for it; None where no trace can give it.

    volume: m3 of the vessel; sound_speed: m/s in it. Only flows at which the valve opens and shuts have a mass of their own:
    low and high are the least and the most of them, the middle is that of the largest such flow up to the required one, of
    the smallest where the required flow is unknown.
    """
    if chatter is None or chatter.status is not Status.OK or not chatter.stop_lift or not volume or not sound_speed:
        return None
    cycles = [one for trace in chatter.traces if (one := cycle_of(trace, chatter.stop_lift)) is not None]
    if not cycles:
        return None
    cycles.sort(key=lambda one: one.flow)
    required = next((trace.flow for trace in chatter.traces if trace.name in ("required", "stated")), 0.0)
    governs = max((one for one in cycles if one.flow <= required), key=lambda one: one.flow, default=cycles[0])
    mass = {one: marched_mass(volume=volume, sound_speed=sound_speed, fall=one.fall, fill=one.fill, time=one.time) for one in cycles}
    words = (
        f"{mass[governs]:.3g} kg a lift by simulation: at {governs.flow:.3g} kg/s into the vessel its pressure falls "
        f"{governs.fall / 1e5:.3g} bar from opening to reseat"
    )
    return Spread(min(mass.values()), mass[governs], max(mass.values())), words


def cycle_of(trace: Trace, stop_lift: float) -> Cycle | None:
    """The first opening of a trace up to its reseat; None where it does not cycle or starts open."""
    if trace.verdict != "cycles":
        return None
    times, vessel = trace.times, trace.vessel_pressure
    opens = next((at for at, lift in enumerate(trace.lift) if lift > SHUT * stop_lift), 0)
    if opens < LEAST_POINTS or vessel[opens] <= vessel[0]:
        return None
    depth = vessel[opens] - min(vessel[opens:])
    fallen = next((at for at in range(opens, len(times)) if vessel[at] < vessel[opens] - depth / 2), len(times))
    again = next((at for at in range(fallen, len(times)) if vessel[at] > vessel[opens] - depth / 4), len(times))
    reseat = min(range(opens, again), key=lambda at: vessel[at])
    if again == len(times) and vessel[-1] <= vessel[reseat] + REFILLED * depth:
        return None  # the trace ends before the vessel fills again
    fill = filling(rise=vessel[opens] - vessel[0], time=times[opens] - times[0])
    return Cycle(trace.flow, vessel[opens] - vessel[reseat], fill, times[reseat] - times[opens])
