"""Which unknowns make the spread: share of the variance each explains on its own (first order)."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

BINS = 10
LEAST = 0.02  # shares below the noise of a few hundred draws are left out


def first_order(unit: Mapping[str, NDArray[np.float64]], score: NDArray[np.float64]) -> tuple[tuple[str, float], ...]:
    """Shares, largest first: variance of the mean of the score in bins of the unknown, over its whole variance.

    unit: place of every draw in the hypercube, 0 to 1, by unknown; score: one number a draw (chatter 0 or 1, or
    the logarithm of inlet over critical length). The mean of a bin scatters even when the unknown does not matter;
    that part is taken off (one-way analysis of variance). Shares that sum above 1 are scaled to 1.
    """
    count = len(score)
    total = float(np.var(score))
    bins = min(BINS, count // 4)
    if total <= 1e-12 or bins < 2:
        return ()
    out = []
    for name, place in unit.items():
        group = np.minimum((np.argsort(np.argsort(place)) * bins) // count, bins - 1)
        sizes = np.bincount(group, minlength=bins)
        means = np.bincount(group, weights=score, minlength=bins) / sizes
        between = float(np.sum(sizes * (means - score.mean()) ** 2)) / count
        within = total - between
        share = (between - within * (bins - 1) / max(count - bins, 1)) / total
        if share >= LEAST:
            out.append((name, share))
    scale = max(1.0, sum(share for _, share in out))
    return tuple(sorted(((name, round(share / scale, 4)) for name, share in out), key=lambda pair: -pair[1]))
