"""How a heading of a register names one of the fields of fields.csv."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache

from quietseat import units
from quietseat.fields import Field, fields
from quietseat.unit_table import KINDS

__all__ = ["GROUP", "UNIT_OF", "Field", "Naming", "aliases", "by_name", "example_unit", "fields", "is_unit", "naming", "normal", "plain_unit", "rank", "shown"]

# What a unit in a heading may be for each quantity of fields.csv.
UNIT_OF: Mapping[str, tuple[str, ...]] = {
    "pressure": ("pressure", "pressure_difference"), "pressure_range": ("pressure", "pressure_difference"),
    "pressure_difference": ("pressure_difference", "pressure"),
    "temperature": ("temperature",), "length": ("length",), "pipe_size": ("pipe_size", "length"),
    "area": ("area",), "flow": ("mass_flow", "gas_flow", "volume_flow"), "volume_flow": ("volume_flow",),
    "fraction": ("fraction", "pressure_difference"), "density": ("density",),
    "viscosity": ("viscosity", "kinematic_viscosity"), "molar_mass": ("mass_per_mole",), "speed": ("speed",),
    "specific_volume": ("specific_volume",), "volume": ("volume",), "mass": ("mass",), "force": ("force",),
    "spring_rate": ("spring_rate", "force"), "time": ("time",), "money": ("money",), "ppm": ("concentration",),
    "pressure_class": ("pressure_class",), "number": ("time", "fraction"), "designation": ("pipe_size", "length"),
}  # fmt: skip


@cache
def shown(ident: str) -> str:
    """A field as problems and columns name it: its key where no other table has that key, else the full name."""
    key = ident.partition(".")[2]
    return key if sum(field.key == key for field in fields().values()) == 1 else ident


@cache
def by_name() -> Mapping[str, str]:
    """Full field names by every name a mends file may use: key (where unique), table.key."""
    return {**{name: name for name in fields()}, **{shown(name): name for name in fields()}}


# --- Words of a heading --------------------------------------------------------------------------------------

_WORDS = {
    "press": "pressure", "pres": "pressure", "pr": "pressure", "temp": "temperature", "max": "maximum",
    "min": "minimum", "reqd": "required", "req": "required", "requd": "required", "oper": "operating",
    "opg": "operating", "dia": "diameter", "diam": "diameter", "rtg": "rating", "mat": "material",
    "matl": "material", "orif": "orifice", "des": "design", "superimp": "superimposed", "calc": "calculated",
    "builtup": "built up", "wt": "weight", "mol": "molecular", "number": "no", "nr": "no", "num": "no",
    "center": "centre", "vapor": "vapour", "disc": "disk", "nom": "nominal", "backpressure": "back pressure",
    "blow down": "blowdown", "sch": "schedule", "sched": "schedule", "bp": "back pressure", "relieving": "relief",
    "cl": "class", "mfr": "maker", "elbow": "elbows", "ell": "elbows", "tee": "tees", "polymerizing": "polymerising",
    "qty": "quantity", "vlv": "valve", "equip": "equipment", "eqpt": "equipment", "cap": "capacity",
    "reqmt": "required", "overpress": "overpressure", "temps": "temperature", "pressures": "pressure", "stds": "std",
    "sz": "size", "rlf": "relief", "rel": "relief", "rlvg": "relief", "orf": "orifice", "allow": "allowable", "wkg": "working",
    "norm": "normal", "overpr": "overpressure", "sup": "superimposed", "flg": "flange", "eqp": "equipment", "p": "pressure",
    "t": "temperature", "perm": "allowable", "setpress": "set pressure",
}  # fmt: skip
_MARKS = str.maketrans({"²": "2", "³": "3", "#": " no ", "&": " and ", "’": "", "'": "", "½": " 1/2 ", "ß": "ss"})


_INITIALS = re.compile(r"\b([a-z])\.(?=[a-z](?![a-z]))")  # "s.p." is "sp", "c.d.t.p." is "cdtp"


@lru_cache(maxsize=8192)
def normal(text: str) -> str:
    """A heading or alias as plain small words without accents, abbreviations of the trade written out."""
    low = _INITIALS.sub(r"\1", text.lower().replace("b/u", "built up")).translate(_MARKS)
    if not low.isascii():
        low = "".join(char for char in unicodedata.normalize("NFKD", low) if not unicodedata.combining(char))
    words = re.sub(r"[^a-z0-9]+", " ", low).split()
    if len(words) > 1:  # a lone abbreviation ("op", "m", "bp") keeps its own meaning
        words = ["operating" if word == "op" else _WORDS.get(word, word) for word in words]
    elif words and words[0] in ("backpressure", "orif", "orf", "superimp", "number", "disc", "overpress", "overpr"):
        words = [_WORDS[words[0]]]
    return " ".join(words)


@cache
def aliases() -> Mapping[str, tuple[str, ...]]:
    """Field ids by normal alias, key and id; several where an alias is shared."""
    out: dict[str, list[str]] = {}
    for field in fields().values():
        names = [*field.aliases, field.name]
        if shown(field.name) == field.key and len(field.key) > 1:
            names.append(field.key)
        for alias in names:
            known = out.setdefault(normal(alias), [])
            if field.name not in known:
                known.append(field.name)
    return {alias: tuple(ids) for alias, ids in out.items() if alias}


def rank(ident: str, heading: str) -> int:
    """How common a name of the field the heading is: the place among its aliases."""
    names = {name for name, _ in _readings(heading, "")}
    places = [place for place, alias in enumerate(fields()[ident].aliases) if normal(alias) in names]
    return min(places, default=99)


@cache
def _by_words() -> tuple[tuple[tuple[str, ...], str], ...]:
    """Aliases as words, the longest first."""
    split = [(tuple(alias.split()), alias) for alias in aliases()]
    return tuple(sorted(split, key=lambda pair: (-len(pair[0]), pair[1])))


@lru_cache(maxsize=4096)
def is_unit(text: str) -> str | None:
    """The quantity if the whole text is a unit of measure, else None."""
    word = text.strip().strip("[]{}").strip()
    while word.startswith("(") and word.endswith(")"):
        word = word[1:-1].strip()
    if not word or not any(char.isalpha() or char in "%\"'°" for char in word):
        return None
    if word.lower() in ("in.", "ins"):
        word = "in"
    try:
        return units.quantity_of(word)
    except units.UnitError:
        return None


def example_unit(ident: str) -> str:
    """A unit in which the field may be written."""
    return {"flow": "kg/h"}.get(quantity := fields()[ident].quantity) or KINDS[UNIT_OF[quantity][0]][1]


def plain_unit(text: str) -> str:
    """A unit without the brackets round it, in its usual spelling."""
    word = text.strip().strip("[]{}").strip()
    while word.startswith("(") and word.endswith(")"):
        word = word[1:-1].strip()
    usual = units.unit_of(f"x ({word})") if word else None
    return "in" if word.lower() in ("in.", "ins") else "%" if usual == "vol%" else usual or word


# Words of a heading that stands over several others.
GROUP = re.compile(r"\b(?:inlet|outlet|centre|center|pressures?|piping|line|valve|design|process|flow|relief|set|case|size|temperatures?|history|"
                   r"operating|vessel|identification|capacity|rating|back)\b", re.I)  # fmt: skip
_GAUGE = re.compile(r"(?<=[A-Za-z0-9²])\s?[(\[](g|a|ga|abs|gauge)[)\]]", re.I)
_TEST_FLUID = re.compile(r"(?<=[A-Za-z0-9)]) (?:of )?(?:air|steam|water)$", re.I)  # "capacity SCFM air"
_BRACKETS = re.compile(r"[(\[{][^()\[\]{}]*[)\]}]")


@dataclass(frozen=True, slots=True)
class Naming:
    """What a heading may name. level: lower is surer; unit: the unit it shows, "" if none."""

    ids: tuple[str, ...]
    level: int
    how: str
    unit: str


@lru_cache(maxsize=4096)
def naming(heading: str, bottom: str = "", near: bool = False) -> Naming:
    """The fields a heading may name, by its whole text, then without its unit, then by its words.

    bottom: the lowest line of a heading of several lines; near: near spellings count too.
    """
    text = _TEST_FLUID.sub("", _GAUGE.sub(lambda found: found[1][0].lower(), heading))
    unit = units.unit_of(text) or _bracket_unit(text) or ""
    unit = "%" if unit == "vol%" else unit
    known = aliases()
    for name, shown in _readings(text, unit):
        ids = known.get(name)
        if ids:
            fitting = tuple(i for i in ids if not shown or _fits(i, shown)) or ids
            return Naming(fitting, 0, "alias", shown)
    words = normal(_BRACKETS.sub(" ", text)).split()
    low = naming(bottom) if bottom and bottom != heading else None
    low = low if low is not None and low.ids and low.level == 0 else None
    if ids := _within(tuple(words), unit):
        if low is not None and low.ids[0] in ids:  # the group above adds nothing
            return Naming(low.ids, 1, "alias", low.unit or unit)
        return Naming(ids, 2, "part of heading", unit)
    if low is not None:
        return Naming(low.ids, 1, "alias", low.unit or unit)
    for alias_words, alias in _by_words():
        if len(alias_words) == 1 and len(alias) >= 4 and alias in words:
            return Naming(known[alias], 4, "part of heading", unit)
    close = near and difflib.get_close_matches(" ".join(words), [a for a in known if len(a) >= 5], n=1, cutoff=0.88)
    if close:
        return Naming(known[close[0]], 5, "near spelling", unit)
    return Naming((), 9, "not mapped", unit)


def _bracket_unit(text: str) -> str:
    for piece in _BRACKETS.findall(text):
        if is_unit(piece):
            return plain_unit(piece)
    return ""


def _readings(text: str, unit: str) -> list[tuple[str, str]]:
    """The heading as written, without brackets, without its last words if they are a unit."""
    out = [(normal(text), "" if normal(unit) else unit), (normal(_BRACKETS.sub(" ", text)), unit)]
    words = re.sub(r"[,_:]", " ", _BRACKETS.sub(" ", text)).split()
    for count in (3, 2, 1):
        for joint in (" ", "/"):
            tail = joint.join(words[-count:])
            if len(words) > count and is_unit(tail):
                rest = " ".join(words[:-count]).rstrip("-/ ")
                rest = re.sub(r"\b(in|at|as)$", "", rest).strip() or rest
                out.append((normal(rest), plain_unit(tail)))
    return out


def _fits(field: str, unit: str) -> bool:
    quantity = is_unit(unit)
    return quantity is None or quantity in UNIT_OF.get(fields()[field].quantity, ())


def _within(words: tuple[str, ...], unit: str) -> tuple[str, ...]:
    """The fields whose alias of two words or more stands within the words: same end of the valve, then longest."""
    side = {"inlet", "outlet"} & set(words)
    found: list[tuple[tuple[bool, int, bool, bool], str]] = []
    for alias_words, alias in _by_words():
        if 2 <= len(alias_words) <= len(words) and set(alias_words) <= set(words):
            rest = iter(words)
            ordered = all(word in rest for word in alias_words)
            same = side <= set(alias_words)
            found.append(((same, len(alias_words), ordered, words[-1] == alias_words[-1]), alias))
    if not found:
        return ()
    best = max(rank for rank, _ in found)
    ids: list[str] = []
    for rank, alias in found:
        if rank == best:
            ids.extend(i for i in aliases()[alias] if i not in ids)
    return tuple(i for i in ids if not unit or _fits(i, unit)) or tuple(ids)
