"""What one run in time is given: fluid, vessel, inlet segments, disc, outlet, pilot, and how long to march.

SI throughout, pressures absolute unless a name says gauge. Every record refuses, by name, a value that no run could use
(zero mass, negative length, lift above the seat bore), so the marching kernels below never meet one.
Equations and symbols: docs/dynamics and the facts behind it (1-D Euler inlet line, one-degree-of-freedom disc).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, pi

from quietseat.status import CalculationFailed, Status


def _refuse(name: str, value: object, rule: str) -> CalculationFailed:
    return CalculationFailed(Status.OUT_OF_RANGE, f"{name} = {value}: {rule}")


def _positive(record: object, *names: str) -> None:
    for name in names:
        value = getattr(record, name)
        if not isfinite(value) or value <= 0.0:
            raise _refuse(name, value, "must be a finite number above zero")


def _not_negative(record: object, *names: str) -> None:
    for name in names:
        value = getattr(record, name)
        if not isfinite(value) or value < 0.0:
            raise _refuse(name, value, "must be a finite number, not negative")


def _within(record: object, low: float, high: float, *names: str) -> None:
    for name in names:
        value = getattr(record, name)
        if not isfinite(value) or not low <= value <= high:
            raise _refuse(name, value, f"must lie within {low:g} and {high:g}")


def _one_of(record: object, name: str, words: tuple[str, ...]) -> None:
    value = getattr(record, name)
    if value not in words:
        raise _refuse(name, repr(value), f"must be one of {', '.join(words)}")


@dataclass(frozen=True, slots=True)
class Pipe:
    """One straight segment, counted from the vessel to the valve (or from the valve on, for an outlet line).

    `length`, `diameter` m, above zero. `friction_factor` Darcy. `loss_coefficient` K on this bore; the march spreads it
    along the segment (f + K D/L).
    """

    length: float
    diameter: float
    friction_factor: float = 0.0
    loss_coefficient: float = 0.0

    def __post_init__(self) -> None:
        _positive(self, "length", "diameter")
        _not_negative(self, "friction_factor", "loss_coefficient")

    @property
    def area(self) -> float:
        """Bore area, m2."""
        return pi / 4.0 * self.diameter**2


@dataclass(frozen=True, slots=True)
class Gas:
    """Gas of constant k and Z: `k` the isentropic exponent, `gas_constant` Z R/M in J/kg/K, `temperature` K of vessel and inflow."""

    k: float
    gas_constant: float
    temperature: float

    def __post_init__(self) -> None:
        _within(self, 1.01, 2.0, "k")
        _positive(self, "gas_constant", "temperature")


@dataclass(frozen=True, slots=True)
class Liquid:
    """Liquid: `density` kg/m3, `sound_speed` m/s in the pipe (elastic walls included), `vapour_pressure` Pa."""

    density: float
    sound_speed: float
    vapour_pressure: float = 0.0

    def __post_init__(self) -> None:
        _positive(self, "density", "sound_speed")
        _not_negative(self, "vapour_pressure")


@dataclass(frozen=True, slots=True)
class Disc:
    """The moving part and its seat.

    `seat_diameter` m; `max_lift` m unrestricted, at most the seat bore; `mass` kg with a third of the spring;
    `spring_rate` N/m (0 only with a pilot); `stop_lift` m of a restricted valve (None: max_lift);
    `curtain_coefficient` on pi D x and `nozzle_coefficient` on `nozzle_area` m2 (None: the seat area), the smaller flow
    area counts; `area_ratio` phi_m and `knee` xi of the effective area A_s (1 + (phi_m - 1) min(x/(xi max_lift), 1));
    `damping_ratio` of 2 sqrt(s m); `friction_force` N Coulomb; `restitution` at both stops, 0 to 1.
    """

    seat_diameter: float
    max_lift: float
    mass: float
    spring_rate: float
    stop_lift: float | None = None
    curtain_coefficient: float = 0.75
    nozzle_coefficient: float = 0.96
    nozzle_area: float | None = None
    area_ratio: float = 1.0
    knee: float = 0.5
    damping_ratio: float = 0.0
    friction_force: float = 0.0
    restitution: float = 0.5

    def __post_init__(self) -> None:
        _positive(self, "seat_diameter", "max_lift", "mass", "curtain_coefficient", "nozzle_coefficient", "area_ratio")
        _not_negative(self, "spring_rate", "damping_ratio", "friction_force")
        _within(self, 0.01, 1.0, "knee")
        _within(self, 0.0, 0.999, "restitution")
        if self.nozzle_area is not None:
            _positive(self, "nozzle_area")
        if self.stop_lift is not None:
            _positive(self, "stop_lift")
            if self.stop_lift > self.max_lift * (1.0 + 1e-12):
                raise _refuse("stop_lift", self.stop_lift, f"lies above max_lift = {self.max_lift}")
        if self.max_lift > self.seat_diameter:
            raise _refuse("max_lift", self.max_lift, f"lies above the seat bore, seat_diameter = {self.seat_diameter}")

    @property
    def seat_area(self) -> float:
        """Area of the seat bore, m2."""
        return pi / 4.0 * self.seat_diameter**2

    @property
    def lift_limit(self) -> float:
        """Lift of the upper stop, m: restricted lift where there is one."""
        return self.max_lift if self.stop_lift is None else self.stop_lift

    @property
    def nozzle(self) -> float:
        """Bore area behind `nozzle_coefficient`, m2."""
        return self.seat_area if self.nozzle_area is None else self.nozzle_area


@dataclass(frozen=True, slots=True)
class Outlet:
    """Behind the disc.

    `back_pressure` Pa absolute, superimposed at the end of the outlet. `bonnet`: "bowl" (conventional, spring side sees
    the bowl), "atmosphere" (balanced bellows), "vent" (bellows whose bonnet breathes through `vent_area` m2, effective
    C A, from `bonnet_volume` m3). `bellows_area_ratio` A_b/A_s. `bowl_volume` m3, 0 = no bowl (p_b is the back
    pressure); with one, `exit_area` m2 (effective C A) opens it to the back pressure or to `pipe`, a 1-D outlet line.
    """

    back_pressure: float
    bonnet: str = "bowl"
    bellows_area_ratio: float = 1.0
    vent_area: float = 0.0
    bonnet_volume: float = 0.0
    bowl_volume: float = 0.0
    exit_area: float = 0.0
    pipe: Pipe | None = None

    def __post_init__(self) -> None:
        _positive(self, "back_pressure")
        _one_of(self, "bonnet", ("bowl", "atmosphere", "vent"))
        _not_negative(self, "bellows_area_ratio", "vent_area", "bonnet_volume", "bowl_volume", "exit_area")
        if self.bonnet == "vent":
            _positive(self, "vent_area", "bonnet_volume")
        if self.bowl_volume > 0.0:
            _positive(self, "exit_area")
        elif self.pipe is not None:
            raise _refuse("bowl_volume", self.bowl_volume, "an outlet pipe needs a bowl before it")


@dataclass(frozen=True, slots=True)
class Pilot:
    """The pilot of a pilot-operated valve.

    `action` "snap" or "modulating"; `sense` "integral" (at the valve inlet) or "remote" (at the vessel); `bleeding`:
    fill port stays open while venting. `dome_area_ratio` A_d/A_s; `dome_volume` m3 at full lift; `vent_area`,
    `fill_area` m2 with `coefficient`; `blowdown` and `band` as fractions of set gauge pressure; `band_depth` c_m;
    `null_zone` as a fraction of set; `lag` s of the spool; sense line `sense_length`, `sense_bore` m and pilot volume
    `sense_volume` m3; `exponent` n of the dome gas;
    `dump` "atmosphere" or "bowl", where the pilot exhausts; `span`: error of the dome pressure, as a fraction of gauge
    set, at which a modulating spool has its port fully open.
    """

    action: str
    sense: str
    bleeding: bool
    dome_area_ratio: float
    dome_volume: float
    vent_area: float
    fill_area: float
    coefficient: float = 0.8
    blowdown: float = 0.05
    band: float = 0.05
    band_depth: float = 0.7
    null_zone: float = 0.0
    lag: float = 0.02
    sense_length: float = 0.0
    sense_bore: float = 0.0
    sense_volume: float = 0.0
    exponent: float = 1.2
    dump: str = "atmosphere"
    span: float = 0.1

    def __post_init__(self) -> None:
        _one_of(self, "action", ("snap", "modulating"))
        _one_of(self, "sense", ("integral", "remote"))
        _one_of(self, "dump", ("atmosphere", "bowl"))
        _positive(self, "dome_area_ratio", "dome_volume", "vent_area", "fill_area", "coefficient", "exponent")
        _not_negative(self, "null_zone", "lag", "sense_length", "sense_bore", "sense_volume")
        _within(self, 0.0, 0.9, "blowdown", "band_depth")
        _within(self, 1e-6, 0.9, "band", "span")
        if self.sense_length > 0.0:
            _positive(self, "sense_bore", "sense_volume")


@dataclass(frozen=True, slots=True)
class MarchCase:
    """One run: everything the kernels need, nothing they must guess.

    `vessel_volume` m3; `inflow` kg/s into the vessel (at the vessel's temperature); `segments` from vessel to valve;
    `set_pressure` and `atmospheric` Pa absolute; `start` "shut" (vessel at 99.5 % of set gauge, disc on its seat) or
    "equilibrium" (disc at the lift that passes the inflow, steady pipe, lift disturbed by `disturbance` m);
    `cells` along the whole inlet line; `duration` s simulated.
    """

    fluid: Gas | Liquid
    vessel_volume: float
    inflow: float
    segments: tuple[Pipe, ...]
    set_pressure: float
    atmospheric: float
    disc: Disc
    outlet: Outlet
    pilot: Pilot | None = None
    start: str = "shut"
    cells: int = 40
    duration: float = 4.0
    disturbance: float = 1e-6

    def __post_init__(self) -> None:
        _positive(self, "vessel_volume", "set_pressure", "atmospheric", "duration")
        _not_negative(self, "inflow")
        _one_of(self, "start", ("shut", "equilibrium"))
        if not isfinite(self.disturbance):
            raise _refuse("disturbance", self.disturbance, "must be a finite number")
        if not self.segments:
            raise _refuse("segments", "()", "a run needs at least one inlet segment")
        if not len(self.segments) <= self.cells <= 4096 or self.cells < 4:
            raise _refuse("cells", self.cells, "must lie within 4 (one a segment) and 4096")
        if self.set_pressure <= self.atmospheric:
            raise _refuse("set_pressure", self.set_pressure, f"must lie above atmospheric = {self.atmospheric}")
        if self.pilot is None and self.disc.spring_rate <= 0.0:
            raise _refuse("spring_rate", self.disc.spring_rate, "must be above zero on a valve without a pilot")

    @property
    def inlet_length(self) -> float:
        """Length of the inlet line, m."""
        return sum(pipe.length for pipe in self.segments)

    @property
    def set_gauge(self) -> float:
        """Set pressure above the atmosphere, Pa."""
        return self.set_pressure - self.atmospheric
