"""The answer of `cost`: keys, names that are unknown or ruled out, choices that cannot be used, and its cost in time."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from quietseat.assess import assess
from quietseat.casefile import read_valve
from quietseat.cost import account, cost_answer
from quietseat.lifecycle import PARTS
from quietseat.remedies import propose
from quietseat.status import InputUnusable

EXAMPLE = (Path(__file__).parent.parent / "examples" / "valve.toml").read_text(encoding="utf-8")
PILOT = "pilot-modulating-remote-non-bleeding-pilot-body"
KEYS = {
    "status", "problems", "assumptions", "steps", "tag", "remedy", "title", "clears", "currency", "cost_year", "horizon_years",
    "discount_rate", "parts", "npv", "total", "probability_pays", "break_even_leak_kg_s", "break_even_operating_gain", "tornado",
    "draws", "seed",
}  # fmt: skip


def case(tmp_path: Path, extra: str = "", **choices: str) -> str:
    path = tmp_path / "valve.toml"
    given = {"time_marching": "none", "money_draws": "400"} | choices
    basis = "[basis]\n" + "".join(f'{name} = "{value}"\n' for name, value in given.items())
    path.write_text(basis + EXAMPLE + extra, encoding="utf-8")
    return str(path)


def test_the_answer_holds_its_keys_and_is_plain(tmp_path: Path) -> None:
    answer = cost_answer(case(tmp_path), PILOT)
    assert set(answer) >= KEYS and answer["status"] == "ok"
    json.dumps(answer, allow_nan=False)
    assert [part["name"] for part in answer["parts"]] == list(PARTS)
    assert answer["years"] == list(range(16)) and all(len(part["yearly"]) == 16 for part in answer["parts"])
    assert set(answer["npv"]) == {"mid", "mean", "p10", "p50", "p90"} and answer["npv"]["p10"] <= answer["npv"]["p90"]
    assert {"p10", "p50", "p90"} <= set(answer["total"])
    assert (answer["currency"], answer["cost_year"], answer["draws"], answer["seed"]) == ("USD", 2025, 400, 20261125)
    assert 0.0 <= answer["probability_pays"] <= 1.0 and answer["tornado"] and "real" in answer["amounts"]


@pytest.mark.parametrize("remedy", [PILOT, "keep"])
def test_printed_parts_add_up_to_the_printed_total(tmp_path: Path, remedy: str) -> None:
    answer = cost_answer(case(tmp_path, carbon_price="80"), remedy)
    for end in ("low", "mid", "high"):
        assert round(100 * answer["total"][end]) == sum(round(100 * part["present_value"][end]) for part in answer["parts"])
    assert answer["npv"]["mid"] == pytest.approx(answer["keep_total"]["mid"] - answer["total"]["mid"], abs=1e-6)


def test_every_part_says_where_it_is_from_or_why_it_is_nothing(tmp_path: Path) -> None:
    answer = cost_answer(case(tmp_path), PILOT)
    for part in answer["parts"] + answer["keep_parts"]:
        assert part["source"] or part["why_nothing"], part["name"]


def test_steps_give_the_npv(tmp_path: Path) -> None:
    answer = cost_answer(case(tmp_path), PILOT)
    assert answer["steps"][-1]["symbol"] == "NPV" and answer["steps"][-1]["value"] == pytest.approx(answer["npv"]["mid"])


def test_an_unknown_remedy_lists_the_names(tmp_path: Path) -> None:
    with pytest.raises(InputUnusable) as told:
        cost_answer(case(tmp_path), "new-pump")
    assert "--remedy new-pump" in str(told.value) and PILOT in str(told.value) and "keep" in str(told.value)
    assert "ruled out here are" in str(told.value)


def test_a_remedy_that_is_ruled_out_has_a_status_and_its_reason(tmp_path: Path) -> None:
    answer = cost_answer(case(tmp_path), "smaller-orifice")
    assert answer["status"] == "not-computed" and set(answer) >= KEYS and answer["npv"] is None
    assert "smaller-orifice has no price here" in answer["problems"][0]["rule"] and PILOT in answer["problems"][0]["mend"]


@pytest.mark.parametrize(
    ("choices", "words"),
    [
        ({"discount_rate": "-3 %"}, "discount_rate = '-3 %': must not be negative"),
        ({"labour_rate": "-95"}, "labour_rate = '-95': must not be negative"),
        ({"horizon_years": "0"}, "horizon_years = '0': must be 1 to 100"),
        ({"horizon_years": "7.5"}, "whole number of years"),
        ({"money_draws": "0"}, "money_draws = '0': must be 1 to"),
        ({"price_tables": "nowhere"}, "is not a folder"),
        ({"operating_constraint": "pump"}, "must be one of not stated, relief valve, other"),
    ],
)
def test_choices_that_cannot_be_used_are_named(tmp_path: Path, choices: dict[str, str], words: str) -> None:
    with pytest.raises(InputUnusable) as told:
        cost_answer(case(tmp_path, **choices), "keep")
    assert words in str(told.value)


def test_an_empty_history_is_said_by_what_is_used_instead(tmp_path: Path) -> None:
    notes = cost_answer(case(tmp_path), "keep")["notes"]
    assert any("seats that begin to leak" in note and "default of API RP 581" in note for note in notes)


def test_a_currency_without_a_factor_is_an_assumption(tmp_path: Path) -> None:
    said = [a["value"] for a in cost_answer(case(tmp_path, currency="EUR"), "keep")["assumptions"]]
    assert "1 USD = 1 EUR" in said
    assert "1 USD = 1 EUR" not in [a["value"] for a in cost_answer(case(tmp_path, currency="EUR", price_factor="0.92"), "keep")["assumptions"]]


def test_own_prices_reach_the_answer(tmp_path: Path) -> None:
    """A service of 100 a time in place of 2250: five-yearly, 100 + 10 h x 95 = 1050."""
    folder = tmp_path / "prices"
    folder.mkdir()
    (folder / "maintenance_costs.csv").write_text("item,size_up_to,low,mid,high\nshop-test,4,100,100,100\n", encoding="utf-8")
    answer = cost_answer(case(tmp_path, price_tables=str(folder)), "keep")
    upkeep = next(part for part in answer["parts"] if part["name"] == "upkeep")
    assert upkeep["yearly"][5] == 1050.0 and "maintenance_costs.csv line 2" in upkeep["source"]


def test_summaries_of_a_study_are_small_and_plain(tmp_path: Path) -> None:
    read = read_valve(case(tmp_path))
    found = assess(read.location, read.basis, record=False)
    told = account(read.location, found, propose(read.location, found, read.basis), read.basis, in_full=False).summaries
    assert {"keep", PILOT} <= set(told)
    assert len(told[PILOT]["tornado"]) == 5 and len(json.dumps(told[PILOT])) < 4000
    answer = cost_answer(case(tmp_path), PILOT)
    assert told[PILOT]["npv"] == pytest.approx(answer["npv"]) and told[PILOT]["total"] == pytest.approx(answer["total"])


def test_a_part_that_cannot_be_worked_out_is_a_problem_not_a_silent_nothing(tmp_path: Path) -> None:
    path = tmp_path / "bare.toml"
    path.write_text('[valve]\ntag = "A"\n[basis]\nmoney_draws = "200"\n', encoding="utf-8")
    answer = cost_answer(str(path), "keep")
    missing = {problem["field"] for problem in answer["problems"]}
    assert {"parts.product", "parts.carbon", "parts.releases"} <= missing
