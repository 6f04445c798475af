"""A valve file made ready for marching in time: what [run] replaces, and a bare valve without letter or fittings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import pi

from quietseat.casefile.valve import ValveCase
from quietseat.dynamics.parameters import ranges, seat_area
from quietseat.model import Assumption, Line, Location, Origin, Valve

_STATED = "the valve file"


def as_stated(case: ValveCase) -> tuple[Location, tuple[Assumption, ...]]:
    """The Location as `chatter` marches it, and what that took for granted.

    [run] `inlet_length` replaces the inlet's (segments are all stretched alike). A line stated by its friction factor
    alone is taken exactly as it stands, without the entrance and block valve other lines get. A valve with neither
    letter nor area takes its flow area from the seat bore and the lift of [dynamics].
    """
    place, noted = case.location, []
    inlet, found = _inlet(place.inlet, place.origins, case.run.get("inlet_length"))
    noted += found
    valve, found, coefficient = _valve(place)
    noted += found
    origins = dict(place.origins)
    if "inlet_length" in case.run:
        origins["inlet.length"] = Origin("given", _STATED, f"{case.run['inlet_length']:g} m")
    if coefficient:
        origins["valve.effective_area"] = Origin("derived", rule="from the seat bore", source="geometry")
    return replace(place, inlet=inlet, valve=valve, origins=origins), tuple(noted)


def _inlet(line: Line, origins: Mapping[str, Origin], length: float | None) -> tuple[Line, list[Assumption]]:
    noted: list[Assumption] = []
    if length is not None and line.segments:
        whole = sum(segment.length for segment in line.segments)
        factor = length / whole if whole > 0 else 1.0
        line = replace(line, segments=tuple(replace(s, length=s.length * factor) for s in line.segments))
        noted.append(Assumption("inlet.segments", f"{length:g} m together", "all segments stretched alike to run.inlet_length", _STATED))
    elif length is not None:
        line = replace(line, length=length)
    if line.friction_factor is not None and _bare(line, origins):
        line = replace(line, entrance="none", block_valve="none", loss_coefficient=0.0)
        noted.append(Assumption(
            "inlet.entrance", "none", "the line is taken exactly as stated: a friction factor is given, and neither "
            "entrance, fittings, block valve nor loss coefficient, so no entrance loss is added", _STATED,
        ))  # fmt: skip
    return line, noted


def _bare(line: Line, origins: Mapping[str, Origin]) -> bool:
    """True where nothing but the wall friction of a line is stated."""
    named = any(f"inlet.{key}" in origins for key in ("fittings", "elbows", "long_elbows", "tees"))
    return not named and not line.fittings and line.entrance is None and line.block_valve is None and line.loss_coefficient is None


def _valve(place: Location) -> tuple[Valve, list[Assumption], bool]:
    """The valve with a flow area of its own where neither letter nor area is stated."""
    valve, moving = place.valve, place.dynamics
    known = valve.orifice or valve.effective_area or (valve.actual_area and valve.rated_coefficient)
    bore = moving.seat_diameter
    if bore is None and valve.actual_area is not None:
        bore = (4 * valve.actual_area / pi) ** 0.5
    if known or bore is None:
        return valve, [], False
    area = float(seat_area(bore))
    if moving.max_lift is not None:
        area = min(area, pi * bore * moving.max_lift)
    noted = []
    coefficient = moving.discharge_coefficient
    if coefficient is None:
        liquid = any(case.phase == "liquid" for case in place.cases)
        coefficient = ranges()["discharge_coefficient_liquid" if liquid else "discharge_coefficient_gas"].mid
        noted.append(Assumption("dynamics.discharge_coefficient", f"{coefficient:g}", "middle of its range, for the flow at "
                                "110 % of set; the draws use the whole range", "table dynamics_ranges (estimate)"))  # fmt: skip
    noted.append(Assumption("valve.effective_area", f"{area * 1e6:.5g} mm2", "neither letter nor area is stated: the smaller of "
                            "seat and curtain area, with the discharge coefficient of [dynamics]", "geometry"))  # fmt: skip
    whole = replace(valve, actual_area=None, rated_coefficient=None, effective_area=area, effective_coefficient=coefficient)
    return whole, noted, True
