"""The workspace on disk: one SQLite file and the registers brought in, in one folder. No SQL stands elsewhere."""

from __future__ import annotations

from quietseat.store import jobs, plants, studies
from quietseat.store.workspace import Workspace, open_workspace

__all__ = ["Workspace", "jobs", "open_workspace", "plants", "studies"]
