"""Leakage by a stated basis, where it goes, and what it comes to in product and CO2 equivalent."""

from __future__ import annotations

from quietseat.emissions.bases import BASES, NAMES, RULE, SURVEY, choose, leak_rate, side_by_side
from quietseat.emissions.carbon import SLIP, Footprint, Route, footprint, potential, route
from quietseat.emissions.events import LiftMass, Lifts, Part, bleed, credit, fittings, lift_of, lifts, simmer
from quietseat.emissions.formulas import price_of
from quietseat.emissions.mixture import Split, split
from quietseat.emissions.records import Leak, LeakFacts, LeakRate
from quietseat.emissions.rules import Ruled, charge_on, in_force, judge, repair_on
from quietseat.emissions.seat import bubbles_to_mass

__all__ = [
    "BASES", "NAMES", "RULE", "SLIP", "SURVEY", "Footprint", "Leak", "LeakFacts", "LeakRate", "LiftMass", "Lifts", "Part",
    "Route", "Ruled", "Split", "bleed", "bubbles_to_mass", "charge_on", "choose", "credit", "fittings", "footprint", "in_force",
    "judge", "leak_rate", "lift_of", "lifts", "potential", "price_of", "repair_on", "route", "side_by_side", "simmer", "split",
]  # fmt: skip
