"""Remedy: the valve and its inlet kept above the melting point of what holds the disc."""

from __future__ import annotations

from dataclasses import replace

from quietseat.model import Suitability
from quietseat.remedies.bench import Bench, Made, Option, once
from quietseat.remedies.gate import Gate

HEATED = "heat-valve"  # part of the name of a remedy that heats, alone or with others
TOUCHED = ("stuck", "fouling")
MELTS = (
    "the strip-down shows that what held the disc melts (wax, hydrate, frozen product)",
    "the heating keeps nozzle and body of the shut valve above its melting point",
)


def heat(bench: Bench) -> Option | None:
    """Jacket or tracing of body and inlet line, where wax or hydrates are stated and something is stuck or plugged (practice.md 3, memory-md)."""
    service = bench.trouble.location.service
    if not (service.viscous or service.hydrates) or bench.valve.kind == "pilot":
        return None
    if not set(TOUCHED) & bench.trouble.failing.keys():
        return None
    blocked = "heat speeds the polymer up" if service.polymerising else ""
    conditions = ("heating watched: a dead trace is found the day it dies", "body, spring and seat made for the heating temperature")
    gate = Gate(Suitability("with conditions", (), conditions))
    return Option(HEATED, "Heat and insulate the valve and its inlet", bench.touch(*TOUCHED), blocked, gate,
                  lambda: heated(bench, bench.as_it_stands()))  # fmt: skip


def heated(bench: Bench, made: Made) -> Made:
    """What is made, heated and insulated; the valve that stuck goes to the shop."""
    location = bench.further(made.location, {"service.viscous": "no, kept hot", "service.hydrates": "no, kept hot"}, "heating", frozenset(TOUCHED))
    service = replace(location.service, viscous=False, hydrates=False)
    tools = bench.tools
    work = tools.change_out() + tools.part("heat-valve") + tools.engineering() + tools.documents() + tools.shop(bench.valve.inlet_size)
    (energy,) = tools.part("heating-year")
    return replace(made, location=replace(location, service=service), work=once(made.work, work), proofs=(*made.proofs, *MELTS),
                   yearly=made.yearly + energy.money)  # fmt: skip
