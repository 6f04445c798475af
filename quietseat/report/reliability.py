"""How reliable a valve is: the words, the picture of risk against interval and the tables of its section."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import plot
from quietseat.report.document import Block, Bullets, Column, Figure, Fold, Prose, TableBlock
from quietseat.report.words import DASH, MARKS, Shown, is_number, percent, plain

FAILS = {"open": "does not open on demand", "leak": "leaks"}
CHANCE = {"open": "not to open on demand", "leak": "to leak"}
VERDICTS = {"worse": "less reliable", "better": "more reliable", "alike": "alike"}


def section(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """The reliability of one valve; nothing where the study has none."""
    found = valve.get("reliability")
    if not found:
        return
    yield Prose("How reliable it is", "label")
    if found.get("status") != "ok":
        yield Prose(f"Not computed: {plain(found.get('reason') or found.get('status'))}.")
        return
    yield Prose(sentence(found))
    yield Prose(against(found))
    picture = risk(str(valve["tag"]), found)
    if picture:
        yield picture
    blocks: list[Block] = [_lives(found), _compared(found), _curve(found, shown)]
    said = [f"{FAILS[mode['mode']].capitalize()}: {mode['words']}." for mode in found["modes"]]
    blocks.append(Bullets((*said, *(f"{words[:1].upper()}{words[1:]}." for words in _advice(found)))))
    yield Fold("Reliability: lives, history, interval, other kinds", tuple(blocks))


# -- words -----------------------------------------------------------------------------------------------------


def sentence(found: Mapping[str, Any]) -> str:
    """Kind, service, both probabilities at the interval, and the interval that keeps the target."""
    chances = " and ".join(f"{percent(mode['probability'])} {CHANCE[mode['mode']]}" for mode in found["modes"])
    whose = "the interval in the register" if found["interval_from"] == "register" else "the interval of the Basis"
    said = [
        f"{str(found['kind']).capitalize()} valve, {found['why']}: {chances} within {_years(found['interval_years'])}, {whose}."
    ]
    seen = [mode for mode in found["modes"] if mode["looks"]]
    if not seen:
        said.append(
            "Its history has no result that tells anything of this: the figures are those of the table and its modifiers."
        )
    for mode in seen:
        said.append(
            f"Its history ({mode['failures']} of {mode['looks']} look{'' if mode['looks'] == 1 else 's'} found that it {FAILS[mode['mode']]}; the table expects "
            f"{mode['expected']:.2g}) moves the probability {CHANCE[mode['mode']]} from {percent(mode['probability_before'])} to "
            f"{percent(mode['probability'])}."
        )
    advice = found["advice"]
    if advice["words"]:
        said.append(f"{str(advice['words'][0])[:1].upper()}{str(advice['words'][0])[1:]}.")
    said.append(f"Lives and modifiers: {MARKS.get(advice['confidence'], plain(advice['confidence']))}.")
    return " ".join(said)


def against(found: Mapping[str, Any]) -> str:
    """Where another kind is less reliable than the present valve; and where the recommended remedy is more reliable."""
    if not found["compared"]:
        return "No other kind of valve was compared."
    worse = [words for kind in found["compared"] if (words := _against(kind, "worse"))]
    better = [words for kind in found["compared"] if kind["recommended"] and (words := _against(kind, "better"))]
    same = [
        kind["name"]
        for kind in found["compared"]
        if kind["recommended"] and all(change["same_by_table"] for change in kind["changes"])
    ]
    said = [f"Less reliable than the present valve is {'; '.join(worse)}." if worse
            else "None of the kinds compared is less reliable than the present valve."]  # fmt: skip
    said += [f"More reliable is {'; '.join(better)}."] if better else []
    said += [f"By the table, {name} is as reliable as the present valve before its history." for name in same]
    return " ".join(said)


def _against(kind: Mapping[str, Any], verdict: str) -> str:
    """The failure modes of one kind with a verdict, in words; empty without one, or where only the history makes the difference."""
    said = []
    for change in kind["changes"]:
        if change["verdict"] != verdict or change["same_by_table"]:
            continue
        words = f"{percent(change['new'])} {CHANCE[change['mode']]}, against {percent(change['present'])}"
        if verdict == "worse" and is_number(change.get("same_risk_years")):
            words += f" (the same risk needs an overhaul every {_years(change['same_risk_years'])})"
        said.append(words)
    return f"{kind['name']}: {' and '.join(said)}" if said else ""


def _advice(found: Mapping[str, Any]) -> list[str]:
    advice = found["advice"]
    said = [str(words) for words in advice["words"]]
    if advice.get("why_no_cheapest"):
        said.append(f"no cheapest interval: {advice['why_no_cheapest']}")
    return said


def _years(value: Any) -> str:
    return (
        DASH
        if not is_number(value)
        else "1 year"
        if value == 1
        else f"{value:.2g} years"
        if value < 10
        else f"{value:.3g} years"
    )


def _range(low: Any, high: Any) -> str:
    return f"{low:.3g} to {high:.3g}" if is_number(low) and is_number(high) else DASH


# -- picture ---------------------------------------------------------------------------------------------------


def lines(found: Mapping[str, Any]) -> list[tuple[str, list[float]]]:
    """What the picture draws: both failures of the present valve, and not opening of the recommended kind and of a pilot."""
    curve = found["advice"]["curve"]
    out = [
        (f"present {found['kind']} valve: {FAILS[mode]}", [point[mode] for point in curve]) for mode in ("open", "leak")
    ]
    kinds: Sequence[Mapping[str, Any]] = found["compared"]
    chosen = next((kind for kind in kinds if kind["recommended"]), None)
    pilot = next((kind for kind in kinds if kind["kind"] == "pilot"), None)
    if chosen is not None:
        out.append((f"recommended remedy ({chosen['kind']}): {FAILS['open']}", list(chosen["curve"]["open"])))
    if pilot is not None and pilot is not chosen:
        out.append((f"a pilot: {FAILS['open']}", list(pilot["curve"]["open"])))
    return out


def risk(tag: str, found: Mapping[str, Any]) -> Figure | None:
    """The picture of risk against interval; None without a curve."""
    curve = found["advice"]["curve"]
    if len(curve) < 2:
        return None
    at = min(range(len(curve)), key=lambda i: abs(curve[i]["interval_years"] - found["interval_years"]))
    named = lines(found)
    drawn = [
        (what, [(point["interval_years"], 100 * value) for point, value in zip(curve, values, strict=True)])
        for what, values in named
    ]
    said = "; ".join(f"{what}: {percent(values[at])}, rising to {percent(values[-1])}" for what, values in named)
    near, last = _years(curve[at]["interval_years"]), _years(curve[-1]["interval_years"])
    keeps = found["advice"]["keeps_years"]
    return Figure(
        plot.curves(drawn, "overhaul interval, years", "probability at its end, %", 100 * found["advice"]["target"], found["interval_years"]),
        f"Risk of {tag} against its overhaul interval, at {near} and at {last}. {said}. The target of {percent(found['advice']['target'])} "
        f"not to open is kept up to {_years(keeps)}.",
        f"Probability of failure at the end of an overhaul interval. Upright: the present interval, {_years(found['interval_years'])}. Dashed across: "
        f"the target for not opening, {percent(found['advice']['target'])}. Other valves: by the table alone, without history.",
    )  # fmt: skip


# -- tables ----------------------------------------------------------------------------------------------------


def _lives(found: Mapping[str, Any]) -> TableBlock:
    """The Weibull numbers of both failures, before and after the history."""
    modes = found["modes"]
    columns = [_life(mode, found) for mode in modes]
    rows = tuple((title, *(column[title] for column in columns)) for title in columns[0])
    return TableBlock(
        "Weibull lives of the present valve",
        (Column("Figure", "wide"), *(Column(FAILS[mode["mode"]].capitalize()) for mode in modes)), rows,
        note=f"P = 1 − exp(−(t/η)^β), API RP 581. The table counts as {plain(modes[0]['weight'])} failures (Basis: reliability_weight); a look "
             "is a life between two visits whose result is on record.",
    )  # fmt: skip


def _life(mode: Mapping[str, Any], found: Mapping[str, Any]) -> dict[str, str]:
    """The numbers of one failure by the title of their row."""
    interval, money_interval = _years(found["interval_years"]), _years(found["money_interval_years"])
    return {
        "Shape β (table)": f"{mode['beta']:g}",
        "Life η by the table, years": f"{mode['eta_by_table_years']:.3g}",
        "Modifiers": ", ".join(map(str, mode["modifiers"])) or "none",
        "η after the modifiers, years": f"{mode['eta_before_years']:.3g}",
        f"Failure within {interval}, before any history": percent(mode["probability_before"]),
        "History: failures of looks; expected by the table": f"{mode['failures']} of {mode['looks']}; {mode['expected']:.2g}",
        "Visits without a result; ages assumed": f"{mode['silent']}; {mode['assumed']}",
        "Fails so many times as fast as the table (90 %)": f"{mode['factor']:.2g} ({_range(mode['factor_low'], mode['factor_high'])})",
        "η after the history, years (90 %)": f"{mode['eta_years']:.3g} ({_range(mode['eta_low_years'], mode['eta_high_years'])})",
        f"Failure within {interval}, after the history (90 %)":
            f"{percent(mode['probability'])} ({percent(mode['probability_low'])} to {percent(mode['probability_high'])})",
        "Mean share of the interval spent failed, if unseen": percent(mode["share_failed"]),
        f"The same in the money, interval {money_interval}": percent(mode["share_failed_in_money"]),
        "Rests on": MARKS.get(mode["confidence"], plain(mode["confidence"])),
    }  # fmt: skip


def _compared(found: Mapping[str, Any]) -> TableBlock:
    rows = tuple(
        (f"{str(kind['name'])[:1].upper()}{str(kind['name'])[1:]}", FAILS[change["mode"]], percent(change["present"]), percent(change["new"]),
         _verdict(change), _years(change.get("same_risk_years")), _differs(kind))
        for kind in found["compared"] for change in kind["changes"]
    )  # fmt: skip
    unseen = next((str(change["words"]).partition("How a pilot fails unseen: ")[2] for kind in found["compared"] for change in kind["changes"]
                   if "How a pilot fails unseen" in str(change["words"])), "")  # fmt: skip
    rests = next((f"The other valves are taken {kind['rests_on']}." for kind in found["compared"]), "")
    return TableBlock(
        f"Other kinds against the present valve, within {_years(found['interval_years'])}",
        (Column("Kind", "wide"), Column("Failure"), Column("Present", "number"), Column("Then", "number"), Column("So it is"),
         Column("Same risk at", "number"), Column("Service and modifiers", "wide")), rows,
        note=rests + (f" How a pilot fails unseen: {unseen}." if unseen else ""),
    )  # fmt: skip


def _verdict(change: Mapping[str, Any]) -> str:
    """The verdict in words; where only the history of the present valve makes a difference, the table calls them alike."""
    if change["same_by_table"] and change["verdict"] != "alike":
        return "alike by the table"
    return VERDICTS.get(change["verdict"], plain(change["verdict"]))


def _differs(kind: Mapping[str, Any]) -> str:
    parts = [str(kind["why"])]
    if kind["cured"]:
        parts.append(f"no longer: {', '.join(kind['cured'])}")
    if kind["added"]:
        parts.append(f"new: {', '.join(kind['added'])}")
    return "; ".join(parts)


def _curve(found: Mapping[str, Any], shown: Shown) -> TableBlock:
    advice, priced = found["advice"], bool(found["advice"].get("costs"))
    rows = tuple(
        (f"{point['interval_years']:g}", percent(point["open"]), percent(point["open_mean"]), percent(point["leak"]),
         percent(point["leak_mean"]), *([shown.money(point["cost_a_year"])] if priced else []))
        for point in advice["curve"]
    )  # fmt: skip
    costs = advice.get("costs") or {}
    note = (
        f"Cost: an overhaul {shown.money(costs['overhaul'])}, a seat that leaks {shown.money(costs['leak_repair'])} (one more service, and what gets "
        f"out until it is found), a failed demand {shown.money(costs['demand_damage'])} at {costs['demands']:.3g} demands a year; "
        "middle values of the tables of the money."
    ) if priced else ""  # fmt: skip
    return TableBlock(
        "Risk against overhaul interval",
        (Column("Interval, years", "number"), Column("Does not open, at its end", "number"), Column("Does not open, mean", "number"),
         Column("Leaks, at its end", "number"), Column("Leaks, mean", "number"),
         *([Column(f"Cost a year, {plain(advice.get('currency'))}", "number")] if priced else [])), rows, note=note,
    )  # fmt: skip
