"""Charts as Vega-Lite dicts, drawn to SVG offline; one spec serves the page and the paper."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any
from urllib.parse import quote, unquote

from quietseat.report.document import Figure
from quietseat.report.drawing import INK, NEW, SOFT
from quietseat.report.words import SHAPES, VERDICTS, Shown, choice_number, cut, field_words, is_number, percent

COLOURS = {"misfit": "#6f0d15", "unproven": "#3a4560", "watch": "#9a6400", "sound": "#1a6650"}
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


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit of the plan: what is given and what the plan takes of it."""

    words: str
    given: float
    taken: float
    unit: str


def limits(plan: Mapping[str, Any]) -> list[Limit]:
    """Money and crew hours of the plan, each window's own where it has them."""
    found = [Limit("Budget", plan.get("budget") or 0.0, (plan.get("totals") or {}).get("spent") or 0.0, str(plan.get("currency") or ""))]
    windows = plan.get("windows") or ()
    for window in windows:
        name = f" of {window['name']}" if len(windows) > 1 else ""
        inside, outside, apart = window["outage_hours_used"], window["other_hours_used"], is_number(window.get("crew_hours_outside"))
        if name and is_number(window.get("budget")):
            found.append(Limit(f"Budget{name}", window["budget"], window["spent"], found[0].unit))
        if is_number(window.get("crew_hours")):
            found.append(Limit(f"Crew hours{name}", window["crew_hours"], inside if apart else inside + outside, "h"))
        if apart:
            found.append(Limit(f"Crew hours outside the outage{name}", window["crew_hours_outside"], outside, "h"))
    return found


def use_spec(found: Sequence[Limit]) -> dict[str, Any]:
    """What the chosen remedies take of each limit, in per cent."""
    shares = {one.words: 100 * one.taken / one.given for one in found if one.given > 0}
    rows = [{"place": at, "what": words, "used": share, "whole": 100, "label": f"{share:.0f} % taken"} for at, (words, share) in enumerate(shares.items())]
    y = {"field": "place", "type": "ordinal", "axis": None}
    x = {"field": "used", "type": "quantitative", "axis": None, "scale": {"domain": [0, max(100.0, *shares.values())]}}
    return _spec(400, {"step": 46}, rows, view={"stroke": None}, layer=[
        {"mark": {"type": "bar", "color": "#e3e8ed", "height": 12, "yOffset": 9}, "encoding": {"y": y, "x": {**x, "field": "whole"}}},
        {"mark": {"type": "bar", "color": NEW, "height": 12, "yOffset": 9}, "encoding": {"y": y, "x": x}},
        {"mark": {"type": "text", "align": "left", "dy": -9, "fontSize": 12.5, "color": INK},
         "encoding": {"y": y, "x": {"value": 1}, "text": {"field": "what", "type": "nominal"}}},
        {"mark": {"type": "text", "align": "right", "dy": -9, "fontSize": 12.5, "color": INK},
         "encoding": {"y": y, "x": {"value": 399}, "text": {"field": "label", "type": "nominal"}}},
    ])  # fmt: skip


def use(found: Sequence[Limit], shown: Shown) -> Figure | None:
    """What the plan takes of budget and crew hours; None where none of them is above zero."""
    if not any(one.given > 0 for one in found):
        return None
    taken = (f"{one.words}: {shown.money(one.taken)} of {shown.money(one.given)} {one.unit}".rstrip() for one in found)
    return Figure(svg(use_spec(found)), f"The plan takes of its limits. {'; '.join(taken)}.", "What the plan takes of its limits.")


def curve_spec(plan: Mapping[str, Any]) -> dict[str, Any]:
    """Stop findings cured, and net value, against budget; the plan itself as a diamond on its budget."""
    points = [{"budget": point["budget"], "stops": point["stop_findings_cured"], "value": point["value"]} for point in plan["curve"]]
    here = {"budget": plan["budget"], "stops": plan["totals"]["stop_findings_cured"], "value": plan["value"]}
    money = {"format": "~s", "tickCount": 6}

    def panel(key: str, title: str, height: int, last: bool) -> dict[str, Any]:
        x = {"field": "budget", "type": "quantitative", "axis": {**money, "title": f"budget, {plan['currency']}" if last else None, "labels": last, "labelFlush": False}}
        axis = {"title": title, "tickCount": 5, **({"format": "~s"} if key == "value" else {"tickMinStep": 1})}
        encoding = {"x": x, "y": {"field": key, "type": "quantitative", "axis": axis}}
        return {"width": 400, "height": height, "layer": [
            {"mark": {"type": "line", "color": NEW, "strokeWidth": 1.5, "point": {"color": NEW, "size": 26, "filled": True}}, "encoding": encoding},
            {"data": {"values": [here]}, "mark": {"type": "rule", "strokeDash": [5, 4], "color": SOFT}, "encoding": {"x": x}},
            {"data": {"values": [here]}, "mark": {"type": "point", "shape": "diamond", "size": 130, "filled": True, "color": COLOURS["misfit"]},
             "encoding": encoding},
        ]}  # fmt: skip

    return chart({"data": {"values": points}, "spacing": 12, "vconcat": [
        panel("stops", "stop findings cured", 130, False), panel("value", f"net value, {plan['currency']}", 130, True),
    ]})  # fmt: skip


def curve(plan: Mapping[str, Any], shown: Shown) -> Figure | None:
    """The budget curve; None where no amount of money buys anything."""
    points: Sequence[Mapping[str, Any]] = plan.get("curve") or ()
    if not any(point["count"] for point in points) or not is_number(plan.get("value")):
        return None
    most = max(point["stop_findings_cured"] for point in points)
    enough = next(point["budget"] for point in points if point["stop_findings_cured"] == most)
    best = max(points, key=lambda point: float(point["value"]))
    value, cured = shown.money(plan["value"]).replace("-", "−"), plan["totals"]["stop_findings_cured"]
    alt = (
        f"Two curves over a budget from 0 to {shown.money(points[-1]['budget'])} {shown.currency}. At the budget of this plan, "
        f"{shown.money(plan['budget'])} {shown.currency}: {cured} stop finding{'' if cured == 1 else 's'} cured, net value {value} {shown.currency}. At most {most:.4g} stop "
        f"finding{' is' if most == 1 else 's are'} cured, from {shown.money(enough)} {shown.currency} on. The value is highest at {shown.money(best['budget'])} {shown.currency}."
    )
    caption = (
        "Stop findings cured and net value against budget. Dashed line and diamond: this plan. Dots: plans made for other budgets; the line only "
        "joins them. Stop findings come first, so value may fall where more money cures one more of them."
    )
    return Figure(svg(curve_spec(plan)), alt, caption)


_LINES = 16  # more lines than this are counted in the caption
_NAMED = 5  # the worst valves named in the picture of money against risk
_HERE = "http://here.invalid"  # stands for the workspace's own address while a picture is drawn: the engine changes bare paths


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a picture of counts. links: addresses inside the workspace by group, where a count can be looked at."""

    words: str
    counts: Mapping[str, int]
    links: Mapping[str, str] = field(default_factory=dict)


def linked(drawn: str) -> str:
    """A drawing whose marks were given `link` as their address, with addresses and names a page can use."""

    def here(found: re.Match[str]) -> str:
        return f'<a href="{found.group(1)}" aria-label="{escape(unquote(found.group(2)))}">'

    bare = re.sub(r' (role|aria-roledescription)="[^"]*"', "", drawn)  # roles that ask for a name on every group of marks
    return re.sub(rf'<a xlink:href="{re.escape(_HERE)}([^"#]*)#([^"]*)"[^>]*>', here, bare)


def _link(address: str, words: str) -> str:
    return f"{_HERE}{address}#{quote(words)}" if address else ""


def counts_spec(lines: Sequence[Line], groups: Sequence[tuple[str, str, str]]) -> dict[str, Any]:
    """Bars of counts, one row a line and one column a group, all on one scale. groups: name, heading, colour."""
    rows = [
        {"place": at, "words": cut(line.words, 34), "group": heading, "count": line.counts.get(name, 0), "label": line.counts.get(name, 0) or "",
         "link": _link(line.links.get(name, "") if line.counts.get(name) else "", f"{line.words}, {heading}: {line.counts.get(name, 0)} valves")}
        for at, line in enumerate(lines) for name, heading, _ in groups
    ]  # fmt: skip
    order = [heading for _, heading, _ in groups]
    names = [cut(line.words, 34) for line in lines]
    most = max((line.counts.get(name, 0) for line in lines for name, _, _ in groups), default=1)
    y = {"field": "place", "type": "ordinal", "title": None, "axis": {
        "labelExpr": f"{names!r}[datum.value]", "labelLimit": 210, "ticks": False, "domain": False, "labelPadding": 8}}  # fmt: skip
    x = {"field": "count", "type": "quantitative", "axis": None, "scale": {"domain": [0, 1.55 * most]}}
    colour = {"field": "group", "type": "nominal", "legend": None, "scale": {"domain": order, "range": [colour for _, _, colour in groups]}}
    head = {"title": None, "labelFontSize": 12, "labelColor": INK, "labelAnchor": "start", "labelFontWeight": "bold"}
    return chart({
        "data": {"values": rows}, "spacing": 6, "columns": len(groups),
        "facet": {"column": {"field": "group", "type": "nominal", "sort": order, "header": head}},
        "spec": {"width": {1: 250, 2: 120, 3: 86}.get(len(groups), 72), "height": {"step": 22}, "view": {"stroke": None}, "layer": [
            {"mark": {"type": "bar", "height": 11}, "encoding": {"y": y, "x": x, "color": colour}},
            {"mark": {"type": "text", "align": "left", "dx": 4, "fontSize": 12, "color": INK},
             "encoding": {"y": y, "x": x, "text": {"field": "label"}, "href": {"field": "link"}}},
        ]},
    })  # fmt: skip


def counts(title: str, lines: Sequence[Line], wanted: Sequence[tuple[str, str, str]]) -> Figure | None:
    """The picture of counts with its first lines and the groups (name, heading, colour) that hold any; None where there is nothing to count."""
    groups = [one for one in wanted if any(line.counts.get(one[0]) for line in lines)]
    if not groups:
        return None
    told = "; ".join(
        f"{line.words}: " + (", ".join(f"{line.counts[name]} {heading}" for name, heading, _ in groups if line.counts.get(name)) or "none")
        for line in lines[:_LINES]
    )  # fmt: skip
    more = f" The {len(lines) - _LINES} with fewer are left out." if len(lines) > _LINES else ""
    return Figure(linked(svg(counts_spec(lines[:_LINES], groups))), f"{title}. {told}.", f"{title}.{more}")


def trouble_by(title: str, lines: Sequence[Line]) -> Figure | None:
    """How many valves of each verdict stand on each line: a unit, a cause, an orifice letter. Numbers lead to the valves."""
    groups = [(word, f"{SHAPES[word]} {word}", COLOURS[word]) for word in VERDICTS]
    return counts(title, lines, groups)


def gaps(found: Sequence[tuple[str, int, int]]) -> Figure | None:
    """Which data are missing. found: field, valves judged with a default in its place, valves with a check it keeps open."""
    lines = [Line(field_words(name), {"default": default, "open": open_}) for name, default, open_ in found]
    return counts("Data gaps: valves with a field that is missing or in doubt", lines, [("default", "a default stands in", SOFT), ("open", "a check stays open", NEW)])


def money_spec(points: Sequence[Mapping[str, Any]], currency: str) -> dict[str, Any]:
    """Score against cost of the recommended remedy, one mark a valve, or fields of many. points: cost score verdict rank link."""
    order = [word for word in VERDICTS if any(point["verdict"] == word for point in points)]
    x = {"field": "cost", "type": "quantitative", "title": f"cost of the recommended remedy, middle, {currency}", "scale": {"type": "log", "nice": False},
         "axis": {"format": "~s", "tickCount": 5}}  # fmt: skip
    y = {"field": "score", "type": "quantitative", "title": "score: how bad", "scale": {"type": "sqrt"}}
    colour = {"field": "verdict", "type": "nominal", "title": None, "scale": {"domain": order, "range": [COLOURS[word] for word in order]}}
    shape = {"field": "verdict", "type": "nominal", "title": None, "scale": {"domain": order, "range": [_MARKS[word] for word in order]}}
    encoding: dict[str, Any] = {"x": x, "y": y, "color": colour, "shape": shape}
    mark: dict[str, Any] = {"type": "point", "filled": False, "size": 70, "strokeWidth": 1.6, "opacity": 0.9}
    layer: dict[str, Any] = {"mark": mark, "encoding": encoding}
    if len(points) > _MANY:
        fields = [{"calculate": "log(datum.cost)", "as": "lc"}, {"bin": {"step": 0.4}, "field": "lc", "as": "cost_bin"},
                  {"calculate": "sqrt(datum.score)", "as": "rs"}, {"bin": {"step": 0.8}, "field": "rs", "as": "score_bin"},
                  {"aggregate": [{"op": "count", "as": "valves"}, {"op": "mean", "field": "cost", "as": "cost"}, {"op": "mean", "field": "score", "as": "score"}],
                   "groupby": ["cost_bin", "score_bin", "verdict"]}]  # fmt: skip
        size = {"field": "valves", "type": "quantitative", "title": "valves", "scale": {"range": [12, 420]}}
        layer = {"transform": fields, "mark": {"type": "point", "filled": False, "strokeWidth": 1.4, "opacity": 0.8}, "encoding": {**encoding, "size": size}}
    worst = {
        "transform": [{"filter": "datum.label !== ''"}], "mark": {"type": "text", "dx": 9, "dy": -7, "fontSize": 12, "color": INK},
        "encoding": {"x": x, "y": y, "text": {"field": "label", "type": "nominal"}, "href": {"field": "link"}},
    }  # fmt: skip
    return _spec(400, 300, points, layer=[layer, worst])


def money(found: Sequence[Mapping[str, Any]], shown: Shown) -> Figure | None:
    """Money against risk; None where no remedy is priced. found: tag verdict rank cost score link of each valve."""
    priced = [one for one in found if is_number(one["cost"]) and one["cost"] > 0 and one["score"] > 0]
    if not priced:
        return None
    worst = sorted(priced, key=lambda one: one["rank"])[:_NAMED]
    points = [
        {**{name: one[name] for name in ("cost", "score", "verdict")}, "label": str(one["rank"]) if one["rank"] <= worst[-1]["rank"] else "",
         "link": _link(one["link"], f"{one['rank']}: {one['tag']}")}
        for one in priced
    ]  # fmt: skip
    told = "; ".join(f"rank {one['rank']}, {one['tag']}: {shown.money(one['cost'])} {shown.currency}, score {one['score']:.3g}" for one in worst)
    many = "Size of a mark: number of valves. " if len(points) > _MANY else ""
    caption = (
        f"Money against risk: {len(points)} valves with a priced remedy. Score: severity of what fails first, then how far it is beyond its limit. "
        f"{many}Figures: ranks of the worst. High on the left: much trouble, cheap to cure."
    )
    return Figure(linked(svg(money_spec(points, shown.currency))), f"Scatter of score against cost of the recommended remedy. {told}.", caption)
