"""From findings to a verdict: any fail, then any open, then any thin; what is left is sound."""

from __future__ import annotations

from quietseat.model import Finding

SEVERITY = {"stop": 0, "act": 1, "note": 2}
OUTCOME = {"fail": 0, "open": 1, "thin": 2, "pass": 3}


def ordered(findings: list[Finding]) -> tuple[Finding, ...]:
    """Worst first; a stable order, so the same inputs give the same study."""
    return tuple(sorted(findings, key=lambda f: (OUTCOME[f.outcome], SEVERITY[f.severity], f.code, f.case, f.words)))


def verdict(findings: tuple[Finding, ...]) -> tuple[str, tuple[str, ...]]:
    """The verdict and the reasons for it, by the precedence of the house rules."""
    for outcome, word in (("fail", "misfit"), ("open", "unproven"), ("thin", "watch")):
        reasons = tuple(f"{f.code}: {f.words}" for f in findings if f.outcome == outcome)
        if reasons:
            return word, reasons
    return "sound", ()
