"""What a change of the Basis would do, told before it is applied: against what a study under each Basis says."""

from __future__ import annotations

import pytest

from quietseat import demo, study
from quietseat.basis import Basis, load, make
from quietseat.effects import effect, kinds, plan_effect
from quietseat.planning import item
from quietseat.register import Job, jobs_of, read


@pytest.fixture(scope="module")
def old() -> Basis:
    return make({**load(demo.files().basis).changed(), "time_marching": "none"})


@pytest.fixture(scope="module")
def jobs(old: Basis) -> list[Job]:
    return list(jobs_of(read(demo.files().register, old, demo.files().mends)))


def test_the_effect_is_what_two_studies_would_show(jobs: list[Job], old: Basis) -> None:
    new = make({**old.changed(), "operating_limit_metal": "80 %"})
    told = effect(jobs, jobs, old, new)
    files = demo.files()
    first, second = (study.run(files.register, basis, files.mends) for basis in (old, new))
    for side, run in enumerate((first, second)):
        assert {word: count for word, count in run.head["counts"].items() if count} == told["verdicts"][side]
    moved = {one.tag for one, two in zip(first.records, second.records, strict=True) if one.verdict != two.verdict}
    assert moved and moved == {one["tag"] for one in told["changed"] if one["before"] != one["after"]}
    assert told["new"]["close-to-set"] == sum("close-to-set" in one["new"] for one in told["changed"]) > 0
    costs = [sum(r.summary["cost_mid"] for r in run.records if r.verdict == "misfit" and r.summary["cost_mid"]) for run in (first, second)]
    assert told["cost"] == pytest.approx(costs, rel=1e-9)


def test_nothing_changes_where_nothing_is_changed(jobs: list[Job], old: Basis) -> None:
    told = effect(jobs[:20], jobs[:20], old, old)
    assert told["changed"] == [] and told["cost"][0] == told["cost"][1] and told["valves"] == 20


def test_a_plan_of_no_money_cures_nothing(old: Basis) -> None:
    files = demo.files()
    found = study.run(files.register, old, files.mends)
    items = [one for record in found.records if (one := item(record.full(), old, 0.0)) is not None]
    was, now = plan_effect(items, old, make({**old.changed(), "budget": "0"}))
    assert was["stops"] > 5 and was["spent"] <= old.budget * (1 + 1e-9)
    assert now == {"stops": 0.0, "count": 0, "spent": 0.0, "value": 0.0}


def test_kinds_of_effect() -> None:
    assert kinds({"budget": "1"}) == {"plan": True, "valves": False, "marched": False}
    assert kinds({"chatter_samples": "50"}) == {"plan": False, "valves": False, "marched": True}
    assert kinds({"title": "x"}) == {"plan": False, "valves": False, "marched": False}
    assert kinds({"thin_margin": "5 %", "budget": "1"}) == {"plan": True, "valves": True, "marched": False}
