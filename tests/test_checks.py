"""The packaged outside checks: none may fail, all 22 check cases are covered, and a wrong value is caught."""

from __future__ import annotations

import dataclasses
import importlib
import json
import os
from collections import Counter
from pathlib import Path

import pytest

from quietseat import tables
from quietseat.checks import Expectation, Group, load, reading, run, run_line
from quietseat.status import CalculationFailed

LINES = [(group, line) for group in load() for line in group.expect]


@pytest.mark.parametrize(("group", "line"), LINES, ids=[line.name for _, line in LINES])
def test_check(group: Group, line: Expectation) -> None:
    answer = run_line(group, line)
    if answer["result"].startswith("skipped"):
        assert not os.environ.get("CI"), f"{answer['result']}: every library must be there in continuous integration"
        pytest.skip(answer["result"])
    assert answer["result"] == "pass", (
        f"{answer['obtained']} {line.unit}, expected {answer['expected']} within {answer['tolerance']} "
        f"({line.source.short}) {answer['reason']}"
    )


def test_every_check_case_is_covered() -> None:
    assert {group.case for group in load()} - {None} == set(range(1, 23))


def test_names_are_unique() -> None:
    names = Counter((line.name, line.source.short) for _, line in LINES)
    assert [name for name, count in names.items() if count > 1] == []


def test_sources_and_marks_resolve() -> None:
    used = {line.source.id for _, line in LINES}
    assert used <= set(reading.sources())
    for _, line in LINES:
        assert line.source.title and line.page, line.name
        assert {mark.strip() for mark in line.confidence.split(",")} <= set(tables.MARKS)


def test_local_sources_are_used_and_not_doubled() -> None:
    local = set(reading.sources()) - set(tables.sources())
    assert local <= {line.source.id for _, line in LINES}
    assert len(reading.sources()) == len(tables.sources()) + len(local)


def _some(quantity: str) -> tuple[Group, Expectation]:
    return next((group, line) for group, line in LINES if line.quantity == quantity and line.call is None and group.topic == "sizing")


def test_a_wrong_expected_number_fails() -> None:
    group, line = _some("required_area")
    assert isinstance(line.expected, float) and run_line(group, line)["result"] == "pass"
    wrong = dataclasses.replace(line, expected=line.expected * 1.01)
    answer = run_line(group, wrong)
    assert answer["result"] == "fail"
    assert answer["difference"] == pytest.approx(answer["obtained"] - answer["expected"])
    assert abs(answer["difference"]) > answer["tolerance"] > 0


def test_a_wrong_expected_word_fails() -> None:
    group, line = _some("orifice")
    assert run_line(group, dataclasses.replace(line, expected="Q"))["result"] == "fail"


def test_a_calculation_that_cannot_be_made_fails_and_says_why() -> None:
    group, line = _some("required_area")
    cut = Group(group.topic, group.name, None, "size", {k: v for k, v in group.inputs.items() if k != "k"}, (line,))
    answer = run_line(cut, line)
    assert answer["result"] == "fail" and "k" in answer["reason"]
    answer = run_line(Group("", "", None, "no such", {}, (line,)), line)
    assert answer["result"] == "fail" and "no such" in answer["reason"]


def test_an_absent_library_is_a_visible_skip(monkeypatch: pytest.MonkeyPatch) -> None:
    group, line = next((group, line) for group, line in LINES if line.call is not None and line.call.library == "fluids")
    real = importlib.import_module

    def absent(name: str) -> object:
        if name.split(".")[0] == "fluids":
            raise ModuleNotFoundError("No module named 'fluids'", name="fluids")
        return real(name)

    monkeypatch.setattr(importlib, "import_module", absent)
    answer = run_line(group, line)
    assert answer["result"] == "skipped (library fluids absent)" and answer["obtained"] is None


def test_a_missing_module_of_our_own_is_no_skip(monkeypatch: pytest.MonkeyPatch) -> None:
    group, line = next((group, line) for group, line in LINES if line.call is not None and line.call.library == "fluids")

    def absent(name: str) -> object:
        raise ModuleNotFoundError("No module named 'numpy'", name="numpy")

    monkeypatch.setattr(importlib, "import_module", absent)
    with pytest.raises(ModuleNotFoundError):
        run_line(group, line)


def test_answer_has_the_keys_of_the_contract() -> None:
    answer = run("iso")
    assert {"status", "problems", "assumptions", "checks"} <= set(answer) and answer["status"] == "ok"
    assert answer["checks"] and answer["problems"] == []
    keys = {"name", "source", "page", "confidence", "expected", "tolerance", "obtained", "difference", "result"}
    for check in answer["checks"]:
        assert keys <= set(check)
        assert check["result"] == "pass"
    json.dumps(answer, allow_nan=False)
    assert run("no topic of this name")["checks"] == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ("tolerance = 0.5", "needs a tolerance"),
        ('confidence = "seen"', "not one of"),
        ('unit = "in2"', "not a known unit"),
        ("expected = 1.0", "either an expected value or a library"),
        ('quantity = "area"', "unknown key"),
    ],
)
def test_a_badly_written_check_is_refused(tmp_path: Path, change: str, words: str) -> None:
    good = (
        '[[check]]\nname = "n"\nsource = "computed"\npage = "p"\nconfidence = "seen"\ncalculate = "letter"\n'
        'inputs = {area = "1 in2"}\nexpect = [{quantity = "area", expected = 1.0, unit = "in2", tolerance = 0.5}]\n'
    )
    path = tmp_path / "trial.toml"
    path.write_text(good, encoding="utf-8")
    assert len(list(reading.read(path))) == 1
    broken = {
        "tolerance = 0.5": "tolerance = 0.0", 'confidence = "seen"': 'confidence = "sure"', 'unit = "in2"': 'unit = "perch2"',
        "expected = 1.0": 'label = "x"', 'quantity = "area"': 'quantity = "area", expects = 2',
    }[change]  # fmt: skip
    path.write_text(good.replace(change, broken), encoding="utf-8")
    with pytest.raises(ValueError, match=words):
        list(reading.read(path))


def test_texts_with_units() -> None:
    assert reading.to_si("10 barg") == pytest.approx(1101325.0)
    assert reading.to_si("1 lb/h per in2") == pytest.approx(0.45359237 / 3600 / 0.0254**2)
    assert reading.to_si("1.1") == "1.1" and reading.to_si("4P6") == "4P6" and reading.to_si(True) is True
    assert reading.from_si(1.0, "kg/m2/s") == 1.0
    assert reading.from_si(6.894757e3, "psi") == pytest.approx(1.0, rel=1e-6)


def test_a_size_case_goes_the_way_of_the_command() -> None:
    group, _ = _some("required_area")
    from quietseat.checks.calculations import size_case

    assert size_case(group.inputs)["orifice"] == "P"
    with pytest.raises(CalculationFailed):
        from quietseat.checks.calculations import class_needed

        class_needed("1.1", 300.0, 1e9)
