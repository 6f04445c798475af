"""Set pressure against MAWP, operating pressure against set, cold differential test pressure."""

from __future__ import annotations

from functools import cache, lru_cache

from quietseat import units
from quietseat.assess.checks.common import View, called, failed, judged, near, noted, open_check, percent
from quietseat.assess.checks.ratings import rating
from quietseat.assess.complete import allowed_accumulation
from quietseat.basis import Basis
from quietseat.formula import One, PaG, formula
from quietseat.model import Finding, Valve
from quietseat.tables import table

__all__ = ["check", "operating_limit", "rating", "ratio", "set_tolerance"]

CLOSE_RULE = "operating over set within the limit for the seat and kind (ASME VIII appendix M guide; trade ranges)"
RESEAT_RULE = "operating maximum below the reseat pressure"
LADDER_RULE = "operating maximum, alarm, trip and set stand in this order"
MAWP_RULE = "set within its limit on gauge MAWP (100 % first valve, 105 % additional, 110 % supplemental fire)"
ACCUMULATION_RULE = "accumulation not above what the code of the Basis allows the case"
CDTP_RULE = "stated cold differential test pressure within the band of the Basis of the calculated one (API 520-1)"
SCOPE = 103421.0  # Pa gauge, 15 psig: below it the pressure-vessel codes and their guide do not reach


@formula("definition")
def ratio(p: PaG, p_set: PaG) -> One:
    """A gauge pressure over gauge set."""
    return p / p_set


def check(view: View) -> list[Finding]:
    """All pressure checks; an unknown set pressure is one open check."""
    if view.location.valve.set_pressure is None:
        return [open_check("data", "set pressure unknown or refused", MAWP_RULE)]
    if view.set_gauge is None:
        return [open_check("data", "set pressure is not above atmospheric pressure", MAWP_RULE)]
    return [_mawp(view), *_accumulation(view), _close(view), *_reseat(view), *_margins(view), *_cdtp(view)]


# -- set against MAWP ------------------------------------------------------------------------------------------


def _mawp(view: View) -> Finding:
    location, basis = view.location, view.basis
    set_gauge, mawp = view.set_gauge or 0.0, location.vessel.mawp
    if mawp is None or basis.gauge(mawp) <= 0.0:
        words = "MAWP unknown" if mawp is None else "MAWP is not above atmospheric pressure"
        return open_check("set-above-mawp", words, MAWP_RULE)
    value = ratio(set_gauge, basis.gauge(mawp))
    limit, additional = basis.set_limit_first, _additional(view)
    words = f"set is {near(value, limit)[0]} of MAWP"
    if additional is not None and value > limit * (1 + 1e-9):
        if value <= additional * (1 + 1e-9):
            words += ": right for an additional valve only, another one has to be set at the MAWP or below"
            return Finding("set-above-mawp", "note", "open", MAWP_RULE, words, value, limit, (limit - value) / limit,
                           rests_on=view.rests_on("vessel.mawp"))  # fmt: skip
        limit = additional
    return judged(view, "set-above-mawp", value, limit, words, MAWP_RULE, severity="stop",
                  rests_on=view.rests_on("vessel.mawp"), thin=0.0)  # fmt: skip


def _additional(view: View) -> float | None:
    """Highest set of an additional valve; None where no case is shared. All fire: a supplemental fire valve."""
    shared = [case for case in view.location.cases if (case.required or 1) > 1]
    if not shared:
        return None
    if all(case.cause == "fire" for case in view.location.cases):
        return max(_supplemental(), view.basis.set_limit_additional)
    return view.basis.set_limit_additional


@cache
def _supplemental() -> float:
    return float(table("accumulations").row(code="ASME VIII/XIII", arrangement="supplemental-fire")["highest_set"])


def _accumulation(view: View) -> list[Finding]:
    """A stated accumulation above the code's makes every capacity look better than it is."""
    out: list[Finding] = []
    for index, case in enumerate(view.location.cases):
        allowed = allowed_accumulation(case, view.basis)
        if case.accumulation is not None and case.accumulation > allowed * (1 + 1e-6):
            name = view.cases[index].result.name
            words = f"{called(name)} counts on {percent(case.accumulation)} of MAWP, {view.basis.code} allows {percent(allowed)}"
            out.append(open_check("data", words, ACCUMULATION_RULE, case=name))
    return out


# -- operating against set -------------------------------------------------------------------------------------


def operating_limit(valve: Valve, set_gauge: float, basis: Basis) -> tuple[float, str]:
    """Highest operating over set for the seat and kind, and the words for it."""
    if valve.kind == "pilot":
        if valve.pilot_action == "modulating":
            return basis.operating_limit_modulating, "modulating pilot"
        return basis.operating_limit_snap, "snap pilot"
    limit = basis.operating_limit_soft if valve.seat == "soft" else basis.operating_limit_metal
    words = f"{valve.seat or 'metal'} seat"
    if SCOPE <= set_gauge <= _low_set():
        low = 1 - basis.operating_margin_low / set_gauge
        if low < limit:
            return low, f"{words}, set below 70 psig: 5 psi apart"
    return limit, words


@cache
def _low_set() -> float:
    """Gauge set pressure up to which the guide asks for a margin in pressure, not in per cent: 70 psig."""
    return float(next(row["up_to"] for row in table("operating_margins").rows if row["pressure"] is not None))


def _close(view: View) -> Finding:
    location, basis = view.location, view.basis
    set_gauge = view.set_gauge or 0.0
    operating = location.vessel.operating_pressure
    if operating is None:
        return open_check("close-to-set", "operating pressure unknown", CLOSE_RULE)
    value = ratio(basis.gauge(operating), set_gauge)
    limit, kind = operating_limit(location.valve, set_gauge, basis)
    if view.rests_on("valve.pilot_action"):  # taken as snap, the kind with the higher limit
        limit = min(limit, basis.operating_limit_modulating)
    here, there = near(value, limit)
    words = f"operating maximum is {here} of set, limit {there} ({kind})"
    rests = view.rests_on("vessel.operating_pressure")
    return judged(view, "close-to-set", value, limit, words, CLOSE_RULE, severity="stop" if value >= 1 else "act",
                  rests_on=rests, sway=1.0 if rests else 0.0, confidence="memory-md", thin=0.0)  # fmt: skip


def _reseat(view: View) -> list[Finding]:
    """It has to shut again above the operating maximum; a default on either side proves nothing."""
    location, basis = view.location, view.basis
    operating, blowdown = location.vessel.operating_pressure, location.valve.blowdown
    if operating is None or blowdown is None or not 0.0 <= blowdown < 1.0:
        return [open_check("close-to-set", "reseat pressure or operating maximum unknown", RESEAT_RULE)]
    if view.rests_on("vessel.operating_pressure"):
        return []  # open already
    value, reseat = ratio(basis.gauge(operating), view.set_gauge or 1.0), 1 - blowdown
    stays = ": it cannot shut again" if value > reseat else ""
    here, there = near(value, reseat)
    words = f"operating maximum {here} of set against reseat at {there}{stays}"
    rests = view.rests_on("valve.blowdown")
    return [judged(view, "close-to-set", value, reseat, words, RESEAT_RULE, severity="stop", step="p_reseat",
                   rests_on=rests, sway=1.0 if rests else 0.0, thin=0.0)]  # fmt: skip


def _margins(view: View) -> list[Finding]:
    """Alarm and trip have to stand between the operating maximum and the set pressure."""
    vessel, basis = view.location.vessel, view.basis
    out: list[Finding] = []
    below, name_below = vessel.operating_pressure, "operating maximum"
    if view.rests_on("vessel.operating_pressure"):
        below = None
    for name, pressure in (("alarm", vessel.alarm_pressure), ("trip", vessel.trip_pressure)):
        if pressure is None:
            continue
        value = ratio(basis.gauge(pressure), view.set_gauge or 1.0)
        if value >= 1:
            words = f"the {name} at {percent(value)} of set comes after the valve opens"
            out.append(failed("close-to-set", words, LADDER_RULE))
        elif below is not None and pressure <= below:
            out.append(open_check("data", f"the {name} is not above the {name_below}", LADDER_RULE))
        below, name_below = pressure, name
    return out


# -- cold differential test pressure ---------------------------------------------------------------------------


def set_tolerance(set_gauge: float, basis: Basis) -> float:
    """Set tolerance as a share of gauge set: the band of the Basis, or 2 psi where that is more (up to 70 psig)."""
    low = _low_tolerance()
    return max(basis.cdtp_band, low[1] / set_gauge) if set_gauge <= low[0] else basis.cdtp_band


@lru_cache(maxsize=1)
def _low_tolerance() -> tuple[float, float]:
    rows = table("set_tolerances").where(code="ASME VIII/XIII", use="process")
    row = next(row for row in rows if row["plus"] is not None)
    return float(row["up_to"]), float(row["plus"])


def _cdtp(view: View) -> list[Finding]:
    """The stated cold differential test pressure against set less constant superimposed back pressure."""
    stated, calculated, basis = view.location.valve.cdtp, view.cdtp, view.basis
    if stated is None:
        return []
    if calculated is None:
        return [open_check("data", "the superimposed back pressure is not below set: no CDTP to compare with", CDTP_RULE)]
    value = ratio(basis.gauge(stated), basis.gauge(calculated))
    shown = " against ".join(
        units.show(p, basis.pressure_unit, atmospheric=basis.atmospheric_pressure) for p in (stated, calculated)
    )
    if abs(value - 1.0) <= set_tolerance(basis.gauge(calculated), basis) + 1e-9:
        return [noted("data", "pass", f"stated CDTP {shown} calculated", CDTP_RULE)]
    why = "a wrong set, a header nobody stated, or another service"
    hottest = view.location.vessel.operating_temperature
    if value > 1 and hottest is not None and hottest > 338.15:
        why = "a temperature correction would explain it: compare with the maker's table"
    return [open_check("data", f"stated CDTP {shown} calculated: {why}", CDTP_RULE)]
