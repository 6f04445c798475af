"""Two pressure ladders on one scale: as it is on the left, as changed on the right. Layout only."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from quietseat.report.document import Figure
from quietseat.report.drawing import apart
from quietseat.report.words import Shown, is_number

_INK, _SOFT, _FAINT, _NEW = "#1c2530", "#55606e", "#b9c1ca", "#0b4f6c"
_WIDTH, _FIRST, _GAP, _LEFT, _RIGHT = 640.0, 44.0, 18.0, 275.0, 365.0


def ladders(
    tag: str, before: Sequence[Mapping[str, Any]], after: Sequence[Mapping[str, Any]], units: Shown
) -> Figure | None:
    """Both ladders of a what-if, equal rungs joined by a line; None where neither has two rungs."""
    sides = [_known(before), _known(after)]
    every: list[float] = [rung["pressure_pa"] for side in sides for rung in side]
    if len(every) < 2 or max(every) == min(every):
        return None
    top, span = max(every), max(every) - min(every)
    height = max(240.0, _FIRST + 20 + _GAP * 1.6 * max(len(side) for side in sides))
    last = height - 16

    def at(value: float) -> float:
        return _FIRST + (top - value) / span * (last - _FIRST)

    parts = [_text(_LEFT, 20, "as it is", "end", _SOFT), _text(_RIGHT, 20, "changed", "start", _NEW, bold=True)]
    parts += [
        f'<line x1="{x}" y1="{_FIRST}" x2="{x}" y2="{last:.1f}" stroke="{_FAINT}" stroke-width="5"/>'
        for x in (_LEFT, _RIGHT)
    ]
    same = {rung["name"]: rung["pressure_pa"] for rung in sides[0]}
    for rung in sides[1]:
        if rung["name"] in same:
            dash = "" if same[rung["name"]] == rung["pressure_pa"] else ' stroke-dasharray="4 3"'
            parts.append(
                f'<line x1="{_LEFT}" y1="{at(same[rung["name"]]):.1f}" x2="{_RIGHT}" y2="{at(rung["pressure_pa"]):.1f}" stroke="{_FAINT}"{dash}/>'
            )
    parts += _side(sides[0], at, last, units, left=True, other={}) + _side(
        sides[1], at, last, units, left=False, other=same
    )
    said = "; ".join(_told(rung, same, units) for rung in sides[1])
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" class="overlay" viewBox="0 0 {_WIDTH:.0f} {height:.0f}" width="{_WIDTH:.0f}" height="{height:.0f}">{"".join(parts)}</svg>'
    return Figure(
        svg,
        f"Pressure ladders of {tag} before and after, from the top: {said}.",
        "Both pressure ladders to one scale. Dashed: a rung that moved.",
    )


def _told(rung: Mapping[str, Any], same: Mapping[str, float], units: Shown) -> str:
    """A rung in words, with what it was where it moved."""
    said = f"{rung['name']} {units.pressure_of(rung['pressure_pa'])}"
    was = same.get(str(rung["name"]), rung["pressure_pa"])
    return said if was == rung["pressure_pa"] else f"{said}, was {units.pressure_of(was)}"


def _known(rungs: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return sorted((rung for rung in rungs if is_number(rung.get("pressure_pa"))), key=lambda rung: -rung["pressure_pa"])


def _side(
    rungs: Sequence[Mapping[str, Any]], at: Any, last: float, units: Shown, *, left: bool, other: Mapping[str, float]
) -> list[str]:
    """Marks and labels of one ladder; a rung that is new or moved stands out in weight and colour."""
    marks = [at(rung["pressure_pa"]) for rung in rungs]
    spots = apart(marks, _GAP, _FIRST, last)
    x, turn, anchor = (_LEFT, -1, "end") if left else (_RIGHT, 1, "start")
    parts = []
    for rung, mark, spot in zip(rungs, marks, spots, strict=True):
        moved = not left and other.get(rung["name"]) != rung["pressure_pa"]
        colour = _NEW if moved else _INK
        parts.append(f'<circle cx="{x}" cy="{mark:.1f}" r="4" fill="{colour}"/>')
        parts.append(
            f'<path d="M{x + 6 * turn} {mark:.1f} L{x + 14 * turn} {spot:.1f} L{x + 18 * turn} {spot:.1f}" fill="none" stroke="{_FAINT}"/>'
        )
        name = str(rung["name"])
        short = name if len(name) <= 24 else f"{name[:23]}…"
        parts.append(
            _text(
                x + 22 * turn,
                spot + 4,
                f"{short}  {units.pressure_of(rung['pressure_pa'])}",
                anchor,
                colour,
                bold=moved,
            )
        )
    return parts


def _text(x: float, y: float, words: str, anchor: str, colour: str, *, bold: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-family="sans-serif" font-size="12.5" fill="{colour}" text-anchor="{anchor}"{weight}>{escape(words)}</text>'
