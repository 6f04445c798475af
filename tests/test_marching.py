"""The dynamic verdict in the road: what is marched, and how an answer becomes a finding, a verdict and a task.

The answers are stand-ins here: what the marching itself finds is checked in test_march_* and test_chatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from valves_sample import BASIS, CASE, SOUND, bent

from quietseat.assess import Asking, assess, assess_many, in_doubt, screen
from quietseat.basis import make
from quietseat.march import chatter as marching
from quietseat.model import Assessment, Chatter, Event, Location
from quietseat.remedies import asking as tasks
from quietseat.status import Status

DOUBTFUL = bent(inlet={"length": 1.5}, valve={"blowdown": 0.12})
QUIET = Chatter(Status.OK, verdict="quiet", words="The model predicts quiet.", chatter_probability=0.01, interval=(0.0, 0.03))
CHATTERS = Chatter(Status.OK, verdict="chatters", words="It chatters.", limited_by="inlet wave", chatter_probability=0.8)
UNPROVEN = Chatter(Status.OK, verdict="unproven", words="Not proven quiet.", measure="weigh the moving parts", chatter_probability=0.2)
CYCLES = Chatter(Status.OK, verdict="cycles", words="It pops.", limited_by="oversize", cycle_period=0.4, chatter_probability=0.0)
BROKEN = Chatter(Status.NOT_CONVERGED, "the run diverged")


class Standin:
    """Takes the place of the marching and keeps what it was asked."""

    def __init__(self, *answers: Chatter) -> None:
        self.answers, self.asked = answers, 0

    def __call__(self, questions: Sequence[Any], basis: Any, *, engine: str = "local") -> list[Chatter]:
        self.asked += len(questions)
        return [self.answers[i % len(self.answers)] for i in range(len(questions))]


def marched(monkeypatch: pytest.MonkeyPatch, answer: Chatter, place: Location = DOUBTFUL, basis: Any = BASIS) -> Assessment:
    monkeypatch.setattr(marching, "chatter_many", Standin(answer))
    return assess(place, basis, asking=Asking(20))


def finding(found: Assessment, code: str = "chatter") -> Any:
    return next(f for f in (*found.findings, *found.passed) if f.code == code)


def test_the_sample_is_in_doubt_and_the_sound_one_is_not() -> None:
    assert in_doubt(screen(DOUBTFUL, BASIS, record=False).view)
    assert not in_doubt(screen(SOUND, BASIS, record=False).view)


def test_quiet_passes_with_the_probability_as_its_value(monkeypatch: pytest.MonkeyPatch) -> None:
    found = marched(monkeypatch, QUIET)
    f = finding(found)
    assert (f.outcome, f.value, f.limit, f.unit) == ("pass", 0.01, 0.05, "fraction")
    assert f.margin == pytest.approx((0.05 - 0.01) / 0.05)
    assert found.stability.judged_by == "marching in time" and found.chatter == QUIET
    assert found.chatter_doubt and "probability of chatter" in {s.name for s in found.steps}


def test_chatter_fails_and_stops(monkeypatch: pytest.MonkeyPatch) -> None:
    found = marched(monkeypatch, CHATTERS)
    f = finding(found)
    assert (f.outcome, f.severity, f.value, f.limit) == ("fail", "stop", 0.8, 0.5)
    assert found.verdict == "misfit" and found.stability.criterion == "length"
    assert "80 % of the draws" in found.cause


def test_unproven_stays_open_and_names_the_measurement(monkeypatch: pytest.MonkeyPatch) -> None:
    found = marched(monkeypatch, UNPROVEN)
    f = finding(found)
    assert f.outcome == "open" and found.verdict != "sound"
    assert "weigh the moving parts" in tasks.wanted([f])


def test_fast_cycling_is_a_finding_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    f = finding(marched(monkeypatch, CYCLES), "cycling")
    assert (f.outcome, f.severity, f.value, f.limit) == ("fail", "stop", 0.4, BASIS.damaging_period)


def test_a_run_that_broke_leaves_closed_form_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    found = marched(monkeypatch, BROKEN)
    assert found.chatter is None and found.stability.verdict == "unproven" and found.stability.judged_by == "closed form"
    assert any("the run diverged" in step.substituted for step in found.steps)


@pytest.mark.parametrize("choice, asked", [("none", 0), ("doubtful", 1), ("all", 2)])
def test_the_basis_says_what_is_marched(monkeypatch: pytest.MonkeyPatch, choice: str, asked: int) -> None:
    standin = Standin(QUIET)
    monkeypatch.setattr(marching, "chatter_many", standin)
    assess_many([(SOUND, ()), (DOUBTFUL, ())], make({"time_marching": choice}), asking=Asking(20))
    assert standin.asked == asked


def test_closed_form_alone_marches_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    standin = Standin(CHATTERS)
    monkeypatch.setattr(marching, "chatter_many", standin)
    assert assess(DOUBTFUL, BASIS).stability.judged_by == "closed form" and standin.asked == 0


def test_a_fleet_is_one_batch_in_its_order_and_one_failure_stays_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(marching, "chatter_many", Standin(QUIET, CHATTERS))
    broken = replace(DOUBTFUL, valve=None)  # type: ignore[arg-type]
    found = assess_many([(DOUBTFUL, ()), (broken, ()), (SOUND, ()), (DOUBTFUL, ())], BASIS, asking=Asking(20))
    assert isinstance(found[1], Exception)
    verdicts = [a.stability.verdict for a in found if isinstance(a, Assessment)]
    assert verdicts == ["quiet", "quiet", "chatters"]
    assert [a.chatter is not None for a in found if isinstance(a, Assessment)] == [True, False, True]


def test_two_phases_are_two_questions_and_the_worst_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    liquid = replace(CASE, name="liquid", phase="liquid", density=900.0, molar_mass=None, k=None, Z=None, flow=20.0, sound_speed=1200.0)
    place = bent(DOUBTFUL, cases=(CASE, liquid), valve={"liquid_trim": True})
    standin = Standin(QUIET, UNPROVEN)
    monkeypatch.setattr(marching, "chatter_many", standin)
    found = assess(place, make({"time_marching": "all"}), asking=Asking(20))
    assert standin.asked == 2 and found.stability.verdict == "unproven"


def test_heard_chatter_against_a_quiet_prediction_is_watched(monkeypatch: pytest.MonkeyPatch) -> None:
    found = marched(monkeypatch, QUIET, bent(DOUBTFUL, events=(Event("chatter", note="hammering"),)))
    assert any(f.code == "chatter" and f.outcome == "thin" and "marching in time says quiet" in f.words for f in found.findings)



# -- the study as a whole ---------------------------------------------------------------------------------------


def small_study(monkeypatch: pytest.MonkeyPatch, **choices: str) -> tuple[dict[str, Any], Standin]:
    """The packaged demo with a stand-in for the marching."""
    from quietseat import demo, study

    standin = Standin(UNPROVEN)
    monkeypatch.setattr(marching, "chatter_many", standin)
    files = demo.files()
    return study.run(files.register, make(choices), files.mends, workers=1).head, standin


def test_a_large_fleet_marches_its_worst_and_names_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    head, _ = small_study(monkeypatch, marched_valves="3")
    marching_head = head["marching"]
    assert marching_head["valves_marched"] <= 3 and marching_head["valves_left"]
    assert "not marched" in marching_head["words"]
    assert all(item["why"] for item in marching_head["marched"])


def test_nothing_is_marched_where_the_basis_says_none(monkeypatch: pytest.MonkeyPatch) -> None:
    head, standin = small_study(monkeypatch, time_marching="none")
    assert standin.asked == 0 and head["marching"]["valves_marched"] == 0


def test_predicted_against_found_counts_every_valve_with_a_history(monkeypatch: pytest.MonkeyPatch) -> None:
    head, standin = small_study(monkeypatch)
    table = head["predictions"]
    assert standin.asked > 10 and table is not None
    assert sum(table["found"].values()) > 0 and sum(table["not_found"].values()) > 0
    assert set(table["found"]) == {"unstable", "quiet", "unproven"}
