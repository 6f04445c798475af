"""Copies of frozen records with some fields changed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from operator import attrgetter
from typing import Any, TypeVar

Record = TypeVar("Record")


def changed(record: Record, changes: Mapping[str, Any]) -> Record:
    """The record with these fields changed; the record itself where there are none.

    As dataclasses.replace, three times as fast: an assessment makes a dozen copies of records of thirty fields.
    Raises KeyError for a field the record has not.
    """
    if not changes:
        return record
    kind: Any = type(record)
    read, places = _fields(kind)
    values = list(read(record))
    for name, value in changes.items():
        values[places[name]] = value
    copy: Record = kind(*values)
    return copy


@cache
def _fields(kind: type) -> tuple[Callable[[Any], tuple[Any, ...]], Mapping[str, int]]:
    names: tuple[str, ...] = kind.__slots__  # type: ignore[attr-defined]
    return attrgetter(*names), {name: place for place, name in enumerate(names)}
