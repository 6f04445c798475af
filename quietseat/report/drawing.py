"""Drawings of our own as SVG: the pressure ladder and the fit of the new body over the old one, both to scale."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from quietseat.report.document import Figure
from quietseat.report.words import DASH, Shown, clears, is_number

INK, SOFT, FAINT, NEW, ALARM = "#1c2530", "#55606e", "#b9c1ca", "#0b4f6c", "#9b2226"
_FONT = 'font-family="sans-serif"'
_WIDTH = 460.0
_DIMENSIONS = ("old_inlet_height_m", "old_outlet_reach_m", "new_inlet_height_m", "new_outlet_reach_m")


def apart(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places for labels as near as can be to the wanted ones (ascending), at least a gap apart, inside low to high."""
    places: list[float] = []
    for want in wanted:
        places.append(max(want, places[-1] + gap if places else low))
    ceiling = high
    for index in range(len(places) - 1, -1, -1):
        places[index] = min(places[index], ceiling)
        ceiling = places[index] - gap
    return places


def _text(x: float, y: float, words: str, *, size: float = 13, colour: str = INK, anchor: str = "start", bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" {_FONT} font-size="{size:g}" fill="{colour}" text-anchor="{anchor}"{weight}>'
        f"{escape(words)}</text>"
    )


def _line(x1: float, y1: float, x2: float, y2: float, colour: str = INK, width: float = 1.2, dash: str = "") -> str:
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="{width:g}"{dashes}/>'
    )


def _svg(width: float, height: float, parts: Iterable[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}" '
        f'width="{width:.0f}" height="{height:.0f}"><rect width="100%" height="100%" fill="#ffffff"/>{"".join(parts)}</svg>'
    )


def ladder(tag: str, rungs: Sequence[Mapping[str, Any]], shown: Shown) -> Figure | None:
    """The pressure ladder to scale between its lowest and highest rung; None with fewer than two rungs.

    Labels are moved apart where rungs stand close, never the rungs themselves. A rung that rests on a default or an
    estimate has a hollow mark and says so.
    """
    known = [rung for rung in rungs if is_number(rung.get("pressure_pa"))]
    known.sort(key=lambda rung: -rung["pressure_pa"])
    if len(known) < 2:
        return None
    top, bottom = known[0]["pressure_pa"], known[-1]["pressure_pa"]
    height = max(230.0, 34.0 * len(known) + 40)
    first, last = 26.0, height - 26.0
    span = (top - bottom) or 1.0
    marks = [first + (top - rung["pressure_pa"]) / span * (last - first) for rung in known]
    labels = apart(marks, 33.0, first, last)
    parts = [_line(34, first, 34, last, FAINT, 6)]
    for rung, mark, label in zip(known, marks, labels, strict=True):
        weak = _weak(str(rung.get("rests_on", "")))
        name = str(rung["name"])
        strong = name.lower() == "set" or name.lower().startswith("set pressure")
        colour = NEW if strong else INK
        parts.append(_line(20, mark, 48, mark, colour, 3 if strong else 1.8))
        parts.append(
            f'<circle cx="34" cy="{mark:.1f}" r="4.5" fill="{"#ffffff" if weak else colour}" stroke="{colour}" stroke-width="1.8"/>'
        )
        parts.append(f'<path d="M50 {mark:.1f} L66 {mark:.1f} L86 {label:.1f} L94 {label:.1f}" fill="none" stroke="{FAINT}"/>')
        parts.append(_text(100, label + 1, _short(name, 34), bold=True, colour=colour))
        parts.append(_text(_WIDTH - 8, label + 1, shown.pressure_of(rung["pressure_pa"]), anchor="end", colour=colour))
        parts.append(_text(100, label + 15, _short(str(rung.get("rests_on", "")), 58), size=11, colour=SOFT))
    said = "; ".join(
        f"{rung['name']} {shown.pressure_of(rung['pressure_pa'])}" + (f" ({rung['rests_on']})" if rung.get("rests_on") else "")
        for rung in known
    )
    return Figure(
        _svg(_WIDTH, height, parts), f"Pressure ladder of {tag}, from the top: {said}.",
        "Pressure ladder, to scale between its ends. A hollow mark rests on a default or an estimate.",
    )  # fmt: skip


def _weak(rests_on: str) -> bool:
    return rests_on.startswith(("default", "estimate", "assumed"))


def _short(words: str, most: int) -> str:
    return words if len(words) <= most else words[: most - 1].rstrip() + "…"


def has_drawing(fit: Mapping[str, Any] | None) -> bool:
    """Whether a fit holds the four dimensions its drawing needs."""
    return fit is not None and all(is_number(fit.get(key)) and fit[key] > 0 for key in _DIMENSIONS)


def fit_drawing(tag: str, title: str, fit: Mapping[str, Any], valve: Mapping[str, Any]) -> Figure | None:
    """Old body (dashed) and new body (solid) over each other, A and B to scale in mm; None without all four dimensions."""
    if not has_drawing(fit):
        return None
    old_a, old_b, new_a, new_b = (float(fit[key]) * 1000 for key in _DIMENSIONS)
    flange = _flanges(valve, min(old_a, new_a), min(old_b, new_b))
    tall, wide = max(old_a, new_a) + flange[1] / 2, max(old_b, new_b) + flange[0] / 2
    scale = min(230.0 / tall, 300.0 / wide)
    left, base = 112.0 + flange[0] * scale / 2, 48.0 + tall * scale
    parts = [
        _text(8, 18, "Old body: dashed.  New body: solid.", size=12, colour=SOFT),
        *_body(left, base, old_a * scale, old_b * scale, flange, scale, SOFT, "6 4"),
        *_body(left, base, new_a * scale, new_b * scale, flange, scale, NEW, ""),
        _line(left - flange[0] * scale / 2 - 12, base, left + flange[0] * scale / 2 + 12, base, INK, 1),
    ]
    x_old, x_new = 84.0, 44.0
    parts += _upright(x_old, base, old_a * scale, f"A old {old_a:.0f}", SOFT, left, "4 3")
    parts += _upright(x_new, base, new_a * scale, f"A new {new_a:.0f}", NEW, left, "")
    parts += _level(base + 30, left, old_b * scale, f"B old {old_b:.0f}", SOFT, base, "4 3")
    parts += _level(base + 54, left, new_b * scale, f"B new {new_b:.0f}", NEW, base, "")
    difference_a, difference_b = _difference(fit.get("difference_inlet_m")), _difference(fit.get("difference_outlet_m"))
    allowed = f"allowed ±{fit['tolerance_m'] * 1000:g} mm" if is_number(fit.get("tolerance_m")) else "allowed: not stated"
    parts.append(
        _text(8, base + 86, f"Difference (new − old):  A {difference_a},  B {difference_b}   ({allowed})", bold=True, size=12.5)
    )
    parts += _scale_bar(300, base + 100, scale)
    parts.append(_text(8, base + 108, "mm. A and B to scale; flanges and bonnet indicative.", size=11, colour=SOFT))
    words = (
        f"Fit of {title} at {tag}: inlet face to outlet centre line A old {old_a:.0f} mm, new {new_a:.0f} mm, difference {difference_a}; "
        f"outlet face to inlet centre line B old {old_b:.0f} mm, new {new_b:.0f} mm, difference {difference_b}; {allowed}."
    )
    return Figure(_svg(_WIDTH, base + 122, parts), words, f"Fit, to scale: {title}. {fit.get('words') or ''}".strip())


def _difference(value: Any) -> str:
    if not is_number(value):
        return DASH
    return "0 mm" if abs(value) < 5e-5 else f"{value * 1000:+.1f} mm".replace("-", "−")


def _flanges(valve: Mapping[str, Any], height: float, reach: float) -> tuple[float, float]:
    """Indicative flange widths in mm for the picture: twice the nominal bore and a little, kept inside the body."""
    inlet, outlet = valve.get("inlet_size"), valve.get("outlet_size")
    wide_in = 2.0 * 25.4 * inlet + 60 if is_number(inlet) else reach
    wide_out = 2.0 * 25.4 * outlet + 50 if is_number(outlet) else height
    return min(wide_in, 1.5 * reach), min(wide_out, 1.7 * height)


def _body(
    x: float, y: float, rise: float, reach: float, flange: tuple[float, float], scale: float, colour: str, dash: str
) -> list[str]:
    """An angle body as a plain outline: inlet flange below, outlet flange on the right, bonnet as a short stub."""
    half_in, half_out = flange[0] * scale / 2, flange[1] * scale / 2
    thick, neck_in, neck_out = 9.0, half_in * 0.5, half_out * 0.5
    centre, face = y - rise, x + reach
    top, stub = centre - neck_out - 10, neck_in * 0.6
    outline = [
        (x - half_in, y), (x - half_in, y - thick), (x - neck_in, y - thick), (x - neck_in - 4, centre), (x - neck_in, top),
        (x - stub, top), (x - stub, top - 20), (x + stub, top - 20), (x + stub, top), (x + neck_in, top),
        (x + neck_in + 4, centre - neck_out), (face - thick, centre - neck_out),
        (face - thick, centre - half_out), (face, centre - half_out), (face, centre + half_out),
        (face - thick, centre + half_out), (face - thick, centre + neck_out), (x + neck_in, centre + neck_out),
        (x + neck_in, y - thick), (x + half_in, y - thick), (x + half_in, y),
    ]  # fmt: skip
    path = "M" + " L".join(f"{a:.1f} {b:.1f}" for a, b in outline) + " Z"
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    fill = "none" if dash else "#0b4f6c"
    return [
        f'<path d="{path}" fill="{fill}" fill-opacity="0.07" stroke="{colour}" stroke-width="1.8" stroke-linejoin="round"{dashes}/>',
        _line(x, y + 6, x, top - 26, FAINT, 1, "10 3 2 3"),
        _line(x - 8, centre, face + 8, centre, colour, 0.8, "10 3 2 3"),
    ]


def _upright(x: float, base: float, length: float, words: str, colour: str, to: float, dash: str) -> list[str]:
    """A vertical dimension from the inlet face up to the outlet centre line, its words along it."""
    top, middle = base - length, base - length / 2
    return [
        _line(x, base, x, top, colour, 1.3, dash), _line(x - 5, base, x + 5, base, colour), _line(x - 5, top, to, top, colour, 0.7, "2 3"),
        f'<text transform="translate({x - 7:.1f} {middle:.1f}) rotate(-90)" {_FONT} font-size="12" fill="{colour}" '
        f'text-anchor="middle">{escape(words)}</text>',
    ]  # fmt: skip


def _level(y: float, left: float, length: float, words: str, colour: str, to: float, dash: str) -> list[str]:
    """A horizontal dimension from the inlet centre line to the outlet face."""
    return [
        _line(left, y, left + length, y, colour, 1.3, dash), _line(left, y - 5, left, y + 5, colour),
        _line(left + length, y + 5, left + length, to - 30, colour, 0.7, "2 3"),
        _text(left + length / 2, y - 5, words, size=12, colour=colour, anchor="middle"),
    ]  # fmt: skip


def _scale_bar(x: float, y: float, scale: float) -> list[str]:
    length = 100.0 if scale * 100 <= 120 else 50.0
    end = x + length * scale
    return [
        _line(x, y, end, y, INK, 2), _line(x, y - 4, x, y + 4), _line(end, y - 4, end, y + 4),
        _text(end + 6, y + 4, f"{length:.0f} mm", size=11),
    ]  # fmt: skip


_CLEARS_MARKS = {"yes": ("#1b5e4b", "circle"), "subject-to-proof": ("#8a5a00", "triangle"), "no": ("#6b7480", "bar")}


def cost_ranges(
    tag: str, remedies: Sequence[Mapping[str, Any]], recommended: str | None, shown: Shown, most: int = 12
) -> Figure | None:
    """Low, middle and high of the whole-life cost of each priced remedy, best first; None when none is priced."""
    priced = [remedy for remedy in remedies if (remedy.get("cost") or {}).get("total")]
    drawn, total = priced[:most], len(priced)
    if not drawn:
        return None
    top = max(remedy["cost"]["total"]["high"] for remedy in drawn) or 1.0
    step = _round_step(top)
    ends, width = -(-top // step) * step, _WIDTH - 60
    base = 34.0 + 34.0 * len(drawn)
    parts = _clears_legend({str(remedy["clears"]) for remedy in drawn})
    for index in range(round(ends / step) + 1):
        x = 12 + width * index * step / ends
        parts.append(_line(x, 30, x, base + 4, "#e3e8ed" if index else SOFT, 1))
        parts.append(_text(x, base + 18, f"{index * step / 1000:g}", size=12, anchor="middle"))
    parts.append(_text(12 + width / 2, base + 35, f"whole-life cost, thousand {shown.currency}".strip(), size=12, anchor="middle"))
    for index, remedy in enumerate(drawn):
        y = 48.0 + 34.0 * index
        bold = remedy["name"] == recommended
        parts.append(_text(14, y, _short(str(remedy["title"]), 58) + (" (recommended)" if bold else ""), size=12, bold=bold))
        low, mid, high = (12 + width * remedy["cost"]["total"][key] / ends for key in ("low", "mid", "high"))
        parts += _range_mark(low, mid, high, y + 10, str(remedy["clears"]))
    alt = f"Cost ranges at {tag}, best remedy first: " + "; ".join(
        f"{remedy['title']}, {clears(remedy['clears'])}: {shown.spread(remedy['cost']['total'])}" for remedy in drawn
    )
    more = f" {most} of {total} priced remedies are drawn." if total > most else ""
    return Figure(
        _svg(_WIDTH, base + 44, parts), f"{alt} {shown.currency}.",
        f"Whole-life cost of the remedies, low to high, mark at the middle, in thousand {shown.currency}.{more}",
    )  # fmt: skip


def _round_step(top: float) -> float:
    """A step of 1, 2 or 5 times a power of ten that gives five to ten divisions."""
    power = 10.0 ** math.floor(math.log10(top / 5))
    return next(factor * power for factor in (1, 2, 5, 10) if top / (factor * power) <= 8)


def _clears_legend(present: set[str]) -> list[str]:
    parts: list[str] = []
    x = 14.0
    for word in _CLEARS_MARKS:
        if word in present:
            parts += [*_range_mark(x + 5, x + 5, x + 5, 12, word), _text(x + 16, 16, clears(word), size=12)]
            x += 32 + 6.4 * len(clears(word))
    return parts


def _range_mark(low: float, mid: float, high: float, y: float, word: str) -> list[str]:
    """A line from low to high with a mark of its own shape at the middle."""
    colour, shape = _CLEARS_MARKS.get(word, _CLEARS_MARKS["no"])
    marks = {
        "circle": f'<circle cx="{mid:.1f}" cy="{y:.1f}" r="5" fill="{colour}"/>',
        "triangle": f'<path d="M{mid:.1f} {y - 6:.1f} l6 10.5 h-12 Z" fill="{colour}"/>',
        "bar": f'<rect x="{mid - 2:.1f}" y="{y - 6:.1f}" width="4" height="12" fill="{colour}"/>',
    }
    return [_line(low, y, high, y, colour, 3), marks[shape]]
