"""Where the headings of a sheet stand: among title rows, over one to three rows, with merged groups and units.

A block of rows is a heading when its cells name fields; of all blocks at the top of the sheet the one that names
the most fields wins. What a sheet is for (valves, cases, lines, history) is told by the fields it names.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from quietseat.register import fields
from quietseat.register.workbook import Cell, Grid

DEEPEST = 60  # rows of a sheet in which its heading is looked for
_WEIGHT = {0: 1.0, 1: 1.0, 2: 0.8, 4: 0.4}
_VALVE = frozenset((
    "valve.set_pressure", "valve.designation", "valve.inlet_size", "valve.orifice", "valve.outlet_size", "valve.kind",
    "valve.inlet_class", "valve.serial", "valve.cdtp", "valve.effective_area", "vessel.mawp", "vessel.operating_pressure",
))  # fmt: skip
_EVENT = frozenset(("history.date", "history.event", "history.value", "history.note", "history.as_found",
                    "history.condition", "history.last_test", "history.repair_cost", "location.remarks"))  # fmt: skip
_NAMES = (
    ("cases", ("case", "scenario", "relief load", "sizing")),
    ("lines", ("line", "piping", "pipe", "isometric", "hydraulic")),
    ("history", ("history", "work order", "overhaul", "maintenance", "event", "inspection", "test")),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Head:
    """The headings of one sheet. headings: column -> (all lines joined, the lowest line); units: of a units row."""

    rows: tuple[int, ...]
    unit_row: int | None
    headings: Mapping[int, tuple[str, str]]
    units: Mapping[int, str]
    score: float
    after: int  # the first row of data

    def ids(self) -> set[str]:
        """The fields named with some certainty."""
        named = (fields.naming(*pair) for pair in self.headings.values())
        return {name for naming in named if naming.ids and naming.level <= 2 for name in naming.ids}


def find(grid: Grid) -> Head | None:
    """The best heading block of a sheet, or None where nothing names at least two fields."""
    numbers = sorted(grid.rows)[:DEEPEST]
    hits = {number for number in numbers if _hits(grid.rows[number]) >= 2}
    near = {number + step for number in hits for step in (0, 1, 2)}
    best: Head | None = None
    for last in numbers:
        if last not in near:
            continue
        for depth in (1, 2, 3):
            block = tuple(range(last - depth + 1, last + 1))
            if not all(number in grid.rows for number in block) or not hits & set(block):
                continue
            head = _block(grid, block)
            if head is not None and (best is None or head.score > best.score + 1e-9):
                best = head
    return best if best is not None and len(best.ids()) >= 2 else None


def _hits(row: Iterable[Cell | None]) -> int:
    named = set()
    for cell in row:
        if cell is not None and cell.kind == "text" and len(cell.text) <= 80:
            ids = fields.naming(cell.text).ids
            if ids:
                named.add(ids[0])
    return len(named)


def _units_row(row: Iterable[Cell | None]) -> bool:
    texts = [cell.text for cell in row if cell is not None]
    measured = [text for text in texts if fields.is_unit(text) or text.strip("()[] ") in ("-", "")]
    if len(texts) == 1:
        return texts[0][0] in "([" and fields.is_unit(texts[0]) is not None
    return len(texts) >= 2 and len(measured) >= 0.6 * len(texts) and any(fields.is_unit(text) for text in texts)


def _block(grid: Grid, block: tuple[int, ...]) -> Head | None:
    unit_row = None
    for number in block:
        row = grid.rows[number]
        filled = [cell for cell in row if cell is not None]
        if sum(cell.kind in ("number", "date", "error") for cell in filled) > 0.3 * len(filled):
            return None
        if _units_row(row):
            unit_row = number
    lines = [number for number in block if number != unit_row]
    if not lines:
        return None
    after = block[-1] + 1
    if unit_row is None and after in grid.rows and _units_row(grid.rows[after]):
        unit_row, after = after, after + 1
    if after in grid.rows and _numbering(grid.rows[after]):
        after += 1
    headings = _join(grid, lines)
    units = {
        column: fields.plain_unit(cell.text)
        for column, cell in enumerate(grid.rows[unit_row] if unit_row else ())
        if cell is not None and fields.is_unit(cell.text)
    }
    named: dict[str, float] = {}
    for pair in headings.values():
        naming = fields.naming(*pair)
        if naming.ids:
            named[naming.ids[0]] = max(named.get(naming.ids[0], 0.0), _WEIGHT.get(naming.level, 0.0))
    score = sum(named.values()) - 0.4 * (len(lines) - 1)
    rows = tuple(lines)
    return Head(rows, unit_row, headings, units, score, after)


def _numbering(row: tuple[Cell | None, ...]) -> bool:
    """A row that only numbers the columns: 1 2 3 4."""
    texts = [cell.text.strip("()") for cell in row if cell is not None]
    return len(texts) >= 3 and all(text.isdecimal() for text in texts) and [int(t) for t in texts] == list(
        range(int(texts[0]), int(texts[0]) + len(texts))
    )  # fmt: skip


def _join(grid: Grid, lines: list[int]) -> dict[int, tuple[str, str]]:
    """The lines of each column joined from top to bottom; merged groups count for each of their columns."""
    width = max(len(grid.rows[number]) for number in lines)
    texts: dict[int, list[str]] = {}
    for number in lines:
        row = grid.rows[number]
        texts[number] = [(row[c].text if c < len(row) and row[c] is not None else "") for c in range(width)]  # type: ignore[union-attr]
    for place, number in enumerate(lines):
        below = texts[lines[place + 1]] if place + 1 < len(lines) else None
        wide = [merge for merge in grid.merges if merge[0] <= number <= merge[2] and merge[3] > merge[1]]
        for top, first, _, last in wide:
            for column in range(first, min(last + 1, width)):
                texts[number][column] = texts[number][column] or texts.get(top, texts[number])[first]
        if below is not None and not wide:
            _spread(texts[number], below)
    out: dict[int, tuple[str, str]] = {}
    for column in range(width):
        parts: list[str] = []
        for number in lines:
            text = texts[number][column]
            if text and (not parts or text != parts[-1]):
                parts.append(text)
        if parts:
            out[column] = (" ".join(parts), parts[-1])
    return out


def _spread(upper: list[str], lower: list[str]) -> None:
    """A group heading that is not merged stands over the columns to its right up to the next one."""
    group = ""
    for column, text in enumerate(upper):
        if text:
            group = text if lower[column] else ""
        elif group and lower[column]:
            upper[column] = group
        elif not lower[column]:
            group = ""


def valve_fields(head: Head) -> int:
    """How many fields of a valve the headings name."""
    return len(head.ids() & _VALVE)


def role(name: str, head: Head, grid: Grid) -> str:
    """main, cases, lines, history or other."""
    ids = head.ids()
    if "location.tag" not in ids:
        return "main" if len(ids & _VALVE) >= 3 else "other"
    valve, case = len(ids & _VALVE), sum(i.startswith("case.") for i in ids)
    line = sum(i.split(".")[0] in ("inlet", "outlet") for i in ids) + 2 * (side_column(head, grid) is not None)
    event = len(ids & _EVENT) + ("history.date" in ids)
    hint = next((kind for kind, words in _NAMES if any(word in name.lower() for word in words)), "")
    scores = {"main": valve * 1.5, "cases": float(case), "lines": float(line), "history": float(event)}
    if hint:
        scores[hint] *= 1.5
    if "valve.set_pressure" in ids and valve >= 2:
        return "main"
    best = max(scores, key=lambda kind: scores[kind])
    return best if scores[best] >= 1 else "main"


_SIDES = {"inlet": "inlet", "outlet": "outlet", "in": "inlet", "out": "outlet", "suction": "inlet", "upstream": "inlet",
          "discharge": "outlet", "downstream": "outlet", "inlet line": "inlet", "outlet line": "outlet",
          "inlet pipe": "inlet", "outlet pipe": "outlet", "tailpipe": "outlet", "tail pipe": "outlet"}  # fmt: skip


def side(text: str) -> str | None:
    """Which end of the valve a word names."""
    return _SIDES.get(text.strip().lower())


def side_column(head: Head, grid: Grid) -> int | None:
    """The column that says inlet or outlet on a sheet with one row for each line."""
    for column in head.headings:
        cells = [row[column] for number, row in grid.rows.items() if number >= head.after and column < len(row)]
        texts = [cell.text for cell in cells[:50] if cell is not None]
        if len(texts) >= 2 and all(side(text) for text in texts):
            return column
    return None
