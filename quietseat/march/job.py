"""One valve prepared for the draws: its flows, its draws, what linear theory says of each, and what was marched."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from math import sqrt
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from quietseat.basis import Basis
from quietseat.dynamics.situation import Situation, equivalent_length
from quietseat.march import linear, preselect
from quietseat.march.cases import MarchCase, Pipe
from quietseat.march.draws import Draws, draw
from quietseat.march.linear import F
from quietseat.march.marchcase import Setting, case_of, cells_of, setting
from quietseat.status import CalculationFailed, Status

if TYPE_CHECKING:
    from quietseat.march.engine import MarchResult

SHARES = (("25 %", 0.25), ("50 %", 0.50), ("rated", 1.0))
THINNED = 12  # below the smallest credible flow every so many draws are looked at
SAME = 0.02  # flows closer than this share of the full flow are one flow
PILOT_DRAWS = 40  # a pilot has no linear theory here: every draw is marched, so fewer are drawn
MODULATING_DRAWS = 8  # for a remedy: on default data the verdict is unproven whatever they say
FILLING = 0.05  # of the inflow; a valve that passes less is shut and its vessel fills
MIDDLE = -1  # row of the middle-value run
OUTLET = -2  # row of the same run with the outlet line marched cell by cell


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of one valve. SI.

    flow: kg/s into the vessel, stated; None = 25 %, 50 %, required and rated flow. start: "shut" (vessel at
    99.5 % of set, disc shut) or "equilibrium". cells, duration (s), samples (draws): None = the Basis' or chosen.
    details: traces, stability map, limits and cures too. precision: "float64" or "float32".
    as_built: lengths and losses of the inlet are stated outright, not drawn; None = so when the flow is stated.
    ends: only the smallest credible and the rated flow (remedies), where the smallest is known.
    """

    situation: Situation
    flow: float | None = None
    start: str = "shut"
    cells: int | None = None
    duration: float | None = None
    samples: int | None = None
    details: bool = False
    precision: str = "float64"
    as_built: bool | None = None
    ends: bool = False


@dataclass(frozen=True, slots=True)
class Flow:
    """One flow of a valve; counted = at or above the smallest credible flow."""

    name: str
    value: float  # kg/s
    counted: bool


@dataclass(slots=True)
class Job:
    """A valve on its way: prepared, then marched, then told. Rows MIDDLE and OUTLET of `marched` are the middle-value runs."""

    question: Question
    at: Setting
    draws: Draws
    middle: Draws
    flows: tuple[Flow, ...]
    cells: int
    features: NDArray[np.float64] | None  # (draws, flows, FEATURES); None for a pilot
    middle_features: NDArray[np.float64] | None
    codes: preselect.Codes  # class a draw and flow, DOUBTFUL until marched
    guess: preselect.Codes
    acoustic: float
    rated: float  # kg/s at full lift at 110 % of set
    marched: dict[tuple[int, int], MarchResult] = field(default_factory=dict)
    refused: dict[tuple[int, int], str] = field(default_factory=dict)

    @property
    def pilot(self) -> bool:
        """A pilot-operated valve."""
        return self.features is None

    @property
    def single(self) -> bool:
        """One run with stated (or middle) values: its class is the verdict."""
        return self.draws.count == 1

    @property
    def least(self) -> int:
        """Place of the smallest counted flow."""
        return min(
            (index for index, flow in enumerate(self.flows) if flow.counted),
            key=lambda index: self.flows[index].value,
        )

    def middle_feature(self, name: str, flow: int | None = None) -> float | None:
        """A feature of the middle-value valve at a flow (default the least); None for a pilot."""
        if self.middle_features is None:
            return None
        return float(self.middle_features[0, self.least if flow is None else flow, F[name]])


def prepare(question: Question, basis: Basis) -> Job:
    """Draws and linear theory of one valve. Raises CalculationFailed with what is missing or impossible."""
    situation = question.situation
    pilot = situation.kind == "pilot"
    at = setting(situation)
    as_built = question.as_built if question.as_built is not None else question.flow is not None
    count = question.samples or basis.chatter_samples
    if question.samples is None:
        count = fewer(situation, count)
    draws = draw(situation, count, basis.chatter_seed, as_built=as_built)
    middle = draw(situation, 1, basis.chatter_seed, middle=True, as_built=as_built)
    # Refuses what no run could use, by name, before anything divides by it.
    case_of(at, middle, 0, 1.0, start="shut", cells=cells_of(at.line, question.cells, basis.chatter_cells), duration=1.0,
            valve_flow=1.0)  # fmt: skip
    acoustic = equivalent_length(tuple(zip(at.line.lengths, at.line.areas, strict=True)))
    cells = cells_of(at.line, question.cells, basis.chatter_cells)
    if pilot:
        rated = situation.full_flow or _pilot_flow(at, middle)
        flows = _flows(question, rated)
        shape = (draws.count, len(flows))
        codes = np.full(shape, preselect.DOUBTFUL, dtype=np.int8)
        return Job(question, at, draws, middle, flows, cells, None, None, codes, codes.copy(), acoustic, rated)
    valve = linear.valve_of(at, acoustic)
    probe = linear.features(valve, middle, (1.0,))[0, 0, F["valve_flow"]]
    rated = situation.full_flow or float(probe) * _over(situation)
    flows = _flows(question, rated)
    values = tuple(flow.value for flow in flows)
    features = linear.features(valve, draws, values)
    codes, guess = preselect.classify(features)
    if question.start == "equilibrium":  # the bounds are those of a valve that pops from shut
        codes[codes != preselect.QUIET] = preselect.DOUBTFUL
    if draws.count == 1:
        codes = np.full_like(codes, preselect.DOUBTFUL)
    for index, flow in enumerate(flows):
        if not flow.counted:  # told by fewer draws; the others keep their guess and are not read
            rest = np.ones(draws.count, dtype=bool)
            rest[considered(draws.count, flow)] = False
            codes[rest, index] = guess[rest, index]
    return Job(
        question, at, draws, middle, flows, cells, features, linear.features(valve, middle, values), codes, guess, acoustic,
        rated,
    )  # fmt: skip


def fewer(situation: Situation, count: int, *, ends: bool = False) -> int:
    """Draws of a valve where nobody stated how many: fewer for a pilot. ends: of a remedy (see Question)."""
    if situation.kind != "pilot":
        return count
    return min(count, MODULATING_DRAWS if ends and situation.pilot_action == "modulating" else PILOT_DRAWS)


def considered(count: int, flow: Flow) -> NDArray[np.int64]:
    """Draws that tell a flow: all at a counted flow, every twelfth below the smallest credible one."""
    step = 1 if flow.counted or count < 4 * THINNED else THINNED
    return np.arange(0, count, step)


def _over(situation: Situation) -> float:
    """Flow at 110 % of set over the flow at set."""
    gauge = situation.set_pressure - situation.atmospheric
    if situation.phase == "liquid":
        return sqrt(1.1)
    return (situation.atmospheric + 1.1 * gauge) / situation.set_pressure


def _pilot_flow(at: Setting, middle: Draws) -> float:
    """Flow of the main valve at 110 % of set, kg/s."""
    valve = linear.valve_of(at, at.line.length)
    sprung = replace(middle, spring_rate=np.ones(1))  # the flow does not depend on it
    return float(linear.features(valve, sprung, (1.0,))[0, 0, F["valve_flow"]]) * _over(at.situation)


def _flows(question: Question, full: float) -> tuple[Flow, ...]:
    """The flows asked for, the smallest first."""
    if question.flow is not None:
        if question.flow <= 0:
            raise CalculationFailed(Status.OUT_OF_RANGE, f"flow {question.flow:g} kg/s is not above zero")
        return (Flow("stated", question.flow, True),)
    situation = question.situation
    if full <= 0:
        raise CalculationFailed(Status.NOT_COMPUTED, "flow at full lift unknown")
    least = situation.least_flow
    least = min(least, full) if least is not None and least > 0 else None
    found = [("required", least)] if least is not None else []
    for name, share in SHARES:
        if question.ends and found and name != "rated":
            continue
        if all(abs(share * full - value) > SAME * full for _, value in found):
            found.append((name, share * full))
    return tuple(
        Flow(name, value, least is None or value >= least * (1 - 1e-9)) for name, value in sorted(found, key=lambda one: one[1])
    )


def wanted(job: Job, *, everything: bool = False) -> list[tuple[int, int]]:
    """Samples to march: the doubtful ones (or all), and the middle-value run at every counted flow."""
    rows = np.argwhere(np.ones_like(job.codes, dtype=bool) if everything else job.codes == preselect.DOUBTFUL)
    out = [(int(row), int(flow)) for row, flow in rows]
    if not job.single:
        own = (MIDDLE, OUTLET) if _with_outlet(job) else (MIDDLE,)
        out += [(row, index) for row in own for index, flow in enumerate(job.flows) if flow.counted]
    return out


def _with_outlet(job: Job) -> bool:
    """Waves in the outlet line reach the disc of a conventional valve in gas; a bellows and a pilot are shielded."""
    situation = job.at.situation
    return (
        situation.outlet_pipe is not None and situation.kind == "conventional" and not situation.bellows
        and situation.phase in ("gas", "steam") and job.at.exit_area > 0
    )  # fmt: skip


def build(job: Job, row: int, flow: int) -> MarchCase:
    """The run of one sample. Raises CalculationFailed naming the value no run could use."""
    draws = job.middle if row < 0 else job.draws
    along, row = row == OUTLET, max(row, 0)
    features = job.middle_features if draws is job.middle else job.features
    value = job.flows[flow].value
    if features is not None:
        valve_flow = float(features[row, flow, F["valve_flow"]])
    else:
        valve_flow = job.rated / _over(job.at.situation)
    case = case_of(
        job.at, draws, row, value, start=job.question.start, cells=job.cells, duration=job.question.duration,
        valve_flow=valve_flow,
    )  # fmt: skip
    pipe = job.at.situation.outlet_pipe
    return replace(case, outlet=replace(case.outlet, pipe=Pipe(*pipe))) if along and pipe is not None else case


def absorb(job: Job, row: int, flow: int, result: MarchResult) -> None:
    """Take the result of one run: its class, or unproven with its reason."""
    job.marched[row, flow] = result
    if row < 0:
        return
    word = result.verdict if result.status == Status.OK else "unproven"
    if word == "quiet" and result.mean_flow_ratio is not None and result.mean_flow_ratio < FILLING:
        # Either the last part of the run fell between two openings, or the vessel never came up to set.
        word = "cycles" if result.openings > 0 else "unproven"
        if word == "unproven":
            job.refused[row, flow] = f"the vessel did not come up to set within {result.simulated:.2g} s"
    elif result.status != Status.OK:
        job.refused[row, flow] = result.reason
    job.codes[row, flow] = preselect.CODE.get(word, preselect.UNPROVEN)


def refuse(job: Job, row: int, flow: int, reason: str) -> None:
    """A run that could not be built is unproven."""
    job.refused[row, flow] = reason
    if row >= 0:
        job.codes[row, flow] = preselect.UNPROVEN


def worst(job: Job) -> NDArray[np.int8]:
    """Class of every draw over the counted flows: chatters before flutters, unproven, cycles, quiet."""
    counted = [index for index, flow in enumerate(job.flows) if flow.counted]
    codes = job.codes[:, counted]
    out = np.full(len(codes), preselect.QUIET, dtype=np.int8)
    for code in (preselect.CYCLES, preselect.UNPROVEN, preselect.DOUBTFUL, preselect.FLUTTERS, preselect.CHATTERS):
        out[(codes == code).any(axis=1)] = code
    out[out == preselect.DOUBTFUL] = preselect.UNPROVEN
    return out


def likely(job: Job) -> NDArray[np.int8]:
    """Class of every draw over the counted flows with the best guess of linear theory where it is doubtful."""
    codes = job.codes
    job.codes = np.where(codes == preselect.DOUBTFUL, job.guess, codes).astype(np.int8)
    out = worst(job)
    job.codes = codes
    return out


def runs(job: Job, code: int) -> list[Any]:
    """Marched results of one class at counted flows, draws only."""
    return [
        result
        for (row, flow), result in job.marched.items()
        if row >= 0 and job.flows[flow].counted and job.codes[row, flow] == code
    ]
