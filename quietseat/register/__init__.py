"""Plant registers: spreadsheets of relief valves as people keep them, read with nothing guessed silently."""

from __future__ import annotations

from quietseat.register.jobs import Job, jobs_of
from quietseat.register.reader import read
from quietseat.register.record import Register

__all__ = ["Job", "Register", "jobs_of", "read"]
