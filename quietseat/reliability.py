"""Probability that a valve fails to open or leaks, after the pressure-relief module of API RP 581."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from math import exp, sqrt
from typing import Annotated

from quietseat.formula import One, Sheet, formula
from quietseat.status import CalculationFailed, Status
from quietseat.tables import NotInTable, table, weakest

years = Annotated[float, "year"]

MODES = ("open", "leak")
SEVERITIES = ("mild", "moderate", "severe")
CLOSED = ("flare", "closed")  # discharges of the factor F_c
_QUIET = Sheet(record=False)


@formula("API RP 581 3rd ed. Add. 2, Part 5 steps 1.1 to 1.4 (seen)")
def probability(time: years, eta: years, beta: One) -> One:
    """Weibull probability of failure within a time."""
    return 1 - exp(-((time / eta) ** beta))


@formula("API RP 581 3rd ed. Add. 2, Part 5 eq. 5.92 (seen)")
def modified_life(eta: years, environment: One, discharge: One) -> years:
    """Characteristic life after the modifiers."""
    return environment * discharge * eta


@formula("Wilson 1927, J. Am. Stat. Assoc. 22:209 (memory-hi)")
def wilson_low(found: One, count: One, z: One) -> One:
    """Low end of the interval of a share: found of count."""
    return (
        found / count + z**2 / (2 * count)
        - z * sqrt(found / count * (1 - found / count) / count + z**2 / (4 * count**2))
    ) / (1 + z**2 / count)  # fmt: skip


@formula("Wilson 1927, J. Am. Stat. Assoc. 22:209 (memory-hi)")
def wilson_high(found: One, count: One, z: One) -> One:
    """High end of the interval of a share: found of count."""
    return (
        found / count + z**2 / (2 * count)
        + z * sqrt(found / count * (1 - found / count) / count + z**2 / (4 * count**2))
    ) / (1 + z**2 / count)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Failure:
    """Probability of one failure mode; eta in years after the modifiers."""

    probability: float
    eta: float
    beta: float
    confidence: str
    words: str


@lru_cache(maxsize=64)
def _life(mode: str, kind: str, severity: str) -> tuple[float, float, str]:
    try:
        row = table("api581").row(mode=mode, kind=kind, severity=severity)
    except NotInTable as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no Weibull life: {error}") from None
    return float(row["eta_years"]), float(row["beta"]), str(row["provenance"])


@lru_cache(maxsize=64)
def _modifier(condition: str, mode: str) -> tuple[float, str]:
    try:
        row = table("api581_modifiers").row(condition=condition)
    except NotInTable as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no modifier: {error}") from None
    return float(row[mode]), str(row["provenance"])


def failure(
    kind: str,
    mode: str,
    severity: str = "moderate",
    modifiers: Iterable[str] = (),
    time: float = 5.0,
    *,
    discharge: str | None = None,
    sheet: Sheet = _QUIET,
) -> Failure:
    """Probability that a valve fails within a time since its last overhaul, in years.

    kind: conventional, bellows, pilot, disk. mode: "open" (does not open by 1.3 x set on demand) or "leak".
    severity: mild, moderate (API default), severe. modifiers: conditions of the table api581_modifiers (warm, hot,
    close-to-set, vibration, pulsating, many-lifts, chatter, soft-seat). discharge: atmosphere, flare, closed,
    process; F_c applies to a conventional valve into a flare or closed system. Raises CalculationFailed for an
    unknown kind, mode, severity or modifier and for a negative time. Source: API RP 581 (form seen, lives and
    modifiers memory-md).
    """
    if mode not in MODES:
        raise CalculationFailed(Status.NOT_COMPUTED, f"failure mode {mode!r} is neither open nor leak")
    if time < 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "time since overhaul is negative")
    eta, beta, mark = _life(mode, kind, severity)
    sheet.given("eta", f"life of a {kind} valve, {mode}, {severity}", eta, "year", f"table api581 ({mark})")
    marks, environment, named = [mark], 1.0, []
    for condition in sorted(set(modifiers)):
        factor, its_mark = _modifier(condition, mode)
        if factor == 1.0:
            continue
        environment *= factor
        marks.append(its_mark)
        named.append(f"{condition} {factor:g}")
        sheet.given("F_env", f"modifier, {condition}", factor, "", f"table api581_modifiers ({its_mark})")
    closed = 1.0
    if kind == "conventional" and discharge in CLOSED:
        closed, its_mark = _modifier("closed-discharge", mode)
        marks.append(its_mark)
        named.append(f"{discharge} discharge {closed:g}")
    life = sheet.apply("eta_mod", modified_life, eta=eta, environment=environment, discharge=closed)
    chance = sheet.apply("P_f", probability, time=time, eta=life, beta=beta)
    what = "not open on demand" if mode == "open" else "leak"
    words = f"{100 * chance:.2g} % to {what} within {time:g} years ({severity} service"
    words += f"; life x {', '.join(named)})" if named else ")"
    if kind == "pilot" and mode == "open":
        words += "; a pilot's life is the shorter one: clean service only"
    return Failure(chance, life, beta, weakest(marks), words)
