"""Registers kept in memory as read, so that a page can change one valve and judge it at once, or look at one cell.

A register is read in a thread of its own, once for each state of file, mends and Basis; a page that cannot wait shows the reading before.
"""

from __future__ import annotations

import gc
import sys
import threading
import time
from collections import OrderedDict
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from weakref import WeakKeyDictionary

from quietseat.basis import Basis, make
from quietseat.register import Cells, Job, Register, jobs_of, read_with_cells
from quietseat.store import Workspace, plants
from quietseat.store.plants import Plant
from quietseat.web.reading import Reading

MOST = 4  # plants kept
BRIEF, PATIENCE = 0.1, 1.0  # seconds a page waits for a reading: where there is one before it, where there is none
_YIELD = 0.0003  # seconds until a reading gives way to a page that waits: measured at 10,000 valves, a page beside one takes 35 ms, with the usual 0.005 s 85 ms


@dataclass(frozen=True, slots=True)
class Loaded:
    """A plant's register as read with its standing mends, its Basis, its cells, each valve's Location with what was wrong in
    its row, and the reading as the pages list it."""

    register: Register
    basis: Basis
    jobs: dict[str, Job]
    cells: Cells
    reading: Reading


class Registers:
    """The registers of the plants last looked at; read again when file, mends or Basis have changed."""

    def __init__(self, workspace: Workspace) -> None:
        self._workspace = workspace
        self._kept: OrderedDict[tuple[str, ...], Future[Loaded]] = OrderedDict()
        self._asked: WeakKeyDictionary[Future[Loaded], float] = WeakKeyDictionary()  # when a reading was asked for
        self._latest: dict[int, Loaded] = {}  # the last finished reading of a plant
        self._lock = threading.Lock()
        self._reader = ThreadPoolExecutor(1, "quietseat register")

    def get(self, plant: Plant) -> Loaded:
        """The register of a plant, waited for. Raises InputUnusable where it cannot be read."""
        while True:
            try:
                return self._done(plant, self._begun(plant), None)
            except CancelledError:  # a newer state came before it was begun
                continue

    def look(self, plant: Plant, seconds: float) -> tuple[Loaded | None, bool]:
        """The register of a plant and whether it is current, waited for until so long after its reading was asked for: else the reading
        before, or None.

        Raises InputUnusable where it cannot be read.
        """
        try:
            future = self._begun(plant)
            left = max(0.0, self._asked.get(future, 0.0) + seconds - time.monotonic())
            return self._done(plant, future, left), True
        except (TimeoutError, CancelledError):
            return self._latest.get(plant.id), False

    def at_once(self, plant: Plant) -> tuple[Loaded | None, bool]:
        """The register of a plant and whether it is current, for a page that must not wait: the reading before while a new one is made;
        None only where there is none yet. Raises InputUnusable where it cannot be read.
        """
        found, current = self.look(plant, BRIEF)
        return (found, current) if found is not None else self.look(plant, PATIENCE)

    def last(self, plant: Plant) -> Loaded | None:
        """The last finished reading of a plant, without asking for a newer one."""
        return self._latest.get(plant.id)

    def put(self, plant: Plant, loaded: Loaded) -> None:
        """Keep a reading made elsewhere, when the register was brought in."""
        key = self._inputs(plant)[0]
        ready: Future[Loaded] = Future()
        ready.set_result(loaded)
        with self._lock:
            self._kept[key] = ready
        self._latest[plant.id] = loaded

    def _inputs(self, plant: Plant) -> tuple[tuple[str, ...], Path, Path | None]:
        register, mends = plants.inputs(self._workspace, plant)
        return (str(plant.id), str(register), str(mends), repr(sorted(plant.basis.items()))), register, mends

    def _begun(self, plant: Plant) -> Future[Loaded]:
        key, register, mends = self._inputs(plant)
        with self._lock:
            future = self._kept.get(key)
            if future is None:
                for other, older in list(self._kept.items()):  # of one plant only the newest state is kept
                    if other[0] == key[0] and (older.done() or older.cancel()):
                        del self._kept[other]
                future = self._kept[key] = self._reader.submit(load, register, mends, make(plant.basis))
                self._asked[future] = time.monotonic()
            self._kept.move_to_end(key)
            while len(self._kept) > MOST:
                self._kept.popitem(last=False)
            return future

    def _done(self, plant: Plant, future: Future[Loaded], seconds: float | None) -> Loaded:
        loaded = future.result(seconds)
        before = self._latest.get(plant.id)
        self._latest[plant.id] = loaded
        if before is not None and before is not loaded:
            self._reader.submit(_let_go, [before])
        while len(self._latest) > MOST:
            self._latest.pop(next(iter(self._latest)))
        return loaded


def _let_go(held: list[Loaded]) -> None:
    """Give the memory of a reading back piece by piece: at once it would hold up every page for half a second."""
    loaded = held.pop()
    found = loaded.register
    pieces: list[object] = [
        *found.locations, *found.problems, *found.rows, *loaded.jobs.values(), *loaded.reading.entries, *loaded.cells.rows(),
    ]  # fmt: skip
    del loaded, found
    while pieces:
        pieces.pop()


def load(register: Path, mends: Path | None, basis: Basis) -> Loaded:
    """Read a register with its cells. Raises InputUnusable where it cannot be read."""
    usual = sys.getswitchinterval()
    sys.setswitchinterval(_YIELD)
    try:
        found, cells = read_with_cells(register, basis, mends)
        loaded = Loaded(found, basis, {job[0].tag: job for job in jobs_of(found)}, cells, Reading(found, cells))
    finally:
        sys.setswitchinterval(usual)
    gc.freeze()  # the records hold no cycles; looking for some in a large register would stop every page for a second
    return loaded
