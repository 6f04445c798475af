"""problems.csv: every problem of the data, with the way to mend it; text is never run as a formula."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any

from quietseat.celltext import quiet

KEYS = ("file", "sheet", "row", "column", "field", "value", "rule", "mend")


def render(problems: Iterable[Mapping[str, Any]]) -> str:
    """The problems as CSV text; a cell that a spreadsheet would run as a formula gets an apostrophe before it."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(KEYS)
    for problem in problems:
        writer.writerow([quiet(problem.get(key)) for key in KEYS])
    return out.getvalue()
