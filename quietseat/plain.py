"""Records as plain data for JSON: SI with the unit in the key, ten significant digits, no NaN."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from quietseat.model import (
    Assessment,
    CaseResult,
    Chatter,
    Cost,
    Finding,
    Fit,
    FitDrawing,
    FlangeOutline,
    Location,
    Outline,
    Remedy,
    Rung,
    Spread,
    Stability,
    Step,
    Trace,
)  # fmt: skip

# Attribute -> key, where the unit has to stand in the key. What is not listed keeps its name.
UNITS: Mapping[str, Mapping[str, str]] = {
    "valve": {
        "inlet_height": "m", "outlet_reach": "m", "set_pressure": "pa", "cdtp": "pa", "effective_area": "m2",
        "actual_area": "m2", "nameplate_flow": "kg_s", "spring_range": "pa",
    },
    "case": {
        "flow": "kg_s", "volume_flow": "m3_s", "temperature": "k", "molar_mass": "kg_mol", "density": "kg_m3",
        "viscosity": "pa_s", "sound_speed": "m_s", "specific_volume": "m3_kg", "specific_volume_90": "m3_kg",
        "saturation_pressure": "pa", "density_90": "kg_m3", "superimposed_min": "pa", "superimposed_max": "pa",
        "built_up": "pa",
    },
    "line": {"diameter": "m", "length": "m", "height": "m", "roughness": "m"},
    "vessel": {
        "mawp": "pa", "volume": "m3", "operating_pressure": "pa", "operating_temperature": "k",
        "design_temperature": "k", "alarm_pressure": "pa", "trip_pressure": "pa",
    },
    "result": {
        "relieving_pressure": "pa", "required_area": "m2", "required_flow": "kg_s", "rated_flow": "kg_s",
        "full_flow": "kg_s", "built_up": "pa", "built_up_required": "pa", "body_floor": "pa", "back_pressure": "pa",
    },
    "stability": {
        "critical_length": "m", "inlet_length": "m", "wave_return": "s", "opening_time": "s", "wave_drop": "pa",
        "force_balance_used": "pa", "force_balance_allowed": "pa", "cycle_period": "s", "valve_frequency": "hz",
    },
    "fit": {
        "old_inlet_height": "m", "old_outlet_reach": "m", "new_inlet_height": "m", "new_outlet_reach": "m",
        "difference_inlet": "m", "difference_outlet": "m", "tolerance": "m", "spool_length": "m",
    },
    "chatter": {
        "critical_length": "m", "inlet_length": "m", "frequency": "hz", "seat_impacts": "per_s", "impact_energy": "j",
        "inlet_pressure_min": "pa", "inlet_pressure_max": "pa", "opening_time": "s", "cycle_period": "s", "stop_lift": "m",
    },
    "flange": dict.fromkeys(
        ("outside", "thickness", "raised_face", "raised_height", "bolt_circle", "bolt_size", "hole"), "m"
    ),
    "limits": {"longest_quiet_inlet": "m", "smallest_quiet_flow": "kg_s"},
}  # fmt: skip


def keyed(record: Any, kind: str, *, drop_none: bool = False) -> dict[str, Any]:
    """A flat record as a dict with units in its keys."""
    units = UNITS[kind]
    out: dict[str, Any] = {}
    for name in record.__dataclass_fields__:
        value = getattr(record, name)
        if value is None and drop_none:
            continue
        out[f"{name}_{units[name]}" if name in units else name] = value
    return out


def clean(value: Any) -> Any:
    """Plain data with floats at ten significant digits. Raises ValueError at NaN or infinity."""
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError("a number that is not finite has no place in a study")
        return float(f"{value:.10g}")
    if isinstance(value, str) or value is None or isinstance(value, (bool, int)):
        return value
    if isinstance(value, Mapping):
        return {str(key): clean(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [clean(item) for item in value]
    return clean(asdict(value))


def text(value: Any, indent: int | None = None) -> str:
    """Canonical JSON text: keys in the order they were made, which is fixed; UTF-8 as it is."""
    separators = (",", ":") if indent is None else None
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=indent, separators=separators)


def finding(found: Finding) -> dict[str, Any]:
    """One finding, contract keys first."""
    return {
        "code": found.code, "severity": found.severity, "value": found.value, "limit": found.limit,
        "margin": found.margin, "unit": found.unit, "step": found.step, "rule": found.rule, "outcome": found.outcome,
        "words": found.words, "case": found.case, "rests_on": list(found.rests_on), "confidence": found.confidence,
    }  # fmt: skip


def case_result(result: CaseResult) -> dict[str, Any]:
    """Sizing and hydraulics of one case."""
    return keyed(result, "result")


def rung(step: Rung) -> dict[str, Any]:
    """One pressure of the ladder."""
    return {"name": step.name, "pressure_pa": step.pressure, "rests_on": step.rests_on}


def stability(found: Stability) -> dict[str, Any]:
    """Closed-form stability."""
    return keyed(found, "stability")


_PARTS = ("flows", "traces", "limits", "sensitivities", "map", "assumptions", "interval", "drawn")
_TAIL, _GROUPS = 260, 100  # points kept of a thinned trace: its end, and four in each part before
_TRACE_DIGITS = 6  # more than a chart can show, and the motion itself is chaotic


def chatter(found: Chatter, *, thin: bool = False) -> dict[str, Any]:
    """Stability in time, contract names to the letter; a number that is not finite becomes null.

    thin: keep of each trace the crests and troughs and its end, enough for a picture (a study has hundreds).
    """
    flat = {key: _finite(value) for key, value in keyed(found, "chatter").items() if key not in _PARTS}
    grid = found.map
    return {
        **flat, "status": str(found.status), "interval": [_finite(end) for end in found.interval] if found.interval else None,
        "flows": [
            {
                "name": flow.name, "flow_kg_s": _finite(flow.flow), "chatter_probability": _finite(flow.chatter),
                "flutter_probability": _finite(flow.flutter), "cycling_probability": _finite(flow.cycling),
                "unproven_share": _finite(flow.unproven), "marched": flow.marched,
            }
            for flow in found.flows
        ],
        "traces": [_trace(line, thin) for line in found.traces],
        "limits": {key: value if key == "words" else _finite(value) for key, value in keyed(found.limits, "limits").items()},
        "sensitivities": [{"parameter": name, "share": _finite(share)} for name, share in found.sensitivities],
        "map": {
            "lengths_m": list(grid.lengths), "flows_kg_s": list(grid.flows),
            "probability": [[_finite(cell) for cell in row] for row in grid.probability],
            "length_m": _finite(grid.length), "flow_kg_s": _finite(grid.flow),
        } if grid else None,
        "drawn": list(found.drawn), "assumptions": [asdict(a) for a in found.assumptions],
    }  # fmt: skip


def _finite(value: Any) -> Any:
    """The value; None for a number that is none."""
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _trace(line: Trace, thin: bool) -> dict[str, Any]:
    """One trace up to the first number that is none: what a run that broke off did before."""
    columns: tuple[Sequence[float], ...] = (line.times, line.lift, line.inlet_pressure, line.vessel_pressure)
    if thin and len(line.times) > _TAIL + 4 * _GROUPS:
        kept = _crests(columns)
        columns = tuple([column[at] for at in kept] for column in columns)
    rows = list(zip(*columns))
    whole = next((at for at, row in enumerate(rows) if not all(map(math.isfinite, row))), len(rows))
    digits = [[float(f"{value:.{_TRACE_DIGITS}g}") for value in column[:whole]] for column in columns]
    names = ("t_s", "lift_m", "inlet_pressure_pa", "vessel_pressure_pa")
    return {"name": line.name, "flow_kg_s": _finite(line.flow), "verdict": line.verdict, **dict(zip(names, digits))}


def _crests(columns: Sequence[Sequence[float]]) -> list[int]:
    """Places of the highest and lowest lift and inlet pressure in each part of a trace, and all of its end."""
    count = len(columns[0])
    head = count - _TAIL
    kept = {0, *range(head, count)}
    for part in range(_GROUPS):
        inside = range(part * head // _GROUPS, (part + 1) * head // _GROUPS)
        for column in columns[1:3]:
            kept |= {min(inside, key=column.__getitem__), max(inside, key=column.__getitem__)}
    return sorted(kept)


def steps(lines: tuple[Step, ...]) -> list[dict[str, Any]]:
    """The steps of a sheet."""
    return [
        {
            "symbol": s.symbol, "name": s.name, "expression": s.expression, "substituted": s.substituted,
            "value": s.value, "unit": s.unit, "source": s.source, "group": s.group, **({"taken": dict(s.taken)} if s.taken else {}),
        }
        for s in lines
    ]  # fmt: skip


def spread(range_: Spread, digits: int = 2) -> dict[str, float]:
    """Low, mid, high; money and hours to the cent and the hundredth, which is more than they are worth."""
    return {"low": round(range_.low, digits), "mid": round(range_.mid, digits), "high": round(range_.high, digits)}


def cost(price: Cost) -> dict[str, Any]:
    """A price, part by part; the total is the sum of the parts before they are rounded."""
    return {
        **{part: spread(getattr(price, part)) for part in ("capital", "work", "upkeep", "leakage", "carbon", "other", "total")},
        "currency": price.currency, "leak_rate_kg_s": spread(price.leak_rate, 15), "leak_basis": price.leak_basis,
        "outage_hours": price.outage_hours, "crew_hours": price.crew_hours,
    }  # fmt: skip


def fit(found: Fit) -> dict[str, Any]:
    """Whether the new valve bolts in; with what its drawing shows where a new body goes in."""
    out = {**keyed(found, "fit"), "flanges": [asdict(flange) for flange in found.flanges], "sources": list(found.sources)}
    del out["drawing"]
    return out if found.drawing is None else {**out, "drawing": fit_drawing(found.drawing)}


def fit_drawing(drawn: FitDrawing) -> dict[str, Any]:
    """Both outlines of a fit, lengths to a hundredth of a millimetre; a flange like the old one is "same"."""
    old, new = drawn.old, drawn.new
    out: dict[str, Any] = {
        "old": {**_outline(old), "inlet": _flange(old.inlet), "outlet": _flange(old.outlet)},
        "new": {
            **_outline(new), "inlet": "same" if new.inlet == old.inlet else _flange(new.inlet),
            "outlet": "same" if new.outlet == old.outlet else _flange(new.outlet),
        },
    }  # fmt: skip
    return out if drawn.clearance is None else {**out, "clearance_m": list(drawn.clearance)}


def _outline(body: Outline) -> dict[str, Any]:
    """Kind and marks of a body; its lengths stand in the fit itself."""
    out: dict[str, Any] = {"kind": body.kind, "marks": list(body.marks)}
    return out if body.tolerance is None else {**out, "tolerance_m": round(body.tolerance, 5)}


def _flange(flange: FlangeOutline) -> dict[str, Any]:
    """What is known of a flange; what no table has is left out. The source is the flange standard for all."""
    named = keyed(flange, "flange", drop_none=True)
    del named["source"]
    return {key: round(value, 5) if isinstance(value, float) else value for key, value in named.items() if value != ""}


def remedy(option: Remedy) -> dict[str, Any]:
    """One remedy, contract keys first."""
    return {
        "name": option.name, "clears": option.clears, "cleared": list(option.cleared), "left": list(option.left),
        "created": list(option.created), "fit": fit(option.fit) if option.fit else None,
        "suitability": asdict(option.suitability) if option.suitability else None,
        "work": [
            {"item": w.item, "hours": spread(w.hours), "money": spread(w.money), "outage": w.outage, "source": w.source}
            for w in option.work
        ],
        "cost": cost(option.cost) if option.cost else None, "rejected_because": option.rejected_because,
        "title": option.title, "condition": option.condition, "question": option.question,
    }  # fmt: skip


def assessment(found: Assessment, *, with_steps: bool = True) -> dict[str, Any]:
    """An assessment as the `valve` command answers it."""
    out: dict[str, Any] = {
        "tag": found.tag, "verdict": found.verdict, "findings": [finding(f) for f in found.findings],
        "cases": [case_result(c) for c in found.cases], "ladder": [rung(r) for r in found.ladder],
        "stability": stability(found.stability), "chatter": chatter(found.chatter, thin=True) if found.chatter else None,
        "cause": found.cause,
        "cause_code": found.cause_code, "evidence": list(found.evidence), "reasons": list(found.reasons),
        "passed": [finding(f) for f in found.passed], "flags": list(found.flags), "status": str(found.status),
        "problems": [p.as_dict() for p in found.problems],
        "assumptions": [asdict(a) for a in found.assumptions],
    }  # fmt: skip
    if with_steps:
        out["steps"] = steps(found.steps)
    return out


def location(place: Location) -> dict[str, Any]:
    """What stands at one place, SI, without None; and where each value comes from."""
    return {
        "valve": keyed(place.valve, "valve", drop_none=True),
        "vessel": keyed(place.vessel, "vessel", drop_none=True),
        "service": {name: getattr(place.service, name) for name in place.service.__dataclass_fields__
                    if getattr(place.service, name) is not None},
        "case_inputs": [keyed(case, "case", drop_none=True) for case in place.cases],
        "inlet": _line(place.inlet), "outlet": _line(place.outlet),
        "history": {
            "condition": place.history.condition, "events": [asdict(e) for e in place.history.events],
            "last_clean_survey": place.history.last_clean_survey, "measured_rate_kg_s": place.history.measured_rate,
        },
        "remarks": list(place.remarks),
    }  # fmt: skip


def _line(line: Any) -> dict[str, Any]:
    out = keyed(line, "line", drop_none=True)
    out["fittings"] = [asdict(f) for f in line.fittings]
    out["segments"] = [asdict(s) for s in line.segments]
    return out
