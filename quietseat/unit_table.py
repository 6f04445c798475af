"""The units: the only place with conversion factors, and every spelling under which a unit is known.

Factors are exact definitions or conventional values of NIST SP 811 (2008) appendix B and ISO 80000, unless
a line says otherwise. `quietseat.units` reads and writes with them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from quietseat.formula import GRAVITY

ATMOSPHERE = 101325.0  # Pa, standard atmosphere (exact)

# Name of a quantity -> unit of its value inside, and the unit of the example in a refusal.
KINDS: dict[str, tuple[str, str]] = {
    "pressure": ("Pa(a)", "barg"), "pressure_difference": ("Pa", "bar"), "temperature": ("K", "degC"),
    "temperature_difference": ("delta K", "degC"), "mass_flow": ("kg/s", "kg/h"),
    "volume_flow": ("m**3/s", "m3/h"), "gas_flow": ("mol/s", "Nm3/h"), "length": ("m", "mm"),
    "area": ("m**2", "mm2"), "volume": ("m**3", "m3"), "mass": ("kg", "kg"), "density": ("kg/m**3", "kg/m3"),
    "specific_volume": ("m**3/kg", "m3/kg"), "viscosity": ("Pa*s", "cP"),
    "kinematic_viscosity": ("m**2/s", "cSt"), "speed": ("m/s", "m/s"), "time": ("s", "s"),
    "mass_per_mole": ("kg/mol", "g/mol"), "spring_rate": ("N/m", "N/mm"), "force": ("N", "N"),
    "energy": ("J", "kJ"), "power": ("W", "kW"), "fraction": ("", "%"), "concentration": ("", "ppm"),
    "pipe_size": ("NPS", "in"), "pressure_class": ("class", "class"), "number": ("", ""),
    "money": ("money", ""),
}  # fmt: skip

_IN, _FT, _LB, _GAL, _UKGAL = 0.0254, 0.3048, 0.45359237, 231 * 0.0254**3, 4.54609e-3
_MIN, _H, _DAY = 60.0, 3600.0, 86400.0
_LBF, _PSI, _FT3, _BBL = _LB * GRAVITY, _LB * GRAVITY / _IN**2, _FT**3, 42 * _GAL
_BTU, _CAL = 1055.05585262, 4.1868  # of the International Table
_HG = 133.322387415  # Pa, conventional millimetre of mercury
_YEAR = 365.25 * _DAY  # Julian year; a month is its twelfth part

# Reference conditions (K, Pa absolute) of a gas volume, how they are written, and the volume in m3.
REFERENCES: Mapping[str, tuple[float, float]] = {
    "SCF": ((60 + 459.67) / 1.8, 14.696 * _PSI), "Nm3": (273.15, ATMOSPHERE), "Sm3": (288.15, ATMOSPHERE),
}  # fmt: skip
WRITTEN = {"SCF": "60 degF, 14.696 psia", "Nm3": "0 degC, 101.325 kPa", "Sm3": "15 degC, 101.325 kPa"}

# NPS steps and their DN (ASME B36.10M, ISO 6708; memory-hi).
DN = {
    0.125: 6, 0.25: 8, 0.375: 10, 0.5: 15, 0.75: 20, 1: 25, 1.25: 32, 1.5: 40, 2: 50, 2.5: 65, 3: 80, 3.5: 90,
    4: 100, 5: 125, 6: 150, 8: 200, 10: 250, 12: 300, 14: 350, 16: 400, 18: 450, 20: 500, 22: 550, 24: 600,
    26: 650, 28: 700, 30: 750, 32: 800, 36: 900, 40: 1000, 42: 1050, 48: 1200,
}  # fmt: skip
CLASSES = (125, 150, 250, 300, 400, 600, 900, 1500, 2500)  # ASME B16.5; 125 and 250: ASME B16.1

# Units by quantity: name, factor to SI, further spellings (compared after `normal`).
_TABLE: dict[str, tuple[tuple[str, float, str], ...]] = {
    "mass_flow": (
        ("kg/s", 1.0, ""), ("kg/min", 1 / _MIN, ""), ("kg/h", 1 / _H, "kgh kgph"), ("kg/d", 1 / _DAY, ""),
        ("g/s", 1e-3, ""), ("t/h", 1000 / _H, "te/h mt/h"), ("t/d", 1000 / _DAY, "te/d mt/d"),
        ("lb/s", _LB, ""), ("lb/min", _LB / _MIN, ""), ("lb/h", _LB / _H, "pph lbph lbh #/h"),
        ("lb/d", _LB / _DAY, ""), ("klb/h", 1000 * _LB / _H, "kpph klbh"),
    ),
    "volume_flow": (
        ("m3/s", 1.0, ""), ("m3/min", 1 / _MIN, ""), ("m3/h", 1 / _H, ""), ("m3/d", 1 / _DAY, ""),
        ("L/s", 1e-3, "lps"), ("L/min", 1e-3 / _MIN, "lpm"), ("L/h", 1e-3 / _H, "lph"),
        ("gpm", _GAL / _MIN, "usgpm gpmus gal/min usgal/min gal/minus usg/min"),
        ("gph", _GAL / _H, "usgph gal/h usgal/h"),
        ("UK gpm", _UKGAL / _MIN, "gpmuk igpm impgpm gpmimp ukgal/min impgal/min"),
        ("ft3/s", _FT3, "cfs"), ("ft3/min", _FT3 / _MIN, ""), ("ft3/h", _FT3 / _H, ""),
        ("bbl/d", _BBL / _DAY, "bpd"), ("bbl/h", _BBL / _H, "bph"),
    ),
    "length": (
        ("m", 1.0, ""), ("mm", 1e-3, ""), ("cm", 1e-2, ""), ("km", 1e3, ""), ("um", 1e-6, "micron microns"),
        ("in", _IN, "\" ''"), ("ft", _FT, "'"),
    ),
    "area": (
        ("m2", 1.0, ""), ("cm2", 1e-4, ""), ("mm2", 1e-6, ""), ("in2", _IN**2, ""), ("ft2", _FT**2, ""),
    ),
    "volume": (
        ("m3", 1.0, ""), ("L", 1e-3, ""), ("cm3", 1e-6, "cc ml"), ("ft3", _FT3, ""), ("in3", _IN**3, ""),
        ("gal", _GAL, "usgal galus"), ("UK gal", _UKGAL, "impgal galuk galimp"), ("bbl", _BBL, ""),
    ),
    "mass": (
        ("kg", 1.0, ""), ("g", 1e-3, ""), ("t", 1e3, "te mt"), ("lb", _LB, ""), ("oz", _LB / 16, ""),
    ),
    "density": (
        ("kg/m3", 1.0, ""), ("g/cm3", 1e3, "g/cc g/ml"), ("kg/L", 1e3, ""), ("g/L", 1.0, ""),
        ("lb/ft3", _LB / _FT3, "pcf"), ("lb/gal", _LB / _GAL, "ppg lb/usgal"), ("lb/in3", _LB / _IN**3, ""),
    ),
    "specific_volume": (
        ("m3/kg", 1.0, ""), ("L/kg", 1e-3, ""), ("cm3/g", 1e-3, "cc/g"), ("ft3/lb", _FT3 / _LB, ""),
    ),
    "viscosity": (
        ("Pa.s", 1.0, ""), ("mPa.s", 1e-3, ""), ("cP", 1e-3, "cps centipoise"), ("lb/ft.s", _LB / _FT, ""),
    ),
    "kinematic_viscosity": (
        ("m2/s", 1.0, ""), ("mm2/s", 1e-6, ""), ("cSt", 1e-6, "cs centistokes centistoke"),
        ("St", 1e-4, "stokes"), ("ft2/s", _FT**2, ""), ("SSU", 1.0, "sus ssus"),
    ),
    "speed": (
        ("m/s", 1.0, ""), ("km/h", 1 / 3.6, "kph kmh"), ("ft/s", _FT, "fps"), ("ft/min", _FT / _MIN, "fpm"),
        ("mph", 5280 * _FT / _H, ""),
    ),
    "time": (
        ("s", 1.0, ""), ("ms", 1e-3, ""), ("min", _MIN, "mins"), ("h", _H, ""), ("d", _DAY, ""),
        ("week", 7 * _DAY, "weeks wk"), ("month", _YEAR / 12, "months mo mth"),
        ("year", _YEAR, "years yr yrs y a"),
    ),
    "mass_per_mole": (("g/mol", 1e-3, "kg/kmol lb/lbmol g/gmol g/mole kg/kgmol"), ("kg/mol", 1.0, "")),
    "spring_rate": (
        ("N/m", 1.0, ""), ("N/mm", 1e3, ""), ("kN/m", 1e3, ""), ("lbf/in", _LBF / _IN, "lb/in"),
        ("kgf/mm", GRAVITY * 1e3, "kg/mm"),
    ),
    "force": (("N", 1.0, ""), ("kN", 1e3, ""), ("lbf", _LBF, ""), ("kgf", GRAVITY, "kp")),
    "energy": (
        ("J", 1.0, ""), ("kJ", 1e3, ""), ("MJ", 1e6, ""), ("kWh", 3.6e6, ""), ("Btu", _BTU, ""),
        ("MMBtu", 1e6 * _BTU, ""), ("kcal", 1e3 * _CAL, ""),
    ),
    "power": (
        ("W", 1.0, ""), ("kW", 1e3, ""), ("MW", 1e6, ""), ("hp", 550 * _FT * _LBF, ""),
        ("Btu/h", _BTU / _H, ""), ("MMBtu/h", 1e6 * _BTU / _H, ""), ("kcal/h", 1e3 * _CAL / _H, ""),
    ),
    "fraction": (("%", 1e-2, "percent pct"),),
    "concentration": (("ppm", 1e-6, "ppmv ppmvol"), ("vol%", 1e-2, "% %v %vol mol% %v/v")),
    "money": (("$", 1.0, ""), ("€", 1.0, ""), ("£", 1.0, ""), ("USD", 1.0, ""), ("EUR", 1.0, ""),
              ("GBP", 1.0, ""), ("CAD", 1.0, ""), ("AUD", 1.0, ""), ("NOK", 1.0, "")),
}  # fmt: skip
_NOTES = {"gpm": "US gallon", "gph": "US gallon", "gal": "US gallon", "SSU": "ASTM D2161 at 100 degF"}

# Pressure units without their g or a: factor and further spellings.
_PRESSURES: dict[str, tuple[float, str]] = {
    "bar": (1e5, "bars"), "mbar": (100.0, "millibar"), "kPa": (1e3, ""), "MPa": (1e6, ""), "hPa": (100.0, ""),
    "Pa": (1.0, ""), "psi": (_PSI, "lb/in2 lbf/in2"), "kg/cm2": (GRAVITY * 1e4, "kgf/cm2 ksc kp/cm2"),
    "mmH2O": (GRAVITY, "mmwc"), "cmH2O": (GRAVITY * 10, "cmwc"), "mH2O": (GRAVITY * 1e3, "mwc"),
    "inH2O": (GRAVITY * 25.4, 'inwc "h2o "wc'), "ftH2O": (GRAVITY * 304.8, "ftwc"), "mmHg": (_HG, ""),
    "inHg": (_HG * 25.4, '"hg'), "torr": (ATMOSPHERE / 760, ""),
}  # fmt: skip

# Gas volumes a time. M is the Roman thousand of the trade, MM the million.
_GAS_TIMES = (("s", 1.0), ("min", _MIN), ("h", _H), ("d", _DAY))
_GAS_MULTIPLES = (("", 1.0), ("M", 1e3), ("MM", 1e6))


def _each(spellings: str, words: str) -> dict[str, str]:
    return dict.fromkeys(spellings.split(), words)


# Spellings that are understood but mean two things, or the wrong one: what is wrong and how to write it.
_ACTUAL = _each(
    "acfm acfh am3/h m3a/h",
    "is a gas volume at actual conditions: write a mass flow ('kg/h') or reference flow ('Nm3/h', 'SCFM')",
)
_TON = "does not say metric, short or long ton: "
_DEGREE = {"deg": "does not say which degree: write '{n} degC' or '{n} degF'"}
REFUSED: dict[str, dict[str, str]] = {
    "pressure": {},
    "pressure_difference": _each("atm atma", "is absolute, which a difference cannot be: use 'bar'"),
    "gas_flow": _ACTUAL | _each(
        "m3/h m3/s m3/min m3/d ft3/min ft3/h cfm cfh cfd l/min l/s",
        "does not say normal, standard or actual: write '{n} Nm3/h', '{n} Sm3/h' or '{n} SCFM'",
    ),
    "volume_flow": _ACTUAL | _each(
        "cfm cfh cfd", "does not say actual or standard: write 'ft3/min' for a liquid, 'SCFM' for a gas",
    ),
    "mass_flow": _each(
        "ton/h tons/h tph ton/d tons/d tpd", _TON + "write '{n} t/h' if metric, else the flow in 'lb/h'"
    ) | _each("mlb/h mlbh", "may be thousand or million pounds: write '{n} klb/h' if thousand"),
    "mass": _each("ton tons", _TON + "write '{n} t' if metric, else 'lb'"),
    "temperature": _DEGREE, "temperature_difference": _DEGREE,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: SI value = number * factor + offset, plus the atmosphere if it is a gauge unit.

    reference: which REFERENCES a gas volume is stated at; note: what a reader should be told.
    """

    name: str
    quantity: str
    factor: float = 1.0
    offset: float = 0.0
    gauge: bool = False
    reference: str = ""
    note: str = ""


# --- Spelling ---------------------------------------------------------------------------------------------

_SIGNS = {
    "²": "2", "³": "3", "₂": "2", "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "−": "-", "–": "-", "—": "-",
    "″": '"', "“": '"', "”": '"', "′": "'", "’": "'", "‘": "'", "º": "deg", "˚": "deg", "°": "deg",
    "·": ".", "⋅": ".", "×": "x", "µ": "u", "μ": "u", "㎥": "m3", "Δ": "delta ", "℃": "degC", "℉": "degF",
    "\u200b": "", "\u2060": "", "\ufeff": "",
}  # fmt: skip
_PLAIN = str.maketrans(_SIGNS)
_DROPPED = str.maketrans("", "", " ()[].^*_-")
_WORDS = {
    "absolute": "a", "abs": "a", "gauge": "g", "gage": "g", "hours": "h", "hour": "h", "hrs": "h", "hr": "h",
    "seconds": "s", "second": "s", "secs": "s", "sec": "s", "minutes": "min", "minute": "min", "days": "d",
    "day": "d", "lbs": "lb", "lbm": "lb", "kgs": "kg", "pounds": "lb", "pound": "lb", "inches": "in",
    "inch": "in", "feet": "ft", "foot": "ft", "metres": "m", "meters": "m", "metre": "m", "meter": "m",
    "litres": "l", "liters": "l", "litre": "l", "liter": "l", "ltr": "l", "gallons": "gal", "gallon": "gal",
    "tonnes": "t", "tonne": "t", "degrees": "deg", "degree": "deg", "imperial": "imp", "barrels": "bbl",
}  # fmt: skip
_WORD = re.compile("(?:" + "|".join(sorted(_WORDS, key=len, reverse=True)) + ")(?!ol)")  # lbmol is no lbm
_POWER = re.compile(r"(sq|square|cu|cubic)(mm|cm|m|in|ft)")
# Spellings where milli and mega both exist: the first letter that is meant.
_CASED = {"mpag": "M", "mpaa": "M", "mpa": "M", "mpad": "M", "mpas": "m", "mw": "M", "mj": "M"}


def plain(text: str) -> str:
    """The text with single plain blanks, signs and fractions."""
    return " ".join((text if text.isascii() else text.translate(_PLAIN)).split())


def normal(unit: str) -> str:
    """The spelling under which a unit is looked up: small letters, no blanks, trade words replaced."""
    text = unit if unit.isascii() else unit.translate(_PLAIN)
    text = _WORD.sub(lambda found: _WORDS[found[0]], text.lower().translate(_DROPPED))
    return _POWER.sub(lambda found: found[2] + ("2" if found[1].startswith("sq") else "3"), text)


UNITS: dict[str, Unit] = {}  # every unit by its name
ALIASES: dict[str, dict[str, Unit]] = {name: {} for name in KINDS}  # quantity -> spelling -> unit


def _add(unit: Unit, spellings: Iterable[str] = ()) -> None:
    """Enter a unit under its own name and further spellings; one taken already is a defect of the table."""
    known = {normal(spelling) for spelling in (unit.name, *spellings)}
    if unit.name in UNITS or known & ALIASES[unit.quantity].keys():
        raise ValueError(f"unit {unit.name!r} or one of its spellings stands twice in the table")
    UNITS[unit.name] = unit
    ALIASES[unit.quantity].update(dict.fromkeys(known, unit))


def _add_pressures() -> None:
    for base, (factor, more) in _PRESSURES.items():
        bases = [base, *more.split()]
        # "Water gauge" says gauge by itself; for a difference it is the plain water column.
        water = [spelling[:-1] + "g" for spelling in bases if spelling.endswith("wc")]
        _add(Unit(base + "g", "pressure", factor, gauge=True), [*(s + "g" for s in bases[1:]), *water])
        _add(Unit(base + "a", "pressure", factor), [s + "a" for s in bases[1:]])
        _add(Unit(base, "pressure_difference", factor), [*bases[1:], *(s + "d" for s in bases), *water])
        for spelling in bases:
            REFUSED["pressure"][normal(spelling)] = (
                f"does not say gauge or absolute: write '{{n}} {base}g' or '{{n}} {base}a'"
            )
            for letter, word in (("g", "gauge"), ("a", "absolute")):
                REFUSED["pressure_difference"][normal(spelling + letter)] = (
                    f"is {word}, which a difference cannot be: write '{{n}} {base}'"
                )
    _add(Unit("atm", "pressure", ATMOSPHERE), ["atma"])


def _add_temperatures() -> None:
    for name, factor, offset, more in (
        ("K", 1.0, 0.0, "degK kelvin"),
        ("degC", 1.0, 273.15, "C oC celsius degcelsius centigrade"),
        ("degR", 1 / 1.8, 0.0, "R rankine"),
        ("degF", 1 / 1.8, 459.67 / 1.8, "F oF fahrenheit degfahrenheit"),
    ):
        spellings = [name, *more.split()]
        _add(Unit(name, "temperature", factor, offset), spellings)
        _add(Unit(f"delta {name}", "temperature_difference", factor),
             [*spellings, *("delta" + s for s in spellings)])  # fmt: skip


def _add_gas_flows() -> None:
    for per, seconds in _GAS_TIMES:
        for prefix, multiple in _GAS_MULTIPLES:
            tails = {f"scf/{per}", f"scf{per}", f"scf{per[0]}"}
            more = {start + tail for tail in tails for start in (("M", "k") if prefix == "M" else (prefix,))}
            name, note = f"{prefix}SCF{per[0].upper()}", "M = thousand" if prefix == "M" else ""
            _add(Unit(name, "gas_flow", multiple * _FT3 / seconds, reference="SCF", note=note), more)
        for name, words in (("Nm3", ("normalm3", "m3n")), ("Sm3", ("standardm3", "stdm3"))):
            more = {f"{word}/{per}" for word in words} | ({f"m3/{per}n"} if name == "Nm3" else set())
            _add(Unit(f"{name}/{per}", "gas_flow", 1 / seconds, reference=name), more)
    _add(Unit("mol/s", "gas_flow"))
    _add(Unit("kmol/h", "gas_flow", 1000 / _H), ["kgmol/h"])
    _add(Unit("lbmol/h", "gas_flow", 1000 * _LB / _H))


def _fill() -> None:
    _add_pressures()
    _add_temperatures()
    _add_gas_flows()
    for quantity, rows in _TABLE.items():
        for name, factor, more in rows:
            _add(Unit(name, quantity, factor, note=_NOTES.get(name, "")), more.split())
    _add(Unit("", "number"))
    for quantity in ("fraction", "money"):
        ALIASES[quantity][""] = UNITS[""]
    ALIASES["mass_per_mole"][""] = replace(UNITS["g/mol"], note="plain number read as g/mol")
    ALIASES["viscosity"] |= ALIASES["kinematic_viscosity"]
    _add(Unit("NPS", "pipe_size"), ["in", '"', "''"])
    _add(Unit("DN", "pipe_size"), ["mm"])
    marks = [a + b for a in ("", "asme", "ansi") for b in ("", "cl", "class")]
    _add(Unit("class", "pressure_class"), ["#", "lb", *marks[1:]])


_fill()
ANY: dict[str, Unit] = {}  # every spelling -> the unit of the first quantity that has it
for _spellings in ALIASES.values():
    for _spelling, _found in _spellings.items():
        ANY.setdefault(_spelling, _found)


@lru_cache(maxsize=8192)
def resolve(spelled: str, quantity: str) -> Unit | str | None:
    """The unit of a spelling for a quantity, or the words that refuse it, or None if it is not known."""
    key = normal(spelled)
    unit = ALIASES[quantity].get(key)
    if unit is None:
        return REFUSED.get(quantity, {}).get(key)
    if key in _CASED and spelled.strip("( [")[0] != _CASED[key]:
        return f"does not say milli or mega: write '{{n}} {unit.name}'"
    return unit


# --- Column headings --------------------------------------------------------------------------------------

# Spellings that in a heading usually mean something else: "(s)", "molecular weight (MW)", "(min)", "flow W".
_NEVER = set(ALIASES["pressure_class"]) - {"lb"} | set("njwdhslgtay'\"") | {
    "", "mw", "hp", "min", "mins", "cs", "te", "mt", "''",
}  # fmt: skip
# Units only in brackets or after a comma, some only in this case; letters of temperature also after "temp".
_STATED = {"in", "ft", "lb", "atm", "year", "years", "yr", "yrs", "month", "months", "week", "weeks", "mo",
           "oz", "of", "oc", "st", "ms", "cc", "ml", "km", "wk", "mth", "kp", "sus", "m", "k", "c", "f", "r",
           "cp"}  # fmt: skip
_LETTERS = {"m": "m", "k": "K", "c": "C", "f": "F", "r": "R", "cp": "cP"}
_BRACKETS = re.compile(r"[(\[{]([^()\[\]{}]*(?:\([^()]*\))?[^()\[\]{}]*)[)\]}]")


def _heading_unit(piece: str, stated: bool, temperature: bool = False) -> str | None:
    """The unit that a piece of a heading is; `stated`: it stands in brackets or after a comma."""
    key = normal(piece)
    unit = ANY.get(key)
    if unit is None or key in _NEVER:
        return None
    sure = stated and piece.strip() == _LETTERS.get(key, piece.strip())
    if key in _STATED and not sure and not (temperature and unit.quantity == "temperature"):
        return None
    return unit.name if isinstance(resolve(piece, unit.quantity), Unit) else None


def _snake_unit(parts: list[str], temperature: bool) -> str | None:
    """The unit at the end of a heading such as set_pressure_barg, flow_kg_h, viscosity_pa_s."""
    for count in (3, 2, 1):
        for mark in ("/", ""):
            piece = mark.join(parts[-count:])
            stated = count > 1 or piece in ("m", "ft")
            if len(parts) > count and (found := _heading_unit(piece, stated, temperature)):
                return found
    return "cP" if parts[-1] == "cp" and len(parts) > 1 else None


@lru_cache(maxsize=2048)
def unit_of(text: str) -> str | None:
    """The unit named in a column heading ("Set pressure [barg]", "Flow, kg/h", "set_pressure_barg"), or None.

    None also where two different units stand in it, and for letters that usually mean something else.
    "(in)" or "(K)" may still be no unit in a given column: compare `quantity_of` with the field's quantity.
    """
    line = plain(text)
    temperature = "temp" in line.lower()
    if "_" in line and " " not in line:
        return _snake_unit(line.split("_"), temperature)

    def tail(piece: str) -> str | None:
        """The unit in the last words, the longest first: "Set pressure bar (g)" is barg."""
        words = piece.split()
        ends = (" ".join(words[start:]) for start in range(max(0, len(words) - 3), len(words)))
        return next((found for end in ends if (found := _heading_unit(end, False, temperature))), None)

    units = {tail(line)}
    for inside in _BRACKETS.findall(line):
        whole = _heading_unit(inside, True, temperature)
        units |= {whole} if whole else {_heading_unit(word, False) for word in inside.split()}
    for index, piece in enumerate(re.split(r",| - | / |:", _BRACKETS.sub(" ", line))):
        units |= {(_heading_unit(piece, True, temperature) if index else None) or tail(piece)}
    named = {unit for unit in units if unit}
    named -= {unit for unit in named if {unit + "g", unit + "a"} & named}  # "bar (g)": bar is part of barg
    return named.pop() if len(named) == 1 else None
