"""The answer of `cost`: the life cycle of one valve with one remedy against keeping it, as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from quietseat import plain
from quietseat.assess import Asking, assess
from quietseat.basis import Basis
from quietseat.casefile import read_valve
from quietseat.economics.discount import discount_factor
from quietseat.formula import Money, One, Sheet, formula
from quietseat.lifecycle import Band, Comparison, LifeCycle, Part, Pricing, compare, ranked
from quietseat.lifecycle.records import Line, money
from quietseat.model import Assessment, Assumption, Location, Problem, Remedy
from quietseat.remedies import propose, recommended
from quietseat.status import CalculationFailed, InputUnusable, Status
from quietseat.worklog import Worklog

PRICES_IN = "USD"  # currency of the packaged tables of prices


@formula("definition")
def line_value(weight: Money, quantity: One) -> Money:
    """Present value of a line: its discounted weights times its quantities, each at the middle."""
    return weight * quantity


@formula("definition: cost of keeping the valve less cost with the remedy")
def net_value(keep: Money, remedy: Money) -> Money:
    """Net present value of the remedy against keeping the valve as it is."""
    return keep - remedy


def cost_answer(case: str, remedy: str) -> dict[str, Any]:
    """Price one valve file with one remedy, or with none ("keep"), over the horizon.

    case: the file as `valve` reads it. remedy: its name as `valve` and the study list it. Raises InputUnusable where the
    file, a choice or the folder of prices cannot be used, and for a name no remedy here has (naming those there are).
    A remedy that is ruled out here has no price: a status with its reason, never an error.
    """
    read = read_valve(case)
    basis = read.basis
    found = assess(read.location, basis, asking=Asking(basis.chatter_samples))
    name = "standard input" if case == "-" else Path(case).name
    try:
        remedies = propose(read.location, found, basis, Asking(basis.remedy_samples, ends=True))
        pricing = Pricing(read.location, found, remedies, basis)
    except CalculationFailed as failed:
        raise InputUnusable(f"{name}: {failed.reason}.") from failed
    if remedy not in pricing.remedies:
        out = pricing.names(priced=False)
        more = f"; ruled out here are {', '.join(out)}" if out else ""
        priced = ", ".join(pricing.names())
        raise InputUnusable(f"--remedy {remedy}: no remedy of {name} has this name; there are {priced}{more}.")
    head = {"tag": read.location.tag, "remedy": remedy, "title": pricing.remedies[remedy].title,
            "clears": pricing.remedies[remedy].clears, **_money(basis)}  # fmt: skip
    assumptions = [*found.assumptions, *_assumed(basis)]
    try:
        compared = compare(pricing, remedy, details=True)
    except CalculationFailed as failed:
        problem = Problem(failed.reason, f"name one of {', '.join(pricing.names())}", name, field="--remedy", value=remedy)
        return _answer({"status": str(failed.status), "problems": [problem.as_dict()], **head, **_NOTHING}, assumptions, Sheet())
    sheet = Sheet()
    _steps(sheet, compared, pricing)
    problems = [p.as_dict() for p in (*found.problems, *_missing(compared, name))]
    return _answer({"status": str(Status.OK), "problems": problems, **head, **comparison(compared)}, assumptions, sheet)


_NOTHING: dict[str, Any] = {
    "years": [], "parts": [], "keep_parts": [], "total": None, "keep_total": None, "npv": None, "probability_pays": None,
    "break_even_leak_kg_s": None, "break_even_operating_gain": None, "tornado": [], "draws": 0, "seed": None,
}  # fmt: skip


def _missing(found: Comparison, file: str) -> list[Problem]:
    """One problem for each part that could not be worked out: the totals are without it."""
    return [
        Problem(f"the total of {life.name} is without {one.title}: {one.why_nothing}", "give what the sentence says is missing", file,
                field=f"parts.{one.name}")
        for life in {found.keep.name: found.keep, found.remedy.name: found.remedy}.values()
        for one in life.parts if one.why_nothing.startswith("not computed")
    ]  # fmt: skip


def _answer(body: dict[str, Any], assumptions: list[Assumption], sheet: Sheet) -> dict[str, Any]:
    whole = {**body, "assumptions": [asdict(a) for a in assumptions], "steps": plain.steps(tuple(sheet.steps()))}
    out: dict[str, Any] = plain.clean(whole)
    return out


def _money(basis: Basis) -> dict[str, Any]:
    return {
        "currency": basis.currency, "cost_year": basis.cost_year, "horizon_years": basis.horizon_years,
        "discount_rate": basis.discount_rate, "inflation": basis.inflation,
        "amounts": f"real: {basis.currency} in prices of {basis.cost_year}, paid at the end of each year; year 0 is now; "
        "costs are positive, earnings negative",
    }  # fmt: skip


def _assumed(basis: Basis) -> list[Assumption]:
    """What a reviewer of the money has to know."""
    out = [
        Assumption("economics.distributions", "triangular from low, mid and high", "every uncertain input unless stated", "estimate"),
        Assumption(
            "economics.correlation", "Gaussian copula, one shared factor each for prices, labour, leak rates and failure rates",
            "inputs of a group move together by the correlations of the table lifecycle; groups are independent", "estimate",
        ),
    ]  # fmt: skip
    if basis.currency != PRICES_IN and basis.price_factor == 1.0 and not basis.price_tables:
        out.append(Assumption(
            "basis.price_factor", f"1 {PRICES_IN} = 1 {basis.currency}",
            f"the tables of prices are in {PRICES_IN} and price_factor is 1: state the exchange rate there", "basis",
        ))  # fmt: skip
    return out


# -- records as plain data ---------------------------------------------------------------------------------------


def comparison(found: Comparison) -> dict[str, Any]:
    """A comparison as the answer gives it."""
    return {
        "years": list(range(len(found.remedy.yearly))), "parts": [part(one) for one in found.remedy.parts],
        "yearly": list(found.remedy.yearly), "total": band(found.remedy.total),
        "keep_parts": [part(one) for one in found.keep.parts], "keep_yearly": list(found.keep.yearly),
        "keep_total": band(found.keep.total), "npv": asdict(found.npv), **_decision(found),
        "notes": _notes(found.keep, found.remedy),
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Account:
    """What a study keeps of one valve's money: the remedies ranked by it, a summary by remedy, and the recommended remedy in full.

    chosen: None where nothing is recommended, where it is not asked for, or without a price.
    """

    remedies: tuple[Remedy, ...]
    summaries: dict[str, dict[str, Any]]
    chosen: dict[str, Any] | None


def account(
    location: Location, found: Assessment, remedies: Sequence[Remedy], basis: Basis, orders: Worklog | None = None, *, in_full: bool = True,
    name: str | None = None,
) -> Account:  # fmt: skip
    """The money of one valve. in_full: with all lines of the recommended remedy, or of the one of this name. Where the life cycle cannot be worked out there is
    none, and the remedies stay in the order of their estimates.

    orders: `worklog.read_orders` of the whole register. About 2 ms a remedy at 10,000 draws, 1 ms at 200. Raises InputUnusable for a folder
    of prices that cannot be used.
    """
    try:
        pricing = Pricing(location, found, remedies, basis, orders)
        order = ranked(pricing)
        best = recommended(order)
        name = None if not in_full else name or (best.name if best else None)
        compared = {one: compare(pricing, one, details=one == name) for one in pricing.names()}
    except CalculationFailed:
        return Account(tuple(remedies), {}, None)
    chosen = None
    if name is not None and name in compared:
        chosen = {"remedy": name, "title": pricing.remedies[name].title, **_money(basis), **comparison(compared[name])}
    return Account(order, {one: summary(each) for one, each in compared.items()}, chosen)


def summary(found: Comparison) -> dict[str, Any]:
    """What a study keeps of a comparison: present values by part, npv, and what decides it."""
    return {
        "parts": {one.name: _plain_band(one.present_value) for one in found.remedy.parts if one.present_value.low or one.present_value.high},
        "total": band(found.remedy.total), "npv": asdict(found.npv), **_decision(found, bars=5),
    }  # fmt: skip


def _decision(found: Comparison, bars: int | None = None) -> dict[str, Any]:
    return {
        "probability_pays": found.probability_pays, "break_even_leak_kg_s": found.break_even_leak,
        "break_even_leak_words": found.break_even_leak_words, "break_even_operating_gain": found.break_even_gain,
        "break_even_operating_gain_pa": found.break_even_gain_pressure, "break_even_operating_gain_words": found.break_even_gain_words,
        "tornado": [
            {
                "input": bar.name, "unit": bar.unit, "low_input": bar.low_input, "high_input": bar.high_input,
                "npv_low": bar.npv_at_low, "npv_high": bar.npv_at_high, "swing": money(bar.swing),
            }
            for bar in found.tornado[:bars]
        ],
        "draws": found.draws, "seed": found.seed,
    }  # fmt: skip


def band(value: Band) -> dict[str, float | None]:
    """Low, mid, high and the percentiles."""
    return asdict(value)


def _plain_band(value: Band) -> dict[str, float]:
    return {"low": value.low, "mid": value.mid, "high": value.high}


def part(one: Part) -> dict[str, Any]:
    """One part of the account with its tasks."""
    return {
        "name": one.name, "title": one.title, "yearly": list(one.yearly), "present_value": band(one.present_value),
        "source": one.source, "why_nothing": one.why_nothing, "tasks": [_task(line) for line in one.lines],
    }  # fmt: skip


def _task(line: Line) -> dict[str, Any]:
    return {
        "title": line.title, "source": line.source,
        "inputs": [
            {"name": one.name, "low": one.spread.low, "mid": one.spread.mid, "high": one.spread.high, "unit": one.unit,
             "distribution": "triangular" if one.spread.high > one.spread.low else "known", "group": one.group}
            for one in line.inputs
        ],
        "hours": line.inputs[0].spread.mid if line.hours else None,
        "weights": list(line.weights),
    }  # fmt: skip


def _notes(*accounts: LifeCycle) -> list[str]:
    return [f"{one.name}: {note}" for one in {a.name: a for a in accounts}.values() for note in one.notes]


def _steps(sheet: Sheet, found: Comparison, pricing: Pricing) -> None:
    """The account as steps: each line's present value, the totals and the npv."""
    sheet.section("Discounting")
    if pricing.basis.inflation:
        sheet.given("r", "real discount rate", pricing.rate, "", "discount_rate freed of inflation, Basis")
    sheet.apply("d", discount_factor, rate=pricing.rate, year=pricing.years)
    for life in {found.keep.name: found.keep, found.remedy.name: found.remedy}.values():
        sheet.section(f"Account: {life.name}")
        for one in life.parts:
            for line in one.lines:
                sheet.apply(f"PV {one.name}: {line.title}", line_value, weight=line.worth,
                            quantity=line.amount())  # fmt: skip
        sheet.given(f"PV {life.name}", "total of the printed parts", life.total.mid, pricing.basis.currency, "sum of the parts")
    sheet.section("Comparison")
    sheet.apply("NPV", net_value, keep=found.keep.total.mid, remedy=found.remedy.total.mid)
