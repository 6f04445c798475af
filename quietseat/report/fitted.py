"""Whether a remedy bolts in, as a picture to scale, or as what has to be measured before one can be drawn."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from quietseat.report import drawing
from quietseat.report.document import Block, Prose

_TELLING = ("spool", "spacer", "does not fit")


def blocks(
    valve: Mapping[str, Any], remedies: Sequence[Mapping[str, Any]], chosen: Mapping[str, Any] | None, study: str
) -> Iterable[Block]:
    """The fit of the recommended remedy; where its body stays or there is none, that of the first other body that was tried.

    study: the study's hash, printed in the title block.
    """
    if chosen:
        yield from of_remedy(valve, chosen, study)
        if _drawn(chosen):
            return
    changed = [one for one in remedies if _drawn(one)]
    if changed:
        shows = next((one for one in changed if one["fit"]["verdict"] in _TELLING), changed[0])
        yield from of_remedy(valve, shows, study)


def of_remedy(valve: Mapping[str, Any], remedy: Mapping[str, Any], study: str) -> Iterable[Block]:
    """The fit drawing of one remedy, or what to measure; nothing where the body stays."""
    picture = None
    if _drawn(remedy):
        picture = drawing.fit_drawing(
            str(valve["tag"]), str(remedy["title"]), remedy["fit"], valve.get("valve") or {}, study=study
        )
    words = drawing.to_measure(remedy.get("fit"))
    if picture:
        yield picture
    elif words:
        yield Prose(f"{remedy['title']}. {words}")


def _drawn(remedy: Mapping[str, Any]) -> bool:
    fit: Mapping[str, Any] = remedy.get("fit") or {}
    return drawing.has_drawing(fit) and fit["verdict"] != "same body"
