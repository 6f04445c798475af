"""Mends of a whole column of one sheet: which field it holds, the unit its numbers are in, what a code in it means.

Lines of the mends file without a row:
`column.H` = a field name or "not used"; `set_pressure.unit` = a unit; `kind.code` = "CV=conventional".
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from quietseat.register import fields
from quietseat.register import mends as mending
from quietseat.register.cells import Reader
from quietseat.register.columns import Mapped, same_code
from quietseat.register.mends import MendRead, Mends
from quietseat.register.parts import index
from quietseat.register.workbook import Cell

NOT_USED = "not used"
_UNREAD = frozenset(("location.tag", "location.old_tag", "location.remarks"))  # their words are kept as written


@dataclass(frozen=True, slots=True)
class Named:
    """What the mends say of one sheet before its columns are read. places: column -> the mend that names it."""

    columns: Mapping[int, str]
    places: Mapping[int, int]
    codes: Mapping[str, frozenset[str]]


NOTHING = Named({}, {}, {})


def of_sheet(mends: Mends, name: str, alone: bool) -> list[int]:
    """Places of the mends of whole columns of a sheet. alone: it is the only list of valves, so that its name may be left out."""
    return [
        place for place, mend in enumerate(mends.entries)
        if mend.kind in ("unit", "code", "column") and (mend.sheet == name or (not mend.sheet and alone))
    ]  # fmt: skip


def named(mends: Mends, places: Iterable[int], columns: set[int]) -> Named:
    """The columns of one sheet that mends name, and the texts they give a meaning. columns: those that have cells or a heading."""
    out: dict[int, str] = {}
    by: dict[int, int] = {}
    codes: dict[str, set[str]] = {}
    for place in places:
        mend = mends.entries[place]
        if mend.kind == "code" and mend.who and mend.when and (ident := mending.ident(mend.field.rpartition(".")[0])):
            codes.setdefault(ident, set()).add(same_code(mend.value.rpartition("=")[0]))
        if mend.kind != "column" or not mending.signed(mends, place):
            continue
        letters = mend.field.strip().rpartition(".")[2].upper()
        column = index(letters) if letters.isascii() and letters.isalpha() and len(letters) <= 3 else -1
        if column not in columns:
            mending.wrong(mends, mend, f"the sheet has no column {letters!r}", "write the letters above the column, for example column.H")
            continue
        unused = mend.value.strip().lower() == NOT_USED
        ident = "" if unused else mending.ident(mend.value)
        if ident is None:
            mending.unknown(mends, mend, mend.value)
        elif not unused and mending.suffix_unit(mend.value):
            mending.wrong(mends, mend, f"{mend.value!r} names a unit too", f"name the field alone, and its unit in a line {fields.shown(ident)}.unit")
        else:
            out[column], by[column] = ident, place
    return Named(out, by, {ident: frozenset(texts) for ident, texts in codes.items()})


def apply(mends: Mends, places: Iterable[int], columns: Sequence[Mapped], given: Named, before: Mapping[int, str], reader: Reader) -> None:
    """Put the mends of one table's columns on them. before: column -> the field it had without its mend."""
    for mapped in columns:
        place = given.places.get(mapped.column)
        if place is None:
            continue
        mend = mends.entries[place]
        mapped.named_by, mapped.hits[place] = place, 0
        mapped.note = f"mends line {mend.line}, {mending.by(mend)}"
        mends.entries[place] = replace(mend, applied=True, before=before.get(mapped.column, ""))
    for place in places:
        if mends.entries[place].kind == "unit":
            _unit(mends, place, columns)
    for place in places:
        if mends.entries[place].kind == "code":
            _code(mends, place, columns, reader)


def _unit(mends: Mends, place: int, columns: Sequence[Mapped]) -> None:
    mend = mends.entries[place]
    ident = mending.ident(mend.field.rpartition(".")[0])
    unit = fields.plain_unit(mend.value)
    allowed = fields.UNIT_OF.get(fields.fields()[ident].quantity, ()) if ident else ()
    if ident is None or not mend.who or not mend.when or fields.is_unit(unit) not in allowed:
        return
    for mapped in columns:
        if mapped.field == ident:
            before = mapped.unit or ("units in a column of their own" if mapped.unit_column is not None else "no unit")
            mapped.unit, mapped.unit_column, mapped.unitless = unit, None, False
            mapped.told, mapped.hits[place] = (f"unit {unit}: mends line {mend.line}, {mending.by(mend)}", place), 0
            mapped.note = "; ".join(part for part in (mapped.note, mapped.told[0]) if part)
            mends.entries[place] = replace(mend, before=mend.before or before)


def _code(mends: Mends, place: int, columns: Sequence[Mapped], reader: Reader) -> None:
    mend = mends.entries[place]
    ident = mending.ident(mend.field.rpartition(".")[0])
    text, _, meaning = (part.strip() for part in mend.value.rpartition("="))
    if ident is None or ident in _UNREAD or not mend.who or not mend.when or not text or not meaning:
        return
    for mapped in columns:
        if ident not in (mapped.field, mapped.second):
            continue
        taken = reader.take(Cell(meaning, "text"), fields.fields()[ident], mapped.unit, mapped.dates)
        if taken.state in ("refused", "several"):
            continue
        old = reader.take(Cell(text, "text"), fields.fields()[ident], mapped.unit, mapped.dates)
        rule = f"{text!r} means {meaning!r}: mends line {mend.line}, {mending.by(mend)}"
        mapped.codes[same_code(text)] = (replace(taken, how="mended", rule=rule), place)
        mapped.hits.setdefault(place, 0)
        mends.entries[place] = replace(mend, before=mend.before or (str(old.value) if old.good else old.state))


def settle(mends: Mends, columns: Iterable[tuple[str, Mapped]], sheets: Mapping[str, str], reader: Reader) -> None:
    """Count what each mend of a column changed; one that changed nothing becomes a problem. columns: with their sheet;
    sheets: name -> role, "" without headings.
    """
    hits: dict[int, int] = {}
    held: dict[str, set[str]] = {"": set()}
    for name, mapped in columns:
        for sheet in (name, ""):
            held.setdefault(sheet, set()).add(mapped.field)
        for place, count in mapped.hits.items():
            hits[place] = hits.get(place, 0) + count
    for place, mend in enumerate(mends.entries):
        if mend.kind not in ("unit", "code", "column"):
            continue
        count = hits.get(place, 0)
        if count or mend.applied:
            mends.entries[place] = replace(mend, applied=True, cells=count)
        elif not any(problem.field == mend.field and problem.value == mend.value and problem.sheet == (mend.sheet or None) for problem in mends.problems):
            _why_not(mends, mend, sheets, held.get(mend.sheet, set()), reader)
        if mend.applied and sheets.get(mend.sheet, "main") == "other":
            mending.wrong(mends, mend, "the sheet is not read, with this column named too", "name its column of tags as well: column.A, tag")


def _why_not(mends: Mends, mend: MendRead, sheets: Mapping[str, str], held: set[str], reader: Reader) -> None:
    """The problem of a mend of a column that came to nothing."""
    mains = sorted(name for name, role in sheets.items() if role == "main")
    stem = mend.field.rpartition(".")[0]
    ident = mending.ident(stem)
    text, sign, meaning = (part.strip() for part in mend.value.rpartition("="))
    if not mend.who or not mend.when:
        rule, how = "a mend without who and when is not applied", "write who decided it and when"
    elif any(mending.aim_of(other) == mending.aim_of(mend) and other.line > mend.line for other in mends.entries):
        rule, how = "a later line mends the same: the last one counts", "delete this line"
    elif mend.sheet and mend.sheet not in sheets:
        rule, how = f"mend of an unknown sheet {mend.sheet!r}", f"the sheets are {', '.join(sorted(sheets))}"
    elif not mend.sheet and len(mains) > 1:
        rule, how = "mend of a column without its sheet", f"the lists of valves are {', '.join(mains)}: name one"
    elif mend.sheet and not sheets[mend.sheet]:
        rule, how = "the sheet has no row of headings", "give its columns headings"
    elif mend.kind == "column":
        rule, how = "the column was not found", "write the letters above the column, for example column.H"
    elif ident is None:
        mending.unknown(mends, mend, stem)
        return
    elif mend.kind == "unit" and fields.is_unit(fields.plain_unit(mend.value)) not in fields.UNIT_OF.get(fields.fields()[ident].quantity, ()):
        plain = fields.fields()[ident].quantity not in fields.UNIT_OF
        rule = f"{fields.shown(ident)} has no unit" if plain else f"{mend.value!r} is no unit of {fields.shown(ident)}"
        how = "delete the line" if plain else f"write for example {fields.example_unit(ident)}"
    elif mend.kind == "code" and ident in _UNREAD:
        rule, how = f"a code of {fields.shown(ident)} has no meaning of its own", "mend the cell in its row"
    elif mend.kind == "code" and not (sign and text and meaning):
        rule, how = "not the meaning of a code", "write the text of the cell, an equals sign and what it means: CV=conventional"
    elif ident not in held:
        rule, how = f"no column is read as {fields.shown(ident)}", f"name the column in a line of its own: column.H, {fields.shown(ident)}"
    elif mend.kind == "code":
        taken = reader.take(Cell(meaning, "text"), fields.fields()[ident])
        if taken.state == "refused":
            rule, how = f"mend not applied: {taken.rule}", taken.mend
        else:
            rule, how = f"{text!r} stands in no cell of {fields.shown(ident)}", "write the text as it stands in the cell"
    else:
        rule, how = "the unit changes no cell: each names its own, or none needs one", "mend the cells one by one, or delete the line"
    mending.wrong(mends, mend, rule, how)
