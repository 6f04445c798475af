"""Linear theory and statics of many draws at once: the formulas of `dynamics`, compiled from the same source.

`features` fills, for every draw and flow of one valve, what the pre-selection judges: equilibrium lift, growth
rate, critical length, force balance at the pop, hold at the stop, small vessel, cycling.
"""

# mypy: disable-error-code="misc,no-untyped-call,no-any-return,no-untyped-def,call-arg,operator,attr-defined"
# (kernels are typed by the compiler, not by the checker)

from __future__ import annotations

import contextlib
import hashlib
import sys
from math import pi, sqrt
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numba import njit
from numba.core.caching import FunctionCache
from numpy.typing import NDArray

from quietseat.dynamics import closed, parameters
from quietseat.dynamics import linear as exact
from quietseat.formula import R, compiled
from quietseat.march.cases import Gas
from quietseat.march.draws import Draws
from quietseat.march.marchcase import Setting
from quietseat.sizing import gas as gas_flow

SEGMENTS = 3  # distinct bores of an inlet line; more join the last
SCAN = 12  # lifts looked at below the knee
FAR = 0.5  # of the critical length: below it no quarter wave grows
SMALL = 200.0  # times the pipe volume: a smaller vessel has a mode of its own
C_SUB = sqrt(2 / R)

FEATURES = (
    "status",  # 0 ok, 1 no flow possible
    "lift",  # m at equilibrium, stop lift when held there, 0 when there is none
    "pressure",  # Pa, stagnation at the valve inlet there
    "share",  # flow over the flow at the stop: 1 and more = held on the stop
    "low_share",  # flow over the lowest flow with a stable lift (1e9 where there is none)
    "critical",  # m, closed form at that lift
    "ratio",  # acoustic length over it
    "growth",  # 1/s, fastest growing mode there
    "frequency",  # Hz of that mode
    "low_ratio",  # acoustic length over the critical length at the lowest stable lift
    "balance",  # loss and wave over what the blowdown allows, at the pop
    "loss",  # of that, the steady part
    "damping_need",  # damping a bare vessel needs over the damping there is
    "opening",  # s
    "period",  # s of a full cycle at this flow
    "valve_flow",  # kg/s at the stop, line empty, at set pressure
    "margin",  # force surplus at the stop at this flow over seat area x gauge set
    "return_ratio",  # wave return over opening time
    "low_growth",  # 1/s at the lowest stable lift
    "built",  # back pressure the flow makes in the bowl, over what the blowdown allows; 0 for a bellows
    "hold_share",  # as low_share, with the friction that holds the disc up
    "friction",  # Coulomb friction over seat area x gauge set
    "knee_share",  # lowest stable lift over the stop
    "carried",  # lowest stable lift over the knee: below 1 loss and bowl carry the disc
    "blowdown",  # of this draw
    "fitted",  # 1 where the fit of popping gas valves holds
)
F = {name: index for index, name in enumerate(FEATURES)}

_critical_flux = compiled(gas_flow.critical_flux)
_f2 = compiled(gas_flow.subcritical_coefficient)
_subcritical_flux = compiled(gas_flow.subcritical_flux)
_choked = compiled(closed.exponent_choked)
_subcritical = compiled(closed.exponent_subcritical)
_exponent_liquid = compiled(closed.exponent_liquid)
_gain_pressure = compiled(closed.gain_pressure)
_gain_lift = compiled(closed.gain_lift)
_coupled = compiled(closed.coupled_frequency)
_critical_length = compiled(closed.critical_length)
_damping = compiled(closed.damping)
_damping_needed = compiled(closed.damping_needed)
_ramp_drop = compiled(closed.ramp_drop)
_sudden_drop = compiled(closed.sudden_drop)
_throat_ratio = compiled(closed.throat_ratio)
_expansion_drop = compiled(closed.expansion_drop)
_valve_frequency = compiled(closed.valve_frequency)
_opening_time = compiled(closed.opening_time_frequency)
_disc_area = compiled(closed.disc_area)
_disc_pressure = compiled(closed.disc_pressure)
_cycle_period = compiled(closed.cycle_period)
_seat_area = compiled(parameters.seat_area)
_dispersion = njit(exact.dispersion)


class Point(NamedTuple):
    """The fields of dynamics.linear.Equilibrium that the compiled dispersion relation reads."""

    segments: tuple[tuple[float, float], ...]
    sound_speed: float
    volume: float
    gain_pressure: float
    gain_lift: float
    disc_area: float
    mass: float
    spring_rate: float
    damping: float


class Valve(NamedTuple):
    """Numbers all draws of a valve share."""

    gas: bool
    k: float
    molar_mass: float  # kg/mol, Z in it
    temperature: float
    coefficient: float  # gas_flow.coefficient and critical_ratio of this gas
    critical: float
    density: float
    sound_speed: float
    set_pressure: float
    spring_atmosphere: float
    atmosphere: float
    back: float
    exit_area: float
    bellows: bool
    lengths: NDArray[np.float64]
    areas: NDArray[np.float64]
    acoustic: float
    inertance: float
    volume: float
    resistance: float  # 1/m4
    stroke: float


@njit(error_model="numpy")
def _flux(v, p0, pb):
    """Mass flux through the valve, kg/m2/s, from stagnation pressure p0 to pb."""
    if pb >= p0:
        return 0.0
    if not v.gas:
        return sqrt(2.0 * v.density * (p0 - pb))
    if pb <= p0 * v.critical:
        return _critical_flux(v.coefficient, p0, v.molar_mass, v.temperature, 1.0)
    return _subcritical_flux(C_SUB, _f2(v.k, pb / p0), v.molar_mass, p0, pb, v.temperature, 1.0)


@njit(error_model="numpy")
def _exponent(v, p0, pb):
    if not v.gas:
        return _exponent_liquid(p0, pb)
    if pb <= p0 * v.critical:
        return _choked(v.k)
    return _subcritical(v.k, min(pb / p0, 0.999))


@njit(error_model="numpy")
def _bowl(v, flow):
    """Pressure in the bowl at a flow, Pa: the back pressure plus what the exit needs."""
    if v.exit_area <= 0.0 or flow <= 0.0:
        return v.back
    if not v.gas:
        return v.back + (flow / v.exit_area) ** 2 / (2.0 * v.density)
    flux = flow / v.exit_area
    choked = flux / _flux(v, 1.0, 0.0)
    if choked * v.critical >= v.back:
        return choked
    low, high = v.back, v.back / v.critical
    for _ in range(14):
        middle = 0.5 * (low + high)
        if _flux(v, middle, v.back) < flux:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@njit(error_model="numpy")
def _static(v, d, x, push=0.0):
    """Stagnation pressure that holds the disc at a lift, the flow there, the bowl pressure and the flow area.

    push: N on top of the spring (friction). The bowl pressure depends on the flow and the flow on it: a few
    rounds settle it.
    """
    area = _disc_area(d[1], d[7], d[8], x / d[3])
    through = min(pi * d[0] * x * d[10], d[11] * d[2])
    squeeze = d[1] * (v.set_pressure - v.spring_atmosphere)
    pb, flow, p0 = v.back, 0.0, v.back
    for _ in range(4):
        force = squeeze + d[6] * x + push
        if v.bellows:
            force -= d[15] * d[1] * (pb - v.atmosphere)
        p0 = pb + force / area
        flow = through * _flux(v, p0, pb)
        if v.exit_area <= 0.0:
            break
        pb = _bowl(v, flow)
    return p0, flow, pb, area


@njit(error_model="numpy")
def _point(v, d, x, speed, stretch):
    """Equilibrium at a lift as the dispersion relation needs it, its coupled frequency and exponent."""
    p0, flow, pb, area = _static(v, d, x)
    exponent = _exponent(v, p0, pb)
    curtain = pi * d[0] * x * d[10] < d[11] * d[2]
    slope = d[1] * (d[7] - 1.0) / (d[8] * d[3]) if x < d[8] * d[3] else 0.0
    stiff = d[6] - (p0 - pb) * slope
    n, l, a = v.lengths, stretch, v.areas
    at = Point(
        ((n[0] * l, a[0]), (n[1] * l, a[1]), (n[2] * l, a[2])),
        speed, d[16], _gain_pressure(exponent, flow, p0), _gain_lift(flow, x) if curtain else 0.0, area, d[5],
        stiff, _damping(d[12], d[6], d[5]),
    )  # fmt: skip
    coupled = _coupled(max(stiff, -0.9 * area * p0 / (exponent * x)), area, p0, exponent, x, d[5])
    return at, coupled, stiff, curtain, exponent


@njit(error_model="numpy")
def _lowest(v, d, knee, loss_factor):
    """Lowest lift with static balance: where the vessel pressure that holds the disc is least.

    Without a line and a bowl that is the knee; inlet loss and built-up back pressure grow with the flow and steady
    the disc below it.
    """
    best, lift = 1e300, knee
    for index in range(SCAN):
        x = knee * (SCAN - index) / SCAN
        p0, flow, _, _ = _static(v, d, x)
        density = v.density if not v.gas else p0 * v.molar_mass / (R * v.temperature)
        vessel = p0 + v.resistance * loss_factor * flow**2 / density
        if vessel < best:
            best, lift = vessel, x
    return lift


@njit(error_model="numpy")
def _lift_at(v, d, flow, low, high):
    """Lift between two on the stable branch that passes a flow in equilibrium."""
    for _ in range(26):
        middle = 0.5 * (low + high)
        if _static(v, d, middle)[1] < flow:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@njit(error_model="numpy")
def _root(at, guess):
    """Root of the dispersion relation next to a guess, as dynamics.linear.root; 0 where it does not settle."""
    sg = guess
    for _ in range(20):
        step = 1e-6 * abs(sg)
        value = _dispersion(sg, at)
        slope = (_dispersion(sg + step, at) - value) / step
        if slope == 0:
            return 0j
        change = value / slope
        if abs(change) > 0.2 * abs(sg):
            change *= 0.2 * abs(sg) / abs(change)
        sg -= change
        if abs(change) < 1e-7 * abs(sg):
            return sg
    return 0j


@njit(error_model="numpy")
def _fastest(at, length, stiff, coupled):
    """Growth rate and frequency of the fastest growing mode found from quarter waves and disc frequencies."""
    best, frequency = -1e9, 0.0
    own = sqrt(max(stiff, 1e-9) / at.mass)
    quarter = pi * at.sound_speed / (2.0 * length)
    for index in range(5):
        if index < 3:
            guess = quarter * (2 * index + 1)
            if index > 0 and guess > 1.5 * coupled:
                continue
        elif index == 3:
            guess = own
        else:
            guess = sqrt(own * coupled)
        sg = _root(at, complex(0.02 * guess, guess))
        if sg == 0j or abs(sg.imag) < 0.05 * min(own, quarter) or abs(sg.imag) > 20.0 * max(coupled, quarter):
            continue
        if sg.real > best:
            best, frequency = sg.real, abs(sg.imag) / (2.0 * pi)
    return best, frequency


@njit(error_model="numpy")
def _popped_length(v, d, speed):
    """Critical length of a valve with no lift that passes the flow: popped, at 0.6 of its stop (dynamics review 1.9)."""
    x, area = 0.6 * d[4], d[7] * d[1]
    p0 = _disc_pressure(v.back, d[6], d[1] * (v.set_pressure - v.spring_atmosphere) / d[6], x, area)
    return _critical_length(speed, _coupled(d[6], area, p0, _exponent(v, p0, v.back), x, d[5]))


@njit(error_model="numpy")
def _balance(v, d, opening, speed, stretch, loss_factor):
    """Loss and wave at the pop, Pa each, and the flow of the valve at its stop at set pressure."""
    through = min(pi * d[0] * d[4] * d[10], d[11] * d[2])
    flow = through * _flux(v, v.set_pressure, v.back)
    density = v.density if not v.gas else v.set_pressure * v.molar_mass / (R * v.temperature)
    loss = v.resistance * loss_factor * flow**2 / density
    back = 2.0 * v.acoustic * stretch / speed
    pipe = v.areas[0]
    for index in range(SEGMENTS):
        if v.lengths[index] > 0.0:
            pipe = v.areas[index]
    if opening >= back:
        wave = _ramp_drop(v.inertance * stretch, flow, opening)
    elif v.gas:
        mach, target = 0.0, min(through / pipe, 0.999)
        low, high = 0.0, 1.0
        for _ in range(40):
            mach = 0.5 * (low + high)
            if _throat_ratio(mach, v.k) < target:
                low = mach
            else:
                high = mach
        wave = _expansion_drop(v.set_pressure, mach, v.k)
    else:
        wave = _sudden_drop(speed, flow, pipe)
    return loss, wave, flow


@njit(nogil=True, error_model="numpy")
def _features(v, draws, flows, out):
    """Fill out[draw, flow, feature]; draws as _columns lays them out."""
    for row in range(draws.shape[0]):
        _one(v, draws[row], flows, out[row])


class _Kept(FunctionCache):
    """Disk cache whose key is the text of every module the kernel is made of: an edited formula is compiled anew."""

    def _index_key(self, sig: Any, codegen: Any) -> Any:
        digest = hashlib.sha256()
        for module in (__name__, closed.__name__, exact.__name__, gas_flow.__name__, parameters.__name__):
            digest.update(Path(sys.modules[module].__file__ or "").read_bytes())
        return sig, codegen.magic_tuple(), digest.hexdigest()


with contextlib.suppress(RuntimeError, OSError):  # no folder to keep it in: compiled in every process
    _features._cache = _Kept(_features.py_func)


@njit(error_model="numpy")
def _one(v, d, flows, out):
    """One draw at every flow."""
    gauge = v.set_pressure - v.spring_atmosphere
    speed = d[19] if d[19] > 0.0 else v.sound_speed
    stretch, loss_factor = d[17], d[18]
    stop = d[4]
    frequency = _valve_frequency(d[6], d[5])
    opening = _opening_time(v.stroke, frequency)
    loss, wave, pop_flow = _balance(v, d, opening, speed, stretch, loss_factor)
    ratio = d[6] * d[3] / (d[1] * gauge)
    pops = (d[7] - 1.0) / d[8] > ratio
    knee = min(d[8] * d[3], stop)
    carried = 1.0
    if pops:
        lowest = _lowest(v, d, knee, loss_factor)
        carried, knee = lowest / knee, lowest
    # The part of the back pressure the bowl makes shuts a conventional valve like a loss.
    built = 0.0 if v.bellows else _bowl(v, pop_flow) - v.back
    allowed = max(d[9] * gauge, 1e-3 * gauge)
    _, top_flow, _, top_area = _static(v, d, stop)
    if pops:
        _, low_flow, _, _ = _static(v, d, knee)
        _, hold_flow, _, _ = _static(v, d, knee, -d[13])
    else:
        low_flow, hold_flow = 0.0, 0.0
    low_ratio, low_growth = 0.0, -1.0
    lively = not v.gas or d[16] < SMALL * v.volume
    least = knee if pops else 0.1 * stop
    if knee < 0.999 * stop or not pops:
        at, coupled, stiff, curtain, _ = _point(v, d, max(least * 1.001, 0.02 * stop), speed, stretch)
        if curtain:
            low_ratio = v.acoustic * stretch / _critical_length(speed, coupled)
            if low_ratio > FAR or lively:
                low_growth, _ = _fastest(at, v.acoustic * stretch, stiff, coupled)
    for index in range(flows.shape[0]):
        flow = flows[index]
        o = out[index]
        o[9], o[10], o[11], o[13], o[15] = low_ratio, (loss + wave + built) / allowed, loss / allowed, opening, pop_flow
        o[17] = 2.0 * v.acoustic * stretch / speed / opening
        o[18] = low_growth
        o[19] = built / allowed
        o[20] = flow / hold_flow if hold_flow > 0.0 else 1e9
        o[21] = d[13] / (d[1] * gauge)
        o[22] = least / stop
        o[23] = carried
        o[24] = d[9]
        o[25] = 1.0 if v.gas and pops else 0.0
        o[3] = flow / top_flow if top_flow > 0.0 else 1e9
        o[4] = flow / low_flow if low_flow > 0.0 else 1e9
        o[14] = _cycle_period(d[16], max(d[9], 0.01) + 2.0 * d[13] / (d[1] * gauge), gauge, speed, min(flow, 0.999 * pop_flow), pop_flow) if flow < pop_flow else 0.0
        held = flow >= top_flow
        if held:
            x = stop
            through = min(pi * d[0] * stop * d[10], d[11] * d[2])
            pb = _bowl(v, flow)
            p0 = pb + (flow / through) ** 2 / (2.0 * v.density) if not v.gas else flow / through / _flux(v, 1.0, 0.0)
            force = d[1] * gauge + d[6] * stop - (d[15] * d[1] * (pb - v.atmosphere) if v.bellows else 0.0)
            o[16] = (top_area * (p0 - pb) - force) / (d[1] * gauge)
            o[1], o[2] = stop, p0
        elif pops and flow < low_flow:
            x = 0.6 * stop
            o[1] = 0.0
        elif pops:
            x = _lift_at(v, d, flow, knee, stop)
            o[1] = x
        else:
            x = _lift_at(v, d, flow, 1e-6 * stop, stop)
            o[1] = x
        at, coupled, stiff, curtain, _ = _point(v, d, x, speed, stretch)
        if not held:
            o[2] = _static(v, d, x)[0]
        o[5] = _popped_length(v, d, speed) if held or o[1] == 0.0 else _critical_length(speed, coupled)
        o[6] = v.acoustic * stretch / o[5]
        if curtain and not held:
            o[7], o[8] = -1.0, 0.0
            if o[6] > FAR or lively:
                o[7], o[8] = _fastest(at, v.acoustic * stretch, stiff, coupled)
            need = _damping_needed(d[16], speed, d[5], max(stiff, 1e-6), at.disc_area, at.gain_pressure, at.gain_lift)
            o[12] = need / max(at.damping, 1e-9)
        else:
            o[7], o[8], o[12] = -1.0, 0.0, 0.0


def _columns(draws: Draws) -> NDArray[np.float64]:
    """Draws as rows of numbers for the kernel."""
    return np.column_stack([
        draws.seat_diameter, draws.seat_area, draws.nozzle_area, draws.max_lift, draws.stop_lift, draws.mass,
        draws.spring_rate, draws.area_ratio, draws.knee, draws.blowdown, draws.curtain, draws.nozzle,
        draws.damping_ratio, draws.friction_force, draws.restitution, draws.bellows_area, draws.vessel, draws.length,
        draws.loss, draws.sound_speed,
    ])  # fmt: skip


def valve_of(at: Setting, acoustic: float) -> Valve:
    """The shared numbers of a valve for the kernel. acoustic: length of the plain pipe with the same quarter wave."""
    lengths, areas = _padded(at)
    gas, situation = isinstance(at.fluid, Gas), at.situation
    k = at.fluid.k if isinstance(at.fluid, Gas) else 1.4
    inertance = sum(length / area for length, area in zip(at.line.lengths, at.line.areas, strict=True))
    return Valve(
        gas, k,
        R / at.fluid.gas_constant if isinstance(at.fluid, Gas) else 0.018,
        at.fluid.temperature if isinstance(at.fluid, Gas) else 300.0,
        gas_flow.coefficient(c=R**-0.5, k=k), gas_flow.critical_ratio(k=k),
        1.0 if isinstance(at.fluid, Gas) else at.fluid.density, at.sound_speed,
        situation.set_pressure, at.spring_atmosphere, situation.atmospheric, at.back_pressure, at.exit_area,
        at.bellows, lengths, areas, acoustic, inertance, at.line.volume,
        at.line.resistance,
        parameters.ranges()["stroke_cycles"].mid,
    )  # fmt: skip


def _padded(at: Setting) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lengths and areas on SEGMENTS places; missing ones have no length, surplus ones join the one before."""
    lengths, areas = np.zeros(SEGMENTS), np.full(SEGMENTS, at.line.areas[-1])
    for index, (length, area) in enumerate(zip(at.line.lengths, at.line.areas, strict=True)):
        place = min(index, SEGMENTS - 1)
        if index < SEGMENTS:
            areas[place] = area
        lengths[place] += length
    return lengths, areas


def features(valve: Valve, draws: Draws, flows: tuple[float, ...]) -> NDArray[np.float64]:
    """Every feature of every draw at every flow (kg/s): array (draws, flows, FEATURES)."""
    out = np.zeros((draws.count, len(flows), len(FEATURES)))
    _features(valve, _columns(draws), np.array(flows, dtype=np.float64), out)
    return out


def growth(at: exact.Equilibrium) -> tuple[float, float]:
    """Growth rate (1/s) and frequency (Hz) of the fastest mode: the compiled way, for comparison with the plain one."""
    parts = list(at.segments) + [(0.0, at.segments[-1][1])] * (SEGMENTS - len(at.segments))
    point = Point(
        tuple((float(length), float(area)) for length, area in parts), at.sound_speed, at.volume, at.gain_pressure,
        at.gain_lift, at.disc_area, at.mass, at.spring_rate, at.damping,
    )  # fmt: skip
    coupled = sqrt((at.spring_rate + at.disc_area * at.gain_lift / at.gain_pressure) / at.mass)
    return _fastest(point, at.length, at.spring_rate, coupled)


__all__ = ["FEATURES", "F", "Valve", "features", "growth", "valve_of"]
