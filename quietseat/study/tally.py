"""What is summed over all valves of a study: assumptions, causes, hand checks, what was marched in time."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from quietseat.basis import Basis
from quietseat.model import Assumption, Problem


class Tally:
    """What is summed over all valves."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self._assumed: dict[tuple[str, str, str, str], list[str]] = {}
        self._causes: Counter[str] = Counter()
        self._hand: dict[str, dict[str, str]] = {}
        self._marched: list[dict[str, Any]] = []
        self._left: list[str] = []
        self.seen: list[tuple[str, bool | None]] = []

    def add(self, tag: str, part: Mapping[str, Any]) -> None:
        """Count one valve's assumptions, cause, hand checks, and what was marched in time."""
        if part["marched"]:
            self._marched.append(part["marched"])
        elif part["in_doubt"]:
            self._left.append(tag)
        self.seen.append(part["seen"])
        for key in part["assumptions"]:
            self._assumed.setdefault(tuple(key), []).append(tag)
        if part["cause_code"]:
            self._causes[part["cause_code"]] += 1
        self.problems += part["problems"]
        self.hand(tag, part["hand"])

    def hand(self, tag: str, lines: Mapping[str, str]) -> None:
        """Keep the first checkable line of each method."""
        for method, line in lines.items():
            self._hand.setdefault(method, {"method": method, "tag": tag, "line": line})

    def assumptions(self, read_with: tuple[Assumption, ...]) -> list[dict[str, Any]]:
        """Every assumption once, with how many valves rest on it."""
        general = [{**asdict(a), "count": None, "tags": []} for a in read_with]
        each = [
            {"field": k[0], "value": k[1], "rule": k[2], "source": k[3], "count": len(tags), "tags": tags[:5]}
            for k, tags in sorted(self._assumed.items(), key=lambda item: (-len(item[1]), item[0]))
        ]
        return general + each

    def marching(self, basis: Basis, valves: int) -> dict[str, Any]:
        """Which valves were marched in time and why, which stayed in doubt without, and how much that took."""
        cases = sum(item["cases"] for item in self._marched)
        run = sum(item["cases_marched"] for item in self._marched)
        words = {
            "none": "The Basis has no valve marched in time: closed form stands.",
            "all": "The Basis has every valve marched in time.",
            "doubtful": "Marched in time: the valves closed form leaves in doubt. The others are plain in closed form.",
        }[basis.time_marching]
        if self._left and basis.time_marching != "none":
            words += f" {len(self._left)} more are in doubt and were not marched (Basis choice marched_valves): unproven."
        return {
            "choice": basis.time_marching, "valves": valves, "valves_marched": len(self._marched),
            "valves_left": self._left, "cases": cases, "cases_marched": run, "samples": basis.chatter_samples,
            "seed": basis.chatter_seed, "marched": self._marched, "words": words,
        }  # fmt: skip

    def causes(self) -> list[dict[str, Any]]:
        """Root causes by how many valves they trouble."""
        titles = finding_titles()
        ordered = sorted(self._causes.items(), key=lambda item: (-item[1], item[0]))
        return [{"code": code, "words": titles.get(code, code), "count": count} for code, count in ordered]

    def hand_checks(self) -> list[dict[str, str]]:
        """One line a method that a reviewer can work by hand."""
        return [self._hand[method] for method in sorted(self._hand)]


def finding_titles() -> dict[str, str]:
    """Finding code -> its title, from findings.csv."""
    import csv
    from importlib import resources

    content = resources.files("quietseat").joinpath("data/findings.csv").read_text(encoding="utf-8")
    return {row["code"]: row["title"] for row in csv.DictReader(content.splitlines())}
