"""The answer of `quietseat plan`: what to do with which money in which window, and why not the rest, as plain data."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence, Sized
from dataclasses import asdict
from datetime import date, timedelta
from typing import Any

from quietseat import plain
from quietseat.amounts import amount
from quietseat.basis import Basis
from quietseat.planning import afterwards, candidates
from quietseat.planning.interim import interim, refusals, why_not
from quietseat.planning.plan import ROOM, Columns, Plan, columns, limits_of, refused, saved_of, solve, unbudgeted
from quietseat.planning.programme import SCALE, Programme
from quietseat.planning.records import Item, Option, Terms, Window
from quietseat.planning.windows import of_basis, terms
from quietseat.saved import read_study
from quietseat.status import Assumption, Problem, Status

__all__ = ["answer_of", "plan_answer", "rank"]

METHOD = (
    "At most one remedy and one window a valve (integer programme, HiGHS). First as many stop findings cured as the limits "
    "allow, then as early as they allow, then the greatest value: net present value of the remedies chosen, that is running "
    "cost, leakage and carbon saved over the horizon against keeping the valve, and stated worth of operating range and of "
    "findings cured, less capital and work, all in the money of today; work that waits loses its savings until then. Every "
    "chosen remedy clears every finding of its valve. Money is the middle estimate."
)
HELD_OUT = "held out by hand"
ESTIMATED = "estimate, overwrite with the vendor's word"


def plan_answer(
    study: str, *, budget: str | None = None, outage: str | None = None, crew: str | None = None, windows: str | None = None
) -> dict[str, Any]:
    """The plan of a study.json for budgets, outages, crews and windows.

    study: path of study.json. budget, outage, crew: texts such as "500 kEUR", "12 d", "900 h"; absent ones come from the
    Basis of the study. windows: path of a TOML file of [[window]] tables. Raises InputUnusable, in words, where one of
    them cannot be used; whatever cannot be planned is said in the answer.
    """
    saved, basis = read_study(study)
    given = terms(basis, budget=budget, outage=outage, crew=crew, windows=windows, today=date.today())
    items = candidates.items(saved, basis, given.act_finding)
    return answer_of(items, given, basis, _from_basis(basis, budget, outage, crew) if windows is None else ())


def rank(items: Iterable[Item], basis: Basis) -> dict[str, Any]:
    """The plan of study.json: valves (`candidates.item`) under the budget, outage and crews of the Basis, in any order."""
    return answer_of(tuple(sorted(items, key=lambda one: one.tag)), of_basis(basis), basis)


def answer_of(
    items: tuple[Item, ...], given: Terms, basis: Basis, taken: Sequence[Assumption] = (), *, forced: Collection[int] = (),
    out: Mapping[int, Item] | None = None, beyond: bool = True,
) -> dict[str, Any]:  # fmt: skip
    """The answer for valves and terms at hand, as `plan_answer` gives it for a file.

    taken: assumptions behind the terms. forced: numbers of items that must be in. out: by number of the item, which has no remedy then,
    the valve with its remedies that is held out by hand. beyond: with the budget curve, the stability of the
    choice and what all stop findings would cost (most of the time it takes).
    """
    plan = solve(columns(items, given, basis), forced=forced)
    cols, currency = plan.columns, basis.currency
    picked = {int(cols.item[c]): c for c in plan.chosen}
    open_stops = [i for i, item in enumerate(items) if item.stops and i not in picked]
    out = out or {}
    refusal = {**refusals(plan, [i for i in open_stops if i not in out], currency), **dict.fromkeys(out, HELD_OUT)}
    points: list[dict[str, float]] = []
    shares: list[dict[str, Any]] = []
    curve_words, drawn, needed = "", "", None
    if beyond:
        free = columns(items, unbudgeted(given), basis)
        points, curve_words = afterwards.curve(free, given, _budget(given))
        shares, drawn = _stability(plan, picked, basis)
        needed = _needed(free, currency)
    ended = plan.ended and plan.bound != float("inf")
    chosen = [_chosen(plan, c, basis) for c in picked.values()]
    chosen.sort(key=lambda one: (one["severity"] != "stop", one["delay_years"], -one["value"], one["tag"]))
    price = _price(plan)
    left = [_held_out(out[i]) if i in out else _left(plan, i, basis, refusal, price) for i in range(len(items)) if i not in picked]
    left.sort(key=lambda one: (one["severity"] != "stop", one["severity"] != "act", one["less"] is None, one["less"] or 0.0))
    told: dict[str, Any] = plain.clean({
        "status": str(Status.OK if ended else Status.NOT_CONVERGED), "currency": currency, "budget": _budget(given),
        "value": plan.value, "bound": plan.bound if plan.bound != float("inf") else None,
        "gap": (plan.bound - plan.value) / max(1.0, abs(plan.bound)) if plan.bound != float("inf") else None,
        "words": _summary(plan, picked, open_stops, basis, given, len(out)), "chosen": chosen, "left_out": left,
        "windows": [_window(plan, w, window) for w, window in enumerate(given.windows)],
        "totals": _totals(plan, chosen, picked, open_stops), "stop_findings_need": needed,
        "curve": points, "curve_words": curve_words, "stability": shares, "stability_words": drawn,
        "interim": _interim(plan, picked, refusal), "method": METHOD,
        "assumptions": [asdict(one) for one in (*taken, *_assumed(basis, given))],
        "problems": [one.as_dict() for one in _problems(plan, open_stops, refusal)],
    })  # fmt: skip
    return told


def _totals(plan: Plan, chosen: list[dict[str, Any]], picked: dict[int, int], open_stops: list[int]) -> dict[str, Any]:
    items = plan.columns.items
    return {
        "spent": sum(one["cost"]["mid"] for one in chosen), "spent_low": sum(one["cost"]["low"] for one in chosen),
        "spent_high": sum(one["cost"]["high"] for one in chosen), "hours": sum(one["hours"] for one in chosen),
        "count": len(chosen), "stop_findings_cured": sum(items[i].stops for i in picked),
        "stop_findings_left": sum(items[i].stops for i in open_stops),
    }  # fmt: skip


def _stability(plan: Plan, picked: dict[int, int], basis: Basis) -> tuple[list[dict[str, Any]], str]:
    """How often each valve with a remedy is in the best set, and by the remedy of the plan."""
    shares, by_remedy, draws, words = afterwards.stability(plan, basis.money_seed)
    out = []
    for i, item in enumerate(plan.columns.items):
        remedy = plan.columns.at(picked[i])[1].remedy if i in picked else None
        same = by_remedy[i].get(remedy, 0) / draws if remedy else None
        if item.options:
            out.append({"tag": item.tag, "share": shares[i], "in_plan": i in picked, "remedy": remedy, "remedy_share": same})
    return out, words


def _budget(given: Terms) -> float:
    """What all budgets come to: the total, or the years and windows together, whichever is less."""
    held = [window.budget for window in given.windows]
    sums = [given.budget] if given.budget is not None else []
    if all(one is not None for one in held):
        sums.append(sum(one for one in held if one is not None))
    if given.years and all(window.start and window.start.year in given.years for window in given.windows):
        sums.append(sum(given.years.values()))
    if not sums:  # some windows by year, others by themselves
        sums = [sum(given.years.values()) + sum(one for one in held if one is not None)]
    return float(min(sums))


def _chosen(plan: Plan, column: int, basis: Basis) -> dict[str, Any]:
    cols = plan.columns
    item, option, window = cols.at(column)
    weeks = option.lead.mid / 7.0
    order = window.start - timedelta(days=option.lead.mid) if window.start else None
    return {
        "tag": item.tag, "remedy": option.remedy, "title": option.title, "recommended": option.recommended, "window": window.name,
        "start": window.start.isoformat() if window.start else None, "delay_years": window.delay,
        "why": _why(plan, column, basis), "clears": option.clears, "condition": option.condition, "severity": item.severity,
        "codes": list(item.codes), "cost": {"low": option.spend.low, "mid": option.spend.mid, "high": option.spend.high},
        "hours": option.hours, "outage_hours": option.outage_hours, "other_hours": option.other_hours,
        "value": float(cols.value[column]), "saved": saved_of(option) * float(cols.kept[column]),
        "lead_time_weeks": weeks, "order_by": order.isoformat() if order else None,
    }  # fmt: skip


def _why(plan: Plan, column: int, basis: Basis) -> str:
    cols, currency = plan.columns, basis.currency
    item, option, window = cols.at(column)
    price, value = amount(option.spend.mid, currency), float(cols.value[column])
    net = f"saves {amount(value, currency)} more than it costs" if value >= 0 else f"costs {amount(-value, currency)} more than it saves"
    if item.stops:
        codes = ", ".join(item.codes[: item.stops])
        words = f"mandatory: cures {item.stops} stop finding{'s' if item.stops > 1 else ''} ({codes}) for {price}, and {net}"
        if len(cols.terms.windows) > 1:
            words += f"; {window.name} is as early as the limits allow for all stop findings together"
    else:
        words = f"{net} (net present value) for {price}"
    if not option.recommended:
        words = f"in place of the recommended remedy; {words}"
    if window.start and cols.terms.now and cols.terms.now + timedelta(days=option.lead.high) > window.start:
        words += f"; late for {window.name} if the order takes its longest ({option.lead.high / 7:.0f} weeks)"
    return f"{words}; subject to proof" if option.clears == "subject-to-proof" else words


def _left(plan: Plan, i: int, basis: Basis, refusal: dict[int, str], price: Callable[[int], float]) -> dict[str, Any]:
    cols, currency = plan.columns, basis.currency
    item = cols.items[i]
    here = (cols.item == i).nonzero()[0].tolist()
    out: dict[str, Any] = {"tag": item.tag, "remedy": None, "title": "", "window": None, "severity": item.severity, "cost": None, "less": None}
    if not here:
        kind, words = why_not(item, plan, currency)
        reason = refusal.get(i) or f"{kind}: {words}" if kind != "no remedy" else item.reason
        if not item.options:
            return {**out, "reason": reason, "counterfactual": "in once a remedy clears every finding, or once what is missing is measured"}
        cheapest = min(item.options, key=lambda o: o.spend.mid)
        return {**out, **_priced(cheapest), "reason": reason, "counterfactual": _unlock(cheapest, cols.terms, currency)}
    best = min(here, key=price)
    _, option, window = cols.at(best)
    less, how = afterwards.enters_at(plan, best, price)
    reason = refusal.get(i) or _outbid(plan, best, basis)
    cost = option.spend.mid
    if 0.995 * cost <= less <= cost:
        words = f"in only at no cost ({option.title}, now {amount(cost, currency)})"
    elif less <= cost:
        words = f"in at {amount(max(less, 0.0), currency)} less ({option.title}, {window.name}, now {amount(cost, currency)})"
    else:
        words = f"not in even at no cost ({option.title}): it costs more to run than it saves, or its crew hours are worth more elsewhere"
    return {
        **out, **_priced(option), "window": window.name, "less": less if less <= cost else None,
        "reason": reason, "counterfactual": words, "counterfactual_how": how, "value": float(cols.value[best]),
    }  # fmt: skip


def _outbid(plan: Plan, column: int, basis: Basis) -> str:
    """Why a column that fits by itself is not in: it does not pay, or others pay better for what is scarce."""
    cols, currency = plan.columns, basis.currency
    item = cols.at(column)[0]
    value = float(cols.value[column])
    if value <= 0:
        codes = ", ".join(item.codes)
        return f"does not pay: it costs {amount(-value, currency)} more than it saves; curing {codes} has no stated worth that covers this"
    scarce = [limit.words for limit in plan.programme.limits if float(limit.use @ plan.x) + float(limit.use[column]) > limit.amount]
    where = " and ".join(scarce) or "the limits"
    return f"outbid: saves {amount(value, currency)} more than it costs, but {where} is better spent on others"


def _priced(option: Option) -> dict[str, Any]:
    return {"remedy": option.remedy, "title": option.title, "cost": {"low": option.spend.low, "mid": option.spend.mid, "high": option.spend.high}}


def _held_out(item: Item) -> dict[str, Any]:
    """The entry of a valve with a remedy that a person holds out: by the remedy a plan would take first."""
    option = min(item.options, key=lambda o: (not o.recommended, o.spend.mid))
    return {
        "tag": item.tag, "window": None, "severity": item.severity, **_priced(option), "less": None,
        "reason": HELD_OUT, "counterfactual": "in once freed",
    }  # fmt: skip


def _unlock(option: Option, given: Terms, currency: str) -> str:
    """What would have to change for a remedy that the limits alone keep out: everything it needs, in the window that asks for least."""
    ways = min((_needs(option, window, given, currency) for window in given.windows), key=len)
    return f"could be in ({option.title}) with " + " and ".join(ways)


def _needs(option: Option, window: Window, given: Terms, currency: str) -> list[str]:
    """Every limit of one window that one remedy is beyond, as what it needs."""
    ways = []
    year = given.years.get(window.start.year) if window.start else None
    if option.spend.mid > min((one for one in (window.budget, given.budget, year) if one is not None), default=option.spend.mid) * ROOM:
        ways.append(f"a budget of {amount(option.spend.mid, currency)}")
    if window.start and given.now and given.now + timedelta(days=option.lead.mid) > window.start:
        ways.append(f"a window {option.lead.mid / 7:.0f} weeks from now or later")
    days = option.outage_hours / window.hours_per_day
    if days > window.outage * ROOM:
        ways.append(f"an outage of {days:.3g} d, or more shifts (hours_per_day)")
    inside = option.hours if window.crew_outside is None else option.outage_hours
    if inside > window.crew * ROOM:
        ways.append(f"{inside:.0f} crew hours")
    if window.crew_outside is not None and option.other_hours > window.crew_outside * ROOM:
        ways.append(f"{option.other_hours:.0f} crew hours outside the outage")
    return ways


def _price(plan: Plan) -> Callable[[int], float]:
    """How much cheaper each column must be by the prices of the relaxation; what its money frees counts too.

    A stop finding competes with the other stop findings, so its price is that of the relaxation in which they weigh most.
    """
    import numpy as np

    cols = plan.columns
    if not len(cols.item):
        return lambda column: 0.0
    heavy = Programme(cols.item, plan.programme.limits)
    prices = []
    for programme, gain in ((plan.programme, cols.value), (heavy, afterwards.weighted(cols) + cols.value)):
        found = programme.relaxed(gain)
        per_money = np.zeros(len(cols.item))
        for limit, row in zip(programme.limits, programme.rows, strict=True):
            if limit.unit == "money" and found is not None:
                per_money += -float(found.ineqlin.marginals[row]) * SCALE / max(limit.amount, 1e-9) * (limit.use > 0)
        short = np.maximum(-gain, 0.0) if found is None else found.lower.marginals
        prices.append(np.maximum(short / (cols.discount + per_money), 0.0))
    needed = np.where(cols.stops > 0, prices[1], prices[0])
    return lambda column: float(needed[column])


def _interim(plan: Plan, picked: dict[int, int], refusal: dict[int, str]) -> list[dict[str, Any]]:
    """Stop findings that are not funded, then those that wait for a window."""
    out = []
    for i, item in enumerate(plan.columns.items):
        if item.stops and i not in picked:
            out.append({**interim(item, "not in this plan", refusal[i]), "funded": False})
    for column in picked.values():
        item, _, window = plan.columns.at(column)
        if item.stops:
            out.append({**interim(item, window.start.isoformat() if window.start else window.name, ""), "funded": True})
    return out


def _window(plan: Plan, number: int, window: Window) -> dict[str, Any]:
    cols = plan.columns
    here = [c for c in plan.chosen if int(cols.window[c]) == number]
    return {
        "name": window.name, "start": window.start.isoformat() if window.start else None, "delay_years": window.delay,
        "outage_days": window.outage, "crew_hours": window.crew, "crew_hours_outside": window.crew_outside,
        "hours_per_day": window.hours_per_day, "budget": window.budget, "count": len(here),
        "spent": sum(float(cols.spend[c]) for c in here), "outage_hours_used": sum(float(cols.outage[c]) for c in here),
        "other_hours_used": sum(float(cols.other[c]) for c in here),
    }  # fmt: skip


def _needed(cols: Columns, currency: str) -> dict[str, Any]:
    """The least money that cures every stop finding for which a remedy fits into some window, budgets apart."""
    import numpy as np

    wanted = {int(i) for i in cols.item[cols.stops > 0]} if len(cols.item) else set()
    if not wanted:
        return {"spend": None, "words": "no stop finding has a remedy that fits into a window by itself"}
    programme = Programme(cols.item, limits_of(cols))
    total = float(sum(cols.items[i].stops for i in wanted))
    programme.hold(cols.stops, total - 0.5)
    found = programme.best(-cols.spend * (cols.stops > 0) - 1e-6 * (cols.stops == 0))
    if found is None:
        words = f"the crew hours refuse to cure every stop finding ({_count(wanted)}), whatever the budget"
        return {"spend": None, "words": words}
    spend = float(cols.spend @ np.where(cols.stops > 0, found.x, 0.0))
    words = f"curing every stop finding that has a remedy for a window ({_count(wanted)}) needs {amount(spend, currency)} at least"
    return {"spend": spend, "words": words}


def _summary(plan: Plan, picked: dict[int, int], open_stops: list[int], basis: Basis, given: Terms, held: int) -> str:
    cols, currency = plan.columns, basis.currency
    if not cols.items:
        return "Nothing to plan: no valve of this study fails a check or is unproven."
    if held and not any(item.options for item in cols.items):
        return f"Nothing is chosen: every valve with a remedy that clears all its findings is held out by hand ({_count(range(held))})."
    if not any(item.options for item in cols.items):
        return "Nothing to plan: no remedy of this study clears every finding of its valve; left_out says what each one needs."
    budget = _budget(given)
    if not picked:
        kinds = {refused(o, w, given)[0] for item in cols.items for o in item.options for w in given.windows} - {""}
        words = f"by {', '.join(sorted(kinds))}" if kinds and not len(cols.item) else "because nothing pays"
        words = f"Nothing is chosen: with a budget of {amount(budget, currency)} every remedy is ruled out {words}."
    else:
        words = f"{_count(picked)} chosen, net value {amount(plan.value, currency)}, budget {amount(budget, currency)}."
    if open_stops:
        words += f" Stop findings stay uncured at {_count(open_stops)}: see the interim measures."
    return words


def _count(some: Sized) -> str:
    return f"{len(some)} valve{'' if len(some) == 1 else 's'}"


def _problems(plan: Plan, open_stops: list[int], refusal: dict[int, str]) -> list[Problem]:
    items = plan.columns.items
    mend = "raise the limit named, or keep the interim measures until a later plan"
    return [Problem(f"{items[i].tag}: stop findings are not cured; {refusal[i]}", mend, field=items[i].tag) for i in open_stops]


def _from_basis(basis: Basis, budget: str | None, outage: str | None, crew: str | None) -> list[Assumption]:
    held = (
        ("budget", budget, f"{basis.budget:g} {basis.currency}"), ("outage", outage, f"{basis.outage_days:g} d"),
        ("crew", crew, f"{basis.crews} crews, {basis.crew_hours_per_day:g} h a day of the outage"),
    )  # fmt: skip
    rule = "not given: taken from the Basis of the study"
    return [Assumption(name, value, rule, "the study") for name, raw, value in held if raw is None]


def _assumed(basis: Basis, given: Terms) -> list[Assumption]:
    out = [
        Assumption("lead time", "weeks by kind of remedy, middle of the range", "table lead_times, no order has been quoted", ESTIMATED),
        Assumption("outage", f"one crew a job, {basis.crew_hours_per_day:g} h a day unless a window says otherwise",
                   "a job's outage work must fit into the outage", "common practice"),
        Assumption("crew hours", "work outside the outage counts on the same hours unless crew_outside is given",
                   "the crews are one pool", "common practice"),
    ]  # fmt: skip
    if given.now and any(window.start for window in given.windows):
        out.append(Assumption("now", given.now.isoformat(), "delays and lead times count from this day", "the date of this run, or `now`"))
    if any(window.start is None for window in given.windows):
        rule = "has no date: every lead time is taken as met, nothing waits"
        out.append(Assumption("window", given.windows[0].name, rule, "no --windows"))
    for one, rate in given.rates.items():
        out.append(Assumption("exchange rate", f"{one} = {rate:.4g} {basis.currency}", "an amount in another currency than the study's: write "
                              "it in the study's where it matters", "table exchange_rates, memory-md"))  # fmt: skip
    if given.act_finding == 0.0:
        out.append(Assumption("act_finding", f"0 {basis.currency} a year", "findings of severity act count by the money they save "
                              "alone", "act_finding_cost of the Basis, or [value] act_finding of a windows file"))  # fmt: skip
    return out
