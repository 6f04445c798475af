"""Which soft goods stand the fluid and the temperatures of a valve. Source: tables soft_goods and soft_goods_fluids (trade, memory-md)."""

from __future__ import annotations

import re
from functools import lru_cache

from quietseat import fluids
from quietseat.remedies.trouble import Trouble
from quietseat.tables import table

CELSIUS = 273.15
_HOT = re.compile(r"^(.*\S)\s+above\s+(\d+)\s+degC$")
_WORD = re.compile(r"[0-9a-z]+(?:-[0-9a-z]+)*")
LONGEST = 2  # words of a name in the table


def spanning(coldest: int, hottest: int) -> tuple[str, ...]:
    """Soft materials whose range spans both temperatures (K, whole), special grades not counted."""
    return tuple(row["material"] for row in table("soft_goods") if row["low"] <= coldest + 1 and hottest - 1 <= row["high"])


def fitting(trouble: Trouble) -> tuple[str, ...]:
    """Materials that span the temperatures known and that no fluid of the cases is known to spoil."""
    if not trouble.temperatures:
        return ()
    hottest = max(trouble.temperatures)
    spans = spanning(round(min(trouble.temperatures)), round(hottest))
    return tuple(name for name in spans if not spoiled(name, _kinds_of(trouble), hottest))


def spoiled(material: str, kinds: frozenset[str], hottest: float) -> str:
    """The kind of fluid, of those here, that the table calls bad for a material at this temperature, K; "" where none is."""
    for bad, limit in _bad(material):
        if bad in kinds and (limit is None or hottest > limit):
            return bad
    return ""


def unknown(trouble: Trouble) -> str:
    """What is not known of the fluid, as a task; "" where the table speaks of every fluid."""
    if not trouble.cases or any(case.fluid is None and case.phase != "steam" for case in trouble.cases):
        return "name the fluid: soft goods hinge on it"
    strange = next((case.fluid for case in trouble.cases if case.fluid and kinds(case.fluid) is None and case.phase != "steam"), None)
    return f"the compound's own data for {strange}: soft goods hinge on it" if strange else ""


@lru_cache(maxsize=1024)
def kinds(fluid: str) -> frozenset[str] | None:
    """Kinds of fluid a name means (hydrocarbons, amines, ...), by its words, one or two together; None for a name of none of them."""
    row = fluids.entry(fluid)
    found: set[str] = set()
    known = False
    for name in (fluid, row["name"] if row else ""):
        words = _WORD.findall(name.casefold())
        for length in range(1, LONGEST + 1):
            for at in range(len(words) - length + 1):
                told = table("soft_goods_fluids").get(word=" ".join(words[at : at + length]))
                if told is not None:
                    known = True
                    found.update(kind.strip() for kind in told["kinds"].split(";"))
    return frozenset(found - {"none"}) if known else None


def _kinds_of(trouble: Trouble) -> frozenset[str]:
    found = {kind for case in trouble.cases if case.fluid for kind in kinds(case.fluid) or ()}
    return frozenset(found | {"steam"} if "steam" in trouble.phases else found)


@lru_cache(maxsize=64)
def _bad(material: str) -> tuple[tuple[str, float | None], ...]:
    """Kinds of fluid that spoil a material, each with the temperature (K) above which it does, None: at any."""
    told = str(table("soft_goods").row(material=material)["bad"] or "")
    out: list[tuple[str, float | None]] = []
    for part in filter(None, (piece.strip() for piece in told.split(";"))):
        hot = _HOT.match(part)
        out.append((hot[1], float(hot[2]) + CELSIUS) if hot else (part, None))
    return tuple(out)
