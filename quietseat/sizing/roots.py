"""Two small solvers: the root of a function inside a bracket, and the highest point of a smooth hump."""

from __future__ import annotations

from collections.abc import Callable

from quietseat.status import CalculationFailed, Status

_GOLDEN = 0.6180339887498949


def root(function: Callable[[float], float], low: float, high: float, tolerance: float = 1e-13) -> float:
    """The root of a function that changes sign between low and high.

    False position with the Illinois weighting, so that it keeps a bracket and cannot run away. tolerance is
    relative to the bracket. Raises CalculationFailed (not-converged) if the ends have the same sign.
    """
    a, b = low, high
    fa, fb = function(a), function(b)
    if fa == 0.0:
        return a
    if fb == 0.0:
        return b
    if fa * fb > 0:
        raise CalculationFailed(Status.NOT_CONVERGED, f"no root between {low:.6g} and {high:.6g}")
    kept = 0
    for _ in range(200):
        c = (a * fb - b * fa) / (fb - fa)
        if not min(a, b) < c < max(a, b):
            c = 0.5 * (a + b)
        fc = function(c)
        if fc == 0.0 or abs(b - a) <= tolerance * abs(high - low):
            return c
        if fa * fc < 0:
            b, fb = c, fc
            fa = fa / 2 if kept == 1 else fa
            kept = 1
        else:
            a, fa = c, fc
            fb = fb / 2 if kept == -1 else fb
            kept = -1
        if abs(fc) < 1e-15:
            return c
    raise CalculationFailed(Status.NOT_CONVERGED, f"no root found between {low:.6g} and {high:.6g} in 200 steps")


def peak(
    function: Callable[[float], float], low: float, high: float, cells: int = 24, tolerance: float = 1e-7
) -> tuple[float, float]:
    """Place and height of the highest point between low and high: a scan, then golden section.

    A kink (the boiling point of a liquid) does no harm. If the highest point is an end, the end is returned.
    """
    width = (high - low) / cells
    places = [low + width * step for step in range(cells)] + [high]
    heights = [function(place) for place in places]
    best = max(range(len(places)), key=heights.__getitem__)
    a, b = places[max(best - 1, 0)], places[min(best + 1, cells)]
    c, d = b - _GOLDEN * (b - a), a + _GOLDEN * (b - a)
    fc, fd = function(c), function(d)
    while b - a > tolerance * high:
        if fc > fd:
            b, d, fd = d, c, fc
            c = b - _GOLDEN * (b - a)
            fc = function(c)
        else:
            a, c, fc = c, d, fd
            d = a + _GOLDEN * (b - a)
            fd = function(d)
    found = max((fc, c), (fd, d), (heights[best], places[best]))
    return found[1], found[0]
