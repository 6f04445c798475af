"""Weibull lives: probability, mean life, failures over a horizon of regular overhauls.

The form and the modifiers follow the pressure-relief module of API RP 581; its lives stand in the table api581.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import exp
from typing import Annotated, Protocol

from quietseat.formula import One, Sheet, formula
from quietseat.status import CalculationFailed, Status
from quietseat.tables import NotInTable, table, weakest

years = Annotated[float, "year"]

MODES = ("open", "leak")
SEVERITIES = ("mild", "moderate", "severe")
KINDS = ("conventional", "bellows", "pilot", "disk")
CLOSED = ("flare", "closed")  # discharges of the factor F_c
WORDS = {"open": "not open on demand", "leak": "leak"}
RENEWAL_STEPS = 400  # of one interval; the error falls with the square of the step
_QUIET = Sheet(record=False)


@formula("API RP 581 3rd ed. Add. 2, Part 5 steps 1.1 to 1.4 (seen)")
def probability(time: years, eta: years, beta: One) -> One:
    """Weibull probability of failure within a time."""
    return 1 - exp(-((time / eta) ** beta))


@formula("API RP 581 3rd ed. Add. 2, Part 5 eq. 5.92 (seen)")
def modified_life(eta: years, environment: One, discharge: One) -> years:
    """Characteristic life after the modifiers."""
    return environment * discharge * eta


@formula("Weibull distribution, closed form")
def mean_life(eta: years, beta: One) -> years:
    """Mean life of a Weibull distribution."""
    return eta * math.gamma(1 + 1 / beta)


@formula("Weibull distribution, closed form: given that it works at an age")
def conditional(age: years, further: years, eta: years, beta: One) -> One:
    """Probability of failure within a further time of a valve that works at an age."""
    return 1 - exp((age / eta) ** beta - ((age + further) / eta) ** beta)


@formula("Weibull distribution, inverse: P(time) = chance", valid={"chance": (0.0, 0.999999)})
def time_to(chance: One, eta: years, beta: One) -> years:
    """Time within which a chance of failure is reached."""
    return eta * (-math.log(1 - chance)) ** (1 / beta)  # type: ignore[no-any-return]


@formula("Weibull distribution: mean of the smaller of life and interval; share = regularised gamma P(1/beta, (interval/eta)^beta)")
def working_time(mean: years, share: One) -> years:
    """Mean time a valve works within an interval when nobody sees its failure."""
    return mean * share


@formula("definition")
def down_share(working: years, interval: years) -> One:
    """Mean share of an interval in which a hidden failure waits."""
    return 1 - working / interval


class Risk(Protocol):
    """What has a probability of failure in time: a life by table, or one learned from history."""

    @property
    def kind(self) -> str: ...
    @property
    def confidence(self) -> str: ...
    def within(self, time: float) -> float: ...
    def hidden(self, interval: float) -> float: ...
    def reaches(self, chance: float) -> float: ...


@dataclass(frozen=True, slots=True)
class Life:
    """Weibull life of one failure mode. eta in years after the modifiers; named: the modifiers in words."""

    mode: str
    kind: str
    severity: str
    eta: float
    beta: float
    modifier: float  # eta over the eta of the table
    confidence: str
    named: tuple[str, ...] = ()

    def within(self, time: float) -> float:
        """Probability of failure within a time since overhaul, years. Raises CalculationFailed for a negative time."""
        check_time(time, "time since overhaul")
        return probability(time, self.eta, self.beta)

    def later(self, age: float, further: float) -> float:
        """Probability of failure within a further time of a valve that works at an age, years."""
        return conditional(age, further, self.eta, self.beta)

    def hidden(self, interval: float) -> float:
        """Mean probability over an interval of finding the valve failed: demand at a random time, failure unseen."""
        return down_share(working_time(self.mean, _share(interval, self.eta, self.beta)), interval)

    def reaches(self, chance: float) -> float:
        """Years until the probability of failure reaches a chance below 1."""
        return time_to(chance, self.eta, self.beta)

    @property
    def mean(self) -> float:
        """Mean life, years."""
        return mean_life(self.eta, self.beta)


@dataclass(frozen=True, slots=True)
class Failure:
    """Probability of one failure mode; eta in years after the modifiers."""

    probability: float
    eta: float
    beta: float
    confidence: str
    words: str


@lru_cache(maxsize=64)
def table_life(mode: str, kind: str, severity: str) -> tuple[float, float, str]:
    """Eta in years, beta and mark of one row of the table api581. Raises CalculationFailed where it has none."""
    if mode not in MODES:
        raise CalculationFailed(Status.NOT_COMPUTED, f"failure mode {mode!r} is neither open nor leak")
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


def life(
    kind: str, mode: str, severity: str = "moderate", modifiers: Iterable[str] = (), *,
    discharge: str | None = None, sheet: Sheet = _QUIET,
) -> Life:  # fmt: skip
    """The Weibull life of a kind of valve in a service, by table and modifiers.

    kind: conventional, bellows, pilot, disk. mode: "open" (does not open by 1.3 x set on demand) or "leak".
    severity: mild, moderate (API default), severe. modifiers: conditions of the table api581_modifiers (warm, hot,
    close-to-set, vibration, pulsating, many-lifts, chatter, soft-seat). discharge: atmosphere, flare, closed,
    process; F_c applies to a conventional valve into a flare or closed system. Raises CalculationFailed for an
    unknown kind, mode, severity or modifier. Source: API RP 581 (form seen, lives and modifiers memory-md).
    """
    eta, beta, mark = table_life(mode, kind, severity)
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
    modified = sheet.apply("eta_mod", modified_life, eta=eta, environment=environment, discharge=closed)
    return Life(mode, kind, severity, modified, beta, modified / eta, weakest(marks), tuple(named))


def failure(
    kind: str, mode: str, severity: str = "moderate", modifiers: Iterable[str] = (), time: float = 5.0, *,
    discharge: str | None = None, sheet: Sheet = _QUIET,
) -> Failure:  # fmt: skip
    """Probability that a valve fails within a time since its last overhaul, in years; the other arguments as in `life`.

    Raises CalculationFailed as `life` does, and for a negative time.
    """
    check_time(time, "time since overhaul")
    found = life(kind, mode, severity, modifiers, discharge=discharge, sheet=sheet)
    chance = sheet.apply("P_f", probability, time=time, eta=found.eta, beta=found.beta)
    words = f"{100 * chance:.2g} % to {WORDS[mode]} within {time:g} years ({severity} service"
    words += f"; life x {', '.join(found.named)})" if found.named else ")"
    if kind == "pilot" and mode == "open":
        words += "; a pilot's life is the shorter one: clean service only"
    return Failure(chance, found.eta, found.beta, found.confidence, words)


def check_time(time: float, what: str, least: float = 0.0) -> None:
    """Raises CalculationFailed where a time in years is below the least, or no number."""
    if not (time >= least and math.isfinite(time)):
        said = "negative" if time < 0 else f"{time:g} years: at least {least:g} and finite"
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{what} is {said}")


def _share(interval: float, eta: float, beta: float) -> float:
    """The regularised lower incomplete gamma function P(1/beta, (interval/eta)^beta)."""
    from scipy.special import gammainc

    return float(gammainc(1 / beta, (interval / eta) ** beta))


# --- expected failures over a horizon -----------------------------------------------------------------------


def expected_failures(risk: Life, horizon: float, interval: float, *, seen: bool) -> float:
    """Failures to expect over a horizon when the valve is as new after every overhaul at an interval, all in years.

    seen: True = a failure shows itself and is mended as new at once, so that there may be several in an interval
    (renewal function); False = it stays hidden until the next overhaul, so that there is one at most. Raises
    CalculationFailed for a negative horizon or an interval that is not positive.
    """
    check_time(horizon, "horizon")
    check_time(interval, "overhaul interval", 1e-6)
    count = renewals if seen else Life.within
    whole, rest = divmod(horizon, interval)
    return whole * count(risk, interval) + (count(risk, rest) if rest else 0.0)


def yearly_failures(risk: Life, horizon: int, interval: float, *, seen: bool) -> list[float]:
    """Failures to expect in each year of a horizon: the differences of `expected_failures`. They sum to it."""
    total = [expected_failures(risk, year, interval, seen=seen) for year in range(horizon + 1)]
    return [later - earlier for earlier, later in pairwise(total)]


def renewals(risk: Life, time: float) -> float:
    """Expected failures within a time, in years, of a valve that is mended as new at each.

    The renewal equation M(t) = F(t) + integral of M(t - u) dF(u) in steps, each with M in its middle. Source: Xie 1989, Commun.
    Stat. Simul. Comput. 18:281 (memory-md).
    """
    check_time(time, "time")
    return _renewals(time / risk.eta, risk.beta)


@lru_cache(maxsize=1024)
def _renewals(time: float, beta: float) -> float:
    import numpy as np

    if time == 0:
        return 0.0
    steps = RENEWAL_STEPS
    at = np.linspace(0.0, time, steps + 1)
    chance = -np.expm1(-(at**beta))
    middle = -np.expm1(-(((at[1:] + at[:-1]) / 2) ** beta))  # F half a step on
    first = middle[0]
    found = np.zeros(steps + 1)
    for i in range(1, steps + 1):
        grown = found[1:i] - found[: i - 1]  # M over the steps before the last
        found[i] = (chance[i] + float(grown @ middle[i - 1 : 0 : -1]) - first * found[i - 1]) / (1 - first)
    return float(found[-1])
