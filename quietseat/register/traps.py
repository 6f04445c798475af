"""What a spreadsheet program made of a cell: sizes turned into numbers or dates, letters into truth values."""

from __future__ import annotations

import datetime
import re

from quietseat.register import sizes
from quietseat.register.dates import EPOCH, SERIALS
from quietseat.register.fields import Field
from quietseat.register.taken import Taken
from quietseat.register.workbook import Cell

SPREAD_MEND = "the spreadsheet changed what was typed: format the column as text and type it again"
_SIZES = ("pipe_size", "designation", "letter")
_EATEN = re.compile(r"[0-9]\.?[0-9]*E\+[0-9]+", re.I)


def trap(cell: Cell, field: Field, unit: str) -> Taken | None:
    """What a spreadsheet program made of the cell, where that can be told."""
    text, quantity = cell.text, field.quantity
    if quantity == "date":
        return None
    if cell.kind == "date" or (quantity in (*_SIZES, "pressure_class") and _is_serial(cell)):
        date = cell.value if cell.kind == "date" else EPOCH + datetime.timedelta(days=float(text))
        guess = ""
        if quantity in _SIZES:
            guess = f": probably the size {date.month}-{date.day} or {date.day}/{date.month} turned into a date"
        return Taken("refused", text, rule=f"the cell holds the date {date:%Y-%m-%d}{guess}", mend=SPREAD_MEND)
    if quantity in _SIZES and (found := _eaten(cell, unit)):
        return found
    if cell.kind == "bool" and quantity not in ("yes_no", "letter"):
        return Taken("refused", text, rule=f"the cell holds the truth value {text}", mend=SPREAD_MEND)
    if quantity not in ("yes_no", "letter", "designation", "schedule", "choice", "cause", "block_valve"):
        return _letter_for_digit(text)
    return None


def _is_serial(cell: Cell) -> bool:
    return cell.text.isdecimal() and SERIALS[0] <= int(cell.text) <= SERIALS[1]



def _eaten(cell: Cell, unit: str) -> Taken | None:
    """1E2 kept as 100 or shown as 1.00E+02, 2E3 as 2000."""
    scientific = _EATEN.fullmatch(cell.text)
    if not scientific and cell.kind != "number" and not cell.text.isdecimal():
        return None
    try:
        number = float(cell.text)
    except ValueError:
        return None
    guess = sizes.eaten().get(number)
    if scientific or (guess and cell.form == "E"):
        words = f"probably {guess} turned into the number {number:g}" if guess else "a size turned into a number"
        return Taken("refused", cell.text, rule=f"{cell.text!r}: {words}", mend=SPREAD_MEND)
    if guess and unit not in ("DN", "mm"):
        other = "" if number not in (100.0, 150.0, 200.0, 1000.0) else f", or DN {number:g}"
        shift = ", or a flange class from another column" if int(number) in sizes.CLASSES else ""
        return Taken("refused", cell.text, rule=f"{cell.text!r} is probably {guess} turned into a number{other}{shift}",
                     mend=f"{SPREAD_MEND} ('{guess}'" + (f" or 'DN {number:g}')" if other else ")"))  # fmt: skip
    return None


def _letter_for_digit(text: str) -> Taken | None:
    """The letter O, I or l where a digit belongs: 15O psig."""
    head = re.match(r"[0-9OolI.,]+", text)
    if not head or not re.search(r"[OoIl]", head[0]) or not re.search(r"\d", head[0]):
        return None
    if re.fullmatch(r"\d+[.,]?\d*[Ol]", head[0]) is None and re.search(r"\d[OolI]+\d|\d[Oo]+$|^[OolI]+[\d.]", head[0]) is None:
        return None
    rest = text[head.end() :]
    if rest[:1].isalpha() and rest[:1] not in "pbkmPBKM ":
        return None
    digits = head[0].translate(str.maketrans("OoIl", "0011"))
    return Taken("refused", text, rule=f"{text!r} holds a letter among its digits: probably {digits}{rest}",
                 mend="type the number with digits only")  # fmt: skip
