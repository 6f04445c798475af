"""The long work of a workspace, one job a process: study, report, comparison of studies, full simulation of a what-if.

Run by the server as `python -m quietseat.work FOLDER JOB`; a job that is cancelled ends at its next sign of life.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sys
import time
import traceback
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from quietseat import changes, report
from quietseat.basis import make
from quietseat.planning.live import Live, as_decided
from quietseat.planning.records import Item
from quietseat.planning.windows import of_basis
from quietseat.register import jobs_of, read
from quietseat.status import InputUnusable
from quietseat.store import Workspace, issued, jobs, open_workspace, plants, studies
from quietseat.store.workspace import now, write_whole
from quietseat.study import run
from quietseat.what_if import what_if
from quietseat.worklog import read_orders

BEAT = 0.5  # seconds between two signs of life, at least
FIRST_LOOK, FULL = "first look", "full"
MADE = "made.json"  # beside the files of a study: the state they print


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
        number = studies.save(connection, plant.id, found, stage, job["who"])
        shown = studies.get(connection, plant.study) if plant.study is not None else None
        if stage == FULL or shown is None or shown["stage"] != FULL:  # a first look does not take the place of a full study
            plants.show_study(connection, plant.id, number)
        if stage == FIRST_LOOK:
            jobs.add(connection, plant.id, "study", {"stage": FULL}, job["who"])
    parts.clear()
    return {"study": number}


def report_job(workspace: Workspace, job: Mapping[str, Any], say: Voice) -> dict[str, Any]:
    """Write the files of a study into the workspace's folder, with its state, reviewer and remarks as they stand. given: study.

    Raises InputUnusable where the study was locked with its files.
    """
    number = job["given"]["study"]
    with workspace.reading() as connection:
        issued.may_make(connection, number)
        found = studies.load(connection, number)
        state, by_hand = issued.as_data(connection, number), issued.by_hand(connection, number)
        items = studies.items(connection, number) if any(by_hand.values()) else []
    if found is None:
        raise InputUnusable("the study of this job is gone")
    folder = report_folder(workspace, number)
    draft = folder.with_name(f"{folder.name}.part")
    shutil.rmtree(draft, ignore_errors=True)
    draft.mkdir(parents=True)
    found.write_json(draft / "study.json")
    found.head["issue"] = {**state, "by_hand": _by_hand(found.head, items, by_hand)}  # printed, and no part of study.json or its hash
    report.write(found, draft, progress=say)
    if (draft / "fit-drawings").is_dir():
        shutil.make_archive(str(draft / "fit-drawings"), "zip", draft, "fit-drawings")
    files = report_files(draft)
    (draft / MADE).write_text(json.dumps({"mark": issued.mark(state), "at": now()}), encoding="utf-8")
    with workspace.writing() as connection:  # nobody locks the study meanwhile
        issued.may_make(connection, number)
        shutil.rmtree(folder, ignore_errors=True)
        draft.replace(folder)
        issued.files_made(connection, number, made(workspace, number), job["who"])
    return {"study": number, "files": files}


def _by_hand(head: Mapping[str, Any], items: Sequence[Item], stands: Mapping[str, Any]) -> dict[str, Any] | None:
    """Decisions and holds, and the plan that takes them under the budget, outage and crews of the study's Basis; None where none stand."""
    if not any(stands.values()):
        return None
    basis = make(head["basis"]["changed"])
    live = Live(as_decided(items, {one["tag"]: one["remedy"] for one in stands["decisions"]}), basis)
    holds = live.holds({one["tag"]: one["place"] for one in stands["holds"]})
    terms = of_basis(basis)
    return {**stands, "plan": live.exact(terms, holds), "fits": live.quick(terms, holds)["fits"]}


def report_folder(workspace: Workspace, study: int) -> Path:
    """Where the files of a study lie."""
    return workspace.folder / "reports" / str(study)


def report_files(folder: Path) -> list[str]:
    """The files of a study, by their path in its folder, those of folders inside too."""
    return sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file() and path.name != MADE
    )


def made(workspace: Workspace, study: int) -> issued.Made | None:
    """The files of a study as they lie on disk, each read through for its SHA-256; None where they were never made."""
    folder = report_folder(workspace, study)
    if not (folder / MADE).is_file():
        return None
    mark = json.loads((folder / MADE).read_text(encoding="utf-8"))["mark"]
    return issued.Made(mark, [(name, (folder / name).stat().st_size, sha256(folder / name)) for name in report_files(folder)])


def sha256(path: Path) -> str:
    """The SHA-256 of a file's content."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def compare_job(workspace: Workspace, job: Mapping[str, Any], say: Voice) -> dict[str, Any]:
    """Compare two studies and keep what changed. given: old, new."""
    old, new = job["given"]["old"], job["given"]["new"]
    compared(workspace, old, new, say)
    return {"old": old, "new": new}


def compared_file(workspace: Workspace, old: int, new: int) -> Path:
    """Where the comparison of two studies lies once it was made."""
    return workspace.folder / "compared" / f"{old}-{new}.json"


def compared(workspace: Workspace, old: int, new: int, say: Voice | None = None) -> dict[str, Any]:
    """What changed between two studies, made once and kept: neither changes."""
    sides = issued.side(workspace, old), issued.side(workspace, new)
    total = sum((sides[1].head.get("counts") or {}).values())
    found = changes.compare(*sides, progress=(lambda done, words: say(done, total, words)) if say else None)
    place = compared_file(workspace, old, new)
    write_whole(place, json.dumps(found, ensure_ascii=False).encode())
    return found


def what_if_job(workspace: Workspace, job: Mapping[str, Any], say: Voice) -> dict[str, Any]:
    """Judge one changed valve with all draws of the Basis, its remedies too. given: tag, changes by field. Gives the answer of `what_if`."""
    with workspace.reading() as connection:
        plant = plants.get(connection, job["plant_id"])
    if plant is None:
        raise InputUnusable("the plant of this job is gone")
    tag, changes = job["given"]["tag"], job["given"]["changes"]
    say(0, 2, "reading the register")
    basis = make(plant.basis)
    register, mends = plants.inputs(workspace, plant)
    whole = read(str(register), basis, str(mends) if mends else None)
    found = next((one for one in jobs_of(whole) if one[0].tag == tag), None)
    if found is None:
        raise InputUnusable(f"the register as it stands has no valve {tag}")
    say(1, 2, f"marching {tag} as it is and as changed")
    return what_if(
        *found,
        basis,
        changes,
        draws=basis.chatter_samples,
        remedy_draws=basis.remedy_samples,
        orders=read_orders(whole.locations),
    )


Work = Callable[[Workspace, Mapping[str, Any], Voice], dict[str, Any]]
KINDS: dict[str, Work] = {"study": study_job, "report": report_job, "what-if": what_if_job, "compare": compare_job}


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
