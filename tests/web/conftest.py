"""Shared by the tests of the workspace: a studied demo plant, and a browser where there is one."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from quietseat import demo
from quietseat.basis import load, make
from quietseat.register import mends
from quietseat.store import open_workspace, plants, rows, studies, tables
from quietseat.study import run

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")


@pytest.fixture(scope="session")
def studied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workspace with the demo plant and its study in closed form; copy it before changing it."""
    folder = tmp_path_factory.mktemp("studied") / "space"
    workspace = open_workspace(folder)
    files = demo.files()
    basis = {**load(files.basis).changed(), "time_marching": "none"}
    number = workspace.keep_file(files.register.name, files.register.read_bytes())
    found = run(files.register, make(basis), files.mends)
    with workspace.writing() as connection:
        plant = plants.add(connection, "Demo plant (invented)", number, basis, demo=True)
        for one in mends.load(files.mends).entries:
            given = {"kind": "cell", "sheet": one.sheet, "row": one.row, "field": one.field, "value": one.value, "why": one.why}
            rows.add(connection, tables.mend, plant_id=plant, **given, who=one.who, made_at=f"{one.when}T00:00:00Z")
        plants.show_study(connection, plant, studies.save(connection, plant, found, "full"))
    workspace.engine.dispose()
    return folder


@pytest.fixture
def space_copy(studied: Path, tmp_path: Path) -> Path:
    """A copy of the studied demo plant that a test may change."""
    shutil.copytree(studied, tmp_path / "space")
    return tmp_path / "space"


@contextmanager
def served(app: Any) -> Iterator[str]:
    """An application served on a free port of this machine; gives its address."""
    import uvicorn

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(15)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """A browser; without Chromium the test is skipped with a visible line, in CI it fails."""
    if CHROMIUM is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium in CI")
        pytest.skip("no Chromium on this machine: the workspace is not tested in a browser")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"],
        )
        yield found
        found.close()
