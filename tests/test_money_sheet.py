"""The sheet Money: live formulas worked out from their inputs alone, against figures by hand and against the answer of `cost`."""

from __future__ import annotations

import io
import math
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import report_sample as sample
import xlsxwriter

from quietseat import plain
from quietseat.assess import assess
from quietseat.casefile import read_valve
from quietseat.cost import account
from quietseat.remedies import propose
from quietseat.report import money_sheet, xlsx

EXAMPLE = (
    (Path(__file__).parent.parent / "examples" / "valve.toml").read_text(encoding="utf-8").replace("44.1", "18")
)  # mostly methane
PILOT = "pilot-modulating-remote-non-bleeding-pilot-body"


@pytest.fixture(scope="module")
def study() -> sample.Study:
    return sample.study()


@pytest.fixture(scope="module")
def workbook(study: sample.Study) -> Any:
    return openpyxl.load_workbook(io.BytesIO(xlsx.render(study)))


class Sums:
    """Works out the few formulas of the sheet Money from its inputs alone, whatever values are stored with them."""

    def __init__(self, sheet: Any, **changed: float) -> None:
        self.sheet, self.known = sheet, dict(changed)

    def at(self, name: str) -> float:
        if name not in self.known:
            value = self.sheet[name].value
            self.known[name] = (
                self.formula(value) if isinstance(value, str) and value.startswith("=") else float(value or 0.0)
            )
        return self.known[name]

    def formula(self, text: str) -> float:
        source = re.sub(r"([A-Z]+\d+):([A-Z]+\d+)", r"run('\1','\2')", text[1:].replace("$", ""))
        source = re.sub(r"(?<!')\b([A-Z]+\d+)\b", r"at('\1')", source).replace("^-at(", "**-at(")
        names = {"at": self.at, "run": self.run, "SUM": self.sum, "ROUND": self.round, "PRODUCT": math.prod,
                 "SUMPRODUCT": lambda a, b: sum(x * y for x, y in zip(a, b, strict=True))}  # fmt: skip
        return float(eval(source, {"__builtins__": {}}, names))

    def run(self, first: str, last: str) -> list[float]:
        return [self.at(cell.coordinate) for row in self.sheet[f"{first}:{last}"] for cell in row]

    @staticmethod
    def round(value: float, digits: float) -> float:
        """As a spreadsheet does it: a half goes away from nothing."""
        return math.copysign(math.floor(abs(value) * 10**digits + 0.5) / 10**digits, value)

    @staticmethod
    def sum(*values: Any) -> float:
        return sum(sum(value) if isinstance(value, list) else value for value in values)


def _find(sheet: Any, words: str, column: int = 1) -> int:
    """The first row with these words in a column, below the heading that stays in sight."""
    return next(row for row in range(2, sheet.max_row + 1) if sheet.cell(row, column).value == words)


def test_formulas_of_money_are_stored_with_their_value(study: sample.Study, workbook: Any) -> None:
    import openpyxl

    stored = openpyxl.load_workbook(io.BytesIO(xlsx.render(study)), data_only=True)["Money"]
    sheet = workbook["Money"]
    sums, count = Sums(sheet), 0
    for row in sheet.iter_rows():
        for cell in row:
            if cell.data_type == "f":
                count += 1
                assert stored[cell.coordinate].value == pytest.approx(sums.at(cell.coordinate), abs=1e-9), (
                    cell.coordinate
                )
    assert count > 80
    heading = _find(sheet, "Rank") + 1
    for line, tag in ((heading, "PSV-0001"), (heading + 1, sample.FORMULA_TEXT)):
        row = [cell.value for cell in stored[line]]
        assert row[1] == tag
        # by hand: 390 x 2.4868520 = 969.87; 1000 + 950 - 400 x 0.7513148 = 1649.47
        assert row[6:11] == pytest.approx([969.87, 1649.47, -679.60, -679.60, 0.0], abs=0.01)


def test_inputs_of_money_move_every_total(workbook: Any) -> None:
    sheet = workbook["Money"]
    totals = _find(sheet, "Rank") + 1
    rate, hour = (f"G{_find(sheet, words)}" for words in ("discount rate", "price of a crew hour"))
    assert (sheet[rate].value, sheet[hour].value) == (0.1, 95.0)
    plain = Sums(sheet, **{rate: 0.0})  # nothing is discounted: 3 x 390; 1000 + 950 - 400
    assert (plain.at(f"G{totals}"), plain.at(f"H{totals}"), plain.at(f"I{totals + 1}")) == pytest.approx(
        (1170.0, 1550.0, -380.0)
    )
    dear = Sums(sheet, **{rate: 0.0, hour: 190.0})  # 3 x (4 x 190 + 10); 1000 + 10 x 190 - 400
    assert (dear.at(f"G{totals}"), dear.at(f"H{totals + 1}")) == pytest.approx((2310.0, 2500.0))
    capital = f"G{_find(sheet, 'new valve', 5)}"  # of the first valve alone: its residual value follows, the other valve does not
    more = Sums(sheet, **{rate: 0.0, capital: 2000.0})
    assert (more.at(f"H{totals}"), more.at(f"H{totals + 1}")) == pytest.approx((2000 + 950 - 800, 1550.0))
    real = Sums(sheet, **{rate: 0.21, f"G{_find(sheet, 'inflation inside it')}": 0.1})  # 1.21 / 1.1 = 1.1: as at 10 %
    assert real.at(f"I{totals}") == pytest.approx(-679.60, abs=0.01)


def test_money_says_where_it_leaves_valves_out(monkeypatch: pytest.MonkeyPatch) -> None:
    import openpyxl

    monkeypatch.setattr(money_sheet, "MOST_VALVES", 1)
    sheet = openpyxl.load_workbook(io.BytesIO(xlsx.render(sample.study(3))))["Money"]
    assert "The worst 1 valves; the other accounts stand in study.json." in sheet["A2"].value
    assert sheet.freeze_panes == "C2" and [sheet.cell(1, at).value for at in (1, 2, 4)] == ["Rank", "Tag", "Part"]
    assert {sheet.cell(row, 2).value for row in range(1, sheet.max_row + 1)} == {None, "Tag", "PSV-0001"}


# --- The cells a reader may change, against the answer of `cost` ----------------------------------------------------------


def priced(tmp_path: Path, **choices: str) -> dict[str, Any]:
    """The money of the example with its pilot, worked out by `cost` with these choices."""
    path = tmp_path / "valve.toml"
    basis = {"time_marching": "none", "money_draws": "50"} | choices
    history = '[history]\nlift = [{date = "2021-01-01"}, {date = "2024-01-01"}]\n'
    text = "[basis]\n" + "".join(f'{name} = "{value}"\n' for name, value in basis.items()) + EXAMPLE
    path.write_text(text if "[history]" in EXAMPLE else text + history, encoding="utf-8")
    read = read_valve(str(path))
    found = assess(read.location, read.basis, record=False)
    chosen = account(read.location, found, propose(read.location, found, read.basis), read.basis, name=PILOT).chosen
    assert chosen is not None
    return plain.clean({**chosen, "basis": {"choices": read.basis.rows()}})


def sheet_of(money: dict[str, Any]) -> Any:
    """The workbook with the sheet of one account."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        money_sheet.write(book, {"basis": money["basis"]}, [({"rank": 1, "tag": "A"}, money)])
    return openpyxl.load_workbook(out)


def test_every_named_cell_gives_what_cost_gives_with_the_changed_choice(tmp_path: Path) -> None:
    """The sheet of the default Basis with named cells changed, against `cost` with those choices changed, to the cent.

    Half a cent may fall the other way where a sum ends on it, as the order of the products differs.
    """
    book = sheet_of(priced(tmp_path, carbon_price="0"))
    sheet = book["Money"]
    cells = {
        name: book.defined_names[name].attr_text.removeprefix("Money!").replace("$", "") for name in book.defined_names
    }
    changed = {
        "discount_rate": 0.04,
        "inflation": 0.02,
        "labour_rate": 150.0,
        "product_price": 2.5,
        "carbon_price": 90.0,
    }
    assert set(cells) == set(changed)
    row = _find(sheet, "Rank") + 1
    unchanged = Sums(sheet)
    for name, value in changed.items():
        sums, told = Sums(sheet, **{cells[name]: value}), priced(tmp_path, **{"carbon_price": "0", name: str(value)})
        got = [sums.at(f"{column}{row}") for column in "GHI"]
        expected = [told["keep_total"]["mid"], told["total"]["mid"], told["npv"]["mid"]]
        assert got == pytest.approx(expected, abs=0.021), name
        assert abs(sums.at(f"G{row}") - unchanged.at(f"G{row}")) > 1.0, f"{name} moves the account"
    every = Sums(sheet, **{cells[name]: value for name, value in changed.items()})
    told = priced(tmp_path, **{name: str(value) for name, value in changed.items()})
    assert [every.at(f"{column}{row}") for column in "GH"] == pytest.approx(
        [told["keep_total"]["mid"], told["total"]["mid"]], abs=0.021
    )
