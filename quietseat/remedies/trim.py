"""Remedies inside the body that stands: soft seat, bellows, lift stop, another alloy."""

from __future__ import annotations

from dataclasses import replace

from quietseat import economics
from quietseat.economics import ZERO
from quietseat.remedies import gate, guards, hardware
from quietseat.remedies.bench import FLOW_CURES, Bench, Made, Option, once, only

ALLOY = frozenset(("stuck", "corrosion", "bellows"))
NEARLY_FULL = 0.98  # of the lift: nothing worth taking away
HURTS = frozenset(("leaks", "stuck", "corrosion"))


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
    touches = bench.touch("back-pressure", *_shielded(bench))
    return Option("bellows", "Balanced bellows in the same valve", touches, "", gate.bellows_gate(bench.trouble),
                  lambda: _bellows(bench, touches))  # fmt: skip


def _shielded(bench: Bench) -> tuple[str, ...]:
    """A bellows keeps a corrosive fluid off spring and guide; a spring weak for another reason it does not mend."""
    service = bench.trouble.location.service
    return ("corrosion",) if service.corrosive or service.sour else ()


def _bellows(bench: Bench, touches: frozenset[str]) -> Made:
    valve = replace(bench.valve, kind="bellows", cdtp=None)
    location = bench.changed({"valve.kind": "bellows"}, "bellows", touches, valve=valve)
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
        if not blocked and fraction >= NEARLY_FULL * (bench.valve.lift_restriction or 1.0):
            blocked = f"the cases need {fraction:.0%} of full lift: nothing to take away"
    title = "Restricted lift" if fraction is None or blocked else f"Restricted lift: {fraction:.0%} of full lift"
    return Option("restricted-lift", title, touches, blocked,
                  build=lambda: stopped(bench, bench.as_it_stands(), fraction or 1.0))  # fmt: skip


def stopped(bench: Bench, made: Made, fraction: float) -> Made:
    """What is made, with a lift stop at this share of full lift. Stated built-up back pressures fall with the flow."""
    valve = made.location.valve
    base = hardware.restated(made.location, fraction / (valve.lift_restriction or 1.0))
    location = bench.further(base, {"valve.lift_restriction": f"{fraction:.0%}"}, "restricted lift", bench.touch(*FLOW_CURES),
                             valve=replace(valve, lift_restriction=fraction, nameplate_flow=None))  # fmt: skip
    work = bench.tools.change_out() + bench.tools.part("restricted-lift") + bench.tools.shop(bench.valve.inlet_size)
    proofs = only(guards.signed_rate(bench.trouble), guards.certified_lift())
    return replace(made, location=location, work=once(made.work, work, bench.tools.documents()), proofs=(*made.proofs, *proofs))


def overhaul(bench: Bench) -> Option | None:
    """Strip, repair, reset and test: enough only where no duty, pipe, pressure or fluid is behind the hurt."""
    trouble = bench.trouble
    hurt = HURTS & trouble.failing.keys()
    if not hurt:
        return None
    service, root = trouble.location.service, trouble.assessment.cause_code
    blocked = ""
    if root == "fouling":
        blocked = "the fluid fouls it again: repair alone brings it back"
    elif (service.corrosive or service.sour) and hurt & {"stuck", "corrosion"}:
        blocked = "the fluid attacks the same trim again: repair alone brings it back"
    elif root not in HURTS:
        blocked = f"repair alone brings it back while its root ({root or 'not known'}) stays"
    return Option("overhaul", "Overhaul in the shop: strip, repair, reset and test", hurt, blocked, build=lambda: _overhauled(bench, hurt))


def _overhauled(bench: Bench, hurt: frozenset[str]) -> Made:
    location = bench.changed({"valve.spring_range": "checked"}, "overhaul", hurt)
    proofs = tuple(words for code, words in _FOUND.items() if code in hurt)
    work = bench.tools.change_out() + bench.tools.shop(bench.valve.inlet_size) + bench.tools.documents()
    if "corrosion" in hurt:
        work += bench.tools.part("reset-set")
    return Made(location, bench.stays, ZERO, work, proofs)


_FOUND = {
    "stuck": "the strip-down shows why it stuck (trim, guide, alignment), and the next as-found pop is within tolerance",
    "corrosion": "the shop finds why it popped low (weak spring, moved setting, faulty test), and the next as-found pop is within tolerance",
    "leaks": "the shop finds debris, a worn seat or piping load, and the seat stays tight in service",
}


def alloy_trim(bench: Bench) -> Option | None:
    """Nozzle, disc, guide, spring and bellows in another alloy."""
    if not ALLOY & bench.trouble.failing.keys() or bench.valve.kind == "pilot":
        return None
    title = f"Trim, {'bellows' if bench.valve.kind == 'bellows' else 'guide'} and spring in another alloy"
    plugs = bench.trouble.assessment.cause_code == "fouling" or (bench.trouble.fouls and "stuck" in bench.trouble.failing)
    return Option("alloy-trim", title, bench.touch(*ALLOY), "fouling holds the disc, not the alloy" if plugs else "",
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
