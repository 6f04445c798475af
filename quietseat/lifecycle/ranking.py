"""Remedies in the order of their life-cycle accounts: the number that ranks them is the number that is printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from quietseat import remedies
from quietseat.assess import Asking
from quietseat.basis import Basis
from quietseat.lifecycle.compare import Pricing
from quietseat.lifecycle.records import Part, together
from quietseat.model import Assessment, Cost, Location, Remedy
from quietseat.remedies.choose import ordered
from quietseat.status import CalculationFailed
from quietseat.worklog import Worklog

__all__ = ["by_account", "propose", "ranked"]

# Parts of the account by the part of a Cost they are printed in; what is not named here is "other".
PRINTED: Mapping[str, tuple[str, ...]] = {
    "capital": ("capital",),
    "work": ("engineering", "fit-work", "outage"),
    "upkeep": ("upkeep", "spares", "bellows", "lapping", "failures", "survey"),
    "leakage": ("product", "releases"),
    "carbon": ("carbon",),
}


def ranked(pricing: Pricing) -> tuple[Remedy, ...]:
    """The remedies the pricing was made with, each with the present value of its account, best first.

    Raises CalculationFailed as `Pricing.state` does.
    """
    return ordered([_priced(pricing, remedy) for remedy in pricing.given], pricing.basis.same_price)


def by_account(
    location: Location, assessment: Assessment, found: tuple[Remedy, ...], basis: Basis, orders: Worklog | None = None
) -> tuple[Remedy, ...]:
    """The remedies of one Location priced and ordered by their life-cycle accounts. orders: as for `Pricing`.

    Where the account cannot be worked out (horizon, rate or draws of the Basis), they keep their estimates and their order.
    """
    try:
        return ranked(Pricing(location, assessment, found, basis, orders)) if found else ()
    except CalculationFailed:
        return found


def propose(location: Location, assessment: Assessment, basis: Basis, asking: Asking | None = None) -> tuple[Remedy, ...]:
    """The remedies of one Location as `remedies.propose` makes them, in the order of `by_account`."""
    return by_account(location, assessment, remedies.propose(location, assessment, basis, asking), basis)


def _priced(pricing: Pricing, remedy: Remedy) -> Remedy:
    if remedy.cost is None:
        return remedy
    return replace(remedy, cost=_cost(remedy.cost, pricing.parts(pricing.state(remedy.name))))


def _cost(before: Cost, parts: tuple[Part, ...]) -> Cost:
    named = {part: name for name, members in PRINTED.items() for part in members}
    sums: dict[str, Any] = {
        name: together(part.present_value for part in parts if named.get(part.name, "other") == name) for name in (*PRINTED, "other")
    }
    return replace(before, **sums, total=together(part.present_value for part in parts))
