"""The fit drawing: existing valve and candidate over each other on one inlet face, to scale, as SVG and as DXF.

Everything drawn comes from the `fit` record of a study: four lengths, and under `drawing` the flanges of both bodies.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from quietseat.report.document import Figure
from quietseat.report.fit import svg
from quietseat.report.fit.body import complete, missing
from quietseat.report.fit.sheet import listed, sheet
from quietseat.report.words import choice_number

__all__ = ["drawn", "fit_drawing", "fit_dxf", "fit_list", "has_drawing", "to_draw", "to_measure", "write_dxf"]

FOLDER = "fit-drawings"
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")


def has_drawing(fit: Mapping[str, Any] | None) -> bool:
    """Whether a fit holds the four centre-to-face lengths its drawing needs."""
    return complete(fit)


def to_measure(fit: Mapping[str, Any] | None) -> str:
    """What to measure before a fit can be drawn, as a sentence; "" where nothing is missing or no new body goes in."""
    return missing(fit)


def to_draw(remedy: Mapping[str, Any] | None) -> bool:
    """Whether a remedy puts another body in and all lengths of its drawing are known."""
    fit = (remedy or {}).get("fit")
    return has_drawing(fit) and fit is not None and fit["verdict"] != "same body"


def fit_list(fit: Mapping[str, Any], valve: Mapping[str, Any]) -> list[tuple[str, str, str, str]]:
    """The dimensions of a fit drawing as text: what, existing, new (mm), difference in words; [] where a length is not known."""
    return listed(fit, valve)


def fit_drawing(
    tag: str, title: str, fit: Mapping[str, Any], valve: Mapping[str, Any], study: str = ""
) -> Figure | None:
    """The fit of one remedy as a Figure; None where a centre-to-face length is not known (`to_measure` says which).

    tag, title: of valve and remedy. fit: as in study.json. valve: the valve's fields, used where the fit has no
    `drawing`. study: the study's hash, printed in the title block. Same input, same bytes.
    """
    scene = sheet(tag, title, fit, valve, study)
    if scene is None:
        return None
    return Figure(svg.render(scene), scene.alt, f"Fit drawing of {tag}, 1 : {scene.scale:g} on paper: {title}.")


def fit_dxf(tag: str, title: str, fit: Mapping[str, Any], valve: Mapping[str, Any], study: str = "") -> str | None:
    """The fit of one remedy as the text of a DXF file (R2010, mm, 1 : 1), to be encoded as UTF-8; None as in `fit_drawing`."""
    from quietseat.report.fit import dxf as printer

    scene = sheet(tag, title, fit, valve, study)
    return None if scene is None else printer.render(scene)


def drawn(study: Any) -> Iterator[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    """Valve and remedy of each drawing of a study, worst valve first: the same for paper and for DXF.

    Drawn is the recommended remedy where another body goes in, of the valves that have pages of their own (`worst_valves`, none sound).
    study: head and ranked records.
    """
    worst = [record for record in study.ranked() if record.summary["verdict"] != "sound"]
    for record in worst[: int(choice_number(study.head, "worst_valves", "number", 50))]:
        valve = record.full()
        name = valve.get("recommended")
        found = next((one for one in valve.get("remedies") or () if name and one["name"] == name), None)
        if found is not None and to_draw(found):
            yield valve, found


def write_dxf(folder: str | Path, study: Any) -> list[Path]:
    """Write fit-drawings/TAG_remedy.dxf for every drawing of a study (`drawn`); returns the paths.

    study: head (with its hash) and ranked records. Raises OSError where the folder cannot be written.
    """
    files: list[Path] = []
    taken: set[str] = set()
    place = Path(folder) / FOLDER
    for valve, remedy in drawn(study):
        text = fit_dxf(
            str(valve["tag"]),
            str(remedy["title"]),
            remedy["fit"],
            valve.get("valve") or {},
            str(study.head.get("hash") or ""),
        )
        if text is None:
            continue
        place.mkdir(parents=True, exist_ok=True)
        path = place / f"{_free(str(valve['tag']) + '_' + str(remedy['name']), taken)}.dxf"
        path.write_bytes(text.encode())
        files.append(path)
    return files


def _free(wanted: str, taken: set[str]) -> str:
    """A file name of plain letters that no other file has, case left aside."""
    plain = _UNSAFE.sub("-", wanted).strip("-.")[:80] or "valve"
    name, count = plain, 1
    while name.lower() in taken:
        count += 1
        name = f"{plain}-{count}"
    taken.add(name.lower())
    return name
