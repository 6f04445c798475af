"""Checks: the outside checks of this version, run here, each with its expected value, its source and the difference."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
import threading
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Response

from quietseat.celltext import quiet
from quietseat.web.site import Site, site

router = APIRouter()
Here = Annotated[Site, Depends(site)]

WIDTH = ("topic", "name", "case", "source", "page", "confidence", "expected", "tolerance", "obtained", "difference", "unit", "result")
RESULTS = ("pass", "fail", "skipped")


def elsewhere() -> list[dict[str, Any]]:
    """The lines of the checks, run in a process of their own: beside them pages are answered at once."""
    done = subprocess.run([sys.executable, "-m", "quietseat", "checks", "--json"], capture_output=True, check=False)
    try:
        lines: list[dict[str, Any]] = json.loads(done.stdout)["checks"]
    except (ValueError, KeyError) as error:
        raise RuntimeError(done.stderr.decode(errors="replace").strip()[-500:] or "they gave no answer") from error
    return lines


class Run:
    """The checks, run once beside the pages; what they found is kept while the server lives. run: gives their lines."""

    def __init__(self, run: Callable[[], list[dict[str, Any]]] = elsewhere) -> None:
        self._run = run
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._found: list[dict[str, Any]] | None = None
        self._error = ""

    def found(self, wait: float = 0.0) -> list[dict[str, Any]] | None:
        """The lines of the checks; None while they are being run. wait: seconds to wait for them."""
        with self._lock:
            if self._found is None and self._thread is None:
                self._thread = threading.Thread(target=self._do, name="quietseat checks", daemon=True)
                self._thread.start()
            thread = self._thread
        if self._found is None and thread is not None and wait:
            thread.join(wait)
        return self._found

    @property
    def error(self) -> str:
        """Why the checks could not be run, or ""."""
        return self._error

    def _do(self) -> None:
        try:
            self._found = self._run()
        except Exception as error:  # said on the page
            self._error = f"{type(error).__name__}: {error}"
            self._found = []


RUN = Run()


@router.get("/plant/{number}/checks")
def page(at: Here, number: int, q: str = "", topic: str = "", result: Annotated[str, Query(pattern="^(|pass|fail|skipped)$")] = "") -> Response:
    """The checks that match a search, a topic and a result."""
    plant = at.plant(number)
    every = RUN.found()
    lines = [line for line in every or () if _wanted(line, q, topic, result)]
    topics: dict[str, dict[str, int]] = {}
    for line in every or ():
        topics.setdefault(line["topic"], dict.fromkeys(RESULTS, 0))[next(word for word in RESULTS if str(line["result"]).startswith(word))] += 1
    counts = {word: sum(one[word] for one in topics.values()) for word in RESULTS}
    return at.page(
        "checks.html", title="Checks", plant=plant, here="checks", ready=every is not None, error=RUN.error, lines=lines, counts=counts,
        topics=topics, given={"q": q, "topic": topic, "result": result},
    )  # fmt: skip


@router.get("/plant/{number}/checks.csv")
def table(at: Here, number: int) -> Response:
    """Every check as CSV; waits until they have been run."""
    at.plant(number)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(WIDTH)
    for line in RUN.found(wait=300.0) or ():
        writer.writerow([quiet(line[key]) for key in WIDTH])
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers={"Content-Disposition": 'attachment; filename="checks.csv"'})


def _wanted(line: dict[str, Any], q: str, topic: str, result: str) -> bool:
    text = " ".join(str(line[key]) for key in ("name", "topic", "case", "source")).lower()
    return (not topic or line["topic"] == topic) and str(line["result"]).startswith(result) and all(word in text for word in q.lower().split())
