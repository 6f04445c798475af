"""A total back pressure as the register states it: taken as built-up where nothing else tells that, else kept for a cross-check."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quietseat.model import Origin
from quietseat.piping.outlet import built_up_pressure
from quietseat.register.rows import Data, spot
from quietseat.register.taken import Taken
from quietseat.status import Settles

TOTAL = "case.total_back_pressure"
SLACK = 1000.0  # Pa; rounding of figures in bar with two digits
_SOURCE = "this tool's rule"


def settle(
    path: str, given: Mapping[str, tuple[Taken, str]], values: dict[str, Any], origins: dict[str, Origin], data: Data,
    outlet: Mapping[str, object], atmospheric: float,
) -> None:  # fmt: skip
    """Use the total back pressure of one case. path: of the case ("cases.0."); values, origins: of the case, added to;
    outlet: what is stated of the outlet line, by key; atmospheric: Pa absolute.

    Where the case states no built-up and the outlet line is not known well enough to compute one, built-up is the total less the highest
    superimposed; where that is not stated either, all of the total: the strict reading for a conventional valve (this tool's rule).
    """
    if TOTAL not in given:
        return
    taken, where = given[TOTAL]
    high = values.get("superimposed_max") or values.get("superimposed_min")
    if high is not None and taken.value < high - SLACK:
        other = "case.superimposed_max" if values.get("superimposed_max") else "case.superimposed_min"
        sheet, row = spot(given[other][1]) or (data.sheet, data.number)
        data.complain("check: the total back pressure is below the superimposed back pressure, which is a part of it", "look which is right",
                      TOTAL, taken.text, where, (Settles(TOTAL), Settles(other, (), sheet, row)))  # fmt: skip
        data.reasons.append("total back pressure below the superimposed one")
        origins[f"{path}total_back_pressure"] = Origin(
            "read", where, taken.text, "not used: it contradicts the superimposed back pressure"
        )
        return
    if values.get("built_up") is not None:
        origins[f"{path}total_back_pressure"] = Origin(
            "read", where, taken.text, "for a cross-check: the built-up back pressure is stated"
        )
        return
    if "length" in outlet and ("size" in outlet or "diameter" in outlet):
        rule = "kept for a cross-check: the line is calculated"
        if taken.value > atmospheric:
            data.complain(f"the total back pressure was read all the same, {rule}",
                          "write the superimposed back pressure, and the built-up one where the line is not to be calculated",
                          TOTAL, taken.text, where)  # fmt: skip
        origins[f"{path}total_back_pressure"] = Origin("read", where, taken.text, rule)
        return
    _built_up(path, taken, where, high, atmospheric, values, origins)


def _built_up(
    path: str, taken: Taken, where: str, high: float | None, atmospheric: float, values: dict[str, Any], origins: dict[str, Origin]
) -> None:  # fmt: skip
    """Take the total less the superimposed (high, Pa absolute; None where it is not stated) as built-up."""
    floor = atmospheric if high is None else high
    values["built_up"] = built_up = max(built_up_pressure(taken.value, floor), 0.0)
    rest = "no superimposed one is stated" if high is None else "less the superimposed one"
    rule = f"total back pressure taken as built-up ({rest}; the outlet line is not known well enough to calculate it)"
    rule = f"{rule}; {taken.rule}" if taken.rule else rule
    how = "assumed" if built_up > 0.0 else "derived"  # a total of nothing has no parts
    origins[f"{path}built_up"] = Origin(how, where, taken.text, rule, _SOURCE)
    if high is None:  # what the total is split into, its parts add up to it
        values["superimposed_max"] = atmospheric
        origins[f"{path}superimposed_max"] = Origin(
            "derived", where, "atmospheric", "all of the total back pressure is taken as built-up", _SOURCE
        )


__all__ = ["TOTAL", "settle"]
