"""The whole fit drawing as one scene: side view, end views of both flanges, notes and title block. Layout only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from quietseat.report.fit import views
from quietseat.report.fit.body import KINDS, bodies, complete
from quietseat.report.fit.scene import (
    LINE,
    SMALL,
    TEXT,
    Scene,
    Shape,
    Text,
    bounds,
    box,
    hatched,
    line,
    number,
    tenths,
    wide,
    wrapped,
)
from quietseat.report.fit.views import Given
from quietseat.report.words import MARKS, clean, is_number

WIDTH = 170.0  # mm, as the PDF prints it
WARNING = "Not for fabrication: measure on site before ordering."
_SCALES = (1, 2, 2.5, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100)
_EDGE, _GAP, _COLUMN = 3.0, 4.0, 45.0  # paper mm: border, space between the views, least width of the end views


def sheet(tag: str, title: str, fit: Mapping[str, Any], valve: Mapping[str, Any], study: str = "") -> Scene | None:
    """The scene of one fit; None where one of its four centre-to-face lengths is not known."""
    if not complete(fit):
        return None
    old, new = bodies(fit, valve)
    given = Given(clean(tag), clean(title), study, fit, old, new)
    scale = next((scale for scale in _SCALES if _wide(given, scale) <= WIDTH - 2 * _EDGE), _SCALES[-1])
    return _laid_out(given, scale)


def _wide(given: Given, scale: float) -> float:
    """Width of both views side by side, mm on paper."""
    left, _, right, _ = views.extent(given, scale)
    return (right - left) / scale + _GAP + _column(given, scale)


def _column(given: Given, scale: float) -> float:
    flanges = [flange for body in (given.old, given.new) for flange in (body.inlet, body.outlet)]
    return max(_COLUMN, max(flange.outside for flange in flanges) / scale + 4.0)


def _laid_out(given: Given, scale: float) -> Scene:
    """Views from the top down, then notes, then the title block; paper mm times scale are real mm."""
    left, low, right, high = views.extent(given, scale)
    spare = WIDTH - 2 * _EDGE - _wide(given, scale)
    left -= spare / 2 * scale
    shapes = views.side_view(given, scale)
    middle = right + (spare / 2 + _GAP + _column(given, scale) / 2) * scale
    shapes += views.end_views(given, scale, middle, high, _column(given, scale) * scale)
    corner_x = left - _EDGE * scale
    top = high + 7.0 * scale
    shapes += _legend(corner_x + _EDGE * scale, top - 3.5 * scale, scale)
    shapes += _noted(_notes(given), (corner_x + _EDGE * scale, low - 1.0 * scale), (right - left) / scale, scale)
    bottom = min(bounds(shapes)[1], min(shape.at[1] for shape in shapes if isinstance(shape, Text))) - 3.0 * scale

    def at(x: float, y: float) -> tuple[float, float]:
        """Paper mm from the left edge and from the foot of the views."""
        return corner_x + x * scale, bottom + y * scale

    block, y = _title_block(given, scale, 0.0, at)
    shapes += block
    height = (top - bottom) / scale + _EDGE - y + 1.0
    corner = (corner_x, bottom + (y - 1.0) * scale)
    frame = box(
        "sheet", corner[0] + scale, corner[1] + scale, corner[0] + (WIDTH - 1) * scale, corner[1] + (height - 1) * scale
    )
    return Scene(
        (*shapes, frame), scale, WIDTH, height, corner, f"Fit drawing of {given.title} at {given.tag}", described(given)
    )


def _legend(x: float, y: float, scale: float) -> list[Shape]:
    """A sample of each kind of line with its meaning."""
    shapes: list[Shape] = []
    said = (
        ("existing", "existing valve"), ("candidate", "candidate"), ("mismatch", "mismatch"), ("spool", "spool, spacer"),
        ("envelope", "room not known"),
    )  # fmt: skip
    for layer, words in said:
        if layer == "mismatch":
            shapes += hatched(layer, x, y - 0.2 * scale, x + 8 * scale, y + 1.8 * scale, 1.1 * scale)
        else:
            shapes.append(line(layer, (x, y + 0.8 * scale), (x + 8 * scale, y + 0.8 * scale)))
        shapes.append(Text("text", (x + 9.2 * scale, y), words))
        x += (14.5 + wide(words)) * scale
    return shapes


def _noted(notes: list[str], start: tuple[float, float], width: float, scale: float) -> list[Shape]:
    """Notes under the side view, each in lines of a width on paper."""
    x, y = start
    shapes: list[Shape] = []
    for note in notes:
        for text in wrapped(note, width, SMALL):
            y -= LINE * scale
            shapes.append(Text("text", (x, y), text, SMALL))
        y -= 0.9 * scale
    return shapes


def _notes(given: Given) -> list[str]:
    """What the drawing cannot show or does not know, as sentences."""
    said = str(given.fit.get("words") or "")
    notes = [f"Fit: {given.fit.get('verdict')}. {said[:1].upper()}{said[1:]}".strip()]
    notes.append(
        "To scale: faces, centre lines, flange outlines and bolt holes. Indicative only: body walls, bonnet, cap, pilot, tubing, spool lengths. "
        f"{_flanges_rest_on(given)} Thickness is the least of the standard (from memory, verify): cast flanges may be thicker."
    )
    notes.append("Height of either valve and the room to lift it out stand in no table at hand: measure both.")
    clearance = (given.fit.get("drawing") or {}).get("clearance_m")
    if clearance:
        low, high = (number(float(end) * 1000) for end in clearance)
        notes.append(
            f"Pilot and tubing: check {low} to {high} mm round the valve for tubing and access to the pilot (from memory, verify)."
        )
    for body in (given.old, given.new):
        for end, flange in (("inlet", body.inlet), ("outlet", body.outlet)):
            if body is given.new and flange == (given.old.inlet if end == "inlet" else given.old.outlet):
                continue
            if flange.unknown:
                notes.append(
                    f"{body.layer.capitalize()} {end} flange, {flange.name}: {', '.join(flange.unknown)} not known, dotted by guess."
                )
            if flange.facing == "ring-joint":
                notes.append(
                    f"{body.layer.capitalize()} {end} flange has a ring-joint face, not drawn: ask to which plane its length is given."
                )
            elif not flange.facing:
                notes.append(f"Facing of the {body.layer} {end} flange is not stated: drawn with a raised face.")
    return notes


def _flanges_rest_on(given: Given) -> str:
    drawn = given.fit.get("drawing") or {}
    ends = [(drawn.get(body) or {}).get(end) for body in ("old", "new") for end in ("inlet", "outlet")]
    marks = dict.fromkeys(str(end["confidence"]) for end in ends if isinstance(end, Mapping) and end.get("confidence"))
    said = " and ".join(MARKS.get(mark, mark) for mark in marks)
    return f"Flanges by ASME B16.5: {said}." if said else "Flanges: not in a table."


def _title_block(given: Given, scale: float, y: float, at: Any) -> tuple[list[Shape], float]:
    """Framed lines at the foot; returns the shapes and the height below which nothing stands."""
    inner = WIDTH - 2 * _EDGE
    bar = 100.0 if 100.0 / scale <= 40 else 50.0
    rows = [
        [("Valve", given.tag, 0.28), ("Remedy", given.title, 0.72)],
        [("Scale", f"1 : {scale:g} when printed {WIDTH:g} mm wide", 0.34), ("Study", given.study or "its hash stands on the study's first page", 0.66)],
        [("Lengths rest on", _confidence(given), 1.0)],
    ]  # fmt: skip
    shapes: list[Shape] = [line("sheet", at(_EDGE, y), at(WIDTH - _EDGE, y))]
    for row in rows:
        x, deepest = _EDGE, 0.0
        for name, words, share in row:
            label = wide(f"{name}: ", SMALL) + 1.5
            lines = wrapped(words, inner * share - label - 2, TEXT)
            shapes.append(Text("text", at(x, y - 3.6), f"{name}:", SMALL))
            shapes += [
                Text("text", at(x + label, y - 3.6 - LINE * index), text, TEXT) for index, text in enumerate(lines)
            ]
            deepest = max(deepest, LINE * len(lines))
            x += inner * share
        y -= deepest + 2.0
        shapes.append(line("sheet", at(_EDGE, y), at(WIDTH - _EDGE, y)))
    shapes.append(Text("text", at(_EDGE, y - 4.4), WARNING, 3.2, bold=True))
    start = WIDTH - _EDGE - bar / scale - wide("100 mm") - 4
    shapes += _scale_bar(at(start, y - 4.0), bar, scale)
    return shapes, y - 7.0


def _scale_bar(start: tuple[float, float], length: float, scale: float) -> list[Shape]:
    x, y = start
    ticks = [
        line("sheet", (x + length * part, y - 1.2 * scale), (x + length * part, y + 1.2 * scale))
        for part in (0.0, 0.5, 1.0)
    ]
    return [
        line("sheet", (x, y), (x + length, y)), *ticks,
        Text("text", (x + length + 1.5 * scale, y - 0.8 * scale), f"{length:g} mm"),
    ]  # fmt: skip


def _confidence(given: Given) -> str:
    """The marks of the four lengths in words."""
    said = {
        **MARKS,
        "measured": "measured on the valve",
        "as the existing": "ordered as the existing",
        "": "mark not stated",
    }
    return "; ".join(
        f"{body.layer} A {said.get(body.marks[0], body.marks[0])}, B {said.get(body.marks[1], body.marks[1])}"
        for body in (given.old, given.new)
    )


def described(given: Given) -> str:
    """The drawing in words, for those who do not see it."""
    old, new = given.old, given.new
    allowed = given.fit.get("tolerance_m")
    parts = [
        f"Fit of {given.title} at {given.tag}: existing {KINDS.get(old.kind, old.kind)}, candidate {KINDS.get(new.kind, new.kind)}",
        f"inlet face to outlet centre line A existing {tenths(old.a)} mm, new {tenths(new.a)} mm: {views.words_up(given)}",
        f"outlet face to inlet centre line B existing {tenths(old.b)} mm, new {tenths(new.b)} mm: {views.words_out(given)}",
        f"difference allowed ±{number(float(allowed) * 1000)} mm" if is_number(allowed) else "difference allowed: not stated",
        *(f"{end} flange: {views.words_flange(given, end)}" for end in ("inlet", "outlet")),
    ]  # fmt: skip
    return f"{'; '.join(parts)}. {WARNING}"


def listed(fit: Mapping[str, Any], valve: Mapping[str, Any]) -> list[tuple[str, str, str, str]]:
    """Every dimension of the drawing as text: what, existing, new, difference; [] where the drawing is missing."""
    if not complete(fit):
        return []
    given = Given("", "", "", fit, *bodies(fit, valve))
    old, new = given.old, given.new
    return [
        ("A, inlet face to outlet centre line", views.length(old, 0), views.length(new, 0), views.words_up(given)),
        ("B, outlet face to inlet centre line", views.length(old, 1), views.length(new, 1), views.words_out(given)),
        *((f"{end.capitalize()} flange", f"{was.name}, {was.holes}", f"{goes.name}, {goes.holes}", views.words_flange(given, end))
          for end, was, goes in (("inlet", old.inlet, new.inlet), ("outlet", old.outlet, new.outlet))),
    ]  # fmt: skip
