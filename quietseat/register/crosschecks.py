"""The checks that find errors for free: one value of a row against another. Each that fails is a Problem.

They question the data, not the valve: whether the valve is fit is judged later. A check whose values are not all
known is left out. Rules: practice of the trade (common practice) unless a table or formula is named.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache

from quietseat import tables
from quietseat.basis import Basis
from quietseat.formula import Sheet
from quietseat.model import Case, Location
from quietseat.register import sizes
from quietseat.register.derived import AIR
from quietseat.register.places import of_case
from quietseat.register.rows import Data
from quietseat.register.taken import stated
from quietseat.sizing import Request
from quietseat.sizing.pressure import cdtp as cdtp_of
from quietseat.sizing.rated import effective_pair, flow_through
from quietseat.status import CalculationFailed, Settles, Status
from quietseat.units import show

SLACK = 1.001  # a tenth of a per cent: rounding of converted figures
AMBIENT = 311.15  # K, 38 degC, the first temperature of the rating tables
CAPACITY_BAND = (0.65, 1.5)  # stamped over effective-area capacity that is still believed (estimate)
STEAM_BAND = 5.0  # K, below saturation by more than this is no steam
SUPERHEAT = 250.0  # K, more superheat than this is questioned (estimate)


@dataclass(slots=True)
class Place:
    """One location with its row and the Basis."""

    at: Location
    data: Data
    basis: Basis

    def gauge(self, pressure: float) -> float:
        """Gauge pressure, Pa."""
        return pressure - self.basis.atmospheric_pressure

    def say(self, rule: str, mend: str, ident: str, *settles: Settles | str) -> None:
        """One failed check. settles: the fields that decide it where it is not `ident` alone."""
        taken = self.data.values.get(ident)
        named = tuple(Settles(one) if isinstance(one, str) else one for one in settles)
        self.data.complain(f"check: {rule}", mend, ident, taken.text if taken else None, settles=named)

    def case(self, index: int, key: str) -> Settles:
        """A field of one of the cases, in the row it was read from."""
        return Settles(f"case.{key}", (), *of_case(self.at, index))

    def signed(self, index: int) -> bool:
        """Whether somebody has signed the rate of a case in answer to a question: a mend, no cell of the list."""
        origin = self.at.origins.get(f"cases.{index}.rate_basis")
        return origin is not None and origin.how == "mended" and self.at.cases[index].rate_basis == "signed"

    def written(self, ident: str) -> tuple[tuple[str, str], ...]:
        """A field as its cell says it, to be offered as an answer."""
        taken = self.data.good(ident)
        return ((stated(taken), "as written"),) if taken is not None else ()

    def words(self, pressure: float) -> str:
        """A pressure as it is shown."""
        return show(pressure, self.basis.pressure_unit, atmospheric=self.basis.atmospheric_pressure)


def run(place: Place) -> None:
    """Every check on one location."""
    for check in CHECKS:
        check(place)


def _set_and_mawp(p: Place) -> None:
    set_, mawp = p.at.valve.set_pressure, p.at.vessel.mawp
    if set_ is None or mawp is None or p.gauge(mawp) <= 0:
        return
    ratio = p.gauge(set_) / p.gauge(mawp)
    if ratio > p.basis.set_limit_additional * SLACK:
        p.say(f"the set pressure is {ratio:.1%} of MAWP, above {p.basis.set_limit_additional:.0%}",
              "look whether both have the same unit and reference, and which is right", "valve.set_pressure",
              "valve.set_pressure", "vessel.mawp")  # fmt: skip
    elif ratio > p.basis.set_limit_first * SLACK and not any((case.required or 1) > 1 for case in p.at.cases):
        p.say(f"the set pressure is {ratio:.1%} of MAWP: allowed only for an additional valve",
              "say how many valves the case needs at once, 2 or more where this is an additional one; else put set pressure or MAWP right",
              "valve.set_pressure", "case.required", "valve.set_pressure", "vessel.mawp")  # fmt: skip


def _operating(p: Place) -> None:
    set_, operating = p.at.valve.set_pressure, p.at.vessel.operating_pressure
    if set_ is not None and operating is not None and operating >= set_:
        p.say(f"the operating pressure {p.words(operating)} is not below the set pressure {p.words(set_)}",
              "look whether both have the same unit, and which is right", "vessel.operating_pressure")  # fmt: skip


def _ladder(p: Place) -> None:
    set_ = p.at.valve.set_pressure
    for name in ("alarm_pressure", "trip_pressure"):
        value = getattr(p.at.vessel, name)
        if value is not None and set_ is not None and value > set_ * SLACK:
            p.say(f"the {name.replace('_', ' ')} lies above the set pressure", "look which is right", f"vessel.{name}")


def constant_back_pressure(case: Case) -> float | None:
    """The constant superimposed back pressure of a case (Pa absolute), if one is stated as such."""
    low, high = case.superimposed_min, case.superimposed_max
    if low is not None and (high is None or abs(low - high) <= 0.01 * high):
        return low
    return None


def _cdtp(p: Place) -> None:
    valve = p.at.valve
    constant = next((c for case in p.at.cases if (c := constant_back_pressure(case)) is not None), None)
    set_, mawp = valve.set_pressure, p.at.vessel.mawp
    if set_ is None or p.gauge(set_) <= 0:
        return
    if constant is not None and mawp is not None and _is_cdtp(p, set_, mawp, constant):
        p.say("the set pressure equals MAWP less the constant back pressure: this looks like the CDTP in the set column",
              f"if so, the set pressure is {p.words(mawp)}", "valve.set_pressure",
              Settles("valve.set_pressure", ((p.words(mawp), "MAWP: the cell holds the CDTP"), *p.written("valve.set_pressure"))))  # fmt: skip
        return
    if valve.cdtp is None or valve.kind is None:
        return
    try:
        expected = cdtp_of(set_, constant, valve.kind, p.basis.atmospheric_pressure, _SILENT)
    except CalculationFailed:
        return
    if abs(valve.cdtp - expected) > p.basis.cdtp_band * p.gauge(set_):
        hint = "" if constant is not None or valve.kind != "conventional" else " (no constant back pressure is stated)"
        p.say(f"the CDTP {p.words(valve.cdtp)} is not the set pressure less the constant back pressure, "
              f"{p.words(expected)}{hint}; a temperature correction may explain a few per cent",
              "look up the CDTP on the test sheet", "valve.cdtp", "valve.cdtp", "valve.set_pressure", "case.superimposed_min")  # fmt: skip


def _is_cdtp(p: Place, set_: float, mawp: float, constant: float) -> bool:
    """Whether the set pressure is MAWP less a back pressure that matters."""
    if p.gauge(constant) <= 0.005 * p.gauge(set_) or set_ >= mawp:
        return False
    return abs(p.gauge(set_) - (p.gauge(mawp) - p.gauge(constant))) <= 0.01 * p.gauge(set_)


_SILENT = Sheet(False)


def _spring(p: Place) -> None:
    valve = p.at.valve
    bench = valve.cdtp if valve.cdtp is not None else valve.set_pressure
    if valve.spring_range is None or bench is None:
        return
    low, high = valve.spring_range
    if not low / SLACK <= bench <= high * SLACK:
        p.say(f"the spring range {p.words(low)} to {p.words(high)} does not hold the test pressure {p.words(bench)}",
              "look up the spring and the test pressure", "valve.spring_range")  # fmt: skip


@cache
def _bodies() -> frozenset[tuple[str, float, float, int]]:
    spring = {(r.letter, float(r.inlet), float(r.outlet), int(r.inlet_class)) for r in tables.table("spring_bodies")}
    pilot = {
        (letter, float(r.inlet), float(r.outlet), int(r.inlet_class))
        for r in tables.table("pilot_bodies") for letter in str(r.letters or "")
    }  # fmt: skip
    return frozenset(spring | pilot)


def _size(p: Place) -> None:
    v = p.at.valve
    if v.inlet_size is not None and v.outlet_size is not None and v.outlet_size < v.inlet_size:
        p.say(f"the outlet NPS {v.outlet_size:g} is smaller than the inlet NPS {v.inlet_size:g}",
              "look whether inlet and outlet are exchanged", "valve.outlet_size", "valve.inlet_size", "valve.outlet_size")  # fmt: skip
        return
    if v.orifice is None or v.inlet_size is None or v.outlet_size is None:
        return
    name = f"{v.inlet_size:g}{v.orifice}{v.outlet_size:g}"
    if not sizes.plausible(v.orifice, v.inlet_size, v.outlet_size):
        p.say(f"API 526 has no {name}", "look up the size and letter on the nameplate (makers sell other sizes too)",
              "valve.orifice", "valve.orifice", "valve.inlet_size", "valve.outlet_size")  # fmt: skip
    elif v.inlet_class and (v.orifice, v.inlet_size, v.outlet_size, v.inlet_class) not in _bodies():
        p.say(f"API 526 has no {name} with an inlet of class {v.inlet_class}", "look up the class on the nameplate",
              "valve.inlet_class")  # fmt: skip


@lru_cache(maxsize=256)
def _group(material: str) -> str | None:
    plain = "".join(char for char in material.upper() if char.isalnum())
    row = tables.table("material_groups").get(material=plain)
    return str(row.group) if row else None


@lru_cache(maxsize=8192)
def rating(group: str, class_: int, temperature: float) -> float | None:
    """Flange rating (gauge Pa) at a temperature, None outside the table."""
    table = tables.table("flange_ratings")
    rows = table.where(group=group)
    if not rows:
        return None
    low = min(row.temperature for row in rows)
    try:
        return table.at(max(temperature, low), f"class_{class_}", group=group)
    except (ValueError, AttributeError):
        return None


def _flange(p: Place) -> None:
    v = p.at.valve
    group = _group(v.body_material) if v.body_material else None
    if group is None:
        return
    hot = [t for t in (p.at.vessel.operating_temperature, *(case.temperature for case in p.at.cases)) if t is not None]
    fire = any(case.cause == "fire" for case in p.at.cases)
    temperature = max([p.at.vessel.operating_temperature or 0.0, *([] if fire else hot), AMBIENT])
    if v.inlet_class and v.set_pressure is not None:
        limit = rating(group, v.inlet_class, temperature)
        if limit is not None and p.gauge(v.set_pressure) > limit * SLACK:
            p.say(f"class {v.inlet_class} in {v.body_material} holds {p.words(limit + p.basis.atmospheric_pressure)} at "
                  f"{temperature - 273.15:.0f} degC (ASME B16.5), less than the set pressure",
                  "look up class, material and temperature", "valve.inlet_class")  # fmt: skip
    back = max((_back_pressure(case) or 0.0 for case in p.at.cases), default=0.0)
    if v.outlet_class and back > 0.0:
        limit = rating(group, v.outlet_class, AMBIENT)
        if limit is not None and p.gauge(back) > limit * SLACK:
            p.say(f"class {v.outlet_class} at the outlet holds {p.words(limit + p.basis.atmospheric_pressure)}, "
                  f"less than the back pressure {p.words(back)}", "look up both", "valve.outlet_class")  # fmt: skip


def _back_pressure(case: Case) -> float | None:
    if case.superimposed_max is None and case.superimposed_min is None:
        return None
    return (case.superimposed_max or case.superimposed_min or 0.0) + (case.built_up or 0.0)


def _back_pressures(p: Place) -> None:
    for case in p.at.cases:
        low, high = case.superimposed_min, case.superimposed_max
        if low is not None and high is not None and low > high * SLACK:
            p.say("the lowest superimposed back pressure is above the highest", "exchange them", "case.superimposed_min")
        total = p.data.good("case.total_back_pressure")
        parts = _back_pressure(case)
        if total is None or parts is None or case.built_up is None or p.gauge(parts) <= 0:
            continue
        if abs(total.value - parts) > 0.05 * p.gauge(parts) + 1000.0:
            p.say(f"the total back pressure is not superimposed plus built-up, {p.words(parts)}", "look which is right",
                  "case.total_back_pressure")  # fmt: skip


@cache
def _areas() -> Mapping[str, float]:
    return {str(row.letter): float(row.area) for row in tables.table("orifices")}


def _area(p: Place) -> None:
    v = p.at.valve
    letter = _areas().get(v.orifice) if v.orifice else None
    selected = v.effective_area or letter or v.actual_area
    required = p.data.good("case.required_area")
    if required is not None and selected is not None and required.value > selected * SLACK:
        p.say(f"the required area {required.value * 1e6:.4g} mm2 is more than the selected {selected * 1e6:.4g} mm2",
              "look whether rate, letter or unit is wrong", "case.required_area")  # fmt: skip
    if letter is None:
        return
    if v.effective_area is not None and abs(v.effective_area - letter) > 0.02 * letter:
        word = "an actual area in the effective column?" if 1.02 * letter < v.effective_area < 1.3 * letter else "which is right?"
        p.say(f"the effective area {v.effective_area * 1e6:.4g} mm2 is not that of {v.orifice}, {letter * 1e6:.4g} mm2: {word}",
              "write the API 526 area, or move the figure to the actual area", "valve.effective_area",
              Settles("valve.effective_area", ((f"{letter * 1e6:.5g} mm2", f"API 526 area of {v.orifice}"), *p.written("valve.effective_area"))),
              "valve.actual_area", "valve.orifice")  # fmt: skip
    if v.actual_area is not None and v.actual_area < letter * 0.99:
        p.say(f"the actual area {v.actual_area * 1e6:.4g} mm2 is below the effective area of {v.orifice}",
              "look up area and letter on the nameplate", "valve.actual_area", "valve.actual_area", "valve.orifice")  # fmt: skip


def _pairs(p: Place) -> None:
    v = p.at.valve
    letter = _areas().get(v.orifice) if v.orifice else None
    if v.actual_area is not None and v.effective_area is None and v.effective_coefficient is not None and v.rated_coefficient is None:
        p.say("an actual area stands beside an effective coefficient: a crossed pair, not used together",
              "write the rated coefficient, or the effective area", "valve.effective_coefficient",
              "valve.rated_coefficient", "valve.effective_area")  # fmt: skip
    if v.effective_area is not None and v.actual_area is None and v.rated_coefficient is not None and v.effective_coefficient is None:
        p.say("an effective area stands beside a rated coefficient: a crossed pair, not used together",
              "write the actual area of the nameplate, or the effective coefficient", "valve.rated_coefficient",
              "valve.actual_area", "valve.effective_coefficient")  # fmt: skip
    if v.actual_area is not None and letter is not None and abs(v.actual_area - letter) <= 0.005 * letter:
        p.say(f"the actual area equals the API effective area of {v.orifice}: probably not the certified area",
              "look up the certified area", "valve.actual_area")  # fmt: skip
    if v.rated_coefficient is not None and v.rated_coefficient > 0.93:
        p.say(f"the rated coefficient {v.rated_coefficient:g} is higher than certified ones are: an effective Kd?",
              "write the certified coefficient (mean test value times 0.9)", "valve.rated_coefficient")  # fmt: skip


def _called(case: Case) -> str:
    name = case.name or "the case"
    return name if name.startswith(("case ", "the ")) else f"case {name}"


def _capacity(p: Place) -> None:
    v = p.at.valve
    taken = p.data.good("valve.nameplate_flow")
    for index, case in enumerate(p.at.cases):
        if not v.nameplate_flow or not case.flow or case.rate_basis == "nameplate" or p.signed(index):
            continue
        if abs(case.flow - v.nameplate_flow) <= p.basis.nameplate_band * v.nameplate_flow:
            p.say(f"the required rate of {_called(case)} equals the stamped capacity: a nameplate figure, not a relief load",
                  "write the rate of the relief study, or rate basis 'nameplate'", "case.flow",
                  p.case(index, "rate_basis"), p.case(index, "flow"))  # fmt: skip
    if taken is None or not v.nameplate_flow or not v.orifice or v.set_pressure is None or p.gauge(v.set_pressure) <= 0:
        return
    expected = _expected(p, str(taken.value[0]))
    if expected is not None and not CAPACITY_BAND[0] <= v.nameplate_flow / expected <= CAPACITY_BAND[1]:
        p.say(f"the stamped capacity is {v.nameplate_flow / expected:.2g} times what area {v.orifice} passes at 110 % of set",
              "look up capacity, its unit and test fluid, letter and set pressure", "valve.nameplate_flow")  # fmt: skip


def _expected(p: Place, quantity: str) -> float | None:
    """Flow of the letter's effective area at 110 % of set: air for gas volumes, else the first case's fluid."""
    v, case = p.at.valve, p.at.cases[0] if p.at.cases else Case()
    assert v.set_pressure is not None and v.orifice is not None
    pressure = p.gauge(v.set_pressure) * 1.1 + p.basis.atmospheric_pressure
    if quantity == "gas_flow":
        request = Request("gas", relieving_pressure=pressure, molar_mass=AIR, k=1.4, temperature=288.71, Z=1.0)
    elif quantity == "mass_flow" and case.phase == "gas" and case.molar_mass and case.k and case.temperature:
        request = Request("gas", relieving_pressure=pressure, molar_mass=case.molar_mass, k=case.k,
                          temperature=case.temperature, Z=case.Z or 1.0)  # fmt: skip
    elif quantity == "mass_flow" and case.phase == "steam":
        request = Request("steam", relieving_pressure=pressure, set_pressure=v.set_pressure)
    else:
        return None
    return _flow(v.orifice, request, p.basis)


def _flow(letter: str, request: Request, basis: Basis) -> float | None:
    try:
        flow = flow_through(effective_pair(letter, request.method), request, basis, _SILENT)
    except CalculationFailed:
        return None
    return flow.flow if flow.status is Status.OK else None


def _rate_is_rated(p: Place) -> None:
    """A required rate that equals what the letter passes of air or steam is a nameplate figure."""
    v = p.at.valve
    if not v.orifice or v.set_pressure is None or p.gauge(v.set_pressure) <= 0 or v.nameplate_flow is not None:
        return
    for index, case in enumerate(p.at.cases):
        air = str(case.fluid or "").strip().lower() in ("air", "plant air", "instrument air")
        if case.flow and (air or case.phase == "steam") and case.rate_basis is None:
            expected = _expected(p, "gas_flow" if air else "mass_flow")
            rated = 0.9 * expected if expected else None
            for value in (expected, rated):
                if value and abs(case.flow - value) <= p.basis.nameplate_band * value:
                    p.say(f"the required rate of {_called(case)} equals what area {v.orifice} passes at 110 % of set: "
                          "a nameplate figure, not a relief load?",
                          "write the rate of the relief study, or rate basis 'nameplate'", "case.flow",
                          p.case(index, "rate_basis"), p.case(index, "flow"))  # fmt: skip
                    break


def _dates(p: Place) -> None:
    done, due, interval = (p.data.good(f"history.{key}") for key in ("last_test", "next_due", "interval_years"))
    last, following = _date(done.value) if done else None, _date(due.value) if due else None
    if last is None or following is None:
        return
    if following < last:
        p.say("the next test is due before the last one was done", "look whether day and month or the columns are exchanged",
              "history.next_due")  # fmt: skip
    elif interval is not None and abs((following - last).days / 365.25 - interval.value) > 0.25:
        years = (following - last).days / 365.25
        p.say(f"the next test is due {years:.1f} years after the last one, the interval is {interval.value:g} years",
              "look which of the three is wrong", "history.next_due")  # fmt: skip


def _date(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if len(text) == 10 else None
    except ValueError:
        return None


def _counts(p: Place) -> None:
    for case in p.at.cases:
        if case.installed is not None and case.required is not None and case.required > case.installed:
            p.say(f"{case.required} valves are required, {case.installed} installed", "exchange them", "case.required")


def _steam(p: Place) -> None:
    """Steam below saturation or far above it, where the number read as the other degree fits."""
    v = p.at.valve
    for index, case in enumerate(p.at.cases):
        if case.phase != "steam" or case.temperature is None or v.set_pressure is None or p.gauge(v.set_pressure) <= 0:
            continue
        saturation = _saturation(round(v.set_pressure, -2))
        if saturation is None:
            continue
        taken = p.data.good("case.temperature")
        unit = taken.unit if taken else ""
        other = _as_other_degree(case.temperature, unit)
        fits = other is not None and -STEAM_BAND <= other - saturation <= 15.0
        hint = f": does the number mean {'degF' if unit == 'degC' else 'degC'}?" if fits else ""
        if case.temperature < saturation - STEAM_BAND:
            p.say(f"steam at {case.temperature - 273.15:.0f} degC is below its saturation temperature at set, "
                  f"{saturation - 273.15:.0f} degC{hint}", "look up temperature and unit", "case.temperature",
                  p.case(index, "temperature"), p.case(index, "phase"))  # fmt: skip
        elif (fits and case.temperature > saturation + 30.0) or case.temperature > saturation + SUPERHEAT:
            p.say(f"steam at {case.temperature - 273.15:.0f} degC is far above its saturation temperature at set, "
                  f"{saturation - 273.15:.0f} degC{hint}", "look up temperature and unit", "case.temperature",
                  p.case(index, "temperature"), p.case(index, "phase"))  # fmt: skip


def _as_other_degree(temperature: float, unit: str) -> float | None:
    celsius = temperature - 273.15
    if unit == "degC":
        return (celsius + 459.67) / 1.8
    return 1.8 * temperature - 459.67 + 273.15 if unit == "degF" else None


@lru_cache(maxsize=4096)
def _saturation(pressure: float) -> float | None:
    from quietseat import fluids

    try:
        return fluids.saturation_temperature("Water", pressure)
    except CalculationFailed:
        return None


def _temperatures(p: Place) -> None:
    vessel = p.at.vessel
    if vessel.operating_temperature and vessel.design_temperature and vessel.operating_temperature > vessel.design_temperature + 1.0:
        p.say("the operating temperature is above the design temperature", "look whether one is in degF and the other in degC",
              "vessel.operating_temperature")  # fmt: skip


CHECKS: tuple[Callable[[Place], None], ...] = (
    _set_and_mawp, _operating, _ladder, _cdtp, _spring, _size, _flange, _back_pressures, _area, _pairs, _capacity,
    _rate_is_rated, _dates, _counts, _steam, _temperatures,
)  # fmt: skip


def serials(entries: list[tuple[str, Data]]) -> None:
    """A serial number names one body, which stands in one place at a time."""
    first: dict[str, Data] = {}
    for serial, data in entries:
        key = "".join(char for char in serial.upper() if char.isalnum())
        if len(key) < 3:
            continue
        if key in first and first[key] is not data:
            other = first[key]
            data.complain(f"check: the serial number also stands in {other.sheet} row {other.number}",
                          "find out where the body stands: bodies move between tags", "valve.serial", serial)  # fmt: skip
        first.setdefault(key, data)


__all__ = ["CHECKS", "Place", "constant_back_pressure", "rating", "run", "serials"]
