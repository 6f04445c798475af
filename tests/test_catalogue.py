"""Fit verdicts against the centre-to-face table of the trade notes (API 526 from memory, class 150 inlet)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietseat import basis as bases
from quietseat import catalogue
from quietseat.model import Valve

BASIS = bases.make({})


def installed(letter: str, inlet: float, outlet: float, rating: int = 150, **more) -> Valve:
    given = {
        "kind": "conventional", "inlet_size": inlet, "orifice": letter, "outlet_size": outlet, "inlet_class": rating,
        "outlet_class": 150, "facing": "raised", **more,
    }  # fmt: skip
    return Valve(**given)


# letter, size, difference in mm at inlet and outlet, as printed there (differences of whole millimetres: +-1)
TABLE = [
    ("J", 2, 3, 0, 0), ("K", 3, 4, 0, 0), ("L", 3, 4, 0, -3), ("M", 4, 6, 19, 26), ("N", 4, 6, 0, 0), ("P", 4, 6, 16, -19),
    ("Q", 6, 8, 0, 0), ("R", 6, 8, 0, 0), ("T", 8, 10, 0, 0),
]  # fmt: skip
VERDICT = {"L": "measure first", "M": "spool", "P": "spool"}


@pytest.mark.parametrize(("letter", "inlet", "outlet", "up", "out"), TABLE)
def test_pilot_body_in_place_of_a_spring_body(letter, inlet, outlet, up, out):
    fit = catalogue.fits(installed(letter, inlet, outlet), catalogue.pilot_body(inlet, outlet, 150), BASIS)
    assert fit.difference_inlet * 1e3 == pytest.approx(up, abs=1.0)
    assert fit.difference_outlet * 1e3 == pytest.approx(out, abs=1.0)
    assert fit.verdict == VERDICT.get(letter, "measure first")
    assert "measure before ordering" in fit.words  # every row is from memory
    assert all(flange.matches for flange in fit.flanges)


def test_edge_of_tolerance_says_so():
    fit = catalogue.fits(installed("L", 3, 4), catalogue.pilot_body(3, 4, 150), BASIS)
    assert "edge of tolerance" in fit.words
    strict = catalogue.fits(installed("J", 2, 3), catalogue.pilot_body(2, 3, 150), BASIS)
    assert "edge of tolerance" not in strict.words


def test_spool_length_is_how_far_the_outlet_face_moves():
    """M, in mm to one decimal: A 196.9 less 177.8 is 19.1, B 209.6 less 184.2 is 25.4: 31.78 mm by Pythagoras."""
    fit = catalogue.fits(installed("M", 4, 6), catalogue.pilot_body(4, 6, 150), BASIS)
    assert fit.spool_length == pytest.approx(0.03178, abs=1e-5)
    assert "the outlet face moves by 31.8 mm" in fit.words


def test_height_of_a_reducing_spool_is_not_known():
    """3L4 to 1.5G3 class 150: A 123.8 against 155.6, B 120.7 against 165.1 mm; (31.8^2 + 44.4^2)^0.5 = 54.6 without the spool."""
    fit = catalogue.fits(installed("L", 3, 4), catalogue.smallest_body("G", 150), BASIS)
    assert fit.verdict == "does not fit" and fit.spool_length is None
    assert "A 123.8 mm against 155.6 mm (-31.8 mm), B 120.7 mm against 165.1 mm (-44.4 mm)" in fit.words
    assert "lifts the valve by its height, not known until it is designed; that height left out" in fit.words
    assert "the outlet face moves by 54.6 mm" in fit.words


def test_printed_lengths_close():
    """A walkdown of 197.0 and 210.0 mm against the table's 7 3/4 in and 8 1/4 in, 196.85 and 209.55 mm: 0.1 and 0.4 mm."""
    valve = installed("N", 4, 6, inlet_height=0.1970, outlet_reach=0.2100)
    fit = catalogue.fits(valve, catalogue.pilot_body(4, 6, 150), BASIS)
    assert "A 196.9 mm against 197.0 mm (-0.1 mm), B 209.6 mm against 210.0 mm (-0.4 mm)" in fit.words
    for old, new, gap in (
        (fit.old_inlet_height, fit.new_inlet_height, fit.difference_inlet),
        (fit.old_outlet_reach, fit.new_outlet_reach, fit.difference_outlet),
    ):
        assert round(new * 1e4) - round(old * 1e4) == round(gap * 1e4)


def test_offset_beyond_alignment_has_to_be_proved():
    """K and L 3x4 differ by 1/8 in, 3.2 mm, at the outlet; PCC-1 appendix E allows 1.5 mm whatever the make adds (1.6 mm each)."""
    for old, new in (("K", "L"), ("L", "K")):
        fit = catalogue.fits(installed(old, 3, 4), catalogue.spring_body(new, 3, 4, 150), BASIS)
        assert catalogue.to_prove(fit) == (
            "only if the outlet pipe can take up 3.2 mm without load on the valve: measure before ordering"
        )
        assert (
            "3.2 mm is more than the 1.5 mm a joint may be out, and the make of the two bodies may add 3.2 mm"
            in fit.words
        )
    assert catalogue.to_prove(catalogue.fits(installed("K", 3, 4), catalogue.pilot_body(3, 4, 150), BASIS)) == ""
    spool = catalogue.fits(installed("M", 4, 6), catalogue.pilot_body(4, 6, 150), BASIS)
    assert catalogue.to_prove(spool) == ""
    assert catalogue.to_prove(catalogue.same_body(installed("M", 4, 6))) == ""
    # the make of two NPS 6 bodies adds 6.4 mm: no excuse for 5 mm
    large = installed("R", 6, 8, inlet_height=0.2397, outlet_reach=0.2413 + 0.005)
    assert catalogue.fits(large, catalogue.pilot_body(6, 8, 150), BASIS).verdict == "spool"


def test_measured_lengths_win_over_the_table():
    """A pre-standard 4M6 measured at the pilot's own lengths fits; by the table it would not."""
    body = catalogue.pilot_body(4, 6, 150)
    valve = installed("M", 4, 6, inlet_height=body.inlet_height, outlet_reach=body.outlet_reach)
    fit = catalogue.fits(valve, body, BASIS)
    assert (fit.difference_inlet, fit.difference_outlet) == (0.0, 0.0)
    assert fit.verdict == "measure first"
    assert "measured on the installed valve" in fit.sources


def test_bolts_in_only_without_a_row_from_memory():
    body = replace(catalogue.pilot_body(4, 6, 150), confidence="seen")
    valve = installed("M", 4, 6, inlet_height=body.inlet_height + 0.001, outlet_reach=body.outlet_reach)
    assert catalogue.fits(valve, body, BASIS).verdict == "bolts in"
    tight = bases.make({"fit_tolerance": "0.5 mm"})
    assert catalogue.fits(valve, body, tight).verdict == "measure first"  # 1 mm: a pipe may take it up


def test_spacer_only_where_the_new_inlet_is_shorter():
    """Spacer rings of 10 to 60 mm lift a body; nothing shortens one (trade)."""
    body = catalogue.pilot_body(4, 6, 150)
    short = installed("N", 4, 6, inlet_height=body.inlet_height + 0.020, outlet_reach=body.outlet_reach)
    fit = catalogue.fits(short, body, BASIS)
    assert fit.verdict == "spacer" and fit.spool_length == pytest.approx(0.020)
    tall = replace(short, inlet_height=body.inlet_height - 0.020)
    assert catalogue.fits(tall, body, BASIS).verdict == "spool"
    too_thin = replace(short, inlet_height=body.inlet_height + 0.008)
    assert catalogue.fits(too_thin, body, BASIS).verdict == "spool"


@pytest.mark.parametrize(
    ("nps", "old", "new", "alike"),
    [(1, 300, 600, True), (2, 300, 600, True), (3, 300, 600, True), (4, 300, 600, False), (6, 300, 600, False),
     (2, 900, 1500, True), (3, 900, 1500, False), (6, 900, 1500, False), (3, 150, 300, False)],
)  # fmt: skip
def test_drilling_of_neighbouring_classes(nps, old, new, alike):
    """ASME B16.5: 300 and 600 drill alike to NPS 3, 900 and 1500 to NPS 2 (at NPS 6 the bolts differ)."""
    assert catalogue.bolts_line_up(nps, old, new) is alike


def test_same_drilling_is_no_match_of_class():
    fit = catalogue.fits(installed("K", 3, 4, 300), catalogue.pilot_body(3, 4, 600), BASIS)
    assert fit.verdict == "does not fit"
    assert "the bolts line up, the ratings do not match" in fit.words
    other = catalogue.fits(installed("N", 4, 6, 300), catalogue.pilot_body(4, 6, 600), BASIS)
    assert "the drilling differs" in other.words


def test_outlet_of_another_size_does_not_fit():
    """6R10 class 300: the pilot body is 6x8."""
    fit = catalogue.fits(installed("R", 6, 10, 300), catalogue.pilot_body(6, 8, 300), BASIS)
    assert fit.verdict == "does not fit" and "NPS 10 against 8" in fit.words


def test_unknown_lengths_are_unknown_not_zero():
    fit = catalogue.fits(installed("J", 4, 6), catalogue.pilot_body(4, 6, 150), BASIS)  # no such body in the table
    assert fit.verdict == "unknown" and fit.difference_inlet is None
    assert "measure before ordering" in fit.words


def test_class_300_light_and_full_bodies_are_told_apart_by_set():
    """4P6 class 300: 181 x 229 mm up to 285 psig, 225 x 254 mm above (API 526, from memory)."""
    light = catalogue.spring_body("P", 4, 6, 300, 20e5 - 1e5)
    full = catalogue.spring_body("P", 4, 6, 300, 30e5)
    assert (light.inlet_height, light.outlet_reach) == pytest.approx((0.181, 0.229), abs=6e-4)
    assert (full.inlet_height, full.outlet_reach) == pytest.approx((0.225, 0.254), abs=6e-4)
    assert catalogue.spring_body("P", 4, 6, 300, 60e5) is None


def test_letters_of_a_size():
    assert catalogue.orifices_of(catalogue.pilot_body(4, 6, 150)) == ("L", "M", "N", "P")
    assert catalogue.orifices_of(catalogue.spring_body("N", 4, 6, 150)) == ("M", "N", "P")
    assert catalogue.pilot_body(3, 6, 150) is None
    assert catalogue.spring_body("K", 4, 6, 150) is None


def test_made_to_measure_asks_for_the_measurement():
    by_table = catalogue.made_to_measure(installed("P", 4, 6), BASIS)
    assert by_table.verdict == "measure first" and "measure before ordering" in by_table.words
    measured = catalogue.made_to_measure(installed("P", 4, 6, inlet_height=0.18, outlet_reach=0.23), BASIS)
    assert measured.verdict == "bolts in" and (measured.difference_inlet, measured.difference_outlet) == (0.0, 0.0)


def test_outline_is_plain_geometry():
    """ASME B16.5 NPS 4 class 300: outside 254 mm, 8 bolts 3/4 in on 200 mm (printed)."""
    drawn = catalogue.outline(catalogue.pilot_body(4, 6, 300))
    assert (drawn.inlet_height, drawn.outlet_reach) == pytest.approx((0.19685, 0.20955))
    assert drawn.inlet.outside == pytest.approx(0.254) and drawn.inlet.bolts == 8
    assert drawn.inlet.bolt_circle == pytest.approx(0.2) and drawn.inlet.bolt_size == pytest.approx(0.75 * 0.0254)
    assert drawn.outlet.nps == 6 and drawn.outlet.rating == 150
    assert drawn.inlet.raised_face < drawn.inlet.bolt_circle < drawn.inlet.outside
    old = catalogue.outline(installed("N", 4, 6, 300), BASIS)
    assert old.inlet_height == pytest.approx(0.19685)
    assert catalogue.outline(Valve(), BASIS) is None


def test_every_flange_is_larger_than_its_bolt_circle():
    """Table arithmetic: the outside leaves room for a washer beyond the bolt holes, and grows with class and size."""
    from quietseat.tables import table

    shapes, drilling = table("flange_outlines"), table("flange_drilling")
    for row in drilling:
        shape = shapes.row(nps=row["nps"], rating=row["rating"])
        edge = shape["outside"] - row["bolt_circle"]
        assert 1.3 * row["bolt_size"] < edge < 3.2 * row["bolt_size"] + 0.01
