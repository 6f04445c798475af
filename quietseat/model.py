"""The records everything else works on. Frozen; SI; pressures absolute unless the name says difference.

None means "not known". What a value rests on (cell, default, mend) is kept beside it in `Location.origins`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from quietseat.formula import Step
from quietseat.status import Assumption, Problem, Status

__all__ = [
    "Assessment", "Assumption", "Case", "CaseResult", "Chatter", "ChatterLimits", "Cost", "Dynamics", "Event", "Finding",
    "Fit", "FitDrawing", "Fitting", "FlangeFit", "FlangeOutline", "FlowChatter", "History",
    "Line", "Location", "Origin", "Outline", "Problem", "Remedy", "Rung", "Segment", "Service", "Spread", "Stability", "StabilityMap",
    "Status", "Step", "Suitability", "Trace",
    "Valve", "Vessel", "Work", "replace",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Origin:
    """Where one value comes from.

    how: read (a cell), given (a case file), mended, assumed (a rule), default (Basis), derived (from other
    values of the same location), looked-up (a table or the property library), proposed (a remedy), inherited.
    """

    how: str
    where: str = ""  # "sheet!cell", "mends row 4", "basis", "table name"
    text: str = ""  # as given
    rule: str = ""
    source: str = ""
    confidence: str = ""


@dataclass(frozen=True, slots=True)
class Valve:
    """One installed or proposed relief valve."""

    tag: str = ""
    kind: str | None = None  # conventional, bellows, pilot
    pilot_action: str | None = None  # snap, modulating
    pilot_sense: str | None = None  # integral, remote
    pilot_bleed: str | None = None  # bleeding, non-bleeding
    body_pattern: str | None = None  # spring, pilot: which dimension table the body follows
    inlet_size: float | None = None  # NPS in inches (a name, not a measure)
    orifice: str | None = None  # API 526 letter
    outlet_size: float | None = None
    inlet_class: int | None = None
    outlet_class: int | None = None
    facing: str | None = None  # raised, flat, ring-joint
    outlet_facing: str | None = None
    inlet_height: float | None = None  # m, inlet face to outlet centre line (A)
    outlet_reach: float | None = None  # m, outlet face to inlet centre line (B)
    set_pressure: float | None = None  # Pa absolute
    cdtp: float | None = None  # Pa absolute
    blowdown: float | None = None  # fraction of gauge set
    effective_area: float | None = None  # m2, goes with effective_coefficient only
    effective_coefficient: float | None = None
    actual_area: float | None = None  # m2, goes with rated_coefficient only
    rated_coefficient: float | None = None
    nameplate_flow: float | None = None  # kg/s as stamped, whatever the test fluid
    seat: str | None = None  # metal, soft
    nozzle: str | None = None  # full, semi
    lift_restriction: float | None = None  # fraction of full lift, 1 = unrestricted
    body_material: str | None = None
    trim_material: str | None = None
    spring_range: tuple[float, float] | None = None  # Pa absolute
    bonnet: str | None = None  # closed, open
    rupture_disk: bool | None = None  # a disk stands under the valve
    liquid_trim: bool | None = None
    serial: str | None = None
    backflow_preventer: bool | None = None


@dataclass(frozen=True, slots=True)
class Case:
    """One relief case."""

    name: str = ""
    cause: str | None = None  # fire, blocked-outlet, thermal, control-valve, tube-rupture, utility, other
    phase: str | None = None  # gas, steam, liquid, two-phase
    fluid: str | None = None  # name of the property library, or free text
    flow: float | None = None  # kg/s required
    volume_flow: float | None = None  # m3/s required, liquids
    temperature: float | None = None  # K at relief
    molar_mass: float | None = None  # kg/mol
    k: float | None = None  # ideal-gas cp/cv at relief temperature
    Z: float | None = None
    density: float | None = None  # kg/m3 at relief
    viscosity: float | None = None  # Pa s
    sound_speed: float | None = None  # m/s
    specific_volume: float | None = None  # m3/kg mixture at P1 (two-phase)
    specific_volume_90: float | None = None  # at 0.9 P1
    saturation_pressure: float | None = None  # Pa (subcooled liquid)
    density_90: float | None = None  # at 0.9 Ps
    quality: float | None = None  # vapour mass fraction at the inlet
    accumulation: float | None = None  # factor on gauge MAWP, 1.10
    superimposed_min: float | None = None  # Pa absolute
    superimposed_max: float | None = None  # Pa absolute
    built_up: float | None = None  # Pa difference, as stated by the owner
    rate_basis: str | None = None  # signed, nameplate, unknown
    installed: int | None = None  # m of n valves share the case: n installed
    required: int | None = None  # m needed


@dataclass(frozen=True, slots=True)
class Segment:
    """A straight run of pipe of one bore."""

    diameter: float  # m, bore
    length: float  # m
    size: float | None = None  # NPS
    schedule: str | None = None


@dataclass(frozen=True, slots=True)
class Fitting:
    """Fittings of one kind in a line; `kind` is a row of the fittings table."""

    kind: str
    count: float = 1.0
    size: float | None = None  # NPS where it differs from the line
    measured: bool = True  # False: assumed, not seen on an isometric


@dataclass(frozen=True, slots=True)
class Line:
    """Inlet or outlet pipe of a valve."""

    size: float | None = None  # NPS
    schedule: str | None = None
    diameter: float | None = None  # m, bore; wins over size + schedule
    length: float | None = None  # m of straight pipe
    height: float | None = None  # m rise from start to end
    entrance: str | None = None  # sharp, rounded, inward, none
    block_valve: str | None = None  # a fittings kind, none
    fittings: tuple[Fitting, ...] = ()
    segments: tuple[Segment, ...] = ()  # several bores; empty = one run of size and length
    loss_coefficient: float | None = None  # K of all fittings on the line bore; wins over fittings
    roughness: float | None = None  # m
    friction_factor: float | None = None  # Darcy; wins over roughness
    discharge_to: str | None = None  # atmosphere, flare, closed, process (outlets)


@dataclass(frozen=True, slots=True)
class Vessel:
    """What is protected."""

    name: str | None = None
    mawp: float | None = None  # Pa absolute
    volume: float | None = None  # m3
    operating_pressure: float | None = None  # Pa absolute, the maximum
    operating_temperature: float | None = None  # K
    design_temperature: float | None = None  # K
    alarm_pressure: float | None = None
    trip_pressure: float | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """One dated entry of the history."""

    event: str  # pop, stuck, overhaul, leak, lift, bellows, chatter, other
    date: str | None = None  # ISO where readable
    value: float | None = None  # Pa absolute for a pop; ppm for a leak reading; count for lifts
    note: str | None = None
    cost: float | None = None


@dataclass(frozen=True, slots=True)
class History:
    """What is known of the past."""

    events: tuple[Event, ...] = ()
    condition: str | None = None  # free text, as given
    last_clean_survey: str | None = None  # day of the last leak survey that found nothing here
    measured_rate: float | None = None  # kg/s, a leak rate that was measured


@dataclass(frozen=True, slots=True)
class Service:
    """What the fluid does to valves; None = nobody said."""

    fouling: bool | None = None
    polymerising: bool | None = None
    viscous: bool | None = None
    hydrates: bool | None = None
    condensing: bool | None = None
    sour: bool | None = None
    corrosive: bool | None = None
    oxygen: bool | None = None
    toxic: bool | None = None
    pulsating: bool | None = None
    fast_rise: bool | None = None
    backflow: bool | None = None  # outlet pressure can exceed inlet pressure
    sense_tap: bool | None = None  # an existing tapping on the vessel could be used


@dataclass(frozen=True, slots=True)
class Dynamics:
    """Moving parts, where known; None = drawn from its range or estimated."""

    seat_diameter: float | None = None
    moving_mass: float | None = None
    spring_rate: float | None = None
    max_lift: float | None = None
    discharge_coefficient: float | None = None
    effective_area_ratio: float | None = None
    effective_area_knee: float | None = None
    damping_ratio: float | None = None
    friction_force: float | None = None
    restitution: float | None = None
    bellows_area_ratio: float | None = None
    bowl_volume: float | None = None
    dome_area_ratio: float | None = None
    dome_volume: float | None = None
    vent_area: float | None = None
    fill_area: float | None = None
    pilot_blowdown: float | None = None
    pilot_band: float | None = None
    null_zone: float | None = None
    sense_length: float | None = None
    sense_bore: float | None = None
    pilot_lag: float | None = None


@dataclass(frozen=True, slots=True)
class Location:
    """One place in the plant: the valve body that stands there and everything around it."""

    tag: str
    valve: Valve = Valve()
    cases: tuple[Case, ...] = ()
    inlet: Line = Line()
    outlet: Line = Line()
    vessel: Vessel = Vessel()
    history: History = History()
    service: Service = Service()
    dynamics: Dynamics = Dynamics()
    alias: tuple[str, ...] = ()
    unit: str | None = None  # plant unit
    remarks: tuple[str, ...] = ()
    row: int | None = None  # register row it was read from
    sheet: str | None = None
    twin: str | None = None  # tag of the other valve of an A/B pair
    origins: Mapping[str, Origin] = field(default_factory=dict)  # "valve.set_pressure", "cases.0.flow", ...


@dataclass(frozen=True, slots=True)
class Rung:
    """One pressure of the ladder."""

    name: str
    pressure: float  # Pa absolute
    rests_on: str = ""  # "read", "default: ..."


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing wrong or doubtful.

    outcome: fail (severity stop or act), thin (passes, margin thin or history bad), open (data missing or
    the check rests on the default it tests), pass. margin = (limit - value)/limit, negative = fails.
    """

    code: str
    severity: str  # stop, act, note
    outcome: str  # fail, thin, open
    rule: str
    words: str
    value: float | None = None
    limit: float | None = None
    margin: float | None = None
    unit: str = ""
    step: str = ""  # symbol of the step behind it
    case: str = ""
    rests_on: tuple[str, ...] = ()  # fields that are defaults
    confidence: str = ""  # weakest mark of the table rows behind it


@dataclass(frozen=True, slots=True)
class CaseResult:
    """Sizing and hydraulics of one case."""

    name: str
    status: Status = Status.OK
    reason: str = ""
    method: str = ""
    regime: str = ""
    relieving_pressure: float | None = None  # Pa absolute
    required_area: float | None = None  # m2 effective
    required_flow: float | None = None  # kg/s, this valve's share
    rated_flow: float | None = None  # kg/s, actual area x rated coefficient (derated), or the effective pair
    full_flow: float | None = None  # kg/s, un-derated, at 110 % of set: what hydraulics and dynamics use
    utilisation: float | None = None  # required / rated
    inlet_loss_rated: float | None = None  # fraction of gauge set
    inlet_loss_required: float | None = None
    built_up: float | None = None  # Pa at rated flow
    built_up_required: float | None = None  # Pa at required flow
    outlet_mach: float | None = None
    body_floor: float | None = None  # Pa absolute, static pressure at the outlet flange when it chokes
    back_pressure: float | None = None  # Pa absolute, total at rated flow
    orifice: str | None = None
    valves_needed: int | None = None


@dataclass(frozen=True, slots=True)
class Stability:
    """Closed-form stability of one valve on its pipe."""

    status: Status = Status.NOT_COMPUTED
    reason: str = ""
    critical_length: float | None = None  # m, quarter wave, at the lowest credible flow
    inlet_length: float | None = None  # m, acoustic
    wave_return: float | None = None  # s
    opening_time: float | None = None  # s
    wave_drop: float | None = None  # Pa at opening
    force_balance_used: float | None = None  # Pa
    force_balance_allowed: float | None = None  # Pa
    cycle_period: float | None = None  # s; None = does not cycle
    valve_frequency: float | None = None  # Hz
    verdict: str = "unproven"  # quiet, flutters, chatters, cycles, unproven
    words: str = ""
    criterion: str = ""  # what decided: balance, length, vessel, oversize, pilot, stop; "" = nothing did
    judged_by: str = "closed form"  # or "marching in time"


@dataclass(frozen=True, slots=True)
class Trace:
    """Motion of the valve in time at one flow, middle values of every unknown. SI, pressures absolute."""

    name: str  # which flow: "25 %", "50 %", "required", "rated", "stated"
    flow: float  # kg/s into the vessel
    verdict: str  # quiet, flutters, chatters, cycles, unproven
    times: tuple[float, ...] = ()  # s
    lift: tuple[float, ...] = ()  # m
    inlet_pressure: tuple[float, ...] = ()  # Pa at the valve inlet
    vessel_pressure: tuple[float, ...] = ()  # Pa


@dataclass(frozen=True, slots=True)
class FlowChatter:
    """What the draws did at one flow."""

    name: str
    flow: float  # kg/s
    chatter: float  # share of the draws
    flutter: float
    cycling: float
    unproven: float  # share of the draws without a verdict (a run that diverged or could not be started)
    marched: int  # draws marched in time; the others were plain from linear theory


@dataclass(frozen=True, slots=True)
class ChatterLimits:
    """What would keep this valve quiet, everything else as it is; None = not found in the range searched."""

    longest_quiet_inlet: float | None = None  # m
    smallest_quiet_flow: float | None = None  # kg/s
    blowdown_cure: float | None = None  # fraction of gauge set
    lift_cure: float | None = None  # fraction of full lift
    words: tuple[str, ...] = ()  # why one is None, or what it rests on


@dataclass(frozen=True, slots=True)
class StabilityMap:
    """Probability of chatter over inlet length and flow."""

    lengths: tuple[float, ...]  # m
    flows: tuple[float, ...]  # kg/s
    probability: tuple[tuple[float, ...], ...]  # a row a flow, a column a length
    length: float  # m, this valve
    flow: float  # kg/s, its smallest credible flow


@dataclass(frozen=True, slots=True)
class Chatter:
    """Stability in time of one valve on its pipe, over everything nobody stated."""

    status: Status = Status.NOT_COMPUTED
    reason: str = ""
    verdict: str = "unproven"  # quiet, flutters, chatters, cycles, unproven
    words: str = ""  # plain explanation: what happens, why, what would settle or cure it
    limited_by: str = ""  # inlet wave, inlet loss, small vessel, oversize, back pressure, pilot, nothing
    measure: str = ""  # the measurement that would settle an unproven verdict
    chatter_probability: float | None = None
    interval: tuple[float, float] | None = None  # 95 % interval of the chatter probability
    cycling_probability: float | None = None
    flutter_probability: float | None = None
    critical_length: float | None = None  # m, closed form at the lift that passes the flow
    inlet_length: float | None = None  # m, acoustic
    frequency: float | None = None  # Hz, dominant
    seat_impacts: float | None = None  # 1/s
    impact_energy: float | None = None  # J, one seat impact
    inlet_pressure_min: float | None = None  # Pa
    inlet_pressure_max: float | None = None  # Pa
    opening_time: float | None = None  # s
    cycle_period: float | None = None  # s
    stop_lift: float | None = None  # m, where the middle valve's lift stops
    samples: int = 0  # draws, times flows = cases
    marched: int = 0  # cases marched in time
    seed: int | None = None
    cells: int | None = None
    flows: tuple[FlowChatter, ...] = ()
    traces: tuple[Trace, ...] = ()
    limits: ChatterLimits = ChatterLimits()
    sensitivities: tuple[tuple[str, float], ...] = ()  # parameter, share of the spread it explains
    map: StabilityMap | None = None
    drawn: tuple[str, ...] = ()  # unknowns drawn from their range
    assumptions: tuple[Assumption, ...] = ()


@dataclass(frozen=True, slots=True)
class Assessment:
    """One Location against the Basis."""

    tag: str
    verdict: str  # sound, watch, misfit, unproven
    findings: tuple[Finding, ...] = ()
    cases: tuple[CaseResult, ...] = ()
    ladder: tuple[Rung, ...] = ()
    stability: Stability = Stability()
    cause: str = ""  # root cause in a plant engineer's words
    cause_code: str = ""
    evidence: tuple[str, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    problems: tuple[Problem, ...] = ()
    steps: tuple[Step, ...] = ()
    flags: tuple[str, ...] = ()
    status: Status = Status.OK
    reasons: tuple[str, ...] = ()  # why this verdict: "unproven: inlet length unknown"
    passed: tuple[Finding, ...] = ()  # the checks that passed, with their margins
    chatter: Chatter | None = None  # stability in time; None = closed form was enough, or marching is off
    chatter_doubt: str = ""  # why it was marched: what closed form left open


@dataclass(frozen=True, slots=True)
class Spread:
    """A quantity with an honest range: low, mid, high."""

    low: float
    mid: float
    high: float

    def __add__(self, other: Spread) -> Spread:
        return Spread(self.low + other.low, self.mid + other.mid, self.high + other.high)

    def times(self, factor: float) -> Spread:
        """The range times a non-negative number."""
        return Spread(self.low * factor, self.mid * factor, self.high * factor)


@dataclass(frozen=True, slots=True)
class Work:
    """One item of work a remedy needs."""

    item: str
    hours: Spread = Spread(0.0, 0.0, 0.0)  # crew hours
    money: Spread = Spread(0.0, 0.0, 0.0)  # besides labour
    outage: bool = True  # has to be done with the line open
    source: str = ""
    kind: str = "fit"  # fit, engineering


@dataclass(frozen=True, slots=True)
class FlangeFit:
    """One flange, old against new."""

    end: str  # inlet, outlet
    old: str  # "NPS 4 class 300 raised face"
    new: str
    matches: bool
    words: str


@dataclass(frozen=True, slots=True)
class FlangeOutline:
    """One flange as plain numbers for a drawing, lengths in m; None where the class is not known or no table has it."""

    nps: float | None
    rating: int | None
    facing: str = ""  # raised, flat, ring-joint; "" not stated
    outside: float | None = None
    thickness: float | None = None  # least thickness behind the raised face
    raised_face: float | None = None  # diameter
    raised_height: float | None = None
    bolt_circle: float | None = None
    bolts: int | None = None
    bolt_size: float | None = None
    hole: float | None = None  # diameter of a bolt hole
    confidence: str = ""
    source: str = ""


@dataclass(frozen=True, slots=True)
class Outline:
    """A body as a drawing needs it: inlet face at (0, 0) on the inlet centre line, outlet centre line at height
    `inlet_height`, outlet face at distance `outlet_reach`; lengths in m."""

    kind: str  # conventional, bellows, pilot
    inlet_height: float
    outlet_reach: float
    inlet: FlangeOutline
    outlet: FlangeOutline
    marks: tuple[str, str] = ("", "")  # of the two lengths: measured, as the existing, or the mark of a table row
    tolerance: float | None = None  # API 526, of both lengths; None where they are measured


@dataclass(frozen=True, slots=True)
class FitDrawing:
    """What the fit drawing shows besides the four lengths of the Fit."""

    old: Outline
    new: Outline
    clearance: tuple[float, float] | None = None  # m, to be kept free round a pilot and its tubing


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether the new valve bolts in; lengths in m."""

    verdict: str  # same body, bolts in, measure first, spacer, spool, does not fit, unknown
    words: str
    flanges: tuple[FlangeFit, ...] = ()
    old_inlet_height: float | None = None
    old_outlet_reach: float | None = None
    new_inlet_height: float | None = None
    new_outlet_reach: float | None = None
    difference_inlet: float | None = None  # new - old
    difference_outlet: float | None = None
    tolerance: float | None = None
    spool_length: float | None = None
    confidence: str = ""
    sources: tuple[str, ...] = ()
    drawing: FitDrawing | None = None  # where a new body goes in and all four lengths are known


@dataclass(frozen=True, slots=True)
class Suitability:
    """Whether the fluid and the duty allow the remedy."""

    verdict: str  # suitable, with conditions, veto, unknown
    reasons: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cost:
    """What a remedy costs over the horizon, present value in the Basis's currency: parts and their sum.

    An estimate at first; of a remedy that was ranked, the middle and the ends of its life-cycle account. other: what has no name of
    its own here, such as the operating range won or lost, findings left and the value at the end.
    """

    capital: Spread
    work: Spread
    upkeep: Spread
    leakage: Spread
    carbon: Spread
    total: Spread
    currency: str
    leak_rate: Spread = Spread(0.0, 0.0, 0.0)  # kg/s
    leak_basis: str = ""
    outage_hours: float = 0.0
    crew_hours: float = 0.0
    other: Spread = Spread(0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Remedy:
    """A changed Location, assessed by the same code, with fit, suitability, work and price."""

    name: str  # fixed word: operate-lower, soft-seat, ...
    title: str  # plain words: "Smaller orifice: 3K4 in place of 3L4"
    location: Location
    clears: str  # yes, subject-to-proof, no
    condition: str = ""  # what must be proved, by whom
    cleared: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
    created: tuple[str, ...] = ()
    fit: Fit | None = None
    suitability: Suitability | None = None
    work: tuple[Work, ...] = ()
    cost: Cost | None = None
    rejected_because: str = ""
    question: str = ""  # what the owner must answer first
    assessment: Assessment | None = None
    valves: int = 1  # how many valves stand there afterwards
