"""API 520-1 steam (Napier): mass flux with the high-pressure and superheat corrections."""

from __future__ import annotations

from typing import Annotated

from quietseat.formula import One, Pa, Sheet, formula, kg_m2s
from quietseat.sizing import gas
from quietseat.sizing.area import product_gas
from quietseat.sizing.backpressure import factor, gas_back_pressure, override
from quietseat.sizing.constants import constant
from quietseat.sizing.request import ChoicesLike, Flux, Pressures, Request
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

PerSpeed = Annotated[float, "s/m"]
PerPascal = Annotated[float, "1/Pa"]

# Isentropic exponents of the classical steam nozzle, only to find the choking pressure and the back pressure
# factor of steam that does not choke.
K_SATURATED, K_SUPERHEATED = 1.135, 1.30
K_SOURCE = "steam nozzle theory (Zeuner), common practice, no source"
CRITICAL_PRESSURE = 22.064e6  # Pa absolute, water (IAPWS-95)
# K; 21 % accumulation moves saturation by about 9 K, so the saturation temperature of the set pressure still fits.
BELOW_SATURATION = 10.0
WATER = "Water"  # key of the property library


@formula("API 520-1 steam, Napier correction for high pressure; seen")
def napier(a: PerPascal, b: PerPascal, P1: Pa) -> One:
    """High-pressure correction KN."""
    return (a * P1 - 1000) / (b * P1 - 1061)


@formula("API 520-1 steam, written as flux; seen")
def steam_flux(c_s: PerSpeed, P1: Pa, KN: One, KSH: One) -> kg_m2s:
    """Mass flux of steam."""
    return c_s * P1 * KN * KSH


def napier_correction(P1: float, request: Request, choices: ChoicesLike, sheet: Sheet) -> float:
    """KN at P1 (Pa absolute). Raises CalculationFailed above 3200 psia (22 057 kPa)."""
    given = request.overrides.get("KN")
    if given is not None:
        return override("KN", given, sheet)
    silent = Sheet(record=False)
    least, most = constant("", "napier-from", choices, silent), constant("", "napier-to", choices, silent)
    if most * (1 + 1e-9) < P1:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"steam at {P1 / 1e5:.5g} bara is above the {most / 1e5:.5g} bara limit of the Napier equation; use method hem",
        )
    if least * (1 + 1e-9) >= P1:
        if sheet.record:
            sheet.given("KN", f"high-pressure correction, P1 not above {least / 1e5:.5g} bara", 1.0, "", "API 520-1; seen")
        return 1.0
    a = constant("a", "napier-top", choices, sheet)
    b = constant("b", "napier-bottom", choices, sheet)
    KN = sheet.apply("KN", napier, a=a, b=b, P1=P1)
    if KN < 1.0 and choices.napier_below_one == "clamp":
        sheet.note("KN", "clamp", f"the formula gives {KN:.4f}, below 1: 1 is taken", "choice napier_below_one")
        return 1.0
    return KN


def saturated(T: float | None, P1: float, sheet: Sheet) -> bool:
    """Whether steam of this temperature (K; None = saturated) is saturated at P1 (Pa absolute).

    A temperature a little below saturation is that of the set pressure, not of the relieving one, and is flagged.
    Raises CalculationFailed further below, where there is water and no steam.
    """
    if T is None:
        return True
    from quietseat.fluids import saturation_temperature

    T_sat = saturation_temperature(WATER, P1) if P1 < CRITICAL_PRESSURE else None
    if T_sat is None or T_sat + 0.05 < T:
        return False
    if T_sat - BELOW_SATURATION > T:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"steam: {T - 273.15:.1f} degC is {T_sat - T:.0f} K below saturation at {P1 / 1e5:.5g} bara "
            f"({T_sat - 273.15:.1f} degC): this is water; leave temperature out for saturated steam, or use method hem",
        )
    words = f"saturated: T {T:.2f} K is not above the saturation temperature {T_sat:.2f} K"
    if T_sat - 0.5 > T:
        sheet.flags.append(f"steam taken as saturated: its temperature is {T_sat - T:.1f} K below saturation at P1")
    if sheet.record:
        sheet.note("KSH", "state", words, "property library, water")
    return True


def superheat(request: Request, p: Pressures, edition: str, sheet: Sheet) -> tuple[float, bool]:
    """KSH, and whether the steam is superheated. Raises CalculationFailed outside the printed table."""
    T, given = request.temperature, request.overrides.get("KSH")
    if given is not None:
        return override("KSH", given, sheet), given < 1.0
    if T is None:
        if sheet.record:
            sheet.given("KSH", "superheat correction, saturated (no temperature given)", 1.0, "", "API 520-1; seen")
        return 1.0, False
    if saturated(T, p.relieving, sheet):
        if sheet.record:
            sheet.given("KSH", "superheat correction, saturated", 1.0, "", "API 520-1; seen")
        return 1.0, False
    return _superheat_table(request, p, edition, T, sheet), True


def _superheat_table(request: Request, p: Pressures, edition: str, T: float, sheet: Sheet) -> float:
    """KSH from the printed table of the edition: 7E to 9E by gauge set pressure, 10E by absolute P1."""
    if edition == "10E":
        found, pressure, what = table("ksh_10e"), p.relieving, "P1"
    elif p.set_pressure is not None:
        found, pressure, what = table("ksh_7e"), p.set_pressure - p.atmospheric, "gauge set pressure"
    else:
        found, pressure, what = table("ksh_7e"), p.relieving - p.atmospheric, "gauge P1 (no set pressure given)"
    key = found.key[0]
    first = found.rows[0][key]
    if pressure < first:
        sheet.note("KSH", "first row", f"{what} is below the first row; its values hardly change there", found.note)
        pressure = first
    lowest = found.breaks[0]
    if lowest > T:
        words = f"superheated but below the first column ({lowest:.1f} K): 1 is taken, the true value is 0.97 to 1"
        sheet.note("KSH", "first column", words, "API 520-1")
        return 1.0
    try:
        value = found.grid(pressure, T)
    except ValueError as error:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, f"superheated steam outside the printed table ({error}); use method hem or give KSH"
        ) from None
    return sheet.given("KSH", f"superheat correction, by {what} and temperature, bilinear", value, "", found.rows[0].cite())


def flux(request: Request, p: Pressures, choices: ChoicesLike, edition: str, sheet: Sheet) -> Flux:
    """Mass flux of steam by API 520-1. Raises CalculationFailed."""
    P1 = p.relieving
    Kd = factor("Kd", "steam", request, sheet)
    Kc = factor("Kc", "steam", request, sheet)
    KSH, superheated = superheat(request, p, edition, sheet)
    KN = napier_correction(P1, request, choices, sheet)
    k = request.k
    if k is None:
        k = K_SUPERHEATED if superheated else K_SATURATED
        if sheet.record:
            sheet.given("k", "isentropic exponent of steam, for the choking pressure only", k, "", K_SOURCE)
    r_c = gas.ratio_at_choke(k, sheet)
    r = sheet.apply("r", gas.pressure_ratio, P2=p.back, P1=P1)
    P_cf = sheet.apply("Pcf", gas.choking_pressure, r_c=r_c, P1=P1)
    critical = r <= r_c
    if sheet.record:
        words = f"critical: r {r:.4g} <= r_c {r_c:.4g}" if critical else f"subcritical: r {r:.4g} > r_c {r_c:.4g}"
        sheet.note("regime", "flow regime", words, "API 520-1")
    Kb = gas_back_pressure(request, p, critical, sheet)
    if not critical and "Kb" not in request.overrides:
        words = "steam does not choke: the Napier equation is taken with the theoretical back pressure factor"
        sheet.flags.append(words)
        sheet.note("Kb", "subcritical steam", words, "API 520-1 gives the steam equation for critical flow; memory-hi")
        C = gas.gas_coefficient(k, "gas", choices, sheet)
        c_2 = constant("c_2", "subcritical", choices, sheet)
        Kb = sheet.apply("Kb", gas.theoretical_kb, c_2=c_2, C=C, F2=gas.f2(k, r, sheet), r=r)
    c_s = constant("c_s", "steam-7E" if edition == "7E" else "steam", choices, sheet)
    G = sheet.apply("G", steam_flux, c_s=c_s, P1=P1, KN=KN, KSH=KSH)
    factors = {"Kd": Kd, "Kb": Kb, "Kc": Kc, "KN": KN, "KSH": KSH}
    product = sheet.apply("K", product_gas, Kd=Kd, Kb=Kb, Kc=Kc)
    return Flux(G, product, "critical" if critical else "subcritical", factors, choking_pressure=P_cf)
