"""A mend before it is kept: what the form says, and whether the register has a place for it and could read it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import HTTPException

from quietseat.basis import make
from quietseat.fields import fields
from quietseat.register import tags
from quietseat.register.columns import same_code
from quietseat.register.fields import UNIT_OF, example_unit, is_unit, plain_unit, shown
from quietseat.register.mends import ident, suffix_unit
from quietseat.register.parts import index
from quietseat.register.trial import refusal
from quietseat.store.plants import Plant
from quietseat.web.registers import Loaded, Registers

LONGEST = 500  # characters of a value or a reason
KINDS = ("cell", "split", "unit", "code", "column", "headings")
NOT_USED = "not used"
PASSED = {"heading": "headings", "unit": "a row of units", "total": "a total", "section": "the heading of a section", "note": "a note", "outside": "text beside the table"}
SMALL = 2000  # rows: in a larger sheet the rows that count are not told from the others before a code is kept
_AS_WRITTEN = frozenset(("location.tag", "location.old_tag", "location.remarks"))  # their words have no other meaning


def given(kind: str, sheet: str, row: int | None, field: str, value: str, code: str, why: str) -> Mapping[str, Any]:
    """A mend as it is kept. Raises 422 with what is wrong and how to mend it."""
    value, code, why, field, sheet = (" ".join(text.split()) for text in (value, code, why, field, sheet))
    if kind not in KINDS or not sheet:
        raise HTTPException(422, "A mend names its sheet and what it mends.")
    if max(map(len, (value, code, why))) > LONGEST:
        raise HTTPException(422, f"That is longer than {LONGEST} characters. Write it shorter.")
    if not value:
        raise HTTPException(422, "The mend says nothing. Write the value; a single dash (-) for a cell that should be blank.")
    if not why:
        raise HTTPException(422, "Write why: where the value comes from (nameplate, field, data sheet, who said so). It stays beside the mend.")
    if kind in ("cell", "split") and row is None:
        raise HTTPException(422, "A mend of a cell names its row.")
    known = ident(field) if kind in ("cell", "unit", "code") else None
    if kind in ("cell", "unit", "code") and known is None:
        raise HTTPException(422, f"{field!r} is no field of the field list. Choose one of the names offered.")
    field = shown(known) if known is not None and not suffix_unit(field) else field
    if kind == "split":
        field, value = "split", "|".join(piece.strip() for piece in value.replace(",", "|").split("|") if piece.strip())
        if "|" not in value:
            raise HTTPException(422, "A row is split into two tags or more. Write them with a bar between: PSV-101A|PSV-101B.")
    elif kind == "headings":
        field = "headings"
    elif kind == "column":
        letters = field.removeprefix("column.").upper()
        if value.lower() != NOT_USED and ident(value) is None:
            raise HTTPException(422, f"{value!r} is no field of the field list. Choose one of the names offered, or write: not used.")
        if value.lower() != NOT_USED and suffix_unit(value):
            raise HTTPException(422, f"{value!r} names a unit too. Name the field alone: {shown(ident(value) or '')}; then its unit.")
        field = f"column.{letters}"
    elif kind == "unit":
        assert known is not None
        if is_unit(plain_unit(value)) not in UNIT_OF.get(fields()[known].quantity, ()):
            raise HTTPException(422, f"{value!r} is no unit of {shown(known)}. Write for example {_example(known)}.")
        field = f"{shown(known)}.unit"
    elif kind == "code":
        assert known is not None
        if not same_code(code):
            raise HTTPException(422, "A code is the text as it stands in the cell.")
        if known in _AS_WRITTEN:
            raise HTTPException(422, f"A code of {shown(known)} has no meaning of its own. Mend the cell in its row.")
        field, value = f"{shown(known)}.code", f"{code}={value}"
    return {"kind": kind, "sheet": sheet, "row": row if kind in ("cell", "split") else None, "field": field, "value": value, "why": why}


def fits(kept: Registers, plant: Plant, given: Mapping[str, Any]) -> None:
    """Raises 422 where the register as it was read last has no place for a mend, or what it says could not be read there."""
    loaded = kept.last(plant)
    wrong = _no_place(loaded, given) if loaded is not None else "not read yet"
    if wrong and (loaded is None or given["sheet"] in loaded.cells.sheets()):  # the latest mends may have made the place
        loaded = kept.get(plant)
        wrong = _no_place(loaded, given)
    assert loaded is not None
    wrong = wrong or _unreadable(loaded, plant, given)
    if wrong:
        raise HTTPException(422, wrong)


def _unreadable(loaded: Loaded, plant: Plant, given: Mapping[str, Any]) -> str:
    """Why what a mend says cannot be read, and how to write it; "" where it can."""
    if given["kind"] == "split":
        return _no_tags(given["value"].split("|"))
    if given["kind"] not in ("cell", "code"):
        return ""
    field = given["field"].removesuffix(".code") if given["kind"] == "code" else given["field"]
    value = given["value"].rpartition("=")[2] if given["kind"] == "code" else given["value"]
    unit = next((one.unit for one in loaded.register.columns if one.sheet == given["sheet"] and one.field == field), "")
    unread = refusal(field, value, make(plant.basis), unit)
    if unread is None:
        return ""
    place = f"{given['sheet']}, row {given['row']}, {unread.field}" if given["kind"] == "cell" else f"{given['sheet']}, meaning of a code of {unread.field}"
    known = fields()[ident(field) or ""].choices if given["kind"] == "code" else ()
    mend = unread.mend or "write it as a cell of the register holds it"
    said = f" {unread.field} knows: {', '.join(known)}; write unknown where nobody knows." if known and not all(one in unread.rule for one in known) else ""
    return f"{place}: {unread.rule}. To mend it: {mend}.{said}"


def _no_tags(named: list[str]) -> str:
    """Why a row cannot be split into these tags; "" where it can."""
    for part in named:
        read = tags.parse(part)
        if read is None or read.tags != (part,):
            return f"{part!r} is no tag of one valve. Write each valve's own tag, a bar between: PSV-101A|PSV-101B."
    if len({tags.key(part) for part in named}) < len(named):
        return "Two of the tags are the same. Write each valve's own tag."
    return ""


def _no_place(loaded: Loaded, given: Mapping[str, Any]) -> str:
    """Why the register has no place for a mend, and how to name one; "" where it has."""
    cells, sheet, row = loaded.cells, given["sheet"], given["row"]
    if sheet not in cells.sheets():
        return f"The register has no sheet {sheet!r}. Its sheets are {', '.join(cells.sheets())}."
    if row is not None and not cells.counts(sheet, row):
        passed = next((kind for one in loaded.register.sheets if one.name == sheet for number, kind, _ in one.skipped if number == row), "")
        why = f"row {row}, but it counts as no valve's: it was taken for {PASSED.get(passed, passed)}" if passed else f"no row {row} that holds a valve"
        return f"Sheet {sheet} has {why}. Write the row number as the spreadsheet shows it."
    if given["kind"] == "headings" and (wrong := cells.no_headings(sheet, given["value"])):
        return f"Sheet {sheet}: {wrong}. Write the row as the spreadsheet shows it, or the first and the last: 5, or 5-6."
    if given["kind"] == "split" and not any(one.name == sheet and one.role == "main" for one in loaded.register.sheets):
        return f"Sheet {sheet} is no list of valves, and only a row of one can be split. Split the valve's own row."
    if given["kind"] == "column":
        letters = [one.letter for one in loaded.register.columns if one.sheet == sheet]
        if given["field"].removeprefix("column.") not in letters:
            return f"Sheet {sheet} has no column {given['field'].removeprefix('column.')} with cells or a heading. Its columns are {', '.join(letters)}."
    return _no_column(loaded, given) if given["kind"] in ("unit", "code") else ""


def _no_column(loaded: Loaded, given: Mapping[str, Any]) -> str:
    """Why no column of the sheet takes the unit or the code of a mend; "" where one does."""
    name = given["field"].rpartition(".")[0]
    columns = [one for one in loaded.register.columns if one.sheet == given["sheet"] and one.field and ident(one.field) == ident(name)]
    if not columns:
        return f"Sheet {given['sheet']}: no column is read as {name}. Name the column first (part Columns), then its units and codes."
    code = given["value"].rpartition("=")[0]
    if given["kind"] == "unit" or _holds(loaded, given["sheet"], {index(one.letter) for one in columns}, same_code(code)):
        return ""
    where = " or ".join(one.letter for one in columns)
    return f"{code!r} stands in no cell of {name} (sheet {given['sheet']}, column {where}). Write the text as it stands in the cell."


def _holds(loaded: Loaded, sheet: str, columns: set[int], code: str) -> bool:
    """Whether a text stands in one of some columns of a sheet; in a large list of valves headings count too."""

    def said(row: Any) -> bool:
        return any(place < len(row) and row[place] is not None and same_code(row[place].text) == code for place in columns)

    if not any(said(row) for row in loaded.cells.rows()):
        return False
    numbers = [one.row for one in loaded.register.rows if one.sheet == sheet]
    if not numbers or len(numbers) > SMALL:
        return True
    seen = (cell for number in numbers for cell in loaded.cells.row(sheet, number) or ())
    return any(index(cell.letter) in columns and same_code(cell.text) == code for cell in seen)


def _example(name: str) -> str:
    return example_unit(name) if fields()[name].quantity in UNIT_OF else "nothing: it has no unit"
