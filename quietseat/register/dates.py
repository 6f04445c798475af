"""Dates as registers write them; day and month are told apart by proof, never by habit: dates with points have the day first."""

from __future__ import annotations

import datetime
import re

from quietseat.register.taken import Taken
from quietseat.register.workbook import Cell

EPOCH = datetime.datetime(1899, 12, 30)  # day 0 of a spreadsheet
AS_DAY = "write it as year-month-day (YYYY-MM-DD)"
SERIALS = (20000, 60000)  # 1954 to 2064 as spreadsheet dates

_SLASHED = re.compile(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{4}|\d{2})(?: .*)?")
_POINTS = re.compile(r"\d{1,2}\.\d{1,2}\.\d{2,4}(?: .*)?")
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})(?:[-/.](\d{1,2}))?(?:[T ].*)?")
_NAMES = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTHS = {name: n for n, name in enumerate(_NAMES, 1)}
_NAMED = re.compile(r"(?:(\d{1,2})[ \-./]?)?([A-Za-z]{3,9})[ \-./,']*(\d{4}|\d{2})")


def _year(text: str) -> int:
    year = int(text)
    return year if year > 99 else (2000 + year if year < 70 else 1900 + year)


def date_proof(text: str) -> str:
    """Which order of day and month a date proves: day-first, month-first, or nothing."""
    found = _SLASHED.fullmatch(text.strip())
    if not found:
        return ""
    first, second = int(found[1]), int(found[2])
    return "day-first" if first > 12 >= second else "month-first" if second > 12 >= first else ""


def read_date(cell: Cell, order: str, choice: str) -> Taken:
    """A date as ISO text (a year or a month alone stay as they are). order: proved by the column."""
    text = cell.text.strip()
    if re.fullmatch(r"(?:TA|T/A|SD|turnaround|shutdown)[ \-']?\d{2,4}.*", text, re.I):
        return Taken("refused", text, rule=f"{text!r} names a turnaround, not a date", mend=AS_DAY)
    if re.fullmatch(r"(?:19|20)\d{2}", text):
        return Taken("value", text, text, "assumed", "a year alone")
    if text.isdecimal() and SERIALS[0] <= int(text) <= SERIALS[1]:
        date = EPOCH + datetime.timedelta(days=int(text))
        return Taken("value", text, date.date().isoformat(), "assumed", "a spreadsheet's serial number of the day")
    if found := _ISO.fullmatch(text):
        return _made(text, int(found[1]), int(found[2]), int(found[3] or 0))
    if (found := _NAMED.fullmatch(text)) and found[2][:3].lower() in _MONTHS:
        return _made(text, _year(found[3]), _MONTHS[found[2][:3].lower()], int(found[1] or 0))
    if found := _SLASHED.fullmatch(text):
        first, second, year = int(found[1]), int(found[2]), _year(found[3])
        own = date_proof(text) or ("day-first" if first == second else "")
        if not own and _POINTS.fullmatch(text):
            return _made(text, year, second, first, "assumed", "written with points: day, month, year")
        use = own or order or (choice if choice != "infer" else "")
        if not use:
            return Taken("refused", text, rule=f"{text!r}: day and month cannot be told apart and no date of the column "
                         "proves the order", mend=f"{AS_DAY}, or set date_order in the basis")  # fmt: skip
        day, month = (first, second) if use == "day-first" else (second, first)
        rule = "" if own else f"{use.replace('-', ' ')}, " + ("as other dates of the column prove" if order else "Basis")
        return _made(text, year, month, day, "read" if own else "assumed", rule)
    if found := re.fullmatch(r"(\d{1,2})[/\-.](\d{4})", text):
        return _made(text, int(found[2]), int(found[1]), 0)
    return Taken("refused", text, rule=f"{text!r} is not a date", mend=AS_DAY)


def _made(text: str, year: int, month: int, day: int, how: str = "read", rule: str = "") -> Taken:
    try:
        datetime.date(year, month, day or 1)
    except ValueError:
        return Taken("refused", text, rule=f"{text!r} is no day of the calendar", mend=AS_DAY)
    return Taken("value", text, f"{year:04d}-{month:02d}" + (f"-{day:02d}" if day else ""), how, rule)
