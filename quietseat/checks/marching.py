"""Calculations that march in time: each runs the functions a user's run is made of, and returns what it found, SI.

Kernel functions are plain Python here where a test needs a few thousand steps, compiled where it needs more. Nothing of
the marching part is imported before a check asks for it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from math import exp, log2, pi, sin, sqrt
from typing import Any

from quietseat.checks import tube

Found = dict[str, Any]


def _plain(function: Any) -> Any:
    """In place of a compiler."""
    return function


# --- disc, dome, sense line ---------------------------------------------------------------------------------


def bouncing_disc(acceleration: float, speed: float, restitution: float, step: float) -> Found:
    """A disc that falls on its seat and is pushed back to it: first flight, time to rest, impacts that count. Unit mass."""
    from quietseat.march import disc

    move = disc.build(_plain, float).move
    lift, velocity, hits, first, second = 0.0, -speed, 0, 0.0, 0.0
    for index in range(1, round(1.0 / step)):
        lift, velocity, seat, _ = move(lift, velocity, step, -acceleration, 1.0, 0.0, 0.0, restitution, 1.0)
        if seat > 0.0:
            hits += 1
            first = first or index * step
            second = second or (index * step if hits == 2 else 0.0)
        if lift == 0.0 and velocity == 0.0:
            return {"flight": second - first, "rest": index * step - first, "impacts": hits}
    return {"flight": second - first, "impacts": hits}


def dome_dump(volume: float, vent: float, coefficient: float, exponent: float, pressure: float, kept: float) -> Found:
    """Time to empty a dome through its vent, air at 300 K, from a pressure to a share of it; the piston stands still."""
    from quietseat.march import pilot

    k, supply = 1.4, 287.05 * 300.0
    psi = sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))
    critical = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    dome_of = pilot.build(_plain, float)
    step = volume / (coefficient * vent * psi * sqrt(supply)) / 4000.0
    held, time = pressure, 0.0
    while True:
        warm = dome_of.dome_rt(held, exponent, supply, pressure)
        after = dome_of.dome_gas(
            held, 0.0, 0.0, step, coefficient * vent, 0.0, pressure, 1e5, warm, 0.0, volume, 1.0, exponent, supply, psi, critical
        )
        if after <= kept * pressure:
            return {"time": time + step * (held - kept * pressure) / (held - after)}
        held, time = after, time + step


def sense_line(length: float, bore: float, volume: float, sound_speed: float) -> Found:
    """First mode of a sense tube with the pilot's volume at its end."""
    from quietseat.march.pilot import first_wave_number

    return {"frequency": first_wave_number(length, pi / 4.0 * bore**2, volume) * sound_speed / (2.0 * pi)}


# --- gas line -----------------------------------------------------------------------------------------------


def riemann(left: list[float], right: list[float], until: float, cells: int, across: list[float], shock: float = 0.0) -> Found:
    """Two gases (density, velocity, pressure) behind a membrane at half of 1 m: means over places of the star region.

    across: two places left of the contact and two right of it, m. shock: density half way through the right shock, or 0.
    """
    L, R = (left[0], left[1], left[2]), (right[0], right[1], right[2])
    made = tube.Tube(lambda x: L if x < 0.5 else R, until, cells, (L[2], L[0]), back=R[2])
    (after,) = tube.run([made])

    def mean(what: int, low: float, high: float) -> float:
        inside = [cell[what] for place, cell in zip(after.places, after.cells) if low <= place <= high]
        return sum(inside) / len(inside)

    found = {
        "pressure": 0.5 * (mean(2, *across[:2]) + mean(2, *across[2:])), "velocity": 0.5 * (mean(1, *across[:2]) + mean(1, *across[2:])),
        "density_left": mean(0, *across[:2]), "density_right": mean(0, *across[2:]),
    }  # fmt: skip
    found["speed"] = abs(found["velocity"])
    if shock:
        i = max(i for i in range(cells) if after.cells[i][0] > shock)
        part = (after.cells[i][0] - shock) / (after.cells[i][0] - after.cells[i + 1][0])
        found["shock"] = (after.places[i] + part / cells - 0.5) / until
    return found


def standing_wave(length: float, order: int, cells: int) -> Found:
    """Frequency of a small standing wave in a line open to a vessel and shut at the valve, air at 293.15 K."""
    p, T, amplitude = 1e6, 293.15, 1e-4
    sound = sqrt(tube.K * tube.AIR * T)

    def start(x: float) -> tube.State:
        share = 1.0 + amplitude * sin(order * pi * x / (2.0 * length))
        return p * share / (tube.AIR * T) * share ** (1.0 / tube.K - 1.0), 0.0, p * share

    periods = 20
    until = (periods + 0.5) * 4.0 * length / (order * sound)
    (after,) = tube.run([tube.Tube(start, until, cells, (p, p / (tube.AIR * T)), length=length, back=1e5)], samples=4000)
    ups = _rises([(time, pressure - p) for time, pressure, _ in after.trace])
    return {"frequency": (len(ups) - 1) / (ups[-1] - ups[0])}


def _rises(signal: list[tuple[float, float]]) -> list[float]:
    """Times at which a signal goes up through nought."""
    return [
        t0 - y0 * (t1 - t0) / (y1 - y0) for (t0, y0), (t1, y1) in pairwise(signal) if y0 < 0.0 <= y1
    ]


def gas_closure(mach: float, cells: int) -> Found:
    """A line in steady flow whose valve shuts at once: pressure behind the shock over the pressure before."""
    p0, T = 1e6, 293.15
    state = tube.moving(mach, p0, T)
    until = 1.0 / sqrt(tube.K * tube.AIR * T)
    (after,) = tube.run([tube.Tube(lambda x: state, until, cells, (p0, p0 / (tube.AIR * T)), back=1e5)])
    inside = [cell[2] for place, cell in zip(after.places, after.cells) if 0.5 <= place <= 0.9]
    return {"ratio": sum(inside) / len(inside) / state[2]}


def gas_opening(area_ratio: float, cells: int) -> Found:
    """A line at rest whose choked valve opens at once: Mach number before the valve and static pressure there over the old."""
    p0, T = 1e6, 293.15
    rest = tube.at_rest(p0, T)
    until = 1.0 / sqrt(tube.K * tube.AIR * T)
    (after,) = tube.run([tube.Tube(lambda x: rest, until, cells, (p0, rest[0]), area_ratio=area_ratio, back=1e5)])
    inside = [cell for place, cell in zip(after.places, after.cells) if 0.5 <= place <= 0.9]
    return {"kept": sum(cell[2] for cell in inside) / len(inside) / p0, "mach": after.mach}


def ramped_flow(length: float, bore: float, flow: float, ramp: float, sound_speed: float, cells: int) -> Found:
    """A valve that opens evenly to a flow: largest fall of pressure before it and when. Pressure so high that flow is choked and slow."""
    p0 = 1e9
    T = sound_speed**2 / (tube.K * tube.AIR)
    rest = tube.at_rest(p0, T)
    psi = sqrt(tube.K) * (2.0 / (tube.K + 1.0)) ** ((tube.K + 1.0) / (2.0 * (tube.K - 1.0)))
    ratio = flow * sqrt(tube.AIR * T) / (p0 * psi) / (pi / 4.0 * bore**2)
    made = tube.Tube(lambda x: rest, ramp, cells, (p0, rest[0]), length=length, bore=bore, opening=ratio / ramp, back=1e5)
    (after,) = tube.run([made], samples=4001)
    lowest = min(pressure for _, pressure, _ in after.trace)
    first = min(time for time, pressure, _ in after.trace if p0 - pressure > 0.999 * (p0 - lowest))
    return {"drop": p0 - lowest, "time": first / 0.999}


def blowdown(volume: float, area: float, pressure: float, temperature: float, until: float) -> Found:
    """A vessel that empties through a choked valve on a short line: pressure and temperature after a time."""
    bore, length = 0.03, 0.4
    line = pi / 4.0 * bore**2
    rest = tube.at_rest(pressure, temperature)
    made = tube.Tube(
        lambda x: rest, until, 4, (pressure, rest[0]), length=length, bore=bore, volume=volume - line * length, area_ratio=area / line, back=1e5
    )
    (after,) = tube.run([made])
    density = after.vessel_mass / made.volume
    return {"pressure": after.vessel_pressure, "temperature": after.vessel_pressure / (density * tube.AIR)}


def fanno(friction_length: float, area_ratio: float, cells: int) -> Found:
    """Steady flow of a vessel through a rough line (f L/D) and a choked valve: Mach numbers, loss of stagnation pressure, flow."""
    bore, length, p0, T = 0.1, 2.0, 1e6, 293.15
    until = 120.0 * length / sqrt(tube.K * tube.AIR * T)
    rest = tube.at_rest(p0, T)
    made = tube.Tube(
        lambda x: rest, until, cells, (p0, rest[0]), length=length, bore=bore, area_ratio=area_ratio, back=1e3,
        friction=friction_length * bore / length,
    )  # fmt: skip
    (after,) = tube.run([made], samples=100)
    share = after.flow * sqrt(tube.AIR * T) / (made.area * p0)
    low, high = 0.0, 1.0
    for _ in range(60):
        mach = 0.5 * (low + high)
        here = sqrt(tube.K) * mach * (1.0 + 0.5 * (tube.K - 1.0) * mach**2) ** (-(tube.K + 1.0) / (2.0 * (tube.K - 1.0)))
        low, high = (mach, high) if here < share else (low, mach)
    return {"mach_in": low, "mach_out": after.mach, "stagnation_ratio": p0 / after.trace[-1][1], "flow": after.flow}


def conservation(shut: bool, steps: int) -> Found:
    """What a vessel and its line lose or gain of their mass and energy, over about so many steps without friction.

    shut: a strong wave runs to and fro before a shut valve; else the valve is open and what passed it is counted.
    """
    cells, volume, p0, T = 40, 0.02, 1e6, 293.15
    until = steps * 0.8 / cells / (1.15 * sqrt(tube.K * tube.AIR * T))
    made = tube.Tube(
        lambda x: tube.at_rest(p0 * (1.2 if x < 0.5 else 1.0), T), until, cells, (p0, p0 / (tube.AIR * T)), volume=volume,
        area_ratio=0.0 if shut else 0.002, back=1e3,
    )  # fmt: skip

    def held(cells_: list[tube.State], vessel_mass: float, vessel_pressure: float) -> tuple[float, float]:
        part = made.area / cells
        mass = sum(cell[0] for cell in cells_) * part + vessel_mass
        energy = sum(cell[2] / (tube.K - 1.0) + 0.5 * cell[0] * cell[1] ** 2 for cell in cells_) * part
        return mass, energy + vessel_pressure * volume / (tube.K - 1.0)

    first = [made.start((i + 0.5) / cells) for i in range(cells)]
    before = held(first, made.vessel[1] * volume, made.vessel[0])
    (after,) = tube.run([made])
    now = held(after.cells, after.vessel_mass, after.vessel_pressure)
    found = {"mass": abs(now[0] + after.passed - before[0]) / before[0], "steps": after.steps, "left": now[0] / before[0]}
    return found | ({"energy": abs(now[1] - before[1]) / before[1]} if shut else {})


def stepped_rest(steps: int) -> Found:
    """A line of three bores at rest before a shut valve: largest speed over sound speed, and change of pressure, after steps."""
    import numpy as np

    from quietseat.march import kernel, rows, start
    from quietseat.march.cases import Disc, Gas, MarchCase, Outlet, Pipe

    case = MarchCase(
        fluid=Gas(1.4, tube.AIR, 293.15), vessel_volume=1.0, inflow=0.0, segments=(Pipe(0.5, 0.1), Pipe(0.3, 0.05, 0.02), Pipe(0.4, 0.08)),
        set_pressure=11e5, atmospheric=1e5, disc=Disc(0.034, 0.009, 2.0, 1e5), outlet=Outlet(1e5), cells=12,
    )  # fmt: skip
    column = start.column(case)
    pressure = float(column[rows.P_R])
    head, body = np.array(column[: rows.CELLS]), np.array(column[rows.CELLS :])
    step = kernel.build(_plain, float, start.features_of(case), 1).step
    for _ in range(steps):
        step(head, body, case.cells, 0, 1, 0)
    cells = body[: rows.PER_CELL * case.cells].reshape(-1, rows.PER_CELL)
    sound = sqrt(1.4 * tube.AIR * 293.15)
    return {"speed": float(abs(cells[:, 1]).max()) / sound, "pressure": float(abs(cells[:, 2] / pressure - 1.0).max())}


def order(coarse: int) -> Found:
    """Order of accuracy: error of a small pulse that has travelled half the line, at so many cells and at twice as many."""
    errors = [_pulse_error(cells) for cells in (coarse, 2 * coarse)]
    return {"order": log2(errors[0] / errors[1])}


def _pulse_error(cells: int) -> float:
    """L1 error of the pressure of a small right-going pulse, over its height."""
    p, T, height, width = 1e6, 293.15, 1e-5, 0.08
    sound, density = sqrt(tube.K * tube.AIR * T), p / (tube.AIR * T)

    def bump(x: float) -> float:
        return exp(-(((x - 0.3) / width) ** 2))

    def start(x: float) -> tube.State:
        # The mean of the pulse over a cell, to fourth order: what a cell of the kernel holds.
        h = 1.0 / cells
        rise = height * (bump(x - h / 2) + 4.0 * bump(x) + bump(x + h / 2)) / 6.0
        return density * (1.0 + rise / tube.K), rise * sound / tube.K, p * (1.0 + rise)

    until = 0.4 / sound
    (after,) = tube.run([tube.Tube(start, until, cells, (p, density), back=1e5)])
    exact = [start(x - sound * until)[2] for x in after.places]
    return sum(abs(cell[2] - right) for cell, right in zip(after.cells, exact)) / cells / (p * height)


# --- liquid line --------------------------------------------------------------------------------------------


def liquid_closure(density: float, sound_speed: float, velocity: float, length: float, cells: int) -> Found:
    """A frictionless liquid line whose valve shuts at once: surge, and the time the wave takes to the vessel and back."""
    import numpy as np

    from quietseat.march import engine, lanes, liquid_start, rows
    from quietseat.march.cases import Disc, Liquid, MarchCase, Outlet, Pipe

    bore = 0.1
    case = MarchCase(
        fluid=Liquid(density, sound_speed), vessel_volume=1e9, inflow=density * velocity * pi / 4.0 * bore**2,
        segments=(Pipe(length, bore),), set_pressure=51e5, atmospheric=1e5, disc=Disc(0.05, 0.0125, tube.HEAVY, 1e5), outlet=Outlet(1e5),
        start="equilibrium", cells=cells, duration=3.0 * length / sound_speed,
    )  # fmt: skip
    column = liquid_start.column(case)
    rest = float(column[rows.P_STAG]) - 0.5 * density * velocity**2
    column[rows.X], column[rows.PRELOAD] = 0.0, 1e9  # shut, and held shut
    width, samples = engine.LANES["float64"], 3 * cells + 1
    block = np.repeat(column[:, None], width, axis=1)
    trace = np.zeros((width, samples, 4))
    march = lanes.runner(liquid_start.features_of(case), width, "float64")
    march(
        block[: rows.CELLS].reshape(-1), block[rows.CELLS :].reshape(-1), trace, samples, *liquid_start.cells_of(case), engine.CHUNK, False, 1e9
    )
    seen = [(float(row[0]), float(row[2]) - rest) for row in trace[0] if row[0] > 0.0]
    return {"surge": max(rise for _, rise in seen), "return_time": max(time for time, rise in seen if rise > 0.0)}


# --- whole runs ---------------------------------------------------------------------------------------------

_A_SEAT, _A_SPRING, _A_STOP, _A_SET, _A_BACK = 0.05, 47.3e3, 0.0125, 10e5, 1e5  # reference case A: air, no pop


def _reference_a(
    length: float, lift_fraction: float, friction: float, restitution: float, cells: int, water: float = 0.0, **more: Any
) -> Any:
    """Reference case A at its equilibrium: the lift over the stop lift gives the inflow. water: sound speed of water instead of air."""
    from quietseat.march.cases import Disc, Gas, Liquid, MarchCase, Outlet, Pipe

    lift, seat, density, k, T = lift_fraction * _A_STOP, pi / 4.0 * _A_SEAT**2, 998.0, tube.K, 293.15
    lifted = _A_SET + _A_SPRING * lift / seat  # Pa above the back pressure
    psi = sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))
    flux = sqrt(2.0 * density * lifted) if water else (lifted + _A_BACK) * psi / sqrt(tube.AIR * T)
    return MarchCase(
        fluid=Liquid(density, water, 2300.0) if water else Gas(k, tube.AIR, T), vessel_volume=1e6 if water else 10.0,
        inflow=0.7 * pi * _A_SEAT * lift * flux, segments=(Pipe(length, 0.0779, friction),), set_pressure=_A_SET + _A_BACK,
        atmospheric=_A_BACK, disc=Disc(_A_SEAT, _A_STOP, 1.5, _A_SPRING, curtain_coefficient=0.7, restitution=restitution),
        outlet=Outlet(_A_BACK), start="equilibrium", cells=cells, **more,
    )  # fmt: skip


def reference_a_classes(lengths: list[float], lift_fraction: float, friction: float, restitution: float, cells: int) -> Found:
    """Reference case A marched at several lengths."""
    more = {"disturbance": 2.5e-4}
    return _told([_reference_a(length, lift_fraction, friction, restitution, cells, **more) for length in lengths])


def _told(cases: list[Any]) -> Found:
    """What became of cases marched to their end: the classes as one text, the rest of the last one."""
    from quietseat.march.engine import march

    results = march(cases, early_stop=False)
    last = results[-1]
    found = {
        "classes": ", ".join(result.verdict for result in results), "reason": "; ".join(filter(None, (r.reason for r in results))),
        "seat_impacts": last.seat_impacts, "swing": last.lift_swing, "openings": last.openings, "frequency": last.frequency,
        "opening_time": last.opening_time, "switches": last.pilot_switches, "cycle_period": last.cycle_period,
    }  # fmt: skip
    return {name: value for name, value in found.items() if value is not None}


def reference_a_growth(lift_fraction: float, lengths: list[float], cells: int, water: float = 0.0) -> Found:
    """Growth rate and frequency of a small disturbance of reference case A at the first length, and the length where it ceases."""
    from quietseat.march.engine import march

    runs = march(
        [_reference_a(length, lift_fraction, 0.0, 0.5, cells, water, disturbance=1e-9, duration=0.8) for length in lengths],
        early_stop=False, samples=8000,
    )  # fmt: skip
    rates = [_growth(run.times, run.lift, lift_fraction * _A_STOP) for run in runs]
    found: Found = {"growth": rates[0][0], "frequency": rates[0][1]}
    pairs = list(zip(lengths, (rate for rate, _ in rates)))
    for (l0, g0), (l1, g1) in pairwise(pairs):
        if g0 <= 0.0 < g1:
            found["critical_length"] = l0 - g0 * (l1 - l0) / (g1 - g0)
            break
    return found


def _growth(times: Any, lifts: Any, rest: float) -> tuple[float, float]:
    """Growth rate, 1/s, and frequency, Hz, from the turning points of a lift about its rest, while the swing is small."""
    import numpy as np

    t, d = np.asarray(times), np.asarray(lifts) - rest
    turns = [i for i in range(1, len(d) - 1) if (d[i] - d[i - 1]) * (d[i + 1] - d[i]) <= 0.0 and t[i] > 0.1]
    swing = np.abs(np.diff(d[turns])) / 2.0
    middle, apart = (t[turns][1:] + t[turns][:-1]) / 2.0, np.diff(t[turns])
    small = (swing > 0.0) & (swing < 4e-4)
    return float(np.polyfit(middle[small], np.log(swing[small]), 1)[0]), float(0.5 / np.mean(apart[small]))


_PSI_AIR = 0.684731458  # choked flow of air, k 1.4


def reference_p_classes(lengths: list[float], share: float, cells: int) -> Found:
    """Reference case P (a popping valve, 34 mm) marched from shut at a share of its flow at 110 % of set."""
    from quietseat.march.cases import Disc, Outlet

    seat, lift = 0.034, 0.27 * 0.034
    disc = Disc(
        seat, lift, 2.0, 0.25 * pi / 4.0 * seat**2 * 10e5 / lift, curtain_coefficient=0.85, nozzle_coefficient=0.85, area_ratio=1.2097,
        knee=0.5, damping_ratio=0.02, restitution=0.5,
    )  # fmt: skip
    return _told([_popping(length, share, cells, disc=disc, outlet=Outlet(1e5), duration=4.0) for length in lengths])


def _popping(length: float, share: float, cells: int, **more: Any) -> Any:
    """Vessel, line and flow of reference case P."""
    from quietseat.march.cases import Gas, MarchCase, Pipe

    flow = share * 0.85 * pi / 4.0 * 0.034**2 * 12e5 * _PSI_AIR / sqrt(tube.AIR * 293.15)
    return MarchCase(
        fluid=Gas(tube.K, tube.AIR, 293.15), vessel_volume=2.0, inflow=flow, segments=(Pipe(length, 0.0525, 0.02),),
        set_pressure=11e5, atmospheric=1e5, cells=cells, **more,
    )  # fmt: skip


def snap_pilot_classes(lengths: list[float], share: float, sense: str, cells: int) -> Found:
    """A snap pilot on the valve of reference case P, marched for 5 s from shut."""
    from quietseat.march.cases import Disc, Outlet, Pilot

    seat = 0.034
    disc = Disc(
        seat, 0.27 * seat, 2.0, 0.0, curtain_coefficient=0.85, nozzle_coefficient=0.85, area_ratio=1.05, knee=0.5, damping_ratio=0.02
    )
    pilot = Pilot("snap", sense, False, 1.3, 60e-6, 8e-6, 4e-6, coefficient=0.8, blowdown=0.05, lag=0.02)
    return _told(
        [_popping(length, share, cells, disc=disc, outlet=Outlet(1e5), pilot=pilot, duration=5.0) for length in lengths]
    )


# --- bare vessel --------------------------------------------------------------------------------------------


def hopf(damping: float, beta: float, delta: float) -> Found:
    """The inflow at which the published dimensionless valve on a vessel begins to swing, by the product's Routh criterion.

    y1'' + damping y1' + y1 + delta = y3, y3' = beta (q - y1 sqrt(y3)): mass, spring and disc area are 1.
    """
    from quietseat.dynamics import closed

    def needed(lift: float) -> float:
        pressure = lift + delta
        return closed.damping_needed(1.0 / beta, 1.0, 1.0, 1.0, 1.0, lift / (2.0 * sqrt(pressure)), sqrt(pressure))

    low, high = 0.5, 10.0  # more lift needs less damping
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if needed(middle) > damping else (low, middle)
    return {"inflow": low * sqrt(low + delta), "lift": low, "pressure": low + delta}


CALCULATIONS: Mapping[str, Callable[..., Found]] = {
    "two gases": riemann, "standing wave": standing_wave, "gas line shut at once": gas_closure, "gas line opened at once": gas_opening,
    "gas line opened evenly": ramped_flow, "blowdown": blowdown, "rough gas line": fanno, "conservation": conservation,
    "reference case A, classes": reference_a_classes, "reference case A, growth": reference_a_growth, "reference case P, classes": reference_p_classes,
    "snap pilot, classes": snap_pilot_classes, "stepped line at rest": stepped_rest, "order of accuracy": order,
    "bouncing disc": bouncing_disc, "dome dump": dome_dump, "sense line": sense_line, "liquid line shut at once": liquid_closure, "valve on a bare vessel": hopf,
}  # fmt: skip
