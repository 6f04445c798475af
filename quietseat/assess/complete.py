"""Fill what nobody stated: every default becomes an Origin and an Assumption, never a silent number."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from quietseat import fluids
from quietseat.assess import properties
from quietseat.assess.copies import changed
from quietseat.assess.filler import DEFAULTS, Filler, assumed
from quietseat.basis import Basis
from quietseat.model import Assumption, Case, Line, Location, Valve, Vessel
from quietseat.status import CalculationFailed
from quietseat.tables import table

__all__ = ["DEFAULTS", "assumed", "complete"]


def complete(location: Location, basis: Basis) -> tuple[Location, tuple[Assumption, ...]]:
    """The Location with defaults filled in, and the assumptions that were made.

    What cannot be assumed honestly (a relief rate, a line length, a set pressure) stays None. Running it
    again on its own result changes nothing and lists nothing; those made before stay in `origins`.
    """
    filler = Filler(location, basis)
    valve = _valve(filler, location.valve)
    vessel = _vessel(filler, location.vessel, valve)
    outlet = _outlet(filler, location.outlet, valve, location.cases)
    inlet = _inlet(filler, location.inlet, valve)
    cases = tuple([_case(filler, i, case, valve, vessel, outlet) for i, case in enumerate(location.cases)])
    valve = _by_phase(filler, valve, cases)
    if not filler.noted:
        return location, ()
    whole = {"valve": valve, "vessel": vessel, "inlet": inlet, "outlet": outlet, "cases": cases, "origins": filler.origins}
    return changed(location, whole), tuple(filler.assumptions)


# -- the valve and what it protects ----------------------------------------------------------------------------


def _valve(filler: Filler, valve: Valve) -> Valve:
    changes: dict[str, Any] = {}
    basis = filler.basis
    kind = valve.kind
    if kind is None:
        kind = changes["kind"] = "conventional"
        filler.take(
            "valve.kind", kind, "a closed conventional valve where nobody states the kind", "practice, memory-md"
        )
    if valve.body_pattern is None:
        changes["body_pattern"] = pattern = "pilot" if kind == "pilot" else "spring"
        filler.derived("valve.body_pattern", pattern, "the body of its kind", "API 526")
    if valve.orifice is None and valve.effective_area is not None:
        letter = _letter_of(valve.effective_area)
        if letter:
            changes["orifice"] = letter
            filler.derived("valve.orifice", letter, "the letter whose effective area is stated", "API 526")
    if valve.outlet_class is None:
        outlet_class = _outlet_class(changes.get("orifice") or valve.orifice, valve.inlet_class)
        if outlet_class is not None:
            changes["outlet_class"] = outlet_class
            filler.derived("valve.outlet_class", str(outlet_class), "the outlet class of this letter and inlet class",
                           "API 526, memory-hi")  # fmt: skip
    if valve.seat is None:
        changes["seat"] = basis.default_seat
        filler.take("valve.seat", basis.default_seat, "seat where nobody states it", "practice, memory-md")
    if valve.facing is None:
        changes["facing"] = "raised"
        filler.take("valve.facing", "raised", "raised face where nobody states the facing", "estimate")
    if valve.body_material is None:
        changes["body_material"] = basis.default_body_material
        filler.take("valve.body_material", basis.default_body_material, "material where nobody states it", "estimate")
    if kind == "pilot":
        for name, word in (("pilot_action", "snap"), ("pilot_sense", "integral"), ("pilot_bleed", "bleeding")):
            if getattr(valve, name) is None:
                changes[name] = word
                filler.take(f"valve.{name}", word, "the less favourable kind where nobody states it", "estimate")
    return changed(valve, changes)


def _by_phase(filler: Filler, valve: Valve, cases: tuple[Case, ...]) -> Valve:
    """What hangs on the phase of the cases, and so comes after them: liquid trim and blowdown."""
    changes: dict[str, Any] = {}
    kind = valve.kind or "conventional"
    _liquid_trim(filler, valve, kind, cases, changes)
    if valve.blowdown is None:
        changes["blowdown"] = value = _default_blowdown(kind, valve.pilot_action, cases, filler.basis)
        filler.take("valve.blowdown", f"{value:.1%}", "blowdown where nobody states it", "basis default_blowdown")
    return changed(valve, changes)


def _liquid_trim(filler: Filler, valve: Valve, kind: str, cases: tuple[Case, ...], changes: dict[str, Any]) -> None:
    """A spring valve in liquid is taken as made for liquid (capacity certification for it) where neither trim nor coefficient is stated."""
    if valve.liquid_trim is not None or kind == "pilot":
        return
    if valve.effective_coefficient is not None or (valve.actual_area is not None and valve.rated_coefficient is not None):
        return
    if any(_liquid(case) for case in cases):
        changes["liquid_trim"] = True
        filler.take("valve.liquid_trim", "made for liquid", "liquid trim where nobody says otherwise", "estimate")


def _default_blowdown(kind: str, action: str | None, cases: tuple[Case, ...], basis: Basis) -> float:
    if kind == "pilot":
        return basis.default_blowdown_modulating if action == "modulating" else basis.default_blowdown_snap
    if cases and all(_liquid(case) for case in cases):
        return basis.default_blowdown_liquid
    return basis.default_blowdown


def _liquid(case: Case) -> bool:
    return case.phase == "liquid" or (case.phase is None and case.volume_flow is not None)


@lru_cache(maxsize=256)
def _letter_of(area: float) -> str | None:
    for row in table("orifices").rows:
        if abs(row["area"] - area) <= 0.01 * row["area"]:
            return str(row["letter"])
    return None


@lru_cache(maxsize=256)
def _outlet_class(letter: str | None, inlet_class: int | None) -> int | None:
    """Outlet class API 526 gives a letter and inlet class; None where its rows disagree or there are none."""
    if letter is None or inlet_class is None:
        return None
    found = {row["outlet_class"] for row in table("spring_bodies").where(letter=letter, inlet_class=inlet_class)}
    return int(found.pop()) if len(found) == 1 else None


def _vessel(filler: Filler, vessel: Vessel, valve: Valve) -> Vessel:
    changes: dict[str, Any] = {}
    basis = filler.basis
    set_pressure = valve.set_pressure
    if set_pressure is not None:
        if vessel.mawp is None:
            changes["mawp"] = set_pressure
            filler.take(
                "vessel.mawp", "the set pressure", "set taken as MAWP where MAWP is unknown", "practice, memory-md"
            )
        if vessel.operating_pressure is None:
            ratio = basis.default_operating_ratio
            changes["operating_pressure"] = basis.atmospheric_pressure + ratio * basis.gauge(set_pressure)
            filler.take("vessel.operating_pressure", f"{ratio:.0%} of set", "operating maximum where nobody states it",
                        "basis default_operating_ratio")  # fmt: skip
    if vessel.volume is None and valve.kind != "pilot" and "vessel.volume" not in filler.origins:
        filler.take("vessel.volume", "at least 100 times the inlet line", "a vessel that small would swing with the disc; "
                    "nobody states the volume", "practice rule of the bare-vessel check, estimate", how="assumed")  # fmt: skip
    return changed(vessel, changes)


# -- the lines -------------------------------------------------------------------------------------------------


def _inlet(filler: Filler, line: Line, valve: Valve) -> Line:
    if line.size is not None or line.diameter is not None or line.segments or valve.inlet_size is None:
        return line
    filler.take("inlet.size", f"NPS {valve.inlet_size:g}", "inlet pipe of the size of the valve inlet", "estimate")
    return changed(line, {"size": valve.inlet_size})


def _outlet(filler: Filler, line: Line, valve: Valve, cases: tuple[Case, ...]) -> Line:
    changes: dict[str, Any] = {}
    if line.discharge_to is None and _has_header(filler, cases):
        changes["discharge_to"] = "flare"
        filler.take("outlet.discharge_to", "flare", "a superimposed back pressure is stated, so a header is there",
                    "estimate", how="assumed")  # fmt: skip
    unsized = line.size is None and line.diameter is None and not line.segments
    # A tailpipe to atmosphere that nobody described stays unknown.
    described = line.length is not None or line.discharge_to != "atmosphere"
    if unsized and described and valve.outlet_size is not None:
        changes["size"] = valve.outlet_size
        filler.take(
            "outlet.size", f"NPS {valve.outlet_size:g}", "outlet pipe of the size of the valve outlet", "estimate"
        )
    return changed(line, changes)


def _has_header(filler: Filler, cases: tuple[Case, ...]) -> bool:
    """Somebody stated a superimposed back pressure above atmospheric."""
    floor = filler.basis.atmospheric_pressure * (1 + 1e-6)
    return any(
        (value := getattr(case, name)) is not None and value > floor and not assumed(filler.location, f"cases.{i}.{name}")
        for i, case in enumerate(cases)
        for name in ("superimposed_max", "superimposed_min")
    )


# -- one case --------------------------------------------------------------------------------------------------


def _case(filler: Filler, index: int, case: Case, valve: Valve, vessel: Vessel, outlet: Line) -> Case:
    at = f"cases.{index}."
    changes: dict[str, Any] = {}
    if case.required is None and (case.installed or 1) > 1:
        changes["required"] = 1
        filler.take(f"{at}required", "1", "one valve on duty, the others spare, where nobody states how many are needed",
                    "practice, memory-md")  # fmt: skip
    _accumulation(filler, at, case, changes)
    _superimposed(filler, at, case, outlet, changes)
    if case.rate_basis is None:
        changes["rate_basis"] = "unknown"
        filler.take(f"{at}rate_basis", "unknown", "nobody says what the required rate rests on", "")
    _phase(filler, at, case, changes)
    _temperature(filler, at, case, vessel, changes)
    _phase_of_fluid(filler, at, case, vessel, changes)
    case = changed(case, changes)
    return changed(case, properties.missing(filler, at, case, valve, vessel))


def allowed_accumulation(case: Case, basis: Basis) -> float:
    """Accumulation on gauge MAWP that the Basis allows a case."""
    if case.cause == "fire":
        return basis.accumulation_fire
    if (case.required or 1) > 1:
        return basis.accumulation_multiple
    return basis.accumulation_single


def _accumulation(filler: Filler, at: str, case: Case, changes: dict[str, Any]) -> None:
    basis = filler.basis
    if case.accumulation is None:
        changes["accumulation"] = factor = allowed_accumulation(case, basis)
        filler.take(f"{at}accumulation", f"{factor:.0%} of gauge MAWP", f"accumulation of {basis.code}", "basis")
    elif 0.0 < case.accumulation < 0.5:
        changes["accumulation"] = 1.0 + case.accumulation
        old = filler.origins.get(f"{at}accumulation")
        filler.derived(f"{at}accumulation", f"{1 + case.accumulation:.0%} of gauge MAWP", "10 % over MAWP is 110 % of it",
                       "definition", where=old.where if old else "")  # fmt: skip


def _superimposed(filler: Filler, at: str, case: Case, outlet: Line, changes: dict[str, Any]) -> None:
    """Both ends of the superimposed back pressure; one that is stated never contradicts the one that is filled."""
    basis = filler.basis
    atmospheric = basis.atmospheric_pressure
    high, low = case.superimposed_max, case.superimposed_min
    if high is None:
        header = outlet.discharge_to in ("flare", "closed", "process")
        if low is not None and low > atmospheric:
            high = low
            filler.derived(f"{at}superimposed_max", "the constant one", "only a constant superimposed back pressure is stated", "")
        elif header:
            high = basis.default_superimposed_flare
            filler.take(f"{at}superimposed_max", basis.text("default_superimposed_flare"),
                        "superimposed back pressure where nobody states it", "practice, memory-md")  # fmt: skip
        elif outlet.discharge_to == "atmosphere":
            high = atmospheric
            filler.derived(f"{at}superimposed_max", "atmospheric", "discharge to atmosphere", "")
        else:
            high = atmospheric
            filler.take(f"{at}superimposed_max", "atmospheric", "superimposed back pressure where nobody states it, nor "
                        "where the valve discharges to", "practice, memory-md")  # fmt: skip
        changes["superimposed_max"] = high
    if low is None:
        # The widest swing is the careful reading: the header can stand at atmospheric pressure.
        changes["superimposed_min"] = min(atmospheric, high)
        if high > atmospheric:
            filler.take(f"{at}superimposed_min", "atmospheric", "the header may stand empty: the widest swing", "estimate")
        else:
            filler.derived(f"{at}superimposed_min", "atmospheric", "no superimposed back pressure", "")


def _phase(filler: Filler, at: str, case: Case, changes: dict[str, Any]) -> None:
    """Phase from fields that belong to one phase only; a weaker sign is an assumption."""
    if case.phase is not None:
        return
    name = (case.fluid or "").lower()
    if "steam" in name and "condensate" not in name and case.volume_flow is None:
        phase, rule, sure = "steam", "the fluid is steam", True
    elif case.specific_volume is not None and case.specific_volume_90 is not None:
        phase, rule, sure = "two-phase", "mixture specific volumes are stated", True
    elif case.volume_flow is not None:
        phase, rule, sure = "liquid", "the required rate is a liquid volume flow", True
    elif case.molar_mass is not None and case.density is None:
        phase, sure = "gas", case.k is not None
        rule = "molar mass and cp/cv are stated" if sure else "a molar mass is stated and no density"
    else:
        return
    changes["phase"] = phase
    if sure:
        filler.derived(f"{at}phase", phase, rule, "")
    else:
        filler.take(f"{at}phase", phase, rule, "estimate", how="assumed")


def _temperature(filler: Filler, at: str, case: Case, vessel: Vessel, changes: dict[str, Any]) -> None:
    """Relieving temperature: operating temperature, or the bubble point in a wetted fire."""
    phase = changes.get("phase") or case.phase
    if case.temperature is not None or phase == "steam":
        return
    if phase == "two-phase" and _boiling(filler, at, case, vessel, changes):
        return
    operating = vessel.operating_temperature
    if case.cause != "fire":
        if operating is not None:
            changes["temperature"] = operating
            filler.take(f"{at}temperature", f"{operating - 273.15:.0f} degC",
                        "relieving temperature = operating temperature (not fire)", "practice, memory-md")  # fmt: skip
        return
    key = fluids.resolve(case.fluid) if case.fluid else None
    if key is None or vessel.mawp is None or phase not in ("gas", None):
        return
    accumulation = changes.get("accumulation") or case.accumulation or filler.basis.accumulation_fire
    value = properties.bubble_point(key, filler.basis.atmospheric_pressure + accumulation * filler.basis.gauge(vessel.mawp))
    # A vessel that runs hotter than its bubble point holds no liquid: its fire is not wetted.
    if value is not None and (operating is None or operating <= value):
        changes["temperature"] = value
        filler.take(f"{at}temperature", f"{value - 273.15:.0f} degC", "wetted fire: bubble point at accumulated pressure",
                    "practice, memory-md; property library")  # fmt: skip


def _phase_of_fluid(filler: Filler, at: str, case: Case, vessel: Vessel, changes: dict[str, Any]) -> None:
    """The phase a pure fluid has at relieving pressure and temperature, where nothing else tells."""
    temperature = changes.get("temperature") or case.temperature
    if case.phase is not None or "phase" in changes or temperature is None or vessel.mawp is None:
        return
    key = fluids.resolve(case.fluid) if case.fluid else None
    if key is None:
        return
    accumulation = changes.get("accumulation") or case.accumulation or filler.basis.accumulation_single
    try:
        state = fluids.state(key, filler.basis.atmospheric_pressure + accumulation * filler.basis.gauge(vessel.mawp), temperature)
    except CalculationFailed:
        return
    if state.phase in ("gas", "liquid"):
        changes["phase"] = phase = "steam" if state.phase == "gas" and key == "Water" else state.phase
        filler.looked_up(f"{at}phase", phase, f"{key} at relieving pressure and temperature", fluids.LIBRARY)


def _boiling(filler: Filler, at: str, case: Case, vessel: Vessel, changes: dict[str, Any]) -> bool:
    """A mixture of a pure fluid with a stated vapour fraction is at its saturation temperature: a fact, no default."""
    key = fluids.resolve(case.fluid) if case.fluid and case.quality is not None else None
    if key is None or vessel.mawp is None:
        return False
    accumulation = changes.get("accumulation") or case.accumulation or filler.basis.accumulation_single
    value = properties.bubble_point(key, filler.basis.atmospheric_pressure + accumulation * filler.basis.gauge(vessel.mawp))
    if value is None:
        return False
    changes["temperature"] = value
    filler.looked_up(f"{at}temperature", f"{value - 273.15:.1f} degC", f"{key} with a stated vapour fraction: saturation "
                     "temperature at accumulated pressure", fluids.LIBRARY)  # fmt: skip
    return True


def weak(location: Location, index: int) -> tuple[tuple[str, float], ...]:
    """Defaults behind the capacity of a case, each with the share by which it might shift required over rated flow.

    Z from 0.8 to 1.1 and a relieving temperature 30 K off move the flow by about 5 %; a valve without liquid
    certification passes little more than half; a wrong phase can do anything.
    """
    found = [(f"cases.{index}.{name}", share) for name, share in _SHIFTS if assumed(location, f"cases.{index}.{name}")]
    if location.cases[index].phase == "liquid" and assumed(location, "valve.liquid_trim"):
        found.append(("valve.liquid_trim", 0.5))
    return tuple(found)


_SHIFTS = (("phase", 1.0), ("temperature", 0.05), ("Z", 0.05), ("required", 1.0))

