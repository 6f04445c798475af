"""A remedy against keeping the valve as it is: the account of both, drawn with common random numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from operator import mul
from typing import Any

from quietseat.basis import Basis
from quietseat.economics import ZERO
from quietseat.economics.discount import factors, horizon, rate_of
from quietseat.economics.draws import GROUPS, Sampler, quantile
from quietseat.economics.own import price_table
from quietseat.leakage import beside
from quietseat.leakage.report import nobody_found
from quietseat.lifecycle import happenings, leaking
from quietseat.lifecycle.lines import OwnPrice, State, bought_now, kept_up
from quietseat.lifecycle.records import PARTS, Band, Comparison, Drawn, LifeCycle, Line, Part, Swing, money, together
from quietseat.model import Assessment, Location, Remedy, Spread
from quietseat.remedies.evaluate import cost_of
from quietseat.remedies.trouble import look
from quietseat.remedies.work import Costing
from quietseat.status import CalculationFailed, Status
from quietseat.worklog import Worklog, read_orders

OWN_PRICES = {"shop-test": "overhaul", "bellows": "bellows"}  # item of maintenance_costs: class of work orders
LEAST_ORDERS = 3  # with a cost, before their prices are used (estimate)
LOW, HIGH = 0.1, 0.9  # shares of the probability at the ends of a bar of the tornado


class Pricing:
    """One valve being priced: what it is, what stands against what, and the draws its states share.

    location as read; assessment and remedies of it; orders: the work orders of the whole register (else those of this valve
    alone), from which prices are learned. Raises CalculationFailed where the horizon, the rate or the draws of the
    Basis cannot be used, InputUnusable where its folder of prices cannot.
    """

    def __init__(
        self, location: Location, assessment: Assessment, remedies: Iterable[Remedy], basis: Basis, orders: Worklog | None = None
    ) -> None:
        self.basis = basis
        self.assessment = assessment
        self.given = tuple(remedies)
        self.remedies = {remedy.name: remedy for remedy in reversed(self.given)}  # the best of a name
        self.trouble = look(location, assessment, basis)
        self.costing = Costing(self.trouble)
        self.years, self.rate = horizon(basis), rate_of(basis)
        self.factors = factors(self.rate, self.years)
        self.nothing = (0.0,) * (self.years + 1)
        correlations = {group: self._correlation(group) for group in GROUPS if group}
        self.sampler = Sampler(location.tag, basis.money_seed, basis.money_draws, correlations)
        self.learned = learned(orders or read_orders([location]))
        self._kept: tuple[State, LifeCycle, Any, bool] | None = None
        self._slopes: tuple[State, _Slopes] | None = None
        self._states: dict[str, tuple[Remedy, State]] = {}
        self.remedies.setdefault("keep", self._standing())
        now = beside(location, basis, chatter=assessment.chatter)
        self.lift_scale = leaking.simulated_over_model(now)
        self.unknown = nobody_found(now.basis, basis)

    def _correlation(self, group: str) -> float:
        return float(price_table("lifecycle", self.basis.price_tables).row(item=f"correlation-{group}")["mid"])

    def _standing(self) -> Remedy:
        """Leaving the valve as it is, priced where no remedy does so."""
        trouble, costing = self.trouble, self.costing
        cost = cost_of(costing, trouble.location, ZERO, (), leaking="leaks" in trouble.failing, yearly=costing.repairs())
        return Remedy("keep", "Leave it as it is", trouble.location, "no", left=tuple(sorted(trouble.failing)), cost=cost)

    def names(self, *, priced: bool = True) -> tuple[str, ...]:
        """The remedies that have a price here, keeping the valve first; or those that are ruled out."""
        return tuple(sorted((name for name, one in self.remedies.items() if (one.cost is not None) == priced),
                            key=lambda name: (name != "keep", name)))  # fmt: skip

    def state(self, name: str) -> State:
        """The lines of one state, made once. Raises CalculationFailed for a remedy that has no price."""
        remedy = self.remedies[name]
        if name not in self._states or self._states[name][0] is not remedy:
            self._states[name] = (remedy, self._state(remedy))
        return self._states[name][1]

    def _state(self, remedy: Remedy) -> State:
        name = remedy.name
        if remedy.cost is None:
            why = remedy.rejected_because or "it was not priced"
            raise CalculationFailed(Status.NOT_COMPUTED, f"{name} has no price here: {why}")
        standing = name in ("keep", "measure-first")
        present = self.trouble.location
        found = self.assessment if standing else remedy.assessment
        state = State(remedy.location, self.basis, remedy, remedy.cost, name == "keep", present, self.learned,
                      **self._leaking(remedy))  # fmt: skip
        state.notes += [f"own price of {item}: {one.words}" for item, one in self.learned.items()]
        state.beside = leaking.beside_seat(state, found.chatter if found is not None else None)
        bought_now(state)
        kept_up(state)
        leaking.found_leak(state)
        happenings.fails(state, found)
        stops = {f.code for f in self.assessment.findings if f.outcome == "fail" and f.severity == "stop"}
        happenings.uncured(state, len(stops) if standing else len(stops & set(remedy.left)))
        leaking.leaks(state)
        leaking.lifts(state, found, self.lift_scale)
        happenings.operates(state)
        return state

    def _leaking(self, remedy: Remedy) -> dict[str, Any]:
        """What a seat leaks that fails later, whether nothing is known of a leak, and what the seat of a leak left leaks once mended."""
        seat = remedy.location.valve.seat or "metal"
        leak, _, _, words = self.costing.leak(seat, True)
        found = "leaks" in self.trouble.failing
        out: dict[str, Any] = {"once_leaking": (leak, words), "unknown": not found and self.unknown}
        if found and "leaks" not in remedy.cleared:
            tight, _, _, words = self.costing.leak(seat, False)
            if tight != leak:  # a basis forced on all valves counts the same before and after
                out["tight"] = (tight, words)
        return out

    def account(self, state: State, *, details: bool = False) -> tuple[LifeCycle, Any]:
        """The account of a state and its draws of the total; details: percentiles of each part as well."""
        total, drawn = self._draw(state.lines)
        parts = self.parts(state, drawn, details=details)
        ends = together(part.present_value for part in parts)
        whole = Band(ends.low, ends.mid, ends.high, *told(total))
        return LifeCycle(state.remedy.name, state.remedy.title, parts, whole, self.rate, tuple(state.notes)), total

    def parts(self, state: State, drawn: Mapping[str, Any] | None = None, *, details: bool = False) -> tuple[Part, ...]:
        """The parts of the account of a state: middle and ends; with the draws of each part (details), percentiles too."""
        held: dict[str, list[Line]] = {name: [] for name in PARTS}
        for line in state.lines:
            held[line.part].append(line)
        return tuple(self._part(name, lines, state, (drawn or {}).get(name), details) for name, lines in held.items())

    def _draw(self, lines: Sequence[Line]) -> tuple[Any, dict[str, Any]]:
        """Present values of the draws: their total, and by part."""
        import numpy

        total = numpy.zeros(self.sampler.draws)
        parts: dict[str, Any] = {}
        for line in lines:
            known, open_ = line.worth, []
            for one in line.inputs:
                if one.spread.high > one.spread.low:
                    open_.append(one)
                else:
                    known *= one.spread.low
            if known == 0.0:  # a price of nothing
                continue
            drawn = known * self.sampler.values(open_[0]) if open_ else numpy.full(self.sampler.draws, known)
            for one in open_[1:]:
                drawn *= self.sampler.values(one)
            total += drawn
            parts[line.part] = parts[line.part] + drawn if line.part in parts else drawn
        return total, parts

    def _part(self, name: str, lines: Sequence[Line], state: State, drawn: Any, details: bool) -> Part:
        if not lines:
            why = state.why_nothing.get(name, "nothing of the kind here")
            return Part(name, PARTS[name], self.nothing, Band(0.0, 0.0, 0.0, *((0.0,) * 4 if details else ())), (), "", why)
        amounts = [line.amount() for line in lines]
        yearly = tuple(round(sum(map(mul, amounts, column)), 2) + 0.0 for column in zip(*(line.weights for line in lines)))
        ends = [sorted(_ends(line)) for line in lines]
        middle = round(sum(map(mul, yearly, self.factors)), 2) + 0.0
        band = Band(
            min(money(sum(low for low, _ in ends)), middle), middle, max(money(sum(high for _, high in ends)), middle),
            *(() if not details else (0.0,) * 4 if drawn is None else told(drawn)),
        )  # fmt: skip
        sources = "; ".join(dict.fromkeys(line.source for line in lines if line.source))
        return Part(name, PARTS[name], yearly, band, tuple(lines), sources, "" if any(yearly) else state.why_nothing.get(name, ""))

    def keep(self, *, details: bool = False) -> tuple[State, LifeCycle, Any]:
        """The valve as it is: lines, account, draws; worked out once. details: with the percentiles of each part."""
        if self._kept is None:
            state = self.state("keep")
            self._kept = (state, *self.account(state, details=details), details)
        elif details and not self._kept[3]:
            state = self._kept[0]
            self._kept = (state, *self.account(state, details=True), True)
        return self._kept[:3]

    def slopes(self) -> _Slopes:
        """How the cost of the valve as it is rises with its inputs."""
        state = self.keep()[0]
        if self._slopes is None or self._slopes[0] is not state:
            self._slopes = (state, _Slopes(state.lines))
        return self._slopes[1]


def learned(orders: Worklog) -> dict[str, OwnPrice]:
    """Prices the register's own work orders tell, where at least three of a class state a cost."""
    out = {}
    for item, name in OWN_PRICES.items():
        found = orders.classes.get(name)
        if found is not None and found.cost is not None and found.cost.rows >= LEAST_ORDERS:
            out[item] = OwnPrice(found.cost.spread(), f"work orders of the register: {found.words()}")
    return out


def compare(pricing: Pricing, name: str, *, details: bool = False) -> Comparison:
    """One remedy against keeping the valve as it is, both over the same draws.

    name: a key of pricing.remedies. details: percentiles of each part of the remedy too. Raises CalculationFailed where the remedy has no
    price.
    """
    before, keep, kept = pricing.keep(details=details)
    if name == "keep":
        after, life, drawn = before, keep, kept
    else:
        after = pricing.state(name)
        life, drawn = pricing.account(after, details=details)
    gained = kept - drawn
    middle = money(keep.total.mid, -life.total.mid)
    npv = Drawn(middle, *told(gained))
    own = _Middle(pricing.slopes(), after.lines)
    leak, leak_words = _leak(own, middle, before.until_words)
    gain, pressure, gain_words = _gain(pricing, after, life, middle)
    return Comparison(
        keep, life, npv, float((gained > 0.0).mean()), leak, leak_words, gain, pressure, gain_words,
        own.tornado(middle) if name != "keep" else (), pricing.sampler.draws, pricing.sampler.seed,
    )  # fmt: skip


def npv_draws(pricing: Pricing, name: str) -> Any:
    """The draws of the npv of one remedy against keeping the valve: an array as long as the Basis's money_draws."""
    return pricing.keep()[2] - pricing.account(pricing.state(name))[1]


def told(drawn: Any) -> tuple[float, float, float, float]:
    """Mean and the 10, 50 and 90 % values of draws, to the cent; linear between draws."""
    import numpy

    last = len(drawn) - 1
    places = [(int(share * last), share * last) for share in (LOW, 0.5, HIGH)]
    ordered = numpy.partition(drawn, sorted({min(at, last) for whole, _ in places for at in (whole, whole + 1)}))
    found = [float(ordered[at] + (place - at) * (ordered[min(at + 1, last)] - ordered[at])) for at, place in places]
    mean, low, mid, high = (round(value, 2) + 0.0 for value in (float(drawn.mean()), *found))
    return mean, low, mid, high


def _ends(line: Line) -> tuple[float, float]:
    """Present value of a line with every input at its low and at its high."""
    low = high = line.worth
    for one in line.inputs:
        low, high = low * one.spread.low, high * one.spread.high
    return low, high


@lru_cache(maxsize=4096)
def _ten_and_ninety(spread: Spread) -> tuple[float, float]:
    return quantile(spread, LOW), quantile(spread, HIGH)


class _Slopes:
    """How steeply the present value of lines rises with each input, the others at their middle: by name, then by spread."""

    def __init__(self, lines: Sequence[Line]) -> None:
        self.of: dict[str, dict[Spread, float]] = {}
        self.units: dict[str, str] = {}
        for line in lines:
            for one in line.inputs:
                if one.spread.high <= one.spread.low and one.name != leaking.LEAK:
                    continue
                slope = line.worth
                for other in line.inputs:
                    if other is not one:
                        slope *= other.spread.mid
                of = self.of.setdefault(one.name, {})
                of[one.spread] = of.get(one.spread, 0.0) + slope
                self.units[one.name] = one.unit


class _Middle:
    """npv around the middle of every input."""

    def __init__(self, before: _Slopes, after: Sequence[Line]) -> None:
        self.before, self.after = before, _Slopes(after)

    def tornado(self, middle: float) -> tuple[Swing, ...]:
        """What each input alone does, wherever it stands, the widest first."""
        bars = []
        for name, unit in {**self.before.units, **self.after.units}.items():
            change, ends = [0.0, 0.0], (0.0, 0.0)
            for sign, slopes in ((1.0, self.before), (-1.0, self.after)):
                for spread, slope in slopes.of.get(name, {}).items():
                    if spread.high > spread.low:
                        ends = _ten_and_ninety(spread)
                        for at in (0, 1):
                            change[at] += sign * slope * (ends[at] - spread.mid)
            if change[0] != change[1]:
                bars.append(Swing(name, unit, *ends, money(middle, change[0]), money(middle, change[1])))
        return tuple(sorted((bar for bar in bars if bar.swing > 0.0), key=lambda bar: (-bar.swing, bar.name)))

    def per_leak(self) -> tuple[float, float]:
        """npv of 1 kg/s of the present valve's leak, and that leak."""
        leak = self.before.of.get(leaking.LEAK, {})
        return sum(leak.values()), next((spread.mid for spread in leak), 0.0)


def _leak(own: _Middle, middle: float, how_long: str) -> tuple[float | None, str]:
    """Leak of the present valve at which the remedy just pays."""
    slope, leak = own.per_leak()
    if slope <= 0.0:
        return None, "a leak of the present valve costs nothing here: no price of product or carbon, or it returns to the process"
    needed = leak - middle / slope
    if needed <= 0.0:
        return 0.0, "the remedy pays even if the present valve does not leak"
    return needed, f"the remedy pays where the present valve leaks more than this {how_long}; counted with {leak:.3g} kg/s"


def _gain(pricing: Pricing, after: State, life: LifeCycle, middle: float) -> tuple[float | None, float | None, str]:
    """Yearly operating value at which the remedy just pays, and the pressure it stands for."""
    basis = pricing.basis
    counted = next(part.present_value.mid for part in life.parts if part.name == "operating")
    short = -(middle + counted)  # without what operating already brings
    if short <= 0.0:
        return 0.0, 0.0, "the remedy pays without any gain in operating pressure"
    yearly = short / sum(pricing.factors[1:])
    set_pressure = after.present.valve.set_pressure
    if basis.operating_value == 0.0 or set_pressure is None:
        return yearly, None, "operating closer to set has to be worth this much a year"
    pressure = yearly / basis.operating_value / 100 * basis.gauge(set_pressure)
    change, words = happenings.operating_change(after)
    enough = change is not None and change >= pressure
    return yearly, pressure, ("within" if enough else "beyond") + f" what the remedy allows: {words}"
