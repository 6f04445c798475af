"""The few sums the reader does: moles to mass, kinematic to dynamic viscosity, shares of the set pressure."""

from __future__ import annotations

from typing import Annotated

from quietseat.formula import One, Pa, Pa_s, PaD, formula, kg_m3, kg_mol, kg_s, m2_s, m3_s

AIR = 0.0289647  # kg/mol, dry air (ISO 2533; memory-hi)


@formula("definition")
def mass_of_moles(moles: Annotated[float, "mol/s"], molar_mass: kg_mol) -> kg_s:
    """Mass flow of a molar flow."""
    return moles * molar_mass


@formula("definition")
def mass_of_volume(volume: m3_s, density: kg_m3) -> kg_s:
    """Mass flow of a volume flow."""
    return volume * density


@formula("definition")
def dynamic_viscosity(kinematic: m2_s, density: kg_m3) -> Pa_s:
    """Dynamic viscosity of a kinematic one."""
    return kinematic * density


@formula("definition")
def share_of_set(difference: PaD, set_pressure: Pa, atmospheric: Pa) -> One:
    """A pressure difference as a share of the gauge set pressure."""
    return difference / (set_pressure - atmospheric)


@formula("definition")
def raised_by(difference: PaD, pressure: Pa, atmospheric: Pa) -> One:
    """A gauge pressure and a rise above it, over the gauge pressure."""
    return 1.0 + difference / (pressure - atmospheric)
