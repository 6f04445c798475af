"""read(): a register file, a Basis and perhaps mends in; every row, valve, problem and assumption out."""

from __future__ import annotations

import gc
from dataclasses import replace
from pathlib import Path
from typing import Any

from quietseat.basis import Basis
from quietseat.model import Location, Origin
from quietseat.register import (
    beside,
    column_mends,
    columns,
    crosschecks,
    duplicates,
    fields,
    headers,
    heading_mends,
    lists,
    marks,
    notices,
    rows,
    tags,
    words,
    workbook,
)
from quietseat.register import mends as mending
from quietseat.register.build import Draft, locations, own_case
from quietseat.register.cells import Reader
from quietseat.register.others import Index
from quietseat.register.parts import letter
from quietseat.register.record import Column, Register, RowRead, SheetRead
from quietseat.register.rows import Data
from quietseat.register.seen import Cells, Table
from quietseat.register.taken import BLANK, Taken
from quietseat.register.under_way import Sheet, Work, answers, data_rows, given
from quietseat.register.workbook import Book
from quietseat.status import Assumption, InputUnusable, Problem

# A row without one of these is partial, where the register has such a column (set pressure: always).
NEEDED = ("valve.inlet_size", "valve.orifice", "valve.outlet_size", "vessel.mawp", "case.flow")


def read(path: str | Path, basis: Basis, mends: str | Path | None = None) -> Register:
    """Read a register. path: .xlsx, .csv, .xls, .ods file, or "-" for standard input.

    Raises InputUnusable with one sentence where the file or the mends file cannot be used as a whole.
    """
    return _whole(path, basis, mends, keep=False)[0]


def read_with_cells(path: str | Path, basis: Basis, mends: str | Path | None = None) -> tuple[Register, Cells]:
    """Read a register as `read` does, and keep its cells to look at; one in which no list of valves is found comes back without
    valves, so that a person can say where its headings stand. Raises as `read` does.
    """
    return _whole(path, basis, mends, keep=True)


def _whole(path: str | Path, basis: Basis, mends: str | Path | None, keep: bool) -> tuple[Register, Cells]:
    # The records of a register hold no cycles; looking for some costs a third of the time.
    paused = gc.isenabled()
    gc.disable()
    try:
        return _read(path, basis, mends, keep)
    finally:
        if keep:
            gc.freeze()  # what stays in memory is not looked through again: that would hold up every page for half a second
        if paused:
            gc.enable()


def _read(path: str | Path, basis: Basis, mends: str | Path | None, keep: bool) -> tuple[Register, Cells]:
    listed = mending.load(mends)
    book = workbook.load(path)
    marks.settle(book.grids)
    work = Work(book, basis, Reader(basis), listed, keep)
    _open(work)
    for sheet in work.sheets:
        if sheet.role == "main":
            _main(work, sheet)
    work.drafts, again = duplicates.settle(work.drafts, work.basis, work.reader)
    work.problems += again
    index = Index(work.drafts)
    for sheet in work.sheets:
        if sheet.role in beside.BESIDE:
            beside.read_beside(work, sheet, index)
    mending.leftover(work.mends, {sheet.grid.name for sheet in work.sheets})
    heading_mends.settle(work.mends, [grid.name for grid in book.grids if grid.rows])
    roles = {grid.name: "" for grid in work.book.grids} | {sheet.grid.name: sheet.role for sheet in reversed(work.sheets)}
    column_mends.settle(work.mends, [(sheet.grid.name, mapped) for sheet in work.sheets for mapped in sheet.columns], roles, work.reader)
    mending.unexplained(work.mends)
    found = _settle(work)
    for held in (work.drafts, work.kept):  # one by one: given back at once they would hold up every other thread
        while held:
            held.pop()
    if not keep:
        return found, Cells((), work.reader, ())
    counted = [frozenset(number for name, number in work.counted if name == sheet.grid.name) for sheet in work.sheets]
    return found, Cells([Table(s.grid, s.head, s.role, s.columns, which) for s, which in zip(work.sheets, counted, strict=True)], work.reader, book.grids)


def _open(work: Work) -> None:
    """Headings, roles and columns of every sheet. Raises InputUnusable where no sheet lists valves."""
    for rule, mend in work.book.notes:
        work.problems.append(Problem(rule, mend, work.book.file))
    filled = [grid for grid in work.book.grids if grid.rows]
    looked = [grid.name for grid in filled]
    for grid in filled:
        found = heading_mends.head_of(work.mends, grid, len(filled) == 1)
        if found is None:
            continue
        for part, head in headers.tables(grid, found):
            work.sheets.append(Sheet(part, head, headers.role(grid.name, head, part), [], part=head is not found))
    if not looked:
        raise InputUnusable(f"{work.book.file}: has no cells in any sheet.")
    places = _map(work)
    _promote(work)
    beside.further_lists(work)
    for sheet, listed in zip(work.sheets, places, strict=True):
        column_mends.apply(work.mends, listed, sheet.columns, sheet.named, sheet.before, work.reader)
    if not any(sheet.role == "main" for sheet in work.sheets):
        said = _no_valves(work.book, looked)
        if not work.keep:
            raise InputUnusable(f"{work.book.file}: {said}")
        work.problems.append(Problem(said.rstrip("."), "say in which row the headings stand, and name the columns", work.book.file))
    for grid in filled:
        if not any(sheet.grid.name == grid.name for sheet in work.sheets):
            work.problems.append(Problem(
                "the sheet has no row of headings and was not read", "if it belongs to the register, say in which row its headings stand",
                work.book.file, grid.name,
            ))  # fmt: skip
    for sheet in work.sheets:
        if not sheet.has(("valve.set_pressure",)):
            sheet.hint = lists.set_columns(sheet.grid, sheet.head, sheet.columns, work.reader)
        work.problems += notices.of_columns(work.book.file, sheet.grid, sheet.head, sheet.role, sheet.columns, sheet.part)


def _no_valves(book: Book, looked: list[str]) -> str:
    """Why no list of valves was found in a file."""
    down = next((grid.name for grid in book.grids if headers.downwards(grid)), "")
    if down:
        return f"the headings of sheet {down} stand below one another in column A; write one valve in each row."
    return (
        f"no row of headings was found in the first {headers.DEEPEST} rows of {', '.join(looked[:6])}; looked for a "
        "tag column and at least one of set pressure, size, orifice, type, MAWP."
    )


def _map(work: Work) -> list[list[int]]:
    """The columns of every sheet as their headings and the mends name them; returns the places of each sheet's mends of columns."""
    mains = {sheet.grid.name for sheet in work.sheets if sheet.role == "main"}
    out = []
    for sheet in work.sheets:
        places = column_mends.of_sheet(work.mends, sheet.grid.name, mains == {sheet.grid.name})
        out.append(places)
        if places:
            _named(work, sheet, places)
        else:
            sheet.columns = columns.map_columns(sheet.grid, sheet.head, sheet.role, work.reader)
    return out


def _named(work: Work, sheet: Sheet, places: list[int]) -> None:
    """Columns named by mends: the sheet's role and its other columns follow from them."""
    plain = columns.map_columns(sheet.grid, sheet.head, sheet.role, work.reader)
    first = next(other for other in work.sheets if other.grid.name == sheet.grid.name)
    if first is sheet:
        sheet.named = column_mends.named(work.mends, places, {mapped.column for mapped in plain})
    else:  # a further table: its columns are those of the first where the headings are the same
        shared = {c for c, pair in sheet.head.headings.items() if first.head.headings.get(c) == pair}
        sheet.named = replace(first.named, columns={c: i for c, i in first.named.columns.items() if c in shared})
    sheet.before = {mapped.column: fields.shown(mapped.field) if mapped.field else "not mapped" for mapped in plain}
    sheet.head = replace(sheet.head, named=sheet.named.columns, codes=sheet.named.codes)
    sheet.role = headers.role(sheet.grid.name, sheet.head, sheet.grid)
    sheet.columns = columns.map_columns(sheet.grid, sheet.head, sheet.role, work.reader)


def _promote(work: Work) -> None:
    """Where no sheet is plainly a list of valves, the sheet with a tag and most of a valve's fields is one."""
    tagged = [sheet for sheet in work.sheets if "location.tag" in sheet.head.ids()]
    if not tagged or any(sheet.role == "main" for sheet in work.sheets):
        return
    best = max(tagged, key=lambda sheet: (headers.valve_fields(sheet.head), len(sheet.head.ids())))
    best.role = "main"
    best.columns = columns.map_columns(best.grid, best.head, "main", work.reader)


# --- rows of the valve sheets ------------------------------------------------------------------------------------


def _main(work: Work, sheet: Sheet) -> None:
    section: tuple[str, Origin] | None = None
    has_unit = any(mapped.field == "location.unit" for mapped in sheet.columns)
    counted = data_rows(work, sheet)
    sections = {number: text for number, kind, text in sheet.skipped if kind == "section"}
    heads = sorted(sections)
    last: Draft | None = None
    for number, row in counted:
        while heads and heads[0] < number:
            last = None
            first = heads.pop(0)
            section = (sections[first], Origin("assumed", f"{sheet.grid.name}!{first}", sections[first], "section heading above the row"))
        data = rows.extract(sheet.grid, number, row, sheet.columns, work.reader, given(work, sheet, number))
        data.comments += answers(work, sheet, number)
        rows.second_columns(data, work.basis.atmospheric_pressure)
        rows.size_group(data)
        rows.judge(data)
        if last is not None and _case_below(data):
            sheet.matched += 1
            work.kept.append((data, _further_case(data, last)))
            continue
        draft = last = _draft(data, None if has_unit else section)
        if draft is None:
            work.kept.append((data, RowRead(sheet.grid.name, number, "refused", "; ".join(data.reasons), ())))
            continue
        sheet.matched += 1
        if not work.keep:
            sheet.grid.rows[number] = ()  # read: the cells are not needed any more
        work.drafts.append(draft)
        work.kept.append((data, None))


def _case_below(data: Data) -> bool:
    """A row without a tag that states a relief case and nothing of a valve."""
    stated = [ident for ident, taken in data.values.items() if taken.state not in ("blank", "not-applicable")]
    case = [ident for ident in stated if ident.startswith("case.")]
    other = [ident for ident in stated if not ident.startswith("case.") and ident != "location.remarks"]
    return not other and len(case) >= 2 and any(ident in case for ident in ("case.flow", "case.volume_flow"))


def _further_case(data: Data, above: Draft) -> RowRead:
    """Give the case of a row without a tag to the valve above it."""
    where = data.where.get("location.tag", f"{data.sheet}!{data.number}")
    above.cases.append(own_case(data))
    above.matches.append(("", Origin("assumed", where, "", "a row without a tag that states only a case: a further case of the valve above")))
    above.notes += [t.text for i, t in data.values.items() if i == "location.remarks" and t.state == "value"]
    above.notes += data.comments
    reasons = tuple(dict.fromkeys(data.reasons))
    return RowRead(data.sheet, data.number, "partial" if reasons else "read", "; ".join(reasons), above.tags)


def _is_name(ident: str) -> bool:
    """A text field whose second column is kept among the remarks."""
    return fields.fields()[ident].quantity == "text" and not ident.startswith(("location.", "history."))


def _tags(taken: Taken) -> tags.Tags | None:
    """The tags of a tag cell, or of the mend that splits its row; None where it names none."""
    read = tags.parse(taken.text) if taken.state == "value" else None
    if isinstance(taken.value, tuple):
        return tags.Tags(taken.value, read.remark if read else "")
    return read


def _draft(data: Data, section: tuple[str, Origin] | None) -> Draft | None:
    """The row as a draft, or None (with its reason) where it names no valve."""
    taken = data.values.get("location.tag", BLANK)
    found = _tags(taken)
    if found is None:
        word = taken.text and f": {taken.text!r} is none"
        reason = f"no tag{word or ': the cell is blank'}" if taken.how != "mended" else f"left out: {taken.rule}"
        data.problems = [problem for problem in data.problems if problem.field != "tag"]
        data.complain(reason, "write the tag of the valve in this row", "location.tag", taken.text or None)
        data.reasons = [reason]
        return None
    remarks = [found.remark] if found.remark else []
    remarks += [t.text for i, t in data.values.items() if i == "location.remarks" and t.state == "value"]
    remarks += [t.text for i, t, _ in data.more if i == "location.remarks" and t.state == "value"]
    remarks += [t.text for i, t, _ in data.more if _is_name(i) and t.state == "value"]
    alias = [t.text for i, t in data.values.items() if i == "location.old_tag" and t.state == "value"]
    alias += [t.text for i, t, _ in data.more if i == "location.old_tag" and t.state == "value"]
    void = next((word for text in remarks if (word := words.void(text))), "")
    if void:
        data.complain(f"the row says {void!r}: it was read all the same", "delete the row if the valve is gone", "location.tag", taken.text)
    several = data.values.get("valve.set_pressure", BLANK)
    if several.state == "several" and len(several.value) != len(found.tags):
        data.complain(several.rule, several.mend, "valve.set_pressure", several.text)
        data.reasons.append(f"set_pressure refused: {several.rule}")
    return Draft(data, found.tags, found.remark, tuple(alias), notes=[*remarks, *data.comments], unit=section, tag_rule=found.note)


# --- the end ------------------------------------------------------------------------------------------------------------


def _settle(work: Work) -> Register:
    """Build the locations, run the cross-checks, state every row."""
    columned = {m.field for sheet in work.sheets for m in sheet.columns if m.field}
    if "valve.designation" in columned:
        columned |= {"valve.inlet_size", "valve.orifice", "valve.outlet_size"}
    made: list[Location] = []
    serials: list[tuple[str, Data]] = []
    for draft in work.drafts:
        places = locations(draft, work.basis)
        _missing(draft, places[0], columned)
        for place in places:
            crosschecks.run(crosschecks.Place(place, draft.data, work.basis))
        if places[0].valve.serial:
            serials.append((places[0].valve.serial, draft.data))
        made.extend(places)
    crosschecks.serials(serials)
    beside.no_set_columns(work)
    told = tuple(_state(data, settled) for data, settled in work.kept)
    problems = [*work.problems, *(p for data, _ in work.kept for p in data.problems), *work.mends.problems]
    named = dict.fromkeys(replace(p, file=work.book.file) if p.file is None else p for p in problems)
    return Register(
        work.book.file, tuple(_sheet(sheet) for sheet in work.sheets), tuple(_columns(work)), told, tuple(made),
        tuple(named), tuple(work.mends.entries), tuple(_assumptions(work, made)),
    )  # fmt: skip


def _missing(draft: Draft, place: Location, columned: set[str]) -> None:
    """A needed value that nobody gave makes the row partial, and is told unless its cell was told already."""
    data = draft.data
    have = {
        "valve.set_pressure": place.valve.set_pressure, "valve.inlet_size": place.valve.inlet_size,
        "valve.orifice": place.valve.orifice or place.valve.actual_area or place.valve.effective_area,
        "valve.outlet_size": place.valve.outlet_size, "vessel.mawp": place.vessel.mawp,
        "case.flow": next((c.flow or c.volume_flow for c in place.cases if c.flow or c.volume_flow), None),
    }  # fmt: skip
    told = {problem.field for problem in data.problems}
    designation = data.values.get("valve.designation", BLANK).state == "refused"
    for ident, value in have.items():
        if value is not None or (ident in NEEDED and ident not in columned):
            continue
        name = {"case.flow": "required rate", "vessel.mawp": "MAWP"}.get(ident, fields.shown(ident).replace("_", " "))
        data.reasons.append(f"{name} missing")
        if fields.shown(ident) not in told and not (designation and ident.startswith("valve.") and ident != "valve.set_pressure"):
            unitless = ident in ("valve.inlet_size", "valve.orifice", "valve.outlet_size")
            data.complain(f"the {name} is missing", "write it" if unitless else "write it, with its unit if the heading has none", ident)


def _state(data: Data, settled: RowRead | None) -> RowRead:
    if settled is not None:
        return settled
    reasons = tuple(dict.fromkeys(data.reasons))
    found = _tags(data.values["location.tag"])
    return RowRead(data.sheet, data.number, "partial" if reasons else "read", "; ".join(reasons), found.tags if found else ())


def _sheet(sheet: Sheet) -> SheetRead:
    grid = sheet.grid
    return SheetRead(
        grid.name, sheet.role, sheet.head.rows, sheet.head.unit_row, grid.hidden,
        tuple(sorted(row for row in grid.hidden_rows if row in grid.rows)),
        tuple(letter(c) for c in sorted(grid.hidden_columns) if c < 1000), sheet.found, sheet.matched, tuple(sheet.skipped),
    )  # fmt: skip


def _columns(work: Work) -> list[Column]:
    return [
        Column(sheet.grid.name, m.letter, m.heading, fields.shown(m.field) if m.field else "", m.unit, m.how, m.note)
        for sheet in work.sheets for m in sheet.columns
    ]  # fmt: skip


def _assumptions(work: Work, made: list[Location]) -> list[Assumption]:
    """Every reading rule that was used, once, with how often and where first."""
    found: dict[tuple[str, str], list[Any]] = {}
    for place in made:
        for path, source in place.origins.items():
            if source.how == "assumed":
                parts = path.split(".")
                name = ".".join(part for part in parts if not part.isdecimal())
                entry = found.setdefault((name, source.rule), [0, source])
                entry[0] += 1
    out = []
    for (name, rule), (count, source) in found.items():
        value = f"{source.text!r}" + (f" and {count - 1} more" if count > 1 else "")
        out.append(Assumption(name, value, rule, (f"{source.source}; " if source.source else "") + f"register, first {source.where}"))
    for sheet in work.sheets:
        for mapped in sheet.columns:
            if mapped.dates and mapped.field:
                out.append(Assumption(fields.shown(mapped.field), mapped.dates, mapped.note, f"register, {sheet.grid.name} column {mapped.letter}"))
    return out
