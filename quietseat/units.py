"""The strict reader of quantities: text with a unit in, SI out, and back.

Gauge, absolute and difference are different quantities; the reference conditions of normal and standard gas
volumes are named; what may mean two things is refused with a sentence that says how to write it. Factors
and spellings stand in `quietseat.unit_table`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated

from quietseat.formula import K, Pa, R, formula, m2_s, m3_s
from quietseat.unit_table import (
    ANY,
    ATMOSPHERE,
    CLASSES,
    DN,
    KINDS,
    REFERENCES,
    UNITS,
    WRITTEN,
    Unit,
    normal,
    plain,
    resolve,
    unit_of,
)  # fmt: skip

__all__ = [
    "QUANTITIES", "REFERENCES", "UNITS", "Reading", "Unit", "UnitError",
    "parse", "parse_any", "quantity_of", "show", "to", "unit_of",
]  # fmt: skip

QUANTITIES: Mapping[str, str] = {name: si for name, (si, _) in KINDS.items()}  # name -> unit inside
_NPS = {dn: float(nps) for nps, dn in DN.items()}
_References = tuple[tuple[str, tuple[float, float]], ...] | None


@dataclass(frozen=True, slots=True)
class Reading:
    """A quantity as it was read: `value` in SI (see QUANTITIES), and what was understood.

    unit_from: "cell" (the text itself) or "header". note: the reading rules used, joined by "; ".
    kinematic: a viscosity given as kinematic, so that `value` is in m2/s, not Pa s.
    """

    value: float
    text: str
    unit: str
    unit_from: str = "cell"
    note: str = ""
    kinematic: bool = False


_ADVICE = re.compile(r"write |use |leave out ")


class UnitError(ValueError):
    """A text that cannot be read; the message is one sentence: what is wrong and how to write it.

    values: where one cell holds several values, their texts, each with its unit if it has one.
    """

    def __init__(self, message: str, values: tuple[str, ...] = ()) -> None:
        super().__init__(message)
        self.values = values

    @property
    def parts(self) -> tuple[str, str]:
        """What is wrong, and how to write it ("" where the message does not say)."""
        head, mark, tail = str(self).rpartition(": ")
        while mark and not _ADVICE.match(tail):
            head, mark, more = head.rpartition(": ")
            tail = f"{more}: {tail}"
        return (head, tail) if mark else (str(self), "")


class _WrongUnit(UnitError):
    """The unit is missing or belongs to another quantity: another quantity may still fit."""


@formula(
    "ASTM D2161, kinematic viscosity to Saybolt Universal seconds at 100 degF (memory-hi)",
    valid={"viscosity": (1.8e-6, 1.0)},
    empirical=True,
)
def saybolt_seconds(viscosity: m2_s) -> Annotated[float, "s"]:
    """Saybolt Universal seconds of a kinematic viscosity."""
    return 4.6324e6 * viscosity + (1.0 + 0.03264e6 * viscosity) / (
        (3930.2 + 262.7e6 * viscosity + 23.97e12 * viscosity**2 + 1.646e18 * viscosity**3) * 1e-5
    )


@formula("Ideal gas law at the reference conditions, R of CODATA 2018 (memory-hi)")
def reference_flow(volume: m3_s, pressure: Pa, temperature: K) -> Annotated[float, "mol/s"]:
    """Molar flow of a gas volume flow stated at reference conditions."""
    return volume * pressure / (R * temperature)


# --- Numbers and refusals ---------------------------------------------------------------------------------

_DIGITS = r"[+-]?(?:(?:[0-9]{1,3}(?: [0-9]{3})+(?![0-9])|[0-9])[0-9.,]*|[.,][0-9]+)"
_NUMBER = re.compile(rf"({_DIGITS})((?:[eE][+-]?[0-9]+)?)(?![0-9]) ?(.*)")
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}([.,])[0-9]{3}(?:\1[0-9]{3})*")
_FRACTION = re.compile(r"(?:([0-9]{1,6})(?: ?- ?| ))?([0-9]{1,6})/(2|4|8|16|32|64)(?![0-9]) ?(.*)")
_FEET = re.compile(
    r"([0-9]{1,6}) ?(?:'|ft) ?-? ?(?:([0-9]{1,6}(?:\.[0-9]+)?)(?![0-9/]))?[ -]?"
    r"(?:([0-9]{1,2})/(2|4|8|16|32|64))? ?(?:\"|''|in)"
)
_MONEY = re.compile(r"([A-Z]{3}|[$€£]) ?([0-9].*)")
_SEVERAL = re.compile(
    r" ?(?:[/;&(]|, |\b(?:and|or|to)\b|\.\.+|(?<=[0-9a-zA-Z\"%)]) ?-) ?(?=[+-]?[.,]?[0-9])"
)
_SIZES = re.compile(r" ?[xX] ?(?=[0-9])")
_INEXACT = re.compile(r"[~<>±≈≤≥]|\+ ?/ ?-|^(?:approx|about|abt|ca)\b", re.I)
_VACUUM, _ATMOSPHERIC = {"fv", "fullvacuum"}, {"atm", "atmos", "atmosphere", "atmospheric"}
# A difference, a height and a sum of money may be negative; these may not.
_POSITIVE = {
    "mass_flow", "volume_flow", "gas_flow", "area", "volume", "mass", "density", "specific_volume",
    "viscosity", "kinematic_viscosity", "time", "mass_per_mole", "spring_rate", "concentration",
}  # fmt: skip
_NAMES = {
    "gas_flow": "gas flow at reference conditions", "mass_per_mole": "molar mass",
    "pipe_size": "nominal pipe size", "money": "sum of money",
}  # fmt: skip


def _quote(text: str) -> str:
    return f"'{text if len(text) <= 60 else text[:57] + '...'}'"


def _named(quantity: str) -> str:
    """The quantity in words with its article."""
    words = _NAMES.get(quantity, quantity.replace("_", " "))
    return f"{'an' if words[0] in 'aeiou' else 'a'} {words}"


def _example(quantity: str, number: str = "12.5") -> str:
    """A text of the quantity as it should be written, quoted."""
    fixed = {"pipe_size": "4 in", "pressure_class": "class 150", "money": "1200 USD"}
    return f"'{fixed.get(quantity) or (number + ' ' + KINDS[quantity][1]).strip()}'"


def _not_number(text: str) -> UnitError:
    return UnitError(f"{_quote(text)} is not a number: write it like '1250.5' or '1250,5', no separators")


def _number(text: str, digits: str, exponent: str) -> tuple[float, str]:
    """The number and the reading rule used, if any; refuses what may be decimal or thousands."""
    note = ""
    if " " in digits:
        digits, note = digits.replace(" ", ""), "blank as thousands separator"
    points, commas = digits.count("."), digits.count(",")
    if commas and points:
        mark = max(",.", key=digits.rfind)
        whole, _, part = digits.rpartition(mark)
        found = _GROUPED.fullmatch(whole)
        if note or found is None or found[1] == mark:
            raise _not_number(text)
        digits = whole.replace(found[1], "") + "." + part
        note = "decimal comma" if mark == "," else "comma as thousands separator"
    elif commas == 1:
        whole, _, part = digits.partition(",")
        if not part:
            raise _not_number(text)
        if len(part) == 3 and not note and len(whole.lstrip("+-")) <= 3 and whole.lstrip("+-0"):
            written = f"write the number as '{whole}{part}' or '{whole}.{part}'"
            raise UnitError(f"{_quote(text)} may be decimal or thousands: {written}")
        digits, note = f"{whole}.{part}", f"{note}; decimal comma" if note else "decimal comma"
    elif commas > 1 or points > 1:
        if not _GROUPED.fullmatch(digits):
            raise _not_number(text)
        note = f"{'comma' if commas else 'point'} as thousands separator"
        digits = digits.replace(",", "").replace(".", "")
    value = float(digits + exponent)
    if not math.isfinite(value):
        raise UnitError(f"{_quote(text)} is too large a number: write a finite value")
    return value, note


def _mixed(match: re.Match[str]) -> float | None:
    """The value of a mixed number such as 1 1/2; None if its fraction is not below one."""
    top, bottom = int(match[2]), int(match[3])
    return int(match[1] or 0) + top / bottom if 0 < top < bottom else None


def _several(line: str, quantity: str) -> tuple[str, ...]:
    """The texts of the values if the text holds several, else nothing; a unit at the end is shared."""
    if quantity == "length" and (fraction := _FRACTION.fullmatch(line)) and _mixed(fraction) is not None:
        return ()
    mark = _SIZES if quantity == "pipe_size" else _SEVERAL
    found: list[tuple[str, str]] = []
    for piece in mark.split(line):
        piece = piece.strip()
        if piece.endswith(")") and piece.count(")") > piece.count("("):
            piece = piece[:-1].strip()
        match = _NUMBER.fullmatch(piece)
        if match is None or (match[3] and resolve(match[3], quantity) is None):
            return ()
        found.append((piece, match[3]))
    if len(found) < 2:
        return ()
    last = "" if any("(" in between for between in mark.findall(line)) else found[-1][1]
    return tuple(f"{piece} {last}" if last and not unit else piece for piece, unit in found)


def _holds(text: str, values: tuple[str, ...]) -> UnitError:
    listed = ", ".join(_quote(value) for value in values)
    return UnitError(f"{_quote(text)} holds {len(values)} values: write only one of {listed}", values)


def _no_number(text: str, line: str, quantity: str) -> UnitError:
    """The error for a text that does not begin with a number."""
    example = _example(quantity)
    if not line:
        return UnitError(f"the text is empty: write for example {example}")
    if normal(line) in ("amb", "ambient") and quantity == "temperature":
        return UnitError(f"{_quote(text)} is ambient, which has no fixed value: write for example '20 degC'")
    if quantity in ("pipe_size", "pressure_class"):
        return UnitError(f"{_quote(text)} is not {_named(quantity)}: write for example {example}")
    with_unit = " with a unit" if KINDS[quantity][1] else ""
    return UnitError(f"{_quote(text)} is not a number{with_unit}: write for example {example}")


def _refuse(
    text: str, line: str, quantity: str, number: str = "", spelled: str = "", words: str | None = None,
    header: bool = False,
) -> UnitError:  # fmt: skip
    """The error for a text whose unit is missing, ambiguous, of another quantity or unknown."""
    said = _quote(text) + (f" under a heading in {_quote(spelled)}" if header else "")
    if words is not None:
        return UnitError(f"{said} {words.format(n=number)}")
    if _INEXACT.search(text):
        example = _example(quantity)
        return UnitError(f"{_quote(text)} is not one exact value: write one value, for example {example}")
    if values := _several(line, quantity):
        return _holds(text, values)
    if not number:
        return _no_number(text, line, quantity)
    example = _example(quantity, number)
    if not spelled:
        return _WrongUnit(f"{_quote(text)} has no unit: write for example {example}")
    other = ANY.get(normal(spelled))
    if other is not None and other.name and other.quantity != quantity:
        wrong = f"is {_named(other.quantity)}, not {_named(quantity)}"
        return _WrongUnit(f"{said} {wrong}: write for example {example}")
    known = spelled.split(" ")
    for count in range(len(known) - 1, 0, -1):
        if resolve(" ".join(known[:count]), quantity) is not None:
            rest = " ".join(known[count:])
            return UnitError(f"{said} has words besides the number and its unit: leave out {_quote(rest)}")
    unknown = f"has the unit {_quote(spelled)}, which is not known for {_named(quantity)}"
    return _WrongUnit(f"{said} {unknown}: write for example {example}")


# --- Reading ----------------------------------------------------------------------------------------------


def parse(
    text: str,
    quantity: str,
    *,
    atmospheric: float = ATMOSPHERE,
    unit: str | None = None,
    references: Mapping[str, tuple[float, float]] | None = None,
) -> Reading:
    """Read a text such as "12.5 barg" as one of QUANTITIES.

    atmospheric: site pressure, Pa absolute; enters gauge units only. unit: the unit of the column heading,
    used only if the text is a bare number. references: temperature (K) and pressure (Pa absolute) of "SCF",
    "Nm3" or "Sm3" where they differ from REFERENCES.
    Raises UnitError (see there). Factors: NIST SP 811 and ISO 80000 (memory-hi).
    """
    given = None if references is None else tuple(sorted(references.items()))
    return _read(text, quantity, atmospheric, unit, given)


@lru_cache(maxsize=16384)
def _read(text: str, quantity: str, atmospheric: float, header: str | None, given: _References) -> Reading:
    if quantity not in KINDS:
        raise ValueError(f"unknown quantity {quantity!r}: one of {', '.join(KINDS)}")
    line = plain(text)
    own = _OWN.get(quantity)
    reading = own(text, line, header, atmospheric) if own is not None else None
    if reading is not None:
        return reading
    match = _NUMBER.fullmatch(_MONEY.sub(r"\2 \1", line) if quantity == "money" else line)
    if match is None:
        raise _refuse(text, line, quantity)
    digits, exponent, rest = match.groups()
    try:
        number, note = _number(text, digits, exponent)
    except UnitError:
        if values := _several(line, quantity):  # "10, 12 psig"
            raise _holds(text, values) from None
        raise
    return _reading(text, line, quantity, digits + exponent, number, note, rest, header, atmospheric, given)


def _reading(
    text: str, line: str, quantity: str, digits: str, number: float, note: str, rest: str,
    header: str | None, atmospheric: float, given: _References,
) -> Reading:  # fmt: skip
    """The reading of a number whose unit stands in `rest` or, if that is empty, in the heading."""
    from_header = not rest and bool(header)
    spelled = header if header and from_header else rest
    unit = resolve(spelled, quantity)
    if not isinstance(unit, Unit):
        raise _refuse(text, line, quantity, digits, spelled, unit, from_header)
    if number < 0 and quantity in _POSITIVE:
        named = _named(quantity)
        raise UnitError(f"{_quote(text)} is negative, which {named} cannot be: write a value above 0")
    value = _si(number, unit, atmospheric, given, text)
    if value < 0 and quantity in ("pressure", "temperature"):
        if value < -1e-9 * (atmospheric if quantity == "pressure" else 273.15):
            zero = "absolute zero pressure" if quantity == "pressure" else "0 K"
            raise UnitError(f"{_quote(text)} lies below {zero}: write a value above it")
        value = 0.0  # the zero itself, missed by rounding
    for more in (unit.note, _reference_note(unit, given)):
        note = f"{note}; {more}" if note and more else note or more
    kinematic = unit.quantity == "kinematic_viscosity"
    return Reading(value, text, unit.name, "header" if from_header else "cell", note, kinematic)


def _reference(unit: Unit, given: _References) -> tuple[float, float]:
    """Reference temperature (K) and pressure (Pa absolute) of a gas volume unit."""
    stated = dict(given or ())
    if unknown := stated.keys() - REFERENCES.keys():
        raise ValueError(f"unknown reference conditions {sorted(unknown)}: one of {', '.join(REFERENCES)}")
    return stated.get(unit.reference, REFERENCES[unit.reference])


def _reference_note(unit: Unit, given: _References) -> str:
    if not unit.reference:
        return ""
    temperature, pressure = _reference(unit, given)
    if (temperature, pressure) == REFERENCES[unit.reference]:
        return f"reference {WRITTEN[unit.reference]}"
    return f"reference {temperature:.6g} K, {pressure / 1e3:.6g} kPa"


def _si(number: float, unit: Unit, atmospheric: float, given: _References, text: str) -> float:
    """The number in SI."""
    if unit.reference:
        temperature, pressure = _reference(unit, given)
        return reference_flow(number * unit.factor, pressure, temperature)
    if unit.name == "SSU":
        return _from_saybolt(number, text)
    value = number * unit.factor + unit.offset
    return value + atmospheric if unit.gauge else value


def _from_saybolt(number: float, text: str) -> float:
    """The kinematic viscosity (m2/s) whose Saybolt seconds are the number, by halving the interval."""
    if number < 32:
        raise UnitError(f"{_quote(text)} lies below 32 SSU, where the scale starts: write it in 'cSt'")
    low, high = 1e-6, number / 4.6324e6  # the second term of the formula is positive
    while low < (middle := 0.5 * (low + high)) < high:
        low, high = (middle, high) if saybolt_seconds(middle) < number else (low, middle)
    return high


def _read_pressure(text: str, line: str, header: str | None, atmospheric: float) -> Reading | None:
    """The pressures written as words; None lets the common reader go on."""
    if line[:1] in ("f", "F", "a", "A"):
        word = normal(line)
        if word in _VACUUM:
            return Reading(0.0, text, "bara", "cell", "full vacuum")
        if word in _ATMOSPHERIC:
            return Reading(atmospheric, text, "barg", "cell", "atmospheric pressure")
    return None


def _read_length(text: str, line: str, header: str | None, atmospheric: float) -> Reading | None:
    """Fractions, and feet with inches; None lets the common reader go on."""
    if "/" in line and (match := _FRACTION.fullmatch(line)) and (number := _mixed(match)) is not None:
        return _reading(text, line, "length", f"{number:g}", number, "", match[4], header, atmospheric, None)
    if match := _FEET.fullmatch(line):
        feet = UNITS["ft"].factor * int(match[1])
        inches = float(match[2] or 0) + (int(match[3]) / int(match[4]) if match[3] else 0.0)
        return Reading(feet + UNITS["in"].factor * inches, text, "ft", "cell", "feet and inches")
    return None


def _read_pipe_size(text: str, line: str, header: str | None, atmospheric: float) -> Reading:
    """A nominal pipe size, as NPS in inches (a name, not a measure)."""
    note, number = "", None
    body = re.sub(r"^(NPS|DN) ?(.*)$", r"\2 \1", line, flags=re.I)
    match = _FRACTION.fullmatch(body)
    if match is not None:
        number = _mixed(match)
    if number is None:
        match = _NUMBER.fullmatch(body)
        if match is None or match[2]:
            raise _refuse(text, line, "pipe_size")
        number, note = _number(text, match[1], "")
    rest = match[match.re.groups] if match else ""
    from_header = not rest and bool(header)
    spelled = header if header and from_header else rest
    unit = resolve(spelled, "pipe_size") if spelled else UNITS["NPS"]
    if not isinstance(unit, Unit):
        raise _refuse(text, line, "pipe_size", f"{number:g}", spelled, unit, from_header)
    if not spelled and number >= 15 and number in _NPS:
        raise UnitError(f"{_quote(text)} may be DN or inch: write 'DN {number:g}' or '{number:g} in'")
    nps = _NPS.get(int(number), 0.0) if unit.name == "DN" and number == int(number) else number
    if nps not in DN or (unit.name == "DN" and number not in _NPS):
        wrong = f"{_quote(text)} is not a nominal pipe size"
        raise UnitError(f"{wrong}: write a real one, for example '4 in' or 'DN 100'")
    if normal(spelled) == "mm":
        note = (f"{note}; " if note else "") + f"{number:g} mm read as DN {number:g}"
    return Reading(float(nps), text, unit.name, "header" if from_header else "cell", note)


def _read_pressure_class(text: str, line: str, header: str | None, atmospheric: float) -> Reading:
    """A flange pressure class designation."""
    if re.fullmatch(r"PN ?[0-9.,]+", line, re.I):
        wrong = f"{_quote(text)} is a PN of EN 1092, not a class"
        raise UnitError(f"{wrong}: write the ASME class, for example 'class 150'")
    match = re.fullmatch(r"([^0-9]*?)[ .]*([0-9]{1,9}) ?([^0-9]*)", line)
    words = [part for part in (match[1], match[3]) if part] if match else []
    if match is None or any(resolve(word, "pressure_class") is None for word in words):
        raise _refuse(text, line, "pressure_class")
    if int(match[2]) not in CLASSES:
        listed = ", ".join(map(str, CLASSES))
        raise UnitError(f"{_quote(text)} is not a pressure class: write one of {listed}")
    note = "cast iron class of ASME B16.1" if int(match[2]) in (125, 250) else ""
    return Reading(float(match[2]), text, "class", "cell", note)


_OWN: dict[str, Callable[[str, str, str | None, float], Reading | None]] = {
    "pressure": _read_pressure,
    "length": _read_length,
    "pipe_size": _read_pipe_size,
    "pressure_class": _read_pressure_class,
}


def parse_any(
    text: str,
    quantities: tuple[str, ...],
    *,
    atmospheric: float = ATMOSPHERE,
    unit: str | None = None,
    references: Mapping[str, tuple[float, float]] | None = None,
) -> tuple[str, Reading]:
    """Read a text as the first of the quantities that its unit fits; returns the quantity and the Reading.

    A kinematic viscosity is named as such. Arguments as for `parse`. Raises UnitError: the most telling of
    the refusals, or one that names all quantities asked for.
    """
    telling: UnitError | None = None
    for quantity in quantities:
        try:
            reading = parse(text, quantity, atmospheric=atmospheric, unit=unit, references=references)
        except _WrongUnit:
            continue
        except UnitError as error:
            telling = telling or error
            continue
        return ("kinematic_viscosity" if reading.kinematic else quantity), reading
    if telling is not None:
        raise telling
    names = " or ".join(_named(quantity) for quantity in quantities)
    examples = " or ".join(_example(quantity) for quantity in quantities)
    raise _WrongUnit(f"{_quote(text)} has no unit of {names}: write for example {examples}")


# --- Out again --------------------------------------------------------------------------------------------


def _unit(name: str) -> Unit:
    found = UNITS.get(name) or ANY.get(normal(name))
    if found is None:
        raise UnitError(f"{_quote(name)} is not a known unit: write one of quietseat.units.UNITS")
    return found


def quantity_of(unit: str) -> str:
    """The quantity a unit belongs to ("bar": pressure_difference, "barg": pressure). Raises UnitError."""
    return _unit(unit).quantity


def to(
    value: float,
    unit: str,
    *,
    atmospheric: float = ATMOSPHERE,
    references: Mapping[str, tuple[float, float]] | None = None,
) -> float:
    """An SI value as a number in the unit; atmospheric and references as for `parse`. Raises UnitError."""
    found = _unit(unit)
    if found.reference:
        given = None if references is None else tuple(references.items())
        return value / _si(1.0, found, atmospheric, given, unit)
    if found.name == "SSU":
        if value < 1.8e-6:
            raise UnitError(f"{value * 1e6:.4g} cSt lies below the Saybolt Universal scale: use 'cSt'")
        return saybolt_seconds(value)
    if found.name == "DN":
        if value not in DN:
            raise UnitError(f"NPS {value:g} is not a nominal pipe size: write a real one, for example 4")
        return float(DN[value])
    return (value - (atmospheric if found.gauge else found.offset)) / found.factor


def show(
    value: float,
    unit: str,
    *,
    atmospheric: float = ATMOSPHERE,
    digits: int = 4,
    references: Mapping[str, tuple[float, float]] | None = None,
) -> str:
    """An SI value as text with its unit: show(1101325.0, "barg") is "10 barg".

    digits: significant digits; the whole part is always printed in full. Other arguments as for `to`.
    """
    number = to(value, unit, atmospheric=atmospheric, references=references)
    name = _unit(unit).name
    text = f"{number:.0f}" if 10 ** (digits - 1) <= abs(number) < 1e15 else f"{number:.{digits}g}"
    text = "0" if text == "-0" else text
    return f"{name} {text}" if name in ("NPS", "DN", "class") else f"{text} {name}".rstrip()
