"""The long work of a workspace, one job a process: study, report, full simulation of a what-if.

Run by the server as `python -m quietseat.work FOLDER JOB`; a job that is cancelled ends at its next sign of life.
"""

from __future__ import annotations

import sys
import time
import traceback
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from quietseat import report
from quietseat.basis import make
from quietseat.status import InputUnusable
from quietseat.store import Workspace, jobs, open_workspace, plants, studies
from quietseat.study import Study, run

BEAT = 0.5  # seconds between two signs of life, at least
FIRST_LOOK, FULL = "first look", "full"


class Cancelled(Exception):
    """Somebody cancelled the job."""


class Voice:
    """Tells the workspace how far a job has come. Raises Cancelled once somebody has cancelled it."""

    def __init__(self, workspace: Workspace, job: int) -> None:
        self._workspace, self._job, self._last = workspace, job, 0.0

    def __call__(self, done: int, total: int, words: str) -> None:
        if time.monotonic() - self._last < BEAT and done < total:
            return
        self._last = time.monotonic()
        if not jobs.beat(self._workspace, self._job, done, total, words):
            raise Cancelled


def study_job(workspace: Workspace, job: Mapping[str, Any], say: Voice) -> dict[str, Any]:
    """Run the study of a plant. given: stage, first look (closed form only, and the full one queued after it) or full."""
    with workspace.reading() as connection:
        plant = plants.get(connection, job["plant_id"])
    if plant is None:
        raise InputUnusable("the plant of this job is gone")
    stage = job["given"]["stage"]
    basis = make(plant.basis)
    if stage == FIRST_LOOK:
        basis = make({**plant.basis, "time_marching": "none"})
    register, mends = plants.inputs(workspace, plant)
    parts = jobs.Parts(workspace, plant.id)
    found = run(register, basis, mends, progress=say, workers=None, store=parts)
    say(len(found.records), len(found.records), "valves; saving")
    with workspace.writing() as connection:
        number = studies.save(connection, plant.id, found, stage)
        plants.show_study(connection, plant.id, number)
        if stage == FIRST_LOOK:
            jobs.add(connection, plant.id, "study", {"stage": FULL})
    parts.clear()
    return {"study": number}


def report_job(workspace: Workspace, job: Mapping[str, Any], say: Voice) -> dict[str, Any]:
    """Write the files of a study into the workspace's folder. given: study."""
    with workspace.reading() as connection:
        found = studies.load(connection, job["given"]["study"])
    if found is None:
        raise InputUnusable("the study of this job is gone")
    folder = report_folder(workspace, job["given"]["study"])
    _write(found, folder, say)
    return {"study": job["given"]["study"], "files": sorted(path.name for path in folder.iterdir() if path.is_file())}


def report_folder(workspace: Workspace, study: int) -> Path:
    """Where the files of a study lie."""
    return workspace.folder / "reports" / str(study)


def _write(found: Study, folder: Path, say: Voice) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    found.write_json(folder / "study.json")
    report.write(found, folder, progress=say)


KINDS: dict[str, Callable[[Workspace, Mapping[str, Any], Voice], dict[str, Any]]] = {"study": study_job, "report": report_job}


def work(folder: str | Path, number: int) -> None:
    """Do one running job and write down how it ended; whatever goes wrong is its error, in words."""
    workspace = open_workspace(folder)
    with workspace.reading() as connection:
        job = jobs.get(connection, number)
    if job is None or job["state"] != "running":
        return
    try:
        result = KINDS[job["kind"]](workspace, job, Voice(workspace, number))
        jobs.end(workspace, number, "done", "done", result=result)
    except Cancelled:
        return
    except InputUnusable as error:
        jobs.end(workspace, number, "failed", "failed", error=str(error))
    except Exception as error:  # the server and the other jobs go on
        where = traceback.extract_tb(error.__traceback__)[-1]
        words = f"failed inside ({type(error).__name__}: {error}, {Path(where.filename).name} line {where.lineno})"
        jobs.end(workspace, number, "failed", "failed", error=words)


if __name__ == "__main__":
    work(sys.argv[1], int(sys.argv[2]))
