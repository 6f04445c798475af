"""The Basis: types and choices.csv agree, unknown keys are refused by name, units are read."""

from __future__ import annotations

import pickle

import pytest

from quietseat import basis as bases
from quietseat.basis import Basis, choices, load, make
from quietseat.status import InputUnusable


def test_types_and_choices_name_the_same_choices() -> None:
    assert set(Basis.model_fields) == set(choices())


def test_every_choice_has_source_mark_and_meaning() -> None:
    marks = {"seen", "computed", "memory-hi", "memory-md", "memory-lo", "estimate", "common practice"}
    for choice in choices().values():
        assert choice.description and choice.source and choice.confidence in marks, choice.name


def test_every_number_has_a_range_that_holds_its_default() -> None:
    for choice in choices().values():
        if choice.quantity in ("choice", "text"):
            assert (choice.low, choice.high, choice.limits) == ("", "", ""), choice.name
        else:
            assert choice.low and choice.high and choice.limits and " to " in choice.range, choice.name
            make({choice.name: choice.low})  # both ends may be used
            make({choice.name: choice.high})


def test_every_choice_is_read_somewhere() -> None:
    """A choice that changes nothing is a lie in the printed Basis."""
    from pathlib import Path

    code = "\n".join(
        path.read_text(encoding="utf-8")
        for path in Path(bases.__file__).parent.rglob("*.py")
        if path.name != "basis.py"
    )
    unread = [name for name in choices() if f".{name}" not in code and f'"{name}"' not in code]
    assert unread == []


def test_defaults_are_si() -> None:
    made = make()
    assert made.atmospheric_pressure == 101325.0
    assert made.default_roughness == pytest.approx(4.6e-5)
    assert made.default_blowdown == pytest.approx(0.07)
    assert made.standard_temperature_us == pytest.approx((60 + 459.67) / 1.8)


def test_atmospheric_pressure_enters_gauge_choices() -> None:
    # 0.3 barg on a site at 90 kPa is 120 kPa absolute.
    assert make({"atmospheric_pressure": "90 kPaa"}).default_superimposed_flare == pytest.approx(120e3)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"attmospheric_pressure": "1 bara"}, "nearest known choice is 'atmospheric_pressure'"),
        ({"edition": "6E"}, "must be one of 7E, 8E, 9E, 10E"),
        ({"atmospheric_pressure": "1 bar"}, "gauge or absolute"),
        ({"fit_tolerance": 1.5}, "needs a unit"),
        ({"inlet_loss_limit": "-3 %"}, "must not be negative"),
        ({"worst_valves": "many"}, "whole number"),
        ({"labour_rate": "-95"}, r"labour_rate = '-95': must not be negative: 0 to 1 000 000 000 \(a price\)"),
        ({"discount_rate": "500 %"}, r"discount_rate = '500 %': must be 0 % to 50 % \(a yearly rate"),
        ({"crews": "0"}, r"crews = '0': must be 1 to 1000 \(without a crew nothing can be done\)"),
        ({"crew_hours_per_day": "25"}, "a day has 24 hours"),
        ({"normal_temperature": "-300 degC"}, "below 0 K"),
        ({"standard_temperature": "400 degC"}, "must be -50 degC to 60 degC"),
        ({"thin_margin": "130 %"}, "must be 0.1 % to 100 %"),
        ({"operating_limit_metal": "120 %"}, r"must be 1 % to 100 % \(a share of set pressure"),
        ({"atmospheric_pressure": "1 barg"}, "45 kPaa to 110 kPaa"),
        ({"accumulation_single": "10 %"}, "ten per cent above it is 110 %"),
        ({"chatter_samples": "0"}, "none says nothing"),
        ({"horizon_years": "0"}, "one year at least"),
    ],
)
def test_bad_choices_are_refused_with_the_rule(given: dict[str, object], words: str) -> None:
    with pytest.raises(InputUnusable, match=words):
        make(given)


def test_all_faults_are_told_at_once() -> None:
    with pytest.raises(InputUnusable) as told:
        make({"edition": "6E", "nonsense": 1})
    assert "edition" in str(told.value) and "nonsense" in str(told.value)


def test_file_and_pickle(tmp_path: object) -> None:
    from pathlib import Path

    file = Path(str(tmp_path)) / "b.toml"
    file.write_text('[basis]\ninlet_loss_limit = "4 %"\n', encoding="utf-8")
    made = load(file)
    assert made.inlet_loss_limit == pytest.approx(0.04)
    assert made.changed() == {"inlet_loss_limit": "4 %"}
    again = pickle.loads(pickle.dumps(made))
    assert again == made and again.changed() == made.changed()
    assert next(row for row in made.rows() if row["name"] == "inlet_loss_limit")["made_by"] == "this study"
