"""One valve changed and judged again. Expected values are ratios worked by hand, or what the parts say of a Location changed by hand."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from valves_sample import ATM, BAR, BASIS, SOUND, bent

from quietseat.assess import assess
from quietseat.basis import make
from quietseat.model import Origin, Problem
from quietseat.register import jobs_of, read
from quietseat.remedies import propose, recommended
from quietseat.status import InputUnusable
from quietseat.what_if import MONEY_DRAWS, as_it_is, changed_location, mends, read_changes, stated, what_if

NONE = make({"time_marching": "none"})


def ask(changes: dict[str, Any], place: Any = SOUND, problems: tuple[Problem, ...] = (), **more: Any) -> dict[str, Any]:
    return what_if(place, problems, NONE, changes, **more)


def codes(found: list[dict[str, Any]], outcome: str = "fail") -> set[str]:
    return {one["code"] for one in found if one["outcome"] == outcome}


def test_lower_set_pressure_stands_too_close_to_operating() -> None:
    # 8 bar operating over 8.2 bar set = 0.97561
    answer = ask({"valve.set_pressure": "8.2 barg"})
    assert "close-to-set" in codes(answer["new"])
    value = next(one["value"] for one in answer["new"] if one["code"] == "close-to-set" and one["unit"] != "Pa(a)")
    assert value == pytest.approx(8.0 / 8.2, rel=1e-9)
    assert answer["after"]["verdict"] == "misfit" and "close-to-set" not in codes(answer["before"]["findings"])
    assert [one["text"] for one in answer["changes"]] == ["8.2 barg"] and answer["changes"][0]["before"] == "10 barg"
    rung = {one["name"]: one["pressure_pa"] for one in answer["after"]["ladder"]}
    assert rung["set"] == pytest.approx(ATM + 8.2 * BAR)


def test_half_the_rate_halves_the_use_and_leaves_the_location_alone() -> None:
    kept = replace(SOUND)
    answer = ask({"cases.0.flow": 2.25})  # of 4.5 kg/s
    before, after = (answer[side]["cases"][0] for side in ("before", "after"))
    assert after["utilisation"] == pytest.approx(before["utilisation"] / 2, rel=1e-9)
    assert after["required_area_m2"] == pytest.approx(before["required_area_m2"] / 2, rel=1e-9)
    assert kept == SOUND


def test_text_with_a_unit_and_si_are_the_same() -> None:
    text = ask({"inlet.length": "10 ft", "cases.0.flow": "8100 kg/h"})
    number = ask({"inlet.length": 10 * 0.3048, "cases.0.flow": 8100 / 3600})  # 1 ft = 0.3048 m exactly
    assert (
        text["after"]["cases"] == number["after"]["cases"]
        and text["after"]["stability"] == number["after"]["stability"]
    )


def test_it_says_what_assess_and_propose_say_of_the_same_location_changed_by_hand() -> None:
    answer = ask({"vessel.operating_pressure": "9.6 barg"})
    place = bent(vessel={"operating_pressure": ATM + 9.6 * BAR})
    place = replace(place, origins={"vessel.operating_pressure": Origin("proposed", "what-if", "9.6 barg", "what-if")})
    found = assess(place, NONE)
    best = recommended(propose(place, found, NONE))
    assert answer["after"]["verdict"] == found.verdict and answer["after"]["reasons"] == list(found.reasons)
    assert best is not None and answer["after"]["recommended"]["name"] == best.name
    assert answer["after"]["recommended"]["life_cycle"]["npv"]["mid"] is not None
    assert answer["after"]["keep"]["total"]["mid"] > 0


def test_a_pilot_brings_its_own_hardware_and_leaves_the_stamps_of_the_old_valve() -> None:
    place = bent(valve={"cdtp": ATM + 9 * BAR, "rated_coefficient": 0.878, "actual_area": 2e-3})
    answer = ask({"valve.kind": "pilot", "valve.pilot_action": "modulating"}, place)
    changes = {one["field"]: one for one in answer["changes"]}
    assert changes["valve.seat"]["text"] == "soft" and changes["valve.pilot_sense"]["text"] == "integral"
    assert {name for name, one in changes.items() if one["cleared"]} == {
        "valve.cdtp",
        "valve.rated_coefficient",
        "valve.actual_area",
    }
    new = changed_location(place, read_changes(place, NONE, {"valve.kind": "pilot"}))
    assert (new.valve.kind, new.valve.pilot_bleed, new.valve.cdtp) == ("pilot", "non-bleeding", None)
    assert new.valve.blowdown == NONE.default_blowdown_snap
    back = changed_location(new, read_changes(new, NONE, {"valve.kind": "conventional"}))
    assert (back.valve.kind, back.valve.pilot_action, back.valve.blowdown) == ("conventional", None, None)


def test_a_new_set_pressure_drops_the_old_test_pressure() -> None:
    place = bent(valve={"cdtp": ATM + 10 * BAR})
    made = read_changes(place, NONE, {"valve.set_pressure": "9 barg"})
    assert [(one.field, one.cleared) for one in made] == [("valve.set_pressure", False), ("valve.cdtp", True)]


def test_a_problem_of_the_changed_field_falls_away() -> None:
    problem = Problem(
        "check: designation says 3L4, the orifice column says M", "read the nameplate", field="valve.set_pressure"
    )
    answer = ask({"valve.set_pressure": "10.5 barg"}, problems=(problem,))
    assert "data" in {one["code"] for one in answer["gone"]}
    assert "data" not in {one["code"] for one in ask({"inlet.length": "0.4 m"}, problems=(problem,))["gone"]}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"valve.set_pressure": "banana"}, "Set pressure = "), ({"valve.set_pressure": "12"}, "Set pressure = "),
        ({"valve.set_pressure": "-0.5 barg"}, "atmospheric"), ({"inlet.length": "-1 m"}, "above zero"), ({"valve.kind": "gate"}, "conventional"),
        ({"valve.no_such": "1"}, "cannot change"), ({"cases.7.flow": "1 kg/s"}, "cannot change"), ({"valve.blowdown": "7"}, "100 %"), ({"inlet.length": -1.0}, "above zero"), ({"valve.kind": 3}, "Kind = "),
        ({"valve.set_pressure": float("nan")}, "finite"), ({"valve.designation": "3L4"}, "cannot change"), ({"history.events": "x"}, "cannot change"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_refused_by_name(changes: dict[str, Any], said: str) -> None:
    with pytest.raises(InputUnusable, match=said):
        ask(changes)


def test_messages_name_fields_as_the_form_does_with_a_unit_fit_for_them() -> None:
    with pytest.raises(InputUnusable) as told:
        ask({"inlet.length": "2", "cases.0.flow": "lots", "valve.set_pressure": "9"})
    said = str(told.value)
    assert "Inlet length = '2'" in said and "'2 m'" in said and "Required rate, " in said and "12.5 kg/h" in said and "Set pressure = '9'" in said
    assert "inlet.length" not in said and "cases.0" not in said and "mm'" not in said


def test_a_side_used_again_differs_in_nothing() -> None:
    """The side before is given rounded, as it is kept: no finding may differ by its last digits."""
    before = as_it_is(SOUND, (), NONE)
    for change in ({"valve.kind": "pilot"}, {"valve.kind": "bellows"}, {"valve.blowdown": "9 %"}, {"inlet.length": "9 m"}):
        answer = ask(change, before=before)
        assert answer["changed"] == ask(change)["changed"]
        assert all(one["before"] != one["after"] for one in answer["changed"])
        about = [{(one["code"], one["case"]) for one in answer[side] if one["code"] != "data"} for side in ("gone", "new")]
        assert not about[0] & about[1]


def test_every_wrong_field_is_told_at_once() -> None:
    with pytest.raises(InputUnusable) as told:
        ask({"inlet.length": "x", "valve.kind": "y"})
    assert "Inlet length" in str(told.value) and "Kind" in str(told.value)


def test_marching_settles_what_closed_form_leaves_open() -> None:
    place = bent(inlet={"length": 1.2, "size": 3.0})
    answer = ask({"valve.blowdown": "7 %"}, place, draws=2)
    sides = [answer["before"], answer["after"]]
    assert answer["draws"] == 2 and all(side["chatter"] is None or side["chatter"]["samples"] <= 2 for side in sides)
    assert any(side["chatter"] for side in sides)


# -- mends ---------------------------------------------------------------------------------------------------------

REGISTER = (
    "Tag,Type,Designation,Inlet class,Set pressure (barg),CDTP (barg),MAWP (barg),Operating pressure (barg),Blowdown (%),Seat,Phase,Mol wt,k,Z,"
    "Relieving temp (degC),Required rate (kg/h),Case,Inlet line size,Inlet length (m)\n"
    "PSV-1,Conventional,3L4,300,10,10,10,8,7,metal,gas,44,1.13,0.9,60,16000,blocked outlet,3,0.9\n"
    "PSV-2,Conventional,2J3,300,10,,10,8,7,metal,gas,44,1.13,0.9,60,4000,blocked outlet,2,0.5\n"
)


def _jobs(folder: Path, lines: list[dict[str, Any]]) -> dict[str, Any]:
    register = folder / "register.csv"
    register.write_text(REGISTER, encoding="utf-8")
    file = folder / "mends.csv"
    with open(file, "w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, ("sheet", "row", "field", "value", "who", "when", "why"), extrasaction="ignore")
        writer.writeheader()
        writer.writerows({**one, "who": "A. Body", "when": "2026-01-05", "why": "what-if"} for one in lines)
    found = read(str(register), BASIS, str(file) if lines else None)
    assert all(mend.applied for mend in found.mends), found.problems
    return {place.tag: (place, problems) for place, problems in jobs_of(found)}


@pytest.mark.parametrize(
    "changes",
    [
        {"valve.set_pressure": "9.5 barg", "inlet.length": "1.4 m", "cases.0.flow": "9000 kg/h", "vessel.operating_pressure": "7 barg"},
        {"valve.kind": "pilot", "valve.pilot_action": "snap", "valve.pilot_sense": "remote"}, {"valve.seat": "soft", "valve.blowdown": "10 %"},
    ],
)  # fmt: skip
def test_kept_as_mends_the_register_reads_as_the_what_if_did(tmp_path: Path, changes: dict[str, str]) -> None:
    place, _ = _jobs(tmp_path, [])["PSV-1"]
    made = read_changes(place, BASIS, changes)
    wanted = changed_location(place, made)
    lines = mends(place, [{"field": one.field, "text": one.text} for one in made], {})
    assert {one["row"] for one in lines} == {2}
    again, _ = _jobs(tmp_path, lines)["PSV-1"]
    for part in ("valve", "inlet", "vessel", "cases", "dynamics"):
        assert _near(getattr(again, part)) == _near(getattr(wanted, part)), part
    assert _jobs(tmp_path, lines)["PSV-2"][0] == _jobs(tmp_path, [])["PSV-2"][0]


def _near(record: Any) -> str:
    """A record with its numbers to six digits: a mend is written that way."""
    return " ".join(f"{float(word.strip(',()')):.6g}" if word.strip(",()").replace(".", "").replace("e-", "").isdigit() else word
                    for word in repr(record).replace("=", " ").split())  # fmt: skip


def test_a_mend_goes_where_the_value_stands_also_a_mended_one(tmp_path: Path) -> None:
    place, _ = _jobs(tmp_path, [{"sheet": "", "row": 2, "field": "valve.set_pressure", "value": "9 barg"}])["PSV-1"]
    assert place.origins["valve.set_pressure"].how == "mended"
    lines = mends(
        place,
        [{"field": "valve.set_pressure", "text": "9.5 barg"}, {"field": "outlet.length", "text": "3 m"}],
        {2: ("", 2)},
    )
    assert [(one["row"], one["field"]) for one in lines] == [(2, "valve.set_pressure"), (2, "outlet.length")]
    with pytest.raises(InputUnusable, match="no register"):
        mends(SOUND, [{"field": "valve.set_pressure", "text": "9 barg"}], {})


def test_a_field_is_shown_as_it_reads_back() -> None:
    assert stated(SOUND, "valve.set_pressure", NONE) == "10 barg" and stated(SOUND, "inlet.length", NONE) == "0.3 m"
    assert stated(SOUND, "valve.blowdown", NONE) == "10 %" and stated(SOUND, "valve.pilot_action", NONE) == ""
    assert stated(SOUND, "cases.0.flow", NONE) == "16200 kg/h"  # 4.5 kg/s


def test_the_change_of_the_money_is_after_less_before_on_the_same_draws() -> None:
    place = bent(vessel={"operating_pressure": ATM + 9.6 * BAR})
    answer = ask({"valve.blowdown": "9 %"}, place)
    before, after = (answer[side]["recommended"] for side in ("before", "after"))
    change = answer["difference"]
    assert change["draws"] == min(NONE.money_draws, MONEY_DRAWS) == after["life_cycle"]["draws"] == before["life_cycle"]["draws"]
    assert change["npv_mean"] == pytest.approx(after["life_cycle"]["npv"]["mean"] - before["life_cycle"]["npv"]["mean"])
    assert change["cost_mid"] == pytest.approx(after["cost"]["total"]["mid"] - before["cost"]["total"]["mid"])
    same = ask({"vessel.operating_pressure": "9.6 barg"}, place)["difference"]  # nothing changed: not one draw differs
    assert (same["npv_mean"], same["npv_mid"], same["cost_mid"], same["pays"]) == (0.0, 0.0, 0.0, 0.0)


def test_the_money_takes_the_draws_of_the_basis_as_a_study_does() -> None:
    few = make({"time_marching": "none", "money_draws": "300"})
    answer = what_if(bent(vessel={"operating_pressure": ATM + 9.6 * BAR}), (), few, {"inlet.length": "0.35 m"})
    assert answer["before"]["recommended"]["life_cycle"]["draws"] == answer["difference"]["draws"] == 300


def test_without_a_remedy_there_is_no_difference_to_tell() -> None:
    change = ask({"inlet.length": "0.31 m"})["difference"]
    assert (change["npv_mean"], change["cost_mid"]) == (None, None)


def test_a_side_judged_before_is_used_again() -> None:
    old = as_it_is(SOUND, (), NONE)
    assert ask({"inlet.length": "2 m"}, before=old) == ask({"inlet.length": "2 m"})
