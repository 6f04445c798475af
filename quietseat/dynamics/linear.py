"""Exact linear theory of vessel, inlet line and valve: growth rate, frequency and critical length.

A small disturbance exp(sg t) about an equilibrium obeys D(sg) = 0. The closed form of `closed.critical_length`
is its first-order limit for light damping and a large vessel; here nothing is neglected but friction.
Source: derived from the one-dimensional equations of vessel, line and disc (computed).
"""

from __future__ import annotations

import cmath
from dataclasses import dataclass, replace

from quietseat.dynamics import closed
from quietseat.status import CalculationFailed, Status


@dataclass(frozen=True, slots=True)
class Equilibrium:
    """The state a disturbance starts from. SI."""

    segments: tuple[tuple[float, float], ...]  # (length m, area m2) from vessel to valve
    sound_speed: float
    volume: float  # m3 of the vessel
    gain_pressure: float  # kg/s/Pa, closed.gain_pressure
    gain_lift: float  # kg/s/m, closed.gain_lift; 0 where the nozzle limits the flow
    disc_area: float  # m2 effective
    mass: float  # kg
    spring_rate: float  # N/m, less the pressure times the slope of the disc area
    damping: float = 0.0  # N s/m

    @property
    def length(self) -> float:
        """Length of the line, m."""
        return sum(length for length, _ in self.segments)


def stretched(at: Equilibrium, length: float) -> Equilibrium:
    """The same equilibrium with the line stretched or shortened to a length, m, all parts alike."""
    factor = length / at.length
    return replace(at, segments=tuple((part * factor, area) for part, area in at.segments))


def dispersion(sg: complex, at: Equilibrium) -> complex:
    """D(sg): inlet admittance + flow gain with pressure + flow gain with lift through the disc, kg/s/Pa.

    sg: complex growth rate, 1/s (real part growth, imaginary part angular frequency).
    """
    impedance = at.sound_speed**2 / (at.volume * sg)
    for length, area in at.segments:
        own = at.sound_speed / area
        tanh = cmath.tanh(sg * length / at.sound_speed)
        impedance = (impedance + own * tanh) / (1 + impedance / own * tanh)
    disc = at.mass * sg * sg + at.damping * sg + at.spring_rate
    return 1 / impedance + at.gain_pressure + at.gain_lift * at.disc_area / disc


def root(at: Equilibrium, guess: complex) -> complex:
    """The root of D next to a guess, by complex Newton. Raises CalculationFailed when it does not settle."""
    sg = guess
    for _ in range(60):
        step = 1e-6 * abs(sg)
        value = dispersion(sg, at)
        slope = (dispersion(sg + step, at) - dispersion(sg - step, at)) / (2 * step)
        if slope == 0:
            break
        change = value / slope
        if abs(change) > 0.2 * abs(sg):  # a long step would land on another mode
            change *= 0.2 * abs(sg) / abs(change)
        sg -= change
        if abs(change) < 1e-10 * abs(sg):
            return sg
    raise CalculationFailed(Status.NOT_CONVERGED, "the dispersion relation has no root near the quarter wave")


def mode(at: Equilibrium, guess: complex | None = None) -> tuple[float, float]:
    """Growth rate, 1/s (negative = dies out), and frequency, Hz, of the quarter-wave mode.

    guess: complex growth rate to start from; default the undisturbed quarter wave of the line.
    """
    from math import pi

    start = 2j * pi * closed.quarter_wave_frequency(at.length, at.sound_speed) if guess is None else guess
    sg = root(at, start)
    return sg.real, abs(sg.imag) / (2 * pi)


def critical_length(at: Equilibrium, guess: float) -> float:
    """Shortest unstable line, m, near a guess: growth of the quarter-wave mode is zero there.

    The equilibrium is kept, the line is stretched. Raises CalculationFailed when no change of sign lies
    between half and twice the guess.
    """
    low, high = 0.5 * guess, 2.0 * guess
    f_low, f_high = mode(stretched(at, low))[0], mode(stretched(at, high))[0]
    if f_low * f_high > 0:
        raise CalculationFailed(Status.NOT_CONVERGED, "no critical length between half and twice the closed form")
    for _ in range(80):
        middle = 0.5 * (low + high)
        value = mode(stretched(at, middle))[0]
        if value * f_low > 0:
            low, f_low = middle, value
        else:
            high = middle
        if high - low < 1e-9 * guess:
            break
    return 0.5 * (low + high)
