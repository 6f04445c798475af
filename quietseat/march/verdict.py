"""The verdict rule of the dynamics review, section 9 (estimate; its limits are choices of the Basis).

1. Quiet only if the inlet is shorter than `critical_length_margin` of the critical length at the smallest credible
   flow (or the disc rests on its upper stop there) and chatter, flutter and draws without a verdict together stay
   below `chatter_quiet`.
2. Unstable if chatter and flutter together exceed `chatter_unstable`, or the inlet is longer than
   `critical_length_excess` of the critical length and the disc does not rest on its stop; the word is the
   commonest unstable class. Opening and shutting alone counts where it does harm: below `cycling_utilisation` of
   the full flow or faster than `damaging_period`, as in the closed-form screening.
3. Otherwise unproven, with the measurement that would settle it.
4. A modulating pilot on default data and a two-phase inlet are never better or worse than unproven; a cavitating
   liquid is never better.
5. A single run (nothing drawn) takes its own class.
"""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.basis import Basis

UNSTABLE = ("chatters", "flutters", "cycles")


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the rule weighs. Shares are of the draws, over the counted flows."""

    single: bool
    shares: dict[str, float]  # chatters, flutters, cycles, quiet, unproven
    ratio: float | None  # inlet over critical length at the smallest credible flow; None where there is none
    on_stop: bool
    harmful_cycling: bool
    least_known: bool
    never_judged: str  # why nothing but unproven may be said, or ""
    never_quiet: str  # why quiet may not be said, or ""


def judge(seen: Evidence, basis: Basis) -> tuple[str, str]:
    """Verdict and, where it is unproven, the reason."""
    shares = seen.shares
    if seen.single:
        word = max(shares, key=lambda name: shares[name])
        if word == "quiet" and (seen.never_quiet or seen.never_judged):
            return "unproven", seen.never_quiet or seen.never_judged
        return word, "the run ended without a verdict" if word == "unproven" else ""
    if seen.never_judged:
        return "unproven", seen.never_judged
    weights = _weights(seen)
    if _far(seen, basis) or sum(weights.values()) > basis.chatter_unstable:
        word = max(UNSTABLE, key=lambda name: weights[name])
        return word if weights[word] > 0 else "chatters", ""
    return _quiet(seen, sum(weights.values()) + shares["unproven"], basis)


def _weights(seen: Evidence) -> dict[str, float]:
    """Shares that count against the valve; opening and shutting only where it does harm."""
    cycling = seen.shares["cycles"] if seen.harmful_cycling else 0.0
    return {"chatters": seen.shares["chatters"], "flutters": seen.shares["flutters"], "cycles": cycling}


def _far(seen: Evidence, basis: Basis) -> bool:
    """Well past the critical length and not held on the stop."""
    return seen.ratio is not None and seen.ratio > basis.critical_length_excess and not seen.on_stop


def alone_by_length(seen: Evidence, basis: Basis) -> bool:
    """True where the length ratio alone makes the verdict: most draws stay calm."""
    if seen.single or seen.never_judged:
        return False
    return _far(seen, basis) and sum(_weights(seen).values()) <= basis.chatter_unstable


def _quiet(seen: Evidence, trouble: float, basis: Basis) -> tuple[str, str]:
    """Quiet where nothing stands against it, else unproven with what does."""
    open_points: list[str] = []
    if seen.never_quiet:
        open_points.append(seen.never_quiet)
    if not seen.least_known:
        open_points.append("the lowest credible flow is unknown")
    near = seen.ratio is not None and seen.ratio >= basis.critical_length_margin and not seen.on_stop
    if near:
        open_points.append("the inlet line is too close to its critical length to call")
    if trouble >= basis.chatter_quiet:
        open_points.append(f"{100 * trouble:.2g} % of the draws chatter, flutter, cycle harmfully or end without a verdict")
    return ("unproven", "; ".join(open_points)) if open_points else ("quiet", "")
