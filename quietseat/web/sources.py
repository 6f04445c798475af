"""The packaged tables and documents a source names: the row a looked-up value stands in, edition and confidence."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from quietseat import tables
from quietseat.formula import number
from quietseat.report.words import MARKS, is_number


@lru_cache(maxsize=1)
def _cited() -> Mapping[str, tuple[tuple[str, int], ...]]:
    """Table and row of everything the packaged tables cite, by the words of the citation."""
    out: dict[str, list[tuple[str, int]]] = {}
    for name in tables.names():
        kept = tables.table(name)
        for place, row in enumerate(kept.rows):
            for words in {
                row.cite(),
                *(row.cite(column) for column in kept.columns if f"{column}_provenance" in kept.columns),
            }:
                out.setdefault(words, []).append((name, place))
    return {words: tuple(found) for words, found in out.items()}


@lru_cache(maxsize=4096)
def looked_up(source: str, value: float | None, name: str) -> tuple[tuple[str, int | None], ...]:
    """Table and row of a looked-up value: the row where only one fits, the table where its rows cannot be told apart, else nothing."""
    said = re.search(r"\btable ([a-z0-9_]+)", source)
    if said and said[1] in tables.names():
        return ((said[1], None),)
    cited = _cited().get(source, ())
    if not cited:
        return ()
    fits = [(table, row) for table, row in cited if value is not None and _holds(tables.table(table).rows[row], value)]
    if len(fits) > 1:
        alike = {place: _said_in(tables.table(place[0]).rows[place[1]], name) for place in fits}
        best = max(alike.values())
        fits = [place for place in fits if best and alike[place] == best] or fits
    if len(fits) == 1:
        return (fits[0],)
    owners = {table for table, _ in fits} or {table for table, _ in cited}
    return ((owners.pop(), None),) if len(owners) == 1 else ()


def _said_in(row: Mapping[str, Any], name: str) -> int:
    """How many signs of a row's words and sizes stand in a step's name as whole words."""
    cells = {f"{cell:g}" if is_number(cell) else str(cell) for cell in row.values() if cell is not None and cell != ""}
    return sum(len(cell) for cell in cells if re.search(rf"(?<![\w.-]){re.escape(cell)}(?![\w-])", name))


def _holds(row: Mapping[str, Any], value: float) -> bool:
    return any(is_number(cell) and number(cell) == number(value) for cell in row.values())


def documents(source: str, head: Mapping[str, Any]) -> tuple[str, ...]:
    """The documents a source names, with edition and how well they are known, then the mark of the value itself."""
    out: list[str] = []
    at = {str(item["short"]): item for item in head.get("sources") or () if item.get("short")}
    for short in sorted(at, key=len, reverse=True):
        if short in source and not any(short in said for said in out):
            item = at[short]
            edition = f", edition {item['edition']}" if item.get("edition") else ""
            year = f", {item['year']}" if item.get("year") else ""
            out.append(
                f"{short}: {item['title']}{edition}{year}; the document {'was seen' if item.get('read') == 'seen' else 'is quoted from memory'}"
            )
    mark = next(
        (mark for mark in sorted(MARKS, key=len, reverse=True) if re.search(rf"\b{re.escape(mark)}\b", source)), ""
    )
    return (*out, *((f"confidence: {MARKS[mark]}",) if mark else ()))
