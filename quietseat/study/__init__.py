"""The reproducible result: every valve of a register against one Basis, ranked, with a hash over what went in."""

from __future__ import annotations

from quietseat.study.kept import Store
from quietseat.study.records import Progress, Record, Study
from quietseat.study.run import run

__all__ = ["Progress", "Record", "Store", "Study", "run"]
