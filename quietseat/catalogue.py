"""Frames a user could fit, whether they bolt in where the old valve stands, and the plain geometry a fit
drawing needs. Dimensions come from the API 526 tables; a measured length of the installed valve wins.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from quietseat.basis import Basis
from quietseat.formula import formula, m
from quietseat.model import Fit, FitDrawing, FlangeFit, FlangeOutline, Outline, Valve
from quietseat.tables import Row, table, weakest

__all__ = [
    "Frame", "body_of", "bolt_hole", "bolts_line_up", "fits", "letters_of_size", "made_to_measure",
    "orifices_of", "outline", "pilot_body", "same_body", "smallest_body", "spring_body", "to_prove",
]  # fmt: skip

MEASURE = "measure before ordering"
SPACER_LEAST, SPACER_MOST = 0.010, 0.060  # m, inlet spacer ring; practice, memory-md
TAKEN_UP = 0.0032  # m, 1/8 in: what an outlet pipe that runs flexibly may take up; practice, estimate
HOLE_PLAY = 0.003175  # m, 1/8 in
_SEEN = ("", "seen", "computed")
_DRAWN = ("outside", "thickness", "bolt_circle", "bolts", "bolt_size")  # columns a flange outline takes as they are


@dataclass(frozen=True, slots=True)
class Frame:
    """One body a user could fit: sizes (NPS, class), letters it is made with, centre-to-face lengths in m."""

    pattern: str  # spring, pilot: which dimension table it follows
    inlet: float
    outlet: float
    inlet_class: int
    outlet_class: int | None  # None: the table does not say
    letters: tuple[str, ...]
    inlet_height: float | None  # m, A
    outlet_reach: float | None  # m, B
    set_limit: float | None = None  # Pa gauge, carbon steel at ambient
    confidence: str = ""
    source: str = ""


@formula("definition")
def difference(new: m, old: m) -> m:
    """Centre-to-face difference, new less old."""
    return new - old


@formula("geometry")
def face_shift(inlet: m, outlet: m) -> m:
    """How far the outlet face moves: the offset a spool has to take up."""
    return (inlet**2 + outlet**2) ** 0.5  # type: ignore[no-any-return]


@formula("API 526 tolerances of two bodies added, memory-hi")
def stack(old: m, new: m) -> m:
    """Tolerances of the old and the new body added."""
    return old + new


@formula("ASME B16.5: bolt holes 1/8 in wider than the bolts, memory-hi")
def bolt_hole(bolt: m, play: m) -> m:
    """Diameter of a flange's bolt hole."""
    return bolt + play


@lru_cache(maxsize=4096)
def spring_body(
    letter: str, inlet: float, outlet: float, inlet_class: int, set_gauge: float | None = None
) -> Frame | None:
    """The spring-valve body of this letter, sizes (NPS) and inlet class, or None if the table has none.

    set_gauge (Pa): tells the light class 300 row, which carries the limit of class 150, from the full one.
    Source: API 526, spring-loaded size tables.
    """
    rows = _rows(letter, inlet, outlet, inlet_class)
    if set_gauge is not None:
        rows = [row for row in rows if set_gauge <= max(row["limit"], row["limit_later"] or 0.0)]
    return _spring(rows[0]) if rows else None


def _rows(letter: str, inlet: float, outlet: float, inlet_class: int) -> list[Row]:
    """Table rows of one letter, size and class, the lowest set limit first."""
    rows = table("spring_bodies").where(letter=letter, inlet_class=inlet_class)
    same = [row for row in rows if row["inlet"] == inlet and row["outlet"] == outlet]
    return sorted(same, key=lambda row: float(row["limit"]))


def _spring(row: Row) -> Frame:
    return Frame(
        "spring", row["inlet"], row["outlet"], row["inlet_class"], row["outlet_class"], (row["letter"],), row["A"],
        row["B"], row["limit"], weakest((row.mark("A"), row.mark("B"))), row.cite("A"),
    )  # fmt: skip


@lru_cache(maxsize=2048)
def smallest_body(letter: str, inlet_class: int, set_gauge: float | None = None) -> Frame | None:
    """The smallest spring-valve body a letter is made in at this inlet class that carries the set (Pa gauge)."""
    sizes = sorted(
        {(row["inlet"], row["outlet"]) for row in table("spring_bodies").where(letter=letter, inlet_class=inlet_class)}
    )
    found = (spring_body(letter, inlet, outlet, inlet_class, set_gauge) for inlet, outlet in sizes)
    return next((frame for frame in found if frame is not None), None)


@lru_cache(maxsize=512)
def pilot_body(inlet: float, outlet: float, inlet_class: int) -> Frame | None:
    """The pilot body of this inlet x outlet (NPS) and inlet class by the pilot dimension table, or None.

    Source: API 526, pilot-operated size tables (from memory, the least certain dimensions of all).
    """
    row = table("pilot_bodies").get(inlet=inlet, outlet=outlet, inlet_class=inlet_class)
    if row is None:
        return None
    return Frame(
        "pilot", inlet, outlet, inlet_class, row["outlet_class"], tuple(row["letters"]), row["A"], row["B"], None,
        weakest((row.mark("A"), row.mark("B"))), row.cite("A"),
    )  # fmt: skip


@lru_cache(maxsize=512)
def letters_of_size(inlet: float, outlet: float, inlet_class: int) -> tuple[str, ...]:
    """Letters the spring-valve table offers in this inlet x outlet and inlet class, smallest first."""
    return tuple(
        sorted(
            {
                row["letter"]
                for row in table("spring_bodies").where(inlet_class=inlet_class)
                if row["inlet"] == inlet and row["outlet"] == outlet
            }
        )
    )


def orifices_of(body: Frame) -> tuple[str, ...]:
    """Letters a body of this pattern, size and class is made with, smallest first."""
    if body.pattern == "pilot":
        return body.letters
    return letters_of_size(body.inlet, body.outlet, body.inlet_class)


def body_of(valve: Valve, basis: Basis) -> Frame | None:
    """The table row the installed valve follows, or None where size, letter or class are not known."""
    if valve.inlet_size is None or valve.outlet_size is None or valve.inlet_class is None:
        return None
    if (valve.body_pattern or ("pilot" if valve.kind == "pilot" else "spring")) == "pilot":
        return pilot_body(valve.inlet_size, valve.outlet_size, valve.inlet_class)
    if valve.orifice is None:
        return None
    gauge = None if valve.set_pressure is None else valve.set_pressure - basis.atmospheric_pressure
    found = spring_body(valve.orifice, valve.inlet_size, valve.outlet_size, valve.inlet_class, gauge)
    if found is None:  # a set above the table's limit is a finding of its own; the heaviest body stands there
        rows = _rows(valve.orifice, valve.inlet_size, valve.outlet_size, valve.inlet_class)
        found = _spring(rows[-1]) if rows else None
    return found


@lru_cache(maxsize=1024)
def bolts_line_up(nps: float, old_class: int, new_class: int) -> bool:
    """True where two classes drill alike at this NPS (circle, number and size of bolts): 300 and 600 up to NPS 3."""
    old = table("flange_drilling").get(nps=nps, rating=old_class)
    new = table("flange_drilling").get(nps=nps, rating=new_class)
    if old is None or new is None:
        return False
    return all(old[name] == new[name] for name in ("bolt_circle", "bolts", "bolt_size"))


def same_body(valve: Valve) -> Fit:
    """The body stays where it is; only its inside or its setting changes."""
    return Fit(
        "same body", "The body stays in the line.", (), valve.inlet_height, valve.outlet_reach, valve.inlet_height,
        valve.outlet_reach,
    )  # fmt: skip


def made_to_measure(valve: Valve, basis: Basis) -> Fit:
    """A pilot body ordered to the dimensions of the installed one: what has to be measured before ordering."""
    old_a, old_b, marks, sources = _installed(valve, basis)
    measured = valve.inlet_height is not None and valve.outlet_reach is not None
    if old_a is None or old_b is None:
        words = f"Body made to the dimensions of the installed valve, which are not known: {MEASURE}."
    elif measured:
        words = f"Body made to the measured dimensions A {_mm(old_a)} and B {_mm(old_b)} of the installed valve."
    else:
        words = (
            f"Body made to the dimensions of the installed valve; by the table ({weakest(marks)}) A {_mm(old_a)}, "
            f"B {_mm(old_b)}: {MEASURE}."
        )
    flanges = tuple(
        FlangeFit(end, _flange(size, rating, facing), _flange(size, rating, facing), True, "as installed")
        for end, size, rating, facing in (
            ("inlet", valve.inlet_size, valve.inlet_class, valve.facing),
            ("outlet", valve.outlet_size, valve.outlet_class, valve.outlet_facing or valve.facing),
        )
    )
    zero = None if old_a is None or old_b is None else 0.0
    return Fit(
        "bolts in" if measured else "measure first", words, flanges, old_a, old_b, old_a, old_b, zero, zero,
        basis.fit_tolerance, None, weakest(marks), sources, _drawing(outline(valve, basis), None),
    )  # fmt: skip


def fits(old: Valve, new: Frame, basis: Basis) -> Fit:
    """Whether a frame bolts in where the old valve stands.

    Flanges (NPS, class, facing) come first, then the centre-to-face differences against
    `basis.fit_tolerance`, all to 0.1 mm, as they are printed. Verdicts: bolts in; measure first (fits by dimensions
    marked from memory, or is off by no more than an outlet pipe may take up: `to_prove`); spacer; spool; does not fit;
    unknown. A reducing spool under the inlet has no height yet: then there is no make-up length either.
    Source: API 526, ASME B16.5, ASME PCC-1 appendix E.
    """
    flanges = (
        _compare("inlet", old.inlet_size, old.inlet_class, old.facing, new.inlet, new.inlet_class),
        _compare(
            "outlet", old.outlet_size, old.outlet_class, old.outlet_facing or old.facing, new.outlet, new.outlet_class
        ),
    )
    old_a, old_b, marks, sources = _installed(old, basis)
    marks += (new.confidence,)
    sources += (new.source,)
    new_a, new_b = _tenth(new.inlet_height), _tenth(new.outlet_reach)
    if old_a is None or old_b is None or new_a is None or new_b is None:
        words = f"Centre-to-face lengths of the installed valve are not known: {MEASURE}."
        verdict = "unknown" if all(flange.matches for flange in flanges) else "does not fit"
        return Fit(
            verdict, _with_flanges(flanges, words), flanges, old_a, old_b, new_a, new_b, tolerance=basis.fit_tolerance,
            confidence=weakest(marks), sources=sources,
        )  # fmt: skip
    up, out = difference(new_a, old_a), difference(new_b, old_b)
    weak = weakest(marks)
    if old.inlet_size is not None and old.inlet_size != new.inlet:
        verdict, words, length = "does not fit", _on_a_spool(up, out), None
    else:
        verdict, words, length = _verdict(up, out, old, new, basis, weak)
    if not all(flange.matches for flange in flanges):
        verdict = "does not fit"
    lengths = (
        f"A {_mm(new_a)} against {_mm(old_a)} ({_signed(up)}), B {_mm(new_b)} against {_mm(old_b)} ({_signed(out)})"
    )
    return Fit(
        verdict, _with_flanges(flanges, f"{lengths}: {words}"), flanges, old_a, old_b, new_a, new_b, up, out,
        basis.fit_tolerance, length, weak, sources, _drawing(outline(old, basis), outline(new), old),
    )  # fmt: skip


def to_prove(fit: Fit) -> str:
    """What must hold before a body off by more than the alignment tolerance goes in without pipe work; "" where nothing.

    Source: ASME PCC-1 appendix E; an offset of about 3 mm can only be taken where the pipe runs flexibly (practice, estimate).
    """
    gaps = [abs(gap) for gap in (fit.difference_inlet, fit.difference_outlet) if gap is not None]
    if fit.verdict != "measure first" or fit.tolerance is None or not gaps or max(gaps) <= fit.tolerance + 1e-9:
        return ""
    return f"only if the outlet pipe can take up {_mm(max(gaps))} without load on the valve: {MEASURE}"


def outline(body: Frame | Valve, basis: Basis | None = None) -> Outline | None:
    """A body as plain numbers for the fit drawing, or None where a centre-to-face length is not known.

    What no table has of a flange stays None: it is drawn as not known. A measured length wins over the table.
    """
    if isinstance(body, Frame):
        if body.inlet_height is None or body.outlet_reach is None:
            return None
        return Outline(
            "pilot" if body.pattern == "pilot" else "conventional", body.inlet_height, body.outlet_reach,
            _flange_outline(body.inlet, body.inlet_class), _flange_outline(body.outlet, body.outlet_class),
            (body.confidence, body.confidence), _body_tolerance(body.inlet),
        )  # fmt: skip
    frame = body_of(body, basis) if basis is not None else None
    table_a, table_b = (frame.inlet_height, frame.outlet_reach) if frame else (None, None)
    a = table_a if body.inlet_height is None else body.inlet_height
    b = table_b if body.outlet_reach is None else body.outlet_reach
    if a is None or b is None:
        return None
    mark = frame.confidence if frame else ""
    by_table = body.inlet_height is None or body.outlet_reach is None
    return Outline(
        body.kind or "conventional", a, b, _flange_outline(body.inlet_size, body.inlet_class, body.facing or ""),
        _flange_outline(
            body.outlet_size, body.outlet_class or (frame.outlet_class if frame else None), body.outlet_facing or body.facing or ""
        ),
        (mark if body.inlet_height is None else "measured", mark if body.outlet_reach is None else "measured"),
        _body_tolerance(body.inlet_size) if by_table else None,
    )  # fmt: skip


def _drawing(old: Outline | None, new: Outline | None, valve: Valve | None = None) -> FitDrawing | None:
    """Both outlines; new None: a pilot body made to the old one. The new valve takes the facing of the old one."""
    if old is None:
        return None
    if new is None:
        new = replace(old, kind="pilot", marks=("as the existing", "as the existing"), tolerance=None)
    elif new.kind != "pilot":
        new = replace(new, kind=(valve and valve.kind) or "conventional")
    new = replace(
        new, inlet=replace(new.inlet, facing=old.inlet.facing), outlet=replace(new.outlet, facing=old.outlet.facing)
    )
    return FitDrawing(old, new, _pilot_clearance() if new.kind == "pilot" else None)


@lru_cache(maxsize=256)
def _flange_outline(nps: float | None, rating: int | None, facing: str = "") -> FlangeOutline:
    drilling = table("flange_drilling").get(nps=nps, rating=rating)
    shape = table("flange_outlines").get(nps=nps, rating=rating)
    face = table("raised_faces").get(nps=nps)
    height = table("raised_face_heights").get(rating=rating)
    found = tuple(row for row in (drilling, shape, face, height) if row is not None)
    values: dict[str, Any] = {name: row[name] for row in found for name in _DRAWN if name in row}
    if face is not None:
        values["raised_face"] = face["diameter"]
    if height is not None:
        values["raised_height"] = height["height"]
    if drilling is not None:
        values["hole"] = bolt_hole(drilling["bolt_size"], HOLE_PLAY)
    return FlangeOutline(
        float(nps) if nps is not None else None, rating, facing, **values, confidence=weakest(row.mark() for row in found),
        source=shape.cite("outside") if shape is not None else "",
    )  # fmt: skip


@lru_cache(maxsize=64)
def _body_tolerance(inlet: float | None) -> float | None:
    return None if inlet is None else float(table("face_tolerances").next_up("inlet_up_to", inlet)["tolerance"])


@lru_cache(maxsize=1)
def _pilot_clearance() -> tuple[float, float]:
    row = table("pilot_limits").row(item="envelope")
    return float(row["low"]), float(row["high"])


def _installed(valve: Valve, basis: Basis) -> tuple[float | None, float | None, tuple[str, ...], tuple[str, ...]]:
    """A and B of the installed valve to 0.1 mm: measured where given, else by the table; with the marks that decide."""
    a, b = _tenth(valve.inlet_height), _tenth(valve.outlet_reach)
    if a is not None and b is not None:
        return a, b, (), ("measured on the installed valve",)
    frame = body_of(valve, basis)
    if frame is None:
        return a, b, (), ()
    sources = (frame.source,) if a is None and b is None else ("measured on the installed valve", frame.source)
    return (
        _tenth(frame.inlet_height) if a is None else a, _tenth(frame.outlet_reach) if b is None else b, (frame.confidence,),
        sources,
    )  # fmt: skip


def _tenth(length: float | None) -> float | None:
    """A length to 0.1 mm, halves up: what is compared is what is printed, so that printed differences close."""
    return None if length is None else round(length * 1e4 + 1e-6) / 1e4


def _verdict(up: float, out: float, old: Valve, new: Frame, basis: Basis, weak: str) -> tuple[str, str, float | None]:
    """Verdict, words and make-up length from the two differences alone."""
    allowed = basis.fit_tolerance
    worst = max(abs(up), abs(out))
    if worst <= allowed + 1e-9:
        if weak in _SEEN:
            return "bolts in", f"within {_mm(allowed)}, bolts in.", None
        return "measure first", f"within {_mm(allowed)} by dimensions marked {weak}: {MEASURE}.", None
    if worst <= TAKEN_UP + 1e-9:
        words = (
            f"edge of tolerance: {_mm(worst)} is more than the {_mm(allowed)} a joint may be out, and the make of the two "
            f"bodies may add {_mm(_stack(old.inlet_size or new.inlet, new.inlet))}; only if the outlet pipe takes it up "
            f"without load on the valve: {MEASURE}."
        )
        return "measure first", words, None
    if SPACER_LEAST <= -up <= SPACER_MOST and abs(out) <= allowed + 1e-9:
        return "spacer", f"an inlet spacer of {_mm(-up)} and longer bolts bring the outlet level: {MEASURE}.", -up
    length = face_shift(up, out)
    words = f"does not bolt up; the outlet face moves by {_mm(length)}: outlet spool to be cut and welded; {MEASURE}."
    return "spool", words, length


def _on_a_spool(up: float, out: float) -> str:
    """A valve on a reducing inlet spool: how far its outlet moves is known but for the height of the spool."""
    return (
        "does not bolt up; a reducing spool on the inlet face lifts the valve by its height, not known until it is designed; "
        f"that height left out, the outlet face moves by {_mm(face_shift(up, out))}: spools to be cut and welded; {MEASURE}."
    )


@lru_cache(maxsize=64)
def _stack(old_inlet: float, new_inlet: float) -> float:
    tolerances = table("face_tolerances")
    return stack(
        tolerances.next_up("inlet_up_to", old_inlet)["tolerance"],
        tolerances.next_up("inlet_up_to", new_inlet)["tolerance"],
    )


def _compare(
    end: str, size: float | None, rating: int | None, facing: str | None, new_size: float, new_rating: int | None
) -> FlangeFit:
    """One flange, old against new; the new valve is ordered with the facing of the old one."""
    old_words, new_words = _flange(size, rating, facing), _flange(new_size, new_rating, facing)
    if size is not None and size != new_size:
        return FlangeFit(end, old_words, new_words, False, f"NPS {size:g} against {new_size:g}")
    if size is None:
        return FlangeFit(end, old_words, new_words, False, f"size of the {end} flange not known")
    if rating is None or new_rating is None:
        # Nobody gave a class: the same one can be ordered; that is a thing to read off the flange, not a mismatch.
        return FlangeFit(end, old_words, new_words, True, "class not stated: read it off the flange")
    if rating != new_rating:
        alike = bolts_line_up(size, rating, new_rating)
        bolts = "the bolts line up, the ratings do not match" if alike else "the drilling differs"
        return FlangeFit(end, old_words, new_words, False, f"class {rating} against {new_rating}: {bolts}")
    return FlangeFit(
        end, old_words, new_words, True, "same size, class and drilling" if facing else "facing not stated"
    )


def _with_flanges(flanges: tuple[FlangeFit, ...], words: str) -> str:
    wrong = [f"{flange.end} flange: {flange.words}" for flange in flanges if not flange.matches]
    return "; ".join([*wrong, words])


def _flange(size: float | None, rating: int | None, facing: str | None) -> str:
    named = f"NPS {size:g}" if size is not None else "size not known"
    return f"{named} class {rating if rating is not None else 'not known'} {_FACES.get(facing or '', facing or 'facing not known')}"


_FACES = {"raised": "raised face", "flat": "flat face", "ring-joint": "ring joint"}


def _mm(length: float) -> str:
    return f"{length * 1e3:.1f} mm"


def _signed(length: float) -> str:
    return f"{length * 1e3:+.1f} mm" if abs(length) >= 5e-5 else "0 mm"
