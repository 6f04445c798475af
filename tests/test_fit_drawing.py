"""The fit drawing: drawn distances are those of the tables, in the picture and in the DXF; words do not stand over words."""

from __future__ import annotations

import functools
import io
import itertools
import math
import re
from collections.abc import Iterator
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
from quietseat.report import build, html, pdf
from quietseat.report.document import Document, Figure, Only
from quietseat.report.fit import fit_drawing, fit_dxf, fit_list, has_drawing, to_measure, write_dxf
from quietseat.report.fit import scene as fit_scene
from quietseat.report.fit.scene import TEXT, Dimension, Scene, Text, number, wide
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
        # lengths to 0.1 mm, and 0.001 mm on paper is 0.01 mm at 1 : 10
        assert drawn[name] == pytest.approx(inches * INCH, abs=0.07), name
    for name, gap in (("mismatch A", new_a - old_a), ("mismatch B", new_b - old_b)):
        assert drawn.get(name, 0.0) == pytest.approx(abs(gap) * INCH, abs=0.12)


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
    found = [one for one in space.query("DIMENSION") if one.dxf.layer == "dimensions"]
    names = [one.dxf.text for one in space.query('TEXT[layer=="dimensions"]')]
    measured = {name: one.get_measurement() for name, one in zip(names, found, strict=True)}
    for name, inches in (("A existing", old_a), ("B existing", old_b), ("A new", new_a), ("B new", new_b)):
        assert measured[name] == pytest.approx(inches * INCH, abs=0.051), name  # lengths to 0.1 mm
    for layer, reach in (("existing", old_b), ("candidate", new_b)):
        corners = [point for shape in space.query(f'LWPOLYLINE[layer=="{layer}"]') for point in shape.get_points("xy")]
        assert max(x for x, _ in corners) == pytest.approx(reach * INCH, abs=0.051)  # outlet face
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
    assert "216.9 measured" in words and "spacer ring 20" in words  # 216.9 less 196.9 mm, by hand


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


@functools.cache
def everything() -> list[tuple[dict[str, Any], Scene]]:
    """Every spring body of the tables against the pilot body of its size, another class and the next smaller valve, drawn."""
    out = []
    for row in table("spring_bodies"):
        valve = installed(
            row["letter"], row["inlet"], row["outlet"], row["inlet_class"], outlet_class=row["outlet_class"]
        )
        frames = [
            catalogue.pilot_body(row["inlet"], row["outlet"], row["inlet_class"]), catalogue.smallest_body("D", 150),
            catalogue.smallest_body(row["letter"], 600),
        ]  # fmt: skip
        fits = [plain.clean(plain.fit(catalogue.fits(valve, frame, BASIS))) for frame in frames if frame is not None]
        scenes = [
            sheet("PSV-1001A", "Modulating pilot valve, remote sense, non-bleeding", fit, {}, HASH) for fit in fits
        ]
        out += [(fit, scene) for fit, scene in zip(fits, scenes, strict=True) if scene is not None]
    return out


def boxes(scene: Scene) -> list[tuple[float, float, float, float, str]]:
    """Room that each line of words takes, mm on paper; numbers of dimensions too, where the printer puts them."""
    out = []
    for shape in scene.shapes:
        if isinstance(shape, Text):
            at, words, height, anchor, turned = shape.at, shape.words, shape.height, shape.anchor, shape.turned
        elif isinstance(shape, Dimension):
            off = 0.8 * scene.scale
            at = (shape.place - off, shape.middle) if shape.upright else (shape.middle, shape.place + off)
            words, height, anchor, turned = shape.words, TEXT, "middle", shape.upright
            if shape.beside is not None:
                at, anchor, turned = shape.beside, "start", False
        else:
            continue
        x, y = ((at[i] - scene.corner[i]) / scene.scale for i in (0, 1))
        length = 0.94 * wide(words, height)
        back = {"start": 0.0, "middle": length / 2, "end": length}[anchor]
        if turned:
            out.append((x - 0.7 * height, y - back, x, y - back + length, words))
        else:
            out.append((x - back, y, x - back + length, y + 0.7 * height, words))
    return out


def strokes(scene: Scene) -> list[tuple[float, float, float, float]]:
    """Every straight line that is drawn, witness lines, dimension lines and the tails of arrows with it, mm on paper."""
    lines = []
    for shape in scene.shapes:
        if isinstance(shape, fit_scene.Path):
            ends = [*shape.points[1:], *shape.points[:1]] if shape.closed else shape.points[1:]
            lines += list(zip(shape.points, ends, strict=False))
        elif isinstance(shape, fit_scene.Circle):
            ring = [(shape.centre[0] + shape.radius * math.cos(turn), shape.centre[1] + shape.radius * math.sin(turn))
                    for turn in (index * math.pi / 32 for index in range(65))]  # fmt: skip
            lines += list(itertools.pairwise(ring))
        elif isinstance(shape, Dimension):
            axis = 1 if shape.upright else 0
            low, high = sorted((shape.first[axis], shape.second[axis]))
            tail = 4.0 * scene.scale if (high - low) / scene.scale < 9.0 else 0.0
            for first, second in (((shape.place, low - tail), (shape.place, high + tail)),
                                  ((shape.place, shape.first[axis]), (shape.first[1 - axis], shape.first[axis])),
                                  ((shape.place, shape.second[axis]), (shape.second[1 - axis], shape.second[axis]))):  # fmt: skip
                lines.append((first, second) if shape.upright else (first[::-1], second[::-1]))
    return [tuple((end[i] - scene.corner[i]) / scene.scale for end in line for i in (0, 1)) for line in lines]  # type: ignore[misc]


def crosses(stroke: tuple[float, float, float, float], room: tuple[float, float, float, float, str]) -> bool:
    """Whether a straight line enters a rectangle (Liang and Barsky)."""
    x0, y0, x1, y1 = stroke
    start, stop = 0.0, 1.0
    for way, back, front in ((x1 - x0, room[0] - x0, room[2] - x0), (y1 - y0, room[1] - y0, room[3] - y0)):
        if way == 0:
            if not back < 0 < front:
                return False
            continue
        near, far = sorted((back / way, front / way))
        start, stop = max(start, near), min(stop, far)
    return start < stop


def test_lines_do_not_cross_words() -> None:
    wrong = set()
    for fit, scene in everything():
        lines = strokes(scene)
        wrong |= {
            f"{room[4]} | {fit['words'][:60]} | 1 : {scene.scale:g}"
            for room in boxes(scene)
            for stroke in lines
            if crosses(stroke, room)
        }
    assert wrong == set()


def test_words_are_large_enough_to_read() -> None:
    """7.5 points are 2.646 mm; the sheet is printed as wide as it says."""
    for _, scene in everything():
        assert min(shape.height for shape in scene.shapes if isinstance(shape, Text)) >= 2.646


def test_words_stay_on_the_sheet_and_off_each_other() -> None:
    wrong = []
    for fit, scene in everything():
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
        record.summary["verdict"] = "misfit"
    files = write_dxf(tmp_path, study)
    assert len(files) == len({path.name.lower() for path in files}) == 6
    for path in files:
        assert path.parent == tmp_path / "fit-drawings" and re.fullmatch(r"[\w.-]+\.dxf", path.name, re.ASCII)
        assert ezdxf.readfile(path).audit().errors == []
    before = [path.read_bytes() for path in files]
    assert [path.read_bytes() for path in write_dxf(tmp_path, study)] == before


@pytest.mark.parametrize(("limit", "count"), [(50, 6), (4, 3), (0, 0)])
@pytest.mark.parametrize("whole", [False, True])
def test_paper_page_and_dxf_hold_the_same_drawings(tmp_path: Path, limit: int, count: int, whole: bool) -> None:
    """Of eight valves one is sound and one keeps its body; six are drawn, fewer where fewer have pages of their own."""
    study = sample.study(8)
    tried = study.ranked()[0].full()["remedies"][0]
    for index, record in enumerate(study.ranked()):
        valve = record.full()
        valve["tag"] = f"PSV-{index}"
        same = plain.fit(catalogue.same_body(installed("M", 4, 6)))
        valve["remedies"] = [
            {
                **tried,
                "name": "one",
                "title": "Snap pilot valve",
                "fit": same if index == 1 else pilot_fit(installed("M", 4, 6)),
            },
            {**tried, "name": "two", "title": "Smaller valve", "fit": pilot_fit(installed("P", 4, 6))},
        ]
        valve["recommended"], valve["best_yes"] = "one", "two"
        record.summary["verdict"] = "sound" if index == 7 else "misfit"
    choices = study.head["basis"]["choices"]
    choices[:] = [one for one in choices if one["name"] not in ("worst_valves", "pdf_valves")]
    choices += [
        {"name": "worst_valves", "value": str(limit)},
        {"name": "pdf_valves", "value": "full" if whole else "sheet"},
    ]
    wanted = {f"PSV-{index}" for index in (0, 2, 3, 4, 5, 6)[:count]}
    assert {path.name.removesuffix("_one.dxf") for path in write_dxf(tmp_path, study)} == wanted
    document = build.build(study)
    for medium in ("paper", "page"):
        captions = [block.caption for block in flat(document.blocks, medium) if isinstance(block, Figure)]
        shown = [found.group(1) for caption in captions if (found := re.match(r"Fit drawing of (\S+), 1 : ", caption))]
        assert len(shown) == len(wanted) and set(shown) == wanted, medium


def flat(blocks: Any, medium: str) -> Iterator[Any]:
    """Every block that one medium prints, from inside the others too."""
    for block in blocks:
        if isinstance(block, Only) and block.medium != medium:
            continue
        inner = [*getattr(block, "blocks", ()), *getattr(block, "left", ()), *getattr(block, "right", ())]
        yield from flat(inner, medium) if inner else (block,)


def test_reducing_spool_stands_on_the_existing_face_and_the_valve_on_it() -> None:
    """3L4 to 1.5G3: A 123.8 mm on a spool whose height nobody knows; the old outlet centre line is 155.6 mm up. B 120.7 against 165.1."""
    frame = catalogue.smallest_body("G", 150)
    assert frame is not None
    fit = plain.clean(plain.fit(catalogue.fits(installed("L", 3, 4), frame, BASIS)))
    text = fit_dxf("T", "Smaller valve", fit, {}, HASH) or ""
    space = drawing(text).modelspace()

    def low_and_high(layer: str) -> tuple[float, float]:
        heights = [
            y
            for shape in space.query(f'LWPOLYLINE[layer=="{layer}"]')
            for x, y in shape.get_points("xy")
            if abs(x) < 100
        ]
        return min(heights), max(heights)

    foot, _ = low_and_high("candidate")
    assert low_and_high("existing")[0] == 0.0 == low_and_high("spool")[0]
    plates = [
        shape
        for shape in space.query('LWPOLYLINE[layer=="spool"]')
        if shape.closed and all(abs(x) < 100 for x, _ in shape.get_points("xy"))
    ]
    tops = sorted(max(y for _, y in shape.get_points("xy")) for shape in plates)
    # ASME B16.5 class 150: flanges of NPS 3 and 1.5 at least 22.3 and 15.9 mm thick
    assert foot == pytest.approx(tops[-1]) and foot > 22.3 + 15.9
    red = [one.get_measurement() for one in space.query('DIMENSION[layer=="mismatch"]')]
    assert red == [pytest.approx(44.4)]  # of B alone
    root = picture(fit)
    words = " ".join(text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text"))
    assert "height not known until it is designed" in words.replace("\n", " ")
    assert "new outlet centre line higher by the height of the spool less 31.8 mm" in (root[1].text or "")
    assert lengths(root)["new A"] == pytest.approx(123.8, abs=0.02)
    rows = fit_list(fit, {})
    assert rows[0] == ("A, inlet face to outlet centre line", "155.6 ±1.6", "123.8 ±1.6",
                       "new outlet centre line higher by the height of the spool less 31.8 mm")  # fmt: skip
    assert rows[1][3] == "new outlet face 44.4 mm further in"


def test_spacer_ring_lifts_the_new_valve() -> None:
    """216.9 mm measured against 196.9: a ring of 20 mm under the new valve and the outlet centre lines agree."""
    fit = pilot_fit(installed("N", 4, 6, inlet_height=0.2169, outlet_reach=0.20955))
    space = drawing(fit_dxf("T", "x", fit, {}, HASH) or "").modelspace()
    heights = [y for shape in space.query('LWPOLYLINE[layer=="candidate"]') for _, y in shape.get_points("xy")]
    assert min(heights) == pytest.approx(20.0) and len(space.query('DIMENSION[layer=="mismatch"]')) == 0
    assert fit_list(fit, {})[0][3] == "outlet centre lines agree within 1.5 mm on the ring of 20 mm"


def test_below_the_tolerance_nothing_is_red() -> None:
    """197.0 and 210.0 mm measured against 196.9 and 209.6: 0.1 and 0.4 mm, far inside 1.5 mm."""
    fit = pilot_fit(installed("N", 4, 6, inlet_height=0.1970, outlet_reach=0.2100))
    root = picture(fit)
    assert set(lengths(root)) == {"existing A", "existing B", "new A", "new B"}
    words = [text.text or "" for text in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "197.0 measured" in words and "196.9 ±1.6" in words
    said = root[1].text or ""
    assert "outlet centre lines agree within 1.5 mm" in said and "outlet faces agree within 1.5 mm" in said
    assert "A 196.9 mm against 197.0 mm (-0.1 mm)" in " ".join(words).replace("  ", " ")


def test_numbers_in_the_dxf_have_the_same_decimal() -> None:
    """4M6: A 177.8 and 196.9, 19.1 mm; B 184.2 and 209.6, 25.4 mm."""
    document = drawing(fit_dxf("T", "x", pilot_fit(installed("M", 4, 6)), {}, HASH) or "")
    shown = {
        entity.dxf.text if entity.dxftype() == "TEXT" else entity.text
        for block in document.blocks if block.name.startswith("*D") for entity in block if entity.dxftype() in ("TEXT", "MTEXT")
    }  # fmt: skip
    assert {"177.8 ±1.6", "196.9 ±1.6", "184.2 ±1.6", "209.6 ±1.6", "19.1", "25.4"} <= {text.strip() for text in shown}


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
