"""The values of a case file: text with a unit -> SI; everything wrong with one file is told at once."""

from __future__ import annotations

import difflib
import sys
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from quietseat import fluids, units
from quietseat.basis import Basis
from quietseat.fields import fields
from quietseat.model import Origin
from quietseat.status import Assumption, CalculationFailed, InputUnusable

_WORDS = ("text", "choice", "letter", "cause", "designation", "schedule", "block_valve", "date")
_NUMBERS = ("number", "money", "integer", "ppm", "molar_mass", "fraction", "pressure_class", "pipe_size")
_MOST = 2.0  # an overpressure or accumulation of 200 % or more is a per cent sign left out


def read_toml(path: str) -> tuple[str, dict[str, Any]]:
    """The name and content of a TOML file, or of standard input for "-". Raises InputUnusable."""
    name = "standard input" if path == "-" else Path(path).name
    try:
        text = sys.stdin.read() if path == "-" else Path(path).read_text(encoding="utf-8-sig")
        return name, tomllib.loads(text.removeprefix("\ufeff"))
    except OSError as error:
        raise InputUnusable(f"{path}: cannot be read ({error.strerror}).") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputUnusable(f"{name}: is not TOML ({error}).") from error


def subtable(content: Mapping[str, Any], key: str, name: str) -> dict[str, Any]:
    """A table of a file as a dict of its own; empty where there is none. Raises InputUnusable."""
    table = content.get(key, {})
    if not isinstance(table, dict):
        raise InputUnusable(f"{name}: [{key}] must be a table.")
    return dict(table)


def references(basis: Basis) -> dict[str, tuple[float, float]]:
    """Reference conditions of gas volumes by the Basis: temperature (K), pressure (Pa absolute)."""
    stated = dict(units.REFERENCES)
    stated["Nm3"] = (basis.normal_temperature, stated["Nm3"][1])
    stated["Sm3"] = (basis.standard_temperature, stated["Sm3"][1])
    stated["SCF"] = (basis.standard_temperature_us, stated["SCF"][1])
    return stated


@cache
def _aliases() -> Mapping[str, tuple[str, ...]]:
    """The headings under which registers know a key, without blanks and marks, to the keys."""
    out: dict[str, tuple[str, ...]] = {}
    for field in fields().values():
        for alias in field.aliases:
            out[_bare(alias)] = (*out.get(_bare(alias), ()), field.key)
    return out


def _bare(key: str) -> str:
    return "".join(letter for letter in key.casefold() if letter.isalnum())


def nearest(key: str, known: Iterable[str]) -> str | None:
    """The known key a person meant, or None. Keys may have a table in front, as in "valve.kind"."""
    _table, _, last = key.rpartition(".")
    named = {name.rpartition(".")[2]: name for name in known}
    for name, full in named.items():
        if _bare(name) == _bare(last):
            return full
    for meant in _aliases().get(_bare(last), ()):
        if meant in named:
            return named[meant]
    close = difflib.get_close_matches(last.casefold(), [name.casefold() for name in named], n=1, cutoff=0.5)
    return next((full for name, full in named.items() if close and name.casefold() == close[0]), None)


class Reader:
    """Reads values and collects everything that is wrong with one file, so all of it is told at once."""

    def __init__(self, name: str, basis: Basis) -> None:
        self.name = name
        self.basis = basis
        self.wrong: list[str] = []
        self.assumptions: list[Assumption] = []
        self.origins: dict[str, Origin] = {}

    def unknown(self, key: str, known: Iterable[str]) -> None:
        """Refuse a key by name, with the nearest known one."""
        near = nearest(key, known)
        self.wrong.append(f"unknown key {key!r}" + (f"; the nearest known key is {near!r}" if near else ""))

    def finish(self) -> None:
        """Raise InputUnusable if anything was wrong."""
        if self.wrong:
            raise InputUnusable(f"{self.name}: " + "; ".join(self.wrong))

    def value(
        self, key: str, quantity: str, raw: Any, beside: Mapping[str, Any] | None = None, choices: tuple[str, ...] = ()
    ) -> Any:
        """One value as SI; None (and a complaint) where it cannot be read.

        beside: the table the key stands in; a gas volume takes its molar mass from there. A flow given as liquid
        volume comes back as ("volume", m3/s), a viscosity as (kind, value).
        """
        try:
            return self._read(quantity, raw, beside or {}, choices)
        except (ValueError, CalculationFailed) as error:
            self.wrong.append(f"{key} = {raw!r}: {error}")
            return None

    def _read(self, quantity: str, raw: Any, beside: Mapping[str, Any], choices: tuple[str, ...]) -> Any:
        if quantity in ("flag", "yes_no"):
            if not isinstance(raw, bool):
                raise ValueError("must be true or false")
            return raw
        if quantity in _WORDS:
            return _word(raw, choices)
        if quantity == "pressure_range":
            if not isinstance(raw, list) or len(raw) != 2:
                raise ValueError('must be two pressures, such as ["8 barg", "12 barg"]')
            return tuple(self._read("pressure", end, {}, ()) for end in raw)
        if isinstance(raw, bool) or not isinstance(raw, (str, int, float)):
            raise ValueError("must be text with a unit, or a number")
        if quantity == "money" and isinstance(raw, str):
            return self._money(raw)
        if quantity in _NUMBERS:
            return plain(quantity, raw)
        if isinstance(raw, (int, float)):
            raise ValueError('needs a unit, written as text, such as "10 barg" or "5000 kg/h"')
        if quantity == "flow":
            return self._flow(raw, beside)
        if quantity == "viscosity":
            return _viscosity(raw)
        return units.parse(raw, quantity, atmospheric=self.basis.atmospheric_pressure).value

    def _money(self, raw: str) -> float:
        reading = units.parse(raw, "money")
        if reading.unit.isalpha() and reading.unit != self.basis.currency:
            raise ValueError(f"is in {reading.unit}, the Basis counts in {self.basis.currency}: convert it")
        return reading.value

    def _flow(self, raw: str, beside: Mapping[str, Any]) -> float | tuple[str, float]:
        quantity, reading = units.parse_any(
            raw, ("mass_flow", "gas_flow", "volume_flow"), references=references(self.basis)
        )
        if quantity == "mass_flow":
            return reading.value
        if quantity == "volume_flow":
            return "volume", reading.value
        stated = beside.get("molar_mass")
        if stated is not None:
            mass = plain("molar_mass", stated)
        elif beside.get("fluid"):
            mass = fluids.molar_mass(str(beside["fluid"]))
        else:
            raise ValueError("a gas volume flow needs `molar_mass`, or a `fluid` of the property library")
        self.assumptions.append(
            Assumption("flow", raw, f"gas volume at {reading.note}, times molar mass {mass * 1e3:.5g} g/mol", "definition")
        )
        return float(reading.value * mass)

    def share(self, key: str, value: float | None) -> float | None:
        """An accumulation as a factor on MAWP ("10 %" and "110 %" are the same); refuses a lost per cent sign."""
        if value is None:
            return None
        if not 0.0 <= value < _MOST:
            self.wrong.append(f'{key}: {100 * value:g} % cannot be; write it as "10 %" or "110 %"')
            return None
        return 1.0 + value if value < 1.0 else value


def _word(raw: Any, choices: tuple[str, ...]) -> str:
    if isinstance(raw, (int, float)) and not isinstance(raw, bool) and not choices:
        return f"{raw:g}"
    if not isinstance(raw, str):
        if isinstance(raw, (bool, list, dict)) or choices:
            raise ValueError("must be text")
        return str(raw)  # a date as TOML knows it
    if choices and raw not in choices:
        near = next((choice for choice in choices if _bare(choice) == _bare(raw)), None)
        raise ValueError(f"must be one of {', '.join(choices)}" + (f"; write {near!r}" if near else ""))
    return raw


def plain(quantity: str, raw: str | int | float) -> float | int:
    """A number that may stand without a unit. Raises ValueError."""
    if quantity == "integer":
        if not isinstance(raw, int):
            raise ValueError("must be a whole number")
        return raw
    if quantity in ("pipe_size", "pressure_class"):
        value = units.parse(f"{raw:g}" if isinstance(raw, float) else str(raw), quantity).value
        return int(value) if quantity == "pressure_class" else value
    if quantity == "molar_mass":
        value = float(raw) * 1e-3 if isinstance(raw, (int, float)) else units.parse(raw, "mass_per_mole").value
        if not 0.001 <= value <= 1.0:
            raise ValueError("a molar mass lies between 1 and 1000 g/mol")
        return value
    if isinstance(raw, (int, float)):
        return float(raw)
    return units.parse(raw, "fraction" if quantity == "fraction" else "number").value


def _viscosity(raw: str) -> tuple[str, float]:
    reading = units.parse(raw, "viscosity")
    if reading.unit == "SSU":
        return "ssu", round(units.to(reading.value, "SSU"), 6)
    return ("kinematic" if reading.kinematic else "dynamic"), reading.value
