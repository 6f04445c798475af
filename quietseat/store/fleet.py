"""The fleet of a study: searched, filtered, counted and sorted in memory, its rows read from the database a page at a time.

A study's valves never change, so their few columns are read once and kept; decisions and pins are read anew for every page.
"""

from __future__ import annotations

import json
import re
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, select

from quietseat.store import tables
from quietseat.store.rows import Row
from quietseat.store.workspace import Workspace
from quietseat.study.records import VERDICTS

NONE = "none"  # stands for a blank in filters and addresses
FACETS = ("verdict", "unit", "cause", "kind", "size", "remedy", "plan", "held", "decided", "open")
_FIXED = {
    "verdict": VERDICTS,
    "plan": ("in", "out"),
    "held": ("in", "out", "no"),
    "decided": ("yes", "no"),
    "open": ("yes", "no"),
}
_NUMBERS = (
    "rank",
    "set_pressure",
    "operating_ratio",
    "utilisation",
    "inlet_loss",
    "built_up",
    "cost",
    "npv",
    "leak",
    "defaults",
    "opens",
    "score",
    "in_plan",
)
_TEXTS = ("tag", "unit", "kind", "designation", "fluid", "cause_code", "cause", "recommended_title", "clears", "codes")
_KEPT = ("id", "verdict", "recommended", "words", *_NUMBERS, *_TEXTS)
SORTS = ("verdict", "decision", "held", *_NUMBERS, *_TEXTS)
_LETTER = re.compile(r"^[\d.?]+([A-Z]{1,2})[\d.?]+$")
_CASE = re.compile(r"^cases\.\d+\.")
_BATCH = 500  # rows read at once

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for. words: all of them must occur; chosen: facet to values, any of them; sort: a name of SORTS, nulls last."""

    words: str = ""
    chosen: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    sort: str = "rank"
    down: bool = False


@dataclass(frozen=True, slots=True)
class Found:
    """Places of the matching valves in their order, and each facet's values with how many the other filters leave of them."""

    places: NDArray[np.intp]
    counts: dict[str, list[tuple[str, int]]]


@dataclass(frozen=True, slots=True)
class Facet:
    """One filter: its values, and the value each valve has by number."""

    values: tuple[str, ...]
    codes: NDArray[np.intp]


class Fleet:
    """The columns of one study that are searched, filtered, counted and sorted."""

    def __init__(self, columns: Mapping[str, list[Any]]) -> None:
        self.ids: list[int] = columns["id"]
        self.tags: list[str] = columns["tag"]
        self.recommended: list[tuple[str, str]] = list(
            zip(columns["recommended"], columns["recommended_title"], strict=True)
        )
        self._words: list[str] = columns["words"]
        self.facets = {
            "verdict": _facet(columns["verdict"], VERDICTS), "unit": _facet(columns["unit"]), "cause": _facet(columns["cause_code"]),
            "kind": _facet(columns["kind"]), "size": _facet([letter(text) for text in columns["designation"]]), "remedy": _facet(columns["recommended"]),
            "plan": _facet(["in" if one else "out" for one in columns["in_plan"]], _FIXED["plan"]),
            "open": _facet(["yes" if one else "no" for one in columns["opens"]], _FIXED["open"]),
        }  # fmt: skip
        self._keys: dict[str, Floats] = {
            name: np.array([np.nan if v is None else v for v in columns[name]], dtype=np.float64) for name in _NUMBERS
        }
        self._keys |= {name: _order(columns[name]) for name in _TEXTS}
        self._keys["verdict"] = self.facets["verdict"].codes.astype(np.float64)

    def __len__(self) -> int:
        return len(self.ids)

    def numbers(self, name: str) -> Floats:
        """A column of numbers, NaN where a valve has none."""
        return self._keys[name]

    def labels(self, name: str) -> list[str]:
        """A facet's value of every valve."""
        facet = self.facets[name]
        return [facet.values[code] for code in facet.codes]

    def find(self, wanted: Wanted, decided: Mapping[str, str], held: Mapping[str, str]) -> Found:
        """The valves wanted. decided: tag to title of what was decided; held: tag to in or out."""
        facets = {
            **self.facets, "held": _facet(self._by_tag(held, "no"), _FIXED["held"]),
            "decided": _facet(["yes" if tag in decided else "no" for tag in self.tags] if decided else ["no"] * len(self), _FIXED["decided"]),
        }  # fmt: skip
        base = self._matching(wanted.words)
        masks = {
            name: _chosen(facets[name], values) for name, values in wanted.chosen.items() if values and name in facets
        }
        every = base.copy()
        for mask in masks.values():
            every &= mask
        counts = {}
        for name in FACETS:
            others = base.copy() if name in masks else every
            for other in (mask for key, mask in masks.items() if name in masks and key != name):
                others &= other
            found = np.bincount(facets[name].codes[others], minlength=len(facets[name].values))
            counts[name] = [(value, int(count)) for value, count in zip(facets[name].values, found, strict=True)]
        order = self._sorted(wanted, decided, held)
        return Found(order[every[order]], counts)

    def _matching(self, words: str) -> Flags:
        mask = np.ones(len(self), dtype=np.bool_)
        for term in words.lower().split():
            mask &= np.fromiter((term in text for text in self._words), dtype=np.bool_, count=len(self))
        return mask

    def _by_tag(self, given: Mapping[str, str], other: str) -> list[str]:
        return [given.get(tag, other) for tag in self.tags] if given else [other] * len(self)

    def _sorted(self, wanted: Wanted, decided: Mapping[str, str], held: Mapping[str, str]) -> NDArray[np.intp]:
        if wanted.sort in ("decision", "held"):
            key = _order(self._by_tag(decided if wanted.sort == "decision" else held, ""))
        else:
            key = self._keys.get(wanted.sort, self._keys["rank"])
        return np.lexsort((self._keys["rank"], -key if wanted.down else key))


def letter(designation: str) -> str:
    """The orifice letter of a size designation such as 4P6; blank where it has none."""
    found = _LETTER.match(designation.strip())
    return found.group(1) if found else ""


def natural(text: str) -> list[tuple[bool, int, str]]:
    """A key that sorts PSV-9 before PSV-10, and numbers before words."""
    return [
        (False, int(part), "") if part.isdecimal() else (True, 0, part)
        for part in re.split(r"(\d+)", text.casefold())
        if part
    ]


def _facet(values: Sequence[str], fixed: Sequence[str] = ()) -> Facet:
    shown = [value or NONE for value in values]
    known = tuple(fixed) if fixed else tuple(sorted(set(shown), key=lambda text: (text == NONE, natural(text))))
    number = {value: at for at, value in enumerate(known)}
    return Facet(known, np.fromiter((number[value] for value in shown), dtype=np.intp, count=len(shown)))


def _chosen(facet: Facet, values: Iterable[str]) -> Flags:
    wanted = set(values)
    return np.array([value in wanted for value in facet.values], dtype=np.bool_)[facet.codes]


def _order(texts: Sequence[str]) -> Floats:
    """Texts as numbers in their natural order; a blank one is NaN, so that it comes last both ways."""
    number: dict[str, float] = {text: float(at) for at, text in enumerate(sorted(set(texts) - {""}, key=natural))}
    return np.array([number.get(text, np.nan) for text in texts], dtype=np.float64)


@lru_cache(maxsize=6)
def of_study(workspace: Workspace, study: int) -> Fleet:
    """The fleet of a study, kept in memory for the studies last looked at."""
    with workspace.reading() as connection:
        query = select(*(tables.valve.c[name] for name in _KEPT)).where(tables.valve.c.study_id == study)
        rows = connection.execute(query).all()
    return Fleet({name: [row[at] for row in rows] for at, name in enumerate(_KEPT)})


_SHOWN = tuple(
    column for column in tables.valve.c if column.name not in ("packed", "steps", "summary", "place", "words")
)


def read(connection: Connection, ids: Sequence[int]) -> Iterator[Row]:
    """The columns a table of valves shows, in the order of the numbers given."""
    for start in range(0, len(ids), _BATCH):
        part = list(ids[start : start + _BATCH])
        found = {
            row["id"]: dict(row)
            for row in connection.execute(select(*_SHOWN).where(tables.valve.c.id.in_(part))).mappings()
        }
        yield from (found[number] for number in part)


_ASSUMPTIONS, _AFTER = '"assumptions":[', ',"valve":'
_MOST = 50_000  # valves whose assumptions are kept in memory
_ASSUMED: dict[tuple[str, int], dict[str, str]] = {}


def assumed(connection: Connection, ids: Sequence[int]) -> dict[int, dict[str, str]]:
    """What was assumed of some valves of a study, in words by field; cases without their number ("case.fluid"). By number of the valve; a
    study's valves never change, so each is unpacked once."""
    place = str(connection.engine.url)
    new = [number for number in ids if (place, number) not in _ASSUMED]
    while len(_ASSUMED) + len(new) > _MOST and _ASSUMED:
        _ASSUMED.pop(next(iter(_ASSUMED)))
    for start in range(0, len(new), _BATCH):
        query = select(tables.valve.c.id, tables.valve.c.packed).where(tables.valve.c.id.in_(new[start : start + _BATCH]))
        for number, packed in connection.execute(query):
            _ASSUMED[place, number] = _stand_ins(zlib.decompress(packed).decode())
    return {number: _ASSUMED.get((place, number), {}) for number in ids}


def _stand_ins(valve: str) -> dict[str, str]:
    """By field what stands in for a datum nobody states. What the Basis settles for all valves alike ("basis") is a choice and left out.

    valve: as packed. Its assumptions stand before its hardware and are read alone: a tenth of the time of reading it all.
    """
    read, at, listed = json.JSONDecoder(), -1, None
    while listed is None and (at := valve.find(_ASSUMPTIONS, at + 1)) >= 0:
        found, end = read.raw_decode(valve, at + len(_ASSUMPTIONS) - 1)
        listed = found if valve.startswith(_AFTER, end) else None
    if listed is None:
        listed = json.loads(valve).get("assumptions") or ()
    return {_CASE.sub("case.", str(one["field"])): f"assumed: {one.get('value')} ({one.get('rule')})" for one in reversed(listed) if one.get("source") != "basis"}


@dataclass(frozen=True, slots=True)
class Gap:
    """A field nobody states. default: valves judged with a default in its place; open: valves with a check it keeps open."""

    name: str
    default: int
    open: int


def gaps(connection: Connection, study: int, plain: Callable[[str], str]) -> list[Gap]:
    """The fields missing in most valves, the most first. plain: a field's name in words, the same for every case of a valve.

    Reads every valve of the study (seconds for 10,000): keep the answer.
    """
    default: Counter[str] = Counter()
    kept_open: Counter[str] = Counter()
    query = select(tables.valve.c.packed).where(tables.valve.c.study_id == study).execution_options(yield_per=_BATCH)
    for packed in connection.execute(query).scalars():
        valve = json.loads(zlib.decompress(packed))
        # What the Basis settles for all valves alike ("basis") is a choice; only what stands in for a datum is a gap.
        default.update({plain(str(one["field"])) for one in valve.get("assumptions") or () if one["source"] != "basis"})
        kept_open.update(
            {
                plain(str(name))
                for one in valve["findings"]
                if one["outcome"] == "open"
                for name in one.get("rests_on") or ()
            }
        )
    names = sorted(default.keys() | kept_open.keys(), key=lambda name: (-max(default[name], kept_open[name]), name))
    return [Gap(name, default[name], kept_open[name]) for name in names]
