"""Cells of every CSV: text stays text in a spreadsheet and comes back as it was; numbers are left alone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import quietseat
from quietseat.celltext import quiet, unquiet


@pytest.mark.parametrize(("value", "cell"), [
    ("=1+1", "'=1+1"), ("-5 degC", "'-5 degC"), ("+A1", "'+A1"), ("@sum", "'@sum"), ("\tx", "'\tx"), ("\rx", "'\rx"), ("-", "'-"),
    ("'=1+1", "''=1+1"), ("-3.2", "-3.2"), (-3.2, "-3.2"), ("+1,5e3", "+1,5e3"), (-7, "-7"), ("12 barg", "12 barg"), (None, ""), ("O'Hara", "O'Hara"),
    ("'quoted'", "'quoted'"),
])  # fmt: skip
def test_a_cell_stays_text_and_comes_back(value: object, cell: str) -> None:
    assert quiet(value) == cell
    assert unquiet(cell) == ("" if value is None else str(value))


def test_every_file_of_cells_goes_through_it() -> None:
    """A module that writes CSV takes `quiet` for its cells."""
    root = Path(quietseat.__file__).parent
    writers = [path for path in root.rglob("*.py") if re.search(r"csv\.(?:writer|DictWriter)\(", path.read_text(encoding="utf-8"))]
    assert len(writers) >= 7
    assert [path.name for path in writers if "from quietseat.celltext import quiet" not in path.read_text(encoding="utf-8")] == []
