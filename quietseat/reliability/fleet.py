"""Lives learned from a register: of each valve from its own history, and pooled over kind and severity."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from quietseat.basis import Basis
from quietseat.model import Location
from quietseat.reliability.observed import Observed, observe
from quietseat.reliability.posterior import Learned
from quietseat.reliability.service import Setting, setting
from quietseat.reliability.weibull import MODES, WORDS, table_life
from quietseat.status import CalculationFailed, Problem


@dataclass(frozen=True, slots=True)
class Pool:
    """One failure mode of one kind in one severity over the fleet.

    learned: with the looks of all its valves, modifier 1. if_silent_passed: the same, had every visit without a result been a
    pass: registers write down what was wrong sooner than what was right, so the truth lies between the two.
    """

    learned: Learned
    if_silent_passed: Learned
    valves: int

    def words(self) -> str:
        """What was seen in the pool and what follows."""
        learned = self.learned
        valves = f"{self.valves} valve{'' if self.valves == 1 else 's'}"
        out = f"{learned.kind}, {WORDS[learned.mode]}, {learned.severity} service, {valves}: {learned.words()}"
        if learned.silent:
            out += f"; had they all been passes, {self.if_silent_passed.eta_at_mean():.3g} years"
        return out


@dataclass(frozen=True, slots=True)
class Fleet:
    """What a register teaches. pools by (kind, severity, mode); valves: tag to mode to its own life; problems: left out."""

    pools: Mapping[tuple[str, str, str], Pool]
    valves: Mapping[str, Mapping[str, Learned]]
    problems: tuple[Problem, ...] = ()


def learn_valve(location: Location, mode: str, basis: Basis, *, chatters: bool = False) -> Learned:
    """The life of one valve from the table and its own history alone. Raises CalculationFailed for an unknown kind or mode."""
    found = setting(location, basis, chatters=chatters)
    return _learned(found, mode, basis, observe(location, mode, basis, found.life(mode).modifier))


def learn(locations: Iterable[Location], basis: Basis) -> Fleet:
    """Lives of a register's valves, alone and pooled over (kind, severity, mode).

    The pool takes the valves of one kind and severity as alike but for their modifiers (each look carries its own), and starts
    from the same table row with the same weight. A valve whose kind is not known is left out and named in the problems.
    """
    gathered: dict[tuple[str, str, str], list[Observed]] = {}
    valves: dict[str, dict[str, Learned]] = {}
    problems: list[Problem] = []
    for location in locations:
        try:
            found = setting(location, basis)
        except CalculationFailed as failed:
            problems.append(Problem(
                f"left out of the reliability of the fleet: {failed.reason}", "state the kind: conventional, bellows or pilot",
                sheet=location.sheet, row=location.row, field="kind", value=location.tag,
            ))  # fmt: skip
            continue
        for mode in MODES:
            seen = observe(location, mode, basis, found.life(mode).modifier)
            gathered.setdefault((found.kind, found.severity, mode), []).append(seen)
            valves.setdefault(location.tag, {})[mode] = _learned(found, mode, basis, seen)
    pools = {key: _pool(key, seen, basis) for key, seen in sorted(gathered.items())}
    return Fleet(pools, valves, tuple(problems))


def _learned(found: Setting, mode: str, basis: Basis, seen: Observed) -> Learned:
    by_table = found.life(mode)
    eta, beta, _ = table_life(mode, found.kind, found.severity)
    return Learned(
        mode, found.kind, found.severity, eta, beta, basis.reliability_weight, by_table.modifier, seen.looks,
        len(seen.silent), by_table.confidence,
    )  # fmt: skip


def _pool(key: tuple[str, str, str], gathered: list[Observed], basis: Basis) -> Pool:
    kind, severity, mode = key
    eta, beta, mark = table_life(mode, kind, severity)
    looks = tuple(look for seen in gathered for look in seen.looks)
    silent = tuple(look for seen in gathered for look in seen.silent)
    learned = Learned(mode, kind, severity, eta, beta, basis.reliability_weight, 1.0, looks, len(silent), mark)
    return Pool(learned, replace(learned, looks=looks + silent, silent=0), len(gathered))


def of_pool(pool: Learned, valve: Learned) -> Learned:
    """The pooled life for one valve of the pool: the pool's looks, the valve's modifier."""
    return replace(pool, modifier=valve.modifier)
