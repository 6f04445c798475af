"""The Basis: every choice behind a study, in one frozen record. Printed in the study; no globals, no flags.

Names, defaults, allowed words, ranges and sources stand in data/choices.csv; the types stand here and a test
holds the two together.
"""

from __future__ import annotations

import csv
import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, PrivateAttr, ValidationError

from quietseat import units
from quietseat.status import InputUnusable

_PLAIN = ("choice", "text", "integer", "number", "money")


@dataclass(frozen=True, slots=True)
class Choice:
    """One row of choices.csv. low, high: the range of a number as a person writes it, "" for words; limits: why it ends there."""

    name: str
    group: str
    quantity: str
    default: str
    allowed: tuple[str, ...]
    low: str
    high: str
    limits: str
    confidence: str
    source: str
    description: str

    @property
    def range(self) -> str:
        """The range in words, "" for a choice of words: "0 % to 50 %"."""
        return f"{_grouped(self.low)} to {_grouped(self.high)}" if self.low else ""


def _grouped(text: str) -> str:
    """A long whole number in groups of three; anything else as it stands."""
    return f"{int(text):,}".replace(",", " ") if text.isdecimal() and len(text) > 4 else text


@lru_cache(maxsize=1)
def choices() -> Mapping[str, Choice]:
    """Every choice a Basis can make, by name."""
    text = resources.files("quietseat").joinpath("data/choices.csv").read_text(encoding="utf-8")
    out: dict[str, Choice] = {}
    for row in csv.DictReader(text.splitlines()):
        allowed = tuple(word for word in row["allowed"].split("|") if word)
        out[row["name"]] = Choice(
            row["name"], row["group"], row["quantity"], row["default"], allowed, row["low"], row["high"], row["limits"],
            row["confidence"], row["source"], row["description"],
        )  # fmt: skip
    return out


class Basis(BaseModel):
    """Every choice of one study; SI inside, pressures absolute. Make it with `make` or `load`."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    standard: str
    edition: str
    constants: str
    units_of_constants: str
    napier_below_one: str
    omega_root: str
    low_subcooling: str
    viscosity_area: str
    factor_reading: str
    code: str
    accumulation_single: float
    accumulation_multiple: float
    accumulation_fire: float
    set_limit_first: float
    set_limit_additional: float
    atmospheric_pressure: float
    bare_pressure: str
    bare_size: str
    date_order: str
    normal_temperature: float
    standard_temperature: float
    standard_temperature_us: float
    default_operating_ratio: float
    default_blowdown: float
    default_blowdown_liquid: float
    default_blowdown_snap: float
    default_blowdown_modulating: float
    default_z: float
    default_entrance: str
    default_block_valve: str
    default_schedule: str
    default_roughness: float
    friction_correlation: str
    default_seat: str
    default_superimposed_flare: float
    default_body_material: str
    inlet_loss_limit: float
    inlet_loss_analysis_reserve: float
    built_up_limit: float
    bellows_limit: float
    bellows_ceiling: float
    pilot_back_pressure_limit: float
    operating_limit_metal: float
    operating_limit_soft: float
    operating_limit_snap: float
    operating_limit_modulating: float
    operating_margin_low: float
    oversize_utilisation: float
    thin_margin: float
    nameplate_band: float
    outlet_mach_limit: float
    stuck_ratio: float
    pop_low_ratio: float
    leak_ppm: float
    bellows_life_intervals: float
    cdtp_band: float
    open_target: float
    reliability_weight: float
    opening_time: str
    critical_length_margin: float
    critical_length_excess: float
    cycling_utilisation: float
    damaging_period: float
    time_marching: str
    marched_valves: int
    chatter_samples: int
    remedy_samples: int
    chatter_seed: int
    chatter_cells: int
    chatter_quiet: float
    chatter_unstable: float
    simmer_metal: float
    simmer_soft: float
    simmer_pilot: float
    nearest_inlet: float
    fit_tolerance: float
    least_lift: float
    least_lift_height: float
    sense_area: float
    currency: str
    same_price: float
    price_factor: float
    labour_rate: float
    engineering_rate: float
    field_factor: float
    outage_cost_per_hour: float
    horizon_years: float
    discount_rate: float
    interval_spring_years: float
    interval_pilot_years: float
    product_price: float
    utility_price: float
    carbon_price: float
    gwp_set: str
    leak_basis: str
    leak_sector: str
    rule_pack: str
    operating_value: float
    misfit_cost: float
    act_finding_cost: float
    cost_year: int
    inflation: float
    price_tables: str
    operating_constraint: str
    late_cure_factor: float
    failed_demand_cost: float
    demands_per_year: float
    valve_life_years: float
    money_draws: int
    money_seed: int
    budget: float
    outage_days: float
    crews: int
    crew_hours_per_day: float
    asked_valves: int
    worst_valves: int
    pdf_valves: str
    stepped_valves: int
    title: str
    pressure_unit: str

    _given: dict[str, str] = PrivateAttr(default_factory=dict)

    def text(self, name: str) -> str:
        """A choice as it was written (the default's text where nobody changed it)."""
        return self._given.get(name, choices()[name].default)

    def changed(self) -> Mapping[str, str]:
        """The choices somebody made, as written."""
        return dict(self._given)

    def rows(self) -> list[dict[str, str]]:
        """Every choice with its value, who made it, source and meaning: printed in the study."""
        return [
            {
                "group": choice.group, "name": choice.name, "value": self.text(choice.name),
                "made_by": "this study" if choice.name in self._given else "default",
                "source": choice.source, "confidence": choice.confidence, "description": choice.description,
            }
            for choice in choices().values()
        ]  # fmt: skip

    def gauge(self, pressure: float) -> float:
        """Absolute to gauge pressure at the site, Pa."""
        return pressure - self.atmospheric_pressure


def make(given: Mapping[str, Any] | None = None, *, origin: str = "basis") -> Basis:
    """A Basis from choices as a person writes them; absent ones take their defaults.

    Raises InputUnusable naming every unknown key (with the nearest known one) and every bad value, with the range it may have and why.
    """
    known = choices()
    given = dict(given or {})
    wrong: list[str] = []
    for name in [name for name in given if name not in known]:
        near = difflib.get_close_matches(name, known, n=1)
        hint = f"; the nearest known choice is {near[0]!r}" if near else ""
        wrong.append(f"{origin}: unknown choice {name!r}{hint}")
        del given[name]
    atmospheric = 101325.0
    values: dict[str, Any] = {}
    for name in sorted(known, key=lambda name: name != "atmospheric_pressure"):
        choice = known[name]
        raw = given.get(name, choice.default)
        try:
            values[name] = _value(choice, raw, atmospheric)
            _inside(choice, values[name], atmospheric)
        except ValueError as error:
            wrong.append(f"{origin}: {name} = {raw!r}: {error}")
        if name == "atmospheric_pressure" and name in values:
            atmospheric = values[name]
    if wrong:
        raise InputUnusable("; ".join(wrong))
    try:
        basis = Basis.model_validate(values)
    except ValidationError as error:  # pragma: no cover - choices.csv and the types disagree
        raise InputUnusable(f"{origin}: {error}") from error
    basis._given.update({name: str(value) for name, value in given.items()})
    return basis


def load(path: str | Path) -> Basis:
    """A Basis from a TOML file: flat keys, or the same keys under a [basis] table."""
    file = Path(path)
    try:
        content = tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputUnusable(f"{file.name}: cannot be read ({error.strerror}).") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputUnusable(f"{file.name}: is not TOML ({error}).") from error
    table = content.pop("basis", {})
    if not isinstance(table, dict):
        raise InputUnusable(f"{file.name}: [basis] must be a table.")
    return make({**content, **table}, origin=file.name)


def _value(choice: Choice, raw: Any, atmospheric: float) -> Any:
    """One choice as SI; raises ValueError with the rule."""
    if isinstance(raw, bool) or not isinstance(raw, (str, int, float)):
        raise ValueError("must be text or a number")
    if choice.quantity in ("choice", "text"):
        if choice.allowed and raw not in choice.allowed:
            raise ValueError(f"must be one of {', '.join(choice.allowed)}")
        return str(raw)
    if choice.quantity == "integer":
        if not str(raw).strip().lstrip("+").isdigit():
            raise ValueError("must be a whole number of 0 or more")
        return int(raw)
    if isinstance(raw, (int, float)) and choice.quantity not in (*_PLAIN, "fraction"):
        raise ValueError(f"needs a unit, as in {choice.default!r}")
    return _number(choice, str(raw), atmospheric)


def _number(choice: Choice, text: str, atmospheric: float) -> float:
    """A number with its unit as SI; raises ValueError where it cannot be read."""
    quantity = "number" if choice.quantity in ("integer", "money", "number") else choice.quantity
    return units.parse(text, quantity, atmospheric=atmospheric).value


def _inside(choice: Choice, value: Any, atmospheric: float) -> None:
    """Raises ValueError with the range and its reason where a number lies outside it."""
    if not choice.low:
        return
    low, high = (_number(choice, text, atmospheric) for text in (choice.low, choice.high))
    if not low * (1 - 1e-12) <= value <= high * (1 + 1e-12):
        negative = "must not be negative: " if value < 0 <= low else "must be "
        raise ValueError(f"{negative}{choice.range} ({choice.limits})")
