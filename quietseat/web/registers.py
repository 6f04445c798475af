"""Registers kept in memory as read, so that a page can change one valve and judge it at once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass

from quietseat.basis import Basis, make
from quietseat.register import Job, Register, jobs_of, read
from quietseat.store import Workspace, plants
from quietseat.store.plants import Plant

MOST = 4  # plants kept


@dataclass(frozen=True, slots=True)
class Loaded:
    """A plant's register as read with its standing mends, its Basis, and each valve's Location with what was found wrong in its row."""

    register: Register
    basis: Basis
    jobs: dict[str, Job]


class Registers:
    """The registers of the plants last looked at; read again when file, mends or Basis have changed."""

    def __init__(self, workspace: Workspace) -> None:
        self._workspace = workspace
        self._kept: OrderedDict[tuple[str, ...], Loaded] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, plant: Plant) -> Loaded:
        """The register of a plant. Raises InputUnusable where it cannot be read."""
        register, mends = plants.inputs(self._workspace, plant)
        key = (str(register), str(mends), repr(sorted(plant.basis.items())))
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
            basis = make(plant.basis)
            found = read(str(register), basis, str(mends) if mends else None)
            loaded = Loaded(found, basis, {job[0].tag: job for job in jobs_of(found)})
            self._kept[key] = loaded
            while len(self._kept) > MOST:
                self._kept.popitem(last=False)
            return loaded
