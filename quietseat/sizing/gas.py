"""API 520-1 gas and vapour: critical and subcritical mass flux.

The area equations of the standard are written as flux (kg/m2/s before any factor K), so that the same text
gives the area for a flow and the flow through an area.
"""

from __future__ import annotations

from math import exp, inf, log, sqrt
from typing import Annotated

from quietseat.formula import K, One, Pa, Sheet, formula, kg_m2s, kg_mol
from quietseat.sizing.area import product_gas
from quietseat.sizing.backpressure import factor, gas_back_pressure
from quietseat.sizing.constants import book_unit, constant
from quietseat.sizing.request import ChoicesLike, Flux, Pressures, Request
from quietseat.status import CalculationFailed, Status

GasConstant = Annotated[float, "(J/mol/K)**-0.5"]

_API = "API 520-1 gas or vapour"
_LIMIT = "limit for k = 1, closed form; computed"
NEAR_ONE = 1e-6  # below this distance from k = 1 the general form loses digits and the limit is exact to them


@formula(f"{_API}, ratio of critical-flow nozzle pressure; seen", valid={"k": (1.0, 2.0)})
def critical_ratio(k: One) -> One:
    """Critical pressure ratio."""
    return (2 / (k + 1)) ** (k / (k - 1))  # type: ignore[no-any-return]


@formula(f"{_API}, ratio of critical-flow nozzle pressure, {_LIMIT}")
def critical_ratio_limit() -> One:
    """Critical pressure ratio at k = 1."""
    return exp(-0.5)


@formula(f"{_API}, coefficient C; seen", valid={"k": (1.0, 2.0)})
def coefficient(c: GasConstant, k: One) -> GasConstant:
    """Gas coefficient C."""
    return c * sqrt(k * (2 / (k + 1)) ** ((k + 1) / (k - 1)))


@formula(f"{_API}, coefficient C, {_LIMIT}")
def coefficient_limit(c: GasConstant) -> GasConstant:
    """Gas coefficient C at k = 1."""
    return c * exp(-0.5)


@formula("API 520-1: C as the book writes it (lb/h, in2, psia, degR or kg/h, mm2, kPa, K); definition")
def book_coefficient(C: GasConstant, u: GasConstant) -> One:
    """Gas coefficient C in the units of the book."""
    return C / u


@formula("definition")
def pressure_ratio(P2: Pa, P1: Pa) -> One:
    """Pressure ratio."""
    return P2 / P1


@formula("definition")
def choking_pressure(r_c: One, P1: Pa) -> Pa:
    """Critical-flow nozzle pressure."""
    return r_c * P1


@formula(f"{_API}, critical flow, written as flux; seen")
def critical_flux(C: GasConstant, P1: Pa, M: kg_mol, T: K, Z: One) -> kg_m2s:
    """Mass flux of gas, critical."""
    return C * P1 * sqrt(M / (T * Z))


@formula(f"{_API}, coefficient F2; seen", valid={"k": (1.0, 2.0)})
def subcritical_coefficient(k: One, r: One) -> One:
    """Subcritical coefficient F2."""
    return sqrt(k / (k - 1) * r ** (2 / k) * (1 - r ** ((k - 1) / k)) / (1 - r))


@formula(f"{_API}, coefficient F2, {_LIMIT}")
def subcritical_coefficient_limit(r: One) -> One:
    """Subcritical coefficient F2 at k = 1."""
    return sqrt(-(r**2) * log(r) / (1 - r))


@formula(f"{_API}, subcritical flow, written as flux; seen")
def subcritical_flux(c_2: GasConstant, F2: One, M: kg_mol, P1: Pa, P2: Pa, T: K, Z: One) -> kg_m2s:
    """Mass flux of gas, subcritical."""
    return c_2 * F2 * sqrt(M * P1 * (P1 - P2) / (Z * T))


@formula(f"{_API}, theoretical Kb of conventional and pilot valves; seen Hellemans App. A")
def theoretical_kb(c_2: GasConstant, C: GasConstant, F2: One, r: One) -> One:
    """Theoretical back pressure factor."""
    return c_2 / C * F2 * sqrt(1 - r)


def ratio_at_choke(k: float, sheet: Sheet) -> float:
    """Critical pressure ratio for this k. Raises CalculationFailed when k is below 1."""
    if not 1.0 <= k < 10.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"k = {k:.6g} is below 1 or absurd; an ideal gas has cp/cv of 1 to 1.67")
    if k - 1.0 < NEAR_ONE:
        sheet.note("k", "limit", "k = 1: the limit of the general form is used", _LIMIT)
        return sheet.apply("r_c", critical_ratio_limit)
    return sheet.apply("r_c", critical_ratio, k=k)


def gas_coefficient(k: float, form: str, choices: ChoicesLike, sheet: Sheet) -> float:
    """Gas coefficient C (SI) for this k; form names the unit constant ("gas", "iso-gas")."""
    c = constant("c", form, choices, sheet)
    if k - 1.0 < NEAR_ONE:
        return sheet.apply("C", coefficient_limit, c=c)
    return sheet.apply("C", coefficient, c=c, k=k)


def as_printed(C: float, choices: ChoicesLike, sheet: Sheet, iso: bool = False) -> float:
    """C in the units of the book, for the reader: about 300 to 400 (US units), 0.024 to 0.03 (SI), 2 to 3 (ISO)."""
    u = book_unit("iso" if iso else choices.units_of_constants)
    return sheet.apply("C_book", book_coefficient, C=C, u=u)


def f2(k: float, r: float, sheet: Sheet) -> float:
    """Subcritical coefficient F2 for this k and pressure ratio."""
    if k - 1.0 < NEAR_ONE:
        return sheet.apply("F2", subcritical_coefficient_limit, r=r)
    return sheet.apply("F2", subcritical_coefficient, k=k, r=r)


def needed(request: Request, *names: str) -> list[float]:
    """The named inputs. Raises CalculationFailed naming every one that is missing or not positive."""
    values = [getattr(request, name) for name in names]
    missing = [name for name, value in zip(names, values) if value is None]
    if missing:
        raise CalculationFailed(Status.NOT_COMPUTED, f"{request.method}: {', '.join(missing)} not given")
    wrong = [f"{name} = {value:.6g}" for name, value in zip(names, values) if not 0.0 < value < inf]
    if wrong:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{request.method}: {', '.join(wrong)} must be above zero and finite")
    return values


def ideal_gas_doubts(request: Request, Z: float, sheet: Sheet) -> None:
    """Flag a state for which the ideal-gas k is doubtful (API 520-1 Annex B)."""
    words = ""
    if request.reduced_volume is not None and request.reduced_volume < 2.0:
        words = f"reduced volume {request.reduced_volume:.3g} is below 2"
    elif not 0.8 <= Z <= 1.1:
        words = f"Z = {Z:.3g} is outside 0.8 to 1.1"
    if words:
        words += ": the ideal-gas k is doubtful; use the isentropic exponent or integration (method hem)"
        sheet.flags.append(words)
        sheet.note("k", "real gas", words, "API 520-1 Annex B; memory-hi")


def flux(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    """Mass flux of a gas or vapour by API 520-1. Raises CalculationFailed."""
    M, k, T = needed(request, "molar_mass", "k", "temperature")
    Z = request.Z
    if Z is None:
        Z = 1.0
        if sheet.record:
            sheet.given("Z", "compressibility factor: 1 (none given)", Z, "", "default")
    elif Z <= 0.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"gas: Z = {Z:.6g} must be above zero")
    P1, P2 = p.relieving, p.back
    if request.reduced_volume is not None or not 0.8 <= Z <= 1.1:
        ideal_gas_doubts(request, Z, sheet)
    Kd = factor("Kd", "gas", request, sheet)
    Kc = factor("Kc", "gas", request, sheet)
    r_c = ratio_at_choke(k, sheet)
    r = sheet.apply("r", pressure_ratio, P2=P2, P1=P1)
    P_cf = sheet.apply("Pcf", choking_pressure, r_c=r_c, P1=P1)
    critical = r <= r_c
    if sheet.record:
        words = f"critical: r {r:.4g} <= r_c {r_c:.4g}" if critical else f"subcritical: r {r:.4g} > r_c {r_c:.4g}"
        sheet.note("regime", "flow regime", words, "API 520-1")
    Kb = gas_back_pressure(request, p, critical, sheet)
    product = sheet.apply("K", product_gas, Kd=Kd, Kb=Kb, Kc=Kc)
    regime = "critical" if critical else "subcritical"
    if critical or "Kb" in request.overrides:
        if not critical:
            sheet.note("G", "equation", "critical equation with the Kb given by the user", "API 520-1; memory-md")
        C = gas_coefficient(k, "gas", choices, sheet)
        G = sheet.apply("G", critical_flux, C=C, P1=P1, M=M, T=T, Z=Z)
        factors = {"C": as_printed(C, choices, sheet), "Kd": Kd, "Kb": Kb, "Kc": Kc}
        return Flux(G, product, regime, factors, choking_pressure=P_cf)
    F2 = f2(k, r, sheet)
    c_2 = constant("c_2", "subcritical", choices, sheet)
    G = sheet.apply("G", subcritical_flux, c_2=c_2, F2=F2, M=M, P1=P1, P2=P2, T=T, Z=Z)
    return Flux(G, product, regime, {"F2": F2, "Kd": Kd, "Kb": Kb, "Kc": Kc}, choking_pressure=P_cf)
