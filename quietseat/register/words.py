"""Free text of history and remarks: words that tell of a leak, a stuck valve, chatter, and of the service.

The vocabulary is data (data/register/words.csv). A word after "no", "not", "without" does not count. What is
found is an assumption ("word found in remarks"); the text is kept as the evidence.
"""

from __future__ import annotations

import csv
import re
from functools import cache, lru_cache
from importlib import resources

_NEGATION = re.compile(r"\b(?:no|not|never|without|nil|non|free of|free from|zero|none)\b(?:[ \-]+\w+){0,3}[ \-]*$")
_AFTER = re.compile(r"^\s*(?:test )?(?:ok|passed|pass|nil|none|not found)\b|^\s*:\s*(?:no|nil|none)\b")


@cache
def _vocabulary() -> tuple[tuple[re.Pattern[str], str, str], ...]:
    text = resources.files("quietseat").joinpath("data/register/words.csv").read_text(encoding="utf-8")
    out = []
    for row in csv.DictReader(text.splitlines()):
        words = sorted(row["words"].split("|"), key=len, reverse=True)
        pattern = r"(?<![a-z0-9])(?:" + "|".join(re.escape(word) for word in words) + r")(?![a-z0-9])"
        out.append((re.compile(pattern), row["sets"], row["value"]))
    return tuple(out)


@cache
def _any() -> re.Pattern[str]:
    return re.compile("|".join(pattern.pattern for pattern, _, _ in _vocabulary()))


def denied(low: str, start: int, end: int) -> bool:
    """True where a text in small letters denies the word at start to end: "no leak", "leak test ok"."""
    return bool(_NEGATION.search(low[max(0, start - 40) : start]) or _AFTER.match(low[end:]))


@lru_cache(maxsize=16384)
def found(text: str) -> tuple[tuple[str, str, str], ...]:
    """(sets, value, word) of every statement in a text: ("event", "leak", "weeping"), ("service", "sour", "h2s")."""
    low = " ".join(text.lower().split())
    if not _any().search(low):
        return ()
    out: list[tuple[str, str, str]] = []
    for pattern, sets, value in _vocabulary():
        for match in pattern.finditer(low):
            if denied(low, match.start(), match.end()):
                continue
            if value == "overhaul" and any(v == "bellows" for _, v, _ in out) and "bellow" in match[0]:
                continue
            out.append((sets, value, match[0]))
            break
    return tuple(out)


_VOID = re.compile(r"(?:now |valve |psv )?(deleted|removed|demolished|void|cancelled|canceled|decommissioned|scrapped|blanked off|"
                   r"out of service|not in service|not installed|redundant)(?: from service| in \w+| \d{4})?", re.I)  # fmt: skip


def void(text: str) -> str:
    """The word by which a remark says that the valve is no longer there, "" if none."""
    found = _VOID.fullmatch(text.strip(" .!*()"))
    return found[1] if found else ""


def events(text: str) -> tuple[tuple[str, str], ...]:
    """(event, word) of a text."""
    return tuple((value, word) for sets, value, word in found(text) if sets == "event")


def services(text: str) -> tuple[tuple[str, str], ...]:
    """(service flag, word) of a text."""
    return tuple((value, word) for sets, value, word in found(text) if sets == "service")
