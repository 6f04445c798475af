"""API 520-1 Annex C (Appendix D in 7E), omega method: two-phase and subcooled liquid at the inlet."""

from __future__ import annotations

from math import log, sqrt

from quietseat.formula import One, Pa, Sheet, formula, kg_m2s, kg_m3, m3_kg
from quietseat.sizing.area import product_gas
from quietseat.sizing.backpressure import factor, gas_back_pressure, liquid_back_pressure, override
from quietseat.sizing.constants import constant
from quietseat.sizing.gas import needed, pressure_ratio
from quietseat.sizing.request import ChoicesLike, Flux, Pressures, Request
from quietseat.sizing.roots import root
from quietseat.status import CalculationFailed, Status

_C = "API 520-1 Annex C, omega method"
_SEEN = f"{_C}; seen"


@formula(_SEEN)
def omega_two_phase(v9: m3_kg, v1: m3_kg) -> One:
    """Omega parameter of a two-phase or flashing inlet."""
    return 9 * (v9 / v1 - 1)


@formula(_SEEN)
def omega_subcooled(rho_l0: kg_m3, rho_9: kg_m3) -> One:
    """Omega parameter of a subcooled liquid, saturated state."""
    return 9 * (rho_l0 / rho_9 - 1)


@formula(_SEEN)
def choke_residual(eta: One, omega: One) -> One:
    """Critical-pressure equation of the omega method (zero at the critical ratio)."""
    return eta**2 + (omega**2 - 2 * omega) * (1 - eta) ** 2 + 2 * omega**2 * log(eta) + 2 * omega**2 * (1 - eta)


@formula(f"{_C}, printed fit of the critical ratio; seen", valid={"omega": (0.5, 100.0)})
def choke_fit(omega: One) -> One:
    """Critical pressure ratio, printed fit."""
    return (1 + (1.0446 - 0.0093431 * omega**0.5) * omega**-0.56261) ** (-0.70356 + 0.014685 * log(omega))  # type: ignore[no-any-return]


@formula("definition")
def from_ratio(eta: One, P1: Pa) -> Pa:
    """Pressure from its ratio to the relieving pressure."""
    return eta * P1


@formula(_SEEN)
def critical_flux(c_G: One, eta_c: One, P1: Pa, v1: m3_kg, omega: One) -> kg_m2s:
    """Mass flux, two-phase, critical."""
    return c_G * eta_c * sqrt(P1 / (v1 * omega))


@formula(_SEEN)
def subcritical_flux(c_G: One, omega: One, eta_a: One, P1: Pa, v1: m3_kg) -> kg_m2s:
    """Mass flux, two-phase, subcritical."""
    return (
        c_G
        * sqrt(-2 * (omega * log(eta_a) + (omega - 1) * (1 - eta_a)))
        / (omega * (1 / eta_a - 1) + 1)
        * sqrt(P1 / v1)
    )


@formula(_SEEN)
def transition_ratio(omega_s: One) -> One:
    """Transition saturation pressure ratio between low and high subcooling."""
    return 2 * omega_s / (1 + 2 * omega_s)


@formula(_SEEN)
def high_subcooling_flux(c_P: One, rho: kg_m3, P1: Pa, P: Pa) -> kg_m2s:
    """Mass flux of a liquid which stays liquid up to the throat."""
    return c_P * sqrt(rho * (P1 - P))


@formula(f"{_C}, low subcooling, closed form; seen")
def low_subcooling_choke(eta_s: One, omega_s: One) -> One:
    """Critical pressure ratio, low subcooling, closed form."""
    return (
        eta_s
        * 2
        * omega_s
        / (2 * omega_s - 1)
        * (1 - sqrt(1 - (1 / eta_s) * (2 * omega_s - 1) / (2 * omega_s)))
    )


@formula(f"{_C}, low subcooling, implicit form (Leung); memory-md")
def low_subcooling_residual(eta: One, eta_s: One, omega_s: One) -> One:
    """Critical-pressure equation, low subcooling (zero at the critical ratio)."""
    return (
        (omega_s + 1 / omega_s - 2) / (2 * eta_s) * eta**2
        - 2 * (omega_s - 1) * eta
        + omega_s * eta_s * log(eta / eta_s)
        + 1.5 * omega_s * eta_s
        - 1
    )


@formula(_SEEN)
def low_subcooling_flux(c_G: One, eta_s: One, omega_s: One, eta: One, P1: Pa, rho: kg_m3) -> kg_m2s:
    """Mass flux of a slightly subcooled liquid, which flashes before the throat."""
    return (
        c_G
        * sqrt(2 * (1 - eta_s) + 2 * (omega_s * eta_s * log(eta_s / eta) - (omega_s - 1) * (eta_s - eta)))
        * sqrt(P1 * rho)
        / (omega_s * (eta_s / eta - 1) + 1)
    )


def critical_ratio(omega: float, choices: ChoicesLike, sheet: Sheet) -> float:
    """Critical pressure ratio eta_c of the omega method: exact root, or the printed fit.

    Raises CalculationFailed when omega is not above zero.
    """
    if not omega > 0.0:
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"omega = {omega:.5g} is not above zero: the specific volume must grow as the pressure falls",
        )
    if choices.omega_root == "fit":
        return sheet.apply("eta_c", choke_fit, omega=omega)
    eta_c = root(lambda eta: choke_residual(eta, omega), 1e-9, 1.0)
    if sheet.record:
        sheet.given("eta_c", "critical pressure ratio, root of the equation below", eta_c, "", _SEEN)
        sheet.apply("residual", choke_residual, eta=eta_c, omega=omega)
    return eta_c


def two_phase_viscosity(request: Request, edition: str, sheet: Sheet) -> float:
    """Kv of the two-phase area equations: in 10E only, and only if the user gives it."""
    given = request.overrides.get("Kv")
    if given is None:
        return 1.0
    if edition != "10E":
        sheet.note("Kv", "edition", f"the two-phase equation of {edition} has no Kv: left out", "API 520-1 10E; seen")
        return 1.0
    return override("Kv", given, sheet)


def flux(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    """Mass flux of a saturated or two-phase inlet by the omega method. Raises CalculationFailed."""
    v1, v9 = needed(request, "specific_volume", "specific_volume_90")
    P1 = p.relieving
    Kd = factor("Kd", "two-phase", request, sheet)
    Kc = factor("Kc", "two-phase", request, sheet)
    omega = sheet.apply("omega", omega_two_phase, v9=v9, v1=v1)
    eta_c = critical_ratio(omega, choices, sheet)
    eta_a = sheet.apply("eta_a", pressure_ratio, P2=p.back, P1=P1)
    P_c = sheet.apply("P_c", from_ratio, eta=eta_c, P1=P1)
    critical = eta_c >= eta_a
    if sheet.record:
        words = f"critical: eta_c {eta_c:.4g} >= eta_a {eta_a:.4g}" if critical else (
            f"subcritical: eta_c {eta_c:.4g} < eta_a {eta_a:.4g}"
        )  # fmt: skip
        sheet.note("regime", "flow regime", words, _SEEN)
    Kb = gas_back_pressure(request, p, critical, sheet)
    c_G = constant("c_G", "two-phase", choices, sheet)
    if critical:
        G = sheet.apply("G", critical_flux, c_G=c_G, eta_c=eta_c, P1=P1, v1=v1, omega=omega)
    else:
        G = sheet.apply("G", subcritical_flux, c_G=c_G, omega=omega, eta_a=eta_a, P1=P1, v1=v1)
    return Flux(
        G, sheet.apply("K", product_gas, Kd=Kd, Kb=Kb, Kc=Kc), "critical" if critical else "subcritical",
        {"Kd": Kd, "Kb": Kb, "Kc": Kc}, constant("c_A", "area", choices, sheet),
        omega=omega, eta_c=eta_c, choking_pressure=P_c,
    )  # fmt: skip


def _low_choke(eta_s: float, omega_s: float, choices: ChoicesLike, sheet: Sheet) -> float:
    """Critical ratio of a slightly subcooled liquid, by the chosen form."""
    if choices.low_subcooling == "implicit":
        eta_c = root(lambda eta: low_subcooling_residual(eta, eta_s, omega_s), 1e-9, eta_s)
        if sheet.record:
            sheet.given("eta_c", "critical pressure ratio, root of the equation below", eta_c, "", f"{_C}; memory-md")
            sheet.apply("residual", low_subcooling_residual, eta=eta_c, eta_s=eta_s, omega_s=omega_s)
        return eta_c
    if omega_s <= 0.5:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, f"omega_s = {omega_s:.4g}: the closed form needs more than 0.5; choose the implicit form"
        )
    return sheet.apply("eta_c", low_subcooling_choke, eta_s=eta_s, omega_s=omega_s)


def flux_subcooled(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    """Mass flux of a subcooled liquid by the omega method. Raises CalculationFailed."""
    rho, rho_9, P_s = needed(request, "density", "density_90", "saturation_pressure")
    P1, P_a = p.relieving, p.back
    if P_s > P1 * (1 + 1e-9):
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"saturation pressure {P_s / 1e5:.5g} bara is above the relieving pressure {P1 / 1e5:.5g} bara: the inlet "
            "is not a subcooled liquid; use method two-phase",
        )
    Kd = factor("Kd", "subcooled", request, sheet)
    Kc = factor("Kc", "subcooled", request, sheet)
    Kb = liquid_back_pressure(request, p, sheet, "Kb")
    omega_s = sheet.apply("omega_s", omega_subcooled, rho_l0=rho, rho_9=rho_9)
    if omega_s <= 0.0:
        raise CalculationFailed(
            Status.OUT_OF_RANGE, f"omega_s = {omega_s:.5g} is not above zero: density_90 must be below density"
        )
    eta_st = sheet.apply("eta_st", transition_ratio, omega_s=omega_s)
    P_st = sheet.apply("P_st", from_ratio, eta=eta_st, P1=P1)
    high = P_s < P_st
    words = "high subcooling" if high else "low subcooling"
    if sheet.record:
        sign = "<" if high else ">="
        sheet.note("regime", "region", f"{words}: P_s {P_s / 1e5:.5g} bara {sign} P_st {P_st / 1e5:.5g} bara", _SEEN)
    eta_c: float | None = None
    if high:
        P = max(P_s, P_a)
        if sheet.record:
            which = "P_s, chokes at saturation" if P_s > P_a else "P_a, does not choke"
            sheet.given("P", f"throat pressure: {which}", P, "Pa(a)", _SEEN)
        c_P = constant("c_P", "all-liquid", choices, sheet)
        G = sheet.apply("G", high_subcooling_flux, c_P=c_P, rho=rho, P1=P1, P=P)
        P_c = P_s
    else:
        eta_s = sheet.apply("eta_s", pressure_ratio, P2=P_s, P1=P1)
        eta_c = _low_choke(eta_s, omega_s, choices, sheet)
        P_c = sheet.apply("P_c", from_ratio, eta=eta_c, P1=P1)
        G = _low_flux(eta_s, eta_c, omega_s, P1, P_a, rho, choices, sheet)
    return Flux(
        G, sheet.apply("K", product_gas, Kd=Kd, Kb=Kb, Kc=Kc), "subcooled-high" if high else "subcooled-low",
        {"Kd": Kd, "Kb": Kb, "Kc": Kc}, constant("c_A", "area-subcooled", choices, sheet), density=rho,
        omega=omega_s, eta_c=eta_c, choking_pressure=P_c,
    )  # fmt: skip


def _low_flux(
    eta_s: float, eta_c: float, omega_s: float, P1: float, P_a: float, rho: float, choices: ChoicesLike, sheet: Sheet
) -> float:
    eta_a = sheet.apply("eta_a", pressure_ratio, P2=P_a, P1=P1)
    eta = max(eta_c, eta_a)
    if eta > eta_s:
        # The back pressure is above saturation: nothing flashes, the all-liquid equation is exact.
        sheet.note("G", "no flashing", "the back pressure is above saturation: all-liquid flow", _SEEN)
        c_P = constant("c_P", "all-liquid", choices, sheet)
        return sheet.apply("G", high_subcooling_flux, c_P=c_P, rho=rho, P1=P1, P=P_a)
    if sheet.record:
        words = f"critical: eta_c {eta_c:.4g} > eta_a {eta_a:.4g}" if eta_c > eta_a else (
            f"subcritical: eta_c {eta_c:.4g} <= eta_a {eta_a:.4g}"
        )  # fmt: skip
        sheet.note("eta", "throat", words, _SEEN)
    c_G = constant("c_G", "two-phase", choices, sheet)
    return sheet.apply("G", low_subcooling_flux, c_G=c_G, eta_s=eta_s, omega_s=omega_s, eta=eta, P1=P1, rho=rho)
