"""What is told of whole sheets and columns: hidden ones, second columns, coloured tags, headings that do not fit their cells."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from quietseat.register import fields
from quietseat.register.columns import Mapped, sample
from quietseat.register.headers import Head
from quietseat.register.workbook import Grid
from quietseat.status import Problem


def of_columns(file: str, grid: Grid, head: Head, role: str, columns: Sequence[Mapped], part: bool) -> list[Problem]:
    """Problems of whole columns and sheets: hidden ones, second columns, headings that do not fit their cells. part: a further table."""
    out: list[Problem] = []

    def tell(rule: str, mend: str, mapped: Mapped | None = None, ident: str = "") -> None:
        out.append(Problem(rule, mend, file, grid.name, None, mapped.letter if mapped else None,
                                     fields.shown(ident) if ident else None, mapped.heading if mapped else None))  # fmt: skip

    if grid.hidden:
        tell("the sheet is hidden; it was read all the same", "show it or remove it")
    hidden = sorted(row for row in grid.hidden_rows if row in grid.rows and row >= head.after)
    if hidden:
        were = "1 hidden row was" if len(hidden) == 1 else f"{len(hidden)} hidden rows were"
        tell(f"{were} read all the same: {some(hidden)}", "show them, or delete them if they are void")
    shown = [m for m in columns if m.column in grid.hidden_columns]
    if shown:
        tell(f"hidden columns were read all the same: {', '.join(m.letter for m in shown)}", "show them or delete them")
    _colours(grid, head, columns, tell)
    if part:
        rows_ = sum(number >= head.after for number in grid.rows)
        fate = f"its {rows_} rows were not read: it names no tag column" if role == "other" else "it was read by these"
        tell(f"a further table begins in row {head.rows[0]} with headings of its own; {fate}", "give it a sheet of its own")
        if role == "other":
            return out
    if role == "other":
        tell("the sheet names no tag column and no valves; it was not read", "give it a tag column if it belongs to the register")
        return out
    unknown = [f"{m.letter} {m.heading!r}" for m in columns if m.how == "not mapped" and m.heading and not m.note and sample(grid, head, m.column)]
    if unknown:
        said = "column not known: its cells are" if len(unknown) == 1 else f"{len(unknown)} columns not known: their cells are"
        tell(f"{said} not used: {', '.join(unknown)}", "name the field of a column that matters")
    for mapped in columns:
        if mapped.second:
            tell(f"second column for {fields.shown(mapped.second)}: {mapped.note}; it only fills blanks and is compared",
                 "keep one column, or rename the other", mapped, mapped.second)  # fmt: skip
        elif mapped.unitless:
            tell("neither the heading nor a cell of the column names a unit",
                 f"write the unit in the heading, for example '{mapped.heading} ({fields.example_unit(mapped.field)})'", mapped, mapped.field)  # fmt: skip
        elif mapped.how == "unit":
            tell("a column of units that fits no column of numbers", "put it to the right of its numbers", mapped)
        elif mapped.how in ("near spelling", "content") or "do not" in mapped.note or "hardly" in mapped.note:
            tell(f"column read by {mapped.how}: {mapped.note}" if mapped.field else mapped.note,
                 "give the column a plain heading", mapped, mapped.field)  # fmt: skip
    return out


def _colours(grid: Grid, head: Head, columns: Sequence[Mapped], tell: Callable[..., None]) -> None:
    """Colours that mark some of the tags may be a status; they are named, never read."""
    tag = next((m for m in columns if m.field == "location.tag"), None)
    if tag is None:
        return
    filled: dict[str, list[int]] = {}
    for (row, column), colour in grid.colours.items():
        if column == tag.column and row >= head.after:
            filled.setdefault(colour, []).append(row)
    total = sum(number >= head.after for number in grid.rows)
    marks = "; ".join(f"{colour} in rows {some(numbers)}" for colour, numbers in filled.items() if len(numbers) < 0.4 * total)
    if marks:
        tell(f"the tags of some rows are coloured ({marks}); what a colour means is not read", "write the status in a column", tag)


def some(numbers: Sequence[int]) -> str:
    """The first row numbers of many."""
    text = ", ".join(map(str, numbers[:8]))
    return text if len(numbers) <= 8 else f"{text}, ..."
