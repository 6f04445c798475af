"""The reproducible result: every valve of a register against one Basis, ranked, with a hash over what went in."""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TextIO

from quietseat import cost, leakage, plain, predictions
from quietseat.assess import Asking, assess, assess_many, complete
from quietseat.basis import Basis
from quietseat.model import Assessment, Assumption, Location, Problem, Remedy
from quietseat.portfolio import Entry, entry, rank
from quietseat.register import Register, read
from quietseat.remedies import best_plain_yes, propose_many, recommended
from quietseat.saved import SCHEMA
from quietseat.status import InputUnusable, Status
from quietseat.tables import sources
from quietseat.worklog import Worklog, read_orders

CHUNK = 100  # valves a task: a pool pays off above a few chunks
MARCHED_CHUNK = 40  # the same where they are marched in time: enough runs to fill the lanes of a core
VERDICTS = ("misfit", "unproven", "watch", "sound")
WEIGHT = {"stop": 100.0, "act": 10.0, "note": 1.0}
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
Progress = Callable[[int, int], None]


@dataclass(slots=True)
class Record:
    """One valve of a study: a small summary at hand, the whole packed away until it is asked for."""

    tag: str
    verdict: str
    summary: dict[str, Any]
    packed: bytes
    steps: bytes | None = None  # packed apart: a large fleet keeps those of its worst valves only
    place: dict[str, Any] = field(default_factory=dict)  # rank and plan, known only when all valves are done

    def json(self) -> str:
        """The valve as it stands in study.json."""
        whole = zlib.decompress(self.packed).decode()
        steps = zlib.decompress(self.steps).decode() if self.steps else "[]"
        return f'{whole[:-1]},"steps":{steps},{plain.text(self.place)[1:]}'

    def full(self) -> dict[str, Any]:
        """The valve's dict as in study.json."""
        whole: dict[str, Any] = json.loads(self.json())
        return whole


@dataclass(slots=True)
class Study:
    """A study: `head` is everything of study.json but the valves; `records` are the valves in register order."""

    head: dict[str, Any]
    records: list[Record]

    def ranked(self) -> list[Record]:
        """The valves, worst first."""
        return sorted(self.records, key=lambda record: int(record.place["rank"]))

    def write(self, out: TextIO) -> None:
        """Write study.json: one valve a line, so that two studies can be compared by any tool."""
        head = plain.text(self.head)
        out.write(f'{head[:-1]},"valves":[\n')
        for number, record in enumerate(self.records):
            out.write(record.json())
            out.write(",\n" if number + 1 < len(self.records) else "\n")
        out.write("]}\n")

    def write_json(self, path: str | Path) -> Path:
        """Write study.json to a file."""
        with open(path, "w", encoding="utf-8", newline="\n") as out:
            self.write(out)
        return Path(path)


def run(
    register: str | Path, basis: Basis, mends: str | Path | None = None, *,
    progress: Progress | None = None, workers: int | None = 1, engine: str = "local",
) -> Study:  # fmt: skip
    """Read a register, assess every valve, march the doubtful ones in time, propose remedies, rank and plan.

    workers: processes; None: one a core where the register is large (a script that asks for it needs the usual
    `if __name__ == "__main__":`). engine: local or cuda, for the valves; their remedies are marched locally.
    A row that fails is a Problem of its own.
    Raises InputUnusable where the register as a whole cannot be read.
    """
    from quietseat import __version__

    found = read(str(register), basis, str(mends) if mends else None)
    jobs = list(jobs_of(found))
    at_once = len(jobs) <= basis.stepped_valves
    marching = basis.time_marching != "none"
    small = len(jobs) <= basis.marched_valves
    pool = _Pool(basis, workers, progress)
    how = _How(at_once or (marching and small), marching and small, engine, _as_of(found), read_orders(found.locations))
    parts = pool.assess(jobs, how)
    if marching and not small:
        _march_worst(jobs, parts, pool, replace(how, record=True, march=True))
    done, entries, tally = _gather(parts)
    _place(done)
    if not at_once:
        _add_steps(jobs, done, tally, basis)
    plan = rank(entries, basis)
    _planned(done, plan)
    inputs = {
        "register": _input(register), "mends": _input(mends) if mends else None,
    }  # fmt: skip
    head: dict[str, Any] = {
        "schema": SCHEMA, "version": __version__, "hash": _hash(inputs, basis, __version__),
        "title": basis.title, "status": "ok", "inputs": inputs,
        "basis": {"choices": basis.rows(), "changed": dict(basis.changed())},
        "register": found.head(), "counts": _counts(done), "causes": tally.causes(), "plan": plan,
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


class _Tally:
    """What is summed over all valves."""

    def __init__(self) -> None:
        self.problems: list[Problem] = []
        self._assumed: dict[tuple[str, str, str, str], list[str]] = {}
        self._causes: Counter[str] = Counter()
        self._hand: dict[str, dict[str, str]] = {}
        self._marched: list[dict[str, Any]] = []
        self._left: list[str] = []
        self.seen: list[tuple[str, bool | None]] = []

    def add(self, tag: str, part: Mapping[str, Any]) -> None:
        """Count one valve's assumptions, cause, hand checks, and what was marched in time."""
        if part["marched"]:
            self._marched.append(part["marched"])
        elif part["in_doubt"]:
            self._left.append(tag)
        self.seen.append(part["seen"])
        for key in part["assumptions"]:
            self._assumed.setdefault(tuple(key), []).append(tag)
        if part["cause_code"]:
            self._causes[part["cause_code"]] += 1
        self.problems += part["problems"]
        self.hand(tag, part["hand"])

    def hand(self, tag: str, lines: Mapping[str, str]) -> None:
        """Keep the first checkable line of each method."""
        for method, line in lines.items():
            self._hand.setdefault(method, {"method": method, "tag": tag, "line": line})

    def assumptions(self, read_with: tuple[Assumption, ...]) -> list[dict[str, Any]]:
        """Every assumption once, with how many valves rest on it."""
        general = [{**asdict(a), "count": None, "tags": []} for a in read_with]
        each = [
            {"field": k[0], "value": k[1], "rule": k[2], "source": k[3], "count": len(tags), "tags": tags[:5]}
            for k, tags in sorted(self._assumed.items(), key=lambda item: (-len(item[1]), item[0]))
        ]
        return general + each

    def marching(self, basis: Basis, valves: int) -> dict[str, Any]:
        """Which valves were marched in time and why, which stayed in doubt without, and how much that took."""
        cases = sum(item["cases"] for item in self._marched)
        run = sum(item["cases_marched"] for item in self._marched)
        words = {
            "none": "The Basis has no valve marched in time: closed form stands.",
            "all": "The Basis has every valve marched in time.",
            "doubtful": "Marched in time: the valves closed form leaves in doubt. The others are plain in closed form.",
        }[basis.time_marching]
        if self._left and basis.time_marching != "none":
            words += f" {len(self._left)} more are in doubt and were not marched (Basis choice marched_valves): unproven."
        return {
            "choice": basis.time_marching, "valves": valves, "valves_marched": len(self._marched),
            "valves_left": self._left, "cases": cases, "cases_marched": run, "samples": basis.chatter_samples,
            "seed": basis.chatter_seed, "marched": self._marched, "words": words,
        }  # fmt: skip

    def causes(self) -> list[dict[str, Any]]:
        """Root causes by how many valves they trouble."""
        titles = finding_titles()
        ordered = sorted(self._causes.items(), key=lambda item: (-item[1], item[0]))
        return [{"code": code, "words": titles.get(code, code), "count": count} for code, count in ordered]

    def hand_checks(self) -> list[dict[str, str]]:
        """One line a method that a reviewer can work by hand."""
        return [self._hand[method] for method in sorted(self._hand)]


def finding_titles() -> dict[str, str]:
    """Finding code -> its title, from findings.csv."""
    import csv
    from importlib import resources

    content = resources.files("quietseat").joinpath("data/findings.csv").read_text(encoding="utf-8")
    return {row["code"]: row["title"] for row in csv.DictReader(content.splitlines())}


# -- one valve -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _How:
    """How valves are assessed: with steps or without, marched in time or not, on which engine."""

    record: bool
    march: bool
    engine: str = "local"
    as_of: date | None = None  # the day ages of readings are counted to
    orders: Worklog | None = None  # what the register's own work orders cost

    def asking(self, basis: Basis) -> Asking | None:
        """Marching of the valves themselves, with traces and limits."""
        return Asking(basis.chatter_samples, True, self.engine) if self.march else None

    def remedies(self, basis: Basis) -> Asking | None:
        """Marching of each remedy: fewer draws, no pictures."""
        return Asking(basis.remedy_samples, ends=True) if self.march else None


def described(location: Location, found: Assessment, remedies: tuple[Remedy, ...], basis: Basis, how: _How) -> dict[str, Any]:
    """Everything about one assessed valve, ready to send between processes: summary, packed JSON, plan entry, tally."""
    whole, _ = complete(location, basis)
    record = how.record
    best, plain_yes = recommended(remedies), best_plain_yes(remedies)
    content = {
        "tag": location.tag, "verdict": found.verdict, "alias": list(location.alias), "unit": location.unit,
        "sheet": location.sheet, "row": location.row, "twin": location.twin,
        **plain.assessment(found, with_steps=False), **plain.location(whole), "inputs": _inputs(whole),
        "remedies": [plain.remedy(r) for r in remedies],
        "recommended": best.name if best else None, "best_yes": plain_yes.name if plain_yes else None,
        "leakage": leakage.as_data(leakage.report(location, basis, today=how.as_of, record=False), basis), "money": None,
    }  # fmt: skip
    if record:
        _add_money(content, cost.account(location, found, remedies, basis, best.name if best else None, how.orders))
    return {
        "tag": location.tag, "verdict": found.verdict, "packed": _pack(content),
        "steps": _pack(plain.steps(found.steps)) if record else None,
        "summary": plain.clean(_summary(location, whole, found, best, plain_yes)),
        "entry": entry(location.tag, found, remedies, basis),
        "assumptions": [(_family(a.field), a.value, a.rule, a.source) for a in found.assumptions],
        "cause_code": found.cause_code, "hand": _hand(found), "problems": [], **_in_time(location, found, basis),
    }  # fmt: skip


def _add_money(content: dict[str, Any], account: cost.Account) -> None:
    """Life-cycle cost of every priced remedy, and in full that of the recommended one."""
    for remedy in content["remedies"]:
        remedy["life_cycle"] = account.summaries.get(remedy["name"])
    content["money"] = account.chosen


def _in_time(location: Location, found: Assessment, basis: Basis) -> dict[str, Any]:
    """What marching did for this valve, whether it is still in doubt, and what the shop found against the prediction."""
    marched = None
    if found.chatter is not None:
        marched = {
            "tag": location.tag, "why": found.chatter_doubt, "verdict": found.chatter.verdict,
            "cases": found.chatter.samples * max(1, len(found.chatter.flows)), "cases_marched": found.chatter.marched,
        }  # fmt: skip
    doubtful = found.stability.status is Status.OK and found.stability.verdict == "unproven"
    return {
        "marched": marched, "in_doubt": doubtful and basis.time_marching != "none",
        "seen": (predictions.predicted(found.stability), predictions.found(location.history)),
    }  # fmt: skip


def _pack(content: Any) -> bytes:
    return zlib.compress(plain.text(plain.clean(content)).encode(), 1)


def _family(name: str) -> str:
    """The field without the number of its case."""
    return ".".join(part for part in name.split(".") if not part.isdigit())


def _hand(found: Assessment) -> dict[str, str]:
    """One checkable line for each sizing method used."""
    out: dict[str, str] = {}
    methods = {case.name: case.method for case in found.cases}
    for step in found.steps:
        if step.symbol == "A" and step.expression and step.group.startswith("Case "):
            name = step.group.removeprefix("Case ").split(":")[0]
            if methods.get(name) and methods[name] not in out:
                out[methods[name]] = step.line()
    return out


def _inputs(place: Location) -> list[dict[str, Any]]:
    """Every value with where it came from."""
    return [
        {
            "field": name, "text": origin.text, "from": origin.where, "how": origin.how, "rule": origin.rule,
            "source": origin.source,
        }
        for name, origin in sorted(place.origins.items())
    ]  # fmt: skip


def _summary(
    location: Location, whole: Location, found: Assessment, best: Remedy | None, plain_yes: Remedy | None
) -> dict[str, Any]:
    valve, failing = whole.valve, [f for f in found.findings if f.outcome == "fail"]
    uses = [c.utilisation for c in found.cases if c.utilisation is not None]
    return {
        "tag": location.tag, "unit": location.unit, "sheet": location.sheet, "row": location.row, "kind": valve.kind,
        "designation": designation(whole), "fluid": next((c.fluid for c in whole.cases if c.fluid), None),
        "set_pressure_pa": valve.set_pressure, "operating_pressure_pa": whole.vessel.operating_pressure,
        "operating_ratio": _value(found, "close-to-set"), "verdict": found.verdict, "cause": found.cause,
        "cause_code": found.cause_code, "codes": sorted({f.code for f in failing}),
        "severity": min((f.severity for f in failing), key=lambda s: -WEIGHT[s], default=""),
        "utilisation": max(uses, default=None),
        "inlet_loss_rated": max((c.inlet_loss_rated for c in found.cases if c.inlet_loss_rated is not None), default=None),
        "inlet_loss_required": max(
            (c.inlet_loss_required for c in found.cases if c.inlet_loss_required is not None), default=None),
        "built_up_ratio": _value(found, "back-pressure"), "stability": found.stability.verdict,
        "recommended": best.name if best else None, "recommended_title": best.title if best else None,
        "clears": best.clears if best else None, "condition": best.condition if best else "",
        "best_yes": plain_yes.name if plain_yes else None, "best_yes_title": plain_yes.title if plain_yes else None,
        "fit_verdict": best.fit.verdict if best and best.fit else None,
        "cost_low": best.cost.total.low if best and best.cost else None,
        "cost_mid": best.cost.total.mid if best and best.cost else None,
        "cost_high": best.cost.total.high if best and best.cost else None,
        "crew_hours": best.cost.crew_hours if best and best.cost else None,
        "score": score(found), "defaults": len(found.assumptions), "reasons": list(found.reasons[:3]),
    }  # fmt: skip


def _value(found: Assessment, code: str) -> float | None:
    """The measured value of a check, whether it failed or passed."""
    return next((f.value for f in (*found.findings, *found.passed) if f.code == code and f.value is not None), None)


def designation(place: Location) -> str:
    """Inlet, letter and outlet in one word, as far as known: 4P6."""
    valve = place.valve
    return "".join((
        f"{valve.inlet_size:g}" if valve.inlet_size else "?", valve.orifice or "?",
        f"{valve.outlet_size:g}" if valve.outlet_size else "?",
    ))  # fmt: skip


def score(found: Assessment) -> float:
    """How bad: severity of what fails first, then how far beyond its limit; opens and thins weigh little."""
    total = 0.0
    for f in found.findings:
        if f.outcome == "fail":
            beyond = min(max(-(f.margin or 0.0), 0.0), 3.0)
            total += WEIGHT[f.severity] * (1 + 0.1 * beyond)
        else:
            total += 0.5 if f.outcome == "open" else 0.2
    return total


# -- all valves ------------------------------------------------------------------------------------------------


Job = tuple[Location, tuple[Problem, ...]]


@dataclass(frozen=True, slots=True)
class _Pool:
    """Assesses jobs here or on several processes, in the order of the jobs."""

    basis: Basis
    workers: int | None
    progress: Progress | None

    def assess(self, jobs: Sequence[Job], how: _How) -> list[dict[str, Any]]:
        """One part a job."""
        parts: list[dict[str, Any]] = []
        for chunk in self._chunks(jobs, how):
            parts += chunk
            if self.progress:
                self.progress(len(parts), len(jobs))
        return parts

    def _chunks(self, jobs: Sequence[Job], how: _How) -> Iterator[list[Any]]:
        size = min(CHUNK, MARCHED_CHUNK) if how.march else CHUNK
        many = self.workers if self.workers is not None else (os.cpu_count() or 1 if len(jobs) > 3 * size else 1)
        if how.march and how.engine != "local":  # a device wants all of them at once
            many, size = 1, max(len(jobs), 1)
        chunks = [jobs[i : i + size] for i in range(0, len(jobs), size)]
        if many <= 1:
            for chunk in chunks:
                yield _chunk(chunk, how, self.basis)
            return
        # spawn: a forked child of a process with numba threads may hang
        with ProcessPoolExecutor(many, get_context("spawn"), _one_thread) as pool:
            yield from pool.map(_chunk, chunks, [how] * len(chunks), [self.basis] * len(chunks))


def _one_thread() -> None:
    """A process of a pool marches on one core: the pool itself fills the others."""
    os.environ["NUMBA_NUM_THREADS"] = "1"


def _gather(parts: list[dict[str, Any]]) -> tuple[list[Record], list[Entry], _Tally]:
    tally, records, entries = _Tally(), [], []
    for part in parts:
        records.append(Record(part["tag"], part["verdict"], part["summary"], part["packed"], part["steps"]))
        entries.append(part["entry"])
        tally.add(part["tag"], part)
    return records, entries, tally


def _march_worst(jobs: list[Job], parts: list[dict[str, Any]], pool: _Pool, how: _How) -> None:
    """March the worst of a large fleet: those in doubt first, then those whose remedies are, by their score."""
    wanted = [i for i, part in enumerate(parts) if part["in_doubt"] or part["verdict"] == "misfit"]
    wanted.sort(key=lambda i: (not parts[i]["in_doubt"], -float(parts[i]["summary"]["score"]), i))
    chosen = sorted(wanted[: pool.basis.marched_valves])
    for place, part in zip(chosen, replace(pool, progress=None).assess([jobs[i] for i in chosen], how)):
        parts[place] = part


def _add_steps(jobs: list[Job], records: list[Record], tally: _Tally, basis: Basis) -> None:
    """The steps of the worst valves of a large fleet, run again with recording on where they were not kept."""
    for (location, problems), record in zip(jobs, records):
        if record.place["rank"] > basis.stepped_valves:
            record.steps = None
        if record.steps is None and record.place["rank"] <= basis.stepped_valves and record.packed:
            found = assess(location, basis, problems=problems)
            record.steps = _pack(plain.steps(found.steps))
            tally.hand(location.tag, _hand(found))


def jobs_of(found: Register) -> Iterator[Job]:
    """Each Location with the conflicts the register found in its row."""
    by_row: dict[tuple[str | None, int | None], list[Problem]] = {}
    for problem in found.problems:
        if problem.rule.startswith("check: ") and problem.field in JUDGED_BY:
            by_row.setdefault((problem.sheet, problem.row), []).append(problem)
    for location in found.locations:
        yield location, tuple(by_row.get((location.sheet, location.row), ()))


# A conflict in one of these fields leaves the verdict open; others are listed and change nothing.
JUDGED_BY = {
    "valve.set_pressure", "set_pressure", "valve.cdtp", "cdtp", "valve.orifice", "orifice", "location.tag", "tag",
    "valve.designation", "designation", "valve.inlet_size", "inlet_size", "valve.outlet_size", "outlet_size",
    "case.flow", "flow", "valve.effective_area", "effective_area", "valve.actual_area", "actual_area",
    "valve.rated_coefficient", "rated_coefficient", "case.temperature", "temperature",
}  # fmt: skip


def _chunk(chunk: Sequence[Job], how: _How, basis: Basis) -> list[Any]:
    """Valves assessed together and their remedies together, so that all in doubt is marched in two batches; a failure names its row, the others go on."""
    out = []
    judged = assess_many(chunk, basis, record=how.record, asking=how.asking(basis))
    good = [(location, found) for (location, _), found in zip(chunk, judged) if not isinstance(found, Exception)]
    cures = iter(propose_many(good, basis, how.remedies(basis)))
    for (location, _), found in zip(chunk, judged):
        try:
            if isinstance(found, Exception):
                raise found
            remedies = next(cures)
            if isinstance(remedies, Exception):
                raise remedies
            out.append(described(location, found, remedies, basis, how))
        except Exception as error:  # one row's failure must not stop the fleet
            lost = Problem(
                f"the calculation failed inside ({type(error).__name__}: {error}); this valve is unproven",
                "report this row with its register", None, location.sheet, location.row, None, "tag", location.tag,
            )  # fmt: skip
            out.append(_unproven(location, lost, basis))
    return out


def _unproven(location: Location, lost: Problem, basis: Basis) -> Any:
    """The smallest honest record of a valve whose calculation broke."""
    found = Assessment(location.tag, "unproven", problems=(lost,), reasons=(lost.rule,))
    content = {
        "tag": location.tag, "verdict": "unproven", "alias": list(location.alias), "unit": location.unit,
        "sheet": location.sheet, "row": location.row, "twin": location.twin, **plain.assessment(found, with_steps=False),
        **plain.location(location), "inputs": _inputs(location), "remedies": [], "recommended": None, "best_yes": None,
    }  # fmt: skip
    return {
        "tag": location.tag, "verdict": "unproven", "packed": _pack(content), "steps": None,
        "summary": plain.clean(_summary(location, location, found, None, None)),
        "entry": entry(location.tag, found, (), basis), "assumptions": [], "cause_code": "", "hand": {},
        "problems": [lost], **_in_time(location, found, basis),
    }  # fmt: skip


def _place(records: list[Record]) -> None:
    """Rank: verdict first, then score, then tag."""
    order = sorted(
        records, key=lambda r: (VERDICTS.index(r.verdict), -float(r.summary["score"]), r.tag, r.summary["row"] or 0)
    )
    for number, record in enumerate(order, 1):
        record.place = {"rank": number, "in_plan": False, "plan_reason": ""}


def _planned(records: list[Record], plan: Mapping[str, Any]) -> None:
    chosen = {item["tag"]: item["reason"] for item in plan.get("chosen", ())}
    left = {item["tag"]: item["reason"] for item in plan.get("left_out", ())}
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
    values = basis.model_dump()
    return hashlib.sha256(plain.text([contents, values, version]).encode()).hexdigest()
