"""Which relief cases a valve has: those of its own row and those of the sheets of cases, each filled from the other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from quietseat.register import back_pressure
from quietseat.register.cells import choice
from quietseat.register.rows import same
from quietseat.register.taken import BLANK, Taken

CHECK_ONLY = "case.required_area"
_SINGLE_CASE = frozenset(("case.cause", "case.flow", "case.volume_flow", "case.name", CHECK_ONLY))
Given = Mapping[str, tuple[Taken, str]]  # field id -> value and where it stands


def of_row(own: Given, more: list[Given]) -> list[Given]:
    """The row's own case and those of the cases sheets; what the row says fills the blanks of the others."""
    if not more:
        return [own] if own.keys() - {CHECK_ONLY} else []
    if any(ident in own for ident in ("case.flow", "case.volume_flow")):
        twin = next((case for case in more if _same_case(own, case)), None)
        return [{**(twin or {}), **own}, *(_filled(case, own) for case in more if case is not twin)]
    shared = {ident: entry for ident, entry in own.items() if ident not in _SINGLE_CASE}
    return [{**shared, **case} for case in more]


_OF_THE_FLUID = ("case.molar_mass", "case.k", "case.Z")
_OF_THE_OUTLET = ("case.superimposed_min", "case.superimposed_max")
_BACK = (*_OF_THE_OUTLET, "case.built_up", back_pressure.TOTAL)


def _filled(case: Given, own: Given) -> Given:
    """A further case with what the register's row says of the same fluid and the same outlet."""
    fluid, phase = case.get("case.fluid"), case.get("case.phase")
    alike = fluid is None or ("case.fluid" in own and same(fluid[0].value, own["case.fluid"][0].value))
    if phase is not None and "case.phase" in own and phase[0].value != own["case.phase"][0].value:
        alike = False
    names = [*(_OF_THE_FLUID if alike else ()), *(("case.fluid",) if fluid is None else ())]
    if not any(name in case for name in _OF_THE_OUTLET):
        names += _OF_THE_OUTLET
    if not any(name in case for name in _BACK) and "case.built_up" not in own:
        names.append(back_pressure.TOTAL)
    out = dict(case)
    for name in names:
        if name in own and name not in case:
            taken, where = own[name]
            how = taken.how if taken.how == "mended" else "assumed"
            out[name] = (
                replace(
                    taken,
                    how=how,
                    rule=f"not stated for this case: as in the row of the valve; {taken.rule}".rstrip("; "),
                ),
                where,
            )
    return out


def _cause(given: Given) -> str:
    """The cause of a case, by its name if need be."""
    stated = given.get("case.cause")
    if stated is not None:
        return str(stated[0].value)
    named = given.get("case.name")
    found = choice("case.cause", str(named[0].value)) if named else BLANK
    return str(found.value) if found.state == "value" else str(named[0].value).lower() if named else ""


def _same_case(a: Given, b: Given) -> bool:
    """Whether a case of the cases sheet repeats the main row's: same rate and no other cause."""
    flow_a, flow_b = a.get("case.flow"), b.get("case.flow")
    if flow_a is None or flow_b is None or flow_a[0].value[0] != flow_b[0].value[0]:
        return False
    x, y = flow_a[0].value[1], flow_b[0].value[1]
    if _cause(a) and _cause(b) and _cause(a) != _cause(b):
        return False
    return bool(abs(x - y) <= 0.02 * max(abs(x), abs(y)))


__all__ = ["CHECK_ONLY", "Given", "of_row"]
