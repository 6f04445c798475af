"""Which samples need marching: a class for every draw and flow that linear theory and statics make plain.

Each sample ends plain (quiet, flutters, chatters, cycles) or doubtful. The bounds are calibrated against full
marching of a random fleet (bench/preselect.py prints the agreement); they are estimates, not physics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from quietseat.march.linear import F

QUIET, FLUTTERS, CHATTERS, CYCLES, DOUBTFUL, UNPROVEN = range(6)
WORDS = ("quiet", "flutters", "chatters", "cycles", "doubtful", "unproven")
CODE = {word: code for code, word in enumerate(WORDS)}

Codes = NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where a sample stops being plain. Ratios without unit."""

    short: float = 1.1  # inlet over critical length, below: no quarter-wave trouble
    long: float = 2.0  # above: more often trouble than not
    held: float = 1.0  # flow over the flow at the stop, above: on the stop
    low: float = 0.9  # flow over the least flow with a stable lift, below: opens and shuts
    slow: float = 1.5  # s, cycle period above which landings and bounces are no chatter


BOUNDS = Bounds()


def classify(features: NDArray[np.float64], bounds: Bounds = BOUNDS) -> tuple[Codes, Codes]:
    """Plain class or DOUBTFUL, and the best guess of linear theory, of every draw and flow.

    features: (draws, flows, FEATURES) of a spring valve, as march.linear.features gives them.
    """
    get = {name: features[..., index] for name, index in F.items()}
    held = get["share"] >= bounds.held
    cycles = get["hold_share"] < 1.0
    ratio = np.where(held, 0.0, np.where(cycles, get["low_ratio"], get["ratio"]))
    guess = np.where(ratio > bounds.long, CHATTERS, np.where(cycles, CYCLES, QUIET)).astype(np.int8)
    codes = np.full(guess.shape, DOUBTFUL, dtype=np.int8)
    codes[held] = QUIET
    codes[~held & (get["hold_share"] > 1 / bounds.low) & (ratio < bounds.short)] = QUIET
    slow = get["period"] > bounds.slow
    codes[(get["hold_share"] < bounds.low) & (ratio < bounds.short) & slow] = CYCLES
    return codes, guess


def chance(features: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chance of chatter or flutter of every draw and flow, by the best guess of linear theory."""
    codes, guess = classify(features)
    best = np.where(codes == DOUBTFUL, guess, codes)
    return np.asarray(((best == CHATTERS) | (best == FLUTTERS)).astype(np.float64))
