"""Is the valve the right size for what it must pass?"""

from __future__ import annotations

from quietseat.assess.checks.common import View, called, failed, judged, near, noted, open_check, percent
from quietseat.assess.complete import weak
from quietseat.assess.hydraulics import Hydraulics
from quietseat.model import Case, Finding
from quietseat.status import Status

SIZE_RULE = "required flow within the rated flow, and without a rated pair (actual area, rated coefficient) the required area within the API 526 area"
BIG_RULE = "required over rated flow of the governing case not below the oversize limit of the Basis"
LIFT_RULE = "restricted lift not below 30 % of full lift (API 526)"
FULLY_USED = 0.02  # only the last two per cent are a thin margin: using a valve fully is what it is for


def check(view: View) -> list[Finding]:
    """Under- and oversize of every case."""
    if not view.cases:
        return [open_check("data", "no relief case is stated: nobody knows what this valve must pass", SIZE_RULE)]
    out: list[Finding] = []
    for case in view.cases:
        out += _case(view, case)
    out.append(_oversize(view))
    lift = view.location.valve.lift_restriction
    if lift is not None and lift < view.basis.least_lift:
        words = f"lift restricted to {percent(lift)} of full lift, the least there is capacity certification for is {percent(view.basis.least_lift)}"
        out.append(open_check("data", words, LIFT_RULE))
    return out


def nameplate(view: View, case: Hydraulics) -> str:
    """Why the required rate of a case is no required rate but the capacity of a valve; "" where it is one."""
    stated = view.location.cases[case.index]
    if stated.rate_basis == "nameplate":
        return "the required rate is a nameplate capacity"
    if stated.rate_basis == "signed":
        return ""
    band, flow = view.basis.nameplate_band, case.result.required_flow
    stamped = view.location.valve.nameplate_flow
    if flow is not None and stamped and abs(flow - stamped) <= band * stamped:
        return "the required rate is within a few per cent of the stamped capacity and nobody signed it"
    use = case.result.utilisation
    if use is not None and abs(use - 1.0) <= band and abs(use - 1.0) > 1e-9:
        return "the required rate is within a few per cent of what this valve passes and nobody signed it"
    return ""


def _case(view: View, case: Hydraulics) -> list[Finding]:
    result, name = case.result, case.result.name
    out: list[Finding] = []
    if result.status is not Status.OK:
        out.append(open_check("data", f"{called(name)}: {result.reason}", SIZE_RULE, case=name))
    if case.starved:
        out.append(failed("undersized", f"{called(name)}: the inlet line cannot pass the required flow", SIZE_RULE,
                          severity="stop", case=name))  # fmt: skip
    if result.utilisation is None:
        if result.status is Status.OK:
            out.append(open_check("data", f"{called(name)}: required rate unknown", SIZE_RULE, case=name))
        return out
    doubt = nameplate(view, case)
    if doubt:
        out.append(open_check("undersized", f"{called(name)}: {doubt}", SIZE_RULE, case=name, rests_on=("rate_basis",)))
    elif not case.starved:
        out.append(_enough(view, case))
    return out


def _enough(view: View, case: Hydraulics) -> Finding:
    """Required over rated flow; the letter's effective area decides only where the rated pair is not known."""
    result, area = case.result, case.effective_share or 0.0
    share, kind = result.utilisation or 0.0, "rated flow"
    if case.share_with_loss is not None and case.share_with_loss > share:
        share, kind = case.share_with_loss, "rated flow with the inlet loss taken off"
    if not case.certified and area > share * (1 + 1e-9):
        share, kind = area, "effective area of the letter"
    words = f"{called(result.name)} needs {near(share, 1.0)[0]} of the {kind}"
    if result.valves_needed:
        words += f"; one letter is not enough: {result.valves_needed} x {result.orifice} would be needed"
    rests = () if case.certified else letter_in_doubt(view)
    finding = judged(view, "undersized", share, 1.0, words, SIZE_RULE, severity="stop",
                     step="u_loss" if kind.endswith("off") else "u", case=result.name, rests_on=rests,
                     sway=1.0 if rests else 0.0, weak=weak(view.location, case.index), thin=FULLY_USED)  # fmt: skip
    if finding.outcome == "pass" and case.certified and area > 1.0:
        words += f"; the letter's effective area alone would need {percent(area)}, its actual area with its rated coefficient carries it"
        return noted("undersized", "thin", words, SIZE_RULE, case=result.name)
    return finding


def letter_in_doubt(view: View) -> tuple[str, ...]:
    """Sizes that were read from cells that had slipped: nobody's word until the nameplate confirms them."""
    return view.rests_on("valve.orifice", "valve.inlet_size", "valve.outlet_size")


def _light(case: Case) -> bool:
    """Thermal relief is small by nature and exempt."""
    return case.cause == "thermal"


def _oversize(view: View) -> Finding:
    heavy = [c for c in view.cases if not _light(view.location.cases[c.index])]
    known = [c for c in heavy if c.result.utilisation is not None]
    if not heavy:
        return noted("oversized", "pass", "thermal relief only: small by nature, not judged", BIG_RULE)
    if not known:
        return open_check("oversized", "no case has both a required and a rated flow", BIG_RULE)
    case = max(known, key=lambda c: c.result.utilisation or 0.0)
    result, valve, limit = case.result, view.location.valve, view.basis.oversize_utilisation
    use = result.utilisation or 0.0
    if valve.kind == "pilot" and valve.pilot_action == "modulating":
        words = f"passes {percent(use)} of its rated flow; a modulating pilot opens only as far as needed"
        return Finding("oversized", "note", "pass", BIG_RULE, words, use, step="u", case=result.name)
    doubtful = [c for c in known if nameplate(view, c)]
    if doubtful and (case in doubtful or use < limit):
        name = doubtful[0].result.name
        words = f"{called(name)}: {nameplate(view, doubtful[0])}, so it says nothing about the real duty"
        return open_check("oversized", words, BIG_RULE, case=name, rests_on=("rate_basis",))
    missing = [c for c in heavy if c.result.utilisation is None]
    if missing and use < limit:
        words = f"{called(result.name)} needs only {percent(use)} of the rated flow, but {called(missing[0].result.name)} is not known"
        return open_check("oversized", words, BIG_RULE, case=result.name)
    few = "only " if use < limit else ""
    words = f"governing {called(result.name)} needs {few}{near(use, limit)[0]} of the rated flow"
    rests = view.rests_on(f"cases.{case.index}.required", f"cases.{case.index}.phase")
    rests += () if case.certified else letter_in_doubt(view)
    return judged(view, "oversized", use, limit, words, BIG_RULE, above=True, step="u", case=result.name, rests_on=rests,
                  sway=1.0 if rests else 0.0, confidence="memory-md", thin=0.0)  # fmt: skip
