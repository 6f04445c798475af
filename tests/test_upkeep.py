"""What a study says of reliability: Weibull and Bayes by hand, words where a pilot is worse and where it is better, one home with the money."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from valves_sample import ATM, BAR, BASIS, SOUND, bent

from quietseat.assess import assess
from quietseat.basis import make
from quietseat.lifecycle import Pricing
from quietseat.model import Assessment, Cost, Event, Location, Remedy, Spread
from quietseat.remedies import propose
from quietseat.upkeep import reliability_of

CLEAN = dict.fromkeys(("fouling", "polymerising", "corrosive", "hydrates", "viscous"), False)
FOUND = Assessment("PSV-1", "watch")
NOTHING = Spread(0.0, 0.0, 0.0)
PRICED = Cost(NOTHING, NOTHING, NOTHING, NOTHING, NOTHING, NOTHING, "USD")


def failed(eta: float, beta: float, time: float) -> float:
    """Weibull: 1 - exp(-(t/eta)^beta)."""
    return 1 - math.exp(-((time / eta) ** beta))


def told(
    place: Location = SOUND, remedies: tuple[Remedy, ...] = (), recommended: str | None = None, **choices: str
) -> dict[str, Any]:
    return reliability_of(place, FOUND, remedies, make(choices), recommended)


def mode(found: dict[str, Any], name: str) -> dict[str, Any]:
    return next(one for one in found["modes"] if one["mode"] == name)


def change(found: dict[str, Any], kind: int, name: str) -> dict[str, Any]:
    return next(one for one in found["compared"][kind]["changes"] if one["mode"] == name)


def remedy(
    place: Location, name: str = "pilot-snap-integral", clears: str = "yes", cost: Cost | None = PRICED
) -> Remedy:
    return Remedy(name, "Snap pilot in the same place", place, clears, cost=cost)


# -- the valve as it stands ------------------------------------------------------------------------------------


def test_a_valve_without_history_is_as_the_table_says() -> None:
    """Conventional, moderate, 5 years: eta 23.9 and beta 1.8 not open, 15.5 and 1.6 leak (table); by hand 5.81 % and 15.1 %."""
    found = told()
    assert (found["status"], found["kind"], found["severity"]) == ("ok", "conventional", "moderate")
    assert (found["interval_years"], found["interval_from"]) == (5.0, "Basis")
    opening, leaking = mode(found, "open"), mode(found, "leak")
    assert opening["probability"] == pytest.approx(0.0581, abs=5e-5) and leaking["probability"] == pytest.approx(
        0.151, abs=5e-4
    )
    assert opening["probability"] == opening["probability_before"] and opening["factor"] == 1.0
    assert opening["probability_low"] < opening["probability"] < opening["probability_high"]
    assert opening["confidence"] == "memory-md" and found["advice"]["confidence"] == "memory-md"


def test_the_interval_of_the_target_by_hand() -> None:
    """t = eta (-ln(1 - P))^(1/beta) = 23.9 x 0.0512933^(1/1.8) = 4.589 years."""
    advice = told()["advice"]
    assert advice["keeps_years"] == pytest.approx(23.9 * 0.0512933**0.5555556, rel=1e-5) and advice["target"] == 0.05
    assert [advice["curve"][0]["interval_years"], advice["curve"][-1]["interval_years"]] == [0.5, 10.0]
    assert advice["curve"][-1]["open"] == pytest.approx(failed(23.9, 1.8, 10.0), rel=1e-9)
    assert advice["cheapest"] is None and "failed_demand_cost" in advice["why_no_cheapest"]


def test_two_pops_that_passed_by_hand() -> None:
    """Gamma (2, 2) with two exposures (t/23.9)^1.8: 5 years assumed before the first date, then 1826 days. Mean factor 2/rate."""
    events = tuple(Event("pop", date, ATM + 10 * BAR) for date in ("2015-01-01", "2020-01-01"))
    opening = mode(told(bent(events=events)), "open")
    rate = 2 + (5 / 23.9) ** 1.8 + (1826 / 365.25 / 23.9) ** 1.8
    assert (opening["looks"], opening["failures"], opening["assumed"]) == (2, 0, 1)
    assert opening["factor"] == pytest.approx(2 / rate, rel=1e-6)
    assert opening["eta_years"] == pytest.approx(23.9 * (rate / 2) ** (1 / 1.8), rel=1e-6)
    assert opening["probability"] == pytest.approx(1 - math.exp(-2 / rate * (5 / 23.9) ** 1.8), rel=1e-6)
    assert opening["probability"] < opening["probability_before"] == pytest.approx(failed(23.9, 1.8, 5.0), rel=1e-9)


def test_a_stuck_valve_is_worse_than_the_table() -> None:
    found = told(bent(events=(Event("stuck", "2020-01-01"),)))
    opening, leaking = mode(found, "open"), mode(found, "leak")
    assert opening["failures"] == 1 and opening["factor"] > 1 and opening["probability"] > opening["probability_before"]
    assert leaking["looks"] == 0 and leaking["silent"] == 1 and leaking["factor"] == 1.0


def test_an_interval_of_the_register_is_named() -> None:
    found = told(bent(events=(Event("other", note="interval", value=3.0),)))
    assert (found["interval_years"], found["interval_from"], found["money_interval_years"]) == (3.0, "register", 5.0)
    assert mode(found, "open")["probability"] == pytest.approx(failed(23.9, 1.8, 3.0), rel=1e-9)
    same = told(bent(events=(Event("other", note="interval", value=5.0),)))
    assert (same["interval_years"], same["interval_from"]) == (5.0, "register")


def test_severe_service_says_why() -> None:
    found = told(bent(service={"fouling": True}))
    assert found["severity"] == "severe" and "fouling" in found["why"]
    assert mode(found, "open")["eta_by_table_years"] == 17.6  # table


# -- kinds compared --------------------------------------------------------------------------------------------


def test_a_pilot_is_always_compared_and_is_worse_at_opening() -> None:
    """Moderate, 5 years: pilot eta 8.0, 34.9 % against 5.81 %; the same risk at 8.0 x 5/23.9 = 1.67 years. Leaks as the spring valve."""
    found = told()
    assert [kind["kind"] for kind in found["compared"]] == ["pilot"] and found["compared"][0]["remedies"] == []
    opening = change(found, 0, "open")
    assert (opening["verdict"], opening["new"]) == ("worse", pytest.approx(failed(8.0, 1.8, 5.0), rel=1e-9))
    assert opening["same_risk_years"] == pytest.approx(8.0 * 5 / 23.9, rel=1e-9)
    assert change(found, 0, "leak")["verdict"] == "alike"
    (words,) = found["less_reliable"]
    for part in (
        "pilot",
        "present conventional valve",
        "35 % not to open on demand within 5 years against 5.8 %",
        "less reliable",
        "1.7 years",
    ):
        assert part in words


def test_a_pilot_that_cures_chatter_is_better_in_clean_service() -> None:
    """Mild, chatter: 50.5 x 0.5 = 25.25 against 33.7 years not open, 17.5 x 0.5 = 8.75 against 17.5 leak: nothing is less reliable."""
    place = bent(service=CLEAN, events=(Event("chatter", "2020-01-01"),))
    cured = bent(service=CLEAN, valve={"kind": "pilot"})
    found = told(place, (remedy(cured),), "pilot-snap-integral")
    assert found["modifiers"] == ["chatter"] and found["severity"] == "mild"
    (kind,) = found["compared"]
    assert kind["recommended"] and kind["cured"] == ["chatter"] and kind["remedies"] == ["pilot-snap-integral"]
    opening, leaking = change(found, 0, "open"), change(found, 0, "leak")
    assert (opening["present"], opening["new"]) == pytest.approx(
        (failed(25.25, 1.8, 5.0), failed(33.7, 1.8, 5.0)), rel=1e-9
    )
    assert (leaking["present"], leaking["new"]) == pytest.approx(
        (failed(8.75, 1.6, 5.0), failed(17.5, 1.6, 5.0)), rel=1e-9
    )
    assert opening["verdict"] == leaking["verdict"] == "better" and found["less_reliable"] == []
    assert "the recommended remedy (a pilot)" in opening["words"] and "more reliable" in opening["words"]


def test_a_pilot_where_nothing_is_cured_keeps_the_chatter() -> None:
    place = bent(service=CLEAN, events=(Event("chatter", "2020-01-01"),))
    assert change(told(place), 0, "open")["new"] == pytest.approx(failed(33.7 / 2, 1.8, 5.0), rel=1e-9)


def test_only_remedies_that_clear_and_have_a_price_are_compared() -> None:
    pilot, bellows = bent(valve={"kind": "pilot"}), bent(valve={"kind": "bellows"})
    found = told(
        SOUND,
        (
            remedy(bellows, "bellows", "no"),
            remedy(bellows, "ruled-out", cost=None),
            remedy(SOUND, "keep"),
            remedy(pilot),
        ),
    )
    assert [(kind["kind"], kind["remedies"]) for kind in found["compared"]] == [("pilot", ["pilot-snap-integral"])]
    assert (
        len(told(SOUND, (remedy(bellows, "a"), remedy(bellows, "b"), remedy(pilot)))["compared"]) == 2
    )  # one life, one line


def test_a_difference_of_history_alone_is_no_difference_of_kinds() -> None:
    passed = tuple(Event("pop", f"{year}-01-01", ATM + 10 * BAR) for year in range(1990, 2021, 5))
    found = told(bent(events=passed), (remedy(SOUND, "re-pipe-inlet"),), "re-pipe-inlet")
    opening = change(found, 0, "open")
    assert opening["same_by_table"] and opening["new"] > opening["present"]
    assert all("the recommended remedy" not in words for words in found["less_reliable"])


def test_a_pilot_that_stands_there_is_compared_with_what_clears() -> None:
    found = told(bent(valve={"kind": "pilot"}), (remedy(SOUND, "smaller-orifice"),), "smaller-orifice")
    assert [kind["kind"] for kind in found["compared"]] == ["conventional"]
    assert change(found, 0, "open")["verdict"] == "better"


# -- the money, and what cannot be had -------------------------------------------------------------------------


def keeping(place: Location, **choices: str) -> tuple[dict[str, Any], Any]:
    basis = make({"failed_demand_cost": "1000000", "money_draws": "200"} | choices)
    found = assess(place, basis, record=False)
    remedies = propose(place, found, basis)
    return reliability_of(place, found, remedies, basis), Pricing(place, found, remedies, basis).state("keep")


@pytest.mark.parametrize("events", [(), (Event("stuck", "2020-01-01"),), (Event("other", note="interval", value=2.0),)])
def test_the_money_reckons_with_the_same_probability(events: tuple[Event, ...]) -> None:
    told_here, state = keeping(bent(events=events))
    line = next(line for line in state.lines if line.part == "failed-demands")
    assert f"; {mode(told_here, 'open')['share_failed_in_money']:.3g} of demands not opened" in line.source


def test_the_cheapest_interval_rests_on_the_prices_of_the_money() -> None:
    """3L4: shop test 2250, field removal 10 h (tables, middle) at the Basis's rate of 95; a demand in ten years at 1e6."""
    found, _ = keeping(SOUND)
    costs, best = found["advice"]["costs"], found["advice"]["cheapest"]
    assert costs["overhaul"] == pytest.approx(2250 + 10 * BASIS.labour_rate) and BASIS.labour_rate == 95
    assert (costs["demand_damage"], costs["demands"]) == (1e6, 0.1) and costs["leak_repair"] >= costs["overhaul"]
    assert best["cost_a_year"] <= min(point["cost_a_year"] for point in found["advice"]["curve"])
    assert found["advice"]["why_no_cheapest"] == ""


def test_no_service_inside_the_horizon_prices_none() -> None:
    found, _ = keeping(SOUND, horizon_years="3")
    assert found["advice"]["cheapest"] is None and "inside the horizon" in found["advice"]["why_no_cheapest"]


def test_what_cannot_be_worked_out_is_a_status() -> None:
    found = told(replace(SOUND, valve=replace(SOUND.valve, kind="rupture pin")))
    assert found["status"] == "not-computed" and "kind of valve rupture pin" in found["reason"]
    assert told(open_target="0 %")["status"] == "out-of-range"


@pytest.mark.parametrize("events", [(), (Event("stuck", "2020-01-01"), Event("leak", "2020-01-01", 5e4))])
def test_the_answer_is_plain_data_without_nan(events: tuple[Event, ...]) -> None:
    found = told(bent(events=events, service={"fouling": True}))
    assert json.loads(json.dumps(found, allow_nan=False)) == found
