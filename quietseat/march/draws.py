"""Draws of what nobody stated about one valve: a Latin hypercube over the ranges, the same seed for every valve.

A stated value is never drawn. The same random numbers serve a valve, its remedies and its limits, so that a
difference between two of them comes from the valve and not from the dice. Ranges: table dynamics_ranges and
pilot_parts (both estimates unless marked otherwise), facts of section 5 of the dynamics review.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite, pi
from typing import Any

import numpy as np
from numpy.typing import NDArray

from quietseat.dynamics import parameters
from quietseat.dynamics.parameters import Estimate, ranges
from quietseat.dynamics.situation import Situation
from quietseat.march import pilotdraws
from quietseat.march.dice import Array, Dice, hypercube
from quietseat.status import CalculationFailed, Status

# What the table of ranges does not hold (all estimates of the same review, section 5).
NOZZLE_GAS = Estimate(0.93, 0.96, 0.99, "", "memory-hi", "actual nozzle coefficient, gas")
SPRING_LIQUID = Estimate(0.1, 0.2, 0.3, "", "estimate", "spring ratio of a liquid valve")
FRICTION = Estimate(0.0, 0.01, 0.03, "", "estimate", "Coulomb friction over seat area x gauge set")
BELLOWS_RATE = Estimate(0.05, 0.10, 0.15, "", "estimate", "rate of the bellows over that of the spring")
BOWL = Estimate(0.5, 1.0, 1.5, "", "estimate", "bowl volume over the cube of the outlet bore")
LENGTH = Estimate(0.9, 1.0, 1.1, "", "estimate", "true over stated inlet length")
LOSS = Estimate(0.85, 1.0, 1.15, "", "estimate", "true over stated loss coefficients of the inlet")

BLOWDOWN_GAS = (0.02, 0.15)  # ISO 4126-1 limits, compressible and incompressible
BLOWDOWN_LIQUID = (0.025, 0.20)
FULL_LIFT_AT = 1.10  # of gauge set; a gas draw that needs more for full lift is no certified valve
CERTIFIED = 0.85  # least curtain over nozzle flow at full lift: certified flow is 0.9 of the actual, less rounding
ROUNDS = 24  # redraws of rejected rows before the rest is kept as it is


@dataclass(frozen=True, slots=True)
class Draws:
    """Values of every parameter, one array entry a draw. SI.

    names: unknowns drawn, in plain words; unit: their place in the hypercube (0 to 1), for the sensitivities;
    rejected: draws thrown away because no certified valve has them.
    """

    count: int
    names: tuple[str, ...]
    unit: dict[str, Array]
    rejected: int
    seat_diameter: Array
    seat_area: Array
    nozzle_area: Array
    max_lift: Array
    stop_lift: Array
    mass: Array
    spring_rate: Array
    area_ratio: Array
    knee: Array
    blowdown: Array
    curtain: Array
    nozzle: Array
    damping_ratio: Array
    friction_force: Array
    restitution: Array
    bellows_area: Array  # over seat area
    bowl: Array  # over outlet bore cubed
    vessel: Array  # m3
    length: Array  # factor on the inlet
    loss: Array  # factor on the loss coefficients of the inlet
    sound_speed: Array  # m/s of a liquid; 0 where the fluid states it
    pilot: dict[str, Array]


def draw(situation: Situation, count: int, seed: int, *, middle: bool = False, as_built: bool = False) -> Draws:
    """Draws of everything a situation does not state.

    count: draws wanted; middle: one row with the middle value of every unknown instead. as_built: lengths and
    loss coefficients of the inlet are stated outright and not drawn. When nothing is left to draw, one row.
    Raises CalculationFailed when the seat bore, the set pressure or the inlet line cannot be known.
    """
    if situation.set_pressure <= situation.atmospheric:
        raise CalculationFailed(Status.OUT_OF_RANGE, "set pressure is not above atmospheric pressure")
    _possible(situation)
    if middle or count <= 1:
        return _parts(situation, None, as_built)[0]
    first, keep = _parts(situation, hypercube(count, seed), as_built)
    if not first.names:
        return _parts(situation, None, as_built)[0]
    if keep.all():
        return first
    kept = hypercube(count, seed)[keep]
    rejected = 0
    for again in range(1, ROUNDS):
        rejected += int((~keep).sum())
        rows = hypercube(count, seed + again)
        _, keep = _parts(situation, rows, as_built)
        kept = np.concatenate([kept, rows[keep]])
        if len(kept) >= count:
            break
    else:  # what is stated leaves no certified valve: keep the draws as they come
        kept = np.concatenate([kept, hypercube(count, seed)])
    drawn, _ = _parts(situation, kept[:count], as_built)
    return replace(drawn, rejected=rejected)


def _possible(situation: Situation) -> None:
    """Refuses stated parts nothing can be worked out from, by name."""
    for name in ("seat_diameter", "moving_mass", "spring_rate", "max_lift", "discharge_coefficient", "effective_area_ratio",
                 "effective_area_knee", "dome_area_ratio", "dome_volume", "vent_area", "fill_area"):  # fmt: skip
        value = getattr(situation.dynamics, name)
        if value is not None and not (isfinite(value) and value > 0):
            raise CalculationFailed(Status.OUT_OF_RANGE, f"{name} = {value:g}: must be a finite number above zero")
    if situation.kind != "pilot" and not situation.blowdown_is_default and not 0 <= situation.blowdown < 0.9:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"blowdown = {situation.blowdown:g}: must lie within 0 and 0.9")


def _parts(situation: Situation, rows: Array | None, as_built: bool) -> tuple[Draws, NDArray[np.bool_]]:
    """One draw a row, and which rows a certified valve could have."""
    dice, known, stated = Dice(rows), ranges(), situation.dynamics
    liquid, pilot = situation.phase == "liquid", situation.kind == "pilot"
    bellows = (situation.bellows or situation.kind == "bellows") and not pilot
    set_gauge = situation.set_pressure - situation.atmospheric
    bore = _bore(situation, dice)
    area = np.asarray(pi / 4 * bore**2)
    curtain, nozzle, nozzle_area = _coefficients(situation, dice, area, liquid)
    area = np.maximum(area, nozzle_area)
    bore = np.sqrt(4 * area / pi)
    if stated.max_lift is not None:
        lift = dice.fixed(stated.max_lift)
    else:
        factor = dice.draw("lift_factor", "full lift", "triangular", known["lift_factor"])
        lift = _each(parameters.full_lift, seat_diameter=bore, lift_factor=factor)
    restriction = 1.0 if situation.lift_restriction is None else situation.lift_restriction
    if not 0 < restriction <= 1:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"lift restriction {restriction:g} is not between 0 and 1")
    mass = _mass(situation, dice, bore, bellows)
    pilot_parts: dict[str, Array] = {}
    if pilot:
        pilot_parts = pilotdraws.parts(situation, dice, bore, area)
        rate, ratio = dice.fixed(0.0), dice.fixed(0.0)
        knee, phi, blowdown = dice.fixed(0.5), pilot_parts.pop("area_ratio"), pilot_parts["blowdown"]
        damping = pilot_parts.pop("damping_ratio")
        friction = pilot_parts.pop("friction") * area * set_gauge
    else:
        rate, ratio = _spring(situation, dice, area, lift, set_gauge, liquid, bellows)
        knee, phi, blowdown = _disc_curve(situation, dice, ratio, liquid)
        damping = dice.either(stated.damping_ratio, "damping", "damping", "log-uniform", known["damping_ratio"])
        friction = _friction(situation, dice, area, set_gauge)
    drawn = Draws(
        dice.count, (), dice.unit, 0, bore, area, nozzle_area, lift, lift * restriction, mass, rate, phi, knee,
        blowdown, curtain, nozzle, damping, friction,
        dice.either(stated.restitution, "restitution", "restitution", "uniform", known["restitution"]),
        dice.either(stated.bellows_area_ratio, "bellows_area", "bellows area", "uniform", known["bellows_area_ratio"])
        if bellows else dice.fixed(1.0),
        _bowl(situation, dice), _vessel(situation, dice), *_line(situation, dice, as_built), _speed(situation, dice),
        pilot_parts,
    )  # fmt: skip
    return replace(drawn, names=tuple(drawn.unit)), _certified(situation, drawn, ratio, liquid)


def _certified(situation: Situation, drawn: Draws, ratio: Array, liquid: bool) -> NDArray[np.bool_]:
    """Rows a certified valve could have: full lift by 110 % of set (gas), certified flow at full lift."""
    keep = np.ones(drawn.count, dtype=bool)
    if situation.kind != "pilot" and not liquid:
        keep &= (1 + ratio) / drawn.area_ratio <= FULL_LIFT_AT
    curtain = drawn.curtain * pi * drawn.seat_diameter * drawn.max_lift
    return keep & (curtain >= CERTIFIED * drawn.nozzle * drawn.nozzle_area)


def _each(function: Any, **given: Array) -> Array:
    """A formula over arrays: formulas are the only copy of their equation and know floats only."""
    rows = zip(*given.values(), strict=True)
    return np.array([function(**dict(zip(given, row, strict=True))) for row in rows])


def _bore(situation: Situation, dice: Dice) -> Array:
    """Seat bore, m: stated, or from the effective area of the letter and the area factor."""
    if situation.dynamics.seat_diameter is not None:
        return dice.fixed(situation.dynamics.seat_diameter)
    area = situation.effective_area
    if area is None:
        if not situation.orifice:
            raise CalculationFailed(Status.NOT_COMPUTED, "seat bore unknown: no orifice letter, no area")
        area = parameters.letter_area(situation.orifice)
    factor = dice.draw("seat_area_factor", "seat bore", "triangular", ranges()["seat_area_factor"])
    return _each(parameters.seat_bore, effective_area=dice.fixed(area), seat_area_factor=factor)


def _coefficients(situation: Situation, dice: Dice, area: Array, liquid: bool) -> tuple[Array, Array, Array]:
    """Curtain and nozzle coefficient and the nozzle area they go with."""
    stated = situation.dynamics.discharge_coefficient
    if stated is not None:
        curtain = nozzle = dice.fixed(stated)
        mid = stated
    elif liquid:
        span = ranges()["discharge_coefficient_liquid"]
        curtain = nozzle = dice.draw("curtain", "discharge coefficient", "triangular", span)
        mid = span.mid
    else:
        curtain = dice.draw("curtain", "curtain coefficient", "uniform", ranges()["discharge_coefficient_gas"])
        nozzle = dice.draw("nozzle", "nozzle coefficient", "uniform", NOZZLE_GAS)
        mid = NOZZLE_GAS.mid
    known = situation.full_area
    if known is not None and situation.lift_restriction is None and situation.dynamics.seat_diameter is None:
        return curtain, nozzle, dice.fixed(known / mid)
    return curtain, nozzle, area


def _mass(situation: Situation, dice: Dice, bore: Array, bellows: bool) -> Array:
    stated = situation.dynamics.moving_mass
    if stated is not None:
        return dice.fixed(stated)
    factor = dice.draw("mass", "moving mass", "lognormal", ranges()["mass_factor"])
    if bellows:
        factor = factor * dice.draw("bellows_mass", "mass of the bellows", "uniform", ranges()["bellows_mass_factor"])
    return _each(parameters.moving_mass, seat_diameter=bore, mass_factor=factor)


def _spring(
    situation: Situation, dice: Dice, area: Array, lift: Array, set_gauge: float, liquid: bool, bellows: bool
) -> tuple[Array, Array]:
    """Spring rate (with the bellows), N/m, and the spring ratio it makes."""
    gauge = dice.fixed(set_gauge)
    if situation.dynamics.spring_rate is not None:
        rate = dice.fixed(situation.dynamics.spring_rate)
    else:
        span = SPRING_LIQUID if liquid else ranges()["spring_ratio"]
        ratio = dice.draw("spring_ratio", "spring rate", "triangular", span)
        rate = _each(parameters.spring_rate, spring_ratio=ratio, seat_area=area, set_gauge=gauge, max_lift=lift)
        if bellows:
            rate = rate * (1 + dice.draw("bellows_rate", "rate of the bellows", "uniform", BELLOWS_RATE))
    return rate, _each(parameters.spring_ratio, spring_rate=rate, max_lift=lift, seat_area=area, set_gauge=gauge)


def _disc_curve(situation: Situation, dice: Dice, ratio: Array, liquid: bool) -> tuple[Array, Array, Array]:
    """Knee, area ratio and blowdown: two of them give the third."""
    stated = situation.dynamics
    phi = stated.effective_area_ratio
    if phi is not None and phi <= 1.0:  # no rise, so the knee has no meaning
        return dice.fixed(stated.effective_area_knee or 0.5), dice.fixed(phi), dice.fixed(0.0)
    knee = dice.either(stated.effective_area_knee, "knee", "lift where the disc area is full", "uniform", ranges()["area_knee"])
    if phi is not None:
        return knee, dice.fixed(phi), np.maximum(1 - (1 + ratio * knee) / phi, 0.0)
    blowdown = _blowdown(situation, dice, liquid)
    return knee, _each(parameters.area_ratio, spring_ratio=ratio, knee=knee, blowdown=blowdown), blowdown


def _blowdown(situation: Situation, dice: Dice, liquid: bool) -> Array:
    """Blowdown: the trade range for a default; a stated one shifts with rings nobody proved by a flow test."""
    low, high = BLOWDOWN_LIQUID if liquid else BLOWDOWN_GAS
    if situation.blowdown_is_default:
        return dice.draw("blowdown", "blowdown", "triangular", ranges()["blowdown_liquid" if liquid else "blowdown_gas"])
    middle, shift = situation.blowdown, ranges()["blowdown_spread"].mid
    span = Estimate(
        min(middle, max(low, middle - shift)), middle, max(middle, min(high, middle + shift)), "", "estimate", ""
    )
    return dice.draw("blowdown", "ring setting", "triangular", span)


def _friction(situation: Situation, dice: Dice, area: Array, set_gauge: float) -> Array:
    """Coulomb friction, N. A stated damping ratio says what damps: friction only where it is stated too."""
    stated = situation.dynamics
    if stated.friction_force is not None or stated.damping_ratio is not None:
        return dice.fixed(stated.friction_force or 0.0)
    return dice.draw("friction", "friction", "uniform", FRICTION) * area * set_gauge


def _bowl(situation: Situation, dice: Dice) -> Array:
    """Bowl volume over the cube of the outlet bore."""
    bore, stated = situation.outlet_bore, situation.dynamics.bowl_volume
    if bore is None:
        return dice.fixed(1.0)
    return dice.either(None if stated is None else stated / bore**3, "bowl", "bowl volume", "uniform", BOWL)


def _vessel(situation: Situation, dice: Dice) -> Array:
    """Volume of the protected system, m3: stated, or so many times the inlet pipe."""
    if situation.vessel_volume is not None:
        return dice.fixed(situation.vessel_volume)
    if situation.pipes:
        volume = sum(length * pi / 4 * bore**2 for length, bore, _, _ in situation.pipes)
    elif situation.segments:
        volume = sum(length * area for length, area in situation.segments)
    else:
        volume = (situation.inlet_length or 0.0) * (situation.pipe_area or 0.0)
    if volume <= 0:
        raise CalculationFailed(Status.NOT_COMPUTED, "neither the vessel volume nor the inlet line is known")
    return volume * dice.draw("vessel", "vessel volume", "log-uniform", ranges()["vessel_pipe_ratio"])


def _line(situation: Situation, dice: Dice, as_built: bool) -> tuple[Array, Array]:
    """Factors on length and on the loss of the inlet."""
    if as_built:
        return dice.fixed(1.0), dice.fixed(1.0)
    length = dice.draw("length", "inlet length", "uniform", LENGTH)
    lossy = any(loss > 0 for *_, loss in situation.pipes) or bool(not situation.pipes and situation.inlet_loss_full)
    return length, dice.draw("loss", "inlet loss", "uniform", LOSS) if lossy else dice.fixed(1.0)


def _speed(situation: Situation, dice: Dice) -> Array:
    if situation.phase != "liquid" or situation.sound_speed is not None:
        return dice.fixed(situation.sound_speed or 0.0)
    return dice.draw("sound_speed", "sound speed of the liquid", "triangular", ranges()["sound_speed_liquid"])
