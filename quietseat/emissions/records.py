"""The records of leakage. SI; pressures absolute Pa; None = not known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from quietseat.status import CalculationFailed, Status
from quietseat.tables import NotInTable, Row, sources, table


@dataclass(frozen=True, slots=True)
class LeakFacts:
    """What is known of a valve that bears on its leakage. SI; pressures absolute Pa; None = not known."""

    set_pressure: float | None
    atmospheric: float
    operating_pressure: float | None = None
    effective_area: float | None = None  # m2; decides the column of API 527
    inlet_size: float | None = None  # NPS, liquids
    seat: str = "metal"  # metal, soft
    phase: str = "gas"
    molar_mass: float | None = None
    k: float | None = None
    temperature: float | None = None
    density: float | None = None  # liquids
    discharge_to: str | None = None  # atmosphere, flare, closed, process
    sector: str | None = None  # oil-gas, refinery, chemical
    compressor: bool = False
    found_leaking: bool = False
    ppm: float | None = None  # screening value above background
    gap: float | None = None  # m2
    measured: float | None = None  # kg/s, a leak rate that was measured
    back_pressure: float | None = None  # behind the seat; None = atmospheric
    mended: bool = False  # the seat has just been made good
    Z: float | None = None  # compressibility factor, gases; None = 1


@dataclass(frozen=True, slots=True)
class LeakRate:
    """Leakage in kg/s: low, middle, high; the basis used and where it stands."""

    low: float
    mid: float
    high: float
    basis: str
    source: str
    confidence: str
    words: str
    year: int | None = None


@dataclass(frozen=True, slots=True)
class Leak:
    """One basis beside the others; rates are None where it has no value for this valve, and `why` says why."""

    basis: str  # in-spec, average, screening, leaker, population, measured, gap
    source: str
    year: int | None
    low: float | None
    mid: float | None
    high: float | None
    applies: bool
    why: str
    confidence: str = ""


@lru_cache(maxsize=128)
def base_row(name: str) -> Row:
    """One row of the leak bases. Raises CalculationFailed where there is none."""
    try:
        return table("leak_bases").row(basis=name)
    except NotInTable as error:
        raise CalculationFailed(Status.NOT_COMPUTED, f"no leak basis: {error}") from None


def year_of(row: Row) -> int | None:
    """The year of a row: the one in its place ("Table W-6 (2024)"), else that of its document."""
    last = str(row["place"]).rpartition("(")[2].removesuffix(")")
    return int(last) if last.isdigit() and len(last) == 4 else sources()[row["source"]].year
