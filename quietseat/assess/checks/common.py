"""What the checks share: the view of one Location they look at, and how an outcome is made."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from quietseat.assess.filler import assumed
from quietseat.assess.hydraulics import Hydraulics, Pipes
from quietseat.basis import Basis
from quietseat.formula import One, formula
from quietseat.model import Chatter, Finding, Location, Problem, Stability

EDGE = 1e-9  # of a limit: at the limit is within it, whatever the last digit says


@dataclass(frozen=True, slots=True)
class View:
    """One completed Location with everything calculated about it."""

    location: Location
    basis: Basis
    pipes: Pipes
    cases: tuple[Hydraulics, ...]
    stability: Stability
    problems: tuple[Problem, ...] = ()
    cdtp: float | None = None  # Pa absolute, calculated
    set_gauge: float | None = None  # Pa; None where set is unknown or not above atmospheric
    chatter: Chatter | None = None  # stability in time, where it was marched
    chatter_doubt: str = ""  # why it was: what closed form left open

    def rests_on(self, *fields: str) -> tuple[str, ...]:
        """Those of the fields that are defaults."""
        return tuple([field for field in fields if assumed(self.location, field)])


@formula("definition: (limit - value)/limit, negative = fails")
def margin_below(value: One, limit: One) -> One:
    """Margin of a value that must stay below its limit."""
    return (limit - value) / limit


@formula("definition: (value - limit)/limit, negative = fails")
def margin_above(value: One, limit: One) -> One:
    """Margin of a value that must stay above its limit."""
    return (value - limit) / limit


def judged(
    view: View, code: str, value: float, limit: float, words: str, rule: str, *, severity: str = "act",
    above: bool = False, unit: str = "", step: str = "", case: str = "", rests_on: tuple[str, ...] = (),
    weak: tuple[tuple[str, float], ...] = (), sway: float = 0.0, confidence: str = "", thin: float | None = None,
) -> Finding:  # fmt: skip
    """A check with a number: it fails beyond its limit.

    rests_on: defaults this check tests; a pass on them is open. weak: defaults with the share by which they might
    shift the value; they open a pass whose margin is smaller. sway: share by which the defaults in rests_on might be
    all that makes it fail; a failure within it is open too, 1 = any failure.
    """
    margin = margin_above(value, limit) if above else margin_below(value, limit)
    if -EDGE <= margin < 0.0:
        margin = 0.0
    if margin < -EDGE:
        outcome = "open" if rests_on and margin >= -sway / max(1.0 - sway, EDGE) else "fail"
    else:
        rests_on += tuple([field for field, share in weak if margin < share])
        least = view.basis.thin_margin if thin is None else thin
        outcome = "open" if rests_on else "thin" if margin < least - EDGE else "pass"
    if outcome == "open":
        verb = "passes" if margin >= -EDGE else "fails"
        words = f"{words} ({verb} only on a default: {said(rests_on)})"
    return Finding(code, severity if outcome == "fail" else "note", outcome, rule, words, value, limit, margin, unit, step,
                   case, rests_on, confidence)  # fmt: skip


def open_check(code: str, words: str, rule: str, *, case: str = "", rests_on: tuple[str, ...] = ()) -> Finding:
    """A check that could not be made."""
    return Finding(code, "note", "open", rule, words, case=case, rests_on=rests_on)


def failed(
    code: str, words: str, rule: str, *, severity: str = "act", case: str = "", rests_on: tuple[str, ...] = ()
) -> Finding:
    """A check that fails on evidence, not on a number."""
    return Finding(code, severity, "fail", rule, words, case=case, rests_on=rests_on)


def noted(code: str, outcome: str, words: str, rule: str, *, case: str = "", rests_on: tuple[str, ...] = ()) -> Finding:
    """A remark without a number: outcome pass (for the reader only) or thin (something to watch)."""
    return Finding(code, "note", outcome, rule, words, case=case, rests_on=rests_on)


def said(fields: tuple[str, ...]) -> str:
    """Field names as a person says them, each once."""
    return ", ".join(dict.fromkeys([plain(field) for field in fields]))


_SAID = {"kind": "kind of valve", "mawp": "MAWP", "cdtp": "CDTP", "k": "cp/cv"}


@lru_cache(maxsize=512)
def plain(field: str) -> str:
    """A field name as a person says it: "vessel.operating_pressure" -> "operating pressure"."""
    parts = [part for part in field.split(".") if not part.isdigit()]
    last = _SAID.get(parts[-1], parts[-1].replace("_", " "))
    if parts[0] in ("inlet", "outlet") and not last.startswith(parts[0]):
        return f"{parts[0]} {last}"
    return last


def called(name: str) -> str:
    """A case by its name in words: "case fire", but "case 1" as it is."""
    return name if name.lower().startswith("case") else f"case {name}"


def percent(value: float) -> str:
    """A share as text."""
    return f"{100 * value:.1f} %" if abs(value) < 0.1 else f"{100 * value:.0f} %"


def near(value: float, limit: float) -> tuple[str, str]:
    """A share and its limit as text, with as many digits as tell them apart: never "30 % is below 30 %"."""
    shown = percent(value), percent(limit)
    if shown[0] != shown[1] or abs(value - limit) <= EDGE * abs(limit):
        return shown
    for digits in (1, 2):
        shown = f"{100 * value:.{digits}f} %", f"{100 * limit:.{digits}f} %"
        if shown[0] != shown[1]:
            break
    return shown
