"""What would close the open checks, as short tasks a plant can hand out: each is asked once, the first first."""

from __future__ import annotations

import re
from collections.abc import Iterable
from functools import lru_cache

from quietseat.assess.checks.common import percent, plain
from quietseat.assess.checks.ratings import UNLISTED
from quietseat.assess.checks.stability import SETTLE
from quietseat.model import Finding, Problem

SIGN = "the owner signs the required rate of every relief case"
MAKER = "the maker's proof that this modulating pilot stays stable on this line"
RATE = "state the required rate of every relief case"
SIZE = "confirm the valve's size on its nameplate: it was read from cells that had slipped"
_NOT_PROVEN = "Not proven quiet: "
# Part of the words of a check -> the task. The order is the order of the tasks.
_TASKS = (
    ("set pressure unknown", "state the set pressure, gauge or absolute"),
    ("no orifice letter", "read the orifice letter on the nameplate"),
    ("phase at relief unknown", "state the phase at relief: gas, steam, liquid or two-phase"),
    ("no relief case is stated", "state the relief cases"),
    ("required rate unknown", RATE),
    ("lowest credible flow is unknown", RATE),
    ("but case", RATE),
    ("inlet length unknown", "measure the straight length of the inlet line"),
    ("length of the inlet line", "measure the straight length of the inlet line"),
    ("outlet length unknown", "measure the straight length of the outlet line"),
    ("and the set is above that", UNLISTED),
    ("inlet class unknown", "read the class on the inlet flange"),
    ("outlet class unknown", "read the class on the outlet flange"),
    ("no temperature stated", "state the operating or relieving temperature"),
    ("MAWP unknown", "read the MAWP on the vessel's nameplate"),
    ("the protected volume is unknown", "state the protected volume"),
    ("bore of the sense line is unknown", "measure the bore of the sense line"),
    ("the small vessel may swing", "state the protected volume exactly, or measure the damping of the valve"),
    ("hinges on seal friction", MAKER),
    ("two-phase inlet", "two-phase inlet, closed forms do not settle stability: the maker's word or a dynamic study"),
    ("inlet is two-phase", "two-phase inlet, closed forms do not settle stability: the maker's word or a dynamic study"),
    ("a bleeding pilot sensing at the inlet", "the maker's proof that this bleeding pilot stays stable with its sense at the inlet"),
    ("too close to call", "weigh the moving parts and rate-test the spring: the inlet line is too near its critical length to call"),
)  # fmt: skip
_FOLLOWS = ("no case has both a required and a rated flow", "inlet loss is unknown", "inlet loss not computed", "not computed:")
_PLACE = re.compile(r"^(?:case [^:]*: )?(?:inlet loss|built-up back pressure) not computed: |^case [^:]*: ")


def wanted(findings: Iterable[Finding], problems: tuple[Problem, ...] = ()) -> tuple[str, ...]:
    """The tasks that would close these open findings, each once, what most others hang on first."""
    mends = {problem.sentence(): problem for problem in problems}
    found: dict[str, int] = {}
    fields: dict[str, list[str]] = {}
    weaker: list[str] = []
    for finding in findings:
        problem = mends.get(finding.words)
        if problem is not None:
            found.setdefault(_mend(problem), 5)
        elif SETTLE in finding.words:
            found.setdefault(finding.words.partition(SETTLE)[2].removesuffix("."), 40)
        elif "rate_basis" in finding.rests_on:
            found.setdefault(SIGN, 0)
        elif any(field in _SIZES for field in finding.rests_on):
            found.setdefault(SIZE, 0)
        elif finding.code != "data" and (rests := [f for f in finding.rests_on if f and f != "history"]):
            for field in rests:
                fields.setdefault(plain(field), []).append(finding.code)
        else:
            for rank, task in _said(finding):
                if rank < 0:
                    weaker.append(task)
                else:
                    found.setdefault(task, rank)
    for field, codes in fields.items():
        found.setdefault(f"confirm the {field}, a default now ({', '.join(dict.fromkeys(codes))})", 50)
    if not found:
        found = dict.fromkeys(weaker, 0)
    if SIGN in found:
        found.pop(RATE, None)
    return tuple(sorted(found, key=lambda task: found[task]))


_SIZES = frozenset(("valve.orifice", "valve.inlet_size", "valve.outlet_size"))


def _mend(problem: Problem) -> str:
    place = ", ".join(str(part) for part in (problem.sheet, f"row {problem.row}" if problem.row else None) if part)
    what = problem.mend or problem.rule
    name = plain(problem.field) if problem.field else "register"
    return f"{name} ({place}): {what}" if place else f"{name}: {what}"


def _said(finding: Finding) -> tuple[tuple[int, str], ...]:
    if "the maker must confirm lift and capacity" in finding.words and finding.value is not None:
        return ((60, f"the maker confirms lift and capacity at a back pressure of {percent(finding.value)} of set"),)
    return _tasks(finding.code, finding.words)


@lru_cache(maxsize=4096)
def _tasks(code: str, words: str) -> tuple[tuple[int, str], ...]:
    """Tasks in the words of one check: rank and text; rank -1 for what only follows from something else."""
    out: list[tuple[int, str]] = []
    for part in words.removeprefix(_NOT_PROVEN).removesuffix(".").split("; "):
        task = next(((rank, task) for rank, (sign, task) in enumerate(_TASKS) if sign in part), None)
        if task is None and any(sign in part for sign in _FOLLOWS) and not part.partition("not computed: ")[2]:
            task = (-1, f"{code}: {part}")
        out.append(task or (70, _plain(code, part)))
    return tuple(out)


_LOST = re.compile(r"\((\S+ %) of set is lost as the valve pops, (\S+ %) is allowed\)")
_SENSED = re.compile(r"may lose (\S+ %) of set there")


def _plain(code: str, part: str) -> str:
    """A part of a check's words no task is listed for, without its place in the calculation."""
    lost = _LOST.search(part)
    if lost and "force balance rests" in part:
        what = "blowdown, a default now," if "default blowdown" in part else "ring setting"
        return f"a flow test of {what} and opening time ({lost[1]} of set is lost at the pop, {lost[2]} allowed)"
    sensed = _SENSED.search(part)
    if sensed:
        return f"the maker's proof that it bears a loss of {sensed[1]} of set at its inlet, or sense at the vessel"
    return f"{code}: {_PLACE.sub('', part)}"
