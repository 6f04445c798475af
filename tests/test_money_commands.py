"""The commands leak, cost, plan and ask from the command line: their JSON keys, their words, their refusals."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from quietseat import demo, study
from quietseat.basis import load, make
from quietseat.cli import app
from quietseat.status import InputUnusable

RUN = CliRunner()
VALVE = str(Path(__file__).parent.parent / "examples" / "valve.toml")


def answer(*words: str) -> Any:
    done = RUN.invoke(app, [*words, "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert found["status"] == "ok" and isinstance(found["problems"], list) and isinstance(found["assumptions"], list)
    return found


def said(*words: str) -> str:
    done = RUN.invoke(app, [*words], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The demo's study in closed form with few draws of money."""
    folder = tmp_path_factory.mktemp("study")
    register, mends, choices = demo.copy(folder)
    basis = make({**load(choices).changed(), "time_marching": "none", "money_draws": 200})
    return str(study.run(register, basis, mends, workers=1).write_json(folder / "study.json"))


def test_leak_lists_all_bases_and_one_applies() -> None:
    found = answer("leak", VALVE)
    assert [one["basis"] for one in found["bases"]] == ["in-spec", "average", "screening", "leaker", "population", "measured", "gap"]
    assert sum(one["applies"] for one in found["bases"]) == 1
    for one in found["bases"]:
        assert {"source", "year", "low_kg_s", "mid_kg_s", "high_kg_s", "applies", "why"} <= one.keys()
    assert set(found["co2e_kg_a"]) == {"low", "mid", "high", "basis"} and found["route"]
    assert "* = applies" in said("leak", VALVE)


def test_cost_adds_up_and_says_whether_it_pays() -> None:
    found = answer("cost", VALVE, "--remedy", "keep")
    assert found["total"]["mid"] == pytest.approx(sum(part["present_value"]["mid"] for part in found["parts"]), abs=0.005)
    assert {"p10", "p50", "p90"} <= found["npv"].keys() and {"p10", "p50", "p90"} <= found["total"].keys()
    words = said("cost", VALVE, "--remedy", "keep")
    assert "total, middle values" in words and "% of 10000 draws" in words.replace("\n  ", " ")
    with pytest.raises(InputUnusable, match=r"no remedy of valve\.toml has this name"):
        RUN.invoke(app, ["cost", VALVE, "--remedy", "magic"], catch_exceptions=False)


def test_plan_keeps_to_the_budget_and_says_why(saved: str) -> None:
    found = answer("plan", saved, "--budget", "500 kEUR", "--outage", "12 d", "--crew", "900 h")
    assert {"chosen", "value", "bound", "gap", "currency"} <= found.keys()
    assert found["chosen"] and all({"tag", "remedy", "window", "why"} <= one.keys() for one in found["chosen"])
    assert found["totals"]["spent"] <= found["budget"] and found["gap"] <= 1e-3
    assert any(one["field"] == "exchange rate" for one in found["assumptions"])
    small = answer("plan", saved, "--budget", "50 kUSD")
    assert small["totals"]["spent"] <= 50e3 and len(small["chosen"]) < len(found["chosen"])
    assert "Left out" in said("plan", saved, "--budget", "50 kUSD")
    assert "Nothing is chosen" in said("plan", saved, "--budget", "0 USD")


def test_ask_ranks_questions_and_writes_the_forms(saved: str, tmp_path: Path) -> None:
    found = answer("ask", saved, "--out", str(tmp_path / "forms"))
    questions = found["questions"]
    assert questions and all({"tag", "field", "where", "who", "hours", "value", "reason"} <= one.keys() for one in questions)
    valued = [one["per_hour"] for one in questions if one["value"] is not None]
    assert valued == sorted(valued, reverse=True) and valued[0] > 0
    assert {Path(path).name for path in found["files"]} == {"walk-down.html", "walk-down.pdf", "walk-down.xlsx", "mends-form.csv"}
    assert all(Path(path).stat().st_size > 0 for path in found["files"])
    assert "Who walks where" in said("ask", saved, "--out", str(tmp_path / "forms"))


def test_a_blank_form_changes_nothing_and_a_filled_one_is_applied(saved: str, tmp_path: Path) -> None:
    from quietseat.register import read

    answer("ask", saved, "--out", str(tmp_path))
    form, register = tmp_path / "mends-form.csv", str(Path(saved).parent / "register.xlsx")
    blank = read(register, make(), str(form))
    plain = read(register, make(), None)
    assert [place.inlet for place in blank.locations] == [place.inlet for place in plain.locations]
    lines = form.read_text(encoding="utf-8").splitlines()
    spot = next(number for number, line in enumerate(lines) if ",inlet.length,,,," in line or ",inlet_length,,,," in line)
    lines[spot] = lines[spot].replace(",,,,", ",3.2 m,A. Walker,2026-11-20,", 1)
    form.write_text("\n".join(lines) + "\n", encoding="utf-8")
    filled = read(register, make(), str(form))
    changed = [place.inlet.length for place, old in zip(filled.locations, plain.locations) if place.inlet.length != old.inlet.length]
    assert changed == [pytest.approx(3.2)]


@pytest.mark.parametrize("command", ["plan", "ask"])
def test_a_file_that_is_no_study_is_refused_in_words(command: str, tmp_path: Path) -> None:
    other = tmp_path / "other.json"
    other.write_text("{}", encoding="utf-8")
    with pytest.raises(InputUnusable, match="not a study"):
        RUN.invoke(app, [command, str(other)], catch_exceptions=False)
