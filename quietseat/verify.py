"""Run a saved study again and name every difference, leaf by leaf."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from quietseat.saved import read_study
from quietseat.status import InputUnusable
from quietseat.study import Progress, run


def verify(path: str | Path, *, progress: Progress | None = None, workers: int | None = 1) -> dict[str, Any]:
    """Run a saved study again and name every difference.

    The register and mends are looked for where the study says, then beside the study. Raises InputUnusable
    where the file is no study or an input is gone.
    """
    from quietseat import __version__

    file = Path(path)
    saved, basis = read_study(file)
    inputs = saved["inputs"]
    notes: list[str] = []
    found = {name: find_input(item, file, notes) for name, item in inputs.items() if item}
    if saved["version"] != __version__:
        notes.append(f"version: the study was made by {saved['version']}, this is {__version__}")
    again = run(found["register"], basis, found.get("mends"), progress=progress, workers=workers)
    fresh = {**again.head, "valves": [record.full() for record in again.records], "inputs": inputs}
    differences = list(_differences(saved, fresh, ""))
    return {
        "status": "ok", "same": not differences and not notes, "hash": saved["hash"], "hash_now": fresh["hash"],
        "notes": notes, "differences": differences[:500], "differences_found": len(differences),
        "problems": [], "assumptions": [],
    }  # fmt: skip


def find_input(item: Mapping[str, str], study: Path, notes: list[str]) -> Path:
    """The input file, and a note where its content has changed."""
    for candidate in (Path(item["path"]), study.parent / Path(item["path"]).name):
        if candidate.is_file():
            if hashlib.sha256(candidate.read_bytes()).hexdigest() != item["sha256"]:
                notes.append(f"{candidate}: has changed since the study was made")
            return candidate
    raise InputUnusable(f"{item['path']}: the input of the study is gone; put it beside {study.name}.")


def _differences(old: Any, new: Any, at: str) -> Iterator[str]:
    """Every leaf that differs, with its path; valves are matched by tag and row."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in sorted(old.keys() | new.keys()):
            if key not in old or key not in new:
                yield f"{at}.{key}: only in the {'new' if key in new else 'saved'} study".lstrip(".")
            else:
                yield from _differences(old[key], new[key], f"{at}.{key}")
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{at.lstrip('.')}: {len(old)} entries, now {len(new)}"
        for number, (left, right) in enumerate(zip(old, new)):
            tag = left.get("tag") if isinstance(left, dict) else None
            yield from _differences(left, right, f"{at}[{tag or number}]")
    elif old != new:
        yield f"{at.lstrip('.')}: {old!r}, now {new!r}"
