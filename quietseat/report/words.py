"""The words and numbers of the report: one place for every term shown and every value printed.

Only layout and unit conversion (through `units`) happen here; no engineering arithmetic.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeGuard

from quietseat import basis, units
from quietseat.amounts import figure
from quietseat.celltext import clean as clean
from quietseat.typeset import unit_text

DASH = "–"
VERDICTS = ("misfit", "unproven", "watch", "sound")
VERDICT_WORDS = {
    "misfit": "a check fails",
    "unproven": "data are missing, or a check rests on the default it tests",
    "watch": "passes, but a margin is thin or the history is bad",
    "sound": "passed every check listed here, with margin",
}
# A shape of its own for each verdict, so that colour never carries the meaning alone.
SHAPES = {"misfit": "■", "unproven": "◇", "watch": "▲", "sound": "●"}
OUTCOMES = {"fail": "fails", "thin": "thin margin", "open": "open"}
SEVERITIES = {"stop": "stop: safety first", "act": "act: plan the cure", "note": "note"}
CLEARS = {"yes": "clears everything", "subject-to-proof": "clears, subject to proof", "no": "does not clear"}
# Two answers change nothing at the valve, so they clear nothing: to measure what is missing, and to keep what passes.
CLEARS_NOTHING = {"measure-first": "settles the verdict first", "keep": "nothing fails: watch it"}
CODES = {
    "oversized": "oversized", "undersized": "undersized", "chatter": "chatter", "cycling": "cycling",
    "inlet-loss": "inlet loss", "back-pressure": "back pressure", "close-to-set": "operates close to set",
    "set-above-mawp": "set above MAWP", "leaks": "leaks", "rating": "flange rating", "stuck": "stuck",
    "bellows": "bellows", "corrosion": "corrosion", "fouling": "fouling", "data": "data",
}  # fmt: skip
VERDICTS_IN_TIME = {
    "quiet": "stays quiet", "flutters": "flutters", "chatters": "chatters", "cycles": "opens and shuts again and again",
    "unproven": "no answer",
}  # fmt: skip
MARKS = {
    "memory-hi": "from memory, verify", "memory-md": "from memory, verify", "memory-lo": "from memory, verify",
    "memory": "from memory, verify", "seen": "seen in its source", "computed": "computed",
    "estimate": "estimate", "common practice": "common practice, no source",
}  # fmt: skip
_FRACTION_UNITS = {"fraction", "%", "ratio"}
_RATE = re.compile(r"(?<![\w.])(\d[\d.]*(?:e[-+]?\d+)?) kg/s\b")
_MARK = re.compile(r"\bmemory-(?:hi|md|lo)\b")
_MARCH = re.compile(r"\b([Mm])arch(ed|ing)(?: in time)?\b")
_CELL = re.compile(r"(?<=, )[a-z]+(?:_[a-z]+)+(?=: )")  # the field of a register cell that a message names
_POWER = re.compile(r"(?<![\w.])(\d(?:\.\d+)?e\+0?[1-4])\b")
_PLAIN_WORDS = (
    (
        "each solved as its linear relaxation",
        "each solved in a simplified form in which a part of a remedy may be taken",
    ),
    ("linear relaxation", "simplified form in which a part of a remedy may be taken"),
)


@dataclass(frozen=True, slots=True)
class Shown:
    """How this study shows values: pressure unit, its difference unit, flow, area, currency."""

    pressure: str
    difference: str
    flow: str
    area: str
    temperature: str
    currency: str
    atmospheric: float

    def pressure_of(self, value: float | None, with_unit: bool = True) -> str:
        """An absolute pressure in the study's unit."""
        return self._value(value, self.pressure, with_unit)

    def difference_of(self, value: float | None, with_unit: bool = True) -> str:
        """A pressure difference in the study's unit."""
        return self._value(value, self.difference, with_unit)

    def flow_of(self, value: float | None, with_unit: bool = True) -> str:
        """A mass flow in the study's unit."""
        return self._value(value, self.flow, with_unit)

    def area_of(self, value: float | None, with_unit: bool = True) -> str:
        """An area in the study's unit."""
        return self._value(value, self.area, with_unit)

    def number_of(self, value: Any, unit: str) -> float | None:
        """A value as a number in a unit, for sheets and figures; None stays None."""
        return units.to(value, unit, atmospheric=self.atmospheric) if is_number(value) else None

    def quantity(self, value: Any, unit: str) -> str:
        """A value with an inside unit (`Pa(a)`, `m**2`, `fraction`, ...) in the study's units."""
        if not is_number(value):
            return DASH if value is None else str(value)
        plain = unit.strip()
        if plain in _FRACTION_UNITS:
            return percent(value)
        if plain in ("Pa(a)", "Pa(g)"):
            return self.pressure_of(value + (self.atmospheric if plain == "Pa(g)" else 0.0))
        known = self._known(plain)
        if plain == "m" and abs(value) >= 1:
            known = "m"
        if known:
            return self._value(value, known, True)
        if plain == "1/year":
            return f"{value:.4g} a year"
        if plain in ("NPS", "class"):
            return f"{plain} {value:g}"
        return f"{value:.4g} {unit_text(plain)}".strip()

    def _known(self, unit: str) -> str:
        """The unit in which an inside unit is shown; "" where it is shown as it is."""
        return {
            "Pa": self.difference, "m**2": self.area, "kg/s": self.flow, "K": self.temperature, "m": "mm",
            "m**3/s": "m3/h", "Pa*s": "cP", "kg/mol": "g/mol", "kg/m**3": "kg/m3", "m**3": "m3", "m**3/kg": "m3/kg",
            "m/s": "m/s", "s": "s",
        }.get(unit, "")  # fmt: skip

    def as_number(self, value: float, unit: str) -> tuple[float, str]:
        """A value with an inside unit as a number and the unit it is shown in, for sheets; lengths in metres."""
        plain = unit.strip()
        if plain in ("Pa(a)", "Pa(g)"):
            found = self.number_of(value + (self.atmospheric if plain == "Pa(g)" else 0.0), self.pressure)
            return (value if found is None else found), self.pressure
        if plain in _FRACTION_UNITS:
            return 100 * value, "%"
        known = "m" if plain == "m" else self._known(plain)
        found = self.number_of(value, known) if known else None
        return (value, unit_text(plain)) if found is None else (found, known)

    def rates(self, text: str) -> str:
        """A sentence with its flows in kg/s turned into the study's unit of flow."""
        return _RATE.sub(lambda found: f"{leak_of(float(found.group(1)), self)} {self.flow}", text)

    def money(self, value: float | None) -> str:
        """Money, rounded for reading, without the currency."""
        if not is_number(value):
            return DASH
        return figure(value)

    def spread(self, spread: Mapping[str, float] | None) -> str:
        """Low, middle and high of a cost on one line."""
        if not spread:
            return "not priced"
        return f"{self.money(spread['mid'])} ({self.money(spread['low'])} to {self.money(spread['high'])})"

    def _value(self, value: float | None, unit: str, with_unit: bool) -> str:
        if not is_number(value):
            return DASH
        text = units.show(value, unit, atmospheric=self.atmospheric)
        return text if with_unit else text.removesuffix(unit).strip()


def leak_of(value: Any, shown: Shown) -> str:
    """A leak in the study's unit of flow, three digits: far smaller than the flows `flow_of` prints."""
    found = shown.number_of(value, shown.flow)
    return DASH if found is None else f"{found:.3g}"


def shown(head: Mapping[str, Any]) -> Shown:
    """The units of this study, read from its Basis as printed."""
    chosen = choices(head)
    pressure = chosen.get("pressure_unit", "barg")
    american = pressure == "psig"
    return Shown(
        pressure, {"barg": "bar", "psig": "psi", "kPag": "kPa"}.get(pressure, "bar"), "lb/h" if american else "kg/h",
        "in2" if american else "mm2", "degF" if american else "degC", chosen.get("currency", ""),
        units.parse(chosen.get("atmospheric_pressure", "101.325 kPaa"), "pressure").value,
    )  # fmt: skip


def choices(head: Mapping[str, Any]) -> dict[str, str]:
    """The choices of the Basis by name, as printed."""
    return {str(row["name"]): str(row["value"]) for row in head["basis"]["choices"]}


def choice_number(head: Mapping[str, Any], name: str, quantity: str, default: float) -> float:
    """One choice of the Basis as a number; the default where it is absent."""
    text = choices(head).get(name)
    return default if text is None else float(units.parse(text, quantity).value)


def is_number(value: Any) -> TypeGuard[float]:
    """Whether a value is a finite number."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def percent(value: Any) -> str:
    """A fraction in per cent, three significant digits."""
    if not is_number(value):
        return DASH
    hundred = value * 100
    text = f"{hundred:.0f} %" if abs(hundred) >= 99.5 else f"{hundred:.3g} %"
    return text.replace("-", "−")


def plain(value: Any) -> str:
    """Any value as text; a dash for nothing."""
    if value is None or value == "":
        return DASH
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}"
    if isinstance(value, (list, tuple)):
        return ", ".join(plain(item) for item in value) or DASH
    return str(value)


@lru_cache(maxsize=1)
def _names() -> re.Pattern[str]:
    """The names of the Basis; what stands in brackets is found first, and left as it is."""
    names = sorted((name for name in basis.choices() if "_" in name), key=len, reverse=True)
    return re.compile(rf"\([^()]*\)|\b(?:{'|'.join(names)})\b")


def in_print(text: str) -> str:
    """Text without words of the program: names of the Basis, marks of confidence, and terms of its methods in plain words."""
    if "memory-" in text:
        text = _MARK.sub(MARKS["memory-md"], text)
    if "arch" in text:
        text = _MARCH.sub(
            lambda found: f"{'S' if found[1] == 'M' else 's'}imulat{'ed' if found[2] == 'ed' else 'ion'} in time", text
        )
    if "relaxation" in text:
        for term, words in _PLAIN_WORDS:
            text = text.replace(term, words)
    if "e+" in text:
        text = _POWER.sub(lambda found: f"{float(found[1]):g}", text)
    if "_" in text:
        text = _CELL.sub(lambda found: found[0].replace("_", " "), text)
        text = _names().sub(lambda found: found[0] if found[0][0] == "(" else found[0].replace("_", " "), text)
    return text


def cut(text: str, most: int) -> str:
    """Text cut at a word for a narrow place; the full text stands elsewhere in the study."""
    if len(text) <= most:
        return text
    return text[: most - 2].rsplit(" ", 1)[0].rstrip(" ,;.") + " …"


def code(name: Any) -> str:
    """A finding code in words."""
    return CODES.get(str(name), str(name).replace("-", " "))


def sentence(words: Any) -> str:
    """Words as a sentence: a capital first, a full stop last; nothing for nothing."""
    text = str(words or "").strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in ".!?" else ".") if text else ""


def codes(names: Sequence[Any] | None) -> str:
    """Finding codes in words, in a row."""
    return ", ".join(code(name) for name in names or ()) or "none"


def clears(word: Any, name: Any = "") -> str:
    """Whether a remedy clears the findings, in words. name: of the remedy; measuring and keeping clear nothing."""
    if word != "no" and name in CLEARS_NOTHING:
        return CLEARS_NOTHING[str(name)]
    return CLEARS.get(str(word), plain(word))


def place(sheet: Any, row: Any) -> str:
    """Where a valve stands in the register."""
    return f"{plain(sheet)}, row {plain(row)}" if row is not None else plain(sheet)


@lru_cache(maxsize=1024)
def field_words(name: str) -> str:
    """A field name as people say it: `cases.0.rate_basis` becomes "case 1 rate basis"."""
    parts = name.split(".")
    if len(parts) > 1 and parts[0] == "cases" and parts[1].isdigit():
        parts[:2] = [f"case {int(parts[1]) + 1}"]
    return " ".join(part.replace("_", " ") for part in parts)


def nothing_found(verdict: Any, reasons: Any) -> str:
    """What is said where a valve has no finding: only a sound one has passed; else nothing could be checked."""
    if verdict == "sound":
        return "Every check made here was passed with margin."
    why = "; ".join(str(one) for one in reasons or ()) or "no reason is known"
    return f"No check could be made: {why.rstrip('.')}."
