"""The answer of `plan`: what it reads, its words, and what it says where nothing can be done."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import pytest

from quietseat import basis as bases
from quietseat.planning import item, rank
from quietseat.planning.answer import plan_answer
from quietseat.planning.windows import money, terms
from quietseat.status import InputUnusable


def spread(value: float) -> dict[str, float]:
    return {"low": 0.8 * value, "mid": value, "high": 1.3 * value}


def cost(capital: float, upkeep: float, hours: float = 10.0, outage: float | None = None) -> dict[str, object]:
    none = spread(0.0)
    return {
        "capital": spread(capital), "work": none, "upkeep": spread(upkeep), "leakage": none, "carbon": none, "total": none,
        "currency": "USD", "outage_hours": hours if outage is None else outage, "crew_hours": hours,
    }  # fmt: skip


def remedy(name: str, clears: str, price: dict[str, object] | None) -> dict[str, object]:
    return {"name": name, "title": name.capitalize(), "clears": clears, "condition": "", "cost": price, "work": []}


def finding(code: str, severity: str) -> dict[str, object]:
    return {"code": code, "severity": severity, "outcome": "fail", "value": None, "limit": None}


def valve(tag: str, findings: list[dict[str, object]], *remedies: dict[str, object], verdict: str = "misfit") -> dict[str, object]:
    return {"tag": tag, "verdict": verdict, "findings": findings, "remedies": list(remedies), "recommended": None}


KEEP = remedy("keep", "no", cost(0, 9000, 0))
STOP, ACT = [finding("chatter", "stop")], [finding("leaks", "act")]


def study(tmp_path, *valves, changed=None):
    path = tmp_path / "study.json"
    whole = {"schema": "quietseat-study/1", "basis": {"changed": changed or {}}, "valves": list(valves)}
    path.write_text(json.dumps(whole), encoding="utf-8")
    return str(path)


def plant(tmp_path):
    """Two stop valves (4 k and 6 k), one that pays (5 k, saves 8 k), one that does not (7 k, saves nothing), one to measure."""
    return study(
        tmp_path,
        valve("S1", STOP, remedy("restricted-lift", "yes", cost(4000, 9000)), KEEP),
        valve("S2", STOP, remedy("bellows", "yes", cost(6000, 9000)), KEEP),
        valve("A1", ACT, remedy("soft-seat", "yes", cost(5000, 1000)), KEEP),
        valve("A2", ACT, remedy("soft-seat", "yes", cost(7000, 9000)), KEEP),
        valve("U1", [], remedy("measure-first", "subject-to-proof", cost(0, 0)), verdict="unproven"),
        valve("OK", [], verdict="sound"),
    )


def test_mandatory_then_what_pays(tmp_path):
    """15 k buy both stop valves and A1: value -4 - 6 + (8 - 5) = -7 k, by hand."""
    answer = plan_answer(plant(tmp_path), budget="15 kUSD", outage="12 d", crew="900 h")
    assert [one["tag"] for one in answer["chosen"]] == ["S1", "S2", "A1"]
    assert answer["value"] == pytest.approx(-7000) and answer["gap"] <= 1e-9 and answer["currency"] == "USD"
    assert answer["bound"] == pytest.approx(-7000) and answer["status"] == "ok"
    assert answer["totals"]["spent"] == 15000 and answer["totals"]["stop_findings_left"] == 0
    left = {one["tag"]: one for one in answer["left_out"]}
    assert set(left) == {"A2", "U1"} and left["U1"]["reason"] == "Measure-first"
    assert left["A2"]["counterfactual"].startswith("in only at no cost")
    assert {"tag", "remedy", "window", "why", "cost", "hours"} <= answer["chosen"][0].keys()
    assert all(one["funded"] for one in answer["interim"])  # until the window comes


def test_a_study_plans_with_the_money_of_its_basis(tmp_path):
    """15 k and 12 days of two crews in the Basis choose what the flags choose, whatever the order of the valves."""
    basis = bases.make({"budget": "15000", "outage_days": "12", "crews": "2"})
    valves = json.loads(Path(plant(tmp_path)).read_text(encoding="utf-8"))["valves"]
    items = [one for valve in valves if (one := item(valve, basis, 0.0)) is not None]
    assert len(items) == 5  # the sound valve has nothing to plan
    forward, backward = rank(items, basis), rank(items[::-1], basis)
    assert forward == backward and {one["tag"] for one in forward["chosen"]} == {"S1", "S2", "A1"}
    flags = plan_answer(plant(tmp_path), budget="15 kUSD", outage="12 d", crew="192 h")
    assert forward["value"] == flags["value"] and forward["curve"] == flags["curve"]


def test_worth_of_an_act_finding_in_the_basis(tmp_path):
    """A2 costs 7 k and saves nothing; 2 k a year for its finding over 10 years at 0 % make 20 k: it pays (by hand)."""
    basis = bases.make({"budget": "100000", "discount_rate": "0 %", "horizon_years": "10", "act_finding_cost": "2000"})
    one = item(valve("A2", ACT, remedy("soft-seat", "yes", cost(7000, 9000)), KEEP), basis, basis.act_finding_cost)
    assert one is not None
    assert rank([one], basis)["value"] == pytest.approx(20000 - 7000)


def test_value_by_hand_without_a_life_cycle():
    """Upkeep 900 before less 400 after, plus 2 stop findings of 50 a year over 10 years at 0 %, less 700 now."""
    basis = bases.make({"misfit_cost": "50", "discount_rate": "0 %", "horizon_years": "10"})
    findings = [finding("chatter", "stop"), finding("undersized", "stop"), finding("leaks", "act")]
    cheap, dear = remedy("soft-seat", "yes", cost(700, 400)), remedy("re-pipe-inlet", "subject-to-proof", cost(900, 500, 40))
    keep = remedy("keep", "no", cost(0, 900, 0))
    one = item(valve("T1", findings, cheap, remedy("bellows", "no", cost(1, 1)), dear, keep), basis, 0.0)
    assert one is not None and (one.stops, one.acts, one.severity) == (2, 1, "stop")
    assert [option.remedy for option in one.options] == ["soft-seat"]  # the other is dearer, slower and worth less
    assert rank([one], basis)["value"] == pytest.approx(900 - 400 + 2 * 50 * 10 - 700)


def test_what_is_not_funded_names_the_limit_and_the_price(tmp_path):
    """9 k buy one stop valve (S1, and A1 beside it); S2 is in at 1 k less, for 4 + 5 = 9 (by hand)."""
    answer = plan_answer(plant(tmp_path), budget="9 kUSD")
    assert [one["tag"] for one in answer["chosen"]] == ["S1", "A1"]
    (s2,) = [one for one in answer["left_out"] if one["tag"] == "S2"]
    assert s2["reason"].startswith("budget") and s2["less"] == pytest.approx(1000, abs=20)
    (measure,) = [one for one in answer["interim"] if not one["funded"]]
    assert measure["tag"] == "S2" and measure["refused_by"].startswith("budget") and measure["measures"][0]["code"] == "chatter"
    assert answer["stop_findings_need"]["spend"] == 10000  # 4 k and 6 k
    assert "S2" in answer["problems"][0]["rule"]


def test_outbid_valve_is_in_at_what_is_short(tmp_path):
    """12 k: 10 k for the stop valves leave 2 k, A1 costs 5 k: in at 3 k less (by hand)."""
    answer = plan_answer(plant(tmp_path), budget="12 kUSD")
    (a1,) = [one for one in answer["left_out"] if one["tag"] == "A1"]
    assert a1["less"] == pytest.approx(3000, abs=40) and "in at 3" in a1["counterfactual"] and "outbid" in a1["reason"]


def test_curve_and_stability(tmp_path):
    """The curve ends where every useful remedy is bought; what no draw can refuse has share 1."""
    answer = plan_answer(plant(tmp_path), budget="100 kUSD")
    assert len(answer["curve"]) == 21 and answer["curve"][0]["spent"] == 0
    assert answer["curve"][-1]["stop_findings_cured"] == 2 and answer["curve"][-1]["spent"] == 15000
    budgets = [point["budget"] for point in answer["curve"]]
    assert budgets == sorted(budgets)
    shares = {one["tag"]: one["share"] for one in answer["stability"]}
    assert shares["S1"] == shares["S2"] == shares["A1"] == 1.0 and shares["A2"] < 0.7


def test_same_inputs_same_answer(tmp_path):
    assert plan_answer(plant(tmp_path), budget="9 kUSD") == plan_answer(plant(tmp_path), budget="9 kUSD")


WINDOWS = """
now = 2027-01-01
[[window]]
name = "spring"
start = 2027-03-01
outage = "12 d"
crew = "100 h"
budget = "20 kUSD"
[[window]]
name = "autumn"
start = 2027-10-01
outage = "5 d"
crew = "40 h"
budget = "20 kUSD"
"""


def test_windows_lead_times_and_order_dates(tmp_path):
    """A bellows takes 16 weeks (table lead_times), spring is 8 weeks away: autumn, ordered by 11 June 2027."""
    file = tmp_path / "w.toml"
    file.write_text(WINDOWS, encoding="utf-8")
    answer = plan_answer(plant(tmp_path), windows=str(file))
    placed = {one["tag"]: one for one in answer["chosen"]}
    assert placed["S1"]["window"] == placed["A1"]["window"] == "spring"
    assert placed["S2"]["window"] == "autumn" and placed["S2"]["order_by"] == "2027-06-11"
    assert [one["name"] for one in answer["windows"]] == ["spring", "autumn"] and answer["budget"] == 40000


def test_act_finding_worth_brings_it_in(tmp_path):
    file = tmp_path / "w.toml"
    file.write_text(WINDOWS + '[value]\nact_finding = "1 kUSD"\n', encoding="utf-8")
    answer = plan_answer(plant(tmp_path), windows=str(file))
    assert "A2" in {one["tag"] for one in answer["chosen"]}  # 1 k a year for 15 years at 9 % is worth 8.06 k, more than 7 k


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"budget": "0 USD"}, "ruled out by budget"),
        ({"outage": "0 d", "crew": "100 h"}, "ruled out by outage"),
        ({"crew": "0 h"}, "ruled out by crew hours"),
    ],
)
def test_nothing_to_work_with_ends_in_words(tmp_path, given, words):
    answer = plan_answer(plant(tmp_path), **given)
    assert answer["chosen"] == [] and answer["status"] == "ok" and answer["value"] == 0
    assert words in answer["words"] and len([one for one in answer["interim"] if not one["funded"]]) == 2
    assert all(one["reason"] for one in answer["left_out"])


def test_nothing_to_plan_ends_in_words(tmp_path):
    assert plan_answer(study(tmp_path, valve("OK", [], verdict="sound")))["words"].startswith("Nothing to plan")
    lone = plan_answer(study(tmp_path, valve("S", STOP, remedy("bellows", "no", None), KEEP)))
    assert lone["words"].startswith("Nothing to plan") and lone["interim"][0]["tag"] == "S" and lone["gap"] == 0


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"budget": "500 kSEK"}, "the study counts in USD"),
        ({"budget": "-5 kUSD"}, "is negative"),
        ({"budget": "much"}, "not an amount of money"),
        ({"outage": "-3 d"}, "is negative"),
        ({"outage": "12"}, "'12 d'"),
        ({"crew": "12 kg"}, "'900 h'"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(tmp_path, given, words):
    with pytest.raises(InputUnusable, match=words):
        plan_answer(plant(tmp_path), **given)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[window]]\nnmae = "x"\nstart = 2027-01-01\nbudget = "5 USD"\n', "nearest known key is 'name'"),
        ('[[window]]\nstart = "soon"\nbudget = "5 USD"\n', "window 1.start = 'soon' is not a date"),
        ('[[window]]\nbudget = "5 USD"\n', "window 1.start is missing"),
        ("[[window]]\nstart = 2027-02-01\n", "no budget limits every window"),
        ('now = 2027-01-01\n[[window]]\nstart = 2026-02-01\nbudget = "5 USD"\n', "lies before now"),
        ('[[window]]\nstart = 2099-02-01\nbudget = "5 USD"\ncrew = 5\n', "window 1.crew = 5 needs a unit"),
        ('budget = "5 USD"\n[[window]]\nstart = 2099-02-01\nhours_per_day = "25 h"\n', "hours_per_day"),
        ('budget = "5 USD"\n[[window]]\nname = "a"\nstart = 2099-02-01\n[[window]]\nname = "a"\nstart = 2099-03-01\n', "stands twice"),
        ('[years]\n2098 = "5 USD"\n[[window]]\nstart = 2099-02-01\n', "no window starts in this year"),
        ("window = 3\n", "written as"),
        ("[value]\nact_fnding = 3\n", "nearest known key is 'act_finding'"),
        ("budget = \n", "is not TOML"),
    ],
)
def test_windows_file_is_refused_by_key(tmp_path, text, words):
    file = tmp_path / "w.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputUnusable, match=words):
        plan_answer(plant(tmp_path), windows=str(file))


@pytest.mark.parametrize("text", ["{}", "[]", "not json", '{"schema": "quietseat-study/1", "basis": {"changed": {}}, "valves": [3]}'])
def test_a_file_that_is_no_study_is_refused(tmp_path, text):
    file = tmp_path / "x.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputUnusable):
        plan_answer(str(file))


@pytest.mark.parametrize(
    ("text", "amount"),
    [("500 kUSD", 5e5), ("0.5 MUSD", 5e5), ("$500k", 5e5), ("USD 500 k", 5e5), ("500 000", 5e5), ("1200 USD", 1200), (7, 7)],
)
def test_money_as_people_write_it(text, amount):
    assert money(text, "USD") == pytest.approx(amount)


def test_absent_terms_come_from_the_basis():
    """12 days x 2 crews x 10 h = 240 h and 250,000 USD: the defaults of choices.csv."""
    found = terms(bases.make({}), budget=None, outage=None, crew=None, windows=None, today=date(2027, 1, 1))
    assert (found.budget, found.windows[0].outage, found.windows[0].crew) == (250000, 12, 240)


def test_life_cycle_of_the_study_is_used(tmp_path):
    """Where the study has a life-cycle cost, the value of the plan is its net present value (12 k stated)."""
    one = remedy("soft-seat", "yes", cost(5000, 1000))
    one["life_cycle"] = {"npv": {"mid": 12000.0, "mean": 12000.0, "p10": 2000.0, "p50": 12000.0, "p90": 20000.0}}
    answer = plan_answer(study(tmp_path, valve("A", ACT, one, KEEP)), budget="9 kUSD")
    assert answer["value"] == pytest.approx(12000)


def test_another_currency_is_turned_over_and_the_answer_says_so(tmp_path):
    """1 EUR = 1.13 USD: the row of the table exchange_rates, from memory."""
    answer = plan_answer(study(tmp_path, valve("S", STOP, remedy("bellows", "yes", cost(1000, 0, 0)), KEEP)), budget="500 kEUR")
    assert answer["budget"] == pytest.approx(565e3)
    assert any(one["value"] == "1 EUR = 1.13 USD" for one in answer["assumptions"])
