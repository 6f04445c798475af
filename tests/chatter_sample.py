"""Hand-made results of stability in time, no marching behind them: for the tests of words, JSON and report."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log, pi, sin

from quietseat.model import Assumption, Chatter, ChatterLimits, FlowChatter, StabilityMap, Trace
from quietseat.status import Status


def trace(name: str, flow: float, verdict: str, points: int = 2400, end: float = 4.0) -> Trace:
    """Lift about 6 mm at 57 Hz that grows to its verdict; stop at 12.5 mm, inlet pressure out of phase."""
    lift, inlet, vessel, times = [], [], [], []
    most = {"quiet": 0.0, "flutters": 2.4, "chatters": 9.0, "cycles": 9.0}[verdict]
    for i in range(points):
        t = end * i / (points - 1)
        swing = min(most, 1e-3 * exp(9.0 * t)) if verdict != "quiet" else 3.0 * exp(-6 * t)
        wave = sin(2 * pi * 57.2 * t)
        if verdict == "cycles":
            wave, swing = (1.0 if (t % 1.3) < 0.5 else -1.0), 6.3
        lift.append(min(max(6.25 + swing * wave, 0.0), 12.5) * 1e-3)
        inlet.append(1.2506e6 - 5.5e4 * swing * wave)
        vessel.append(1.2506e6 + 4e3 * sin(2 * pi * t / 4))
        times.append(t)
    return Trace(name, flow, verdict, tuple(times), tuple(lift), tuple(inlet), tuple(vessel))


def grid(lengths: int = 12, flows: int = 9) -> StabilityMap:
    """Probability that rises with length over the root of the flow, as theory has it."""
    long = tuple(1.5 * 0.2 * 20 ** (i / (lengths - 1)) for i in range(lengths))
    rates = tuple(sorted([3.9 * 0.1 * 10 ** (i / (flows - 2)) for i in range(flows - 1)] + [2.0]))
    rows = tuple(tuple(1 / (1 + exp(-(log(x) - log(0.66 * w**0.5)) / 0.16)) for x in long) for w in rates)
    return StabilityMap(long, rates, rows, 1.5, 2.0)


def found(**changed: object) -> Chatter:
    """A valve that chatters on a line too long for it."""
    whole = Chatter(
        status=Status.OK, verdict="chatters",
        words="The model predicts chatter: the inlet line (1.5 m) is longer than the critical length (0.93 m), so the pressure "
        "wave that comes back from the vessel drives the disc. Shorten or widen the line, or weigh the moving parts first.",
        limited_by="inlet wave", measure="weigh the moving parts and rate-test the spring at the next overhaul",
        chatter_probability=0.62, interval=(0.55, 0.69), cycling_probability=0.03, flutter_probability=0.12,
        critical_length=0.9286, inlet_length=1.5, frequency=57.3, seat_impacts=43.2, impact_energy=0.31,
        inlet_pressure_min=8.3e5, inlet_pressure_max=17.6e5, opening_time=0.0125, cycle_period=None, samples=200, marched=148,
        seed=20261125, cells=40,
        flows=(
            FlowChatter("25 %", 0.97, 0.81, 0.05, 0.06, 0.0, 40), FlowChatter("50 %", 1.95, 0.6, 0.2, 0.0, 0.0, 38),
            FlowChatter("required", 2.0286, 0.55, 0.2, 0.0, 0.005, 37), FlowChatter("rated", 3.89, 0.2, 0.02, 0.0, 0.0, 33),
        ),
        traces=(
            trace("25 %", 0.97, "chatters"), trace("50 %", 1.95, "chatters"), trace("required", 2.0286, "flutters"),
            trace("rated", 3.89, "quiet"),
        ),
        limits=ChatterLimits(0.62, 2.9, None, 0.6, ("no blowdown up to 15 % keeps it quiet",)),
        sensitivities=(("moving_mass", 0.6), ("inlet_length", 0.18), ("effective_area_knee", 0.07), ("damping_ratio", 0.01)),
        map=grid(), drawn=("moving_mass", "spring_rate", "effective_area_knee"),
        assumptions=(Assumption("dynamics.moving_mass", "1.5 kg (0.7 to 3)", "solid geometry", "estimate, no publication"),),
    )  # fmt: skip
    return replace(whole, **changed)  # type: ignore[arg-type]
