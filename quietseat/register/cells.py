"""One cell under one field: a value, one of four kinds of absence, or a refusal with its mend.

Blank, not applicable, unknown and pending are four different things. What a spreadsheet program makes of a cell
(1E2 into 100, 3/4 into a date, T into TRUE) is refused and named; it is never put right silently.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import cache, lru_cache
from importlib import resources
from typing import Any

from quietseat import tables, units
from quietseat.basis import Basis
from quietseat.register import marks, shares, sizes
from quietseat.register.dates import read_date
from quietseat.register.fields import UNIT_OF, Field, fields
from quietseat.register.taken import BLANK, Taken
from quietseat.register.traps import SPREAD_MEND, trap
from quietseat.register.workbook import Cell

_ABSENT = {
    "blank": ("-", "--", "---", ".", "_", "−", "–", "—", "''"),
    "not-applicable": ("na", "n/a", "n.a.", "n.a", "not applicable", "none", "nil", "n / a", "not req'd", "not required",
                       "nan"),
    "unknown": ("?", "??", "???", "unknown", "unk", "not known", "not available", "missing", "no data", "not stated",
                "not found", "illegible", "no record", "no records", "n/k", "null"),
    "pending": ("tbc", "tbd", "tba", "tb confirmed", "to be confirmed", "to be determined", "to be advised", "pending",
                "vendor", "by vendor", "per vendor", "hold", "later", "on hold", "existing", "see datasheet",
                "see data sheet", "per datasheet", "as per datasheet", "see calc", "see calculation", "as existing",
                "to follow", "awaited", "same as existing", "existing valve", "verify", "to verify"),
}  # fmt: skip
ABSENT: Mapping[str, str] = {word: state for state, words in _ABSENT.items() for word in words}
_SEE_NOTE = re.compile(r"(?:see|refer(?: to)?|per|ref\.?) (?:note|remark|sheet|tab|dwg|drawing|p&id|hold).{0,20}", re.I)


class Reader:
    """Reads cells under a Basis; equal cells of one field are read once."""

    def __init__(self, basis: Basis) -> None:
        self.basis = basis
        self.atmospheric = basis.atmospheric_pressure
        self.references = {
            "Nm3": (basis.normal_temperature, 101325.0), "Sm3": (basis.standard_temperature, 101325.0),
            "SCF": (basis.standard_temperature_us, units.REFERENCES["SCF"][1]),
        }  # fmt: skip
        self._seen: dict[tuple[str, str, str, str, str, str], Taken] = {}

    def take(self, cell: Cell | None, field: Field, unit: str = "", dates: str = "") -> Taken:
        """The cell as the field's quantity. unit: of the heading; dates: "day-first" or "month-first" or ""."""
        if cell is None:
            return BLANK
        key = (field.name, unit, cell.kind, cell.text, dates, cell.form)
        known = self._seen.get(key)
        if known is None:
            known = self._seen[key] = self._take(cell, field, unit, dates)
        return known

    def _take(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        text = cell.text
        if cell.kind == "error":
            return Taken("refused", text, rule=f"the cell holds the error {text}",
                         mend="put the formula right or write the value")  # fmt: skip
        quantity = field.quantity
        if cell.kind == "text" and cell.form and (quantity in _MEASURES or field.name == "history.value"):
            return self._ambiguous(cell, field, unit, dates)
        choice = self._choice(field, text) if quantity in ("choice", "cause", "block_valve") else None
        if choice is not None and choice.good:
            return choice
        low = text.lower().strip(" .") or text
        state = ABSENT.get(low) or ABSENT.get(text.lower())
        if field.name in _FREE and state != "blank":
            return Taken("value", text, text)
        if quantity == "temperature" and low in _SATURATED:
            state = "not-applicable"  # steam without a temperature is saturated
        if state is None and _SEE_NOTE.fullmatch(low):
            state = "pending"
        if state is not None and not (quantity == "yes_no" and low in ("none", "nil")):
            return Taken(state, text, rule=f"{state.replace('-', ' ')}: {text!r}")
        if choice is not None:
            return choice
        if quantity in _TEXTS:
            return Taken("value", text, text)
        if field.name in shares.FIELDS and (share := shares.refused(text, unit)):
            none = 0.0 if quantity == "pressure_difference" else self.atmospheric
            return share if share.value else Taken("value", text, none, "assumed", "0 % of any pressure is none", unit="%")
        if spoilt := trap(cell, field, unit):
            return spoilt
        try:
            return _READERS[quantity](self, cell, field, unit, dates)
        except units.UnitError as error:
            return _refusal(cell, error)
        except sizes.SizeError as error:
            return Taken("refused", text, rule=f"{text!r} {error}", mend=error.mend)

    def _ambiguous(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        """A text whose mark may be decimal or thousands, by what the other cells prove."""
        found = marks.decided(cell)
        if found is None and field.name in _RANGES and not _RANGES[field.name][0] <= marks.thousands(cell) <= _RANGES[field.name][1]:
            found = marks.Decided(cell.text.replace(",", "."), "assumed", f"a decimal mark: {marks.thousands(cell):g} is outside the field")
        if found is None:
            rule, mend = marks.open_words(cell)
            return Taken("refused", cell.text, rule=rule, mend=mend)
        taken = self._take(cell._replace(text=found.text, form=""), field, unit, dates)
        if not taken.good:
            return replace(taken, text=cell.text)
        how = found.how if taken.how == "read" else taken.how
        return replace(taken, text=cell.text, how=how, rule="; ".join(part for part in (found.rule, taken.rule) if part))

    # --- the quantities ---------------------------------------------------------------------------------------

    def measured(self, text: str, quantity: str, unit: str) -> units.Reading:
        """units.parse with the site's pressure and references, and the Basis's choice for bare pressures."""
        try:
            return units.parse(text, quantity, atmospheric=self.atmospheric, unit=unit or None, references=self.references)
        except units.UnitError as error:
            choice = self.basis.bare_pressure
            if quantity != "pressure" or choice == "refuse" or "gauge or absolute" not in str(error):
                raise
            mark = "g" if choice == "gauge" else "a"
            number = re.fullmatch(r"\s*([+-]?[0-9.,]+)\s*", text)
            shown = f"{text}{mark}" if not number else text
            reading = units.parse(
                shown, quantity, atmospheric=self.atmospheric, unit=f"{unit}{mark}" if unit else None,
                references=self.references,
            )  # fmt: skip
            return replace(reading, note=f"without gauge or absolute: read as {choice} (Basis)")

    def _measure(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        quantity = _PLAIN_QUANTITY.get(field.quantity, field.quantity)
        reading = self.measured(cell.text, quantity, unit)
        if field.quantity == "molar_mass" and not 0.0015 <= reading.value <= 1.0:
            return Taken("refused", cell.text, rule=f"{cell.text!r} is no molar mass of a fluid",
                         mend="write it in g/mol, for example '44.1'")  # fmt: skip
        low, high, words = _BEYOND.get(quantity, (-math.inf, math.inf, ""))
        if field.key != "height" and not low <= reading.value <= high:
            return Taken("refused", cell.text, rule=f"{cell.text!r} is no {quantity} of a plant: {words}", mend="look up the unit and the decimal point")
        value: Any = reading.value
        if reading.kinematic:
            value = ("kinematic_viscosity", reading.value)
        how = "assumed" if "(Basis)" in reading.note else "read"
        return Taken("value", cell.text, value, how, _note(reading), unit=reading.unit)

    def _pressure(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        try:
            taken = self._measure(cell, field, unit, dates)
            if taken.good and field.name in _ABOVE_ATMOSPHERE and taken.value <= self.atmospheric:
                return Taken("refused", cell.text, rule=f"{cell.text!r} is not above atmospheric pressure",
                             mend="write a pressure above it; vacuum valves are not assessed")  # fmt: skip
            return taken
        except units.UnitError as error:
            if len(error.values) < 2:
                raise
            return self._several(cell, unit, error)

    def _several(self, cell: Cell, unit: str, error: units.UnitError) -> Taken:
        """Pressures in one cell: the same in two units is one value; else all are kept for an A/B row."""
        read = [self._try(text, unit) for text in error.values]
        a, b = read[:2]
        others = ("psig", "barg", "kPag", "kg/cm2g") if "(" in cell.text or "=" in cell.text else ()
        bare = re.fullmatch(r"[0-9.,]+", error.values[1])
        readings = [b, *(self._try(error.values[1], other) for other in others if bare)]
        for reading in readings if len(read) == 2 else ():
            if a and reading and a.unit != reading.unit and self._agree(a.value, reading.value):
                return Taken("value", cell.text, a.value, "read", f"one pressure in {a.unit} and {reading.unit}", unit=a.unit)
        good = tuple(reading for reading in read if reading is not None)
        if len(good) == len(read):
            count = {2: "two", 3: "three"}.get(len(good), str(len(good)))
            rule = f"{cell.text!r} holds {count} pressures"
            mend = "write one set pressure a row, or name as many valves in the tag (A/B)"
            return Taken("several", cell.text, tuple(reading.value for reading in good), rule=rule, mend=mend, unit=good[0].unit)
        return _refusal(cell, error)

    def _range(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        """Lowest and highest pressure, as in "90 - 120 psig"."""
        try:
            self.measured(cell.text, "pressure", unit)
        except units.UnitError as error:
            if len(error.values) != 2:
                raise
            low, high = sorted(self.measured(text, "pressure", unit).value for text in error.values)
            return Taken("value", cell.text, (low, high), unit=unit)
        return Taken("refused", cell.text, rule=f"{cell.text!r} is one pressure, not a range", mend="write '90-120 psig'")

    def _try(self, text: str, unit: str) -> units.Reading | None:
        try:
            return self.measured(text, "pressure", unit)
        except units.UnitError:
            return None

    def _agree(self, a: float, b: float) -> bool:
        return abs(a - b) <= 0.02 * max(abs(a - self.atmospheric), 1.0)

    def _difference(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        try:
            return self._measure(cell, field, unit, dates)
        except units.UnitError:
            # A built-up back pressure "in psig" is a difference; its number is the same.
            bare = re.sub(r"(?<=[a-z0-9])\s?\(?g(?:auge)?\)?$", "", cell.text.strip(), flags=re.I)
            head = re.sub(r"\(?g\)?$", "", unit)
            if (bare, head) == (cell.text, unit):
                raise
            reading = self.measured(bare, "pressure_difference", head)
            return Taken("value", cell.text, reading.value, "assumed", "a built-up back pressure is a difference: "
                         "the gauge unit was read as a difference", unit=reading.unit)  # fmt: skip

    def _flow(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        quantity, reading = units.parse_any(
            cell.text, ("mass_flow", "gas_flow", "volume_flow"), atmospheric=self.atmospheric,
            unit=unit or None, references=self.references,
        )  # fmt: skip
        return Taken("value", cell.text, (quantity, reading.value), "read", _note(reading), unit=reading.unit)

    def _fraction(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        kinds = ("fraction", "pressure_difference") if field.key in ("accumulation", "blowdown") else ("fraction",)
        quantity, reading = units.parse_any(cell.text, kinds, atmospheric=self.atmospheric, unit=unit or None)
        value: Any = reading.value
        how, rule = "read", reading.note
        if quantity == "pressure_difference":
            return Taken("value", cell.text, (quantity, value), "read", rule, unit=reading.unit)
        if not reading.unit and value >= 1.6 and value <= 200:
            value, how, rule = value / 100, "assumed", "a bare number above 1.6 is read as per cent"
        if field.key == "accumulation" and value < 0.5:
            value, rule = 1 + value, f"{rule}; added to 100 %".lstrip("; ")
            if "overpressure" in unit:
                how = "assumed"
        low, high = (0.9, 3.0) if field.key == "accumulation" else (0.0, 1.0)
        if not low <= value <= high:
            return Taken("refused", cell.text, rule=f"{cell.text!r} is no share of this kind",
                         mend="write it in per cent, for example '10 %'")  # fmt: skip
        return Taken("value", cell.text, value, how, rule, unit=reading.unit or "1")

    def _number(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        if field.key == "interval_years":
            return self._years(cell, unit)
        text = re.sub(r"(?<=\d)\s?(?:off|x|nos?\.?|pcs|ea)$", "", cell.text, flags=re.I)
        value = units.parse(text, "number").value
        if field.name in _RANGES and not _RANGES[field.name][0] <= value <= _RANGES[field.name][1]:
            low, high = _RANGES[field.name]
            return Taken("refused", cell.text, rule=f"{cell.text!r} is outside {low:g} to {high:g}",
                         mend="look whether the cell stands in the right column")  # fmt: skip
        return Taken("value", cell.text, value)

    def _years(self, cell: Cell, unit: str) -> Taken:
        year = units.UNITS["year"].factor
        reading = units.parse(cell.text, "time", unit=unit or "year")
        bare = not unit and reading.unit_from == "header"
        return Taken("value", cell.text, reading.value / year, rule="read as years" if bare else "", unit="year")

    def _integer(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        if field.key in ("installed", "required") and (found := re.fullmatch(r"(\d+)\s*(?:x|off|nos?)?", cell.text, re.I)):
            return Taken("value", cell.text, int(found[1]))
        try:
            value = units.parse(cell.text, "number").value
        except units.UnitError:
            value = -1.0
        if value != int(value) or value < 0:
            return Taken("refused", cell.text, rule=f"{cell.text!r} is not a whole number", mend="write 1, 2, 3 ...")
        return Taken("value", cell.text, int(value))

    def _ppm(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        text = re.sub(r"^[<>≤≥]\s*", "", cell.text)
        value = units.parse(text, "concentration", unit=unit if unit and unit != "%" else "ppm").value * 1e6
        rule = "a limit is read as the value" if text != cell.text else ""
        return Taken("value", cell.text, value, "assumed" if rule else "read", rule, unit="ppm")

    def _money(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        return Taken("value", cell.text, units.parse(cell.text, "money", unit=unit or None).value, unit=unit)

    def _yes_no(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        low = cell.text.lower().strip(" .!*")
        low = {"true": "yes", "false": "no"}.get(low, low)
        if low in _YES or low.startswith("yes"):
            return Taken("value", cell.text, True)
        if low in _NO or low.startswith(("no ", "no,", "not ")):
            return Taken("value", cell.text, False)
        if field.key == "sour" and (found := re.match(r"[<>~]?\s*([0-9.]+)\s*(ppm|%|mol)?", low)):
            value = float(found[1])
            return Taken("value", cell.text, value > 0, "assumed", "hydrogen sulphide content above nil read as sour")
        return Taken("refused", cell.text, rule=f"{cell.text!r} is neither yes nor no", mend="write yes or no")

    def _letter(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        text = cell.text.strip()
        up = text.upper().strip("\"' ")
        if up in sizes.LETTERS:
            return Taken("value", text, up)
        match = re.fullmatch(r"([D-T])\s*(?:ORIFICE|\(.*\)|-\s*[0-9.]+.*)", up)
        if match and match[1] in sizes.LETTERS:
            return Taken("value", text, match[1])
        if cell.kind == "bool" or up in ("TRUE", "FALSE"):
            return Taken("refused", text, rule=f"{text} stands where an orifice letter belongs: "
                         f"probably the letter {up[0]} turned into a truth value", mend=SPREAD_MEND)  # fmt: skip
        if up in ("NO", "YES"):
            rule = f"{text!r} is not an orifice letter (probably N read as no)" if up == "NO" else f"{text!r} is not an orifice letter"
            return Taken("refused", text, rule=rule, mend=SPREAD_MEND)
        if up in ("O", "0", "Q0", "I", "1"):
            return Taken("refused", text, rule=f"{text!r} is not an API 526 orifice letter (O and I are never used; "
                         "is it Q, D or J?)", mend="write the letter of the nameplate")  # fmt: skip
        try:
            return Taken("value", text, sizes.designation(text, unit), "assumed", "a whole designation in one size cell")
        except sizes.SizeError:
            pass
        return Taken("refused", text, rule=f"{text!r} is not an API 526 orifice letter",
                     mend=f"write one of {', '.join(sorted(sizes.LETTERS))}, or the area in an area column")  # fmt: skip

    def _designation(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        size = sizes.designation(cell.text, unit)
        return Taken("value", cell.text, size, "assumed" if size.rule else "read", size.rule)

    def _pipe_size(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        try:
            size = sizes.pipe_size(cell.text, unit, self.basis.bare_size)
        except sizes.SizeError:
            if field.table != "valve" or not re.search(r"[A-Za-z]", cell.text):
                raise
            return self._designation_in_size(cell, unit)
        if cell.text.strip().isdecimal() and int(cell.text) in sizes.CLASSES and unit not in ("DN", "mm"):
            return Taken("refused", cell.text, rule=f"{cell.text!r} is a flange class, not a pipe size",
                         mend="look whether the cells of this row are shifted")  # fmt: skip
        return Taken("value", cell.text, size, "assumed" if size.rule else "read", size.rule, unit=unit)

    def _designation_in_size(self, cell: Cell, unit: str) -> Taken:
        try:
            return Taken("value", cell.text, sizes.designation(cell.text, unit), "assumed", "a whole designation in one size cell")
        except sizes.SizeError:
            raise sizes.SizeError("is not a nominal pipe size", "write for example '4 in' or 'DN 100'") from None

    def _class(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        return Taken("value", cell.text, sizes.flange_class(cell.text))

    def _schedule(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        text = re.sub(r"^(?:SCH(?:EDULE)?|S)[. \-]*(?=\d)", "", cell.text.strip().upper()).replace("XXH", "XXS")
        text = re.sub(r"^(\d+)\.0$", r"\1", text)
        text = {"STANDARD": "STD", "XH": "XS", "40STD": "40", "STD WT": "STD"}.get(text, text)
        if text in _schedules():
            return Taken("value", cell.text, text)
        return Taken("refused", cell.text, rule=f"{cell.text!r} is not a pipe schedule",
                     mend=f"write one of {', '.join(sorted(_schedules()))}")  # fmt: skip

    def _choice(self, field: Field, text: str) -> Taken:
        return choice(field.name, text)

    def _date(self, cell: Cell, field: Field, unit: str, dates: str) -> Taken:
        if cell.kind == "date":
            return Taken("value", cell.text, cell.value.date().isoformat())
        return read_date(cell, dates, self.basis.date_order)


def _note(reading: units.Reading) -> str:
    """The reading rules of a quantity, the unit of the heading among them."""
    head = f"unit of the heading: {reading.unit}" if reading.unit_from == "header" else ""
    return "; ".join(part for part in (head, reading.note) if part)


_TEXTS = ("text",)
_SATURATED = frozenset(("sat", "saturated", "saturation", "tsat", "sat temp", "sat'd", "saturated steam"))
_MEASURES = frozenset(name for name in UNIT_OF if name not in ("pipe_size", "pressure_class", "designation")) | {"integer"}
_ABOVE_ATMOSPHERE = frozenset(("valve.set_pressure", "valve.cdtp"))
_FREE = frozenset(("location.remarks", "history.condition", "history.note", "history.event", "history.value"))
_YES = frozenset(("y", "yes", "x", "✓", "true", "1", "dirty", "severe", "moderate", "high", "toxic", "lethal", "polymer",
                  "sour", "corrosive", "pulsating", "wax", "waxy", "viscous", "fitted", "fouling"))  # fmt: skip
_NO = frozenset(("n", "no", "false", "0", "none", "nil", "clean", "low", "sweet", "not fitted", "non-corrosive"))
_PLAIN_QUANTITY = {"molar_mass": "mass_per_mole"}
# SI; what no plant has, so that a slipped decimal point or unit is refused (estimate).
_BEYOND = {
    "pressure": (0.0, 1e9, "0 to 10 000 bar"), "pressure_difference": (-1e9, 1e9, "up to 10 000 bar"), "temperature": (0.0, 3273.15, "up to 3000 degC"),
    "length": (0.0, 2e4, "0 to 20 km"),
}  # fmt: skip
_RANGES = {
    "case.k": (1.0, 2.0), "case.Z": (0.05, 3.0), "case.specific_gravity": (0.01, 20.0),
    "valve.effective_coefficient": (0.05, 1.0), "valve.rated_coefficient": (0.05, 1.0),
    "inlet.elbows": (0, 100), "inlet.long_elbows": (0, 100), "inlet.tees": (0, 100), "outlet.elbows": (0, 200),
    "outlet.long_elbows": (0, 200), "outlet.tees": (0, 200), "inlet.loss_coefficient": (0, 1000),
    "outlet.loss_coefficient": (0, 10000), "history.lifts": (0, 100000), "history.overhauls": (0, 1000),
    "history.bellows_replaced": (0, 1000), "history.interval_years": (0, 50),
}  # fmt: skip
_READERS: dict[str, Callable[[Reader, Cell, Field, str, str], Taken]] = {
    "pressure": Reader._pressure, "pressure_difference": Reader._difference, "flow": Reader._flow,
    "fraction": Reader._fraction, "number": Reader._number, "integer": Reader._integer, "ppm": Reader._ppm,
    "money": Reader._money, "yes_no": Reader._yes_no, "letter": Reader._letter,
    "designation": Reader._designation, "pipe_size": Reader._pipe_size, "pressure_class": Reader._class,
    "pressure_range": Reader._range, "schedule": Reader._schedule, "date": Reader._date,
}  # fmt: skip
for _field in fields().values():
    if _field.quantity not in (*_READERS, *_TEXTS, "choice", "cause", "block_valve"):
        _READERS[_field.quantity] = Reader._measure


@cache
def _schedules() -> frozenset[str]:
    return frozenset(str(row.schedule).upper() for row in tables.table("pipe_schedules"))


@cache
def _choices() -> Mapping[str, Mapping[str, str]]:
    """Words of every choice field -> its value."""
    text = resources.files("quietseat").joinpath("data/register/choices.csv").read_text(encoding="utf-8")
    out: dict[str, dict[str, str]] = {}
    for row in csv.DictReader(text.splitlines()):
        for word in row["words"].split("|"):
            out.setdefault(row["field"], {})[word] = row["value"]
    for field in fields().values():
        for value in field.choices:
            if field.quantity in ("choice", "cause", "block_valve"):
                out.setdefault(field.name, {}).setdefault(value, value)
    for side in ("entrance", "block_valve"):
        for word, value in out[f"inlet.{side}"].items():
            out[f"outlet.{side}"].setdefault(word, value)
    return out


@lru_cache(maxsize=8192)
def choice(field: str, text: str) -> Taken:
    """A word of a choice field; a longer text counts when the words in it name one value only."""
    known = _choices()[field]
    low = " ".join(text.lower().replace("_", " ").split()).strip(" .*")
    if value := known.get(low) or known.get(low.replace("-", " ")):
        return Taken("value", text, value)
    # Known words that stand in the text; words of one or two letters say too little.
    hits = {
        (word, value) for word, value in known.items()
        if len(word) > 2 and re.search(rf"(?<![a-z0-9]){re.escape(word)}(?![a-z0-9])", low)
    }  # fmt: skip
    # A word inside a longer one says nothing of its own: "gate" in "rb gate".
    values = {value for word, value in hits if not any(word != other and word in other for other, _ in hits)}
    if len(values) == 1:
        return Taken("value", text, values.pop(), "assumed", "word found in a longer text")
    allowed = ", ".join(dict.fromkeys(known.values()))
    return Taken("refused", text, rule=f"{text!r} is none of {allowed}", mend=f"write one of {allowed}")


def _refusal(cell: Cell, error: units.UnitError) -> Taken:
    rule, mend = error.parts
    return Taken("refused", cell.text, rule=rule, mend=mend or "write the value with its unit")
