"""A fleet judged in time: 1,000 invented valves x 200 draws x 4 flows, marched only where closed form leaves doubt.

    uv run python bench/chatter_fleet.py [--valves 1000] [--samples 200] [--engine local|cuda] [--precision float64|float32] [--json OUT]

Prints the whole time (screening, draws, linear pre-selection, marching), the share of the cases that was marched, why the
others were not, and the kernel's cell-updates a second. Two cores are the yardstick: under 20 minutes; one H100: under 60 s.
On a machine without the spreadsheet and property libraries: `--save FILE` here, `--load FILE` there (CoolProp and pydantic are
still needed). `--check 100` marches every sample of a hundred random valves and says what became of those passed over.
The valves are those of bench/registers.py, read as a plant's register would be; a valve that cannot be judged is counted.
"""

from __future__ import annotations

import argparse
import json
import os
import pickle
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
import registers


class Meter:
    """Stands in for `engine.march`: counts what it is given and how long it takes."""

    def __init__(self, inner: Any) -> None:
        self.inner, self.seconds, self.cases, self.updates, self.steps, self.simulated, self.calls = inner, 0.0, 0, 0, 0, 0.0, 0
        self.settled, self.left, self.inside = 0, 0, False

    def __call__(self, cases: Any, **options: Any) -> Any:
        if self.inside:  # runs that a device leaves to the host
            self.left = len(cases)
            return self.inner(cases, **options)
        start, self.inside = time.perf_counter(), True
        results = self.inner(cases, **options)
        self.inside = False
        self.seconds += time.perf_counter() - start
        self.calls += 1
        self.cases += len(results)
        self.updates += sum(r.cell_updates for r in results)
        self.steps += sum(r.steps for r in results)
        self.simulated += sum(r.simulated for r in results)
        self.settled += sum(1 for r in results if r.settled)
        return results


def situations(valves: int, basis: Any) -> list[Any]:
    """What stability is judged on, of so many invented valves."""
    from quietseat.assess import screen
    from quietseat.assess.checks import stability
    from quietseat.register import jobs_of, read

    with tempfile.TemporaryDirectory() as folder:
        found = read(str(registers.write(Path(folder) / "fleet.xlsx", valves + valves // 20 + 2)), basis, None)
    out = []
    for location, problems in jobs_of(found):
        out += stability.situations(screen(location, basis, record=False, problems=problems).view)[:1]
    return out[:valves]


def fleet(valves: int, samples: int, engine: str, kept: str = "", precision: str = "float64") -> dict[str, Any]:
    """Time and counts of one fleet. kept: a file of situations written by --save, for a machine that cannot read registers."""
    from quietseat.basis import make

    basis = make()
    start = time.perf_counter()
    given = pickle.loads(Path(kept).read_bytes())[:valves] if kept else situations(valves, basis)
    read_s = time.perf_counter() - start
    from quietseat.march import chatter as whole
    from quietseat.march import engine as kernels

    meter = Meter(kernels.march)
    kernels.march = meter  # type: ignore[assignment]
    if hasattr(whole, "march"):
        whole.march = meter
    warm = time.perf_counter()
    one_each = {(s.kind, s.phase, s.outlet_pipe is None): s for s in given}
    few = [whole.Question(s, samples=4, precision=precision, duration=0.02) for s in one_each.values()]
    whole.chatter_many(few, basis)
    if engine == "cuda":
        from quietseat.march import cuda

        pace, cuda.CORE_PACE = cuda.CORE_PACE, 1.0  # or the host would take so few runs all by itself
        whole.chatter_many(few, basis, engine=engine)
        cuda.CORE_PACE = pace
    warm = time.perf_counter() - warm
    meter.__init__(meter.inner)  # type: ignore[misc]
    start = time.perf_counter()
    found = whole.chatter_many([whole.Question(s, samples=samples, precision=precision) for s in given], basis, engine=engine)
    spent = time.perf_counter() - start
    cases = sum(c.samples * max(1, len(c.flows)) for c in found)
    marched = sum(c.marched for c in found)
    return {
        "valves": len(found), "draws": samples, "cases": cases, "marched": marched, "share": marched / max(1, cases),
        "read_s": read_s, "compile_s": warm, "seconds": spent, "march_s": meter.seconds, "runs": meter.cases, "left_to_host": meter.left,
        "settled_early": meter.settled, "simulated_s": meter.simulated, "steps": meter.steps, "cell_updates": meter.updates,
        "cell_updates_per_s": meter.updates / max(meter.seconds, 1e-9),
        "verdicts": dict(Counter(c.verdict for c in found)), "status": dict(Counter(c.status.value for c in found)),
        "threads": int(os.environ.get("NUMBA_NUM_THREADS", os.cpu_count() or 1)), "engine": engine, "precision": precision,
    }  # fmt: skip


def check(valves: int, samples: int, engine: str, kept: str = "") -> dict[str, Any]:
    """Every sample of some random valves marched: what became of those that linear theory had passed over."""
    import random

    from quietseat.basis import make
    from quietseat.march import batch, preselect
    from quietseat.march import engine as kernels
    from quietseat.march.job import Question, considered

    basis = make()
    given = pickle.loads(Path(kept).read_bytes()) if kept else situations(10 * valves, basis)
    chosen = random.Random(4).sample(given, min(valves, len(given)))
    jobs = [job for job in batch.prepare_all([Question(s, samples=samples) for s in chosen], basis) if not isinstance(job, Exception)]
    before = [job.codes.copy() for job in jobs]
    start = time.perf_counter()
    runs = batch.march_all(jobs, engine=engine, march=kernels.march, everything=True)
    spent = time.perf_counter() - start
    names = {code: word for word, code in preselect.CODE.items()}
    table: Counter[tuple[str, str]] = Counter()
    for job, codes in zip(jobs, before):
        for place, flow in enumerate(job.flows):
            told = considered(job.draws.count, flow)  # below the smallest credible flow most draws are not read at all
            for was, now in zip(codes[told, place].tolist(), job.codes[told, place].tolist()):
                table[names.get(was, "doubtful"), names.get(now, "unproven")] += 1
    passed = {pair: count for pair, count in table.items() if pair[0] != "doubtful"}
    same = sum(count for (was, now), count in passed.items() if was == now)
    return {
        "valves": len(jobs), "runs": runs, "seconds": spent, "passed_over": sum(passed.values()), "same_class": same,
        "table": {f"{was} -> {now}": count for (was, now), count in sorted(table.items())},
    }  # fmt: skip


def main() -> None:
    """Run, print, and write the figures where asked."""
    given = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    given.add_argument("--valves", type=int, default=1000)
    given.add_argument("--samples", type=int, default=200)
    given.add_argument("--engine", default="local", choices=("local", "cuda"))
    given.add_argument("--precision", default="float64", choices=("float64", "float32"))
    given.add_argument("--json", default="")
    given.add_argument("--save", default="", help="only write the situations to a file")
    given.add_argument("--load", default="", help="take the situations from that file")
    given.add_argument("--check", type=int, default=0, help="march every sample of so many random valves instead")
    asked = given.parse_args()
    if asked.check:
        print(json.dumps(check(asked.check, asked.samples, asked.engine, asked.load), indent=1))
        return
    if asked.save:
        from quietseat.basis import make

        Path(asked.save).write_bytes(pickle.dumps(situations(asked.valves, make())))
        return
    got = fleet(asked.valves, asked.samples, asked.engine, asked.load, asked.precision)
    print(f"{got['valves']} valves x {got['draws']} draws: {got['cases']} cases, {got['marched']} marched ({100 * got['share']:.1f} %)")
    print(f"whole {got['seconds']:.1f} s on {got['threads']} threads, {got['engine']} (register and screening {got['read_s']:.1f} s, "
          f"first compile {got['compile_s']:.1f} s beside it)")  # fmt: skip
    print(f"marching {got['march_s']:.1f} s: {got['simulated_s']:.0f} simulated s, {got['steps']} steps, {got['settled_early']} settled early, "
          f"{got['cell_updates_per_s'] / 1e6:.1f} M cell-updates/s")  # fmt: skip
    print("verdicts", got["verdicts"], "status", got["status"])
    if asked.json:
        Path(asked.json).write_text(json.dumps(got, indent=1))
    print(json.dumps(got))


if __name__ == "__main__":
    main()
