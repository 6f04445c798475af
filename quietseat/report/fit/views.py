"""The views of a fit drawing: both bodies from the side with their dimensions, and both flanges from the end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, NamedTuple

from quietseat.report.fit.body import Body, Flange, end, side
from quietseat.report.fit.scene import (
    LINE,
    SMALL,
    TEXT,
    Circle,
    Dimension,
    Path,
    Point,
    Shape,
    Text,
    bounds,
    box,
    broken,
    hatched,
    line,
    moved,
    number,
    tenths,
    wide,
    wrapped,
)
from quietseat.report.words import is_number

# Paper mm round the bodies: dimensions, dimensions, mismatch, removal space.
_LEFT, _FOOT, _RIGHT, _HEAD = 19.0, 18.0, 32.0, 13.0
_FIRST, _NEXT = 5.0, 8.5  # paper mm from the bodies to the first dimension line, and to the second
# Paper mm, drawn neck of an inlet spool and length of an outlet spool: no real length is known.
_NECK, _SPOOL = 11.0, 13.0
_SAME = 0.05  # mm: what prints as 0


class Given(NamedTuple):
    """What a drawing says besides its geometry."""

    tag: str
    title: str
    study: str
    fit: Mapping[str, Any]
    old: Body
    new: Body

    @property
    def differences(self) -> tuple[float, float]:
        """New less old, inlet height and outlet reach, mm: of the lengths as they are printed."""
        return self.new.a - self.old.a, self.new.b - self.old.b

    @property
    def allowed(self) -> float:
        """By how much a joint may be out, mm."""
        found = self.fit.get("tolerance_m")
        return float(found) * 1000 + 1e-6 if is_number(found) else _SAME

    @property
    def ring(self) -> float:
        """Thickness of a spacer ring on the existing inlet face, mm; 0 where there is none."""
        length = self.fit.get("spool_length_m")
        return float(length) * 1000 if self.fit.get("verdict") == "spacer" and is_number(length) else 0.0

    @property
    def on_spool(self) -> bool:
        """Whether the new valve stands on a reducing spool, whose height nobody knows before it is designed."""
        return self.reduced("inlet")

    @property
    def rise(self) -> float | None:
        """Difference in height of the outlet centre lines with what stands under the new valve, mm; None where not known."""
        return None if self.on_spool else self.differences[0] + self.ring

    def reduced(self, which: str) -> bool:
        """Whether the inlet or outlet flanges differ in size."""
        old, new = getattr(self.old, which), getattr(self.new, which)
        return old.nps is not None and new.nps is not None and old.nps != new.nps

    def lift(self, scale: float) -> float:
        """Height of the new inlet face over the existing one as it is drawn, mm: a spool's neck is indicative."""
        return self.old.inlet.thickness + self.new.inlet.thickness + _NECK * scale if self.on_spool else self.ring


def _candidate(given: Given, scale: float) -> list[Path | Circle]:
    """The new valve on the existing inlet face, or on what stands on that face."""
    return moved(side(given.new, scale), given.lift(scale))


def _bounds(given: Given, scale: float) -> tuple[float, float, float, float]:
    return bounds([*side(given.old, scale), *_candidate(given, scale)])


def extent(given: Given, scale: float) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of the side view with its dimensions, real mm."""
    left, low, right, _ = _bounds(given, scale)
    words = [shape.at[1] for shape in (*_outlet_words(given, scale), *_under(given, scale)) if isinstance(shape, Text)]
    return (
        left - _LEFT * scale,
        min(low - _FOOT * scale, min(words) - 2.0 * scale),
        right + _RIGHT * scale,
        _top(given, scale),
    )


def _top(given: Given, scale: float) -> float:
    """Top of the room above the bodies, clear of the words over the outlet flange."""
    return max(_bounds(given, scale)[3] + _HEAD * scale, _faces(given, scale)[1] + 21.0 * scale)


def side_view(given: Given, scale: float) -> list[Shape]:
    """Both bodies; the existing one, dashed, lies over the candidate so that neither hides the other."""
    return [
        *_room(given, scale), *_candidate(given, scale), *side(given.old, scale), *_centre_lines(given, scale), *_insert(given, scale),
        *_outlet_spool(given, scale), *_lengths(given, scale), *_under(given, scale), *_mismatch_up(given, scale),
        *_mismatch_out(given, scale), *_outlet_words(given, scale),
    ]  # fmt: skip


def _outlets(given: Given, scale: float) -> tuple[tuple[Body, float], tuple[Body, float]]:
    """Both bodies with the height of their outlet centre lines as drawn."""
    return (given.old, given.old.a), (given.new, given.lift(scale) + given.new.a)


def _faces(given: Given, scale: float) -> tuple[float, float]:
    """The farther outlet face and the higher top of the outlet flanges."""
    return max(given.old.b, given.new.b), max(high + body.outlet.outside / 2 for body, high in _outlets(given, scale))


def _clear(given: Given, scale: float) -> float:
    """x right of the outlet faces, and of the spool where there is one."""
    return _faces(given, scale)[0] + ((_SPOOL if _spooled(given) else 2.0) + 1.0) * scale


def _spooled(given: Given) -> bool:
    """An outlet spool is drawn where the outlet flange moves by more than a joint may be out, or differs in size."""
    if given.rise is None or given.reduced("outlet"):
        return True
    moves = max(abs(given.rise), abs(given.differences[1])) > given.allowed
    return moves and given.fit.get("verdict") in ("spool", "does not fit")


def _centre_lines(given: Given, scale: float) -> list[Shape]:
    old, new = given.old, given.new
    left, low, _, high = _bounds(given, scale)
    end_x = _clear(given, scale) + 8.0 * scale
    heights = [high for _, high in _outlets(given, scale)]
    if given.rise is not None and abs(given.rise) <= given.allowed:
        heights = heights[:1]
    return [
        line("centre-lines", (0.0, low - 3.0 * scale), (0.0, high + 3.0 * scale)),
        *(line("centre-lines", (left, height), (end_x, height)) for height in heights),
        line("dimensions", (left - _LEFT * scale, 0.0), (max(old.inlet.outside, new.inlet.outside) / 2 + 2.0 * scale, 0.0)),
    ]  # fmt: skip


def _lengths(given: Given, scale: float) -> list[Shape]:
    """A and B of both bodies: the number with its tolerance on one side of the line, the name on the other."""
    left, low, _, _ = _bounds(given, scale)
    lift = given.lift(scale)
    shapes: list[Shape] = []
    pair = ((given.old, 0.0), (given.new, lift))
    for row, (body, foot, middle) in enumerate(_rows(pair)):
        x = left - (_FIRST + _NEXT * row) * scale
        shapes += [
            Dimension(
                f"{_named(body)} A", "dimensions", (0.0, foot), (0.0, foot + body.a), x, True, _after(body, 0), middle
            ),
            Text("dimensions", (x + 3.1 * scale, middle), f"A {_named(body)}", anchor="middle", turned=True),
        ]
    across = sorted(pair, key=lambda one: one[0].b)  # no line of the longer one crosses the shorter
    for row, (body, foot) in enumerate(across):
        y = low - (_FIRST + _NEXT * row) * scale
        under = foot + body.a - body.outlet.outside / 2
        tight = 0.96 * wide(length(body, 1)) > body.b / scale
        beside = (body.b + 1.8 * scale, y - 0.35 * TEXT * scale) if tight else None
        shapes += [
            Dimension(
                f"{_named(body)} B", "dimensions", (0.0, 0.0), (body.b, under), y, False, _after(body, 1), beside=beside
            ),
            Text("dimensions", (body.b / 2, y - 3.1 * scale), f"B {_named(body)}", anchor="middle"),
        ]
    return shapes


def _named(body: Body) -> str:
    return "existing" if body.layer == "existing" else "new"


def _after(body: Body, index: int) -> str:
    """What stands behind a length: the tolerance of make, or that it is measured or to order."""
    if body.marks[index] in ("measured", "as the existing"):
        return "measured" if body.marks[index] == "measured" else "to order"
    return f"±{number(body.tolerance)}" if body.tolerance is not None else ""


def length(body: Body, index: int) -> str:
    """A or B of a body with what stands behind it, mm."""
    return f"{tenths((body.a, body.b)[index])} {_after(body, index)}".rstrip()


def _rows(pair: Sequence[tuple[Body, float]]) -> list[tuple[Body, float, float]]:
    """Bodies with their inlet faces, the inner dimension first, and where on its line each number stands.

    The lines of the outer one cross the inner one: that stands inside which they leave the widest piece, the shorter of two alike.
    """
    tried: list[tuple[float, float, int, list[tuple[Body, float, float]]]] = []
    for (body, foot), (other, base) in (pair, pair[::-1]):
        ends = sorted({foot, foot + body.a, *(cut for cut in (base, base + other.a) if foot < cut < foot + body.a)})
        low, high = max(pairwise(ends), key=lambda piece: round(piece[1] - piece[0], 6))
        inside_out = [(body, foot, (low + high) / 2), (other, base, base + other.a / 2)]
        tried.append((-round(high - low, 6), body.a, len(tried), inside_out))
    return min(tried)[3]


def _mismatch_up(given: Given, scale: float) -> list[Shape]:
    """Hatched band between the two outlet centre lines, dimensioned; none below the tolerance or where the height is not known."""
    if given.rise is None or abs(given.rise) <= given.allowed:
        return []
    x = _clear(given, scale)
    old, new = (height for _, height in _outlets(given, scale))
    low, high = sorted((old, new))
    return [
        *hatched("mismatch", x, low, x + 4.0 * scale, high, 1.0 * scale),
        Dimension("mismatch A", "mismatch", (x + 4.0 * scale, old), (x + 4.0 * scale, new), x + 7.0 * scale, True,
                  beside=(x + 8.8 * scale, (low + high) / 2 - 0.35 * TEXT * scale)),
    ]  # fmt: skip


def _outlet_words(given: Given, scale: float) -> list[Shape]:
    """Names of mismatch and spool in one column under the outlet, so that they never stand over one another."""
    old, new = given.old, given.new
    at = (
        _faces(given, scale)[0] + 1.5 * scale,
        min(high - body.neck_out for body, high in _outlets(given, scale)) - 5.0 * scale,
    )
    agrees = given.rise is not None and abs(given.rise) <= given.allowed
    shapes = _lines("text" if agrees else "mismatch", words_up(given), at, scale)
    if _spooled(given):
        words = "outlet spool, length to be measured"
        if given.reduced("outlet"):
            words = f"reducing spool NPS {new.outlet.nps:g} to {old.outlet.nps:g}, length to be designed"
        shapes += _lines("spool", words, (at[0], at[1] - (LINE * len(shapes) + 1.0) * scale), scale)
    return shapes


def _mismatch_out(given: Given, scale: float) -> list[Shape]:
    """Hatched band between the two outlet faces above the flanges, dimensioned and named; words alone below the tolerance."""
    old, new = given.old, given.new
    face, top = _faces(given, scale)
    y = top + 1.5 * scale
    if abs(given.differences[1]) <= given.allowed:
        return _lines("text", words_out(given), (face + 1.5 * scale, y + 4.4 * scale), scale)
    left, right = sorted((old.b, new.b))
    return [
        *hatched("mismatch", left, y, right, y + 4.0 * scale, 1.0 * scale),
        Dimension("mismatch B", "mismatch", (old.b, y + 4.0 * scale), (new.b, y + 4.0 * scale), y + 7.0 * scale, False,
                  beside=(right + 5.6 * scale, y + 6.0 * scale)),
        *_lines("mismatch", words_out(given), (right + 2.0 * scale, y + 2.0 * scale), scale),
    ]  # fmt: skip


def _lines(layer: str, words: str, at: Point, scale: float, width: float = 30.0) -> list[Shape]:
    """Words in short lines, downward."""
    return [
        Text(layer, (at[0], at[1] - LINE * scale * index), text) for index, text in enumerate(wrapped(words, width))
    ]


def _insert(given: Given, scale: float) -> list[Shape]:
    """What stands on the existing inlet face: a spacer ring to scale, or a reducing spool whose neck is broken off."""
    if given.ring:
        half = given.new.inlet.face / 2
        return [*hatched("spool", -half, 0.0, half, given.ring, 1.2 * scale)]
    if not given.on_spool:
        return []
    old, new, top = given.old.inlet, given.new.inlet, given.lift(scale)
    low, high = old.thickness, top - new.thickness
    middle, gap = (low + high) / 2, 1.3 * scale
    shapes: list[Shape] = [
        replace(box("spool", -flange.outside / 2, foot, flange.outside / 2, head), filled=True)
        for flange, foot, head in ((old, 0.0, low), (new, high, top))
    ]
    for neck, start, stop in ((given.old.neck_in, low, middle - gap), (given.new.neck_in, high, middle + gap)):
        shapes += [line("spool", (side_ * neck, start), (side_ * neck, stop)) for side_ in (-1, 1)]
        shapes.append(broken("spool", (-neck, stop), (neck, stop), 1.0 * scale))
    return shapes


def _under(given: Given, scale: float) -> list[Shape]:
    """Names of the inlet face and of what stands on it, left of the inlet centre line."""
    left, low, _, _ = _bounds(given, scale)
    at = (left - _LEFT * scale, min(low, 0.0) - 3.6 * scale)
    width = -at[0] / scale - 2.0
    if given.ring:
        words = f"spacer ring {number(given.ring)} mm on the existing inlet face"
    elif given.on_spool:
        words = (
            f"reducing spool NPS {given.old.inlet.nps:g} to {given.new.inlet.nps:g} on the existing inlet face, "
            "height not known until it is designed, neck broken off"
        )
    else:
        return _lines("text", "inlet face", at, scale, width)
    shapes = _lines("text", "existing inlet face", at, scale, width)
    return [*shapes, *_lines("spool", words, (at[0], at[1] - (LINE + 0.5) * scale), scale, width)]


def _outlet_spool(given: Given, scale: float) -> list[Shape]:
    """From the new outlet face to the existing outlet pipe, its length broken off."""
    if not _spooled(given):
        return []
    old, new = given.old, given.new
    from_, to = new.b, _faces(given, scale)[0] + _SPOOL * scale
    high = given.lift(scale) + new.a
    points = (
        (from_, high - new.neck_out),
        (to, old.a - old.neck_out),
        (to, old.a + old.neck_out),
        (from_, high + new.neck_out),
    )
    low_mid, high_mid = (
        ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2) for a, b in ((points[0], points[1]), (points[3], points[2]))
    )
    return [Path("spool", points, closed=True), broken("spool", low_mid, high_mid, 1.0 * scale)]


def _room(given: Given, scale: float) -> list[Shape]:
    """The room above the bodies: dashed, open in height, because no table has it."""
    half = 1.12 * max(given.old.lid, given.new.lid) + scale
    left = half + (7.5 * scale if "pilot" in (given.old.kind, given.new.kind) else 0.0)
    top = _top(given, scale) - 1.0 * scale
    foot = max(given.old.top, given.lift(scale) + given.new.top)
    return [
        line("envelope", (-left, foot), (-left, top)),
        line("envelope", (half, foot), (half, top)),
        Text("envelope", (half + 2.5 * scale, top - 2.4 * scale), "height and removal space"),
        Text("envelope", (half + 2.5 * scale, top - (2.4 + LINE) * scale), "not known: measure"),
    ]  # fmt: skip


def end_views(given: Given, scale: float, middle: float, top: float, width: float) -> list[Shape]:
    """Inlet and outlet flange one under the other; only what differs is drawn twice."""
    shapes: list[Shape] = []
    for which in ("inlet", "outlet"):
        old, new = getattr(given.old, which), getattr(given.new, which)
        radius = max(old.outside, new.outside) / 2
        shapes.append(
            Text("text", (middle, top - 3.0 * scale), f"{which} flange, from the pipe", anchor="middle", bold=True)
        )
        centre = top - 7.0 * scale - radius
        shapes += _end(old, new, middle, centre, radius + 2.0 * scale)
        top = centre - radius - 6.0 * scale
        for words in _end_words(given, which, old, new, width / scale):
            shapes.append(Text("text", (middle, top), words, SMALL, "middle"))
            top -= LINE * scale
        top -= 2.0 * scale
    return shapes


def _end(old: Flange, new: Flange, x: float, y: float, reach: float) -> list[Shape]:
    same = old.drilling == new.drilling and old.outside == new.outside and old.face == new.face
    return [
        line("centre-lines", (x - reach, y), (x + reach, y)), line("centre-lines", (x, y - reach), (x, y + reach)),
        *end(new, "candidate", x, y), *([] if same else end(old, "existing", x, y)),
    ]  # fmt: skip


def _end_words(given: Given, which: str, old: Flange, new: Flange, width: float) -> list[str]:
    if old == new:
        lines = [f"existing and new: {new.name}", new.holes]
    else:
        lines = [f"existing: {old.name}", old.holes, f"new: {new.name}", new.holes]
    return [text for words in (*lines, words_flange(given, which)) for text in wrapped(words, width, SMALL)]


def words_flange(given: Given, which: str) -> str:
    """Whether the flange fits, as the study says it."""
    found = next((flange for flange in given.fit.get("flanges") or () if flange.get("end") == which), None)
    return str(found.get("words") or "") if found else "not compared"


def words_up(given: Given) -> str:
    """The difference in height of the outlet centre lines, with what stands under the new valve."""
    up = given.differences[0]
    if given.rise is None:
        more = "" if abs(up) <= _SAME else f" {'plus' if up > 0 else 'less'} {tenths(abs(up))} mm"
        return f"new outlet centre line higher by the height of the spool{more}"
    ring = f" on the ring of {number(given.ring)} mm" if given.ring else ""
    if abs(given.rise) <= given.allowed:
        return f"outlet centre lines agree within {number(given.allowed)} mm{ring}"
    return f"new outlet centre line {tenths(abs(given.rise))} mm {'higher' if given.rise > 0 else 'lower'}{ring}"


def words_out(given: Given) -> str:
    """The difference in reach of the outlet faces."""
    out = given.differences[1]
    if abs(out) <= given.allowed:
        return f"outlet faces agree within {number(given.allowed)} mm"
    return f"new outlet face {tenths(abs(out))} mm {'further out' if out > 0 else 'further in'}"
