"""Drawings of our own as SVG: the pressure ladder and the cost ranges, to scale; the fit drawing has its own package."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from html import escape
from typing import Any

from quietseat.report.document import Figure
from quietseat.report.fit import fit_drawing, has_drawing, to_measure
from quietseat.report.words import Shown, clears, is_number

__all__ = ["apart", "cost_ranges", "fit_drawing", "has_drawing", "ladder", "to_measure"]

INK, SOFT, FAINT, NEW, ALARM = "#1c2530", "#55606e", "#b9c1ca", "#0b4f6c", "#9b2226"
_FONT = 'font-family="sans-serif"'
_WIDTH = 460.0


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
