"""What a verdict rests on, in print: which mechanisms a model predicts, the weakest source, and the checks that were passed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report.document import Cell, Column, TableBlock
from quietseat.report.words import DASH, MARKS, Shown, code, is_number, percent, plain

PREDICTS = "The model predicts: "
_MECHANISMS = {"chatter", "cycling", "inlet-loss", "back-pressure"}
_UNSTABLE = {"chatter", "cycling"}
_DECIDES = {"misfit": "fail", "unproven": "open", "watch": "thin"}
_HISTORY, _COMPUTED, _MISSING = "history", "computed", "data missing"
# The weakest first. A mark nobody gave means: calculated from the values of the register, or read in the history.
_WEAKEST = (
    "estimate",
    "common practice",
    "memory-lo",
    "memory-md",
    "memory",
    "memory-hi",
    _HISTORY,
    "computed",
    "seen",
)
# Findings whose plain numbers are shares of set, of flow or of a limit, and read better in per cent.
_SHARES = {"oversized", "undersized", "inlet-loss", "back-pressure", "close-to-set", "stuck", "set-above-mawp"}


def headline(valve: Mapping[str, Any]) -> str:
    """The cause of a valve; where a model predicts what it describes, it says so. "" where there is no cause."""
    cause = str(valve.get("cause") or "")
    if not cause or "predict" in cause.lower() or not predicted(valve):
        return cause
    return PREDICTS + _small(cause)


def _small(text: str) -> str:
    """A sentence for the place after a colon: its first letter small, unless it begins with an abbreviation."""
    return text[:1].lower() + text[1:] if text[1:2].islower() or text[1:2] == " " else text


def words(finding: Mapping[str, Any]) -> str:
    """A finding in words; where a model predicts it, it says so."""
    said = str(finding.get("words") or "")
    foreseen = finding.get("code") in _UNSTABLE and finding.get("outcome") == "fail" and not _reported(finding)
    return PREDICTS + _small(said) if said and foreseen and "predict" not in said.lower() else said


def reworded(texts: Iterable[Any], valve: Mapping[str, Any]) -> list[str]:
    """Evidence or reasons of a valve, with what a model predicts marked as such."""
    out = []
    for text in map(str, texts):
        for one in valve.get("findings") or ():
            said = str(one.get("words") or "")
            if said and text.endswith(said):
                text = text.removesuffix(said) + words(one)
                break
        out.append(text)
    return out


def predicted(valve: Mapping[str, Any]) -> bool:
    """Whether the cause is a mechanism that a model predicts and no history reports."""
    failing = [one for one in valve.get("findings") or () if one.get("outcome") == "fail"]
    unstable = [one for one in failing if one.get("code") in _UNSTABLE]
    if any(_reported(one) for one in unstable):
        return False
    return valve.get("cause_code") in _MECHANISMS or (valve.get("cause_code") == "oversized" and bool(unstable))


def rests(valve: Mapping[str, Any]) -> str:
    """The weakest source behind the verdict, in a few words."""
    marks = _marks(valve)
    return _said(min(marks, key=_place)) if marks else _MISSING if valve.get("verdict") == "unproven" else DASH


def all_sources(valve: Mapping[str, Any]) -> str:
    """Every source behind the verdict with its checks, the weakest first."""
    by_source: dict[str, dict[str, None]] = {}
    for one in sorted(_deciding(valve), key=lambda one: _place(_mark(one))):
        by_source.setdefault(source(one), {})[code(one.get("code"))] = None
    return "; ".join(f"{said} ({', '.join(checks)})" for said, checks in by_source.items()) or rests(valve)


def source(finding: Mapping[str, Any]) -> str:
    """What one finding rests on, in a few words."""
    return _said(_mark(finding))


def _deciding(valve: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    """The findings that decide the verdict; for a sound valve the checks that were passed."""
    outcome = _DECIDES.get(str(valve.get("verdict")))
    if outcome is None:
        return [one for one in valve.get("passed") or () if is_number(one.get("value"))]
    return [one for one in valve.get("findings") or () if one.get("outcome") == outcome]


def _marks(valve: Mapping[str, Any]) -> set[str]:
    return {_mark(one) for one in _deciding(valve)}


def _mark(one: Mapping[str, Any]) -> str:
    if one.get("confidence"):
        return str(one["confidence"])
    if _reported(one):
        return _HISTORY
    return _MISSING if one.get("outcome") == "open" else _COMPUTED


def _reported(one: Mapping[str, Any]) -> bool:
    return "history" in (one.get("rests_on") or ())


def _place(mark: str) -> int:
    return -1 if mark == _MISSING else _WEAKEST.index(mark) if mark in _WEAKEST else 0


def _said(mark: str) -> str:
    return MARKS.get(mark, mark)


# --- Numbers of a finding in the study's units ------------------------------------------------------------------------


def share(finding: Mapping[str, Any]) -> bool:
    """Whether the plain numbers of a finding are shares."""
    unit = str(finding.get("unit") or "")
    return not unit and finding["code"] in _SHARES and "mach" not in str(finding.get("rule")).lower()


def value(finding: Mapping[str, Any], key: str, shown: Shown) -> str:
    """The value or the limit of a finding in the study's units."""
    found, unit = finding.get(key), str(finding.get("unit") or "")
    if not is_number(found):
        return plain(found)
    if unit == "m":  # value and limit in one unit, whatever their size
        return f"{found:.3g} m"
    return percent(found) if share(finding) else shown.quantity(found, unit)


def number(finding: Mapping[str, Any], key: str, shown: Shown) -> float | str | None:
    """The value or the limit as a number in `unit`; text stays text."""
    found = finding.get(key)
    if not is_number(found):
        return None if found is None else plain(found)
    return 100 * found if share(finding) else shown.as_number(found, str(finding.get("unit") or ""))[0]


def unit(finding: Mapping[str, Any], shown: Shown) -> str:
    """The unit of `number`."""
    if share(finding):
        return "%"
    found = next((finding[key] for key in ("value", "limit") if is_number(finding.get(key))), None)
    return "" if found is None else shown.as_number(found, str(finding.get("unit") or ""))[1]


# --- The checks that were passed --------------------------------------------------------------------------------------


def passed(valve: Mapping[str, Any], shown: Shown) -> TableBlock | None:
    """The checks one valve passed, a line each; None where none was."""
    found = valve.get("passed") or ()
    if not found:
        return None
    rows = tuple(
        (code(one.get("code")), plain(one.get("words") or one.get("rule")), value(one, "value", shown), value(one, "limit", shown),
         percent(one.get("margin")), _said(_mark(one)))
        for one in found
    )  # fmt: skip
    return TableBlock(
        f"Checks passed ({len(rows)})",
        (Column("Check"), Column("In words", "wide"), Column("Value", "number"), Column("Limit", "number"), Column("Margin", "number"), Column("Rests on")),
        rows,
    )  # fmt: skip


def sound_row(valve: Mapping[str, Any], shown: Shown) -> tuple[str | Cell, ...]:
    """One line of the table of sound valves: every check with value and limit, and the weakest source."""
    said: dict[str, None] = {}
    for one in valve.get("passed") or ():
        if is_number(one.get("value")):
            case = f" ({plain(one['case'])})" if one.get("case") else ""
            said[f"{code(one.get('code'))}{case} {value(one, 'value', shown)}, limit {value(one, 'limit', shown)}"] = (
                None
            )
    return (str(valve["tag"]), "; ".join(said) or DASH, rests(valve))


def sound_table(valves: Sequence[tuple[str | Cell, ...]], note: str = "") -> TableBlock:
    """Sound valves with the checks they passed. valves: what `sound_row` gave."""
    return TableBlock(
        "Sound valves and the checks they passed",
        (Column("Tag"), Column("Check, value and limit", "wide"), Column("Weakest source")),
        tuple(valves), note=f"Value against limit; every rule stands in study.xlsx, sheet Passed. {note}".strip(),
    )  # fmt: skip


def in_plan(row: Mapping[str, Any]) -> str:
    """Whether a valve stands in the plan, and in a word why not. row: a summary."""
    if row.get("in_plan"):
        return "yes"
    if row.get("verdict") == "sound":
        return DASH
    if row.get("recommended") == "measure-first":
        return "no: ask first"
    if row.get("recommended") == "keep":
        return "no: kept"
    why = str(row.get("plan_reason") or "").partition(":")[0].strip().removesuffix(" together")
    return f"no: {why[:1].lower() + why[1:]}" if 0 < len(why) <= 40 else "no"


def other_remedies(plan: Mapping[str, Any], rows: Iterable[Mapping[str, Any]]) -> str:
    """Where the plan speaks of another remedy than the recommended one, as a sentence; "" where it does so nowhere."""
    spoken = {one["tag"]: one for key in ("chosen", "left_out") for one in plan.get(key) or () if one.get("remedy")}
    said = [
        f"{row['tag']}: {plain(spoken[row['tag']].get('title') or spoken[row['tag']]['remedy'])}"
        for row in rows
        if row["tag"] in spoken and row.get("recommended") and spoken[row["tag"]]["remedy"] != row["recommended"]
    ]
    return f"The plan reckons with another remedy than the recommended one at {'; '.join(said)}." if said else ""
