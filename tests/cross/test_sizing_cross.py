"""Sizing against other people's code: fluids, polykin, CoolProp, chemicals. Each is skipped visibly if absent."""

from __future__ import annotations

import random
import warnings
from dataclasses import replace

import pytest

from quietseat.formula import Sheet
from quietseat.sizing import Choices, Request, letters, size
from quietseat.status import Status
from quietseat.tables import table

SI = Choices()
ATM = 101325.0


def area(request: Request, choices: Choices = SI) -> float:
    result = size(request, choices, Sheet(record=False))
    assert result.status is Status.OK, result.reason
    assert result.required_area is not None
    return result.required_area


def draws(count: int, **ranges: tuple[float, float]) -> list[dict[str, float]]:
    """Random inputs, the same every run."""
    draw = random.Random(7)
    return [{name: draw.uniform(*span) for name, span in ranges.items()} for _ in range(count)]


# --- fluids ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def valve():  # type: ignore[no-untyped-def]
    return pytest.importorskip("fluids.safety_valve")


@pytest.mark.parametrize(
    "at", draws(40, m=(0.1, 60), T=(200, 700), Z=(0.6, 1.1), MW=(2, 150), k=(1.01, 1.8), P1=(2e5, 1e7), r=(0.02, 0.95))
)
def test_gas(valve, at) -> None:  # type: ignore[no-untyped-def]
    request = Request("gas", relieving_pressure=at["P1"], back_pressure=at["r"] * at["P1"], flow=at["m"],
                      molar_mass=at["MW"] / 1e3, k=at["k"], temperature=at["T"], Z=at["Z"])  # fmt: skip
    theirs = valve.API520_A_g(at["m"], at["T"], at["Z"], at["MW"], at["k"], at["P1"], at["r"] * at["P1"])
    # fluids uses the printed SI constants too; 17.9 and 0.03948
    assert area(request) == pytest.approx(theirs, rel=1e-9)


def test_gas_by_us_constants_within_a_tenth_percent(valve) -> None:  # type: ignore[no-untyped-def]
    theirs = valve.API520_A_g(24270 / 3600, 348, 0.9, 51, 1.11, 670e3)
    ours = area(Request("gas", relieving_pressure=670e3, flow=24270 / 3600, molar_mass=0.051, k=1.11, temperature=348.0,
                        Z=0.9), Choices(units_of_constants="USC"))  # fmt: skip
    assert ours == pytest.approx(theirs, rel=2e-3) and ours != pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize("at", draws(20, m=(0.1, 60), P1=(2e5, 2.2e7)))
def test_saturated_steam(valve, at) -> None:  # type: ignore[no-untyped-def]
    choices = Choices(napier_below_one="follow")  # fluids follows the formula below 1
    ours = area(Request("steam", relieving_pressure=at["P1"], flow=at["m"]), choices)
    theirs = valve.API520_A_steam(at["m"], 400.0, at["P1"])  # below the first column: its KSH is 1
    assert ours == pytest.approx(theirs, rel=1e-9)


@pytest.mark.parametrize("at", draws(30, P1=(0.6e6, 1.9e7), T=(640, 890)))
def test_superheated_steam_10e(valve, at) -> None:  # type: ignore[no-untyped-def]
    request = Request("steam", relieving_pressure=at["P1"], flow=10.0, temperature=at["T"])
    result = size(request, SI, Sheet(record=False))
    assert result.status is Status.OK
    if result.factors["KSH"] < 1.0:
        assert result.factors["KSH"] == pytest.approx(valve.API520_SH(at["T"], at["P1"], "10E"), rel=1e-6)


@pytest.mark.parametrize("at", draws(30, P1=(0.5e6, 1.9e7), T=(640, 910)))
def test_superheated_steam_7e(valve, at) -> None:  # type: ignore[no-untyped-def]
    # fluids enters the table with the relieving pressure, which the 7E heading calls set pressure: done alike here;
    # its metric grid is rounded, hence 0.2 %
    request = Request("steam", edition="7E", relieving_pressure=at["P1"], flow=10.0, temperature=at["T"])
    result = size(request, SI, Sheet(record=False))
    assert result.status is Status.OK
    if result.factors["KSH"] < 1.0:
        assert result.factors["KSH"] == pytest.approx(valve.API520_SH(at["T"], at["P1"], "7E"), rel=2e-3)


@pytest.mark.parametrize("at", draws(30, m=(0.5, 200), rho=(400, 1400), P1=(2e5, 1e7), share=(0.0, 0.9)))
def test_liquid(valve, at) -> None:  # type: ignore[no-untyped-def]
    P2 = ATM + at["share"] * (at["P1"] - ATM)
    ours = area(Request("liquid", relieving_pressure=at["P1"], back_pressure=P2, flow=at["m"], density=at["rho"]))
    theirs = valve.API520_A_l(at["m"], at["rho"], at["P1"], P2, 0.1, Kw=1.0, Kv=1.0)
    assert ours == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize("share", [0.05, 0.2, 0.3, 0.35, 0.4, 0.45, 0.4999])
@pytest.mark.parametrize("over", [0.10, 0.16, 0.21])
def test_bellows_gas(valve, share: float, over: float) -> None:  # type: ignore[no-untyped-def]
    p_set = 1e6 + ATM
    request = Request("gas", kind="bellows", set_pressure=p_set, overpressure=over, back_pressure=ATM + share * 1e6,
                      flow=1.0, molar_mass=0.02, k=1.05, temperature=300.0)  # fmt: skip
    result = size(request, SI, Sheet(record=False))
    assert result.status is Status.OK, result.reason
    assert result.factors["Kb"] == pytest.approx(valve.API520_B(p_set, ATM + share * 1e6, over), abs=0.005)


@pytest.mark.parametrize("share", [0.05, 0.2, 0.3, 0.4, 0.4999])
def test_bellows_liquid(valve, share: float) -> None:  # type: ignore[no-untyped-def]
    p_set = 1e6 + ATM
    request = Request("liquid", kind="bellows", set_pressure=p_set, overpressure=0.1, back_pressure=ATM + share * 1e6,
                      flow=1.0, density=900.0)  # fmt: skip
    result = size(request, SI, Sheet(record=False))
    assert result.factors["Kw"] == pytest.approx(valve.API520_W(p_set, ATM + share * 1e6), abs=0.005)


def test_letters(valve) -> None:  # type: ignore[no-untyped-def]
    for letter, held in zip(valve.API526_letters, valve.API526_A):
        assert letters.letters()[letter] == pytest.approx(held, rel=1e-9)
    for at in draws(50, A=(1e-6, 0.0167)):
        assert letters.letters()[str(letters.select(at["A"]).letter)] == pytest.approx(valve.API520_round_size(at["A"]))


# --- polykin ---------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def prv():  # type: ignore[no-untyped-def]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return pytest.importorskip("polykin.flow.prv")


def _mm2(result) -> float:  # type: ignore[no-untyped-def]
    """The area in mm2 of polykin's answer, whatever shape it has."""
    for name in ("A", "area"):
        if hasattr(result, name):
            return float(getattr(result, name))
    return float(result["A"])


@pytest.mark.parametrize("at", draws(25, W=(1e3, 3e5), P1=(3, 60), r=(0.05, 0.95), v1=(0.002, 0.1), omega=(0.6, 30)))
def test_two_phase(prv, at) -> None:  # type: ignore[no-untyped-def]
    v9 = at["v1"] * (1 + at["omega"] / 9)
    theirs = _mm2(prv.area_relief_2phase(at["W"], at["P1"], at["r"] * at["P1"], at["v1"], v9))
    ours = area(Request("two-phase", relieving_pressure=at["P1"] * 1e5, back_pressure=at["r"] * at["P1"] * 1e5,
                        flow=at["W"] / 3600, specific_volume=at["v1"], specific_volume_90=v9),
                Choices(omega_root="fit"))  # fmt: skip
    assert ours * 1e6 == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize("at", draws(25, Q=(50, 9e3), P1=(5, 60), ra=(0.03, 0.4), rs=(0.05, 0.99), rho=(400, 1000), omega=(2, 30)))
def test_subcooled(prv, at) -> None:  # type: ignore[no-untyped-def]
    rho9 = at["rho"] / (1 + at["omega"] / 9)
    P1, Pa, Ps = at["P1"], at["ra"] * at["P1"], at["rs"] * at["P1"]
    theirs = _mm2(prv.area_relief_2phase_subcooled(at["Q"], P1, Pa, Ps, at["rho"], rho9))
    ours = area(Request("subcooled", relieving_pressure=P1 * 1e5, back_pressure=Pa * 1e5, volume_flow=at["Q"] / 6e4,
                        saturation_pressure=Ps * 1e5, density=at["rho"], density_90=rho9))  # fmt: skip
    assert ours * 1e6 == pytest.approx(theirs, rel=1e-6)


def test_viscous_liquid_on_required_area(prv) -> None:  # type: ignore[no-untyped-def]
    # polykin iterates on the area itself, with the 7E-9E Kv
    theirs = float(prv.area_relief_liquid(6814, 18.96 + 1.01325, 3.45 + 1.01325, 388.4, 0.9, Kw=0.97))
    ours = area(Request("liquid", edition="9E", relieving_pressure=18.96e5 + ATM, back_pressure=3.45e5 + ATM,
                        volume_flow=6814 / 6e4, specific_gravity=0.9, viscosity=0.3884, overrides={"Kw": 0.97}),
                Choices(viscosity_area="required"))  # fmt: skip
    assert ours * 1e6 == pytest.approx(theirs, rel=1e-3)


# --- CoolProp and chemicals ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fluid", "bar", "flux"),
    [("Water", 10, 6441), ("Water", 50, 21022), ("n-Propane", 10, 6861.8), ("Ammonia", 10, 6499.2)],
)
def test_boiling_liquid_by_brute_force(fluid: str, bar: float, flux: float) -> None:
    """The library's high-level interface on a fine pressure grid, against our integration; published-style benchmarks."""
    props = pytest.importorskip("CoolProp.CoolProp").PropsSI
    P1 = bar * 1e5
    s0, h0 = props("Smass", "P", P1, "Q", 0, fluid), props("Hmass", "P", P1, "Q", 0, fluid)
    grid = [P1 * (0.5 + 0.5 * i / 400) for i in range(400)]
    brute = max(props("Dmass", "P", p, "Smass", s0, fluid) * (2 * (h0 - props("Hmass", "P", p, "Smass", s0, fluid))) ** 0.5
                for p in grid)  # fmt: skip
    result = size(Request("hem", relieving_pressure=P1, fluid=fluid, quality=0.0), SI, Sheet(record=False))
    assert result.mass_flux == pytest.approx(brute, rel=1e-4)
    assert result.mass_flux == pytest.approx(flux, rel=1e-3)


def test_omega_follows_integration_for_propane() -> None:
    from quietseat.sizing.hem import subcooled_inputs, two_phase_inputs

    # facts of API C.2.3 confirmed by the library: 31.84 lb/ft3, mixture 16.48 isentropic (computed)
    pound_foot3 = 0.45359237 / 0.3048**3
    rho, _, rho_9 = subcooled_inputs("propane", 2073.3e3, 288.706)
    assert rho / pound_foot3 == pytest.approx(31.84, abs=0.02)
    assert rho_9 / pound_foot3 == pytest.approx(16.48, abs=0.05)
    v1, v9 = two_phase_inputs("propane", 1e6, 0.0)
    omega = size(Request("two-phase", relieving_pressure=1e6, flow=1.0, specific_volume=v1, specific_volume_90=v9),
                 Choices(constants="exact"), Sheet(record=False))  # fmt: skip
    assert omega.omega == pytest.approx(6.897, rel=2e-3)  # computed
    assert omega.mass_flux == pytest.approx(6897.5, rel=1e-3)  # computed


@pytest.mark.parametrize(("mpa", "celsius"), [(1, 300), (2, 400), (4, 500), (6, 450), (10, 550), (20, 600), (20, 500)])
def test_superheat_table_by_first_principles(mpa: float, celsius: float) -> None:
    """KSH = isentropic flux of IAPWS-95 steam / Napier flux; the printed table agrees within 0.5 % off saturation."""
    P, T = mpa * 1e6, celsius + 273.15
    hem = size(Request("hem", relieving_pressure=P, fluid="water", temperature=T), SI, Sheet(record=False)).mass_flux
    napier = size(Request("steam", relieving_pressure=P, flow=1.0), SI, Sheet(record=False)).mass_flux
    assert hem is not None and napier is not None
    assert table("ksh_10e").grid(P, T) == pytest.approx(hem / napier, rel=5e-3)


def test_saybolt_shortcut_is_two_percent_low() -> None:
    chemicals = pytest.importorskip("chemicals.viscosity")
    nu = chemicals.viscosity_converter(2000, "saybolt universal", "kinematic viscosity")
    assert nu * 1e6 == pytest.approx(431.739, rel=1e-5)
    base = Request("liquid", edition="9E", relieving_pressure=275 * 6894.757 + ATM, back_pressure=50 * 6894.757 + ATM,
                   volume_flow=0.1135624, specific_gravity=0.9, overrides={"Kw": 0.97})  # fmt: skip
    short = size(replace(base, viscosity_ssu=2000.0), SI, Sheet(record=False))
    long = size(replace(base, viscosity=nu * 0.9 * 1000.0), SI, Sheet(record=False))
    assert short.reynolds is not None and long.reynolds is not None
    assert long.reynolds / short.reynolds == pytest.approx(4623 / 4525.2, rel=2e-3)
