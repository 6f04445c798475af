"""The reproducible result: every valve of a register against one Basis, ranked, with a hash over what went in."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, replace
from datetime import date
from pathlib import Path
from typing import Any

from quietseat import plain, predictions
from quietseat.assess import assess
from quietseat.basis import Basis
from quietseat.economics.own import fingerprint
from quietseat.planning import Item, rank
from quietseat.questions import of_fleet
from quietseat.register import Job, Register, jobs_of, read
from quietseat.saved import SCHEMA
from quietseat.status import InputUnusable
from quietseat.study.kept import Kept, Store
from quietseat.study.one import How, hand
from quietseat.study.pool import Pool
from quietseat.study.records import VERDICTS, Progress, Record, Study, pack
from quietseat.study.tally import Tally
from quietseat.tables import sources
from quietseat.worklog import read_orders

CAUTIONS = (
    "This study supports, and never replaces, a licensed or otherwise competent engineer, the owner's relief basis, "
    "the local code and the jurisdiction.",
    'It certifies nothing: "sound" means that the checks listed here were passed, "unproven" that data are missing.',
    "Stability, in closed form and in time, is a model. Moving masses and opening times are estimates without publication; "
    "nothing here has been compared with a measured map of stable and unstable points.",
    "Dimensions marked from memory decide nothing: measure before ordering.",
    "Prices are ranges marked as estimates; overwrite them with quotes and site rates.",
    "No valve may be removed, reset, re-trimmed or replaced without the owner's management of change.",
)


def run(
    register: str | Path, basis: Basis, mends: str | Path | None = None, *,
    progress: Progress | None = None, workers: int | None = 1, engine: str = "local", store: Store | None = None,
) -> Study:  # fmt: skip
    """Read a register, assess every valve, march the doubtful ones in time, propose remedies, rank and plan.

    workers: processes; None: one a core where the register is large (a script that asks for it needs the usual
    `if __name__ == "__main__":`). engine: local or cuda, for the valves; their remedies are marched locally.
    progress: called with done, of and what; an exception it raises stops the study. store: where finished chunks are kept, so that
    a stopped study goes on from them. A row that fails is a Problem of its own.
    Raises InputUnusable where the register as a whole cannot be read.
    """
    from quietseat import __version__

    found = read(str(register), basis, str(mends) if mends else None)
    inputs = {"register": _input(register), "mends": _input(mends) if mends else None}
    mark = _hash(inputs, basis, __version__)
    jobs = list(jobs_of(found))
    at_once = len(jobs) <= basis.stepped_valves
    marching = basis.time_marching != "none"
    small = len(jobs) <= basis.marched_valves
    pool = Pool(basis, workers, progress, Kept(store, mark, basis) if store is not None else None)
    say = progress or (lambda done, of, what: None)
    how = How(at_once or (marching and small), marching and small, engine, _as_of(found), read_orders(found.locations))
    parts = pool.assess(jobs, how, "valves")
    if marching and not small:
        _march_worst(jobs, parts, pool, replace(how, record=True, march=True))
    done, items, tally = _gather(parts)
    _place(done)
    if not at_once:
        _add_steps(jobs, done, tally, basis)
    say(len(jobs), len(jobs), "valves; planning")
    plan = rank(items, basis)
    _planned(done, plan)
    by_rank = sorted(range(len(done)), key=lambda i: int(done[i].place["rank"]))
    say(len(jobs), len(jobs), "valves; what to ask")
    head: dict[str, Any] = {
        "schema": SCHEMA, "version": __version__, "hash": mark,
        "title": basis.title, "status": "ok", "inputs": inputs,
        "basis": {"choices": basis.rows(), "changed": dict(basis.changed())},
        "register": found.head(), "counts": _counts(done), "causes": tally.causes(), "plan": plan,
        "questions": of_fleet([jobs[i] for i in by_rank], basis),
        "marching": tally.marching(basis, len(jobs)), "predictions": predictions.table(tally.seen),
        "problems": [problem.as_dict() for problem in (*found.problems, *tally.problems)],
        "assumptions": tally.assumptions(found.assumptions), "sources": _sources(),
        "cautions": list(CAUTIONS), "hand_checks": tally.hand_checks(),
        "stepped": min(len(done), basis.stepped_valves),
    }  # fmt: skip
    return Study(plain.clean(head), done)


def _as_of(found: Register) -> date | None:
    """The latest day the register tells of: ages of readings are counted to it, so that a study is the same on any day."""
    days = [event.date for place in found.locations for event in place.history.events if event.date and len(event.date) == 10]
    return date.fromisoformat(max(days)) if days else None


def _gather(parts: list[dict[str, Any]]) -> tuple[list[Record], list[Item], Tally]:
    tally, records, items = Tally(), [], []
    for part in parts:
        records.append(Record(part["tag"], part["verdict"], part["summary"], part["packed"], part["steps"]))
        if part["item"] is not None:
            items.append(part["item"])
        tally.add(part["tag"], part)
    return records, items, tally


def _march_worst(jobs: list[Job], parts: list[dict[str, Any]], pool: Pool, how: How) -> None:
    """March the worst of a large fleet: those in doubt first, then those whose remedies are, by their score."""
    wanted = [i for i, part in enumerate(parts) if part["in_doubt"] or part["verdict"] == "misfit"]
    wanted.sort(key=lambda i: (not parts[i]["in_doubt"], -float(parts[i]["summary"]["score"]), i))
    chosen = sorted(wanted[: pool.basis.marched_valves])
    for place, part in zip(chosen, pool.assess([jobs[i] for i in chosen], how, "worst valves, marched in time")):
        parts[place] = part


def _add_steps(jobs: list[Job], records: list[Record], tally: Tally, basis: Basis) -> None:
    """The steps of the worst valves of a large fleet, run again with recording on where they were not kept."""
    for (location, problems), record in zip(jobs, records):
        if record.place["rank"] > basis.stepped_valves:
            record.steps = None
        if record.steps is None and record.place["rank"] <= basis.stepped_valves and record.packed:
            found = assess(location, basis, problems=problems)
            record.steps = pack(plain.clean(plain.steps(found.steps)))
            tally.hand(location.tag, hand(found))


def _place(records: list[Record]) -> None:
    """Rank: verdict first, then score, then tag."""
    order = sorted(
        records, key=lambda r: (VERDICTS.index(r.verdict), -float(r.summary["score"]), r.tag, r.summary["row"] or 0)
    )
    for number, record in enumerate(order, 1):
        record.place = {"rank": number, "in_plan": False, "plan_reason": ""}


def _planned(records: list[Record], plan: Mapping[str, Any]) -> None:
    chosen = {item["tag"]: item["why"] for item in plan["chosen"]}
    left = {item["tag"]: item["reason"] for item in plan["left_out"]}
    for record in records:
        record.place["in_plan"] = record.tag in chosen
        record.place["plan_reason"] = chosen.get(record.tag) or left.get(record.tag) or ""
        record.summary.update(record.place)


def _counts(records: list[Record]) -> dict[str, int]:
    found = Counter(record.verdict for record in records)
    return {verdict: found.get(verdict, 0) for verdict in ("sound", "watch", "misfit", "unproven")}


def _sources() -> list[dict[str, Any]]:
    return [{"id": name, **asdict(source)} for name, source in sorted(sources().items())]


def _input(path: str | Path) -> dict[str, str]:
    """Name and content hash of an input file."""
    if str(path) == "-":
        return {"path": "-", "sha256": ""}
    try:
        digest = hashlib.sha256(Path(path).read_bytes()).hexdigest()
    except OSError as error:
        raise InputUnusable(f"{path}: cannot be read ({error.strerror}).") from error
    return {"path": str(path), "sha256": digest}


def _hash(inputs: Mapping[str, Any], basis: Basis, version: str) -> str:
    """Hash over inputs, Basis and version: the same hash means the same study."""
    contents = {name: item["sha256"] if item else None for name, item in inputs.items()}
    contents["price_tables"] = fingerprint(basis.price_tables)
    values = basis.model_dump()
    return hashlib.sha256(plain.text([contents, values, version]).encode()).hexdigest()
