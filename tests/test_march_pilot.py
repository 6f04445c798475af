"""The pilot's functions one by one, then whole pilot valves in the march.

Expected values: the dynamics review (tests T8, table of sense tubes, reference cases PIL-S and PIL-M) and closed forms
written out here; numbers of the code under test prove nothing and are not repeated.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import pytest

from quietseat.march import pilot
from quietseat.march.cases import Disc, Gas, Liquid, MarchCase, Outlet, Pilot, Pipe
from quietseat.status import CalculationFailed

BAR = 1e5
AIR = Gas(1.4, 287.05, 293.15)
WATER = Liquid(998.0, 1200.0)


@pytest.fixture(scope="module")
def plain() -> SimpleNamespace:
    return pilot.build(lambda function: function, float)


def case(fluid: Gas | Liquid = AIR, length: float = 1.0, load: float = 1.0, zeta: float = 0.02, duration: float = 5.0, **changed: object) -> MarchCase:
    """PIL-S of the review: the 34 mm valve REF-P with dome and pilot instead of the spring."""
    bore = 0.034
    area = math.pi / 4 * bore**2
    disc = Disc(
        seat_diameter=bore, max_lift=0.27 * bore, mass=2.0, spring_rate=0.0, curtain_coefficient=0.85,
        nozzle_coefficient=0.85, area_ratio=1.05, knee=0.5, damping_ratio=zeta, restitution=0.5,
    )  # fmt: skip
    given: dict[str, object] = {
        "action": "snap", "sense": "remote", "bleeding": False, "dome_area_ratio": 1.3, "dome_volume": 60e-6,
        "vent_area": 8e-6, "fill_area": 4e-6, "coefficient": 0.8, "blowdown": 0.05, "lag": 0.02,
    }  # fmt: skip
    rated = 0.85 * area * 12 * BAR * 0.684731 / math.sqrt(287.05 * 293.15)
    if isinstance(fluid, Liquid):
        rated = 0.85 * area * math.sqrt(2 * fluid.density * 11 * BAR)
    return MarchCase(
        fluid, 2.0, load * rated, (Pipe(length, 0.0525, 0.02),), 11 * BAR, BAR, disc, Outlet(BAR),
        pilot=Pilot(**(given | changed)), duration=duration,  # type: ignore[arg-type]
    )  # fmt: skip


def numbers(case: MarchCase) -> SimpleNamespace:
    return SimpleNamespace(**dict(zip(pilot.PARAMETERS, pilot.pack(case), strict=True)))


# --- Ports and dome -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("k", "near"), [(1.1, 0.025), (1.3, 0.012), (1.4, 0.005), (5 / 3, 0.013)])
def test_port_is_the_isentropic_nozzle(plain: SimpleNamespace, k: float, near: float) -> None:
    critical = (2 / (k + 1)) ** (k / (k - 1))
    choked = math.sqrt(k) * (2 / (k + 1)) ** ((k + 1) / (2 * (k - 1)))
    for r in (0.05, 0.3, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.98):
        exact = choked if r <= critical else math.sqrt(2 * k / (k - 1) * (r ** (2 / k) - r ** ((k + 1) / k)))
        expected = 1e-5 * 8 * BAR * exact / math.sqrt(9e4)  # kg/s with R T = 9e4
        assert plain.port(1e-5, 8 * BAR, 9e4, r * 8 * BAR, 7e4, choked, critical) / 9e4 == pytest.approx(expected, rel=near)
        assert plain.port(1e-5, r * 8 * BAR, 7e4, 8 * BAR, 9e4, choked, critical) / 9e4 == pytest.approx(-expected, rel=near)
    assert plain.port(1e-5, BAR, 9e4, BAR, 9e4, choked, critical) == 0.0


@pytest.mark.parametrize(
    ("volume", "vent", "isentropic", "isothermal"),
    [(100e-6, 5e-6, 29.83e-3, 40.91e-3), (500e-6, 10e-6, 74.57e-3, 102.26e-3), (2000e-6, 20e-6, 149.14e-3, 204.53e-3)],
)
def test_dome_dump_times(plain: SimpleNamespace, volume: float, vent: float, isentropic: float, isothermal: float) -> None:
    """T8: C = 0.7, air at 300 K, from 11 bar to 75 %."""
    for exponent, expected in ((1.4, isentropic), (1.0, isothermal)):
        made = case(Gas(1.4, 287.05, 300.0), exponent=exponent, coefficient=0.7, vent_area=vent, dome_volume=volume)
        of = numbers(made)
        dome, time, h = 11 * BAR, 0.0, 1e-5
        while dome > 0.75 * 11 * BAR:
            warm = plain.dome_rt(dome, of.exponent, of.supply, of.set)
            dome = plain.dome_gas(
                dome, of.max_lift, of.max_lift, h, of.vent_port, 0.0, dome, BAR, warm, of.dome_area, of.dome_full,
                of.max_lift, of.exponent, of.supply, of.choked, of.critical,
            )  # fmt: skip
            time += h
        assert time == pytest.approx(expected, rel=0.01)


def test_trapped_dome_follows_the_polytrope_and_has_its_stiffness(plain: SimpleNamespace) -> None:
    made = case()
    of = numbers(made)
    full, lift = pilot.dome_volume(made), 0.0
    dome = 11 * BAR
    for step in range(200):
        new = of.max_lift * (step + 1) / 200
        dome = plain.dome_gas(
            dome, lift, new, 1e-6, 0.0, 0.0, BAR, BAR, of.supply, of.dome_area, of.dome_full, of.max_lift, of.exponent,
            of.supply, of.choked, of.critical,
        )  # fmt: skip
        lift = new
    assert dome == pytest.approx(11 * BAR * (full / 60e-6) ** 1.2, rel=1e-6)
    area = 1.3 * math.pi / 4 * 0.034**2
    assert pilot.dome_stiffness(made) == pytest.approx(1.2 * 11 * BAR * area**2 / (60e-6 + area * 0.27 * 0.034), rel=1e-12)


def test_dome_pressure_stays_above_zero(plain: SimpleNamespace) -> None:
    of = numbers(case(dome_volume=1e-9, vent_area=1e-3))
    dome = 11 * BAR
    for _ in range(50):  # a step far longer than the dome takes
        dome = plain.dome_gas(
            dome, of.max_lift, of.max_lift, 1e-3, of.vent_port, 0.0, dome, 1.0, of.supply, of.dome_area, of.dome_full,
            of.max_lift, of.exponent, of.supply, of.choked, of.critical,
        )  # fmt: skip
        assert 0.0 < dome < 11 * BAR


def test_liquid_dome_empties_by_the_square_root_law(plain: SimpleNamespace) -> None:
    made = case(WATER)
    of = numbers(made)
    bulk = 0.5 * 998.0 * 1200.0**2  # half of the liquid's, by the table
    assert of.choked == pytest.approx(bulk, rel=1e-12)
    dome, time, h = 11 * BAR, 0.0, 1e-8
    while dome > 5 * BAR:
        dome = plain.dome_liquid(dome, 0.0, 0.0, h, of.vent_port, 0.0, dome, BAR, of.dome_area, of.dome_full, of.max_lift, of.supply, of.choked, of.critical)
        time += h
    closed = pilot.dome_volume(made) / (bulk * 0.8 * 8e-6) * math.sqrt(2 * 998.0) * (math.sqrt(10 * BAR) - math.sqrt(4 * BAR))
    assert time == pytest.approx(closed, rel=0.01)
    stiff = plain.dome_liquid(5 * BAR, 0.0, 0.0, 1.0, of.vent_port, of.fill_port, 11 * BAR, BAR, of.dome_area, of.dome_full, of.max_lift, of.supply, of.choked, of.critical)
    assert BAR < stiff < 11 * BAR  # a step a thousand times too long stays between what fills and what empties


# --- Opening ------------------------------------------------------------------------------------------------


def stroke(plain: SimpleNamespace, made: MarchCase) -> tuple[float, float]:
    """Times from opening the vent to 1 % of lift and to the stop, the inlet held at set."""
    of, disc = numbers(made), made.disc
    damping = 2 * disc.damping_ratio * math.sqrt(pilot.dome_stiffness(made) * disc.mass)
    lift, speed, dome, time, h, begun = 0.0, 0.0, 11 * BAR, 0.0, 5e-6, 0.0
    while lift < disc.max_lift:
        area = disc.seat_area * (1 + 0.05 * min(lift / (0.5 * disc.max_lift), 1.0))
        force = plain.piston(area, 11 * BAR, BAR, dome, disc.seat_area, of.dome_area) - damping * speed
        speed = speed + h * force / disc.mass if lift > 0.0 or force > 0.0 else 0.0
        new = max(0.0, lift + h * speed)
        warm = plain.dome_rt(dome, of.exponent, of.supply, of.set)
        dome = plain.dome_gas(
            dome, lift, new, h, of.vent_port, 0.0, 11 * BAR, BAR, warm, of.dome_area, of.dome_full, of.max_lift,
            of.exponent, of.supply, of.choked, of.critical,
        )  # fmt: skip
        lift, time = new, time + h
        begun = begun or (time if lift > 0.01 * disc.max_lift else 0.0)
    return begun, time


def test_opening_time_of_the_snap_pilot_valve(plain: SimpleNamespace) -> None:
    """PIL-S opens in 14 to 15 ms; here from 1 % of lift to the stop."""
    begun, ended = stroke(plain, case())
    assert 14e-3 <= ended - begun <= 15e-3


def test_opening_agrees_with_scipy(plain: SimpleNamespace) -> None:
    """The same equations with the exact isentropic port, written out and solved by scipy's RK45."""
    integrate = pytest.importorskip("scipy.integrate")
    area, n, rt, mass = math.pi / 4 * 0.034**2, 1.2, 287.05 * 293.15, 2.0
    dome_area, top = 1.3 * area, 0.27 * 0.034
    stiffness = n * 11 * BAR * dome_area**2 / (60e-6 + dome_area * top)
    damping = 2 * 0.02 * math.sqrt(stiffness * mass)

    def vent(p: float) -> float:  # kg/s times R T of the dome
        r = max(BAR / p, (2 / 2.4) ** 3.5)
        return 0.8 * 8e-6 * p * math.sqrt(7.0 * (r ** (2 / 1.4) - r ** (2.4 / 1.4))) * math.sqrt(rt * (p / (11 * BAR)) ** (0.2 / n))

    def rates(_: float, y: tuple[float, float, float]) -> list[float]:
        lift, speed, p = y
        force = area * (1 + 0.05 * min(max(lift, 0.0) / (0.5 * top), 1.0)) * 11 * BAR - dome_area * p + (dome_area - area) * BAR
        held = lift <= 0.0 and force < 0.0
        volume = 60e-6 + dome_area * (top - lift)
        return [speed, 0.0 if held else (force - damping * speed) / mass, n / volume * (p * dome_area * speed - vent(p))]

    def one_percent(_: float, y: tuple[float, float, float]) -> float:
        return y[0] - 0.01 * top

    def stop(_: float, y: tuple[float, float, float]) -> float:
        return y[0] - top

    stop.terminal = True  # type: ignore[attr-defined]
    found = integrate.solve_ivp(rates, (0.0, 0.1), [0.0, 0.0, 11 * BAR], "RK45", rtol=1e-8, atol=1e-10, max_step=1e-4, events=(one_percent, stop))
    begun, ended = stroke(plain, case())
    assert begun == pytest.approx(found.t_events[0][0], rel=1e-3)
    assert ended == pytest.approx(found.t_events[1][0], rel=1e-3)


def test_piston_without_backflow_preventer_lifts_when_the_outlet_is_above_the_inlet(plain: SimpleNamespace) -> None:
    seat, dome = 9e-4, 1.17e-3
    assert plain.piston(seat, 11 * BAR, BAR, 11 * BAR, seat, dome) == pytest.approx(-(dome - seat) * 10 * BAR)
    assert plain.piston(seat, BAR, 3 * BAR, BAR, seat, dome) > 0.0  # the dome has emptied to the inlet through the pilot


# --- Sense tube ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("bore", "length", "frequency"), [(7.6e-3, 3.0, 25.0), (7.6e-3, 10.0, 8.2), (4.5e-3, 3.0, 20.5)])
def test_first_mode_of_the_sense_tube(plain: SimpleNamespace, bore: float, length: float, frequency: float) -> None:
    """Table of 1.6, air at 11 bar, 20 cm3: ring the lump after a small step and count its periods."""
    of = numbers(case(sense_length=length, sense_bore=bore, sense_volume=20e-6))
    area = math.pi / 4 * bore**2
    wave = pilot.first_wave_number(length, area, 20e-6)
    assert wave * math.tan(wave * length) == pytest.approx(area / 20e-6, rel=1e-9)
    tap, sense, draw, dt, crossings, before = 11 * BAR, 11 * BAR - 100.0, 0.0, 5e-5, [], -1.0
    for step in range(20000):
        sense, draw = plain.sense_step(sense, draw, tap, 0.0, dt, of.tube, of.tube_stiffness, of.tube_laminar, of.tube_turbulent)
        if before < 0.0 <= sense - tap:
            crossings.append((step + 1) * dt - dt * (sense - tap) / (sense - tap - before))
        before = sense - tap
    periods = (crossings[3] - crossings[0]) / 3
    assert 1 / periods == pytest.approx(frequency, rel=0.02)
    assert abs(sense - tap) < 75.0  # resistance damps it


def test_tube_loss_of_a_steady_draw(plain: SimpleNamespace) -> None:
    """A pilot that bleeds pulls its own sense pressure down: 128 mu L/(pi d4 rho) m + (f L/d + K) m2/(2 rho A2)."""
    of = numbers(case(sense_length=3.0, sense_bore=7.6e-3, sense_volume=20e-6))
    sense, draw, flow = 11 * BAR, 0.0, 0.01
    for _ in range(200000):
        sense, draw = plain.sense_step(sense, draw, 11 * BAR, flow, 5e-5, of.tube, of.tube_stiffness, of.tube_laminar, of.tube_turbulent)
    density, area = 11 * BAR / (287.05 * 293.15), math.pi / 4 * 7.6e-3**2
    loss = 128 * 1.8e-5 * 3 / (math.pi * 7.6e-3**4 * density) * flow + (0.03 * 3 / 7.6e-3 + 1.5) * flow**2 / (2 * density * area**2)
    assert draw == pytest.approx(flow, rel=1e-6)
    assert 11 * BAR - sense == pytest.approx(loss, rel=1e-3)


def test_no_tube_no_lag_feels_the_tap(plain: SimpleNamespace) -> None:
    of = numbers(case(lag=0.0))
    assert plain.sense_step(9 * BAR, 0.0, 10 * BAR, 0.0, 1e-5, of.tube, of.tube_stiffness, of.tube_laminar, of.tube_turbulent) == (10 * BAR, 0.0)
    assert plain.lag_step(9 * BAR, 10 * BAR, 1e-5, 0.0) == 10 * BAR
    felt = 0.0
    for _ in range(2000):
        felt = plain.lag_step(felt, 1.0, 1e-5, 0.02)
    assert felt == pytest.approx(1 - math.exp(-1), rel=1e-3)


# --- Relay and spool ----------------------------------------------------------------------------------------


def test_relay_has_hysteresis(plain: SimpleNamespace) -> None:
    of = numbers(case())
    assert of.reseat == pytest.approx(BAR + 0.95 * 10 * BAR)
    relay, seen = 0.0, []
    for gauge in (9.4, 9.6, 9.99, 10.0, 9.9, 9.6, 9.51, 9.5, 9.6, 9.99, 10.01):
        relay = plain.relay_step(relay, BAR + gauge * BAR, of.set, of.reseat)
        seen.append(relay)
    assert seen == [0, 0, 0, 1, 1, 1, 1, 0, 0, 0, 1]


def opened(plain: SimpleNamespace, made: MarchCase, felt: float, dome: float, relay: float = 0.0) -> tuple[float, float]:
    of = numbers(made)
    vent, fill = plain.ports(
        felt, relay, dome, BAR, of.vent_port, of.fill_port, of.set, of.bleed_from, of.bleed_share, of.modulating, of.band,
        of.depth, of.null, of.span,
    )  # fmt: skip
    return vent / of.vent_port, fill / of.fill_port


def test_snap_ports_and_bleeding(plain: SimpleNamespace) -> None:
    assert opened(plain, case(), 10.9 * BAR, 10.9 * BAR) == (0.0, 1.0)
    assert opened(plain, case(), 10.9 * BAR, 10.9 * BAR, 1.0) == (1.0, 0.0)
    bleeding = case(bleeding=True)
    assert opened(plain, bleeding, 10.4 * BAR, 10.4 * BAR) == (0.0, 1.0)
    vent, fill = opened(plain, bleeding, 10.75 * BAR, 10.7 * BAR)  # half way from 95 % to set
    assert vent == pytest.approx(0.05) and fill == 1.0
    assert opened(plain, bleeding, 11 * BAR, 8 * BAR, 1.0) == (1.0, 1.0)


def test_modulating_spool_holds_in_its_null_zone_and_follows_its_target(plain: SimpleNamespace) -> None:
    made = case(action="modulating", band=0.05, band_depth=0.7, null_zone=0.01)
    felt = 11.25 * BAR  # half of the band: the dome should have lost 0.35 of the gauge pressure
    target = BAR + 10.25 * BAR * 0.65
    for error in (-0.09, 0.0, 0.09):  # bar; null zone 0.1 bar
        assert opened(plain, made, felt, target + error * BAR) == (0.0, 0.0)
    vent, fill = opened(plain, made, felt, target + 0.6 * BAR)  # half of the span of 1 bar beyond the null zone
    assert vent == pytest.approx(0.5) and fill == 0.0
    vent, fill = opened(plain, made, felt, target - 0.6 * BAR)
    assert vent == 0.0 and fill == pytest.approx(0.5)
    assert opened(plain, made, felt, target + 5 * BAR) == (1.0, 0.0)
    assert opened(plain, made, 10.9 * BAR, 8 * BAR) == (0.0, 1.0)  # below set the dome is filled, never vented
    assert opened(plain, made, 10 * BAR, 11 * BAR)[0] == 0.0


def test_a_pilot_case_starts_shut() -> None:
    with pytest.raises(CalculationFailed, match="starts shut"):
        pilot.pack(replace(case(), start="equilibrium"))
    with pytest.raises(CalculationFailed, match="no pilot"):
        pilot.pack(replace(case(), pilot=None, disc=replace(case().disc, spring_rate=1e4)))


# --- One source, two precisions -----------------------------------------------------------------------------


def test_single_precision_stays_single() -> None:
    numba = pytest.importorskip("numba")
    numpy = pytest.importorskip("numpy")
    single = pilot.build(numba.njit, numpy.float32)
    of = {name: numpy.float32(value) for name, value in zip(pilot.PARAMETERS, pilot.pack(case(sense_length=1.0, sense_bore=0.0076, sense_volume=2e-5)), strict=True)}
    names = pilot.PARAMETERS
    ports = [of[name] for name in names[names.index("vent_port") : names.index("dump_bowl")]]
    p = numpy.float32(11e5)
    small = numpy.float32(1e-5)
    zero = numpy.float32(0.0)
    single.signal(p, zero, p, zero, p, p, p, numpy.float32(1e5), small, of["supply"], True, *ports, of["supply"], of["choked"], of["critical"])
    single.dome_gas(
        p, zero, small, small, of["vent_port"], of["fill_port"], p, numpy.float32(1e5), of["supply"], of["dome_area"], of["dome_full"],
        of["max_lift"], of["exponent"], of["supply"], of["choked"], of["critical"],
    )  # fmt: skip
    for name in ("signal", "dome_gas"):
        (kernel,) = getattr(single, name).overloads.values()
        returned = 6 if name == "signal" else 1
        assert kernel.library.get_llvm_str().count(" fpext ") <= returned, name  # boxing for Python, no arithmetic


# --- Whole valves in the march ------------------------------------------------------------------------------


def line(made: MarchCase, length: float, loss: float = 1.0) -> MarchCase:
    """The case on a line of this length. The review does not state the K it spread along the line of PIL-S; with
    K = 1 (an entrance and a bend) the switches come out as it counts them."""
    return replace(made, segments=(Pipe(length, 0.0525, 0.02, loss),), cells=20)


LENGTHS = (0.5, 1.0, 2.0, 4.0)


@pytest.fixture(scope="module")
def pil_s() -> dict[tuple[str, float, float], object]:
    """PIL-S: sensing and load over the length of the inlet line, 5 s each, no early stop."""
    from quietseat.march.engine import march

    keys = [(sense, load, length) for sense in ("remote", "integral") for load in (1.0, 0.4) for length in LENGTHS]
    cases = [line(case(sense=sense, load=load), length) for sense, load, length in keys]
    return dict(zip(keys, march(cases, early_stop=False), strict=True))


@pytest.mark.parametrize("length", LENGTHS)
def test_remote_snap_pilot_at_full_load_opens_once(pil_s: dict[tuple[str, float, float], SimpleNamespace], length: float) -> None:
    """Review 2.17: "steady: one opening, no re-switch at any length tried"; opening 14 to 15 ms (5 to 95 % here)."""
    result = pil_s["remote", 1.0, length]
    assert (result.verdict, result.pilot_switches, result.openings, result.reclosings) == ("quiet", 1, 1, 0)
    assert result.opening_time == pytest.approx(13.5e-3, abs=1.5e-3)


@pytest.mark.parametrize("length", LENGTHS)
def test_remote_snap_pilot_at_part_load_pops_in_cycles(pil_s: dict[tuple[str, float, float], SimpleNamespace], length: float) -> None:
    """5 pilot switches in 5 s, period 2.1 s by formula 3.7."""
    result = pil_s["remote", 0.4, length]
    assert result.verdict == "cycles"
    assert result.pilot_switches == 5
    assert result.cycle_period == pytest.approx(2.1, rel=0.05)


def test_integral_snap_pilot_at_full_load_holds_to_one_metre(pil_s: dict[tuple[str, float, float], SimpleNamespace]) -> None:
    """ "Stable only to 1 m; 27 switches at 2 m, 47 at 4 m": the class counts, not the number."""
    for length in (0.5, 1.0):
        assert (pil_s["integral", 1.0, length].verdict, pil_s["integral", 1.0, length].pilot_switches) == ("quiet", 1)
    for length, counted in ((2.0, 27), (4.0, 47)):
        result = pil_s["integral", 1.0, length]
        assert result.verdict == "cycles"
        assert counted / 2 < result.pilot_switches < 2 * counted


def test_integral_snap_pilot_at_part_load_switches_many_times(pil_s: dict[tuple[str, float, float], SimpleNamespace]) -> None:
    """16 switches at 0.5 m, 60 or more from 1 m up."""
    assert pil_s["integral", 0.4, 0.5].pilot_switches == pytest.approx(16, abs=3)
    for length in (1.0, 2.0, 4.0):
        assert pil_s["integral", 0.4, length].pilot_switches >= 60
        assert pil_s["integral", 0.4, length].verdict != "quiet"


def test_bleeding_and_sense_tube_leave_the_remote_pilot_steady() -> None:
    from quietseat.march.engine import march

    tube = {"sense_length": 3.0, "sense_bore": 7.6e-3, "sense_volume": 20e-6}
    cases = [line(case(sense="remote", load=1.0, bleeding=bleeding, **tube), 2.0) for bleeding in (False, True)]
    for result in march(cases, early_stop=False):
        assert (result.verdict, result.pilot_switches) == ("quiet", 1)


def test_modulating_pilot_on_a_flat_piston_and_a_quick_spool() -> None:
    """PIL-M, 40 % load. Remote: quiet to 1 m with zeta 0.1 or more, beyond only with zeta 2. Integral: worse at 2 m and more.

    The review states neither lag nor rise of the piston area of PIL-M; with 20 ms of lag no remote setting is quiet.
    """
    from quietseat.march.engine import march

    def settings(sense: str, lengths: tuple[float, ...], zeta: float, lag: float = 0.0) -> list[MarchCase]:
        made = [line(case(sense=sense, load=0.4, zeta=zeta, action="modulating", lag=lag, span=0.05, duration=4.0), length) for length in lengths]
        return [replace(one, disc=replace(one.disc, area_ratio=1.0)) for one in made]

    calm = settings("remote", (0.5, 1.0), 0.1) + settings("remote", LENGTHS, 2.0)
    wild = settings("remote", (2.0, 4.0), 0.1) + settings("integral", (2.0, 4.0), 0.1) + settings("integral", (2.0, 4.0), 2.0)
    slow = settings("remote", LENGTHS[:3], 0.1, 0.02)
    results = march(calm + wild + slow)
    assert {result.verdict for result in results[: len(calm)]} == {"quiet"}
    assert not {result.verdict for result in results[len(calm) :]} & {"quiet", "unproven"}


def test_outlet_above_the_inlet_lifts_the_piston_and_flows_back() -> None:
    from quietseat.march.engine import march

    made = line(case(load=0.0, duration=0.5), 1.0)
    shut, back = march([made, replace(made, outlet=Outlet(14 * BAR))], early_stop=False)
    assert shut.openings == 0 and shut.vessel_pressure_max == pytest.approx(BAR + 0.995 * 10 * BAR, rel=1e-6)
    assert back.vessel_pressure_max > 11 * BAR  # the vessel is filled from the outlet, its pilot never asked for it


def test_a_run_too_short_for_its_vessel_is_not_quiet() -> None:
    """0.5 % of set takes 20 m3 about 4 s to fill at this inflow (0.005 p_set V/(a^2 m)): after 1 s nothing is known."""
    from quietseat.march.engine import march

    (result,) = march([replace(line(case(load=0.1, duration=1.0), 1.0), vessel_volume=20.0)])
    assert result.verdict == "unproven" and "not opened" in result.reason


def test_liquid_pilot_valve_pops_in_cycles_at_part_load() -> None:
    """Water, remote: one opening at full load; at 40 % the period grows with the vessel as formula 3.7 says,
    T = V BD p_set/a^2 (1/m_in + 1/(m_v - m_in)); lag and strokes, which it leaves out, add the same to any vessel."""
    from quietseat.march.engine import march

    made = [line(case(WATER, sense="remote", load=load, duration=time), 2.0) for load, time in ((1.0, 2.0), (0.4, 3.0), (0.4, 5.0))]
    volumes = (20.0, 100.0, 300.0)
    full, small, large = march([replace(one, vessel_volume=volume, cells=10) for one, volume in zip(made, volumes)], early_stop=False)
    assert (full.verdict, full.pilot_switches) == ("quiet", 1)
    assert small.verdict == large.verdict == "cycles"
    valve, bore = 0.85 * math.pi / 4 * 0.034**2, math.pi / 4 * 0.0525**2
    resistance = 1 / valve**2 + (0.02 * 2.0 / 0.0525 + 1.0) / bore**2  # the line's loss comes before the valve
    flow = math.sqrt(2 * 998.0 * 9.75 * BAR / resistance)  # half way from set to reseat
    inflow = made[1].inflow
    growth = 0.05 * 10 * BAR / 1200.0**2 * (1 / inflow + 1 / (flow - inflow))
    assert (large.cycle_period - small.cycle_period) / 200.0 == pytest.approx(growth, rel=0.01)
