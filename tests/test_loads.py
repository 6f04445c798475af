"""Fire, thermal expansion and reaction loads against printed examples and the check cases of the standards."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quietseat.formula import Sheet
from quietseat.loads import fire, reaction, thermal, unwetted
from quietseat.sizing import Choices
from quietseat.sizing.gas import critical_flux, gas_coefficient
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

SHEET = Sheet(False)
BTU_H = 1055.05585262 / 3600  # W, International Table
FT2, INCH, LB = 0.3048**2, 0.0254, 0.45359237
LBF = LB * 9.80665
RANKINE = 5 / 9
GPM = 231 * INCH**3 / 60


# Check case 17 (API 521, memory-hi, recomputed): 1000 ft2 bare, Btu/h; 50 m2, W.
@pytest.mark.parametrize(("drained", "btu", "watt"), [(True, 6.0565e6, 1.0682e6), (False, 9.9499e6, 1.7531e6)])
def test_wetted_fire(drained: bool, btu: float, watt: float) -> None:
    usc = fire.wetted_fire(1000 * FT2, 300e3, SHEET, drained=drained, constants="exact")
    assert usc.heat / BTU_H == pytest.approx(btu, rel=5e-5)
    si = fire.wetted_fire(50.0, 300e3, SHEET, drained=drained)
    assert si.heat == pytest.approx(watt, rel=5e-5)
    assert si.flow == pytest.approx(watt / 300e3, rel=5e-5)


def test_exact_constants() -> None:
    """API 521 constants converted: 43 192, 70 959, and 66 246 for insulation (computed)."""
    assert fire._DRAINED["exact"] == pytest.approx(43192, abs=0.5)
    assert fire._UNDRAINED["exact"] == pytest.approx(70959, abs=0.5)
    assert fire._INSULATED["exact"] == pytest.approx(66246, abs=0.5)


def test_environment_factors() -> None:
    """Check case 18 (seen, ISO 23251 Table 6): conductance 1 Btu/h.ft2.degF 0.075; earth-covered 0.03."""
    insulated = fire.wetted_fire(50.0, 300e3, SHEET, equipment="insulated-5.68")
    assert insulated.factor == 0.075
    assert insulated.heat == pytest.approx(0.075 * 1.7531e6, rel=5e-5)
    assert fire.wetted_fire(50.0, 300e3, SHEET, equipment="earth-covered").factor == 0.03


INSULATED = [row for row in table("fire_factors") if row["conductance"] is not None]


@pytest.mark.parametrize("row", INSULATED, ids=lambda row: row["equipment"])
def test_insulation_formula_returns_the_table(row: dict[str, float]) -> None:
    """Table 6 rests on a temperature difference of 871 degC; the formula at 904 - 871 = 33 degC returns its rows."""
    found = fire.insulation_factor(row["conductance"], 273.15 + 33, 66570)
    assert found == pytest.approx(row["F"], abs=0.0035)  # the printed F are rounded, 22.71 to 0.3


def test_latent_heat_floor() -> None:
    found = fire.wetted_fire(50.0, 60e3, SHEET)
    assert found.latent_heat == 115e3 and found.flow == pytest.approx(1.7531e6 / 115e3, rel=5e-5)
    assert "floor" in found.flags[0]


def test_fire_refuses() -> None:
    for change in ({"equipment": "foil"}, {"constants": "rounded"}, {"conductance": 200.0, "temperature": 300.0}):
        with pytest.raises(CalculationFailed):
            fire.wetted_fire(50.0, 300e3, SHEET, **change)
    for area, latent in ((0.0, 3e5), (5.0, 0.0)):
        with pytest.raises(CalculationFailed) as caught:
            fire.wetted_fire(area, latent, SHEET)
        assert caught.value.status is Status.OUT_OF_RANGE


def test_fire_exponent() -> None:
    """The exponent 0.82 (also 46 CFR 54.15-25, seen): ten times the area is 6.607 times the heat."""
    small, large = (fire.wetted_fire(area, 3e5, SHEET).heat for area in (10.0, 100.0))
    assert large / small == pytest.approx(6.6069, abs=1e-4)


def test_unwetted_in_us_units() -> None:
    """API 521 3.2 in US units: W = 0.1406 sqrt(M P1) A' (Tw - T1)^1.25/T1^1.1506, lb/h; agrees to 0.01 %."""
    found = unwetted.unwetted_fire(
        500 * FT2, 0.029, 1.4, 560 * RANKINE, 100 * LBF / INCH**2, 150 * LBF / INCH**2, Choices(), SHEET,
        wall=1560 * RANKINE,
    )  # fmt: skip
    assert found.temperature == pytest.approx(840 * RANKINE, rel=1e-12)
    expected = 0.1406 * (29 * 150) ** 0.5 * 500 * (1560 - 840) ** 1.25 / 840**1.1506
    assert found.flow / (LB / 3600) == pytest.approx(expected, rel=2e-4)


def test_unwetted_area_is_the_critical_gas_area() -> None:
    """Self-check of the standard: W through the critical gas equation returns the area of F'."""
    choices = Choices()
    found = unwetted.unwetted_fire(46.0, 0.029, 1.4, 310.0, 7e5, 10e5, choices, SHEET)
    flux = critical_flux(C=gas_coefficient(1.4, "gas", choices, SHEET), P1=10e5, M=0.029, T=found.temperature, Z=1.0)
    assert found.flow / (0.975 * flux) == pytest.approx(found.required_area, rel=1e-9)
    assert not found.flags


def test_unwetted_floor_and_refusal() -> None:
    """F' floor 0.01 in US units = 182 mm2.kPa^0.5 (printed); gas hotter than the wall is refused."""
    hot = unwetted.unwetted_fire(10.0, 0.029, 1.4, 560.0, 7e5, 10e5, Choices(), SHEET)
    assert hot.required_area == pytest.approx(182e-6 * 10 / 1000**0.5, rel=1e-9)  # 1000 kPa
    assert hot.flags
    with pytest.raises(CalculationFailed, match="wall limit"):
        unwetted.unwetted_fire(10.0, 0.029, 1.4, 700.0, 7e5, 10e5, Choices(), SHEET)


def test_thermal_expansion() -> None:
    """Check case 19 (computed): 0.0005/degF, 1e6 Btu/h, G 0.8, c 0.5 -> 2.50 gpm, 1.575e-4 m3/s."""
    found = thermal.thermal_expansion(0.0005 * 1.8, 1e6 * BTU_H, 800.0, 0.5 * 4186.8, SHEET)
    assert found.volume_flow / GPM == pytest.approx(2.50, rel=3e-3)
    assert found.volume_flow == pytest.approx(1.575e-4, rel=5e-4)
    assert found.flow == pytest.approx(1.575e-4 * 800, rel=5e-4)
    with pytest.raises(CalculationFailed):
        thermal.thermal_expansion(0.0005, 0.0, 800.0, 2000.0, SHEET)


# API 521, memory-hi: API gravity 34.9, 35, 70, 100 and lighter; water.
@pytest.mark.parametrize(
    ("gravity", "expected"),
    [(34.9, 0.00072), (35.0, 0.0009), (70.0, 0.00126), (100.0, 0.00162), (120.0, 0.00162), (None, 0.00018)],
)
def test_expansion_coefficients(gravity: float | None, expected: float) -> None:
    assert thermal.expansion_coefficient(gravity) == pytest.approx(expected, rel=1e-9)
    with pytest.raises(CalculationFailed):
        thermal.expansion_coefficient(1.0)


def test_trapped_rise_of_a_rigid_pipe() -> None:
    """A pipe that does not give: the rise is expansion over compressibility (closed form)."""
    rigid = thermal.trapped_rise(10.0, 9e-4, 0.0, 1e-9, 0.1, 0.005, 1e30, 0.3)
    assert rigid == pytest.approx(10 * 9e-4 / 1e-9, rel=1e-9)
    assert thermal.trapped_rise(10.0, 9e-4, 1.2e-5, 1e-9, 0.1, 0.005, 2e11, 0.3) < rigid


def test_reaction_gas() -> None:
    """Check case 20 (seen, public worksheet): 418 950 lb/h, k 1.3, 1460 degR, M 18 -> 7750 lbf; dynamic 15 501."""
    printed = Choices(constants="printed", units_of_constants="USC")
    found = reaction.reaction_gas(418950 * LB / 3600, 1.3, 1460 * RANKINE, 0.018, 50.03 * INCH**2, printed, SHEET)
    assert found.force / LBF == pytest.approx(7750.5, abs=0.5)
    assert found.dynamic / LBF == pytest.approx(15501, abs=1)


def test_reaction_constants() -> None:
    """Printed 129 (SI) and 366 (US) against the exact 128.95 and 367.3 (computed): 0.04 % and 0.35 %."""
    exact, si, usc = (
        reaction.reaction_gas(
            10.0, 1.3, 400.0, 0.018, 0.03, replace(Choices(), constants=form, units_of_constants=units), SHEET
        ).force
        for form, units in (("exact", "SI"), ("printed", "SI"), ("printed", "USC"))
    )
    assert 129 * exact / si == pytest.approx(128.95, abs=0.005)
    assert 366 * usc / exact == pytest.approx(367.3, abs=0.05)
    # SI text of the standard, N: 129 W sqrt(kT/((k+1)M)) + 0.1 A P with A in mm2 and P in barg.
    pushed = reaction.reaction_gas(10.0, 1.3, 400.0, 0.018, 0.03, Choices(), SHEET, exit_pressure=3e5, atmospheric=1e5)
    assert pushed.force == pytest.approx(129 * 10 * (1.3 * 400 / (2.3 * 18)) ** 0.5 + 0.1 * 30000 * 2.0, rel=1e-9)


def test_reaction_two_phase() -> None:
    """Check case 20 (computed): 477 430 lb/h, x 0.55, 1.0 and 40 lb/ft3, 57.78 in2 -> 764.0; exact constant 764.6."""
    density = LB / 0.3048**3
    for choices, expected in (
        (Choices(constants="printed", units_of_constants="USC"), 764.0),
        (Choices(constants="exact"), 764.6),
    ):
        found = reaction.reaction_two_phase(
            477430 * LB / 3600, 0.55, 1.0 * density, 40 * density, 57.78 * INCH**2, choices, SHEET
        )
        assert found.force / LBF == pytest.approx(expected, abs=0.06)


def test_reaction_refuses() -> None:
    with pytest.raises(CalculationFailed):
        reaction.reaction_gas(10.0, 1.3, 400.0, 0.018, 0.0, Choices(), SHEET)
    with pytest.raises(CalculationFailed):
        reaction.reaction_two_phase(10.0, 1.2, 1.0, 800.0, 0.03, Choices(), SHEET)
