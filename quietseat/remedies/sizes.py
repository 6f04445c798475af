"""Remedies of another size: smaller or larger orifice, smaller valve, a staggered pair."""

from __future__ import annotations

from dataclasses import replace

from quietseat import catalogue, economics
from quietseat.assess.checks.pressure import rating
from quietseat.catalogue import Frame, spring_body
from quietseat.economics import ZERO
from quietseat.model import Line
from quietseat.remedies import guards, hardware
from quietseat.remedies.bench import FLOW_CURES, Bench, Made, Option, once, only
from quietseat.remedies.work import alloyed
from quietseat.sizing.letters import letters

CLASSES = (150, 300, 600, 900, 1500, 2500)  # ASME B16.5
AMBIENT = 311.15  # K, 38 degC: the first row of the rating tables


def smaller_orifice(bench: Bench) -> Option | None:
    """The smallest letter of the same inlet x outlet and class that covers every case."""
    if bench.valve.kind == "pilot" or bench.valve.orifice is None:
        return None
    touches = bench.touch(*FLOW_CURES)
    blocked = guards.every_case(bench.trouble)
    letter = None if blocked else _letter(bench, larger=False)
    if not blocked and letter is None:
        blocked = f"{bench.size()} is not made with a smaller letter that covers every case"
    title = (
        f"Smaller orifice: {letter} in place of {bench.valve.orifice}, same flanges" if letter else "Smaller orifice"
    )
    return Option(
        "smaller-orifice", title, touches, blocked, build=lambda: _other_letter(bench, letter or "", FLOW_CURES)
    )


def larger_orifice(bench: Bench) -> Option | None:
    """The smallest larger letter of the same flanges that covers every case."""
    if "undersized" not in bench.trouble.failing or bench.valve.kind == "pilot" or bench.valve.orifice is None:
        return None
    letter = _letter(bench, larger=True)
    blocked = "" if letter else f"{bench.size()} is not made with a letter large enough"
    title = f"Larger orifice: {letter} in place of {bench.valve.orifice}, same flanges" if letter else "Larger orifice"
    return Option("larger-orifice", title, bench.touch("undersized"), blocked,
                  build=lambda: _other_letter(bench, letter or "", frozenset(("undersized",))))  # fmt: skip


def _letter(bench: Bench, larger: bool) -> str | None:
    valve, areas, need = bench.valve, letters(), bench.trouble.required_area
    if valve.inlet_size is None or valve.outlet_size is None or need is None or valve.orifice not in areas:
        return None
    now = areas[valve.orifice]
    offered = catalogue.letters_of_size(valve.inlet_size, valve.outlet_size, valve.inlet_class or 150)
    fitting = [
        letter for letter in offered
        if areas[letter] >= need and (areas[letter] > now if larger else areas[letter] < now) and _holds(bench, letter)
    ]  # fmt: skip
    return min(fitting, key=lambda letter: areas[letter], default=None)


def _holds(bench: Bench, letter: str) -> bool:
    """The letter's set limit in this size and class covers the set pressure."""
    valve = bench.valve
    return _frame(bench, letter, valve.inlet_size or 0.0, valve.outlet_size or 0.0) is not None


def _frame(bench: Bench, letter: str, inlet: float, outlet: float) -> Frame | None:
    return spring_body(letter, inlet, outlet, bench.valve.inlet_class or 150, bench.trouble.set_gauge)


def _other_letter(bench: Bench, letter: str, cures: frozenset[str]) -> Made | str:
    frame = _frame(bench, letter, bench.valve.inlet_size or 0.0, bench.valve.outlet_size or 0.0)
    if frame is None:
        return f"{bench.size()} is not in the table with letter {letter}"
    return _new_spring(bench, letter, frame, cures, same_flanges=True)


def _new_spring(bench: Bench, letter: str, frame: Frame, cures: frozenset[str], *, same_flanges: bool) -> Made | str:
    trouble = bench.trouble
    kind = bench.valve.kind or "conventional"
    valve = hardware.spring(bench.valve, letter, frame, kind)
    fit = catalogue.fits(bench.valve, frame, bench.basis)
    if same_flanges and fit.verdict == "does not fit":
        return fit.words
    base = hardware.restated(trouble.location, _area_ratio(bench, letter))
    location = bench.changed(
        {"valve.orifice": letter}, "other orifice", bench.touch(*cures), valve=valve, base=base, new_valve=True,
    )  # fmt: skip
    retrim = same_flanges and fit.difference_inlet == 0 and fit.difference_outlet == 0
    if retrim:
        capital, parts = ZERO, bench.tools.part("trim-change")
    else:
        price = economics.new_valve(valve, bench.basis)
        if price is None:
            return f"no price for a valve of inlet NPS {frame.inlet:g}"
        capital, parts = price, ()
    work = bench.tools.change_out() + parts + bench.tools.fitting(fit, bench.valve.outlet_size, alloyed(bench.valve))
    if fit.verdict == "spool":
        work += bench.tools.engineering()
    return Made(location, fit, capital, work + bench.tools.documents(), only(guards.signed_rate(trouble)))


def _area_ratio(bench: Bench, letter: str) -> float:
    areas = letters()
    now = bench.valve.effective_area or areas.get(bench.valve.orifice or "")
    return areas[letter] / now if now else 1.0


def smaller_valve(bench: Bench) -> Option | None:
    """A smaller valve on reducing spools, where the same flanges are not made with a letter small enough."""
    trouble, valve = bench.trouble, bench.valve
    if "oversized" not in trouble.failing or valve.kind == "pilot" or valve.inlet_size is None:
        return None
    need, areas = trouble.required_area, letters()
    blocked = guards.every_case(trouble)
    same = _letter(bench, larger=False)
    if same is not None and need is not None and need / areas[same] >= bench.basis.oversize_utilisation:
        return None  # the same flanges do it without any pipe work
    letter, frame = _smallest_anywhere(bench, need) if need is not None else (None, None)
    if not blocked and (letter is None or frame is None):
        blocked = "no smaller letter covers every case"
    title = f"Smaller valve: {frame.inlet:g}{letter}{frame.outlet:g} on reducing spools" if frame else "Smaller valve"
    return Option("smaller-valve", title, bench.touch(*FLOW_CURES), blocked,
                  build=lambda: _smaller_valve(bench, letter or "", frame))  # fmt: skip


def _smallest_anywhere(bench: Bench, need: float) -> tuple[str | None, Frame | None]:
    areas, valve = letters(), bench.valve
    now = areas.get(valve.orifice or "", 1.0)
    for letter, area in areas.items():
        if need <= area < now:
            frame = catalogue.smallest_body(letter, valve.inlet_class or 150, bench.trouble.set_gauge)
            if frame is not None and frame.inlet <= (valve.inlet_size or 0.0):
                return letter, frame
    return None, None


def _smaller_valve(bench: Bench, letter: str, frame: Frame | None) -> Made | str:
    if frame is None:
        return "no body of that letter is in the table"
    made = _new_spring(bench, letter, frame, FLOW_CURES, same_flanges=False)
    if isinstance(made, str):
        return made
    alloy, tools = alloyed(bench.valve), bench.tools
    size_in, size_out = bench.valve.inlet_size, bench.valve.outlet_size
    inlet = tools.spool(size_in, alloy, "inlet reducing spool") if frame.inlet != size_in else ()
    outlet = tools.spool(size_out, alloy, "outlet reducing spool" if frame.outlet != size_out else "outlet spool")
    said = "spools at inlet and outlet" if inlet else "spool at the outlet"
    fit = replace(made.fit, verdict="spool", words=f"{said}: {made.fit.words}")
    return replace(made, fit=fit, work=once(made.work, inlet, outlet, tools.engineering()))


def higher_class(bench: Bench) -> Option | None:
    """The same letter in the next class that carries the set at temperature."""
    valve = bench.valve
    if (
        "rating" not in bench.trouble.failing
        or valve.kind == "pilot"
        or valve.orifice is None
        or valve.inlet_class is None
    ):
        return None
    frame = _stronger(bench)
    blocked = "" if frame is not None else f"letter {valve.orifice} is not made in a class that carries this set"
    title = (
        f"Higher class: {frame.inlet:g}{valve.orifice}{frame.outlet:g} class {frame.inlet_class}"
        if frame
        else "Higher class"
    )
    return Option("higher-class", title, bench.touch("rating"), blocked,
                  build=lambda: _higher_class(bench, frame))  # fmt: skip


def _stronger(bench: Bench) -> Frame | None:
    valve, gauge = bench.valve, bench.trouble.set_gauge or 0.0
    hottest = max((*bench.trouble.temperatures, AMBIENT))
    for pressure_class in CLASSES:
        if pressure_class <= (valve.inlet_class or 0):
            continue
        frame = catalogue.smallest_body(valve.orifice or "", pressure_class, gauge)
        limit = rating(valve.body_material, pressure_class, hottest)
        if frame is not None and limit is not None and limit >= gauge:
            return frame
    return None


def _higher_class(bench: Bench, frame: Frame | None) -> Made | str:
    if frame is None:
        return "no body of that class is in the table"
    valve = replace(
        hardware.spring(bench.valve, bench.valve.orifice or "", frame, bench.valve.kind or "conventional"),
        inlet_class=frame.inlet_class, outlet_class=frame.outlet_class,
    )  # fmt: skip
    price = economics.new_valve(valve, bench.basis)
    if price is None:
        return f"no price for a valve of inlet NPS {frame.inlet:g}"
    fields = {"valve.inlet_class": f"class {frame.inlet_class}"}
    location = bench.changed(fields, "higher class", bench.touch("rating"), valve=valve, new_valve=True)
    fit = catalogue.fits(bench.valve, frame, bench.basis)
    said = "new line flanges and spools, the face of the inlet flange where the old one stands"
    fit = replace(fit, verdict="spool", words=f"{said}: {fit.words}")
    alloy, tools = alloyed(bench.valve), bench.tools
    work = once(
        tools.change_out(), tools.spool(frame.inlet, alloy, "inlet flange"), tools.spool(frame.outlet, alloy), tools.engineering(),
        tools.documents(),
    )  # fmt: skip
    return Made(location, fit, price, work, ("the line, its block valve and the vessel's nozzle carry this pressure",))


def staggered_pair(bench: Bench) -> Option | None:
    """Two smaller valves, the second set 5 % higher, in place of one; each takes half."""
    trouble = bench.trouble
    if bench.valve.kind == "pilot":
        return None
    blocked = guards.every_case(trouble)
    if not blocked and any((case.required or 1) > 1 for case in trouble.cases):
        blocked = "several valves share the cases already"
    letter, frame = (None, None) if blocked else _half(bench)
    if not blocked and letter is None:
        blocked = "no letter of a half-sized pair covers every case"
    title = f"Staggered pair: two valves {letter}, the second set 5 % higher" if letter else "Staggered pair"
    return Option("staggered-pair", title, bench.touch(*FLOW_CURES, "undersized"), blocked,
                  build=lambda: _pair(bench, letter or "", frame))  # fmt: skip


def _half(bench: Bench) -> tuple[str | None, Frame | None]:
    need = (bench.trouble.required_area or 0.0) / 2
    for letter, area in letters().items():
        if area >= need:
            frame = catalogue.smallest_body(letter, bench.valve.inlet_class or 150, bench.trouble.set_gauge)
            if frame is not None:
                return letter, frame
    return None, None


def _pair(bench: Bench, letter: str, frame: Frame | None) -> Made | str:
    trouble, basis = bench.trouble, bench.basis
    if frame is None:
        return "no body of that letter is in the table"
    valve = hardware.spring(bench.valve, letter, frame, bench.valve.kind or "conventional")
    price = economics.new_valve(valve, basis)
    if price is None:
        return f"no price for a valve of inlet NPS {frame.inlet:g}"
    base = hardware.restated(trouble.location, 2 * _area_ratio(bench, letter))
    cases = tuple(
        replace(case, installed=2, required=2, accumulation=max(case.accumulation or 0.0, basis.accumulation_multiple))
        for case in base.cases
    )
    fields = {"valve.orifice": letter} | {f"cases.{i}.accumulation": "several valves" for i in range(len(cases))}
    line = _own_inlet(bench, frame)
    base = replace(base, cases=cases, inlet=line)
    cures = bench.touch(*FLOW_CURES, "undersized")
    location = bench.changed(fields, "staggered pair", cures, valve=valve, base=base, new_valve=True)
    alloy = alloyed(bench.valve)
    work = bench.tools.part("new-tap") + bench.tools.welding(frame.inlet, 4, alloy, "second inlet")
    work += bench.tools.welding(frame.outlet, 4, alloy, "second outlet") + bench.tools.change_out() * 2
    work += bench.tools.engineering() + bench.tools.documents() + bench.tools.access()
    proofs = only(guards.signed_rate(trouble), "the second nozzle and both inlet lines laid out and checked")
    fit = replace(
        catalogue.fits(bench.valve, frame, basis), verdict="spool", words="new nozzle and pipework for the pair"
    )
    return Made(location, fit, price.times(2), work, proofs, valves=2)


def _own_inlet(bench: Bench, frame: Frame) -> Line:
    """Each valve on a nozzle of its own: a line of the valve's size, or the line there is, the larger."""
    line = bench.trouble.location.inlet
    return (
        line if line.segments or line.diameter or (line.size or 0.0) >= frame.inlet else replace(line, size=frame.inlet)
    )
