"""Draws of the parts of a pilot-operated valve. All estimates: none of them is published by anyone.

Source: dynamics review section 5 and the table pilot_parts.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from quietseat.dynamics.parameters import Estimate, ranges
from quietseat.dynamics.situation import Situation
from quietseat.tables import table

if TYPE_CHECKING:
    from quietseat.march.dice import Array, Dice

PORT_COEFFICIENT = 0.8  # of fill and vent port; the table gives C A
LARGE_BORE = 0.0515  # m, seat bore above which the wider vent ports are usual (letters beyond L)
TAP = 1.0  # m of sense tube beyond the length of the inlet line, where nobody states its length

_OWN = {
    "dome_clearance": Estimate(0.1, 0.25, 0.5, "", "estimate", "dome height at full lift over seat bore"),
    "dome_passages": Estimate(5e-6, 20e-6, 50e-6, "m3", "estimate", "passages between pilot and dome"),
    "dome_volume_factor": Estimate(0.5, 1.0, 2.0, "", "estimate", "lognormal, on the dome volume"),
    "vent_area": Estimate(5e-6, 10e-6, 20e-6, "m2", "estimate", "C A of the vent port, up to letter L"),
    "vent_area_large": Estimate(10e-6, 20e-6, 40e-6, "m2", "estimate", "C A of the vent port beyond letter L"),
    "fill_ratio": Estimate(0.3, 0.5, 0.7, "", "estimate", "fill over vent port"),
    "pilot_band": Estimate(0.03, 0.05, 0.10, "", "estimate", "band of a modulating pilot on gauge set"),
    "null_zone": Estimate(0.005, 0.01, 0.02, "", "estimate", "non-flowing zone on gauge set"),
    "sense_bore": Estimate(0.006, 0.0076, 0.011, "m", "memory-md", "sense tube"),
    "pilot_volume": Estimate(10e-6, 20e-6, 40e-6, "m3", "estimate", "sensing chamber of the pilot"),
    "pilot_lag": Estimate(0.005, 0.02, 0.05, "s", "estimate", "spool"),
    "seal_friction": Estimate(0.01, 0.02, 0.05, "", "estimate", "piston seal over seat area x gauge set"),
    "seal_damping": Estimate(0.1, 0.4, 2.0, "", "estimate", "damping ratio on the trapped-dome stiffness"),
    "area_rise": Estimate(1.0, 1.05, 1.1, "", "estimate", "rise of the effective piston area"),
}


@lru_cache(maxsize=1)
def pilot_ranges() -> dict[str, Estimate]:
    """Range of every unknown of pilot and piston, by name; the table wins over the estimates above."""
    out = dict(_OWN)
    try:
        rows = list(table("pilot_parts"))
    except Exception:  # the table is not there in every checkout
        return out
    for row in rows:
        name = row.get("parameter")
        if name in out:
            out[name] = Estimate(float(row["low"]), float(row["mid"]), float(row["high"]), "", row["provenance"], "")
    return out


def parts(situation: Situation, dice: Dice, bore: Array, area: Array) -> dict[str, Array]:
    """Pilot, dome, sense line and piston of every draw; SI, areas as bore areas behind PORT_COEFFICIENT."""
    known, own, stated = ranges(), pilot_ranges(), situation.dynamics
    modulating = situation.pilot_action == "modulating"
    ratio = dice.either(stated.dome_area_ratio, "dome_area_ratio", "dome area", "triangular", known["dome_area_ratio"])
    volume = ratio * area * own["dome_clearance"].mid * bore + own["dome_passages"].mid
    if stated.dome_volume is not None:
        volume = dice.fixed(stated.dome_volume)
    else:
        volume = volume * dice.draw("dome_volume", "dome volume", "lognormal", own["dome_volume_factor"])
    large = bool(np.mean(bore) > LARGE_BORE)
    vent = dice.either(
        stated.vent_area, "vent_area", "pilot vent", "log-uniform", own["vent_area_large" if large else "vent_area"]
    )
    vent = vent if stated.vent_area is not None else vent / PORT_COEFFICIENT
    fill = (
        dice.fixed(stated.fill_area) if stated.fill_area is not None
        else vent * dice.draw("fill_ratio", "pilot fill", "uniform", own["fill_ratio"])
    )  # fmt: skip
    action = "modulating" if modulating else "snap"
    blowdown = stated.pilot_blowdown
    if blowdown is None and not situation.blowdown_is_default:
        blowdown = situation.blowdown
    remote = situation.pilot_sense == "remote"
    length = stated.sense_length
    if length is None:
        length = (situation.inlet_length or sum(part[0] for part in situation.pipes)) + TAP if remote else 0.0
    return {
        "dome_area_ratio": ratio,
        "dome_volume": volume,
        "vent_area": vent,
        "fill_area": fill,
        "blowdown": dice.either(
            blowdown, "pilot_blowdown", "pilot blowdown", "triangular", known[f"pilot_blowdown_{action}"]
        ),
        "band": dice.either(stated.pilot_band, "band", "pilot band", "triangular", own["pilot_band"])
        if modulating else dice.fixed(0.05),
        "null_zone": dice.either(stated.null_zone, "null_zone", "null zone", "uniform", own["null_zone"])
        if modulating and situation.pilot_bleed != "bleeding" else dice.fixed(stated.null_zone or 0.0),
        "lag": dice.either(stated.pilot_lag, "lag", "pilot lag", "log-uniform", own["pilot_lag"]),
        "sense_length": dice.fixed(length),
        "sense_bore": dice.either(stated.sense_bore, "sense_bore", "sense bore", "triangular", own["sense_bore"])
        if length > 0 else dice.fixed(0.0),
        "sense_volume": dice.draw("sense_volume", "pilot volume", "log-uniform", own["pilot_volume"])
        if length > 0 else dice.fixed(0.0),
        "area_ratio": dice.either(
            stated.effective_area_ratio, "area_rise", "rise of the piston area", "uniform", own["area_rise"]
        ),
        "friction": dice.fixed(stated.friction_force / (float(area[0]) * (situation.set_pressure - situation.atmospheric)))
        if stated.friction_force is not None
        else dice.fixed(0.0)
        if stated.damping_ratio is not None
        else dice.draw("seal_friction", "seal friction", "uniform", own["seal_friction"]),
        "damping_ratio": dice.either(
            stated.damping_ratio, "seal_damping", "seal damping", "log-uniform", own["seal_damping"]
        ),
    }  # fmt: skip


