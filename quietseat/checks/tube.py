"""One line of gas with a start of its own, marched by the kernel every run is marched by.

A study starts a line at rest or in equilibrium; the closed forms of gas dynamics want other starts: two gases behind a
membrane, a standing wave, a valve that opens at once. So a column is made as for a run, its cells, vessel and disc are
overwritten, and the compiled kernel does the rest. A disc is held by a mass of 1e12 kg, or moves at a constant speed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import pi, sqrt
from typing import Any

AIR = 287.05  # J/kg/K
K = 1.4
HEAVY = 1e12  # kg: moves by nothing
NEVER = 1e9  # of the run: windows that never close, so that what flowed is added up over the whole run

State = tuple[float, float, float]  # density kg/m3, velocity m/s, pressure Pa
Start = Callable[[float], State]  # of the place, m from the vessel


@dataclass(frozen=True)
class Tube:
    """A line of one bore, what it starts from, and the valve at its end.

    length, bore m; start: the state at a place; vessel: pressure Pa and density kg/m3 of the vessel; area_ratio: valve flow
    area over line area; opening: by how much that grows a second; back: pressure behind the valve, Pa; friction: Darcy.
    """

    start: Start
    until: float
    cells: int
    vessel: tuple[float, float]
    length: float = 1.0
    bore: float = 0.1
    volume: float = 1e9
    area_ratio: float = 0.0
    opening: float = 0.0
    back: float = 1.0
    friction: float = 0.0
    mass: float = HEAVY

    @property
    def area(self) -> float:
        """Of the line, m2."""
        return pi / 4.0 * self.bore**2


@dataclass(frozen=True)
class After:
    """What a tube came to. trace: time s, valve stagnation pressure Pa, vessel pressure Pa at equal times."""

    places: list[float]
    cells: list[State]
    trace: list[tuple[float, float, float]]
    vessel_mass: float
    vessel_pressure: float
    passed: float  # kg through the valve
    flow: float  # kg/s in the last step
    mach: float  # before the valve in the last step
    steps: int


def at_rest(pressure: float, temperature: float) -> State:
    """Air at rest."""
    return pressure / (AIR * temperature), 0.0, pressure


def moving(mach: float, pressure: float, temperature: float) -> State:
    """Air of a stagnation pressure and temperature at a Mach number."""
    grow = 1.0 + 0.5 * (K - 1.0) * mach**2
    T, p = temperature / grow, pressure * grow ** (-K / (K - 1.0))
    return p / (AIR * T), mach * sqrt(K * AIR * T), p


def run(tubes: Sequence[Tube], samples: int = 0) -> list[After]:
    """March tubes of equally many cells side by side."""
    import numpy as np

    from quietseat.march import engine, lanes, rows
    from quietseat.march.kernel import Features

    cells, width = tubes[0].cells, engine.LANES["float64"]
    columns = [_column(tube) for tube in tubes]
    block = np.repeat(columns[0][:, None], width, axis=1)
    block[rows.STATE] = rows.IDLE
    for lane, column in enumerate(columns):
        block[:, lane] = column
    trace = np.zeros((width, max(samples, 1), 4))
    march = lanes.runner(Features(), width, "float64")
    head, body = block[: rows.CELLS].reshape(-1), block[rows.CELLS :].reshape(-1)
    with np.errstate(all="ignore"):
        while (block[rows.STATE] == rows.RUNNING).any():
            march(head, body, trace, samples, cells, 0, engine.CHUNK, False, 1e15)
    return [_after(tube, block[:, lane], trace[lane], rows) for lane, tube in enumerate(tubes)]


def _column(tube: Tube) -> Any:
    """The column of an ordinary run with the start overwritten."""
    from quietseat.march import rows, start
    from quietseat.march.cases import Disc, Gas, MarchCase, Outlet, Pipe

    seat = 0.5 * tube.bore
    lift = 0.25 * seat
    curtain = pi * seat  # m2 of flow area per m of lift, coefficient 1
    case = MarchCase(
        fluid=Gas(K, AIR, 293.15), vessel_volume=tube.volume, inflow=0.0, segments=(Pipe(tube.length, tube.bore, tube.friction),),
        set_pressure=2e5, atmospheric=1e5, outlet=Outlet(back_pressure=tube.back), cells=tube.cells, duration=tube.until,
        disc=Disc(seat_diameter=seat, max_lift=lift, mass=tube.mass, spring_rate=1.0, curtain_coefficient=1.0, nozzle_coefficient=1e3),
    )  # fmt: skip
    s = start.column(case)
    fastest = 0.0
    for i in range(tube.cells):
        density, velocity, pressure = tube.start((i + 0.5) / tube.cells * tube.length)
        s[rows.CELLS + rows.PER_CELL * i : rows.CELLS + rows.PER_CELL * (i + 1)] = density, velocity, pressure
        fastest = max(fastest, abs(velocity) + sqrt(K * pressure / density))
    s[rows.SPEED] = 1.25 * fastest * tube.cells / tube.length  # the first step is careful: nothing has been marched yet
    s[rows.DT_MAX] = tube.until
    s[rows.P_R], s[rows.MASS_R] = tube.vessel[0], tube.vessel[1] * tube.volume
    s[rows.X_STOP] = 1e6  # no upper stop
    s[rows.PRELOAD] = 1e9 if tube.area_ratio == tube.opening == 0.0 else 0.0  # shut is shut: even so heavy a disc would leak
    s[rows.X], s[rows.V] = tube.area_ratio * tube.area / curtain, tube.opening * tube.area / curtain
    s[rows.W_WIDTH] = s[rows.W_NEXT] = NEVER * tube.until
    return s


def _after(tube: Tube, s: Any, trace: Any, rows: Any) -> After:
    first = rows.CELLS
    cells = [tuple(float(value) for value in s[first + rows.PER_CELL * i : first + rows.PER_CELL * (i + 1)]) for i in range(tube.cells)]
    kept = int(s[rows.SAMPLED])
    passed = float(s[rows.HISTORY + rows.WINDOW.index("flow")])  # of the one window, closed by the end of the run
    return After(
        [(i + 0.5) / tube.cells * tube.length for i in range(tube.cells)], cells,  # type: ignore[arg-type]
        [(float(row[0]), float(row[2]), float(row[3])) for row in trace[:kept]], float(s[rows.MASS_R]), float(s[rows.P_R]), passed,
        float(s[rows.VALVE_MASS]), float(s[rows.MACH]), int(s[rows.STEPS]),
    )  # fmt: skip
