"""A scene as DXF: model space in millimetres, 1 : 1, one layer a meaning, real dimensions."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from quietseat.report.fit.scene import LAYERS, TEXT, UNKNOWN, Circle, Dimension, Path, Scene, Shape, Text

if TYPE_CHECKING:
    from ezdxf.document import Drawing
    from ezdxf.layouts.layout import Modelspace

_STYLE = "FIT"
_CAPITALS = 0.7  # a DXF gives the height of capitals, a picture the size of the whole letter
_ANCHORS = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}
_WIDTHS = (0, 5, 9, 13, 15, 18, 20, 25, 30, 35, 40, 50, 53)  # hundredths of a mm that a DXF knows


def render(scene: Scene) -> str:
    """The DXF (R2010) as text; the same scene gives the same text. Encode it as UTF-8."""
    from ezdxf._options import options
    from ezdxf.filemanagement import new
    from ezdxf.units import MM

    fixed = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True  # no date, no fresh ids in the file
    try:
        document = new("R2010", units=MM)
        document.header["$MEASUREMENT"] = 1
        _styles(document, scene.scale)
        space = document.modelspace()
        for shape in scene.shapes:
            _add(space, shape, scene.scale)
        out = io.StringIO()
        document.write(out)
    finally:
        options.write_fixed_meta_data_for_testing = fixed
    return out.getvalue()


def _styles(document: Drawing, scale: float) -> None:
    """Layers with their line types, the letters, and how a dimension looks; sizes so that the sheet prints at its scale."""
    document.styles.add(_STYLE, font="arial.ttf").dxf.width = 0.85  # room for fonts that a reader puts in its place
    for layer in LAYERS.values():
        kind = _line_type(document, layer.name, layer.dashes, scale)
        hundredths = min(_WIDTHS, key=lambda known: abs(known - layer.width * 100))
        document.layers.add(layer.name, color=layer.number, linetype=kind, lineweight=hundredths)
    _line_type(document, "unknown", UNKNOWN, scale)
    look = document.dimstyles.new(_STYLE)
    height = _CAPITALS * TEXT * scale
    for name, value in {
        "dimtxt": height, "dimasz": 1.2 * height, "dimexo": 0.0, "dimexe": 0.5 * height, "dimgap": 0.3 * height, "dimdec": 1,
        "dimzin": 0, "dimtad": 1, "dimtih": 0, "dimtoh": 0, "dimscale": 1.0, "dimlfac": 1.0, "dimdsep": ord("."), "dimtxsty": _STYLE,
    }.items():  # fmt: skip
        look.dxf.set(name, value)


def _line_type(document: Drawing, name: str, dashes: tuple[float, ...], scale: float) -> str:
    if not dashes:
        return "Continuous"
    lengths = [(dash if index % 2 == 0 else -dash) * scale for index, dash in enumerate(dashes)]
    document.linetypes.add(f"fit-{name}", [sum(map(abs, lengths)), *lengths])
    return f"fit-{name}"


def _add(space: Modelspace, shape: Shape, scale: float) -> None:
    if isinstance(shape, Dimension):
        _dimension(space, shape, scale)
        return
    look: dict[str, object] = {"layer": shape.layer}
    if isinstance(shape, Text):
        look |= {"style": _STYLE, "height": _CAPITALS * shape.height * scale}
        from ezdxf.enums import TextEntityAlignment

        if shape.turned:
            look["rotation"] = 90.0
        space.add_text(shape.words.replace("%%", "% %"), dxfattribs=look).set_placement(
            shape.at, align=TextEntityAlignment[_ANCHORS[shape.anchor]]
        )
        return
    if shape.unknown:
        look["linetype"] = "fit-unknown"
    if isinstance(shape, Circle):
        space.add_circle(shape.centre, shape.radius, dxfattribs=look)
    elif isinstance(shape, Path):
        bulges = shape.bulges or (0.0,) * len(shape.points)
        points = [(x, y, bulge) for (x, y), bulge in zip(shape.points, bulges, strict=True)]
        space.add_lwpolyline(points, format="xyb", close=shape.closed, dxfattribs=look)


def _dimension(space: Modelspace, found: Dimension, scale: float) -> None:
    """A linear dimension whose number a reader of the file measures again: only what stands round it is text."""
    base = (found.place, found.first[1]) if found.upright else (found.first[0], found.place)
    words = f"<> {found.after}".rstrip()
    made = space.add_linear_dim(
        base=base, p1=found.first, p2=found.second, angle=90 if found.upright else 0, text=words, dimstyle=_STYLE,
        dxfattribs={"layer": found.layer},
    )  # fmt: skip
    if found.beside is not None:
        made.set_location(found.beside)
    elif found.along is not None:
        aside = 1.9 * scale  # off the dimension line, as where the reader places the number himself
        made.set_location((found.place - aside, found.along) if found.upright else (found.along, found.place + aside))
    made.render()
