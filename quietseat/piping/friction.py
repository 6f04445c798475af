"""Darcy friction factor: laminar, and Colebrook (by Newton) or Haaland as the Basis names it."""

from __future__ import annotations

from math import log, log10, sqrt

from quietseat.formula import One, Pa_s, Sheet, formula, kg_m2s, m
from quietseat.status import CalculationFailed, Status

LAMINAR_LIMIT = 2000.0  # above it Colebrook: above 64/Re all through the transition
GAS_VISCOSITY = 2.0e-5  # Pa s, estimate where nobody states it: gases lie between 0.7e-5 and 4e-5


@formula("definition")
def reynolds(mass_flux: kg_m2s, bore: m, viscosity: Pa_s) -> One:
    """Reynolds number of the pipe."""
    return mass_flux * bore / viscosity


@formula("Hagen-Poiseuille, exact", valid={"reynolds": (0.0, 2300.0)})
def laminar(reynolds: One) -> One:
    """Darcy friction factor, laminar."""
    return 64.0 / reynolds


@formula(
    "Colebrook 1939, computed; right when the friction factor put in comes out",
    valid={"roughness_ratio": (0.0, 0.06)},
)
def colebrook(roughness_ratio: One, reynolds: One, friction: One) -> One:
    """Darcy friction factor, turbulent (Colebrook)."""
    return 0.25 / log10(roughness_ratio / 3.7 + 2.51 / (reynolds * sqrt(friction))) ** 2


@formula("derivative of Colebrook's right side with respect to 1/sqrt(f)")
def colebrook_slope(roughness_ratio: One, reynolds: One, friction: One) -> One:
    """Slope used by Newton's method on Colebrook."""
    return -2.0 / log(10.0) * 2.51 / (reynolds * roughness_ratio / 3.7 + 2.51 / sqrt(friction))


@formula("Haaland 1983, memory-hi", valid={"roughness_ratio": (0.0, 0.06)})
def haaland(roughness_ratio: One, reynolds: One) -> One:
    """Darcy friction factor, turbulent (Haaland)."""
    return 1.0 / (1.8 * log10((roughness_ratio / 3.7) ** 1.11 + 6.9 / reynolds)) ** 2


@formula("Colebrook 1939 at infinite Reynolds number, computed", valid={"roughness_ratio": (1e-8, 0.06)})
def fully_rough(roughness_ratio: One) -> One:
    """Darcy friction factor, fully turbulent."""
    return 0.25 / log10(roughness_ratio / 3.7) ** 2


@formula("definition")
def roughness_ratio(roughness: m, bore: m) -> One:
    """Relative roughness."""
    return roughness / bore


def solve_colebrook(ratio: float, number: float) -> tuple[float, int]:
    """Friction factor of Colebrook to 1e-12 by Newton's method, and the passes it took.

    ratio: roughness over bore, 0 to 0.06; number: Reynolds, above about 500. Raises CalculationFailed when
    20 passes do not do (it takes 2 or 3).
    """
    x = 1.0 / sqrt(haaland(ratio, number))
    for passes in range(1, 21):
        f = x**-2.0
        step = (x - 1.0 / sqrt(colebrook(ratio, number, f))) / (1.0 - colebrook_slope(ratio, number, f))
        x -= step
        if abs(step) < 1e-12 * x:
            return x**-2.0, passes
    raise CalculationFailed(
        Status.NOT_CONVERGED, f"Colebrook did not converge at Re {number:.6g}, roughness {ratio:.6g}"
    )


def friction_factor(
    roughness: float, bore: float, mass_flux: float, viscosity: float | None, correlation: str, sheet: Sheet
) -> float:
    """Darcy friction factor of one run, recorded; viscosity None = fully turbulent."""
    ratio = sheet.apply("e/D", roughness_ratio, roughness=roughness, bore=bore)
    if viscosity is None:
        if ratio <= 0.0:
            raise CalculationFailed(Status.NOT_COMPUTED, "viscosity unknown: a smooth pipe needs it")
        sheet.note("f", "friction", "viscosity unknown: fully turbulent friction", "assumed")
        return sheet.apply("f", fully_rough, roughness_ratio=ratio)
    number = sheet.apply("Re", reynolds, mass_flux=mass_flux, bore=bore, viscosity=viscosity)
    if number <= LAMINAR_LIMIT:
        return sheet.apply("f", laminar, reynolds=number)
    if correlation.lower() == "haaland":
        return sheet.apply("f", haaland, roughness_ratio=ratio, reynolds=number)
    if correlation.lower() != "colebrook":
        raise CalculationFailed(
            Status.NOT_COMPUTED, f"friction_correlation {correlation!r} is not one of Colebrook, Haaland"
        )
    f, passes = solve_colebrook(ratio, number)
    if sheet.record:
        sheet.note("f", "friction", f"Colebrook: converged in {passes} passes to 1e-12", "Newton's method")
    return sheet.apply("f", colebrook, roughness_ratio=ratio, reynolds=number, friction=f)
