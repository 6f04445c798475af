"""Plant registers: spreadsheets of relief valves as people keep them, read with nothing guessed silently."""

from __future__ import annotations

from quietseat.register.jobs import Job, jobs_of
from quietseat.register.reader import read, read_with_cells
from quietseat.register.record import Register
from quietseat.register.seen import Cells

__all__ = ["Cells", "Job", "Register", "jobs_of", "read", "read_with_cells"]
