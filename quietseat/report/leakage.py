"""What a valve leaks: the words and the table of the bases in its section."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from quietseat.report.document import Block, Column, Fold, Prose, TableBlock
from quietseat.report.words import DASH, Shown, cut, is_number, leak_of, plain

BASES = {
    "in-spec": "within its specification", "average": "average of such valves", "screening": "from a reading in ppm",
    "leaker": "found leaking", "population": "population of such valves", "measured": "measured", "gap": "gap at the seat",
}  # fmt: skip
ENDS = ("low", "mid", "high")


def section(valve: Mapping[str, Any], shown: Shown) -> Iterable[Block]:
    """What one valve leaks; nothing where the study does not say."""
    found = valve.get("leakage")
    if not found or not found.get("bases"):
        return
    yield Prose("What it leaks", "label")
    yield Prose(sentence(found, shown))
    rows = tuple(
        (
            BASES.get(str(item.get("basis")), plain(item.get("basis"))),
            *(leak_of(item.get(f"{end}_kg_s"), shown) for end in ("low", "mid", "high")),
            cut(plain(item.get("source")), 90), plain(item.get("year")),
            f"{'Applies' if item.get('applies') else 'No'}: {shown.rates(plain(item.get('why')))}",
        )
        for item in found["bases"]
    )  # fmt: skip
    yield Fold("Its leak by every basis, side by side", (TableBlock(
        "Leak by basis", (Column("Basis"), *(Column(f"{word}, {shown.flow}", "number") for word in ("Low", "Middle", "High")),
                          Column("Source", "wide"), Column("Year", "number"), Column("Applies, and why", "wide")), rows,
        note="Each basis is an estimate of its own; they are compared here, never added. Whole sources: sheet Leakage of study.xlsx."
             + _beside(found),
    ),))  # fmt: skip


def sentence(found: Mapping[str, Any], shown: Shown) -> str:
    """Basis, product and CO2 equivalent of a year, route, in one line."""
    basis = BASES.get(str(found.get("basis")), plain(found.get("basis")))
    said = [f"Basis: {basis}."]
    product, co2e, beside = found.get("product_kg_a"), found.get("co2e_kg_a"), found.get("co2e_parts_kg_a")
    if product:
        said.append(f"Product lost in a year: {_masses(product, shown)} kg.")
    if co2e:
        more = f", and {_masses(beside, shown)} kg beside the seat" if beside and beside.get("high") else ""
        said.append(f"CO2 equivalent of a year: {_masses(co2e, shown)} kg{more}.")
    if found.get("route_words"):
        said.append(f"{str(found['route_words']).capitalize()}.")
    return " ".join(said)


def amounts(valve: Mapping[str, Any]) -> Mapping[str, Mapping[str, float]] | None:
    """CO2 equivalent of a year, kg, through the seat, beside it, and both: low, mid and high; None where there is no estimate."""
    found = valve.get("leakage") or {}
    seat, parts = found.get("co2e_kg_a") or {}, found.get("co2e_parts_kg_a") or {}
    if not all(is_number(seat.get(key)) for key in ENDS):
        return None
    beside = {key: parts.get(key) or 0.0 for key in ENDS}
    return {
        "seat": {key: seat[key] for key in ENDS},
        "beside": beside,
        "all": {key: seat[key] + beside[key] for key in ENDS},
    }


def rows(valve: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The bases of one valve for a sheet; `_whole` marks the one row that carries the amounts of a year."""
    found = valve.get("leakage") or {}
    bases = [dict(one) for one in found.get("bases") or ()]
    if not bases and amounts(valve):
        bases = [{"basis": found.get("basis")}]
    carries = next((at for at, one in enumerate(bases) if one.get("applies")), 0)
    for at, one in enumerate(bases):
        one["_whole"] = at == carries
    return bases


def _masses(spread: Mapping[str, Any], shown: Shown) -> str:
    return shown.spread({key: spread[key] for key in ("low", "mid", "high")}) if is_number(spread.get("mid")) else DASH


def _beside(found: Mapping[str, Any]) -> str:
    """What leaks beside the seat, where anything does."""
    parts = [plain(part.get("words") or part.get("name")).rstrip(".") for part in found.get("parts") or ()]
    return f" Beside the seat: {'; '.join(parts)}." if parts else ""
