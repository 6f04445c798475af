"""Stability in time on page and paper: traces of lift and pressure, and the map of flow against inlet length.

Only geometry of drawing happens here: envelopes of long traces, edges of cells, contour lines between given numbers.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from quietseat.report.document import Figure
from quietseat.report.drawing import INK
from quietseat.report.figures import chart, svg
from quietseat.report.words import VERDICTS_IN_TIME, Shown, is_number, percent

LINE, FILL = "#0b4f6c", "#9fc0cf"
SHADES = ("#fbf8f2", "#f3cfa6", "#d4703f", "#6e1414")  # lightness falls from end to end, so it reads in black and white
CONTOURS = ((0.05, [4, 3], 1.4), (0.5, [1, 0], 2.4))  # probability, dash, width
_BINS, _FEW, _CYCLES, _ZOOM = 120, 320, 9, 260
_POINTS = 6  # in a cycle, to draw it
_IN_PART = 4  # points in a part of an envelope, at least
_SLOW = 60  # turning points that a line shows one by one
_COARSE = 0.45  # more turning points than this share of the points: the cycles cannot be drawn, only their envelope

Point = tuple[float, float]


# --- Traces -------------------------------------------------------------------------------------------------------


def trace(
    tag: str, line: Mapping[str, Any], shown: Shown, set_pressure: Any = None, full_lift: Any = None, frequency: Any = None
) -> Figure | None:
    """Lift above, pressures below, over time at one flow; None where the run left nothing to draw.

    frequency: the strongest of the motion, Hz; cycles are drawn only where the trace has enough points in each.
    """
    times: list[float] = list(line.get("t_s") or ())
    if len(times) < 3 or times[-1] <= times[0]:
        return None
    spec, zoomed = trace_spec(line, shown, set_pressure, full_lift, frequency)
    lift, inlet = line["lift_m"], line["inlet_pressure_pa"]
    flow, verdict = shown.flow_of(line.get("flow_kg_s")), VERDICTS_IN_TIME.get(str(line.get("verdict")), str(line.get("verdict")))
    dotted = [words for words, value in (("full lift", full_lift), ("set pressure", set_pressure)) if is_number(value)]
    marks = ["dashed: vessel"] + ([f"dotted: {' and '.join(dotted)}"] if dotted else [])
    part = f" Right: the last {times[-1] - zoomed:.2g} s." if zoomed is not None else ""
    shade = " Shaded: between the highest and lowest value of each moment." if not (_as_line(times, lift, frequency) and _as_line(times, inlet, frequency)) else ""
    caption = (
        f"{tag} at {name(line)} flow, {flow}: {verdict}. Above lift, below pressure at the valve inlet "
        f"({', '.join(marks)}).{part}{shade} Middle values of every unknown; the class repeats, the trace does not."
    )
    alt = (
        f"Two panels over {times[-1] - times[0]:.2g} s at {flow}. Lift between {min(lift) * 1e3:.2g} and {max(lift) * 1e3:.2g} mm. "
        f"Inlet pressure between {shown.pressure_of(min(inlet))} and {shown.pressure_of(max(inlet))}. The valve {verdict}."
    )
    return Figure(_slim(svg(spec)), alt, caption)


def name(line: Mapping[str, Any]) -> str:
    """The flow of a trace in words: "25 %" becomes "25 % of rated"."""
    text = str(line.get("name") or "the stated")
    return f"{text} of the rated" if text.endswith("%") else text


def trace_spec(
    line: Mapping[str, Any], shown: Shown, set_pressure: Any = None, full_lift: Any = None, frequency: Any = None
) -> tuple[dict[str, Any], float | None]:
    """The spec of one trace, and where its zoom begins (s; None without one)."""
    times = list(line["t_s"])
    lift = [1e3 * value for value in line["lift_m"]]
    inlet, vessel = ([shown.number_of(value, shown.pressure) or 0.0 for value in line[key]] for key in ("inlet_pressure_pa", "vessel_pressure_pa"))
    at = _zoom_from(times, inlet) if _resolved(times, frequency) else None
    top = max([*lift, 1e3 * full_lift if is_number(full_lift) else 0.0, 1e-6])
    low, high = min((*inlet, *vessel)), max((*inlet, *vessel))
    limit = shown.number_of(set_pressure, shown.pressure)
    if limit is not None:
        low, high = min(low, limit), max(high, limit)
    spare = 0.06 * (high - low) or 0.01 * abs(high) or 1.0
    scales: tuple[tuple[float, float], tuple[float, float]] = (-0.02 * top, 1.04 * top), (low - spare, high + spare)
    rules = (1e3 * full_lift if is_number(full_lift) else None, limit)
    titles = ("lift, mm", f"pressure, {shown.pressure}")
    wide = 330 if at is None else 205
    rows = []
    for title, values, second, scale, rule in zip(titles, (lift, inlet), (None, vessel), scales, rules):
        panels = [_panel(times, values, second, scale, rule, title, wide, title == titles[1], times[0], _as_line(times, values, frequency))]
        if at is not None:
            begin = times.index(at)
            cut = [part[begin:] if part is not None else None for part in (times, values, second)]
            panels.append(_panel(cut[0] or [], cut[1] or [], cut[2], scale, rule, None, 104, title == titles[1], at, True))
        rows.append({"hconcat": panels, "spacing": 10})
    return chart({"vconcat": rows, "spacing": 8}), at


def _panel(
    times: Sequence[float], values: Sequence[float], second: Sequence[float] | None, scale: tuple[float, float], rule: float | None,
    title: str | None, width: int, bottom: bool, start: float, straight: bool,
) -> dict[str, Any]:  # fmt: skip
    """One panel: an envelope where there are too many points for a line, else the line."""
    x = {"field": "t", "type": "quantitative", "scale": {"domain": [start, times[-1]], "nice": False},
         "axis": {"title": "time, s" if bottom else None, "labels": bottom, "tickCount": 5 if width > 150 else 2, "labelFlush": True}}  # fmt: skip
    y = {"type": "quantitative", "scale": {"domain": list(scale), "nice": False},
         "axis": {"title": title, "labels": title is not None, "tickCount": 4, "minExtent": 30 if title else 0}}  # fmt: skip
    layers: list[dict[str, Any]] = []
    if rule is not None:
        layers.append({"data": {"values": [{"v": rule}]}, "mark": {"type": "rule", "strokeDash": [1, 3], "color": INK},
                       "encoding": {"y": {**y, "field": "v"}}})  # fmt: skip
    if not straight:
        rows = [{"t": t, "lo": lo, "hi": hi} for t, lo, hi in envelope(times, values, _BINS)]
        layers.append({"data": {"values": rows}, "mark": {"type": "area", "color": FILL, "line": {"color": LINE, "strokeWidth": 0.9}},
                       "encoding": {"x": x, "y": {**y, "field": "lo"}, "y2": {"field": "hi"}}})  # fmt: skip
        layers.append({"data": {"values": rows}, "mark": {"type": "line", "color": LINE, "strokeWidth": 0.9},
                       "encoding": {"x": x, "y": {**y, "field": "hi"}}})  # fmt: skip
    else:
        rows = [{"t": t, "v": v} for t, v in zip(times, values)]
        layers.append({"data": {"values": rows}, "mark": {"type": "line", "color": LINE, "strokeWidth": 1.4, "strokeJoin": "round"},
                       "encoding": {"x": x, "y": {**y, "field": "v"}}})  # fmt: skip
    if second is not None:
        thin = range(0, len(times), max(1, len(times) // _BINS))
        layers.append({"data": {"values": [{"t": times[i], "v": second[i]} for i in thin]},
                       "mark": {"type": "line", "color": INK, "strokeWidth": 1.1, "strokeDash": [6, 3]},
                       "encoding": {"x": x, "y": {**y, "field": "v"}}})  # fmt: skip
    return {"width": width, "height": 104, "layer": layers}


def _resolved(times: Sequence[float], frequency: Any) -> bool:
    """Whether the points lie close enough to show single cycles; a frequency nobody knows counts as too high."""
    tail = times[-_ZOOM:]  # a thinned trace keeps all its points there
    step = (tail[-1] - tail[0]) / (len(tail) - 1)
    return is_number(frequency) and step * frequency * _POINTS <= 1


def _as_line(times: Sequence[float], values: Sequence[float], frequency: Any) -> bool:
    """Whether a line through the points can be read: slow motion, or few points and not sparser than the cycles."""
    if len(turns(values)) <= _SLOW:
        return True
    return len(times) <= _FEW and (not is_number(frequency) or not frequency or _resolved(times, frequency))


def envelope(times: Sequence[float], values: Sequence[float], bins: int) -> list[tuple[float, float, float]]:
    """Lowest and highest value in each of about so many parts of the time: (time, low, high).

    A part holds enough points to meet the crests of what was sampled.
    """
    step = (times[-1] - times[0]) / bins
    out: list[tuple[float, float, float]] = []
    first = 0
    for at in range(1, len(times) + 1):
        if at == len(times) or (times[at] - times[first] >= step and at - first >= _IN_PART):
            part = values[first : at + 1]  # one point over the edge, so that the parts join
            out.append((0.5 * (times[first] + times[at - 1]), min(part), max(part)))
            first = at
    out[0], out[-1] = (times[0], *out[0][1:]), (times[-1], *out[-1][1:])
    return out


def turns(values: Sequence[float]) -> list[int]:
    """Places where a curve turns by more than a fiftieth of its whole range."""
    least = 0.02 * (max(values) - min(values))
    found: list[int] = []
    last, way = 0, 0
    for at in range(1, len(values)):
        step = values[at] - values[last]
        if way == 0 or step * way > 0:
            if abs(step) > (least if way == 0 else 0.0):
                way, last = (1 if step > 0 else -1), at
        elif abs(step) > least:
            found.append(last)
            way, last = -way, at
    return found


def _zoom_from(times: Sequence[float], values: Sequence[float]) -> float | None:
    """The time from which a zoom shows a few cycles at the end; None where a line shows them anyway, or nothing can."""
    if len(times) <= _FEW:
        return None
    tail = values[-_ZOOM:]
    if max(tail) - min(tail) < 0.02 * (max(values) - min(values)):
        return None
    found = turns(tail)
    if len(found) < 6 or len(found) > _COARSE * len(tail) or found[-1] < 0.8 * len(tail):
        return None
    return times[len(times) - len(tail) + (found[-2 * _CYCLES] if len(found) >= 2 * _CYCLES else 0)]


def _slim(drawn: str) -> str:
    """A drawing with its paths to a tenth of a point: half the bytes, the same picture."""
    return re.sub(r' d="[^"]*"', lambda path: re.sub(r"(\.\d)\d+", r"\1", path.group()), drawn)


# --- The map --------------------------------------------------------------------------------------------------------


def stability_map(tag: str, grid: Mapping[str, Any] | None, shown: Shown) -> Figure | None:
    """Probability of chatter over inlet length and flow with this valve marked; None without a map."""
    if not grid or len(grid.get("lengths_m") or ()) < 2 or len(grid.get("flows_kg_s") or ()) < 2:
        return None
    here = (grid.get("length_m"), grid.get("flow_kg_s"))
    cells = [value for row in grid["probability"] for value in row if is_number(value)]
    if not cells:
        return None
    crossing = _crossing(grid, 0.5)
    at = f" At the flow of this valve that becomes more likely than not at {crossing:.2g} m." if crossing is not None else ""
    unsaid = ""
    if min(cells) >= 0.5:
        unsaid = " Everywhere on this map that is more likely than not."
    elif max(cells) <= 0.05:
        unsaid = " Nowhere on this map is the probability above 5 %."
    key = "" if unsaid else "; line: 50 %, dashed: 5 %"
    caption = (
        f"{tag}: probability of chatter or flutter over inlet length and flow by linear theory, everything else as it is. Darker = more "
        f"likely{key}; ringed cross: this valve at its smallest credible flow.{at}{unsaid}"
    )
    alt = (
        f"Map of the probability of chatter or flutter for inlet lines of {min(grid['lengths_m']):.2g} to {max(grid['lengths_m']):.2g} m and flows of "
        f"{shown.flow_of(min(grid['flows_kg_s']))} to {shown.flow_of(max(grid['flows_kg_s']))}: from {percent(min(cells))} to {percent(max(cells))}."
        + (f" This valve stands at {here[0]:.2g} m and {shown.flow_of(here[1])}." if is_number(here[0]) and is_number(here[1]) else "")
        + at + unsaid
    )  # fmt: skip
    return Figure(_slim(svg(map_spec(grid, shown))), alt, caption)


def map_spec(grid: Mapping[str, Any], shown: Shown) -> dict[str, Any]:
    """Cells shaded by probability, contours at 5 and 50 %, this valve as a ringed cross."""
    lengths = [float(value) for value in grid["lengths_m"]]
    flows = [shown.number_of(value, shown.flow) or 0.0 for value in grid["flows_kg_s"]]
    table = grid["probability"]
    logs = _logarithmic(lengths), _logarithmic(flows)
    wide, high = edges(lengths, logs[0]), edges(flows, logs[1])
    rects = [
        {"x": wide[i], "x2": wide[i + 1], "y": high[j], "y2": high[j + 1], "p": 100 * table[j][i]}
        for j in range(len(flows)) for i in range(len(lengths)) if is_number(table[j][i])
    ]  # fmt: skip
    my_length, my_flow = grid.get("length_m"), shown.number_of(grid.get("flow_kg_s"), shown.flow)
    mine = [{"x": my_length, "y": my_flow}] if is_number(my_length) and is_number(my_flow) else []
    x = _axis("x", "inlet length, m", [wide[0], wide[-1], *(place["x"] for place in mine)], logs[0])
    y = _axis("y", f"flow, {shown.flow}", [high[0], high[-1], *(place["y"] for place in mine)], logs[1])
    colour = {
        "field": "p", "type": "quantitative", "title": "probability of chatter or flutter, %",
        "scale": {"domain": [0, 33, 67, 100], "range": list(SHADES), "clamp": True},
        "legend": {"gradientLength": 220, "values": [0, 25, 50, 75, 100], "labelOverlap": False, "titleLimit": 320},
    }  # fmt: skip
    layers: list[dict[str, Any]] = [{
        "data": {"values": rects}, "mark": {"type": "rect", "strokeWidth": 0.4, "stroke": "#ffffff", "strokeOpacity": 0.5},
        "encoding": {"x": x, "y": y, "x2": {"field": "x2"}, "y2": {"field": "y2"}, "color": colour},
    }]  # fmt: skip
    plain = all(rect["p"] <= 2 or rect["p"] >= 98 for rect in rects)  # nothing was drawn at random: one border says it
    for level, dash, width in CONTOURS[1:] if plain else CONTOURS:
        lines = _contour_on(lengths, flows, table, level, logs)
        layers += _contour_layers(lines, level, dash, width, x, y, _label_at(lines, mine, (wide, high), logs))
    if mine:
        for mark in (
            {"type": "point", "shape": "circle", "size": 320, "filled": True, "color": "#ffffff", "opacity": 1, "stroke": INK, "strokeWidth": 2},
            {"type": "point", "shape": "cross", "size": 110, "filled": True, "color": INK, "opacity": 1},
        ):
            layers.append({"data": {"values": mine}, "mark": mark, "encoding": {"x": x, "y": y}})
    return chart({"width": 325, "height": 250, "layer": layers})


def _contour_layers(
    lines: Sequence[tuple[Point, Point]], level: float, dash: list[int], width: float, x: Mapping[str, Any], y: Mapping[str, Any],
    label: tuple[Point, bool] | None,
) -> list[dict[str, Any]]:  # fmt: skip
    """One contour with a pale border, so that it shows on every shade, and its label."""
    if label is None:
        return []
    rows = [{"x": a[0], "y": a[1], "x2": b[0], "y2": b[1]} for a, b in lines]
    places = {"x": x, "y": y, "x2": {"field": "x2"}, "y2": {"field": "y2"}}
    (at, top), left = label, level < 0.5  # the low contour has its label on the pale side, the middle one on the dark
    said = {"data": {"values": [{"x": at[0], "y": at[1], "words": f"{100 * level:.0f} %"}]},
            "encoding": {"x": x, "y": y, "text": {"field": "words", "type": "nominal"}}}  # fmt: skip
    text = {"type": "text", "align": "right" if left else "left", "dx": -6 if left else 8, "dy": 10 if top else -8, "fontSize": 12,
            "fontWeight": "bold"}  # fmt: skip
    return [
        {"data": {"values": rows}, "mark": {"type": "rule", "color": "#ffffff", "strokeWidth": width + 2.2, "strokeCap": "round"}, "encoding": places},
        {"data": {"values": rows}, "mark": {"type": "rule", "color": INK, "strokeWidth": width, "strokeDash": dash, "strokeCap": "butt"}, "encoding": places},
        {**said, "mark": {**text, "stroke": "#ffffff", "strokeWidth": 3.5, "color": "#ffffff"}}, {**said, "mark": {**text, "color": INK}},
    ]  # fmt: skip


def _label_at(
    lines: Sequence[tuple[Point, Point]], mine: Sequence[Mapping[str, float]], spans: Sequence[Sequence[float]], logs: tuple[bool, bool]
) -> tuple[Point, bool] | None:
    """The end of a contour for its label, and whether it is the upper one: that farther from the valve's mark."""
    if not lines:
        return None
    points = [point for pair in lines for point in pair]
    top, low = max(points, key=lambda point: point[1]), min(points, key=lambda point: point[1])

    def share(value: float, span: Sequence[float], log: bool) -> float:
        ends = [math.log(v) if log else v for v in (span[0], span[-1], value)]
        return (ends[2] - ends[0]) / (ends[1] - ends[0])

    def away(point: Point) -> float:
        return sum(
            (share(own, span, log) - share(there, span, log)) ** 2
            for own, there, span, log in zip(point, (mine[0]["x"], mine[0]["y"]), spans, logs)
        )

    return (top, True) if not mine or away(top) >= away(low) else (low, False)


def _logarithmic(values: Sequence[float]) -> bool:
    """Whether values over such a range are easier to read on a logarithmic axis."""
    return min(values) > 0 and max(values) / min(values) >= 6


def _axis(field: str, title: str, ends: Sequence[float], logarithmic: bool) -> dict[str, Any]:
    low, high = min(ends), max(ends)
    axis: dict[str, Any] = {"grid": False}
    if logarithmic:
        axis |= {"values": round_values(low, high), "format": ",~r"}
    kind = "log" if logarithmic else "linear"
    return {"field": field, "type": "quantitative", "title": title, "scale": {"domain": [low, high], "nice": False, "type": kind}, "axis": axis}


def round_values(low: float, high: float) -> list[float]:
    """The values 1, 2 and 5 times a power of ten between two ends."""
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    found = [round(step * 10.0**power, 9) for power in powers for step in (1, 2, 5)]
    return [value for value in found if low <= value <= high]


def edges(values: Sequence[float], logarithmic: bool = False) -> list[float]:
    """Edges of the cells around points: halfway between neighbours, as wide outside as inside, never below zero."""
    if logarithmic:
        inner = [math.sqrt(a * b) for a, b in pairwise(values)]
        return [values[0] ** 2 / inner[0], *inner, values[-1] ** 2 / inner[-1]]
    inner = [0.5 * (a + b) for a, b in pairwise(values)]
    return [max(2 * values[0] - inner[0], 0.0), *inner, 2 * values[-1] - inner[-1]]


def _contour_on(
    xs: Sequence[float], ys: Sequence[float], table: Sequence[Sequence[Any]], level: float, logs: tuple[bool, bool]
) -> list[tuple[Point, Point]]:
    """The contour found on the axes as drawn."""
    there = [[math.log(value) if log else value for value in values] for values, log in zip((xs, ys), logs)]

    def back(point: Point) -> Point:
        x, y = (math.exp(value) if log else value for value, log in zip(point, logs))
        return x, y

    return [(back(a), back(b)) for a, b in contour(there[0], there[1], table, level)]


def contour(xs: Sequence[float], ys: Sequence[float], table: Sequence[Sequence[Any]], level: float) -> list[tuple[Point, Point]]:
    """Pieces of the line where a table (a row a y, a column an x) passes a level, by marching squares."""
    out: list[tuple[Point, Point]] = []
    for j in range(len(ys) - 1):
        for i in range(len(xs) - 1):
            corners = [(xs[i], ys[j], table[j][i]), (xs[i + 1], ys[j], table[j][i + 1]),
                       (xs[i + 1], ys[j + 1], table[j + 1][i + 1]), (xs[i], ys[j + 1], table[j + 1][i])]  # fmt: skip
            if not all(is_number(value) for *_, value in corners):
                continue
            cuts = [_cut(a, b, level) for a, b in zip(corners, [*corners[1:], corners[0]]) if (a[2] < level) != (b[2] < level)]
            if len(cuts) == 4 and (sum(value for *_, value in corners) / 4 < level) != (corners[0][2] < level):
                cuts = [*cuts[1:], cuts[0]]  # a saddle: the middle decides which corners belong together
            out += [(cuts[k], cuts[k + 1]) for k in range(0, len(cuts) - 1, 2)]
    return out


def _cut(a: tuple[float, float, float], b: tuple[float, float, float], level: float) -> Point:
    share = (level - a[2]) / (b[2] - a[2])
    return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])


def _crossing(grid: Mapping[str, Any], level: float) -> float | None:
    """The shortest line at which the row nearest to this valve's flow passes a level; None where it does not."""
    flow, flows, lengths = grid.get("flow_kg_s"), grid["flows_kg_s"], grid["lengths_m"]
    if not is_number(flow):
        return None
    row = grid["probability"][min(range(len(flows)), key=lambda j: abs(flows[j] - flow))]
    for i in range(len(lengths) - 1):
        low, high = row[i], row[i + 1]
        if is_number(low) and is_number(high) and low < level <= high:
            return float(lengths[i] + (level - low) / (high - low) * (lengths[i + 1] - lengths[i]))
    return None
