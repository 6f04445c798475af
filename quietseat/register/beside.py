"""The sheets beside the list of valves: read by their tags, taken for a further list, or asked about."""

from __future__ import annotations

from dataclasses import replace

from quietseat.register import columns, fields, headers, lists, notices, rows
from quietseat.register.others import Index, attach
from quietseat.register.record import RowRead
from quietseat.register.rows import Data
from quietseat.register.under_way import Sheet, Work, answers, data_rows, given
from quietseat.status import Problem

BESIDE = ("cases", "lines", "history")  # roles of the sheets whose rows belong to valves of the others


def further_lists(work: Work) -> None:
    """A sheet of cases, lines or history that lists valves of its own is read as a further list of valves."""
    known = lists.keys(
        tag
        for sheet in work.sheets
        if sheet.role == "main"
        for tag in lists.tags_of(sheet.grid, sheet.head, sheet.columns)
    )
    for sheet in work.sheets:
        if sheet.role in BESIDE and lists.is_list(sheet.grid, sheet.head, sheet.columns, known):
            sheet.role = "main"
            sheet.columns = columns.map_columns(sheet.grid, sheet.head, "main", work.reader)


def read_beside(work: Work, sheet: Sheet, index: Index) -> None:
    """Give the rows of a sheet of cases, lines or history to their valves."""
    side = headers.side_column(sheet.head, sheet.grid) if sheet.role == "lines" else None
    lost: list[Data] = []
    for number, row in data_rows(work, sheet):
        end = None
        if side is not None:
            cell = row[side] if side < len(row) else None
            end = headers.side(cell.text) if cell is not None else None
        data = rows.extract(sheet.grid, number, row, sheet.columns, work.reader, given(work, sheet, number), end)
        answers(work, sheet, number)
        rows.second_columns(data, work.basis.atmospheric_pressure)
        rows.size_group(data)
        rows.judge(data)
        if attach(data, sheet.role, index, work.reader):
            sheet.matched += 1
            work.problems.extend(replace(problem, file=work.book.file) for problem in data.problems)
        else:
            lost.append(data)
    if lost:
        _lost(work, sheet, lost)


def _lost(work: Work, sheet: Sheet, lost: list[Data]) -> None:
    """Rows that belong to no valve: told one by one, or counted as refused where the sheet may be a list of valves."""
    numbers = notices.some([data.number for data in lost])
    if 2 * len(lost) <= sheet.found and not sheet.has(lists.LISTED):
        work.problems.extend(replace(problem, file=work.book.file) for data in lost for problem in data.problems)
        verb = "belongs" if len(lost) == 1 else "belong"
        work.problems.append(Problem(
            f"{len(lost)} of {sheet.found} rows {verb} to no valve of the register: {numbers}", "write the tags as the register has them",
            work.book.file, sheet.grid.name,
        ))  # fmt: skip
        return
    verb = "matches" if len(lost) == 1 else "match"
    work.problems.insert(0, Problem(
        f"{len(lost)} of {sheet.found} rows {verb} no valve: is this a list of valves? They are counted as refused: {numbers}",
        f"{lists.mend(sheet.hint)}; or write the tags as the register has them", work.book.file, sheet.grid.name,
    ))  # fmt: skip
    for data in lost:
        unmatched = next(problem.rule for problem in data.problems if problem.field == "tag")
        work.kept.append((data, RowRead(sheet.grid.name, data.number, "refused", unmatched, ())))


def no_set_columns(work: Work) -> None:
    """One problem for a list of valves in which no column was read as set pressure, in place of one for each row."""
    for sheet in work.sheets:
        told = f"the {fields.shown('valve.set_pressure').replace('_', ' ')} is missing"
        if sheet.role != "main" or any(
            s.has(("valve.set_pressure",)) for s in work.sheets if s.grid.name == sheet.grid.name
        ):
            continue
        without = [
            data
            for data, _ in work.kept
            if data.sheet == sheet.grid.name and any(p.rule == told for p in data.problems)
        ]
        for data in without:
            data.problems = [problem for problem in data.problems if problem.rule != told]
        if without:
            rows_ = "1 row has" if len(without) == 1 else f"{len(without)} rows have"
            work.problems.insert(0, Problem(f"no column was read as set pressure: {rows_} none", lists.mend(sheet.hint), work.book.file,
                                            sheet.grid.name, None, None, "set_pressure"))  # fmt: skip
