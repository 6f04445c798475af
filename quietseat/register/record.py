"""What reading a register gives: the records of `read`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from quietseat.model import Location
from quietseat.register import output
from quietseat.register.mends import MendRead
from quietseat.status import Assumption, Problem


@dataclass(frozen=True, slots=True)
class SheetRead:
    """One sheet: what it is for, where its headings stand, how many rows count, what was passed over."""

    name: str
    role: str
    header_rows: tuple[int, ...]
    unit_row: int | None
    hidden: bool
    hidden_rows: tuple[int, ...]
    hidden_columns: tuple[str, ...]
    rows_found: int
    rows_matched: int
    skipped: tuple[tuple[int, str, str], ...]  # row, kind (heading, unit, total, section, note, outside), text


@dataclass(frozen=True, slots=True)
class Column:
    """One column. field "" and how "not mapped": not used."""

    sheet: str
    letter: str
    heading: str
    field: str
    unit: str
    how: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class RowRead:
    """One counted row: read, partial (usable, with a refused or missing cell) or refused, and why."""

    sheet: str
    row: int
    state: str
    reason: str
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Register:
    """A register as it was read. rows_found = rows_read + rows_partial + rows_refused, by construction."""

    file: str
    sheets: tuple[SheetRead, ...]
    columns: tuple[Column, ...]
    rows: tuple[RowRead, ...]
    locations: tuple[Location, ...]
    problems: tuple[Problem, ...]
    mends: tuple[MendRead, ...]
    assumptions: tuple[Assumption, ...]

    def _count(self, state: str) -> int:
        return sum(row.state == state for row in self.rows)

    @property
    def rows_found(self) -> int:
        """Rows of the valve sheets that count."""
        return len(self.rows)

    @property
    def rows_read(self) -> int:
        """Rows read in full."""
        return self._count("read")

    @property
    def rows_partial(self) -> int:
        """Rows that are usable with a refused or missing cell."""
        return self._count("partial")

    @property
    def rows_refused(self) -> int:
        """Rows that make no valve."""
        return self._count("refused")

    @property
    def valves_found(self) -> int:
        """Valves: an A/B row is one row and two valves."""
        return len(self.locations)

    def head(self) -> dict[str, Any]:
        """Everything of `read --json` but the valves."""
        return output.head(self)

    def to_dict(self) -> dict[str, Any]:
        """The answer of `read --json`."""
        return output.whole(self)
