"""The mends file: sheet, row, field, value, who, when, why. Applied on top of the register, always listed.

A line with a row mends one cell, splits the row (field "split") or keeps an answer no field holds (field "answer"); a line without one
says where the headings of a sheet stand (field "headings") or mends a whole column of it (see column_mends). What a line mends is told
by its row and field alone.
"""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from quietseat.celltext import unquiet
from quietseat.register import fields, tags
from quietseat.register.cells import Reader
from quietseat.register.columns import same_code
from quietseat.register.taken import BLANK, Taken
from quietseat.register.workbook import Cell, decode, separator
from quietseat.status import InputUnusable, Problem

_COLUMNS = ("sheet", "row", "field", "value", "who", "when", "why")


@dataclass(frozen=True, slots=True)
class MendRead:
    """One line of the mends file and what became of it.

    kind: cell, split, answer, headings, unit, code or column. before: the cell, unit, meaning, field or rows of headings as it was.
    cells: how many it changed.
    """

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
    kind: str = "cell"
    cells: int = 0


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
            cells = {name: (unquiet(row[heads.index(name)].strip()).strip() if heads.index(name) < len(row) else "") for name in _COLUMNS}
            number = int(cells["row"]) if cells["row"].isdecimal() else None
            out.entries.append(
                MendRead(
                    line, cells["sheet"], number, cells["field"], cells["value"], cells["who"], cells["when"], cells["why"],
                    kind=kind_of(cells["row"], cells["field"]),
                )
            )  # fmt: skip
    return out


def kind_of(row: str, name: str) -> str:
    """What a line mends: cell, split or answer (of a row), headings, unit, code or column (of a whole sheet)."""
    plain = name.strip().lower()
    if row.strip():
        return plain if plain in ("split", "answer") else "cell"
    if plain == "headings":
        return plain
    stem, dot, end = plain.rpartition(".")
    if not dot or plain in fields.by_name():
        return "cell"
    return "column" if stem == "column" else end if end in ("unit", "code") else "cell"


def aim(kind: str, sheet: str, row: int | None, name: str, value: str) -> tuple[object, ...]:
    """What a mend is about: of two with the same aim only one can count."""
    plain = name.strip().lower()
    stem = plain.rpartition(".")[0]
    if kind == "cell":
        return kind, sheet, row, ident(name) or plain
    if kind == "answer":
        return kind, sheet, row, value
    if kind == "code":
        return kind, sheet, row, ident(stem) or stem, same_code(value.rpartition("=")[0])
    return kind, sheet, row, (ident(stem) or stem) if kind == "unit" else plain


def aim_of(mend: MendRead) -> tuple[object, ...]:
    """What a line of the mends file is about."""
    return aim(mend.kind, mend.sheet, mend.row, mend.field, mend.value)


def split(mends: Mends, places: list[int], text: str, main: bool) -> Taken | None:
    """The tags a mend splits one row into, as the tag cell with a tuple of tags; None where no mend does. text: the tag cell."""
    out = None
    for place in places:
        mend = mends.entries[place]
        if mend.kind != "split" or not signed(mends, place):
            continue
        named = tuple(part.strip() for part in mend.value.split("|"))
        read = [tags.parse(part) for part in named]
        if not main:
            wrong(mends, mend, "only a row of a list of valves can be split", "split the valve's own row")
        elif len(named) < 2 or any(one is None or one.tags != (part,) for one, part in zip(read, named, strict=True)):
            wrong(mends, mend, "a row is split into two tags or more", "write them with a bar between: PSV-101A|PSV-101B")
        elif len({tags.key(part) for part in named}) < len(named):
            wrong(mends, mend, "two of the tags are the same", "write each valve's own tag")
        else:
            if out is not None:
                wrong(mends, mend, "a second split of the same row: the last one counts", "delete the other line")
            out = Taken("value", text or mend.value, named, "mended", f"split {by(mend)}", source=f"mends line {mend.line}")
            mends.entries[place] = replace(mend, applied=True, before=text, cells=1)
    return out


def answers(mends: Mends, places: list[int], main: bool) -> list[str]:
    """The answers about one row that no field holds, as remarks of its valve."""
    out = []
    for place in places:
        mend = mends.entries[place]
        if mend.kind != "answer" or not signed(mends, place):
            continue
        if not main:
            wrong(mends, mend, "only a row of a list of valves keeps an answer", "give the valve's own row")
            continue
        out.append(f"{mend.value} ({by(mend)})")
        mends.entries[place] = replace(mend, applied=True, before="", cells=1)
    return out


def by(mend: MendRead) -> str:
    """By whom, when and why a mend was made."""
    return f"by {mend.who} on {mend.when}" + (f": {mend.why}" if mend.why else "")


def signed(mends: Mends, place: int) -> bool:
    """Whether a mend says who and when; a problem where it does not."""
    mend = mends.entries[place]
    if mend.who and mend.when:
        return True
    wrong(mends, mend, "a mend without who and when is not applied", "write who decided it and when")
    return False


def unknown(mends: Mends, mend: MendRead, name: str) -> None:
    """The problem of a name that is no field."""
    near = difflib.get_close_matches(name, fields.by_name(), n=1)
    wrong(mends, mend, f"mend of an unknown field {name!r}", f"the nearest field is {near[0]!r}" if near else "use a field name of the field list")


def values(mends: Mends, places: list[int], units: Mapping[str, str], reader: Reader) -> dict[str, Taken]:
    """The mended values of one row by field id; every mend that cannot be used becomes a problem."""
    out: dict[str, Taken] = {}
    for place in places:
        mend = mends.entries[place]
        if mend.kind != "cell":
            continue
        named = ident(mend.field)
        if named is None:
            unknown(mends, mend, mend.field)
            continue
        if not signed(mends, place):
            continue
        field = fields.fields()[named]
        unit = suffix_unit(mend.field) or units.get(named, "")
        taken = reader.take(Cell(mend.value, "text"), field, unit) if mend.value else BLANK
        if taken.state in ("refused", "several"):
            wrong(mends, mend, f"mend not applied: {taken.rule}", taken.mend)
            continue
        if named in out:
            wrong(mends, mend, f"a second mend of {fields.shown(named)} in the same row: the last one counts", "delete the other line")
        out[named] = replace(taken, how="mended", rule=f"mended {by(mend)}", unit="", source=f"mends line {mend.line}")
        mends.entries[place] = replace(mend, applied=True, cells=1)
    return out


def ident(name: str) -> str | None:
    """The full field name of what a mends line calls its field."""
    known = fields.by_name()
    plain = name.strip().lower().replace(" ", "_")
    if plain in known:
        return known[plain]
    found = fields.naming(name)
    return found.ids[0] if found.level == 0 and len(found.ids) == 1 else None


def suffix_unit(name: str) -> str:
    """The unit behind a field name: barg of set_pressure_barg."""
    return fields.naming(name).unit if name.strip().lower() not in fields.by_name() else ""


def wrong(mends: Mends, mend: MendRead, rule: str, mend_text: str) -> None:
    """A mend that is not applied, or not alone, becomes a problem."""
    mends.problems.append(
        Problem(rule, mend_text or None, mends.file, mend.sheet or None, mend.row, None, mend.field or None, mend.value)
    )


def unexplained(mends: Mends) -> None:
    """A mend that does not say where its value comes from is applied, and told."""
    for mend in mends.entries:
        if mend.applied and not mend.why:
            wrong(mends, mend, "the mend was applied, but does not say why", "write who told you, or where it stands")


def leftover(mends: Mends, sheets: set[str]) -> None:
    """Mends whose row does not exist or does not count are problems."""
    told = {(p.sheet, p.row, p.field) for p in mends.problems}
    for mend in mends.entries:
        if mend.applied or mend.kind not in ("cell", "split", "answer") or (mend.sheet or None, mend.row, mend.field or None) in told:
            continue
        if mend.sheet and mend.sheet not in sheets:
            wrong(mends, mend, f"mend of an unknown sheet {mend.sheet!r}", f"the sheets are {', '.join(sorted(sheets))}")
        else:
            row = f"row {mend.row}, which is no row of the register" if mend.row is not None else "no row: its number cannot be read"
            wrong(mends, mend, f"mend of {row}", "write the sheet's name and the row number as the spreadsheet shows it")  # fmt: skip
