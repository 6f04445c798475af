"""A remedy is judged by the same checks as the valve it replaces: what it clears, leaves and creates."""

from __future__ import annotations

from dataclasses import dataclass, replace

from quietseat import catalogue
from quietseat.assess.checks.common import percent
from quietseat.assess.checks.ratings import BODY_LIMIT_RULE, UNLISTED
from quietseat.dynamics.pilot import PROOF
from quietseat.economics import price
from quietseat.model import Assessment, Cost, Fit, Location, Remedy, Spread, Suitability, Work
from quietseat.remedies import asking
from quietseat.remedies.bench import Made, Option, only
from quietseat.remedies.trouble import INJURIES, Trouble
from quietseat.remedies.work import Costing

PROVEN_IN_SHOP = {"stuck": "sticking", "corrosion": "low pop or corrosion"}


@dataclass(frozen=True, slots=True)
class Judged:
    """A changed Location and what the checks say of it. clears: yes, subject-to-proof, no."""

    location: Location
    assessment: Assessment
    clears: str
    condition: str
    cleared: tuple[str, ...]
    left: tuple[str, ...]
    created: tuple[str, ...]
    touches: frozenset[str]

    @property
    def why_not(self) -> str:
        """What stands in the way, in plain words."""
        words = []
        if self.left:
            words.append(f"leaves: {', '.join(self.left)} ({self._said(self.left[0])})")
        if self.created:
            words.append(f"creates: {', '.join(self.created)} ({self._said(self.created[0])})")
        return "; ".join(words)

    def _said(self, code: str) -> str:
        failed = next((f.words for f in self.assessment.findings if f.code == code and f.outcome == "fail"), "")
        if not failed:  # only its cause is left, or a check open by far
            cause = "back-pressure" if code == "bellows" else code
            failed = next((f.words for f in self.assessment.findings if f.code == cause), code)
        return failed.removesuffix(".")

    def refusal(self, trouble: Trouble, name: str, title: str, *, fit: Fit | None = None,
                suitability: Suitability | None = None, question: str = "") -> Remedy:  # fmt: skip
        """The remedy as a loser that was assessed."""
        return Remedy(name, title, self.location, "no", "", self.cleared, self.left, self.created, fit, suitability,
                      rejected_because=self.why_not, question=question, assessment=self.assessment)  # fmt: skip


def judge(trouble: Trouble, location: Location, touches: frozenset[str], proofs: tuple[str, ...]) -> Judged:
    """Assess a changed Location and compare its findings with those it should clear.

    A code still failing is left, one newly failing is created: either makes it no. What still has to be proved
    (the guards' proofs, every check left open) makes it subject to proof, named in the condition.
    """
    after = trouble.judge(location)
    failing = {f.code for f in after.findings if f.outcome == "fail"} | _worn(trouble, after) | _starved(trouble, after)
    before = trouble.failing.keys()
    left = tuple(sorted(before & failing))
    created = tuple(sorted(failing - before))
    cleared = tuple(sorted(before - failing))
    if left or created:
        return Judged(location, after, "no", "", cleared, left, created, touches)
    opened = asking.wanted([f for f in after.findings if f.outcome == "open"], after.problems)
    wanted = only(*proofs, *_shop_proofs(trouble, touches), *opened, _analysis(after, trouble), _on_its_stop(after, trouble),
                  _felt(after, location), _unlisted(trouble))  # fmt: skip
    condition = "; ".join(dict.fromkeys(wanted))
    clears = "subject-to-proof" if condition else "yes"
    return Judged(location, after, clears, condition, cleared, (), (), touches)


def _worn(trouble: Trouble, after: Assessment) -> set[str]:
    """A bellows that back pressure wore out is not cured while the back pressure stays above what it takes freely."""
    if "bellows" not in trouble.failing or trouble.assessment.cause_code != "back-pressure":
        return set()
    high = any(f.code == "back-pressure" and f.outcome == "open" and (f.margin or 0.0) < 0.0 for f in after.findings)
    return {"bellows"} if high else set()


def _starved(trouble: Trouble, after: Assessment) -> set[str]:
    """Chatter is not cured while the force balance still fails by more than a test may be expected to mend.

    The excess is the one at which a line counts as too long: half as much again.
    """
    if "chatter" not in trouble.failing:
        return set()
    least = 1.0 - trouble.basis.critical_length_excess
    open_still = any(f.code == "chatter" and f.outcome == "open" and (f.margin or 0.0) < least for f in after.findings)
    return {"chatter"} if open_still else set()


def _analysis(after: Assessment, trouble: Trouble) -> str:
    """An inlet loss above the limit that only the engineering analysis allows: somebody has to write it."""
    limit = trouble.basis.inlet_loss_limit
    for finding in after.findings:
        if finding.code == "inlet-loss" and finding.outcome == "thin" and (finding.value or 0.0) > limit:
            return f"the engineering analysis for an inlet loss of {percent(finding.value or 0.0)} of set written and on file"
    return ""


def _on_its_stop(after: Assessment, trouble: Trouble) -> str:
    """A line still too long, quiet only because the disc rests on its stop: true down to the stated flow."""
    found, basis = after.stability, trouble.basis
    if "chatter" not in trouble.failing or found.verdict != "quiet" or not found.critical_length:
        return ""
    if (found.inlet_length or 0.0) < basis.critical_length_margin * found.critical_length:
        return ""
    return "owner confirms that no relief flow is smaller than the smallest case: below it the disc leaves its stop and chatters"


def _felt(after: Assessment, location: Location) -> str:
    """A pilot that senses at the valve inlet and loses more there than its share of the blowdown: quiet draws alone do not settle it."""
    used, allowed = after.stability.force_balance_used, after.stability.force_balance_allowed
    if location.valve.kind != "pilot" or location.valve.pilot_sense == "remote" or used is None or allowed is None or used <= allowed:
        return ""
    return f"{PROOF}, or sense at the vessel: loss and wave at the pilot take more than its share of the blowdown"


def _unlisted(trouble: Trouble) -> str:
    """A set above what API 526 lists for the body: the nameplate comes before any purchase."""
    doubted = any(f.rule == BODY_LIMIT_RULE and f.outcome == "open" for f in trouble.assessment.findings)
    return UNLISTED if doubted else ""


def _shop_proofs(trouble: Trouble, touches: frozenset[str]) -> tuple[str, ...]:
    """Sticking and low pops that are taken for injuries of the root cause: the shop has to see that."""
    hurt = [
        PROVEN_IN_SHOP[code]
        for code in INJURIES
        if code in PROVEN_IN_SHOP and code in trouble.failing and code in trouble.injuries(touches)
    ]
    return (f"the shop's strip-down shows that the {' and '.join(hurt)} came from the root cause",) if hurt else ()


def refused(
    trouble: Trouble, name: str, title: str, why: str, *, left: tuple[str, ...] = (), fit: Fit | None = None,
    suitability: Suitability | None = None, question: str = "",
) -> Remedy:  # fmt: skip
    """A remedy that is out before it is assessed."""
    return Remedy(name, title, trouble.location, "no", left=left or tuple(sorted(trouble.failing)), fit=fit,
                  suitability=suitability, rejected_because=why, question=question)  # fmt: skip


def run(option: Option, trouble: Trouble, costing: Costing) -> Remedy:
    """One option: relevance, guards and gate first; only what passes them is built, assessed and priced."""
    untouched = sorted(trouble.failing.keys() - option.touches)
    if untouched:
        why = f"does not touch: {', '.join(untouched)}"
        return refused(trouble, option.name, option.title, why, left=tuple(untouched), question=option.question)
    gate = option.gate
    why = option.blocked or gate.closed
    if why or option.build is None:
        return refused(trouble, option.name, option.title, why, suitability=gate.suitability, question=option.question)
    made = option.build()
    if isinstance(made, str):
        return refused(trouble, option.name, option.title, made, question=option.question)
    judged = judge(trouble, made.location, option.touches, (*made.proofs, *gate.proofs))
    title = made.title or option.title
    if judged.clears == "no":
        return judged.refusal(
            trouble, option.name, title, fit=made.fit, suitability=gate.suitability, question=option.question
        )
    return priced_remedy(
        trouble, costing, judged, option.name, title, made.location, made.fit, gate.suitability, made.capital, made.work,
        question=option.question, yearly=made.yearly, valves=made.valves,
    )  # fmt: skip


def priced_remedy(
    trouble: Trouble, costing: Costing, judged: Judged, name: str, title: str, location: Location, fit: Fit,
    suitability: Suitability, capital: Spread, work: tuple[Work, ...], *, question: str = "",
    yearly: Spread | None = None, valves: int = 1,
) -> Remedy:  # fmt: skip
    """A remedy that clears, with its cost."""
    leaking = "leaks" in trouble.failing and "leaks" not in judged.cleared
    fit = _doubted(trouble, fit)
    condition = "; ".join(only(judged.condition, catalogue.to_prove(fit)))
    clears = "subject-to-proof" if condition else judged.clears
    cost = cost_of(costing, location, capital, work, leaking=leaking, yearly=yearly, valves=valves)
    return Remedy(name, title, location, clears, condition, judged.cleared, judged.left, judged.created, fit,
                  suitability, work, cost, question=question, assessment=judged.assessment, valves=valves)  # fmt: skip


def _doubted(trouble: Trouble, fit: Fit) -> Fit:
    """A fit that rests on sizes nobody stated is measured first, whatever the table says."""
    if fit.verdict != "bolts in" or (trouble.stated("valve.inlet_size") and trouble.stated("valve.outlet_size")):
        return fit
    return replace(fit, verdict="measure first", words=f"{fit.words} {asking.SIZE[0].upper()}{asking.SIZE[1:]}.")


def cost_of(
    costing: Costing, location: Location, capital: Spread, work: tuple[Work, ...], *, leaking: bool,
    yearly: Spread | None = None, valves: int = 1,
) -> Cost:  # fmt: skip
    """Present value of a changed Location."""
    extra = {} if yearly is None else {"yearly": yearly}
    return price(costing.bill(location, capital, work, leaking=leaking, valves=valves, **extra), costing.basis)


__all__ = ["Judged", "Made", "cost_of", "judge", "priced_remedy", "refused", "run"]
