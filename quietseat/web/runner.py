"""Starts the jobs of a workspace, one after the other, each in a process of its own; stops those that are cancelled."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from typing import Any

from quietseat.store import Workspace, jobs

POLL = 0.3  # seconds between two looks


class Runner(threading.Thread):
    """Looks for waiting jobs until it is stopped."""

    def __init__(self, workspace: Workspace) -> None:
        super().__init__(name="quietseat jobs", daemon=True)
        self._workspace = workspace
        self._stop_asked = threading.Event()

    def run(self) -> None:
        """Take jobs until stopped; what an earlier server left running waits again."""
        jobs.orphans(self._workspace)
        while not self._stop_asked.is_set():
            job = jobs.take(self._workspace)
            if job is None:
                self._stop_asked.wait(POLL)
            else:
                self._do(job)

    def stop(self) -> None:
        """Stop looking and end the running job; it goes on at the next start."""
        self._stop_asked.set()
        self.join(10)

    def _do(self, job: dict[str, Any]) -> None:
        command = [sys.executable, "-m", "quietseat.work", str(self._workspace.folder), str(job["id"])]
        process = subprocess.Popen(command, start_new_session=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        while process.poll() is None:
            if self._stop_asked.wait(POLL) or self._state(job["id"]) == "cancelled":
                _end(process)
        told = (process.stderr.read() if process.stderr else "").strip().splitlines()
        words = told[-1] if told else f"exit status {process.returncode}"
        if not self._stop_asked.is_set():
            jobs.end(self._workspace, job["id"], "failed", "failed", error=f"the process ended without an answer ({words})")

    def _state(self, number: int) -> str:
        with self._workspace.reading() as connection:
            found = jobs.get(connection, number)
        return found["state"] if found else "cancelled"


def _end(process: subprocess.Popen[str]) -> None:
    """End a process and those it has started."""
    if hasattr(os, "killpg"):
        os.killpg(process.pid, signal.SIGTERM)
    else:
        process.terminate()
    try:
        process.wait(5)
    except subprocess.TimeoutExpired:
        process.kill()
