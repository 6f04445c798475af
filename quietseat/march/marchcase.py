"""From a situation and one draw to one run in time: line, fluid, outlet, disc, pilot, and how long to march."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi, sqrt
from typing import Any

from quietseat import fluids
from quietseat.dynamics import closed
from quietseat.dynamics.situation import Situation, parts_of
from quietseat.formula import R
from quietseat.march.cases import Disc, Gas, Liquid, MarchCase, Outlet, Pilot, Pipe
from quietseat.march.draws import Draws
from quietseat.status import Assumption, CalculationFailed, Status

EXIT_COEFFICIENT = 0.9  # estimate: bowl to outlet flange
DRAIN = 1.0  # s; a vessel that takes longer from set to reseat is marched as one that takes this
LARGE = 100.0  # times the pipe volume; a vessel this large is no spring of its own to the line
SHORTEST, LONGEST = 0.8, 6.0  # s simulated
CYCLES = 2.2  # cycles simulated of a valve that opens and shuts
FINEST = 0.02  # m; a finer grid costs steps and adds nothing where the line is short against the critical length
COUNTS = (8, 12)


@dataclass(frozen=True, slots=True)
class Line:
    """The inlet line as marched, vessel to valve: lengths m, bores m, Darcy friction, K on the own bore."""

    lengths: tuple[float, ...]
    bores: tuple[float, ...]
    frictions: tuple[float, ...]
    losses: tuple[float, ...]

    @property
    def length(self) -> float:
        """Length, m."""
        return sum(self.lengths)

    @property
    def volume(self) -> float:
        """Volume, m3."""
        return sum(length * pi / 4 * bore**2 for length, bore in zip(self.lengths, self.bores, strict=True))

    @property
    def areas(self) -> tuple[float, ...]:
        """Bore areas, m2."""
        return tuple(pi / 4 * bore**2 for bore in self.bores)

    @property
    def resistance(self) -> float:
        """Loss over flow squared over density: sum of (K + f L/D)/(2 A^2), 1/m4."""
        return sum(
            (loss + friction * length / bore) / (2 * (pi / 4 * bore**2) ** 2)
            for length, bore, friction, loss in zip(self.lengths, self.bores, self.frictions, self.losses, strict=True)
        )


@dataclass(frozen=True, slots=True)
class Setting:
    """What all draws of one valve share. Pressures absolute Pa."""

    situation: Situation
    fluid: Gas | Liquid
    line: Line
    spring_atmosphere: float  # what set pressure counts from for the spring (constant back pressure is corrected for)
    back_pressure: float
    exit_area: float  # effective, 0 = no bowl
    outlet_cube: float  # m3, bowl volume over its factor
    bellows: bool
    indicative: str  # why a result cannot be better than unproven, or ""
    assumptions: tuple[Assumption, ...]

    @property
    def sound_speed(self) -> float:
        """Sound speed at vessel temperature, m/s; 0 for a liquid whose speed is drawn."""
        if isinstance(self.fluid, Gas):
            return sqrt(self.fluid.k * self.fluid.gas_constant * self.fluid.temperature)
        return self.fluid.sound_speed


def setting(situation: Situation) -> Setting:
    """Everything the runs of one valve share.

    Raises CalculationFailed naming what is missing: line, fluid, set pressure.
    """
    if situation.set_pressure <= situation.atmospheric:
        raise CalculationFailed(Status.OUT_OF_RANGE, "set pressure is not above atmospheric pressure")
    notes: list[Assumption] = []
    fluid, indicative = _fluid(situation, notes)
    bellows = (situation.bellows or situation.kind == "bellows") and situation.kind != "pilot"
    back = situation.superimposed if situation.superimposed is not None else situation.atmospheric
    if back <= 0 or back >= situation.set_pressure:
        raise CalculationFailed(Status.OUT_OF_RANGE, "back pressure is not below the set pressure")
    exit_area, cube = _outlet(situation, fluid, back, notes)
    conventional = not bellows and situation.kind != "pilot"
    return Setting(
        situation, fluid, _line(situation, fluid), back if conventional else situation.atmospheric, back, exit_area,
        cube, bellows, indicative, tuple(notes),
    )  # fmt: skip


def _line(situation: Situation, fluid: Gas | Liquid) -> Line:
    """The inlet line: as given, or plain pipe with the loss spread over its length so that the full loss is met."""
    if situation.pipes:
        return _merged(situation.pipes)
    parts = parts_of(situation)
    total = sum(length for length, _ in parts)
    if any(length < 0 or area <= 0 for length, area in parts) or total <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "a segment of the inlet line has no length or bore")
    density = fluid.density if isinstance(fluid, Liquid) else (
        situation.relieving_pressure / (fluid.gas_constant * fluid.temperature)
    )  # fmt: skip
    loss, full = situation.inlet_loss_full or 0.0, situation.full_flow or 0.0
    pipes = []
    for length, area in parts:
        head = (full / area) ** 2 / (2 * density)
        pipes.append((length, sqrt(4 * area / pi), 0.0, loss * length / total / head if head > 0 else 0.0))
    return _merged(tuple(pipes))


def _merged(pipes: tuple[tuple[float, float, float, float], ...]) -> Line:
    """Neighbours of one bore as one segment; the K of a part without length goes to its neighbour."""
    if any(bore <= 0 or length < 0 or friction < 0 or loss < 0 for length, bore, friction, loss in pipes):
        raise CalculationFailed(Status.OUT_OF_RANGE, "a segment of the inlet line has a negative length or no bore")
    out: list[list[float]] = []
    waiting = 0.0  # K over area squared of parts without length before the first pipe
    for length, bore, friction, loss in pipes:
        area = pi / 4 * bore**2
        if length <= 0:
            if out:
                out[-1][3] += loss * (pi / 4 * out[-1][1] ** 2 / area) ** 2
            else:
                waiting += loss / area**2
            continue
        loss, waiting = loss + waiting * area**2, 0.0
        if out and abs(out[-1][1] - bore) < 1e-3 * bore:
            last = out[-1]
            last[2] = (last[2] * last[0] + friction * length) / (last[0] + length)
            last[0] += length
            last[3] += loss
        else:
            out.append([length, bore, friction, loss])
    if not out:
        raise CalculationFailed(Status.NOT_COMPUTED, "length of the inlet line unknown")
    lengths, bores, frictions, losses = zip(*out, strict=True)
    return Line(tuple(lengths), tuple(bores), tuple(frictions), tuple(losses))


def _fluid(situation: Situation, notes: list[Assumption]) -> tuple[Gas | Liquid, str]:
    """Fluid of the runs, and why they can be indicative only ("" = they are not)."""
    phase = situation.phase
    if phase == "liquid":
        if situation.density is None:
            raise CalculationFailed(Status.NOT_COMPUTED, "density of the liquid unknown")
        vapour = _vapour_pressure(situation)
        back = situation.superimposed or situation.atmospheric
        flashes = "the liquid cavitates or flashes behind the seat" if vapour > back else ""
        return Liquid(situation.density, situation.sound_speed or 1200.0, vapour), flashes
    if phase == "two-phase":
        density, speed = situation.density, situation.sound_speed
        temperature = situation.temperature or 300.0
        if density is None or speed is None:
            raise CalculationFailed(Status.NOT_COMPUTED, "density or sound speed of the two-phase inlet unknown")
        n = min(max(density * speed**2 / situation.set_pressure, 1.01), 2.0)
        notes.append(Assumption("two-phase inlet", f"gas of exponent {n:.3g}", "same density and sound speed", "estimate"))
        return Gas(n, situation.set_pressure / (density * temperature), temperature), "the inlet is two-phase"
    tabled = _isentrope(situation.fluid, situation.temperature, situation.set_pressure)
    if tabled is not None:
        n, constant, temperature, error = tabled
        notes.append(
            Assumption(
                "vapour in the march", f"exponent {n:.3g}",
                "density x sound speed^2 / pressure at set; "
                f"density on the isentrope between 0.5 and 1.1 of set off by at most {100 * error:.2g} %",
                fluids.LIBRARY,
            )
        )  # fmt: skip
        return Gas(n, constant, temperature), ""
    k, molar_mass, temperature_ = situation.k, situation.molar_mass, situation.temperature
    if molar_mass is None or temperature_ is None or k is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "gas unknown: molar mass, k or temperature missing")
    return Gas(min(max(k, 1.02), 2.0), (situation.Z or 1.0) * R / molar_mass, temperature_), ""


def _vapour_pressure(situation: Situation) -> float:
    if not situation.fluid or situation.temperature is None or fluids.resolve(situation.fluid) is None:
        return 0.0
    try:
        return fluids.saturation_pressure(situation.fluid, situation.temperature)
    except CalculationFailed:
        return 0.0


@lru_cache(maxsize=512)
def _isentrope(name: str | None, temperature: float | None, pressure: float) -> tuple[float, float, float, float] | None:
    """Exponent, gas constant, temperature and density error of a library vapour along its isentrope, or None.

    The exponent is density x sound speed^2 / pressure at the set pressure, so that waves run at their true speed
    (dynamics review 1.2); the gas constant gives the true density there. The error is the largest difference from
    the density on the library's isentrope between 0.5 and 1.1 of the pressure (condensation included).
    """
    if not name or temperature is None or fluids.resolve(name) is None:
        return None
    try:
        at = fluids.state(name, pressure, temperature=temperature)
        if at.phase not in ("gas", "supercritical"):
            at = fluids.state(name, pressure, quality=1.0)
        if at.sound_speed is None:
            return None
        n = min(max(at.density * at.sound_speed**2 / pressure, 1.01), 2.0)
        error = max(
            abs(fluids.isentrope(at.key, at.entropy, part * pressure)[0] / (at.density * part ** (1 / n)) - 1)
            for part in (0.5, 0.6, 0.7, 0.8, 0.9, 1.1)
        )
    except (CalculationFailed, ValueError):
        return None
    return n, pressure / (at.density * at.temperature), at.temperature, error


def _outlet(situation: Situation, fluid: Gas | Liquid, back: float, notes: list[Assumption]) -> tuple[float, float]:
    """Effective exit area of the bowl (0 = no bowl) and the cube of the outlet bore."""
    bore, built_up, full = situation.outlet_bore, situation.built_up, situation.full_flow
    area = EXIT_COEFFICIENT * pi / 4 * bore**2 if bore is not None else 0.0
    if built_up > 0 and full:
        needed = _exit_for(fluid, full, back + built_up, back)
        if area <= 0 or needed < area:
            area = needed
            notes.append(
                Assumption(
                    "outlet line", f"exit area {1e6 * area:.4g} mm2", "one throttle with the built-up back pressure "
                    "of the full flow; waves in it are looked at apart", "estimate",
                )
            )  # fmt: skip
    if bore is None and area > 0:
        bore = sqrt(4 * area / EXIT_COEFFICIENT / pi)
    return area, (bore or 0.0) ** 3


def _exit_for(fluid: Gas | Liquid, flow: float, bowl: float, back: float) -> float:
    """Effective area that passes a flow from the bowl to the back pressure, m2."""
    if isinstance(fluid, Liquid):
        return flow / sqrt(2 * fluid.density * (bowl - back))
    k, r = fluid.k, back / bowl
    critical = (2 / (k + 1)) ** (k / (k - 1))
    r = max(r, critical)
    psi = sqrt(2 * k / (k - 1) * (r ** (2 / k) - r ** ((k + 1) / k)))
    return flow * sqrt(fluid.gas_constant * fluid.temperature) / (bowl * psi)


def cells_of(line: Line, asked: int | None, usual: int) -> int:
    """Cells of the inlet line: as asked for, else the usual number, fewer where the line is short."""
    if asked is not None:
        return max(asked, len(line.lengths), 4)
    # Few different counts: runs of one count march together.
    fit = next((count for count in COUNTS if line.length <= count * FINEST), usual)
    return max(min(usual, fit), len(line.lengths), 4)


def case_of(
    at: Setting, draws: Draws, row: int, flow: float, *, start: str, cells: int, duration: float | None,
    valve_flow: float,
) -> MarchCase:  # fmt: skip
    """One run. valve_flow: kg/s at full lift at set, for the pace of filling and emptying.

    Raises CalculationFailed naming the value no run could use.
    """
    situation, line = at.situation, at.line
    length, loss = float(draws.length[row]), float(draws.loss[row])
    segments = tuple(
        Pipe(part * length, bore, friction, k * loss)
        for part, bore, friction, k in zip(line.lengths, line.bores, line.frictions, line.losses, strict=True)
    )
    fluid = at.fluid
    if isinstance(fluid, Liquid) and draws.sound_speed[row] > 0:
        fluid = Liquid(fluid.density, float(draws.sound_speed[row]), fluid.vapour_pressure)
    volume, span = pace(at, draws, row, flow, valve_flow, shorten=duration is None and start == "shut")
    return MarchCase(
        fluid, volume, flow, segments, situation.set_pressure, at.spring_atmosphere, _disc(draws, row),
        _behind(at, draws, row), _pilot(situation, draws, row), start, cells, duration or span,
    )  # fmt: skip


def _disc(draws: Draws, row: int) -> Disc:
    lift, stop = float(draws.max_lift[row]), float(draws.stop_lift[row])
    return Disc(
        float(draws.seat_diameter[row]), lift, float(draws.mass[row]), float(draws.spring_rate[row]),
        stop if stop < lift else None, float(draws.curtain[row]), float(draws.nozzle[row]),
        float(draws.nozzle_area[row]), float(draws.area_ratio[row]), float(draws.knee[row]),
        float(draws.damping_ratio[row]), float(draws.friction_force[row]), float(draws.restitution[row]),
    )  # fmt: skip


def _behind(at: Setting, draws: Draws, row: int) -> Outlet:
    bowl = float(draws.bowl[row]) * at.outlet_cube if at.exit_area > 0 else 0.0
    return Outlet(
        at.back_pressure, "atmosphere" if at.bellows else "bowl", float(draws.bellows_area[row]), bowl_volume=bowl,
        exit_area=at.exit_area if bowl > 0 else 0.0,
    )  # fmt: skip


def _pilot(situation: Situation, draws: Draws, row: int) -> Pilot | None:
    if situation.kind != "pilot":
        return None
    values: dict[str, Any] = {name: float(array[row]) for name, array in draws.pilot.items()}
    return Pilot(
        "modulating" if situation.pilot_action == "modulating" else "snap",
        "remote" if situation.pilot_sense == "remote" else "integral",
        situation.pilot_bleed == "bleeding",
        **values,
    )


def pace(
    at: Setting, draws: Draws, row: int, flow: float, valve_flow: float, *, shorten: bool
) -> tuple[float, float]:
    """Vessel volume to march with, m3, and seconds to simulate.

    A large vessel only slows the cycle: the volume is cut (never below LARGE pipe volumes) until emptying from
    set to reseat takes DRAIN; what the line and the disc do meanwhile is the same. The vessel is part of a
    pilot's loop: there it is cut only so far that the cycles fit into the longest run.
    """
    situation = at.situation
    volume = float(draws.vessel[row])
    gauge = situation.set_pressure - situation.atmospheric
    speed = float(draws.sound_speed[row]) or at.sound_speed
    # Friction holds the disc down as the valve opens and up as it shuts.
    stuck = float(draws.friction_force[row] / draws.seat_area[row]) / gauge
    blowdown = max(float(draws.blowdown[row]), 0.02) + 2 * stuck
    surplus = max(valve_flow - flow, 0.1 * valve_flow)
    pilot = situation.kind == "pilot"
    if shorten and not pilot:
        volume = min(volume, max(DRAIN * surplus * speed**2 / (blowdown * gauge), LARGE * at.line.volume))
    fill = (0.005 + stuck) * gauge * volume / speed**2 / max(flow, 1e-3 * valve_flow)
    flow_ = min(max(flow, 0.02 * valve_flow), 0.9 * valve_flow)
    period = closed.cycle_period(volume, blowdown, gauge, speed, flow_, valve_flow)
    if pilot and shorten and fill + CYCLES * period > LONGEST:
        factor = LONGEST / (fill + CYCLES * period)
        volume, fill, period = volume * factor, fill * factor, period * factor
    return volume, min(max(fill + CYCLES * period, SHORTEST), LONGEST)
