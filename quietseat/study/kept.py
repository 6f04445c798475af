"""Chunks of valves a study has finished, kept as text so that a stopped study goes on from them."""

from __future__ import annotations

import base64
import hashlib
import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from quietseat import plain, planning
from quietseat.basis import Basis
from quietseat.register import Job
from quietseat.status import Problem
from quietseat.study.one import How


class Store(Protocol):
    """Where finished chunks lie: bytes by key. The same key always stands for the same content."""

    def get(self, key: str) -> bytes | None: ...
    def put(self, key: str, content: bytes) -> None: ...


@dataclass(frozen=True, slots=True)
class Kept:
    """The finished chunks of one study. mark: hash of all that goes into it."""

    store: Store
    mark: str
    basis: Basis

    def key(self, chunk: Sequence[Job], how: How) -> str:
        """The key of one chunk: inputs, how it is assessed, and which rows."""
        rows = [(place.sheet, place.row, place.tag) for place, _ in chunk]
        return hashlib.sha256(json.dumps([self.mark, how.record, how.march, how.engine, rows]).encode()).hexdigest()

    def get(self, key: str) -> list[dict[str, Any]] | None:
        """The parts of a chunk that was finished before; None where it was not."""
        content = self.store.get(key)
        if content is None:
            return None
        return [self._part(one) for one in json.loads(zlib.decompress(content))]

    def put(self, key: str, parts: Sequence[dict[str, Any]]) -> None:
        """Keep the parts of a finished chunk."""
        text = json.dumps([_plain(part) for part in parts], ensure_ascii=False)
        self.store.put(key, zlib.compress(text.encode(), 1))

    def _part(self, one: dict[str, Any]) -> dict[str, Any]:
        packed = base64.b64decode(one["packed"])
        return {
            **one, "packed": packed, "steps": base64.b64decode(one["steps"]) if one["steps"] else None,
            "item": planning.item(json.loads(zlib.decompress(packed)), self.basis, self.basis.act_finding_cost),
            "assumptions": [tuple(each) for each in one["assumptions"]], "problems": [Problem(**each) for each in one["problems"]],
            "seen": tuple(one["seen"]),
        }  # fmt: skip


def _plain(part: dict[str, Any]) -> dict[str, Any]:
    """A part without records and bytes; the plan's item is made again from the valve itself."""
    steps = part["steps"]
    return {
        **{name: value for name, value in part.items() if name != "item"}, "packed": base64.b64encode(part["packed"]).decode(),
        "steps": base64.b64encode(steps).decode() if steps else None, "problems": [one.as_dict() for one in part["problems"]],
        "marched": plain.clean(part["marched"]),
    }  # fmt: skip
