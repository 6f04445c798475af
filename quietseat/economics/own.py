"""A site's own prices: a folder of CSV files whose rows replace the low, mid and high of the packaged tables."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from math import isfinite
from pathlib import Path
from typing import Any

from quietseat.status import InputUnusable
from quietseat.tables import Row, Table, table

# Which columns name a row of each table of money. Blank where the packaged row has none.
KEYS: Mapping[str, tuple[str, ...]] = {
    "remedy_costs": ("item",), "maintenance_costs": ("item", "size_up_to"), "work_hours": ("item", "size"),
    "spring_prices": ("inlet",), "price_factors": ("item",), "price_ratios": ("size_up_to",), "lifecycle": ("item",),
}  # fmt: skip
RANGE = ("low", "mid", "high")


@lru_cache(maxsize=256)
def price_table(name: str, own: str = "") -> Table:
    """A table of money with the rows a site replaced.

    own: the Basis's choice price_tables, a folder that holds NAME.csv for each table to change: the key columns and low,
    mid, high; "" = the packaged table. Raises InputUnusable naming every file, line and value that cannot be used.
    """
    packaged = table(name)
    if not own:
        return packaged
    return read_folder(own).get(name, packaged)


def _folder(own: str) -> Path:
    folder = Path(own)
    if not folder.is_dir():
        raise InputUnusable(f"price_tables = {own!r}: is not a folder; it holds one CSV file for each table to change")
    return folder


@lru_cache(maxsize=16)
def read_folder(own: str) -> Mapping[str, Table]:
    """The tables a folder changes, by name. Raises InputUnusable naming everything wrong in it at once."""
    folder = _folder(own)
    files = sorted(folder.glob("*.csv"))
    if not files:
        raise InputUnusable(f"price_tables = {own!r}: holds no CSV file; name one of {', '.join(f'{k}.csv' for k in KEYS)}")
    wrong: list[str] = []
    found: dict[str, Table] = {}
    for file in files:
        if file.stem not in KEYS:
            wrong.append(f"{file.name}: is no table of prices; the tables are {', '.join(KEYS)}")
        else:
            found[file.stem] = _replaced(file, wrong)
    if wrong:
        raise InputUnusable(f"price_tables = {own!r}: " + "; ".join(wrong))
    return found


def fingerprint(own: str) -> str:
    """SHA-256 over names and bytes of the CSV files of a folder of prices, sorted by name; "" without a folder.

    own: the Basis's choice price_tables. Raises InputUnusable where the folder or a file cannot be read.
    """
    if not own:
        return ""
    whole = sha256()
    for file in sorted(_folder(own).glob("*.csv"), key=lambda file: file.name):
        try:
            content = file.read_bytes()
        except OSError as error:
            raise InputUnusable(f"price_tables = {own!r}: {file.name}: cannot be read ({error.strerror})") from error
        for piece in (file.name.encode(), content):  # each behind its length, so that no two folders run together alike
            whole.update(len(piece).to_bytes(8, "big") + piece)
    return whole.hexdigest()


def _replaced(file: Path, wrong: list[str]) -> Table:
    packaged, keys = table(file.stem), KEYS[file.stem]
    try:
        lines = list(csv.reader(file.read_text(encoding="utf-8-sig").splitlines()))
    except (OSError, UnicodeDecodeError) as error:
        wrong.append(f"{file.name}: cannot be read as UTF-8 text ({error})")
        return packaged
    heading = [cell.strip() for cell in lines[0]] if lines else []
    missing = [column for column in (*keys, *RANGE) if column not in heading]
    extra = [column for column in heading if column not in (*keys, *RANGE, "note")]
    if missing or extra:
        said = [f"no column {column!r}" for column in missing] + [f"unknown column {column!r}" for column in extra]
        wrong.append(f"{file.name}: {', '.join(said)}; the columns are {', '.join((*keys, *RANGE))} and, if you like, note")
        return packaged
    changed: dict[tuple[Any, ...], Row] = {}
    for number, cells in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        given = dict(zip(heading, (cell.strip() for cell in cells)))
        row = _row(file, number, given, packaged, keys, wrong)
        if row is not None:
            key = tuple(row[part] for part in keys)
            if key in changed:
                wrong.append(f"{file.name} line {number}: the row {_said(given, keys)} stands there twice")
            changed[key] = row
    rows = tuple(changed.get(tuple(row[part] for part in keys), row) for row in packaged.rows)
    head = {"source": packaged.source, "lookup": packaged.lookup, "key": ", ".join(packaged.key), "note": packaged.note}
    return Table(packaged.name, str(file), head, packaged.columns, rows)


def _row(
    file: Path, number: int, given: Mapping[str, str], packaged: Table, keys: tuple[str, ...], wrong: list[str]
) -> Row | None:
    where = f"{file.name} line {number}"
    old = next((row for row in packaged.rows if all(_same(row[key], given.get(key, "")) for key in keys)), None)
    if old is None:
        first = keys[0]
        names = list(dict.fromkeys(_text(row[first]) for row in packaged.rows))
        alike = [row for row in packaged.rows if _same(row[first], given.get(first, ""))]
        if alike and len(keys) > 1:  # the item is known, its size is not
            first, names = keys[1], [_text(row[keys[1]]) or "blank" for row in alike]
        wrong.append(f"{where}: table {packaged.name} has no row {_said(given, keys)}; {first} is one of {', '.join(names)}")
        return None
    values: list[float] = []
    for column in RANGE:
        text = given.get(column, "")
        try:
            value = float(text)
        except ValueError:
            value = float("nan")
        if not isfinite(value) or value < 0:
            wrong.append(f"{where}: {column} = {text!r}: must be a number, not negative")
            return None
        values.append(value)
    if not values[0] <= values[1] <= values[2]:
        wrong.append(f"{where}: low {values[0]:g}, mid {values[1]:g}, high {values[2]:g}: must not fall")
        return None
    marks = {"provenance": "seen", "source": "site", "place": where}
    marks |= {column: "" for column in packaged.columns if column.endswith("_provenance")}
    return Row({**old, **dict(zip(RANGE, values)), **marks}, packaged.name)


def _same(have: Any, given: str) -> bool:
    if have is None or given == "":
        return have is None and given == ""
    if isinstance(have, (int, float)):
        try:
            return abs(float(given) - have) < 1e-9
        except ValueError:
            return False
    return str(have) == given


def _text(value: Any) -> str:
    return "" if value is None else f"{value:g}" if isinstance(value, (int, float)) else str(value)


def _said(given: Mapping[str, str], keys: tuple[str, ...]) -> str:
    return ", ".join(f"{key} {given.get(key) or 'blank'!r}" for key in keys)
