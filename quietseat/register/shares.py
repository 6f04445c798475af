"""A back pressure in per cent: of what it is a share nobody says, so it is refused with the figure it would be of set."""

from __future__ import annotations

import re
from dataclasses import replace

from quietseat import units
from quietseat.register.taken import BLANK, Taken, stated

_SHARE = re.compile(r"([+-]?\d+(?:[.,]\d+)?) ?%?")
FIELDS = ("case.total_back_pressure", "case.superimposed_max", "case.superimposed_min", "case.built_up")
RULE = "is a share of what?"


def refused(text: str, unit: str) -> Taken | None:
    """The refusal of a pressure written in per cent, by the cell itself or by its heading; None for any other text."""
    found = _SHARE.fullmatch(text.strip())
    if found is None or not (text.strip().endswith("%") or unit == "%"):
        return None
    share = float(found[1].replace(",", "."))
    return Taken("refused", text, share, rule=f"'{share:g} %' {RULE}", mend="write it with its unit of pressure")


def tell(values: dict[str, Taken]) -> None:
    """Say what the shares of a row would be of its set pressure, where that can be told. values: of the row, by field id."""
    for ident in FIELDS:
        taken = values.get(ident, BLANK)
        if taken.state == "refused" and RULE in taken.rule and isinstance(taken.value, float):
            of_set = _of_set(taken.value, values.get("valve.set_pressure", BLANK))
            if of_set:
                values[ident] = replace(taken, mend=f"{taken.value:g} % of set {of_set}: write it with its unit")


def _of_set(share: float, set_: Taken) -> str:
    """The set pressure as written and the share of it, as "110 psig is 22 psi"; "" where it cannot be told."""
    if set_.how == "assumed":
        return ""
    if set_.state == "value":
        text, name = stated(set_), set_.unit
        difference = re.sub(r"(?<=[a-z0-9])[ga]$", "", name) if name.endswith("g") else ""
        number = re.match(r"[\d.,]+", text)
    else:  # "12 kg/cm2": gauge or absolute was not said
        text, difference, number = f"{set_.text}(g)", "", re.match(r"[\d.,]+", set_.text)
        if set_.state == "refused" and "gauge or absolute" in set_.rule and number:
            difference = set_.text[number.end() :].strip()
    try:
        if number is None or not difference:
            return ""
        reading = units.parse(f"{number[0]} {difference}", "pressure_difference")
        return f"{text} is {units.show(reading.value * share / 100.0, reading.unit)}"
    except units.UnitError:
        return ""


__all__ = ["FIELDS", "refused", "tell"]
