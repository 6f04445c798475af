"""Homogeneous equilibrium model: direct integration for a pure fluid of the property library.

The flux at every throat pressure follows from the energy balance along the isentrope; the largest one is the choke.
It holds for two-phase inlets, boiling and subcooled liquids, and real gases and steam.
"""

from __future__ import annotations

from math import sqrt

from quietseat import fluids
from quietseat.formula import J_kg, Sheet, formula, kg_m2s, kg_m3
from quietseat.sizing.area import product_gas
from quietseat.sizing.backpressure import factor, gas_back_pressure, liquid_back_pressure
from quietseat.sizing.request import ChoicesLike, Flux, Pressures, Request
from quietseat.sizing.roots import peak
from quietseat.status import CalculationFailed, Status

_HEM = "API 520-1 Annex C (8E on), homogeneous equilibrium by integration along the isentrope; memory-hi"


@formula(_HEM)
def nozzle_flux(rho: kg_m3, h_0: J_kg, h: J_kg) -> kg_m2s:
    """Mass flux at a throat pressure on the isentrope."""
    return rho * sqrt(2 * (h_0 - h))


def maximum_flux(key: str, entropy: float, enthalpy: float, P1: float, P2: float, sheet: Sheet) -> tuple[float, float]:
    """Throat pressure (Pa absolute) and largest mass flux (kg/m2/s) from P1 to P2 at constant entropy."""
    low = max(P2, 1.001 * fluids.lowest_pressure(key))
    if low >= P1:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{key}: no throat pressure between the triple point and P1")

    def flux_at(pressure: float) -> float:
        rho, h = fluids.isentrope(key, entropy, pressure)
        return nozzle_flux(rho, enthalpy, min(h, enthalpy))

    throat, _ = peak(flux_at, low, P1)
    rho, h = fluids.isentrope(key, entropy, throat)
    if sheet.record:
        sheet.given("P_t", "throat pressure of the largest flux (scan and golden section)", throat, "Pa(a)", _HEM)
        sheet.given("rho", "density at the throat, constant entropy", rho, "kg/m**3", fluids.LIBRARY)
        sheet.given("h", "enthalpy at the throat, constant entropy", h, "J/kg", fluids.LIBRARY)
    return throat, sheet.apply("G", nozzle_flux, rho=rho, h_0=enthalpy, h=h)


def flux(request: Request, p: Pressures, choices: ChoicesLike, sheet: Sheet) -> Flux:
    """Mass flux of a pure fluid by direct integration. Raises CalculationFailed."""
    key = fluids.known(request.fluid or "")
    P1, P2 = p.relieving, p.back
    start = fluids.state(key, P1, request.temperature, request.quality)
    what = {"two-phase": "two-phase", "liquid": "subcooled"}.get(start.phase, "gas")
    if request.quality == 0.0:
        what = "two-phase"  # boiling liquid flashes in the nozzle
    if sheet.record:
        sheet.given("s_0", f"entropy of {key} at P1 ({start.phase})", start.entropy, "J/kg/K", fluids.LIBRARY)
        sheet.given("h_0", f"enthalpy of {key} at P1", start.enthalpy, "J/kg", fluids.LIBRARY)
    Kd = factor("Kd", what, request, sheet)
    Kc = factor("Kc", what, request, sheet)
    throat, G = maximum_flux(key, start.entropy, start.enthalpy, P1, P2, sheet)
    critical = throat > P2 * (1 + 1e-5)
    if sheet.record:
        words = f"critical: the flux is largest at {throat / 1e5:.5g} bara, above the back pressure" if critical else (
            f"subcritical: the flux still grows at the back pressure {P2 / 1e5:.5g} bara"
        )  # fmt: skip
        sheet.note("regime", "flow regime", words, _HEM)
    if what == "subcooled":
        Kb = liquid_back_pressure(request, p, sheet, "Kb")
    else:
        Kb = gas_back_pressure(request, p, critical, sheet)
    return Flux(
        G, sheet.apply("K", product_gas, Kd=Kd, Kb=Kb, Kc=Kc), "critical" if critical else "subcritical",
        {"Kd": Kd, "Kb": Kb, "Kc": Kc}, choking_pressure=throat if critical else None,
    )  # fmt: skip


def two_phase_inputs(fluid: str, P1: float, quality: float) -> tuple[float, float]:
    """Specific volumes (m3/kg) at P1 and, isentropic, at 0.9 P1: the omega method's inputs. Raises CalculationFailed."""
    key = fluids.known(fluid)
    start = fluids.state(key, P1, None, quality)
    return 1.0 / start.density, fluids.isentrope_volume(key, start.entropy, 0.9 * P1)


def subcooled_inputs(fluid: str, P1: float, temperature: float) -> tuple[float, float, float]:
    """Density at P1, saturation pressure (Pa absolute) at the inlet temperature, and mixture density at 0.9 of it.

    The flash to 0.9 of the saturation pressure starts from boiling liquid at the inlet temperature, isentropic.
    Raises CalculationFailed when the fluid is not a liquid at P1 and this temperature (K).
    """
    key = fluids.known(fluid)
    start = fluids.state(key, P1, temperature)
    if start.phase != "liquid" or start.saturation_pressure is None:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{key} is {start.phase} at the inlet, not a subcooled liquid")
    P_s = start.saturation_pressure
    boiling = fluids.state(key, P_s, None, 0.0)
    return start.density, P_s, fluids.isentrope(key, boiling.entropy, 0.9 * P_s)[0]
