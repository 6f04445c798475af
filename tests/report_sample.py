"""A small invented study in the exact shape of study.json, with text that tries to break a printer."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import chatter_sample

from quietseat import basis as basis_module
from quietseat import plain
from quietseat.model import Chatter
from quietseat.status import Status

FORMULA_TEXT = '=HYPERLINK("http://attacker.invalid/x","open me")'
TYPST_TEXT = '#strong[x] $a$ @label *bold* _em_ \\ "quoted"'
SCRIPT_TEXT = "<script>alert('x')</script> & </table>"
UNICODE_TEXT = "Überdruck bei 20 °C, Ø 75 µm, naïve – ½ × ≤ Ω Привет"
LONG_TEXT = "Seat lapped twice, pops and slams, operator reports hammering at start-up. " * 30
ODD_TAG = "PSV-2<b>&'\"#A"


class Record:
    """Stand-in for study.Record."""

    def __init__(self, valve: dict[str, Any], summary: dict[str, Any]) -> None:
        self.tag = str(valve["tag"])
        self.verdict = str(valve["verdict"])
        self.summary = summary
        self._valve = valve

    def full(self) -> dict[str, Any]:
        return self._valve


class Study:
    """Stand-in for study.Study."""

    def __init__(self, head: dict[str, Any], records: list[Record]) -> None:
        self.head = head
        self.records = records

    def ranked(self) -> list[Record]:
        return sorted(self.records, key=lambda record: int(record.summary["rank"]))

    def write_json(self, path: Path) -> None:
        raise NotImplementedError


def _spread(low: float, mid: float, high: float) -> dict[str, float]:
    return {"low": low, "mid": mid, "high": high}


def _cost(mid: float, outage: float) -> dict[str, Any]:
    none = _spread(0.0, 0.0, 0.0)
    return {
        "capital": _spread(mid * 0.4, mid * 0.5, mid * 0.8), "work": _spread(mid * 0.2, mid * 0.3, mid * 0.6),
        "upkeep": _spread(mid * 0.1, mid * 0.2, mid * 0.3), "leakage": none, "carbon": none,
        "total": _spread(mid * 0.7, mid, mid * 1.7), "currency": "USD", "leak_basis": "history",
        "leak_rate_kg_s": _spread(1e-7, 2e-7, 5e-7), "outage_hours": outage, "crew_hours": 24.0,
    }  # fmt: skip


def _fit(kind: str) -> dict[str, Any] | None:
    if kind == "same":
        return {
            "verdict": "same body", "words": "The body stays.", "flanges": [], "old_inlet_height_m": 0.178,
            "old_outlet_reach_m": 0.184, "new_inlet_height_m": 0.178, "new_outlet_reach_m": 0.184,
            "difference_inlet_m": 0.0, "difference_outlet_m": 0.0, "tolerance_m": 0.0015, "spool_length_m": None,
            "confidence": "memory-md", "sources": ["API 526"],
        }  # fmt: skip
    return {
        "verdict": "spool", "words": "The outlet is 26 mm longer: an outlet spool, cut and welded. Measure before ordering.",
        "flanges": [
            {"end": "inlet", "old": "NPS 4 class 300 raised face", "new": "NPS 4 class 300 raised face",
             "matches": True, "words": "same drilling"},
            {"end": "outlet", "old": "NPS 6 class 150 raised face", "new": "NPS 6 class 150 raised face",
             "matches": True, "words": "same drilling"},
        ],
        "old_inlet_height_m": 0.178, "old_outlet_reach_m": 0.184, "new_inlet_height_m": 0.197,
        "new_outlet_reach_m": 0.210, "difference_inlet_m": 0.019, "difference_outlet_m": 0.026,
        "tolerance_m": 0.0015, "spool_length_m": 0.35, "confidence": "memory-md", "sources": ["API 526"],
    }  # fmt: skip


def _remedies() -> list[dict[str, Any]]:
    work = [
        {"item": "Change the valve", "hours": _spread(4, 8, 16), "money": _spread(200, 400, 900), "outage": True,
         "source": "common practice, no source"},
        {"item": "Cut and weld the outlet, radiograph, test", "hours": _spread(40, 80, 160),
         "money": _spread(4e3, 9e3, 2e4), "outage": True, "source": "estimate"},
    ]
    base = {
        "cleared": ["oversized", "chatter"], "left": [], "created": [], "question": "", "rejected_because": "",
        "suitability": {"verdict": "suitable", "reasons": ["clean gas"], "conditions": []}, "work": work,
    }
    return [
        {**base, "name": "pilot-modulating-remote", "title": "Modulating pilot valve, remote sense, non-bleeding",
         "clears": "subject-to-proof", "condition": "Maker's certificate of stable modulation at 20 % of rated flow.",
         "fit": _fit("spool"), "cost": _cost(41000.0, 30.0), "question": "Can the gauge tapping be used for the sense line?",
         "life_cycle": {key: money()[key] for key in ("npv", "probability_pays", "break_even_leak_kg_s", "break_even_operating_gain")}},
        {**base, "name": "smaller-orifice", "title": "Smaller orifice: 4L6 in place of 4P6", "clears": "yes", "condition": "",
         "fit": _fit("same"), "cost": _cost(43500.0, 8.0), "rejected_because": "Clears everything, costs more."},
        {**base, "name": "soft-seat", "title": "Soft seat", "clears": "no", "condition": "", "cleared": [],
         "left": ["oversized", "chatter"], "fit": _fit("same"), "cost": _cost(3000.0, 6.0),
         "rejected_because": "Leaves oversized and chatter."},
        {**base, "name": "pilot-snap-integral", "title": "Snap pilot valve, integral sense", "clears": "no", "condition": "",
         "left": [], "created": ["cycling"], "fit": _fit("spool"), "cost": None,
         "suitability": {"verdict": "veto", "reasons": [f"fouling service: {SCRIPT_TEXT}"], "conditions": ["strainer"]},
         "rejected_because": "Fouling service: a pilot plugs before a spring valve does."},
    ]  # fmt: skip


def _steps(repeat: int) -> list[dict[str, Any]]:
    size, pipe = "sizing: blocked outlet", "inlet line"
    rows: list[tuple[str, str, str, str, float | None, str, str, str]] = [
        ("P1", "Relieving pressure", "acc * (p_mawp - p_atm) + p_atm", "1.1 * (1601325 - 101325) + 101325", 1751325.0,
         "Pa(a)", "API 520-1 10E 5.4", size),
        ("regime", "Flow regime", "", "critical: 0.06 < 0.54", None, "", "API 520-1 10E 5.6", size),
        ("C", "Coefficient of the specific heat ratio", "0.03948 * sqrt(k * (2 / (k + 1)) ** ((k + 1) / (k - 1)))",
         "0.03948 * sqrt(1.3 * (2 / (1.3 + 1)) ** ((1.3 + 1) / (1.3 - 1)))", 0.0263, "", "API 520-1 10E eq. 8", size),
        ("A", "Required effective area", "w / (c * kd * p1 * kb * kc) * sqrt(t * z / m)",
         "2.1 / (0.0263 * 0.975 * 1751325 * 1 * 1) * sqrt(348 * 0.9 / 0.051)", 0.00123456, "m**2",
         "API 520-1 10E eq. 3", size),
        ("K_gate", "Gate valve, full bore, assumed", "", "", 0.15, "", "common practice, no source", pipe),
        ("K_elbow", "Elbow 90 degrees, long radius, measured on the isometric", "", "", 0.3, "", "Crane 410", pipe),
        ("dp", "Inlet loss at rated flow", "k_total * rho * u ** 2 / 2", "1.92 * 14.2 * 33.1 ** 2 / 2", 14934.9, "Pa",
         "definition of K", pipe),
        ("x", UNICODE_TEXT, "exp(-omega_s * (1.23e-05)) + log(eta)", "exp(-(1.5) * (1.23e-05)) + log(0.8)", 0.77684, "",
         TYPST_TEXT, "odd text"),
    ]  # fmt: skip
    keys = ("symbol", "name", "expression", "substituted", "value", "unit", "source", "group")
    return [dict(zip(keys, row, strict=True)) for row in rows for _ in range(repeat)]


def chatter(index: int) -> dict[str, Any] | None:
    """Stability in time: the first valve was marched, the second broke off, the others were not marched."""
    if index == 0:
        return plain.clean({**plain.chatter(chatter_sample.found(), thin=True), "stop_lift_m": 12.5e-3})  # type: ignore[no-any-return]
    if index == 1:
        return plain.clean(plain.chatter(Chatter(Status.NOT_CONVERGED, f"the run diverged {SCRIPT_TEXT}")))  # type: ignore[no-any-return]
    return None


def _task(title: str, weights: list[float], *inputs: tuple[str, float, str], hours: float | None = None) -> dict[str, Any]:
    return {
        "title": title, "source": SCRIPT_TEXT, "hours": hours, "weights": weights,
        "inputs": [{"name": name, "low": 0.5 * mid, "mid": mid, "high": 2 * mid, "unit": unit, "distribution": "triangular", "group": ""}
                   for name, mid, unit in inputs],
    }  # fmt: skip


def _part(name: str, worth: float, *tasks: dict[str, Any], why: str = "") -> dict[str, Any]:
    return {"name": name, "title": f"{name} in words", "yearly": [0.0] * 4, "source": TYPST_TEXT, "why_nothing": why, "tasks": list(tasks),
            "present_value": {"low": worth, "mid": worth, "high": worth, "mean": worth, "p10": worth, "p50": worth, "p90": worth}}  # fmt: skip


def money() -> dict[str, Any]:
    """Three years at 10 %: 1 a year is worth 2.4868520, 1 at the end of the third 0.7513148. 95 is the price of a crew hour."""
    hour = ("price of an hour over the rate", 1.0, "factor")
    npv = {"mid": -679.60, "mean": -700.0, "p10": -900.0, "p50": -690.0, "p90": 55.0}
    return {
        "remedy": "pilot-modulating-remote", "title": FORMULA_TEXT, "currency": "USD", "cost_year": 2025, "horizon_years": 3.0,
        "discount_rate": 0.1, "inflation": 0.0, "years": [0, 1, 2, 3], "yearly": [1950.0, 0.0, 0.0, -400.0],
        "keep_yearly": [0.0, 390.0, 390.0, 390.0],
        "parts": [
            _part("capital", 1000.0, _task("new valve", [1.0, 0.0, 0.0, 0.0], ("capital", 1000.0, "USD"))),
            _part("fit-work", 950.0, _task(FORMULA_TEXT, [95.0, 0.0, 0.0, 0.0], (FORMULA_TEXT, 10.0, "h"), hour, hours=10.0)),
            _part("outage", 0.0, why="not computed: hours unknown"), _part("upkeep", 0.0), _part("product", 0.0),
            _part("residual", -300.53, _task("share left", [0.0, 0.0, 0.0, -0.8], ("capital", 1000.0, "USD"), ("share", 0.5, "share"))),
        ],
        "keep_parts": [
            _part("capital", 0.0, why="the valve stays"), _part("outage", 0.0),
            _part("upkeep", 945.0, _task("service", [0.0, 95.0, 95.0, 95.0], ("hours: service", 4.0, "h"), hour, hours=4.0)),
            _part("product", 24.87, _task("leak", [0.0, 1e7, 1e7, 1e7], ("leak rate", 1e-6, "kg/s"))),
        ],
        "total": {"low": 900.0, "mid": 1649.47, "high": 3000.0, "mean": 1700.0, "p10": 1200.0, "p50": 1660.0, "p90": 2222.0},
        "keep_total": {"low": 500.0, "mid": 969.87, "high": 2000.0, "mean": 1000.0, "p10": 700.0, "p50": 980.0, "p90": 1333.0},
        "npv": npv, "probability_pays": 0.12, "break_even_leak_kg_s": 1e-3, "break_even_leak_words": "pays where it leaks more than this",
        "break_even_operating_gain": 273.0, "break_even_operating_gain_pa": 2e4, "break_even_operating_gain_words": "has to be worth this",
        "tornado": [{"input": f"{SCRIPT_TEXT} {at}", "unit": "USD", "low_input": 0.5, "high_input": 2e4, "npv_low": -100.0 - at, "npv_high": 50.0,
                     "swing": 150.0 + at} for at in range(7)],
        "draws": 10000, "seed": 20261125, "notes": [LONG_TEXT],
    }  # fmt: skip


def leakage() -> dict[str, Any]:
    """Seven bases; one has no figure, one applies."""
    names = ("in-spec", "average", "screening", "leaker", "population", "measured", "gap")
    rows = [{"basis": name, "source": SCRIPT_TEXT, "year": 2016, "low_kg_s": 1e-6 * at, "mid_kg_s": 2e-6 * at, "high_kg_s": 4e-6 * at,
             "applies": name == "population", "why": UNICODE_TEXT, "confidence": "memory-md"} for at, name in enumerate(names)]  # fmt: skip
    rows[5] |= {"low_kg_s": None, "mid_kg_s": None, "high_kg_s": None, "year": None, "source": None, "confidence": None, "why": "not measured"}
    return {
        "bases": rows, "basis": "population", "route": "atmosphere", "route_words": "leaks to atmosphere: fugitive",
        "product_kg_a": _spread(126.0, 252.0, 504.0), "co2e_kg_a": {**_spread(0.0, 7510.0, 9000.0), "basis": "population"},
        "co2e_parts_kg_a": _spread(0.0, 1.0, 2.0), "parts": [{"name": "simmer", "words": TYPST_TEXT}],
    }  # fmt: skip


MARCHING = {
    "choice": "doubtful", "valves": 3, "valves_marched": 2, "valves_left": [ODD_TAG], "cases": 1600, "cases_marched": 148,
    "samples": 200, "seed": 20261125, "words": "Marched in time: the valves closed form leaves in doubt.",
    "marched": [
        {"tag": "PSV-0001", "why": f"the inlet line is too close to call {SCRIPT_TEXT}", "verdict": "chatters", "cases": 800, "cases_marched": 148},
        {"tag": FORMULA_TEXT, "why": LONG_TEXT, "verdict": "unproven", "cases": 800, "cases_marched": 0},
    ],
}  # fmt: skip
PREDICTIONS = {
    "found": {"unstable": 7, "quiet": 2, "unproven": 3}, "not_found": {"unstable": 4, "quiet": 31, "unproven": 9},
    "hit_rate": 7 / 9, "hit_interval": [0.4, 0.97], "false_alarm_rate": 4 / 35, "false_alarm_interval": [0.03, 0.27],
    "words": f"Of 56 valves with a shop record, 12 show damage. {SCRIPT_TEXT}",
}  # fmt: skip


def _valve(index: int, repeat: int) -> tuple[dict[str, Any], dict[str, Any]]:
    kinds = ("misfit", "unproven", "watch", "sound")
    verdict = kinds[index % 4] if index > 2 else kinds[index]
    tag = (f"PSV-{index + 1:04d}", ODD_TAG, FORMULA_TEXT)[index] if index < 3 else f"PSV-{index + 1:04d}"
    cause = ("Oversized for the flow it really sees; it hammers its seat and then leaks.", UNICODE_TEXT, TYPST_TEXT)[index % 3]
    set_pressure = 1601325.0
    findings = [
        {"code": "inlet-loss", "severity": "stop", "outcome": "fail", "value": 0.064, "limit": 0.03, "margin": -1.1333,
         "unit": "fraction", "step": "dp", "rule": "inlet loss at rated flow against 3 % of set",
         "words": "The inlet line loses 6.4 % of set pressure at rated flow.", "case": "blocked outlet",
         "rests_on": ["inlet.fittings"], "confidence": "memory-hi"},
        {"code": "close-to-set", "severity": "note", "outcome": "open", "value": 0.9, "limit": 0.9, "margin": 0.0,
         "unit": "fraction", "step": "", "rule": "operating over set", "words": SCRIPT_TEXT, "case": "",
         "rests_on": ["vessel.operating_pressure"], "confidence": "memory-md"},
        {"code": "set-above-mawp", "severity": "note", "outcome": "thin", "value": set_pressure, "limit": 1601325.0,
         "margin": 0.0, "unit": "Pa(a)", "step": "", "rule": "set at or below MAWP", "words": "Set equals MAWP.", "case": "",
         "rests_on": [], "confidence": "seen"},
    ]  # fmt: skip
    case = {
        "name": "blocked outlet", "status": "ok", "reason": "", "method": "gas", "regime": "critical",
        "required_area_m2": 0.00123456, "rated_flow_kg_s": 10.2, "full_flow_kg_s": 11.33, "required_flow_kg_s": 2.1,
        "utilisation": 0.2059, "inlet_loss_rated": 0.064, "inlet_loss_required": 0.0027, "built_up_pa": 95000.0,
        "built_up_required_pa": 5000.0, "back_pressure_pa": 226325.0, "relieving_pressure_pa": 1751325.0,
        "outlet_mach": 0.41, "body_floor_pa": 180000.0, "orifice": "L", "valves_needed": 1,
    }  # fmt: skip
    open_case = {**dict.fromkeys(case), "name": LONG_TEXT[:80], "status": "not-computed", "method": "two-phase",
                 "reason": "omega cannot be formed: specific volume at 90 % unknown", "regime": ""}  # fmt: skip
    recommended, best = ("pilot-modulating-remote", "smaller-orifice") if verdict != "sound" else (None, None)
    valve: dict[str, Any] = {
        "tag": tag, "alias": ["20-PSV-1A"], "unit": "Unit 20" if index else SCRIPT_TEXT, "sheet": "Valves", "row": index + 7,
        "verdict": verdict, "cause": cause, "cause_code": "oversized", "status": "ok",
        "evidence": ["Required flow is 21 % of rated flow.", LONG_TEXT, TYPST_TEXT],
        "reasons": ["misfit: inlet loss above its limit", "unproven: operating pressure rests on a default"],
        "valve": {"kind": "conventional", "designation": "4P6", "inlet_size": 4.0, "orifice": "P", "outlet_size": 6.0,
                  "inlet_class": 300, "outlet_class": 150, "facing": "raised", "set_pressure_pa": set_pressure, "seat": "metal",
                  "blowdown": 0.07},
        "vessel": {"name": "V-2001", "mawp_pa": 1601325.0, "operating_pressure_pa": 1451325.0},
        "service": {"fouling": None, "sour": True},
        "inputs": [
            {"field": "valve.set_pressure", "value": set_pressure, "unit": "Pa(a)", "text": "15", "from": "Valves!F7",
             "how": "read", "rule": "unit from the heading", "source": "register"},
            {"field": "cases.0.rate_basis", "value": "nameplate", "unit": "", "text": "nameplate", "from": "Valves!Q7",
             "how": "read", "rule": "", "source": "register"},
            {"field": "valve.blowdown", "value": 0.07, "unit": "fraction", "text": "", "from": "basis", "how": "default",
             "rule": "default_blowdown", "source": "common practice, no source"},
            {"field": "valve.serial", "value": FORMULA_TEXT, "unit": "", "text": FORMULA_TEXT, "from": "Valves!B7",
             "how": "read", "rule": "", "source": "register"},
        ],
        "findings": findings, "cases": [case, open_case],
        "ladder": [
            {"name": "relieving pressure P1", "pressure_pa": 1751325.0, "rests_on": "calculated"},
            {"name": "MAWP", "pressure_pa": 1601325.0, "rests_on": "read"},
            {"name": "set", "pressure_pa": 1601325.0, "rests_on": "read"},
            {"name": "simmer", "pressure_pa": 1571325.0, "rests_on": "default: simmer"},
            {"name": "reseat", "pressure_pa": 1496325.0, "rests_on": "default: blowdown"},
            {"name": "operating maximum", "pressure_pa": 1451325.0, "rests_on": "default: 90 % of set"},
        ],
        "stability": {
            "status": "ok", "verdict": "chatters", "words": "The inlet is 2.1 times the critical length: expect chatter.",
            "critical_length_m": 1.9, "inlet_length_m": 4.0, "wave_return_s": 0.021, "opening_time_s": 0.011,
            "wave_drop_pa": 190000.0, "force_balance_used_pa": 250000.0, "force_balance_allowed_pa": 105000.0,
            "cycle_period_s": 0.4, "valve_frequency_hz": 32.0,
        },
        "chatter": chatter(index), "leakage": None if index == 1 else leakage(), "money": None if index % 2 else money(),
        "steps": _steps(repeat),
        "assumptions": [{"field": "valve.blowdown", "value": "7 %", "rule": "default_blowdown", "source": "common practice, no source"}],
        "problems": [{"file": "plant.xlsx", "sheet": "Valves", "row": index + 7, "column": "K", "field": "inlet.length",
                      "value": "see iso", "rule": "is not a length", "mend": "Write a length such as '2.5 m'."}],
        "remedies": _remedies() if verdict != "sound" else [], "recommended": recommended, "best_yes": best,
        "rank": index + 1, "in_plan": index == 0, "plan_reason": "severity stop, first by value" if index == 0 else "budget spent",
    }  # fmt: skip
    summary = {
        "tag": tag, "unit": valve["unit"], "sheet": "Valves", "row": index + 7, "kind": "conventional", "designation": "4P6",
        "fluid": UNICODE_TEXT if index == 1 else "propane", "set_pressure_pa": set_pressure,
        "operating_ratio": 0.8 + 0.03 * (index % 6), "verdict": verdict, "cause": cause, "cause_code": "oversized",
        "codes": ["inlet-loss", "oversized"], "severity": "stop", "utilisation": 0.2 + 0.37 * (index % 7) / 4,
        "inlet_loss_rated": 0.005 + 0.011 * (index % 9), "inlet_loss_required": 0.0027, "built_up_ratio": 0.063,
        "recommended": recommended, "recommended_title": "Modulating pilot valve, remote sense, non-bleeding",
        "clears": "subject-to-proof", "condition": "Maker's certificate of stable modulation.", "best_yes": best,
        "best_yes_title": "Smaller orifice: 4L6 in place of 4P6", "fit_verdict": "spool", "cost_low": 28700.0,
        "cost_mid": 41000.0, "cost_high": 69700.0, "crew_hours": 24.0, "rank": index + 1, "score": 100.0 - index,
        "in_plan": index == 0, "plan_reason": valve["plan_reason"], "defaults": 2, "reasons": valve["reasons"],
    }  # fmt: skip
    if verdict == "sound":
        for key in ("recommended_title", "clears", "condition", "best_yes_title", "fit_verdict", "cost_low", "cost_mid",
                    "cost_high"):  # fmt: skip
            summary[key] = None
    return valve, summary


def plan(chosen: list[str], left: list[str], windows: bool = False) -> dict[str, Any]:
    """A plan in the shape of `quietseat.planning.answer`: the first valve has a stop finding, the last left out one too."""
    name = f"turnaround {SCRIPT_TEXT}" if windows else "the outage"
    start, order = ("2027-05-10", "2026-12-07") if windows else (None, None)
    done = [
        {"tag": tag, "remedy": "pilot-modulating-remote", "title": "Modulating pilot valve, remote sense", "window": name, "start": start,
         "delay_years": 0.0, "why": "mandatory: cures 1 stop finding (chatter) for 41 k USD, and costs 40 k USD more than it saves; subject to proof",
         "clears": "subject-to-proof", "condition": f"the maker's certificate; {TYPST_TEXT}", "severity": "stop", "codes": ["chatter"],
         "cost": _spread(28700.0, 41000.0, 69700.0), "hours": 24.0, "outage_hours": 20.0, "other_hours": 4.0, "value": -40000.0,
         "saved": 1000.0, "lead_time_weeks": 22.0, "order_by": order}
        for tag in chosen
    ]  # fmt: skip
    out = [
        {"tag": tag, "remedy": "soft-seat", "window": name, "severity": "stop" if tag == left[-1] else "act", "cost": _spread(2100.0, 3000.0, 5100.0),
         "less": 900.0, "reason": f"budget: spent on others {FORMULA_TEXT}", "counterfactual": "in at 900 USD less (Soft seat, now 3 k USD)",
         "counterfactual_how": "solved again with it forced in", "value": -2000.0}
        for tag in left
    ]  # fmt: skip
    out.append({"tag": "PSV-WAITS", "remedy": None, "window": None, "severity": "note", "cost": None, "less": None,
                "reason": f"Measure first: {SCRIPT_TEXT}", "counterfactual": "in once a remedy clears every finding"})  # fmt: skip
    measure = {"code": "chatter", "measure": "inspect the seat after every lift", "source": "trade practice"}
    mind = "An owner's written risk assessment comes first."
    meanwhile = [{"tag": tag, "codes": ["chatter"], "until": "not in this plan", "refused_by": "budget: too little", "words": mind, "funded": False,
                  "measures": [measure, {**measure, "code": "stuck", "measure": TYPST_TEXT}]} for tag in left[-1:]]  # fmt: skip
    meanwhile += [{"tag": tag, "codes": ["chatter"], "until": name, "refused_by": "", "words": mind, "funded": True, "measures": [measure]}
                  for tag in chosen]  # fmt: skip
    count, budget = len(chosen), 250000.0
    return {
        "status": "ok", "currency": "USD", "budget": budget, "value": -40000.0 * count, "bound": -40000.0 * count, "gap": 0.0,
        "words": f"{count} valves chosen, net value -{40 * count} k USD, budget 250 k USD.", "chosen": done, "left_out": out,
        "windows": [{"name": name, "start": start, "delay_years": 0.0, "outage_days": 12.0, "crew_hours": 240.0, "crew_hours_outside": None,
                     "hours_per_day": 10.0, "budget": budget, "count": count, "spent": 41000.0 * count, "outage_hours_used": 20.0 * count,
                     "other_hours_used": 4.0 * count}],
        "totals": {"spent": 41000.0 * count, "spent_low": 28700.0 * count, "spent_high": 69700.0 * count, "hours": 24.0 * count, "count": count,
                   "stop_findings_cured": count, "stop_findings_left": len(left[-1:])},
        "stop_findings_need": {"spend": 44000.0, "words": "curing every stop finding needs 44 k USD at least"},
        "curve": [{"budget": 25000.0 * step, "value": -4000.0 * step, "spent": 20500.0 * step, "stop_findings_cured": min(step, 7) / 2,
                   "count": step / 2} for step in range(21)],
        "curve_words": "each point an integer plan",
        "stability": [{"tag": tag, "share": max(0.0, 1.0 - 0.2 * at), "in_plan": True, "remedy": "pilot-modulating-remote",
                       "remedy_share": max(0.0, 0.9 - 0.2 * at)}
                      for at, tag in enumerate(chosen)]
        + [{"tag": tag, "share": 0.55, "in_plan": False, "remedy": None, "remedy_share": None} for tag in left],
        "stability_words": "200 seeded draws of cost and value", "interim": meanwhile, "method": "integer programme, stop findings first",
        "assumptions": [{"field": "lead time", "value": "weeks", "rule": "no order has been quoted", "source": "estimate"}], "problems": [],
    }  # fmt: skip


def questions(tags: list[str], count: int = 25) -> dict[str, Any]:
    """Questions in the shape of `quietseat.questions.of_fleet`: a contradiction, so many that are worth something, one worth nothing."""
    asked = [
        {"tag": tags[at % len(tags)], "field": "vessel.volume", "title": f"volume, question {at}", "who": "process engineer", "hours": 0.5,
         "value": value, "reason": f"at 1.2 m3: pilot; without knowing: leave it {SCRIPT_TEXT}", "now": "not known", "unit": "m3",
         "sheet": "Valves", "row": 7, "source": "range and hours: estimate", "where": "the vessel's data book", "form_field": "volume",
         "per_hour": None if value is None else value / 0.5, "net_value": None if value is None else value - 47.5}
        for at, value in enumerate((None, *(12000.0 - 400.0 * at for at in range(count)), 0.0))
    ]  # fmt: skip
    return {
        "currency": "USD", "rule": "three equally likely answers", "questions": asked, "valves": [{"tag": tags[0], "value_of_all": 9000.0}],
        "visits": [{"who": "process engineer", "where": "the vessel's data book", "count": len(asked), "hours": 0.5 * len(asked),
                    "value": sum(one["value"] or 0.0 for one in asked), "tags": [f"{tag}-{at}" for at in range(6) for tag in tags]}],
        "valves_asked": 3, "valves_found": 9, "notes": ["asked of the worst 3 of 9 valves"],
        "assumptions": [{"field": "late_cure_factor", "value": "2", "rule": "price of a late cure", "source": "estimate"}],
    }  # fmt: skip


def study(count: int = 3, repeat: int = 1, **changed: Any) -> Study:
    """An invented study of so many valves."""
    basis = basis_module.make({"title": f"Relief valves of Hollin Bay {SCRIPT_TEXT}", **changed})
    pairs = [_valve(index, repeat) for index in range(count)]
    problems = [copy.copy(valve["problems"][0]) for valve, _ in pairs]
    problems.append({"file": "plant.xlsx", "sheet": "=cmd()", "row": None, "column": "@x", "field": None, "value": FORMULA_TEXT,
                     "rule": "-1 is not a size", "mend": None})  # fmt: skip
    counts = {word: sum(valve["verdict"] == word for valve, _ in pairs) for word in ("sound", "watch", "misfit", "unproven")}
    tags = [str(valve["tag"]) for valve, _ in pairs]
    head = {
        "schema": "quietseat-study/1", "version": "0.1.0", "hash": "9f" * 32, "title": basis.title,
        "basis": {"choices": basis.rows(), "changed": dict(basis.changed())},
        "register": {
            "file": f"{SCRIPT_TEXT}.xlsx", "rows_found": count + 2, "rows_read": count - 1, "rows_partial": 2, "rows_refused": 1,
            "valves_found": count,
            "columns": [{"sheet": "Valves", "heading": FORMULA_TEXT, "field": "valve.set_pressure", "unit": "barg", "how": "alias"}],
            "sheets": ["Valves"], "mends": [{"sheet": "Valves", "row": 9, "field": "valve.blowdown", "value": "5 %",
                                             "who": "R. Oake", "when": "2026-10-01", "why": "bench sheet"}],
            "rows": [{"sheet": "Valves", "row": 8, "state": "partial", "tags": [ODD_TAG], "reason": "inlet length: 'see iso'"},
                     {"sheet": "Valves", "row": 99, "state": "refused", "tags": [], "reason": LONG_TEXT}],
        },
        "plan": plan(tags[:5], tags[5:]), "questions": questions(tags[:3]),
        "problems": problems,
        "assumptions": [{"field": "valve.blowdown", "value": "7 %", "rule": "default_blowdown", "source": "common practice, no source",
                         "count": count, "tags": [valve["tag"] for valve, _ in pairs[:5]]}],
        "sources": [{"id": "api-520-1", "title": "Sizing, Selection, and Installation of Pressure-relieving Devices, Part I",
                     "short": "API 520-1", "edition": "10E", "year": 2020, "kind": "standard",
                     "read": "memory", "note": "sizing"}],
        "cautions": ["This study supports, and never replaces, a competent engineer and the owner's relief basis.",
                     "Sound means: passed the checks listed here."],
        "counts": counts, "predictions": PREDICTIONS, "marching": MARCHING,
        "causes": [{"code": "oversized", "words": "Oversized for the flow it really sees", "count": count},
                   {"code": "inlet-loss", "words": TYPST_TEXT, "count": 1}],
        "hand_checks": [{"method": "gas, critical", "tag": pairs[0][0]["tag"],
                         "line": "A = w / (c * kd * p1 * kb * kc) * sqrt(t * z / m) = 0.00123456 m**2"}],
    }  # fmt: skip
    return Study(head, [Record(valve, summary) for valve, summary in pairs])
