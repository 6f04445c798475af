"""Where the headings of a sheet stand: among title rows, over one to three rows, with merged groups and units.

A block of rows is a heading when its cells name fields; of all blocks at the top of the sheet the one that names
the most fields wins. What a sheet is for (valves, cases, lines, history) is told by the fields it names.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from quietseat.register import fields, tags
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
    named: Mapping[int, str] = dataclasses.field(default_factory=dict)  # by a mend: column -> field id, "" for not used
    codes: Mapping[str, frozenset[str]] = dataclasses.field(default_factory=dict)  # by mends: field id -> texts with a meaning

    def ids(self) -> set[str]:
        """The fields named with some certainty."""
        read = (fields.naming(*pair) for column, pair in self.headings.items() if column not in self.named)
        return {name for naming in read if naming.ids and naming.level <= 2 for name in naming.ids} | {name for name in self.named.values() if name}


def at(grid: Grid, lines: tuple[int, ...]) -> Head:
    """The headings a person says stand in these rows, whatever their words."""
    head = _block(grid, lines, said=True)
    assert head is not None  # nothing is doubted where somebody said so
    return head


def find(grid: Grid) -> Head | None:
    """The best heading block of a sheet, or None where nothing names at least two fields."""
    numbers = sorted(grid.rows)[:DEEPEST]
    hits = {number for number in numbers if _hits(grid.rows[number]) >= 2}
    near = {number + step for number in hits for step in (0, 1, 2)}
    made: list[Head] = []
    for last in numbers:
        if last not in near:
            continue
        for depth in (1, 2, 3):
            block = tuple(range(last - depth + 1, last + 1))
            if not all(number in grid.rows for number in block) or not hits & set(block):
                continue
            head = _block(grid, block)
            if head is not None:
                made.append(head)
    if not made:
        return None
    best = max(made, key=lambda head: head.score)  # of equals the first
    # Headings further up that have rows of values below them: a table of its own above the best one.
    while above := [head for head in made if 0.4 * best.score <= head.score and len(head.ids()) >= 3 and _values(grid, head.after, best.rows[0])]:
        best = max(above, key=lambda head: head.score)
    return best if len(best.ids()) >= 2 else None


def _values(grid: Grid, first: int, end: int) -> bool:
    """Whether one of the rows from `first` to before `end` holds a tag or three values."""
    for number in range(first, end):
        cells = [cell for cell in grid.rows.get(number, ()) if cell is not None]
        counted = sum(cell.kind == "number" or cell.text[0].isdigit() for cell in cells)
        if counted >= 3 or (counted and any(tags.looks_like(cell.text) for cell in cells)):
            return True
    return False


def tables(grid: Grid, head: Head) -> Iterator[tuple[Grid, Head]]:
    """The tables of a sheet, one below the other, each with its own headings; mostly there is one."""
    while (following := _another(grid, head)) is not None:
        first = min((*following.rows, following.unit_row or following.rows[0]))
        yield replace(grid, rows={number: row for number, row in grid.rows.items() if number < first}), head
        grid, head = replace(grid, rows={number: row for number, row in grid.rows.items() if number >= first}), following
    yield grid, head


def _another(grid: Grid, head: Head) -> Head | None:
    """The headings of a further table below the first: words only, several of them names of fields."""
    order = sorted(number for number in grid.rows if number >= head.after)
    for place, number in enumerate(order):
        row = grid.rows[number]
        if not _words_only(row) or repeats(grid, head, row) or _units_row(row):
            continue
        above = [c.text for c in grid.rows[order[place - 1]] if c is not None] if place > 0 else []
        titled = len(above) == 1 and not tags.looks_like(above[0])  # a lone tag is a valve, not a title
        apart = place > 0 and (order[place - 1] < number - 1 or titled)
        # A letter or two may be data (a phase, an orifice): only whole words speak for headings.
        if _hits(c for c in row if c is not None and sum(map(str.isalpha, c.text)) > 2) < (2 if apart else 3):
            continue
        blocks = [(number,)] + ([(number, number + 1)] if number + 1 in grid.rows and _words_only(grid.rows[number + 1]) else [])
        found = [made for block in blocks if (made := _block(grid, block)) is not None and made.after <= order[-1]]
        if found:
            return max(found, key=lambda made: made.score)
    return None


def downwards(grid: Grid) -> bool:
    """Whether the first column names fields, as on a data sheet with one valve in each column."""
    return _hits(row[0] if row else None for row in list(grid.rows.values())[:DEEPEST]) >= 4


def _words_only(row: Iterable[Cell | None]) -> bool:
    count = 0
    for cell in row:
        if cell is None:
            continue
        if cell.kind != "text" or cell.merged or cell.text[0].isdigit() or len(cell.text) > 60 or tags.looks_like(cell.text):
            return False
        count += 1
    return count >= 3


def repeats(grid: Grid, head: Head, row: Sequence[Cell | None]) -> bool:
    """Whether a row repeats one of the lines of the headings."""
    cells = [(place, cell.text.lower()) for place, cell in enumerate(row) if cell is not None and not cell.merged]
    for number in (*head.rows, *range(head.rows[0] - 3, head.rows[0])):
        line = grid.rows.get(number, ())
        same = sum(place < len(line) and (above := line[place]) is not None and above.text.lower() == text for place, text in cells)
        if same >= 2 and same >= 0.6 * len(cells):
            return True
    return False


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


def _block(grid: Grid, block: tuple[int, ...], said: bool = False) -> Head | None:
    unit_row = None
    for number in block:
        row = grid.rows[number]
        filled = [cell for cell in row if cell is not None]
        if not said and sum(cell.kind in ("number", "date", "error") for cell in filled) > 0.3 * len(filled):
            return None
        if _units_row(row):
            unit_row = number
    lines = [number for number in block if number != unit_row]
    if said and not lines:
        lines, unit_row = list(block), None
    if not lines or (not said and any(_title(grid, number, lines[-1]) for number in lines[:-1])):
        return None
    after = block[-1] + 1
    if unit_row is None and after in grid.rows and _units_row(grid.rows[after]):
        unit_row, after = after, after + 1
    if after in grid.rows and _numbering(grid.rows[after]):
        after += 1
    headings, stacked = _join(grid, lines)
    units = {column: unit for column, texts in stacked.items() if len(texts) > 1 and (unit := _unit_of_lines(texts))}
    grouped = sum(not fields.naming(headings[column][1]).unit for column in units)
    units |= {
        column: fields.plain_unit(cell.text)
        for column, cell in enumerate(grid.rows[unit_row] if unit_row else ())
        if cell is not None and fields.is_unit(cell.text)
    }
    named: dict[str, float] = {}
    for pair in headings.values():
        naming = fields.naming(*pair)
        if naming.ids:
            named[naming.ids[0]] = max(named.get(naming.ids[0], 0.0), _WEIGHT.get(naming.level, 0.0))
    score = sum(named.values()) - _line_cost(grid, lines)
    score += 0.3 * (grouped + sum(fields.is_unit(cell.text) is not None for cell in (grid.rows[unit_row] if unit_row else ()) if cell))
    rows = tuple(lines)
    return Head(rows, unit_row, headings, units, score, after)


def _title(grid: Grid, number: int, below: int) -> bool:
    """Whether a line holds one text above the first heading or above all of them: a title, no group."""
    places = [place for place, cell in enumerate(grid.rows[number]) if cell is not None]
    under = [place for place, cell in enumerate(grid.rows[below]) if cell is not None]
    if len(places) != 1 or not under or places[0] > under[0]:
        return False
    wide = next((merge[3] for merge in grid.merges if merge[0] <= number <= merge[2] and merge[1] == places[0]), None)
    return wide is None or wide >= under[-1]


def _numbering(row: tuple[Cell | None, ...]) -> bool:
    """A row that only numbers the columns: 1 2 3 4."""
    texts = [cell.text.strip("()") for cell in row if cell is not None]
    return len(texts) >= 3 and all(text.isdecimal() for text in texts) and [int(t) for t in texts] == list(
        range(int(texts[0]), int(texts[0]) + len(texts))
    )  # fmt: skip


def _line_cost(grid: Grid, lines: list[int]) -> float:
    """What further lines cost: little for a line of groups that name or measure something, more for titles."""
    cost = 0.0
    for number in lines[:-1]:
        texts = {cell.text for cell in grid.rows[number] if cell is not None}
        groups = sum(bool(fields.naming(text).ids or fields.GROUP.search(text)) for text in texts)
        cost += 0.05 if groups and 2 * groups >= len(texts) else 0.4
    return cost


def _unit_of_lines(texts: list[str]) -> str:
    """The unit that one of the lines of a heading shows, the lowest first: "Pressure, barg" above "Set"."""
    return next((found for text in reversed(texts) if (found := fields.naming(text).unit)), "")


def _join(grid: Grid, lines: list[int]) -> tuple[dict[int, tuple[str, str]], dict[int, list[str]]]:
    """The lines of each column joined from top to bottom, and apart; merged groups count for each of their columns."""
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
    apart: dict[int, list[str]] = {}
    for column in range(width):
        parts: list[str] = []
        for number in lines:
            text = texts[number][column]
            if text and (not parts or text != parts[-1]):
                parts.append(text)
        if parts:
            out[column], apart[column] = (" ".join(parts), parts[-1]), parts
    return out, apart


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
        return "main" if len(ids & _VALVE) >= (2 if _tags_by_sight(head, grid) else 3) else "other"
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


def _tags_by_sight(head: Head, grid: Grid) -> bool:
    """Whether one of the columns holds tags, whatever its heading says."""
    rows = [grid.rows[number] for number in sorted(grid.rows) if number >= head.after][:40]
    for column in range(max((len(row) for row in rows), default=0)):
        cells = [row[column] for row in rows if column < len(row)]
        texts = [cell.text for cell in cells if cell is not None]
        if len(texts) >= 2 and sum(map(tags.looks_like, texts)) >= 0.7 * len(texts):
            return True
    return False


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
