"""What changed between two studies: every kind of change by hand-made studies, files line by line, and a large fleet in seconds."""

from __future__ import annotations

import copy
import json
import time
import zlib
from pathlib import Path
from typing import Any

import pytest

from quietseat import changes
from quietseat.basis import make
from quietseat.status import InputUnusable
from quietseat.study import Record, Study, run

HEAD: dict[str, Any] = {
    "schema": "quietseat-study/1", "title": "T", "hash": "aa" * 32, "version": "0.3.0", "counts": {},
    "basis": {"choices": [{"name": "budget", "value": "100", "description": "Budget of the plan"}, {"name": "crews", "value": "2", "description": "Crews"}]},
    "inputs": {"register": {"path": "a.xlsx", "sha256": "1" * 64}, "mends": None},
    "plan": {"budget": 100.0, "value": 5.0, "totals": {"spent": 90.0, "hours": 10.0, "count": 1},
             "chosen": [{"tag": "B", "remedy": "bellows", "title": "Bellows", "window": "May", "why": "cheap"}]},
}  # fmt: skip


def valve(tag: str, **changed: Any) -> dict[str, Any]:
    return {
        "tag": tag, "verdict": "misfit", "cause": "too big", "sheet": "S", "row": 3,
        "findings": [{"code": "oversized", "case": "fire", "rule": "r", "outcome": "fail", "severity": "act", "words": "12 % used"}],
        "valve": {"set_pressure_pa": 1_000_000.0}, "vessel": {}, "stability": {}, "chatter": None, "leakage": {"co2e_kg_a": {"mid": 100.0}}, "money": None,
        "cases": [{"name": "fire", "required_flow_kg_s": 2.0, "utilisation": 0.12}],
        "remedies": [{"name": "bellows", "title": "Bellows", "clears": "yes", "cost": {"total": {"mid": 1000.0}}},
                     {"name": "pilot", "title": "Pilot", "clears": "subject-to-proof", "cost": {"total": {"mid": 2000.0}}}],
        "recommended": "bellows", **changed,
    }  # fmt: skip


def study(*valves: dict[str, Any], head: dict[str, Any] | None = None, planned: tuple[str, ...] = ()) -> Study:
    records = [
        Record(one["tag"], one["verdict"], {}, zlib.compress(json.dumps(one).encode(), 1), None,
               {"rank": at + 1, "in_plan": one["tag"] in planned, "plan_reason": "budget"})
        for at, one in enumerate(valves)
    ]  # fmt: skip
    return Study(copy.deepcopy(head or HEAD), records)


def compare(old: Study, new: Study, tolerance: float = 0.01) -> dict[str, Any]:
    return changes.compare(changes.of_study(old), changes.of_study(new), tolerance)


def test_the_same_study_has_nothing_to_tell() -> None:
    found = compare(study(valve("A"), valve("B")), study(valve("A"), valve("B")))
    assert found["same"] and found["unchanged"] == 2 and changes.flat(found) == []


def finding(**changed: Any) -> dict[str, Any]:
    return {"code": "oversized", "case": "fire", "rule": "r", "outcome": "open", "severity": "act", "words": "not known", **changed}


def test_a_finding_by_another_rule_is_the_same_finding() -> None:
    # code and case say what a finding is about; the rule's text alone is no change
    same = compare(study(valve("A", findings=[finding()])), study(valve("A", findings=[finding(rule="for pilots")])))
    assert same["findings"] == [] and same["unchanged"] == 1
    (other,) = compare(study(valve("A", findings=[finding()])), study(valve("A", findings=[finding(rule="for pilots", words="12 %")])))["findings"]
    assert other["change"] == "changed" and "for pilots" in other["words"]
    (worse,) = compare(study(valve("A", findings=[finding()])), study(valve("A", findings=[finding(rule="for pilots", outcome="fail")])))["findings"]
    assert (worse["change"], worse["old"], worse["new"]) == ("changed", "open, act", "fail, act")


def test_two_findings_of_one_code_pair_by_their_rules_first() -> None:
    both = [finding(rule="ratio", words="0.95"), finding(rule="difference", words="0.4 bar")]
    (gone,) = compare(study(valve("A", findings=both)), study(valve("A", findings=both[1:])))["findings"]
    assert (gone["change"], gone["words"]) == ("gone", "0.95")


def test_verdict_finding_and_remedy_of_one_valve() -> None:
    new = valve("A", verdict="watch", cause="thin", recommended="pilot", findings=[
        {"code": "oversized", "case": "fire", "rule": "r", "outcome": "thin", "severity": "note", "words": "28 % used"},
        {"code": "leaks", "case": "", "rule": "q", "outcome": "fail", "severity": "act", "words": "leaks"},
    ])  # fmt: skip
    found = compare(study(valve("A"), valve("B")), study(new, valve("B", findings=[])))
    assert found["verdicts"] == {"A": {"old": "misfit", "new": "watch", "old_cause": "too big", "new_cause": "thin"}}
    assert [(one["tag"], one["code"], one["change"], one["old"], one["new"]) for one in found["findings"]] == [
        ("A", "oversized", "changed", "fail, act", "thin, note"), ("A", "leaks", "new", None, "fail, act"), ("B", "oversized", "gone", "fail, act", None),
    ]  # fmt: skip
    assert found["remedies"] == [
        {"tag": "A", "old": "Bellows", "new": "Pilot", "old_clears": "yes", "new_clears": "subject-to-proof"}
    ]
    assert not found["same"] and found["unchanged"] == 0


@pytest.mark.parametrize(("tolerance", "told"), [(0.01, True), (0.0, True), (0.02, False), (1.0, False)])
def test_a_number_is_told_beyond_the_tolerance(tolerance: float, told: bool) -> None:
    """1 000 000 to 1 015 000 is 1.5 %, by hand."""
    found = compare(study(valve("A")), study(valve("A", valve={"set_pressure_pa": 1_015_000.0})), tolerance)
    expected = [
        {
            "tag": "A",
            "what": "set pressure",
            "unit": "Pa(a)",
            "old": 1_000_000.0,
            "new": 1_015_000.0,
            "moved": pytest.approx(0.015),
        }
    ]
    assert found["numbers"] == (expected if told else [])
    assert found["unchanged"] == (0 if told else 1)


def test_numbers_of_cases_costs_and_values_that_come_or_go() -> None:
    new = valve("A", cases=[{"name": "fire", "required_flow_kg_s": 3.0, "utilisation": 0.12}, {"name": "new case", "required_flow_kg_s": 9.0}],
                leakage=None, remedies=[{"name": "bellows", "title": "Bellows", "clears": "yes", "cost": {"total": {"mid": 1500.0}}}])  # fmt: skip
    found = {
        one["what"]: (one["old"], one["new"], one["moved"]) for one in compare(study(valve("A")), study(new))["numbers"]
    }
    assert found == {
        "required flow, case fire": (2.0, 3.0, 0.5), "CO2 equivalent of a year": (100.0, None, None),
        "whole-life cost of the recommended remedy, middle": (1000.0, 1500.0, 0.5),
    }  # fmt: skip


def test_a_number_from_zero_is_told_without_a_share() -> None:
    found = compare(study(valve("A", leakage={"co2e_kg_a": {"mid": 0.0}})), study(valve("A")))["numbers"]
    assert [(one["old"], one["new"], one["moved"]) for one in found] == [(0.0, 100.0, None)]


def test_plan_choices_inputs_and_valves() -> None:
    head = copy.deepcopy(HEAD)
    head["basis"]["choices"] = [
        {"name": "budget", "value": "200", "description": "Budget of the plan"},
        {"name": "new_one", "value": "x", "description": "N"},
    ]
    head["inputs"]["register"]["sha256"] = "2" * 64
    head["inputs"]["mends"] = {"path": "m.csv", "sha256": "3" * 64}
    head["plan"].update(
        budget=200.0, chosen=[{"tag": "B", "remedy": "pilot", "title": "Pilot", "window": "May", "why": "clears more"}]
    )
    old, new = (
        study(valve("A"), valve("B"), valve("C"), planned=("A", "B")),
        study(valve("B"), valve("A"), valve("D"), head=head, planned=("B", "D")),
    )
    found = compare(old, new)
    assert [(one["tag"], one["what"], one["old"], one["new"]) for one in found["plan"]] == [
        ("A", "place in the plan", "in", "out"), ("", "budget", 100.0, 200.0), ("B", "remedy in the plan", "Bellows, May", "Pilot, May"),
    ]  # fmt: skip
    assert [(one["name"], one["old"], one["new"]) for one in found["basis"]] == [
        ("budget", "100", "200"),
        ("crews", "2", None),
        ("new_one", None, "x"),
    ]
    assert [(one["name"], (one["old"] or "-")[0], one["new"][0]) for one in found["inputs"]] == [
        ("register", "1", "2"),
        ("mends", "-", "3"),
    ]
    assert [one["tag"] for one in found["valves_gone"]] == ["C"] and [one["tag"] for one in found["valves_new"]] == [
        "D"
    ]
    assert found["verdicts"] == {} and found["unchanged"] == 1  # A left the plan, B stands as it was
    assert {line["kind"] for line in changes.flat(found)} == {"plan", "choice", "input", "valve"}


def test_two_valves_of_one_tag_are_told_apart_by_their_order() -> None:
    found = compare(study(valve("A"), valve("A")), study(valve("A", verdict="watch"), valve("A", verdict="sound")))
    assert {tag: one["new"] for tag, one in found["verdicts"].items()} == {"A": "watch", "A (2)": "sound"}


def test_a_tolerance_outside_zero_to_one_is_refused() -> None:
    with pytest.raises(ValueError, match="share from 0 to 1"):
        compare(study(), study(), 1.5)


# --- Files -----------------------------------------------------------------------------------------------------------


def test_files_are_compared_line_by_line_and_by_content(tmp_path: Path) -> None:
    odd = valve('A,"rank":9', cause='says ,"rank":1 and "valves":[')
    old, new = study(odd, valve("B")), study(valve("B"), {**odd, "verdict": "sound"})  # ranks change places
    paths = [one.write_json(tmp_path / f"{name}.json") for name, one in (("old", old), ("new", new))]
    found = changes.compare_files(paths[0], paths[1])
    assert list(found["verdicts"]) == ['A,"rank":9'] and found["unchanged"] == 1
    pretty = tmp_path / "pretty.json"
    pretty.write_text(json.dumps(json.loads(paths[1].read_text(encoding="utf-8")), indent=1), encoding="utf-8")
    assert changes.compare_files(paths[0], pretty)["verdicts"] == found["verdicts"]
    assert changes.compare_files(paths[1], pretty)["same"]


@pytest.mark.parametrize(
    "content",
    ["", "{}", "[]", '{"schema":"other","valves":[\n]}', "not json", '{"schema":"quietseat-study/1","valves":3}'],
)
def test_what_is_no_study_is_refused_in_words(tmp_path: Path, content: str) -> None:
    file = tmp_path / "x.json"
    file.write_text(content, encoding="utf-8")
    with pytest.raises(InputUnusable, match="is not a study of this tool"):
        changes.compare_files(file, file)
    with pytest.raises(InputUnusable, match="cannot be read"):
        changes.compare_files(tmp_path / "none.json", file)


def test_a_real_study_against_itself_with_another_set_pressure(tmp_path: Path) -> None:
    text = (
        "Tag,Type,Designation,Inlet class,Set pressure (barg),MAWP (barg),Operating pressure (barg),Phase,Fluid,Mol wt,k,Z,Relieving temp (degC),"
        "Required rate (kg/h),Case\nPSV-1,Conventional,3L4,300,{},10,8,gas,propane,44,1.13,0.9,60,4000,blocked outlet\n"
        "PSV-2,Conventional,3L4,300,10,10,8,gas,propane,44,1.13,0.9,60,15000,blocked outlet\n"
    )
    files = []
    for name, set_pressure in (("old", "10"), ("new", "9")):
        register = tmp_path / f"{name}.csv"
        register.write_text(text.format(set_pressure), encoding="utf-8")
        files.append(
            run(register, make({"time_marching": "none", "money_draws": "50"})).write_json(tmp_path / f"{name}.json")
        )
    found = changes.compare_files(files[0], files[1])
    told = {(one["tag"], one["what"]): (one["old"], one["new"]) for one in found["numbers"]}
    assert told["PSV-1", "set pressure"] == pytest.approx((1_101_325.0, 1_001_325.0))  # 10 and 9 barg over 101 325 Pa
    assert not {tag for tag, _ in told if tag == "PSV-2"}
    assert [one["name"] for one in found["inputs"]] == ["register"]


def test_a_large_fleet_takes_seconds() -> None:
    valves = [valve(f"V{at}") for at in range(10_000)]
    old, new = study(*valves), study(*({**one, "verdict": "sound"} for one in valves))
    start = time.perf_counter()
    assert len(compare(old, new)["verdicts"]) == 10_000 and compare(old, old)["unchanged"] == 10_000
    assert time.perf_counter() - start < 20.0  # about 1 s here; the bound is for a busy machine
