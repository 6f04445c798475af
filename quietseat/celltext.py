"""Text in the cell of a CSV: a spreadsheet must not run it as a formula, and a program must read it back as it was."""

from __future__ import annotations

import re
from typing import Any

_RUN = re.compile(r"'*[=+\-@\t\r]")  # apostrophes before it too, so that every text comes back as it was
_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?")
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


def clean(text: str) -> str:
    """Text without characters that no file format can hold; each one becomes the replacement mark."""
    return text if text.isprintable() else _UNPRINTABLE.sub("\ufffd", text)


def quiet(value: Any) -> str:
    """A value as a cell that stays what it is: text a spreadsheet would run (it begins with = + - @, a tab or a return) gets an
    apostrophe before it; numbers, such as -3.2, stay as they are, None is blank.
    """
    text = "" if value is None else clean(str(value))
    return f"'{text}" if _RUN.match(text) and not _NUMBER.fullmatch(text) else text


def unquiet(text: str) -> str:
    """The text of a cell `quiet` wrote: without that one apostrophe."""
    return text[1:] if text.startswith("'") and _RUN.match(text) else text
