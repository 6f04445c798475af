"""How a calculation ended, and what was wrong with data: the two records every level speaks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Status(StrEnum):
    """How a calculation ended. Only `OK` carries a number that may be ranked."""

    OK = "ok"
    OUT_OF_RANGE = "out-of-range"
    NOT_CONVERGED = "not-converged"
    NOT_COMPUTED = "not-computed"


@dataclass(frozen=True, slots=True)
class Settles:
    """A field whose value would settle a contradiction.

    field: full name. values: what is stated somewhere, as it may be written, each with where; sheet, row: of its cell, None for the
    problem's own.
    """

    field: str
    values: tuple[tuple[str, str], ...] = ()
    sheet: str | None = None
    row: int | None = None


_KEYS = ("file", "sheet", "row", "column", "field", "value", "rule", "mend")


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with the input: where it stands, what it says, which rule it breaks, how to mend it.

    settles: of a contradiction, the fields that would decide it, the likeliest first.
    """

    rule: str
    mend: str | None = None
    file: str | None = None
    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    field: str | None = None
    value: str | None = None
    settles: tuple[Settles, ...] = ()

    def as_dict(self) -> dict[str, object]:
        """The eight keys of the contract; absent parts are None."""
        return {key: getattr(self, key) for key in _KEYS}

    def sentence(self) -> str:
        """The problem as one line of text."""
        place = ", ".join(
            part
            for part in (
                self.file,
                f"sheet {self.sheet}" if self.sheet else None,
                f"row {self.row}" if self.row is not None else None,
                f"column {self.column}" if self.column else None,
                self.field,
            )
            if part
        )
        said = f" {self.value!r}:" if self.value is not None else ""
        mend = f" {self.mend}" if self.mend else ""
        return f"{place + ':' if place else ''}{said} {self.rule}{mend}".strip()


@dataclass(frozen=True, slots=True)
class Assumption:
    """A value nobody gave: what was taken instead, by which rule, from which source."""

    field: str
    value: str
    rule: str
    source: str


class InputUnusable(Exception):
    """The input as a whole cannot be used (exit code 2); the message is one clear sentence."""


class CalculationFailed(Exception):
    """A calculation that did not end ok: carries its Status and the reason in words."""

    def __init__(self, status: Status, reason: str) -> None:
        super().__init__(reason)
        self.status = status
        self.reason = reason
