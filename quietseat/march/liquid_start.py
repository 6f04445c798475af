"""A liquid case as the column of numbers one lane starts from: line, disc, vessel, clock. Same names as `start` for a gas.

The resting start has the vessel at 99.5 % of set (gauge) and the disc shut. The equilibrium start finds the lift whose
holding pressure passes the inflow (bowl exit in series), adds the losses of the line upstream, and disturbs the lift.
"""

from __future__ import annotations

from math import ceil, log2, pi, sqrt

import numpy as np
import numpy.typing as npt

from quietseat.march import pilot as pilot_part
from quietseat.march import rows, start
from quietseat.march.cases import Liquid, MarchCase
from quietseat.march.liquid import Grid, cells_of_line, grid
from quietseat.march.liquid_lanes import CELL, DENSITY, HELD, NODE, SQUARE, VAPOUR, WIDTH, Features
from quietseat.march.liquid_lanes import rows as line_rows
from quietseat.status import CalculationFailed, Status

PHASE = 0.15
"""Largest phase, rad, of disc and trapped liquid together that one part of a step may cover."""
MOST_PARTS = 16
LEAST_PRESSURE = 1.0
"""Pa; a liquid without a stated vapour pressure holds this one, so that no absolute pressure is 0."""

Column = npt.NDArray[np.float64]


def _liquid(case: MarchCase) -> Liquid:
    if not isinstance(case.fluid, Liquid):
        raise CalculationFailed(Status.NOT_COMPUTED, "a gas line has its own start")
    return case.fluid


def mesh_of(case: MarchCase) -> Grid:
    """Cells of the inlet line. Raises CalculationFailed where a segment is too short beside the others."""
    return grid(case.segments, _liquid(case).sound_speed, case.cells)


def features_of(case: MarchCase) -> Features:
    """What the kernel of a case must be compiled for."""
    return Features(vent=case.outlet.bonnet == "vent", pilot=case.pilot is not None)


def height(case: MarchCase) -> int:
    """Rows of a case's column."""
    return rows.CELLS + line_rows(mesh_of(case).total)


def cells_of(case: MarchCase) -> tuple[int, int]:
    """Cells of the line and parts of a step at the valve: the two numbers `step` takes."""
    mesh = mesh_of(case)
    return mesh.total, parts_of(case, mesh.step)


def parts_of(case: MarchCase, step: float) -> int:
    """Parts of a step, so that disc and liquid column at a twentieth of the lift cover at most PHASE rad in one.

    A power of two, so that the draws of one valve share few kernels' lanes.
    """
    disc = case.disc
    stiffness = disc.spring_rate + 2.0 * disc.seat_area * case.set_gauge / (0.05 * disc.lift_limit)
    if case.pilot is not None:
        stiffness += pilot_part.dome_stiffness(case)
    needed = step * sqrt(stiffness / disc.mass) / PHASE
    return min(1 << max(ceil(log2(needed)), 0), MOST_PARTS)


def exit_of(case: MarchCase) -> float:
    """C A behind the bowl, m2; its outlet line, full of liquid, in series by its losses; 0 = no bowl."""
    outlet = case.outlet
    if outlet.bowl_volume <= 0.0:
        return 0.0
    pipe = outlet.pipe
    if pipe is None:
        return outlet.exit_area
    loss = 1.0 + pipe.friction_factor * pipe.length / pipe.diameter + pipe.loss_coefficient
    line = pipe.area / sqrt(loss)
    return outlet.exit_area * line / sqrt(outlet.exit_area**2 + line**2)


def valve_area(case: MarchCase, lift: float) -> float:
    """C A of the valve at a lift, m2."""
    disc = case.disc
    return min(pi * disc.seat_diameter * disc.curtain_coefficient * lift, disc.nozzle_coefficient * disc.nozzle)


def equilibrium(case: MarchCase) -> tuple[float, float]:
    """Lift, m, and stagnation pressure at the valve, Pa, that pass the inflow. Raises CalculationFailed without a flow."""
    fluid = _liquid(case)
    if case.inflow <= 0.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "inflow = 0: no lift passes it in equilibrium; start shut")
    leaving = exit_of(case)
    head = 0.5 * case.inflow**2 / fluid.density
    back = case.outlet.back_pressure + (head / leaving**2 if leaving > 0.0 else 0.0)

    def flow(lift: float) -> float:
        drive = max(start.holding_pressure(case, lift, back) - back, 0.0)
        return valve_area(case, lift) * sqrt(2.0 * fluid.density * drive)

    stop = case.disc.lift_limit
    if flow(stop) < case.inflow:  # held on the stop by the pressure that passes the flow
        return stop, back + head / valve_area(case, stop) ** 2
    low, high = 0.0, stop
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if flow(middle) < case.inflow else (low, middle)
    return high, start.holding_pressure(case, high, back)


def column(case: MarchCase) -> Column:
    """The numbers one lane starts from. Raises CalculationFailed where the case cannot be started."""
    fluid = _liquid(case)
    mesh = mesh_of(case)
    s = np.zeros(height(case))
    vapour = max(fluid.vapour_pressure, LEAST_PRESSURE)
    s[DENSITY], s[SQUARE], s[VAPOUR] = fluid.density, fluid.sound_speed**2, vapour
    start.disc_rows(s, case)
    _outlet_rows(s, case)
    flow = 0.0
    total = case.atmospheric + start.SHUT_SHARE * case.set_gauge
    if case.start == "equilibrium":
        if case.pilot is not None:
            raise CalculationFailed(Status.OUT_OF_RANGE, "start = 'equilibrium': a pilot-operated valve starts shut")
        lift, total = equilibrium(case)
        flow = case.inflow
        s[rows.X] = min(max(lift + case.disturbance, 0.0), case.disc.lift_limit)
        s[rows.OPEN] = s[rows.OPENINGS] = 1.0
    s[rows.P_STAG] = total
    vessel = _line_rows(s, case, mesh, flow, total)
    if vapour >= vessel:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"vapour_pressure = {fluid.vapour_pressure}: not below the pressure of the vessel")
    s[rows.VOLUME], s[rows.INFLOW], s[rows.P_R], s[HELD] = case.vessel_volume, case.inflow, vessel, vessel
    s[rows.MASS_R] = fluid.density * case.vessel_volume
    if case.pilot is not None:
        start.pilot_rows(s, case, vessel)
    _clock_rows(s, case, mesh)
    return s


def _outlet_rows(s: Column, case: MarchCase) -> None:
    outlet = case.outlet
    s[rows.P_B] = s[rows.P_BACK] = outlet.back_pressure
    s[rows.P_ATM] = s[rows.P_BON] = case.atmospheric
    s[rows.A_BELLOWS] = start.bellows_area(case)
    s[rows.VENT], s[rows.VOL_BON] = outlet.vent_area, outlet.bonnet_volume
    s[rows.EXIT] = exit_of(case)


def _line_rows(s: Column, case: MarchCase, mesh: Grid, flow: float, total: float) -> float:
    """Cells and nodes of a steady flow, kg/s, with a stagnation pressure at the valve; returns the vessel's pressure."""
    fluid = _liquid(case)
    cells = cells_of_line(case.segments, fluid, mesh)
    count = len(cells)
    s[rows.AREA_R], s[rows.AREA_V] = cells[0].area, cells[-1].area
    for i in range(count, -1, -1):
        before, after = cells[max(i - 1, 0)], cells[min(i, count - 1)]
        u1, u2 = flow / (fluid.density * before.area), flow / (fluid.density * after.area)
        r = rows.CELLS + CELL * count + NODE * i
        s[r : r + NODE] = total - 0.5 * fluid.density * u1**2, total - 0.5 * fluid.density * u2**2, u1, u2, 0.0
        if i > 0:
            c = rows.CELLS + CELL * (i - 1)
            s[c : c + CELL] = before.impedance, before.resistance, before.area
            total += before.resistance * u1**2
    return total


def _clock_rows(s: Column, case: MarchCase, mesh: Grid) -> None:
    s[rows.DT_MAX], s[rows.SPEED] = mesh.step, 1.0 / mesh.step
    s[WIDTH] = 1.0 / parts_of(case, mesh.step)
    s[rows.T_END], s[rows.STATE] = case.duration, rows.RUNNING
    s[rows.W_XMIN] = s[rows.W_XMAX] = s[rows.REF_LOW] = s[rows.REF_HIGH] = s[rows.X]
    s[rows.W_PMIN] = 1e30
    s[rows.W_WIDTH] = s[rows.W_NEXT] = case.duration / rows.WINDOW_COUNT


def foreseen_steps(s: Column) -> float:
    """Steps a run should take, from its column at the start."""
    return float(s[rows.T_END] / s[rows.DT_MAX])
