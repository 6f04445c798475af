"""The mends file: sheet, row, field, value, who, when, why. Applied on top of the register, always listed."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from quietseat.register import fields
from quietseat.register.cells import Reader
from quietseat.register.taken import BLANK, Taken
from quietseat.register.workbook import Cell, decode, separator
from quietseat.status import InputUnusable, Problem

_COLUMNS = ("sheet", "row", "field", "value", "who", "when", "why")


@dataclass(frozen=True, slots=True)
class MendRead:
    """One line of the mends file and what became of it. before: the cell as it was."""

    line: int
    sheet: str
    row: int | None
    field: str
    value: str
    who: str
    when: str
    why: str
    before: str = ""
    applied: bool = False


@dataclass(slots=True)
class Mends:
    """All mends, by sheet and row."""

    file: str
    entries: list[MendRead]
    problems: list[Problem]

    def of(self, sheet: str, row: int, sheets: int) -> list[int]:
        """Places of the mends of one row; the sheet may be left out where there is only one."""
        return [
            place for place, mend in enumerate(self.entries)
            if mend.row == row and (mend.sheet == sheet or (not mend.sheet and sheets == 1))
        ]  # fmt: skip


def load(path: str | Path | None) -> Mends:
    """Read a mends file. Raises InputUnusable if it is no table with the seven headings."""
    if path is None:
        return Mends("", [], [])
    file = Path(path)
    try:
        data = file.read_bytes()
    except OSError as error:
        raise InputUnusable(f"{file.name}: the mends file cannot be read ({error.strerror or error}).") from error
    text, _ = decode(file.name, data)
    rows = list(csv.reader(io.StringIO(text), delimiter=separator(text.splitlines()[:50])))
    heads = [cell.strip().lower() for cell in rows[0]] if rows else []
    absent = [name for name in _COLUMNS if name not in heads]
    if absent:
        raise InputUnusable(f"{file.name}: the mends file lacks the heading {', '.join(absent)}; it needs {', '.join(_COLUMNS)}.")
    out = Mends(file.name, [], [])
    for line, row in enumerate(rows[1:], start=2):
        if any(cell.strip() for cell in row):
            cells = {name: (row[heads.index(name)].strip() if heads.index(name) < len(row) else "") for name in _COLUMNS}
            number = int(cells["row"]) if cells["row"].isdecimal() else None
            out.entries.append(
                MendRead(line, cells["sheet"], number, cells["field"], cells["value"], cells["who"], cells["when"], cells["why"])
            )
    return out


def values(mends: Mends, places: list[int], units: Mapping[str, str], reader: Reader) -> dict[str, Taken]:
    """The mended values of one row by field id; every mend that cannot be used becomes a problem."""
    out: dict[str, Taken] = {}
    for place in places:
        mend = mends.entries[place]
        named = ident(mend.field)
        if named is None:
            near = difflib.get_close_matches(mend.field, fields.by_name(), n=1)
            _wrong(mends, mend, f"mend of an unknown field {mend.field!r}", f"the nearest field is {near[0]!r}" if near
                   else "use a field name of the field list")  # fmt: skip
            continue
        if not mend.who or not mend.when:
            _wrong(mends, mend, "a mend without who and when is not applied", "write who decided it and when")
            continue
        field = fields.fields()[named]
        unit = _suffix_unit(mend.field) or units.get(named, "")
        taken = reader.take(Cell(mend.value, "text"), field, unit) if mend.value else BLANK
        if taken.state in ("refused", "several"):
            _wrong(mends, mend, f"mend not applied: {taken.rule}", taken.mend)
            continue
        if named in out:
            _wrong(mends, mend, f"a second mend of {fields.shown(named)} in the same row: the last one counts", "delete the other line")
        why = f"mended by {mend.who} on {mend.when}" + (f": {mend.why}" if mend.why else "")
        out[named] = replace(taken, how="mended", rule=why, unit=f"mends line {mend.line}")
        mends.entries[place] = replace(mend, applied=True)
    return out


def ident(name: str) -> str | None:
    """The full field name of what a mends line calls its field."""
    known = fields.by_name()
    plain = name.strip().lower().replace(" ", "_")
    if plain in known:
        return known[plain]
    found = fields.naming(name)
    return found.ids[0] if found.level == 0 and len(found.ids) == 1 else None


def _suffix_unit(name: str) -> str:
    return fields.naming(name).unit if name.strip().lower() not in fields.by_name() else ""


def _wrong(mends: Mends, mend: MendRead, rule: str, mend_text: str) -> None:
    mends.problems.append(
        Problem(rule, mend_text or None, mends.file, mend.sheet or None, mend.row, None, mend.field or None, mend.value)
    )


def leftover(mends: Mends, sheets: set[str]) -> None:
    """Mends whose row does not exist or does not count are problems."""
    told = {(p.sheet, p.row, p.field) for p in mends.problems}
    for mend in mends.entries:
        if mend.applied or (mend.sheet or None, mend.row, mend.field or None) in told:
            continue
        if mend.sheet and mend.sheet not in sheets:
            _wrong(mends, mend, f"mend of an unknown sheet {mend.sheet!r}", f"the sheets are {', '.join(sorted(sheets))}")
        else:
            row = f"row {mend.row}, which is no row of the register" if mend.row is not None else "no row: its number cannot be read"
            _wrong(mends, mend, f"mend of {row}", "write the sheet's name and the row number as the spreadsheet shows it")  # fmt: skip
