"""One valve changed and judged again: before and after, as plain data. Nothing is kept; the inputs stay as they are."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from quietseat import cost, plain, units
from quietseat.assess import Asking, assess_many
from quietseat.basis import Basis
from quietseat.casefile.reader import Reader
from quietseat.changes import other_rule, paired
from quietseat.fields import Field, fields
from quietseat.model import Assessment, Case, Location, Origin, Problem, Remedy
from quietseat.remedies import hardware, propose_many, recommended
from quietseat.status import InputUnusable
from quietseat.worklog import Worklog

MONEY_DRAWS = 10_000  # of the money of a what-if at most: about 2 ms a remedy while somebody waits
HOW = "proposed"
_PARTS = ("valve", "inlet", "outlet", "vessel")
_UNREADABLE = frozenset(("designation", "volume_flow_or_mass", "date", "ppm"))
_CASE = re.compile(r"cases\.(\d+)\.([a-zA-Z_0-9]+)")
_EXAMPLE = re.compile(r"(for example '-?[0-9.]+) [^']+'")
_LABELS = {"valve.set_pressure": "Set pressure", "vessel.operating_pressure": "Operating maximum", "valve.blowdown": "Blowdown, of set"}
_CELL = re.compile(r"(.+)!([A-Z]+)(\d+)")


@dataclass(frozen=True, slots=True)
class Change:
    """One changed field. field: as in `Location.origins`; text: as given; why: where it follows from another change; cleared: no longer stated."""

    field: str
    value: Any
    text: str
    why: str = ""
    cleared: bool = False


def what_if(
    location: Location, problems: tuple[Problem, ...], basis: Basis, changes: Mapping[str, Any], *,
    draws: int | None = None, remedy_draws: int | None = None, orders: Worklog | None = None, before: Mapping[str, Any] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Judge one valve as it is and as it would be with some fields changed.

    problems: what the register found wrong in its row; those of a changed field fall away after the change. changes: value by field
    ("valve.set_pressure", "vessel.operating_pressure", "inlet.length", "cases.0.flow", "valve.kind", ...); text is read with its
    unit, a number is SI (pressures absolute). draws: march in time what closed form leaves in doubt, before and after, with so
    many draws; None: closed form only. remedy_draws: the same for the remedies. orders: `worklog.read_orders` of the whole
    register, as a study prices with. before: what `as_it_is` gave for this valve with the same draws. Money with the draws of the
    Basis, `MONEY_DRAWS` at most unless remedies are marched too; both sides take the same draws of everything uncertain, so that
    `difference` (after less before: cost_mid, npv_mid, npv_mean, pays, and draws) holds no chance of its own.
    Gives changes, before and after (verdict, findings, cases, ladder, stability, recommended remedy, money), and the findings
    gone, new and changed. Raises InputUnusable naming every field that cannot be read, or where the calculation broke inside.
    """
    made = read_changes(location, basis, changes)
    new = changed_location(location, made)
    touched = {_field_name(one.field) for one in made}
    left = tuple(one for one in problems if _named(one.field) not in touched)
    jobs = [(new, left)] if before is not None else [(new, left), (location, problems)]
    used = _used(basis, draws, remedy_draws)
    sides = _sides(jobs, used, (draws, remedy_draws), orders)
    after, old = (plain.clean(side) for side in (sides[0], before if before is not None else sides[1]))  # both at the digits that are shown
    answer = {
        "tag": location.tag, "status": "ok", "draws": draws,
        "changes": [_change(one, location, basis) for one in made],
        "before": old, "after": after, **_differences(old["findings"], after["findings"]), "difference": _money_difference(old, after, used.money_draws),
    }  # fmt: skip
    out: dict[str, Any] = plain.clean(answer)
    return out


def as_it_is(
    location: Location,
    problems: tuple[Problem, ...],
    basis: Basis,
    *,
    draws: int | None = None,
    orders: Worklog | None = None,
) -> dict[str, Any]:
    """One valve without a change, judged as `what_if` judges it: its side `before`, to be used again. Arguments and errors as there."""
    (side,) = _sides([(location, problems)], _used(basis, draws, None), (draws, None), orders)
    out: dict[str, Any] = plain.clean(side)
    return out


def _used(basis: Basis, draws: int | None, remedy_draws: int | None) -> Basis:
    """The Basis of a what-if: the draws of the money limited while somebody waits; marching where somebody asks for it."""
    changes: dict[str, Any] = {} if remedy_draws else {"money_draws": min(basis.money_draws, MONEY_DRAWS)}
    if draws is not None and basis.time_marching == "none":
        changes["time_marching"] = "doubtful"
    return basis.model_copy(update=changes)


# -- reading the changes -------------------------------------------------------------------------------------------


def read_changes(location: Location, basis: Basis, changes: Mapping[str, Any]) -> tuple[Change, ...]:
    """The changes as values, with what they undo elsewhere. Raises InputUnusable, one sentence for each field that cannot be read."""
    reader = Reader("what-if", basis)
    made: dict[str, Change] = {}
    for name, raw in changes.items():
        known = _field(location, name)
        if known is None:
            reader.wrong.append(f"{name}: a what-if cannot change this field")
            continue
        told = len(reader.wrong)
        value = _value(reader, location, name, known, raw)
        reader.wrong[told:] = [_fit_example(one, known, basis) for one in reader.wrong[told:]]
        if value is not None:
            made[name] = Change(
                name, value, raw if isinstance(raw, str) else f"{raw:.10g}" if isinstance(raw, float) else str(raw)
            )
    reader.finish()
    for change in _following(location, made, basis):
        made.setdefault(change.field, change)
    return tuple(made.values())


def _field(location: Location, name: str) -> Field | None:
    """The field behind a path, where a what-if may change it."""
    match = _CASE.fullmatch(name)
    if match and int(match[1]) >= len(location.cases):
        return None
    table, key = ("case", match[2]) if match else name.split(".", 1) if name.count(".") == 1 else ("", "")
    found = fields().get(f"{table}.{key}")
    if found is None or found.quantity in _UNREADABLE or found.attribute != found.key or table not in (*_PARTS, "case"):
        return None
    record: Any = Case() if table == "case" else getattr(location, table)
    return found if hasattr(record, found.attribute) else None


def _value(reader: Reader, location: Location, name: str, known: Field, raw: Any) -> Any:
    """One value as SI, in its range; None, and a complaint, where it cannot be read."""
    said = label(location, name)
    if isinstance(raw, (int, float)) and not isinstance(raw, bool) and not known.choices:
        value: Any = raw if math.isfinite(raw) else None
        if value is None:
            reader.wrong.append(f"{said}: must be a finite number")
    else:
        text = raw.strip() if isinstance(raw, str) else raw
        if known.quantity == "yes_no" and isinstance(text, str):
            text = {"yes": True, "no": False}.get(text.lower(), text)
        value = reader.value(said, known.quantity, text, _beside(location, name), known.choices)
    if value is None:
        return None
    if known.key == "accumulation":
        return reader.share(said, value)
    wrong = _out_of_range(known, value, reader.basis)
    if wrong:
        reader.wrong.append(f"{said} = {raw!r}: {wrong}")
    return None if wrong else value


def label(location: Location, name: str) -> str:
    """A field as a form names it: "Inlet length", "Required rate, blocked outlet"."""
    match = _CASE.fullmatch(name)
    if match is None:
        return _LABELS.get(name) or name.removeprefix("valve.").replace(".", " ").replace("_", " ").capitalize()
    number = int(match[1])
    words = "Required rate" if match[2] in ("flow", "volume_flow") else match[2].replace("_", " ").capitalize()
    named = location.cases[number].name if number < len(location.cases) else None
    return f"{words}, {named or f'case {number + 1}'}"


def _fit_example(words: str, known: Field, basis: Basis) -> str:
    """A complaint whose example is in a unit people write this field in."""
    unit = _unit(known, basis)
    return _EXAMPLE.sub(lambda found: f"{found[1]} {unit}'", words) if unit else words


def _unit(known: Field, basis: Basis) -> str | None:
    """The unit a field is shown and asked for in; None where it has none."""
    american = basis.pressure_unit == "psig"
    if known.quantity == "length" and any(part in known.key for part in ("diameter", "roughness", "lift", "bore")):
        return "in" if american else "mm"
    return {
        "pressure": basis.pressure_unit, "pressure_difference": "psi" if american else "bar", "length": "ft" if american else "m",
        "flow": "lb/h" if american else "kg/h", "volume_flow": "gpm" if american else "m3/h", "fraction": "%", "area": "in2" if american else "mm2",
        "volume": "ft3" if american else "m3", "temperature": "degF" if american else "degC",
    }.get(known.quantity)  # fmt: skip


def _out_of_range(known: Field, value: Any, basis: Basis) -> str:
    """Why no valve can have this value, or ""."""
    if known.quantity in ("length", "area", "volume", "fraction", "flow", "volume_flow") and not _positive(value):
        return "must be above zero"
    if known.key in ("blowdown", "lift_restriction") and value > 1:
        return "lies above 100 %; write for example '7 %'"
    if known.key in ("set_pressure", "mawp", "cdtp") and value <= basis.atmospheric_pressure:
        return "must be above atmospheric pressure"
    return ""


def _positive(value: Any) -> bool:
    number = value[1] if isinstance(value, tuple) else value
    return bool(number > 0)


def _beside(location: Location, name: str) -> dict[str, Any]:
    """What a gas volume flow needs to become a mass flow."""
    match = _CASE.fullmatch(name)
    if match is None:
        return {}
    case = location.cases[int(match[1])]
    return {"molar_mass": case.molar_mass * 1e3} if case.molar_mass else {"fluid": case.fluid} if case.fluid else {}


def _following(location: Location, made: Mapping[str, Change], basis: Basis) -> list[Change]:
    """What goes with the changes: the hardware of another kind, and figures that belong to what was changed."""
    kind = made.get("valve.kind")
    was = location.valve.kind or "conventional"
    if kind is not None and kind.value != was and "pilot" in (kind.value, was):
        out = _other_kind(location, made, basis)
    else:
        moved = kind is not None or "valve.set_pressure" in made
        out = (
            [Change("valve.cdtp", None, "", "belongs to the other set pressure or kind", True)]
            if moved and location.valve.cdtp is not None
            else []
        )
    for name in made:
        match = _CASE.fullmatch(name)
        if match and match[2] in ("flow", "volume_flow"):
            twin = "volume_flow" if match[2] == "flow" else "flow"
            if getattr(location.cases[int(match[1])], twin) is not None:
                out.append(Change(f"cases.{match[1]}.{twin}", None, "", "the rate is stated the other way now", True))
    return out


def _other_kind(location: Location, made: Mapping[str, Change], basis: Basis) -> list[Change]:
    """Spring valve to pilot or back: the hardware a remedy would put there, as changes of the fields that differ."""
    old = location.valve
    valve = replace(
        old, **{name.partition(".")[2]: one.value for name, one in made.items() if name.startswith("valve.")}
    )
    kind = str(valve.kind)
    if kind == "pilot":
        action, sense = valve.pilot_action or "snap", valve.pilot_sense or "integral"
        usual = basis.default_blowdown_modulating if action == "modulating" else basis.default_blowdown_snap
        blowdown = made["valve.blowdown"].value if "valve.blowdown" in made else usual
        header = location.outlet.discharge_to in ("flare", "closed", "process") or bool(location.service.backflow)
        new = hardware.pilot(valve, action, sense, valve.pilot_bleed or "non-bleeding", "pilot", None, blowdown, header)
        dynamics = hardware.pilot_dynamics(sense, basis.sense_area, blowdown)
        why = "what a new pilot is ordered with"
    else:
        new = hardware.spring(valve, str(valve.orifice), None, kind)
        new = replace(
            new, orifice=valve.orifice, blowdown=made["valve.blowdown"].value if "valve.blowdown" in made else None
        )
        dynamics, why = hardware.new_dynamics(), "what a new spring valve is"
    pairs = (("valve", old, new), ("dynamics", location.dynamics, dynamics))
    return [
        _difference(f"{table}.{key}", getattr(after, key), why, basis)
        for table, before, after in pairs for key in before.__slots__
        if getattr(before, key) != getattr(after, key) and f"{table}.{key}" in fields()
    ]  # fmt: skip


def _difference(name: str, value: Any, why: str, basis: Basis) -> Change:
    if value is None:
        return Change(name, None, "", "belongs to the valve of the other kind", True)
    return Change(name, value, shown(value, fields()[name], basis), why)


# -- the changed Location ------------------------------------------------------------------------------------------


def changed_location(location: Location, made: Sequence[Change]) -> Location:
    """A copy of the Location with the changes; each changed field has its origin here."""
    parts: dict[str, dict[str, Any]] = {}
    cases = list(location.cases)
    origins = dict(location.origins)
    for one in made:
        match = _CASE.fullmatch(one.field)
        if match:
            number = int(match[1])
            cases[number] = _case(cases[number], match[2], one.value)
        else:
            table, _, key = one.field.partition(".")
            parts.setdefault(table, {})[key] = one.value
        if one.cleared:
            origins.pop(one.field, None)
        else:
            origins[one.field] = Origin(HOW, "what-if", one.text, "what-if")
    records: dict[str, Any] = {name: replace(getattr(location, name), **given) for name, given in parts.items()}
    return replace(location, cases=tuple(cases), origins=origins, **records)


def _case(case: Case, key: str, value: Any) -> Case:
    """The case with one field changed; a flow read as liquid volume goes where volumes stand."""
    if isinstance(value, tuple):
        return replace(case, flow=None, volume_flow=value[1]) if key == "flow" else replace(case, **{key: value[1]})
    return replace(case, **{key: value})


# -- both sides ----------------------------------------------------------------------------------------------------


def _sides(
    jobs: list[tuple[Location, tuple[Problem, ...]]],
    basis: Basis,
    draws: tuple[int | None, int | None],
    orders: Worklog | None,
) -> list[dict[str, Any]]:
    """The sides of a comparison, marched in one batch; with few draws at the ends of the flows only, as remedies are."""
    each, remedy_draws = draws
    found = assess_many(jobs, basis, record=False, asking=Asking(each, ends=remedy_draws is None) if each else None)
    done = [_ended(one) for one in found]
    pairs = [(place, one) for (place, _), one in zip(jobs, done)]
    proposed = propose_many(pairs, basis, Asking(remedy_draws, ends=True) if remedy_draws else None)
    return [_side(place, one, _ended(remedies), basis, orders) for (place, one), remedies in zip(pairs, proposed)]


def _ended(found: Any) -> Any:
    if isinstance(found, InputUnusable):
        raise found
    if isinstance(found, Exception):
        raise InputUnusable(f"what-if: the calculation broke inside ({type(found).__name__}: {found}).") from found
    return found


def _side(
    place: Location, found: Assessment, remedies: tuple[Remedy, ...], basis: Basis, orders: Worklog | None
) -> dict[str, Any]:
    """One side of the comparison as plain data."""
    account = cost.account(place, found, remedies, basis, orders, in_full=False) if remedies else cost.Account((), {}, None)
    best, summaries = recommended(account.remedies), account.summaries
    whole = plain.assessment(replace(found, chatter=None), with_steps=False)
    keys = (
        "verdict",
        "reasons",
        "cause",
        "findings",
        "passed",
        "cases",
        "ladder",
        "stability",
        "assumptions",
        "problems",
        "status",
    )
    return {
        **{key: whole[key] for key in keys}, "chatter": _marched(found),
        "recommended": _remedy(best, summaries), "clearing": sum(one.clears == "yes" for one in remedies), "tried": len(remedies),
        "currency": basis.currency, "keep": summaries.get("keep"),
    }  # fmt: skip


def _marched(found: Assessment) -> dict[str, Any] | None:
    """What marching in time found, without traces and map; None where nothing was marched."""
    seen = found.chatter
    if seen is None:
        return None
    return {
        "verdict": seen.verdict, "words": seen.words, "reason": seen.reason, "chatter_probability": seen.chatter_probability,
        "interval": list(seen.interval) if seen.interval else None, "flutter_probability": seen.flutter_probability,
        "cycling_probability": seen.cycling_probability, "samples": seen.samples, "marched": seen.marched, "why": found.chatter_doubt,
    }  # fmt: skip


def _remedy(best: Remedy | None, summaries: Mapping[str, Any]) -> dict[str, Any] | None:
    if best is None:
        return None
    out = plain.remedy(best)
    kept = ("name", "title", "clears", "condition", "question", "cleared", "left", "created", "cost")
    return {
        **{key: out[key] for key in kept},
        "fit": best.fit.verdict if best.fit else None,
        "life_cycle": summaries.get(best.name),
    }


def _differences(before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Findings gone, new, and those on both sides whose outcome, value, or rule with other words, is another."""
    pairs = paired(before, after)
    return {
        "gone": [old for old, new in pairs if old is not None and new is None],
        "new": [new for old, new in pairs if old is None and new is not None],
        "changed": [{"before": old, "after": new} for old, new in pairs if old is not None and new is not None and _another(old, new)],
    }  # fmt: skip


def _another(old: Mapping[str, Any], new: Mapping[str, Any]) -> bool:
    return any(old[key] != new[key] for key in ("outcome", "value", "limit")) or other_rule(old, new)


def _money_difference(before: Mapping[str, Any], after: Mapping[str, Any], draws: int) -> dict[str, Any]:
    """The recommended remedy's money after less before; None for what one of the sides lacks. Draws belong to valve and name of the
    input, so both sides have the same."""
    old, new = ((side["recommended"] or {}) for side in (before, after))
    lives = [one.get("life_cycle") or {} for one in (old, new)]
    npv = [one.get("npv") or {} for one in lives]
    totals = [(one.get("cost") or {}).get("total") or {} for one in (old, new)]
    return {
        "cost_mid": _less(*(one.get("mid") for one in totals)), "npv_mid": _less(*(one.get("mid") for one in npv)),
        "npv_mean": _less(*(one.get("mean") for one in npv)), "pays": _less(*(one.get("probability_pays") for one in lives)), "draws": draws,
    }  # fmt: skip


def _less(before: float | None, after: float | None) -> float | None:
    return None if before is None or after is None else after - before


# -- keeping it ----------------------------------------------------------------------------------------------------


def _change(one: Change, location: Location, basis: Basis) -> dict[str, Any]:
    return {
        "field": one.field,
        "text": one.text,
        "before": stated(location, one.field, basis),
        "cleared": one.cleared,
        "why": one.why,
    }


def stated(location: Location, name: str, basis: Basis) -> str:
    """A field as it stands, in the units of the Basis; "" where nobody stated it."""
    known = _field(location, name)
    if known is None:
        return ""
    match = _CASE.fullmatch(name)
    record: Any = location.cases[int(match[1])] if match else getattr(location, known.table)
    value = getattr(record, known.attribute)
    return "" if value is None else shown(value, known, basis)


def shown(value: Any, known: Field, basis: Basis) -> str:
    """A value as text that reads back as itself."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) or known.quantity in ("choice", "text", "cause", "block_valve", "schedule", "letter"):
        return str(value)
    unit = _unit(known, basis)
    if unit is None or not isinstance(value, (int, float)):
        return f"{value:g}" if isinstance(value, (int, float)) else str(value)
    return units.show(value, unit, atmospheric=basis.atmospheric_pressure, digits=6)


def mends(
    location: Location, changes: Sequence[Mapping[str, Any]], lines: Mapping[int, tuple[str, int]]
) -> list[dict[str, Any]]:
    """The changes of an answer as mends of the register: kind, sheet, row, field and value of each; an empty value clears the cell.

    lines: sheet and row of each line of the mends file, where a value stands that was mended before. A place is that of the value
    itself; the valve's own row where nobody stated it. Raises InputUnusable for a Location that was not read from a register.
    """
    out = []
    for one in changes:
        sheet, row = _place(location, str(one["field"]), lines)
        out.append(
            {
                "kind": "cell",
                "sheet": sheet,
                "row": row,
                "field": _field_name(str(one["field"])),
                "value": str(one["text"]),
            }
        )
    return out


def _place(location: Location, name: str, lines: Mapping[int, tuple[str, int]]) -> tuple[str, int]:
    beside = [name]
    if match := _CASE.fullmatch(name):
        beside += [f"cases.{match[1]}.{key}" for key in ("flow", "volume_flow", "name", "cause")]
    for each in beside:
        origin = location.origins.get(each)
        found = _CELL.match(origin.where) if origin else None
        if found:
            return found[1], int(found[3])
        line = re.search(r"(\d+)$", origin.where) if origin and origin.how == "mended" else None
        if line and int(line[1]) in lines:
            return lines[int(line[1])]
    if location.row is None:
        raise InputUnusable(f"{location.tag}: it stands in no register, so nothing can be mended there.")
    return location.sheet or "", location.row


def _field_name(path: str) -> str:
    match = _CASE.fullmatch(path)
    return f"case.{match[2]}" if match else path


def _named(field: str | None) -> str:
    """The full name of a problem's field, which may be told by its key alone."""
    name = field or ""
    if "." in name or not name:
        return _field_name(name)
    return next((full for full, known in fields().items() if known.key == name), name)
