"""What a sizing request leaves out and the property library or a default can say; each value is an assumption."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from quietseat import fluids
from quietseat.formula import Sheet
from quietseat.sizing.pressure import resolve
from quietseat.sizing.request import ISO, Request
from quietseat.status import Assumption, CalculationFailed, Status

if TYPE_CHECKING:
    from quietseat.basis import Basis

_UNITS = {
    "molar_mass": "kg/mol", "k": "", "Z": "", "density": "kg/m**3", "saturation_pressure": "Pa(a)", "density_90": "kg/m**3",
    "specific_volume": "m**3/kg", "specific_volume_90": "m**3/kg",
}  # fmt: skip
_WANTED = {
    "gas": ("molar_mass", "k", "Z"), "liquid": ("density",),
    "two-phase": ("specific_volume", "specific_volume_90"),
    "subcooled": ("density", "saturation_pressure", "density_90"),
}  # fmt: skip
_NEAR = 1.0  # K; a temperature this near the boiling point is on the side the method says


def complete(request: Request, basis: Basis, sheet: Sheet) -> tuple[Request, tuple[Assumption, ...]]:
    """The request with every value that can be filled, and the list of what was filled or left at its default.

    Raises CalculationFailed where the fluid is named but has no such state (a liquid asked for as gas).
    """
    listed: list[Assumption] = []
    found = _of_fluid(request, basis, sheet)
    for name, value in found.items():
        if name in _UNITS:
            unit = _UNITS[name].replace("**", "")
            sheet.given(name, f"{name.replace('_', ' ')} of {request.fluid}", value, _UNITS[name], fluids.LIBRARY)
            shown = f"{value * 1e3:.6g} g/mol" if name == "molar_mass" else f"{value:.6g} {unit}".strip()
            listed.append(Assumption(name, shown, f"property library, {request.fluid}", fluids.LIBRARY))
    if request.method == "gas" and request.Z is None and "Z" not in found:
        found["Z"] = basis.default_z
        listed.append(Assumption("Z", f"{basis.default_z:g}", "nobody states it", "choice default_z, common practice"))
    if request.back_pressure is None:
        words = f"{basis.atmospheric_pressure / 1e3:.6g} kPa absolute"
        listed.append(Assumption("back_pressure", words, "none given: atmospheric", "choice atmospheric_pressure"))
    if request.method == "steam" and request.temperature is None:
        listed.append(Assumption("temperature", "saturated", "none given: saturated steam", "definition"))
    if request.method == "liquid" and request.viscosity is None and request.viscosity_ssu is None and "Kv" not in request.overrides:
        listed.append(Assumption("viscosity", "no correction", "none given: Kv = 1", "API 520-1"))
    return (replace(request, **found) if found else request), tuple(listed)


def _of_fluid(request: Request, basis: Basis, sheet: Sheet) -> dict[str, Any]:
    """The missing properties of the named fluid at the relieving pressure."""
    wanted = [name for name in _WANTED.get(request.method, ()) if getattr(request, name) is None]
    if request.method == "liquid" and request.specific_gravity is not None:
        wanted = []
    if not request.fluid or not wanted:
        return {}
    P1 = resolve(request, basis, Sheet(record=False)).relieving
    key = fluids.known(request.fluid)
    if request.method in ("two-phase", "subcooled"):
        return {name: value for name, value in _flashing(key, P1, request).items() if name in wanted}
    if request.temperature is None:
        raise CalculationFailed(
            Status.NOT_COMPUTED, f"{request.method}: {', '.join(wanted)} of {request.fluid} need the temperature"
        )
    at = _state(key, P1, request.temperature, request.method)
    if request.method == "liquid":
        outside = request.back_pressure or basis.atmospheric_pressure
        if at.saturation_pressure is not None and at.saturation_pressure > outside:
            sheet.flags.append(
                f"{key} boils at {at.saturation_pressure / 1e5:.4g} bara, above the back pressure: it flashes; use method "
                "subcooled or hem"
            )
        return {"density": at.density}
    values = {"molar_mass": at.molar_mass, "k": at.k_ideal, "Z": at.Z, "reduced_volume": at.reduced_volume}
    return {name: value for name, value in values.items() if getattr(request, name) is None}


def _state(key: str, P1: float, temperature: float, method: str) -> fluids.FluidState:
    """The state at P1; beside the boiling point it is on the side the method says. Raises CalculationFailed."""
    try:
        boiling: float | None = fluids.saturation_temperature(key, P1)
    except CalculationFailed:
        boiling = None
    if boiling is not None and abs(boiling - temperature) < _NEAR:
        return fluids.state(key, P1, None, 1.0 if method == "gas" else 0.0)
    at = fluids.state(key, P1, temperature)
    if (at.phase == "liquid") != (method == "liquid"):
        other = "liquid, subcooled or hem" if at.phase == "liquid" else "gas or hem"
        raise CalculationFailed(
            Status.OUT_OF_RANGE,
            f"{key} is {at.phase} at {P1 / 1e5:.5g} bara and {temperature - 273.15:.1f} degC, not {method}: use method {other}",
        )
    return at


def _flashing(key: str, P1: float, request: Request) -> dict[str, float]:
    from quietseat.sizing.hem import subcooled_inputs, two_phase_inputs

    if request.standard == ISO:
        return {}  # refused by the standard anyway, with its own sentence
    if request.method == "two-phase":
        if request.quality is None:
            raise CalculationFailed(Status.NOT_COMPUTED, f"two-phase: the specific volumes of {key} need the quality")
        return dict(zip(_WANTED["two-phase"], two_phase_inputs(key, P1, request.quality)))
    if request.temperature is None:
        raise CalculationFailed(Status.NOT_COMPUTED, f"subcooled: the properties of {key} need the temperature")
    rho, P_s, rho_90 = subcooled_inputs(key, P1, request.temperature)
    return {"density": rho, "saturation_pressure": P_s, "density_90": rho_90}
