"""Every field a person can give, as data: one row of fields.csv each. Reader, case files and docs use it."""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources


@dataclass(frozen=True, slots=True)
class Field:
    """One row of fields.csv: `table.key` is how a case file names it."""

    table: str
    key: str
    quantity: str
    choices: tuple[str, ...]
    attribute: str  # the record's attribute it fills
    aliases: tuple[str, ...]  # headings of registers
    description: str

    @property
    def name(self) -> str:
        """Full name, as in "valve.set_pressure"."""
        return f"{self.table}.{self.key}"


@lru_cache(maxsize=1)
def fields() -> Mapping[str, Field]:
    """Every field by full name, in the order of fields.csv."""
    text = resources.files("quietseat").joinpath("data/fields.csv").read_text(encoding="utf-8")
    out: dict[str, Field] = {}
    for row in csv.DictReader(text.splitlines()):
        field = Field(
            row["table"], row["key"], row["quantity"], tuple(w for w in row["choices"].split("|") if w),
            row["attribute"], tuple(w for w in row["aliases"].split("|") if w), row["description"],
        )  # fmt: skip
        out[field.name] = field
    return out


@lru_cache(maxsize=16)
def of_table(table: str) -> Mapping[str, Field]:
    """The fields of one table by key."""
    return {field.key: field for field in fields().values() if field.table == table}
