"""A drawing as plain shapes in millimetres of the real thing, each on a named layer; printers make SVG and DXF of it.

x to the right, y up, the centre of the existing inlet face at (0, 0). Heights of text, widths of lines and dashes are millimetres on paper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

Point = tuple[float, float]
TEXT, SMALL = 2.8, 2.65  # mm on paper, height of ordinary and of the smallest words: 7.9 and 7.5 points
LINE = 3.5  # mm on paper from one line of words to the next
_WIDE = 0.5  # width of an average letter over the height of the text; generous for the fonts of page and paper


@dataclass(frozen=True, slots=True)
class Layer:
    """How a layer looks: colour on screen, colour number in a DXF, line width and dashes in mm on paper."""

    name: str
    colour: str
    number: int
    width: float
    dashes: tuple[float, ...] = ()  # line, gap, line, gap


# Every layer differs from the others by its dashes or its width too: grey print keeps them apart.
LAYERS = {
    layer.name: layer
    for layer in (
        Layer("existing", "#5f6b77", 8, 0.35, (2.4, 1.2)),
        Layer("candidate", "#0b4f6c", 5, 0.5),
        Layer("centre-lines", "#55606e", 4, 0.13, (6.0, 1.0, 1.0, 1.0)),
        Layer("dimensions", "#1c2530", 7, 0.13),
        Layer("mismatch", "#9b2226", 1, 0.25),
        Layer("spool", "#7a4d00", 30, 0.3, (4.5, 0.9, 0.9, 0.9, 0.9, 0.9)),
        Layer("envelope", "#55606e", 9, 0.2, (0.8, 0.8)),
        Layer("text", "#1c2530", 7, 0.18),
        Layer("sheet", "#1c2530", 7, 0.25),
    )
}
UNKNOWN = (0.6, 0.9)  # dashes of what no table and no measurement gives


@dataclass(frozen=True, slots=True)
class Path:
    """Straight lines and arcs. bulges: one a segment, tan of a quarter of its angle, positive anticlockwise; () all straight."""

    layer: str
    points: tuple[Point, ...]
    bulges: tuple[float, ...] = ()
    closed: bool = False
    filled: bool = False  # a faint wash in the picture, nothing in a DXF
    unknown: bool = False


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle."""

    layer: str
    centre: Point
    radius: float
    unknown: bool = False
    thin: bool = False  # half the width of its layer's lines


@dataclass(frozen=True, slots=True)
class Text:
    """One line of words. anchor: start, middle, end; turned: read from the right."""

    layer: str
    at: Point
    words: str
    height: float = TEXT
    anchor: str = "start"
    bold: bool = False
    turned: bool = False


@dataclass(frozen=True, slots=True)
class Dimension:
    """A measured distance between two points along x or, upright, along y; its line stands at `place` on the other axis.

    after: words behind the number; along: where on the line the number stands, its middle unless given; beside: where it stands when
    the arrows need the room between.
    """

    name: str
    layer: str
    first: Point
    second: Point
    place: float
    upright: bool
    after: str = ""
    along: float | None = None
    beside: Point | None = None

    @property
    def length(self) -> float:
        """mm."""
        axis = 1 if self.upright else 0
        return abs(self.second[axis] - self.first[axis])

    @property
    def words(self) -> str:
        """The number with what stands behind it."""
        return f"{tenths(self.length)} {self.after}".rstrip()

    @property
    def middle(self) -> float:
        """Where on the line the number stands, real mm."""
        axis = 1 if self.upright else 0
        return (self.first[axis] + self.second[axis]) / 2 if self.along is None else self.along


Shape = Path | Circle | Text | Dimension


@dataclass(frozen=True, slots=True)
class Scene:
    """A finished sheet. scale: real mm to one mm on paper; corner: the lower left corner of the sheet, real mm."""

    shapes: tuple[Shape, ...]
    scale: float
    width: float  # mm on paper
    height: float
    corner: Point
    title: str
    alt: str


def tenths(length: float) -> str:
    """Millimetres with one decimal, as every length of a body is printed."""
    return f"{round(length, 3) + 1e-6:.1f}"  # 19.05 less a rounding error is still 19.1


def number(length: float) -> str:
    """Millimetres with one decimal, none where it is zero."""
    return tenths(length).removesuffix(".0")


def wide(words: str, height: float = TEXT) -> float:
    """About how wide words come out, mm on paper."""
    return len(words) * height * _WIDE


def wrapped(words: str, width: float, height: float = TEXT) -> list[str]:
    """Words in lines that fit a width, mm on paper."""
    most = max(int(width / (height * _WIDE)), 8)
    lines: list[str] = []
    for word in words.split():
        if lines and len(lines[-1]) + 1 + len(word) <= most:
            lines[-1] += f" {word}"
        else:
            lines += [word[at : at + most] for at in range(0, len(word), most)]
    return lines


def line(layer: str, *points: Point, unknown: bool = False) -> Path:
    """An open chain of straight lines."""
    return Path(layer, points, unknown=unknown)


def box(layer: str, left: float, bottom: float, right: float, top: float, *, unknown: bool = False) -> Path:
    """A rectangle."""
    return Path(layer, ((left, bottom), (right, bottom), (right, top), (left, top)), closed=True, unknown=unknown)


def hatched(layer: str, left: float, bottom: float, right: float, top: float, gap: float) -> list[Path]:
    """A rectangle filled with lines at 45 degrees, a gap (real mm) apart."""
    out = [box(layer, left, bottom, right, top)]
    wide_, tall = right - left, top - bottom
    for index in range(1, math.ceil((wide_ + tall) / gap)):
        along = index * gap
        start = (left + along, bottom) if along <= wide_ else (right, bottom + along - wide_)
        end = (left, bottom + along) if along <= tall else (left + along - tall, top)
        out.append(line(layer, start, end))
    return out


def bounds(shapes: Sequence[Shape]) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of paths and circles, real mm."""
    xs: list[float] = []
    ys: list[float] = []
    for shape in shapes:
        if isinstance(shape, Path):
            xs += [x for x, _ in shape.points]
            ys += [y for _, y in shape.points]
        elif isinstance(shape, Circle):
            xs += [shape.centre[0] - shape.radius, shape.centre[0] + shape.radius]
            ys += [shape.centre[1] - shape.radius, shape.centre[1] + shape.radius]
    return min(xs), min(ys), max(xs), max(ys)


def moved(shapes: Sequence[Path | Circle], up: float) -> list[Path | Circle]:
    """The shapes, higher by a length."""
    return [
        replace(shape, centre=(shape.centre[0], shape.centre[1] + up)) if isinstance(shape, Circle)
        else replace(shape, points=tuple((x, y + up) for x, y in shape.points))
        for shape in shapes
    ]  # fmt: skip


def broken(layer: str, start: Point, end: Point, tooth: float) -> Path:
    """A straight line with a tooth in its middle: what goes on there is not drawn to length."""
    (x0, y0), (x1, y1) = start, end
    length = math.hypot(x1 - x0, y1 - y0)
    along, across = ((x1 - x0) / length, (y1 - y0) / length), (-(y1 - y0) / length, (x1 - x0) / length)
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)

    def at(far: float, out: float) -> Point:
        return middle[0] + far * along[0] + out * across[0], middle[1] + far * along[1] + out * across[1]

    return line(layer, start, at(-tooth, 0.0), at(-tooth / 3, tooth), at(tooth / 3, -tooth), at(tooth, 0.0), end)
