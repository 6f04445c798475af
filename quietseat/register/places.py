"""Where in a register the values of a relief case stand, so that an answer about it goes into the right row."""

from __future__ import annotations

from collections import Counter

from quietseat.model import Location


def of_case(location: Location, index: int) -> tuple[str | None, int | None]:
    """Sheet and row most values of a case were read from; those of the valve where nothing was."""
    found: Counter[tuple[str, int]] = Counter()
    for path, origin in location.origins.items():
        sheet, _, cell = origin.where.rpartition("!")
        number = cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")
        if path.startswith(f"cases.{index}.") and sheet and number.isdecimal():
            found[sheet, int(number)] += 1
    return found.most_common(1)[0][0] if found else (location.sheet, location.row)
