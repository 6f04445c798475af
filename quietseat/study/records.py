"""The nouns of a study: one valve's record, packed until asked for, and the study that holds them."""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

from quietseat import plain

VERDICTS = ("misfit", "unproven", "watch", "sound")
Progress = Callable[[int, int, str], None]  # done, of, what: an exception it raises stops the study


def pack(content: Any) -> bytes:
    """Plain data without NaN, as text, packed."""
    return zlib.compress(plain.text(content).encode(), 1)


@dataclass(slots=True)
class Record:
    """One valve of a study: a small summary at hand, the whole packed away until it is asked for."""

    tag: str
    verdict: str
    summary: dict[str, Any]
    packed: bytes
    steps: bytes | None = None  # packed apart: a large fleet keeps those of its worst valves only
    place: dict[str, Any] = field(default_factory=dict)  # rank and plan, known only when all valves are done

    def json(self) -> str:
        """The valve as it stands in study.json."""
        whole = zlib.decompress(self.packed).decode()
        steps = zlib.decompress(self.steps).decode() if self.steps else "[]"
        return f'{whole[:-1]},"steps":{steps},{plain.text(self.place)[1:]}'

    def full(self) -> dict[str, Any]:
        """The valve's dict as in study.json."""
        whole: dict[str, Any] = json.loads(self.json())
        return whole


@dataclass(slots=True)
class Study:
    """A study: `head` is everything of study.json but the valves; `records` are the valves in register order."""

    head: dict[str, Any]
    records: list[Record]

    def ranked(self) -> list[Record]:
        """The valves, worst first."""
        return sorted(self.records, key=lambda record: int(record.place["rank"]))

    def write(self, out: TextIO) -> None:
        """Write study.json: one valve a line, so that two studies can be compared by any tool."""
        head = plain.text(self.head)
        out.write(f'{head[:-1]},"valves":[\n')
        for number, record in enumerate(self.records):
            out.write(record.json())
            out.write(",\n" if number + 1 < len(self.records) else "\n")
        out.write("]}\n")

    def write_json(self, path: str | Path) -> Path:
        """Write study.json to a file."""
        with open(path, "w", encoding="utf-8", newline="\n") as out:
            self.write(out)
        return Path(path)
