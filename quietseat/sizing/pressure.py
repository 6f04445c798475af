"""Relieving pressure, back pressure as a share of set, and the cold differential test pressure."""

from __future__ import annotations

from functools import cache

from quietseat.formula import One, Pa, PaD, Sheet, formula
from quietseat.sizing.request import ChoicesLike, Pressures, Request
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

_CODE = "ASME VIII/XIII accumulation on MAWP (UG-125(c)); seen as quoted by Liptak 7.15 and Ludwig p. 409"


@formula(_CODE)
def accumulated(f: One, MAWP: Pa, p_atm: Pa) -> Pa:
    """Relieving pressure from accumulation on MAWP."""
    return f * (MAWP - p_atm) + p_atm


@formula(_CODE)
def least_accumulated(MAWP: Pa, rise: PaD) -> Pa:
    """Relieving pressure from the least rise above MAWP."""
    return MAWP + rise


@formula("API 520-1: set pressure + allowable overpressure + atmospheric pressure; seen")
def over_set(OP: One, p_set: Pa, p_atm: Pa) -> Pa:
    """Relieving pressure from set pressure and overpressure."""
    return (1 + OP) * (p_set - p_atm) + p_atm


@formula("API 520-1: overpressure as a share of gauge set pressure; definition")
def overpressure(P1: Pa, p_set: Pa, p_atm: Pa) -> One:
    """Overpressure."""
    return (P1 - p_set) / (p_set - p_atm)


@formula("API 520-1 Figures 30 and 31: total back pressure, gauge, over set pressure, gauge; seen")
def back_pressure_share(P2: Pa, p_set: Pa, p_atm: Pa) -> One:
    """Back pressure as a share of set."""
    return (P2 - p_atm) / (p_set - p_atm)


@formula("API 520-1: CDTP = set pressure less constant superimposed back pressure; memory-md")
def cold_differential(p_set: Pa, p_sup: Pa, p_atm: Pa) -> Pa:
    """Cold differential test pressure of a conventional valve."""
    return p_set - (p_sup - p_atm)


@cache
def least_rise(code: str, accumulation: float) -> tuple[float, str] | None:
    """Least rise above MAWP (Pa) that the code allows whatever the percentage gives, and its source; or None."""
    for row in table("accumulations").rows:
        if row["code"] == code and abs(row["factor"] - accumulation) < 1e-9 and row["minimum"] is not None:
            return row["minimum"], row.cite()
    return None


def relieving_pressure_mawp(
    mawp: float, accumulation: float, atmospheric: float, sheet: Sheet, code: str = "ASME VIII/XIII"
) -> float:
    """P1 (Pa absolute) = accumulation x gauge MAWP + atmospheric, whatever the set pressure.

    accumulation: factor on gauge MAWP (1.10, 1.16, 1.21). By ASME VIII/XIII the rise is at least 3 psi at 1.10
    and at least 4 psi at 1.16 (table accumulations). Raises CalculationFailed when the MAWP is not above
    atmospheric or the factor is below 1.
    """
    if mawp <= atmospheric or accumulation < 1.0:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"MAWP {mawp:.6g} Pa must be above atmospheric and the accumulation {accumulation:.4g} at least 1",
        )
    P1 = sheet.apply("P1", accumulated, f=accumulation, MAWP=mawp, p_atm=atmospheric)
    least = least_rise(code, accumulation)
    if least is not None and mawp + least[0] > P1:
        sheet.note("P1", "least rise", f"{least[0]:.0f} Pa is more than the {100 * (accumulation - 1):.0f} %", least[1])
        P1 = sheet.apply("P1", least_accumulated, MAWP=mawp, rise=least[0])
    return P1


def relieving_pressure_set(set_pressure: float, over: float, atmospheric: float, sheet: Sheet) -> float:
    """P1 (Pa absolute) from the set pressure (Pa absolute) and the overpressure (fraction of gauge set)."""
    if set_pressure <= atmospheric or over < 0.0:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"set pressure {set_pressure:.6g} Pa must be above atmospheric and the overpressure not negative",
        )
    return sheet.apply("P1", over_set, OP=over, p_set=set_pressure, p_atm=atmospheric)


def cdtp(set_pressure: float, superimposed: float | None, kind: str, atmospheric: float, sheet: Sheet) -> float:
    """Cold differential test pressure (Pa absolute).

    superimposed: the constant superimposed back pressure (Pa absolute; None = atmospheric). Bellows and pilot
    valves are not corrected for it. The temperature factor is the maker's and is not invented here.
    """
    if kind != "conventional" or superimposed is None or superimposed <= atmospheric:
        why = "no constant superimposed back pressure" if kind == "conventional" else f"{kind}: not shifted by it"
        sheet.note("CDTP", "cold differential test pressure", f"equal to set ({why})", "API 520-1; memory-md")
        return set_pressure
    value = sheet.apply("CDTP", cold_differential, p_set=set_pressure, p_sup=superimposed, p_atm=atmospheric)
    if value <= atmospheric:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, "the superimposed back pressure is not below the set pressure: no CDTP"
        )
    return value


def resolve(request: Request, choices: ChoicesLike, sheet: Sheet) -> Pressures:
    """All pressures of one request. Raises CalculationFailed where they are missing or cannot be."""
    atmospheric = choices.atmospheric_pressure
    set_pressure = request.set_pressure
    P1 = request.relieving_pressure
    if P1 is not None:
        if sheet.record:
            sheet.given("P1", "relieving pressure, absolute", P1, "Pa(a)", "given")
    elif request.mawp is not None and request.accumulation is not None:
        P1 = relieving_pressure_mawp(
            request.mawp, request.accumulation, atmospheric, sheet, getattr(choices, "code", "ASME VIII/XIII")
        )
    elif set_pressure is not None and request.overpressure is not None:
        P1 = relieving_pressure_set(set_pressure, request.overpressure, atmospheric, sheet)
    else:
        raise CalculationFailed(
            Status.NOT_COMPUTED,
            "no relieving pressure: give it, or set pressure and overpressure, or MAWP and accumulation",
        )
    P2 = request.back_pressure
    if P2 is None:
        P2 = atmospheric
        if sheet.record:
            sheet.given("P2", "back pressure, absolute: atmospheric (none given)", P2, "Pa(a)", "choice of the basis")
    elif sheet.record:
        sheet.given("P2", "back pressure, absolute", P2, "Pa(a)", "given")
    if not 0.0 < P2 < P1:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"back pressure {P2 / 1e5:.5g} bara is not between zero and the relieving pressure {P1 / 1e5:.5g} bara: "
            "no flow. Both must be absolute",
        )
    over = request.overpressure
    if set_pressure is not None:
        if set_pressure <= atmospheric:
            raise CalculationFailed(
                Status.OUT_OF_RANGE, f"set pressure {set_pressure / 1e5:.5g} bara is not above atmospheric"
            )
        if over is None or request.relieving_pressure is not None:
            # P1 decides: the overpressure of a request whose P1 was replaced would be stale.
            over = sheet.apply("OP", overpressure, P1=P1, p_set=set_pressure, p_atm=atmospheric)
        if over < 0.0:
            sheet.flags.append(f"the relieving pressure is {-100 * over:.1f} % below set: the valve would not open")
    return Pressures(P1, P2, atmospheric, set_pressure, over, choices.factor_reading)
