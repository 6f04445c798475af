"""A scene as SVG: one user unit is one millimetre on paper."""

from __future__ import annotations

import math
from html import escape

from quietseat.report.fit.scene import LAYERS, TEXT, UNKNOWN, Circle, Dimension, Path, Point, Scene, Shape, Text

_PX = 0.225  # mm on paper of one unit of an SVG's width in the PDF: the picture is as wide there as the sheet says
_ARROW, _ROOM = 2.2, 9.0  # paper mm: length of an arrowhead; below this the arrows stand outside

_SHARED = 'font-family="sans-serif" stroke-linejoin="round"'


def render(scene: Scene) -> str:
    """The SVG, with title and description for those who do not see it; the same scene gives the same text."""
    printer = _Printer(scene)
    body = "".join(printer.shape(shape) for shape in scene.shapes)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="fit-sheet" viewBox="0 0 {_n(scene.width)} {_n(scene.height)}" '
        f'width="{scene.width / _PX:.1f}" height="{scene.height / _PX:.1f}" data-scale="{scene.scale:g}">'
        f"<title>{escape(scene.title)}</title><desc>{escape(scene.alt)}</desc>"
        f'<rect width="100%" height="100%" fill="#ffffff"/><g {_SHARED}>{body}</g></svg>'
    )


def _n(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


class _Printer:
    """Turns shapes into elements; y runs down here."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene

    def at(self, point: Point) -> Point:
        """Real mm to paper mm."""
        x, y = self.scene.corner
        return (point[0] - x) / self.scene.scale, self.scene.height - (point[1] - y) / self.scene.scale

    def shape(self, shape: Shape) -> str:
        """One shape as an element."""
        if isinstance(shape, Path):
            return self.path(shape)
        if isinstance(shape, Circle):
            x, y = self.at(shape.centre)
            look = _look(shape.layer, shape.unknown, shape.thin)
            return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(shape.radius / self.scene.scale)}" fill="none"{look}/>'
        if isinstance(shape, Text):
            return _words(
                self.at(shape.at),
                shape.words,
                shape.layer,
                shape.height,
                shape.anchor,
                bold=shape.bold,
                turned=shape.turned,
            )
        return self.dimension(shape)

    def path(self, path: Path) -> str:
        """Lines and arcs; an arc that turns anticlockwise in the drawing has sweep 0 on a page whose y runs down."""
        points = [self.at(point) for point in path.points]
        parts = [f"M{_n(points[0][0])} {_n(points[0][1])}"]
        ends = [*points[1:], points[0]] if path.closed else points[1:]
        bulges = path.bulges or (0.0,) * len(points)
        for (x0, y0), (x, y), bulge in zip(points, ends, bulges, strict=False):
            if bulge:
                radius = math.hypot(x - x0, y - y0) * (1 + bulge * bulge) / (4 * abs(bulge))
                parts.append(f"A{_n(radius)} {_n(radius)} 0 {int(abs(bulge) > 1)} {int(bulge < 0)} {_n(x)} {_n(y)}")
            else:
                parts.append(f"L{_n(x)} {_n(y)}")
        wash = f'{LAYERS[path.layer].colour}" fill-opacity="0.07' if path.filled else "none"
        closing = "Z" if path.closed else ""
        return f'<path d="{"".join(parts)}{closing}" fill="{wash}"{_look(path.layer, path.unknown)}/>'

    def dimension(self, found: Dimension) -> str:
        """Two witness lines, the dimension line with its arrows, and the words along it."""
        axis = 1 if found.upright else 0
        first, second = sorted((found.first, found.second), key=lambda point: point[axis])
        ends = [(found.place, point[1]) if found.upright else (point[0], found.place) for point in (first, second)]
        (x1, y1), (x2, y2) = (self.at(end) for end in ends)
        look = _look(found.layer)
        out = [
            _line(*self.at(point), *_past(self.at(point), self.at(end)), look)
            for point, end in zip((first, second), ends, strict=True)
        ]
        out.append(
            f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" data-dimension="{escape(found.name)}"{look}/>'
        )
        tight = found.length / self.scene.scale < _ROOM
        for (x, y), turn in (((x1, y1), 1), ((x2, y2), -1)):
            out.append(_arrow(x, y, (-turn if tight else turn), found.upright, LAYERS[found.layer].colour))
            if tight:
                away = 4.0 * turn
                out.append(_line(x, y, x if found.upright else x - away, y + away if found.upright else y, look))
        if found.beside is not None:
            return "".join(out) + _words(self.at(found.beside), found.words, found.layer, TEXT, "start")
        x, y = self.at((found.place, found.middle) if found.upright else (found.middle, found.place))
        spot = (x - 0.8, y) if found.upright else (x, y - 0.8)
        return "".join(out) + _words(spot, found.words, found.layer, TEXT, "middle", turned=found.upright)


def _past(start: Point, end: Point) -> Point:
    """A little beyond the dimension line, as witness lines go."""
    length = math.hypot(end[0] - start[0], end[1] - start[1]) or 1.0
    return end[0] + (end[0] - start[0]) / length * 1.2, end[1] + (end[1] - start[1]) / length * 1.2


def _line(x1: float, y1: float, x2: float, y2: float, look: str) -> str:
    return f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}"{look}/>'


def _arrow(x: float, y: float, turn: int, upright: bool, colour: str) -> str:
    """An arrowhead whose tip is at the point; turn 1: its tail lies to the right or, upright, above."""
    long, half = _ARROW * turn, _ARROW / 6
    tail = ((x - half, y - long), (x + half, y - long)) if upright else ((x + long, y - half), (x + long, y + half))
    corners = " ".join(f"{_n(a)},{_n(b)}" for a, b in ((x, y), *tail))
    return f'<polygon points="{corners}" fill="{colour}"/>'


def _look(name: str, unknown: bool = False, thin: bool = False) -> str:
    layer = LAYERS[name]
    dashes = UNKNOWN if unknown else layer.dashes
    dashed = f' stroke-dasharray="{" ".join(_n(dash) for dash in dashes)}"' if dashes else ""
    return f' stroke="{layer.colour}" stroke-width="{_n(layer.width / 2 if thin else layer.width)}"{dashed}'


def _words(
    at: Point,
    words: str,
    layer: str,
    height: float,
    anchor: str,
    *,
    bold: bool = False,
    turned: bool = False,
) -> str:
    """One line of words."""
    x, y = _n(at[0]), _n(at[1])
    weight = ' font-weight="bold"' if bold else ""
    place = f'transform="translate({x} {y}) rotate(-90)"' if turned else f'x="{x}" y="{y}"'
    return (
        f'<text {place} font-size="{_n(height)}" fill="{LAYERS[layer].colour}" text-anchor="{anchor}"{weight}>'
        f"{escape(words)}</text>"
    )
