"""Which column holds which field: by the words of its heading, checked against what stands in its cells.

No two columns share a field without saying which one won; a column that is not understood is named, not dropped.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Collection
from dataclasses import dataclass, replace

from quietseat.register import fields, headers, shares, sizes, tags
from quietseat.register.cells import Reader
from quietseat.register.dates import date_proof
from quietseat.register.headers import Head
from quietseat.register.parts import letter
from quietseat.register.taken import Taken
from quietseat.register.workbook import Cell, Grid

SAMPLE = 80  # rows looked at
_ONLY_HISTORY = frozenset(("history.date", "history.event", "history.value", "history.note"))
_MANY = frozenset(("location.remarks", "location.old_tag", "history.condition"))  # several columns are all kept
_JUDGED = ("choice", "cause", "block_valve", "letter", "yes_no", "date", "designation", "pipe_size", "pressure_class")
_UNIT_WORDS = frozenset(("unit", "units", "uom"))


@dataclass(slots=True)
class Mapped:
    """One column of a sheet. field: id or ""; second: ids whose first column is another one."""

    column: int
    heading: str
    field: str = ""
    unit: str = ""
    how: str = "not mapped"
    note: str = ""
    level: int = 9
    dates: str = ""
    unit_column: int | None = None  # a column to the right that holds the unit of each cell
    second: str = ""  # the field, where another column won it
    offers: tuple[str, ...] = ()
    unitless: bool = False  # numbers, and nobody says in which unit
    kinds: tuple[str, ...] = ()  # of a column of units: what they measure
    named_by: int = -1  # place of the mend that named the column
    told: tuple[str, int] = ("", 0)  # a mended unit: its rule and the place of its mend
    codes: dict[str, tuple[Taken, int]] = dataclasses.field(default_factory=dict)  # mended: text of a cell -> what it means, place of its mend
    hits: dict[int, int] = dataclasses.field(default_factory=dict)  # place of a mend -> cells it changed

    @property
    def letter(self) -> str:
        """The column's letters."""
        return letter(self.column)


def sample(grid: Grid, head: Head, column: int) -> list[Cell]:
    """The first cells of a column that are not blank."""
    out: list[Cell] = []
    for number in sorted(grid.rows):
        row = grid.rows[number]
        if number >= head.after and column < len(row) and row[column] is not None:
            out.append(row[column])  # type: ignore[arg-type]
            if len(out) >= SAMPLE:
                break
    return out


def acceptance(cells: list[Cell], ident: str, unit: str, reader: Reader, codes: Collection[str] = ()) -> float:
    """The share of the cells that the field can read; 1 for a column without cells. codes: texts a mend gives a meaning."""
    if not cells:
        return 1.0
    known = fields.fields()[ident]
    good = sum(same_code(cell.text) in codes or reader.take(cell, known, unit).state != "refused" for cell in cells)
    return good / len(cells)


def map_columns(grid: Grid, head: Head, role: str, reader: Reader) -> list[Mapped]:
    """Every column with a heading or with cells, mapped or not."""
    order = sorted(grid.rows)
    data = [grid.rows[number] for number in order if number >= head.after][:SAMPLE]
    width = max([len(row) for row in data] + [column + 1 for column in head.headings], default=0)
    side = headers.side_column(head, grid) if role == "lines" else None
    out = []
    for column in range(width):
        heading, bottom = head.headings.get(column, ("", ""))
        cells = sample(grid, head, column)
        if not heading and not cells:
            continue
        mapped = Mapped(column, heading)
        if column in head.named:
            _as_named(mapped, head, bottom)
        elif column == side:
            mapped.how = "side of each line"
        elif heading and _UNIT_WORDS & set(fields.normal(heading).split()) and _all_units(cells):
            mapped.how, mapped.kinds = "unit", tuple({kind for cell in cells if (kind := fields.is_unit(cell.text))})
        elif heading:
            _name(mapped, bottom, cells, role, reader, head, side is not None)
        out.append(mapped)
    _units_beside(out)
    _settle(out, grid, head, reader)
    _by_content(out, grid, head, role)
    for mapped in out:
        if mapped.field and not mapped.unit and mapped.unit_column is None:
            known, cells = fields.fields()[mapped.field], sample(grid, head, mapped.column)
            mapped.unitless = len(cells) >= 2 and all("has no unit" in reader.take(cell, known).rule for cell in cells)
        if mapped.field and fields.fields()[mapped.field].quantity == "date":
            _order_of_dates(mapped, grid, head)
    return out


def _as_named(mapped: Mapped, head: Head, bottom: str) -> None:
    """A column that a mend has named: it wins over every other column of the field."""
    mapped.field, mapped.how, mapped.level = head.named[mapped.column], "mended", -1
    if mapped.field:
        mapped.unit = _unit_for(mapped.field, fields.naming(mapped.heading, bottom).unit or head.units.get(mapped.column, ""))


def same_code(text: str) -> str:
    """A cell's text as codes are compared: small letters, single blanks."""
    return " ".join(text.lower().split())


def mended(mapped: Mapped, cell: Cell, taken: Taken, known: fields.Field, reader: Reader) -> Taken:
    """The cell under the mends of its column: what its code means, the unit its number is in."""
    if mapped.named_by >= 0:
        mapped.hits[mapped.named_by] += 1
    said = mapped.codes.get(same_code(cell.text))
    if said is not None:
        mapped.hits[said[1]] += 1
        return replace(said[0], text=cell.text)
    rule, place = mapped.told
    if not rule or taken.state not in ("value", "several"):
        return taken
    bare = reader.take(cell, known, "", mapped.dates)
    if (bare.state, bare.value) == (taken.state, taken.value):
        return taken  # the cell names its own unit, or needs none
    mapped.hits[place] += 1
    own = "; ".join(part for part in taken.rule.split("; ") if part and not part.startswith("unit of the heading"))
    return replace(taken, how="mended", rule=f"{rule}; {own}".rstrip("; "))


def _all_units(cells: list[Cell]) -> bool:
    # plant units are often single letters, and some of those are units of measure too
    return any(len(cell.text) > 1 for cell in cells) and all(fields.is_unit(cell.text) for cell in cells)


def _name(
    mapped: Mapped, bottom: str, cells: list[Cell], role: str, reader: Reader, head: Head, sided: bool
) -> None:
    """Give a column its best field; the others it might hold stay in `offers`."""
    heading = mapped.heading
    naming = fields.naming(f"inlet {heading}" if sided else heading, f"inlet {bottom}" if sided else bottom, True)
    ends = [i for i in naming.ids if i.startswith("inlet.")]
    if sided and not ends:
        naming = fields.naming(heading, bottom, True)
    ids = ends if sided and ends else [i for i in naming.ids if role == "history" or i not in _ONLY_HISTORY]
    unit = naming.unit or head.units.get(mapped.column, "")
    ids = _prefer(ids, role, unit)
    if not ids:
        mapped.unit = unit
        return
    shares = {i: acceptance(cells, i, _unit_for(i, unit), reader, head.codes.get(i, ())) for i in ids}
    solid = [i for i in ids if fields.fields()[i].quantity != "text" and shares[i] >= 0.8 and cells]
    best = solid[0] if solid else max(ids, key=lambda i: shares[i])
    share, level, how = shares[best], naming.level, naming.how
    plain = best == "valve.designation" and share < 0.5
    if plain and acceptance(cells, "valve.inlet_size", _unit_for("valve.inlet_size", unit), reader) >= 0.8:
        best, how, share = "valve.inlet_size", "content", 1.0
    judged = fields.fields()[best].quantity in _JUDGED
    if len(cells) >= 3 and ((level >= 2 and share < 0.5 and (judged or level >= 4)) or _all_dates(best, cells)):
        mapped.note = f"the heading looks like {fields.shown(best)}, the cells do not"
        mapped.unit = unit
        return
    if len(cells) >= 5 and share < 0.2 and fields.fields()[best].quantity in ("choice", "yes_no", "letter", "cause"):
        mapped.note = f"the heading says {fields.shown(best)}, hardly a cell can be read as one"
        return
    mapped.field, mapped.level, mapped.how = best, level, how
    mapped.unit = _unit_for(best, unit)
    mapped.offers = tuple(i for i in ids if i != best)
    if how == "near spelling":
        mapped.note = "the heading was taken for a near spelling"
    if "overpressure" in fields.normal(heading) and best == "case.accumulation":
        mapped.note = "overpressure read as accumulation on MAWP"


def _all_dates(ident: str, cells: list[Cell]) -> bool:
    quantity = fields.fields()[ident].quantity
    dated = sum(cell.kind == "date" for cell in cells) > 0.6 * len(cells)
    return dated and quantity not in ("date", "text", "designation", "pipe_size")


def _prefer(ids: list[str], role: str, unit: str) -> list[str]:
    """Candidates in the order of the sheet's role; a rise in metres is no centre-to-face."""
    first = {"lines": ("inlet.", "outlet."), "cases": ("case.",), "history": ("history.",)}.get(role, ("valve.",))
    ids = sorted(ids, key=lambda i: not i.startswith(first))
    if unit in ("m", "ft") and "inlet.height" in ids:
        ids.sort(key=lambda i: i != "inlet.height")
    return ids


def _unit_for(ident: str, unit: str) -> str:
    """The heading's unit if the field can have it."""
    unit = fields.plain_unit(unit)
    quantity = fields.is_unit(unit) if unit else None
    allowed = fields.UNIT_OF.get(fields.fields()[ident].quantity, ())
    share = "fraction" in allowed or ident in shares.FIELDS
    return unit if quantity in allowed else ("%" if unit == "%" and share else "")


def _units_beside(out: list[Mapped]) -> None:
    """A column of units belongs to the column it names ("Cap units"), else to the nearest on its left that it fits."""
    for place, units in enumerate(out):
        if units.how != "unit":
            continue
        words = set(fields.normal(units.heading).split()) - _UNIT_WORDS
        fitting = [
            mapped for mapped in out[:place]
            if mapped.field and mapped.unit_column is None and (not mapped.unit or mapped is out[place - 1])
            and set(units.kinds) & set(fields.UNIT_OF.get(fields.fields()[mapped.field].quantity, ()))
        ]  # fmt: skip
        named = [mapped for mapped in fitting if words and words & set(fields.normal(mapped.heading).split())]
        if named or fitting:
            owner = (named or fitting)[-1]
            units.how = f"unit of {owner.letter}"
            owner.unit_column = units.column


def _settle(out: list[Mapped], grid: Grid, head: Head, reader: Reader) -> None:
    """One column a field: the surer heading wins, then the better cells, then the left one."""
    by_field: dict[str, list[Mapped]] = {}
    for mapped in out:
        if mapped.field:
            by_field.setdefault(mapped.field, []).append(mapped)
    for ident, rivals in by_field.items():
        if len(rivals) < 2 or ident in _MANY:
            continue

        def rank(mapped: Mapped, ident: str = ident) -> tuple[int, bool, bool, int, float, int]:
            cells = sample(grid, head, mapped.column)
            good = acceptance(cells, ident, mapped.unit, reader) * len(cells)
            looks = ident == "location.tag" and 2 * sum(tags.looks_like(cell.text) for cell in cells) >= max(len(cells), 1)
            return mapped.level, good == 0, not looks, fields.rank(ident, mapped.heading), -good, mapped.column

        winner, *losers = sorted(rivals, key=rank)
        for loser in losers:
            other = next((i for i in loser.offers if i not in by_field), "")
            if other:
                loser.field, loser.offers = other, ()
                continue
            loser.field, loser.second = "", ident
            loser.how = f"second for {winner.letter}"
            loser.note = f"column {winner.letter} holds {fields.shown(ident)}: the surer heading, then the commoner name, then the fuller column"


def _by_content(out: list[Mapped], grid: Grid, head: Head, role: str) -> None:
    """Tags, designations and letters are known by sight where no heading names them."""
    taken = {mapped.field for mapped in out}
    tests = (
        ("location.tag", lambda text: tags.looks_like(text)),
        ("valve.designation", _is_designation),
        ("valve.orifice", lambda text: text.strip().upper() in sizes.LETTERS),
    )
    for ident, test in tests if role == "main" else tests[:1]:
        if ident in taken:
            continue
        for mapped in out:
            cells = sample(grid, head, mapped.column) if not mapped.field and not mapped.second and mapped.how != "mended" else []
            if len(cells) >= 3 and sum(test(cell.text) for cell in cells) >= 0.7 * len(cells):
                mapped.field, mapped.how, mapped.level = ident, "content", 6
                mapped.note = f"most cells look like {fields.shown(ident)}"
                break


_DESIGNATION = re.compile(r"[\d ./½\"']+[xX ]*[D-Td-t][xX ]*[\d ./½\"']+.*")


def _is_designation(text: str) -> bool:
    if not _DESIGNATION.fullmatch(text):
        return False
    try:
        return sizes.designation(text).letter is not None
    except sizes.SizeError:
        return False


def _order_of_dates(mapped: Mapped, grid: Grid, head: Head) -> None:
    """Day or month first, proved by the dates of the column that have a number above 12."""
    proofs: dict[str, str] = {}
    for number in sorted(grid.rows):
        row = grid.rows[number]
        cell = row[mapped.column] if number >= head.after and mapped.column < len(row) else None
        if cell is not None and cell.kind == "text" and (order := date_proof(cell.text)):
            proofs.setdefault(order, f"{mapped.letter}{number} {cell.text}")
    if len(proofs) == 1:
        ((mapped.dates, proof),) = proofs.items()
        mapped.note = f"{mapped.note}; {mapped.dates.replace('-', ' ')} as {proof} proves".lstrip("; ")
    elif proofs:
        mapped.note = f"{mapped.note}; both orders of day and month: {', '.join(proofs.values())}".lstrip("; ")

