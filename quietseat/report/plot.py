"""Plain charts as SVG of our own: curves over one axis, and the bars of a tornado. Quick, where each valve has one.

Only geometry of drawing happens here; numbers come in the unit that is printed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from html import escape

from quietseat.report.drawing import INK, NEW, SOFT
from quietseat.report.words import cut

WIDTH = 460.0
PALE = "#cfe0e8"  # the end at the low value of an input
GRID = "#e3e8ed"
STROKES = (
    (NEW, ""),
    ("#6aa3bd", "8 4"),
    ("#9b2226", "2 3"),
    ("#b0762b", "9 3 2 3"),
)  # a dash of its own for each, beside its colour

Curve = tuple[str, Sequence[tuple[float, float]]]


def curves(drawn: Sequence[Curve], x_title: str, y_title: str, across: float, upright: float) -> str:
    """Up to four curves from zero, with a dashed line across at one value and an upright line at one place."""
    points = [point for _, curve in drawn for point in curve]
    right, top = max(upright, *(x for x, _ in points)), max(across, *(y for _, y in points)) * 1.04
    legend = 18.0 * len(drawn)
    x, y = _scale(0.0, right, 50.0, WIDTH - 14), _scale(0.0, top, legend + 215, legend + 12)
    parts = []
    for value in ticks(0.0, top):
        parts += [
            _line(x(0.0), y(value), x(right), y(value), GRID),
            _text(x(0.0) - 6, y(value) + 4, f"{value:g}", anchor="end"),
        ]
    for value in ticks(0.0, right, 10):
        parts.append(_text(x(value), y(0.0) + 17, f"{value:g}", anchor="middle"))
    parts += [
        _line(x(0.0), y(0.0), x(right), y(0.0), SOFT), _text((x(0.0) + x(right)) / 2, y(0.0) + 35, x_title, anchor="middle"),
        _text(-(y(0.0) + y(top)) / 2, 14, y_title, anchor="middle", turned=True),
        _line(x(0.0), y(across), x(right), y(across), SOFT, 1.4, "5 4"), _line(x(upright), y(0.0), x(upright), y(top), INK),
    ]  # fmt: skip
    for at, ((name, curve), (colour, dash)) in enumerate(zip(drawn, STROKES)):
        path = " L".join(f"{x(one):.1f} {y(value):.1f}" for one, value in curve)
        parts.append(
            f'<path d="M{path}" fill="none" stroke="{colour}" stroke-width="2.2" stroke-linejoin="round"{_dashes(dash)}/>'
        )
        parts += [_line(50, 12 + 18.0 * at, 84, 12 + 18.0 * at, colour, 2.4, dash), _text(92, 16 + 18.0 * at, name)]
    return _svg(y(0.0) + 44, parts)


def swings(bars: Sequence[tuple[str, float, float]], middle: float, title: str, shown: Callable[[float], str]) -> str:
    """Bars from the middle to the value at the low (pale) and at the high (dark) end of an input, with a dashed line at zero.

    bars: name, value at the low end, value at the high end. shown: prints a value beneath the axis.
    """
    ends = [0.0, middle, *(end for _, *pair in bars for end in pair)]
    spare = 0.03 * (max(ends) - min(ends)) or 1.0
    x = _scale(min(ends) - spare, max(ends) + spare, 12.0, WIDTH - 12)
    base = 22.0 + 38.0 * len(bars)
    parts = _swing_legend()
    for value in ticks(min(ends), max(ends), 6):
        parts += [_line(x(value), 26, x(value), base, GRID), _text(x(value), base + 17, shown(value), anchor="middle")]
    parts += [_line(x(middle), 26, x(middle), base, INK), _line(x(0.0), 26, x(0.0), base, INK, 1.8, "6 3"),
              _text(WIDTH / 2, base + 35, title, anchor="middle")]  # fmt: skip
    for at, (name, low, high) in enumerate(bars):
        y = 40.0 + 38.0 * at
        parts += [_bar(x(middle), x(end), y + 6, fill) for end, fill in ((low, PALE), (high, NEW))]
        parts.append(_text(14, y, cut(name, 66)))
    return _svg(base + 44, parts)


def ticks(low: float, high: float, most: int = 7) -> list[float]:
    """Round values from low to high, at most so many: steps of 1, 2 or 5 times a power of ten. Empty without a span."""
    if not high > low:
        return []
    power = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next(factor * power for factor in (1, 2, 5, 10, 20) if (high - low) / (factor * power) <= most)
    return [
        round(index * step, 12) for index in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)
    ]


def _scale(low: float, high: float, start: float, end: float) -> Callable[[float], float]:
    return lambda value: start + (value - low) / (high - low) * (end - start)


def _swing_legend() -> list[str]:
    return [
        _bar(14, 30, 5, PALE), _text(38, 16, "input at its 10 % value"), _bar(204, 220, 5, NEW), _text(228, 16, "at its 90 % value"),
    ]  # fmt: skip


def _bar(one: float, other: float, y: float, fill: str) -> str:
    return (
        f'<rect x="{min(one, other):.1f}" y="{y:.1f}" width="{max(abs(other - one), 0.5):.1f}" height="12" fill="{fill}" '
        f'stroke="{NEW}" stroke-width="0.8"/>'
    )


def _text(x: float, y: float, words: str, *, anchor: str = "start", turned: bool = False) -> str:
    """Words with a white rim, so that a line behind them does not cross them out."""
    turn = ' transform="rotate(-90)"' if turned else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-family="sans-serif" font-size="12" fill="{INK}" stroke="#ffffff" stroke-width="3" '
        f'stroke-linejoin="round" paint-order="stroke" text-anchor="{anchor}"{turn}>'
        f"{escape(words)}</text>"
    )


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, width: float = 1.0, dash: str = "") -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" stroke-width="{width:g}"{_dashes(dash)}/>'


def _dashes(dash: str) -> str:
    return f' stroke-dasharray="{dash}"' if dash else ""


def _svg(height: float, parts: Iterable[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:.0f} {height:.0f}" width="{WIDTH:.0f}" height="{height:.0f}">'
        f'<rect width="100%" height="100%" fill="#ffffff"/>{"".join(parts)}</svg>'
    )
