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


_DASHES = str.maketrans({"–": "-", "—": "-", "‐": "-", "‒": "-", "―": "-", "‑": "-", "−": "-", "\u00a0": " "})
_LETTER_PAIR = re.compile(
    r"(.*\d[ \-]?)\(?([A-F])((?:\s*(?:/|&|\+|,|\band\b)\s*[A-F](?![A-Za-z0-9]))+)\)?", re.I
)  # PSV-101A/B, PSV-101 (A/B), PSV-101 A & B
_REMARK = re.compile(r"\s*(?:[(\[]([^)\]]{3,})[)\]]|(?:\s[-*:;]\s|\s)((?:[A-Za-z]{3,}[a-z .,]*)+))\s*$")
_PREFIX = re.compile(r"(?:T?P?SV|PSE|TRV|TSV|PRV|PZV|PCV|RV|SRV|TPSV|BPRV|PVRV)$", re.I)


@lru_cache(maxsize=16384)
def parse(text: str) -> Tags | None:
    """The tags of a cell, or None where no tag stands in it (a tag has at least one digit)."""
    plain = " ".join(text.translate(_DASHES).split()).strip(" *")
    remark = ""
    while not _LETTER_PAIR.fullmatch(plain) and _range(plain) is None and (found := _REMARK.search(plain)):
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
    ranged = _range(plain)
    if ranged == ():
        return None
    listed = ranged or _list(plain)
    if listed and len({key(tag) for tag in listed}) > 1:
        return Tags(listed, remark, f"one cell, {len(listed)} tags")
    return Tags((plain.strip("()") if plain[0] == "(" and plain[-1] == ")" else plain,), remark)


_TO = r"\s*(?:\bto\b|\bthru\b|\bthrough\b|\btill\b|~|\.{2,}|…)\s*"
_NUMBERS = re.compile(rf"(.*?[A-Za-z][ \-.]?)(\d{{1,6}}){_TO}(?:\1)?(\d{{1,6}})", re.I)  # PSV-201 to 204
_LETTERS = re.compile(rf"(.*\d)([ \-]?)\(?([A-G])(?:{_TO}| ?- ?)([A-H])\)?", re.I)  # PSV-201A-D, PSV-201 A to D
_AND = re.compile(r"\s*(?:/|&|\+|,|;|\band\b)\s*", re.I)
_FIRST = re.compile(r"(.*?[A-Za-z][ \-.]?)(\d{1,6})[ \-]?([A-Ha-h]?)")
_FULL = re.compile(r"(?:\d{1,4}[ \-])?[A-Za-z]{1,5}[\w \-.]*\d\w?")
MOST = 20  # valves that one range may name


def _range(plain: str) -> tuple[str, ...] | None:
    """The tags of a range; () for a range that runs backwards or is too long, None where the cell is none."""
    if found := _NUMBERS.fullmatch(plain):
        stem, first, last = found[1], found[2], found[3]
        last = first[: max(0, len(first) - len(last))] + last
        count = int(last) - int(first) + 1
        return tuple(f"{stem}{int(first) + n:0{len(first)}d}" for n in range(count)) if 2 <= count <= MOST else ()
    if found := _LETTERS.fullmatch(plain):
        first, last = found[3].upper(), found[4].upper()
        return tuple(f"{found[1]}{chr(n)}" for n in range(ord(first), ord(last) + 1)) if first < last else ()
    return None


def _list(plain: str) -> tuple[str, ...] | None:
    """The tags of a list: "PSV-801, 802", "PSV-1A/1B", "PSV-1 / PSV-2 / PSV-3"; None where a piece is no tag."""
    pieces = _AND.split(plain)
    base = _FIRST.fullmatch(pieces[0])
    if len(pieces) < 2 or base is None:
        return None
    out = [pieces[0]]
    for piece in pieces[1:]:
        if found := re.fullmatch(r"(\d{1,6})([A-Ha-h]?)", piece):
            number = base[2][: max(0, len(base[2]) - len(found[1]))] + found[1]
            out.append(f"{base[1]}{number}{found[2].upper()}")
        elif re.fullmatch(r"[A-Ha-h]", piece) and base[3]:
            out.append(f"{base[1]}{base[2]}{piece.upper()}")
        elif _FULL.fullmatch(piece):
            out.append(piece)
            base = _FIRST.fullmatch(piece) or base
        else:
            return None
    return tuple(out)


def lettered(tags: tuple[str, ...]) -> bool:
    """Whether the tags differ in a last letter only: valves that share a duty, as A/B pairs do."""
    stems = {key(tag)[:-1] for tag in tags}
    return len(stems) == 1 and all(key(tag)[-1:].isalpha() for tag in tags)


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
