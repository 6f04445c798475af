"""Where a person says the headings of a sheet stand, for a sheet whose headings were not found or not rightly.

A line of the mends file without a row: field `headings`, value the row, or the first and the last of up to three: `5`, `5-6`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from quietseat.register import headers
from quietseat.register import mends as mending
from quietseat.register.headers import Head
from quietseat.register.mends import MendRead, Mends
from quietseat.register.workbook import Grid

MOST = 3  # rows of headings
_ROWS = re.compile(r"(?:rows?\s*)?(\d{1,7})(?:\s*(?:-|–|to|and|,)\s*(\d{1,7}))?", re.I)
_HOW = "write the row as the spreadsheet shows it, or the first and the last: 5, or 5-6"


def head_of(mends: Mends, grid: Grid, alone: bool) -> Head | None:
    """The headings of a sheet: where the last mend says they stand, else where they are found. alone: no other sheet holds anything,
    so that its name may be left out.
    """
    found = headers.find(grid)
    for place, mend in reversed(list(enumerate(mends.entries))):
        if mend.kind != "headings" or not (mend.sheet == grid.name or (not mend.sheet and alone)) or not mending.signed(mends, place):
            continue
        lines = rows_of(mend.value, grid)
        if isinstance(lines, str):
            mending.wrong(mends, mend, lines, _HOW)
            continue
        before = f"row {', '.join(map(str, found.rows))}" if found is not None else "no headings found"
        mends.entries[place] = replace(mend, applied=True, before=before, cells=1)
        return headers.at(grid, lines)
    return found


def rows_of(text: str, grid: Grid) -> tuple[int, ...] | str:
    """The rows a mend names, or in words why they hold no headings."""
    read = _ROWS.fullmatch(text.strip())
    if not read:
        return f"{text!r} is no row number"
    first = int(read[1])
    last = int(read[2] or first)
    if not 0 <= last - first < MOST:
        return f"headings stand in one to {MOST} rows, the upper one first"
    held = tuple(number for number in range(first, last + 1) if number in grid.rows)
    if not held or not any(cell is not None for number in held for cell in grid.rows[number]):
        return f"row {text.strip()} of the sheet is empty"
    if max(grid.rows) <= last:
        return f"nothing stands below row {last}"
    return held


def settle(mends: Mends, sheets: Iterable[str]) -> None:
    """A mend of headings that came to nothing becomes a problem. sheets: those that hold anything."""
    names = list(sheets)
    for place, mend in enumerate(mends.entries):
        if mend.kind != "headings" or mend.applied or any(p.field == mend.field and p.value == mend.value and p.sheet == (mend.sheet or None) for p in mends.problems):
            continue
        rule, how = _why_not(mend, names, any(other.kind == "headings" and other.applied for other in mends.entries[place + 1 :]))
        mending.wrong(mends, mend, rule, how)


def _why_not(mend: MendRead, names: list[str], later: bool) -> tuple[str, str]:
    if mend.sheet and mend.sheet not in names:
        return f"mend of an unknown sheet {mend.sheet!r}", f"the sheets are {', '.join(names)}"
    if not mend.sheet and len(names) > 1:
        return "mend of the headings without its sheet", f"the sheets are {', '.join(names)}: name one"
    return ("a later line says the same of the sheet: the last one counts", "delete this line") if later else ("the headings were not found", _HOW)
