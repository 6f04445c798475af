"""The calculations that checks can name: each takes SI values and returns what it found by quantity, SI.

Nothing is calculated here that a user would not get: every one calls the functions a study calls.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping
from typing import Any

from quietseat import basis as bases
from quietseat import casefile, catalogue, fluids, formula, reliability, units
from quietseat.dynamics import closed, linear
from quietseat.dynamics.parameters import letter_area, precompression, seat_area
from quietseat.dynamics.situation import mach_of
from quietseat.formula import Sheet
from quietseat.loads import fire, reaction, thermal
from quietseat.model import Line
from quietseat.piping import sonic
from quietseat.piping.friction import solve_colebrook
from quietseat.piping.lines import outlet
from quietseat.piping.records import FlowState
from quietseat.piping.resistance import pipe_bore
from quietseat.sizing import gas, letters, size, twophase
from quietseat.sizing.hem import two_phase_inputs
from quietseat.sizing.rated import effective_pair, flow_through
from quietseat.sizing.request import Choices, Request, Result
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

Found = dict[str, Any]


def _quiet() -> Sheet:
    return Sheet(record=False)


# --- sizing -----------------------------------------------------------------------------------------------


def size_case(case: Mapping[str, Any]) -> Found:
    """A case as the `size` command reads it from a file; factors by their names. Raises CalculationFailed, InputUnusable."""
    return _found(_sized(case))


def _sized(case: Mapping[str, Any]) -> Result:
    read = casefile.size_case("check", dict(case))
    return size(read.request, read.basis, _quiet())


def _found(result: Result) -> Found:
    values: Found = {
        "status": str(result.status), "reason": result.reason, "regime": result.regime, "orifice": result.orifice,
        "required_area": result.required_area, "selected_area": result.selected_area, "mass_flux": result.mass_flux,
        "flow": result.flow, "omega": result.omega, "eta_c": result.eta_c, "reynolds": result.reynolds,
        "choking_pressure": result.choking_pressure, "relieving_pressure": result.relieving_pressure,
        **result.factors,
    }  # fmt: skip
    return {name: value for name, value in values.items() if value is not None}


def _area(case: Mapping[str, Any]) -> float:
    result = _sized(case)
    if result.required_area is None:
        raise CalculationFailed(result.status, result.reason)
    return result.required_area


def area_ratio(case: dict[str, Any], changed: dict[str, Any], basis: dict[str, Any] | None = None) -> Found:
    """Area of a case with some keys changed, over its area."""
    whole = case | {"basis": case.get("basis", {}) | (basis or {})}
    return {"area_ratio": _area(whole | changed) / _area(whole)}


def choke_jump(case: dict[str, Any], relieving_pressure: float, basis: dict[str, Any] | None = None) -> Found:
    """Area just above the critical pressure ratio over the area just below it."""
    r_c = gas.critical_ratio(k=case["k"])
    whole = case | {"basis": basis or {}, "relieving_pressure": f"{relieving_pressure!r} Paa"}
    above, below = (_area(whole | {"back_pressure": f"{relieving_pressure * r_c * f!r} Paa"}) for f in (1 + 1e-9, 1 - 1e-9))
    return {"area_ratio": above / below}


def omega_ratio(omega: float, root: str = "exact") -> Found:
    """Critical ratio of the omega method."""
    return {"eta_c": twophase.critical_ratio(omega, Choices(omega_root=root), _quiet())}


def omega_of_fluid(fluid: str, pressure: float, quality: float) -> Found:
    """Omega method on the volumes of a pure fluid: omega, critical ratio and flux. Volumes by CoolProp."""
    v1, v9 = two_phase_inputs(fluid, pressure, quality)
    request = Request("two-phase", relieving_pressure=pressure, flow=1.0, specific_volume=v1, specific_volume_90=v9)
    return _found(size(request, Choices(constants="exact"), _quiet()))


def superheat(pressure: float, temperature: float) -> Found:
    """Superheat correction of steam from first principles: isentropic flux over the Napier flux."""
    real, napier = (
        size(request, Choices(), _quiet())
        for request in (
            Request("hem", relieving_pressure=pressure, flow=1.0, fluid="water", temperature=temperature),
            Request("steam", relieving_pressure=pressure, flow=1.0, overrides={"KSH": 1.0}),
        )
    )
    if real.mass_flux is None or napier.mass_flux is None:
        raise CalculationFailed(Status.NOT_COMPUTED, real.reason or napier.reason)
    return {"KSH": real.mass_flux / napier.mass_flux}


def letter_of(area: float) -> Found:
    """The letter that is enough for an area."""
    chosen = letters.select(area)
    return {"orifice": chosen.letter, "area": chosen.area}


def body_floor(letter: str, outlet_area: float, pressure: float, k: float) -> Found:
    """Static pressure at a bare valve outlet that chokes, from the flow of the letter, over the relieving pressure."""
    basis = bases.make({"constants": "exact"})
    T, M = 300.0, 0.029  # any gas: the ratio does not depend on them
    request = Request("gas", relieving_pressure=pressure, temperature=T, molar_mass=M, k=k)
    passed = flow_through(effective_pair(letter, "gas"), request, basis, _quiet())
    if passed.flow is None:
        raise CalculationFailed(passed.status, passed.reason)
    bore = (outlet_area / closed.bore_area(1.0)) ** 0.5
    bare = Line(diameter=bore, length=0.0, block_valve="none", discharge_to="atmosphere")
    state = FlowState("gas", pressure, temperature=T, molar_mass=M, k=k, Z=1.0)
    found = outlet(bare, state, passed.flow, 101325.0, basis, _quiet())
    if found.floor is None:
        raise CalculationFailed(found.status, found.reason or "the outlet does not choke")
    return {"floor_ratio": found.floor / pressure}


# --- tables -----------------------------------------------------------------------------------------------


def table_cell(table_name: str, column: str, **key: Any) -> Found:
    """One cell of a packaged table; a length or pressure in SI, a word as it stands."""
    return {"value": table(table_name).row(**key)[column]}


def table_between(table_name: str, column: str, at: float, **key: Any) -> Found:
    """One value of a packaged table, interpolated by the table's own rule."""
    return {"value": table(table_name).at(at, column, **key)}


def class_needed(group: str, temperature: float, pressure: float) -> Found:
    """The lowest flange class whose rating at a temperature is enough for a gauge pressure (Pa)."""
    for rating in (150, 300, 600, 900, 1500, 2500):
        if table("flange_ratings").at(temperature, f"class_{rating}", group=group) >= pressure:
            return {"class": str(rating)}
    raise CalculationFailed(Status.OUT_OF_RANGE, "no class is enough")


def drilling(nps: float, old: int, new: int) -> Found:
    """Whether two flange classes drill alike at one size: yes or no."""
    return {"bolts_line_up": "yes" if catalogue.bolts_line_up(nps, old, new) else "no"}


def outlet_ratio(letter: str, nps: float) -> Found:
    """Bore area of the Schedule 40 outlet over the effective area of the letter."""
    return {"ratio": closed.bore_area(pipe_bore(nps, "40")[0]) / letters.letters()[letter]}


def bubble(set_pressure: float) -> Found:
    """Volume of one bubble: allowed flow over allowed bubbles a minute, small orifices."""
    row = table("api527").next_up("set_pressure", set_pressure)
    return {"volume": row["small_flow"] * 60 / row["small_bubbles"]}


# --- loads, reliability -----------------------------------------------------------------------------------


def wetted_fire(area: float, **more: Any) -> Found:
    """Heat input of a wetted vessel in a pool fire, and its environment factor."""
    found = fire.wetted_fire(area, 300e3, _quiet(), **more)
    return {"heat": found.heat, "factor": found.factor}


def expansion(**inputs: float) -> Found:
    """Volume flow of a heated, blocked-in liquid."""
    return {"volume_flow": thermal.thermal_expansion(**inputs, sheet=_quiet()).volume_flow}


def reaction_force(phase: str, constants: str = "printed", units_of_constants: str = "USC", **inputs: float) -> Found:
    """Reaction force of a discharge into the open."""
    choices = Choices(constants=constants, units_of_constants=units_of_constants)
    calculate = reaction.reaction_gas if phase == "gas" else reaction.reaction_two_phase
    found = calculate(**inputs, choices=choices, sheet=_quiet())
    return {"force": found.force, "dynamic": found.dynamic}


def failure(kind: str, mode: str, severity: str, years: float) -> Found:
    """Probability of failure of a valve by API RP 581."""
    return {"probability": reliability.failure(kind, mode, severity, time=years).probability}


# --- hydraulics, stability, fluids ------------------------------------------------------------------------


def friction(roughness_ratio: float, reynolds: float) -> Found:
    """Darcy friction factor by Colebrook."""
    return {"f": solve_colebrook(roughness_ratio, reynolds)[0]}


def sudden_opening(area_ratio: float, k: float) -> Found:
    """Mach number in a pipe when a choked valve opens at once, and the pressure kept; valve flow area over pipe area."""
    mach = mach_of(area_ratio, k)
    return {"mach": mach, "kept": 1 - closed.expansion_drop(pressure=1.0, mach=mach, k=k)}


def sudden_opening_of(letter: str, bore: float, coefficient: float, k: float) -> Found:
    """Share of the pressure lost when a letter opens at once on a pipe."""
    share = coefficient * letter_area(letter) / closed.bore_area(bore)
    return {"drop": 1 - sudden_opening(share, k)["kept"]}


# Reference case A of the linear theory: air, disc 50 mm, no pop.
_A: Mapping[str, float] = {
    "bore": 0.0779, "seat": 0.05, "mass": 1.5, "spring": 47.3e3, "stop": 0.0125, "set_gauge": 10e5, "back": 1e5,
    "coefficient": 0.7, "volume": 10.0, "gas_constant": 287.05, "temperature": 293.15, "k": 1.4,
}  # fmt: skip


def reference_a(lift_fraction: float, length: float | None = None, volume: float | None = None) -> Found:
    """Reference case A: equilibrium, critical length in closed form and exact, growth at a length, damping needed."""
    k, seat = _A["k"], seat_area(_A["seat"])
    M = formula.R / _A["gas_constant"]
    a = sonic.sound_speed_gas(k=k, Z=1.0, temperature=_A["temperature"], molar_mass=M)
    lift = lift_fraction * _A["stop"]
    squeeze = precompression(seat_area=seat, set_gauge=_A["set_gauge"], spring_rate=_A["spring"])
    p0 = closed.disc_pressure(back=_A["back"], spring_rate=_A["spring"], precompression=squeeze, lift=lift, disc_area=seat)
    C = gas.gas_coefficient(k, "gas", Choices(constants="exact"), _quiet())
    flux = gas.critical_flux(C=C, P1=p0, M=M, T=_A["temperature"], Z=1.0)
    curtain = closed.bore_area(1.0) * 4 * _A["seat"] * lift  # pi D x
    flow = _A["coefficient"] * curtain * flux
    exponent = closed.exponent_choked(k=k)
    coupled = closed.coupled_frequency(
        spring_rate=_A["spring"], disc_area=seat, pressure=p0, exponent=exponent, lift=lift, mass=_A["mass"]
    )
    gain_p = closed.gain_pressure(exponent=exponent, flow=flow, pressure=p0)
    gain_x = closed.gain_lift(flow=flow, lift=lift)
    closed_form = closed.critical_length(sound_speed=a, coupled_frequency=coupled)
    at = linear.Equilibrium(
        ((length or closed_form, closed.bore_area(_A["bore"])),), a, _A["volume"], gain_p, gain_x, seat, _A["mass"],
        _A["spring"],
    )  # fmt: skip
    growth, frequency = linear.mode(at)
    return {
        "flow": flow, "pressure": p0, "critical_length": closed_form,
        "exact_length": linear.critical_length(at, closed_form), "growth": growth, "frequency": frequency,
        "damping": closed.damping_needed(volume or _A["volume"], a, _A["mass"], _A["spring"], seat, gain_p, gain_x),
    }  # fmt: skip


def boiling(fluid: str, pressure: float) -> Found:
    """Boiling temperature and latent heat of a fluid of the property library."""
    at = fluids.state(fluid, pressure, quality=1.0)
    return {"temperature": fluids.saturation_temperature(fluid, pressure), "latent_heat": at.latent_heat}


# --- plain ------------------------------------------------------------------------------------------------


def one_formula(name: str, **inputs: float) -> Found:
    """One tagged formula by its full name."""
    module, _, function = name.rpartition(".")
    held = importlib.import_module(module)
    if name not in formula.registered():
        raise CalculationFailed(Status.NOT_COMPUTED, f"no formula is called {name}")
    return {"value": getattr(held, function)(**inputs)}


def reading(number: float, unit: str, quantity: str) -> Found:
    """A number and its unit, as the reader of registers understands them."""
    return {"value": units.parse(f"{number:g} {unit}", quantity).value}


CALCULATIONS: Mapping[str, Callable[..., Found]] = {
    "area ratio": area_ratio, "jump at the choke": choke_jump, "omega critical ratio": omega_ratio,
    "omega of a fluid": omega_of_fluid, "superheat from first principles": superheat, "letter": letter_of,
    "body floor": body_floor, "table cell": table_cell, "table between": table_between, "class needed": class_needed,
    "drilling": drilling, "outlet ratio": outlet_ratio, "bubble": bubble, "wetted fire": wetted_fire,
    "thermal expansion": expansion, "reaction": reaction_force, "failure": failure, "friction": friction,
    "sudden opening": sudden_opening, "sudden opening of a letter": sudden_opening_of, "reference case A": reference_a,
    "boiling": boiling, "formula": one_formula, "reading": reading,
}  # fmt: skip
