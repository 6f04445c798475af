"""From mass flux to area and back: the same two lines for every fluid."""

from __future__ import annotations

from quietseat.formula import One, formula, kg_m2s, kg_s, m2

_FLOW = "API 520-1: definition of effective area; the equations of each fluid give G"


@formula(_FLOW)
def product_gas(Kd: One, Kb: One, Kc: One) -> One:
    """Product of the factors, gas, steam and two-phase."""
    return Kd * Kb * Kc


@formula(_FLOW)
def product_liquid(Kd: One, Kw: One, Kc: One) -> One:
    """Product of the factors, liquid in a valve with capacity certification (Kv apart)."""
    return Kd * Kw * Kc


@formula(_FLOW)
def product_uncertified(Kd: One, Kw: One, Kc: One, Kp: One) -> One:
    """Product of the factors, liquid in a valve without capacity certification (Kv apart)."""
    return Kd * Kw * Kc * Kp


@formula(_FLOW)
def required_area(W: kg_s, G: kg_m2s, K: One) -> m2:
    """Required area."""
    return W / (K * G)


@formula(_FLOW)
def passed_flow(A: m2, G: kg_m2s, K: One) -> kg_s:
    """Flow through an area."""
    return A * K * G


@formula("API 520-1 Annex C, two-phase area with its printed unit constant; seen")
def required_area_printed(c_A: One, W: kg_s, G: kg_m2s, K: One) -> m2:
    """Required area, two-phase."""
    return c_A * W / (K * G)


@formula("API 520-1 Annex C, two-phase area with its printed unit constant; seen")
def passed_flow_printed(c_A: One, A: m2, G: kg_m2s, K: One) -> kg_s:
    """Flow through an area, two-phase."""
    return A * K * G / c_A


@formula(_FLOW)
def with_viscosity(K: One, Kv: One) -> One:
    """Product of the factors with the viscosity correction."""
    return K * Kv
