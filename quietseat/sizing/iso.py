"""ISO 4126-7: gas, liquid and steam, with the certified derated coefficient Kdr."""

from __future__ import annotations

from math import sqrt
from typing import Annotated

from quietseat.formula import One, Pa, PaD, Sheet, formula, kg_m2s, kg_m3, m3_kg
from quietseat.sizing import gas
from quietseat.sizing.area import product_gas, product_liquid
from quietseat.sizing.backpressure import no_gauge, override
from quietseat.sizing.constants import constant
from quietseat.sizing.gas import GasConstant, needed
from quietseat.sizing.liquid import gravity_and_density, pressure_difference, viscous
from quietseat.sizing.request import ChoicesLike, Flux, Pressures, Request
from quietseat.sizing.steam import K_SATURATED, K_SOURCE, WATER, saturated
from quietseat.status import CalculationFailed, Status

VolumeConstant = Annotated[float, "(J/mol/K)**0.5"]
_ISO = "ISO 4126-7"


@formula(f"{_ISO}, theoretical capacity correction for subcritical flow, Kb; memory-hi", valid={"k": (1.0, 2.0)})
def subcritical_factor(k: One, r: One) -> One:
    """Subcritical factor Kb of ISO 4126-7."""
    return sqrt(
        2 * k / (k - 1) * (r ** (2 / k) - r ** ((k + 1) / k)) / (k * (2 / (k + 1)) ** ((k + 1) / (k - 1)))
    )


@formula(f"{_ISO}, dry steam and gas by specific volume, written as flux; memory-hi")
def volume_flux(c_v: VolumeConstant, C: GasConstant, p_0: Pa, v: m3_kg) -> kg_m2s:
    """Mass flux of steam or gas from its specific volume."""
    return c_v * C * sqrt(p_0 / v)


@formula(f"{_ISO}, liquid, written as flux; memory-hi")
def liquid_flux(c_l: One, rho: kg_m3, dp: PaD) -> kg_m2s:
    """Mass flux of liquid."""
    return c_l * sqrt(rho * dp)


def _coefficient(request: Request, sheet: Sheet) -> float:
    value = request.overrides.get("Kd", request.coefficient)
    if value is None:
        raise CalculationFailed(
            Status.NOT_COMPUTED, "ISO 4126-7 needs the certified derated coefficient Kdr of the valve (key coefficient)"
        )
    return override("Kd", value, sheet)


def _subcritical(request: Request, p: Pressures, k: float, sheet: Sheet) -> tuple[float, bool, float]:
    """Kb, whether critical, and the choking pressure."""
    r_c = gas.ratio_at_choke(k, sheet)
    r = sheet.apply("r", gas.pressure_ratio, P2=p.back, P1=p.relieving)
    P_cf = sheet.apply("Pcf", gas.choking_pressure, r_c=r_c, P1=p.relieving)
    critical = r <= r_c
    if sheet.record:
        words = f"critical: r {r:.4g} <= r_c {r_c:.4g}" if critical else f"subcritical: r {r:.4g} > r_c {r_c:.4g}"
        sheet.note("regime", "flow regime", words, _ISO)
    given = request.overrides.get("Kb")
    if given is not None:
        return override("Kb", given, sheet), critical, P_cf
    if request.kind == "bellows" and not no_gauge(p):
        raise CalculationFailed(
            Status.OUT_OF_RANGE, "ISO 4126-7: Kb of a bellows valve with back pressure is certified by its maker; give Kb"
        )
    if critical:
        return sheet.given("Kb", "critical flow", 1.0, "", _ISO), critical, P_cf
    if k - 1.0 < gas.NEAR_ONE:
        raise CalculationFailed(Status.OUT_OF_RANGE, "ISO 4126-7: subcritical Kb has no value at k = 1")
    return sheet.apply("Kb", subcritical_factor, k=k, r=r), critical, P_cf


def _gas(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    M, k, T = needed(request, "molar_mass", "k", "temperature")
    Z = request.Z if request.Z is not None else 1.0
    if Z <= 0.0:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"gas: Z = {Z:.6g} must be above zero")
    gas.ideal_gas_doubts(request, Z, sheet)
    Kdr = _coefficient(request, sheet)
    Kb, critical, P_cf = _subcritical(request, p, k, sheet)
    C = gas.gas_coefficient(k, "iso-gas", choices, sheet)
    G = sheet.apply("G", gas.critical_flux, C=C, P1=p.relieving, M=M, T=T, Z=Z)
    book = gas.as_printed(C, choices, sheet, iso=True)
    return _finish(G, book, Kdr, Kb, critical, P_cf, request, sheet)


def _finish(
    G: float, C: float, Kdr: float, Kb: float, critical: bool, P_cf: float, request: Request, sheet: Sheet
) -> Flux:
    Kc = override("Kc", request.overrides["Kc"], sheet) if "Kc" in request.overrides else 1.0
    product = sheet.apply("K", product_gas, Kd=Kdr, Kb=Kb, Kc=Kc)
    regime = "critical" if critical else "subcritical"
    return Flux(G, product, regime, {"C": C, "Kd": Kdr, "Kb": Kb, "Kc": Kc}, choking_pressure=P_cf)


def _steam(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    v, k = request.specific_volume, request.k
    Kdr = _coefficient(request, sheet)
    if v is None or k is None:
        from quietseat import fluids

        quality = 1.0 if saturated(request.temperature, p.relieving, sheet) else None
        at = fluids.state(WATER, p.relieving, request.temperature if quality is None else None, quality)
        if v is None:
            v = sheet.given("v", "specific volume of steam at p0", 1.0 / at.density, "m**3/kg", fluids.LIBRARY)
        if k is None:
            k = _steam_exponent(at, sheet)
    Kb, critical, P_cf = _subcritical(request, p, k, sheet)
    C = gas.gas_coefficient(k, "iso-gas", choices, sheet)
    c_v = constant("c_v", "iso-volume", choices, sheet)
    G = sheet.apply("G", volume_flux, c_v=c_v, C=C, p_0=p.relieving, v=v)
    book = gas.as_printed(C, choices, sheet, iso=True)
    return _finish(G, book, Kdr, Kb, critical, P_cf, request, sheet)


@formula("definition of the isentropic exponent")
def isentropic_exponent(rho: kg_m3, a: Annotated[float, "m/s"], p: Pa) -> One:
    """Isentropic exponent of a real gas."""
    return rho * a**2 / p


def _steam_exponent(at: object, sheet: Sheet) -> float:
    """Isentropic exponent: 1.135 for saturated steam, that of the superheated state otherwise."""
    from quietseat.fluids import FluidState

    assert isinstance(at, FluidState)
    if at.quality is not None or at.sound_speed is None:
        return sheet.given("k", "isentropic exponent of saturated steam", K_SATURATED, "", K_SOURCE)
    return sheet.apply("k", isentropic_exponent, rho=at.density, a=at.sound_speed, p=at.pressure)


def _liquid(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    _, rho = gravity_and_density(request, sheet)
    Kdr = _coefficient(request, sheet)
    Kw = override("Kw", request.overrides["Kw"], sheet) if "Kw" in request.overrides else 1.0
    if request.kind == "bellows" and not no_gauge(p) and "Kw" not in request.overrides:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, "ISO 4126-7: Kw of a bellows valve with back pressure is certified by its maker; give Kw"
        )
    Kc = override("Kc", request.overrides["Kc"], sheet) if "Kc" in request.overrides else 1.0
    dp = sheet.apply("dp", pressure_difference, P1=p.relieving, P2=p.back)
    c_l = constant("c_l", "iso-liquid", choices, sheet)
    G = sheet.apply("G", liquid_flux, c_l=c_l, rho=rho, dp=dp)
    if viscous(request):
        words = "the viscosity chart of ISO 4126-7 is not held: Kv = 1; give Kv"
        sheet.flags.append(words)
        sheet.note("Kv", "viscosity", words, _ISO)
    product = sheet.apply("K", product_liquid, Kd=Kdr, Kw=Kw, Kc=Kc)
    return Flux(G, product, "liquid", {"Kd": Kdr, "Kw": Kw, "Kc": Kc}, density=rho)


def flux(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    """Mass flux by ISO 4126-7. Raises CalculationFailed; two-phase methods belong to ISO 4126-10."""
    if request.method == "gas":
        return _gas(request, p, choices, sheet)
    if request.method == "steam":
        return _steam(request, p, choices, sheet)
    if request.method == "liquid":
        return _liquid(request, p, choices, sheet)
    raise CalculationFailed(
        Status.NOT_COMPUTED, f"method {request.method} is not part of ISO 4126-7; choose standard API 520-1"
    )
