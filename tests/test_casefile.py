"""Case files: the printed examples read as written, and every fault told by name."""

from __future__ import annotations

from pathlib import Path

import pytest

from quietseat.answers import size_answer, valve_answer
from quietseat.casefile import read_valve
from quietseat.status import InputUnusable

REF_A = """
[basis]
atmospheric_pressure = "1 bara"
[valve]
tag = "REF-A"
kind = "conventional"
set_pressure = "10 barg"
[case]
phase = "gas"
molar_mass = 28.965
k = 1.4
Z = 1.0
temperature = "293.15 K"
[inlet]
diameter = "77.9 mm"
friction_factor = 0.0
[vessel]
volume = "10 m3"
[dynamics]
seat_diameter = "50 mm"
moving_mass = "1.5 kg"
"""


def file(tmp_path: Path, text: str) -> str:
    path = tmp_path / "case.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_gas_example_7e_as_printed(tmp_path: Path) -> None:
    """API 520-1 7E gas example (memory-hi): 4.93 in2, letter P."""
    answer = size_answer(file(tmp_path, """
method = "gas"
edition = "7E"
flow = "53500 lb/h"
molar_mass = 65
k = 1.09
temperature = "627 degR"
Z = 0.84
set_pressure = "75 psig"
overpressure = "10 %"
[basis]
atmospheric_pressure = "14.7 psia"
units_of_constants = "USC"
"""))  # fmt: skip
    assert answer["required_area_m2"] / 0.0254**2 == pytest.approx(4.93, rel=0.003)
    assert answer["orifice"] == "P" and answer["regime"] == "critical" and answer["status"] == "ok"
    assert answer["relieving_pressure_pa"] / 6894.757 == pytest.approx(97.2, abs=0.01)


def test_gas_example_10e_as_printed(tmp_path: Path) -> None:
    """API 520-1 10E p. 75 (seen in two open libraries): 3698 mm2, letter P."""
    answer = size_answer(file(tmp_path, """
method = "gas"
flow = "24270 kg/h"
molar_mass = 51
k = 1.11
temperature = "348 K"
Z = 0.90
relieving_pressure = "670 kPaa"
"""))  # fmt: skip
    assert answer["required_area_m2"] * 1e6 == pytest.approx(3699, rel=0.001)


def test_liquid_example_as_printed(tmp_path: Path) -> None:
    """API 520-1 viscous liquid example (seen): 4.752 in2 then Re 4525, Kv 0.964, 4.930 in2, letter P."""
    answer = size_answer(file(tmp_path, """
method = "liquid"
edition = "7E"
kind = "bellows"
volume_flow = "1800 gpm"
specific_gravity = 0.9
viscosity = "2000 SSU"
set_pressure = "250 psig"
overpressure = "10 %"
back_pressure = "50 psig"
[basis]
units_of_constants = "USC"
atmospheric_pressure = "14.7 psia"
"""))  # fmt: skip
    assert answer["reynolds"] == pytest.approx(4525, rel=0.002)
    assert answer["factors"]["Kw"] == pytest.approx(0.97, abs=0.005)
    assert answer["required_area_m2"] / 0.0254**2 == pytest.approx(4.930, rel=0.002)
    assert answer["orifice"] == "P"


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('sett_pressure = "10 barg"', "nearest known key is 'set_pressure'"),
        ('set_pressure = "10 bar"', "gauge or absolute"),
        ("set_pressure = 10", "needs a unit"),
        ('flow = "100 kg"', "flow"),
        ('method = "magic"', "must be one of gas"),
        ("molar_mass = 65000", "between 1 and 1000"),
    ],
)
def test_faults_are_named(tmp_path: Path, line: str, words: str) -> None:
    base = {"method": 'method = "gas"'}
    base[line.split(" ")[0]] = line
    with pytest.raises(InputUnusable, match=words):
        size_answer(file(tmp_path, "\n".join(base.values())))


def test_gas_volume_flow_uses_stated_reference_conditions(tmp_path: Path) -> None:
    """One Nm3 is 44.615 mol (CODATA R, 0 degC, 101.325 kPa)."""
    text = 'method="gas"\nflow="1000 Nm3/h"\nmolar_mass=28\nk=1.4\ntemperature="300 K"\nrelieving_pressure="10 bara"'
    answer = size_answer(file(tmp_path, text))
    assert answer["flow_kg_s"] == pytest.approx(1000 * 44.615 * 0.028 / 3600, rel=1e-4)
    assert any("0 degC" in a["rule"] for a in answer["assumptions"])


def test_not_toml_missing_and_folder_end_in_one_sentence(tmp_path: Path) -> None:
    for path in (file(tmp_path, "not = = toml"), str(tmp_path / "absent.toml"), str(tmp_path)):
        with pytest.raises(InputUnusable) as told:
            size_answer(path)
        assert str(told.value).count("\n") == 0


def test_valve_file_of_the_reference_case_reads(tmp_path: Path) -> None:
    case = read_valve(file(tmp_path, REF_A))
    assert case.location.valve.set_pressure == pytest.approx(11e5)
    assert case.location.dynamics.moving_mass == 1.5
    answer = valve_answer(file(tmp_path, REF_A))
    assert answer["verdict"] == "unproven"  # no rate, no length: never sound


def test_line_and_history_lists(tmp_path: Path) -> None:
    case = read_valve(file(tmp_path, """
[valve]
tag = "V"
designation = "4P6"
set_pressure = "10 barg"
[inlet]
size = "4 in"
schedule = "40"
length = "2 m"
fittings = [{kind = "elbow-90", count = 2}]
[[history]]
date = "2024-05-01"
event = "pop"
value = "10.4 barg"
"""))  # fmt: skip
    place = case.location
    assert (place.valve.inlet_size, place.valve.orifice, place.valve.outlet_size) == (4, "P", 6)
    assert place.inlet.fittings[0].kind == "elbow-90" and place.inlet.fittings[0].count == 2
    assert place.history.events[0].value == pytest.approx(10.4e5 + 101325)


def test_unknown_fitting_and_table_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputUnusable, match="must be one of elbow-90"):
        read_valve(file(tmp_path, '[inlet]\nfittings = [{kind = "bend"}]'))
    with pytest.raises(InputUnusable, match=r"nearest known key is '\[inlet\]'"):
        read_valve(file(tmp_path, '[inlett]\nlength = "1 m"'))
