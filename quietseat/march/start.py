"""A case as the column of numbers one lane starts from: parameters, steady or resting line, disc, clock.

The resting start has the vessel at 99.5 % of set (gauge) and the disc shut. The equilibrium start finds the lift whose
holding pressure passes the inflow, walks the steady line upstream from the valve (stagnation temperature kept, friction
and bore steps included), and disturbs the lift.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np
import numpy.typing as npt

from quietseat.march import pilot as pilot_part
from quietseat.march import rows
from quietseat.march.cases import Gas, MarchCase, Pipe
from quietseat.march.kernel import COURANT, Features
from quietseat.march.outcome import BOUNCE_SHARE
from quietseat.status import CalculationFailed, Status

OUTLET_CELLS = 16
"""Cells of an outlet line."""
SUBSTEPS = 4
DISC_PHASE = 0.15
"""Largest phase of the disc's own motion a sub-step may cover, rad."""
BOWL_SHARE = 0.4
"""Of the time a wave takes to fill the bowl through its widest opening: longest step with a bowl."""
SHUT_SHARE = 0.995
"""Of gauge set: vessel pressure of a run that starts shut."""

Column = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell of a line: length m, area m2 at its left face, over its length and at its right face, friction f/(2D) 1/m."""

    length: float
    left: float
    area: float
    right: float
    friction: float


def friction_of(pipe: Pipe) -> float:
    """f/(2D) of a segment, 1/m, with its loss coefficient spread along it."""
    return (pipe.friction_factor + pipe.loss_coefficient * pipe.diameter / pipe.length) / (2.0 * pipe.diameter)


def counts(segments: tuple[Pipe, ...], cells: int) -> list[int]:
    """Cells of each segment: at least one, together `cells`, as equal in length as they go."""
    total = sum(pipe.length for pipe in segments)
    given = [max(1, int(pipe.length / total * cells)) for pipe in segments]
    while sum(given) > cells:
        widest = max(range(len(given)), key=lambda i: (given[i] > 1, -segments[i].length / given[i]))
        given[widest] -= 1
    while sum(given) < cells:
        longest = max(range(len(given)), key=lambda i: segments[i].length / given[i])
        given[longest] += 1
    return given


def line(segments: tuple[Pipe, ...], cells: int) -> list[Cell]:
    """The cells of a line. The face where two bores meet has their mean area: the step is spread over both neighbours."""
    plain: list[tuple[float, float, float]] = []
    for pipe, count in zip(segments, counts(segments, cells)):
        plain += [(pipe.length / count, pipe.area, friction_of(pipe))] * count
    faces = [plain[0][1]] + [0.5 * (a[1] + b[1]) for a, b in itertools.pairwise(plain)] + [plain[-1][1]]
    return [
        Cell(length, faces[i], 0.5 * (faces[i] + faces[i + 1]), faces[i + 1], friction)
        for i, (length, _, friction) in enumerate(plain)
    ]


def is_stepped(segments: tuple[Pipe, ...]) -> bool:
    """True where the segments differ in bore or friction, so that one number for all cells will not do."""
    first = segments[0]
    return any(
        abs(pipe.diameter / first.diameter - 1.0) > 1e-9 or abs(friction_of(pipe) - friction_of(first)) > 1e-9 * friction_of(first)
        for pipe in segments[1:]
    )


def features_of(case: MarchCase) -> Features:
    """What the kernel of a case must be compiled for."""
    return Features(
        stepped=is_stepped(case.segments),
        bowl=case.outlet.bowl_volume > 0.0,
        vent=case.outlet.bonnet == "vent",
        pilot=case.pilot is not None,
        outlet=case.outlet.pipe is not None,
    )


def height(case: MarchCase) -> int:
    """Rows of a case's column."""
    return rows.CELLS + rows.PER_CELL * (case.cells + _outlet_cells(case)) + rows.GEOMETRY * case.cells


def cells_of(case: MarchCase) -> tuple[int, int]:
    """Cells of the inlet line and of the outlet line: the two numbers `step` takes."""
    return case.cells, _outlet_cells(case)


def _outlet_cells(case: MarchCase) -> int:
    return OUTLET_CELLS if case.outlet.pipe is not None else 0


# Gas relations -------------------------------------------------------------------------------------------------------


def choke_exponent(k: float) -> float:
    """(k+1)/(2(k-1))."""
    return (k + 1.0) / (2.0 * (k - 1.0))


def flow_function(k: float, ratio: float) -> float:
    """psi of a nozzle at a pressure ratio, choked below the critical one (dynamics review 1.4)."""
    critical = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    r = min(max(ratio, critical), 1.0)
    return sqrt(max(2.0 * k / (k - 1.0) * (r ** (2.0 / k) - r ** ((k + 1.0) / k)), 0.0))


def mach_of(k: float, part: float) -> float:
    """Subsonic Mach number at which a section passes `part` of its choked flow. Raises out-of-range from 1 on."""
    if part >= 1.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "the inlet line chokes before the valve passes this flow")
    # Newton for ln(share): concave, so steps from the left never overshoot; the guess leaves out the growth with Mach.
    power, b = choke_exponent(k), 0.5 * (k - 1.0)
    start = float((2.0 / (k + 1.0)) ** power)
    mach = part * start
    for _ in range(60):
        grow = 1.0 + b * mach * mach
        ratio = mach / float(grow**power) / start / part
        step = mach * log(ratio) / (1.0 - 2.0 * power * b * mach * mach / grow)
        mach -= step
        if abs(step) < 1e-15 * mach:
            break
    return min(mach, 1.0)


@dataclass(frozen=True, slots=True)
class Steady:
    """An equilibrium: lift, stagnation pressure at the valve, bowl pressure, vessel pressure; cells (rho, u, p)."""

    lift: float
    valve_pressure: float
    back_pressure: float
    vessel_pressure: float
    cells: tuple[tuple[float, float, float], ...]


def back_at(case: MarchCase, gas: Gas, flow: float) -> float:
    """Pressure behind the disc at a steady flow, Pa: superimposed, or what drives the flow out of the bowl."""
    outlet = case.outlet
    if outlet.bowl_volume <= 0.0 or flow <= 0.0:
        return outlet.back_pressure
    area = outlet.exit_area if outlet.pipe is None else outlet.pipe.area
    root = sqrt(gas.gas_constant * gas.temperature)
    low = outlet.back_pressure
    high = max(2.0 * low, 2.0 * flow * root / (area * flow_function(gas.k, 0.0)))
    for _ in range(100):
        middle = 0.5 * (low + high)
        short = area * middle * flow_function(gas.k, outlet.back_pressure / middle) / root < flow
        low, high = (middle, high) if short else (low, middle)
    return 0.5 * (low + high)


def holding_pressure(case: MarchCase, lift: float, back: float) -> float:
    """Stagnation pressure at the valve that holds the disc at a lift, Pa absolute."""
    disc = case.disc
    slope = disc.seat_area * (disc.area_ratio - 1.0) / (disc.knee * disc.max_lift)
    area = disc.seat_area + slope * min(lift, disc.knee * disc.max_lift)
    force = disc.seat_area * case.set_gauge + disc.spring_rate * lift
    force -= bellows_area(case) * (back - case.atmospheric)
    return back + force / area


def bellows_area(case: MarchCase) -> float:
    """Area on which the bonnet pressure acts instead of the bowl's, m2; 0 on a conventional valve."""
    return 0.0 if case.outlet.bonnet == "bowl" else case.outlet.bellows_area_ratio * case.disc.seat_area


def valve_flow(case: MarchCase, gas: Gas, lift: float, pressure: float, back: float) -> float:
    """Flow at a lift, stagnation pressure and back pressure, kg/s."""
    disc = case.disc
    area = min(pi * disc.seat_diameter * disc.curtain_coefficient * lift, disc.nozzle_coefficient * disc.nozzle)
    return area * pressure * flow_function(gas.k, back / pressure) / sqrt(gas.gas_constant * gas.temperature)


def steady(case: MarchCase, gas: Gas) -> Steady:
    """The equilibrium that passes the inflow. Raises CalculationFailed where there is none (no flow, line choked)."""
    flow = case.inflow
    if flow <= 0.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "inflow = 0: no lift passes it in equilibrium; start shut")
    back = back_at(case, gas, flow)
    stop = case.disc.lift_limit

    def passes(lift: float) -> float:
        return valve_flow(case, gas, lift, holding_pressure(case, lift, back), back)

    if passes(stop) >= flow:
        low, high = 0.0, stop
        for _ in range(100):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if passes(middle) < flow else (low, middle)
        lift = 0.5 * (low + high)
        pressure = holding_pressure(case, lift, back)
    else:  # held on the stop by the pressure that passes the flow
        lift = stop
        low = holding_pressure(case, stop, back)
        high = low
        while valve_flow(case, gas, stop, high, back) < flow:
            high *= 2.0
        for _ in range(100):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if valve_flow(case, gas, stop, middle, back) < flow else (low, middle)
        pressure = 0.5 * (low + high)
    cells, vessel = _walk(line(case.segments, case.cells), gas, flow, pressure)
    return Steady(lift, pressure, back, vessel, cells)


def _walk(cells: list[Cell], gas: Gas, flow: float, pressure: float) -> tuple[tuple[tuple[float, float, float], ...], float]:
    """States of the cells upstream of a stagnation pressure at the valve, and the vessel's pressure."""
    stagnation = pressure
    states: list[tuple[float, float, float]] = []
    for cell in reversed(cells):
        stagnation = _loss(gas, flow, stagnation, cell, 0.5)
        states.append(_state(gas, flow, stagnation, cell.area))
        stagnation = _loss(gas, flow, stagnation, cell, 0.5)
    return tuple(reversed(states)), stagnation


def _state(gas: Gas, flow: float, stagnation: float, area: float) -> tuple[float, float, float]:
    root = sqrt(gas.gas_constant * gas.temperature)
    mach = mach_of(gas.k, flow * root / (area * stagnation * flow_function(gas.k, 0.0)))
    grow = 1.0 + 0.5 * (gas.k - 1.0) * mach * mach
    p = stagnation * grow ** (-gas.k / (gas.k - 1.0))
    temperature = gas.temperature / grow
    return p / (gas.gas_constant * temperature), mach * sqrt(gas.k * gas.gas_constant * temperature), p


def _loss(gas: Gas, flow: float, stagnation: float, cell: Cell, part: float) -> float:
    """Stagnation pressure one part of a cell upstream: d ln p0 = -(k/2) M^2 f dx/D, midpoint rule."""
    if cell.friction <= 0.0:
        return stagnation
    root = sqrt(gas.gas_constant * gas.temperature)

    def rate(value: float) -> float:
        mach = mach_of(gas.k, flow * root / (cell.area * value * flow_function(gas.k, 0.0)))
        return value * gas.k * mach * mach * cell.friction * cell.length * part

    return stagnation + rate(stagnation + 0.5 * rate(stagnation))


# The column ----------------------------------------------------------------------------------------------------------


def column(case: MarchCase) -> Column:
    """The numbers one lane starts from. Raises CalculationFailed where the case cannot be started."""
    gas = case.fluid
    if not isinstance(gas, Gas):
        raise CalculationFailed(Status.NOT_COMPUTED, "a liquid line has its own start")
    s = np.zeros(height(case))
    gas_rows(s, gas)
    disc_rows(s, case)
    if case.start == "equilibrium":
        if case.pilot is not None:
            raise CalculationFailed(Status.OUT_OF_RANGE, "start = 'equilibrium': a pilot-operated valve starts shut")
        at = steady(case, gas)
        vessel, back, states = at.vessel_pressure, at.back_pressure, at.cells
        s[rows.X] = min(max(at.lift + case.disturbance, 0.0), case.disc.lift_limit)
        s[rows.OPEN] = s[rows.OPENINGS] = 1.0
    else:
        vessel = case.atmospheric + SHUT_SHARE * case.set_gauge
        back = case.outlet.back_pressure
        states = ((vessel / (gas.gas_constant * gas.temperature), 0.0, vessel),) * case.cells
    _vessel_rows(s, case, gas, vessel)
    _outlet_rows(s, case, gas, back)
    _line_rows(s, case, states)
    if case.pilot is not None:
        pilot_rows(s, case, vessel)
    _clock_rows(s, case, gas)
    return s


def pilot_rows(s: Column, case: MarchCase, vessel: float) -> None:
    """Pilot, dome and sense line at rest at the vessel's pressure, Pa; the dome takes the place of the spring."""
    numbers = pilot_part.pack(case)
    s[rows.PILOT : rows.PILOT + len(numbers)] = numbers
    s[rows.DOME] = s[rows.SENSE] = s[rows.FELT] = vessel
    s[rows.PRELOAD] = 0.0
    stiffness = case.disc.spring_rate + pilot_part.dome_stiffness(case)
    s[rows.DAMP] = 2.0 * case.disc.damping_ratio * sqrt(stiffness * case.disc.mass)


def gas_rows(s: Column, gas: Gas) -> None:
    """Constants of the gas: (k-1)/2, k, exponents of the choked relation, gas constant, temperature."""
    k = gas.k
    s[rows.HALF], s[rows.KAPPA], s[rows.KB] = 0.5 * (k - 1.0), k, 2.0 * k / (k - 1.0)
    s[rows.CHOKE] = choke_exponent(k)
    s[rows.ENTRY] = (2.0 / (k + 1.0)) ** choke_exponent(k)
    s[rows.CRITICAL] = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    s[rows.RGAS], s[rows.TAMB] = gas.gas_constant, gas.temperature


def disc_rows(s: Column, case: MarchCase) -> None:
    """Constants of the disc: areas, spring, mass, damping, friction, flow areas, stops."""
    disc = case.disc
    s[rows.X_STOP], s[rows.A_SEAT] = disc.lift_limit, disc.seat_area
    s[rows.X_KNEE] = disc.knee * disc.max_lift
    s[rows.A_SLOPE] = disc.seat_area * (disc.area_ratio - 1.0) / s[rows.X_KNEE]
    s[rows.SPRING], s[rows.PRELOAD] = disc.spring_rate, disc.seat_area * case.set_gauge
    s[rows.INV_MASS] = 1.0 / disc.mass
    s[rows.DAMP] = 2.0 * disc.damping_ratio * sqrt(disc.spring_rate * disc.mass)
    s[rows.DRY], s[rows.REST] = disc.friction_force, disc.restitution
    s[rows.CURTAIN] = pi * disc.seat_diameter * disc.curtain_coefficient
    s[rows.NOZZLE] = disc.nozzle_coefficient * disc.nozzle
    s[rows.BOUNCE] = BOUNCE_SHARE * disc.lift_limit
    s[rows.RISING] = 1.0


_disc_rows = disc_rows


def _vessel_rows(s: Column, case: MarchCase, gas: Gas, pressure: float) -> None:
    s[rows.VOLUME], s[rows.INFLOW], s[rows.P_R] = case.vessel_volume, case.inflow, pressure
    s[rows.H_IN] = gas.k / (gas.k - 1.0) * gas.gas_constant * gas.temperature
    s[rows.MASS_R] = pressure * case.vessel_volume / (gas.gas_constant * gas.temperature)


def _outlet_rows(s: Column, case: MarchCase, gas: Gas, back: float) -> None:
    outlet = case.outlet
    s[rows.P_B], s[rows.P_BACK] = back, outlet.back_pressure
    s[rows.P_ATM] = s[rows.P_BON] = case.atmospheric
    s[rows.A_BELLOWS] = bellows_area(case)
    s[rows.VENT], s[rows.VOL_BON] = outlet.vent_area, outlet.bonnet_volume
    s[rows.VOL_B], s[rows.EXIT] = outlet.bowl_volume, outlet.exit_area
    s[rows.MASS_B] = back * outlet.bowl_volume / (gas.gas_constant * gas.temperature)
    if outlet.pipe is not None:
        pipe = outlet.pipe
        s[rows.O_INVDX], s[rows.O_FRIC] = OUTLET_CELLS / pipe.length, friction_of(pipe)
        s[rows.O_AREA], s[rows.O_DX] = pipe.area, pipe.length / OUTLET_CELLS
        first = rows.CELLS + rows.PER_CELL * case.cells
        rho = outlet.back_pressure / (gas.gas_constant * gas.temperature)
        for i in range(OUTLET_CELLS):
            s[first + rows.PER_CELL * i : first + rows.PER_CELL * (i + 1)] = rho, 0.0, outlet.back_pressure


def _line_rows(s: Column, case: MarchCase, states: tuple[tuple[float, float, float], ...]) -> None:
    cells = line(case.segments, case.cells)
    s[rows.AREA_R], s[rows.AREA_V] = cells[0].left, cells[-1].right
    s[rows.INVDX], s[rows.FRIC] = 1.0 / cells[0].length, cells[0].friction
    s[rows.DXMIN] = min(cell.length for cell in cells)
    s[rows.P_STAG] = states[-1][2]
    rho, speed, pressure = states[-1]
    s[rows.MACH] = speed / sqrt(s[rows.KAPPA] * pressure / rho)  # from 0 the first steps would kick the disc
    geometry = rows.CELLS + rows.PER_CELL * (case.cells + _outlet_cells(case))
    for i, (cell, state) in enumerate(zip(cells, states)):
        r = rows.CELLS + rows.PER_CELL * i
        s[r : r + rows.PER_CELL] = state
        g = geometry + rows.GEOMETRY * i
        s[g : g + rows.GEOMETRY] = cell.left, cell.right, 1.0 / cell.length, cell.friction


def _clock_rows(s: Column, case: MarchCase, gas: Gas) -> None:
    sound = sqrt(gas.k * gas.gas_constant * gas.temperature)
    fastest = max(abs(s[rows.CELLS + rows.PER_CELL * i + 1]) for i in range(case.cells)) + sound
    s[rows.SPEED] = fastest / s[rows.DXMIN]
    s[rows.DT_MAX] = largest_step(case, gas)
    s[rows.T_END], s[rows.STATE] = case.duration, rows.RUNNING
    s[rows.W_XMIN] = s[rows.W_XMAX] = s[rows.REF_LOW] = s[rows.REF_HIGH] = s[rows.X]
    s[rows.W_PMIN] = 1e30
    s[rows.W_WIDTH] = s[rows.W_NEXT] = case.duration / rows.WINDOW_COUNT


def largest_step(case: MarchCase, gas: Gas) -> float:
    """What the disc, the bowl and the outlet line allow a step to be, s, however long the cells of the inlet."""
    disc = case.disc
    stiffness = disc.spring_rate + disc.seat_area * abs(disc.area_ratio - 1.0) / (disc.knee * disc.max_lift) * case.set_pressure
    if case.pilot is not None:
        stiffness += pilot_part.dome_stiffness(case)
    step = SUBSTEPS * DISC_PHASE / sqrt(stiffness / disc.mass)
    sound = sqrt(gas.k * gas.gas_constant * gas.temperature)
    outlet = case.outlet
    if outlet.bowl_volume > 0.0:
        area = max(outlet.exit_area if outlet.pipe is None else outlet.pipe.area, case.segments[-1].area)
        step = min(step, BOWL_SHARE * outlet.bowl_volume / (sound * area))
    if outlet.pipe is not None:
        step = min(step, COURANT * outlet.pipe.length / OUTLET_CELLS / (2.0 * sound))
    return step


def foreseen_steps(s: Column) -> float:
    """Steps a run should take, from its column at the start."""
    return float(s[rows.T_END] / min(COURANT / s[rows.SPEED], s[rows.DT_MAX]))
