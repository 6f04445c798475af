"""Remedies inside the body that stands: soft seat, bellows, lift stop, another alloy."""

from __future__ import annotations

from dataclasses import replace

from quietseat import economics
from quietseat.economics import ZERO
from quietseat.remedies import gate, guards, hardware
from quietseat.remedies.bench import FLOW_CURES, Bench, Made, Option, only

ALLOY = frozenset(("stuck", "corrosion", "bellows"))


def soft_seat(bench: Bench) -> Option | None:
    """A soft seat in the same valve."""
    if bench.valve.seat == "soft" or bench.valve.kind == "pilot":
        return None
    return Option("soft-seat", "Soft seat in the same valve", bench.touch("leaks", "close-to-set"),
                  guards.set_tolerance(bench.trouble), gate.soft_gate(bench.trouble), lambda: _soft_seat(bench))  # fmt: skip


def _soft_seat(bench: Bench) -> Made:
    valve = replace(bench.valve, seat="soft")
    location = bench.changed({"valve.seat": "soft"}, "soft seat", bench.touch("leaks", "close-to-set"), valve=valve)
    work = (*bench.tools.change_out(), *bench.tools.part("soft-seat-kit"), *bench.tools.documents())
    return Made(location, bench.stays, ZERO, work + bench.tools.shop(bench.valve.inlet_size))


def bellows(bench: Bench) -> Option | None:
    """Balanced bellows in the conventional valve."""
    if bench.valve.kind != "conventional":
        return None
    return Option("bellows", "Balanced bellows in the same valve", bench.touch("back-pressure", "corrosion"), "",
                  gate.bellows_gate(bench.trouble), lambda: _bellows(bench))  # fmt: skip


def _bellows(bench: Bench) -> Made:
    valve = replace(bench.valve, kind="bellows", cdtp=None)
    location = bench.changed(
        {"valve.kind": "bellows"}, "bellows", bench.touch("back-pressure", "corrosion"), valve=valve
    )
    capital = economics.maintenance("bellows", bench.basis)
    work = bench.tools.change_out() + bench.tools.shop(bench.valve.inlet_size) + bench.tools.documents()
    return Made(location, bench.stays, capital, work)


def restricted_lift(bench: Bench) -> Option | None:
    """A lift stop: the smallest lift that covers every case."""
    if bench.valve.kind == "pilot":
        return None
    trouble = bench.trouble
    touches = bench.touch(*FLOW_CURES)
    blocked = guards.every_case(trouble)
    fraction = guards.smallest_lift(trouble)
    if not blocked and fraction is not None:
        blocked = guards.least_lift(fraction, guards.lift_height(trouble), bench.basis)
        if not blocked and fraction >= 0.98 * (bench.valve.lift_restriction or 1.0):
            blocked = f"the cases need {fraction:.0%} of full lift: nothing to take away"
    title = "Restricted lift" if fraction is None or blocked else f"Restricted lift: {fraction:.0%} of full lift"
    return Option("restricted-lift", title, touches, blocked, build=lambda: _restricted(bench, fraction or 1.0))


def _restricted(bench: Bench, fraction: float) -> Made:
    valve = replace(bench.valve, lift_restriction=fraction, nameplate_flow=None)
    base = hardware.restated(bench.trouble, fraction / (bench.valve.lift_restriction or 1.0))
    fields = {"valve.lift_restriction": f"{fraction:.0%}"}
    location = bench.changed(fields, "restricted lift", bench.touch(*FLOW_CURES), valve=valve, base=base)
    work = bench.tools.change_out() + bench.tools.part("restricted-lift") + bench.tools.shop(bench.valve.inlet_size)
    proofs = only(guards.signed_rate(bench.trouble), guards.certified_lift())
    return Made(location, bench.stays, ZERO, work + bench.tools.documents(), proofs)


def alloy_trim(bench: Bench) -> Option | None:
    """Nozzle, disc, guide, spring and bellows in another alloy."""
    if not ALLOY & bench.trouble.failing.keys() or bench.valve.kind == "pilot":
        return None
    title = f"Trim, {'bellows' if bench.valve.kind == 'bellows' else 'guide'} and spring in another alloy"
    blocked = "fouling holds the disc, not the alloy" if bench.trouble.assessment.cause_code == "fouling" else ""
    return Option("alloy-trim", title, bench.touch(*ALLOY), blocked,
                  build=lambda: _alloy(bench))  # fmt: skip


def _alloy(bench: Bench) -> Made:
    location = bench.changed({"valve.trim_material": "alloy"}, "alloy trim", bench.touch(*ALLOY),
                            valve=replace(bench.valve, trim_material="alloy to be chosen"))  # fmt: skip
    capital = economics.maintenance("nozzle-disc", bench.basis)
    if bench.valve.kind == "bellows":
        capital = capital + economics.maintenance("bellows", bench.basis)
    work = bench.tools.change_out() + bench.tools.shop(bench.valve.inlet_size) + bench.tools.documents()
    proof = "the shop's strip-down shows galling, fatigue or corrosion of trim, spring or bellows, and names the alloy"
    return Made(location, bench.stays, capital, work, (proof,))
