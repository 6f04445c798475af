"""The graphics processor's side of marching. Without a device its thread functions run here one after the other: the same
functions, one lane, the device's layout; so indices, refilling and closing of ranks are tested on any machine. What needs
the device itself, or only its compiler, is a visible skip where it is absent.
"""

from __future__ import annotations

import os
from contextlib import nullcontext
from dataclasses import replace
from typing import Any

import numba
import numpy as np
import pytest

from quietseat.march import cuda, kernel, lanes, rows, threads
from quietseat.march.cases import Disc, Gas, MarchCase, Outlet, Pipe
from quietseat.march.engine import march
from quietseat.march.starters import starter
from quietseat.status import CalculationFailed

AIR = Gas(1.4, 287.05, 293.15)


def ref_a(length: float = 1.0, **changes: Any) -> MarchCase:
    """REF-A of the dynamics review, section 2.17: equilibrium start at half lift."""
    disc = Disc(0.05, 0.0125, 1.5, 47.3e3, curtain_coefficient=0.7, nozzle_coefficient=1.0, restitution=0.5)
    case = MarchCase(
        AIR, 10.0, 2.0286, (Pipe(length, 0.0779),), 11e5, 1e5, disc, Outlet(1e5, "bowl"), start="equilibrium", cells=20, duration=0.3
    )
    return replace(case, **changes)


def scalar(function: Any) -> Any:
    """How a thread function is compiled for the CPU here."""
    return numba.njit(function, error_model="numpy", forceinline=True)


class Here:
    """Stands in for the graphics processor: numpy arrays, threads one after the other."""

    launches: list[tuple[str, int]]

    def __init__(self) -> None:
        self.launches = []

    def there(self, array: Any) -> Any:
        return np.array(array, order="C")

    def empty(self, shape: Any, kind: Any) -> Any:
        return np.full(shape, np.nan, kind)

    def into(self, place: Any, array: Any) -> Any:
        place[: len(array)] = array
        return place[: len(array)]

    def undisturbed(self) -> Any:
        return nullcontext()

    def here(self, array: Any) -> Any:
        return array.copy()

    def marcher(self, features: Any, precision: str) -> Any:
        return self._over("march", _march(features, precision))

    def carrier(self, name: str) -> Any:
        return self._over(name, _carry(name))

    def _over(self, name: str, thread: Any) -> Any:
        def launch(count: int, *arguments: Any) -> None:
            self.launches.append((name, count))
            with np.errstate(all="ignore"):
                for i in range(count):
                    thread(i, *arguments)

        return launch


_compiled: dict[Any, Any] = {}


def _march(features: Any, precision: str) -> Any:
    key = features, precision
    if key not in _compiled:
        run = threads.march_thread(scalar, cuda.real_of(precision), features)
        _compiled[key] = run
    return _compiled[key]


def _carry(name: str) -> Any:
    if name not in _compiled:
        _compiled[name] = getattr(threads.carry_threads(numba.njit), name)
    return _compiled[name]


def there(cases: list[MarchCase], *, slots: int = 32, samples: int = 0, precision: str = "float64") -> tuple[list[Any], Here]:
    """March a group by threads on this CPU."""
    machine = Here()
    features = starter(cases[0]).features_of(cases[0])
    return cuda.march_group(cases, features, precision, True, samples, machine, slots), machine


def test_one_lane_of_any_stride_steps_like_lanes_abreast() -> None:
    """A hundred steps of five cases: 8 lanes abreast as on the CPU, and single lanes at stride n as on a device."""
    cases = [ref_a(0.7 + 0.2 * i) for i in range(5)]
    columns = np.array([starter(case).column(case) for case in cases]).T.copy()
    features = starter(cases[0]).features_of(cases[0])

    abreast = np.repeat(columns[:, :1], 8, axis=1)
    abreast[:, :5] = columns
    step = kernel.build(lanes.small, np.float64, features, 8).step

    @numba.njit
    def together(S: Any, U: Any) -> None:
        for _ in range(100):
            step(S, U, 20, 0, 8, 0)

    S, U = abreast[: rows.CELLS].reshape(-1).copy(), abreast[rows.CELLS :].reshape(-1).copy()
    together(S, U)
    alone = kernel.build(scalar, np.float64, features, 1).step
    S1, U1 = columns[: rows.CELLS].reshape(-1).copy(), columns[rows.CELLS :].reshape(-1).copy()
    for lane in range(5):
        for _ in range(100):
            alone(S1, U1, 20, 0, 5, lane)
    lift, pressure = S1.reshape(-1, 5)[rows.X], U1.reshape(-1, 5)[2:60:3]
    np.testing.assert_allclose(lift, S.reshape(-1, 8)[rows.X, :5], rtol=1e-9)
    np.testing.assert_allclose(pressure, U.reshape(-1, 8)[2:60:3, :5], rtol=1e-11)
    assert np.ptp(lift) > 0.0


def test_columns_go_into_slots_and_come_back() -> None:
    """put, take, state and move address the same numbers: row r of slot s stands at ((s // 32) rows + r) 32 + s % 32."""
    body, count = 7, 70
    total = rows.CELLS + body
    columns = np.arange(total * count, dtype=float).reshape(total, count)
    slots = np.random.default_rng(3).permutation(96)[:count].astype(np.int64)
    S, U = np.zeros(3 * rows.CELLS * 32), np.zeros(3 * body * 32)
    machine = Here()
    machine.carrier("put")(count, S, U, slots, columns, body)
    assert S[((slots[5] // 32) * rows.CELLS + 9) * 32 + slots[5] % 32] == columns[9, 5]
    out = np.zeros((count, rows.CELLS))
    machine.carrier("take")(count, S, slots, out, rows.CELLS)
    np.testing.assert_array_equal(out.T, columns[: rows.CELLS])
    states = np.zeros(96)
    machine.carrier("state")(96, S, states)
    np.testing.assert_array_equal(states[slots], columns[rows.STATE])
    S2, U2 = np.zeros_like(S), np.zeros_like(U)
    machine.carrier("move")(count, S, U, slots, S2, U2, body)
    np.testing.assert_array_equal(U2.reshape(3, body, 32).transpose(1, 0, 2).reshape(body, 96)[:, :count], columns[rows.CELLS :])


def test_threads_give_the_engines_classes_and_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Through 32 slots with refilling and closing of ranks: status, class and time simulated as on the CPU's lanes; lift swing of
    the flutter-free ones to 1e-6 (a chaotic run parts in its digits)."""
    monkeypatch.setattr(cuda, "LOOKS", 8)  # the host looks in often, so that slots fall free one by one
    cases = [ref_a(0.4 + 0.02 * i, duration=0.12 + 0.002 * (i % 5)) for i in range(70)]
    found, machine = there(cases)
    local = march(cases)
    assert [r.status for r in found] == [r.status for r in local]
    assert [r.verdict for r in found] == [r.verdict for r in local]
    np.testing.assert_allclose([r.simulated for r in found], [r.simulated for r in local], rtol=1e-9)
    np.testing.assert_allclose([r.lift_swing for r in found], [r.lift_swing for r in local], rtol=1e-4, atol=1e-9)
    assert [r.cell_updates for r in found] == [r.cell_updates for r in local]
    assert any(name == "move" for name, _ in machine.launches), "the ranks were never closed"
    assert sum(name == "put" for name, _ in machine.launches) > 1, "no slot was filled again"


def test_groups_march_beside_each_other_and_keep_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    """engine = "cuda" as a whole, two cell counts interleaved, with the stand-in for the device."""
    monkeypatch.setattr(cuda, "driver", lambda: None)
    monkeypatch.setattr(cuda, "Processor", Here)
    cases = [ref_a(0.5 + 0.1 * i, cells=(20, 26)[i % 2], duration=0.1) for i in range(7)]
    found, local = march(cases, engine="cuda"), march(cases)
    assert [r.verdict for r in found] == [r.verdict for r in local]
    assert [r.cell_updates for r in found] == [r.cell_updates for r in local]


def test_traces_are_kept_by_case_not_by_slot() -> None:
    cases = [ref_a(0.5 + 0.03 * i, duration=0.1) for i in range(34)]
    found, _ = there(cases, samples=25)
    local = march(cases, samples=25)
    for ours, theirs in zip(found, local):
        assert len(ours.times) == len(theirs.times) > 5
        np.testing.assert_allclose(ours.times, theirs.times, rtol=1e-9)
        np.testing.assert_allclose(ours.inlet_pressure, theirs.inlet_pressure, rtol=1e-6)


def test_a_run_that_diverges_is_a_status() -> None:
    """A NaN in the middle of the line, where no end cell sees it at once."""
    case = ref_a(duration=0.05)
    features = starter(case).features_of(case)
    column = starter(case).column(case)
    column[rows.CELLS + 3 * 10 + 2] = np.nan
    run = _march(features, "float64")
    body = len(column) - rows.CELLS
    S, U = np.zeros(rows.CELLS * 32), np.zeros(body * 32)
    _carry("put")(0, S, U, np.array([7]), column[:, None].copy(), body)
    with np.errstate(all="ignore"):
        for _ in range(50):
            run(7, S, U, np.full(32, 1e9), np.zeros(32, np.int64), np.zeros((1, 1, 4)), 0, 20, 0, 16, True, body)
    assert S[rows.STATE * 32 + 7] == rows.LOST


def test_a_case_that_cannot_start_keeps_its_reason() -> None:
    good = ref_a(duration=0.05)
    drowned = ref_a(duration=0.05, segments=(Pipe(1.0, 0.02),))  # its line chokes before the valve passes the flow
    found, _ = there([good, drowned])
    assert found[0].status.value == "ok"
    assert found[1].status.value != "ok" and found[1].reason


def test_without_a_device_the_engine_says_so() -> None:
    if _device() is not None:
        pytest.skip("a graphics processor is here")
    with pytest.raises(CalculationFailed, match="engine = 'cuda'"):
        march([ref_a()], engine="cuda")


def _device() -> Any:
    try:
        return cuda.driver()
    except CalculationFailed:
        return None


needs_device = pytest.mark.skipif(_device() is None, reason="no graphics processor (numba-cuda and a driver): quietseat[cuda] not tested here")


@needs_device
@pytest.mark.parametrize("precision", ["float64", "float32"])
def test_on_the_device_classes_agree_with_the_cpu(precision: str) -> None:
    cases = [ref_a(0.5 + 0.05 * i, duration=1.0) for i in range(30)]
    features = starter(cases[0]).features_of(cases[0])
    found, local = cuda.march_group(cases, features, precision, True, 0), march(cases)
    assert sum(a.verdict == b.verdict for a, b in zip(found, local)) >= 29


def test_device_code_is_made_without_a_device(monkeypatch: pytest.MonkeyPatch) -> None:
    """PTX for compute capability 9.0; in the float32 kernel not one operation in double precision."""
    pytest.importorskip("numba_cuda", reason="numba-cuda is not installed: quietseat[cuda] not compiled here")
    if not hasattr(np, "row_stack"):
        np.row_stack = np.vstack
    from numba import cuda as device
    from numba.cuda import compiler, dispatcher

    class Hopper:
        compute_capability = (9, 0)

    for module in (compiler, dispatcher):
        monkeypatch.setattr(module, "get_current_device", lambda: Hopper)
    case = ref_a()
    features = starter(case).features_of(case)
    for precision, kind in (("float64", numba.float64), ("float32", numba.float32)):
        text = ptx(device, features, precision, kind)
        assert ".f64" in text if precision == "float64" else ".f64" not in text


def ptx(device: Any, features: Any, precision: str, kind: Any) -> str:
    """Text of the marching kernel for compute capability 9.0."""
    integer, flat, whole = numba.int64, kind[::1], numba.int64[::1]
    arguments = (integer, flat, flat, flat, whole, kind[:, :, ::1], integer, integer, integer, integer, numba.boolean, integer)
    function = cuda.compiled(device, features, precision).py_func
    return str(device.compile_ptx(function, arguments, cc=(9, 0), fastmath=precision == "float32")[0])


if __name__ == "__main__":
    os.environ.setdefault("NUMBA_NUM_THREADS", "1")
    pytest.main([__file__])


def test_the_longest_runs_are_left_to_the_host() -> None:
    """A thread needs ten times as long for a piece of work as the host's one core: the host takes work until both end together."""
    pace = 10.0 / cuda.CORE_PACE
    assert cuda.shared([100.0, 50.0, 10.0, 10.0], 1, pace) == 2  # host 150, longest thread 10 x 10; with one run less 100 against 50 x 10
    assert cuda.shared([100.0, 9.0], 1, pace) == 1
    assert cuda.shared([100.0, 50.0, 10.0, 10.0], 4, pace) == 4
    assert cuda.shared([], 4, pace) == 0


def test_groups_shared_between_host_and_threads_lose_no_run(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cuda, "CORE_PACE", 2.0 / cuda.THREAD_PACE["float64"])  # a core only twice as fast as a thread
    cases = [ref_a(0.7 + 0.1 * i) for i in range(9)]
    features = starter(cases[0]).features_of(cases[0])
    kept: list[Any] = []

    def host(long: Any) -> list[Any]:
        kept.extend(long)
        return march(long)

    (found,) = cuda.march_groups([(features, cases)], "float64", True, 0, host, 1, Here)
    alone = march(cases)
    assert 0 < len(kept) < len(cases)
    assert [one.status for one in found] == [one.status for one in alone]
    assert [one.verdict for one in found] == [one.verdict for one in alone]
