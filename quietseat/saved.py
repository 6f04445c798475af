"""A study.json that was saved: its content and its Basis."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from quietseat.basis import Basis, make
from quietseat.status import InputUnusable

SCHEMA = "quietseat-study/1"


def read_study(path: str | Path) -> tuple[dict[str, Any], Basis]:
    """The whole content of a study.json and the Basis it was made with. Raises InputUnusable where the file is no study."""
    file = Path(path)
    try:
        saved: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
        if saved["schema"] != SCHEMA or not isinstance(saved["valves"], list):
            raise KeyError("schema")
        changed = saved["basis"]["changed"]
    except OSError as error:
        raise InputUnusable(f"{file}: cannot be read ({error.strerror}).") from error
    except (ValueError, KeyError, TypeError) as error:
        raise InputUnusable(f"{file.name}: is not a study of this tool ({SCHEMA}); make one with `quietseat study`.") from error
    return saved, make(changed, origin=f"{file.name}, basis")
