"""The packaged demo: the register of an invented plant, its mends and its Basis."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path
from typing import NamedTuple


class DemoFiles(NamedTuple):
    """Where the three files of the demo lie."""

    register: Path
    mends: Path
    basis: Path


def files() -> DemoFiles:
    """The files as packaged. Plant and data are invented; docs/demo.md lists the traps in them."""
    return _in(Path(str(resources.files("quietseat").joinpath("data/demo"))))


def copy(folder: str | Path) -> DemoFiles:
    """Copy the files into a folder, made where it is absent, so that a reader can open and change them."""
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    for file in files():
        shutil.copyfile(file, target / file.name)
    return _in(target)


def _in(folder: Path) -> DemoFiles:
    return DemoFiles(folder / "register.xlsx", folder / "mends.csv", folder / "basis.toml")
