"""Liquid inlet line in time: method of characteristics with dx = a dt exactly, vapour cavities, vessel and valve ends.

Water hammer (pressure p absolute, velocity u positive towards the valve):
    dp/dt + rho a^2 du/dx = 0          rho du/dt + dp/dx = -rho f u|u|/(2D)
Along dx/dt = +a:  p + B u is carried, along -a:  p - B u, with B = rho a; friction f + K D/L of each cell enters as
(B + R|u_foot|) u with R = rho (f dx/D + K/n)/2, which is exact in steady flow and cannot overshoot.

Every node between two cells is the same junction: flow is continuous, stagnation pressure is equal, so a step of the
bore needs no case of its own. A node whose pressure would fall below the vapour pressure p_v holds p_v and opens a
cavity: two velocities, volume V. The new volume and pressure follow from one complementarity,
    V_new = V + dt (A2 u2 - A1 u1) >= 0,   p >= p_v,   V_new (p - p_v) = 0,
so a cavity shuts with exactly the volume it had (nothing is clipped away) and the pressure peak of the shutting is the
momentum of both columns. Liquid steps are second order in time but for the cavities (first order).

Vessel end: stagnation pressure of the line = vessel pressure on outflow, static pressure on return flow (the jet is
lost in the vessel); the vessel integrates its net flow by the trapezoidal rule, which closes the mass balance of vessel
and line to rounding. Valve end: C+ with u = (C A_v/A_p) sqrt(2 (p0 - p_b)/rho), p0 = p + rho u^2/2, a quadratic; return
flow as through an orifice from p_b. The bowl behind the disc is full and has no inertia: valve and exit in series.

Source: equations and ends from the dynamics review 1.2, 1.7, 1.8 (computed); cavity model: discrete vapour cavities
(Wylie & Streeter, Fluid Transients), written as a complementarity.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import sqrt
from types import SimpleNamespace
from typing import Any

from quietseat.march.cases import Liquid, Pipe
from quietseat.status import CalculationFailed, Status

MOST_CELLS_FACTOR = 16
"""A line of several bores may get up to this many times the cells asked for, to keep `a` within SPEED_TOLERANCE."""
SPEED_TOLERANCE = 0.02
"""Largest change of the wave speed that makes every segment a whole number of cells (method of characteristics)."""
SHORT_TOLERANCE, SHORT_EFFECT = 0.25, 0.004
"""A short segment may change more, up to the first, while its travel time moves by less than the second of the line's."""


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells of a liquid line: `step` s; per segment `cells` and wave speed `speeds` m/s with length = cells * speed * step."""

    step: float
    cells: tuple[int, ...]
    speeds: tuple[float, ...]

    @property
    def total(self) -> int:
        """Cells of the whole line."""
        return sum(self.cells)


def _bearable(change: float, share: float) -> bool:
    """Whether a segment of so large a share of the line may have its wave speed times `change`."""
    off = abs(change - 1.0)
    return off <= SPEED_TOLERANCE or (off <= SHORT_TOLERANCE and off * share <= SHORT_EFFECT)


@lru_cache(maxsize=4096)
def grid(segments: tuple[Pipe, ...], sound_speed: float, cells: int) -> Grid:
    """Fewest cells, at least `cells`, that give every segment a whole number with its wave speed within 2 %.

    The travel time of the whole line is exact, and so is the inertia of every segment. A short segment may change by
    more where that moves less than 0.4 % of the line's travel time. sound_speed m/s. Raises CalculationFailed (out of
    range) when a segment is so short against the line that not even 16 times the cells do.
    """
    length = sum(pipe.length for pipe in segments)
    least = max(cells, len(segments))
    for target in range(least, MOST_CELLS_FACTOR * least + 1):
        counts = [max(1, round(pipe.length * target / length)) for pipe in segments]
        total = sum(counts)
        changes = [pipe.length * total / (count * length) for pipe, count in zip(segments, counts)]
        if total >= least and all(_bearable(change, pipe.length / length) for change, pipe in zip(changes, segments)):
            return Grid(length / (total * sound_speed), tuple(counts), tuple(change * sound_speed for change in changes))
    shortest = min(pipe.length for pipe in segments)
    raise CalculationFailed(
        Status.OUT_OF_RANGE,
        f"segments: {shortest:g} m is too short beside {length:g} m for whole cells on every bore",
    )


@dataclass(frozen=True, slots=True)
class Cell:
    """Constants of one cell: `impedance` rho a, `resistance` R (Pa per (m/s)^2) and bore `area` m2."""

    impedance: float
    resistance: float
    area: float


def cells_of_line(segments: tuple[Pipe, ...], fluid: Liquid, mesh: Grid) -> list[Cell]:
    """The cells of a line from vessel to valve."""
    out: list[Cell] = []
    for pipe, count, speed in zip(segments, mesh.cells, mesh.speeds):
        loss = (pipe.friction_factor * pipe.length / pipe.diameter + pipe.loss_coefficient) / count
        out += [Cell(fluid.density * speed, 0.5 * fluid.density * loss, pipe.area)] * count
    return out


def build(jit: Callable[[Any], Any], real: Callable[[float], Any]) -> SimpleNamespace:
    """Scalar functions of nodes and ends: `jit` compiles (or returns) a function, `real` types a literal."""
    zero, half, one, two = real(0.0), real(0.5), real(1.0), real(2.0)
    tiny = real(1e-30)

    @jit
    def foot(p, u, impedance, resistance):  # type: ignore[no-untyped-def]
        """What a characteristic carries from its foot: (p + B u, B + R|u|). Call with -u for the one that runs back."""
        return p + impedance * u, impedance + resistance * abs(u)

    @jit
    def head(u, area_1, area_2, cavity, density):  # type: ignore[no-untyped-def]
        """Fall of static pressure over a step of the bore, Pa, at the velocity u before it; none across a cavity."""
        ratio = area_1 / area_2
        return half * density * u * u * (ratio * ratio - one) if cavity <= zero else zero

    @jit
    def node(cp, bp, area_1, cm, bm, area_2, drop, cavity, vapour, h):  # type: ignore[no-untyped-def]
        """A node between two cells: static pressure before and after it, velocities before and after it, cavity m3."""
        floor = vapour + max(drop, zero)
        from_1, from_2 = one / bp, one / bm
        y1, y2 = area_1 * from_1, area_2 * from_2
        trial = cavity + h * (y2 * (floor - drop - cm) - y1 * (cp - floor))
        p = floor + max(-trial, zero) / (h * (y1 + y2))
        return p, p - drop, (cp - p) * from_1, (p - drop - cm) * from_2, max(trial, zero)

    @jit
    def vessel_end(cm, bm, area, pressure, give, cavity, vapour, density, h):  # type: ignore[no-untyped-def]
        """The vessel end: static pressure, velocity out of the vessel, velocity into the line, cavity m3.

        pressure: of the vessel at the end of the step if nothing flowed out; give: its fall per m/s of outflow.
        """
        reach = cm - bm * cavity / (h * area)
        drive = pressure - reach
        b = bm + give
        u = two * drive / (b + sqrt(b * b + two * density * drive)) if drive > zero else drive / b
        p = reach + bm * u
        free = max(pressure - vapour, zero)
        jet = two * free / (give + sqrt(give * give + two * density * free) + tiny)
        after = (vapour - cm) / bm
        open_ = p < vapour
        grown = max(cavity + h * area * (after - jet), zero)
        return (
            vapour if open_ else p,
            jet if open_ else u,
            after if open_ else (p - cm) / bm,
            grown if open_ else zero,
        )

    @jit
    def valve_end(cp, bp, area, alpha, back, cavity, vapour, density, h):  # type: ignore[no-untyped-def]
        """The valve end: static and stagnation pressure, velocity of the line, velocity through the valve, cavity m3.

        alpha: C A_v/A_p, below 1; velocities are on the bore of the line; back: pressure behind the valve.
        """
        reach = cp - bp * cavity / (h * area)
        drive = reach - back
        recover = one - alpha * alpha if drive > zero else one
        size = abs(drive)
        ba = bp * alpha
        speed = two * size / (ba + sqrt(ba * ba + two * density * recover * size) + tiny)
        out = alpha * speed if drive > zero else -alpha * speed
        p = reach - bp * out
        beyond = vapour - back
        leak = sqrt(two * abs(beyond) / density)
        leaving = alpha * leak if beyond > zero else -alpha * leak
        open_ = p < vapour
        inside = (cp - vapour) / bp if open_ else (cp - p) / bp
        grown = max(cavity + h * area * (leaving - inside), zero) if open_ else zero
        static = vapour if open_ else p
        through = leaving if open_ else out
        moving = through > zero and not open_
        total = static + half * density * through * through if moving else static
        return static, total, inside, through, grown

    @jit
    def in_series(valve, exit_):  # type: ignore[no-untyped-def]
        """Flow area, C A in m2, of the valve and the exit of its full bowl in series; exit 0 = no bowl."""
        return valve * exit_ / sqrt(valve * valve + exit_ * exit_) if exit_ > zero else valve

    return SimpleNamespace(foot=foot, head=head, node=node, vessel_end=vessel_end, valve_end=valve_end, in_series=in_series)
