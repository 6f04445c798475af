"""Time and memory per row from file to study.json, and the sizing part against a plain loop over `fluids`.

    uv run python bench/fleet.py [1000 3000 10000]

Every length runs in a process of its own, so that memory is that of the run alone (children included).
"""

from __future__ import annotations

import itertools
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import registers

LENGTHS = (1000, 3000, 10000)


def one(path: str, out: str) -> None:
    """Run one study and print time and peak memory (largest process, and sum with the largest child)."""
    from quietseat.basis import make
    from quietseat.study import run

    start = time.perf_counter()
    study = run(path, make(), workers=None)
    study.write_json(out)
    spent = time.perf_counter() - start
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    child = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(json.dumps({"s": spent, "own_mb": own, "child_mb": child, "counts": study.head["counts"], "rows": study.head["register"]["rows_found"]}))


def sizing_ratios(count: int = 20000) -> tuple[float, float]:
    """Gas sizing over a plain loop calling fluids.API520_A_g: the whole calculation, and the compiled formulas.

    The whole calculation also resolves pressures, chooses the regime and selects the letter; the compiled
    loop runs the same formulas, compiled by numba from the same source, over arrays.
    """
    import numpy as np
    from fluids.safety_valve import API520_A_g

    from quietseat.formula import Sheet, compiled
    from quietseat.sizing import Choices, Request, area, gas, size

    pressures = 5e5 + 100.0 * np.arange(count)
    requests = [Request("gas", relieving_pressure=float(p), molar_mass=0.03, k=1.2, temperature=350.0, Z=0.9, flow=3.0)
                for p in pressures]  # fmt: skip
    choices, sheet = Choices(), Sheet(record=False)
    coefficient, flux, required = compiled(gas.coefficient), compiled(gas.critical_flux), compiled(area.required_area)

    import numba

    @numba.njit
    def fleet(given, out, c):  # type: ignore[no-untyped-def]
        for i in range(given.shape[0]):
            out[i] = required(3.0, flux(coefficient(c, 1.2), given[i], 0.03, 350.0, 0.9), 0.975)

    out = np.empty_like(pressures)
    constant = 1.0 / 8.31446261815324**0.5
    fleet(pressures, out, constant)
    best: dict[str, float] = {}

    def timed(name: str, call) -> None:  # type: ignore[no-untyped-def]
        start = time.perf_counter()
        call()
        best[name] = min(best.get(name, 1e9), time.perf_counter() - start)

    for _ in range(5):
        timed("whole", lambda: [size(request, choices, sheet) for request in requests])
        timed("compiled", lambda: fleet(pressures, out, constant))
        timed("fluids", lambda: [API520_A_g(m=3.0, T=350.0, Z=0.9, MW=30.0, k=1.2, P1=p, P2=101325.0) for p in pressures])
    theirs = API520_A_g(m=3.0, T=350.0, Z=0.9, MW=30.0, k=1.2, P1=float(pressures[0]), P2=101325.0)
    assert abs(out[0] / theirs - 1) < 1e-3, (out[0], theirs)
    return best["whole"] / best["fluids"], best["compiled"] / best["fluids"]


def main() -> None:
    lengths = [int(word) for word in sys.argv[1:]] or list(LENGTHS)
    with tempfile.TemporaryDirectory() as folder:
        spent: list[tuple[int, float]] = []
        for count in lengths:
            path = registers.write(Path(folder) / f"{count}.xlsx", count)
            command = [sys.executable, __file__, "--one", str(path), str(Path(folder) / f"{count}.json")]
            found = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
            spent.append((count, found["s"]))
            size = (Path(folder) / f"{count}.json").stat().st_size / 1e6
            print(f"{count:>6} rows: {found['s']:6.1f} s, {1000 * found['s'] / count:5.2f} ms a row, memory {found['own_mb']:.0f} MB "
                  f"(largest child {found['child_mb']:.0f} MB), study.json {size:.0f} MB, {found['counts']}")  # fmt: skip
        for (a, ta), (b, tb) in itertools.pairwise(spent):
            print(f"added time per added row, {a} to {b}: {1000 * (tb - ta) / (b - a):.2f} ms")
    whole, bare = sizing_ratios()
    print(f"gas sizing over a plain loop over fluids: whole calculation {whole:.1f}, compiled formulas {bare:.4f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(sys.argv[2], sys.argv[3])
    else:
        main()
