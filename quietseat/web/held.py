"""Which valves of a fleet can be held in the plan, and in words why the others cannot."""

from __future__ import annotations

from collections.abc import Sequence

from quietseat.remedies.choose import STANDING
from quietseat.store.fleet import Fleet

# Why a valve cannot be held in the plan: by its recommended remedy, then by its verdict.
NOT_HELD = ("sound: nothing to cure", "to keep and watch: nothing to do there", "to measure first: no remedy is known yet", "without a remedy that clears every finding")


def holdable(known: Fleet, places: Sequence[int]) -> tuple[list[str], list[int]]:
    """The tags that have a remedy the plan could take, and how many have none, by `NOT_HELD`."""
    verdicts = known.labels("verdict")
    tags, skipped = [], [0] * len(NOT_HELD)
    for place in places:
        name = known.recommended[place][0]
        if name and name not in STANDING:
            tags.append(known.tags[place])
        else:
            skipped[0 if verdicts[place] == "sound" else {"keep": 1, "measure-first": 2}.get(name, 3)] += 1
    return tags, skipped


def left_as_they_were(text: str, what: str) -> str:
    """How many valves a change left as they were, and why; read from the address."""
    first, *rest = (int(part) if part.isdecimal() and len(part) < 8 else 0 for part in text.split("."))
    if not first:
        return ""
    why = [f"{count} {words}" for count, words in zip(rest, NOT_HELD) if count]
    usual = "no remedy is recommended there" if what == "decide" else "nothing held them"
    return f"{first} left as {'it was' if first == 1 else 'they were'}: {', '.join(why) or usual}."
