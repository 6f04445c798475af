"""The fit drawing: drawn distances are those of the tables, in the picture and in the DXF; words do not stand over words."""

from __future__ import annotations

import io
import itertools
import re
from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import ezdxf
import pytest
import report_sample as sample

from quietseat import basis as bases
from quietseat import catalogue, plain
from quietseat.model import Valve
from quietseat.report import html, pdf
from quietseat.report.document import Document
from quietseat.report.fit import fit_drawing, fit_dxf, has_drawing, to_measure, write_dxf
from quietseat.report.fit.scene import Scene, Text, number, wide
from quietseat.report.fit.sheet import WARNING, WIDTH, sheet
from quietseat.tables import table

BASIS = bases.make({})
INCH = 25.4
HASH = "7e281f7f828d27b5ac73d0511baccc1d2fd3249f3240fa1a08b0c7b17723a925"
NASTY = "<b>&\"' %%c PSV\n\x07 1é"


def installed(letter: str, inlet: float, outlet: float, rating: int = 150, **changes: Any) -> Valve:
    """A valve as a register states it; its lengths come from the table unless given."""
    valve = Valve(
        kind="conventional",
        orifice=letter,
        inlet_size=inlet,
        outlet_size=outlet,
        inlet_class=rating,
        outlet_class=150,
        facing="raised",
    )
    return replace(valve, **changes)


def pilot_fit(valve: Valve, rating: int | None = None) -> dict[str, Any]:
    """The fit of the pilot body of the same size, as a study holds it."""
    frame = catalogue.pilot_body(valve.inlet_size or 0, valve.outlet_size or 0, rating or valve.inlet_class or 150)
    assert frame is not None
    return plain.clean(plain.fit(catalogue.fits(valve, frame, BASIS)))  # type: ignore[no-any-return]


def picture(fit: dict[str, Any], tag: str = "PSV-1", title: str = "Pilot valve") -> ElementTree.Element:
    figure = fit_drawing(tag, title, fit, {}, HASH)
    assert figure is not None
    return ElementTree.fromstring(figure.svg)


def lengths(root: ElementTree.Element) -> dict[str, float]:
    """Drawn dimension lines, scaled back to mm of the real thing."""
    scale = float(root.get("data-scale") or 0)
    out = {}
    for line in root.iter("{http://www.w3.org/2000/svg}line"):
        name = line.get("data-dimension")
        if name:
            along = [float(line.get(f"{axis}2") or 0) - float(line.get(f"{axis}1") or 0) for axis in "xy"]
            out[name] = max(abs(part) for part in along) * scale
    return out


def drawing(text: str) -> Any:
    return ezdxf.read(io.StringIO(text))


# API 526: spring A, B and pilot A, B in inches (sizes named in the standard's tables, from memory; R outlet reach seen in
# the minutes of the API task force 526/527, 25 April 2012). Class 150.
ROWS = [
    ("J", 2, 3, 5 + 3 / 8, 4 + 7 / 8, 5 + 3 / 8, 4 + 7 / 8),
    ("K", 3, 4, 6 + 1 / 8, 6 + 3 / 8, 6 + 1 / 8, 6 + 3 / 8),
    ("L", 3, 4, 6 + 1 / 8, 6 + 1 / 2, 6 + 1 / 8, 6 + 3 / 8),
    ("M", 4, 6, 7.0, 7 + 1 / 4, 7 + 3 / 4, 8 + 1 / 4),
    ("N", 4, 6, 7 + 3 / 4, 8 + 1 / 4, 7 + 3 / 4, 8 + 1 / 4),
    ("P", 4, 6, 7 + 1 / 8, 9.0, 7 + 3 / 4, 8 + 1 / 4),
    ("R", 6, 8, 9 + 7 / 16, 9 + 1 / 2, 9 + 7 / 16, 9 + 1 / 2),
    ("T", 8, 10, 10 + 7 / 8, 11.0, 10 + 7 / 8, 11.0),
]


@pytest.mark.parametrize(("letter", "inlet", "outlet", "old_a", "old_b", "new_a", "new_b"), ROWS)
def test_picture_holds_the_lengths_of_the_tables(
    letter: str, inlet: float, outlet: float, old_a: float, old_b: float, new_a: float, new_b: float
) -> None:
    drawn = lengths(picture(pilot_fit(installed(letter, inlet, outlet))))
    wanted = {"existing A": old_a, "existing B": old_b, "new A": new_a, "new B": new_b}
    for name, inches in wanted.items():
        assert drawn[name] == pytest.approx(inches * INCH, abs=0.02), name  # 0.001 mm on paper is 0.01 mm at 1 : 10
    for name, gap in (("mismatch A", new_a - old_a), ("mismatch B", new_b - old_b)):
        assert drawn.get(name, 0.0) == pytest.approx(abs(gap) * INCH, abs=0.02)


@pytest.mark.parametrize(("letter", "inlet", "outlet", "old_a", "old_b", "new_a", "new_b"), ROWS)
def test_dxf_is_true_to_size(
    letter: str, inlet: float, outlet: float, old_a: float, old_b: float, new_a: float, new_b: float
) -> None:
    text = fit_dxf("PSV-1", "Pilot valve", pilot_fit(installed(letter, inlet, outlet)), {}, HASH)
    assert text is not None
    document = drawing(text)
    assert document.audit().errors == []
    assert document.dxfversion >= "AC1024" and document.units == ezdxf.units.MM
    space = document.modelspace()
    measured = {found.dxf.text.split("<>")[0].strip(): found.get_measurement() for found in space.query("DIMENSION")}
    assert measured["A existing"] == pytest.approx(old_a * INCH) and measured["B existing"] == pytest.approx(
        old_b * INCH
    )
    assert measured["A new"] == pytest.approx(new_a * INCH) and measured["B new"] == pytest.approx(new_b * INCH)
    for layer, reach in (("existing", old_b), ("candidate", new_b)):
        corners = [point for shape in space.query(f'LWPOLYLINE[layer=="{layer}"]') for point in shape.get_points("xy")]
        assert max(x for x, _ in corners) == pytest.approx(reach * INCH)  # outlet face
        assert min(y for _, y in corners) == pytest.approx(0.0)  # inlet face


def test_dxf_has_layers_line_types_and_real_dimensions() -> None:
    text = fit_dxf("PSV-1", "Pilot valve", pilot_fit(installed("M", 4, 6)), {}, HASH) or ""
    document = drawing(text)
    names = {"existing", "candidate", "centre-lines", "dimensions", "mismatch", "spool", "envelope", "text", "sheet"}
    assert names <= {layer.dxf.name for layer in document.layers}
    assert document.layers.get("existing").dxf.linetype != document.layers.get("candidate").dxf.linetype
    assert {shape.dxf.layer for shape in document.modelspace()} == names
    assert len(document.modelspace().query("DIMENSION")) == 6  # A and B of both, and both mismatches
    assert all("<>" in found.dxf.text for found in document.modelspace().query("DIMENSION"))


def test_bolt_holes_are_those_of_the_flange_standard() -> None:
    """ASME B16.5 NPS 4 class 300: 8 bolts 3/4 in, holes 7/8 in, on 200 mm; class 150: 8 bolts 5/8 in on 190.5 mm."""
    frame = catalogue.spring_body("N", 4, 6, 300, 30e5)
    assert frame is not None
    fit = plain.clean(plain.fit(catalogue.fits(installed("N", 4, 6, 150), frame, BASIS)))
    space = drawing(fit_dxf("T", "Higher class", fit, {}, HASH) or "").modelspace()
    for layer, bolts, circle, hole in (("candidate", 8, 200.0, 7 / 8 * INCH), ("existing", 8, 190.5, 3 / 4 * INCH)):
        rings = [
            found
            for found in space.query(f'CIRCLE[layer=="{layer}"]')
            if found.dxf.radius == pytest.approx(hole / 2, abs=0.01)
        ]
        inlet = [found.dxf.center for found in rings[:bolts]]  # drawn before the outlet
        x, y = (sum(centre[axis] for centre in inlet) / bolts for axis in (0, 1))
        for centre in inlet:
            assert ((centre.x - x) ** 2 + (centre.y - y) ** 2) ** 0.5 == pytest.approx(circle / 2, abs=0.05)
            assert abs(centre.x - x) > 1 and abs(centre.y - y) > 1  # astride the centre lines
    words = " ".join(found.dxf.text for found in space.query("TEXT"))
    assert "8 × Ø19.1 on Ø190.5" in words and "8 × Ø22.2 on Ø200.0" in words and "the drilling differs" in words


def test_picture_speaks_to_those_who_do_not_see_it() -> None:
    """4M6: pilot body 3/4 in taller and 1 in longer (API 526, from memory)."""
    root = picture(pilot_fit(installed("M", 4, 6)), NASTY, NASTY)
    names = [child.tag.rpartition("}")[2] for child in root]
    assert names[:2] == ["title", "desc"]
    said = root[1].text or ""
    assert "new outlet centre line 19.1 mm higher" in said and "new outlet face 25.4 mm further out" in said
    assert "existing 177.8 mm, new 196.9 mm" in said and WARNING in said
    words = " ".join(text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text"))
    assert WARNING in words and HASH in words and "1 : 6 when printed 170 mm wide" in words and "±1.6" in words
    assert "not known: measure" in words and "from memory, verify" in words and "300 to 600 mm" in words


def test_width_on_paper_is_the_one_the_scale_is_stated_for() -> None:
    """The PDF prints 0.225 mm a unit of width; the view box is in mm on paper."""
    root = picture(pilot_fit(installed("M", 4, 6)))
    assert float(root.get("width") or 0) * 0.225 == pytest.approx(WIDTH, abs=0.02)
    assert (root.get("viewBox") or "").split()[2] == f"{WIDTH:g}"


def test_same_input_same_bytes_and_no_date() -> None:
    fit = pilot_fit(installed("P", 4, 6))
    made = [(fit_drawing("T", "x", fit, {}, HASH), fit_dxf("T", "x", fit, {}, HASH)) for _ in range(2)]
    assert made[0] == made[1]
    assert not re.search(r"20[2-9]\d-\d\d-\d\d", (made[0][0].svg if made[0][0] else "") + (made[0][1] or ""))


def test_without_a_length_there_is_a_sentence_instead() -> None:
    fit = pilot_fit(installed("J", 4, 6))  # no such spring body in the table
    assert not has_drawing(fit) and "drawing" not in fit
    assert fit_drawing("T", "x", fit, {}) is None and fit_dxf("T", "x", fit, {}) is None
    assert "A of the existing valve" in to_measure(fit) and "B of the existing valve" in to_measure(fit)
    assert to_measure(pilot_fit(installed("M", 4, 6))) == "" == to_measure(None)
    assert to_measure(plain.fit(catalogue.same_body(Valve()))) == ""


def test_measured_lengths_are_called_measured_and_win() -> None:
    fit = pilot_fit(installed("N", 4, 6, inlet_height=0.2169, outlet_reach=0.20955))
    root = picture(fit)
    assert lengths(root)["existing A"] == pytest.approx(216.9, abs=0.01)
    words = " ".join(text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text"))
    assert "A existing 216.9 measured" in words and "spacer ring 20" in words  # 216.9 less 196.85 mm, by hand


def test_flange_without_a_table_row_is_dotted_and_said_so() -> None:
    fit = pilot_fit(installed("K", 3, 4))
    del fit["drawing"]  # as an older study holds it
    figure = fit_drawing("T", "x", fit, {"inlet_size": 3, "outlet_size": 4})
    assert figure is not None and 'stroke-dasharray="0.6 0.9"' in figure.svg
    assert "NPS 3, class not known: outside diameter" in figure.svg and "bolt holes not known" in figure.svg


def test_study_keeps_only_what_the_drawing_needs() -> None:
    fit = pilot_fit(installed("M", 4, 6))
    drawn = fit["drawing"]
    assert drawn["new"]["inlet"] == drawn["new"]["outlet"] == "same"
    assert drawn["old"]["outlet"] == {  # ASME B16.5 NPS 6 class 150, printed: 11 in, 8 bolts 3/4 in on 9 1/2 in; hole 7/8 in
        "nps": 6, "rating": 150, "facing": "raised", "outside_m": 0.2794, "thickness_m": 0.0239, "raised_face_m": 0.2159,
        "raised_height_m": 0.002, "bolt_circle_m": 0.2413, "bolts": 8, "bolt_size_m": 0.01905, "hole_m": 0.02222,
        "confidence": "memory-hi",
    }  # fmt: skip
    assert len(plain.text(drawn)) < 900
    assert "drawing" not in plain.fit(catalogue.same_body(installed("M", 4, 6)))
    made = plain.fit(catalogue.made_to_measure(installed("M", 4, 6, kind="bellows"), BASIS))
    assert made["drawing"]["old"]["kind"] == "bellows" and made["drawing"]["new"]["kind"] == "pilot"


def everything() -> list[dict[str, Any]]:
    """Every spring body of the tables against the pilot body of its size, another class and the next smaller valve."""
    out = []
    for row in table("spring_bodies"):
        valve = installed(
            row["letter"], row["inlet"], row["outlet"], row["inlet_class"], outlet_class=row["outlet_class"]
        )
        frames = [
            catalogue.pilot_body(row["inlet"], row["outlet"], row["inlet_class"]), catalogue.smallest_body("D", 150),
            catalogue.smallest_body(row["letter"], 600),
        ]  # fmt: skip
        out += [plain.clean(plain.fit(catalogue.fits(valve, frame, BASIS))) for frame in frames if frame is not None]
    return out


def boxes(scene: Scene) -> list[tuple[float, float, float, float, str]]:
    """Room that each line of words takes, mm on paper."""
    out = []
    for shape in scene.shapes:
        if isinstance(shape, Text):
            x, y = ((shape.at[i] - scene.corner[i]) / scene.scale for i in (0, 1))
            length = 0.94 * wide(shape.words, shape.height)
            x -= {"start": 0.0, "middle": length / 2, "end": length}[shape.anchor]
            out.append((x, y, x + length, y + 0.7 * shape.height, shape.words))
    return out


def test_words_stay_on_the_sheet_and_off_each_other() -> None:
    wrong = []
    for fit in everything():
        scene = sheet("PSV-1001A", "Modulating pilot valve, remote sense, non-bleeding", fit, {}, HASH)
        if scene is None:
            continue
        found = boxes(scene)
        wrong += [
            words
            for left, low, right, high, words in found
            if left < 0 or low < 0 or right > scene.width or high > scene.height
        ]
        for one, other in itertools.combinations(found, 2):
            if one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]:
                wrong.append(f"{one[4]} | {other[4]} | {fit['words'][:50]}")
    assert wrong == []


def test_files_have_plain_names_of_their_own(tmp_path: Path) -> None:
    study = sample.study(6)
    for index, record in enumerate(study.records):
        valve = record.full()
        valve["tag"] = ("../PSV 1/A", "..\\PSV 1:A", NASTY, "PSV-1-A", "psv-1-a", "")[index]
        valve["remedies"] = [
            {"name": "pilot-snap", "title": "Snap pilot valve", "fit": pilot_fit(installed("M", 4, 6))}
        ]
        valve["recommended"], valve["best_yes"] = "pilot-snap", None
    files = write_dxf(tmp_path, study)
    assert len(files) == len({path.name.lower() for path in files}) == 6
    for path in files:
        assert path.parent == tmp_path / "fit-drawings" and re.fullmatch(r"[\w.-]+\.dxf", path.name, re.ASCII)
        assert ezdxf.readfile(path).audit().errors == []
    before = [path.read_bytes() for path in files]
    assert [path.read_bytes() for path in write_dxf(tmp_path, study)] == before


def test_nothing_is_written_where_the_body_stays(tmp_path: Path) -> None:
    study = sample.study(1)
    valve = study.records[0].full()
    valve["recommended"], valve["best_yes"] = "smaller-orifice", "smaller-orifice"
    assert write_dxf(tmp_path, study) == [] and not (tmp_path / "fit-drawings").exists()


def test_page_and_paper_take_the_drawing() -> None:
    figure = fit_drawing(NASTY, NASTY, pilot_fit(installed("M", 4, 6)), {}, HASH)
    assert figure is not None
    document = Document("Fit", "", "mark", (figure, figure))
    assert html.render(document).count("fit-sheet") >= 2
    made = pdf.render(document)
    assert made.startswith(b"%PDF") and made == pdf.render(document)


def test_numbers_have_one_decimal_or_none() -> None:
    assert [number(value) for value in (19.05, 196.85 - 177.8, 20.0, 0.04, 104.775)] == [
        "19.1",
        "19.1",
        "20",
        "0",
        "104.8",
    ]
