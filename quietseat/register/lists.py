"""Is a sheet beside the register a list of valves itself, and which of its columns may hold the set pressure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from quietseat.register import fields, tags
from quietseat.register.cells import Reader
from quietseat.register.columns import Mapped, acceptance, sample
from quietseat.register.headers import Head
from quietseat.register.workbook import Grid

SHAPE = frozenset(("valve.kind", "valve.designation", "valve.inlet_size", "valve.orifice", "valve.outlet_size"))
LISTED = SHAPE | {"valve.set_pressure"}  # the columns of a list of valves
_PRESSURES = ("pressure", "pressure_difference")


def tags_of(grid: Grid, head: Head, columns: Iterable[Mapped]) -> list[str]:
    """The tags of a table, one for each valve each row names."""
    column = next((mapped.column for mapped in columns if mapped.field == "location.tag"), None)
    out: list[str] = []
    for number, row in grid.rows.items():
        cell = row[column] if column is not None and number >= head.after and column < len(row) else None
        found = tags.parse(cell.text) if cell is not None else None
        out += found.tags if found is not None else ()
    return out


def keys(names: Iterable[str]) -> set[str]:
    """The tags as they are compared: with and without their plant prefix."""
    return {key for name in names for key in (tags.key(name), tags.short_key(name))}


def is_list(grid: Grid, head: Head, columns: Sequence[Mapped], known: set[str]) -> bool:
    """Whether a table states kind or size of valves, names each once, and most of them are new. known: keys of the register's tags."""
    if not SHAPE & {mapped.field for mapped in columns}:
        return False
    named = tags_of(grid, head, columns)
    new = [name for name in named if not {tags.key(name), tags.short_key(name)} & known]
    once = len({tags.key(name) for name in named}) >= 0.8 * len(named)
    return len(new) >= 2 and 2 * len(new) > len(named) and once


def set_columns(grid: Grid, head: Head, columns: Sequence[Mapped], reader: Reader) -> str:
    """The columns without a field that hold pressures: "D 'Ansprechdruck' [barg] may be it", "" where there is none."""
    found = []
    for mapped in columns:
        if mapped.field or mapped.second or mapped.how != "not mapped":
            continue
        unit = fields.plain_unit(mapped.unit) if mapped.unit else ""
        if unit and fields.is_unit(unit) not in _PRESSURES:
            continue
        cells = sample(grid, head, mapped.column)
        if cells and acceptance(cells, "valve.set_pressure", unit, reader) >= 0.5:
            shown = f" [{unit}]" if unit else ""
            found.append(f"{mapped.letter} {mapped.heading!r}{shown}" if mapped.heading else f"{mapped.letter}{shown}")
    return f"{' or '.join(found[:3])} may be it" if found else ""


def mend(columns: str) -> str:
    """What is asked of a sheet without a set pressure column. columns: of set_columns."""
    return f"name its set pressure column: {columns}" if columns else "name its set pressure column"


__all__ = ["LISTED", "SHAPE", "is_list", "keys", "mend", "set_columns", "tags_of"]
