"""The views of a fit drawing: both bodies from the side with their dimensions, and both flanges from the end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from quietseat.report.fit.body import Body, Flange, end, side
from quietseat.report.fit.scene import TEXT, Dimension, Path, Point, Shape, Text, bounds, hatched, line, number, wrapped
from quietseat.report.words import is_number

_LEFT, _FOOT, _RIGHT, _HEAD = (
    19.0,
    19.0,
    31.0,
    13.0,
)  # paper mm round the bodies: dimensions, dimensions, mismatch, removal space
_SPOOL = 13.0  # paper mm, drawn length of a spool: its real length is measured
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
        """New less old, inlet height and outlet reach, mm, as the study has them."""
        found = (self.fit.get("difference_inlet_m"), self.fit.get("difference_outlet_m"))
        plain = (self.new.a - self.old.a, self.new.b - self.old.b)
        up, out = (
            float(value) * 1000 if is_number(value) else drawn for value, drawn in zip(found, plain, strict=True)
        )
        return up, out


def extent(given: Given, scale: float) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of the side view with its dimensions, real mm."""
    left, low, right, _ = bounds([*side(given.old, scale), *side(given.new, scale)])
    return (
        left - _LEFT * scale,
        low - (_FOOT + _below(given, scale)) * scale,
        right + _RIGHT * scale,
        _top(given, scale),
    )


def _top(given: Given, scale: float) -> float:
    """Top of the room above the bodies, clear of the words over the outlet flange."""
    _, _, _, high = bounds([*side(given.old, scale), *side(given.new, scale)])
    return max(high + _HEAD * scale, _faces(given)[1] + 18.5 * scale)


def side_view(given: Given, scale: float) -> list[Shape]:
    """Both bodies on one inlet face; the existing one, dashed, lies over the candidate so that neither hides the other."""
    old, new = given.old, given.new
    return [
        *_room(given, scale), *side(new, scale), *side(old, scale), *_centre_lines(given, scale), *_lengths(given, scale), *_insert(given, scale),
        *_outlet_spool(given, scale), *_mismatch_up(given, scale), *_mismatch_out(given, scale), *_outlet_words(given, scale),
    ]  # fmt: skip


def _faces(given: Given) -> tuple[float, float]:
    """The farther outlet face and the higher top of the outlet flanges."""
    old, new = given.old, given.new
    return max(old.b, new.b), max(old.a + old.outlet.outside / 2, new.a + new.outlet.outside / 2)


def _lowest(given: Given) -> float:
    return min(body.a - body.outlet.outside / 2 for body in (given.old, given.new))


def _clear(given: Given, scale: float) -> float:
    """x right of the outlet faces, and of the spool where there is one."""
    return _faces(given)[0] + ((_SPOOL if _spooled(given) else 2.0) + 1.0) * scale


def _spooled(given: Given) -> bool:
    """An outlet spool is drawn where the study counts one or the outlet flanges differ in size."""
    counted = given.fit.get("spool_length_m") is not None and given.fit.get("verdict") != "spacer"
    return (counted and any(abs(gap) > _SAME for gap in given.differences)) or _reduced(given, "outlet")


def _reduced(given: Given, which: str) -> bool:
    old, new = getattr(given.old, which), getattr(given.new, which)
    return old.nps is not None and new.nps is not None and old.nps != new.nps


def _below(given: Given, scale: float) -> float:
    """Paper mm under the inlet face for a spacer ring or a reducing spool."""
    thick = _ring(given)
    if _reduced(given, "inlet"):
        return _SPOOL
    return thick / scale if thick else 0.0


def _ring(given: Given) -> float | None:
    """Thickness of the inlet spacer, mm."""
    length = given.fit.get("spool_length_m")
    return float(length) * 1000 if given.fit.get("verdict") == "spacer" and length else None


def _centre_lines(given: Given, scale: float) -> list[Shape]:
    old, new = given.old, given.new
    left, low, _, high = bounds([*side(old, scale), *side(new, scale)])
    end_x = _clear(given, scale) + 8.0 * scale
    heights = (old.a,) if abs(old.a - new.a) <= _SAME else (old.a, new.a)
    return [
        line("centre-lines", (0.0, low - (3.0 + _below(given, scale)) * scale), (0.0, high + 3.0 * scale)),
        *(line("centre-lines", (left, height), (end_x, height)) for height in heights),
        line("dimensions", (left - _LEFT * scale, 0.0), (max(old.inlet.outside, new.inlet.outside) / 2 + 2.0 * scale, 0.0)),
        Text("text", (left - _LEFT * scale, -3.0 * scale), "inlet face"),
    ]  # fmt: skip


def _lengths(given: Given, scale: float) -> list[Shape]:
    """A and B of both bodies with the tolerance of the table, or the word measured."""
    left, _, _, _ = bounds([*side(given.old, scale), *side(given.new, scale)])
    foot = -_below(given, scale) * scale
    shapes: list[Shape] = []
    for body, row in ((given.old, 1), (given.new, 2)):
        after = ["", ""]
        for index in (0, 1):
            if body.marks[index] in ("measured", "as the existing"):
                after[index] = "measured" if body.marks[index] == "measured" else "to order"
            elif body.tolerance is not None:
                after[index] = f"±{number(body.tolerance)}"
        named = "existing" if body.layer == "existing" else "new"
        shapes += [
            Dimension(f"{named} A", "dimensions", (0.0, 0.0), (0.0, body.a), left + (1.0 - 7.5 * row) * scale, True,
                      f"A {named}", after[0]),
            Dimension(f"{named} B", "dimensions", (0.0, 0.0), (body.b, body.a - body.outlet.outside / 2), foot + (0.5 - 7.5 * row) * scale,
                      False, f"B {named}", after[1]),
        ]  # fmt: skip
    return shapes


def _mismatch_up(given: Given, scale: float) -> list[Shape]:
    """Hatched band between the two outlet centre lines, dimensioned."""
    old, new = given.old, given.new
    x = _clear(given, scale)
    if abs(old.a - new.a) <= _SAME:
        return []
    low, high = sorted((old.a, new.a))
    return [
        *hatched("mismatch", x, low, x + 4.0 * scale, high, 1.0 * scale),
        Dimension("mismatch A", "mismatch", (x + 4.0 * scale, old.a), (x + 4.0 * scale, new.a), x + 7.0 * scale, True,
                  beside=(x + 8.2 * scale, (low + high) / 2 - 0.4 * TEXT * scale)),
    ]  # fmt: skip


def _outlet_words(given: Given, scale: float) -> list[Shape]:
    """Names of mismatch and spool in one column under the outlet, so that they never stand over one another."""
    old, new = given.old, given.new
    at = (_faces(given)[0] + 1.5 * scale, min(body.a - body.neck_out for body in (old, new)) - 4.4 * scale)
    shapes = _lines("mismatch", words_up(given), at, scale)
    if _spooled(given):
        words = "outlet spool, length to be measured"
        if _reduced(given, "outlet"):
            words = f"reducing spool NPS {new.outlet.nps:g} to {old.outlet.nps:g}, length to be designed"
        shapes += _lines("spool", words, (at[0], at[1] - (3.0 * len(shapes) + 1.0) * scale), scale)
    return shapes


def _mismatch_out(given: Given, scale: float) -> list[Shape]:
    """Hatched band between the two outlet faces above the flanges, dimensioned and named."""
    old, new = given.old, given.new
    face, top = _faces(given)
    y = top + 1.5 * scale
    if abs(old.b - new.b) <= _SAME:
        return _lines("mismatch", words_out(given), (face - 4.0 * scale, y + 3.4 * scale), scale)
    left, right = sorted((old.b, new.b))
    return [
        *hatched("mismatch", left, y, right, y + 4.0 * scale, 1.0 * scale),
        Dimension("mismatch B", "mismatch", (old.b, y + 4.0 * scale), (new.b, y + 4.0 * scale), y + 7.0 * scale, False,
                  beside=(right + 4.2 * scale, y + 6.2 * scale)),
        *_lines("mismatch", words_out(given), (right + 4.2 * scale, y + 2.9 * scale), scale),
    ]  # fmt: skip


def _lines(layer: str, words: str, at: Point, scale: float, width: float = 29.0) -> list[Shape]:
    """Words in short lines, downward."""
    return [Text(layer, (at[0], at[1] - 3.0 * scale * index), text) for index, text in enumerate(wrapped(words, width))]


def _insert(given: Given, scale: float) -> list[Shape]:
    """What goes under the inlet face: a spacer ring to scale, or a reducing spool of a length still to be found."""
    old, new = given.old, given.new
    ring = _ring(given)
    left, _, _, _ = extent(given, scale)
    at = (left, -6.4 * scale)
    if ring is not None:
        half = new.inlet.face / 2
        return [
            *hatched("spool", -half, -ring, half, 0.0, 1.2 * scale),
            *_lines(
                "spool",
                f"spacer ring {number(ring)} mm under the new inlet face",
                at,
                scale,
                (-half - left) / scale - 1.5,
            ),
        ]
    if not _reduced(given, "inlet"):
        return []
    foot = -_SPOOL * scale
    points = ((-new.neck_in, 0.0), (-old.neck_in, foot), (old.neck_in, foot), (new.neck_in, 0.0))
    return [
        Path("spool", points, closed=True),
        *_lines("spool", f"reducing spool NPS {old.inlet.nps:g} to {new.inlet.nps:g}, length to be designed", at, scale,
                (-old.neck_in - left) / scale - 1.5),
    ]  # fmt: skip


def _outlet_spool(given: Given, scale: float) -> list[Shape]:
    """From the new outlet face to the existing outlet pipe."""
    if not _spooled(given):
        return []
    old, new = given.old, given.new
    face = _faces(given)[0]
    to = face + _SPOOL * scale
    points = (
        (new.b, new.a - new.neck_out),
        (to, old.a - old.neck_out),
        (to, old.a + old.neck_out),
        (new.b, new.a + new.neck_out),
    )
    return [Path("spool", points, closed=True)]


def _room(given: Given, scale: float) -> list[Shape]:
    """The room above the bodies: dashed, open in height, because no table has it."""
    half = 1.12 * max(given.old.lid, given.new.lid) + scale
    left = half + (7.5 * scale if "pilot" in (given.old.kind, given.new.kind) else 0.0)
    top = _top(given, scale) - 1.0 * scale
    foot = max(given.old.top, given.new.top)
    return [
        line("envelope", (-left, foot), (-left, top)),
        line("envelope", (half, foot), (half, top)),
        Text("envelope", (half + 2.5 * scale, top - 2.4 * scale), "height and removal space"),
        Text("envelope", (half + 2.5 * scale, top - 5.4 * scale), "not known: measure"),
    ]  # fmt: skip


def end_views(given: Given, scale: float, middle: float, top: float, width: float) -> list[Shape]:
    """Inlet and outlet flange one under the other; only what differs is drawn twice."""
    shapes: list[Shape] = []
    for which in ("inlet", "outlet"):
        old, new = getattr(given.old, which), getattr(given.new, which)
        radius = max(old.outside, new.outside) / 2
        shapes.append(
            Text("text", (middle, top - 3.0 * scale), f"{which} flange, seen from the pipe", anchor="middle", bold=True)
        )
        centre = top - 6.0 * scale - radius
        shapes += _end(old, new, middle, centre, radius + 2.0 * scale)
        top = centre - radius - 5.0 * scale
        for words in _end_words(given, which, old, new, width / scale):
            shapes.append(Text("text", (middle, top), words, 2.1, "middle"))
            top -= 3.0 * scale
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
    return [text for words in (*lines, words_flange(given, which)) for text in wrapped(words, width, 2.1)]


def words_flange(given: Given, which: str) -> str:
    """Whether the flange fits, as the study says it."""
    found = next((flange for flange in given.fit.get("flanges") or () if flange.get("end") == which), None)
    return str(found.get("words") or "") if found else "not compared"


def words_up(given: Given) -> str:
    """The difference in height of the outlet centre lines."""
    up = given.differences[0]
    return (
        "outlet centre lines agree"
        if abs(up) <= _SAME
        else f"new outlet centre line {number(abs(up))} mm {'higher' if up > 0 else 'lower'}"
    )


def words_out(given: Given) -> str:
    """The difference in reach of the outlet faces."""
    out = given.differences[1]
    return (
        "outlet faces agree"
        if abs(out) <= _SAME
        else f"new outlet face {number(abs(out))} mm {'further out' if out > 0 else 'further in'}"
    )
