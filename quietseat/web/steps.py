"""Where each number of a valve comes from: its step, and what went into that step (another step, a cell, a table row, a choice).

A link is made only where name and value, or four digits of a value, agree; where nothing agrees there is none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup

from quietseat import units
from quietseat.formula import number
from quietseat.report.document import Block, StepLine, Steps
from quietseat.report.words import Shown, choices, field_words, is_number
from quietseat.typeset import unit_text
from quietseat.web.site import blocks
from quietseat.web.sources import documents, looked_up

# What a formula calls a field of the valve: where the value stands in the study, and the field's name.
_NAMES: Mapping[str, tuple[str, ...]] = {
    "k": ("case.k",), "Z": ("case.Z",), "temperature": ("case.temperature",), "T": ("case.temperature",), "molar_mass": ("case.molar_mass",),
    "M": ("case.molar_mass",), "p_set": ("valve.set_pressure",), "MAWP": ("vessel.mawp",), "set": ("valve.set_pressure",),
    "operating maximum": ("vessel.operating_pressure",), "f": ("case.accumulation",), "W": ("case.flow",), "flow": ("case.flow",),
    "Q": ("case.volume_flow",), "blowdown": ("valve.blowdown",), "length": ("inlet.length", "outlet.length"), "L": ("inlet.length", "outlet.length"),
    "superimposed": ("case.superimposed_max", "case.superimposed_min"), "floor": ("case.superimposed_max", "case.superimposed_min"),
    "p_sup": ("case.superimposed_min",), "rho": ("case.density",), "density": ("case.density",), "mu": ("case.viscosity",),
    "viscosity": ("case.viscosity",), "volume": ("vessel.volume",), "roughness": ("inlet.roughness", "outlet.roughness"),
    "effective_area": ("valve.effective_area",), "A": ("valve.effective_area", "valve.actual_area"), "h": ("inlet.height", "outlet.height"),
    "K": ("inlet.loss_coefficient", "outlet.loss_coefficient", "valve.rated_coefficient"), "v1": ("case.specific_volume",), "v9": ("case.specific_volume_90",),
    "inflow": ("case.flow",), "D": ("inlet.diameter", "outlet.diameter"), "sound_speed": ("case.sound_speed",),
}  # fmt: skip
_CHOICES = {"p_atm": "atmospheric_pressure"}
# What a formula calls the result of an earlier step that has another symbol; a star stands for any end.
_SYMBOLS: Mapping[str, tuple[str, ...]] = {
    "equivalent_ratio": ("L/D",), "roughness": ("e",), "roughness_ratio": ("e/D",), "friction": ("f", "f_T"), "bore": ("D",), "length": ("L",),
    "viscosity": ("mu",), "density": ("rho",), "mass_flux": ("G",), "flux": ("G",), "head": ("q",), "coefficient": ("K_*", "K"), "fittings": ("K",),
    "mach": ("M", "M_*"), "mach_other": ("M", "M_*"), "area_ratio": ("A_ratio",), "sum_so_far": ("K", "dp_inlet"), "seat_area": ("A_s",),
    "resistance": ("K*", "N"), "seat_diameter": ("D_s",), "max_lift": ("x_max",), "spring_rate": ("s",), "precompression": ("x_e",), "mass": ("m",),
    "sound_speed": ("a",), "frequency": ("f_v",), "opening_time": ("t_o",), "travel": ("t_1",), "wave": ("dp_w",), "loss": ("dp_inlet",), "lift": ("x",),
    "coupled_frequency": ("w_c",), "pressure": ("P1", "P2", "p_*"), "back": ("P2", "p_*"), "before": ("P1", "p_*"), "after": ("p_0",), "outlet": ("p_*", "P2"),
    "flow": ("W", "W_*"), "W_rated": ("W_*",), "valve_flow": ("W_*",), "full_flow": ("W_full",), "relieving_pressure": ("P1", "P_r"), "effective_area": ("A",),
    "P1": ("P1", "P_r"), "P2": ("P2", "p_*"), "number": ("B",), "ratio": ("r_*", "p_*", "r"), "floor": ("p_*",), "superimposed": ("p_*",),
}  # fmt: skip
# Checks whose value is a plain ratio of inputs, without a step of its own: the fields it is made of.
_MADE_OF: Mapping[str, tuple[str, ...]] = {
    "close-to-set": ("vessel.operating_pressure", "valve.set_pressure"), "set-above-mawp": ("valve.set_pressure", "vessel.mawp"),
    "rating": ("valve.set_pressure", "valve.inlet_class", "valve.outlet_class", "valve.body_material"),
}  # fmt: skip
# The choices a limit may be, by finding code; the value decides which, or that it is none of them.
_LIMITS: Mapping[str, tuple[str, ...]] = {
    "inlet-loss": ("inlet_loss_limit",), "oversized": ("oversize_utilisation",), "cycling": ("cycling_utilisation",), "leaks": ("leak_ppm",),
    "close-to-set": ("operating_limit_metal", "operating_limit_soft", "operating_limit_snap", "operating_limit_modulating"),
    "back-pressure": ("built_up_limit", "bellows_limit", "bellows_ceiling", "pilot_back_pressure_limit", "outlet_mach_limit"),
    "stuck": ("stuck_ratio",), "set-above-mawp": ("set_limit_first", "set_limit_additional"), "chatter": ("chatter_quiet", "chatter_unstable"),
    "bellows": ("bellows_life_intervals",),
}  # fmt: skip
# Limits that are looked up: a part of the rule's words, and the table.
_LIMIT_TABLES = (("flange rating", "flange_ratings"), ("limit of the letter and class", "spring_bodies"))
_OF_THE_PAST = frozenset(("leaks", "stuck", "corrosion", "bellows", "fouling"))
# A figure of a case, and the symbols of the steps that give it.
_FIGURES = {
    "relieving_pressure_pa": ("P_r", "P1"), "required_area_m2": ("A",), "required_flow_kg_s": ("W",), "rated_flow_kg_s": ("W_10", "W_rated", "W"),
    "full_flow_kg_s": ("W_full", "W"), "utilisation": ("u",), "inlet_loss_rated": ("L_rated",), "inlet_loss_required": ("L_required",),
    "built_up_pa": ("dp_built_up",), "built_up_required_pa": ("dp_built_up",), "back_pressure_pa": ("P2", "p_outlet"),
    "body_floor_pa": ("p_floor",), "outlet_mach": ("M_exit", "M"),
}  # fmt: skip
_SIGNIFICANT = 4  # digits that make a value its own mark
_NEAR = 3  # the same, among the steps of one case
_CELL = re.compile(r"^(.+)!(?:[A-Z]+)?(\d+)\b")
_WORD = re.compile(r"[A-Za-z_]\w*")
_CHOICE = re.compile(r"\bBasis:? ([a-z][a-z0-9_]+)|\bbasis ([a-z][a-z0-9_]+)")


@dataclass(frozen=True, slots=True)
class Link:
    """A way on: what is said, and where it leads."""

    words: str
    href: str


@dataclass(frozen=True, slots=True)
class Printed:
    """One step as printed: its anchor, itself as HTML, what went in, and the documents behind it."""

    anchor: str
    html: Markup
    inputs: tuple[Link, ...]
    sources: tuple[str, ...]


@dataclass(slots=True)
class Trail:
    """The steps of one valve and the ways from its numbers to them. plant: its number; head: of the study."""

    valve: Mapping[str, Any]
    head: Mapping[str, Any]
    plant: int
    shown: Shown
    steps: Sequence[Mapping[str, Any]] = field(init=False)
    _inputs: dict[str, Mapping[str, Any]] = field(init=False)
    _choices: frozenset[str] = field(init=False)
    _at: dict[str, list[int]] = field(init=False)  # places of the steps by their value as printed, the last first
    _documents: dict[str, tuple[str, ...]] = field(init=False)

    def __post_init__(self) -> None:
        self.steps = self.valve.get("steps") or ()
        self._at, self._documents = {}, {}
        for place in range(len(self.steps) - 1, -1, -1):
            if is_number(self.steps[place]["value"]):
                self._at.setdefault(number(self.steps[place]["value"]), []).append(place)
        self._inputs = {str(item["field"]): item for item in self.valve.get("inputs") or ()}
        self._choices = frozenset(str(row["name"]) for row in self.head["basis"]["choices"])

    # -- from a number to its step ---------------------------------------------------------------------------------

    def page(self, part: str, anchor: str = "") -> str:
        """The address of a part of this valve's page."""
        end = f"#{anchor}" if anchor else ""
        return f"/plant/{self.plant}/valve?{urlencode({'tag': self.valve['tag'], 'part': part})}{end}"

    def step(self, place: int | None) -> str:
        """The address of a step; "" for none."""
        return "" if place is None else self.page("steps", f"step-{place}")

    def of_case(self, case: Mapping[str, Any], key: str) -> str:
        """The step behind one figure of a case."""
        value = case.get(key)
        if not is_number(value):
            return ""
        inside = [at for at in self._of_group(str(case["name"])) if self.steps[at]["value"] == value]
        for symbol in _FIGURES.get(key, ()):
            found = [at for at in inside if self.steps[at]["symbol"] == symbol]
            if found:
                return self.step(found[-1])
        return self.step(inside[-1]) if inside and _own(value) else ""

    def of_finding(self, finding: Mapping[str, Any]) -> str:
        """The step behind a finding's value."""
        value, symbol, case = finding.get("value"), finding.get("step"), str(finding.get("case") or "")
        inside = self._of_group(case) if case else range(len(self.steps))
        if symbol:
            found = [
                at
                for at in inside
                if self.steps[at]["symbol"] == symbol and (value is None or self.steps[at]["value"] == value)
            ]
            if found:
                return self.step(found[-1])
        if not is_number(value):
            return ""
        found = [at for at in inside if self.steps[at]["value"] == value]
        if found and _own(value):
            return self.step(found[-1])
        return self._figure(value) or self._of_its_case(finding) or self._judged(str(finding["code"]))

    def _of_its_case(self, finding: Mapping[str, Any]) -> str:
        """A share of a case's figure that has no step goes to the figure it is a share of."""
        key = {"back-pressure": "built_up_pa", "undersized": "rated_flow_kg_s", "oversized": "rated_flow_kg_s"}.get(
            str(finding["code"])
        )
        case = next((case for case in self.valve.get("cases") or () if case["name"] == finding.get("case")), None)
        return self.of_case(case, key) if key and case else ""

    def _judged(self, code: str) -> str:
        """A verdict on stability goes to its step, what the shop found to the history."""
        if code in ("chatter", "cycling"):
            found = [
                at
                for at, step in enumerate(self.steps)
                if step["symbol"] == "verdict" and str(step.get("group") or "").startswith("Stability")
            ]
            return self.step(found[-1]) if found else ""
        return self.page("history") if code in _OF_THE_PAST else ""

    def of_limit(self, finding: Mapping[str, Any]) -> str:
        """Where a finding's limit stands: a choice of the Basis, a table, or a step."""
        limit, rule = finding.get("limit"), str(finding.get("rule"))
        if not is_number(limit):
            return ""
        table = next((name for words, name in _LIMIT_TABLES if words in rule), "")
        if table:
            return f"/plant/{self.plant}/source?{urlencode({'table': table})}"
        if "reseat pressure" in rule:
            return self.step(next((at for at, step in enumerate(self.steps) if step["symbol"] == "p_reseat"), None))
        made = choices(self.head)
        for name in _LIMITS.get(str(finding["code"]), ()):
            if name in made and any(number(limit) == number(value) for value in _amounts(made[name])):
                return f"/plant/{self.plant}/basis#{name}"
        found = [at for at, step in enumerate(self.steps) if step["value"] == limit]
        return self.step(found[-1]) if found and _own(limit) else ""

    def made_of(self, finding: Mapping[str, Any]) -> tuple[Link, ...]:
        """The inputs of a finding's value that has no step of its own."""
        if not is_number(finding.get("value")) or self.of_finding(finding):
            return ()
        fields = [name for name in _MADE_OF.get(str(finding["code"]), ()) if name in self._inputs]
        if "reseat" in str(finding.get("rule")) and "valve.blowdown" in self._inputs:
            fields.append("valve.blowdown")
        return tuple(
            Link(field_words(name.partition(".")[2]), self.page("steps", input_anchor(name))) for name in fields
        )

    def _figure(self, value: float) -> str:
        """A value that is a figure of a case goes where that figure goes."""
        for case in self.valve.get("cases") or ():
            for key in _FIGURES:
                if case.get(key) == value and _own(value):
                    return self.of_case(case, key)
        return ""

    def of_rung(self, rung: Mapping[str, Any]) -> str:
        """The step behind a rung of the pressure ladder."""
        inside = [at for at, step in enumerate(self.steps) if step.get("group") == "Pressure ladder"]
        named = [at for at in inside if self.steps[at]["symbol"] == rung["name"]]
        same = [at for at in inside if self.steps[at]["value"] == rung.get("pressure_pa")]
        if named or same:
            return self.step((named or same)[0])
        case = str(rung["name"]).partition(", ")[2]
        found = (
            [at for at in self._of_group(case) if self.steps[at]["value"] == rung.get("pressure_pa")] if case else []
        )
        return self.step(found[-1]) if found else ""

    def _of_group(self, case: str) -> list[int]:
        """Places of the steps of a case, its lines included."""
        title = f"Case {case}"
        return [
            at
            for at, step in enumerate(self.steps)
            if (group := str(step.get("group") or "")) == title or group.startswith(f"{title}:")
        ]

    # -- the steps printed -------------------------------------------------------------------------------------------

    def groups(self) -> Iterator[tuple[str, list[Printed]]]:
        """The steps by group, in order, each with the ways on from it."""
        for group, members in groupby(enumerate(self.steps), key=lambda item: str(item[1].get("group") or "")):
            yield group or "Calculation", [self._printed(at, step) for at, step in members]

    def _printed(self, at: int, step: Mapping[str, Any]) -> Printed:
        line: Block = Steps("", (StepLine(
            str(step["symbol"]), str(step["name"]), str(step["expression"] or ""), str(step["substituted"] or ""),
            number(step["value"]) if is_number(step["value"]) else "", unit_text(str(step["unit"] or "")), str(step["source"] or ""),
        ),))  # fmt: skip
        links = (
            [self._input(at, name, text) for name, text in _put_in(step)]
            if step["expression"]
            else [self._given(at, step)]
        )
        links += [self._choice(str(step["source"])), *self._rows(step)]
        kept = {link.href: link for link in links if link is not None}
        return Printed(f"step-{at}", blocks([line]), tuple(kept.values()), self._behind(str(step["source"])))

    def _behind(self, source: str) -> tuple[str, ...]:
        """The documents of a source, looked up once."""
        if source not in self._documents:
            self._documents[source] = documents(source, self.head)
        return self._documents[source]

    def _input(self, at: int, name: str, text: str) -> Link | None:
        """The way from a value put into a formula."""
        same = self._earlier(at, text)
        named = next(
            (place for place in same if _called(str(self.steps[place]["symbol"]), (name, *_SYMBOLS.get(name, ())))),
            None,
        )
        if named is not None:
            return self._way(name, text, named)
        cell = self._field(at, name, text)
        if cell is not None:
            return cell
        if name in _CHOICES and _CHOICES[name] in self._choices:
            return Link(
                f"{name} = {text}: choice {_CHOICES[name].replace('_', ' ')}",
                f"/plant/{self.plant}/basis#{_CHOICES[name]}",
            )
        near = next((place for place in same if self._family(place) == self._family(at)), None)
        if near is not None and _digits(text) >= _NEAR:
            return self._way(name, text, near)
        if same and _digits(text) >= _SIGNIFICANT:
            return self._way(name, text, same[0])
        return self._chosen(at, name, text)

    def _earlier(self, at: int, text: str) -> list[int]:
        """Earlier steps with this value as printed, the nearest first."""
        return [place for place in self._at.get(text, ()) if place < at]

    def _way(self, name: str, text: str, place: int) -> Link:
        return Link(f"{name} = {text}: step {self.steps[place]['symbol']}", f"#step-{place}")

    def _family(self, at: int) -> str:
        """The case a step belongs to, or its group."""
        return str(self.steps[at].get("group") or "").partition(":")[0]

    def _chosen(self, at: int, name: str, text: str) -> Link | None:
        """A value that was taken in words in the same group: "taken as 1"."""
        group = self.steps[at].get("group")
        for place in range(at - 1, -1, -1):
            step = self.steps[place]
            if step.get("group") != group:
                return None
            if step["value"] is None and step["symbol"] == name and text in str(step["substituted"]):
                return self._way(name, text, place)
        return None

    def _given(self, at: int, step: Mapping[str, Any]) -> Link | None:
        """The way from a value that was read, or handed on by an earlier step."""
        if not is_number(step["value"]):
            return None
        name, text = str(step["symbol"]), number(step["value"])
        found = self._field(at, name, text)
        if found is not None:
            return found
        for place in range(at - 1, -1, -1):
            other = self.steps[place]
            if (
                other["expression"]
                and (other["value"], other["unit"]) == (step["value"], step["unit"])
                and self._family(place) == self._family(at)
            ):
                return self._way(name, text, place)
        return None

    def _field(self, at: int, name: str, text: str) -> Link | None:
        """The field of the valve a formula's name stands for, where its value is this one."""
        group = str(self.steps[at].get("group") or "").lower()
        for path, value in self._candidates(name, group):
            if is_number(value) and number(value) == text and path in self._inputs:
                return Link(f"{name} = {text}: {field_words(path)}", f"#{input_anchor(path)}")
        return None

    def _candidates(self, name: str, group: str) -> Iterator[tuple[str, Any]]:
        for known in _NAMES.get(name, ()):
            table, _, key = known.partition(".")
            if table in ("inlet", "outlet") and f"{table} line" not in group:
                continue
            if table != "case":
                yield known, _value(self.valve.get(table) or {}, key)
                continue
            for place, case in enumerate(self.valve.get("case_inputs") or ()):
                if not group.startswith("case ") or group.startswith(f"case {str(case.get('name', '')).lower()}"):
                    yield f"cases.{place}.{key}", _value(case, key)

    def _choice(self, source: str) -> Link | None:
        name = self._choice_name(source)
        return Link(f"choice {name.replace('_', ' ')}", f"/plant/{self.plant}/basis#{name}") if name else None

    def _choice_name(self, text: str) -> str:
        if text == "assumed: default of the Basis" and "default_roughness" in self._choices:
            return "default_roughness"  # the only value of a line that is said this way
        return next((name for pair in _CHOICE.findall(text) for name in pair if name in self._choices), "")

    def _rows(self, step: Mapping[str, Any]) -> list[Link]:
        """The rows of the packaged tables a looked-up value stands in."""
        if step["expression"]:
            return []
        found = looked_up(str(step["source"]), step["value"] if is_number(step["value"]) else None, str(step["name"]))
        out = []
        for name, row in found:
            end = f"#row-{row}" if row is not None else ""
            said = f"table {name.replace('_', ' ')}" + (f", row {row + 1}" if row is not None else "")
            out.append(Link(said, f"/plant/{self.plant}/source?{urlencode({'table': name})}{end}"))
        return out

    # -- inputs ------------------------------------------------------------------------------------------------------

    def inputs(self) -> list[dict[str, Any]]:
        """Every input with its anchor and where it was read."""
        return [
            {
                "anchor": input_anchor(str(item["field"])), "words": field_words(str(item["field"])), "text": item.get("text") or "", "how": item.get("how") or "",
                "from": item.get("from") or "", "rule": item.get("rule") or "", "source": item.get("source") or "", "href": self._origin(item),
            }
            for item in self._inputs.values()
        ]  # fmt: skip

    def _origin(self, item: Mapping[str, Any]) -> str:
        """Where an input stands: its row of the register, or the choice of the Basis."""
        found = _CELL.match(str(item.get("from") or ""))
        if found:
            return f"/plant/{self.plant}/bring-in/row?{urlencode({'sheet': found[1], 'row': found[2]})}"
        if item.get("how") in ("default", "assumed"):
            name = self._choice_name(f"{item.get('source') or ''} {item.get('rule') or ''}")
            if name:
                return f"/plant/{self.plant}/basis#{name}"
        return ""


def input_anchor(name: str) -> str:
    """The anchor of an input's row."""
    return "input-" + re.sub(r"[^A-Za-z0-9_]+", "-", name)


def _value(record: Mapping[str, Any], key: str) -> Any:
    """A field of a record in the study, whose keys end in their units."""
    return next(
        (
            value
            for name, value in record.items()
            if name == key or (name.startswith(f"{key}_") and name not in _OTHERS.get(key, ()))
        ),
        None,
    )


_OTHERS = {
    "specific_volume": ("specific_volume_90_m3_kg",), "density": ("density_90_kg_m3",), "k": (), "flow": (),
}  # fmt: skip


def _amounts(text: str) -> Iterator[float]:
    """What a choice may mean as a number: a share or a plain one."""
    for quantity in ("fraction", "number"):
        with suppress(units.UnitError):
            yield units.parse(text, quantity).value


def _own(value: float) -> bool:
    """Whether a value is its own mark: not a round number that many steps share."""
    return _digits(f"{value:.10g}") >= _SIGNIFICANT


def _digits(text: str) -> int:
    """Significant digits of a number as printed."""
    return len(re.sub(r"e.*$|[^0-9]", "", text).strip("0"))


def _called(symbol: str, names: Sequence[str]) -> bool:
    """Whether a symbol is one of some names; a star at the end of a name stands for any end."""
    return any(symbol == name or (name.endswith("*") and symbol.startswith(name[:-1])) for name in names)


def _put_in(step: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Each name of an expression with the value put in for it, once."""
    expression, said = str(step["expression"]), str(step["substituted"] or "")
    names = _WORD.findall(expression)
    pieces = [re.escape(piece) for piece in _WORD.split(expression)]
    pattern = pieces[0] + "".join(
        rf"({name}|\(?-?[0-9.]+(?:e[+-]?[0-9]+)?\)?){piece}" for name, piece in zip(names, pieces[1:], strict=True)
    )
    found = re.fullmatch(pattern, said)
    if found is None:
        return
    for name, text in dict(zip(names, found.groups(), strict=True)).items():
        if text != name and name not in ("pi", "R"):
            yield name, text.strip("()")
