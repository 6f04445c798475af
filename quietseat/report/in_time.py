"""The words and tables of stability in time: the part of a valve's section, the sheet, and predicted against found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import motion
from quietseat.report.document import (
    Block,
    Bullets,
    Cell,
    Column,
    Figure,
    Fold,
    Heading,
    Only,
    Pairs,
    Prose,
    TableBlock,
)  # fmt: skip
from quietseat.report.words import DASH, Shown, cut, field_words, is_number, percent

_WORST = ("chatters", "cycles", "flutters", "unproven", "quiet")
PREDICTED = (("unstable", "Predicted unstable"), ("quiet", "Predicted quiet"), ("unproven", "Unproven"))
FOUND = (("found", "Damage found in the shop"), ("not_found", "None found"))
MODEL_NOTE = (
    "The model predicts; nothing here has been compared with a measured map of stable and unstable points. Impacts, peak pressures and "
    "energies are chaotic: only the class repeats."
)


# --- One valve ----------------------------------------------------------------------------------------------------


def section(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """What marching in time found of one valve; nothing where it was not marched."""
    found = valve.get("chatter")
    if not found:
        return
    yield Prose("Stability in time", "label")
    if found.get("status") != "ok":
        yield Prose(f"Not answered: {found.get('reason') or found.get('status')}.")
        return
    if found.get("words") != (valve.get("stability") or {}).get("words"):  # else it stands above, under Stability
        yield Prose(f"{str(found.get('verdict', 'unproven')).capitalize()}. {found.get('words') or ''}".strip())
    yield Pairs(tuple((name, Cell(text)) for name, text in _facts(found, shown)))
    if len(found.get("flows") or ()) > 1:
        yield _flows(found["flows"], shown)
    yield from _pictures(valve, found, shown)
    quiet = _quiet(found.get("limits") or {}, shown)
    if quiet:
        yield Prose("What would keep it quiet, everything else as it is", "label")
        yield Bullets(tuple(quiet))
    yield Prose(MODEL_NOTE, "small")


def _facts(found: Mapping[str, Any], shown: Shown) -> list[tuple[str, str]]:
    low, high = found.get("inlet_pressure_min_pa"), found.get("inlet_pressure_max_pa")
    length, critical = found.get("inlet_length_m"), found.get("critical_length_m")
    items = [
        ("Probability of chatter", _probability(found)),
        ("Of flutter, of short cycling", f"{percent(found.get('flutter_probability'))}, {percent(found.get('cycling_probability'))}"),
        ("Limited by", str(found.get("limited_by") or DASH)),
        ("Inlet length / critical length of the marched model", f"{length:.3g} m / {critical:.3g} m ({length / critical:.2f})"
         if is_number(length) and is_number(critical) and critical else DASH),
        ("Strongest frequency", shown.quantity(found.get("frequency_hz"), "Hz")),
        ("Seat impacts", _impacts(found)),
        ("Inlet pressure, lowest to highest", f"{shown.pressure_of(low)} to {shown.pressure_of(high)}" if is_number(low) and is_number(high) else DASH),
        ("Opening time", f"{1e3 * found['opening_time_s']:.3g} ms" if is_number(found.get("opening_time_s")) else DASH),
        ("One cycle", shown.quantity(found.get("cycle_period_s"), "s")),
        ("What explains the spread", ", ".join(_shares(found)[:4]) or DASH),
        ("What to measure", str(found.get("measure") or DASH)),
        ("Drawn from their ranges", ", ".join(field_words(str(name)) for name in found.get("drawn") or ()) or "nothing: all stated"),
        ("Draws, cases marched", f"{found.get('samples') or 0}, {found.get('marched') or 0}"
         + (f", {found['cells']} cells" if found.get("cells") else "") + (f", seed {found['seed']}" if found.get("seed") is not None else "")),
    ]  # fmt: skip
    return [(name, text) for name, text in items if text.strip(f"{DASH}, ")]


def _probability(found: Mapping[str, Any]) -> str:
    if (found.get("samples") or 0) <= 1:
        return "one run with the stated values: a class, no probability"
    ends = found.get("interval") or (None, None)
    interval = f" (95 % interval {percent(ends[0])} to {percent(ends[1])})" if is_number(ends[0]) and is_number(ends[1]) else ""
    return percent(found.get("chatter_probability")) + interval


def _impacts(found: Mapping[str, Any]) -> str:
    rate, energy = found.get("seat_impacts_per_s"), found.get("impact_energy_j")
    if not is_number(rate) or not rate:
        return DASH
    return f"{rate:.3g} a second" + (f", {energy:.2g} J each" if is_number(energy) and energy else "")


def _shares(found: Mapping[str, Any]) -> list[str]:
    return [
        f"{field_words(str(item['parameter']))} {percent(item['share'])}"
        for item in found.get("sensitivities") or () if is_number(item.get("share")) and item["share"] >= 0.005
    ]  # fmt: skip


def _flows(flows: Sequence[Mapping[str, Any]], shown: Shown) -> TableBlock:
    keys = ("chatter_probability", "flutter_probability", "cycling_probability", "unproven_share")
    return TableBlock(
        "At each flow", (Column("Flow", "wide"), Column(f"Flow, {shown.flow}", "number"), *(Column(words, "number") for words in
                         ("Chatters", "Flutters", "Cycles", "No answer", "Cases marched"))),
        tuple((motion.name(flow), shown.flow_of(flow.get("flow_kg_s"), False), *(percent(flow.get(key)) for key in keys),
               str(flow.get("marched") or 0)) for flow in flows),
        note="Shares of the draws. Draws that linear theory left no doubt about were not marched.",
    )  # fmt: skip


def _pictures(valve: Mapping[str, Any], found: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """The map and the worst trace; the other traces folded away, on the page only."""
    tag = str(valve["tag"])
    limit = (valve.get("valve") or {}).get("set_pressure_pa")
    lines = sorted(found.get("traces") or (), key=lambda line: _WORST.index(line["verdict"]) if line.get("verdict") in _WORST else 3)
    pictures = [figure for line in lines if (figure := motion.trace(tag, line, shown, limit, found.get("stop_lift_m"), found.get("frequency_hz")))]
    grid = motion.stability_map(tag, found.get("map"), shown)
    if grid:
        yield grid
    yield from pictures[:1]
    others: tuple[Figure, ...] = tuple(pictures[1:])
    if others:
        yield Only("page", (Fold(f"Motion of {tag} at the other flows ({len(others)})", others),))


def _quiet(limits: Mapping[str, Any], shown: Shown) -> list[str]:
    found: list[str] = []
    if is_number(limits.get("longest_quiet_inlet_m")):
        found.append(f"an inlet line of at most {limits['longest_quiet_inlet_m']:.3g} m")
    if is_number(limits.get("smallest_quiet_flow_kg_s")):
        found.append(f"a flow of at least {shown.flow_of(limits['smallest_quiet_flow_kg_s'])}")
    if is_number(limits.get("blowdown_cure")):
        found.append(f"a blowdown of {percent(limits['blowdown_cure'])}")
    if is_number(limits.get("lift_cure")):
        found.append(f"the lift restricted to {percent(limits['lift_cure'])} of full lift")
    return found + [str(words) for words in limits.get("words") or ()]


# --- The fleet: which were marched, and why ------------------------------------------------------------------------


def marching(head: Mapping[str, Any], rows_on_paper: int = 40) -> Iterable[Block]:
    """Which valves were marched in time and why; nothing where the study says nothing of it."""
    found = head.get("marching")
    if not found:
        return
    yield Heading(2, "Stability in time", "in-time")
    cases, run = found.get("cases") or 0, found.get("cases_marched") or 0
    share = f" ({percent(run / cases)}; linear theory left no doubt about the others)" if cases else ""
    counts = f" {found.get('valves_marched') or 0} of {found.get('valves') or 0} valves; {run} of {cases} draws and flows{share}." if cases else ""
    yield Prose(f"{found.get('words') or ''}{counts}".strip())
    yield Prose(MODEL_NOTE, "small")
    items = [item for item in found.get("marched") or () if isinstance(item, Mapping)]
    columns = (Column("Tag"), Column("Verdict"), Column("Marched, of draws and flows", "number"), Column("Why it was marched", "wide"))
    rows = tuple(
        (str(item.get("tag")), str(item.get("verdict") or DASH), f"{item.get('cases_marched') or 0} of {item.get('cases') or 0}",
         cut(str(item.get("why") or DASH), 300))
        for item in items
    )  # fmt: skip
    if rows:
        title = f"Marched in time ({len(rows)})"
        yield Only("page", (Fold(title, (TableBlock(title, columns, rows),)),))
        note = f"{rows_on_paper} of {len(rows)} are shown; all of them are in study.json." if len(rows) > rows_on_paper else ""
        yield Only("paper", (TableBlock(title, columns, rows[:rows_on_paper], note=note),))
    left = [str(tag) for tag in found.get("valves_left") or ()]
    if left:
        yield Prose(f"In doubt and not marched ({len(left)}): {', '.join(left[:30])}{' …' if len(left) > 30 else ''}.")


# --- Predicted against found ----------------------------------------------------------------------------------------


def predictions(head: Mapping[str, Any]) -> Iterable[Block]:
    """Two by two: what the model predicts against what the shop found; nothing where no shop record was read."""
    found = head.get("predictions")
    if not found:
        return
    yield Heading(2, "Predicted against found", "predictions")
    yield Prose(str(found.get("words") or "Stability predicted for each valve, against what its shop records say."))
    yield TableBlock(
        "Valves by prediction and by shop finding",
        (Column("Shop record"), *(Column(words, "number") for _, words in PREDICTED), Column("All", "number")),
        tuple((words, *_counts(found.get(key) or {})) for key, words in FOUND),
        note="Damage found: beaten seats, broken bellows, hammering. Only valves with a shop record are counted; the rates leave the unproven out.",
    )  # fmt: skip
    items = [(words, text) for words, key, ends in (
        ("Of the damaged, predicted unstable", "hit_rate", "hit_interval"),
        ("Of the undamaged, predicted unstable", "false_alarm_rate", "false_alarm_interval"),
    ) if (text := rate(found.get(key), found.get(ends)))]  # fmt: skip
    if items:
        yield Pairs(tuple((words, Cell(text)) for words, text in items))


def _counts(row: Mapping[str, Any]) -> tuple[str, ...]:
    numbers = [int(row.get(key) or 0) for key, _ in PREDICTED]
    return (*map(str, numbers), str(sum(numbers)))


def rate(value: Any, interval: Sequence[Any] | None) -> str:
    """A rate with its 95 % interval; empty where there is none."""
    if not is_number(value):
        return ""
    ends = f" (95 % interval {percent(interval[0])} to {percent(interval[1])})" if interval else ""
    return percent(value) + ends
