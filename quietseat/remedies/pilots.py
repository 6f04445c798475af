"""Pilot valves: snap or modulating, integral or remote sense, bleeding or not, in a body of either dimensions.

The families that are out are one line each; a family that clears is priced in all its bodies and bleeds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from quietseat import catalogue, economics
from quietseat.model import Fit, Location, Remedy, Spread, Suitability, Valve, Work
from quietseat.remedies import gate, guards, hardware
from quietseat.remedies.bench import Bench, only
from quietseat.remedies.evaluate import Judged, judge, priced_remedy, refused
from quietseat.remedies.gate import Gate
from quietseat.remedies.work import Costing, alloyed

ALWAYS = frozenset(("close-to-set", "leaks", "back-pressure", "bellows", "rating"))
REMOTE = frozenset(("inlet-loss", "chatter", "cycling"))
MODULATING = REMOTE | {"oversized"}
LEAST_SNAP, LEAST_MODULATING = 0.02, 0.0  # blowdown a pilot can be set to, share of set; practice, memory-md
FAMILIES = (("snap", "integral"), ("snap", "remote"), ("modulating", "integral"), ("modulating", "remote"))
BODIES = ("spring", "pilot")
_WORDS = {"spring": "body to spring-valve dimensions", "pilot": "body to pilot-table dimensions"}


@dataclass(frozen=True, slots=True)
class Variant:
    """One pilot of a family."""

    action: str
    sense: str
    bleed: str
    body: str

    @property
    def name(self) -> str:
        """The fixed word of the variant."""
        return f"pilot-{self.action}-{self.sense}-{self.bleed}-{self.body}-body"

    @property
    def title(self) -> str:
        """The variant in plain words."""
        return f"{self.action.capitalize()} pilot, {self.sense} sense, {self.bleed}, {_WORDS[self.body]}"


def remedies(bench: Bench, costing: Costing) -> list[Remedy]:
    """All pilot remedies of a Location. Vetoed ones are not assessed."""
    trouble = bench.trouble
    if bench.valve.kind == "pilot":
        return []
    opened = gate.pilot_gate(trouble)
    if opened.closed:
        return [refused(trouble, "pilot", "Pilot valve of any kind", opened.closed, suitability=opened.suitability)]
    if bench.valve.inlet_size is None or bench.valve.outlet_size is None:
        return [refused(trouble, "pilot", "Pilot valve of any kind", "the flange sizes of the valve are not known")]
    out: list[Remedy] = []
    for action, sense in FAMILIES:
        out += _family(bench, costing, opened, action, sense)
    return out


def _family(bench: Bench, costing: Costing, opened: Gate, action: str, sense: str) -> list[Remedy]:
    """One action and sense: out in one line, or judged for each bleed and priced for each body."""
    trouble = bench.trouble
    name, title = f"pilot-{action}-{sense}", f"{action.capitalize()} pilot, {sense} sense"
    touches = ALWAYS | (MODULATING if action == "modulating" else REMOTE if sense == "remote" else {"chatter"})
    touches |= trouble.injuries(touches)
    untouched = tuple(sorted(trouble.failing.keys() - touches))
    if untouched:
        return [refused(trouble, name, title, f"does not touch: {', '.join(untouched)}", left=untouched)]
    why = guards.set_tolerance(trouble) or guards.two_phase_snap(trouble, action)
    if why:
        return [refused(trouble, name, title, why, suitability=opened.suitability)]
    proofs = (*opened.proofs, *_proofs(bench, action, sense))
    dry = _judge(bench, touches, proofs, action, sense, "non-bleeding")
    if dry.clears == "no":
        return [dry.refusal(trouble, name, title)]
    out = [_priced(bench, costing, opened, dry, Variant(action, sense, "non-bleeding", body)) for body in BODIES]
    why = guards.bleeding_in_hydrates(trouble)
    if why:
        return [*out, refused(trouble, f"{name}-bleeding", f"{title}, bleeding", why, suitability=opened.suitability)]
    # Where a pilot bleeds matters to a check only when it senses at the valve inlet.
    wet = dry if sense == "remote" else _judge(bench, touches, proofs, action, sense, "bleeding")
    if wet.clears == "no":
        return [*out, wet.refusal(trouble, f"{name}-bleeding", f"{title}, bleeding")]
    return out + [_priced(bench, costing, opened, wet, Variant(action, sense, "bleeding", body)) for body in BODIES]


def _proofs(bench: Bench, action: str, sense: str) -> tuple[str, ...]:
    trouble = bench.trouble
    proofs = [guards.remote_sense(trouble)] if sense == "remote" else []
    if action == "modulating":
        proofs.append(guards.modulating_proof())
        # Judged at required flow: that flow has to be somebody's word.
        if "inlet-loss" in trouble.failing or sense == "integral":
            proofs.append(guards.signed_rate(trouble))
    return only(*proofs)


def _judge(
    bench: Bench, touches: frozenset[str], proofs: tuple[str, ...], action: str, sense: str, bleed: str
) -> Judged:
    return judge(
        bench.trouble, _changed(bench, touches, Variant(action, sense, bleed, "spring"), None), touches, proofs
    )


def _changed(bench: Bench, touches: frozenset[str], variant: Variant, frame: catalogue.Frame | None) -> Location:
    trouble, basis = bench.trouble, bench.basis
    least = LEAST_MODULATING if variant.action == "modulating" else LEAST_SNAP
    blowdown = _usual_blowdown(bench, variant.action)
    ratio = trouble.operating_ratio
    if ratio is not None:
        blowdown = min(blowdown, max(least, 1 - ratio - 0.005))
    header = trouble.location.outlet.discharge_to in ("flare", "closed", "process") or bool(
        trouble.location.service.backflow
    )
    valve = hardware.pilot(
        bench.valve, variant.action, variant.sense, variant.bleed, variant.body, frame, blowdown, header
    )
    fields = {
        "valve.kind": "pilot", "valve.seat": "soft", "valve.blowdown": f"{blowdown:.1%}", "valve.pilot_action": variant.action,
        "valve.pilot_sense": variant.sense,
    }  # fmt: skip
    dynamics = hardware.pilot_dynamics(variant.sense, basis.sense_area, blowdown)
    return bench.changed(fields, "pilot valve", touches, new_valve=True, valve=valve, dynamics=dynamics)


def _priced(bench: Bench, costing: Costing, opened: Gate, judged: Judged, variant: Variant) -> Remedy:
    """One variant of a family that clears: its fit, its price, its conditions."""
    trouble, valve = bench.trouble, bench.valve
    found = _fit(bench, variant.body)
    if isinstance(found, str):
        return refused(trouble, variant.name, variant.title, found)
    fit, frame = found
    if fit.verdict == "does not fit":
        return refused(trouble, variant.name, variant.title, f"does not fit: {fit.words}", fit=fit)
    location = _variant_location(judged.location, variant, frame, valve)
    capital = economics.new_valve(location.valve, bench.basis)
    if capital is None:
        return refused(
            trouble, variant.name, variant.title, f"no price for a pilot valve of inlet NPS {valve.inlet_size:g}"
        )
    suitability = _suitability(bench, opened.suitability, location.valve.blowdown, variant)
    work = _work(bench, fit, variant)
    question = guards.sense_tap(trouble) if variant.sense == "remote" else ""
    return priced_remedy(
        trouble,
        costing,
        judged,
        variant.name,
        variant.title,
        location,
        fit,
        suitability,
        capital,
        work,
        question=question,
    )


def _variant_location(location: Location, variant: Variant, frame: catalogue.Frame | None, old: Valve) -> Location:
    valve = location.valve
    changes: dict[str, object] = {"pilot_bleed": variant.bleed, "body_pattern": variant.body}
    if frame is not None:
        changes |= {"inlet_height": frame.inlet_height, "outlet_reach": frame.outlet_reach}
    else:
        changes |= {"inlet_height": old.inlet_height, "outlet_reach": old.outlet_reach}
    return replace(location, valve=replace(valve, **changes))  # type: ignore[arg-type]


def _fit(bench: Bench, body: str) -> tuple[Fit, catalogue.Frame | None] | str:
    valve = bench.valve
    if body == "spring":
        return catalogue.made_to_measure(valve, bench.basis), None
    frame = catalogue.pilot_body(valve.inlet_size or 0.0, valve.outlet_size or 0.0, valve.inlet_class or 150)
    if frame is None:
        return f"the pilot table has no body {bench.size()}"
    if valve.orifice is not None and valve.orifice not in frame.letters:
        return f"the pilot body {bench.size()} is not made with letter {valve.orifice} (usual letters {', '.join(frame.letters)})"
    return catalogue.fits(valve, frame, bench.basis), frame


def _usual_blowdown(bench: Bench, action: str) -> float:
    return bench.basis.default_blowdown_modulating if action == "modulating" else bench.basis.default_blowdown_snap


def _suitability(bench: Bench, base: Suitability, blowdown: float | None, variant: Variant) -> Suitability:
    ratio, usual = bench.trouble.operating_ratio, _usual_blowdown(bench, variant.action)
    extra = []
    if ratio is not None and blowdown is not None and blowdown < usual:
        extra.append(f"ordered with a blowdown of {blowdown:.1%}, tested: at the usual {usual:.1%} it could not shut again above the "
                     f"operating maximum of {ratio:.1%} of set")  # fmt: skip
    if variant.sense == "remote":
        extra.append("sense line 3/8 in or wider, self-draining to the vessel, its isolation locked open")
    if variant.bleed == "bleeding" and variant.action == "modulating" and ratio is not None and ratio >= 0.95:
        extra.append("the pilot itself emits between about 95 and 100 % of set (common practice, no source)")
    if not extra:
        return base
    verdict = "with conditions" if base.verdict == "suitable" else base.verdict
    return replace(base, verdict=verdict, conditions=(*base.conditions, *extra))


def _work(bench: Bench, fit: Fit, variant: Variant) -> tuple[Work, ...]:
    tools, service = bench.tools, bench.trouble.location.service
    parts = ["field-test-connection"]
    if service.backflow or bench.trouble.location.outlet.discharge_to in ("flare", "closed", "process"):
        parts.append("backflow-preventer")
    if service.fouling is None:
        parts.append("filter")
    if service.pulsating:
        parts.append("snubber")
    if service.hydrates or service.viscous or service.condensing:
        parts.append("heat-trace")
    if variant.sense == "remote":
        parts.append("sense-tubing")
    work = tools.change_out() + tools.part(*parts) + tools.fitting(fit, bench.valve.outlet_size, alloyed(bench.valve))
    if variant.sense == "remote" and not service.sense_tap:
        work += _tap(tools.part("new-tap"), service.sense_tap)
    return work + tools.engineering() + tools.documents()


def _tap(items: tuple[Work, ...], known: bool | None) -> tuple[Work, ...]:
    """A new tapping; where nobody said whether one is there, the low end is none."""
    if known is False:
        return items
    return tuple(
        replace(item, item=f"{item.item}, if no tapping is there", money=Spread(0.0, item.money.mid, item.money.high))
        for item in items
    )
