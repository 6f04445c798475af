"""A Line becomes a Resistance: bores, loss coefficients, volume; every K recorded, measured or assumed."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from math import pi

from quietseat import tables
from quietseat.formula import One, Sheet, formula, m, m2, m3
from quietseat.model import Fitting, Line
from quietseat.piping.friction import fully_rough, roughness_ratio
from quietseat.piping.records import Choices
from quietseat.status import CalculationFailed, Status

BLOCK_VALVES = {
    "gate": "gate-full",
    "ball": "ball-full",
}  # as registers say it, as the fittings table says it
SAME_BORE = 0.002  # bores closer than this share count as one: no step loss


@formula("definition")
def bore_area(bore: m) -> m2:
    """Flow area of a bore."""
    return pi / 4.0 * bore**2


@formula("definition")
def pipe_volume(area: m2, length: m) -> m3:
    """Volume of a run."""
    return area * length


@formula("equivalent length method, fluid-flow handbooks: K = n fT (L/D), memory-hi")
def fitting_loss(count: One, friction: One, equivalent_ratio: One) -> One:
    """Loss coefficient of fittings from their equivalent length ratio."""
    return count * friction * equivalent_ratio


@formula("definition")
def counted_loss(count: One, coefficient: One) -> One:
    """Loss coefficient of fittings with a constant K."""
    return count * coefficient


@formula("sudden contraction, fluid-flow handbooks, memory-hi; on the smaller bore", valid={"area_ratio": (0.0, 1.0)})
def contraction_loss(area_ratio: One) -> One:
    """Loss coefficient of a sudden contraction; area_ratio is small over large."""
    return 0.5 * (1.0 - area_ratio)


@formula("Borda-Carnot, computed; on the smaller bore", valid={"area_ratio": (0.0, 1.0)})
def enlargement_loss(area_ratio: One) -> One:
    """Loss coefficient of a sudden enlargement; area_ratio is small over large."""
    return (1.0 - area_ratio) ** 2


@formula("velocity heads at the same flow, computed")
def referred_loss(coefficient: One, bore: m, reference: m) -> One:
    """Loss coefficient carried over to another bore."""
    return coefficient * (reference / bore) ** 4


@formula("Darcy-Weisbach")
def friction_loss(friction: One, length: m, bore: m) -> One:
    """Loss coefficient of wall friction."""
    return friction * length / bore


@formula("definition")
def total_loss(fittings: One, friction: One) -> One:
    """Loss coefficient of the run: fittings, steps, entrance and friction."""
    return fittings + friction


@formula("definition")
def added_loss(sum_so_far: One, coefficient: One) -> One:
    """Sum of loss coefficients."""
    return sum_so_far + coefficient


@dataclass(frozen=True, slots=True)
class Run:
    """One bore of a line, in the direction of flow. All K stand on this run's bore."""

    diameter: float  # m
    area: float  # m2
    length: float  # m
    K_fittings: float  # fittings, block valve, contraction into this run, and (inlet, first run) the entrance
    K_enlargement: float  # sudden enlargement at its end, where the next run is larger
    roughness: float  # m
    friction_factor: float | None  # Darcy, where given


@dataclass(frozen=True, slots=True)
class Resistance:
    """A line ready for the hydraulics; built once, used for every flow."""

    end: str  # inlet, outlet
    runs: tuple[Run, ...]
    entrance: float  # K on the first bore (already in runs[0])
    K_total: float  # all fixed K (no wall friction) on `bore`
    bore: float  # m, the smallest
    area: float  # m2 of it
    length: float  # m
    volume: float  # m3
    acoustic: tuple[tuple[float, float], ...]  # (length, diameter), lengths above zero
    height: float | None  # m rise from start to end
    no_pipe: bool  # neither length nor loss
    assumed: tuple[str, ...]  # fields nobody stated
    confidence: str  # weakest mark of the table rows used


@dataclass(slots=True)
class _Draft:
    """A run while its losses are gathered."""

    diameter: float
    length: float
    size: float | None
    flange: bool = False  # the valve's own flange, where no fitting can stand
    losses: list[float] = field(default_factory=list)
    enlargement: float = 0.0


@dataclass(slots=True)
class _Gathering:
    """What one Line leaves behind while it is read."""

    label: str
    end: str
    basis: Choices
    sheet: Sheet
    assumed: list[str] = field(default_factory=list)
    marks: list[str] = field(default_factory=list)

    def fail(self, what: str, mend: str) -> CalculationFailed:
        """The failure for a missing value."""
        return CalculationFailed(Status.NOT_COMPUTED, f"{self.end} {what} unknown: {mend}")


def resistance(
    line: Line,
    basis: Choices,
    sheet: Sheet,
    label: str = "",
    end: str = "inlet",
    valve_bore: float | None = None,
) -> Resistance:
    """The resistance of one line; each K is a step of the sheet, marked measured or assumed.

    end: "inlet" (runs from the vessel to the valve, with an entrance) or "outlet" (from the valve to the
    discharge point). valve_bore: bore of the valve's flange in m where it differs from the pipe; it becomes
    a run of no length on the valve's side. A loss_coefficient of the line takes the place of its fittings and
    block valve, not of its entrance. Raises CalculationFailed(not-computed) for an unknown length or bore.
    """
    at = _Gathering(label or end, end, basis, sheet)
    drafts = _runs(line, at, valve_bore)
    first = drafts[0]
    entrance = 0.0
    if end == "inlet":
        entrance = _entrance(line, at)
        first.losses.append(entrance)  # the valve's flange is never first on an inlet
    smallest = min(drafts, key=lambda run: run.diameter)
    pipes = [run for run in drafts if not run.flange]
    _fittings(line, at, pipes, min(pipes, key=lambda run: run.diameter))
    _steps(drafts, at)
    roughness = line.roughness
    if roughness is None and line.friction_factor is None:
        at.assumed.append("roughness")
    rough = roughness if roughness is not None else basis.default_roughness
    if sheet.record and line.friction_factor is None:
        origin = "stated" if roughness is not None else "assumed: default of the Basis"
        sheet.given("e", "wall roughness", rough, "m", origin)
    runs = tuple(
        Run(
            draft.diameter,
            bore_area(draft.diameter),
            draft.length,
            sum(draft.losses),
            draft.enlargement,
            rough,
            line.friction_factor,
        )
        for draft in drafts
    )
    total = 0.0
    for run in runs:
        k = run.K_fittings + run.K_enlargement
        if run.diameter != smallest.diameter:
            k = sheet.apply("K_ref", referred_loss, coefficient=k, bore=run.diameter, reference=smallest.diameter)
        total = sheet.apply("K", added_loss, sum_so_far=total, coefficient=k)
    length = sum(run.length for run in runs)
    return Resistance(
        end=end,
        runs=runs,
        entrance=entrance,
        K_total=total,
        bore=smallest.diameter,
        area=bore_area(smallest.diameter),
        length=length,
        volume=sum(pipe_volume(run.area, run.length) for run in runs),
        acoustic=tuple((run.length, run.diameter) for run in runs if run.length > 0.0),
        height=line.height,
        no_pipe=length == 0.0 and total - entrance == 0.0,
        assumed=tuple(at.assumed),
        confidence=tables.weakest(at.marks),
    )


def _runs(line: Line, at: _Gathering, valve_bore: float | None) -> list[_Draft]:
    """The bores and lengths in the direction of flow."""
    drafts = [_Draft(segment.diameter, segment.length, segment.size) for segment in line.segments]
    if not drafts:
        if line.length is None:
            raise at.fail(
                "length",
                "state the straight length of the line (0 for a valve on the nozzle or a bare outlet)",
            )
        drafts = [_Draft(_bore(line, at), line.length, line.size)]
    for draft in drafts:
        if not draft.diameter > 0.0 or not draft.length >= 0.0:
            raise CalculationFailed(
                Status.OUT_OF_RANGE,
                f"{at.end}: bore {draft.diameter:.6g} m and length {draft.length:.6g} m cannot be a pipe",
            )
    if valve_bore is not None:
        beside = drafts[-1] if at.end == "inlet" else drafts[0]
        if abs(valve_bore / beside.diameter - 1.0) > SAME_BORE:
            drafts.insert(len(drafts) if at.end == "inlet" else 0, _Draft(valve_bore, 0.0, None, True))
    if at.sheet.record:
        for draft in drafts:
            if line.segments or line.diameter is not None or draft.length == 0.0:
                at.sheet.given("D", "bore", draft.diameter, "m", "line")
            at.sheet.given("L", "length", draft.length, "m", "line")
    return drafts


def _bore(line: Line, at: _Gathering) -> float:
    if line.diameter is not None:
        return line.diameter
    if line.size is None:
        raise at.fail("size", "state its size or its bore")
    schedule = line.schedule
    if schedule is None:
        schedule = at.basis.default_schedule
        if schedule == "by size":
            schedule = "80" if line.size <= 2.0 else "40"
        at.assumed.append("schedule")
        at.sheet.note("sch", "schedule", f"not stated: schedule {schedule} taken", "assumed: Basis default_schedule")
    bore, mark, cite = pipe_bore(line.size, schedule)
    at.marks.append(mark)
    if at.sheet.record:
        at.sheet.given("D", f"bore of NPS {line.size:g} schedule {schedule}", bore, "m", cite)
    return bore


def _entrance(line: Line, at: _Gathering) -> float:
    kind = line.entrance
    if kind is None:
        kind = at.basis.default_entrance
        at.assumed.append("entrance")
    if kind == "none":
        at.sheet.note("K_entrance", "entrance", "none", "stated" if line.entrance else "assumed")
        return 0.0
    value, mark, cite = entrance_row(kind)
    at.marks.append(mark)
    if at.sheet.record:
        how = "stated" if line.entrance else "assumed: Basis default_entrance"
        at.sheet.given("K_entrance", f"entrance, {kind}: {how}", value, "", cite)
    return value


def _fittings(line: Line, at: _Gathering, drafts: list[_Draft], smallest: _Draft) -> None:
    """Put the loss of each fitting and of the block valve on the run it stands in."""
    if line.loss_coefficient is not None:
        smallest.losses.append(line.loss_coefficient)
        if at.sheet.record:
            at.sheet.given(
                "K_fittings",
                "all fittings of the line, as stated: measured",
                line.loss_coefficient,
                "",
                "stated",
            )
        return
    if not line.fittings:
        at.assumed.append("fittings")
        at.sheet.note("K_fittings", "fittings", "none stated, none counted", "assumed")
    for fitting in line.fittings:
        _one(fitting, at, drafts, smallest, line.size)
        if not fitting.measured:
            at.assumed.append(f"fittings.{fitting.kind}")
    block = line.block_valve
    if block is None:
        # Open vents have no block valve; every other line is taken to have the one of the Basis.
        if at.end == "outlet" and line.discharge_to in (None, "atmosphere"):
            at.sheet.note("K_block", "block valve", "none stated; an open vent has none", "common practice, no source")
            return
        block = at.basis.default_block_valve
        at.assumed.append("block_valve")
    if block != "none":
        kind = BLOCK_VALVES.get(block, block)
        _one(Fitting(kind, 1.0, None, line.block_valve is not None), at, drafts, smallest, line.size)


def _one(fitting: Fitting, at: _Gathering, drafts: list[_Draft], smallest: _Draft, line_size: float | None) -> None:
    """Loss of fittings of one kind, on the bore of the run of their size, else on the smallest run."""
    sheet = at.sheet
    if fitting.kind == "reducer":
        sheet.note("K_reducer", "reducer", "counted from the change of bore", "calculation")
        return
    if fitting.kind == "exit" and at.end == "outlet":
        sheet.note(
            "K_exit",
            "exit",
            "not counted: the jet keeps its velocity head at the static exit pressure",
            "momentum, computed",
        )
        return
    home, bore = smallest, smallest.diameter
    if fitting.size is not None and fitting.size != line_size:
        found = next((run for run in drafts if run.size == fitting.size), None)
        if found is not None:
            home, bore = found, found.diameter
        else:  # a fitting of a size the line has no run of: its loss is carried over from its own bore
            bore = pipe_bore(fitting.size, "80" if fitting.size <= 2.0 else "40")[0]
    basis, value, mark, cite = fitting_row(fitting.kind)
    at.marks.append(mark)
    how = "measured" if fitting.measured else "assumed"
    symbol = f"K_{fitting.kind}" if sheet.record else ""
    if sheet.record:
        sheet.given(basis, f"{fitting.kind} x {fitting.count:g}, {how}", value, "", cite)
    if basis == "K":
        k = sheet.apply(symbol, counted_loss, count=fitting.count, coefficient=value)
    else:
        friction = turbulent_friction(bore)
        if sheet.record:
            sheet.apply("f_T", fully_rough, roughness_ratio=roughness_ratio(clean_roughness(), bore))
        k = sheet.apply(symbol, fitting_loss, count=fitting.count, friction=friction, equivalent_ratio=value)
    if bore != home.diameter:
        k = sheet.apply("K_ref", referred_loss, coefficient=k, bore=bore, reference=home.diameter)
    home.losses.append(k)


def _steps(drafts: list[_Draft], at: _Gathering) -> None:
    """Sudden contractions and enlargements between runs of different bore, on the smaller bore."""
    for before, after in pairwise(drafts):
        share = (before.diameter / after.diameter) ** 2
        if abs(share - 1.0) <= 2.0 * SAME_BORE:
            continue
        if share > 1.0:
            after.losses.append(at.sheet.apply("K_contraction", contraction_loss, area_ratio=1.0 / share))
        else:
            before.enlargement = at.sheet.apply("K_enlargement", enlargement_loss, area_ratio=share)


@cache
def pipe_bore(size: float, schedule: str) -> tuple[float, str, str]:
    """Bore in m of a pipe, its confidence mark and source. Raises CalculationFailed if not in the table."""
    name = schedule.upper().removeprefix("SCHEDULE").removeprefix("SCH").strip(" .")
    found = tables.table("pipe_schedules").get(nps=size, schedule=name)
    if found is None:
        raise CalculationFailed(
            Status.NOT_COMPUTED, f"no pipe NPS {size:g} schedule {schedule} in the pipe table: state the bore"
        )
    return float(found.bore), found.mark("bore"), found.cite("bore")


@cache
def fitting_row(kind: str) -> tuple[str, float, str, str]:
    """How a fitting's loss is stated ("L/D" or "K"), the value, its mark and its source.

    Raises CalculationFailed for a kind without a row or without a value, such as a reduced-bore block valve.
    """
    row = tables.table("fittings").get(kind=kind)
    if row is None or row["value"] is None:
        have = ", ".join(str(other.kind) for other in tables.table("fittings"))
        raise CalculationFailed(
            Status.NOT_COMPUTED,
            f"loss of {kind!r} unknown: state a measured loss_coefficient, or one of {have}",
        )
    return str(row.basis), float(row.value), row.mark("value"), row.cite("value")


@cache
def entrance_row(kind: str) -> tuple[float, str, str]:
    """Loss coefficient of an entrance, with mark and source. Raises CalculationFailed for an unknown kind."""
    row = tables.table("entrances").get(kind=kind)
    if row is None:
        have = ", ".join(str(other.kind) for other in tables.table("entrances"))
        raise CalculationFailed(Status.NOT_COMPUTED, f"entrance {kind!r} is not one of {have}")
    return float(row["K"]), row.mark("K"), row.cite("K")


@cache
def clean_roughness() -> float:
    """Roughness in m of clean commercial steel, on which the equivalent length ratios stand."""
    return float(tables.table("roughness").row(surface="carbon-steel").roughness)


@cache
def turbulent_friction(bore: float) -> float:
    """Fully turbulent friction factor of clean commercial steel of this bore, fT of the fittings."""
    return fully_rough(roughness_ratio(clean_roughness(), bore))
