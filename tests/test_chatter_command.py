"""`chatter`: the issue's file as it stands, names of the contract, refusals by name, words a person can use."""

from __future__ import annotations

import json
import math
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import chatter_sample as sample
import pytest

from quietseat import answers, plain, terminal
from quietseat.answers import chatter_answer
from quietseat.casefile import as_stated, read_valve
from quietseat.model import Chatter, ChatterLimits, Trace
from quietseat.status import CalculationFailed, InputUnusable, Status

REF_A = Path(__file__).parent.parent / "examples" / "ref_a.toml"
# contracts.md, `chatter`
KEYS = {
    "status", "problems", "assumptions", "verdict", "chatter_probability", "interval", "cycling_probability",
    "flutter_probability", "critical_length_m", "frequency_hz", "seat_impacts_per_s", "impact_energy_j",
    "inlet_pressure_min_pa", "inlet_pressure_max_pa", "opening_time_s", "cycle_period_s", "samples", "marched", "traces",
    "limits", "sensitivities",
}  # fmt: skip
TRACE = {"flow_kg_s", "t_s", "lift_m", "inlet_pressure_pa", "vessel_pressure_pa"}
LIMITS = {"longest_quiet_inlet_m", "smallest_quiet_flow_kg_s", "blowdown_cure", "lift_cure"}


def file(tmp_path: Path, changes: dict[str, str] | None = None, extra: str = "") -> str:
    """The reference file with lines changed."""
    text = REF_A.read_text(encoding="utf-8")
    for old, new in (changes or {}).items():
        assert old in text, old
        text = text.replace(old, new)
    path = tmp_path / "case.toml"
    path.write_text(text + extra, encoding="utf-8")
    return str(path)


def command(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "quietseat", "chatter", *words], capture_output=True, text=True, timeout=400, check=False)


# --- JSON and words, from a hand-made result ------------------------------------------------------------------------


def test_json_has_the_names_of_the_contract() -> None:
    answer = plain.clean(plain.chatter(sample.found()))
    assert answer.keys() >= KEYS - {"problems"} and answer["limits"].keys() >= LIMITS
    assert all(line.keys() >= TRACE for line in answer["traces"])
    assert all(item.keys() == {"parameter", "share"} for item in answer["sensitivities"])
    assert answer["map"].keys() == {"lengths_m", "flows_kg_s", "probability", "length_m", "flow_kg_s"}
    assert answer["interval"] == [0.55, 0.69] and answer["critical_length_m"] == 0.9286 and answer["status"] == "ok"
    json.dumps(answer, allow_nan=False)


def test_nothing_but_numbers_in_json_even_after_a_broken_run() -> None:
    nan = math.nan
    broken = Trace("25 %", 1.0, "unproven", (0.0, 0.1, 0.2), (0.0, 1e-3, nan), (1e6, 1e6, math.inf), (1e6, 1e6, 1e6))
    answer = plain.chatter(sample.found(frequency=nan, interval=(nan, 1.0), traces=(broken,), limits=ChatterLimits(math.inf)))
    assert answer["frequency_hz"] is None and answer["interval"] == [None, 1.0] and answer["limits"]["longest_quiet_inlet_m"] is None
    assert answer["traces"][0]["t_s"] == [0.0, 0.1] and answer["traces"][0]["lift_m"] == [0.0, 0.001]
    json.dumps(plain.clean(answer), allow_nan=False)


def test_a_thinned_trace_keeps_its_crests_and_its_end() -> None:
    whole, thin = (plain.chatter(sample.found(), thin=thin)["traces"][0] for thin in (False, True))
    assert len(whole["t_s"]) == 2400 and len(thin["t_s"]) < 700
    for key in ("lift_m", "inlet_pressure_pa"):
        assert (min(thin[key]), max(thin[key])) == (min(whole[key]), max(whole[key]))
        assert thin[key][-260:] == whole[key][-260:] and thin[key][0] == whole[key][0]
    assert thin["t_s"] == sorted(thin["t_s"])


def said(found: Chatter) -> str:
    answer = {"tag": "PSV-1", "engine": "local", **plain.chatter(found), "problems": [], "cautions": list(answers.CAUTIONS)}
    return terminal.chatter(plain.clean(answer))


def test_words_say_how_likely_why_what_cures_and_what_it_is_not() -> None:
    text = said(sample.found())
    flat = " ".join(text.split())
    for words in (
        "PSV-1: CHATTERS", "chatter 62 % (95 % interval 55 % to 69 %), flutter 12 %, short cycling 3 %", "1.62 of it",
        "limited by: inlet wave", "moving mass 60 %", "25 % (0.97 kg/s): chatters 81 %", "an inlet line of at most 0.62 m",
        "the lift restricted to 60 % of full lift", "weigh the moving parts", "measured map", "8.3 to 17.6 bara", "12.5 ms",
    ):  # fmt: skip
        assert words in flat, words
    assert max(map(len, text.splitlines())) <= 100
    for word in ("validated", "certified", "guaranteed", "proved", " safe"):
        assert word not in flat.lower()


def test_one_run_claims_no_probability() -> None:
    one = sample.found(samples=1, marched=1, interval=None, chatter_probability=1.0, drawn=(), flows=sample.found().flows[:1])
    one = replace(one, flows=(replace(one.flows[0], chatter=1.0, flutter=0.0, cycling=0.0),))
    text = said(one)
    assert "no probability" in text and "25 % (0.97 kg/s): chatters\n" in text and "100 %" not in text


def test_a_run_that_broke_off_is_said_with_its_status() -> None:
    text = said(Chatter(Status.NOT_CONVERGED, "the run diverged at 0.12 s", verdict="unproven"))
    assert "PSV-1: UNPROVEN" in text and "not-converged" in text and "diverged at 0.12 s" in text


@pytest.mark.parametrize(("share", "words"), [(0.0, "0 %"), (1.0, "100 %"), (0.004, "0.4 %"), (0.996, "99.6 %"), (0.5, "50 %")])
def test_a_share_is_never_rounded_to_never_or_always(share: float, words: str) -> None:
    assert terminal._percent(share) == words


# --- Reading ------------------------------------------------------------------------------------------------------------


def test_the_reference_file_is_taken_exactly_as_stated() -> None:
    place, noted = as_stated(read_valve(str(REF_A)))
    line = place.inlet
    assert (line.length, line.diameter, line.friction_factor) == (1.0, pytest.approx(0.0779), 0.0)
    assert (line.entrance, line.block_valve, line.loss_coefficient) == ("none", "none", 0.0)
    # pi/4 x 50 mm squared; the curtain at 12.5 mm = a quarter of the bore is as large
    assert place.valve.effective_area == pytest.approx(1.963495e-3, rel=1e-6) and place.valve.effective_coefficient == 0.7
    assert {a.field for a in noted} == {"inlet.entrance", "valve.effective_area"}
    assert "no entrance loss" in next(a.rule for a in noted if a.field == "inlet.entrance")


def test_run_length_stretches_all_segments_alike(tmp_path: Path) -> None:
    segments = 'segments = [{diameter = "80 mm", length = "1 m"}, {diameter = "60 mm", length = "3 m"}]'
    place, noted = as_stated(read_valve(file(tmp_path, {'diameter = "77.9 mm"': segments, '"1 m"\ncells': '"2 m"\ncells'})))
    assert [s.length for s in place.inlet.segments] == pytest.approx([0.5, 1.5])
    assert "inlet.segments" in {a.field for a in noted}


@pytest.mark.parametrize("line", ['entrance = "sharp"', "loss_coefficient = 0.5", "elbows = 2", "fittings = []", 'block_valve = "gate"'])
def test_a_line_with_any_fitting_stated_is_completed_as_usual(tmp_path: Path, line: str) -> None:
    case = read_valve(file(tmp_path, {"friction_factor = 0.0": f"friction_factor = 0.0\n{line}"}))
    place, noted = as_stated(case)
    assert "inlet.entrance" not in {a.field for a in noted}
    assert place.inlet.entrance == case.location.inlet.entrance and place.inlet.block_valve == case.location.inlet.block_valve


def test_a_valve_with_a_letter_keeps_its_letter(tmp_path: Path) -> None:
    place, noted = as_stated(read_valve(file(tmp_path, {'tag = "REF-A"': 'tag = "V"\norifice = "L"'})))
    assert place.valve.orifice == "L" and place.valve.effective_area is None
    assert "valve.effective_area" not in {a.field for a in noted}


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('moving_mass = "1.5 kg"', 'moving_mass = "0 kg"', "dynamics.moving_mass = 0: must be above zero"),
        ('moving_mass = "1.5 kg"', 'moving_mass = "-1 kg"', "dynamics.moving_mass.*(must be above zero|negative)"),
        ('max_lift = "12.5 mm"', 'max_lift = "60 mm"', "dynamics.max_lift.*above the seat bore '50 mm'"),
        ('inlet_length = "1 m"', 'inlet_length = "-1 m"', "run.inlet_length.*must be above zero"),
        ('inlet_length = "1 m"', 'inlet_length = "0 m"', "run.inlet_length.*must be above zero"),
        ("cells = 40", "cells = 3", "run.cells = 3: must lie between 4 and 1000"),
        ("cells = 40", "cells = 40.5", "run.cells.*whole number"),
        ('duration = "4 s"', 'duration = "0 s"', "run.duration.*must be above zero"),
        ('duration = "4 s"', 'duration = "-4 s"', "run.duration.*negative"),
        ('start = "equilibrium"', 'start = "open"', "run.start.*must be one of shut, equilibrium"),
        ('flow = "2.0286 kg/s"', 'flow = "0 kg/s"', "run.flow.*must be above zero"),
        ('flow = "2.0286 kg/s"', 'flow = "2 kg/s"\nflow_fraction = 0.5', "give one of them"),
        ("restitution = 0.5", "restitution = 1.5", "dynamics.restitution.*cannot be more"),
        ("restitution = 0.5", "restitution = nan", "dynamics.restitution.*finite"),
        ("k = 1.4", "k = inf", "case.k.*finite"),
        ('volume = "10 m3"', 'volume = "0 m3"', "vessel.volume.*must be above zero"),
        ("damping_ratio = 0.0", "damping_rato = 0.0", "nearest known key is 'dynamics.damping_ratio'"),
    ],
)  # fmt: skip
def test_what_no_run_could_use_is_refused_by_name(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(InputUnusable, match=words) as told:
        chatter_answer(file(tmp_path, {old: new}))
    assert "\n" not in str(told.value)


def test_lift_above_the_bore_of_a_letter_is_refused(tmp_path: Path) -> None:
    """D: 0.110 in2, so a bore of at most sqrt(4 x 1.2 x 71 mm2/pi) = 10.4 mm."""
    changes = {'tag = "REF-A"': 'tag = "V"\norifice = "D"', 'seat_diameter = "50 mm"\n': ""}
    with pytest.raises(InputUnusable, match=r"dynamics.max_lift = '12.5 mm': is above any seat bore of its letter"):
        chatter_answer(file(tmp_path, changes))


def test_samples_and_engine_are_refused_by_name(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputUnusable, match="--samples 0: must be at least 1"):
        chatter_answer(str(REF_A), samples=0)
    with pytest.raises(InputUnusable, match="engine 'magic' is not known"):
        chatter_answer(str(REF_A), engine="magic")

    def nothing() -> None:
        raise CalculationFailed(Status.NOT_COMPUTED, "engine = 'cuda': numba-cuda cannot be loaded")

    monkeypatch.setattr("quietseat.march.cuda.driver", nothing)
    with pytest.raises(InputUnusable, match=r'pip install "quietseat\[cuda\]"'):
        chatter_answer(str(REF_A), engine="cuda")


def test_what_is_missing_is_a_status_with_a_problem(tmp_path: Path) -> None:
    answer = chatter_answer(file(tmp_path, {'inlet_length = "1 m"\n': ""}))
    assert answer["status"] == "not-computed" and answer["verdict"] == "unproven" and answer["chatter_probability"] is None
    assert "length unknown" in answer["problems"][0]["rule"] and answer["problems"][0]["file"] == "case.toml"
    assert answer.keys() >= KEYS
    answer = chatter_answer(file(tmp_path, {'seat_diameter = "50 mm"\n': "", 'max_lift = "12.5 mm"\n': ""}))
    assert answer["status"] == "not-computed" and "no area" in answer["problems"][0]["rule"]


# --- What is asked of the marching ------------------------------------------------------------------------------------


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """The questions that reach the marching, which answers with a hand-made result."""
    from quietseat.march import chatter as marching

    questions: list[Any] = []

    def answer(question: Any, basis: Any, *, engine: str = "local") -> Chatter:
        questions.append(question)
        return sample.found(verdict="quiet" if question.situation.phase == "liquid" else "chatters")

    monkeypatch.setattr(marching, "chatter", answer)
    return questions


def test_the_reference_file_reaches_the_marching_as_stated(asked: list[Any]) -> None:
    answer = chatter_answer(str(REF_A), samples=1)
    (question,) = asked
    assert (question.flow, question.start, question.cells, question.duration, question.samples) == (2.0286, "equilibrium", 40, 4.0, 1)
    at = question.situation
    assert at.pipes == ((1.0, pytest.approx(0.0779), 0.0, 0.0),) and at.vessel_volume == 10.0
    assert (at.set_pressure, at.atmospheric, at.superimposed) == (11e5, 1e5, 1e5)
    assert at.dynamics.moving_mass == 1.5 and at.outlet_pipe is None
    # C A_s p psi/sqrt(R T) at 110 % of set, by hand: psi = 0.684731 at k = 1.4
    assert at.full_flow == pytest.approx(0.7 * 1.963495e-3 * 12e5 * 0.684731 / (287.05 * 293.15) ** 0.5, rel=1e-3)
    assert answer.keys() >= KEYS and answer["tag"] == "REF-A" and answer["problems"] == []
    assert "inlet.entrance" in {a["field"] for a in answer["assumptions"]}


def test_a_flow_may_be_a_share_of_the_flow_at_110_per_cent_of_set(tmp_path: Path, asked: list[Any]) -> None:
    chatter_answer(file(tmp_path, {'flow = "2.0286 kg/s"': 'flow_fraction = "50 %"'}))
    assert asked[0].flow == pytest.approx(0.5 * asked[0].situation.full_flow) and asked[0].samples is None


def test_without_run_a_valve_file_is_marched_at_its_own_flows(asked: list[Any]) -> None:
    answer = chatter_answer(str(REF_A.with_name("valve.toml")))
    (question,) = asked
    assert question.flow is None and question.start == "shut" and question.cells is None and question.details
    at = question.situation
    assert at.orifice == "P" and at.least_flow == pytest.approx(2.5) and at.outlet_pipe is not None  # 9000 kg/h
    assert len(at.pipes) >= 1 and at.pipes[0][3] > 0.5  # the sharp entrance counts: K = 0.5 and the gate valve
    assert answer["tag"] == "PSV-101"


def test_two_phases_are_both_marched_and_the_worse_one_is_told(tmp_path: Path, asked: list[Any]) -> None:
    liquid = '[[case]]\nphase = "liquid"\ndensity = "700 kg/m3"\nflow = "20000 kg/h"\n'
    text = REF_A.with_name("valve.toml").read_text(encoding="utf-8")
    path = tmp_path / "two.toml"
    path.write_text(text.replace("[inlet]", f"{liquid}[inlet]"), encoding="utf-8")
    answer = chatter_answer(str(path))
    assert {one.situation.phase for one in asked} == {"gas", "liquid"} and answer["verdict"] == "chatters"


# --- The command ----------------------------------------------------------------------------------------------------------


def test_unusable_files_end_in_one_sentence_and_code_2(tmp_path: Path) -> None:
    done = command(file(tmp_path, {'moving_mass = "1.5 kg"': 'moving_mass = "0 kg"'}))
    assert done.returncode == 2 and done.stdout == "" and "moving_mass" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1 and done.stderr.startswith("quietseat: ")


@pytest.fixture(scope="module")
def reference() -> dict[str, Any]:
    """The issue's file as it stands, by the command, stated values once."""
    done = command(str(REF_A), "--samples", "1", "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))  # type: ignore[no-any-return]


def test_the_reference_case_flutters_at_its_critical_length(reference: dict[str, Any]) -> None:
    """dynamics.md 2.17: L_crit 0.9286 m by closed form and by the exact dispersion relation, flutter at 85.3 Hz on 1 m."""
    assert reference.keys() >= KEYS | {"words", "limited_by", "flows", "map"}
    assert reference["critical_length_m"] == pytest.approx(0.9286, rel=0.02)
    assert (reference["status"], reference["verdict"], reference["samples"]) == ("ok", "flutters", 1)
    assert reference["frequency_hz"] == pytest.approx(85.3, rel=0.03)
    assert reference["seat_impacts_per_s"] == 0.0 and reference["inlet_length_m"] == 1.0 and reference["cells"] == 40
    (line,) = reference["traces"]
    assert line["flow_kg_s"] == 2.0286 and len(line["t_s"]) == len(line["lift_m"]) == len(line["inlet_pressure_pa"]) > 100
    assert line["lift_m"][0] == pytest.approx(6.25e-3, rel=2e-3)  # the lift that passes 2.0286 kg/s: half of 12.5 mm
    assert line["t_s"][-1] == pytest.approx(4.0, rel=0.01)
    assert max(line["lift_m"]) - min(line["lift_m"]) > 0.05 * 12.5e-3


def test_the_reference_case_on_a_longer_line_chatters(tmp_path: Path) -> None:
    """dynamics.md 2.17: chatter on 1.5 m (f = 0.02, e_r = 0.8) near a/4L = 57.2 Hz; the counts are chaotic."""
    longer = {'inlet_length = "1 m"': 'inlet_length = "1.5 m"', "friction_factor = 0.0": "friction_factor = 0.02",
              "restitution = 0.5": "restitution = 0.8"}  # fmt: skip
    answer = chatter_answer(file(tmp_path, longer), samples=1)
    assert answer["verdict"] == "chatters" and answer["seat_impacts_per_s"] >= 5
    assert answer["frequency_hz"] == pytest.approx(57.3, rel=0.1)
    assert answer["critical_length_m"] == pytest.approx(0.9286, rel=0.02)
    assert answer["words"] and answer["limited_by"] == "inlet wave"


def test_a_run_that_diverges_is_a_status_never_a_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    from quietseat.march import engine
    from quietseat.march.outcome import MarchResult

    def lost(cases: Any, **options: Any) -> list[MarchResult]:
        return [MarchResult(Status.NOT_CONVERGED, "the run diverged at 0.1 s") for _ in cases]

    monkeypatch.setattr(engine, "march", lost)
    answer = chatter_answer(str(REF_A), samples=1)
    assert (answer["status"], answer["verdict"]) == ("not-converged", "unproven")
    assert answer["problems"][0]["rule"] and answer["traces"] == []
    assert answer["chatter_probability"] in (None, 0.0) and "UNPROVEN" in terminal.chatter(answer)
    json.dumps(answer, allow_nan=False)
