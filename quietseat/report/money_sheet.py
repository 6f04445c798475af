"""The sheet Money: the account of each recommended remedy with live formulas over one block of shared inputs.

Formulas are built from row and column numbers only. Names and tags are written as text, and every formula is stored
with its value, so that a reader which does not calculate shows the same figures.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil, copysign, floor
from typing import Any

from quietseat.report.words import choice_number, clean, in_print, is_number, plain

NAME = "Money"
MOST_VALVES = 100  # some 40 rows each; all accounts stand in study.json
_A4, _A3 = 200, 340  # characters of all columns that can still be read on one page across
_CENT, _FACTOR = "#,##0.00", "0.000000"
_LABELS = ("Rank", "Tag", "State", "Part", "Task or line", "Made of")
_WIDTHS = (7, 20, 13, 34, 46, 50)
_FIRST = len(_LABELS)  # the first column of inputs
_HOUR = "price of a crew hour"
# Inputs of the block that have a name of their own, by the choice of the Basis they stand for.
_NAMED = {
    "discount rate": "discount_rate", "inflation inside it": "inflation", _HOUR: "labour_rate", "price of product": "product_price",
    "price of water, steam or air": "utility_price", "price of carbon": "carbon_price",
}  # fmt: skip
_OWN = "capital"  # like every leak rate it belongs to one valve, even where two valves share its value


@dataclass(frozen=True, slots=True)
class _Cell:
    """A number, a text, or a formula with its value. form: number format; blue: an input to change."""

    value: float | str
    formula: str = ""
    form: str = ""
    blue: bool = False
    bold: bool = False


@dataclass(slots=True)
class _Grid:
    """The sheet before it is written: rows from the top, each a few cells by column."""

    rows: list[dict[int, _Cell]] = field(default_factory=list)

    def add(self, cells: Mapping[int, _Cell] | None = None) -> int:
        self.rows.append(dict(cells or {}))
        return len(self.rows) - 1

    def value(self, row: int, column: int) -> float:
        cell = self.rows[row].get(column)
        return _number(cell.value) if cell else 0.0


@dataclass(frozen=True, slots=True)
class _Line:
    """One task with its inputs (name, unit, value) and yearly weights, the price of an hour taken out of the weights."""

    title: str
    source: str
    inputs: tuple[tuple[str, str, float], ...]
    weights: tuple[float, ...]


def write(book: Any, head: Mapping[str, Any], accounts: Sequence[tuple[Mapping[str, Any], Mapping[str, Any]]]) -> None:
    """Add the sheet to a workbook of XlsxWriter. accounts: (summary of the valve, its money), worst first; at least one.

    At most MOST_VALVES of them are written; the sheet says so where there are more.
    """
    page = book.add_worksheet(NAME)
    layout = _Layout(head, accounts[:MOST_VALVES], len(accounts) > MOST_VALVES)
    formats: dict[tuple[str, bool, bool], Any] = {}
    for at, width in enumerate((*_WIDTHS, *([13] * (layout.last + 1 - _FIRST)))):
        page.set_column(at, at, width)
    for line, cells in enumerate(layout.grid.rows):
        for column, cell in sorted(cells.items()):
            key = (cell.form, cell.blue, cell.bold)
            if key not in formats:
                look = {"num_format": cell.form or "General", "bold": cell.bold, "valign": "top"}
                formats[key] = book.add_format({**look, "font_color": "#1F4FD8"} if cell.blue else look)
            if cell.formula:
                page.write_formula(line, column, cell.formula, formats[key], cell.value)
            elif isinstance(cell.value, str):
                page.write_string(line, column, clean(in_print(cell.value)), formats[key])
            else:
                page.write_number(line, column, cell.value, formats[key])
    for name, place in layout.names.items():
        book.define_name(name, f"={NAME}!{place}")
    page.freeze_panes(1, 2)
    on_paper(page, sum(_WIDTHS) + 13 * (layout.last + 1 - _FIRST))
    page.autofilter(layout.heading, 0, len(layout.grid.rows) - 1, layout.last)


def on_paper(page: Any, width: float) -> None:
    """Landscape, heading on every page, fitted to the width of one page; a sheet too wide to be read so takes more, with its first columns on each.

    width: of all columns, characters.
    """
    page.set_landscape()
    page.set_paper(9 if width <= _A4 else 8)
    page.fit_to_pages(max(1, ceil(width / _A3)), 0)
    page.set_margins(0.4, 0.4, 0.5, 0.6)
    page.set_footer("&L&A&RPage &P of &N")
    page.repeat_rows(0)
    if width > _A3:
        page.repeat_columns(0, 1)


class _Layout:
    """Places every cell. The rows refer to the block on top, and the totals on top to the rows below."""

    def __init__(
        self, head: Mapping[str, Any], accounts: Sequence[tuple[Mapping[str, Any], Mapping[str, Any]]], more: bool
    ) -> None:
        self.more = f" The worst {len(accounts)} valves; the other accounts stand in study.json." if more else ""
        self.grid, self.hour = _Grid(), choice_number(head, "labour_rate", "number", 0.0)
        self.currency = plain(accounts[0][1].get("currency"))
        self.years = max(len(money.get("years") or ()) for _, money in accounts)
        lines = [[_lines(money.get(key) or (), self.hour) for key in ("parts", "keep_parts")] for _, money in accounts]
        every = [line for valve in lines for account in valve for part in account for line in part]
        most = max((len(line.inputs) for line in every), default=1)
        self.amount = (
            _FIRST + most
        )  # product of the inputs, then: present value, stored, difference, source, years, weights
        self.worth, self.stored, self.gap, self.source = (self.amount + at for at in (1, 2, 3, 4))
        self.year = self.amount + 5
        self.weight = self.year + self.years
        self.last = self.weight + self.years - 1
        self.grid.add()  # the heading of the rows once more, where it stays in sight
        self.shared: dict[tuple[str, str], str] = {}
        self.names: dict[str, str] = {}  # choice of the Basis: its cell
        self._block(accounts[0][1], every)
        totals = [self.grid.add() for _ in range(len(accounts) + 2)]
        self._heading(most)
        for row, (summary, money), (after, before) in zip(totals[1:], accounts, lines):
            self._valve(row, summary, money, after, before)
        self._totals_heading(totals[0])

    # -- the block on top --------------------------------------------------------------------------------------

    def _block(self, money: Mapping[str, Any], every: Iterable[_Line]) -> None:
        """Discount rate, prices of the Basis, and every input that many rows share."""
        add = self.grid.add
        top = add()
        rate, inflation = _number(money.get("discount_rate")), _number(money.get("inflation"))
        add({0: _Cell("Each year of a part, and what its years are worth, are rounded to the cent, as in study.json.")})
        given = (("discount rate", rate), ("inflation inside it", inflation))
        ends = [self._input(name, value, "a year", "0.00%") for name, value in given]
        real = add({0: _Cell("discount rate in constant prices"), _FIRST: _Cell(
            (1 + rate) / (1 + inflation) - 1, f"=(1+{ends[0]})/(1+{ends[1]})-1", "0.00%"), _FIRST + 1: _Cell("a year")})  # fmt: skip
        self.rate = (real, _FIRST)
        if self.hour:
            self.shared[_HOUR, ""] = self._input(_HOUR, self.hour, f"{self.currency}/h")
        seen: dict[tuple[str, str], list[float]] = defaultdict(list)
        for line in every:
            for name, unit, value in line.inputs:
                seen[name, unit].append(value)
        for (name, unit), values in sorted(seen.items(), key=lambda one: one[0][0] not in _NAMED):
            shared = name in _NAMED or (len(values) > 1 and name != _OWN and unit != "kg/s")
            if name != _HOUR and shared and len(set(values)) == 1:
                self.shared[name, unit] = self._input(name, values[0], unit)
        add()
        words = f"Blue figures are inputs: change one, and the totals move. Some cells have a name ({', '.join(self.names)})."
        self.grid.rows[top] = {0: _Cell(f"Live account of the recommended remedies. {words}{self.more}", bold=True)}

    def _input(self, name: str, value: float, unit: str, form: str = "") -> str:
        """One input of the block; returns its cell."""
        row = self.grid.add({0: _Cell(name), _FIRST: _Cell(value, form=form, blue=True), _FIRST + 1: _Cell(unit)})
        where = _at(row, _FIRST, True)
        if name in _NAMED:
            self.names[_NAMED[name]] = where
        return where

    def _totals_heading(self, row: int) -> None:
        words = (
            f"As it is, {self.currency}",
            "With the remedy",
            "Net present value",
            "Stored in study.json",
            "Difference",
        )
        heads = {0: "Rank", 1: "Tag", 3: "Remedy", **{_FIRST + at: word for at, word in enumerate(words)}}
        self.grid.rows[row] = {column: _Cell(word, bold=True) for column, word in heads.items()}

    def _heading(self, most: int) -> None:
        """The discount factor of each year, and below it the heading of the rows."""
        rate, cells = self.grid.value(*self.rate), {self.source: _Cell("Discount factor")}
        for at in range(self.years):
            year = _at(len(self.grid.rows) + 1, self.year + at)
            cells[self.year + at] = _Cell((1 + rate) ** -at, f"=(1+{_at(*self.rate, True)})^-{year}", _FACTOR)
        self.factors = self.grid.add(cells)
        words = [*_LABELS, *(f"Input {at + 1}" for at in range(most)), "Product of the inputs", f"Present value, {self.currency}",
                 "Stored in study.json", "Difference", "Source"]  # fmt: skip
        row = {at: _Cell(word, bold=True) for at, word in enumerate(words)}
        row |= {self.year + at: _Cell(at, form='"Year "0', bold=True) for at in range(self.years)}
        row |= {self.weight + at: _Cell(at, form='"Weight, year "0', bold=True) for at in range(self.years)}
        self.heading = self.grid.add(row)
        self.grid.rows[0] = {at: _Cell(cell.value, bold=True, form=cell.form) for at, cell in row.items()}

    # -- the rows ----------------------------------------------------------------------------------------------

    def _valve(
        self,
        total: int,
        summary: Mapping[str, Any],
        money: Mapping[str, Any],
        after: list[list[_Line]],
        before: list[list[_Line]],
    ) -> None:
        """Both accounts of one valve, and its line among the totals."""
        own: dict[tuple[str, str, float], str] = {}
        name = {0: _Cell(summary.get("rank") or 0), 1: _Cell(plain(summary.get("tag")))}
        ends = [
            self._account({**name, 2: _Cell(words)}, money.get(parts) or (), lines, money.get(stored) or {}, own)
            for words, parts, lines, stored in (
                ("as it is", "keep_parts", before, "keep_total"), ("with remedy", "parts", after, "total"),
            )
        ]  # fmt: skip
        keep, remedy = (self.grid.value(row, self.worth) for row in ends)
        cells = {
            **name, 3: _Cell(plain(money.get("title"))),
            **{_FIRST + at: _Cell(value, f"={_at(row, self.worth)}", _CENT) for at, (row, value) in enumerate(zip(ends, (keep, remedy)))},
            _FIRST + 2: _Cell(keep - remedy, f"={_at(total, _FIRST)}-{_at(total, _FIRST + 1)}", _CENT, bold=True),
        }  # fmt: skip
        self.grid.rows[total] = cells | _check(total, _FIRST + 2, keep - remedy, (money.get("npv") or {}).get("mid"))

    def _account(
        self, name: Mapping[int, _Cell], parts: Sequence[Mapping[str, Any]], lines: list[list[_Line]], stored: Mapping[str, Any],
        own: dict[tuple[str, str, float], str],
    ) -> int:  # fmt: skip
        """The rows of one state: each part's tasks and their sum, then the total. Returns the row of the total."""
        sums = []
        for part, tasks in zip(parts, lines):
            if tasks:
                label = {**name, 3: _Cell(plain(part.get("title")))}
                rows = [self._task(label, task, own) for task in tasks]
                cells = {**label, 4: _Cell("sum of the part", bold=True)}
                sums.append(self._part(cells, rows, (part.get("present_value") or {}).get("mid")))
        return self._total({**name, 3: _Cell("total of the parts", bold=True)}, sums, stored.get("mid"))

    def _task(self, label: Mapping[int, _Cell], task: _Line, own: dict[tuple[str, str, float], str]) -> int:
        row, product = len(self.grid.rows), 1.0
        cells = {
            **label,
            4: _Cell(task.title),
            5: _Cell(" × ".join(f"{name} ({unit})" if unit else name for name, unit, _ in task.inputs)),
        }
        for at, (name, unit, value) in enumerate(task.inputs, _FIRST):
            product *= value
            where = self.shared.get((name, unit)) or own.get((name, unit, value))
            cells[at] = _Cell(value, f"={where}") if where else _Cell(value, blue=True)
            if not where:
                own[name, unit, value] = _at(row, at, True)
        inputs = f"{_at(row, _FIRST)}:{_at(row, _FIRST + len(task.inputs) - 1)}"
        cells[self.amount] = _Cell(product, f"=PRODUCT({inputs})")
        worth = 0.0
        for at, weight in enumerate(task.weights):
            if weight:
                amount, paid = _at(row, self.amount, column_fixed=True), _at(row, self.weight + at)
                cells[self.year + at] = _Cell(product * weight, f"={amount}*{paid}", _CENT)
                cells[self.weight + at] = _Cell(weight, blue=True)
                worth += product * weight * self.grid.value(self.factors, self.year + at)
        cells[self.worth] = _Cell(worth, f"=SUMPRODUCT({self._discounted(row)})", _CENT)
        cells[self.source] = _Cell(task.source)
        return self.grid.add(cells)

    def _discounted(self, row: int) -> str:
        """The years of a row and their discount factors."""
        last = self.year + self.years - 1
        return ",".join(
            f"{_at(at, self.year, fixed)}:{_at(at, last, fixed)}" for at, fixed in ((row, False), (self.factors, True))
        )

    def _part(self, cells: dict[int, _Cell], rows: Sequence[int], stored: Any) -> int:
        """The sum of a part over the rows of its tasks, each year to the cent, and what those years are worth to the cent."""
        row, worth = len(self.grid.rows), 0.0
        for column in range(self.year, self.year + self.years):
            if any(column in self.grid.rows[at] for at in rows):
                value = _cents(sum(self.grid.value(at, column) for at in rows))
                worth += value * self.grid.value(self.factors, column)
                cells[column] = _Cell(
                    value, f"=ROUND(SUM({_at(rows[0], column)}:{_at(rows[-1], column)}),2)", _CENT, bold=True
                )
        worth = _cents(worth)
        cells[self.worth] = _Cell(worth, f"=ROUND(SUMPRODUCT({self._discounted(row)}),2)", _CENT, bold=True)
        return self.grid.add(cells | _check(row, self.worth, worth, stored))

    def _total(self, cells: dict[int, _Cell], rows: Sequence[int], stored: Any) -> int:
        """The sum of the parts."""
        row = len(self.grid.rows)
        for column in (self.worth, *range(self.year, self.year + self.years)):
            value = sum(self.grid.value(at, column) for at in rows)
            if column == self.worth or any(column in self.grid.rows[at] for at in rows):
                cells[column] = _Cell(
                    value, f"=SUM({','.join(_at(at, column) for at in rows) or '0'})", _CENT, bold=True
                )
        return self.grid.add(cells | _check(row, self.worth, cells[self.worth].value, stored))


def _check(row: int, column: int, value: float | str, stored: Any) -> dict[int, _Cell]:
    """The figure of study.json beside a formula, and their difference."""
    if not is_number(stored) or not is_number(value):
        return {}
    return {
        column + 1: _Cell(stored, form=_CENT),
        column + 2: _Cell(value - stored, f"={_at(row, column)}-{_at(row, column + 1)}", _CENT),
    }


def _lines(parts: Sequence[Mapping[str, Any]], hour: float) -> list[list[_Line]]:
    """The tasks of each part; a part with amounts and no task is one line of its stored amounts."""
    out = []
    for part in parts:
        tasks = [_line(task, hour) for task in part.get("tasks") or ()]
        yearly = tuple(_number(value) for value in part.get("yearly") or ())
        if not tasks and any(yearly):
            tasks = [_Line("amounts as stored", plain(part.get("source")), (("share counted", "", 1.0),), yearly)]
        out.append(tasks)
    return out


def _line(task: Mapping[str, Any], hour: float) -> _Line:
    """Work in hours has its price inside the weights: it becomes an input, so that the weight is how often."""
    inputs = [
        (plain(one.get("name")), str(one.get("unit") or ""), _number(one.get("mid")))
        for one in task.get("inputs") or ()
    ]
    weights = tuple(_number(value) for value in task.get("weights") or ())
    if is_number(task.get("hours")) and hour:
        inputs.insert(1, (_HOUR, "", hour))
        weights = tuple(value / hour for value in weights)
    return _Line(
        plain(task.get("title")), plain(task.get("source")), tuple(inputs) or (("as stated", "", 1.0),), weights
    )


def _number(value: Any) -> float:
    """A number; nothing where there is none."""
    return value if is_number(value) else 0.0


def _cents(value: float) -> float:
    """To the cent as a spreadsheet rounds: half a cent away from nothing."""
    return copysign(floor(abs(value) * 100 + 0.5) / 100, value)


def _at(row: int, column: int, fixed: bool = False, column_fixed: bool = False) -> str:
    """A cell as a formula names it, from its row and column counted from 0."""
    letters, left = "", column + 1
    while left:
        left, digit = divmod(left - 1, 26)
        letters = chr(65 + digit) + letters
    return f"{'$' if fixed or column_fixed else ''}{letters}{'$' if fixed else ''}{row + 1}"
