"""Monte Carlo of the money of a fleet: 1,000 valves, as they are and with a remedy, 10,000 draws each.

    uv run python bench/money.py [1000]

Reading, assessing and finding remedies are not timed. The same inputs are also drawn by a plain loop over numpy and scipy, on
some of the valves in the same run: the ratio of the two is printed, and their means must agree.
"""

from __future__ import annotations

import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import registers

from quietseat.assess import assess
from quietseat.basis import make
from quietseat.economics.draws import sampler
from quietseat.lifecycle import Pricing, compare
from quietseat.register import read
from quietseat.remedies import propose

PLAIN = 30  # valves the plain loop is timed on


def fleet(count: int, basis: Any) -> list[tuple[Any, Any, Any]]:
    """Valves with a remedy that has a price, as many as asked for."""
    out: list[tuple[Any, Any, Any]] = []
    with tempfile.TemporaryDirectory() as folder:
        found = read(registers.write(Path(folder) / "register.xlsx", 3 * count), basis)
    for location in found.locations:
        held = assess(location, basis, record=False)
        options = propose(location, held, basis)
        if any(one.cost is not None and one.name not in ("keep", "measure-first") for one in options):
            out.append((location, held, options))
        if len(out) == count:
            break
    return out


def priced(one: tuple[Any, Any, Any], basis: Any) -> tuple[float, float]:
    """Mean npv of the first remedy and the probability that it pays."""
    pricing = Pricing(*one, basis)
    name = next(name for name in pricing.names() if name not in ("keep", "measure-first"))
    found = compare(pricing, name)
    return found.npv.mean, found.probability_pays


def plain(one: tuple[Any, Any, Any], basis: Any, generator: Any) -> float:
    """The same lines drawn as a script would: one input after the other with scipy, the group numbers drawn anew a valve."""
    from scipy.stats import norm, triang

    pricing = Pricing(*one, basis)
    name = next(name for name in pricing.names() if name not in ("keep", "measure-first"))
    draws = basis.money_draws
    shared = {group: generator.standard_normal(draws) for group in ("prices", "labour", "leak", "failures", "")}
    own: dict[str, Any] = {}
    totals = []
    for state in (pricing.state("keep"), pricing.state(name)):
        total = np.zeros(draws)
        for line in state.lines:
            value = np.full(draws, sum(w * (1 + pricing.rate) ** -t for t, w in enumerate(line.weights)))
            for each in line.inputs:
                low, mid, high = each.spread.low, each.spread.mid, each.spread.high
                if high > low:
                    if each.name not in own:
                        own[each.name] = generator.standard_normal(draws)
                    c = pricing.sampler.correlations.get(each.group, 0.0)
                    u = norm.cdf(c**0.5 * shared[each.group] + (1 - c) ** 0.5 * own[each.name])
                    value = value * triang.ppf(u, (mid - low) / (high - low), low, high - low)
                else:
                    value = value * low
            total += value
        totals.append(total)
    gained = totals[0] - totals[1]
    np.percentile(gained, (10, 50, 90))
    return float(gained.mean())


def main() -> None:
    """Print times, the ratio, and how far the means are apart."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    basis = make()
    valves = fleet(count, basis)
    start = time.perf_counter()
    sampler()(0.0, 1.0, 2.0, 0.5, np.zeros(2), np.zeros(2), np.empty(2))
    print(f"compiling: {time.perf_counter() - start:.1f} s")
    start = time.perf_counter()
    one_core = [priced(one, basis) for one in valves[:PLAIN]]
    mine = (time.perf_counter() - start) / len(one_core)
    generator = np.random.default_rng(1)
    start = time.perf_counter()
    theirs = [plain(one, basis, generator) for one in valves[:PLAIN]]
    scripted = (time.perf_counter() - start) / len(theirs)
    start = time.perf_counter()
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        done = list(pool.map(partial(priced, basis=basis), valves, chunksize=25))
    spent = time.perf_counter() - start
    apart = max(abs(a - b) / max(abs(a), 1.0) for (a, _), b in zip(one_core, theirs))
    print(f"{len(done)} valves x {basis.money_draws} draws, two processes, their start and compiling included: {spent:.1f} s ({1e3 * spent / len(done):.1f} ms a valve)")
    print(f"one core: {1e3 * mine:.1f} ms a valve; plain numpy and scipy loop: {1e3 * scripted:.1f} ms; ratio {scripted / mine:.1f}")
    print(f"means of npv at most {100 * apart:.1f} % apart over {PLAIN} valves (other random numbers)")


if __name__ == "__main__":
    main()
