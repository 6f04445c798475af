"""The fit drawing of a remedy as a file: SVG for a report, DXF for a drawing office."""

from __future__ import annotations

import re
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Response

from quietseat.report.fit import fit_dxf, to_measure
from quietseat.web.remedies import picture
from quietseat.web.site import Site, site
from quietseat.web.valve import found

router = APIRouter()
_UNSAFE = re.compile(r"[^A-Za-z0-9._-]+")


@router.get("/plant/{number}/valve/fit.svg")
def as_svg(at: Annotated[Site, Depends(site)], number: int, tag: str, remedy: str) -> Response:
    """The drawing as an SVG file."""
    _, study, valve = found(at, number, tag)
    one = _remedy(valve, remedy)
    drawn = picture(valve, one, study["head"])
    return _file(drawn.svg if drawn else None, one, valve, "svg", "image/svg+xml")


@router.get("/plant/{number}/valve/fit.dxf")
def as_dxf(at: Annotated[Site, Depends(site)], number: int, tag: str, remedy: str) -> Response:
    """The drawing as a DXF file, millimetres, 1 : 1."""
    _, study, valve = found(at, number, tag)
    one = _remedy(valve, remedy)
    text = (
        fit_dxf(
            str(valve["tag"]),
            str(one["title"]),
            one["fit"],
            valve.get("valve") or {},
            str(study["head"].get("hash") or ""),
        )
        if one.get("fit")
        else None
    )
    return _file(text, one, valve, "dxf", "image/vnd.dxf")


def _remedy(valve: dict[str, Any], name: str) -> dict[str, Any]:
    one: dict[str, Any] | None = next((each for each in valve.get("remedies") or () if each["name"] == name), None)
    if one is None:
        raise HTTPException(404, f"The study has no remedy {name!r} for {valve['tag']}.")
    return one


def _file(text: str | None, one: dict[str, Any], valve: dict[str, Any], end: str, kind: str) -> Response:
    if text is None:
        raise HTTPException(
            404, to_measure(one.get("fit")) or "No new body goes in with this remedy: there is nothing to draw."
        )
    name = _UNSAFE.sub("-", f"{valve['tag']}_{one['name']}").strip("-.")[:90] or "fit"
    return Response(
        text.encode(), media_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}.{end}"'}
    )
