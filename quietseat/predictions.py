"""Predicted against found: what stability says of the valves the shop has looked at, as a two-by-two table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from quietseat.model import History, Stability
from quietseat.reliability import wilson_high, wilson_low

UNSTABLE = ("chatters", "flutters", "cycles")
SHOP = ("chatter", "bellows")  # hammering and beaten seats are read as chatter
Z95 = 1.959964  # of the normal distribution, two-sided 95 %


def predicted(stability: Stability) -> str:
    """What stability predicts: unstable, quiet or unproven. The history has no part in it."""
    if stability.verdict in UNSTABLE:
        return "unstable"
    return "quiet" if stability.verdict == "quiet" else "unproven"


def found(history: History) -> bool | None:
    """True where the shop or the plant found hammering, beaten seats or a broken bellows; None where nobody has looked."""
    kinds = {event.event for event in history.events}
    if kinds & set(SHOP):
        return True
    return False if kinds or history.condition else None


def table(pairs: Iterable[tuple[str, bool | None]]) -> dict[str, Any] | None:
    """The two-by-two table over (predicted, found) pairs; None where no history says anything.

    hit rate: share predicted unstable of those found, unproven left out; false alarm rate: share predicted unstable
    of those not found. Both with their 95 % interval (Wilson).
    """
    counts = Counter((what, seen) for what, seen in pairs if seen is not None)
    if not counts:
        return None
    words = ("unstable", "quiet", "unproven")
    rows = {name: {word: counts[(word, seen)] for word in words} for name, seen in (("found", True), ("not_found", False))}
    hit, hit_interval = _rate(rows["found"])
    false, false_interval = _rate(rows["not_found"])
    return {
        **rows, "hit_rate": hit, "hit_interval": hit_interval, "false_alarm_rate": false,
        "false_alarm_interval": false_interval, "words": _words(rows, hit, hit_interval, false),
    }  # fmt: skip


def _rate(row: dict[str, int]) -> tuple[float | None, list[float] | None]:
    decided = row["unstable"] + row["quiet"]
    if not decided:
        return None, None
    return row["unstable"] / decided, [wilson_low(row["unstable"], decided, Z95), wilson_high(row["unstable"], decided, Z95)]


def _words(rows: dict[str, dict[str, int]], hit: float | None, interval: list[float] | None, false: float | None) -> str:
    seen, clean = rows["found"], rows["not_found"]
    if hit is None or interval is None:
        return "No valve found hammered, beaten or with a broken bellows has a verdict yet: nothing to compare."
    said = (
        f"Of {seen['unstable'] + seen['quiet']} valves found hammered, with beaten seats or a broken bellows, "
        f"{seen['unstable']} are predicted unstable ({100 * hit:.0f} %, 95 % interval {100 * interval[0]:.0f} to {100 * interval[1]:.0f} %)"
    )
    if false is not None:
        said += f"; of {clean['unstable'] + clean['quiet']} looked at and found clean, {clean['unstable']} ({100 * false:.0f} %)"
    unproven = seen["unproven"] + clean["unproven"]
    left = f" {unproven} more are unproven." if unproven else ""
    return (
        f"{said}.{left} A clean valve may never have lifted, and a bellows can break for other reasons: this compares, "
        "it proves nothing about one valve."
    )
