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


# --- where an answer goes --------------------------------------------------------------------------------------------

SHARED = ("Tag", "Type", "Size", "Inlet class", "Set pressure (barg)", "MAWP (barg)", "Fluid", "Phase", "Mol wt", "k", "Z", "Temperature (degC)",
          "Required rate (kg/h)", "Rated capacity (kg/h)", "Set press (psig)")  # fmt: skip


def contradictions(tmp_path: Path, *rows: dict[str, Any], mends: str = "") -> list[dict[str, Any]]:
    from registers import make as workbook

    plain = {"Type": "conventional", "Size": "4P6", "Inlet class": 150, "Set pressure (barg)": 10, "MAWP (barg)": 10, "Fluid": "propane", "Phase": "gas",
             "Mol wt": 44.1, "k": 1.13, "Z": 0.9, "Temperature (degC)": 60, "Required rate (kg/h)": 24000}  # fmt: skip
    lines = [[{"Tag": f"PSV-{n}", **plain, **one}.get(head) for head in SHARED] for n, one in enumerate(rows, 1)]
    file = workbook.xlsx(tmp_path / "reg.xlsx", {"PSV": [SHARED, *lines]})
    given = tmp_path / "mends.csv"
    given.write_text("sheet,row,field,value,who,when,why\n" + mends, encoding="utf-8")
    found = of_fleet(list(jobs_of(read(file, BASIS, given))), BASIS)
    return [one for one in found["questions"] if one["kind"] == "contradiction"]


def fields_of(question: dict[str, Any]) -> list[tuple[str, int]]:
    return [(one["field"], one["row"]) for one in question["answers"]]


def test_an_additional_valve_is_asked_for_the_number_needed_at_once_and_settled_by_it(tmp_path: Path) -> None:
    (asked_,) = contradictions(tmp_path, {"Set pressure (barg)": 10.5})  # 105 % of MAWP
    assert asked_["form_field"] == "required" and fields_of(asked_) == [("required", 2), ("set_pressure", 2), ("mawp", 2)]
    assert asked_["answers"][1]["offers"] == (("10.5 barg", "as written"),)
    for line in ("PSV,2,required,2,A,2026-01-02,relief study", "PSV,2,mawp,11 barg,A,2026-01-02,nameplate", "PSV,2,set_pressure,10 barg,A,2026-01-02,nameplate"):
        assert contradictions(tmp_path, {"Set pressure (barg)": 10.5}, mends=line) == []


def test_a_rate_equal_to_the_stamped_capacity_is_asked_for_its_basis(tmp_path: Path) -> None:
    row = {"Rated capacity (kg/h)": 48000, "Required rate (kg/h)": 48000}
    (asked_,) = contradictions(tmp_path, row)
    assert asked_["form_field"] == "rate_basis" and fields_of(asked_) == [("rate_basis", 2), ("flow", 2)]
    assert [value for value, _ in asked_["answers"][0]["offers"]] == ["signed", "nameplate"]  # unknown is no answer
    assert (asked_["who"], asked_["where"]) == ("process engineer", "the relief study")
    for answer in ("rate_basis,signed", "rate_basis,nameplate", "flow,20000 kg/h"):
        assert contradictions(tmp_path, row, mends=f"PSV,2,{answer},A,2026-01-02,relief study") == []


def test_of_two_stated_values_both_are_offered_each_with_its_unit(tmp_path: Path) -> None:
    row = {"Set pressure (barg)": 9, "Set press (psig)": 100}
    (asked_,) = contradictions(tmp_path, row)
    assert asked_["form_field"] == "set_pressure"
    assert asked_["answers"][0]["offers"] == (("9 barg", "PSV!E2"), ("100 psig", "PSV!O2"))
    for answer in ("9 barg", "100 psig"):
        assert contradictions(tmp_path, row, mends=f"PSV,2,set_pressure,{answer},A,2026-01-02,nameplate") == []


def test_of_two_rows_of_one_tag_either_can_be_left_out_or_named_anew(tmp_path: Path) -> None:
    rows = ({"Tag": "PSV-1"}, {"Tag": "PSV-1", "Set pressure (barg)": 9})
    (asked_,) = contradictions(tmp_path, *rows)
    assert fields_of(asked_) == [("tag", 3), ("tag", 2)]
    assert [one["offers"][0][1] for one in asked_["answers"]] == ["PSV row 2 is right: leave row 3 out", "PSV row 3 is right: leave row 2 out"]
    for answer in ("3,tag,-", "2,tag,-", "3,tag,PSV-9"):
        assert contradictions(tmp_path, *rows, mends=f"PSV,{answer},A,2026-01-02,nameplate") == []


def test_a_value_confirmed_as_written_is_told_and_asked_no_more(tmp_path: Path) -> None:
    row = {"Size": "4H6"}  # API 526 has no 4H6
    (asked_,) = contradictions(tmp_path, row)
    assert fields_of(asked_) == [("orifice", 2), ("inlet_size", 2), ("outlet_size", 2)]
    assert contradictions(tmp_path, row, mends="PSV,2,orifice,H,A. Person,2026-01-02,nameplate") == []
    told = read(tmp_path / "reg.xlsx", BASIS, tmp_path / "mends.csv").problems
    assert ["right as written, mended by A. Person on 2026-01-02: nameplate" in p.rule for p in told if "API 526 has no" in p.rule] == [True]


def test_every_question_of_the_demo_has_a_field_its_answer_fits() -> None:
    from quietseat.register import fields
    from quietseat.register.fields import by_name

    files = demo.files()
    basis = load(files.basis).model_copy(update={"time_marching": "none"})
    questions = of_fleet(list(jobs_of(read(files.register, basis, files.mends))), basis)["questions"]
    by_tag = {one["tag"]: one["form_field"] for one in questions if one["kind"] == "contradiction"}
    assert (by_tag["10-PSV-1012"], by_tag["10-PSV-1019"], by_tag["20-PSV-2014"]) == ("required", "rate_basis", "actual_area")
    for one in questions:
        assert one["answers"] and all(each["field"] == "answer" or each["field"] in by_name() for each in one["answers"]), one["title"]
        assert all(each["row"] is not None for each in one["answers"]), one["title"]
    assert fields.fields()["case.required"].quantity == "integer"


def test_an_answer_no_field_holds_becomes_a_remark(tmp_path: Path) -> None:
    contradictions(tmp_path, {}, mends="PSV,2,answer,the maker proves it in letter 12,A. Person,2026-01-02,the maker's word")
    found = read(tmp_path / "reg.xlsx", BASIS, tmp_path / "mends.csv")
    assert found.mends[0].applied and found.mends[0].kind == "answer"
    assert found.locations[0].remarks == ("the maker proves it in letter 12 (by A. Person on 2026-01-02: the maker's word)",)
