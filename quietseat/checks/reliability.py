"""Calculations of reliability that checks can name: each calls what a user's answer is made of. Years in, as plain numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from quietseat import worklog
from quietseat.reliability import Costs, Learned, Life, Look, cheapest, compare, expected_failures, life, renewals
from quietseat.reliability.shares import wilson_high, wilson_low

Found = dict[str, Any]


def _life(eta: float, beta: float) -> Life:
    return Life("open", "conventional", "moderate", eta, beta, 1.0, "computed")


def weibull(eta: float, beta: float, time: float, further: float = 1.0, chance: float = 0.1) -> Found:
    """Probability within a time, mean life, time to a chance, and what follows for a valve that works at the time."""
    found = _life(eta, beta)
    return {
        "probability": found.within(time), "mean_life": found.mean, "time_to": found.reaches(chance), "hidden": found.hidden(time),
        "conditional": found.later(time, further), "renewals": renewals(found, time),
    }  # fmt: skip


def over_horizon(eta: float, beta: float, horizon: float, interval: float) -> Found:
    """Failures over a horizon of regular overhauls, hidden or seen at once."""
    found = _life(eta, beta)
    return {name: expected_failures(found, horizon, interval, seen=seen) for name, seen in (("hidden", False), ("seen", True))}


def life_of(kind: str, mode: str, severity: str, modifiers: Sequence[str] = (), discharge: str | None = None) -> Found:
    """Characteristic life of a kind by table and modifiers."""
    return {"eta": life(kind, mode, severity, modifiers, discharge=discharge).eta}


def bayes(
    eta: float, beta: float, weight: float, time: float, working: Sequence[float] = (), dated: Sequence[float] = (),
    found_failed: Sequence[Sequence[float]] = (), scale: float = 1.0,
) -> Found:  # fmt: skip
    """Life after a history: ages seen to work, ages of failures at their day, [last seen to work, found failed]."""
    looks = [Look(age, None, scale=scale) for age in working] + [Look(age, age, scale=scale) for age in dated]
    looks += [Look(worked, failed, scale=scale) for worked, failed in found_failed]
    learned = Learned("open", "conventional", "moderate", eta, beta, weight, scale, tuple(looks))
    low, high = learned.within_interval(time)
    return {
        "mean_factor": learned.mean_factor(), "probability": learned.within(time), "low": low, "high": high,
        "eta": learned.eta(), "eta_low": learned.eta_interval()[0], "eta_high": learned.eta_interval()[1],
    }  # fmt: skip


def interval(eta: float, beta: float, overhaul: float, damage_a_year: float = 0.0, leak_year: float = 0.0) -> Found:
    """Cheapest overhaul interval, in years."""
    never = _life(1e9, beta)
    opening, leaking = (_life(eta, beta), never) if damage_a_year else (never, _life(eta, beta))
    return {"interval": cheapest(opening, leaking, Costs(overhaul, damage_a_year, 1.0, 0.0, leak_year)).interval}


def kinds(old: str, new: str, severity: str, years: float) -> Found:
    """A kind against the one that replaces it: does it fail to open more often, and at which interval as often."""
    modes = ("open", "leak")
    changes = compare({m: life(old, m, severity) for m in modes}, {m: life(new, m, severity) for m in modes}, years, names=(old, new))
    opening = next(change for change in changes if change.mode == "open")
    return {"verdict": opening.verdict, "same_risk": opening.same_risk, "ratio": opening.ratio}


def counted_rate(count: int, exposure: float) -> Found:
    """90 % interval of a rate from a count."""
    low, high = worklog.rate_interval(count, exposure)
    return {"low": low, "high": high}


def counted_share(found: float, count: float, z: float) -> Found:
    """Interval of a share from a count."""
    return {"low": wilson_low(found, count, z), "high": wilson_high(found, count, z)}


def work_order(text: str) -> Found:
    """Class of a work order by its words."""
    return {"kind": worklog.classify(text).kind}


CALCULATIONS: Mapping[str, Callable[..., Found]] = {
    "weibull": weibull, "failures over a horizon": over_horizon, "life": life_of, "bayes": bayes, "cheapest interval": interval,
    "kinds": kinds, "rate of a count": counted_rate, "share of a count": counted_share, "work order": work_order,
}  # fmt: skip
