"""Remedies: changed Locations, assessed by the same code, gated, guarded, fitted and priced; the cheapest that
clears every finding wins.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from quietseat.assess import Asking
from quietseat.basis import Basis
from quietseat.economics import ZERO
from quietseat.model import Assessment, Finding, Location, Remedy
from quietseat.remedies import addons, asking, heating, pairs, pilots, pipework, settings, sizes, trim
from quietseat.remedies.batch import in_two_rounds
from quietseat.remedies.bench import Bench
from quietseat.remedies.choose import best_plain_yes, ordered, recommended
from quietseat.remedies.evaluate import cost_of, run
from quietseat.remedies.trouble import Judge, Trouble, look
from quietseat.remedies.work import Costing

__all__ = ["best_plain_yes", "propose", "propose_many", "recommended"]

_MAKERS = (
    settings.operate_lower, settings.raise_set, settings.reset_to_mawp, settings.remove, trim.soft_seat,
    settings.more_blowdown, trim.bellows, trim.restricted_lift, sizes.smaller_orifice, sizes.smaller_valve,
    sizes.larger_orifice, sizes.higher_class, sizes.staggered_pair, pipework.re_pipe_inlet, pipework.re_pipe_nearer, pipework.re_pipe_outlet, pipework.disk,
    heating.heat, trim.alloy_trim, trim.overhaul,
)  # fmt: skip


def propose(
    location: Location, assessment: Assessment, basis: Basis, asking: Asking | None = None
) -> tuple[Remedy, ...]:
    """The remedies of one Location, best first.

    asking: how each remedy is marched in time where closed form leaves it in doubt; None = closed form only.

    sound: none. watch: keep, with the reason. unproven: measure first, naming what. misfit: every remedy that
    exists here, each assessed by the same checks unless a veto, a guard or its nature rules it out.
    """
    (found,) = propose_many([(location, assessment)], basis, asking)
    if isinstance(found, Exception):
        raise found
    return found


def propose_many(
    jobs: Sequence[tuple[Location, Assessment]], basis: Basis, asking: Asking | None = None
) -> list[tuple[Remedy, ...] | Exception]:
    """The same for many Locations; their remedies are marched in one batch. What broke inside stands in its place."""
    makers = [partial(_proposed, location, assessment, basis) for location, assessment in jobs]
    return in_two_rounds(makers, basis, asking)


def _proposed(location: Location, assessment: Assessment, basis: Basis, judge: Judge | None) -> tuple[Remedy, ...]:
    if assessment.verdict == "sound":
        return ()
    trouble = look(location, assessment, basis, judge)
    costing = Costing(trouble)
    if assessment.verdict == "watch":
        return (_keep(trouble, costing),)
    bench = Bench(trouble)
    if assessment.verdict == "unproven" or not trouble.failing:
        return (_measure_first(trouble, costing, bench),)
    options = [option for maker in _MAKERS if (option := maker(bench)) is not None]
    found = [run(option, trouble, costing) for option in addons.combined(bench, options)]
    found += pairs.remedies(bench, options, found, costing)
    found += pilots.remedies(bench, costing)
    found.append(_as_it_is(trouble, costing))
    return ordered(found)


def _keep(trouble: Trouble, costing: Costing) -> Remedy:
    """A valve on watch stays; why it is watched stands in the condition."""
    thin = [finding for finding in trouble.assessment.findings if finding.outcome == "thin"]
    words = "; ".join(dict.fromkeys(_watched(finding) for finding in thin))
    cost = cost_of(costing, trouble.location, ZERO, (), leaking=False)
    return Remedy("keep", "Keep it and watch", trouble.location, "yes", f"watch {words}" if words else "", cost=cost)


def _watched(finding: Finding) -> str:
    return f"{finding.code}: {finding.words}"


def _as_it_is(trouble: Trouble, costing: Costing) -> Remedy:
    """Leaving it as it is: what that costs, and what it leaves."""
    codes = tuple(sorted(trouble.failing))
    cost = cost_of(costing, trouble.location, ZERO, (), leaking="leaks" in trouble.failing, yearly=costing.repairs())
    why = f"leaves: {', '.join(codes)}"
    return Remedy("keep", "Leave it as it is", trouble.location, "no", left=codes, cost=cost, rejected_because=why)


def _measure_first(trouble: Trouble, costing: Costing, bench: Bench) -> Remedy:
    """Nothing fails, but checks are open: what to measure, as work."""
    opened = [finding for finding in trouble.assessment.findings if finding.outcome == "open"]
    wanted = asking.wanted(opened, trouble.assessment.problems)
    reasons = wanted or trouble.assessment.reasons
    work = bench.tools.asking(reasons)
    cost = cost_of(costing, trouble.location, ZERO, work, leaking=False)
    title = f"Measure first: {reasons[0]}" if reasons else "Measure first"
    if len(reasons) > 1:
        title += f" and {len(reasons) - 1} more"
    left = tuple(sorted({finding.code for finding in opened}))
    return Remedy("measure-first", title, trouble.location, "subject-to-proof", "; ".join(reasons), left=left, work=work,
                  cost=cost)  # fmt: skip
