"""The case file of `size`: flat keys, the Basis beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quietseat import basis as bases
from quietseat.basis import Basis
from quietseat.casefile.reader import Reader, read_toml, subtable
from quietseat.sizing.constants import WATER_DENSITY
from quietseat.sizing.request import API, EDITIONS, FACTORS, ISO, KINDS, METHODS, Request
from quietseat.status import Assumption

_KEYS = {
    "method": "text", "standard": "text", "edition": "text", "set_pressure": "pressure", "overpressure": "fraction",
    "mawp": "pressure", "accumulation": "fraction", "relieving_pressure": "pressure", "back_pressure": "pressure",
    "kind": "text", "flow": "flow", "molar_mass": "molar_mass", "k": "number", "temperature": "temperature",
    "Z": "number", "volume_flow": "volume_flow", "specific_gravity": "number", "viscosity": "viscosity",
    "certified": "flag", "specific_volume": "specific_volume", "specific_volume_90": "specific_volume",
    "saturation_pressure": "pressure", "density": "density", "density_90": "density", "fluid": "text",
    "quality": "fraction", "coefficient": "number", "area": "area", "seat": "text",
    **{name: "number" for name in FACTORS},
}  # fmt: skip
_CHOICES: Mapping[str, tuple[str, ...]] = {
    "method": METHODS, "standard": (API, ISO), "edition": EDITIONS, "kind": KINDS,
}  # fmt: skip
_LIQUIDS = ("liquid", "subcooled")


@dataclass(frozen=True, slots=True)
class SizeCase:
    """A sizing case file, read."""

    request: Request
    basis: Basis
    assumptions: tuple[Assumption, ...]


def read_size(path: str) -> SizeCase:
    """A sizing case (contracts: `size`). Raises InputUnusable naming every key that cannot be read."""
    return size_case(*read_toml(path))


def size_case(name: str, content: Mapping[str, Any]) -> SizeCase:
    """A sizing case from a parsed table; `name` stands in the messages. Raises InputUnusable like `read_size`."""
    flat = {key: value for key, value in content.items() if key not in ("basis", "case")}
    flat.update(subtable(content, "case", name))
    reader = Reader(name, bases.make(subtable(content, "basis", name), origin=f"{name} [basis]"))
    values: dict[str, Any] = {}
    for key, raw in flat.items():
        quantity = _KEYS.get(key)
        if quantity is None:
            reader.unknown(key, _KEYS)
        elif (value := reader.value(key, quantity, raw, flat, _CHOICES.get(key, ()))) is not None:
            values[key] = value
    if "method" not in flat:
        reader.wrong.append(f"method is missing: give one of {', '.join(METHODS)}")
    _pressures(values, reader)
    _flows(values, reader)
    _thickness(values, reader)
    reader.finish()
    _defaults(values, reader)
    values.pop("seat", None)
    overrides: dict[str, float] = {key: values.pop(key) for key in FACTORS if key in values}
    return SizeCase(Request(**values, overrides=overrides), reader.basis, tuple(reader.assumptions))


def _pressures(values: dict[str, Any], reader: Reader) -> None:
    if "accumulation" in values:
        values["accumulation"] = reader.share("accumulation", values["accumulation"])
    over = reader.share("overpressure", values.get("overpressure"))
    if over is not None:
        if values["overpressure"] >= 1.0:
            rule = "written as the whole, so the part above set pressure"
            reader.assumptions.append(Assumption("overpressure", f"{100 * (over - 1):.4g} %", rule, "definition"))
            values["overpressure"] = over - 1.0
    elif "set_pressure" in values and not {"relieving_pressure", "mawp"} & values.keys():
        values["overpressure"] = 0.10
        reader.assumptions.append(
            Assumption("overpressure", "10 %", "one valve, not fire, set at MAWP", "ASME VIII/XIII")
        )
    if "mawp" in values and "accumulation" not in values and "relieving_pressure" not in values and over is None:
        values["accumulation"] = reader.basis.accumulation_single
        reader.assumptions.append(
            Assumption("accumulation", f"{100 * values['accumulation']:.4g} %", "one valve, not fire", reader.basis.code)
        )


def _defaults(values: Mapping[str, Any], reader: Reader) -> None:
    """List the defaults of the keys that choose an equation, where that equation is used."""
    if "kind" not in values and "back_pressure" in values:
        reader.assumptions.append(Assumption("kind", "conventional", "none given", "default"))
    if values["method"] == "liquid" and "certified" not in values and values.get("standard", reader.basis.standard) == API:
        rule = "none given: a valve with capacity certification"
        reader.assumptions.append(Assumption("certified", "true", rule, "default"))


def _density(values: Mapping[str, Any]) -> float | None:
    if values.get("density") is not None:
        return float(values["density"])
    return values["specific_gravity"] * WATER_DENSITY if "specific_gravity" in values else None


def _flows(values: dict[str, Any], reader: Reader) -> None:
    """A volume flow of a liquid may stand under either key; of a gas it has to be at reference conditions."""
    flow = values.get("flow")
    if isinstance(flow, tuple):
        del values["flow"]
        if "volume_flow" in values:
            reader.wrong.append("flow and volume_flow are both volumes: give one of them")
        values["volume_flow"] = flow[1]
    if "volume_flow" in values and values.get("method") not in (None, *_LIQUIDS):
        reader.wrong.append(
            f"a volume flow at flowing conditions is for liquids only; for method {values['method']} give flow as mass "
            '("5000 kg/h") or, for a gas, at reference conditions ("1000 Nm3/h", "1000 SCFM")'
        )
    density = _density(values)
    if isinstance(values.get("flow"), float) and values.get("method") in _LIQUIDS and density and "volume_flow" not in values:
        values["volume_flow"] = values["flow"] / density


def _thickness(values: dict[str, Any], reader: Reader) -> None:
    kind, amount = values.pop("viscosity", (None, None))
    if kind == "ssu":
        values["viscosity_ssu"] = amount
    elif kind == "dynamic":
        values["viscosity"] = amount
    elif kind == "kinematic":
        density = _density(values)
        if density is None:
            reader.wrong.append("viscosity: a kinematic viscosity needs `density` or `specific_gravity`")
        else:
            values["viscosity"] = amount * density
