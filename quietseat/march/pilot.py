"""The pilot of a pilot-operated valve in time: sense tube, relay or spool, dome, and the force on the piston.

One source for every target: `build(jit, real)` makes scalar functions out of the same text, with literals typed by
`real` and selects in place of branches, so that lanes vectorise and a single-precision kernel stays single. `pack`
gives the numbers of one case in the order of `PARAMETERS`. Equations: section 1.6 of the dynamics review.

What the model holds: a dome of volume V_d0 + A_d (x_max - x), polytropic; ports choked or not, in both directions (no
check valve: with the outlet above the inlet the piston lifts, as it does without a backflow preventer); a lumped sense
tube whose first mode is that of the tube with its end volume; one first-order lag of the pilot's moving parts, in front
of the relay or the spool. What it does not: the field test and backflow shuttles, filters, the blowdown of a modulating
pilot, and the small mass the pilot takes from the vessel.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from math import pi, sqrt, tan
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

from quietseat.march import scalar
from quietseat.status import CalculationFailed, Status
from quietseat.tables import Row, table

if TYPE_CHECKING:
    from quietseat.march.cases import MarchCase, Pilot

PARAMETERS = (
    "dome_area",  # m2
    "dome_full",  # m3 at full lift
    "max_lift",  # m, unrestricted: where dome_full is measured
    "exponent",  # polytropic n of the dome gas
    "vent_port",  # C A, m2
    "fill_port",  # C A, m2
    "set",  # Pa absolute
    "reseat",  # Pa absolute, of the relay
    "bleed_from",  # Pa absolute
    "bleed_share",  # 0 = not bleeding
    "modulating",  # 0 or 1
    "band",  # Pa
    "depth",  # c_m
    "null",  # Pa of dome pressure
    "span",  # Pa of dome pressure
    "lag",  # s
    "remote",  # 0 or 1
    "tube",  # inertance L/A, 1/m; 0 = no tube
    "tube_stiffness",  # a2/V_effective, Pa/kg
    "tube_laminar",  # Pa s/kg
    "tube_turbulent",  # Pa s2/kg2
    "dump_bowl",  # 0 the pilot exhausts to the atmosphere, 1 to the bowl
    "atmosphere",  # Pa absolute
    "supply",  # gas: R T of the sensed gas, J/kg; liquid: density, kg/m3
    "choked",  # gas: choked flow function psi; liquid: bulk modulus of the dome, Pa
    "critical",  # gas: critical pressure ratio; liquid: vapour pressure, Pa
)
STATES = ("dome", "sense", "draw", "felt", "relay")

GAS_VISCOSITY = 1.8e-5  # Pa s, air near 20 degC: the tube is short, its laminar lag is below a millisecond either way
LIQUID_VISCOSITY = 1e-3  # Pa s, water near 20 degC


@cache
def parts() -> dict[str, Row]:
    """Low, middle and high of the pilot parts nobody states, by parameter (table `pilot_parts`)."""
    return {row.parameter: row for row in table("pilot_parts")}


def first_wave_number(length: float, area: float, volume: float) -> float:
    """First root k, 1/m, of k tan(k L) = A/V: the sense tube (m, m2) closed by the pilot's volume (m3).

    The frequency is k a/(2 pi). Source: acoustics of a tube with a volume at its end (dynamics review 1.6).
    """
    low, high = 0.0, pi / (2.0 * length)
    for _ in range(80):
        middle = 0.5 * (low + high)
        if middle * tan(middle * length) < area / volume:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def dome_volume(case: MarchCase, lift: float = 0.0) -> float:
    """Dome volume, m3, at a lift (m). Raises CalculationFailed for a case without a pilot."""
    pilot = _pilot(case)
    return pilot.dome_volume + pilot.dome_area_ratio * case.disc.seat_area * (case.disc.max_lift - lift)


def dome_stiffness(case: MarchCase) -> float:
    """Gas (or liquid) spring of the dome with both ports shut, N/m, at set pressure and no lift: n p A_d^2/V_d.

    It stands in for the spring rate where a damping ratio of a pilot valve is meant.
    """
    from quietseat.march.cases import Gas

    pilot = _pilot(case)
    area = pilot.dome_area_ratio * case.disc.seat_area
    modulus = pilot.exponent * case.set_pressure if isinstance(case.fluid, Gas) else _bulk_modulus(case)
    return modulus * area**2 / dome_volume(case)


def pack(case: MarchCase) -> list[float]:
    """The pilot's numbers in the order of `PARAMETERS`. Raises CalculationFailed for a case no pilot run can start from."""
    from quietseat.march.cases import Gas

    pilot = _pilot(case)
    if case.start != "shut":
        raise CalculationFailed(Status.OUT_OF_RANGE, f"start = {case.start!r}: a pilot-operated valve starts shut")
    disc, set_gauge, known = case.disc, case.set_gauge, parts()
    if isinstance(case.fluid, Gas):
        k = case.fluid.k
        supply = case.fluid.gas_constant * case.fluid.temperature
        choked = sqrt(k) * (2.0 / (k + 1.0)) ** ((k + 1.0) / (2.0 * (k - 1.0)))
        critical = (2.0 / (k + 1.0)) ** (k / (k - 1.0))
    else:
        supply, choked, critical = case.fluid.density, _bulk_modulus(case), max(case.fluid.vapour_pressure, 1.0)
    return [
        pilot.dome_area_ratio * disc.seat_area,
        pilot.dome_volume,
        disc.max_lift,
        pilot.exponent,
        pilot.coefficient * pilot.vent_area,
        pilot.coefficient * pilot.fill_area,
        case.set_pressure,
        case.set_pressure - pilot.blowdown * set_gauge,
        case.atmospheric + known["bleed_onset"].mid * set_gauge,
        known["bleed_share"].mid if pilot.bleeding else 0.0,
        1.0 if pilot.action == "modulating" else 0.0,
        pilot.band * set_gauge,
        pilot.band_depth,
        pilot.null_zone * set_gauge,
        pilot.span * set_gauge,
        pilot.lag,
        1.0 if pilot.sense == "remote" else 0.0,
        *_tube(case),
        1.0 if pilot.dump == "bowl" else 0.0,
        case.atmospheric,
        supply,
        choked,
        critical,
    ]


def _pilot(case: MarchCase) -> Pilot:
    if case.pilot is None:
        raise CalculationFailed(Status.OUT_OF_RANGE, "pilot = None: this valve has no pilot")
    return case.pilot


def _bulk_modulus(case: MarchCase) -> float:
    """Of a liquid-filled dome, Pa: the liquid's own, lowered by seal and trapped gas."""
    from quietseat.march.cases import Liquid

    assert isinstance(case.fluid, Liquid)
    return float(parts()["liquid_stiffness"].mid) * case.fluid.density * case.fluid.sound_speed**2


def _tube(case: MarchCase) -> tuple[float, float, float, float]:
    """Inertance, stiffness, laminar and turbulent resistance of the sense tube, all on mass flow; zeros without one."""
    from quietseat.march.cases import Gas

    pilot = _pilot(case)
    length, bore = pilot.sense_length, pilot.sense_bore
    if length <= 0.0:
        return 0.0, 0.0, 0.0, 0.0
    if isinstance(case.fluid, Gas):
        rt = case.fluid.gas_constant * case.fluid.temperature
        density, sound, viscosity = case.set_pressure / rt, sqrt(case.fluid.k * rt), GAS_VISCOSITY
    else:
        density, sound, viscosity = case.fluid.density, case.fluid.sound_speed, LIQUID_VISCOSITY
    area = pi / 4.0 * bore**2
    # A lump of L/A and V + A L/2 puts the first mode up to 11 % low; this volume puts it where the tube has it.
    stiffness = sound**2 * length * first_wave_number(length, area, pilot.sense_volume) ** 2 / area
    laminar = 128.0 * viscosity * length / (pi * bore**4 * density)
    turbulent = (parts()["sense_friction"].mid * length / bore + parts()["sense_loss"].mid) / (2.0 * density * area**2)
    return length / area, stiffness, laminar, turbulent


def build(jit: Callable[[Any], Any], real: Callable[[float], Any]) -> SimpleNamespace:
    """The functions of a pilot, each wrapped by `jit`, every literal typed by `real`.

    `signal` once a step, `squeezed`, `piston`, `dome_gas` (or `..._liquid`) in every sub-step: see each. Give `jit` the identity for plain Python.
    """
    zero, half, one, two, four = real(0.0), real(0.5), real(1.0), real(2.0), real(4.0)
    soft = real(2e-4)  # rounds the root of the subcritical flow where the pressures meet: no infinite slope there
    soft_top = real(sqrt(1.0 + 2e-4))
    soft_liquid = real(100.0)  # Pa, the same for liquid
    tiny = real(1e-30)  # a finished lane steps by nothing
    power = scalar.build(jit, real).power

    @jit
    def port(area, p1, rt1, p2, rt2, choked, critical):  # type: ignore[no-untyped-def]
        """Gas through a port from 1 to 2 (negative: back), as mdot R T of the upstream side, W.

        The subcritical flow is the ellipse of ISO 6358, without a power: within 1 % of the isentropic
        nozzle at k = 1.3 to 1.4, 2.5 % at 1.1.
        """
        forward = p1 >= p2
        up = p1 if forward else p2
        down = p2 if forward else p1
        rt = rt1 if forward else rt2
        part = max(zero, (down / up - critical) / (one - critical))
        square = max(zero, one - part * part)
        share = square * soft_top / sqrt(square + soft)
        flow = area * up * choked * sqrt(rt) * share
        return flow if forward else -flow

    @jit
    def ports(felt, relay, dome, dump, vent_port, fill_port, set_, bleed_from, bleed_share, modulating, band, depth, null, span):  # type: ignore[no-untyped-def]
        """Open C A of vent and fill, m2, from what the pilot feels."""
        bleed = bleed_share * min(one, max(zero, (felt - bleed_from) / (set_ - bleed_from)))
        bleeding = one if bleed_share > zero else zero
        # Modulating: the spool compares the dome with the pressure it should have.
        target = dump + (felt - dump) * (one - depth * min(one, max(zero, (felt - set_) / band)))
        error = dome - target
        travel = min(one, max(zero, (abs(error) - null) / span))
        # Below set the vent stays shut; a dome above its target then empties back through the fill port.
        venting = error > zero and felt > set_
        vent = (travel if venting else zero) if modulating > half else relay
        fill = (zero if venting else travel) if modulating > half else one - relay
        return vent_port * max(vent, bleed), fill_port * max(fill, bleeding)

    @jit
    def sense_step(sense, draw, tap, taken, dt, tube, stiffness, laminar, turbulent):  # type: ignore[no-untyped-def]
        """Pressure at the pilot and flow in the tube after dt: Crank-Nicolson, resistance implicit, never unstable.

        `taken` kg/s leaves through the fill port. Without a tube (tube = 0) the pilot has the tap pressure.
        """
        open_ = tube <= zero
        ratio = dt / (one if open_ else tube)
        half_way = ratio * dt * stiffness / four
        resist = ratio * (laminar + turbulent * abs(draw))
        flow = (draw * (one - half_way) + ratio * (tap - sense) + two * half_way * taken) / (one + resist + half_way)
        after = sense + dt * stiffness * (half * (draw + flow) - taken)
        return (tap if open_ else after), (zero if open_ else flow)

    @jit
    def relay_step(relay, felt, set_, reseat):  # type: ignore[no-untyped-def]
        """1 (vent) from set on, 0 (fill) from reseat down, as before in between."""
        return one if felt >= set_ else (zero if felt <= reseat else relay)

    @jit
    def lag_step(felt, sense, dt, lag):  # type: ignore[no-untyped-def]
        """First-order lag, implicit: a lag of 0 follows at once."""
        return felt + (sense - felt) * dt / max(lag + dt, tiny)

    @jit
    def dome_rt(dome, exponent, supply, set_):  # type: ignore[no-untyped-def]
        """R T of the dome gas, J/kg, on the polytrope through the sensed gas at set pressure. Once a step is enough.

        Below a fifth of set pressure it gets no colder: the walls keep it warm.
        """
        return supply * power(dome / set_, (exponent - one) / exponent)

    @jit
    def squeezed(dome, x_old, x_new, dome_area, dome_full, max_lift, exponent):  # type: ignore[no-untyped-def]
        """Dome pressure after the piston alone went from x_old to x_new: the polytrope, to third order in dV/V."""
        before = dome_full + dome_area * (max_lift - x_old)
        after = dome_full + dome_area * (max_lift - x_new)
        part = exponent * (before - after) / (before + after)
        return dome * (one + part) / (one - part)

    @jit
    def squeezed_liquid(dome, x_old, x_new, dome_area, dome_full, max_lift, bulk, floor):  # type: ignore[no-untyped-def]
        """The same for a dome full of liquid of that bulk modulus; at least `floor`."""
        return max(floor, dome + bulk * dome_area * (x_new - x_old) / (dome_full + dome_area * (max_lift - x_new)))

    @jit
    def dome_gas(dome, x_old, x_new, h, vent, fill, sense, dump, warm, dome_area, dome_full, max_lift, exponent, supply, choked, critical):  # type: ignore[no-untyped-def]
        """Dome pressure after one sub-step h in which the piston went from x_old to x_new; stays above zero.

        dp/dt = n/V (R T_s mdot_fill - R T_d mdot_vent + p A_d v): the squeeze first, then flows at that state, losses
        implicit.
        """
        after = dome_full + dome_area * (max_lift - x_new)
        pressed = squeezed(dome, x_old, x_new, dome_area, dome_full, max_lift, exponent)
        into = port(fill, sense, supply, pressed, warm, choked, critical)
        out = port(vent, pressed, warm, dump, supply, choked, critical)
        rate = h * exponent / after
        gain = max(zero, into) + max(zero, -out)
        loss = max(zero, -into) + max(zero, out)
        return (pressed + rate * gain) / (one + rate * loss / pressed)

    @jit
    def dome_liquid(dome, x_old, x_new, h, vent, fill, sense, dump, dome_area, dome_full, max_lift, density, bulk, floor):  # type: ignore[no-untyped-def]
        """Dome pressure of a liquid-filled dome after h, at least `floor` (vapour pressure).

        dp/dt = K/V (Q_fill - Q_vent + A_d v). Stiff: each flow is linear in the new pressure with its old conductance.
        """
        after = dome_full + dome_area * (max_lift - x_new)
        spring = bulk / after
        pressed = dome + spring * dome_area * (x_new - x_old)
        unit = sqrt(two / density)
        let_in = h * spring * unit * fill / sqrt(abs(sense - pressed) + soft_liquid)
        let_out = h * spring * unit * vent / sqrt(abs(pressed - dump) + soft_liquid)
        return max(floor, (pressed + let_in * sense + let_out * dump) / (one + let_in + let_out))

    @jit
    def piston(area, p_inlet, p_bowl, dome, seat_area, dome_area):  # type: ignore[no-untyped-def]
        """Fluid force on the piston, N, opening: `area` = A_eff(x) m2 under the inlet, dome above, ring to the bowl."""
        return area * p_inlet - dome_area * dome + (dome_area - seat_area) * p_bowl

    @jit
    def signal(  # type: ignore[no-untyped-def]
        sense, draw, felt, relay, dome, p_inlet, p_vessel, dump, dt, warm, gas,
        vent_port, fill_port, set_, reseat, bleed_from, bleed_share, modulating, band, depth, null, span, lag, remote,
        tube, stiffness, laminar, turbulent, supply, choked, critical,
    ):  # fmt: skip
        """One step of everything before the dome: (sense, draw, felt, relay, vent C A, fill C A).

        `gas` True, or False for liquid; `warm` from `dome_rt` (any number for liquid); `dump` what the pilot exhausts to, Pa.
        """
        relay_now = relay_step(relay, felt, set_, reseat) if modulating < half else zero
        vent, fill = ports(
            felt, relay_now, dome, dump, vent_port, fill_port, set_, bleed_from, bleed_share, modulating, band, depth, null, span
        )
        tap = p_vessel if remote > half else p_inlet
        if gas:
            taken = port(fill, sense, supply, dome, warm, choked, critical) / supply
        else:
            drop = sense - dome
            taken = fill * sqrt(two * supply) * drop / sqrt(abs(drop) + soft_liquid)
        sense_now, draw_now = sense_step(sense, draw, tap, taken, dt, tube, stiffness, laminar, turbulent)
        return sense_now, draw_now, lag_step(felt, sense_now, dt, lag), relay_now, vent, fill

    return SimpleNamespace(
        port=port, ports=ports, sense_step=sense_step, relay_step=relay_step, lag_step=lag_step, dome_rt=dome_rt,
        squeezed=squeezed, squeezed_liquid=squeezed_liquid, dome_gas=dome_gas, dome_liquid=dome_liquid, piston=piston,
        signal=signal,
    )  # fmt: skip
