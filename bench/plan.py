"""How long a large plan takes, and how close to the best one it is.

    python bench/plan.py                 2,000 valves x 8 remedies x 3 windows
    python bench/plan.py --valves 500 --whole    the whole answer (curve, stability, counterfactuals) as well

Invented data: prices and savings lognormal, hours as remedies have them, a tenth of the valves with stop findings, limits
at about a third of what all would need, lead times that keep a part out of the first window.
"""

from __future__ import annotations

import argparse
import time
from datetime import date, timedelta

import numpy as np

from quietseat import basis as bases
from quietseat.model import Spread
from quietseat.planning.answer import answer_of
from quietseat.planning.plan import columns, solve
from quietseat.planning.records import Item, Option, Terms, Window


def fleet(valves: int, remedies: int, seed: int) -> tuple[Item, ...]:
    """Invented valves, none of their remedies beaten in everything by another one."""
    dice = np.random.default_rng(seed)
    out = []
    for number in range(valves):
        options = []
        for j in range(remedies):
            money = float(dice.lognormal(9.6, 0.6))
            hours = float(dice.choice([10, 16, 26, 42, 90]) * dice.uniform(0.7, 1.3))
            after = float(dice.lognormal(8.5, 0.5))
            before = after + money * float(dice.lognormal(0.0, 0.6)) * 1.2
            kept = tuple((Spread(0.7 * b, b, 1.4 * b), Spread(0.7 * a, a, 1.4 * a)) for b, a in ((before, after),))
            lead = Spread(14.0, 14.0, 14.0).times(float(dice.integers(1, 16)))
            options.append(Option(f"remedy-{j}", f"Remedy {j}", "yes", "", Spread(0.6 * money, money, 1.8 * money), kept, 0.0,
                                  hours, 0.2 * hours, lead))  # fmt: skip
        stops = int(number % 10 == 0)
        out.append(Item(f"V{number:04d}", stops, 1, ("chatter", "leaks")[1 - stops :], tuple(options)))
    return tuple(out)


def main() -> None:
    """Print columns, value, bound, gap and seconds."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--valves", type=int, default=2000)
    parser.add_argument("--remedies", type=int, default=8)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--whole", action="store_true")
    given = parser.parse_args()
    items = fleet(given.valves, given.remedies, given.seed)
    now = date(2027, 1, 4)
    share = given.valves / 2000
    windows = tuple(
        Window(f"outage {place + 1}", now + timedelta(days=days), 20.0, 6000.0 * share, 10.0, 3.0e6 * share, None, days / 365.25)
        for place, days in enumerate((120, 485, 850))
    )
    terms, basis = Terms(windows, 7.0e6 * share, now=now), bases.make({})
    begin = time.perf_counter()
    plan = solve(columns(items, terms, basis))
    took = time.perf_counter() - begin
    print(f"{given.valves} valves x {given.remedies} remedies x {len(windows)} windows: {len(plan.columns.item)} columns")
    print(f"value {plan.value:.6g}, bound {plan.bound:.6g}, gap {100 * (plan.bound - plan.value) / abs(plan.bound):.4f} %")
    print(f"{len(plan.chosen)} chosen, {plan.stops:.0f} stop findings cured, {took:.1f} s, {'ended' if plan.ended else 'broken off'}")
    if given.whole:
        begin = time.perf_counter()
        answer_of(items, terms, basis)
        print(f"whole answer {time.perf_counter() - begin:.1f} s")


if __name__ == "__main__":
    main()
