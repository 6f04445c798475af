"""Flow through a given valve: (area, coefficient) pairs, never mixed, and the sizing equations run backwards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType

from quietseat.formula import One, Sheet, formula
from quietseat.model import Valve
from quietseat.sizing import letters
from quietseat.sizing.backpressure import EFFECTIVE_KD
from quietseat.sizing.calculate import flow_of_area, prepare, usable
from quietseat.sizing.request import API, ChoicesLike, Request
from quietseat.status import CalculationFailed, Status

EFFECTIVE, CERTIFIED = "effective", "certified"
DERATING = 0.9  # certified coefficient = 0.9 x mean test coefficient (ASME, ISO; memory-hi)


@dataclass(frozen=True, slots=True)
class Pair:
    """An area and the coefficient that belongs to it.

    kind: "effective" (API 526 area, API 520 Kd) or "certified" (actual area, rated coefficient = 0.9 x test mean).
    rests_on: which of the two are stand-ins, in words, empty if both were given.
    """

    area: float  # m2
    coefficient: float
    kind: str
    rests_on: str = ""

    def __post_init__(self) -> None:
        if self.kind not in (EFFECTIVE, CERTIFIED):
            raise ValueError(f"kind {self.kind!r} is not effective or certified: area and coefficient go together")
        if not self.area > 0.0 or not 0.0 < self.coefficient <= 1.0:
            raise ValueError(f"area {self.area:.6g} m2 and coefficient {self.coefficient:.6g} are not usable")


@dataclass(frozen=True, slots=True)
class Flow:
    """What a pair passes. status other than ok: reason says why and flow is None."""

    status: Status = Status.OK
    reason: str = ""
    flow: float | None = None  # kg/s
    mass_flux: float | None = None  # kg/m2/s before any factor
    regime: str = ""
    factors: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    choking_pressure: float | None = None  # Pa absolute
    omega: float | None = None
    eta_c: float | None = None
    reynolds: float | None = None
    flags: tuple[str, ...] = ()


@formula("ASME VIII/XIII and ISO 4126: certified coefficient = 0.9 x mean test coefficient; memory-hi")
def underated_coefficient(K_r: One, derating: One) -> One:
    """Mean test coefficient behind a certified one."""
    return K_r / derating


def effective_pair(letter: str, method: str, certified: bool = True) -> Pair:
    """Effective pair of an API 526 letter: its area and the API 520-1 Kd of what flows.

    method: gas, steam, liquid, two-phase, subcooled, hem (taken as two-phase). certified: liquid valves with capacity
    certification. Raises CalculationFailed for an unknown letter.
    """
    try:
        area = letters.letters()[letter]
    except KeyError:
        known = " ".join(letters.letters())
        raise CalculationFailed(Status.NOT_COMPUTED, f"orifice {letter!r} is not one of {known}") from None
    return Pair(area, effective_coefficient(method, certified), EFFECTIVE, "API effective values")


def effective_coefficient(method: str, certified: bool = True) -> float:
    """API 520-1 effective Kd of what flows."""
    what = "two-phase" if method == "hem" else method
    return EFFECTIVE_KD["liquid-uncertified" if what == "liquid" and not certified else what]


def pair_of(valve: Valve, method: str, certified: bool = True) -> Pair:
    """The pair of a valve: the certified one where both its numbers are known, else the effective one.

    The effective area may come from the letter and the effective coefficient from API 520-1 (`rests_on` says so).
    Raises CalculationFailed when only a crossed pair could be made, or none.
    """
    actual, rated = valve.actual_area, valve.rated_coefficient
    if actual is not None and rated is not None:
        return Pair(actual, rated, CERTIFIED)
    area, coefficient, stand_in = valve.effective_area, valve.effective_coefficient, []
    if area is None and valve.orifice is not None:
        area = effective_pair(valve.orifice, method, certified).area
        stand_in.append("effective area of the letter")
    if area is None:
        if actual is not None or rated is not None:
            half = "actual area without rated coefficient" if actual is not None else "rated coefficient without actual area"
            raise CalculationFailed(
                Status.NOT_COMPUTED, f"{half}: it may not be paired with an effective value; give the other half or the letter"
            )
        raise CalculationFailed(Status.NOT_COMPUTED, "no orifice letter and no area: the valve's flow is unknown")
    if coefficient is None:
        coefficient = effective_coefficient(method, certified)
        stand_in.append("effective coefficient of API 520-1")
    if actual is not None or rated is not None:
        stand_in.append("half a certified pair was given and not used")
    return Pair(area, coefficient, EFFECTIVE, " and ".join(stand_in))


def full_pair(pair: Pair, sheet: Sheet | None = None) -> Pair:
    """The un-derated pair: what really flows. A certified coefficient is divided by 0.9; effective ones are not derated."""
    if pair.kind == EFFECTIVE:
        return pair
    full = (sheet or Sheet(record=False)).apply("K_d", underated_coefficient, K_r=pair.coefficient, derating=DERATING)
    return replace(pair, coefficient=min(full, 1.0))


def compare_areas(required: float, pair: Pair) -> float:
    """Required over installed effective area (1 = just enough). Raises CalculationFailed for a certified pair.

    A required area from API 520-1 is effective; an actual area must be judged by its flow, not against it.
    """
    if pair.kind != EFFECTIVE:
        raise CalculationFailed(
            Status.NOT_COMPUTED, "a required effective area may not be compared with an actual area; compare the flows"
        )
    return required / pair.area


def flow_through(pair: Pair, request: Request, choices: ChoicesLike, sheet: Sheet) -> Flow:
    """Flow (kg/s) through a pair at the request's pressures and fluid; its flow and area are not read.

    The same mass flux as in sizing. Never raises for data: Flow.status and Flow.reason say how it ended.
    """
    before = len(sheet.flags)
    try:
        if pair.kind == EFFECTIVE and (request.standard or choices.standard) != API:
            raise CalculationFailed(Status.NOT_COMPUTED, "effective areas and coefficients belong to API 520-1 only")
        overrides = request.overrides
        if "Kd" in overrides:
            overrides = {name: value for name, value in overrides.items() if name != "Kd"}
        asked = replace(request, coefficient=pair.coefficient, coefficient_source=f"{pair.kind} coefficient of the pair", overrides=overrides)
        if sheet.record:
            sheet.note("pair", f"{pair.kind} pair", f"area {pair.area * 1e6:.1f} mm2 with coefficient {pair.coefficient:.4g}"
                       + (f" ({pair.rests_on})" if pair.rests_on else ""), "API 520-1: never crossed")  # fmt: skip
        setting = prepare(asked, choices, sheet)
        W, Kv, Re = flow_of_area(pair.area, asked, setting, choices, sheet)
        usable(W, "flow", "kg/s")
    except CalculationFailed as error:
        return Flow(error.status, error.reason, flags=tuple(sheet.flags[before:]))
    except (ValueError, ZeroDivisionError, OverflowError) as error:
        return Flow(Status.NOT_COMPUTED, f"the equations have no value here ({error})", flags=tuple(sheet.flags[before:]))
    flux = setting.flux
    factors = flux.factors if Kv is None else {**flux.factors, "Kv": Kv}
    return Flow(Status.OK, "", W, flux.mass_flux, flux.regime, factors, flux.choking_pressure, flux.omega, flux.eta_c,
                Re, tuple(sheet.flags[before:]))  # fmt: skip
