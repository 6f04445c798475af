"""The cheapest remedy that clears every finding wins; each loser says why."""

from __future__ import annotations

from dataclasses import replace

from quietseat.model import Remedy

STANDING = ("keep", "measure-first")  # recommended where nothing has to be changed yet


def ordered(remedies: list[Remedy], same: float = 0.0) -> tuple[Remedy, ...]:
    """Best first: what clears by present value, then the rest.

    Of those no dearer than the cheapest by more than the share `same` of it, the one with the fewest proofs outstanding comes first,
    then one that does not bleed. Losers get their reason: dearer than the winner, or what they leave or create.
    """
    clearing = [remedy for remedy in remedies if remedy.clears != "no" and remedy.cost is not None]
    rest = [remedy for remedy in remedies if remedy.clears == "no" or remedy.cost is None]
    rest.sort(key=lambda remedy: (remedy.assessment is None, len(remedy.left) + len(remedy.created), remedy.name))
    if not clearing:
        return tuple(rest)
    cheapest = min(clearing, key=_middle)
    most = _middle(cheapest) + same * max(abs(_middle(cheapest)), _now(cheapest))
    clearing.sort(key=lambda remedy: (_middle(remedy) > most, *(_ease(remedy) if _middle(remedy) <= most else ()), _middle(remedy), remedy.name))
    winner = replace(clearing[0], rejected_because="")
    return (winner, *(_loses(remedy, winner, most, same) for remedy in clearing[1:]), *rest)


def recommended(remedies: tuple[Remedy, ...]) -> Remedy | None:
    """The winner, or None where no remedy clears every finding."""
    if remedies and (remedies[0].clears != "no" or remedies[0].name in STANDING) and not remedies[0].rejected_because:
        return remedies[0]
    return None


def best_plain_yes(remedies: tuple[Remedy, ...]) -> Remedy | None:
    """The cheapest remedy that clears without any proof outstanding; printed beside a winner that needs one."""
    return next((remedy for remedy in remedies if remedy.clears == "yes"), None)


def _middle(remedy: Remedy) -> float:
    """Present value of the whole life, middle, to the cent."""
    assert remedy.cost is not None
    return round(remedy.cost.total.mid, 2)


def _now(remedy: Remedy) -> float:
    """Money spent now, middle."""
    assert remedy.cost is not None
    return remedy.cost.capital.mid + remedy.cost.work.mid


def _ease(remedy: Remedy) -> tuple[int, int]:
    """Proofs outstanding, then whether it is a pilot that bleeds."""
    proofs = remedy.condition.count("; ") + 1 if remedy.condition else 0
    return proofs, int(remedy.location.valve.pilot_bleed == "bleeding")


def _loses(remedy: Remedy, winner: Remedy, most: float, same: float) -> Remedy:
    assert remedy.cost is not None
    mine, best = _middle(remedy), _middle(winner)
    if mine > most:
        why = f"clears, but is dearer than the recommended one: {money(mine, remedy.cost.currency)} against {money(best, remedy.cost.currency)}"
    else:
        why = "clears at the same price as the recommended one" + (f" (within {100 * same:.3g} %)" if mine != best else "")
        proofs, bleeds = _ease(remedy)
        least, tight = _ease(winner)
        if proofs > least:
            why += ", with more to prove"
        elif bleeds > tight:
            why += ", but its pilot bleeds"
    if winner.clears == "subject-to-proof" and remedy.clears == "yes":
        why += "; needs no proof, so it is the fall-back"
    return replace(remedy, rejected_because=why)


def money(value: float, currency: str) -> str:
    """An amount as people read it: three significant digits."""
    if abs(value) >= 1e6:
        return f"{value / 1e6:.3g} M {currency}"
    return f"{value / 1e3:.3g} k {currency}" if abs(value) >= 1e3 else f"{value:.0f} {currency}"
