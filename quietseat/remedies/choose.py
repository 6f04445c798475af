"""The cheapest remedy that clears every finding wins; each loser says why."""

from __future__ import annotations

from dataclasses import replace

from quietseat.model import Remedy

STANDING = ("keep", "measure-first")  # recommended where nothing has to be changed yet


def ordered(remedies: list[Remedy]) -> tuple[Remedy, ...]:
    """Best first: what clears by present value (a plain yes before an equal proof), then the rest.

    Losers get their reason: dearer than the winner, or what they leave or create.
    """
    clearing = [remedy for remedy in remedies if remedy.clears != "no" and remedy.cost is not None]
    rest = [remedy for remedy in remedies if remedy.clears == "no" or remedy.cost is None]
    clearing.sort(key=_price)
    rest.sort(key=lambda remedy: (remedy.assessment is None, len(remedy.left) + len(remedy.created), remedy.name))
    if not clearing:
        return tuple(rest)
    winner = clearing[0]
    return (winner, *(_loses(remedy, winner) for remedy in clearing[1:]), *rest)


def recommended(remedies: tuple[Remedy, ...]) -> Remedy | None:
    """The winner, or None where no remedy clears every finding."""
    if remedies and (remedies[0].clears != "no" or remedies[0].name in STANDING) and not remedies[0].rejected_because:
        return remedies[0]
    return None


def best_plain_yes(remedies: tuple[Remedy, ...]) -> Remedy | None:
    """The cheapest remedy that clears without any proof outstanding; printed beside a winner that needs one."""
    return next((remedy for remedy in remedies if remedy.clears == "yes"), None)


def _price(remedy: Remedy) -> tuple[float, int, int, str]:
    assert remedy.cost is not None
    # Equal money: the fewest proofs outstanding first, then the pilot that does not bleed, then the name.
    proofs = remedy.condition.count("; ") + 1 if remedy.condition else 0
    bleeds = remedy.location.valve.pilot_bleed == "bleeding"
    return round(remedy.cost.total.mid, 2), proofs, int(bleeds), remedy.name


def _loses(remedy: Remedy, winner: Remedy) -> Remedy:
    assert remedy.cost is not None and winner.cost is not None
    mine, best = remedy.cost.total.mid, winner.cost.total.mid
    if round(mine, 2) > round(best, 2):
        why = f"clears, but is dearer than the recommended one: {money(mine, remedy.cost.currency)} against {money(best, remedy.cost.currency)}"
    else:
        why = "clears at the same price as the recommended one"
        if remedy.condition.count("; ") > winner.condition.count("; ") or (remedy.condition and not winner.condition):
            why += ", with more to prove"
    if winner.clears == "subject-to-proof" and remedy.clears == "yes":
        why += "; needs no proof, so it is the fall-back"
    return replace(remedy, rejected_because=why)


def money(value: float, currency: str) -> str:
    """An amount as people read it: three significant digits."""
    if abs(value) >= 1e6:
        return f"{value / 1e6:.3g} M {currency}"
    return f"{value / 1e3:.3g} k {currency}" if abs(value) >= 1e3 else f"{value:.0f} {currency}"
