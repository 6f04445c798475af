"""The study as a whole: nothing lost, same bytes, one row's failure stays one row's, verify names differences."""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from quietseat import demo, study
from quietseat.basis import Basis, load, make
from quietseat.status import InputUnusable
from quietseat.study import pool
from quietseat.verify import verify

VALVE_KEYS = {"tag", "verdict", "findings", "cases", "ladder", "stability", "steps", "remedies", "recommended"}
REMEDY_KEYS = {"name", "clears", "cleared", "left", "created", "fit", "suitability", "work", "cost", "rejected_because"}


def quick(files: demo.DemoFiles) -> Basis:
    """The demo's choices with few draws: what is tested here does not hang on them."""
    return make({**load(files.basis).changed(), "chatter_samples": 16, "remedy_samples": 8})


def closed(files: demo.DemoFiles) -> Basis:
    """The demo's choices without marching in time."""
    return make({**load(files.basis).changed(), "time_marching": "none"})


@pytest.fixture(scope="module")
def packaged() -> demo.DemoFiles:
    return demo.files()


@pytest.fixture(scope="module")
def done(packaged: demo.DemoFiles) -> study.Study:
    return study.run(packaged.register, quick(packaged), packaged.mends, workers=1)


@pytest.fixture(scope="module")
def saved(done: study.Study) -> dict[str, Any]:
    out = io.StringIO()
    done.write(out)
    return dict(json.loads(out.getvalue()))


def text(found: study.Study) -> str:
    out = io.StringIO()
    found.write(out)
    return out.getvalue()


def test_counts_add_up_and_every_valve_is_there(saved: dict[str, Any]) -> None:
    register = saved["register"]
    assert register["rows_found"] == register["rows_read"] + register["rows_partial"] + register["rows_refused"]
    assert len(saved["valves"]) == register["valves_found"] == sum(saved["counts"].values()) >= 60
    assert {v["verdict"] for v in saved["valves"]} == {"sound", "watch", "misfit", "unproven"}


def test_contract_keys(saved: dict[str, Any]) -> None:
    assert {"schema", "version", "hash", "basis", "register", "valves", "plan", "problems", "assumptions", "sources"} <= set(saved)
    for valve in saved["valves"]:
        assert set(valve) >= VALVE_KEYS, valve["tag"]
        for remedy in valve["remedies"]:
            assert set(remedy) >= REMEDY_KEYS
            assert remedy["clears"] in ("yes", "subject-to-proof", "no")
        assert all(problem.keys() >= {"file", "sheet", "row", "column", "field", "value", "rule", "mend"} for problem in valve["problems"])


def test_ranks_are_a_permutation_and_misfits_come_first(saved: dict[str, Any]) -> None:
    by_rank = sorted(saved["valves"], key=lambda v: v["rank"])
    assert [v["rank"] for v in by_rank] == list(range(1, len(by_rank) + 1))
    verdicts = [v["verdict"] for v in by_rank]
    assert verdicts == sorted(verdicts, key=("misfit", "unproven", "watch", "sound").index)


def test_every_misfit_has_a_cause_in_words(saved: dict[str, Any]) -> None:
    for valve in saved["valves"]:
        assert bool(valve["cause"]) == (valve["verdict"] == "misfit"), valve["tag"]


def test_losers_say_why(saved: dict[str, Any]) -> None:
    for valve in saved["valves"]:
        losers = [r for r in valve["remedies"] if r["name"] != valve["recommended"]]
        assert all(r["rejected_because"] for r in losers), valve["tag"]


def test_a_condition_is_named_where_proof_is_needed(saved: dict[str, Any]) -> None:
    for valve in saved["valves"]:
        for remedy in valve["remedies"]:
            if remedy["clears"] == "subject-to-proof":
                assert remedy["condition"], (valve["tag"], remedy["name"])


def test_the_pilot_wins_somewhere_and_loses_somewhere(saved: dict[str, Any]) -> None:
    winners = [str(v["recommended"]) for v in saved["valves"] if v["recommended"]]
    assert any(name.startswith("pilot") for name in winners)
    assert any(not name.startswith("pilot") for name in winners)
    vetoed = [r for v in saved["valves"] for r in v["remedies"] if r["suitability"] and r["suitability"]["verdict"] == "veto"]
    assert vetoed


def test_totals_are_the_sum_of_their_parts(saved: dict[str, Any]) -> None:
    for valve in saved["valves"]:
        for remedy in valve["remedies"]:
            cost = remedy["cost"]
            if cost:
                for end in ("low", "mid", "high"):
                    parts = sum(cost[part][end] for part in ("capital", "work", "upkeep", "leakage", "carbon", "other"))
                    assert cost["total"][end] == pytest.approx(parts, abs=0.03)


def test_the_plan_keeps_its_budget(saved: dict[str, Any]) -> None:
    plan = saved["plan"]
    assert plan["totals"]["spent"] <= plan["budget"] * (1 + 1e-9)
    (window,) = plan["windows"]
    assert plan["totals"]["hours"] <= window["crew_hours"] * (1 + 1e-9)
    places = {valve["tag"]: valve["in_plan"] for valve in saved["valves"]}
    assert {tag for tag, inside in places.items() if inside} == {one["tag"] for one in plan["chosen"]}


def test_every_valve_of_the_plan_has_a_life_cycle(saved: dict[str, Any]) -> None:
    for valve in saved["valves"]:
        if valve["verdict"] == "misfit":
            priced = [remedy for remedy in valve["remedies"] if remedy["cost"]]
            assert priced and all(remedy["life_cycle"] for remedy in priced), valve["tag"]


def test_a_stopped_study_goes_on_from_what_it_has_finished(tmp_path: Path) -> None:
    """Stopped after its first chunk and started again: nothing finished is assessed twice, and the study is the same."""
    files = demo.copy(tmp_path)
    basis = closed(files)

    class Memory(dict[str, bytes]):
        def put(self, key: str, content: bytes) -> None:
            assert key not in self
            self[key] = content

    class Stop(Exception):
        pass

    def stop(done: int, of: int, what: str) -> None:
        if what == "valves; planning":
            raise Stop

    whole = study.run(files.register, basis, files.mends)
    kept = Memory()
    with pytest.raises(Stop):
        study.run(files.register, basis, files.mends, progress=stop, store=kept)
    finished = dict(kept)
    assert finished
    again = study.run(files.register, basis, files.mends, store=kept)
    assert kept == finished and again.head == whole.head
    assert [record.json() for record in again.records] == [record.json() for record in whole.records]


def test_numbers_are_rounded_and_finite(saved: dict[str, Any]) -> None:
    def walk(value: Any) -> None:
        if isinstance(value, float):
            assert value == float(f"{value:.10g}")
        elif isinstance(value, dict):
            for item in value.values():
                walk(item)
        elif isinstance(value, list):
            for item in value:
                walk(item)

    walk(saved)


def test_same_inputs_same_bytes_whatever_the_processes(done: study.Study, packaged: demo.DemoFiles, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pool, "CHUNK", 30)
    again = study.run(packaged.register, quick(packaged), packaged.mends, workers=2)
    assert text(again) == text(done)


def test_steps_of_a_large_fleet_are_kept_for_its_worst(packaged: demo.DemoFiles, done: study.Study) -> None:
    choices = dict(quick(packaged).changed()) | {"stepped_valves": 5}
    few = study.run(packaged.register, make(choices), packaged.mends, workers=1)
    full = {record.tag: record.full() for record in done.records}
    for record in few.records:
        kept = record.full()
        assert bool(kept["steps"]) == (kept["rank"] <= 5), kept["tag"]
        assert kept["findings"] == full[record.tag]["findings"]
        if kept["steps"]:
            assert kept["steps"] == full[record.tag]["steps"]


def test_hash_follows_inputs_and_basis(packaged: demo.DemoFiles) -> None:
    choices = dict(closed(packaged).changed())
    hashes = [
        study.run(packaged.register, make(choices | more), packaged.mends, workers=1).head["hash"]
        for more in ({}, {}, {"inlet_loss_limit": "4 %"})
    ]
    assert hashes[0] == hashes[1] != hashes[2]


def test_one_failing_row_is_one_unproven_valve(packaged: demo.DemoFiles, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(jobs: Any, basis: Any, asking: Any = None) -> Any:
        return [ZeroDivisionError("a fault of ours") if place.tag.endswith("1005") else () for place, _ in jobs]

    monkeypatch.setattr(pool, "propose_many", broken)
    found = study.run(packaged.register, closed(packaged), packaged.mends, workers=1)
    hit = next(record for record in found.records if record.tag.endswith("1005"))
    assert hit.verdict == "unproven" and "failed inside" in hit.full()["reasons"][0]
    assert any("a fault of ours" in problem["rule"] for problem in found.head["problems"])
    assert len(found.records) == found.head["register"]["valves_found"]


def test_verify_finds_nothing_then_names_what_changed(done: study.Study, packaged: demo.DemoFiles, tmp_path: Path) -> None:
    copied = demo.copy(tmp_path)
    first = study.run(copied.register, closed(copied), copied.mends, workers=1)
    file = first.write_json(tmp_path / "study.json")
    assert verify(file)["same"]
    changed = json.loads(file.read_text(encoding="utf-8"))
    tag = changed["valves"][0]["tag"]
    changed["valves"][0]["verdict"] = "glorious"
    file.write_text(json.dumps(changed), encoding="utf-8")
    answer = verify(file)
    assert not answer["same"]
    assert answer["differences"] == [f"valves[{tag}].verdict: 'glorious', now '{first.records[0].verdict}'"]


def test_verify_refuses_what_is_no_study(tmp_path: Path) -> None:
    file = tmp_path / "x.json"
    file.write_text("{}", encoding="utf-8")
    with pytest.raises(InputUnusable, match="not a study"):
        verify(file)
    with pytest.raises(InputUnusable, match="cannot be read"):
        verify(tmp_path / "absent.json")


def test_verify_says_when_an_input_is_gone(packaged: demo.DemoFiles, tmp_path: Path) -> None:
    copied = demo.copy(tmp_path / "a")
    file = study.run(copied.register, closed(copied), copied.mends, workers=1).write_json(tmp_path / "study.json")
    shutil.rmtree(tmp_path / "a")
    with pytest.raises(InputUnusable, match="the input of the study is gone"):
        verify(file)
