"""Whether a remedy bolts in, as a picture to scale with its dimensions as text, or as what has to be measured before one can be drawn."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from quietseat.report.document import Block, Column, Prose, TableBlock
from quietseat.report.fit import fit_drawing, fit_list, to_draw, to_measure


def of_remedy(valve: Mapping[str, Any], remedy: Mapping[str, Any], study: str) -> Iterable[Block]:
    """The fit drawing of one remedy with its dimensions as text, or what to measure; nothing where the body stays.

    study: the study's hash, printed in the title block.
    """
    tag, title, known = str(valve["tag"]), str(remedy["title"]), valve.get("valve") or {}
    picture = fit_drawing(tag, title, remedy["fit"], known, study=study) if to_draw(remedy) else None
    words = to_measure(remedy.get("fit"))
    if picture:
        yield picture
        yield TableBlock(
            f"Dimensions of the fit drawing of {tag}",
            (Column("What"), Column("Existing, mm"), Column("New, mm"), Column("Difference", "wide")),
            tuple(fit_list(remedy["fit"], known)),
        )
    elif words:
        yield Prose(f"{title}. {words}")
