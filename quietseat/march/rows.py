"""Where every number of a lane stands: one flat array, index `row * stride + lane`.

The head rows are common to gas and liquid kernels: parameters of the line's ends, vessel, disc, outlet, pilot, clock and
metrics. Cell rows follow from `CELLS` on. One flat array with a lane count known when compiling is what lets the
compiler work on neighbouring lanes at once.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from quietseat.march.pilot import PARAMETERS

UNSIGNED = np.uint64

# fmt: off
(
    # gas: b = (k-1)/2, k, k/b, exponent of the choked relation, Mach per area ratio, critical ratio, R, T of the surroundings
    HALF, KAPPA, KB, CHOKE, ENTRY, CRITICAL, RGAS, TAMB,
    # inlet line: 1/dx, smallest dx, f/(2D) with K spread, area at the valve and at the vessel
    INVDX, DXMIN, FRIC, AREA_V, AREA_R,
    # vessel: volume, inflow, its enthalpy; mass, pressure
    VOLUME, INFLOW, H_IN, MASS_R, P_R,
    # clock: time, end, step, largest step, fastest wave of the last step, steps done, state (see below)
    TIME, T_END, DT, DT_MAX, SPEED, STEPS, STATE,
    # disc: parameters, lift, speed, Mach number at the valve
    X_STOP, A_SEAT, A_SLOPE, X_KNEE, SPRING, PRELOAD, INV_MASS, DAMP, DRY, REST, CURTAIN, NOZZLE, X, V, MACH,
    # outlet: pressure behind the disc, superimposed, bowl mass, volume, exit C A; bellows area, bonnet pressure, vent C A, volume
    P_B, P_BACK, MASS_B, VOL_B, EXIT, A_BELLOWS, P_ATM, P_BON, VENT, VOL_BON,
    # outlet line: 1/dx, f/(2D), area
    O_INVDX, O_FRIC, O_AREA, O_DX,
    # carried along a sweep: right face of the cell before, flux through its left face; what passed the valve
    R_RHO, R_U, R_P, FLANK, F_MASS, F_MOM, F_EN, VALVE_MASS, VALVE_EN, P_STAG, BACK_EN,
    # pilot states and switches
    DOME, SENSE, DRAW, FELT, RELAY, SWITCHES,
    # counting: lift that must be left behind before a landing counts, seat speed factor
    BOUNCE, SINCE,
    # whole run: opened yet, openings, reclosings, first and last opening, opening time marks, smallest and largest pressures
    OPEN, OPENINGS, RECLOSINGS, T_FIRST, T_LAST, T_RISE, T_TOP, X_TOP, RISING,
    # the running window: start, lift min, max, integral; seat and stop impacts, seat energy; flow; pressures; crossings
    W_FROM, W_XMIN, W_XMAX, W_XINT, W_SEAT, W_STOP, W_ENERGY, W_FLOW, W_PMIN, W_PMAX, W_RMAX, W_RINT, W_CROSS, W_C0, W_C1,
    # reference of the crossings (mean and swing of the window before), which side
    REF_LOW, REF_HIGH, SIDE,
    # windows closed, width, next close; next sample
    WINDOWS, W_WIDTH, W_NEXT, SAMPLED, EARLY,
    HISTORY,
) = range(106)
# fmt: on

WINDOW_COUNT = 20
"""A run is judged by twentieths: the last eight are the 40 % of the verdict."""
WINDOW = ("start", "end", "xmin", "xmax", "xmean", "seat", "stop", "energy", "flow", "pmin", "pmax", "rmax", "cross", "c0", "c1", "vessel", "switches")
"""What is kept of every closed window; "vessel": mean pressure, "switches": of the pilot since the start."""
W_SIZE = len(WINDOW)
PILOT = HISTORY + WINDOW_COUNT * W_SIZE
"""First row of the pilot's numbers, order of `pilot.PARAMETERS`."""
CELLS = PILOT + len(PARAMETERS)
"""First cell row: density, velocity, pressure of cell 0, then of cell 1 (gas). Kernels are given head and cell rows as two
arrays: rows at a distance not known when compiling would otherwise have to be compared before every loop."""
PER_CELL = 3
GEOMETRY = 4
"""Rows a cell behind the cells of a stepped line: left and right face area m2, 1/dx, f/(2D)."""

IDLE, RUNNING, ENDED, EARLY_END, LOST = 0.0, 1.0, 2.0, 3.0, 4.0
"""Values of STATE."""


def index(jit: Callable[[Any], Any], unsigned: Callable[[int], Any]) -> Any:
    """`at(row, stride, j)`: place in the flat array as an unsigned number.

    A signed index may mean "from the end", and the select that asks keeps the compiler from seeing neighbouring lanes.
    """

    @jit
    def at(row, stride, j):  # type: ignore[no-untyped-def]
        return unsigned(row * stride + j)

    return at
