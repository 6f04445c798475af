"""Which mark of a text cell is decimal: decided by the unambiguous cells of its column, then by those of its sheet.

"1.250" and "3,000" may be decimal or thousands; real numbers of a workbook never are. Sizes and designations ("1.5F2", "1.5 in")
prove nothing. A cell with a unit of its own ("5.7 MMSCFD" among bare numbers) was written by another hand: it speaks for the sheet
and may contradict, but does not decide its column (this tool's rule).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from quietseat import units
from quietseat.register.sizes import nps_of_dn
from quietseat.register.workbook import Cell, Grid

_NUMBER = re.compile(r"([+-]?\d[\d.,]*)(?:[eE][+-]?\d+)?(?![\d.,]) ?(.*)")
_GROUPS = re.compile(r"[+-]?[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})+")
_BOTH = re.compile(r"[+-]?\d{1,3}(?:([.,])\d{3})+(?!\1)[.,]\d+")
_ONE = re.compile(r"[+-]?(\d+)([.,])(\d+)")
_SIZE_UNITS = frozenset(("pipe_size", "pressure_class", "length"))
OPEN = "either"  # of a cell that nothing decides


@dataclass(slots=True)
class _Proof:
    """The first cell that proves a decimal comma, and the first that proves a decimal point."""

    comma: str = ""
    point: str = ""

    def add(self, kind: str, text: str) -> None:
        if kind == ",":
            self.comma = self.comma or text
        else:
            self.point = self.point or text

    @property
    def mixed(self) -> bool:
        """Both marks stand as decimal."""
        return bool(self.comma and self.point)

    def form(self, place: str) -> str:
        """What a Cell's form says of an ambiguous number under this proof, "" where there is none."""
        if self.mixed:
            return f"{OPEN} {self.comma!r} and {self.point!r} in {place} prove both marks decimal"
        if self.comma or self.point:
            return f"decimal {',' if self.comma else '.'} as {self.comma or self.point!r} in {place} proves"
        return ""


@lru_cache(maxsize=16384)
def kind(text: str) -> tuple[str, str]:
    """The mark a text proves to be decimal ("," or "."), "either" where it may be both, "" where it says nothing; and its unit."""
    found = _NUMBER.fullmatch(text)
    if found is None or (found[2] and not _measures(found[2])):
        return "", ""
    digits, words = found[1], found[2].lower()
    for form in (_GROUPS, _BOTH):
        if marked := form.fullmatch(digits):
            return ("," if marked[1] == "." else "."), words
    one = _ONE.fullmatch(digits)
    if one is None:
        return "", words
    if len(one[3]) == 3 and len(one[1]) <= 3 and one[1].lstrip("0"):
        return OPEN, words
    return one[2], words


def _measures(words: str) -> bool:
    """Whether the words behind a number are a unit in which no size is written."""
    try:
        return units.quantity_of(words.strip("()[] ")) not in _SIZE_UNITS
    except units.UnitError:
        return False


def _may_be_size(text: str) -> bool:
    """A bare number that is a nominal size too: it proves nothing beyond its own column."""
    try:
        return float(text.replace(",", ".")) in nps_of_dn().values()
    except ValueError:
        return False


def settle(grids: list[Grid]) -> None:
    """Give every ambiguous text cell the form that says what decides it: "decimal , as ...", "decimal . as ...", "either ..."."""
    for grid in grids:
        sheet = _Proof()
        columns: dict[int, _Proof] = {}
        alike: dict[tuple[int, str], _Proof] = {}  # by column and the words behind the number
        open_: list[tuple[int, int, str]] = []
        for number, row in grid.rows.items():
            for column, cell in enumerate(row):
                if (
                    cell is None
                    or cell.kind != "text"
                    or not ("." in cell.text or "," in cell.text)
                    or cell.text[0] not in "+-0123456789"
                ):
                    continue
                said, words = kind(cell.text)
                if said == OPEN:
                    open_.append((number, column, words))
                elif said:
                    columns.setdefault(column, _Proof()).add(said, cell.text)
                    alike.setdefault((column, words), _Proof()).add(said, cell.text)
                    if not _may_be_size(cell.text):
                        sheet.add(said, cell.text)
        for number, column, words in open_:
            whole, own = columns.get(column, _Proof()), alike.get((column, words), _Proof())
            form = (whole if whole.mixed else own).form("the same column") or sheet.form("the same sheet") or OPEN
            _mark(grid, number, column, form)


def _mark(grid: Grid, number: int, column: int, form: str) -> None:
    row = list(grid.rows[number])
    cell = row[column]
    assert cell is not None
    row[column] = cell._replace(form=form)
    grid.rows[number] = tuple(row)


@dataclass(frozen=True, slots=True)
class Decided:
    """An ambiguous number as it is read. text: with a decimal point and no other mark; how, rule: of the reading."""

    text: str
    how: str
    rule: str


def decided(cell: Cell) -> Decided | None:
    """How an ambiguous cell is read; None where nothing decides it."""
    if not cell.form.startswith("decimal "):
        return None
    decimal, why = cell.form[8], cell.form[10:]
    mark = _mark_of(cell.text)
    if mark != decimal:
        word = "comma" if mark == "," else "point"
        return Decided(cell.text.replace(mark, "", 1), "assumed", f"{word} as thousands separator, {why}")
    return Decided(cell.text.replace(mark, ".", 1), "read", f"decimal comma, {why}" if mark == "," else "")


def open_words(cell: Cell) -> tuple[str, str]:
    """What is wrong with an ambiguous cell that nothing decides, and how to write it."""
    mark = _mark_of(cell.text)
    found = _NUMBER.fullmatch(cell.text)
    assert found is not None
    whole, _, part = found[1].partition(mark)
    small = part.rstrip("0")
    decimal = whole if not small else f"{whole}.{small}" if len(small) < 3 else f"{whole}.{part}0"
    rest = f" {found[2]}" if found[2] else ""
    why = cell.form.removeprefix(OPEN).strip() or "no other cell of its column or sheet settles it"
    rule = f"{cell.text!r} may be decimal or thousands, {decimal}{rest} or {whole}{part}{rest}: {why}"
    return rule, f"write the number as '{whole}{part}{rest}' or '{decimal}{rest}'"


def thousands(cell: Cell) -> float:
    """An ambiguous number with its mark as thousands separator."""
    found = _NUMBER.fullmatch(cell.text)
    return float(found[1].replace(_mark_of(cell.text), "")) if found else 0.0


def _mark_of(text: str) -> str:
    """The only mark of an ambiguous number."""
    found = _NUMBER.fullmatch(text)
    return "," if found and "," in found[1] else "."
