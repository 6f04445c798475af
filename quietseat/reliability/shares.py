"""Interval of a share that was counted: found of so many."""

from __future__ import annotations

from math import sqrt

from quietseat.formula import One, formula


@formula("Wilson 1927, J. Am. Stat. Assoc. 22:209 (memory-hi)")
def wilson_low(found: One, count: One, z: One) -> One:
    """Low end of the interval of a share: found of count."""
    return (
        found / count + z**2 / (2 * count)
        - z * sqrt(found / count * (1 - found / count) / count + z**2 / (4 * count**2))
    ) / (1 + z**2 / count)  # fmt: skip


@formula("Wilson 1927, J. Am. Stat. Assoc. 22:209 (memory-hi)")
def wilson_high(found: One, count: One, z: One) -> One:
    """High end of the interval of a share: found of count."""
    return (
        found / count + z**2 / (2 * count)
        + z * sqrt(found / count * (1 - found / count) / count + z**2 / (4 * count**2))
    ) / (1 + z**2 / count)  # fmt: skip
