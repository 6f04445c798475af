"""API 520-1 liquid: valves with and without capacity certification, viscosity."""

from __future__ import annotations

from math import inf, sqrt
from typing import Annotated

from quietseat.formula import One, Pa, Pa_s, PaD, Sheet, formula, kg_m2s, kg_m3, kg_s, m2, m3_s, m_s
from quietseat.sizing.area import product_liquid, product_uncertified
from quietseat.sizing.backpressure import factor, liquid_back_pressure, overpressure_factor
from quietseat.sizing.constants import WATER_DENSITY, constant
from quietseat.sizing.request import ChoicesLike, Flux, Pressures, Request
from quietseat.status import CalculationFailed, Status

LiquidConstant = Annotated[float, "m/s/Pa**0.5"]
SsuConstant = Annotated[float, "s/m**2"]

_API = "API 520-1 liquid"


@formula(f"{_API}: pressure difference of a valve with capacity certification; seen")
def pressure_difference(P1: Pa, P2: Pa) -> PaD:
    """Pressure difference."""
    return P1 - P2


@formula(f"{_API}, no capacity certification: 1.25 p - pb with p the set pressure, both gauge; memory-hi")
def uncertified_difference(p_set: Pa, P2: Pa, p_atm: Pa) -> PaD:
    """Pressure term of a valve without capacity certification."""
    return 1.25 * (p_set - p_atm) - (P2 - p_atm)


@formula(f"{_API}, written as speed: volume flow per area before any factor; seen")
def liquid_speed(c_l: LiquidConstant, dp: PaD, SG: One) -> m_s:
    """Volume flow per area."""
    return c_l * sqrt(dp / SG)


@formula("definition: specific gravity on water at 15.6 degC, 999.01 kg/m3")
def specific_gravity(rho: kg_m3, rho_w: kg_m3) -> One:
    """Specific gravity."""
    return rho / rho_w


@formula("definition: specific gravity on water at 15.6 degC, 999.01 kg/m3")
def liquid_density(SG: One, rho_w: kg_m3) -> kg_m3:
    """Liquid density."""
    return SG * rho_w


@formula("definition")
def liquid_flux(u: m_s, rho: kg_m3) -> kg_m2s:
    """Mass flux of liquid."""
    return u * rho


@formula("definition")
def mass_flow(Q: m3_s, rho: kg_m3) -> kg_s:
    """Mass flow."""
    return Q * rho


@formula("definition")
def volume_flow(W: kg_s, rho: kg_m3) -> m3_s:
    """Volume flow."""
    return W / rho


@formula(f"{_API}, Reynolds number from absolute viscosity; seen")
def reynolds(c_Re: kg_m3, Q: m3_s, SG: One, mu: Pa_s, A: m2) -> One:
    """Reynolds number of the orifice."""
    return c_Re * Q * SG / (mu * sqrt(A))


@formula(f"{_API}, Reynolds number from Saybolt seconds; memory-hi")
def reynolds_ssu(c_U: SsuConstant, Q: m3_s, U: One, A: m2) -> One:
    """Reynolds number of the orifice, from Saybolt seconds."""
    return c_U * Q / (U * sqrt(A))


@formula(f"{_API} 10E, viscosity correction; seen", valid={"Re": (1.0, 1e9)})
def viscosity_10e(Re: One) -> One:
    """Viscosity correction, 10E."""
    return (1 + 170 / Re) ** -0.5  # type: ignore[no-any-return]


@formula(f"{_API} 7E to 9E, viscosity correction, at most 1; seen", valid={"Re": (30.0, 1e9)})
def viscosity_7e(Re: One) -> One:
    """Viscosity correction, 7E to 9E."""
    return min(1.0, (0.9935 + 2.878 / Re**0.5 + 342.75 / Re**1.5) ** -1)  # type: ignore[no-any-return]


def gravity_and_density(request: Request, sheet: Sheet) -> tuple[float, float]:
    """Specific gravity and density (kg/m3), from whichever was given. Raises CalculationFailed."""
    SG, rho = request.specific_gravity, request.density
    if SG is None and rho is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "liquid: neither specific_gravity nor density given")
    if not 0.0 < (SG if SG is not None else rho) < inf:  # type: ignore[operator]
        raise CalculationFailed(Status.OUT_OF_RANGE, "liquid: density must be above zero and finite")
    if SG is None:
        assert rho is not None
        return sheet.apply("SG", specific_gravity, rho=rho, rho_w=WATER_DENSITY), rho
    if rho is None:
        return SG, sheet.apply("rho", liquid_density, SG=SG, rho_w=WATER_DENSITY)
    return SG, rho


def viscous(request: Request) -> bool:
    """Whether Kv is still to be found."""
    return "Kv" not in request.overrides and (request.viscosity is not None or request.viscosity_ssu is not None)


def viscosity_correction(
    request: Request, Q: float, SG: float, area: float, choices: ChoicesLike, edition: str, sheet: Sheet
) -> tuple[float, float]:
    """Kv and Reynolds number for a volume flow Q (m3/s) through an orifice of this area (m2)."""
    thick = request.viscosity_ssu if request.viscosity_ssu is not None else request.viscosity
    if thick is None or not 0.0 < thick < inf:
        raise CalculationFailed(Status.OUT_OF_RANGE, "liquid: viscosity must be above zero and finite")
    if request.viscosity_ssu is not None:
        c_U = constant("c_U", "reynolds-ssu", choices, sheet)
        Re = sheet.apply("Re", reynolds_ssu, c_U=c_U, Q=Q, U=thick, A=area)
    else:
        c_Re = constant("c_Re", "reynolds", choices, sheet)
        Re = sheet.apply("Re", reynolds, c_Re=c_Re, Q=Q, SG=SG, mu=thick, A=area)
    return sheet.apply("Kv", viscosity_10e if edition == "10E" else viscosity_7e, Re=Re), Re


def flux(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    """Mass flux of a liquid by API 520-1, without Kv. Raises CalculationFailed."""
    SG, rho = gravity_and_density(request, sheet)
    Kd = factor("Kd", "liquid" if request.certified else "liquid-uncertified", request, sheet)
    Kc = factor("Kc", "liquid", request, sheet)
    Kw = liquid_back_pressure(request, p, sheet)
    factors = {"Kd": Kd, "Kw": Kw, "Kc": Kc}
    if request.certified:
        product = sheet.apply("K", product_liquid, Kd=Kd, Kw=Kw, Kc=Kc)
        dp = sheet.apply("dp", pressure_difference, P1=p.relieving, P2=p.back)
    else:
        if p.set_pressure is None:
            raise CalculationFailed(
                Status.NOT_COMPUTED, "liquid valve without capacity certification: set_pressure is needed"
            )
        Kp = factors["Kp"] = overpressure_factor(request, p, sheet)
        product = sheet.apply("K", product_uncertified, Kd=Kd, Kw=Kw, Kc=Kc, Kp=Kp)
        dp = sheet.apply("dp", uncertified_difference, p_set=p.set_pressure, P2=p.back, p_atm=p.atmospheric)
        if dp <= 0.0:
            raise CalculationFailed(Status.OUT_OF_RANGE, "back pressure is above 1.25 x set pressure: no flow")
    c_l = constant("c_l", "liquid", choices, sheet)
    u = sheet.apply("u", liquid_speed, c_l=c_l, dp=dp, SG=SG)
    G = sheet.apply("G", liquid_flux, u=u, rho=rho)
    return Flux(G, product, "liquid", factors, density=rho, viscous=viscous(request))
