"""Where each number of a valve comes from: its step, and what went into that step (another step, a cell, a table row, a choice).

A link is made only where a source can be named (`origins` says how); where none can, the page says so.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup

from quietseat.formula import number
from quietseat.report.document import Block, StepLine, Steps
from quietseat.report.words import Shown, choices, field_words, is_number
from quietseat.typeset import unit_text
from quietseat.web.origins import Link, Origins, amounts, digits, input_anchor
from quietseat.web.site import blocks
from quietseat.web.sources import documents, looked_up

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
_LIMIT_TABLES = (("flange rating", "flange_ratings"), ("limit of the body", "spring_bodies"))
_OF_THE_PAST = frozenset(("leaks", "stuck", "corrosion", "bellows", "fouling"))
# A figure of a case, and the symbols of the steps that give it.
_FIGURES = {
    "relieving_pressure_pa": ("P_r", "P1"), "required_area_m2": ("A",), "required_flow_kg_s": ("W",), "rated_flow_kg_s": ("W_10", "W_rated", "W"),
    "full_flow_kg_s": ("W_full", "W"), "utilisation": ("u",), "inlet_loss_rated": ("L_rated",), "inlet_loss_required": ("L_required",),
    "built_up_pa": ("dp_built_up",), "built_up_required_pa": ("dp_built_up",), "back_pressure_pa": ("P2", "p_outlet"),
    "body_floor_pa": ("p_floor",), "outlet_mach": ("M_exit", "M"),
}  # fmt: skip
NOT_LINKED = "not linked"
_HANDED = frozenset(("given", "line", "stated"))  # what a step says of a value that came from elsewhere in the program
_SIGNIFICANT = 4  # digits that make a value its own mark
_CELL = re.compile(r"^(.+)!(?:[A-Z]+)?(\d+)\b")
_WORD = re.compile(r"[A-Za-z_]\w*")
_CHOICE = re.compile(r"\bBasis:? ([a-z][a-z0-9_]+)|\bbasis ([a-z][a-z0-9_]+)")


@dataclass(frozen=True, slots=True)
class Printed:
    """One step as printed: its anchor, itself as HTML, what went in, and the documents behind it."""

    anchor: str
    html: Markup
    inputs: tuple[Link, ...]
    sources: tuple[str, ...]


Groups = list[tuple[str, list[Printed]]]
_KEPT: dict[tuple[str, int, str], Groups] = {}
_MOST = 100  # valves, of 0.1 to 0.5 MB each
_DOCUMENTS: dict[tuple[str, str], tuple[str, ...]] = {}  # of a study and a source
_keeping = threading.Lock()


@dataclass(slots=True)
class Trail:
    """The steps of one valve and the ways from its numbers to them. plant: its number; head: of the study."""

    valve: Mapping[str, Any]
    head: Mapping[str, Any]
    plant: int
    shown: Shown
    mark: tuple[str, int, str] | None = None  # of the study and the valve, by which its printed steps are kept; None keeps nothing
    steps: Sequence[Mapping[str, Any]] = field(init=False)
    _inputs: dict[str, Mapping[str, Any]] = field(init=False)
    _choices: Mapping[str, str] = field(init=False)
    _kept: Origins | None = field(init=False)

    def __post_init__(self) -> None:
        self.steps = self.valve.get("steps") or ()
        self._kept = None
        self._inputs = {str(item["field"]): item for item in self.valve.get("inputs") or ()}
        self._choices = choices(self.head)

    @property
    def origins(self) -> Origins:
        """Where each value put into a step comes from."""
        if self._kept is None:
            self._kept = Origins(self.valve, self.head, self.plant, self.steps, self._inputs, self._choices)
        return self._kept

    # -- from a number to its step ---------------------------------------------------------------------------------

    def page(self, part: str, anchor: str = "") -> str:
        """The address of a part of this valve's page."""
        end = f"#{anchor}" if anchor else ""
        return f"/plant/{self.plant}/valve?{urlencode({'tag': self.valve['tag'], 'part': part})}{end}"

    def step(self, place: int | None) -> str:
        """The address of a step; "" for none."""
        return "" if place is None else self.page("steps", f"step-{place}")

    def of_symbol(self, symbol: str, group: str) -> str:
        """The last step of a symbol in a group."""
        found = [at for at, step in enumerate(self.steps) if (step["symbol"], step.get("group")) == (symbol, group)]
        return self.step(found[-1]) if found else ""

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
        if finding["code"] == "chatter":
            found = [at for at, step in enumerate(self.steps) if step["symbol"] in ("dp_allowed", "L_crit") and step["value"] == limit]
            return self.step(found[-1]) if found else ""
        if "reseat pressure" in rule:
            return self.step(next((at for at, step in enumerate(self.steps) if step["symbol"] == "p_reseat"), None))
        made = choices(self.head)
        for name in _LIMITS.get(str(finding["code"]), ()):
            if name in made and any(number(limit) == number(value) for value in amounts(made[name])):
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

    def groups(self) -> Groups:
        """The steps by group, in order, each with the ways on from it; kept in memory for the valves last looked at, for a study never changes."""
        known = _KEPT.get(self.mark) if self.mark else None
        if known is None:
            known = [
                (group or "Calculation", [self._printed(at, step) for at, step in members])
                for group, members in groupby(enumerate(self.steps), key=lambda item: str(item[1].get("group") or ""))
            ]
            if self.mark:
                with _keeping:
                    while len(_KEPT) >= _MOST:
                        _KEPT.pop(next(iter(_KEPT)))
                    _KEPT[self.mark] = known
        return known

    def _printed(self, at: int, step: Mapping[str, Any]) -> Printed:
        line: Block = Steps("", (StepLine(
            str(step["symbol"]), str(step["name"]), str(step["expression"] or ""), str(step["substituted"] or ""),
            number(step["value"]) if is_number(step["value"]) else "", unit_text(str(step["unit"] or "")), str(step["source"] or ""),
        ),))  # fmt: skip
        return Printed(f"step-{at}", blocks([line]), self.ways(at), self._behind(str(step["source"])))

    def ways(self, at: int) -> tuple[Link, ...]:
        """What went into a step, each with the way to where it comes from; without a way, in words why, or "not linked"."""
        step = self.steps[at]
        links: list[Link] = []
        if step["expression"]:
            for name, text in _put_in(step):
                links += self.origins.of(at, name, text) or [Link(f"{name} = {text}: {NOT_LINKED}", "")]
        elif is_number(step["value"]):
            handed = self.origins.handed(at)
            links += [handed] if handed else []
        choice = self._choice(str(step["source"]))
        links += [*([choice] if choice else []), *self._rows(step)]
        if not links and is_number(step["value"]) and str(step["source"]) in _HANDED:
            links = [Link(f"{step['symbol']} = {number(step['value'])}: {NOT_LINKED}", "")]
        return tuple(dict.fromkeys(links))

    def _behind(self, source: str) -> tuple[str, ...]:
        """The documents of a source, looked up once."""
        key = (str(self.head.get("hash")), source)
        if key not in _DOCUMENTS:
            with _keeping:
                if len(_DOCUMENTS) >= 4000:
                    _DOCUMENTS.clear()
                _DOCUMENTS[key] = documents(source, self.head)
        return _DOCUMENTS[key]

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


def _own(value: float) -> bool:
    """Whether a value is its own mark: not a round number that many steps share."""
    return digits(f"{value:.10g}") >= _SIGNIFICANT


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
