"""One sound location that the tests of the assessment bend in one way at a time. No figure is expected from here."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from quietseat.basis import make
from quietseat.model import Case, Event, Fitting, History, Line, Location, Valve, Vessel

BASIS = make({})
ATM = BASIS.atmospheric_pressure
BAR = 1e5

CASE = Case(
    name="blocked outlet", cause="blocked-outlet", phase="gas", fluid="process gas", flow=4.5, temperature=330.0,
    molar_mass=0.044, k=1.13, Z=0.9, viscosity=1e-5, accumulation=1.1, superimposed_min=ATM, superimposed_max=ATM,
    rate_basis="signed",
)  # fmt: skip
SOUND = Location(
    "PSV-1",
    Valve(
        tag="PSV-1", kind="conventional", inlet_size=3.0, orifice="L", outlet_size=4.0, inlet_class=300, outlet_class=150,
        facing="raised", set_pressure=ATM + 10 * BAR, blowdown=0.10, seat="metal", body_material="WCB",
        body_pattern="spring",
    ),
    (CASE,),
    Line(size=6.0, schedule="40", length=0.3, entrance="rounded", block_valve="none", roughness=4.6e-5,
         fittings=(Fitting("tee-run", 0.0),)),
    Line(size=8.0, schedule="40", length=1.0, roughness=4.6e-5, discharge_to="atmosphere", fittings=(Fitting("elbow-90", 1.0),)),
    Vessel(name="V-1", mawp=ATM + 10 * BAR, volume=20.0, operating_pressure=ATM + 8 * BAR, operating_temperature=320.0),
)  # fmt: skip


def bent(
    place: Location = SOUND, *, valve: dict[str, Any] | None = None, case: dict[str, Any] | None = None,
    inlet: dict[str, Any] | None = None, outlet: dict[str, Any] | None = None, vessel: dict[str, Any] | None = None,
    service: dict[str, Any] | None = None, events: tuple[Event, ...] | None = None, cases: tuple[Case, ...] | None = None,
) -> Location:  # fmt: skip
    """A copy with some fields of some parts changed; `case` changes the first case."""
    first = tuple(replace(old, **(case or {})) if i == 0 else old for i, old in enumerate(place.cases))
    return replace(
        place, valve=replace(place.valve, **(valve or {})), cases=first if cases is None else cases,
        inlet=replace(place.inlet, **(inlet or {})), outlet=replace(place.outlet, **(outlet or {})),
        vessel=replace(place.vessel, **(vessel or {})), service=replace(place.service, **(service or {})),
        history=place.history if events is None else History(events),
    )  # fmt: skip
