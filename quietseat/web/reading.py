"""A register as read, put in the order pages list it: cell by cell, row by row, code by code; with paging and filters."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

from quietseat.basis import Basis
from quietseat.fields import fields
from quietseat.model import Location
from quietseat.register import Cells, Register
from quietseat.register.cells import Reader
from quietseat.register.fields import UNIT_OF, by_name, shown
from quietseat.register.mends import MendRead, ident, suffix_unit
from quietseat.register.record import Column
from quietseat.register.seen import CellSeen
from quietseat.register.sizes import Size
from quietseat.register.workbook import Cell
from quietseat.report.words import Shown, field_words
from quietseat.status import Problem
from quietseat.unit_table import KINDS

PAGE = 50  # lines of a list on one page

# What may be said of a cell, in the order of the filter.
KINDS_OF_CELL = {
    "refused": "could not be read", "missing": "needed and not there", "differs": "two places disagree", "open": "unknown or pending, as the register says",
    "noticed": "read, and worth a look", "assumed": "read by a rule, not as written",
}  # fmt: skip
_CELL = re.compile(r"([A-Z]{1,3})(\d+)")
_NOTICED = ("read all the same", "read by content", "taken as a further case", "only fills blanks", "right as written")

_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing said of one cell. what: a key of KINDS_OF_CELL; field: as a mend names it, "" where none can."""

    what: str
    sheet: str
    row: int
    column: str
    field: str
    value: str
    rule: str
    mend: str
    fields: tuple[str, ...] = ()  # of a contradiction: those of the same row that would decide it


@dataclass(frozen=True, slots=True)
class Part(Generic[T]):
    """One page of a list. number, pages: from 1."""

    items: Sequence[T]
    total: int
    number: int
    pages: int


def part(items: Sequence[T], number: int) -> Part[T]:
    """The page of a list that has this number, or the nearest there is."""
    pages = max(1, -(-len(items) // PAGE))
    number = min(max(number, 1), pages)
    return Part(items[(number - 1) * PAGE : number * PAGE], len(items), number, pages)


class Reading:
    """What the pages list of one reading of a register."""

    def __init__(self, register: Register, cells: Cells) -> None:
        self.register = register
        self.whole = tuple(p for p in register.problems if p.row is None and p.file == register.file)
        place = {sheet.name: number for number, sheet in enumerate(register.sheets)}
        self.entries = sorted([*_told(register), *_assumed(register)], key=lambda e: (place.get(e.sheet, 99), e.row, e.column))
        self._lines = {f"mends line {one.line}": one for one in register.mends if one.row is not None}
        self._places = _places(register, self._lines)
        self.counts = Counter(entry.what for entry in self.entries)
        self.codes = tuple(cells.codes())
        self.refused_mends = {(p.sheet or "", p.row, p.field, p.value): p for p in register.problems if p.file != register.file}
        self.mends = {(m.sheet, m.row, m.field, m.value): m for m in register.mends}

    def cells(self, what: str, sheet: str, words: str) -> list[Entry]:
        """The cells with a filter: what is said, sheet, words in field, value or rule."""
        return [
            e for e in self.entries
            if (not what or e.what == what or (what == "doubt" and e.what != "assumed")) and (not sheet or e.sheet == sheet)
            and (not words or words in f"{e.row} {e.column}{e.row} {e.field} {e.value} {e.rule}".lower())
        ]  # fmt: skip

    def columns(self, sheet: str, words: str) -> list[Column]:
        """The columns with a filter: sheet; words that are the column's letters or stand in its heading or field."""
        return [
            c for c in self.register.columns
            if (not sheet or c.sheet == sheet) and (not words or words == c.letter.lower() or (len(words) > 2 and words in f"{c.heading} {c.field}".lower()))
        ]  # fmt: skip

    def used(self, sheet: str, row: int) -> dict[str, list[str]]:
        """By column: the valves and fields the cells of a row are used for. A mended value belongs to the column of its field, "" where none holds it."""
        out: dict[str, list[str]] = {}
        letters = {one.field: one.letter for one in reversed(self.register.columns) if one.sheet == sheet and one.field}
        for location in self._places.get((sheet, str(row)), ()):
            for path, origin in location.origins.items():
                name, _, cell = origin.where.rpartition("!")
                mend = self._lines.get(origin.where)
                if mend is not None and (mend.sheet or sheet, mend.row) == (sheet, row):
                    named = ident(mend.field)
                    out.setdefault(letters.get(shown(named), "") if named else "", []).append(f"{location.tag}: {field_words(path)} (mended)")
                elif name == sheet and cell.lstrip(_LETTERS) == str(row):
                    out.setdefault(cell.rstrip("0123456789"), []).append(f"{location.tag}: {field_words(path)} ({origin.how})")
        return out

    def rows(self, state: str, words: str) -> list[Any]:
        """The rows with a filter: read, partial, refused, "short" for the last two; words in tags, number or reason."""
        return [
            r for r in self.register.rows
            if (not state or r.state == state or (state == "short" and r.state != "read"))
            and (not words or words in f"{r.row} {' '.join(r.tags)} {r.reason}".lower())
        ]  # fmt: skip


def _places(register: Register, lines: Mapping[str, MendRead]) -> dict[tuple[str, str], list[Location]]:
    """The valves that take a value from a row, or from a mend of it, by sheet and row. lines: the mends of rows by what an origin calls them."""
    out: dict[tuple[str, str], list[Location]] = {}
    for location in register.locations:
        told = set()
        for origin in location.origins.values():
            mend = lines.get(origin.where)
            sheet, _, cell = origin.where.rpartition("!")
            told.add((mend.sheet or location.sheet or "", str(mend.row)) if mend is not None else (sheet, cell.lstrip(_LETTERS)))
        for place in {(sheet, number) for sheet, number in told if sheet}:
            out.setdefault(place, []).append(location)
    return out


def _told(register: Register) -> list[Entry]:
    known = by_name()
    return [
        Entry(_what(p), p.sheet or "", p.row, p.column or "", p.field if p.field and p.field in known else "", p.value or "",
              p.rule.removeprefix("check: "), p.mend or "", _decides(p))
        for p in register.problems if p.row is not None and p.file == register.file
    ]  # fmt: skip


def _decides(problem: Problem) -> tuple[str, ...]:
    own = [one.field for one in problem.settles if (one.sheet or problem.sheet, one.row or problem.row) == (problem.sheet, problem.row)]
    return tuple(dict.fromkeys(shown(name) for name in own if name in fields()))


def _what(problem: Problem) -> str:
    rule = problem.rule
    if rule.startswith("check: "):
        return "differs"
    if rule.startswith("the ") and rule.endswith(" is missing"):
        return "missing"
    if rule.startswith(("unknown: ", "pending: ")):
        return "open"
    return "noticed" if any(words in rule for words in _NOTICED) else "refused"


def _assumed(register: Register) -> list[Entry]:
    out: dict[tuple[str, str, str], Entry] = {}
    for location in register.locations:
        for path, origin in location.origins.items():
            if origin.how != "assumed":
                continue
            sheet, _, cell = origin.where.rpartition("!")
            found = _CELL.match(cell)
            row = int(found[2]) if found else int(cell) if cell.isdecimal() else location.row or 0
            field = field_of(path)
            entry = Entry("assumed", sheet or location.sheet or "", row, found[1] if found else "", field, origin.text, origin.rule, "")
            out.setdefault((origin.where, field or path, origin.rule), entry)
    return list(out.values())


def field_of(path: str) -> str:
    """The field a mend names for a path of a Location: case.flow for cases.0.flow; "" where a mend cannot give it."""
    name = ".".join(piece for piece in path.split(".") if not piece.isdecimal())
    name = f"case.{name[6:]}" if name.startswith("cases.") else name
    return shown(name) if name in fields() else ""


def as_mended(cell: CellSeen, mend: Mapping[str, Any], basis: Basis, unit: str) -> CellSeen:
    """A cell with the value a mend gives it, read as a reading of the register reads it. unit: of its column."""
    known = by_name()[cell.field]
    taken = Reader(basis).take(Cell(str(mend["value"]), "text"), fields()[known], suffix_unit(str(mend["field"])) or unit)
    return replace(cell, state=taken.state, value=taken.value)


def value_words(cell: CellSeen, units: Shown) -> tuple[str, str]:
    """A cell's value as the pages show it, and in SI; "" and "" where it has none."""
    value = cell.value
    if cell.state not in ("value", "several") or value is None:
        return "", ""
    if isinstance(value, bool):
        return ("yes" if value else "no"), ""
    if isinstance(value, Size):
        return _size(value), ""
    quantity = fields()[by_name()[cell.field]].quantity
    if isinstance(value, tuple):
        if value and isinstance(value[0], str):
            return _number(value[1], KINDS[value[0]][0], units) if value[0] in KINDS else (", ".join(map(str, value)), "")
        both = [_number(one, KINDS[UNIT_OF[quantity][0]][0] if quantity in UNIT_OF else "", units) for one in value]
        return ", ".join(one[0] for one in both), ", ".join(one[1] for one in both)
    if isinstance(value, (int, float)):
        inside = KINDS[UNIT_OF[quantity][0]][0] if quantity in UNIT_OF and quantity != "number" else ""
        return _number(value, "fraction" if quantity == "fraction" else inside, units)
    return str(value), ""


def _number(value: float, inside: str, units: Shown) -> tuple[str, str]:
    if inside in ("", "money"):
        return f"{value:.6g}", ""
    return units.quantity(value, inside), "" if inside in ("fraction", "NPS", "class") else f"{value:.6g} {_plain(inside)}"


def _plain(inside: str) -> str:
    return inside.replace("**3", "³").replace("**2", "²").replace("*", "·")


def _size(size: Size) -> str:
    sizes = " × ".join(f"{one:g}" for one in (size.inlet, size.outlet) if one is not None)
    classes = " × ".join(f"class {one}" for one in (size.inlet_class, size.outlet_class) if one is not None)
    return ", ".join(part for part in (f"NPS {sizes}" if sizes else "", size.letter or "", classes, size.facing or "") if part)
