"""Two bodies as read from a fit's plain data, and the shapes of one body in side view and of its flanges in end view."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from quietseat.report.fit.scene import Circle, Path, box, broken, line
from quietseat.report.words import is_number

_INCH = 25.4
_LENGTHS = ("old_inlet_height_m", "old_outlet_reach_m", "new_inlet_height_m", "new_outlet_reach_m")
_NECK = 0.41  # neck over raised face, body wall over it: how a cast angle body looks; nothing is measured from these
KINDS = {
    "conventional": "conventional spring valve",
    "bellows": "bellows spring valve",
    "pilot": "pilot-operated valve",
}


@dataclass(frozen=True, slots=True)
class Flange:
    """One flange, lengths in mm. `unknown` names what stands in no table and is drawn by guess, dotted."""

    nps: float | None
    rating: int | None
    facing: str
    outside: float
    thickness: float
    face: float
    step: float  # height of the raised face
    circle: float | None
    bolts: int | None
    hole: float | None
    unknown: tuple[str, ...]

    @property
    def name(self) -> str:
        """NPS and class in words."""
        size = f"NPS {self.nps:g}" if self.nps is not None else "size not known"
        return f"{size} class {self.rating}" if self.rating is not None else f"{size}, class not known"

    @property
    def holes(self) -> str:
        """The bolt holes in words."""
        if self.bolts is None or self.hole is None or self.circle is None:
            return "bolt holes not known"
        return f"{self.bolts} × Ø{self.hole:.1f} on Ø{self.circle:.1f}"

    @property
    def drilling(self) -> tuple[float | int | None, ...]:
        """What has to agree for the bolts to line up."""
        return self.circle, self.bolts, self.hole


@dataclass(frozen=True, slots=True)
class Body:
    """One body, lengths in mm. layer: existing or candidate."""

    layer: str
    kind: str
    a: float
    b: float
    marks: tuple[str, str]
    tolerance: float | None
    inlet: Flange
    outlet: Flange

    @property
    def neck_in(self) -> float:
        """Half the width of the inlet neck, indicative."""
        return _NECK * self.inlet.face

    @property
    def neck_out(self) -> float:
        """Half the height of the outlet neck, indicative; never down to the inlet flange."""
        return min(_NECK * self.outlet.face, self.a - self.inlet.step - self.inlet.thickness - 4.0)

    @property
    def lid(self) -> float:
        """Half the width of the joint under bonnet or cap, indicative."""
        return max(self.neck_in, self.neck_out)

    @property
    def top(self) -> float:
        """Height of the joint under bonnet or cap, indicative."""
        return self.a + 1.12 * self.neck_out + 6.0


def complete(fit: Mapping[str, Any] | None) -> bool:
    """Whether a fit holds the four lengths its drawing needs."""
    return fit is not None and all(is_number(fit.get(key)) and fit[key] > 0 for key in _LENGTHS)


def bodies(fit: Mapping[str, Any], valve: Mapping[str, Any]) -> tuple[Body, Body]:
    """Existing valve and candidate of a complete fit; without `drawing` data the flanges are known by their size alone.

    Lengths to 0.1 mm, halves up: what is drawn and dimensioned is what is printed, so that differences close.
    """
    old_a, old_b, new_a, new_b = (round(float(fit[key]) * 1e4 + 1e-6) / 10 for key in _LENGTHS)
    drawn = fit.get("drawing") or {}
    plain = {end: {"nps": valve.get(f"{end}_size")} for end in ("inlet", "outlet")}
    old, new = drawn.get("old") or plain, drawn.get("new") or {}
    old_ends = tuple(_flange(old.get(end) or {}) for end in ("inlet", "outlet"))
    new_ends = tuple(
        known if new.get(end, "same") == "same" else _flange(new[end])
        for end, known in zip(("inlet", "outlet"), old_ends, strict=True)
    )
    return (
        Body("existing", _kind(old, valve.get("kind")), old_a, old_b, *_marked(old), *old_ends),
        Body("candidate", _kind(new, None), new_a, new_b, *_marked(new), *new_ends),
    )


def _kind(body: Mapping[str, Any], other: Any) -> str:
    return str(body.get("kind") or other or "conventional")


def _marked(body: Mapping[str, Any]) -> tuple[tuple[str, str], float | None]:
    marks = body.get("marks") or ("", "")
    tolerance = body.get("tolerance_m")
    return (str(marks[0]), str(marks[1])), float(tolerance) * 1000 if is_number(tolerance) else None


def _flange(given: Mapping[str, Any]) -> Flange:
    """A flange with a guess for what is not known, so that there is something to draw, and the names of the guesses."""

    def length(key: str) -> float | None:
        value = given.get(f"{key}_m")
        return float(value) * 1000 if is_number(value) else None

    nps = given.get("nps")
    bore = (float(nps) if is_number(nps) else 3.0) * _INCH
    outside, thickness, face, step = (
        length("outside"),
        length("thickness"),
        length("raised_face"),
        length("raised_height"),
    )
    facing = str(given.get("facing") or "")
    unknown = tuple(
        name
        for name, value in (("outside diameter", outside), ("thickness", thickness), ("raised face", face))
        if value is None
    )
    return Flange(
        float(nps) if is_number(nps) else None, given.get("rating"), facing, outside or 1.6 * bore + 60, thickness or 20.0,
        face or 1.3 * bore + 20, 0.0 if facing == "flat" else step or 2.0, length("bolt_circle"), given.get("bolts"), length("hole"),
        unknown,
    )  # fmt: skip


def side(body: Body, scale: float) -> list[Path | Circle]:
    """A body in side view: wall, both flanges with their raised faces and a stub of what stands on top."""
    inlet, outlet = body.inlet, body.outlet
    back_in, back_out = inlet.step + inlet.thickness, body.b - outlet.step - outlet.thickness
    return [
        _wall(body, back_in, back_out),
        *_plate(body.layer, inlet, 0.0, 0.0, upright=True),
        *_plate(body.layer, outlet, body.a, body.b, upright=False),
        *(_cap(body, scale) if body.kind == "pilot" else _bonnet(body, scale)),
    ]


def _wall(body: Body, back_in: float, back_out: float) -> Path:
    """Casting from the back of the inlet flange round to the back of the outlet flange."""
    wi, wo, top = body.neck_in, body.neck_out, body.top
    low, high = body.a - wo, body.a + wo
    turn = max(min(0.5 * (low - back_in), 0.4 * (back_out - wi), 30.0), 0.0)
    lid = body.lid
    quarter = math.tan(math.pi / 8)
    step = min(0.5 * (top - high), max(0.5 * (back_out - lid), 0.0))
    points = [
        (wi, back_in), (wi, low - turn), (wi + turn, low), (back_out, low), (back_out, high), (lid + step, high), (lid, high + step),
        (lid, top), (-lid, top), (-lid, high), (-wi, max(low, back_in)), (-wi, back_in),
    ]  # fmt: skip
    bulges = (0.0, -quarter, 0.0, 0.0, 0.0, -quarter, 0.0, 0.0, 0.0, 0.28, 0.0, 0.0)
    return Path(body.layer, tuple(points), bulges, closed=True, filled=body.layer == "candidate")


def _plate(layer: str, flange: Flange, along: float, face: float, *, upright: bool) -> list[Path | Circle]:
    """Flange plate and raised face: upright at the inlet, its face at the bottom; else at the outlet, its face on the right."""
    half, raised = flange.outside / 2, flange.face / 2
    guessed = "outside diameter" in flange.unknown or "thickness" in flange.unknown
    if upright:
        plate = box(layer, -half, flange.step, half, flange.step + flange.thickness, unknown=guessed)
        stub = box(layer, -raised, 0.0, raised, flange.step, unknown="raised face" in flange.unknown)
    else:
        back = face - flange.step
        plate = box(layer, back - flange.thickness, along - half, back, along + half, unknown=guessed)
        stub = box(layer, back, along - raised, face, along + raised, unknown="raised face" in flange.unknown)
    return [plate, stub] if flange.step else [plate]


def _bonnet(body: Body, scale: float) -> list[Path | Circle]:
    """Bonnet of a spring valve, broken off: no table has its height. A bellows valve shows its vent."""
    lid = body.lid
    plate, half, end = 2.2 * scale, 0.74 * lid, body.top + 12.0 * scale
    shapes: list[Path | Circle] = [
        box(body.layer, -1.12 * lid, body.top, 1.12 * lid, body.top + plate),
        line(body.layer, (-half, body.top + plate), (-half, end)),
        line(body.layer, (half, body.top + plate), (half, end)),
        broken(body.layer, (-half, end), (half, end), 1.1 * scale),
    ]
    if body.kind == "bellows":
        at = body.top + plate + 3.0 * scale
        shapes.append(box(body.layer, half, at - 0.8 * scale, half + 3.0 * scale, at + 0.8 * scale))
    return shapes


def _cap(body: Body, scale: float) -> list[Path | Circle]:
    """Cap of a pilot-operated main valve with pilot and sense tube, indicative."""
    lid = body.lid
    thick = 3.4 * scale
    left, low = -1.12 * lid - 1.5 * scale, body.top + 0.6 * scale
    wide, tall = 5.0 * scale, 8.0 * scale
    neck = body.inlet.step + body.inlet.thickness + 1.6 * scale
    return [
        box(body.layer, -1.12 * lid, body.top, 1.12 * lid, body.top + thick),
        box(body.layer, left - wide, low, left, low + tall),
        line(body.layer, (left, low + thick / 2), (-1.12 * lid, low + thick / 2)),
        line(body.layer, (left - wide / 2, low), (left - wide / 2, neck), (-body.neck_in, neck)),
    ]


def end(flange: Flange, layer: str, x: float, y: float) -> list[Path | Circle]:
    """A flange seen from the pipe: outside, raised face, bolt circle and holes astride the centre lines."""
    shapes: list[Path | Circle] = [
        Circle(layer, (x, y), flange.outside / 2, unknown="outside diameter" in flange.unknown)
    ]
    if flange.step:
        shapes.append(Circle(layer, (x, y), flange.face / 2, unknown="raised face" in flange.unknown, thin=True))
    if flange.circle is None or flange.bolts is None or flange.hole is None:
        return shapes
    shapes.append(Circle("centre-lines", (x, y), flange.circle / 2))
    for index in range(flange.bolts):
        angle = 2 * math.pi * (index + 0.5) / flange.bolts
        at = (x + flange.circle / 2 * math.cos(angle), y + flange.circle / 2 * math.sin(angle))
        shapes.append(Circle(layer, at, flange.hole / 2))
    return shapes


def missing(fit: Mapping[str, Any] | None) -> str:
    """What to measure or to ask before a fit can be drawn, as a sentence; "" where it can be, or the body stays."""
    if fit is None or complete(fit) or not fit.get("flanges"):  # flanges are compared where a new body goes in
        return ""
    names = {
        "old_inlet_height_m": "A of the existing valve (inlet face to outlet centre line)",
        "old_outlet_reach_m": "B of the existing valve (outlet face to inlet centre line)",
        "new_inlet_height_m": "A of the new valve, from its maker", "new_outlet_reach_m": "B of the new valve, from its maker",
    }  # fmt: skip
    lacking = [words for key, words in names.items() if not is_number(fit.get(key)) or fit[key] <= 0]
    return f"No fit drawing: not known is {'; '.join(lacking)}. Measure or ask before ordering."
