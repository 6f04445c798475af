"""What a valve leaks: the report study and remedies call, and the answer of the `leak` command."""

from __future__ import annotations

from quietseat.leakage.answer import as_data, leak_answer
from quietseat.leakage.records import LeakReport, Since
from quietseat.leakage.report import Beside, beside, report

__all__ = ["Beside", "LeakReport", "Since", "as_data", "beside", "leak_answer", "report"]
