"""Formulas of leakage: volumes and bubbles to mass, gaps, events, composition and CO2 equivalent."""

from __future__ import annotations

from math import sqrt
from typing import Annotated

from quietseat.formula import (
    Hz,
    K,
    Money,
    One,
    Pa,
    PaD,
    PaG,
    R,
    formula,
    kg,
    kg_m2s,
    kg_m3,
    kg_mol,
    kg_s,
    m2,
    m3,
    m3_s,
    m_s,
    s,
)

Pa_s = Annotated[float, "Pa/s"]


@formula("ideal gas")
def standard_density(pressure: Pa, molar_mass: kg_mol, temperature: K) -> kg_m3:
    """Density of the gas at the standard state of the leak factor."""
    return pressure * molar_mass / (R * temperature)


@formula("definition")
def volume_to_mass(volume_flow: m3_s, density: kg_m3) -> kg_s:
    """Mass leak of a volume leak."""
    return volume_flow * density


@formula("bubbles of the tightness test, API 527 (volume of one bubble computed from Table 1)")
def bubble_flow(bubbles: Hz, bubble: m3) -> m3_s:
    """Volume leak of bubbles counted at the outlet."""
    return bubbles * bubble


@formula("US EPA protocol 453/R-95-017, leak rate from a screening value (memory-md)", empirical=True)
def correlation(coefficient: One, ppm: One, exponent: One) -> kg_s:
    """Leak rate from a screening value."""
    return coefficient / 3600 * ppm**exponent  # type: ignore[no-any-return]


@formula("geometric mean of two published factors (estimate)")
def middle(low: kg_s, high: kg_s) -> kg_s:
    """Middle of two factors that lie far apart."""
    return sqrt(low * high)


@formula("gap at the seat, flow coefficient 1 (computed)")
def gap_leak(flux: kg_m2s, gap: m2) -> kg_s:
    """Leak through a gap at the seat."""
    return flux * gap


@formula("Bernoulli, flow coefficient 1")
def liquid_gap_flux(density: kg_m3, drop: PaD) -> kg_m2s:
    """Mass flux of a liquid through a gap at the seat."""
    return sqrt(2 * density * drop)


@formula("straight line between the start of emission and set (estimate)")
def opened_share(ratio: One, start: One) -> One:
    """How far a seat or a pilot has begun to emit: 0 where emission starts, 1 at set."""
    return (ratio - start) / (1 - start)


@formula("definition")
def part_of(rate: kg_s, share: One) -> kg_s:
    """Share of a leak."""
    return rate * share


@formula("vessel relieved from set to reseat while its source goes on, perfect gas (computed; open part of the cycle model)")
def lift_mass(volume: m3, blowdown: One, set_gauge: PaG, sound_speed: m_s, valve_flow: kg_s, inflow: kg_s) -> kg:
    """Mass of one lift of a valve that opens fully."""
    return volume * blowdown * set_gauge / sound_speed**2 * valve_flow / (valve_flow - inflow)


@formula("vessel relieved from set to reseat, nothing flowing in, perfect gas (computed)")
def surplus_mass(volume: m3, blowdown: One, set_gauge: PaG, sound_speed: m_s) -> kg:
    """Mass above reseat in the vessel: the least one lift can let go."""
    return volume * blowdown * set_gauge / sound_speed**2


@formula("definition")
def filling(rise: PaD, time: s) -> Pa_s:
    """How fast the vessel fills while the valve is shut, from a marched trace."""
    return rise / time


@formula("mass balance of the vessel from opening to reseat, times and pressures of a marched trace (computed)")
def marched_mass(volume: m3, sound_speed: m_s, fall: PaD, fill: Pa_s, time: s) -> kg:
    """Mass through the valve from opening to reseat: what the vessel loses, and what flows in meanwhile."""
    return volume / sound_speed**2 * (fall + fill * time)


@formula("definition")
def mean_rate(mass: kg, times: One, year: s) -> kg_s:
    """Mean rate of releases of one mass, so many times a year."""
    return mass * times / year


@formula("definition")
def several(count: One, rate: kg_s) -> kg_s:
    """Leak of several fittings of one kind."""
    return count * rate


@formula("definition")
def reduction(before: kg_s, residual: kg_s) -> One:
    """Share of a leak that a remedy takes away."""
    return 1 - residual / before


@formula("definition")
def lost(rate: kg_s, time: s) -> kg:
    """Mass leaked in a time."""
    return rate * time


@formula("definition")
def mass_share(mole_share: One, molar_mass: kg_mol, mixture: kg_mol) -> One:
    """Mass share of a component from its mole share."""
    return mole_share * molar_mass / mixture


@formula("chemical formula")
def carbon_share(atoms: One, carbon: kg_mol, molar_mass: kg_mol) -> One:
    """Mass share of carbon in a compound."""
    return atoms * carbon / molar_mass


@formula("two components (estimate where they stand for a mixture nobody stated)")
def heavier_share(molar_mass: kg_mol, light: kg_mol, heavy: kg_mol) -> One:
    """Mole share of the heavier of two components from the molar mass of the mixture."""
    return (molar_mass - light) / (heavy - light)


@formula("paraffin C(n)H(2n+2) of this molar mass (estimate)")
def chain_carbon(molar_mass: kg_mol, ends: kg_mol, link: kg_mol, carbon: kg_mol) -> One:
    """Mass share of carbon in a paraffin: link is CH2, ends the two hydrogens."""
    return (molar_mass - ends) / link * carbon / molar_mass


@formula("definition of CO2 equivalent")
def released(product: kg, methane_fraction: One, potential: One, co2_fraction: One) -> kg:
    """CO2 equivalent of product released to atmosphere."""
    return product * (methane_fraction * potential + co2_fraction)


@formula("carbon burned to CO2, the slip released, CO2 in the gas passes (memory-md)")
def flared(product: kg, carbon_fraction: One, slip: One, methane_fraction: One, potential: One, co2_fraction: One) -> kg:
    """CO2 equivalent of product sent to a flare; carbon_fraction counts the carbon that burns."""
    return product * (carbon_fraction * (44 / 12) * (1 - slip) + slip * methane_fraction * potential + co2_fraction)


@formula("definition")
def price_of(mass: kg, price: Annotated[float, "money/kg"]) -> Money:
    """Money for a mass at a price."""
    return mass * price
