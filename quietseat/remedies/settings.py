"""Remedies that change a setting: operating pressure, set pressure, blowdown, or the question whether the
valve is needed at all.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil

from quietseat.assess.checks.common import near, percent
from quietseat.assess.checks.pressure import operating_limit
from quietseat.economics import ZERO
from quietseat.formula import Money, One, formula
from quietseat.model import Spread, Vessel
from quietseat.remedies import guards
from quietseat.remedies.bench import Bench, Made, Option, once, only
from quietseat.remedies.choose import money

UNSTABLE = frozenset(("inlet-loss", "chatter", "cycling"))
LEAST_MORE = 0.10  # share of set: less more blowdown is not worth a flow test of the rings (estimate)


@formula("definition: share of set given up, times the stated value of one per cent")
def operating_loss(ratio_before: One, ratio_after: One, value: Money) -> Money:
    """Yearly value of the operating range given up."""
    return (ratio_before - ratio_after) * 100 * value


def operate_lower(bench: Bench) -> Option | None:
    """Lower the operating maximum to what the seat and the reseat pressure allow."""
    trouble, basis = bench.trouble, bench.basis
    ratio, gauge = trouble.operating_ratio, trouble.set_gauge
    if "close-to-set" not in trouble.failing or ratio is None or gauge is None:
        return None
    limit = _operating_limit(bench)
    target = basis.atmospheric_pressure + limit * gauge
    title = f"Operate at {bench.show(target)} or lower"
    lost = operating_loss(ratio, limit, basis.operating_value)
    question = (
        f"To operations: what limits the pressure, and can the process run at {bench.show(target)} or lower? It gives up "
        f"{percent(ratio - limit)} of set, priced at {money(lost, basis.currency)} a year."
    )
    blocked = ""
    if basis.operating_value <= 0:
        blocked = (
            "nobody stated what a per cent of operating range is worth (Basis operating_value), so it has no price"
        )
    return Option("operate-lower", title, bench.touch("close-to-set"), blocked, question=question,
                  build=lambda: _operate_lower(bench, target, lost))  # fmt: skip


def _operate_lower(bench: Bench, target: float, lost: float) -> Made:
    trouble = bench.trouble
    vessel = _alarms(bench, replace(trouble.location.vessel, operating_pressure=target), target)
    fields = {"vessel.operating_pressure": bench.show(target)}
    location = bench.changed(fields, "operate lower", bench.touch("close-to-set"), vessel=vessel)
    work = bench.tools.documents() + bench.overhaul()
    proof = f"operations agree to {bench.show(target)} at most (range given up: {money(lost, bench.basis.currency)} a year)"
    return Made(location, bench.stays, ZERO, work, (proof,), Spread(lost, lost, lost))


def _alarms(bench: Bench, vessel: Vessel, target: float) -> Vessel:
    """Alarm and trip that do not stand between the new maximum and set move there: a third, two thirds up."""
    set_pressure = bench.valve.set_pressure or target
    alarm, trip = vessel.alarm_pressure, vessel.trip_pressure
    if alarm is not None and not target < alarm < set_pressure:
        alarm = target + (set_pressure - target) / 3
    if trip is not None and not target < trip < set_pressure:
        trip = target + 2 * (set_pressure - target) / 3
    return replace(vessel, alarm_pressure=alarm, trip_pressure=trip)


def _operating_limit(bench: Bench) -> float:
    """Highest operating over set: the limit of the seat, and the set tolerance below a stated reseat pressure."""
    gauge = bench.trouble.set_gauge or 1.0
    limit, _ = operating_limit(bench.valve, gauge, bench.basis)
    if bench.trouble.stated("valve.blowdown") and bench.valve.blowdown is not None:
        limit = min(limit, 1 - bench.valve.blowdown - guards.tolerance(gauge))
    return int(limit * 1000 + 1e-6) / 1000


def raise_set(bench: Bench) -> Option | None:
    """Raise the set pressure to the MAWP, only where the MAWP is known and above the set."""
    trouble = bench.trouble
    mawp, set_pressure = trouble.location.vessel.mawp, bench.valve.set_pressure
    if "close-to-set" not in trouble.failing or mawp is None or set_pressure is None:
        return None
    title = f"Raise set to {bench.show(mawp)}"
    blocked = ""
    if not trouble.stated("vessel.mawp"):
        blocked = "the MAWP is not known: the set may only be raised against a nameplate"
    elif mawp <= set_pressure * (1 + 1e-6):
        blocked = "the set is already at the MAWP"
    return Option("raise-set", title, bench.touch("close-to-set"), blocked, build=lambda: _new_set(bench, mawp, "close-to-set"),
                  question="Is this MAWP the lowest of everything the valve protects?")  # fmt: skip


def reset_to_mawp(bench: Bench) -> Option | None:
    """Lower a set above its limit to the MAWP."""
    trouble = bench.trouble
    mawp = trouble.location.vessel.mawp
    if "set-above-mawp" not in trouble.failing or mawp is None:
        return None
    return Option("reset-to-mawp", f"Reset to the MAWP, {bench.show(mawp)}", bench.touch("set-above-mawp"),
                  build=lambda: _new_set(bench, mawp, "set-above-mawp"))  # fmt: skip


def _new_set(bench: Bench, pressure: float, code: str) -> Made:
    valve = replace(bench.valve, set_pressure=pressure, cdtp=None)
    fields = {"valve.set_pressure": bench.show(pressure)}
    location = bench.changed(fields, "new set pressure", bench.touch(code), valve=valve)
    work = bench.tools.change_out() + bench.tools.part("reset-set") + bench.tools.shop(bench.valve.inlet_size) + bench.tools.documents()
    spring = "" if _spring_holds(bench, pressure) else "the spring range holds the new set, or a new spring"
    return Made(location, bench.stays, ZERO, work, only(guards.lowest_mawp(), spring))


def _spring_holds(bench: Bench, pressure: float) -> bool:
    span = bench.valve.spring_range
    return span is not None and span[0] <= pressure <= span[1]


def remove(bench: Bench) -> Option | None:
    """A question to the owner, never a winner by itself: is the valve needed at all, and for what rate?"""
    trouble = bench.trouble
    if "oversized" not in trouble.failing and trouble.utilisation != 0:
        return None
    use = "little"
    if trouble.utilisation is not None:
        use = "nothing" if trouble.utilisation == 0 else f"{near(trouble.utilisation, bench.basis.oversize_utilisation)[0]}"
    question = f"To the owner: the governing case needs {use} of the rated flow: is the valve needed, and is that rate still right?"
    return Option("remove-or-rerate", "Remove the valve, or confirm another required rate", frozenset(trouble.failing),
                  "only the owner can say so: answer the question first", question=question)  # fmt: skip


def more_blowdown(bench: Bench) -> Option | None:
    """More blowdown by the rings: what inlet loss and the reserve ask for, up to the limit."""
    trouble = bench.trouble
    if bench.valve.kind == "pilot":
        return None
    touches = bench.touch(*UNSTABLE)
    liquid = trouble.phases == {"liquid"}
    wanted = _blowdown_wanted(bench, guards.most_blowdown(liquid))
    now = bench.valve.blowdown or 0.0
    blocked = guards.reseat_above_operating(trouble, wanted)
    if wanted <= now + 0.005:
        blocked = f"the blowdown is already {now:.0%}, the limit is {guards.most_blowdown(liquid):.0%}"
    return Option("more-blowdown", f"More blowdown: {wanted:.0%} of set by the rings", touches, blocked,
                  build=lambda: blown_down(bench, bench.as_it_stands(), wanted))  # fmt: skip


def _blowdown_wanted(bench: Bench, most: float) -> float:
    losses = [case.inlet_loss_rated or 0.0 for case in bench.trouble.assessment.cases]
    reserve = bench.basis.inlet_loss_analysis_reserve
    return min(most, ceil(100 * max(LEAST_MORE, max(losses, default=0.0) + reserve)) / 100)


def blown_down(bench: Bench, made: Made, wanted: float) -> Made:
    """What is made, with the rings set to this blowdown, share of gauge set."""
    location = bench.further(made.location, {"valve.blowdown": f"{wanted:.0%}"}, "more blowdown", bench.touch(*UNSTABLE),
                             valve=replace(made.location.valve, blowdown=wanted))  # fmt: skip
    work = bench.tools.change_out() + bench.tools.part("ring-setting") + bench.tools.documents()
    proofs = only(guards.ring_proof(), guards.reseat_known(bench.trouble))
    return replace(made, location=location, work=once(made.work, work, bench.tools.shop(bench.valve.inlet_size)),
                   proofs=(*made.proofs, *proofs))  # fmt: skip
