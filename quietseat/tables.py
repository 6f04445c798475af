"""Tables of the standards and of the trade: lazy, typed, SI, read-only; each states its lookup rule.

A table is one CSV in `data/`, named `topic__document_edition.csv`; `table("orifices")` finds it by topic.
The file keeps the units of the printed book, so that it can be checked against it; they become SI once, when
it is read.

Head lines, `# word: text` (only `source` is a must; a word given twice goes on):
    source   id in sources.toml           place    table or clause in that document
    lookup   exact, next-up or linear     key      column, column
    across   name [unit]: a grid whose columns are named by numbers
    value    what the grid holds          note     words for a reader
Headings: `area [in2]` is the column `area`, printed in in2, held in m2; `[text]` stays text; `[-]` no unit.
Gauge pressures (psig, barg) stay gauge: Pa above the atmosphere. A cell may be a mixed fraction
(`4 1/8`) and may name a unit of its own (`0.1 bar`).
Columns every table may have: `provenance` (a must), `source`, `place`, `note`, and `<column>_provenance` for
a column less certain than its row.
"""

from __future__ import annotations

import csv
import tomllib
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, NoReturn

from quietseat.units import UNITS

DATA = Path(__file__).parent / "data"
MARKS = ("seen", "computed", "memory-hi", "memory-md", "memory-lo", "estimate", "common practice")
LOOKUPS = ("exact", "next-up", "linear")
_RANK = {mark: rank for rank, mark in enumerate(MARKS)}
_TEXT = ("provenance", "source", "place", "note")
_HEAD = ("source", "place", "lookup", "key", "across", "value", "note")


class NotInTable(KeyError):
    """No row has this key; the message names the table, the key and the nearest keys."""

    def __str__(self) -> str:
        return str(self.args[0])


@dataclass(frozen=True, slots=True)
class Source:
    """One document of `sources.toml`. read: "seen" (at least as an excerpt) or "memory"."""

    id: str
    title: str
    short: str
    edition: str = ""
    year: int | None = None
    kind: str = ""
    read: str = "memory"
    note: str = ""


class Row(dict[str, Any]):
    """One row of a table: a read-only mapping whose columns are also attributes. Blank cells are None."""

    __slots__ = ("_table",)

    def __init__(self, values: Mapping[str, Any], table: str) -> None:
        super().__init__(values)
        object.__setattr__(self, "_table", table)

    def __getattr__(self, name: str) -> Any:
        try:
            return self[name]
        except KeyError:
            known = ", ".join(self)
            raise AttributeError(f"table {self._table} has no column {name!r}; it has {known}") from None

    def __hash__(self) -> int:  # type: ignore[override]
        return id(self)

    def _refuse(self, *args: object, **kwargs: object) -> NoReturn:
        raise TypeError(f"a row of table {self._table} is read-only")

    __setitem__ = __delitem__ = __ior__ = _refuse
    update = setdefault = pop = popitem = clear = _refuse
    __setattr__ = __delattr__ = _refuse

    def __reduce__(self) -> tuple[Any, ...]:
        return (Row, (dict(self), self._table))

    def mark(self, column: str = "") -> str:
        """The confidence mark of one column (its own, if the table gives one) or of the row."""
        return str(self.get(f"{column}_provenance") or self["provenance"])

    def cite(self, column: str = "") -> str:
        """Document, edition, place and mark as one line: "API 526 6E Table 1, memory-hi"."""
        short = sources()[self["source"]].short
        place = self.get("place")
        return f"{short}{' ' + place if place else ''}, {self.mark(column)}"


class Table:
    """A table as read: rows in the order of the file, with the lookups its head allows.

    name, lookup, key (columns), across (the grid's second key or ""), value (what the grid holds), note,
    source (id), columns, rows.
    """

    __slots__ = (
        "_curves", "_grid", "_index", "_parts", "_sorted", "_where",
        "across", "columns", "file", "key", "lookup", "name", "note", "place", "rows", "source", "value",
    )  # fmt: skip

    def __init__(
        self, name: str, file: str, head: Mapping[str, str], columns: tuple[str, ...], rows: tuple[Row, ...]
    ) -> None:
        self.name, self.file, self.columns, self.rows = name, file, columns, rows
        self.lookup = head.get("lookup", "exact")
        self.key = tuple(part.strip() for part in head.get("key", "").split(",") if part.strip())
        self.across, self.value = head.get("across", ""), head.get("value", "")
        self.note, self.source, self.place = head.get("note", ""), head["source"], head.get("place", "")
        self._index: dict[Any, Row] = {}
        for row in rows if self.key else ():
            key = tuple(row[part] for part in self.key) if len(self.key) > 1 else row[self.key[0]]
            if key in self._index:
                raise ValueError(f"{file}: the key {key!r} stands in two rows")
            self._index[key] = row
        self._curves: dict[tuple[Any, ...], tuple[list[float], list[float | None]]] = {}
        self._sorted: dict[tuple[Any, ...], tuple[list[float], list[Row]]] = {}
        self._where: dict[tuple[tuple[str, Any], ...], tuple[Row, ...]] = {}
        self._grid: tuple[list[float], list[tuple[list[float], list[float | None]]]] | None = None
        self._parts: tuple[float, ...] = ()

    @property
    def breaks(self) -> tuple[float, ...]:
        """SI values of the numbered columns of a wide grid, smallest first; empty for other tables."""
        return self._parts

    def __iter__(self) -> Iterator[Row]:
        return iter(self.rows)

    def __len__(self) -> int:
        return len(self.rows)

    def row(self, **key: Any) -> Row:
        """The row with exactly this key. Raises NotInTable (a KeyError) naming table, key and nearest."""
        if len(key) == 1:
            ((name, wanted),) = key.items()
            if self.key == (name,):
                found = self._index.get(wanted)
                if found is not None:
                    return found
        elif len(key) == len(self.key):
            try:
                found = self._index.get(tuple([key[part] for part in self.key]))
            except KeyError:
                found = None
            if found is not None:
                return found
        if set(key) != set(self.key):
            keyed = ", ".join(self.key) or "nothing"
            raise TypeError(f"table {self.name} is keyed by {keyed}, not by {', '.join(key)}")
        self._missing(key)

    def get(self, **key: Any) -> Row | None:
        """The row with exactly this key, or None."""
        try:
            return self.row(**key)
        except KeyError:
            return None

    def where(self, **same: Any) -> tuple[Row, ...]:
        """All rows whose columns equal these values, in the order of the file (may be empty)."""
        asked = tuple(same.items())
        found = self._where.get(asked)
        if found is None:
            for column in same:
                self._known(column)
            found = tuple(row for row in self.rows if all(row[name] == wanted for name, wanted in asked))
            if found:  # misses come from registers and have no end
                self._where[asked] = found
        return found

    def at(self, x: float, column: str, **same: Any) -> float:
        """Linear interpolation of a column over the last key column; the key columns before it are in `same`.

        Raises ValueError outside the table's range and next to a blank cell: it never extrapolates.
        """
        asked = (column, *same.items())
        curve = self._curves.get(asked)
        if curve is None:
            curve = self._curves[asked] = self._curve(column, same)
        return self._on(curve, x, self.key[-1], column)

    def grid(self, x: float, y: float, column: str = "") -> float:
        """Bilinear interpolation: x over the first key, y over the second (the columns of a wide table).

        Raises ValueError outside the range and where a blank cell would be needed.
        """
        if self._grid is None:
            self._grid = self._make_grid(column or self.value)
        xs, curves = self._grid
        if not xs[0] <= x <= xs[-1]:
            self._outside(x, self.key[0], xs)
        high = min(bisect_right(xs, x), len(xs) - 1)
        low, name = high - 1, self.across or self.key[-1]
        share = (x - xs[low]) / (xs[high] - xs[low])
        if share == 0.0:
            return self._on(curves[low], y, name, self.value)
        if share == 1.0:
            return self._on(curves[high], y, name, self.value)
        a, b = self._on(curves[low], y, name, self.value), self._on(curves[high], y, name, self.value)
        return a + share * (b - a)

    def next_up(self, column: str, value: float, **same: Any) -> Row:
        """The row with the smallest `column` not below `value` (equal counts, to 1e-9 of the value).

        Raises ValueError when the value is above the largest row, naming it.
        """
        asked = (column, *same.items())
        ordered = self._sorted.get(asked)
        if ordered is None:
            self._known(column)
            rows = [row for row in self.where(**same) if row[column] is not None]
            rows.sort(key=lambda row: row[column])
            ordered = self._sorted[asked] = ([row[column] for row in rows], rows)
        values, rows = ordered
        place = bisect_left(values, value - 1e-9 * abs(value))
        if place == len(values) or value != value:  # a NaN is above every row
            largest = f"the largest is {values[-1]:.6g}" if values else "no row has one"
            raise ValueError(f"table {self.name}: no {column} of {value:.6g} or more ({largest})")
        return rows[place]

    def _known(self, column: str) -> None:
        if column not in self.columns:
            known = ", ".join(self.columns)
            raise AttributeError(f"table {self.name} has no column {column!r}; it has {known}")

    def _curve(self, column: str, same: Mapping[str, Any]) -> tuple[list[float], list[float | None]]:
        if self.lookup != "linear":
            raise TypeError(f"table {self.name} may not be interpolated; its rule is {self.lookup}")
        self._known(column)
        if set(same) != set(self.key[:-1]):
            raise TypeError(f"table {self.name}: give {', '.join(self.key[:-1]) or 'no fixed key'}")
        rows = sorted(self.where(**same), key=lambda row: row[self.key[-1]])
        if not rows:
            self._missing(same)
        return [row[self.key[-1]] for row in rows], [row[column] for row in rows]

    def _make_grid(self, column: str) -> tuple[list[float], list[tuple[list[float], list[float | None]]]]:
        if self.lookup != "linear":
            raise TypeError(f"table {self.name} may not be interpolated; its rule is {self.lookup}")
        curves: dict[float, tuple[list[float], list[float | None]]] = {}
        if self._parts:
            for row in self.rows:
                curves[row[self.key[0]]] = (list(self._parts), [row[str(part)] for part in self._names()])
        elif len(self.key) == 2:
            for row in sorted(self.rows, key=lambda row: (row[self.key[0]], row[self.key[1]])):
                ys, values = curves.setdefault(row[self.key[0]], ([], []))
                ys.append(row[self.key[1]])
                values.append(row[column])
        else:
            raise TypeError(f"table {self.name} is not a grid; it is keyed by {', '.join(self.key)}")
        xs = sorted(curves)
        return xs, [curves[x] for x in xs]

    def _names(self) -> tuple[str, ...]:
        return tuple(column for column in self.columns if _is_number(column))

    def _on(self, curve: tuple[list[float], list[float | None]], x: float, name: str, column: str) -> float:
        xs, values = curve
        if not xs[0] <= x <= xs[-1]:
            self._outside(x, name, xs)
        high = bisect_left(xs, x)
        b = values[high]
        if xs[high] == x and b is not None:
            return b
        a = values[high - 1] if high else None
        if a is None or b is None:
            raise ValueError(f"table {self.name}: {column} is blank in the book near {name} {x:.6g}")
        return a + (b - a) * (x - xs[high - 1]) / (xs[high] - xs[high - 1])

    def _outside(self, x: float, name: str, xs: list[float]) -> NoReturn:
        raise ValueError(f"table {self.name}: {name} {x:.6g} is outside {xs[0]:.6g} to {xs[-1]:.6g} (SI)")

    def _missing(self, key: Mapping[str, Any]) -> NoReturn:
        asked = ", ".join(f"{name} {wanted!r}" for name, wanted in key.items())
        raise NotInTable(f"table {self.name} has no row for {asked}; nearest: {self._nearest(key)}")

    def _nearest(self, key: Mapping[str, Any]) -> str:
        """Up to three keys of the table, those that agree in most parts (then closest in number) first."""

        def distance(row: Row) -> tuple[int, float]:
            differ, far = 0, 0.0
            for name, wanted in key.items():
                have = row.get(name)
                if have != wanted:
                    differ += 1
                    if isinstance(have, (int, float)) and isinstance(wanted, (int, float)):
                        far += abs(have - wanted)
                    elif str(have).lower() != str(wanted).lower():
                        far += 1e12
            return differ, far

        near = sorted(self.rows, key=distance)
        words = dict.fromkeys(", ".join(f"{name} {row.get(name)!r}" for name in key) for row in near)
        return "; ".join(list(words)[:3]) or "it is empty"


@cache
def table(name: str) -> Table:
    """The table of this topic, read once. Raises NotInTable if there is none."""
    path = _files().get(name)
    if path is None:
        raise NotInTable(f"no table {name!r}; there are {', '.join(sorted(_files()))}")
    return read(name, path)


def names() -> tuple[str, ...]:
    """The topics of all tables, in alphabetical order."""
    return tuple(sorted(_files()))


@cache
def _files() -> Mapping[str, Path]:
    found: dict[str, Path] = {}
    for path in sorted(DATA.glob("*__*.csv")):
        topic = path.name.partition("__")[0]
        if topic in found:
            raise ValueError(f"two files for the table {topic}: {found[topic].name} and {path.name}")
        found[topic] = path
    return found


@cache
def sources() -> Mapping[str, Source]:
    """Every document a table or formula may name, by id, from `data/sources.toml`."""
    text = (DATA / "sources.toml").read_text(encoding="utf-8")
    return {name: Source(id=name, **entry) for name, entry in tomllib.loads(text).items()}


def weakest(marks: Iterable[str]) -> str:
    """The weakest of several confidence marks, "" of none. Plain `memory` counts as `memory-md`.

    Order: seen, computed, memory-hi, memory-md, memory-lo, estimate, common practice. Raises ValueError
    for an unknown mark.
    """
    rank = -1
    for mark in marks:
        found = _RANK.get("memory-md" if mark == "memory" else mark)
        if found is None:
            raise ValueError(f"{mark!r} is not a confidence mark; they are {', '.join(MARKS)}")
        rank = max(rank, found)
    return MARKS[rank] if rank >= 0 else ""


def read(name: str, path: Path) -> Table:
    """Read one table file. Raises ValueError naming the file and line for anything it does not understand."""
    head: dict[str, str] = {}
    lines: list[str] = []
    for line in path.read_text(encoding="utf-8").splitlines():
        if not line.startswith("#"):
            lines.append(line)
            continue
        word, _, rest = line[1:].partition(":")
        if word.strip() not in _HEAD:
            raise ValueError(f"{path.name}: unknown head line {line!r}; known are {', '.join(_HEAD)}")
        head[word.strip()] = f"{head[word.strip()]} {rest.strip()}" if word.strip() in head else rest.strip()
    if head.get("lookup", "exact") not in LOOKUPS:
        raise ValueError(f"{path.name}: lookup is one of {', '.join(LOOKUPS)}, not {head['lookup']!r}")
    if "source" not in head:
        raise ValueError(f"{path.name}: the head has no source")
    headings, *body = [[cell.strip() for cell in cells] for cells in csv.reader(lines) if cells]
    split = [_heading(heading) for heading in headings]
    for number, cells in enumerate(body, start=2):
        if len(cells) != len(headings):
            raise ValueError(f"{path.name}: row {number} has {len(cells)} cells, the heading {len(headings)}")
    held = [
        _column([cells[place] for cells in body], unit, f"{path.name}: column {column}")
        for place, (column, unit) in enumerate(split)
    ]
    columns = tuple(column for column, _ in split)
    rows = tuple(_row(name, columns, values, head) for values in zip(*held, strict=True))
    made = Table(name, path.name, head, columns, rows)
    if made.across:
        made.across, unit = _heading(made.across)
        factor, offset = _to_si(unit, path.name)
        made._parts = tuple(float(column) * factor + offset for column in made._names())
    return made


def _row(name: str, columns: tuple[str, ...], values: tuple[Any, ...], head: Mapping[str, str]) -> Row:
    row = dict(zip(columns, values, strict=True))
    if row.get("provenance") not in MARKS:
        raise ValueError(f"table {name}: a row without a known provenance: {row}")
    row["source"] = row.get("source") or head["source"]
    row["place"] = row.get("place") or head.get("place", "")
    return Row(row, name)


def _heading(heading: str) -> tuple[str, str]:
    """ "area [in2]" -> ("area", "in2")."""
    column, _, unit = heading.partition("[")
    column, unit = column.strip(), unit.rstrip("] ").strip()
    return column, "text" if column in _TEXT or column.endswith("_provenance") else unit


def _column(cells: list[str], unit: str, where: str) -> list[Any]:
    """The cells of one column, typed: whole numbers, numbers, yes/no or text; with a unit SI floats."""
    if unit == "text":
        return [cell or None for cell in cells]
    if unit:
        scales = {own: _to_si(own, where) for own in {unit, *(_own_unit(cell) for cell in cells)} if own}
        try:
            return [_held(cell, unit, scales) if cell else None for cell in cells]
        except ValueError as error:
            raise ValueError(f"{where}: {error}") from None
    filled = [cell for cell in cells if cell]
    if filled and all(cell in ("yes", "no") for cell in filled):
        return [cell == "yes" if cell else None for cell in cells]
    if filled and all(_is_number(cell) for cell in filled):
        whole = all(cell.lstrip("+-").isdigit() for cell in filled)
        return [(int(cell) if whole else float(cell)) if cell else None for cell in cells]
    return [cell or None for cell in cells]


def _own_unit(cell: str) -> str:
    """The unit written in the cell itself ("0.1 bar" in a column of psi), or ""."""
    last = cell.rpartition(" ")[2]
    return last if last[:1].isalpha() else ""


def _held(cell: str, unit: str, scales: Mapping[str, tuple[float, float]]) -> float:
    own = _own_unit(cell)
    factor, offset = scales[own or unit]
    return float(_amount(cell.removesuffix(own).strip())) * factor + offset


def _amount(text: str) -> float | Fraction:
    """A plain number or a mixed fraction as books print inches: "4 1/8"."""
    return sum(map(Fraction, text.split())) if "/" in text else float(text)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return text.lower().lstrip("+-") not in ("nan", "inf", "infinity")


# What the reader of quantities does not know, all coherent with SI except the last, a form of API 527 alone.
_HERE = {"-": 1.0, "Pa": 1.0, "W/m2K": 1.0, "1/degC": 1.0, "ft3/d": UNITS["ft3/h"].factor / 24}


def _to_si(unit: str, where: str) -> tuple[float, float]:
    """Factor and offset of a printed unit; a gauge unit stays gauge."""
    if unit in _HERE:
        return _HERE[unit], 0.0
    known = UNITS.get(unit)
    if known is None or known.reference:
        raise ValueError(f"{where}: unit {unit!r} is not known; write a unit of quietseat.units.UNITS")
    return known.factor, known.offset
