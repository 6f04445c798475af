"""What the whole demo must hold, valve by valve: numbers that belong to the words, and cures that touch the root."""

from __future__ import annotations

import pytest

from quietseat import basis as bases
from quietseat import demo
from quietseat.assess import assess, complete
from quietseat.model import Assessment, Location, Remedy
from quietseat.register import read
from quietseat.remedies import propose, recommended


@pytest.fixture(scope="module")
def basis() -> bases.Basis:
    return bases.load(demo.files().basis)


@pytest.fixture(scope="module")
def places(basis: bases.Basis) -> dict[str, Location]:
    return {place.tag: place for place in read(demo.files().register, basis, demo.files().mends).locations}


@pytest.fixture(scope="module")
def judged(places: dict[str, Location], basis: bases.Basis) -> dict[str, Assessment]:
    return {tag: assess(place, basis, record=False) for tag, place in places.items()}


@pytest.fixture(scope="module")
def cures(
    places: dict[str, Location], judged: dict[str, Assessment], basis: bases.Basis
) -> dict[str, tuple[Remedy, ...]]:
    return {tag: propose(place, judged[tag], basis) for tag, place in places.items()}


def winner(cures: dict[str, tuple[Remedy, ...]], tag: str) -> Remedy:
    found = recommended(cures[tag])
    assert found is not None, tag
    return found


def test_a_failing_margin_is_negative_and_a_passing_one_is_not(
    judged: dict[str, Assessment], cures: dict[str, tuple[Remedy, ...]]
) -> None:
    """margin = (limit - value)/limit, negative = fails: of every finding of every valve and of every remedy assessed."""
    after = [remedy.assessment for found in cures.values() for remedy in found if remedy.assessment is not None]
    checked = 0
    for assessment in [*judged.values(), *after]:
        for finding in (*assessment.findings, *assessment.passed):
            if finding.margin is None or finding.outcome == "open":
                continue
            checked += 1
            assert (finding.margin < 0) == (finding.outcome == "fail"), (assessment.tag, finding)
    assert checked > 1000


def test_a_failing_margin_follows_from_the_value_and_limit_beside_it(judged: dict[str, Assessment]) -> None:
    for assessment in judged.values():
        for finding in assessment.findings:
            if finding.outcome == "fail" and finding.value is not None and finding.limit:
                gap = abs(finding.limit - finding.value) / finding.limit
                assert finding.margin == pytest.approx(-gap, rel=1e-9), (assessment.tag, finding)


def test_chatter_prints_the_criterion_that_failed(judged: dict[str, Assessment]) -> None:
    """By the force balance in Pa, by the critical length in m: the words and the unit agree."""
    units = set()
    for assessment in judged.values():
        for finding in assessment.findings:
            if finding.code == "chatter" and finding.outcome == "fail" and finding.value is not None:
                units.add(finding.unit)
                assert finding.unit == ("m" if "critical length" in finding.words else "Pa"), finding
    assert units == {"m", "Pa"}
    found = next(f for f in judged["10-PSV-1007"].findings if f.code == "chatter")
    # 7 % of 8 bar set; built-up 1.85 bar alone is more (Fanno by hand 1.84 bar).
    assert found.limit == pytest.approx(0.07 * 8e5) and found.value is not None and found.value > 1.84e5


def test_back_pressure_is_the_root_where_it_shuts_the_valve(
    judged: dict[str, Assessment], cures: dict[str, tuple[Remedy, ...]]
) -> None:
    """Built-up 23 % of set on a conventional valve with 0.6 % inlet loss: the cure is a bellows, not the rings."""
    found = judged["10-PSV-1007"]
    assert found.cause_code == "back-pressure" and found.cause.startswith("Back pressure")
    assert winner(cures, "10-PSV-1007").name == "bellows"
    assert set(winner(cures, "10-PSV-1007").cleared) == {"back-pressure", "chatter"}


def test_a_line_far_too_long_is_named_as_such(judged: dict[str, Assessment], cures: dict[str, tuple[Remedy, ...]]) -> None:
    """The quarter-wave length fails, not the force balance; a lift stop helps only while the disc rests on it."""
    assert "too long" in judged["10-PSV-1015"].cause
    best = winner(cures, "10-PSV-1015")
    assert best.name == "restricted-lift" and "leaves its stop" in best.condition


@pytest.mark.parametrize("tag", ["20-PSV-2012", "10-PSV-1005", "20-PSV-2006C", "30-PSV-3014"])
def test_a_pilot_that_loses_more_than_its_blowdown_at_its_inlet_is_no_remedy(
    cures: dict[str, tuple[Remedy, ...]], tag: str
) -> None:
    """Loss and wave at the sense point within 0.7 of the blowdown asks for proof, beyond the blowdown it cannot work."""
    for remedy in cures[tag]:
        if remedy.name.startswith("pilot") and "integral" in remedy.name:
            assert remedy.clears == "no", remedy.name
            assert remedy.rejected_because, remedy.name
    best = winner(cures, tag)
    assert best.location.valve.pilot_sense == "remote"


def test_a_modulating_pilot_on_a_small_duty_may_sense_at_its_inlet(cures: dict[str, tuple[Remedy, ...]]) -> None:
    """12 % of the rated flow: loss goes with the square of the flow, so there is none to speak of at the required flow."""
    best = winner(cures, "10-PSV-1003")
    assert (best.location.valve.pilot_action, best.location.valve.pilot_sense) == ("modulating", "integral")
    assert best.clears == "subject-to-proof" and "maker's proof" in best.condition


def test_two_phase_by_quality_is_at_saturation(
    judged: dict[str, Assessment], places: dict[str, Location], basis: bases.Basis
) -> None:
    """Propane at 18.7 barg boils at 56.6 degC (NIST WebBook, interpolated): known, so the flange rating is not open."""
    whole, assumptions = complete(places["20-PSV-2002"], basis)
    assert whole.cases[0].temperature == pytest.approx(329.75, abs=0.3)
    assert whole.origins["cases.0.temperature"].how == "looked-up"
    assert not any(item.field == "cases.0.temperature" for item in assumptions)
    assert not [f for f in judged["20-PSV-2002"].findings if f.code == "rating"]


def test_sizes_from_shifted_cells_prove_nothing(
    judged: dict[str, Assessment], cures: dict[str, tuple[Remedy, ...]]
) -> None:
    found = judged["30-PSV-3012"]
    assert found.verdict == "unproven"
    assert {f.code for f in found.findings if "valve.orifice" in f.rests_on} == {"undersized", "oversized"}
    assert "nameplate" in winner(cures, "30-PSV-3012").condition


def test_the_body_floor_stands_only_where_the_outlet_chokes(
    judged: dict[str, Assessment], places: dict[str, Location], basis: bases.Basis
) -> None:
    floors = 0
    for tag, found in judged.items():
        for case, result in zip(places[tag].cases, found.cases, strict=True):
            if result.body_floor is not None:
                floors += 1
                assert result.body_floor > (case.superimposed_max or basis.atmospheric_pressure), tag
    assert 0 < floors < len(judged) // 2


def test_conditions_are_short_and_said_once(cures: dict[str, tuple[Remedy, ...]]) -> None:
    for tag, found in cures.items():
        for remedy in found:
            parts = remedy.condition.split("; ")
            assert len(parts) == len(set(parts)), (tag, remedy.name)
            if remedy.name != "keep":
                assert all(len(part) <= 140 for part in parts), (tag, remedy.name, remedy.condition)
            assert "_" not in remedy.condition, remedy.condition


def test_measure_first_asks_for_each_thing_once(cures: dict[str, tuple[Remedy, ...]]) -> None:
    asked = {tag: found[0] for tag, found in cures.items() if found and found[0].name == "measure-first"}
    assert len(asked) >= 10
    assert asked["10-PSV-1024"].condition == "state the set pressure, gauge or absolute"
    assert asked["30-PSV-3018"].condition.split("; ") == [
        "state the required rate of every relief case", "measure the straight length of the inlet line",
        "measure the straight length of the outlet line", "read the class on the inlet flange",
    ]  # fmt: skip


def test_operating_lower_is_a_priced_question_and_leaves_the_set_tolerance(
    cures: dict[str, tuple[Remedy, ...]], places: dict[str, Location], basis: bases.Basis
) -> None:
    for tag, found in cures.items():
        for remedy in found:
            if remedy.name != "operate-lower" or remedy.assessment is None:
                continue
            assert remedy.question.startswith("To operations") and "USD a year" in remedy.question
            valve, lower = places[tag].valve, remedy.location.vessel.operating_pressure
            assert valve.set_pressure is not None and lower is not None
            ratio = basis.gauge(lower) / basis.gauge(valve.set_pressure)
            assert ratio <= 1 - (valve.blowdown or 0.0) - 0.03 + 1e-6, tag


def test_a_low_pop_without_corrosion_goes_to_the_shop(cures: dict[str, tuple[Remedy, ...]]) -> None:
    """Clean steam, popped at 92 %: spring and setting, nothing a bellows, a disk or an alloy would mend."""
    assert winner(cures, "30-PSV-3016").name == "overhaul"
    for name in ("bellows", "rupture-disk-under"):
        assert next(r for r in cures["30-PSV-3016"] if r.name == name).clears == "no"


def test_repair_alone_is_refused_for_an_injury(cures: dict[str, tuple[Remedy, ...]]) -> None:
    for tag in ("10-PSV-1004", "10-PSV-1009", "10-PSV-1017", "10-PSV-1016"):
        shop = next(r for r in cures[tag] if r.name == "overhaul")
        assert shop.clears == "no" and shop.rejected_because, tag
