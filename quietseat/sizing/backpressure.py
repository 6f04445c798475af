"""The factors K that are defaults, overrides or read from curves: Kd, Kc, Kb, Kw, Kp."""

from __future__ import annotations

from functools import cache

from quietseat.formula import Sheet
from quietseat.sizing.constants import PSI
from quietseat.sizing.pressure import back_pressure_share
from quietseat.sizing.request import Pressures, Request
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

USER = "given by the user"
_KD = "API 520-1, effective coefficient of discharge; seen"

# Effective coefficients of discharge, by what flows. They go with effective areas only.
EFFECTIVE_KD = {
    "gas": 0.975, "steam": 0.975, "liquid": 0.65, "liquid-uncertified": 0.62,
    "two-phase": 0.85, "subcooled": 0.65,
}  # fmt: skip

CURVE_LEAST_SET = 50 * PSI  # Pa gauge, least set pressure the bellows curves are drawn for
SAME_ATMOSPHERE = 1e-3  # 14.7 psia is 0.03 % above the standard atmosphere
CURVE_TOP = 0.50  # share of set up to which they are drawn


def factor(name: str, what: str, request: Request, sheet: Sheet) -> float:
    """Kd or Kc: given by the user, or the standard's default for what flows. Recorded.

    Raises CalculationFailed when a given value is not between 0 and 1 (Kd, Kc are fractions).
    """
    given = request.overrides.get(name)
    if given is None and name == "Kd":
        given = request.coefficient
    if given is not None:
        return override(name, given, sheet, request.coefficient_source if name == "Kd" else "")
    value = EFFECTIVE_KD[what] if name == "Kd" else 1.0
    if sheet.record:
        if name == "Kd":
            sheet.given("Kd", f"effective coefficient of discharge, {what}", value, "", _KD)
        else:
            sheet.given("Kc", "no rupture disk (none given)", value, "", "API 520-1; seen")
    return value


def override(name: str, value: float, sheet: Sheet, source: str = "") -> float:
    """Record a factor given by the user or, where `source` says so, by a pair. Raises CalculationFailed unless it is above 0 and at most 1.

    KN alone may exceed 1 (it rises to about 1.2 near 3200 psia).
    """
    if not 0.0 < value <= (1.5 if name == "KN" else 1.0):
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{name} = {value:.6g} is not a usable factor (above 0, at most 1)")
    if sheet.record:
        sheet.given(name, "coefficient of discharge" if source else "correction factor", value, "", source or USER)
    return value


@cache
def _cite(name: str) -> str:
    found = table(name)
    return found.rows[0].cite()


def no_gauge(p: Pressures) -> bool:
    """Whether the back pressure is atmospheric: 14.7 psia and 1.01325 bara are the same to anybody but a computer."""
    return p.back <= p.atmospheric * (1 + SAME_ATMOSPHERE)


def _set_for_curve(p: Pressures, what: str) -> float:
    """The set pressure, where the bellows curve may be used at all."""
    if p.set_pressure is None:
        raise CalculationFailed(Status.NOT_COMPUTED, f"{what} of a bellows valve needs the set pressure (or {what} itself)")
    if p.set_pressure - p.atmospheric < CURVE_LEAST_SET * (1 - 1e-6):
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"bellows valve set below 50 psig with back pressure: the {what} curve does not apply; ask the maker "
            f"and give {what}",
        )
    return p.set_pressure


def _share(p: Pressures, what: str, sheet: Sheet) -> float:
    share = sheet.apply("b", back_pressure_share, P2=p.back, p_set=_set_for_curve(p, what), p_atm=p.atmospheric)
    if share > CURVE_TOP * (1 + 1e-9):
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"back pressure is {100 * share:.1f} % of set, above the 50 % the bellows curve is drawn to; ask the "
            f"maker and give {what}",
        )
    return min(share, CURVE_TOP)


def _read_off(value: float, p: Pressures) -> float:
    """A factor as it is read off a printed curve: the reading error is 0.01, so two decimals, or as digitised."""
    return round(value, 2) if p.factor_reading == "two decimals" else value


def gas_back_pressure(request: Request, p: Pressures, critical: bool, sheet: Sheet) -> float:
    """Kb of gas, steam and two-phase flow.

    Given by the user; 1 for conventional and pilot valves (their back pressure acts through the subcritical
    equation); for bellows valves the curve, which holds in critical flow only. Raises CalculationFailed where
    only the maker can say.
    """
    given = request.overrides.get("Kb")
    if given is not None:
        return override("Kb", given, sheet)
    if request.kind != "bellows" or no_gauge(p):
        if sheet.record:
            why = "no gauge back pressure" if request.kind == "bellows" else f"{request.kind} valve"
            sheet.given("Kb", f"back pressure factor, {why}", 1.0, "", "API 520-1; seen")
        return 1.0
    if not critical:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            "bellows valve in subcritical flow with back pressure: the Kb curve holds in critical flow only; ask the "
            "maker and give Kb",
        )
    share = _share(p, "Kb", sheet)
    over = p.overpressure if p.overpressure is not None else 0.10
    held = min(max(over, 0.10), 0.21)
    value = _read_off(table("kb_bellows").grid(held, max(share, 0.0)), p)
    if over < 0.10 - 1e-3 and value < 1.0:
        sheet.flags.append(f"Kb read at 10 % overpressure, the lowest curve; the case has {100 * over:.1f} %")
    if sheet.record:
        if abs(held - over) > 1e-6:
            sheet.note("Kb", "overpressure", f"curve of {100 * held:.0f} % taken for {100 * over:.1f} %", "API 520-1")
        sheet.given("Kb", "back pressure factor, balanced bellows", value, "", _cite("kb_bellows"))
    return value


def liquid_back_pressure(request: Request, p: Pressures, sheet: Sheet, name: str = "Kw") -> float:
    """Kw of liquid flow: given by the user, the curve for bellows valves, else 1. Raises CalculationFailed.

    name: the factor's name in the equation at hand; the subcooled two-phase equation calls it Kb.
    """
    given = request.overrides.get(name)
    if given is None and name == "Kb":
        given = request.overrides.get("Kw")
    if given is not None:
        return override(name, given, sheet)
    if request.kind != "bellows" or no_gauge(p):
        if sheet.record:
            why = "no gauge back pressure" if request.kind == "bellows" else f"{request.kind} valve"
            sheet.given(name, f"back pressure factor of liquid, {why}", 1.0, "", "API 520-1; seen")
        return 1.0
    value = _read_off(table("kw_bellows").at(max(_share(p, name, sheet), 0.0), "Kw"), p)
    if sheet.record:
        sheet.given(name, "back pressure factor of liquid, balanced bellows", value, "", _cite("kw_bellows"))
    return value


def overpressure_factor(request: Request, p: Pressures, sheet: Sheet) -> float:
    """Kp of a liquid valve without capacity certification: given, or read over the overpressure (10 to 25 %)."""
    given = request.overrides.get("Kp")
    if given is not None:
        return override("Kp", given, sheet)
    if p.overpressure is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "Kp needs the overpressure: give set pressure, or Kp itself")
    held = min(p.overpressure, 0.25)
    if held < 0.10 - 1e-6:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, f"overpressure {100 * held:.1f} % is below the 10 % at which the Kp curve begins; give Kp"
        )
    value = table("kp").at(max(held, 0.10), "Kp")
    if sheet.record:
        sheet.given("Kp", "overpressure factor, valve without capacity certification", value, "", _cite("kp"))
        if 0.10 + 1e-6 < held < 0.25 - 1e-6:
            sheet.note("Kp", "reading", "the curve between 10 and 25 % is remembered at 16 % only", _cite("kp"))
    return value
