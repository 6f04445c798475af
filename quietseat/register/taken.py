"""What is taken from one cell: the record every step of the reading hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken from one cell.

    state: value, blank, not-applicable, unknown, pending, refused, several (value: the values of one cell).
    how: read, assumed, mended. rule: the reading rule, or why it was refused. mend: how to write it.
    source: the line of the mends file that stands in place of the cell, "" where the cell itself was read.
    """

    state: str
    text: str = ""
    value: Any = None
    how: str = "read"
    rule: str = ""
    mend: str = ""
    unit: str = ""
    source: str = ""

    @property
    def good(self) -> bool:
        """A value that may be used."""
        return self.state == "value"


BLANK = Taken("blank")


def stated(taken: Taken) -> str:
    """A value that was read as a mend may write it: with the unit it was read in where the cell itself names none."""
    text = taken.text.strip()
    if not taken.unit or taken.unit == "1" or any(char.isalpha() or char in "%°\"'" for char in text):
        return text
    return f"{taken.unit} {text}" if taken.unit == "DN" else f"{text} {taken.unit}"
