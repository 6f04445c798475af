"""Remedies around the valve: inlet and outlet piped anew, a rupture disk under it."""

from __future__ import annotations

from dataclasses import replace

from quietseat.economics import ZERO
from quietseat.model import Fit, Fitting, Line
from quietseat.remedies import gate, guards, hardware
from quietseat.remedies.bench import Bench, Made, Option, once, only
from quietseat.remedies.work import alloyed

UNSTABLE = frozenset(("inlet-loss", "chatter", "cycling"))


def re_pipe_inlet(bench: Bench) -> Option | None:
    """The inlet line one or two sizes larger, with a full-bore block valve and a rounded entrance."""
    touches = bench.touch(*UNSTABLE)
    line = hardware.larger(bench.trouble.location.inlet)
    blocked = "" if line is not None else "the inlet line's size is not known, or it has several bores: draw it first"
    if not blocked and bench.trouble.location.inlet.length is None:
        blocked = "the inlet line's length is not known: measure it first"
    if not blocked and bench.trouble.location.inlet.loss_coefficient is not None:
        blocked = "the line is known by its loss coefficient only: draw it first"
    title = f"Re-pipe the inlet in NPS {line.size:g}" if line is not None else "Re-pipe the inlet"
    return Option("re-pipe-inlet", title, touches, blocked, build=lambda: _inlet(bench))


def _inlet(bench: Bench) -> Made | str:
    old = bench.trouble.location.inlet
    line = hardware.larger(old, _steps(bench, old))
    if line is None or line.size is None:
        return "no larger pipe size is in the table"
    size = line.size
    line = replace(line, entrance="rounded", schedule=None if old.schedule is None else "40")
    fields = {"inlet.size": f"NPS {line.size:g}", "inlet.entrance": "rounded"}
    location = bench.changed(fields, "re-piped inlet", bench.touch(*UNSTABLE), inlet=line)
    welds = 3 + 2 * round(sum(fitting.count for fitting in old.fittings))
    work = bench.tools.part("new-tap") + bench.tools.welding(size, welds, alloyed(bench.valve), "inlet line")
    work += bench.tools.change_out() + bench.tools.engineering() + bench.tools.documents() + bench.tools.access()
    return Made(location, bench.stays, ZERO, work + bench.overhaul(), title=f"Re-pipe the inlet in NPS {line.size:g}")


def _steps(bench: Bench, line: Line) -> int:
    """Pipe sizes to go up: loss falls with the fourth power of the bore, or faster."""
    losses = [case.inlet_loss_rated or 0.0 for case in bench.trouble.assessment.cases]
    limit = bench.basis.inlet_loss_limit
    target = max(losses, default=0.0)
    for steps in (1, 2):
        size = hardware.next_size(line.size or 0.0, steps)
        if size is not None and target * ((line.size or size) / size) ** 4 <= 0.9 * limit:
            return steps
    return 1 if target <= limit else 2


def re_pipe_nearer(bench: Bench) -> Option | None:
    """The valve moved up to the vessel's nozzle: a short inlet without bends, and the outlet line longer by as much."""
    inlet, length = bench.trouble.location.inlet, bench.basis.nearest_inlet
    blocked = ""
    if inlet.segments:
        blocked = "the inlet line has several bores: draw it first"
    elif inlet.length is None or inlet.loss_coefficient is not None:
        blocked = "the inlet line's length is not known: measure it first"
    elif inlet.length <= 1.2 * length:
        blocked = f"the valve stands {inlet.length:.2g} m from the vessel already"
    title = f"Move the valve up to the nozzle: inlet of {length:.2g} m"
    return Option("re-pipe-nearer", title, bench.touch(*UNSTABLE), blocked, build=lambda: _nearer(bench, length))


def _nearer(bench: Bench, length: float) -> Made:
    old, out = bench.trouble.location.inlet, bench.trouble.location.outlet
    moved = (old.length or length) - length
    fields = {"inlet.length": f"{length:.2g} m", "inlet.fittings": "no bend, no branch"}
    if out.length is not None:
        out = replace(out, length=out.length + moved)
        fields["outlet.length"] = f"{moved:.2g} m longer"
    location = bench.changed(fields, "valve at the nozzle", bench.touch(*UNSTABLE), inlet=hardware.nearer(old, length), outlet=out)
    alloy = alloyed(bench.valve)
    work = bench.tools.welding(old.size or bench.valve.inlet_size or 4.0, 2, alloy, "inlet line")
    work += bench.tools.welding(out.size or bench.valve.outlet_size or 4.0, 4, alloy, "outlet line, extended")
    work += bench.tools.change_out() + bench.tools.engineering() + bench.tools.documents() + bench.tools.access()
    proofs = only("the layout lets the valve stand at the nozzle: access, support, an outlet that drains (isometric)",
                  "" if out.length is not None else "the longer outlet line drawn and its back pressure checked")  # fmt: skip
    return Made(location, bench.stays, ZERO, work + bench.overhaul(), proofs)


def re_pipe_outlet(bench: Bench) -> Option | None:
    """The outlet line one size larger."""
    touches = bench.touch("back-pressure")
    line = hardware.larger(bench.trouble.location.outlet)
    blocked = "" if line is not None else "the outlet line's size is not known, or it has several bores: draw it first"
    if not blocked and bench.trouble.location.outlet.length is None:
        blocked = "the outlet line's length is not known: measure it first"
    title = f"Re-pipe the outlet in NPS {line.size:g}" if line is not None else "Re-pipe the outlet"
    return Option("re-pipe-outlet", title, touches, blocked, build=lambda: _outlet(bench))


def _outlet(bench: Bench) -> Made | str:
    old = bench.trouble.location.outlet
    line = hardware.larger(old)
    if line is None or line.size is None:
        return "no larger pipe size is in the table"
    base = replace(bench.trouble.location, cases=tuple(replace(case, built_up=None) for case in bench.trouble.cases))
    fields = {"outlet.size": f"NPS {line.size:g}"}
    location = bench.changed(fields, "re-piped outlet", bench.touch("back-pressure"), base=base, outlet=line)
    welds = 3 + 2 * round(sum(fitting.count for fitting in old.fittings))
    work = bench.tools.welding(line.size, welds, alloyed(bench.valve), "outlet line")
    work += bench.tools.change_out() + bench.tools.engineering() + bench.tools.documents() + bench.tools.access()
    return Made(location, bench.stays, ZERO, work + bench.overhaul())


def disk(bench: Bench) -> Option | None:
    """A rupture disk under the valve."""
    if bench.valve.rupture_disk:
        return None
    # It keeps the fluid away: it cures what the fluid did, not a weak spring or a crooked guide.
    service = bench.trouble.location.service
    attacks = service.fouling or service.polymerising or service.viscous or service.corrosive or service.sour
    by_fluid = ("stuck", "corrosion") if attacks or "fouling" in bench.trouble.failing else ()
    touches = bench.touch("leaks", "fouling", *by_fluid)
    return Option("rupture-disk-under", "Rupture disk under the valve", touches, gate=gate.disk_gate(bench.trouble),
                  build=lambda: _disk(bench, touches))  # fmt: skip


def _disk(bench: Bench, touches: frozenset[str]) -> Made:
    return disk_under(bench, bench.as_it_stands(), touches)


def disk_under(bench: Bench, made: Made, touches: frozenset[str]) -> Made:
    """What is made, with a rupture disk under the valve."""
    trouble = bench.trouble
    inlet = made.location.inlet
    line = replace(inlet, fittings=(*inlet.fittings, Fitting("rupture-disk", 1.0, None, True)))
    if inlet.loss_coefficient is not None:
        line = inlet  # the stated K stays; the disk's own loss is named as a proof
    valve = replace(made.location.valve, rupture_disk=True)
    location = bench.further(made.location, {"valve.rupture_disk": "yes"}, "rupture disk", touches, valve=valve, inlet=line)
    # A disk shields the valve from the process: what the fluid did to it stays below.
    service = replace(location.service, fouling=False, polymerising=False, corrosive=False)
    work = bench.tools.change_out() + bench.tools.part("rupture-disk")
    work += bench.tools.spool(bench.valve.outlet_size, alloyed(bench.valve)) + bench.tools.engineering()
    work += bench.tools.documents() + bench.tools.shop(bench.valve.inlet_size)
    loss = "the disk's own loss counted in the inlet" if inlet.loss_coefficient is not None else ""
    fit = Fit("spool", "The disk holder lifts the valve by its height, which its maker gives: outlet spool to be cut and welded; "
              "measure before ordering.")  # fmt: skip
    proofs = (*made.proofs, *only(guards.disk_operating(trouble), loss))
    return replace(made, location=replace(location, service=service), fit=fit, work=once(made.work, work), proofs=proofs)
