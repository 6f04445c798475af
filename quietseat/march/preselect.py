"""Which samples need marching: a class for every draw and flow that linear theory and statics make plain.

Each sample ends plain (quiet, chatters, cycles) or doubtful:
- a disc that the flow holds on its upper stop is quiet (all 984 such samples of one marched fleet were);
- on a line shorter than its critical length no wave drives the disc: quiet with an equilibrium lift, else it cycles;
- past the critical length the chance of chatter or flutter is a logistic fit of marched samples over what the
  theories give (loss and wave against the blowdown, growth, length ratios, friction): plain below LOW and above HIGH;
- a liquid or a valve that does not pop is plain only well short of its critical length, well past it, or on its stop;
- a disc barely held on its stop while the line is well past its critical length: doubtful;
- where a bare vessel would swing with a disc that little friction holds: doubtful;
- near the least flow with a stable lift, and where cycles follow so fast that landings alone make chatter: doubtful.
The bounds and the fit are computed from marched samples of random fleets (bench/preselect.py prints the agreement
and makes the fit anew); they are no physics and hold for this model only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quietseat.march import fitted
from quietseat.march.linear import F

QUIET, FLUTTERS, CHATTERS, CYCLES, DOUBTFUL, UNPROVEN = range(6)
WORDS = ("quiet", "flutters", "chatters", "cycles", "doubtful", "unproven")
CODE = {word: code for code, word in enumerate(WORDS)}

Array = NDArray[np.float64]
Codes = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where a sample stops being plain. Ratios without unit."""

    short: float = 1.0  # inlet over critical length, below: no quarter-wave trouble
    low: float = 0.15  # chance of chatter or flutter, below: none
    high: float = 0.75  # above: chatters
    cycles: float = 0.87  # flow over the least flow with a stable lift, below: opens and shuts
    holds: float = 1.0  # above: has an equilibrium
    carried: float = 0.2  # more by this times the part of the lift that only loss and bowl carry
    plain: float = 0.8  # inlet over critical length, below: quiet without a fit
    past: float = 2.0  # inlet over critical length, above: chatters without a fit; half of it where no lift is in equilibrium
    barely: float = 1.03  # flow over what the stop needs, below: a line past its critical length may still pull the disc off
    undamped: float = 4.0  # damping a bare vessel needs over what there is, above: the vessel may swing with the disc
    stuck: float = 0.01  # friction over seat area x gauge set that holds such a swing
    slow: float = 0.8  # s, cycle period above which landings and bounces are no chatter


BOUNDS = Bounds()
STEP = 0.03  # of the critical length, over which a valve without a fit goes from calm to trouble (estimate)


def predictors(features: Array) -> Array:
    """What the fit reads, standard order: wave, loss, growth, ratio, return, friction, hold, share; (..., 8)."""
    get = {name: features[..., index] for name, index in F.items()}
    _, cycles = _regimes(get)
    wave = np.maximum(get["balance"] - get["loss"] - get["built"], 0.0)
    growth = np.where(cycles, get["low_growth"], get["growth"])
    ratio = np.where(cycles, get["low_ratio"], get["ratio"])
    blowdown = np.maximum(get["blowdown"], 0.01)
    return np.stack([
        np.log(wave + 0.05), np.log(get["loss"] + 0.02), growth * get["opening"], np.log(np.maximum(ratio, 1e-3)),
        np.log(np.maximum(get["return_ratio"], 1e-3)), get["friction"] / blowdown,
        np.log(np.clip(get["hold_share"], 0.05, 5.0)), np.clip(get["share"], 0.0, 1.5),
    ], axis=-1)  # fmt: skip


def _regimes(get: dict[str, Array]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Held on the stop, and without an equilibrium."""
    held = get["share"] >= 1.0
    return held, ~held & (get["hold_share"] < 1.0)


def chance(features: Array) -> Array:
    """Chance of chatter or flutter of every draw and flow of a spring valve, by linear theory and the fit."""
    get = {name: features[..., index] for name, index in F.items()}
    held, cycles = _regimes(get)
    seen = predictors(features)
    resting = _logistic(seen, fitted.RESTING)
    cycling = _logistic(seen, fitted.CYCLING)
    out = np.where(cycles, cycling, resting)
    ratio = np.where(cycles, get["low_ratio"], get["ratio"])
    # Liquids and valves that do not pop have no fit: the critical length alone, a step of a few per cent.
    plain = 1.0 / (1.0 + np.exp(-np.clip((ratio - 1.0) / STEP, -50.0, 50.0)))
    calm = held | ((ratio < BOUNDS.short) & (get["fitted"] > 0))
    return np.asarray(np.where(calm, 0.0, np.where(get["fitted"] > 0, out, plain)))


def _logistic(seen: Array, fit: fitted.Fit) -> Array:
    """Logistic of a quadratic form of the standardised predictors."""
    z = np.clip((seen - np.array(fit.mean)) / np.array(fit.spread), -3.0, 3.0)
    count = z.shape[-1]
    total = fit.weights[0] + z @ np.array(fit.weights[1 : count + 1])
    place = count + 1
    for first in range(count):
        for second in range(first, count):
            total = total + fit.weights[place] * z[..., first] * z[..., second]
            place += 1
    return np.asarray(1.0 / (1.0 + np.exp(-total)))


def classify(features: Array, bounds: Bounds = BOUNDS) -> tuple[Codes, Codes]:
    """Plain class or DOUBTFUL, and the best guess of linear theory, of every draw and flow.

    features: (draws, flows, FEATURES) of a spring valve, as march.linear.features gives them.
    """
    get = {name: features[..., index] for name, index in F.items()}
    held, cycles = _regimes(get)
    bad = chance(features)
    guess = np.where(bad > 0.5, CHATTERS, np.where(cycles, CYCLES, QUIET)).astype(np.int8)
    carried = 1.0 - np.minimum(get["carried"], 1.0)
    settled = get["hold_share"] > bounds.holds + bounds.carried * carried
    shuts = get["hold_share"] < bounds.cycles
    codes = np.full(guess.shape, DOUBTFUL, dtype=np.int8)
    # Routh criterion of vessel and valve (review 1.9): the slow swing of a small vessel is no quarter wave.
    swings = ~cycles & (get["damping_need"] > bounds.undamped) & (get["friction"] < bounds.stuck)
    calm = (bad < bounds.low) & ~swings
    codes[~held & calm & settled & ((get["fitted"] > 0) | (get["ratio"] < bounds.plain))] = QUIET
    codes[cycles & calm & shuts & (get["period"] > bounds.slow)] = CYCLES
    codes[cycles & (bad > bounds.high) & (get["fitted"] > 0)] = CHATTERS  # a resting disc may flutter instead: that is marched
    unfitted = get["fitted"] <= 0
    codes[unfitted & cycles & (get["low_ratio"] > 0.5 * bounds.past)] = CHATTERS
    codes[unfitted & ~cycles & (get["ratio"] > bounds.past)] = CHATTERS
    loose = ~unfitted & (get["share"] < bounds.barely) & (get["ratio"] > bounds.past)
    codes[held] = QUIET
    codes[held & loose] = DOUBTFUL
    return codes, guess
