"""Pre-selection against full marching on a random fleet, and how long a fleet takes.

    python bench/preselect.py                    100 valves, 20 draws each: agreement table of the pre-selection
    python bench/preselect.py --valves 1000 --draws 200 --time    time a fleet instead, say how many were marched
    python bench/preselect.py --valves 600 --draws 6 --fit        march a fleet and write quietseat/march/fitted.py anew

Fleet: API letters D to T, set 2 to 80 barg, molar mass 2 to 44, 0.2 to 6 m of matching pipe, vessel 1 to 100 m3,
smallest credible flow 20 to 100 % of the rated one, a third of the valves with bellows.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from math import pi, sqrt
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from quietseat import basis as choices
from quietseat.dynamics.parameters import letter_area
from quietseat.dynamics.situation import Situation
from quietseat.formula import R
from quietseat.march import preselect
from quietseat.march.batch import march_all, prepare_all
from quietseat.march.engine import march
from quietseat.march.job import MIDDLE, THINNED, Job, Question
from quietseat.march.linear import F

# Letter, bore of the matching inlet pipe and of the outlet flange, mm (Schedule 40, dynamics review 3.11).
PAIRS = (
    ("D", 26.64, 52.5), ("E", 26.64, 52.5), ("F", 40.89, 52.5), ("G", 40.89, 62.7), ("H", 52.5, 77.93),
    ("J", 52.5, 77.93), ("K", 77.93, 102.26), ("L", 77.93, 102.26), ("M", 102.26, 154.05), ("N", 102.26, 154.05),
    ("P", 102.26, 154.05), ("Q", 154.05, 202.7), ("R", 154.05, 202.7), ("T", 202.7, 254.5),
)  # fmt: skip


def valve(dice: random.Random) -> Situation:
    """One valve of the random fleet."""
    letter, inlet, outlet = dice.choice(PAIRS)
    gauge = 1e5 * 2.0 * (80.0 / 2.0) ** dice.random()
    molar_mass, k = dice.uniform(0.002, 0.044), dice.uniform(1.1, 1.6)
    temperature = dice.uniform(280.0, 420.0)
    p1 = 1.1 * gauge + 101325.0
    flux = p1 * sqrt(k * molar_mass / (R * temperature)) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    full = 0.96 * 1.1 * letter_area(letter) * flux
    length = dice.uniform(0.2, 6.0)
    pipe = (length, inlet / 1000, 0.02, 0.5 + dice.choice((0.0, 0.2, 0.8)))
    bellows = dice.random() < 1 / 3
    return Situation(
        kind="bellows" if bellows else "conventional", phase="gas", set_pressure=gauge + 101325.0, atmospheric=101325.0,
        blowdown=0.07, blowdown_is_default=True, relieving_pressure=p1, full_flow=full,
        least_flow=dice.uniform(0.2, 1.0) * full, molar_mass=molar_mass, k=k, Z=1.0, temperature=temperature,
        orifice=letter, pipes=(pipe,), inlet_length=length, pipe_area=pi / 4 * pipe[1] ** 2,
        vessel_volume=10 ** dice.uniform(0.0, 2.0), bellows=bellows, outlet_bore=outlet / 1000,
    )  # fmt: skip


def fleet(count: int, seed: int = 4) -> list[Situation]:
    """The random fleet."""
    dice = random.Random(seed)
    return [valve(dice) for _ in range(count)]


def compare(count: int, draws: int, seed: int) -> tuple[list[Job], list[np.ndarray], list[np.ndarray]]:
    """Jobs with every sample marched, what the pre-selection had said, and its best guess."""
    basis = choices.make()
    prepared = prepare_all([Question(one, samples=draws) for one in fleet(count, seed)], basis)
    found = [one for one in prepared if isinstance(one, Job)]
    said = [preselect.classify(job.features)[0] for job in found]
    guess = [job.guess.copy() for job in found]
    left = sum(
        float(np.sum(before[:, index] == preselect.DOUBTFUL)) / (1 if flow.counted else THINNED)
        for job, before in zip(found, said, strict=True)
        for index, flow in enumerate(job.flows)
    )
    print(f"a study of 200 draws would march {100 * left / sum(job.codes.size for job in found):.1f} % of the samples")
    march_all(found, engine="local", march=march, everything=True)
    return found, said, guess


def table(found: list[Job], said: list[np.ndarray]) -> str:
    """Agreement of plain samples with full marching, and the share left to march."""
    pairs: Counter[tuple[str, str]] = Counter()
    for job, before in zip(found, said, strict=True):
        for row, flow in np.ndindex(before.shape):
            pairs[preselect.WORDS[before[row, flow]], preselect.WORDS[job.codes[row, flow]]] += 1
    words = ("quiet", "flutters", "chatters", "cycles", "unproven")
    lines = [f"{'pre-selected':14}" + "".join(f"{word:>10}" for word in words) + f"{'agree':>10}"]
    plain = agree = 0
    for before in ("quiet", "flutters", "chatters", "cycles", "doubtful"):
        counts = [pairs[before, word] for word in words]
        if sum(counts) == 0:
            continue
        same = pairs[before, before]
        share = f"{100 * same / sum(counts):9.1f}%" if before != "doubtful" else ""
        lines.append(f"{before:14}" + "".join(f"{count:10d}" for count in counts) + f"{share:>10}")
        if before != "doubtful":
            plain, agree = plain + sum(counts), agree + same
    total = sum(pairs.values())
    lines.append(f"samples {total}; left to march {100 * (total - plain) / total:.1f} %; plain samples that agree {100 * agree / max(plain, 1):.1f} %")
    return "\n".join(lines)


def timed(count: int, draws: int, seed: int) -> str:
    """Wall time of a fleet as the study does it."""
    from quietseat.march.chatter import chatter_many

    basis = choices.make()
    questions = [Question(one, samples=draws) for one in fleet(count, seed)]
    chatter_many(questions[:2], basis)  # compile
    start = time.perf_counter()
    told = chatter_many(questions, basis)
    wall = time.perf_counter() - start
    samples = sum(one.samples * len(one.flows) for one in told)
    marched = sum(one.marched for one in told)
    verdicts = Counter(one.verdict for one in told)
    return f"{count} valves, {samples} samples, {marched} marched ({100 * marched / samples:.1f} %), {wall:.1f} s; {dict(verdicts)}"


def compact(count: int, draws: int, seed: int) -> tuple[list[Job], np.ndarray, np.ndarray]:
    """Features and class of every marched sample past its critical length; every valve with dice of its own."""
    found: list[Job] = []
    for index, one in enumerate(fleet(count, seed)):
        dice = choices.make({"chatter_seed": str(1000 * seed + index)})
        found += [job for job in prepare_all([Question(one, samples=draws)], dice) if isinstance(job, Job)]
    for job in found:
        get = {name: job.features[..., place] for name, place in F.items()}
        cycles = get["hold_share"] < 1.0
        past = np.where(cycles, get["low_ratio"], get["ratio"]) >= preselect.BOUNDS.short
        job.codes = np.where((get["share"] < 1.0) & past, preselect.DOUBTFUL, preselect.QUIET).astype(np.int8)
    march_all(found, engine="local", march=march)
    places = [(job, row, flow) for job in found for row, flow in job.marched if row != MIDDLE]
    seen = np.array([job.features[row, flow] for job, row, flow in places])
    told = np.array([job.codes[row, flow] for job, row, flow in places])
    ended = told != preselect.UNPROVEN
    return found, seen[ended], told[ended]


def logistic(seen: np.ndarray, bad: np.ndarray) -> tuple[list[float], list[float], list[float]]:
    """Mean, spread and weights of a ridge logistic fit with products of two predictors."""
    mean, spread = seen.mean(axis=0), seen.std(axis=0) + 1e-9
    z = np.clip((seen - mean) / spread, -3.0, 3.0)
    count = z.shape[1]
    pairs = [z[:, first] * z[:, second] for first in range(count) for second in range(first, count)]
    table = np.column_stack([np.ones(len(z)), z, *pairs])

    def cost(weights: np.ndarray) -> tuple[float, np.ndarray]:
        total = table @ weights
        ridge = np.r_[0.0, weights[1:]]
        value = np.sum(np.logaddexp(0.0, total) - bad * total) + 1.5 * ridge @ ridge
        return float(value), table.T @ (expit(total) - bad) + 3.0 * ridge

    weights = minimize(cost, np.zeros(table.shape[1]), jac=True, method="L-BFGS-B", options={"maxiter": 1000}).x
    return mean.tolist(), spread.tolist(), weights.tolist()


def write_fit(count: int, draws: int, seed: int) -> str:
    """March, fit, and write the module the pre-selection reads."""
    _, seen, told = compact(count, draws, seed)
    bad = ((told == preselect.CHATTERS) | (told == preselect.FLUTTERS)).astype(float)
    cycles = seen[:, F["hold_share"]] < 1.0
    given = preselect.predictors(seen)
    lines = [HEAD.format(count=count, draws=draws, seed=seed, resting=int(np.sum(~cycles)), cycling=int(np.sum(cycles)))]
    for name, part in (("RESTING", ~cycles), ("CYCLING", cycles)):
        numbers = logistic(given[part], bad[part])
        rows = [", ".join(f"{value:.5g}" for value in values) for values in numbers]
        lines.append(f"{name} = Fit(\n" + "".join(f"    ({row}),\n" for row in rows) + ")  # fmt: skip\n")
    path = Path(preselect.__file__).with_name("fitted.py")
    path.write_text("\n".join(lines), encoding="utf-8")
    return f"{len(told)} samples, {bad.mean():.2f} bad, written to {path}"


HEAD = '''"""Chance of chatter or flutter past the critical length: made by bench/preselect.py --fit, do not edit.

{count} random valves, {draws} draws each, seed {seed}: {resting} marched samples with an equilibrium lift (RESTING),
{cycling} without (CYCLING). Computed with this tool's own march; no measurement is behind it.
"""

from __future__ import annotations

from typing import NamedTuple


class Fit(NamedTuple):
    """Mean and spread of the predictors, and the weights: constant, linear, products of two."""

    mean: tuple[float, ...]
    spread: tuple[float, ...]
    weights: tuple[float, ...]

'''


def main() -> None:
    """Run what the command line asks for."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--valves", type=int, default=100)
    ask.add_argument("--draws", type=int, default=20)
    ask.add_argument("--seed", type=int, default=4)
    ask.add_argument("--time", action="store_true")
    ask.add_argument("--fit", action="store_true")
    given = ask.parse_args()
    if given.time:
        print(timed(given.valves, given.draws, given.seed))
        return
    if given.fit:
        print(write_fit(given.valves, given.draws, given.seed))
        return
    start = time.perf_counter()
    found, said, _ = compare(given.valves, given.draws, given.seed)
    print(table(found, said))
    runs = sum(1 for job in found for row, _ in job.marched if row != MIDDLE)
    print(f"{len(found)} valves, {runs} runs marched in {time.perf_counter() - start:.0f} s")
    print(f"flows: {Counter(flow.name for job in found for flow in job.flows)}; cells {Counter(job.cells for job in found)}")


if __name__ == "__main__":
    main()


