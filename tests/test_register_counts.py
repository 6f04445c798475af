"""Nothing is lost: for any grid at all the rows add up, every refusal has a reason, and no value lacks an origin."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from registers import make

from quietseat import basis
from quietseat.register import read
from quietseat.register.fields import fields, naming
from quietseat.status import InputUnusable

BASIS = basis.make()
WORDS = st.sampled_from([
    "", "PSV-1", "PSV-1A/B", "PSV-2", "10-PSV-003 (spare)", "4P6", "1.00E+02", "150", "P", "T", "TRUE", "n/a", "TBC", "12.5 bar", "150/165",
    "10.5 (152)", "100", "43833", "03/04/2021", "conventional", "#REF!", "Total", "Unit 5", "barg", "Tag", "500 Nm3/h", "-", "1,250", "AMB",
    "passing", "3/4 MNPT", "Σ", "x" * 50, "0", "-5", "1e999", "NaN", "=SUM(A1)", "  ", "A/B", "PSV", "PSV-1/2",
])  # fmt: skip
CELLS = st.one_of(WORDS, WORDS, st.integers(-10, 60000), st.floats(allow_nan=False, allow_infinity=False, width=32), st.text(max_size=8))
HEADS = st.permutations([*make.HEADINGS, "Designation", "Remarks", "Last test", "Dirty", "Inlet length (m)", "P&ID"])


def _clean(value: object) -> object:
    """Text that a CSV cell can hold on one line."""
    return "".join(c for c in value if c.isprintable()) if isinstance(value, str) else value


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(HEADS, st.lists(st.lists(CELLS, max_size=19), max_size=12))
def test_counts_add_up_for_any_grid(heads: list[str], rows: list[list[object]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = make.csv(Path(folder) / "a.csv", [heads, *([_clean(cell) for cell in row] for row in rows)])
        found = read(file, BASIS)
    assert found.rows_found == found.rows_read + found.rows_partial + found.rows_refused == len(found.rows)
    assert found.valves_found == len(found.locations)
    passed_over = {row for row, _, _ in found.sheets[0].skipped}
    counted = {row.row for row in found.rows}
    assert not passed_over & counted and len(counted) == len(found.rows)
    # every row with anything in it is either counted or named as passed over
    further = len(found.sheets) > 1
    assert further == any("a further table begins" in problem.rule for problem in found.problems)
    for number, row in enumerate(rows, start=2):
        cells = [str(cell) for cell in map(_clean, row) if str(cell).strip()]
        if cells and not further and found.sheets[0].header_rows == (1,) and found.sheets[0].unit_row is None:
            assert number in counted | passed_over, (number, cells)
    for told in found.rows:
        assert (told.state == "read") == (told.reason == "")
        assert (told.state == "refused") == (told.tags == ())
    tags = [place.tag for place in found.locations]
    assert len(tags) == len(set(tags))
    for place in found.locations:
        assert place.valve.set_pressure is None or "valve.set_pressure" in place.origins
        for number, case in enumerate(place.cases):
            assert case.flow is None or f"cases.{number}.flow" in place.origins
    for problem in found.problems:
        assert problem.rule and problem.file == "a.csv"
    found.to_dict()


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(CELLS, max_size=8), max_size=10))
def test_any_text_is_read_or_refused_in_one_sentence(rows: list[list[object]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = make.csv(Path(folder) / "a.csv", [[_clean(cell) for cell in row] for row in rows])
        try:
            found = read(file, BASIS)
        except InputUnusable as error:
            assert str(error).endswith(".") and "\n" not in str(error)
        else:
            assert found.rows_found == found.rows_read + found.rows_partial + found.rows_refused


@settings(max_examples=60, deadline=None)
@given(st.binary(min_size=1, max_size=400), st.sampled_from([".xlsx", ".csv", ".ods", ".xls", ""]))
def test_any_bytes_end_in_a_register_or_one_sentence(data: bytes, suffix: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / f"a{suffix}"
        file.write_bytes(data)
        try:
            read(file, BASIS)
        except InputUnusable as error:
            assert str(error)


def test_every_alias_names_its_field() -> None:
    lost = [
        (alias, field.name) for field in fields().values() for alias in field.aliases
        if field.name not in naming(alias).ids
    ]  # fmt: skip
    assert lost == []


def test_every_field_name_is_a_heading() -> None:
    lost = [name for name, field in fields().items() if name not in naming(name.replace(".", " ")).ids and len(field.key) > 1]
    assert lost == []
