"""Flange rating and body limits against pressure and temperature."""

from __future__ import annotations

from dataclasses import replace
from functools import cache, lru_cache

from quietseat import units
from quietseat.assess.checks.common import View, failed, judged, open_check
from quietseat.model import Finding
from quietseat.tables import table

RATING_RULE = "flange rating at temperature not below the pressure it sees (ASME B16.5)"
BODY_LIMIT_RULE = "set within the limit of the body: letter, sizes and class (API 526, carbon steel, 38 degC)"
BODY_RULE = "temperature within the size tables of API 526"
UNLISTED = "read size, letter, class and set on the nameplate, for a body beyond the list rests on its maker's word"
ZERO_CELSIUS = 273.15
INDIFFERENT = 473.15  # K; below it the material groups at hand differ by less than their usual margin


def check(view: View) -> list[Finding]:
    """Ratings of both flanges, the body's set limit, the body's temperature limit."""
    valve = view.location.valve
    if view.set_gauge is None:
        return []
    temperatures = _temperatures(view)
    out: list[Finding] = []
    back = max((c.result.back_pressure for c in view.cases if c.result.back_pressure), default=None)
    ends = (("inlet", valve.inlet_class, view.set_gauge),
            ("outlet", valve.outlet_class, None if back is None else max(0.0, view.basis.gauge(back))))  # fmt: skip
    for end, pressure_class, pressure in ends:
        if pressure_class is None:
            out.append(open_check("rating", f"{end} class unknown", RATING_RULE))
        elif not temperatures:
            out.append(open_check("rating", f"{end} flange: no temperature stated", RATING_RULE))
        elif pressure is not None:  # an unknown back pressure is open already
            out.append(_flange(view, end, pressure_class, pressure, temperatures))
    if temperatures:
        out += _body(view, temperatures)
    listed = _set_limit(view)
    return [*out, listed] if listed else out


def _temperatures(view: View) -> list[float]:
    """Temperatures the flanges are judged at; those of a fire only where nothing else is known."""
    location = view.location
    usual = [c.temperature for c in location.cases if c.temperature is not None and c.cause != "fire"]
    if location.vessel.operating_temperature is not None:
        usual.append(location.vessel.operating_temperature)
    for case in view.cases:  # steam without a stated temperature is saturated
        if case.duty is not None and case.duty.method == "steam" and case.duty.state.temperature is not None:
            usual.append(case.duty.state.temperature)
    return usual or [c.temperature for c in location.cases if c.temperature is not None]


@lru_cache(maxsize=512)
def material_group(material: str | None) -> tuple[str | None, str]:
    """B16.5 material group of a body material, and how the word was read."""
    if not material:
        return None, ""
    row = table("material_groups").get(material=material.upper().replace(" ", "").replace("-", ""))
    return (str(row["group"]), str(row["reading"] or "")) if row else (None, "")


@cache
def _span(group: str) -> tuple[float, float, float]:
    """Lowest temperature, end of the constant part, and highest temperature of a group, K."""
    temperatures = sorted(row["temperature"] for row in table("flange_ratings").where(group=group))
    return temperatures[0], temperatures[1], temperatures[-1]


@lru_cache(maxsize=4096)
def rating(material: str | None, pressure_class: int, temperature: float) -> float | None:
    """Flange rating (Pa gauge) of a class at a temperature (K); None where no table covers it."""
    group, _ = material_group(material)
    if group is None:
        return None
    try:
        return table("flange_ratings").at(temperature, f"class_{pressure_class}", group=group)
    except (ValueError, KeyError, AttributeError):
        return None


def _flange(view: View, end: str, pressure_class: int, pressure: float, temperatures: list[float]) -> Finding:
    material = view.location.valve.body_material
    group, reading = material_group(material)
    if group is None:
        words = f"no rating at hand for {material} class {pressure_class}: look it up in ASME B16.5"
        return open_check("rating", words, RATING_RULE)
    hottest, coldest = max(temperatures), min(temperatures)
    lowest, constant, highest = _span(group)
    assumed = view.rests_on("valve.body_material")
    if coldest < lowest and group.startswith("1."):
        words = f"{end} flange of {material} at {coldest - ZERO_CELSIUS:.0f} degC: carbon steel stops at {lowest - ZERO_CELSIUS:.0f} degC"
        return open_check("rating", words, RATING_RULE, rests_on=assumed) if assumed else failed("rating", words, RATING_RULE)
    limit = rating(material, pressure_class, min(max(hottest, constant), highest))
    if limit is None or hottest > highest:
        words = f"{end} flange: {material} class {pressure_class} at {hottest - ZERO_CELSIUS:.0f} degC is outside the table at hand"
        return open_check("rating", f"{words}: look it up in ASME B16.5", RATING_RULE)
    words = f"{end} flange class {pressure_class} of {material}{f' ({reading})' if reading else ''} carries {_show(view, limit)} " \
        f"at {hottest - ZERO_CELSIUS:.0f} degC"  # fmt: skip
    # Cold and lightly loaded, the groups at hand all carry it: an assumed material can stand.
    rests = assumed if hottest > INDIFFERENT or pressure > 0.7 * limit else ()
    return judged(view, "rating", pressure, limit, words, RATING_RULE, severity="stop", unit="Pa(g)", rests_on=rests,
                  sway=0.3 if rests else 0.0, thin=0.0)  # fmt: skip


def _show(view: View, gauge: float) -> str:
    return _shown(gauge, view.basis.pressure_unit, view.basis.atmospheric_pressure)


@lru_cache(maxsize=4096)
def _shown(gauge: float, unit: str, atmospheric: float) -> str:
    return units.show(gauge + atmospheric, unit, atmospheric=atmospheric)


def _body(view: View, temperatures: list[float]) -> list[Finding]:
    kind = "pilot" if view.location.valve.kind == "pilot" else "spring"
    highest = _body_limit(kind)
    hottest = max(temperatures)
    if hottest <= highest:
        return []
    words = (f"{hottest - ZERO_CELSIUS:.0f} degC is above the {highest - ZERO_CELSIUS:.0f} degC at which the {kind} tables of "
             "API 526 stop (from memory: verify)")  # fmt: skip
    return [open_check("rating", words, BODY_RULE)]


@cache
def _body_limit(kind: str) -> float:
    return float(table("body_temperatures").row(body=kind)["high"])


def _set_limit(view: View) -> Finding | None:
    """The set against what API 526 lists for this body; for any body of the letter where the sizes are not known or not listed.

    Open, never failed, above it.
    """
    valve = view.location.valve
    if valve.kind == "pilot" or valve.orifice is None or valve.inlet_class is None:
        return None
    body, limit = valve.orifice, None
    if valve.inlet_size is not None and valve.outlet_size is not None:
        limit = _listed(valve.orifice, valve.inlet_class, valve.inlet_size, valve.outlet_size)
    if limit is not None:
        body = f"{valve.inlet_size:g}{valve.orifice}{valve.outlet_size:g}"
    else:
        limit = _listed(valve.orifice, valve.inlet_class)
    if limit is None:
        return None
    words = f"API 526 lists {body} class {valve.inlet_class} up to {_show(view, limit)} (from memory: verify)"
    found = judged(view, "rating", view.set_gauge or 0.0, limit, words, BODY_LIMIT_RULE, unit="Pa(g)", confidence="memory-md", thin=0.0)
    if found.outcome != "fail":
        return found
    # A wrong entry is likelier than such a valve, and makers sell bodies beyond the list: the nameplate decides, not this table.
    return replace(found, outcome="open", severity="note", words=f"{words}, and the set is above that: {UNLISTED}")


@lru_cache(maxsize=512)
def _listed(letter: str, inlet_class: int, inlet: float | None = None, outlet: float | None = None) -> float | None:
    """Highest set, Pa gauge, of the bodies of a letter and class, of one inlet x outlet or of any; None where none is listed."""
    rows = table("spring_bodies").where(letter=letter, inlet_class=inlet_class)
    if inlet is not None:
        rows = tuple(row for row in rows if row["inlet"] == inlet and row["outlet"] == outlet)
    return max((max(float(row["limit"]), float(row["limit_later"] or 0.0)) for row in rows), default=None)
