"""The report on the leakage of one valve and the answer of `leak`."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest

from quietseat import basis as bases
from quietseat.economics import ZERO
from quietseat.leakage import as_data, leak_answer, report
from quietseat.leakage.simulated import simulated
from quietseat.model import Case, Chatter, Event, History, Line, Location, Trace, Valve, Vessel
from quietseat.status import InputUnusable, Status

TODAY = date(2026, 11, 25)
BASIS = bases.make()
PLACE = Location(
    "X-1", Valve(kind="conventional", orifice="P", inlet_size=4, set_pressure=101325 + 25e5, seat="metal"),
    (Case(fluid="methane", phase="gas", temperature=300.0),), outlet=Line(discharge_to="atmosphere"),
    vessel=Vessel(operating_pressure=101325 + 20e5, operating_temperature=300.0),
)  # fmt: skip
FILE = """
[valve]
tag = "X-1"
kind = "conventional"
designation = "4P6"
set_pressure = "25 barg"
seat = "metal"
[[case]]
fluid = "methane"
phase = "gas"
temperature = "300 K"
[vessel]
operating_pressure = "20 barg"
[outlet]
discharge_to = "{to}"
[history]
{history}
"""


def file(tmp_path: Path, history: str = "", to: str = "atmosphere", head: str = "") -> str:
    path = tmp_path / "valve.toml"
    path.write_text(head + FILE.format(history=history, to=to), encoding="utf-8")
    return str(path)


def answer(tmp_path: Path, history: str = "", to: str = "atmosphere", head: str = "") -> dict[str, object]:
    return leak_answer(file(tmp_path, history, to, head), TODAY)


def applying(found: dict[str, object]) -> str:
    (one,) = [row["basis"] for row in found["bases"] if row["applies"]]  # type: ignore[attr-defined]
    return str(one)


def test_keys_of_the_contract(tmp_path: Path) -> None:
    found = answer(tmp_path, 'reading_ppm = 500\nreading_date = "2026-03-01"\nlast_clean_survey = 2025-09-01')
    assert {"status", "problems", "assumptions", "steps", "bases", "co2e_kg_a", "route"} <= set(found)
    rows = found["bases"]
    assert [row["basis"] for row in rows] == ["in-spec", "average", "screening", "leaker", "population", "measured", "gap"]  # type: ignore[attr-defined]
    for row in rows:  # type: ignore[attr-defined]
        assert {"basis", "source", "year", "low_kg_s", "mid_kg_s", "high_kg_s", "applies", "why"} <= set(row)
        assert row["source"] and row["why"]
        values = [row[f"{end}_kg_s"] for end in ("low", "mid", "high")]
        assert values == [None] * 3 or values == sorted(values)
    assert found["status"] == "ok" and found["problems"] == [] and found["route"] == "atmosphere"
    assert applying(found) == found["co2e_kg_a"]["basis"] == "screening"  # type: ignore[index]
    # 500 ppm: 5.3e-4 kg/h, 4.6 kg a year (6.1), times 29.8 (AR6, 100 years); 2025-09-01 to 2026-03-01 are 181 days
    assert found["co2e_kg_a"]["mid"] == pytest.approx(4.63 * 29.8, rel=2e-3)  # type: ignore[index]
    assert found["since_clean_survey"]["hours"] == 181 * 24  # type: ignore[index]
    json.dumps(found, allow_nan=False)


@pytest.mark.parametrize(
    ("history", "to", "basis"),
    [
        ("", "atmosphere", "population"), ("reading_ppm = 20", "atmosphere", "screening"),
        ('reading_ppm = 5000\nmeasured_rate = "0.2 kg/h"', "atmosphere", "measured"),
        ('leak = [{date = "2026-01-01", note = "weeping"}]', "atmosphere", "leaker"),
        ("reading_ppm = 5000", "flare", "gap"), ("", "flare", "in-spec"), ("", "process", "in-spec"),
    ],
)  # fmt: skip
def test_which_basis_applies(tmp_path: Path, history: str, to: str, basis: str) -> None:
    assert applying(answer(tmp_path, history, to)) == basis


def test_leaker_over_the_hours_since_the_last_clean_survey(tmp_path: Path) -> None:
    """6.1: leaker factor 2.01 scf/h, 338 kg methane a year; 100 days are 2400 hours of it."""
    found = answer(tmp_path, 'last_clean_survey = "2026-01-01"\nleak = [{date = "2026-04-11", note = "audible"}]')
    since = found["since_clean_survey"]
    assert since["hours"] == 2400 and since["product_kg"]["mid"] == pytest.approx(338 * 2400 / 8760, rel=0.01)  # type: ignore[index]


def test_a_flare_burns_and_the_process_keeps(tmp_path: Path) -> None:
    """6.2: CO2 = m 44/16 0.98 plus slip 0.02 m GWP (carbon share of methane 0.7487, not 0.75)."""
    flare = answer(tmp_path, to="flare")
    product, co2e = flare["product_kg_a"]["mid"], flare["co2e_kg_a"]["mid"]  # type: ignore[index]
    assert co2e == pytest.approx(product * (44 / 16 * 0.98 + 0.02 * 29.8), rel=3e-3)
    back = answer(tmp_path, "reading_ppm = 5000", to="process")
    assert back["co2e_kg_a"]["high"] == 0.0 and back["product_kg_a"]["high"] == 0.0  # type: ignore[index]


@pytest.mark.parametrize(
    ("history", "words"),
    [
        ("reading_ppm = -5", "below zero"), ("reading_ppm = nan", "finite"), ('measured_rate = "-1 kg/h"', "negative"),
        ('reading_ppm = 5\nreading_date = "soon"', "names no day"), ('reading_date = "2026-01-01"', "without a reading"),
        ("reading_pmm = 5", "nearest known key is 'history.reading_ppm'"), ("last_clean_survey = 5", "names no day"),
    ],
)  # fmt: skip
def test_unusable_history_is_refused(tmp_path: Path, history: str, words: str) -> None:
    with pytest.raises(InputUnusable, match=words):
        answer(tmp_path, history)


@pytest.mark.parametrize(
    ("history", "words"),
    [
        ('reading_ppm = 5000\nreading_date = "2052-01-01"', "lies in the future"),
        ('last_clean_survey = "2052-01-01"', "lies in the future"),
        ('reading_ppm = 5000\nreading_date = "2025-01-01"\nlast_clean_survey = "2026-01-01"', "is later than the reading"),
    ],
)  # fmt: skip
def test_doubtful_dates_are_problems_and_not_used(tmp_path: Path, history: str, words: str) -> None:
    found = answer(tmp_path, history)
    (problem,) = found["problems"]  # type: ignore[misc]
    assert words in problem["rule"] and problem["mend"] and problem["file"] == "valve.toml"  # type: ignore[index]
    assert applying(found) == "population" and found["since_clean_survey"] is None


def test_an_empty_history_says_that_nothing_is_known(tmp_path: Path) -> None:
    assert any(a["field"] == "history" for a in answer(tmp_path)["assumptions"])  # type: ignore[attr-defined]


def test_what_cannot_be_had_is_a_status_with_its_reason() -> None:
    unknown = replace(PLACE, valve=replace(PLACE.valve, set_pressure=None), outlet=Line(discharge_to="flare"))
    found = report(unknown, BASIS, today=TODAY)
    assert found.status is Status.NOT_COMPUTED and "set pressure" in found.reason
    mixed = replace(PLACE, cases=(Case(fluid="60 % methane, 60 % ethane", molar_mass=0.018),))
    found = report(mixed, BASIS, today=TODAY)
    assert found.status is Status.NOT_COMPUTED and any("sums to" in p.rule for p in found.problems)


def test_a_pilot_keeps_its_fittings_even_over_a_flare() -> None:
    pilot = replace(PLACE, valve=replace(PLACE.valve, kind="pilot", pilot_action="modulating", pilot_bleed="non-bleeding", seat="soft"),
                    outlet=Line(discharge_to="flare"))  # fmt: skip
    found = report(pilot, BASIS, today=TODAY, mended=True)
    assert [part.name for part in found.parts] == ["pilot-fittings"]
    # 1.4e-3 kg/h (7 connectors of 2.0e-4 kg/h, EPA protocol) for 8760 h to the air, not to the flare: x 29.8
    assert found.co2e_parts.mid == pytest.approx(1.4e-3 * 8760 * 29.8, rel=1e-6)


def test_bleeding_pilot_close_to_set_emits_and_the_other_kind_does_not() -> None:
    def at(kind: str) -> list[str]:
        valve = replace(PLACE.valve, kind="pilot", pilot_action="modulating", pilot_bleed=kind)
        near = replace(PLACE, valve=valve, vessel=replace(PLACE.vessel, operating_pressure=101325 + 0.97 * 25e5))
        return [part.name for part in report(near, BASIS, today=TODAY).parts]

    assert at("bleeding") == ["pilot-fittings", "pilot-bleed"] and at("non-bleeding") == ["pilot-fittings"]


def test_a_remedy_with_a_pilot_keeps_the_leak_of_its_fittings() -> None:
    from quietseat.remedies.work import Costing

    def rate(kind: str) -> float:
        costing = Costing(SimpleNamespace(location=PLACE, basis=BASIS))  # type: ignore[arg-type]
        place = replace(PLACE, valve=replace(PLACE.valve, kind=kind, seat="soft"))
        return costing.bill(place, ZERO, (), leaking=False).leak.mid

    # a soft seat lets nothing through; 7 connectors of 2.0e-4 kg/h (EPA protocol, from memory) stay
    assert rate("conventional") == 0.0 and rate("pilot") == pytest.approx(1.4e-3 / 3600)


def test_credit_of_a_pilot_is_below_one() -> None:
    leaking = replace(PLACE, history=History((Event("leak", "2026-01-01", None, "passing"),)))
    found = report(leaking, BASIS, today=TODAY)
    assert found.credit is not None and 0 < found.credit.mid < found.credit.high < 1


def test_lifts_by_the_cycle_model() -> None:
    """V dp / a^2 with a^2 = k R T / M of methane, k stated 1.31."""
    events = tuple(Event("lift", f"202{year}-06-01") for year in (1, 2, 3))
    place = replace(PLACE, cases=(Case(fluid="methane", phase="gas", k=1.31, molar_mass=0.01604, Z=1.0),),
                    vessel=replace(PLACE.vessel, volume=10.0), valve=replace(PLACE.valve, blowdown=0.07), history=History(events))  # fmt: skip
    square = 1.31 * 8.314462618 * 300 / 0.01604
    (part,) = report(place, BASIS, today=TODAY).parts
    assert part.mid * 8760 * 3600 == pytest.approx(3 / (730 / 365.25) * 10 * 0.07 * 25e5 / square, rel=1e-6)
    # with half of the valve's flow still coming in, a lift lasts twice as long; Q of the choked P orifice at 110 % of set
    # by hand: 0.975 x 6.38 in2 x p1 sqrt(k M / R T) (2/2.31)^(2.31/0.62)
    full = 0.975 * 6.38 * 0.0254**2 * (101325 + 1.1 * 25e5) * (1.31 * 0.01604 / (8.314462618 * 300)) ** 0.5 * (2 / 2.31) ** (2.31 / 0.62)
    (fed,) = report(replace(place, cases=(replace(place.cases[0], flow=full / 2),)), BASIS, today=TODAY).parts
    assert fed.low == pytest.approx(part.mid) and fed.mid == pytest.approx(2 * part.mid, rel=2e-3)
    blind = report(replace(place, vessel=replace(place.vessel, volume=None)), BASIS, today=TODAY)
    assert blind.parts == () and any("vessel volume unknown" in p.rule for p in blind.problems)


def trace(flow: float, valve_flow: float, name: str = "required", volume: float = 2.0, verdict: str = "cycles") -> Trace:
    """A march of a vessel cut to `volume`, by hand: at 400 m/s it rises by flow x 400^2/volume Pa/s while the valve is shut and
    falls by (valve_flow - flow) x 400^2/volume while it is open, between 11.0 and 10.2 bar; starts shut at 10.8 bar."""
    times, lift, vessel, open_ = [0.0], [0.0], [10.8e5], False
    rate, step = 400.0**2 / volume, 1e-3
    while times[-1] < 8.0:
        open_ = vessel[-1] > 10.2e5 if open_ else vessel[-1] >= 11.0e5
        times.append(times[-1] + step)
        lift.append(0.01 if open_ else 0.0)
        vessel.append(vessel[-1] + step * rate * (flow - valve_flow if open_ else flow))
    return Trace(name, flow, verdict, tuple(times), tuple(lift), tuple(vessel), tuple(vessel))


def marched(*traces: Trace) -> Chatter:
    return Chatter(Status.OK, verdict="cycles", stop_lift=0.01, traces=traces)


@pytest.mark.parametrize("cut", [0.5, 2.0, 10.0])
def test_mass_of_a_lift_by_simulation(cut: float) -> None:
    """Whole vessel of 10 m3, 0.8 bar from opening to reseat: 10 x 0.8e5 / 400^2 = 5 kg of surplus, times 3/(3 - 1) with 1 kg/s
    coming in, is 7.5 kg; however far the march cut the vessel."""
    mass, words = simulated(marched(trace(1.0, 3.0, volume=cut)), 10.0, 400.0)  # type: ignore[misc]
    assert mass.mid == pytest.approx(7.5, rel=0.05) and "by simulation" in words


def test_the_required_flow_governs_the_mass_of_a_lift() -> None:
    """5 x 3/(3 - 0.5) = 6 kg at the smaller flow, 7.5 at the required one; a flow that stays open has none."""
    found = simulated(marched(trace(0.5, 3.0, "25 %"), trace(1.0, 3.0), trace(2.9, 3.0, "rated", verdict="quiet")), 10.0, 400.0)
    assert found is not None
    assert (found[0].low, found[0].mid, found[0].high) == pytest.approx((6.0, 7.5, 7.5), rel=0.05)
    unknown = simulated(marched(trace(0.5, 3.0, "25 %"), trace(1.0, 3.0, "50 %")), 10.0, 400.0)
    assert unknown is not None and unknown[0].mid == pytest.approx(6.0, rel=0.05)
    for nothing in (None, marched(), marched(trace(1.0, 3.0, verdict="chatters")), replace(marched(trace(1.0, 3.0)), status=Status.NOT_COMPUTED)):
        assert simulated(nothing, 10.0, 400.0) is None
    assert simulated(marched(trace(1.0, 3.0)), None, 400.0) is None and simulated(marched(trace(1.0, 3.0)), 10.0, None) is None
    # a trace that starts open, and one that ends before the valve has shut
    whole = trace(1.0, 3.0)
    opened = whole.lift.index(0.01)
    for begin, end in ((opened, None), (0, opened + 100)):
        part = replace(whole, **{name: getattr(whole, name)[begin:end] for name in ("times", "lift", "inlet_pressure", "vessel_pressure")})
        assert simulated(marched(part), 10.0, 400.0) is None


def test_the_report_takes_the_simulation_where_there_is_one(tmp_path: Path) -> None:
    place = replace(PLACE, cases=(Case(fluid="methane", phase="gas", molar_mass=0.016, sound_speed=400.0),),
                    vessel=replace(PLACE.vessel, volume=10.0), history=History((Event("lift", None, 4.0),)))  # fmt: skip
    model = report(place, BASIS, today=TODAY)
    assert model.lift is not None and model.lift.by == "cycle model" and "by the cycle model" in model.parts[0].words
    found = report(place, BASIS, today=TODAY, chatter=marched(trace(1.0, 3.0)))
    assert found.lift is not None and found.lift.by == "simulation" and "by simulation" in found.parts[0].words
    assert found.parts[0].mid * 8760 * 3600 == pytest.approx(4 * 7.5, rel=0.05)
    told = as_data(found, BASIS)["lift_mass_kg"]
    assert told["by"] == "simulation" and told["mid"] == pytest.approx(7.5, rel=0.05)
    never = report(replace(place, history=History()), BASIS, today=TODAY)  # a mass, and no lift to count
    assert never.lift is not None and never.parts == ()


def test_a_leak_nobody_found_is_told_plainly(tmp_path: Path) -> None:
    (note,) = answer(tmp_path)["notes"]  # type: ignore[misc]
    assert "population factor applies" in note and "no remedy is credited with a leak nobody found" in note
    assert answer(tmp_path, "reading_ppm = 20")["notes"] == [] and answer(tmp_path, to="flare")["notes"] == []


def test_a_register_tells_of_readings_surveys_and_rates(tmp_path: Path) -> None:
    from quietseat.register import read

    path = tmp_path / "plant.csv"
    path.write_text(
        "Tag,Set pressure (barg),Orifice,Leak ppm,Screening date,Last leak survey,Measured leak rate (kg/h)\n"
        "X-1,25,P,700,2026-03-01,2025-09-01,\nX-2,25,P,,,,0.2\nX-3,25,P,0,,,\n", encoding="utf-8",
    )  # fmt: skip
    first, second, tight = read(path, BASIS).locations
    assert first.history.events[0] == Event("leak", "2026-03-01", 700.0, "ppm") and first.history.last_clean_survey == "2025-09-01"
    found = report(first, BASIS, today=TODAY)
    assert found.chosen is not None and found.chosen.basis == "screening" and found.since is not None and found.since.hours == 181 * 24
    assert second.history.measured_rate == pytest.approx(0.2 / 3600)
    found = report(second, BASIS, today=TODAY, record=False)
    assert found.chosen is not None and found.chosen.basis == "measured" and found.steps == ()
    found = report(tight, BASIS, today=TODAY)  # default zero of the petroleum industry, 4.0e-6 kg/h (6.1)
    assert found.chosen is not None and found.chosen.basis == "screening" and found.chosen.mid == pytest.approx(4.0e-6 / 3600)


def test_rules_and_charges_only_when_asked_for(tmp_path: Path) -> None:
    history = 'reading_ppm = 9000\nreading_date = "2026-03-01"'
    plain = answer(tmp_path, history)
    assert plain["rules"] == [] and plain["charge_a"]["high"] == 0.0 and plain["carbon_cost_a"]["high"] == 0.0  # type: ignore[index]
    eu = answer(tmp_path, history, head='[basis]\nrule_pack = "eu-2024-1787"\n')
    assert any("2026-03-31" in words for words in eu["rules"])  # type: ignore[attr-defined]
    charged = answer(tmp_path, history, head='[basis]\nrule_pack = "us-waste-charge"\n')
    # 1500 a tonne from 2026 (seen)
    assert charged["charge_a"]["mid"] == pytest.approx(1.5 * charged["methane_kg_a"]["mid"], rel=1e-9)  # type: ignore[index]


def test_named_warming_sets(tmp_path: Path) -> None:
    """Fossil methane: 25 (AR4, 100 years), 82.5 (AR6, 20 years), seen."""
    low, high = (answer(tmp_path, "reading_ppm = 500", head=f'[basis]\ngwp_set = "{name}"\n') for name in ("AR4-100", "AR6-20"))
    assert high["co2e_kg_a"]["mid"] / low["co2e_kg_a"]["mid"] == pytest.approx(82.5 / 25, rel=1e-9)  # type: ignore[index]
