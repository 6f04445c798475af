"""Fluid properties nobody stated, from the property library, for fluids it knows as pure."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from quietseat import fluids
from quietseat.assess.filler import Filler, assumed
from quietseat.model import Case, Valve, Vessel
from quietseat.status import CalculationFailed

NEAR = 1.0  # K; a stated temperature this near the boiling point is on the register's side of it

_WANTED = {"gas": ("molar_mass", "k", "Z"), "liquid": ("density",)}
_FORMS = {"sound_speed": "m/s", "viscosity": "Pa s", "saturation_pressure": "Pa", "density": "kg/m3", "density_90": "kg/m3"}


def missing(filler: Filler, at: str, case: Case, valve: Valve, vessel: Vessel) -> dict[str, Any]:
    """Values for the properties of a gas or liquid case that are missing, each with its origin noted."""
    if case.phase not in _WANTED or case.temperature is None or valve.set_pressure is None:
        return {}
    wanted = [name for name in _WANTED[case.phase] if getattr(case, name) is None]
    if case.phase == "liquid" and case.saturation_pressure is None:
        wanted.append("saturation_pressure")
    found: dict[str, Any] = {}
    key = fluids.resolve(case.fluid) if case.fluid else None
    if key and wanted:
        basis = filler.basis
        mawp = vessel.mawp or valve.set_pressure
        pressure = basis.atmospheric_pressure + (case.accumulation or 1.1) * basis.gauge(mawp)
        found = _looked_up(filler, at, case, key, pressure, wanted)
    if key and case.phase == "liquid":
        _flash(filler, at, case, key, found)
    if case.phase == "gas" and case.Z is None and "Z" not in found:
        found["Z"] = filler.basis.default_z
        rule = "compressibility where nobody states it"
        filler.take(f"{at}Z", f"{filler.basis.default_z:g}", rule, "practice, memory-md")
    return found


def bubble_point(key: str, pressure: float) -> float | None:
    """Boiling temperature (K) at a pressure, or None where there is none."""
    try:
        return fluids.saturation_temperature(key, pressure)
    except CalculationFailed:
        return None


def _looked_up(
    filler: Filler, at: str, case: Case, key: str, pressure: float, wanted: list[str]
) -> dict[str, Any]:
    """The wanted properties; where the library sees another phase, no number of that phase and a doubt instead."""
    liquid = case.phase == "liquid"
    boiling = bubble_point(key, pressure)
    beside = boiling is not None and case.temperature is not None and abs(boiling - case.temperature) < NEAR
    try:
        state = fluids.state(key, pressure, None, 0.0 if liquid else 1.0) if beside else fluids.state(
            key, pressure, case.temperature)  # fmt: skip
    except CalculationFailed:
        return {}
    same = (state.phase == "liquid") == liquid
    if not same and not assumed(filler.location, f"{at}phase"):
        filler.take(f"{at}phase", case.phase or "", f"the property library sees {state.phase} at relief; the register's "
                    "word is kept", state.source, how="assumed")  # fmt: skip
    values = {
        "molar_mass": state.molar_mass, "k": state.k_ideal, "Z": state.Z if same else None,
        "density": state.density if same else None,
        "saturation_pressure": state.saturation_pressure if same else None,
    }  # fmt: skip
    if same:
        values |= {"sound_speed": state.sound_speed, "viscosity": state.viscosity}
        wanted = [*wanted, *(name for name in ("sound_speed", "viscosity") if getattr(case, name) is None)]
    return {name: _note(filler, at, name, value, key, state.source) for name in wanted if (value := values.get(name)) is not None}


def _flash(filler: Filler, at: str, case: Case, key: str, found: dict[str, Any]) -> None:
    """Density at 0.9 of the saturation pressure, where the liquid flashes in or behind the valve."""
    saturation = case.saturation_pressure or found.get("saturation_pressure")
    outside = case.superimposed_max or filler.basis.atmospheric_pressure
    if case.density_90 is not None or saturation is None or saturation <= outside:
        return
    density = _density_90(key, saturation)
    if density is not None:
        found["density_90"] = _note(filler, at, "density_90", density, key, fluids.LIBRARY)


def _note(filler: Filler, at: str, name: str, value: float, key: str, source: str) -> float:
    filler.looked_up(f"{at}{name}", f"{value:.5g} {_FORMS.get(name, '')}".strip(), f"{key} at relief", source)
    return value


@lru_cache(maxsize=4096)
def _density_90(key: str, saturation: float) -> float | None:
    """Mixture density at 0.9 of the saturation pressure, isentropic from the boiling liquid."""
    try:
        boiling = fluids.state(key, saturation, None, 0.0)
        return fluids.isentrope(key, boiling.entropy, 0.9 * saturation)[0]
    except CalculationFailed:
        return None
