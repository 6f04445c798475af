"""Guards on remedies, one small function each (review by trade judgement: common practice, estimate).

A guard returns what still has to be proved ("" = nothing), or why the remedy is out.
"""

from __future__ import annotations

from functools import lru_cache
from math import ceil

from quietseat.basis import Basis
from quietseat.dynamics.parameters import full_lift, ranges, seat_bore
from quietseat.remedies import asking
from quietseat.remedies.trouble import Trouble
from quietseat.sizing.letters import letters
from quietseat.tables import table


def signed_rate(trouble: Trouble) -> str:
    """Smaller orifice, restricted lift, staggered pair: every relief case confirmed, not a nameplate."""
    return "" if trouble.signed else asking.SIGN


def every_case(trouble: Trouble) -> str:
    """A smaller flow area needs the required area of every case; otherwise the remedy is out."""
    if trouble.complete and trouble.utilisation is not None:
        return ""
    return "the required rate of every relief case has to be known first"


def certified_lift() -> str:
    """Restricted lift: capacity certification for that lift, new nameplate by an authorised shop."""
    return "the maker's certificate for this lift; re-stamped with a new nameplate by an authorised shop"


def least_lift(fraction: float, lift: float | None, basis: Basis) -> str:
    """Restricted lift: not below the least share of full lift and not below the least height (API 526)."""
    if fraction < basis.least_lift:
        return f"would need {fraction:.0%} of full lift, the least is {basis.least_lift:.0%}"
    if lift is not None and fraction * lift < basis.least_lift_height:
        return (
            f"would leave {fraction * lift * 1e3:.2f} mm of lift, the least is {basis.least_lift_height * 1e3:.2f} mm"
        )
    return ""


def lift_height(trouble: Trouble) -> float | None:
    """Full lift in m: stated, or from the letter's geometry (estimate); None where neither is known."""
    dynamics, letter = trouble.location.dynamics, trouble.valve.orifice
    if dynamics.max_lift is not None:
        return dynamics.max_lift
    if dynamics.seat_diameter is not None:
        return full_lift(dynamics.seat_diameter, ranges()["lift_factor"].mid)
    area = letters().get(letter) if letter else None
    if area is None:
        return None
    return full_lift(seat_bore(area, ranges()["seat_area_factor"].mid), ranges()["lift_factor"].mid)


def smallest_lift(trouble: Trouble, deduction: float = 1.0) -> float | None:
    """The smallest share of full lift, in whole per cent, that covers every case by rated flow and by area.

    deduction: a factor on both that something built beside it brings, such as Kc of a rupture disk.
    """
    if trouble.utilisation is None or not trouble.complete or trouble.required_area is None:
        return None
    now = trouble.valve.lift_restriction or 1.0
    area = trouble.valve.effective_area or (letters().get(trouble.valve.orifice) if trouble.valve.orifice else None)
    by_area = trouble.required_area / area if area else 0.0
    # One per cent on top: with less flow the back pressure changes a little, and a lift stop has a tolerance.
    return ceil(100 * max(trouble.utilisation * now, by_area) / deduction + 1 - 1e-9) / 100


def reseat_above_operating(trouble: Trouble, blowdown: float) -> str:
    """More blowdown: the reseat pressure must stay above the operating maximum; a known conflict is out."""
    ratio = trouble.operating_ratio
    if ratio is not None and ratio >= 1 - blowdown:
        return f"a blowdown of {blowdown:.0%} reseats at {1 - blowdown:.0%} of set, below the operating maximum ({ratio:.0%})"
    return ""


def reseat_known(trouble: Trouble) -> str:
    """More blowdown where nobody stated the operating maximum."""
    return (
        ""
        if trouble.operating_ratio is not None
        else "state the operating maximum: the reseat pressure must stay above it"
    )


@lru_cache(maxsize=8)
def most_blowdown(liquid: bool) -> float:
    """Largest blowdown a spring valve may be given, share of gauge set (ISO 4126-1)."""
    fluid = "incompressible" if liquid else "compressible"
    return float(table("blowdown_limits").row(code="ISO 4126-1", fluid=fluid)["maximum"])


def ring_proof() -> str:
    """More blowdown: ring positions proven by a flow test, not on a small bench."""
    return "ring positions proven by a flow test"


def lowest_mawp() -> str:
    """Raising set: lowest MAWP of everything protected, static head, downstream limits."""
    return "owner confirms that this MAWP is the lowest of everything protected, static head counted"


def disk_operating(trouble: Trouble) -> str:
    """Rupture disk: its operating ratio; above about 90 % of set it is out of the usual range."""
    ratio = trouble.operating_ratio
    if ratio is None:
        return "state the operating maximum: the disk's operating ratio and burst tolerance hinge on it"
    if ratio > DISK_RATIO:
        return f"the disk has to be of a kind for {ratio:.0%} of set: the maker's word on its operating ratio"
    return ""


DISK_RATIO = 0.90  # usual highest operating ratio of a reverse-acting disk, memory-md of the trade


def set_tolerance(trouble: Trouble) -> str:
    """Operating closer to set: capped by the set tolerance (3 %, or 2 psi below 70 psig), not only by simmer."""
    ratio, gauge = trouble.operating_ratio, trouble.set_gauge
    if ratio is None or not gauge:
        return ""
    if ratio > 1 - tolerance(gauge):
        return f"operating at {ratio:.1%} of set lies inside the set tolerance ({tolerance(gauge):.1%})"
    return ""


def tolerance(set_gauge: float) -> float:
    """Set tolerance of ASME VIII/XIII as a share of gauge set."""
    low, high = _tolerances()
    return max(low["minus"] / set_gauge, 0.0) if set_gauge <= low["up_to"] else float(high["minus_fraction"])


@lru_cache(maxsize=1)
def _tolerances() -> tuple[dict[str, float], dict[str, float]]:
    rows = [row for row in table("set_tolerances").where(code="ASME VIII/XIII") if row["use"] == "process"]
    return rows[0], rows[1]


def remote_sense(trouble: Trouble) -> str:
    """Remote sense: the main valve's capacity and its closing at high inlet loss still to be shown."""
    if "inlet-loss" in trouble.failing:
        return "the maker's proof that the main valve lifts fully and closes at this inlet loss"
    return ""


def sense_tap(trouble: Trouble) -> str:
    """Remote sense without new piping needs a tapping that is there already: ask."""
    if trouble.location.service.sense_tap is None:
        return "Is there a vent, gauge or bridle tapping on the vessel the sense line could use?"
    return ""


def modulating_proof() -> str:
    """A modulating pilot on default data is never a plain yes."""
    return asking.MAKER


def two_phase_snap(trouble: Trouble, action: str) -> str:
    """A snap pilot in two-phase service is out: the dome fills with liquid."""
    if action == "snap" and "two-phase" in trouble.phases:
        return "two-phase inlet: the dome fills with liquid; only a modulating pilot with capacity certification for it"
    return ""


def bleeding_in_hydrates(trouble: Trouble) -> str:
    """A bleeding pilot where hydrates form is out: wet gas cools in its small ports."""
    if trouble.location.service.hydrates:
        return "a bleeding pilot passes wet gas through its small ports while it relieves: hydrates"
    return ""
