"""Charts as Vega-Lite dicts, drawn to SVG offline; one spec serves the page and the paper."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from quietseat.report.document import Figure
from quietseat.report.drawing import INK, NEW, SOFT
from quietseat.report.words import SHAPES, VERDICTS, Shown, choice_number, cut, is_number, percent

COLOURS = {"misfit": "#9b2226", "unproven": "#4a5568", "watch": "#8a5a00", "sound": "#1b5e4b"}
_MARKS = {"misfit": "square", "unproven": "diamond", "watch": "triangle-up", "sound": "circle"}
_MANY = 800  # more points than this are counted in fields instead of drawn one by one
_FULL_LOSS, _FULL_USE = 0.25, 2.0  # the axes end here; what lies beyond is drawn on the edge and said so

_CONFIG: dict[str, Any] = {
    "font": "sans-serif", "aria": False, "background": "#ffffff", "padding": 6,
    "axis": {"labelFontSize": 12, "titleFontSize": 12.5, "titleFontWeight": "normal", "labelColor": INK, "titleColor": INK,
             "gridColor": "#e6eaee", "domainColor": SOFT, "tickColor": SOFT, "labelLimit": 190},
    "legend": {"labelFontSize": 12, "titleFontSize": 12, "labelColor": INK, "titleColor": INK, "orient": "top", "symbolSize": 90,
               "symbolStrokeWidth": 1.6},
    "view": {"stroke": "#d5dbe1"},
}  # fmt: skip


def svg(spec: Mapping[str, Any]) -> str:
    """A spec as SVG text; draws offline (no address is allowed) and gives the same text every time."""
    import vl_convert

    drawn: str = vl_convert.vegalite_to_svg(dict(spec), allowed_base_urls=[])
    numbers: dict[str, str] = {}  # the engine counts its gradients on from drawing to drawing
    drawn = re.sub(r"gradient_\d+", lambda found: numbers.setdefault(found.group(), f"gradient_{len(numbers)}"), drawn)
    return re.sub(r'font-family="[^"]*"', 'font-family="sans-serif"', drawn)


def chart(rest: Mapping[str, Any]) -> dict[str, Any]:
    """A spec that carries its own data, with the looks every chart of the study has."""
    return {"$schema": "https://vega.github.io/schema/vega-lite/v6.json", "config": _CONFIG, **rest}


def _spec(width: int, height: int | dict[str, int], data: Sequence[Mapping[str, Any]], **rest: Any) -> dict[str, Any]:
    return {
        "$schema": "https://vega.github.io/schema/vega-lite/v6.json", "width": width, "height": height,
        "data": {"values": list(data)}, "config": _CONFIG, **rest,
    }  # fmt: skip


def trouble_spec(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Required over rated flow against inlet loss at rated flow, one mark a valve, shape and colour by verdict."""
    points = [
        {"use": row["utilisation"] * 100, "loss": row["inlet_loss_rated"] * 100, "verdict": row["verdict"],
         "rank": str(row["rank"]) if row["rank"] <= 10 and row["verdict"] != "sound" else ""}
        for row in rows if is_number(row.get("utilisation")) and is_number(row.get("inlet_loss_rated"))
    ]  # fmt: skip
    order = [word for word in VERDICTS if any(point["verdict"] == word for point in points)]
    colour = {
        "field": "verdict", "type": "nominal", "title": None,
        "scale": {"domain": order, "range": [COLOURS[word] for word in order]},
    }  # fmt: skip
    shape = {"field": "verdict", "type": "nominal", "title": None, "scale": {"domain": order, "range": [_MARKS[w] for w in order]}}
    x = {"field": "use", "type": "quantitative", "title": "required flow, % of rated flow",
         "scale": {"domain": [0, _FULL_USE * 100], "clamp": True, "type": "sqrt"}, "axis": {"values": [0, 10, 30, 60, 100, 150, 200]}}  # fmt: skip
    y = {"field": "loss", "type": "quantitative", "title": "inlet loss at rated flow, % of set",
         "scale": {"domain": [0, _FULL_LOSS * 100], "clamp": True, "type": "sqrt"}, "axis": {"values": [0, 1, 3, 6, 10, 15, 20, 25]}}  # fmt: skip
    limits = [
        _rule("y", choice_number(head, "inlet_loss_limit", "fraction", 0.03)),
        _rule("x", choice_number(head, "oversize_utilisation", "fraction", 0.3)),
        _rule("x", 1.0),
    ]
    layers: list[dict[str, Any]] = list(limits)
    if len(points) > _MANY:
        layers.append({
            "transform": [{"bin": {"step": 5}, "field": "use", "as": "use_bin"}, {"bin": {"step": 1}, "field": "loss", "as": "loss_bin"},
                          {"aggregate": [{"op": "count", "as": "valves"}, {"op": "mean", "field": "use", "as": "use"},
                                         {"op": "mean", "field": "loss", "as": "loss"}],
                           "groupby": ["use_bin", "loss_bin", "verdict"]}],
            "mark": {"type": "point", "filled": False, "strokeWidth": 1.4, "opacity": 0.8},
            "encoding": {"x": x, "y": y, "color": colour, "shape": shape,
                         "size": {"field": "valves", "type": "quantitative", "title": "valves", "scale": {"range": [12, 420]}}},
        })  # fmt: skip
    else:
        layers.append({
            "mark": {"type": "point", "filled": False, "size": 70, "strokeWidth": 1.7, "opacity": 0.9},
            "encoding": {"x": x, "y": y, "color": colour, "shape": shape},
        })  # fmt: skip
        layers.append({
            "transform": [{"filter": "datum.rank !== ''"}], "mark": {"type": "text", "dx": 9, "dy": -7, "fontSize": 12, "color": INK},
            "encoding": {"x": x, "y": y, "text": {"field": "rank", "type": "nominal"}},
        })  # fmt: skip
    return _spec(380, 320, points, layer=layers)


def _rule(axis: str, value: float) -> dict[str, Any]:
    return {"mark": {"type": "rule", "strokeDash": [5, 4], "color": SOFT}, "encoding": {axis: {"datum": round(value * 100, 6)}}}


def trouble(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Figure | None:
    """The picture of where the trouble is; None when no valve has both numbers."""
    both = [row for row in rows if is_number(row.get("utilisation")) and is_number(row.get("inlet_loss_rated"))]
    if not both:
        return None
    loss = choice_number(head, "inlet_loss_limit", "fraction", 0.03)
    big = choice_number(head, "oversize_utilisation", "fraction", 0.3)
    beyond = sum(row["utilisation"] > _FULL_USE or row["inlet_loss_rated"] > _FULL_LOSS for row in both)
    caption = (
        f"Where the trouble is: {len(both)} valves with both numbers ({len(rows) - len(both)} lack one). Dashed: {percent(loss)} inlet "
        f"loss, {percent(big)} (oversized below) and 100 % (undersized above) of rated flow. "
        + ("Size of a mark: number of valves." if len(both) > _MANY else "Figures beside marks: rank.")
        + (f" {beyond} beyond the edge are drawn on it." if beyond else "")
    )
    counts = {word: sum(row["verdict"] == word for row in both) for word in VERDICTS}
    above = sum(row["inlet_loss_rated"] > loss for row in both)
    below = sum(row["utilisation"] < big for row in both)
    alt = (
        f"Scatter of required over rated flow against inlet loss: {above} valves above {percent(loss)} inlet loss, {below} below "
        f"{percent(big)} of rated flow. " + ", ".join(f"{SHAPES[word]} {word} {count}" for word, count in counts.items()) + "."
    )
    return Figure(svg(trouble_spec(head, rows)), alt, caption)


def causes_spec(causes: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """How many valves each root cause holds."""
    rows = [{"cause": cut(str(cause["words"]), 44), "place": index, "valves": cause["count"]} for index, cause in enumerate(causes)]
    y = {"field": "place", "type": "ordinal", "axis": None}
    return _spec(430, {"step": 40}, rows, view={"stroke": None}, layer=[
        {"mark": {"type": "bar", "color": NEW, "height": 11, "yOffset": 9},
         "encoding": {"y": y, "x": {"field": "valves", "type": "quantitative", "axis": None}}},
        {"mark": {"type": "text", "align": "left", "dx": 5, "dy": 9, "fontSize": 12, "color": INK},
         "encoding": {"y": y, "x": {"field": "valves", "type": "quantitative"}, "text": {"field": "valves", "type": "quantitative"}}},
        {"mark": {"type": "text", "align": "left", "dy": -7, "fontSize": 12.5, "color": INK},
         "encoding": {"y": y, "x": {"value": 1}, "text": {"field": "cause", "type": "nominal"}}},
    ])  # fmt: skip


def causes(head: Mapping[str, Any]) -> Figure | None:
    """The bar chart of root causes; None when there are none."""
    rows = [cause for cause in head.get("causes") or () if cause.get("count")][:12]
    if not rows:
        return None
    alt = "Valves by root cause: " + "; ".join(f"{row['words']}: {row['count']}" for row in rows) + "."
    return Figure(svg(causes_spec(rows)), alt, "Valves by root cause.")


def plan_spec(plan: Mapping[str, Any]) -> dict[str, Any]:
    """What the chosen remedies take of the budget and of the crew hours, in per cent."""
    totals = plan["totals"]
    bars = [
        (words, used, whole)
        for words, used, whole in (
            ("budget (middle of the range)", totals.get("cost_mid"), plan.get("budget")),
            ("crew hours of the outage", totals.get("crew_hours"), plan.get("hours_available")),
        )
        if is_number(used) and is_number(whole) and whole > 0
    ]
    rows = [{"what": words, "used": 100 * used / whole, "whole": 100, "label": f"{100 * used / whole:.0f} % used"} for words, used, whole in bars]
    y = {"field": "what", "type": "nominal", "axis": None, "sort": None}
    x = {"field": "used", "type": "quantitative", "axis": None, "scale": {"domain": [0, max([100.0, *(100 * used / whole for _, used, whole in bars)])]}}
    return _spec(400, {"step": 46}, rows, view={"stroke": None}, layer=[
        {"mark": {"type": "bar", "color": "#e3e8ed", "height": 12, "yOffset": 9}, "encoding": {"y": y, "x": {**x, "field": "whole"}}},
        {"mark": {"type": "bar", "color": NEW, "height": 12, "yOffset": 9}, "encoding": {"y": y, "x": x}},
        {"mark": {"type": "text", "align": "left", "dy": -9, "fontSize": 12.5, "color": INK},
         "encoding": {"y": y, "x": {"value": 1}, "text": {"field": "what", "type": "nominal"}}},
        {"mark": {"type": "text", "align": "right", "dy": -9, "fontSize": 12.5, "color": INK},
         "encoding": {"y": y, "x": {"value": 399}, "text": {"field": "label", "type": "nominal"}}},
    ])  # fmt: skip


def plan(found: Mapping[str, Any], shown: Shown) -> Figure | None:
    """What the plan takes of budget and outage; None when there is no plan."""
    totals = found.get("totals") or {}
    if not is_number(totals.get("cost_mid")) or not found.get("budget"):
        return None
    alt = (
        f"The plan takes {shown.money(totals['cost_mid'])} of {shown.money(found['budget'])} {shown.currency} and "
        f"{totals.get('crew_hours', 0):.0f} of {found.get('hours_available') or 0:.0f} crew hours."
    )
    return Figure(svg(plan_spec(found)), alt, "What the plan takes of the budget and of the outage.")
