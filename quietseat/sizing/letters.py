"""API 526 orifice letters: the smallest that is enough, or how many of which."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import ceil

from quietseat.tables import Row, table


@dataclass(frozen=True, slots=True)
class Selection:
    """What covers a required area. valves is set, and letter None, where one valve is too small."""

    letter: str | None
    area: float  # m2, of the letter times the number of valves
    valves: tuple[int, str] | None = None
    reason: str = ""


@cache
def _all() -> tuple[tuple[str, float], ...]:
    return tuple((row["letter"], row["area"]) for row in table("orifices").rows)


def letters() -> dict[str, float]:
    """Effective area (m2) of every API 526 letter, smallest first. Valid with API 520-1 effective Kd only."""
    return dict(_all())


def row(letter: str) -> Row:
    """The table row of one letter. Raises NotInTable (a KeyError) when there is none."""
    return table("orifices").row(letter=letter)


@cache
def citation() -> str:
    """Where the areas come from."""
    return table("orifices").rows[0].cite()


def select(required: float) -> Selection:
    """The smallest letter whose effective area is not below the required one (m2); an equal area selects it.

    Above T: the least number of equal valves that is enough, and their letter.
    """
    wanted = required * (1 - 1e-9)
    for letter, area in _all():
        if area >= wanted:
            return Selection(letter, area)
    largest, most = _all()[-1]
    count = ceil(wanted / most)
    letter, area = next(pair for pair in _all() if pair[1] >= wanted / count)
    reason = (
        f"{required * 1e6:.0f} mm2 is larger than one {largest} ({most * 1e6:.0f} mm2): {count} valves of letter {letter}"
    )
    return Selection(None, area * count, (count, letter), reason)
