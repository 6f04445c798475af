"""Where a number put into a formula comes from: a step, a cell, a table row, a choice, or what is made of them.

In this order: the step that handed the value on, as the sheet recorded it; the field, choice or table row of that name with this
value; a step of the expected symbol in the same case; what is made of named steps and comes to this value; four digits. A wrong
way is worse than none, so round numbers are followed only by name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import combinations
from typing import Any

from quietseat import tables, units
from quietseat.formula import number
from quietseat.piping.friction import roughness_ratio
from quietseat.piping.outlet import step_ratio
from quietseat.piping.resistance import bore_area, clean_roughness
from quietseat.report.words import choice_number, field_words, is_number

# What a formula calls a field of the valve: where the value stands in the study, and the field's name.
NAMES: Mapping[str, tuple[str, ...]] = {
    "k": ("case.k",), "Z": ("case.Z",), "temperature": ("case.temperature",), "T": ("case.temperature",), "molar_mass": ("case.molar_mass",),
    "M": ("case.molar_mass",), "p_set": ("valve.set_pressure",), "MAWP": ("vessel.mawp",), "set": ("valve.set_pressure",),
    "operating maximum": ("vessel.operating_pressure",), "f": ("case.accumulation",), "W": ("case.flow",), "flow": ("case.flow",),
    "Q": ("case.volume_flow",), "blowdown": ("valve.blowdown",), "length": ("inlet.length", "outlet.length"), "L": ("inlet.length", "outlet.length"),
    "superimposed": ("case.superimposed_max", "case.superimposed_min"), "floor": ("case.superimposed_max", "case.superimposed_min"),
    "outlet": ("case.superimposed_max", "case.superimposed_min"), "downstream": ("case.superimposed_max", "case.superimposed_min"),
    "end": ("case.superimposed_max", "case.superimposed_min"), "pressure": ("case.superimposed_max", "case.superimposed_min"),
    "p_sup": ("case.superimposed_min",), "rho": ("case.density",), "density": ("case.density",), "mu": ("case.viscosity",),
    "viscosity": ("case.viscosity",), "volume": ("vessel.volume",), "roughness": ("inlet.roughness", "outlet.roughness"),
    "effective_area": ("valve.effective_area",), "A": ("valve.effective_area", "valve.actual_area"), "h": ("inlet.height", "outlet.height"),
    "K": ("inlet.loss_coefficient", "outlet.loss_coefficient", "valve.rated_coefficient"), "v1": ("case.specific_volume",), "v9": ("case.specific_volume_90",),
    "inflow": ("case.flow",), "D": ("inlet.diameter", "outlet.diameter"), "sound_speed": ("case.sound_speed",),
}  # fmt: skip
# Where the seat starts to emit, by what the valve is.
_SIMMER = {"pilot": "simmer_pilot", "soft": "simmer_soft", "metal": "simmer_metal"}
# What a formula calls the result of an earlier step that has another symbol; a star stands for any end.
SYMBOLS: Mapping[str, tuple[str, ...]] = {
    "equivalent_ratio": ("L/D",), "roughness": ("e",), "roughness_ratio": ("e/D",), "friction": ("f", "f_T"), "bore": ("D",), "length": ("L",),
    "viscosity": ("mu",), "density": ("rho",), "mass_flux": ("G",), "flux": ("G",), "head": ("q",), "coefficient": ("K_*", "K"), "fittings": ("K",),
    "mach": ("M", "M_*"), "mach_other": ("M", "M_*"), "area_ratio": ("A_ratio",), "sum_so_far": ("K", "dp_inlet"), "seat_area": ("A_s",),
    "resistance": ("K*", "N"), "seat_diameter": ("D_s",), "max_lift": ("x_max",), "stop_lift": ("x_max",), "spring_rate": ("s",), "precompression": ("x_e",),
    "mass": ("m",), "sound_speed": ("a",), "frequency": ("f_v",), "opening_time": ("t_o",), "travel": ("t_1",), "wave": ("dp_w",), "loss": ("dp_inlet",),
    "lift": ("x",), "coupled_frequency": ("w_c",), "pressure": ("P1", "P2", "p_*"), "back": ("dp_built_up",), "before": ("P1", "p_*"),
    "after": ("p_0",), "outlet": ("p_*", "P2"), "flow": ("W", "W_*"), "W_rated": ("W_*",), "valve_flow": ("W_*",), "full_flow": ("W_full",),
    "relieving_pressure": ("P1", "P_r"), "effective_area": ("A",), "P1": ("P1", "P_r"), "P2": ("P2", "p_*"), "number": ("B",), "ratio": ("r_*", "p_*", "r"),
    "floor": ("p_*",), "superimposed": ("p_*",),
}  # fmt: skip
_LINES = ("Inlet line", "Outlet line")
_LATER = frozenset(("flow", "flux", "mass_flux"))  # a line is worked out at flows whose own steps follow
# Values that stand for themselves: symbol of the step ("" for any), name, value as printed, and why.
_PLAIN = {
    ("K", "sum_so_far", "0"): "the sum starts here", ("dp_inlet", "sum_so_far", "0"): "the sum starts here",
    ("p_floor", "mach", "1"): "choked, by what the floor means", ("p_exit", "mach", "1"): "choked at the exit", ("p", "mach", "1"): "choked at the step",
    ("dp_allowed", "overpressure", "0"): "at the pop, where the inlet stands at set", ("P_r", "OP", "0.1"): "the overpressure at which capacity is stamped",
    ("", "resistance", "0"): "no loss in this bore", ("", "fittings", "0"): "no fitting in this bore", ("K", "coefficient", "0"): "no loss in this bore",
    ("", "losses", "0"): "no loss in this bore", ("", "head", "0"): "the line does not rise", ("", "count", "0"): "none",
    ("F_2", "mach", "1"): "choked at the exit", ("T_exit", "mach", "1"): "choked at the exit", ("F_1", "length_downstream", "0"): "choked at the exit: nothing is left",
    ("dp_inlet", "part", "0"): "no loss in this run", ("K_ref", "coefficient", "0"): "no loss in this bore",
    ("dp_used", "back", "0"): "no back pressure on the disc", ("dp_least", "back", "0"): "no back pressure on the disc",
}  # fmt: skip
_SIGNIFICANT = 4  # digits that make a value its own mark
_NEAR = 3  # the same, for a step of the expected symbol or among the steps of one case
_CASE = re.compile(r"Case [^:]*(?:: (inlet|outlet) line)?", re.IGNORECASE)
_COUNT = re.compile(r" x ([0-9.]+),")


@dataclass(frozen=True, slots=True)
class Link:
    """A way on: what is said, and where it leads ("" where the words say it all)."""

    words: str
    href: str


@dataclass(slots=True)
class Origins:
    """What is known of one valve's numbers. steps: as in the study; head: of the study; plant: its number."""

    valve: Mapping[str, Any]
    head: Mapping[str, Any]
    plant: int
    steps: Sequence[Mapping[str, Any]]
    inputs: Mapping[str, Mapping[str, Any]]
    choices: Mapping[str, str]
    _at: dict[str, list[int]] = field(init=False)  # places of the steps by their value as printed
    _group: dict[str, list[int]] = field(init=False)
    _sums: dict[str, dict[str, tuple[int, ...]]] = field(init=False)
    _families: list[str] = field(init=False)  # of each step: its case, or its group
    _lines: list[str] = field(init=False)  # of each step: the group of the line it is about
    _atmospheric: float = field(init=False)

    def __post_init__(self) -> None:
        self._at, self._group, self._sums, self._families, self._lines = {}, {}, {}, [], []
        self._atmospheric = choice_number(self.head, "atmospheric_pressure", "pressure", 101325.0)
        for place, step in enumerate(self.steps):
            group = str(step.get("group") or "")
            self._group.setdefault(group, []).append(place)
            self._families.append(group.partition(":")[0])
            self._lines.append(_line_of(group))
            if is_number(step["value"]):
                self._at.setdefault(number(step["value"]), []).append(place)

    def of(self, at: int, name: str, text: str) -> list[Link]:
        """The ways from a value put into the formula of a step; empty where no source can be named."""
        step = self.steps[at]
        taken = (step.get("taken") or {}).get(name)
        if taken is not None and self._printed(taken) == text:
            return [self._way(name, text, taken)]
        if "right when" in str(step["source"]) and self._printed(at) == text:
            return [Link(f"{name} = {text}: this result, put in until it comes out", f"#step-{at}")]
        for find in (self._plain, self._choice, self._table, self._count, self._named_field, self._symbol):
            found = find(at, name, text)
            if found is not None:
                return [found]
        return self._made(at, name, text) or [way for way in (self._digits(at, name, text), self._chosen(at, name, text)) if way][:1]

    def handed(self, at: int) -> Link | None:
        """The step a value of the program was handed on from: the sheet says which; in an older study the same value of the same case."""
        step = self.steps[at]
        name, text = str(step["symbol"]), number(step["value"])
        field_ = self._named_field(at, name, text)
        if field_ is not None:
            return field_
        taken = (step.get("taken") or {}).get(name)
        if taken is not None:
            return self._way(name, text, taken)
        if digits(text) < _SIGNIFICANT:
            return None
        same = (place for place in reversed(self._at.get(text, ())) if place < at and self.steps[place]["expression"])
        found = next((place for place in same if self.steps[place]["unit"] == step["unit"] and self._families[place] == self._families[at]), None)
        return None if found is None else self._way(name, text, found)

    # -- by name -----------------------------------------------------------------------------------------------------

    def _plain(self, at: int, name: str, text: str) -> Link | None:
        symbol = str(self.steps[at]["symbol"])
        why = _PLAIN.get((symbol, name, text)) or _PLAIN.get(("", name, text))
        return Link(f"{name} = {text}: {why}", "") if why else None

    def _choice(self, at: int, name: str, text: str) -> Link | None:
        choice, symbol = "", self.steps[at]["symbol"]
        if name in ("p_atm", "back") and text == number(self._atmospheric):
            choice = "atmospheric_pressure"
        elif name == "u" and symbol == "C_book":
            choice = "units_of_constants"
        elif name == "share" and symbol == "p_simmer":
            body = self.valve.get("valve") or {}
            choice = _SIMMER.get("pilot" if body.get("kind") == "pilot" else str(body.get("seat") or "metal"), "")
            if choice in self.choices and text not in {number(value) for value in amounts(self.choices[choice])}:
                return None
        if choice not in self.choices:
            return None
        return Link(f"{name} = {text}: choice {choice.replace('_', ' ')}", f"/plant/{self.plant}/basis#{choice}")

    def _table(self, at: int, name: str, text: str) -> Link | None:
        """The row of the moving parts nobody states; `knee` and a bellows' mass go by other names there."""
        if self._families[at] != "Stability":
            return None
        rows = tables.table("dynamics_ranges").rows
        for known in (name, *{"knee": ("area_knee",), "mass_factor": ("bellows_mass_factor",)}.get(name, ())):
            for place, row in enumerate(rows):
                if row["parameter"] == known and number(row["mid"]) == text and f"dynamics.{name}" not in self.inputs:
                    return Link(f"{name} = {text}: table dynamics ranges, row {place + 1}", f"/plant/{self.plant}/source?table=dynamics_ranges#row-{place}")
        return None

    def _count(self, at: int, name: str, text: str) -> Link | None:
        """How many of a fitting: said in the step before, read from the register's columns of the line."""
        if name != "count":
            return None
        before = next((place for place in reversed(self._group[str(self.steps[at].get("group") or "")]) if place < at and _COUNT.search(str(self.steps[place]["name"]))), None)
        if before is None or number(float(_COUNT.search(str(self.steps[before]["name"]))[1])) != text:  # type: ignore[index]
            return None
        line = str(self.steps[at].get("group") or "").partition(" ")[0].lower()
        path = next((path for path in (f"{line}.elbows", f"{line}.fittings") if path in self.inputs and ("elbow" in str(self.steps[at]["symbol"]) or path.endswith("fittings"))), "")
        return Link(f"{name} = {text}: {field_words(path)}", f"#{input_anchor(path)}") if path else self._way(name, text, before)

    def _named_field(self, at: int, name: str, text: str) -> Link | None:
        """The field of the valve a formula's name stands for, where its value is this one."""
        group = str(self.steps[at].get("group") or "").lower()
        for path, value in self._candidates(name, group):
            if is_number(value) and number(value) == text and path in self.inputs:
                return Link(f"{name} = {text}: {field_words(path)}", f"#{input_anchor(path)}")
        if name == "set_gauge":
            pressure = (self.valve.get("valve") or {}).get("set_pressure_pa")
            if is_number(pressure) and "valve.set_pressure" in self.inputs and number(units.to(pressure, "Pag", atmospheric=self._atmospheric)) == text:
                return Link(f"{name} = {text}: valve set pressure, gauge", f"#{input_anchor('valve.set_pressure')}")
        return None

    def _candidates(self, name: str, group: str) -> Iterator[tuple[str, Any]]:
        for known in NAMES.get(name, ()):
            table, _, key = known.partition(".")
            if table in ("inlet", "outlet") and f"{table} line" not in group:
                continue
            if table != "case":
                yield known, value_of(self.valve.get(table) or {}, key)
                continue
            for place, case in enumerate(self.valve.get("case_inputs") or ()):
                if not group.startswith("case ") or group.partition(":")[0] == f"case {str(case.get('name', '')).lower()}":
                    yield f"cases.{place}.{key}", value_of(case, key)

    # -- made of named steps -----------------------------------------------------------------------------------------

    def _made(self, at: int, name: str, text: str) -> list[Link]:
        """The steps a value without a step of its own is made of."""
        if name in ("area", "area_downstream"):
            return self._of(at, name, text, "bore area of", next((pair for pair in self._line(at, "D") if self._is(text, bore_area, *pair)), ()))
        if name == "roughness_ratio":
            bores = self._line(at, "D")
            return self._of(at, name, text, "roughness of clean pipe over", next((pair for pair in bores if number(roughness_ratio(clean_roughness(), self._value(pair[0]))) == text), ()))
        if name == "area_ratio":
            pairs = [(a, b) for (a,) in self._line(at, "D") for (b,) in self._line(at, "D") if a != b]
            return self._of(at, name, text, "bore areas of", next((pair for pair in pairs if number(step_ratio(*(bore_area(self._value(one)) for one in pair))) == text), ()))
        if name in ("fittings", "coefficient", "resistance"):
            parts = self._sum(at, text)
            return self._of(at, name, text, "sum of" if len(parts) > 1 else "loss of", parts)
        if name == "inertance":
            lengths, bores = self._line(0, "L", _LINES[0]), self._line(0, "D", _LINES[0])
            total = sum(self._value(a) / bore_area(self._value(b)) for (a,), (b,) in zip(lengths, bores))
            return self._of(at, name, text, "length over bore area of", (*lengths[0], *bores[0]) if len(lengths) == len(bores) and lengths and number(total) == text else ())
        if name == "disc_area":
            known = [place for place in self._group.get("Stability", ()) if self.steps[place]["symbol"] in ("A_s", "phi_m") and is_number(self.steps[place]["value"])]
            return self._of(at, name, text, "product of", known if len(known) == 2 and number(self._value(known[0]) * self._value(known[1])) == text else ())
        if name == "back":
            built = [place for place, step in enumerate(self.steps[:at]) if step["symbol"] == "dp_built_up" and number(self._atmospheric + (step["value"] or 0.0)) == text]
            return self._of(at, name, text, "atmospheric pressure and", built[-1:])
        return []

    def _of(self, at: int, name: str, text: str, words: str, places: Sequence[int]) -> list[Link]:
        """Ways to the steps a value is made of; the first one says so."""
        return [
            Link(f"{name} = {text}: {words} step {self.steps[place]['symbol']}" if first == 0 else f"and step {self.steps[place]['symbol']}", f"#step-{place}")
            for first, place in enumerate(places)
        ]  # fmt: skip

    def _line(self, at: int, symbol: str, group: str = "") -> list[tuple[int]]:
        """The steps of a symbol in the line a step is about."""
        found = self._group.get(group or self._lines[at], ())
        return [(place,) for place in found if self.steps[place]["symbol"] == symbol and is_number(self.steps[place]["value"])]

    def _sum(self, at: int, text: str) -> tuple[int, ...]:
        """The loss coefficients of the line whose sum this is: the one smallest set of them, else none."""
        group = self._lines[at]
        if group not in self._sums:
            parts = [place for place in self._group.get(group, ()) if self._is_loss(place)][:9]
            found: dict[str, list[tuple[int, ...]]] = {}
            for many in range(1, len(parts) + 1):
                for some in combinations(parts, many):
                    said = number(sum(self._value(place) for place in some))
                    if all(len(one) == many for one in found.get(said, ())):
                        found.setdefault(said, []).append(some)
            self._sums[group] = {said: sets[0] for said, sets in found.items() if len(sets) == 1 and digits(said) >= _NEAR}
            self._sums[group] |= {self._printed(place): (place,) for place in parts if found[self._printed(place)] == [(place,)]}
        chosen = self._sums[group].get(text, ())
        return chosen if all(place < at for place in chosen) else ()

    def _is_loss(self, place: int) -> bool:
        step = self.steps[place]
        return str(step["symbol"]).startswith("K_") and is_number(step["value"]) and bool(step["value"])

    # -- by value ----------------------------------------------------------------------------------------------------

    def _symbol(self, at: int, name: str, text: str) -> Link | None:
        """A step of the expected symbol with this value: in the same line or case; elsewhere, or a flow further down, only with its own digits."""
        names = (name, *SYMBOLS.get(name, ()))
        known = [place for place in reversed(self._at.get(text, ())) if called(str(self.steps[place]["symbol"]), names)]
        if not known:
            return None
        near = [place for place in known if place < at and self._lines[place] == self._lines[at] and self._families[place] in (self._families[at], *_LINES)]
        far = [place for place in known if place < at] if digits(text) >= _NEAR else []
        later = [place for place in reversed(known) if place > at and self._families[place] == self._families[at]] if name in _LATER and digits(text) >= _SIGNIFICANT else []
        found = next((place for some in (near, far, later) for place in some), None)
        return None if found is None else self._way(name, text, found)

    def _digits(self, at: int, name: str, text: str) -> Link | None:
        """An earlier step of the same case with the same digits, whatever it is called."""
        if digits(text) < _SIGNIFICANT:
            return None
        found = next((place for place in reversed(self._at.get(text, ())) if place < at and self._families[place] == self._families[at]), None)
        return None if found is None else self._way(name, text, found)

    def _chosen(self, at: int, name: str, text: str) -> Link | None:
        """A value that was taken in words in the same group: "taken as 1"."""
        for place in reversed(self._group[str(self.steps[at].get("group") or "")]):
            step = self.steps[place]
            if place < at and step["value"] is None and step["symbol"] == name and re.search(rf"\b{re.escape(text)}\b", str(step["substituted"])):
                return self._way(name, text, place)
        return None

    def _way(self, name: str, text: str, place: int) -> Link:
        return Link(f"{name} = {text}: step {self.steps[place]['symbol']}", f"#step-{place}")

    def _value(self, place: int) -> float:
        return float(self.steps[place]["value"])

    def _printed(self, place: int) -> str:
        value = self.steps[place]["value"]
        return number(value) if is_number(value) else ""

    def _is(self, text: str, function: Any, place: int) -> bool:
        return number(function(self._value(place))) == text


@lru_cache(maxsize=256)
def _line_of(group: str) -> str:
    """The group of the line that the steps of a group are about: itself, or the line its title names; for stability the inlet line."""
    if group in _LINES:
        return group
    if group == "Stability":
        return _LINES[0]
    said = _CASE.match(group)
    return f"{said[1].capitalize()} line" if said and said[1] else ""


def input_anchor(name: str) -> str:
    """The anchor of an input's row."""
    return "input-" + re.sub(r"[^A-Za-z0-9_]+", "-", name)


def value_of(record: Mapping[str, Any], key: str) -> Any:
    """A field of a record in the study, whose keys end in their units."""
    others = {"specific_volume": "specific_volume_90_m3_kg", "density": "density_90_kg_m3"}.get(key, "")
    return next((value for name, value in record.items() if name == key or (name.startswith(f"{key}_") and name != others)), None)


def amounts(text: str) -> Iterator[float]:
    """What a choice may mean as a number: a share or a plain one."""
    for quantity in ("fraction", "number"):
        with suppress(units.UnitError):
            yield units.parse(text, quantity).value


def digits(text: str) -> int:
    """Significant digits of a number as printed."""
    return len(re.sub(r"e.*$|[^0-9]", "", text).strip("0"))


def called(symbol: str, names: Sequence[str]) -> bool:
    """Whether a symbol is one of some names; a star at the end of a name stands for any end."""
    return any(symbol == name or (name.endswith("*") and symbol.startswith(name[:-1])) for name in names)
