"""Dated rules that make leaks cost money: thresholds, days of repair, charges a tonne. A pack is chosen by name."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

from quietseat.tables import Row, table


@dataclass(frozen=True, slots=True)
class Ruled:
    """What a rule pack says of one valve on one day."""

    words: tuple[str, ...]
    charge: float  # money a tonne of methane; 0 where the pack has none
    confidence: tuple[str, ...]
    over: bool = False  # a threshold is passed


def in_force(pack: str, day: date) -> tuple[Row, ...]:
    """The rows of a pack that hold on a day; () for "none"."""
    return tuple(row for row in table("leak_rules") if row["pack"] == pack and _holds(row, day))


def _holds(row: Row, day: date) -> bool:
    starts, ends = row["valid_from"], row["valid_to"]
    return (starts is None or date.fromisoformat(starts) <= day) and (ends is None or day <= date.fromisoformat(ends))


def judge(pack: str, day: date, ppm: float | None, rate: float | None) -> Ruled:
    """What a pack says on a day of a reading (ppm) or a leak rate (kg/s); either may be None."""
    rows = in_force(pack, day)
    by_item = {str(row["item"]): row for row in rows}
    words, over = [], False
    for row in rows:
        value = ppm if row["unit"] == "ppm" else rate * 3.6e6 if row["unit"] == "g/h" and rate is not None else None
        if not str(row["item"]).startswith("threshold") or value is None:
            continue
        passed = value >= float(row["value"])
        over = over or passed
        unit, said = row["unit"], "at or over" if passed else "below"
        words.append(f"{row['title']}: {value:.3g} {unit} against {row['value']:g} {unit}: {said} ({row['provenance']})")
    for item in ("first-attempt", "repair"):
        if over and item in by_item:
            row = by_item[item]
            until = day + timedelta(days=float(row["value"]))
            words.append(f"{row['title']}: {row['value']:g} days, by {until.isoformat()} ({row['provenance']})")
    charge = by_item.get("charge")
    if charge is not None:
        words.append(f"{charge['title']}: {charge['value']:g} {charge['unit']} ({charge['provenance']}); {charge['note']}")
    elif pack != "none" and not rows:
        words.append(f"no rule of {pack} is in force on {day.isoformat()}")
    marks = tuple(dict.fromkeys(str(row["provenance"]) for row in rows))
    return Ruled(tuple(words), float(charge["value"]) if charge is not None else 0.0, marks, over)


@lru_cache(maxsize=1024)
def charge_on(pack: str, day: date) -> tuple[float, str]:
    """Charge of a pack on a day, money a tonne of methane, and the words for it; 0 where it has none."""
    row = next((row for row in in_force(pack, day) if row["item"] == "charge"), None)
    if row is None:
        return 0.0, ""
    since = f" from {row['valid_from']}" if row["valid_from"] else ""
    return float(row["value"]), f"{pack}, {row['title']}: {row['value']:g} {row['unit']}{since} ({row['provenance']}); {row['note']}"


def repair_on(pack: str, day: date, ppm: float | None, rate: float | None) -> tuple[float, str] | None:
    """Days within which a pack has a leak of this size mended, and the words for it; None where it does not ask for it.

    ppm: the reading; rate: kg/s; either may be None. A pack that gives no time for the repair gives one for the first attempt.
    """
    if pack == "none" or not judge(pack, day, ppm, rate).over:
        return None
    by_item = {str(row["item"]): row for row in in_force(pack, day)}
    row = by_item.get("repair") or by_item.get("first-attempt")
    if row is None:
        return None
    return float(row["value"]), f"{pack}, {row['title']}: {row['value']:g} days ({row['provenance']})"
