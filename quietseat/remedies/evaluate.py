"""A remedy is judged by the same checks as the valve it replaces: what it clears, leaves and creates."""

from __future__ import annotations

from dataclasses import dataclass

from quietseat.assess import assess
from quietseat.assess.checks.common import plain
from quietseat.economics import price
from quietseat.model import Assessment, Cost, Finding, Fit, Location, Remedy, Spread, Suitability, Work
from quietseat.remedies.bench import Made, Option, only
from quietseat.remedies.trouble import INJURIES, Trouble
from quietseat.remedies.work import Costing

PROVEN_IN_SHOP = {"stuck": "sticking", "corrosion": "low pop or corrosion"}
_NOT_PROVEN = "Not proven quiet: "


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
        return next((f.words for f in self.assessment.findings if f.code == code and f.outcome == "fail"), code)

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
    after = assess(location, trouble.basis, record=False)
    failing = {f.code for f in after.findings if f.outcome == "fail"}
    before = trouble.failing.keys()
    left = tuple(sorted(before & failing))
    created = tuple(sorted(failing - before))
    cleared = tuple(sorted(before - failing))
    if left or created:
        return Judged(location, after, "no", "", cleared, left, created, touches)
    opened = [f for f in after.findings if f.outcome == "open"]
    wanted = only(*proofs, *_shop_proofs(trouble, touches), *(measurement(f) for f in opened))
    if any("maker's proof" in measurement(f) for f in opened if f.code == "chatter"):
        wanted = tuple(words for words in wanted if not words.startswith("the maker's proof of stability"))
    condition = "; ".join(dict.fromkeys(wanted))
    clears = "subject-to-proof" if condition else "yes"
    return Judged(location, after, clears, condition, cleared, (), (), touches)


def measurement(finding: Finding) -> str:
    """What would close an open check, in words."""
    fields = [plain(field) for field in finding.rests_on if field and field != "history"]
    if finding.code == "oversized" and "rate_basis" in finding.rests_on:
        return "owner signs the required rate of every relief case"
    if fields and finding.code != "data":
        return f"confirm {' and '.join(dict.fromkeys(fields))} (a default now) for {finding.code}"
    words = finding.words.removeprefix(_NOT_PROVEN).rstrip(".")
    return f"{finding.code}: {words}"


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
    cost = cost_of(costing, location, capital, work, leaking=leaking, yearly=yearly, valves=valves)
    return Remedy(name, title, location, judged.clears, judged.condition, judged.cleared, judged.left, judged.created, fit,
                  suitability, work, cost, question=question, assessment=judged.assessment)  # fmt: skip


def cost_of(
    costing: Costing, location: Location, capital: Spread, work: tuple[Work, ...], *, leaking: bool,
    yearly: Spread | None = None, valves: int = 1,
) -> Cost:  # fmt: skip
    """Present value of a changed Location."""
    extra = {} if yearly is None else {"yearly": yearly}
    return price(costing.bill(location, capital, work, leaking=leaking, valves=valves, **extra), costing.basis)


__all__ = ["Judged", "Made", "cost_of", "judge", "measurement", "priced_remedy", "refused", "run"]
