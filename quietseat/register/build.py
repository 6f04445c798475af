"""A row's values become the records of one place in the plant, each value with its origin."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from quietseat.basis import Basis
from quietseat.model import Case, Dynamics, Event, Fitting, History, Line, Location, Origin, Service, Valve, Vessel
from quietseat.register import back_pressure, derived, fields, tags, words
from quietseat.register.cells import choice
from quietseat.register.given_cases import CHECK_ONLY, Given, of_row
from quietseat.register.rows import Data
from quietseat.register.taken import BLANK, Taken
from quietseat.sizing.constants import WATER_DENSITY
from quietseat.sizing.liquid import liquid_density

_FITTINGS = {"elbows": "elbow-90", "long_elbows": "elbow-90-long", "tees": "tee-branch"}
_LINE = ("size", "schedule", "diameter", "length", "height", "entrance", "block_valve", "loss_coefficient", "roughness",
         "friction_factor", "discharge_to")  # fmt: skip


@dataclass(slots=True)
class Draft:
    """One counted row of a main sheet with everything the other sheets say of its valves."""

    data: Data
    tags: tuple[str, ...]
    remark: str = ""
    alias: tuple[str, ...] = ()
    cases: list[Given] = field(default_factory=list)
    events: list[tuple[Event, Origin]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)  # free text: remarks, comments
    unit: tuple[str, Origin] | None = None
    matches: list[tuple[str, Origin]] = field(default_factory=list)  # tags of other sheets, spelled otherwise
    tag_rule: str = ""  # how one cell came to name several valves
    rename: str = ""  # the tag where an earlier row has the plain one


def origin(taken: Taken, where: str) -> Origin:
    """Where a taken value comes from."""
    if taken.how == "mended":
        return Origin("mended", taken.source or where, taken.text, taken.rule)
    return Origin(taken.how, where, taken.text, taken.rule)


def own_case(data: Data) -> dict[str, tuple[Taken, str]]:
    """What the main row itself says of a relief case."""
    return {
        ident: (taken, data.where[ident]) for ident, taken in data.values.items()
        if taken.state == "value" and ident.startswith("case.")
    }  # fmt: skip


def locations(draft: Draft, basis: Basis) -> list[Location]:
    """One Location for each tag of the row."""
    out = []
    for place, tag in enumerate(draft.tags):
        out.append(_Builder(draft, basis, place).build(tag))
    return out


class _Builder:
    """Builds one Location; keeps the origins as it goes."""

    def __init__(self, draft: Draft, basis: Basis, place: int) -> None:
        self.draft, self.basis, self.place = draft, basis, place
        self.data = draft.data
        self.origins: dict[str, Origin] = {}
        self.parts: dict[str, dict[str, Any]] = {}
        for ident, taken in draft.data.values.items():
            table, _, key = ident.partition(".")
            if taken.state == "value" and table not in ("case", "location", "history"):
                self.parts.setdefault(table, {})[key] = (taken, draft.data.where[ident])

    def build(self, tag: str) -> Location:
        """The Location of one tag."""
        draft, data = self.draft, self.data
        many = len(draft.tags) > 1
        shown = draft.rename if draft.rename and not many else (f"{tag} {draft.rename}" if draft.rename else tag)
        valve = self.valve(shown)
        cases = tuple(self.case(number, given, valve) for number, given in enumerate(of_row(own_case(self.data), self.draft.cases)))
        service_texts = [entry for entry in self.texts() if entry[0]]
        history = self.history(service_texts)
        unit = self.unit()
        for number, (_, source) in enumerate(draft.matches):
            self.origins[f"location.tag.{number}"] = source
        if draft.tag_rule:
            self.origins["location.tag"] = Origin("assumed", data.where.get("location.tag", ""), "/".join(draft.tags), draft.tag_rule)
        if isinstance(data.values.get("location.tag", BLANK).value, tuple):
            self.note("location.tag", data.values["location.tag"], data.where["location.tag"])
        alias = dict.fromkeys((*draft.alias, *(name for name, _ in draft.matches), *((tag,) if shown != tag else ()), tags.key(tag)))
        return Location(
            shown, valve, cases, self.line("inlet"), self.line("outlet"), self.vessel(), history,
            self.service(service_texts), self.simple(Dynamics, "dynamics"),
            tuple(name for name in alias if name and name != shown), unit, tuple(dict.fromkeys(draft.notes)),
            data.number, data.sheet, self.twin(), self.origins,
        )  # fmt: skip

    def twin(self) -> str | None:
        if not tags.lettered(self.draft.tags):
            return None  # PSV-201 to 204: one row for several valves, no duty and spare
        others = [tag for tag in self.draft.tags if tag != self.draft.tags[self.place]]
        return others[0] if others else None

    def note(self, path: str, taken: Taken, where: str) -> None:
        """Keep the origin of one value."""
        self.origins[path] = origin(taken, where)

    def derive(self, path: str, taken: Taken, where: str, rule: str, source: str = "") -> None:
        """Keep the origin of a value worked out from a cell."""
        rule = f"{rule}; {taken.rule}" if taken.rule else rule
        self.origins[path] = Origin("mended" if taken.how == "mended" else "derived", where, taken.text, rule, source)

    def simple(self, kind: type[Any], table: str) -> Any:
        """A record whose attributes are the fields of one table."""
        given = {}
        for key, (taken, where) in self.parts.get(table, {}).items():
            given[fields.fields()[f"{table}.{key}"].attribute] = taken.value
            self.note(f"{table}.{key}", taken, where)
        return kind(**given)

    def unit(self) -> str | None:
        taken = self.data.good("location.unit")
        if taken is not None:
            self.note("location.unit", taken, self.data.where["location.unit"])
            return str(taken.value)
        if self.draft.unit is not None:
            self.origins["location.unit"] = self.draft.unit[1]
            return self.draft.unit[0]
        return None

    # --- valve ---------------------------------------------------------------------------------------------

    def valve(self, tag: str) -> Valve:
        given: dict[str, Any] = {"tag": tag}
        for key, (taken, where) in self.parts.get("valve", {}).items():
            value = taken.value
            if key == "designation":
                continue
            if key == "nameplate_flow":
                value = self.capacity(taken, where)
                if value is None:
                    continue
                given[key] = value
                continue
            if key == "blowdown" and isinstance(value, tuple):
                value = self.blowdown(value[1])
                if value is None:
                    self.data.complain(f"{taken.text!r} is a pressure: it needs the set pressure to become a share of it",
                                       "write the blowdown in per cent", "valve.blowdown", taken.text, where)  # fmt: skip
                    self.data.reasons.append("blowdown in pressure units without a set pressure")
                    continue
                self.derive("valve.blowdown", taken, where, "blowdown over gauge set pressure")
                given[key] = value
                continue
            given[key] = value
            self.note(f"valve.{key}", taken, where)
        self.pressures(given)
        self.pilot(given)
        if self.data.good("valve.designation"):
            self.note("valve.designation", self.data.values["valve.designation"], self.data.where["valve.designation"])
        return Valve(**given)

    def pressures(self, given: dict[str, Any]) -> None:
        """Two set pressures of an A/B row: one for each valve, in the order they are written."""
        taken = self.data.values.get("valve.set_pressure", BLANK)
        if taken.state == "several" and len(self.draft.tags) == len(taken.value):
            given["set_pressure"] = taken.value[self.place]
            self.origins["valve.set_pressure"] = Origin(
                "assumed", self.data.where["valve.set_pressure"], taken.text, "two pressures, two valves: in the order written"
            )

    def blowdown(self, difference: float) -> float | None:
        taken = self.data.good("valve.set_pressure")
        atmospheric = self.basis.atmospheric_pressure
        if taken is None or taken.value <= atmospheric:
            return None
        return derived.share_of_set(difference, taken.value, atmospheric)

    def capacity(self, taken: Taken, where: str) -> float | None:
        """The stamped capacity in kg/s: gas volumes are of air, liquid volumes of water, as stamps are."""
        quantity, value = taken.value
        if quantity == "mass_flow":
            self.note("valve.nameplate_flow", taken, where)
            return float(value)
        if quantity == "gas_flow":
            self.origins["valve.nameplate_flow"] = Origin("assumed", where, taken.text, "a stamped gas volume is of air")
            return derived.mass_of_moles(value, derived.AIR)
        self.origins["valve.nameplate_flow"] = Origin("assumed", where, taken.text, "a stamped liquid volume is of water")
        return derived.mass_of_volume(value, WATER_DENSITY)

    def pilot(self, given: dict[str, Any]) -> None:
        """The words of the type column may say how a pilot acts: "Pilot, modulating"."""
        kind = self.data.good("valve.kind")
        if kind is None or kind.value != "pilot":
            return
        for key in ("pilot_action", "pilot_sense", "pilot_bleed"):
            if given.get(key) is None:
                found = choice(f"valve.{key}", kind.text)
                if found.state == "value":
                    given[key] = found.value
                    self.origins[f"valve.{key}"] = Origin(
                        "assumed", self.data.where["valve.kind"], kind.text, "word found in the valve type"
                    )

    # --- cases ---------------------------------------------------------------------------------------------

    def case(self, number: int, given: Given, valve: Valve) -> Case:
        values: dict[str, Any] = {}
        path = f"cases.{number}."
        for ident, (taken, where) in given.items():
            key = ident[5:]
            if ident in (CHECK_ONLY, back_pressure.TOTAL) or key in ("flow", "viscosity"):
                if ident == CHECK_ONLY:
                    self.origins[path + key] = Origin("read", where, taken.text, "for a cross-check only")
                continue
            if key == "specific_gravity":
                if "case.density" not in given:
                    values["density"] = liquid_density(taken.value, WATER_DENSITY)
                    self.derive(path + "density", taken, where, "specific gravity times the density of water at 15.6 degC")
                continue
            if isinstance(taken.value, tuple) and key == "accumulation":
                self.accumulation(path, taken, where, valve, values)
                continue
            values[key] = taken.value
            self.note(path + key, taken, where)
        self.cause(path, given, values)
        self.flow(path, given, values)
        self.viscosity(path, given, values)
        back_pressure.settle(path, given, values, self.origins, self.data, self.parts.get("outlet", {}), self.basis.atmospheric_pressure)
        if len(self.draft.tags) > 1 and tags.lettered(self.draft.tags):
            self.shared(path, values)
        if not values.get("name"):
            values["name"] = str(values.get("cause") or (f"case {number + 1}"))
        return Case(**values)

    def accumulation(self, path: str, taken: Taken, where: str, valve: Valve, values: dict[str, Any]) -> None:
        """An allowed rise in pressure units, as a factor on gauge MAWP (on set where MAWP is not stated)."""
        mawp = self.data.good("vessel.mawp")
        base, name = (mawp.value, "MAWP") if mawp else (valve.set_pressure, "set pressure")
        if base is None or base <= self.basis.atmospheric_pressure:
            self.data.complain(f"{taken.text!r} is a pressure: it needs the MAWP to become a share of it",
                               "write the accumulation in per cent", "case.accumulation", taken.text, where)  # fmt: skip
            self.data.reasons.append("accumulation in pressure units without a MAWP")
            return
        values["accumulation"] = derived.raised_by(taken.value[1], base, self.basis.atmospheric_pressure)
        self.derive(path + "accumulation", taken, where, f"1 + rise over gauge {name}")

    def cause(self, path: str, given: Given, values: dict[str, Any]) -> None:
        """A case named "Fire" is a fire case, where no column states the cause."""
        if values.get("cause") or not values.get("name"):
            return
        taken, where = given["case.name"]
        found = choice("case.cause", str(taken.value))
        if found.state == "value" and found.value != "other":
            values["cause"] = found.value
            self.origins[path + "cause"] = Origin("assumed", where, taken.text, "cause taken from the name of the case")

    def flow(self, path: str, given: Given, values: dict[str, Any]) -> None:
        if "case.flow" not in given:
            return
        taken, where = given["case.flow"]
        quantity, value = taken.value
        if quantity == "mass_flow":
            values["flow"] = value
            self.note(path + "flow", taken, where)
        elif quantity == "volume_flow":
            values.setdefault("volume_flow", value)
            self.note(path + "volume_flow", taken, where)
        elif values.get("molar_mass") is not None:
            values["flow"] = derived.mass_of_moles(value, values["molar_mass"])
            self.derive(path + "flow", taken, where, "gas volume at reference conditions times molar mass")
        elif str(values.get("fluid", "")).strip().lower() == "air":
            values["flow"] = derived.mass_of_moles(value, derived.AIR)
            self.derive(path + "flow", taken, where, "gas volume at reference conditions, molar mass of air")
        else:
            self.data.complain(
                f"{taken.text!r} is a gas volume: it needs a molar mass to become a mass flow",
                "write the molar mass of this case, or the flow in kg/h", "case.flow", taken.text, where,
            )  # fmt: skip
            self.data.reasons.append("required rate is a gas volume without a molar mass")

    def viscosity(self, path: str, given: Given, values: dict[str, Any]) -> None:
        if "case.viscosity" not in given:
            return
        taken, where = given["case.viscosity"]
        if not isinstance(taken.value, tuple):
            values["viscosity"] = taken.value
            self.note(path + "viscosity", taken, where)
        elif values.get("density") is not None:
            values["viscosity"] = derived.dynamic_viscosity(taken.value[1], values["density"])
            self.derive(path + "viscosity", taken, where, "kinematic viscosity times density")
        else:
            self.data.complain(
                f"{taken.text!r} is a kinematic viscosity: it needs a density", "write the density of this case",
                "case.viscosity", taken.text, where,
            )  # fmt: skip
            self.data.reasons.append("kinematic viscosity without a density")

    def shared(self, path: str, values: dict[str, Any]) -> None:
        """The valves of one row share its cases: one duty, one spare, unless the row says otherwise."""
        count = len(self.draft.tags)
        where = self.data.where.get("location.tag", "")
        rule = "A/B row: one duty, one spare" if count == 2 else f"{count} valves in one row: one of them spare"
        if values.get("installed") is None:
            values["installed"] = count
            self.origins[path + "installed"] = Origin("assumed", where, "/".join(self.draft.tags), rule)
        if values.get("required") is None:
            values["required"] = max(1, count - 1)
            self.origins[path + "required"] = Origin("assumed", where, "/".join(self.draft.tags), rule)

    # --- lines, vessel, history ------------------------------------------------------------------------------

    def line(self, table: str) -> Line:
        parts = self.parts.get(table, {})
        given: dict[str, Any] = {}
        fittings = []
        for key, (taken, where) in parts.items():
            self.note(f"{table}.{key}", taken, where)
            if key in _FITTINGS:
                self.origins.setdefault(f"{table}.fittings", self.origins[f"{table}.{key}"])
                # a stated zero is kept: "no elbows" is not "nobody counted"
                fittings.append(Fitting(_FITTINGS[key], taken.value))
            elif key == "size":
                given["size"] = taken.value.inlet
            elif key in _LINE:
                given[key] = taken.value
        return Line(fittings=tuple(fittings), **given)

    def vessel(self) -> Vessel:
        return self.simple(Vessel, "vessel")  # type: ignore[no-any-return]

    def texts(self) -> list[tuple[str, str, str]]:
        """Free text in which words may tell something, with where it stands and what it is."""
        data = self.data
        out = [(self.draft.remark, data.where.get("location.tag", ""), "tag")]
        for ident in ("location.remarks", "history.condition", "history.as_found_leak"):
            taken = data.good(ident)
            if taken is not None:
                out.append((str(taken.value), data.where[ident], _called(ident)))
        out += [(taken.text, where, _called(ident)) for ident, taken, where in data.more
                if ident in ("location.remarks", "history.condition") and taken.state == "value"]  # fmt: skip
        out += [(comment, f"{data.sheet}!{comment.partition(':')[0]} comment", "comment") for comment in data.comments]
        return out

    def history(self, texts: list[tuple[str, str, str]]) -> History:
        events: list[Event] = []
        for event, given in (*_less_dated(_row_events(self.data), self.draft.events), *self.draft.events):
            self.origins[f"history.events.{len(events)}"] = given
            events.append(event)
        dated = any(event.event == "bellows" for event in events)
        for text, where, name in texts:
            for kind, word in words.events(text):
                if kind == "bellows" and dated:
                    continue
                self.origins[f"history.events.{len(events)}"] = Origin("assumed", where, text, f"word found in {name}: {word!r}")
                events.append(Event(kind, note=text))
        condition = self.data.good("history.condition")
        more = [t.text for i, t, _ in self.data.more if i == "history.condition" and t.state == "value"]
        if condition is not None:
            self.note("history.condition", condition, self.data.where["history.condition"])
        said = " / ".join(([str(condition.value)] if condition else []) + more) or None
        return History(tuple(events), said, *self.surveyed())

    def surveyed(self) -> tuple[str | None, float | None]:
        """The last clean survey and a measured leak rate (kg/s)."""
        survey, rate = (self.data.good(f"history.{key}") for key in ("last_clean_survey", "measured_rate"))
        for ident, taken in (("history.last_clean_survey", survey), ("history.measured_rate", rate)):
            if taken is not None:
                self.note(ident, taken, self.data.where[ident])
        quantity, value = rate.value if rate is not None else ("mass_flow", None)
        if rate is not None and quantity != "mass_flow":
            rule = f"{rate.text!r} is a volume: a leak rate is needed as mass"
            self.data.complain(rule, "write it as kg/h", "history.measured_rate", rate.text)
        return str(survey.value) if survey is not None else None, value if quantity == "mass_flow" else None

    def service(self, texts: list[tuple[str, str, str]]) -> Service:
        given = {}
        for key, (taken, where) in self.parts.get("service", {}).items():
            given[key] = taken.value
            self.note(f"service.{key}", taken, where)
        fluid = self.data.good("case.fluid")
        more = [(str(fluid.value), self.data.where["case.fluid"], "fluid")] if fluid else []
        noted = [(str(event.note), o.where, "history") for event, o in self.draft.events if event.note]
        for text, where, name in (*texts, *more, *noted):
            for flag, word in words.services(text):
                if flag not in given:
                    given[flag] = True
                    self.origins[f"service.{flag}"] = Origin("assumed", where, text, f"word found in {name}: {word!r}")
        return Service(**given)


def _called(ident: str) -> str:
    """A field in the words of a rule."""
    return fields.shown(ident).replace("_", " ")


def _less_dated(counted: list[tuple[Event, Origin]], dated: list[tuple[Event, Origin]]) -> list[tuple[Event, Origin]]:
    """Counts of a column without the events that the history sheet lists one by one: together the larger of both."""
    out = []
    for event, source in counted:
        listed = sum(int(other.value or 1) for other, _ in dated if other.event == event.event)
        if event.event in ("overhaul", "bellows") and event.value and listed:
            left = event.value - listed
            if left <= 0:
                continue
            rule = f"{event.value:g} in the column, {listed} of them in the history sheet"
            event, source = replace(event, value=left), replace(source, how="derived", rule=rule)
        out.append((event, source))
    return out


def _row_events(data: Data) -> list[tuple[Event, Origin]]:
    """The history columns of a main row as events."""
    out: list[tuple[Event, Origin]] = []
    last, read = data.good("history.last_test"), data.good("history.reading_date")
    date = str(last.value) if last else None
    read_on = str(read.value) if read else date

    def add(ident: str, event: Event) -> None:
        out.append((event, origin(data.values[ident], data.where[ident])))

    if pop := data.good("history.as_found"):
        add("history.as_found", Event("pop", date, pop.value, "as found"))
    if leak := data.good("history.as_found_leak"):
        low = str(leak.value).lower()
        failed = any(word in low for word in ("fail", "leak", "pass thr", "passing", "not tight"))
        if failed and not words.found(low):
            add("history.as_found_leak", Event("leak", date, None, f"as found: {leak.value}"))
    for ident, kind in (("history.ppm", "leak"), ("history.lifts", "lift"), ("history.overhauls", "overhaul"),
                        ("history.bellows_replaced", "bellows")):  # fmt: skip
        if (count := data.good(ident)) and (count.value or ident == "history.ppm"):  # a reading of 0 says that it is tight
            add(ident, Event(kind, read_on if ident == "history.ppm" else None, count.value, fields.fields()[ident].key.replace("_", " ")))
    if cost := data.good("history.repair_cost"):
        add("history.repair_cost", Event("other", None, None, "repair cost", cost.value))
    for ident, note in (("history.last_test", "last test"), ("history.next_due", "next due")):
        if taken := data.good(ident):
            add(ident, Event("other", str(taken.value), None, note))
    if interval := data.good("history.interval_years"):
        add("history.interval_years", Event("other", None, interval.value, "interval"))
    return out
