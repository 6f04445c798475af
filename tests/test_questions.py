"""Value of asking: the array of scenarios, the decision table, and the questions of invented valves."""

from __future__ import annotations

import csv
import itertools
import json
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from quietseat import demo
from quietseat.assess import assess
from quietseat.basis import load, make
from quietseat.casefile import read_valve
from quietseat.questions import asked, of_fleet, ranked, visits
from quietseat.questions.ask import KEEP, Outcome, table_of
from quietseat.questions.worth import scenarios, worth_of, worth_of_all
from quietseat.register import jobs_of, read
from quietseat.report import asking

BASIS = make({"time_marching": "none"})
CASE = """
[valve]
tag = "PSV-1"
kind = "conventional"
designation = "4P6"
set_pressure = "10 barg"
blowdown = "7 %"
seat = "metal"
inlet_class = 150
[[case]]
name = "blocked outlet"
phase = "gas"
molar_mass = 28.97
k = 1.4
Z = 1.0
temperature = "20 degC"
flow = "25000 kg/h"
rate_basis = "signed"
[inlet]
size = "4"
schedule = "40"
{inlet}
[outlet]
length = "2 m"
discharge_to = "atmosphere"
[vessel]
volume = "20 m3"
mawp = "11 barg"
operating_pressure = "7 barg"
operating_temperature = "20 degC"
"""


def place(tmp_path: Path, inlet: str = "") -> Any:
    file = tmp_path / "valve.toml"
    file.write_text(CASE.format(inlet=inlet), encoding="utf-8")
    return read_valve(str(file)).location


@pytest.mark.parametrize("unknowns", range(1, 14))
def test_every_pair_of_answers_comes_equally_often(unknowns: int) -> None:
    """An orthogonal array of strength two: each of the nine pairs of two columns stands in a ninth of the rows."""
    runs = scenarios(unknowns)
    assert runs.shape == ({1: 3, 2: 9, 3: 9, 4: 9}.get(unknowns, 27), unknowns)
    for a, b in itertools.combinations(range(unknowns), 2):
        pairs = Counter(map(tuple, runs[:, [a, b]].tolist()))
        assert len(pairs) == 9 and set(pairs.values()) == {len(runs) // 9}


def test_more_unknowns_than_the_array_holds_are_refused() -> None:
    with pytest.raises(ValueError, match="14 unknowns: 1 to 13"):
        scenarios(14)


def test_knowing_everything_is_worth_at_least_knowing_one_thing_and_never_less_than_nothing() -> None:
    rng = np.random.default_rng(5)
    for _ in range(200):
        costs, runs = rng.uniform(0, 100, (4, 9)), scenarios(4)
        whole = worth_of_all(costs)
        for column in range(4):
            assert 0 <= worth_of(costs, runs[:, column].tolist()) <= whole + 1e-9


def test_the_table_charges_a_cure_left_undone_twice_and_a_needless_one_once() -> None:
    """By hand: cure 30 where it fails, nothing where it does not; late factor 2."""
    fails = Outcome(True, 1, {"soft-seat": 30.0}, frozenset({"soft-seat"}))
    fine = Outcome(False, 0, {}, frozenset())
    actions, costs = table_of([fails, fine], BASIS)
    assert actions == [KEEP, "soft-seat"]
    np.testing.assert_allclose(costs, [[60.0, 0.0], [30.0, 30.0]])
    stated = make({"misfit_cost": 10, "discount_rate": "0.0001 %", "horizon_years": "10"})
    np.testing.assert_allclose(table_of([fails, fine], stated)[1][0], [160.0, 0.0], rtol=1e-4)


def test_a_missing_length_is_asked_for_and_a_stated_one_is_not(tmp_path: Path) -> None:
    (missing,) = asked([(place(tmp_path), ())], BASIS)
    assert [q.field for q in missing.questions if q.value is not None] == ["inlet.length"]
    question = missing.questions[0]
    assert question.who == "field technician" and question.hours == 0.5 and question.unit == "m"
    assert question.value is not None and question.value >= 0 and "without" in question.reason
    (known,) = asked([(place(tmp_path, 'length = "0.5 m"'), ())], BASIS)
    assert known.questions == []


def test_no_unproven_valve_of_the_demo_is_without_a_question() -> None:
    files = demo.files()
    basis = load(files.basis).model_copy(update={"time_marching": "none"})
    jobs = list(jobs_of(read(files.register, basis, files.mends)))
    asked_of = {one["tag"] for one in of_fleet(jobs, basis)["questions"]}
    unproven = {place.tag for place, problems in jobs if assess(place, basis, record=False, problems=problems).verdict == "unproven"}
    assert len(unproven) > 10 and unproven <= asked_of


def test_one_broken_valve_does_not_stop_the_others(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(location: Any, *given: Any, **more: Any) -> Any:
        if location.tag == "BROKEN":
            raise ZeroDivisionError("inside")
        return assess(location, *given, **more)

    monkeypatch.setattr("quietseat.questions.ask.assess", broken)
    first = place(tmp_path)
    found = of_fleet([(replace(first, tag="BROKEN"), ()), (first, ())], BASIS)
    assert any("BROKEN" in note and "ZeroDivisionError" in note for note in found["notes"])
    assert found["questions"][0]["tag"] == "PSV-1"


def test_without_a_set_pressure_nothing_is_valued(tmp_path: Path) -> None:
    location = place(tmp_path)
    (found,) = asked([(replace(location, valve=replace(location.valve, set_pressure=None)), ())], BASIS)
    assert all(question.value is None for question in found.questions) and found.worth_of_all == 0.0
    assert "valve.set_pressure" in [question.field for question in found.questions]  # asked for all the same


def test_the_form_is_a_mends_file_and_the_visits_add_up(tmp_path: Path) -> None:
    location = replace(place(tmp_path), sheet="List", row=7)
    questions = ranked([q for one in asked([(location, ())], BASIS) for q in one.questions], BASIS)
    lines = list(csv.DictReader(asking.mends_form(questions).splitlines()))
    assert lines[0] == {"sheet": "List", "row": "7", "field": "inlet.length", "value": "", "who": "", "when": "", "why": questions[0]["title"]}
    assert len(lines) == len(questions) and {question["kind"] for question in questions[1:]} == {"open check"}
    groups = visits(questions)
    assert sum(group["count"] for group in groups) == len(questions)
    assert sum(group["hours"] for group in groups) == sum(q["hours"] for q in questions)
    answer = {"mark": "0" * 64, "currency": "USD", "rule": "r", "questions": json.loads(json.dumps(questions)), "visits": groups,
              "notes": [], "valves_asked": 1}  # fmt: skip
    names = {path.name for path in asking.write(answer, tmp_path / "out")}
    assert names == {"walk-down.html", "walk-down.pdf", "walk-down.xlsx", "mends-form.csv"}
    assert "PSV-1" in (tmp_path / "out" / "walk-down.html").read_text(encoding="utf-8")
