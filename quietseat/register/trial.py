"""One value tried as a cell of a field, before it is kept: what a person types is read by the reader of the registers."""

from __future__ import annotations

from quietseat.basis import Basis
from quietseat.register import fields, tags
from quietseat.register.cells import Reader
from quietseat.register.mends import ident, suffix_unit
from quietseat.register.workbook import Cell
from quietseat.status import Problem


def refusal(name: str, value: str, basis: Basis, unit: str = "") -> Problem | None:
    """Why a mend of a field cannot be read, with how to write it; None where it can.

    name: the field as a mends file names it, its unit behind it if need be; unit: of the column it belongs to.
    """
    known = ident(name)
    if known is None:
        return Problem(f"{name!r} is no field of the field list", "choose one of the names offered", field=name, value=value)
    taken = Reader(basis).take(Cell(value, "text"), fields.fields()[known], suffix_unit(name) or unit)
    if taken.state in ("refused", "several"):
        return Problem(taken.rule, taken.mend or None, field=fields.shown(known), value=value)
    if known == "location.tag" and taken.good and tags.parse(value) is None:
        return Problem(f"{value!r} is no tag", "write the tag of one valve, or of an A/B pair", field="tag", value=value)
    return None


def tells(name: str, value: str, basis: Basis, unit: str = "") -> bool:
    """Whether it is a value: neither blank nor a word that says nothing is known."""
    known = ident(name)
    return known is not None and Reader(basis).take(Cell(value, "text"), fields.fields()[known], suffix_unit(name) or unit).good
