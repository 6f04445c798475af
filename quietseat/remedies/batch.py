"""Assessing the remedies of many valves with one march: closed form first, then everything in doubt together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from quietseat.assess import Asking, Screened, assess, finish, in_doubt, march_each, screen
from quietseat.basis import Basis
from quietseat.model import Assessment, Location
from quietseat.remedies.trouble import Judge

Found = TypeVar("Found")


class _Looked:
    """The changed Locations of one valve: screened in the first round, answered from the march in the second."""

    def __init__(self, basis: Basis, asking: Asking) -> None:
        self.basis, self.asking = basis, asking
        self.seen: list[tuple[Location, Screened]] = []

    @property
    def doubtful(self) -> bool:
        """Something of it has to be marched."""
        return any(in_doubt(screened.view) for _, screened in self.seen)

    def first(self, location: Location) -> Assessment:
        """Closed form; kept for the march."""
        screened = screen(location, self.basis, record=False)
        self.seen.append((location, screened))
        return finish(screened)

    def second(self, location: Location) -> Assessment:
        """The marched answer. A Location the first round did not come by is marched alone."""
        for known, screened in self.seen:
            if known == location:
                return finish(screened)
        return assess(location, self.basis, record=False, asking=self.asking)


def in_two_rounds(makers: Sequence[Callable[[Judge | None], Found]], basis: Basis, asking: Asking | None) -> list[Found | Exception]:
    """What each maker makes with marched answers; all of them are marched in one batch.

    A maker is called with what judges a changed Location, once or twice, and must do the same with the same answers. What
    broke inside one stands in its place. asking: None = closed form only.
    """
    if asking is None:
        return [_caught(maker, None) for maker in makers]
    looked = [_Looked(basis, asking) for _ in makers]
    found = [_caught(maker, one.first) for maker, one in zip(makers, looked, strict=True)]
    again = [place for place, one in enumerate(looked) if one.doubtful and not isinstance(found[place], Exception)]
    flat = [(place, spot) for place in again for spot in range(len(looked[place].seen))]
    for (place, spot), marched in zip(flat, march_each([looked[place].seen[spot][1] for place, spot in flat], basis, asking)):
        if isinstance(marched, Exception):
            found[place] = marched
        else:
            looked[place].seen[spot] = (looked[place].seen[spot][0], marched)
    for place in again:
        if not isinstance(found[place], Exception):
            found[place] = _caught(makers[place], looked[place].second)
    return found


def _caught(maker: Callable[[Judge | None], Found], judge: Judge | None) -> Found | Exception:
    try:
        return maker(judge)
    except Exception as error:  # one valve's failure must not stop the others; the study reports it
        return error
