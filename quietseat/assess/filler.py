"""Where filled values come from: the origins and assumptions of one Location while it is completed."""

from __future__ import annotations

from quietseat.basis import Basis
from quietseat.model import Assumption, Location, Origin

DEFAULTS = ("default", "assumed")  # origins that are nobody's word


class Filler:
    """Collects the changes to one Location; the input is never written to."""

    def __init__(self, location: Location, basis: Basis) -> None:
        self.location = location
        self.basis = basis
        self.origins = dict(location.origins)
        self.assumptions: list[Assumption] = []
        self.noted = False  # anything filled at all

    def take(self, field: str, shown: str, rule: str, source: str, how: str = "default") -> None:
        """Note where a filled value came from; a place in the register it stood in before is kept."""
        old = self.origins.get(field)
        where = old.where if old is not None else "basis" if how == "default" else ""
        self._note(field, Origin(how, where, shown, rule, source))
        self.assumptions.append(Assumption(field, shown, rule, source))

    def derived(self, field: str, shown: str, rule: str, source: str, where: str = "") -> None:
        """Note a value that follows from others: recorded, not counted as a default."""
        self._note(field, Origin("derived", where, shown, rule, source))

    def looked_up(self, field: str, shown: str, rule: str, source: str) -> None:
        """Note a value of the property library."""
        self._note(field, Origin("looked-up", "property library", shown, rule, source, "computed"))

    def _note(self, field: str, origin: Origin) -> None:
        self.origins[field] = origin
        self.noted = True


def assumed(location: Location, field: str) -> bool:
    """True where a value is a default or rests on a reading rule, not on anybody's word."""
    origin = location.origins.get(field)
    return origin is not None and origin.how in DEFAULTS
