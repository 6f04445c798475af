"""Which remedies to do with the money and the crews of one outage: safety first, then value, then the rest.

A mixed-integer programme (HiGHS through scipy), solved in three stages, each holding what the one before won:
most stop findings cured; most value; most other findings cured at the least money.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from quietseat.basis import Basis
from quietseat.economics import present_value, years_factor
from quietseat.formula import Money, One, Sheet, formula
from quietseat.model import Assessment, Cost, Remedy, Spread

__all__ = ["Candidate", "Entry", "entry", "rank", "solve"]

METHOD = (
    "Three stages with HiGHS: the most stop findings cured within budget and crew hours; with that held, the most value "
    "(upkeep, leakage and carbon saved, stated operating value and stated cost of leaving a stop finding, present value); "
    "with that held, the most other findings cured at the least money. Money spent is capital and work, middle estimate."
)
GAP = 1e-6
CORE = 300  # candidates with the least reduced cost the integer programme starts with
SCALE = 1e4  # budget and hours as rows of this size: the solver's absolute tolerance is then no money
NODES = 20000  # a limit on nodes, not on time: the same inputs give the same plan on any machine


@formula("definition")
def value_of(
    upkeep_before: Money, upkeep_after: Money, leak_before: Money, leak_after: Money, carbon_before: Money,
    carbon_after: Money, operating: Money, misfit: Money,
) -> Money:  # fmt: skip
    """Present value of doing the remedy: running costs saved, operating range kept, misfit cost avoided."""
    return upkeep_before - upkeep_after + leak_before - leak_after + carbon_before - carbon_after + operating + misfit


@formula("definition")
def yearly_range(ratio: One, limit: One, value: Money) -> Money:
    """Yearly value of the operating range above the old valve's limit: percents of set times a stated price."""
    return (ratio - limit) * 100 * value


@formula("definition")
def yearly_misfit(count: One, value: Money) -> Money:
    """Yearly cost of leaving stop findings uncured."""
    return count * value


@formula("definition")
def spent(capital: Money, work: Money) -> Money:
    """Money spent now: capital and work."""
    return capital + work


@dataclass(frozen=True, slots=True)
class Candidate:
    """One remedy of one valve as the plan sees it. spend: money now; hours: crew hours; value: present value."""

    remedy: str
    title: str
    clears: str
    condition: str
    spend: Spread
    hours: float
    value: float
    recommended: bool = True  # the remedy the valve's own page recommends


@dataclass(frozen=True, slots=True)
class Entry:
    """One valve of the plan: its stop and act findings and the remedies that clear them."""

    tag: str
    verdict: str
    severity: str
    stops: int
    acts: int
    codes: tuple[str, ...]
    candidates: tuple[Candidate, ...] = ()
    reason: str = ""  # why there is no candidate
    meanwhile: str = ""  # what operations can do until the outage that does not come


def entry(tag: str, assessment: Assessment, remedies: Sequence[Remedy], basis: Basis) -> Entry:
    """A valve ready for the plan: its clearing remedies without those another one beats in money, hours and value."""
    failing = [finding for finding in assessment.findings if finding.outcome == "fail"]
    stops = {finding.code for finding in failing if finding.severity == "stop"}
    acts = {finding.code for finding in failing} - stops
    severity = "stop" if stops else "act" if acts else "note"
    codes = tuple(sorted(stops)) + tuple(sorted(acts))
    standing = next((remedy.cost for remedy in remedies if remedy.name == "keep"), None)
    first = remedies[0].name if remedies else ""
    clearing = [r for r in remedies if r.clears != "no" and r.name not in ("keep", "measure-first")]
    # Giving up operating range is no work of an outage: planned only where it is the recommended remedy itself.
    lower = next((r for r in clearing if r.name == "operate-lower" and r.name != first), None)
    found = [
        _candidate(remedy, remedy.cost, standing, assessment, len(stops), basis, remedy.name == first)
        for remedy in clearing
        if remedy.cost is not None and remedy is not lower
    ]
    reason = ""
    if not found:
        ask = next((remedy for remedy in remedies if remedy.name == "measure-first"), None)
        reason = ask.title if ask is not None else "no remedy clears every finding" if failing else "nothing to cure"
    meanwhile = f"until it is cured: {lower.title[0].lower()}{lower.title[1:]}, if operations can" if lower is not None else ""
    return Entry(tag, assessment.verdict, severity, len(stops), len(acts), codes, _undominated(found), reason, meanwhile)


def _candidate(
    remedy: Remedy, cost: Cost, standing: Cost | None, assessment: Assessment, stops: int, basis: Basis, first: bool
) -> Candidate:
    before = standing or cost
    factor = years_factor(basis, _QUIET)
    close = next((f for f in assessment.findings if f.code == "close-to-set" and f.outcome == "fail"), None)
    operating = 0.0
    if close is not None and close.value is not None and close.limit is not None and remedy.name != "operate-lower":
        operating = present_value(yearly_range(close.value, close.limit, basis.operating_value), factor)
    value = value_of(
        before.upkeep.mid, cost.upkeep.mid, before.leakage.mid, cost.leakage.mid, before.carbon.mid, cost.carbon.mid,
        operating, present_value(yearly_misfit(stops, basis.misfit_cost), factor),
    )  # fmt: skip
    spend = Spread(*(spent(*pair) for pair in zip(_three(cost.capital), _three(cost.work), strict=True)))
    return Candidate(remedy.name, remedy.title, remedy.clears, remedy.condition, spend, cost.crew_hours, value, first)


def _three(spread: Spread) -> tuple[float, float, float]:
    return spread.low, spread.mid, spread.high


_QUIET = Sheet(False)


def _undominated(found: list[Candidate]) -> tuple[Candidate, ...]:
    """Candidates none of the others beats or equals in money, hours, value and proof; the first of equals stays."""
    kept: list[Candidate] = []
    for one in sorted(found, key=lambda c: (c.spend.mid, c.hours, -c.value, c.clears != "yes")):
        beaten = any(
            other.spend.mid <= one.spend.mid and other.hours <= one.hours and other.value >= one.value - 1e-9
            for other in kept
        )
        if not beaten:
            kept.append(one)
    return tuple(kept)


def rank(entries: Iterable[Entry], basis: Basis) -> dict[str, Any]:
    """The plan of study.json: what is chosen for this budget and outage, what is left out, and why.

    Lexicographic: stop findings, then value, then other findings, then money. One remedy a valve at most. Valves
    with nothing to cure (sound, watch) do not appear.
    """
    listed = [one for one in entries if one.stops or one.acts or one.verdict in ("misfit", "unproven")]
    listed.sort(key=lambda one: (-one.stops, -one.acts, one.tag))
    hours = basis.crews * basis.crew_hours_per_day * basis.outage_days
    picks, status = solve(listed, basis.budget, hours)
    chosen = [(one, one.candidates[pick]) for one, pick in zip(listed, picks, strict=True) if pick is not None]
    chosen.sort(key=lambda pair: (-pair[0].stops, -pair[1].value, pair[1].spend.mid, pair[0].tag))
    used = sum(candidate.spend.mid for _, candidate in chosen)
    worked = sum(candidate.hours for _, candidate in chosen)
    left = [one for one, pick in zip(listed, picks, strict=True) if pick is None]
    return {
        "budget": basis.budget, "currency": basis.currency, "outage_days": basis.outage_days, "crews": basis.crews,
        "hours_available": hours,
        "chosen": [_chosen(one, candidate, basis) for one, candidate in chosen],
        "left_out": [_left(one, basis, basis.budget - used, hours - worked) for one in left],
        "totals": {
            "cost_low": sum(c.spend.low for _, c in chosen), "cost_mid": used, "cost_high": sum(c.spend.high for _, c in chosen),
            "crew_hours": worked, "count": len(chosen), "stop_findings_cured": sum(one.stops for one, _ in chosen),
            "stop_findings_left": sum(one.stops for one in left),
        },
        "status": status, "method": METHOD,
    }  # fmt: skip


def solve(entries: Sequence[Entry], budget: float, hours: float) -> tuple[list[int | None], str]:
    """Which candidate of each entry (its index, or None) is in the plan, and how the solver ended.

    budget: money (capital and work, middle); hours: crew hours. Status: "ok", "not-converged" (node limit: the plan
    is feasible, not proven best) or "not-computed".
    """
    places = [
        (i, j, candidate)
        for i, one in enumerate(entries)
        for j, candidate in enumerate(one.candidates)
        if candidate.spend.mid <= budget and candidate.hours <= hours
    ]
    picks: list[int | None] = [None] * len(entries)
    if not places:
        return picks, "ok"
    programme = _Programme(entries, places, budget, hours)
    chosen, status = programme.run()
    for number in chosen:
        i, j, _ = places[number]
        picks[i] = j
    return picks, status


class _Programme:
    """The three stages over one set of candidates.

    Each stage solves the linear relaxation first. A candidate whose reduced cost is above the gap between that
    bound and a plan at hand cannot be in a better plan, so the integer programme is run over the few that can:
    the same optimum as over all of them.
    """

    def __init__(
        self, entries: Sequence[Entry], places: list[tuple[int, int, Candidate]], budget: float, hours: float
    ) -> None:
        import numpy
        from scipy.sparse import csr_matrix, vstack

        self.np, self.stack, self.sparse = numpy, vstack, csr_matrix
        count = len(places)
        owners = sorted({i for i, _, _ in places})
        row_of = {owner: row for row, owner in enumerate(owners)}
        rows = [row_of[i] for i, _, _ in places]
        self.matrix = csr_matrix((numpy.ones(count), (rows, range(count))), shape=(len(owners), count))
        self.upper = numpy.ones(len(owners))
        spend = numpy.array([c.spend.mid for _, _, c in places])
        work = numpy.array([c.hours for _, _, c in places])
        self.spend_share = spend / budget if budget > 0 else spend
        if spend.sum() > budget:
            self._add(self.spend_share * SCALE, SCALE)
        if work.sum() > hours:
            self._add((work / hours if hours > 0 else work) * SCALE, SCALE)
        self.stops = numpy.array([float(entries[i].stops) for i, _, _ in places])
        self.acts = numpy.array([float(entries[i].acts) for i, _, _ in places])
        # A remedy that costs more to run is no gain, yet may be taken for what it cures: it counts as nothing.
        self.value = numpy.array([max(c.value, 0.0) for _, _, c in places])
        self.ok = True

    def _add(self, row: Any, upper: float) -> None:
        self.matrix = self.stack([self.matrix, self.sparse(row)], format="csr")
        self.upper = self.np.append(self.upper, upper)

    def run(self) -> tuple[list[int], str]:
        """The numbers of the chosen places, and the status."""
        answer = self.np.zeros(len(self.stops))
        if self.stops.any():
            answer = self._stage(self.stops, answer, step=1.0)
        if self.value.any():
            answer = self._stage(self.value / float(self.value.max()), answer, step=0.0)
        # Findings count whole; the share of the budget (at most one) only breaks ties between equal counts.
        answer = self._stage(self.acts + self.stops - 0.5 * self.spend_share, answer, step=0.0, last=True)
        return [int(i) for i in self.np.flatnonzero(answer > 0.5)], "ok" if self.ok else "not-converged"

    def _stage(self, gain: Any, start: Any, *, step: float, last: bool = False) -> Any:
        """Maximise one gain from a plan at hand and hold it for the stages after. step: gains are multiples of it."""
        from scipy.optimize import linprog

        relaxed = linprog(-gain, A_ub=self.matrix, b_ub=self.upper, bounds=(0, 1), method="highs")
        best = start
        if relaxed.status == 0:
            best = self._search(gain, start, relaxed, step)
        else:  # the plan at hand is feasible, so only numerical trouble ends here
            self.ok = False
        won = float(gain @ best)
        if not last and won > 0:
            self._add(-gain, -(won - 0.5 * step) if step else -won * (1 - 1e-9))
        return best

    def _search(self, gain: Any, start: Any, relaxed: Any, step: float) -> Any:
        np = self.np
        bound, price = -float(relaxed.fun), relaxed.lower.marginals
        core = (relaxed.x > 1e-9) | (start > 0.5)
        core[np.argsort(price, kind="stable")[:CORE]] = True
        best, won = start, float(gain @ start)
        for _ in range(6):
            found = self._integer(gain, core)
            if found is not None and float(gain @ found) > won:
                best, won = found, float(gain @ found)
            if step and np.floor(bound / step + 1e-6) * step <= won + 1e-6:
                return best
            needed = price <= bound - won + 1e-9 * max(1.0, abs(bound))
            if not (needed & ~core).any():
                return best
            core = core | needed
        return best  # pragma: no cover - the core grows to all that is needed in two rounds

    def _integer(self, gain: Any, core: Any) -> Any:
        """The best plan of the candidates in the core, the others left out; None where none was found."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        np, columns = self.np, self.np.flatnonzero(core)
        part = self.matrix[:, columns]
        busy = np.asarray((part != 0).sum(axis=1)).ravel() > 0
        result = milp(
            -gain[columns], integrality=np.ones(len(columns)), bounds=Bounds(0, 1),
            constraints=LinearConstraint(part[busy], -np.inf, self.upper[busy]),
            options={"mip_rel_gap": GAP, "node_limit": NODES},
        )  # fmt: skip
        if result.x is None:
            return None
        self.ok = self.ok and result.status == 0
        plan = np.zeros(len(gain))
        plan[columns[result.x > 0.5]] = 1.0
        return plan


def _chosen(one: Entry, candidate: Candidate, basis: Basis) -> dict[str, Any]:
    return {
        "tag": one.tag, "remedy": candidate.remedy, "title": candidate.title, "clears": candidate.clears,
        "condition": candidate.condition,
        "cost": {"low": candidate.spend.low, "mid": candidate.spend.mid, "high": candidate.spend.high},
        "crew_hours": candidate.hours, "severity": one.severity, "value": candidate.value,
        "reason": _why(one, candidate, basis),
    }  # fmt: skip


def _why(one: Entry, candidate: Candidate, basis: Basis) -> str:
    price = amount(candidate.spend.mid, basis.currency)
    if one.stops:
        words = f"cures {one.stops} stop finding{'s' if one.stops > 1 else ''} ({', '.join(one.codes[: one.stops])}) for {price}"
    elif candidate.value > 0:
        words = f"worth {amount(candidate.value, basis.currency)} over the horizon for {price}"
    else:
        words = f"cures {', '.join(one.codes)} for {price} within what is left"
    if not candidate.recommended:
        words = f"{candidate.title}, in place of the recommended remedy: {words}"
    return f"{words}, subject to proof" if candidate.clears == "subject-to-proof" else words


def _left(one: Entry, basis: Basis, money: float, hours: float) -> dict[str, Any]:
    cheapest = min(one.candidates, key=lambda c: c.spend.mid, default=None)
    return {
        "tag": one.tag, "remedy": cheapest.remedy if cheapest else None, "title": cheapest.title if cheapest else "",
        "severity": one.severity,
        "cost": {"low": cheapest.spend.low, "mid": cheapest.spend.mid, "high": cheapest.spend.high} if cheapest else None,
        "crew_hours": cheapest.hours if cheapest else None, "value": cheapest.value if cheapest else None,
        "reason": _why_not(one, cheapest, basis, money, hours),
    }  # fmt: skip


def _why_not(one: Entry, cheapest: Candidate | None, basis: Basis, money: float, hours: float) -> str:
    if cheapest is None:
        return one.reason or "no remedy clears every finding"
    needed = amount(cheapest.spend.mid, basis.currency)
    short = []
    if cheapest.spend.mid > money:
        short.append(f"needs {needed}, {amount(max(money, 0.0), basis.currency)} of the budget is left")
    if cheapest.hours > hours:
        short.append(f"needs {cheapest.hours:.0f} crew hours, {max(hours, 0.0):.0f} are left")
    words = "; ".join(short) or f"would cost {needed} and cure nothing the plan counts"
    return f"{words}; {one.meanwhile}" if one.meanwhile else words


def amount(value: float, currency: str) -> str:
    """An amount as people read it: three significant digits."""
    if abs(value) >= 1e6:
        return f"{value / 1e6:.3g} M {currency}"
    return f"{value / 1e3:.3g} k {currency}" if abs(value) >= 1e3 else f"{value:.0f} {currency}"
