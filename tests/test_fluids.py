"""Names of fluids and their states. Expected values: IAPWS, NIST and textbook values, and closed forms."""

from __future__ import annotations

import subprocess
import sys

import pytest

from quietseat import fluids
from quietseat.formula import R
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table


@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("Propane", "n-Propane"), ("PROPANE VAPOUR", "n-Propane"), ("C3", "n-Propane"), ("iC4", "IsoButane"),
        ("n-Butane (R600)", "n-Butane"), ("Sat. steam", "Water"), ("LP steam", "Water"), ("BFW", "Water"), ("H2S", "HydrogenSulfide"),
        ("Ammonia, anhydrous", "Ammonia"), ("CO2", "CarbonDioxide"), ("Instrument Air", "Air"), ("N2", "Nitrogen"),
        ("ethene", "Ethylene"), ("Propylene (liq)", "Propylene"), ("benzene", "Benzene"), ("toluene", "Toluene"),
        ("Chlorine", "Chlorine"), ("n-Propane", "n-Propane"), ("hydrogen", "Hydrogen"), ("Oxygen gas", "Oxygen"),
    ],
)  # fmt: skip
def test_names_of_pure_fluids(name: str, key: str) -> None:
    assert fluids.resolve(name) == key
    assert fluids.why_not(name) == ""


@pytest.mark.parametrize("name", ["natural gas", "Natural Gas", "LPG", "fuel gas", "crude oil", "C4", "Lean amine", "Hot oil"])
def test_mixtures_have_no_key_and_say_why(name: str) -> None:
    assert fluids.resolve(name) is None
    assert "give" in fluids.why_not(name)


@pytest.mark.parametrize("name", ["", "unobtainium", "gas", "condensate", "vapour", None])
def test_unknown_names_are_not_guessed(name: str | None) -> None:
    assert fluids.resolve(name) is None
    assert fluids.why_not(name)


def test_every_key_is_in_the_library_with_its_molar_mass() -> None:
    import CoolProp.CoolProp as library

    for row in table("fluids").rows:
        if row["key"] is not None:
            assert library.PropsSI("M", row["key"]) * 1e3 == pytest.approx(row["molar_mass"], abs=1e-4)
        else:
            assert row["note"]


def test_steam_at_ten_bar() -> None:
    # IAPWS-IF97/95 steam tables, saturation at 10 bar: 179.88 degC, v" 0.19436 m3/kg, latent heat 2014.6 kJ/kg
    vapour = fluids.state("steam", 1e6, None, 1.0)
    assert vapour.phase == "gas"
    assert vapour.temperature - 273.15 == pytest.approx(179.88, abs=0.01)
    assert 1 / vapour.density == pytest.approx(0.19436, rel=1e-4)
    assert vapour.latent_heat == pytest.approx(2014.6e3, rel=1e-4)
    liquid = fluids.state("water", 1e6, None, 0.0)
    assert (liquid.phase, liquid.quality) == ("liquid", 0.0)
    mixed = fluids.state("water", 1e6, None, 0.5)
    assert mixed.phase == "two-phase" and mixed.sound_speed is None and mixed.viscosity is None
    # lever rule on volume and entropy, closed form
    assert 1 / mixed.density == pytest.approx(0.5 / liquid.density + 0.5 / vapour.density, rel=1e-9)
    assert fluids.saturation_temperature("steam", 101325.0) == pytest.approx(373.124, abs=0.01)  # 99.97 degC
    assert fluids.saturation_pressure("water", 373.124) == pytest.approx(101325, rel=1e-3)


def test_water_at_room_temperature() -> None:
    # NIST: 998.2 kg/m3, 1.0016 mPa s, 1482 m/s at 20 degC and 1 atm
    water = fluids.state("water", 101325.0, 293.15)
    assert water.phase == "liquid"
    assert water.density == pytest.approx(998.2, abs=0.05)
    assert water.viscosity == pytest.approx(1.0016e-3, rel=1e-3)
    assert water.sound_speed == pytest.approx(1482, abs=1)


@pytest.mark.parametrize(
    ("name", "kelvin", "k"), [("nitrogen", 300, 1.400), ("methane", 300, 1.304), ("argon", 300, 5 / 3), ("CO2", 300, 1.289)]
)
def test_ideal_gas_k_even_at_high_pressure(name: str, kelvin: float, k: float) -> None:
    # textbook ideal-gas values at 300 K; they do not move with pressure, as the real ratio would
    assert fluids.state(name, 1e5, kelvin).k_ideal == pytest.approx(k, abs=3e-3)
    assert fluids.state(name, 4e6, kelvin).k_ideal == pytest.approx(k, abs=3e-3)


def test_compressibility_is_its_definition() -> None:
    gas = fluids.state("ethylene", 3e6, 320.0)
    assert pytest.approx(gas.pressure * gas.molar_mass / (gas.density * R * gas.temperature), rel=1e-12) == gas.Z
    assert 0.7 < gas.Z < 0.9 and gas.reduced_volume > 1


def test_isentrope_keeps_entropy() -> None:
    start = fluids.state("water", 1e6, None, 0.1)
    at = 0.9 * start.pressure
    rho, h = fluids.isentrope("Water", start.entropy, at)
    assert fluids.isentrope_volume("steam", start.entropy, at) == pytest.approx(1 / rho)
    # dh = v dp at constant entropy: the mean of the end volumes is within 1 % over a tenth of the pressure
    mean = 0.5 * (1 / rho + 1 / start.density)
    assert start.enthalpy - h == pytest.approx(mean * (start.pressure - at), rel=0.01)


def test_supercritical_and_refused_states() -> None:
    assert fluids.state("CO2", 1e7, 330.0).phase == "supercritical"
    assert fluids.state("CO2", 1e7, 330.0).saturation_temperature is None
    for call, status in (
        (lambda: fluids.state("natural gas", 1e6, 300.0), Status.NOT_COMPUTED),
        (lambda: fluids.state("water", 1e6), Status.NOT_COMPUTED),
        (lambda: fluids.state("water", 1e6, None, 1.5), Status.OUT_OF_RANGE),
        (lambda: fluids.saturation_temperature("water", 3e7), Status.OUT_OF_RANGE),
        (lambda: fluids.saturation_pressure("nitrogen", 300.0), Status.OUT_OF_RANGE),
        (lambda: fluids.state("water", 1e6, 50.0), Status.OUT_OF_RANGE),
    ):
        with pytest.raises(CalculationFailed) as caught:
            call()
        assert caught.value.status is status and str(caught.value)


def test_the_library_is_loaded_late() -> None:
    code = "import sys, quietseat.fluids as f; f.resolve('propane'); sys.exit('CoolProp' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
