"""The answer of `ask`: the questions a saved study holds."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from quietseat.saved import read_study
from quietseat.status import InputUnusable


def ask_answer(study: str | Path) -> dict[str, Any]:
    """The questions of a saved study. Raises InputUnusable where the file is no study, or one made before studies held questions."""
    saved, _ = read_study(study)
    if not saved.get("questions"):
        raise InputUnusable(f"{Path(study).name}: holds no questions; make the study again with this version.")
    return {"status": "ok", "mark": saved["hash"], **saved["questions"], "problems": []}
