"""From the classes of all draws to what the verdict rule weighs."""

from __future__ import annotations

from statistics import median

import numpy as np
from numpy.typing import NDArray

from quietseat.basis import Basis
from quietseat.march import job as jobs
from quietseat.march import preselect
from quietseat.march.job import Job
from quietseat.march.linear import F
from quietseat.march.verdict import Evidence


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
    if job.features is None:
        found = [one.cycle_period for one in jobs.runs(job, preselect.CYCLES) if one.cycle_period]
        return median(found) if found else None
    cycling = job.codes[:, job.least] == preselect.CYCLES
    periods = job.features[cycling, job.least, F["period"]]
    periods = periods[periods > 0]
    return float(np.median(periods)) if len(periods) else None


def _bars(job: Job) -> tuple[str, str]:
    """Why this valve can only be unproven, and why it cannot be called quiet."""
    situation = job.at.situation
    if situation.phase == "two-phase":
        return "the inlet is two-phase, the model is indicative only", ""
    if job.pilot and situation.pilot_action == "modulating" and job.draws.names:
        return "a modulating pilot hinges on seal friction, damping and pilot parts nobody stated", ""
    if job.pilot and situation.pilot_action is None:
        return "", "whether the pilot snaps or modulates is unknown"
    return "", job.at.indicative
