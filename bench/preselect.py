"""Pre-selection against full marching on a random fleet, and how long a fleet takes.

    python bench/preselect.py                    100 valves, 20 draws each: agreement table of the pre-selection
    python bench/preselect.py --valves 1000 --draws 200 --time    time a fleet instead, say how many were marched

Fleet: API letters D to T, set 2 to 80 barg, molar mass 2 to 44, 0.2 to 6 m of matching pipe, vessel 1 to 100 m3,
smallest credible flow 20 to 100 % of the rated one, a third of the valves with bellows.
"""

from __future__ import annotations

import argparse
import random
import time
from collections import Counter
from math import pi, sqrt

import numpy as np

from quietseat import basis as choices
from quietseat.dynamics.parameters import letter_area
from quietseat.dynamics.situation import Situation
from quietseat.formula import R
from quietseat.march import preselect
from quietseat.march.batch import march_all, prepare_all
from quietseat.march.engine import march
from quietseat.march.job import MIDDLE, Job, Question

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
    said, guess = [job.codes.copy() for job in found], [job.guess.copy() for job in found]
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


def main() -> None:
    """Run what the command line asks for."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("--valves", type=int, default=100)
    ask.add_argument("--draws", type=int, default=20)
    ask.add_argument("--seed", type=int, default=4)
    ask.add_argument("--time", action="store_true")
    given = ask.parse_args()
    if given.time:
        print(timed(given.valves, given.draws, given.seed))
        return
    start = time.perf_counter()
    found, said, _ = compare(given.valves, given.draws, given.seed)
    print(table(found, said))
    runs = sum(1 for job in found for row, _ in job.marched if row != MIDDLE)
    print(f"{len(found)} valves, {runs} runs marched in {time.perf_counter() - start:.0f} s")
    print(f"flows: {Counter(flow.name for job in found for flow in job.flows)}; cells {Counter(job.cells for job in found)}")


if __name__ == "__main__":
    main()


