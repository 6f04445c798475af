"""Sizes as registers write them: designations (4P6, 4x6P, 6Q8 #300xRF, 100x150), pipe sizes and flange classes.

Whether a combination exists is asked of the API 526 tables; a combination outside them is a question put to the
reader, never a refusal, since makers also sell other sizes (common practice).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache, lru_cache

from quietseat import tables, units

LETTERS = frozenset("DEFGHJKLMNPQRT")
CLASSES = frozenset((150, 300, 400, 600, 900, 1500, 2500))
_FACINGS = {"RF": "raised", "RFSF": "raised", "FF": "flat", "RTJ": "ring-joint", "RJ": "ring-joint"}
_THREADS = frozenset(("NPT", "MNPT", "FNPT", "NPTM", "NPTF", "BSP", "BSPT", "SW", "THD", "SCRD", "FLG", "FLGD", "NB"))

_PLAIN = str.maketrans({
    "×": "X", "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "″": '"', "”": '"', "“": '"', "–": "-", "—": "-", "−": "-",
    "⁄": "/", "\u00a0": " ",
})  # fmt: skip
_SIZE = r"(?:DN ?|NPS ?)?\d+(?:[ -]\d/\d|\.\d+|/\d)?"
_FORMS = (
    re.compile(rf"({_SIZE})[ \-X/]*?([D-T])[ \-X/]*?({_SIZE})(?![\d/])(.*)"),
    re.compile(rf"({_SIZE}) ?[X/] ?({_SIZE})[ \-X]*([D-T])(?![A-Z])(.*)"),
    re.compile(rf"([D-T])[ \-]*({_SIZE}) ?[X/] ?({_SIZE})(?![\d/])(.*)"),
    re.compile(rf"({_SIZE}) ?X ?({_SIZE})(?![\d/])(.*)"),
)
_REST = re.compile(r"[A-Z]+|\d+")


@dataclass(frozen=True, slots=True)
class Size:
    """What a size cell says. rule: the reading rule where something was assumed; unread: words not understood."""

    inlet: float | None = None
    letter: str | None = None
    outlet: float | None = None
    inlet_class: int | None = None
    outlet_class: int | None = None
    facing: str | None = None
    rule: str = field(default="", compare=False)
    unread: str = field(default="", compare=False)


class SizeError(ValueError):
    """A size that cannot be read: the message is the rule; `mend` says how to write it."""

    def __init__(self, rule: str, mend: str) -> None:
        super().__init__(rule)
        self.mend = mend


@cache
def nps_of_dn() -> dict[int, float]:
    """NPS by DN."""
    return {int(row.dn): float(row.nps) for row in tables.table("pipe_sizes")}


@cache
def pairs() -> frozenset[tuple[str, float, float]]:
    """(letter, inlet, outlet) of API 526."""
    return frozenset((row.letter, float(row.inlet), float(row.outlet)) for row in tables.table("size_pairs"))


@cache
def _flanges() -> frozenset[tuple[float, float]]:
    return frozenset((inlet, outlet) for _, inlet, outlet in pairs())


@cache
def eaten() -> dict[float, str]:
    """Numbers that a spreadsheet makes of designations with the letter E: 100 of 1E2, 2000 of 2E3."""
    made = {inlet * 10**outlet: f"{inlet:g}E{outlet:g}" for letter, inlet, outlet in pairs() if letter == "E"}
    made.setdefault(1000.0, "1E3")
    made.setdefault(2000.0, "2E3")
    made.setdefault(200.0, "2E2")
    return made


def plausible(letter: str, inlet: float, outlet: float) -> bool:
    """Whether API 526 lists this combination."""
    return (letter, inlet, outlet) in pairs()


@lru_cache(maxsize=4096)
def designation(text: str, unit: str = "") -> Size:
    """A designation. unit "DN" or "mm": bare numbers are DN. Raises SizeError."""
    plain = " ".join(text.upper().translate(_PLAIN).replace('"', " ").replace("INCH", " ").split())
    plain = re.sub(r"\b[MF]?NPT[MF]?\b", " ", plain)
    plain = " ".join(re.sub(r"(?<=\d) ?IN\b", " ", plain).split())
    plain = re.sub(r"(?<=[\dX]) (?=X)|(?<=X) (?=[\dA-Z])", "", " ".join(plain.split()))
    for place, form in enumerate(_FORMS):
        found = form.fullmatch(plain)
        if not found:
            continue
        parts = found.groups()
        order = ((1, 0, 2, 3), (2, 0, 1, 3), (0, 1, 2, 3), (None, 0, 1, 2))[place]
        letter, first, second, rest = (parts[at] if at is not None else "" for at in order)
        if letter and letter not in LETTERS:
            raise SizeError(
                f"{letter!r} is not an API 526 orifice letter", f"write one of {', '.join(sorted(LETTERS))}"
            )
        inlet, outlet, rule = _pair(text, first, second, unit)
        classes, facing, unread = _rest(rest)
        return Size(
            inlet, letter or None, outlet, classes[0] if classes else None, classes[1] if len(classes) > 1 else None,
            facing, rule, unread,
        )  # fmt: skip
    raise SizeError("is not a size designation", "write it as inlet, letter, outlet, for example '4P6'")


def _pair(text: str, first: str, second: str, unit: str) -> tuple[float, float, str]:
    """Both sizes as NPS; DN where the text, the heading or the list of real combinations says so."""
    metric = unit in ("DN", "mm") or "DN" in first or "DN" in second
    a, b = _number(first), _number(second)
    rule = ""
    dn = nps_of_dn()
    if not metric and (a, b) not in _flanges() and a in dn and b in dn and a >= 15 and b >= 15:
        metric, rule = True, f"{text!r}: no such inches in API 526, read as DN {a:g} x DN {b:g}"
    if metric:
        if a not in dn or b not in dn:
            raise SizeError("is not a pair of DN sizes", "write it as 'DN 100 x DN 150'")
        return dn[int(a)], dn[int(b)], rule
    for value in (a, b):
        if value not in _steps():
            raise SizeError(f"{value:g} is not a nominal pipe size", "write real sizes, for example '4P6' or 'DN 100 x DN 150'")
    return a, b, rule


@cache
def _steps() -> frozenset[float]:
    return frozenset(nps_of_dn().values())


def _number(text: str) -> float:
    plain = re.sub(r"^(DN|NPS) ?", "", text)
    total = 0.0
    for piece in re.split(r"[ -]", plain):
        top, _, bottom = piece.partition("/")
        total += float(top) / float(bottom) if bottom and float(bottom) else float(top)
    return total


def _rest(rest: str) -> tuple[list[int], str | None, str]:
    """Classes, facing and what is left over of the words behind a size."""
    classes: list[int] = []
    facing, unread = None, []
    for word in _REST.findall(rest.replace("X", " ")):
        if word.isdecimal() and int(word) in CLASSES:
            classes.append(int(word))
        elif word in _FACINGS:
            facing = facing or _FACINGS[word]
        elif word not in ("CL", "CLASS", "LB", "LBS", "ANSI", "ASME", "IN", "NPS"):
            unread.append(word)
    return classes, facing, " ".join(unread)


@lru_cache(maxsize=4096)
def pipe_size(text: str, unit: str = "", bare: str = "refuse") -> Size:
    """One nominal size. unit: of the heading; bare "DN": a bare number of 40 and more is DN. Raises SizeError."""
    plain = " ".join(text.upper().translate(_PLAIN).split())
    match = re.fullmatch(rf"({_SIZE}) ?(\"|''|IN\.?|INCH|MM|NPS)?[ ,\-]*(.*)", plain)
    classes: list[int] = []
    facing, unread = None, ""
    core = text
    if match and match[3]:
        classes, facing, unread = _rest(match[3])
        left = [word for word in unread.split() if word not in _THREADS]
        if left:
            raise SizeError(f"holds words besides a size: {' '.join(left)}", "write the size alone, for example '4 in'")
        core = f"{match[1]} {match[2] or ''}".strip()
    heading = "NPS" if unit == "in" else "DN" if unit == "mm" else unit
    try:
        reading = units.parse(core, "pipe_size", unit=heading or None)
        return Size(reading.value, None, None, *_two(classes), facing, reading.note if "read as" in reading.note else "")
    except units.UnitError as error:
        number = core.strip()
        if bare == "DN" and number.isdecimal() and int(number) in nps_of_dn() and not heading:
            return Size(nps_of_dn()[int(number)], None, None, *_two(classes), facing, "bare size read as DN (Basis)")
        rule, mend = error.parts
        raise SizeError(rule.replace(f"'{core}' ", ""), mend or "write the size as '4 in' or 'DN 100'") from error


def _two(classes: list[int]) -> tuple[int | None, int | None]:
    return (classes[0] if classes else None), (classes[1] if len(classes) > 1 else None)


@lru_cache(maxsize=4096)
def flange_class(text: str) -> Size:
    """A flange class or a pair of them ("300 x 150 RF"). Raises SizeError."""
    plain = " ".join(text.upper().translate(_PLAIN).split())
    if re.search(r"\bPN ?\d", plain):
        raise SizeError("is a PN of EN 1092, not an ASME class", "write the ASME class, for example '150'")
    classes, facing, unread = _rest(plain.replace("#", " "))
    numbers = [word for word in _REST.findall(plain) if word.isdecimal()]
    if not classes or len(classes) != len(numbers) or len(classes) > 2 or unread:
        words = ", ".join(str(c) for c in sorted(CLASSES))
        raise SizeError("is not a flange class", f"write one of {words}")
    return Size(None, None, None, *_two(classes), facing)
