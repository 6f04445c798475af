"""Moving parts of a valve: what is stated wins, the rest is estimated from letter, set and service.

No maker's data: every estimate is a range with its mark in the table `dynamics_ranges`; the middle is used in
closed form, the whole range in sampling.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import pi, sqrt

from quietseat.formula import N_m, One, PaG, Sheet, formula, kg, m, m2
from quietseat.model import Dynamics
from quietseat.status import CalculationFailed, Status
from quietseat.tables import NotInTable, table

_GEOMETRY = "geometry of an API 526 nozzle (estimate, no publication)"
_MODEL = "one-degree-of-freedom valve model with a lift-dependent disc area (computed)"


@formula("geometry")
def seat_bore(effective_area: m2, seat_area_factor: One) -> m:
    """Seat bore from the API effective area."""
    return sqrt(4 * seat_area_factor * effective_area / pi)


@formula("geometry")
def seat_area(seat_diameter: m) -> m2:
    """Seat area."""
    return pi / 4 * seat_diameter**2


@formula(_GEOMETRY)
def full_lift(seat_diameter: m, lift_factor: One) -> m:
    """Full lift: a little over a quarter of the seat bore."""
    return lift_factor * seat_diameter / 4


@formula(
    "solid geometry of disc, holder, stem and a third of the spring (estimate, no publication)",
    empirical=True,
)
def moving_mass(seat_diameter: m, mass_factor: One) -> kg:
    """Moving mass from the seat bore."""
    return mass_factor * (0.15 + 2941 * seat_diameter**2.2)  # type: ignore[no-any-return]


@formula("definition of the spring ratio")
def spring_rate(spring_ratio: One, seat_area: m2, set_gauge: PaG, max_lift: m) -> N_m:
    """Spring rate from the spring ratio."""
    return spring_ratio * seat_area * set_gauge / max_lift


@formula("definition of the spring ratio")
def spring_ratio(spring_rate: N_m, max_lift: m, seat_area: m2, set_gauge: PaG) -> One:
    """Spring ratio: force the spring gains over full lift, on the seat force at set."""
    return spring_rate * max_lift / (seat_area * set_gauge)


@formula("force on the shut disc at set pressure")
def precompression(seat_area: m2, set_gauge: PaG, spring_rate: N_m) -> m:
    """Precompression length of the spring."""
    return seat_area * set_gauge / spring_rate


@formula(_MODEL)
def area_ratio(spring_ratio: One, knee: One, blowdown: One) -> One:
    """Largest effective disc area over seat area, from the blowdown."""
    return (1 + spring_ratio * knee) / (1 - blowdown)


@dataclass(frozen=True, slots=True)
class Estimate:
    """Range of one unknown and the mark it carries."""

    low: float
    mid: float
    high: float
    unit: str
    confidence: str
    note: str


@dataclass(frozen=True, slots=True)
class MovingParts:
    """Moving parts as used; `estimated` names what nobody stated."""

    seat_diameter: float  # m
    seat_area: float  # m2
    max_lift: float  # m, unrestricted
    stop_lift: float  # m, where the lift stops (restricted or full)
    mass: float  # kg, with a third of the spring
    spring_rate: float  # N/m
    precompression: float  # m
    spring_ratio: float
    area_ratio: float  # effective disc area over seat area once the disc is up
    knee: float  # lift fraction where that is reached
    damping_ratio: float
    blowdown: float  # fraction of gauge set
    estimated: tuple[str, ...]


@lru_cache(maxsize=1)
def ranges() -> dict[str, Estimate]:
    """Range of every unknown of the moving parts, by name (table dynamics_ranges)."""
    return {
        row["parameter"]: Estimate(
            float(row["low"]),
            float(row["mid"]),
            float(row["high"]),
            row["unit"] or "",
            row["provenance"],
            row["note"],
        )
        for row in table("dynamics_ranges")
    }


@lru_cache(maxsize=64)
def letter_area(orifice: str) -> float:
    """API 526 effective area of a letter, m2. Raises CalculationFailed for an unknown letter."""
    try:
        return float(table("orifices").row(letter=orifice)["area"])
    except NotInTable as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"seat bore unknown: {error}") from None


def seat_of(dynamics: Dynamics, orifice: str | None, effective_area: float | None, sheet: Sheet) -> float:
    """Seat bore, m: stated, or from the effective area (given, or of the letter).

    Raises CalculationFailed when neither bore, area nor letter is known.
    """
    if dynamics.seat_diameter is not None:
        return sheet.given("D_s", "seat bore", dynamics.seat_diameter, "m", "stated")
    area = effective_area
    if area is None:
        if not orifice:
            raise CalculationFailed(Status.NOT_COMPUTED, "seat bore unknown: no orifice letter, no area")
        area = letter_area(orifice)
    return sheet.apply("D_s", seat_bore, effective_area=area, seat_area_factor=ranges()["seat_area_factor"].mid)


def moving_parts(
    dynamics: Dynamics,
    orifice: str | None,
    set_gauge: float,
    blowdown: float,
    sheet: Sheet,
    *,
    effective_area: float | None = None,
    bellows: bool = False,
    lift_restriction: float | None = None,
) -> MovingParts:
    """Moving parts of a spring valve; a stated value wins over its estimate.

    set_gauge Pa above atmosphere; blowdown fraction of it; lift_restriction fraction of full lift.
    Raises CalculationFailed when the seat bore cannot be known or the set pressure is not above atmosphere.
    """
    if set_gauge <= 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "set pressure is not above atmospheric pressure")
    known, estimated = ranges(), []
    bore = seat_of(dynamics, orifice, effective_area, sheet)
    if dynamics.seat_diameter is None:
        estimated.append("seat_diameter")
    area = sheet.apply("A_s", seat_area, seat_diameter=bore)
    lift = dynamics.max_lift
    if lift is None:
        estimated.append("max_lift")
        lift = sheet.apply("x_max", full_lift, seat_diameter=bore, lift_factor=known["lift_factor"].mid)
    mass = dynamics.moving_mass
    if mass is None:
        estimated.append("moving_mass")
        factor = known["mass_factor"].mid * (known["bellows_mass_factor"].mid if bellows else 1.0)
        mass = sheet.apply("m", moving_mass, seat_diameter=bore, mass_factor=factor)
    rate, ratio = dynamics.spring_rate, known["spring_ratio"].mid
    if rate is None:
        estimated.append("spring_rate")
        rate = sheet.apply("s", spring_rate, spring_ratio=ratio, seat_area=area, set_gauge=set_gauge, max_lift=lift)
    else:
        ratio = sheet.apply("beta", spring_ratio, spring_rate=rate, max_lift=lift, seat_area=area, set_gauge=set_gauge)
    squeeze = sheet.apply("x_e", precompression, seat_area=area, set_gauge=set_gauge, spring_rate=rate)
    knee = dynamics.effective_area_knee
    if knee is None:
        estimated.append("effective_area_knee")
        knee = known["area_knee"].mid
    phi = dynamics.effective_area_ratio
    if phi is None:
        estimated.append("effective_area_ratio")
        phi = sheet.apply("phi_m", area_ratio, spring_ratio=ratio, knee=knee, blowdown=blowdown)
    damping = dynamics.damping_ratio
    if damping is None:
        estimated.append("damping_ratio")
        damping = known["damping_ratio"].mid
    restriction = 1.0 if lift_restriction is None else lift_restriction
    if not 0 < restriction <= 1:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"lift restriction {restriction:g} is not between 0 and 1")
    if estimated and sheet.record:
        sheet.note("parts", "moving parts not stated", ", ".join(estimated), "table dynamics_ranges: estimate")
    return MovingParts(
        bore, area, lift, lift * restriction, mass, rate, squeeze, ratio, phi, knee, damping, blowdown,
        tuple(estimated),
    )  # fmt: skip
