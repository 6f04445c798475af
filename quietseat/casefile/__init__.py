"""Case files: TOML as a person writes it -> records. Keys are those of fields.csv; unknown ones are refused."""

from __future__ import annotations

from quietseat.casefile.reader import read_toml, references
from quietseat.casefile.running import as_stated
from quietseat.casefile.size import SizeCase, read_size, size_case
from quietseat.casefile.valve import ValveCase, read_valve

__all__ = ["SizeCase", "ValveCase", "as_stated", "read_size", "read_toml", "read_valve", "references", "size_case"]
