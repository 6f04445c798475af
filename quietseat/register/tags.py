"""Tags: what a tag cell holds, split into the tags of its valves, a remark, and a key that survives spelling.

"PSV101A", "PSV-101 A" and "20-PSV-0101A" name the same valve as far as spelling goes: the key drops marks and
leading zeros. Location and body are different things: a serial number may move between tags.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache


@dataclass(frozen=True, slots=True)
class Tags:
    """The tags of one cell. note: what was assumed in the reading."""

    tags: tuple[str, ...]
    remark: str = ""
    note: str = ""


_DASHES = str.maketrans({"–": "-", "—": "-", "‑": "-", "−": "-", "\u00a0": " "})
_LETTER_PAIR = re.compile(
    r"(.*\d[ \-]?)\(?([A-F])((?:\s*(?:/|&|\+|,|\band\b)\s*[A-F](?![A-Za-z0-9]))+)\)?", re.I
)  # PSV-101A/B, PSV-101 (A/B), PSV-101 A & B
_NUMBER_PAIR = re.compile(r"(.*?[A-Za-z][ \-]?)(\d{2,6})\s*/\s*(\d{1,6})")  # PSV-101/102, PSV-101/2
_WHOLE_PAIR = re.compile(r"([A-Za-z0-9][\w \-.]*\d\w?)\s*(?:/|&|\+|,|;|\band\b)\s*([A-Za-z]{1,5}[\w \-.]*\d\w?)", re.I)
_REMARK = re.compile(r"\s*(?:[(\[]([^)\]]{3,})[)\]]|(?:\s[-*:;]\s|\s)((?:[A-Za-z]{3,}[a-z .,]*)+))\s*$")
_PREFIX = re.compile(r"(?:T?P?SV|PSE|TRV|TSV|PRV|PZV|PCV|RV|SRV|TPSV|BPRV|PVRV)$", re.I)


@lru_cache(maxsize=16384)
def parse(text: str) -> Tags | None:
    """The tags of a cell, or None where no tag stands in it (a tag has at least one digit)."""
    plain = " ".join(text.translate(_DASHES).split()).strip(" *")
    remark = ""
    while not _LETTER_PAIR.fullmatch(plain) and (found := _REMARK.search(plain)):
        head = plain[: found.start()]
        if not any(char.isdecimal() for char in head):
            break
        words = (found[1] or found[2] or "").strip(" -:;,")
        remark = f"{words}; {remark}" if remark else words
        plain = head.strip(" -:;,*")
    if not any(char.isdecimal() for char in plain) or len(plain) > 60:
        return None
    if found := _LETTER_PAIR.fullmatch(plain):
        stem = found[1].rstrip("- ") if found[1][-1] in " -" and "(" not in plain else found[1].rstrip()
        letters = [found[2], *re.findall(r"[A-F](?![A-Za-z])", re.sub(r"\band\b", " ", found[3], flags=re.I), re.I)]
        return Tags(tuple(f"{stem}{letter.upper()}" for letter in letters), remark)
    if (found := _WHOLE_PAIR.fullmatch(plain)) and key(found[1]) != key(found[2]):
        return Tags((found[1].strip(), found[2].strip()), remark)
    if found := _NUMBER_PAIR.fullmatch(plain):
        second = found[2][: max(0, len(found[2]) - len(found[3]))] + found[3]
        if found[2] != second:
            return Tags((found[1] + found[2], found[1] + second), remark, f"{plain} read as two tags")
    return Tags((plain,), remark)


@lru_cache(maxsize=32768)
def key(tag: str) -> str:
    """The tag without marks, case and leading zeros; a letter O between digits is the digit 0."""
    text = re.sub(r"(?<=\d)O(?=\d)", "0", tag.upper().translate(_DASHES))
    parts = re.findall(r"[A-Z]+|\d+", text)
    out = ""
    for part in parts:
        part = part.lstrip("0") or "0" if part.isdecimal() else part
        out += f"-{part}" if out[-1:].isdecimal() and part[0].isdecimal() else part
    return out


@lru_cache(maxsize=32768)
def short_key(tag: str) -> str:
    """The key without a plant prefix: "20-PSV-0101A" -> "PSV101A". Equal to the key where there is none."""
    parts = re.findall(r"[A-Z]+|\d+", tag.upper().translate(_DASHES))
    for place, part in enumerate(parts):
        if place and part.isalpha() and _PREFIX.search(part):
            return key("-".join(parts[place:]))
    return key(tag)


def looks_like(text: str) -> bool:
    """Whether a text looks like a tag of a relief device: letters of the trade and a number."""
    return bool(re.match(r"(?:[A-Z0-9]{1,6}[- ]?)?(?:T?P?SV|TRV|TSV|PRV|PZV|RV|SRV|PSE)[- ]?\d", text.strip(), re.I))
