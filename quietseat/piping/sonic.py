"""Sound speed, wave return, Mach number from mass flux, and adiabatic flow with friction (Fanno) as formulas.

All gas formulas are for a perfect gas with constant k and Z; T is the stagnation temperature, which friction
keeps. The solvers below only invert these formulas.
"""

# mypy: disable-error-code="no-any-return"
# (a float raised to a float is Any to the checker: it may be complex)

from __future__ import annotations

from math import exp, log, sqrt

from quietseat.formula import K, One, Pa, PaD, R, formula, kg_m2s, kg_m3, kg_mol, m, m3_kg, m_s, s
from quietseat.status import CalculationFailed, Status

K_VALID = (1.0, 2.0)


@formula("perfect gas with Z, computed", valid={"k": K_VALID})
def sound_speed_gas(k: One, Z: One, temperature: K, molar_mass: kg_mol) -> m_s:
    """Sound speed of a gas."""
    return sqrt(k * Z * R * temperature / molar_mass)


@formula("definition, computed")
def sound_speed_liquid(bulk_modulus: Pa, density: kg_m3) -> m_s:
    """Sound speed of a liquid without walls."""
    return sqrt(bulk_modulus / density)


@formula("Korteweg; thin wall, computed")
def sound_speed_pipe(sound_speed: m_s, density: kg_m3, bore: m, wall: m, elasticity: Pa) -> m_s:
    """Wave speed of a liquid in an elastic pipe."""
    return sound_speed / sqrt(1.0 + density * sound_speed**2 / elasticity * bore / wall)


@formula("homogeneous omega line, computed; indicative")
def sound_speed_mixture(pressure: Pa, specific_volume: m3_kg, volume: m3_kg, omega: One, reference: Pa) -> m_s:
    """Sound speed of a homogeneous two-phase mixture; volume is the one at this pressure."""
    return pressure * volume / sqrt(specific_volume * omega * reference)


@formula("definition")
def travel_time(length: m, sound_speed: m_s) -> s:
    """Time of a wave over one segment."""
    return length / sound_speed


@formula("API 520-2 and acoustics; sum of the segments' times, there and back")
def wave_return(travel: s) -> s:
    """Time for a wave to reach the vessel and come back."""
    return 2.0 * travel


@formula("definition", valid={"k": K_VALID})
def flux_number(mass_flux: kg_m2s, pressure: Pa, temperature: K, Z: One, molar_mass: kg_mol, k: One) -> One:
    """Flux number: the square of G sqrt(Z R T/M/k)/p."""
    return mass_flux**2 * Z * R * temperature / (molar_mass * k * pressure**2)


@formula("isentropic flow, continuity, computed; right when the Mach number put in comes out", valid={"k": K_VALID})
def mach_from_stagnation(number: One, k: One, mach: One) -> One:
    """Mach number from the flux number on stagnation pressure."""
    return sqrt(number) * (1.0 + (k - 1.0) / 2.0 * mach**2) ** ((k + 1.0) / (2.0 * (k - 1.0)))


@formula("continuity with constant stagnation temperature, computed", valid={"k": K_VALID})
def mach_from_static(number: One, k: One) -> One:
    """Mach number from the flux number on static pressure."""
    return sqrt(2.0 * number / (1.0 + sqrt(1.0 + 2.0 * (k - 1.0) * number)))


@formula("isentropic flow, computed", valid={"k": K_VALID})
def choking_number(k: One) -> One:
    """Largest flux number on stagnation pressure (Mach 1)."""
    return 2.0 / (k + 1.0) * (2.0 / (k + 1.0)) ** (2.0 / (k - 1.0))


@formula("continuity with constant stagnation temperature, computed", valid={"k": K_VALID})
def static_from_mach(mass_flux: kg_m2s, temperature: K, Z: One, molar_mass: kg_mol, k: One, mach: One) -> Pa:
    """Static pressure at which a bore passes the flow at this Mach number."""
    return mass_flux / mach * sqrt(Z * R * temperature / (molar_mass * k * (1.0 + (k - 1.0) / 2.0 * mach**2)))


@formula("derived: choked nozzle and choked outlet pass the same flow, computed", valid={"k": K_VALID})
def body_floor(relieving_pressure: Pa, coefficient: One, area_ratio: One, k: One) -> Pa:
    """Static pressure at the choked valve outlet; area_ratio is orifice over outlet bore area."""
    return relieving_pressure * coefficient * area_ratio * (2.0 / (k + 1.0)) ** (k / (k - 1.0))


@formula("isentropic flow, computed", valid={"k": K_VALID})
def stagnation_pressure(pressure: Pa, mach: One, k: One) -> Pa:
    """Stagnation pressure from static pressure and Mach number."""
    return pressure * (1.0 + (k - 1.0) / 2.0 * mach**2) ** (k / (k - 1.0))


@formula("isentropic flow, computed", valid={"k": K_VALID})
def static_pressure(stagnation: Pa, mach: One, k: One) -> Pa:
    """Static pressure from stagnation pressure and Mach number."""
    return stagnation * (1.0 + (k - 1.0) / 2.0 * mach**2) ** (-k / (k - 1.0))


@formula("energy, constant stagnation temperature, computed", valid={"k": K_VALID})
def static_temperature(temperature: K, mach: One, k: One) -> K:
    """Static temperature from stagnation temperature and Mach number."""
    return temperature / (1.0 + (k - 1.0) / 2.0 * mach**2)


@formula(
    "Fanno flow: Darcy f L*/D from this Mach number to Mach 1; Shapiro 1953, memory-hi; table T9, computed",
    valid={"k": K_VALID},
)
def fanno_length(mach: One, k: One) -> One:
    """Resistance left to choking."""
    return (1.0 - mach**2) / (k * mach**2) + (k + 1.0) / (2.0 * k) * log(
        (k + 1.0) * mach**2 / (2.0 + (k - 1.0) * mach**2)
    )


@formula("derivative of fanno_length with respect to 1/M^2, computed")
def fanno_slope(inverse_square: One, k: One) -> One:
    """Slope used by Newton's method on the Fanno resistance."""
    return 2.0 * (inverse_square - 1.0) / (k * (2.0 * inverse_square + k - 1.0))


@formula("definition")
def fanno_left(length_upstream: One, resistance: One) -> One:
    """Resistance left to choking at the end of the run."""
    return length_upstream - resistance


@formula("definition")
def fanno_before(length_downstream: One, resistance: One) -> One:
    """Resistance left to choking at the start of the run."""
    return length_downstream + resistance


@formula("Fanno flow, continuity with constant stagnation temperature, computed", valid={"k": K_VALID})
def stagnation_ratio(mach: One, mach_other: One, k: One) -> One:
    """Stagnation pressure at `mach` over that at `mach_other`, same bore and flow."""
    return (
        mach_other
        / mach
        * ((1.0 + (k - 1.0) / 2.0 * mach**2) / (1.0 + (k - 1.0) / 2.0 * mach_other**2))
        ** ((k + 1.0) / (2.0 * (k - 1.0)))
    )


@formula("momentum over continuity of the larger bore, computed", valid={"k": K_VALID})
def impulse_number(mach: One, k: One) -> One:
    """Impulse over flow of the larger bore behind a sudden enlargement."""
    return (1.0 + k * mach**2) / (mach * sqrt(1.0 + (k - 1.0) / 2.0 * mach**2))


@formula("linear term of the momentum balance over a sudden enlargement, computed")
def enlargement_linear(area_ratio: One, impulse: One, k: One) -> One:
    """Linear term for the Mach number before a sudden enlargement."""
    return area_ratio**2 * impulse**2 - 2.0 * area_ratio * k


@formula("square term of the momentum balance over a sudden enlargement, computed")
def enlargement_square(area_ratio: One, impulse: One, k: One) -> One:
    """Square term for the Mach number before a sudden enlargement."""
    return area_ratio**2 * (k**2 - impulse**2 * (k - 1.0) / 2.0)


@formula("momentum balance, pressure on the shoulder that of the smaller bore; subsonic root, computed")
def enlargement_mach(linear: One, square: One) -> One:
    """Mach number before a sudden enlargement."""
    return sqrt(2.0 / (linear + sqrt(linear**2 - 4.0 * square)))


@formula("choked nozzle at the end of a pipe: flux number on the stagnation pressure before it, computed")
def nozzle_number(alpha: One, k: One) -> One:
    """Flux number in the pipe before a choked nozzle; alpha is coefficient x nozzle area over pipe area."""
    return alpha**2 * (2.0 / (k + 1.0)) ** ((k + 1.0) / (k - 1.0))


@formula("isentropic expansion wave into a pipe at rest, computed", valid={"k": K_VALID})
def expansion_wave_ratio(mach: One, k: One) -> One:
    """Pressure behind the sudden opening wave over the pressure before it."""
    return 1.0 / (1.0 + (k - 1.0) / 2.0 * mach) ** (2.0 * k / (k - 1.0))


@formula("definition")
def stagnation_loss(before: Pa, after: Pa) -> PaD:
    """Loss of stagnation pressure."""
    return before - after


def solve_stagnation_mach(number: float, k: float) -> tuple[float, int]:
    """Subsonic Mach number of a flux number on stagnation pressure, and the passes it took.

    The caller has made sure that number <= choking_number(k).
    """
    if number >= choking_number(k) * (1.0 - 1e-13):
        return 1.0, 0
    half, power = (k - 1.0) / 2.0, (k + 1.0) / (2.0 * (k - 1.0))
    # Newton on ln M: the slope of ln(mach_from_stagnation) with ln M is 2 power half M^2/(1 + half M^2).
    mach = min(sqrt(number), 0.9)
    for passes in range(1, 60):
        slope = 2.0 * power * half * mach * mach / (1.0 + half * mach * mach)
        step = log(mach_from_stagnation(number, k, mach) / mach) / (1.0 - slope)
        mach = min(mach * exp(step), 1.0 - 1e-12)
        if abs(step) < 1e-12:
            return mach, passes
        if passes > 40 and abs(step) < 1e-7:  # the root is double at Mach 1: the last digits never settle
            return mach, passes
    raise CalculationFailed(Status.NOT_CONVERGED, f"Mach number did not converge at k {k:.6g}")


def solve_fanno(length: float, k: float) -> tuple[float, int]:
    """Subsonic Mach number with this resistance left to choking (>= 0), and the passes it took."""
    if length <= 0.0:
        return 1.0, 0
    # The function is convex in y = 1/M^2; from this start, right of the root, Newton falls onto it.
    y = 1.0 + k * length + sqrt(k * (k + 1.0) * length)
    if length < 1e-9:  # the function is flat at Mach 1; there the start is the root to 1e-9
        return 1.0 / sqrt(y), 0
    for passes in range(1, 40):
        step = (fanno_length(1.0 / sqrt(y), k) - length) / fanno_slope(y, k)
        y = max(y - step, 1.0 + 1e-14)
        if abs(step) < 1e-12 * y:
            return min(1.0 / sqrt(y), 1.0), passes
    if abs(step) < 1e-8 * y:
        return min(1.0 / sqrt(y), 1.0), passes
    raise CalculationFailed(Status.NOT_CONVERGED, f"Fanno: {length:.6g} did not converge at k {k:.6g}")
