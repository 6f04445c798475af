"""From the classes of all draws to what the verdict rule weighs."""

from __future__ import annotations

from statistics import median

import numpy as np
from numpy.typing import NDArray

from quietseat.basis import Basis
from quietseat.dynamics import closed
from quietseat.march import preselect
from quietseat.march.job import MIDDLE, OUTLET, Job
from quietseat.march.linear import F
from quietseat.march.verdict import Evidence

_SHAKES = ("chatters", "flutters")


def weigh(job: Job, classes: NDArray[np.int8], basis: Basis) -> tuple[Evidence, float | None]:
    """What the verdict rule needs, from the class of every draw; and the cycle period."""
    shares = {word: float(np.mean(classes == code)) for word, code in preselect.CODE.items() if word != "doubtful"}
    critical, share = job.middle_feature("critical"), job.middle_feature("share")
    period, situation = _period(job), job.at.situation
    least, full = job.flows[job.least].value, max(flow.value for flow in job.flows)
    never_judged, never_quiet = _bars(job)
    known = situation.least_flow is not None or job.question.flow is not None
    few = known and least < basis.cycling_utilisation * full
    harmful = few or (period is not None and period < basis.damaging_period)
    evidence = Evidence(
        job.single, shares, job.acoustic / critical if critical else None, share is not None and share >= 1.0,
        harmful, known, never_judged, never_quiet,
    )  # fmt: skip
    return evidence, period


def _period(job: Job) -> float | None:
    """Cycle period at the smallest counted flow: median over the draws that cycle there, closed form, s."""
    cycling = job.codes[:, job.least] == preselect.CYCLES
    if job.features is None:
        return _pilot_period(job, cycling)
    periods = job.features[cycling, job.least, F["period"]]
    periods = periods[periods > 0]
    return float(np.median(periods)) if len(periods) else None


def _pilot_period(job: Job, cycling: NDArray[np.bool_]) -> float | None:
    """The same of a pilot valve, with the whole vessel (the march may cut it).

    A pilot that senses at the inlet switches on what the line loses, not on the vessel: there as marched.
    """
    situation, draws = job.at.situation, job.draws
    if situation.pilot_sense != "remote":
        marched = [job.marched.get((int(row), job.least)) for row in np.flatnonzero(cycling)]
        told = [one.cycle_period for one in marched if one is not None and one.cycle_period]
        return median(told) if told else None
    inflow = job.flows[job.least].value
    found = [
        closed.cycle_period(
            float(draws.vessel[row]), max(float(draws.blowdown[row]), 0.01), situation.set_pressure - situation.atmospheric,
            float(draws.sound_speed[row]) or job.at.sound_speed, inflow, job.rated,
        )
        for row in np.flatnonzero(cycling)
    ] if inflow < 0.99 * job.rated else []  # fmt: skip
    return median(found) if found else None


def _bars(job: Job) -> tuple[str, str]:
    """Why this valve can only be unproven, and why it cannot be called quiet."""
    situation = job.at.situation
    if situation.phase == "two-phase":
        return "the inlet is two-phase, the model is indicative only", ""
    if job.pilot and situation.pilot_action == "modulating" and job.draws.names:
        return "a modulating pilot hinges on seal friction, damping and pilot parts nobody stated", ""
    if job.pilot and situation.pilot_action is None:
        return "", "whether the pilot snaps or modulates is unknown"
    return "", job.at.indicative or outlet_doubt(job)


def outlet_doubt(job: Job) -> str:
    """What waves in the outlet line add for the middle-value valve; "" where its class is no worse with them."""
    for index, flow in enumerate(job.flows):
        plain, along = job.marched.get((MIDDLE, index)), job.marched.get((OUTLET, index))
        if plain is not None and along is not None and along.verdict in _SHAKES and plain.verdict not in _SHAKES:
            return f"with waves in its outlet line the middle valve {along.verdict} at the {flow.name} flow"
    return ""
