"""Cures that are not enough alone, in one visit: a better inlet, more blowdown, less lift, a disk that keeps dirt away."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from quietseat.assess.capacity import disk_factor
from quietseat.model import Remedy
from quietseat.remedies import guards, heating, pipework, settings, trim
from quietseat.remedies.bench import Bench, Made, Option
from quietseat.remedies.evaluate import run
from quietseat.remedies.work import Costing

# What is built first; the others are set or fitted into the valve while it is out.
BASES = ("re-pipe-nearer", "re-pipe-inlet", "restricted-lift", "smaller-orifice")
SHIELDED = ("re-pipe-nearer", "re-pipe-inlet", "smaller-orifice", "more-blowdown")
INLETS = ("re-pipe-nearer", "re-pipe-inlet")


@dataclass(frozen=True, slots=True)
class Step:
    """A cure that goes into what another one made."""

    option: Option
    title: str
    fit_in: Callable[[Made], Made]


def remedies(bench: Bench, options: list[Option], alone: list[Remedy], costing: Costing) -> list[Remedy]:
    """Pairs and threes of the options that clear where none of their parts does by fewer; where nothing clears, the one that leaves least.

    alone: the remedies of single options. None where nothing unstable fails, or where only one of the parts can be built.
    """
    if not settings.UNSTABLE & bench.trouble.failing.keys() or bench.valve.kind == "pilot":
        return []
    known = {option.name: option for option in options}
    enough = [{remedy.name} for remedy in alone if remedy.clears != "no"]
    cured: list[Remedy] = []
    failed: list[Remedy] = []
    beaten = False
    every = (*_pairs(known, _lift(bench, known), _rings(bench, known)), *_shielded(bench, known))
    for option, parts in sorted(every, key=lambda one: len(one[1])):
        if any(fewer <= set(parts) for fewer in enough):
            beaten = True
            continue
        remedy = run(option, bench.trouble, costing)
        if remedy.clears != "no":
            cured.append(remedy)
            enough.append(set(parts))
        elif remedy.assessment is not None:
            failed.append(remedy)
    if cured or beaten:
        return cured
    return sorted(failed, key=lambda one: (len(one.left) + len(one.created), one.name))[:1]


def _pairs(known: dict[str, Option], lift: Step | None, rings: Step | None) -> Iterator[tuple[Option, tuple[str, ...]]]:
    for name in BASES:
        base = _open(known, name)
        if base is None:
            continue
        if rings is not None:
            yield _joined(base, rings), (name, rings.option.name)
        if lift is not None and name in INLETS:
            both = _joined(base, lift)
            yield both, (name, lift.option.name)
            if rings is not None:
                yield _joined(both, rings), (name, lift.option.name, rings.option.name)


def _shielded(bench: Bench, known: dict[str, Option]) -> Iterator[tuple[Option, tuple[str, ...]]]:
    """A disk or heat keeps deposits away, another cure quiets the valve: only where the fluid has hurt it."""
    failing = bench.trouble.failing.keys()
    disk, heat = _open(known, "rupture-disk-under"), _open(known, heating.HEATED)
    if disk is not None and disk.touches & failing:
        yield from _with(known, Step(disk, "a rupture disk under the valve", lambda made: pipework.disk_under(bench, made, disk.touches)), SHIELDED)
        lift = _lift(bench, known, disk_factor())
        if lift is not None:  # the disk first: with it the stop has to leave more
            yield _joined(disk, lift), (disk.name, lift.option.name)
    if heat is not None and heat.touches & failing:
        yield from _with(known, Step(heat, "the valve and its inlet heated", lambda made: heating.heated(bench, made)), (*SHIELDED, "restricted-lift"))


def _open(known: dict[str, Option], name: str) -> Option | None:
    """An option that no guard and no gate rules out."""
    option = known.get(name)
    return option if option is not None and not option.blocked and not option.gate.closed else None


def _with(known: dict[str, Option], step: Step, names: tuple[str, ...]) -> Iterator[tuple[Option, tuple[str, ...]]]:
    for name in names:
        base = _open(known, name)
        if base is not None:
            yield replace(_joined(base, step), gate=step.option.gate), (name, step.option.name)


def _lift(bench: Bench, known: dict[str, Option], deduction: float = 1.0) -> Step | None:
    """deduction: by which a part built beside it lowers what the valve may be counted with."""
    option, fraction = known.get("restricted-lift"), guards.smallest_lift(bench.trouble, deduction)
    if option is None or option.blocked or fraction is None or fraction >= trim.NEARLY_FULL * (bench.valve.lift_restriction or 1.0):
        return None
    return Step(option, f"a lift stop at {fraction:.0%} of full lift", lambda made: trim.stopped(bench, made, fraction))


def _rings(bench: Bench, known: dict[str, Option]) -> Step | None:
    """Beside another cure of the loss the rings need no more than the least that is worth setting."""
    option, wanted = known.get("more-blowdown"), settings.LEAST_MORE
    if option is None or wanted <= (bench.valve.blowdown or 0.0) + 0.005:
        return None
    if guards.reseat_above_operating(bench.trouble, wanted):
        return None
    return Step(option, f"{wanted:.0%} blowdown by the rings", lambda made: settings.blown_down(bench, made, wanted))


def _joined(base: Option, step: Step) -> Option:
    def build() -> Made | str:
        made = base.build() if base.build is not None else "cannot be built"
        return made if isinstance(made, str) else replace(step.fit_in(made), title=f"{made.title or base.title}, with {step.title}")

    name, title = f"{base.name}-{step.option.name}", f"{base.title}, with {step.title}"
    return replace(base, name=name, title=title, touches=base.touches | step.option.touches, build=build)
