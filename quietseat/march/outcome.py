"""What a run in time did: windows of a twentieth, the early end once the class is settled, and the verdict word.

Classes over the last 40 % of a run: `chatters` at least 5 seat impacts a second; `flutters` a lasting lift oscillation
above 5 % of full lift without seat impacts; `cycles` opens and shuts slower than that, or its pilot switches while the
piston stays up, or did so more than once before it held; `quiet`; `unproven` when the run diverged. A landing counts
once: bounces lower than 1 % of the stop lift belong to the landing before.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from quietseat.march.rows import (
    EARLY,
    EARLY_END,
    ENDED,
    HISTORY,
    INFLOW,
    LOST,
    MASS_R,
    OPENINGS,
    P_R,
    PER_CELL,
    RECLOSINGS,
    REF_HIGH,
    REF_LOW,
    RUNNING,
    SPEED,
    STATE,
    STEPS,
    SWITCHES,
    T_END,
    T_FIRST,
    T_LAST,
    T_RISE,
    T_TOP,
    TIME,
    UNSIGNED,
    W_C0,
    W_C1,
    W_CROSS,
    W_ENERGY,
    W_FLOW,
    W_FROM,
    W_NEXT,
    W_PMAX,
    W_PMIN,
    W_RINT,
    W_RMAX,
    W_SEAT,
    W_SIZE,
    W_STOP,
    W_WIDTH,
    W_XINT,
    W_XMAX,
    W_XMIN,
    WINDOW,
    WINDOW_COUNT,
    WINDOWS,
    X_STOP,
    X,
    index,
)
from quietseat.status import Status

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

IMPACTS_PER_SECOND = 5.0
"""Seat impacts a second from which a valve chatters."""
LASTING_SWING = 0.05
"""Lift oscillation, of full lift, from which a valve flutters."""
BOUNCE_SHARE = 0.01
"""Of the stop lift: what a disc must have risen to before its next landing counts."""
SHUT_SHARE = 0.005
"""Of the stop lift: below it the valve is shut."""
PASSED_LEAST = 0.1
"""Share of the inflow a valve that never opened must pass (at a small lift) to be judged: a run too short is no quiet one."""
SPECTRUM_LEAST = 500
"""Samples from which a trace is asked for its frequency."""
STEPS_MOST = 8.0
"""Times the steps foreseen before a run counts as lost (its step collapsed)."""


@dataclass
class MarchResult:
    """What one run did. SI, pressures absolute; window values over the last 40 % of the run.

    `status` ok or not-converged with a `reason`; `verdict` quiet, flutters, chatters, cycles, unproven; `lift_swing` of the
    stop lift; `mean_flow_ratio` valve flow over inflow; `settled` True when the run ended early because its class was.
    """

    status: Status
    reason: str = ""
    verdict: str = "unproven"
    frequency: float | None = None
    seat_impacts: float = 0.0
    stop_impacts: float = 0.0
    impact_energy: float = 0.0
    inlet_pressure_min: float | None = None
    inlet_pressure_max: float | None = None
    vessel_pressure_max: float | None = None
    lift_swing: float | None = None
    mean_flow_ratio: float | None = None
    opening_time: float | None = None
    openings: int = 0
    reclosings: int = 0
    cycle_period: float | None = None
    pilot_switches: int = 0
    simulated: float = 0.0
    steps: int = 0
    cell_updates: int = 0
    settled: bool = False
    times: npt.NDArray[np.float64] | None = field(default=None, repr=False)
    lift: npt.NDArray[np.float64] | None = field(default=None, repr=False)
    inlet_pressure: npt.NDArray[np.float64] | None = field(default=None, repr=False)
    vessel_pressure: npt.NDArray[np.float64] | None = field(default=None, repr=False)


def build(jit: Callable[[Any], Any], real: Callable[[float], Any]) -> SimpleNamespace:
    """`watch(S, U, stride, j, early, cells)`: closes windows, ends lanes; to be called every few steps. Returns True at an end."""
    zero, half, one = real(0.0), real(0.5), real(1.0)
    running, ended, early_end, lost = real(RUNNING), real(ENDED), real(EARLY_END), real(LOST)
    huge = real(1e30)
    a_tenth = real(0.1)
    last = real(WINDOW_COUNT - 0.5)
    enough, latest = real(4.5), real(0.75 * WINDOW_COUNT + 0.5)  # the last quarter is not worth a guess
    tight, loose, tiny = real(0.002), real(0.01), real(1e-30)
    small, near, decay = real(0.01), real(0.04), real(0.9)
    flutter_low, flutter_band = real(1.5 * LASTING_SWING), real(0.02)
    impact_rate, impact_least = real(1.6 * IMPACTS_PER_SECOND), real(2.5)
    opened = real(0.02)
    at_rest = real(1e-9)
    speed_most = real(1e12)
    slack = real(1e-9)

    at = index(jit, UNSIGNED)

    @jit
    def kept(S, stride, j, window, what):  # type: ignore[no-untyped-def]
        return S[at(HISTORY + window * W_SIZE + what, stride, j)]

    @jit
    def push(S, stride, j):  # type: ignore[no-untyped-def]
        """Close the running window into the history and start the next."""
        w = int(S[at(WINDOWS, stride, j)])
        now = S[at(TIME, stride, j)]
        start = S[at(W_FROM, stride, j)]
        width = max(now - start, slack)
        if w < WINDOW_COUNT:
            r = HISTORY + w * W_SIZE
            S[at(r, stride, j)] = start
            S[at(r + 1, stride, j)] = now
            S[at(r + 2, stride, j)] = S[at(W_XMIN, stride, j)]
            S[at(r + 3, stride, j)] = S[at(W_XMAX, stride, j)]
            S[at(r + 4, stride, j)] = S[at(W_XINT, stride, j)] / width
            S[at(r + 5, stride, j)] = S[at(W_SEAT, stride, j)]
            S[at(r + 6, stride, j)] = S[at(W_STOP, stride, j)]
            S[at(r + 7, stride, j)] = S[at(W_ENERGY, stride, j)]
            S[at(r + 8, stride, j)] = S[at(W_FLOW, stride, j)]
            S[at(r + 9, stride, j)] = S[at(W_PMIN, stride, j)]
            S[at(r + 10, stride, j)] = S[at(W_PMAX, stride, j)]
            S[at(r + 11, stride, j)] = S[at(W_RMAX, stride, j)]
            S[at(r + 12, stride, j)] = S[at(W_CROSS, stride, j)]
            S[at(r + 13, stride, j)] = S[at(W_C0, stride, j)]
            S[at(r + 14, stride, j)] = S[at(W_C1, stride, j)]
            S[at(r + 15, stride, j)] = S[at(W_RINT, stride, j)] / width
            S[at(r + 16, stride, j)] = S[at(SWITCHES, stride, j)]
            S[at(WINDOWS, stride, j)] += one
        mean = S[at(W_XINT, stride, j)] / width
        swing = S[at(W_XMAX, stride, j)] - S[at(W_XMIN, stride, j)]
        S[at(REF_LOW, stride, j)] = mean - a_tenth * swing
        S[at(REF_HIGH, stride, j)] = mean + a_tenth * swing
        S[at(W_FROM, stride, j)] = now
        S[at(W_XMIN, stride, j)] = S[at(X, stride, j)]
        S[at(W_XMAX, stride, j)] = S[at(X, stride, j)]
        S[at(W_XINT, stride, j)] = zero
        S[at(W_SEAT, stride, j)] = zero
        S[at(W_STOP, stride, j)] = zero
        S[at(W_ENERGY, stride, j)] = zero
        S[at(W_FLOW, stride, j)] = zero
        S[at(W_PMIN, stride, j)] = huge
        S[at(W_PMAX, stride, j)] = zero
        S[at(W_RMAX, stride, j)] = zero
        S[at(W_RINT, stride, j)] = zero
        S[at(W_CROSS, stride, j)] = zero
        S[at(W_C0, stride, j)] = zero
        S[at(W_C1, stride, j)] = zero
        S[at(W_NEXT, stride, j)] += S[at(W_WIDTH, stride, j)]

    @jit
    def decided(S, stride, j):  # type: ignore[no-untyped-def]
        """1 quiet, 2 flutters, 3 chatters when the windows so far settle it, else 0.

        The vessel must be in balance: what it gains or loses a window, carried on to the end, must not matter.
        """
        count = S[at(WINDOWS, stride, j)]
        n = int(count)
        if count < enough or count > latest:
            return zero
        stop = S[at(X_STOP, stride, j)]
        a = (kept(S, stride, j, n - 1, 3) - kept(S, stride, j, n - 1, 2)) / stop
        b = (kept(S, stride, j, n - 2, 3) - kept(S, stride, j, n - 2, 2)) / stop
        c = (kept(S, stride, j, n - 3, 3) - kept(S, stride, j, n - 3, 2)) / stop
        drift = abs(kept(S, stride, j, n - 1, 15) - kept(S, stride, j, n - 2, 15)) / S[at(P_R, stride, j)]
        ahead = drift * (real(WINDOW_COUNT) - count)
        sinks = abs(kept(S, stride, j, n - 1, 4) - kept(S, stride, j, n - 2, 4)) / stop * (real(WINDOW_COUNT) - count)
        seat_a, seat_b, seat_c = kept(S, stride, j, n - 1, 5), kept(S, stride, j, n - 2, 5), kept(S, stride, j, n - 3, 5)
        passed = half * (kept(S, stride, j, n - 1, 8) + kept(S, stride, j, n - 2, 8))
        unbalance = abs(passed / max(S[at(INFLOW, stride, j)] * S[at(W_WIDTH, stride, j)], tiny) - one)
        no_impact = seat_a + seat_b + seat_c < half
        open_ = kept(S, stride, j, n - 1, 2) > opened * stop and S[at(OPENINGS, stride, j)] > half
        dying = (a <= decay * b and b <= decay * c) or (a < at_rest and b < at_rest)
        holds = kept(S, stride, j, n - 1, 16) - kept(S, stride, j, n - 5, 16) < half  # no pilot at work
        if open_ and no_impact and a < small and dying and ahead < tight and sinks < small and holds and unbalance < half * small:
            return one
        level = abs(a - b) < flutter_band * a and abs(b - c) < flutter_band * a
        if no_impact and a > flutter_low and level and ahead < loose and unbalance < near:
            return real(2.0)
        width = S[at(W_WIDTH, stride, j)]
        least = max(impact_rate * width, impact_least)
        if seat_a > least and seat_b > least and seat_c > least and ahead < loose and unbalance < near:
            return real(3.0)
        return zero

    @jit
    def healthy(S, U, stride, j, cells):  # type: ignore[no-untyped-def]
        """False for a lane whose numbers ran away; written so that a NaN fails every comparison."""
        end = PER_CELL * (cells - 1)
        good = S[at(P_R, stride, j)] > zero and S[at(P_R, stride, j)] < huge
        good = good and S[at(MASS_R, stride, j)] > zero and S[at(MASS_R, stride, j)] < huge
        good = good and U[at(2, stride, j)] > zero and U[at(end + 2, stride, j)] > zero
        good = good and U[at(0, stride, j)] > zero and U[at(end, stride, j)] > zero
        good = good and S[at(X, stride, j)] >= zero and S[at(X, stride, j)] <= S[at(X_STOP, stride, j)]
        return good and S[at(SPEED, stride, j)] > zero and S[at(SPEED, stride, j)] < speed_most

    @jit
    def watch(S, U, stride, j, early, cells, most):  # type: ignore[no-untyped-def]
        """Look after one lane; True when it has just ended."""
        if S[at(STATE, stride, j)] != running:
            return False
        if not healthy(S, U, stride, j, cells) or S[at(STEPS, stride, j)] > most:
            S[at(STATE, stride, j)] = lost
            return True
        now = S[at(TIME, stride, j)]
        end = S[at(T_END, stride, j)]
        if now >= end * (one - slack):
            push(S, stride, j)
            S[at(STATE, stride, j)] = ended
            return True
        if now >= S[at(W_NEXT, stride, j)] and S[at(WINDOWS, stride, j)] < last - one:
            push(S, stride, j)
            verdict = decided(S, stride, j) if early else zero
            if verdict > half:
                S[at(EARLY, stride, j)] = verdict
                S[at(STATE, stride, j)] = early_end
                return True
        return False

    return SimpleNamespace(watch=watch)


def verdict(column: Sequence[float], inflow: float) -> MarchResult:
    """The result of a lane that has ended, from its head rows as plain floats (see rows). `inflow` kg/s."""
    state = column[STATE]
    if state in (LOST, RUNNING):
        why = "the run diverged" if state == LOST else "the run did not end"
        return MarchResult(Status.NOT_CONVERGED, f"{why} after {column[TIME]:.4g} s simulated", steps=int(column[STEPS]), simulated=column[TIME])
    windows = [
        dict(zip(WINDOW, column[HISTORY + w * W_SIZE : HISTORY + (w + 1) * W_SIZE])) for w in range(int(column[WINDOWS]))
    ]
    end = windows[-1]["end"]
    if state == EARLY_END:
        judged = windows[-3:] if column[EARLY] > 1.5 else windows[-2:]
    else:
        judged = [w for w in windows if 0.5 * (w["start"] + w["end"]) > 0.6 * end] or windows[-1:]
    return _summary(column, windows, judged, inflow, state == EARLY_END)


def _summary(
    column: Sequence[float],
    windows: list[dict[str, float]],
    judged: list[dict[str, float]],
    inflow: float,
    settled: bool,
) -> MarchResult:
    time = judged[-1]["end"] - judged[0]["start"]
    seats = sum(w["seat"] for w in judged)
    energy = sum(w["energy"] for w in judged)
    flow = sum(w["flow"] for w in judged) / time
    result = MarchResult(
        Status.OK,
        seat_impacts=seats / time,
        stop_impacts=sum(w["stop"] for w in judged) / time,
        impact_energy=energy / seats if seats else 0.0,
        inlet_pressure_min=min(w["pmin"] for w in judged),
        inlet_pressure_max=max(w["pmax"] for w in judged),
        vessel_pressure_max=max(w["rmax"] for w in windows),
        lift_swing=_swing(judged) / column[X_STOP],
        mean_flow_ratio=flow / inflow if inflow > 0.0 else None,
        openings=int(column[OPENINGS]),
        steps=int(column[STEPS]),
        simulated=column[TIME],
        settled=settled,
    )
    earlier = windows[: len(windows) - len(judged)]
    switched = judged[-1]["switches"] - (earlier[-1]["switches"] if earlier else 0.0)
    result.verdict = _word(column, judged, result, switched)
    result.frequency = _frequency(judged)
    _openings(column, result)
    if result.openings == 0 and result.mean_flow_ratio is not None and result.mean_flow_ratio < PASSED_LEAST:
        result.status, result.verdict = Status.NOT_COMPUTED, "unproven"
        result.reason = f"the valve had not opened after {result.simulated:.4g} s simulated: too short a run for this vessel"
    return result


def _swing(windows: list[dict[str, float]]) -> float:
    return max(w["xmax"] for w in windows) - min(w["xmin"] for w in windows)


def _word(column: Sequence[float], judged: list[dict[str, float]], result: MarchResult, switched: float) -> str:
    stop = column[X_STOP]
    if result.seat_impacts >= IMPACTS_PER_SECOND:
        return "chatters"
    shuts = sum(w["seat"] for w in judged) > 0.5 or min(w["xmin"] for w in judged) < SHUT_SHARE * stop
    late = [w for w in judged if 0.5 * (w["start"] + w["end"]) > 0.8 * judged[-1]["end"]] if not result.settled else judged
    lasting = _swing(late or judged) / stop > LASTING_SWING and (result.lift_swing or 0.0) > LASTING_SWING
    turns = sum(w["cross"] for w in judged)
    if shuts and (result.lift_swing or 0.0) > LASTING_SWING:
        return "cycles"
    if lasting and turns >= 2:
        return "flutters"
    # A pilot at work while the piston stays up, or one that called the piston back twice before it held.
    if switched > 1.5 or column[SWITCHES] > 3.5:
        return "cycles"
    return "quiet"


def _frequency(judged: list[dict[str, float]]) -> float | None:
    """Upward crossings of the lift through its mean, window by window; None where there is no lasting oscillation."""
    turns, time = 0.0, 0.0
    for w in judged:
        if w["cross"] >= 2 and w["c1"] > w["c0"]:
            turns += w["cross"] - 1
            time += w["c1"] - w["c0"]
    return turns / time if time > 0.0 else None


def spectral(result: MarchResult) -> float | None:
    """Strongest line of the lift over the last 40 % of a sampled trace, Hz; None where the samples are too few to show it."""
    import numpy as np

    if result.frequency is None or result.lift is None or result.times is None or len(result.lift) < SPECTRUM_LEAST:
        return None
    late = result.times >= 0.6 * result.times[-1]
    lift, times = result.lift[late], result.times[late]
    step = (times[-1] - times[0]) / (len(times) - 1)
    if result.frequency * step > 0.25:
        return None
    power = np.abs(np.fft.rfft((lift - lift.mean()) * np.hanning(len(lift)))) ** 2
    i = int(power[1:].argmax()) + 1
    if 1 < i < len(power) - 1:  # parabola through the logarithms: between two lines
        a, b, c = (float(np.log(max(power[j], 1e-300))) for j in (i - 1, i, i + 1))
        bend = a - 2.0 * b + c
        return (i + (0.5 * (a - c) / bend if bend < 0.0 else 0.0)) / (len(lift) * float(step))
    return i / (len(lift) * float(step))


def _openings(column: Sequence[float], result: MarchResult) -> None:
    """Opening time of the first opening, count of openings and reclosings, mean period between openings."""
    result.reclosings = int(column[RECLOSINGS])
    result.pilot_switches = round(column[SWITCHES])
    if result.openings >= 2:
        result.cycle_period = (column[T_LAST] - column[T_FIRST]) / (result.openings - 1)
    if 0.0 < column[T_RISE] < column[T_TOP]:
        result.opening_time = column[T_TOP] - column[T_RISE]
