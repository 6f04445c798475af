"""`size`: one request in, one result out. The branch over methods, the area, the viscosity passes, the letter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

from quietseat.formula import Sheet
from quietseat.sizing import gas, iso, letters, liquid, steam, twophase
from quietseat.sizing.area import (
    passed_flow,
    passed_flow_printed,
    required_area,
    required_area_printed,
    with_viscosity,
)
from quietseat.sizing.backpressure import override
from quietseat.sizing.pressure import resolve
from quietseat.sizing.request import (
    API,
    EDITIONS,
    FACTORS,
    ISO,
    KINDS,
    METHODS,
    ChoicesLike,
    Flux,
    Pressures,
    Request,
    Result,
)
from quietseat.status import CalculationFailed, Status

_ARITHMETIC = (ValueError, ZeroDivisionError, OverflowError)
_PASSES = 200


@dataclass(frozen=True, slots=True)
class Setting:
    """What one request resolves to before an area or a flow is asked for."""

    pressures: Pressures
    flux: Flux
    standard: str
    edition: str


def check(request: Request, standard: str, edition: str) -> None:
    """Refuse words this module does not know. Raises CalculationFailed."""
    for what, given, allowed in (
        ("method", request.method, METHODS),
        ("standard", standard, (API, ISO)),
        ("edition", edition, EDITIONS),
        ("kind", request.kind, KINDS),
    ):
        if given not in allowed:
            raise CalculationFailed(Status.NOT_COMPUTED, f"{what} {given!r} is not one of {', '.join(allowed)}")
    for name in request.overrides:
        if name not in FACTORS:
            raise CalculationFailed(Status.NOT_COMPUTED, f"factor {name!r} is not one of {', '.join(FACTORS)}")


def prepare(request: Request, choices: ChoicesLike, sheet: Sheet) -> Setting:
    """Pressures and mass flux of a request. Raises CalculationFailed."""
    standard = request.standard or choices.standard
    edition = request.edition or choices.edition
    check(request, standard, edition)
    p = resolve(request, choices, sheet)
    method = request.method
    if standard == ISO:
        flux = iso.flux(request, p, choices, sheet)
    elif method == "gas":
        flux = gas.flux(request, p, choices, sheet)
    elif method == "steam":
        flux = steam.flux(request, p, choices, edition, sheet)
    elif method == "liquid":
        flux = liquid.flux(request, p, choices, sheet)
    elif method == "two-phase":
        flux = twophase.flux(request, p, choices, sheet)
    elif method == "subcooled":
        flux = twophase.flux_subcooled(request, p, choices, sheet)
    else:
        from quietseat.sizing import hem  # the property library is loaded only where it is needed

        flux = hem.flux(request, p, choices, sheet)
    if request.overrides:
        _unused_overrides(request, flux, sheet)
    if not (0.0 < flux.mass_flux < inf and 0.0 < flux.product < inf):
        raise CalculationFailed(
            Status.OUT_OF_RANGE, f"the equations give no usable mass flux ({flux.mass_flux:.4g} kg/m2/s) for these inputs"
        )
    return Setting(p, flux, standard, edition)


def _unused_overrides(request: Request, flux: Flux, sheet: Sheet) -> None:
    """Say which of the user's factors the equation at hand does not contain."""
    used = set(flux.factors)
    if request.method != "gas" and request.method != "steam":
        used.add("Kv")
    if request.method == "subcooled":
        used.add("Kw")  # the subcooled equation calls it Kb
    unused = sorted(set(request.overrides) - used)
    if unused:
        words = f"{', '.join(unused)} given but not part of the {request.method} equation: not used"
        sheet.flags.append(words)
        sheet.note("factors", "not used", words, "API 520-1")


def required_flow(request: Request, flux: Flux, sheet: Sheet) -> float | None:
    """Required flow (kg/s) from what was given, or None. Raises CalculationFailed when it is not above zero."""
    W = request.flow
    if W is None and request.volume_flow is not None:
        if flux.density is None:
            raise CalculationFailed(Status.NOT_COMPUTED, f"{request.method}: give flow as mass, not volume_flow")
        W = sheet.apply("W", liquid.mass_flow, Q=request.volume_flow, rho=flux.density)
    elif W is not None and sheet.record:
        sheet.given("W", "required flow", W, "kg/s", "given")
    if W is not None:
        usable(W, "required flow", "kg/s")
    return W


def usable(value: float, what: str, unit: str) -> float:
    """The value, if it is a finite number above zero. Raises CalculationFailed."""
    if not 0.0 < value < inf:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"{what} {value:.6g} {unit} must be above zero and finite")
    return value


def area_for(W: float, K: float, flux: Flux, sheet: Sheet, symbol: str = "A") -> float:
    """Required area (m2) for a flow (kg/s) and the product of all factors."""
    if flux.area_constant == 1.0:
        return sheet.apply(symbol, required_area, W=W, G=flux.mass_flux, K=K)
    return sheet.apply(symbol, required_area_printed, c_A=flux.area_constant, W=W, G=flux.mass_flux, K=K)


def flow_for(A: float, K: float, flux: Flux, sheet: Sheet) -> float:
    """Flow (kg/s) through an area (m2) with the product of all factors."""
    if flux.area_constant == 1.0:
        return sheet.apply("W", passed_flow, A=A, G=flux.mass_flux, K=K)
    return sheet.apply("W", passed_flow_printed, c_A=flux.area_constant, A=A, G=flux.mass_flux, K=K)


def constant_viscosity(request: Request, setting: Setting, sheet: Sheet) -> float | None:
    """Kv where it does not depend on the area: given by the user; None where the equation has none."""
    if request.method in ("two-phase", "subcooled", "hem"):
        Kv = twophase.two_phase_viscosity(request, setting.edition, sheet)
        return Kv if Kv != 1.0 else None
    given = request.overrides.get("Kv")
    if given is None or request.method != "liquid":
        return None
    return override("Kv", given, sheet)


@dataclass(frozen=True, slots=True)
class _Sized:
    area: float
    selection: letters.Selection | None
    Kv: float | None
    Re: float | None


def _viscous_area(
    W: float, request: Request, setting: Setting, choices: ChoicesLike, sheet: Sheet
) -> _Sized:
    """Area with Kv: Re of the selected orifice (the standard's procedure), or of the required area, iterated."""
    flux = setting.flux
    K = flux.product
    SG = (request.specific_gravity if request.specific_gravity is not None
          else liquid.gravity_and_density(request, Sheet(record=False))[0])  # fmt: skip
    assert flux.density is not None
    Q = request.volume_flow
    if Q is None or request.flow is not None:
        Q = sheet.apply("Q", liquid.volume_flow, W=W, rho=flux.density)
    area = area_for(W, K, flux, sheet, "A_R")
    if choices.viscosity_area == "required":
        return _viscous_required(W, Q, SG, area, request, setting, choices, sheet)
    chosen = letters.select(area)
    for _ in range(_PASSES):
        count, letter = chosen.valves or (1, str(chosen.letter))
        trial = f"trial with {count} valves of letter {letter}" if count > 1 else f"trial with orifice {letter}"
        sheet.note("Kv", "trial", trial, "API 520-1 procedure: Reynolds number of the selected orifice; seen")
        Kv, Re = liquid.viscosity_correction(
            request, Q / count, SG, chosen.area / count, choices, setting.edition, sheet
        )
        area = area_for(W, sheet.apply("K_all", with_viscosity, K=K, Kv=Kv), flux, sheet)
        again = letters.select(area)
        if again.area <= chosen.area:
            return _Sized(area, chosen, Kv, Re)
        chosen = again
    raise CalculationFailed(Status.NOT_CONVERGED, f"the viscosity passes did not settle in {_PASSES}")


def _viscous_required(
    W: float, Q: float, SG: float, area: float, request: Request, setting: Setting, choices: ChoicesLike, sheet: Sheet
) -> _Sized:
    silent = Sheet(record=False)
    for _ in range(_PASSES):
        Kv, _Re = liquid.viscosity_correction(request, Q, SG, area, choices, setting.edition, silent)
        next_area = area_for(W, setting.flux.product * Kv, setting.flux, silent)
        settled = abs(next_area - area) <= 1e-12 * area
        area = next_area
        if settled:
            break
    else:
        raise CalculationFailed(Status.NOT_CONVERGED, f"the viscosity iteration did not settle in {_PASSES} passes")
    sheet.note("Kv", "iteration", "Reynolds number of the required area, iterated", "choice viscosity_area")
    Kv, Re = liquid.viscosity_correction(request, Q, SG, area, choices, setting.edition, sheet)
    area = area_for(W, sheet.apply("K_all", with_viscosity, K=setting.flux.product, Kv=Kv), setting.flux, sheet)
    return _Sized(area, letters.select(area), Kv, Re)


def _sized(W: float, request: Request, setting: Setting, choices: ChoicesLike, sheet: Sheet) -> _Sized:
    if setting.flux.viscous:
        return _viscous_area(W, request, setting, choices, sheet)
    K = setting.flux.product
    Kv = constant_viscosity(request, setting, sheet) if request.overrides else None
    if Kv is not None:
        K = sheet.apply("K_all", with_viscosity, K=K, Kv=Kv)
    area = area_for(W, K, setting.flux, sheet)
    return _Sized(area, letters.select(area) if setting.standard == API else None, Kv, None)


def size(request: Request, choices: ChoicesLike, sheet: Sheet) -> Result:
    """Required area and orifice of one request (or, with `area` in place of a flow, the flow through it).

    choices: a Basis or `Choices`. Never raises for data: Result.status and Result.reason say how it ended.
    """
    before = len(sheet.flags)
    try:
        setting = prepare(request, choices, sheet)
        W = required_flow(request, setting.flux, sheet)
        if W is not None:
            return _with_area(W, request, setting, choices, sheet, before)
        if request.area is not None:
            return _with_flow(request, setting, choices, sheet, before)
        if request.method == "hem":
            return _result(request, setting, setting.flux.factors, sheet, before)
        raise CalculationFailed(Status.NOT_COMPUTED, f"{request.method}: no flow given")
    except CalculationFailed as error:
        return Result(error.status, error.reason, request.method, request.standard or choices.standard,
                      request.edition or choices.edition, flags=tuple(sheet.flags[before:]))  # fmt: skip
    except _ARITHMETIC as error:
        return Result(Status.NOT_COMPUTED, f"{request.method}: the equations have no value here ({error})", request.method,
                      request.standard or choices.standard, request.edition or choices.edition,
                      flags=tuple(sheet.flags[before:]))  # fmt: skip


def _with_area(
    W: float, request: Request, setting: Setting, choices: ChoicesLike, sheet: Sheet, before: int
) -> Result:
    sized = _sized(W, request, setting, choices, sheet)
    usable(sized.area, "required area", "m2")
    factors = setting.flux.factors
    if sized.Kv is not None:
        factors = {**factors, "Kv": sized.Kv}
    chosen = sized.selection
    if chosen is None:
        reason = "API 526 letters go with API 520-1 effective areas, not with an ISO 4126-7 flow area"
        return _result(request, setting, factors, sheet, before, sized, W, reason)
    if sheet.record:
        count, letter = chosen.valves or (1, str(chosen.letter))
        words = f"{chosen.reason}" if chosen.valves else f"letter {letter}: {chosen.area * 1e6:.1f} mm2"
        sheet.note("orifice", f"selected orifice ({count} valve{'s' if count > 1 else ''})", words, letters.citation())
    return _result(request, setting, factors, sheet, before, sized, W, chosen.reason)


def _with_flow(request: Request, setting: Setting, choices: ChoicesLike, sheet: Sheet, before: int) -> Result:
    assert request.area is not None
    W, Kv, Re = flow_of_area(request.area, request, setting, choices, sheet)
    usable(W, "flow", "kg/s")
    factors = setting.flux.factors if Kv is None else {**setting.flux.factors, "Kv": Kv}
    sized = _Sized(0.0, None, Kv, Re)
    return _result(request, setting, factors, sheet, before, sized, W, "flow through a given area")


def flow_of_area(
    area: float, request: Request, setting: Setting, choices: ChoicesLike, sheet: Sheet
) -> tuple[float, float | None, float | None]:
    """Flow (kg/s) through a given area (m2), with Kv and the Reynolds number where they apply."""
    usable(area, "area", "m2")
    flux, K = setting.flux, setting.flux.product
    if sheet.record:
        sheet.given("A", "flow area", area, "m**2", "given")
    if not flux.viscous:
        Kv = constant_viscosity(request, setting, sheet) if request.overrides else None
        if Kv is not None:
            K = sheet.apply("K_all", with_viscosity, K=K, Kv=Kv)
        return flow_for(area, K, flux, sheet), Kv, None
    SG = liquid.gravity_and_density(request, Sheet(record=False))[0]
    assert flux.density is not None
    silent, share = Sheet(record=False), 1.0
    for _ in range(_PASSES):
        Q = liquid.volume_flow(W=flow_for(area, K * share, flux, silent), rho=flux.density)
        Kv, Re = liquid.viscosity_correction(request, Q, SG, area, choices, setting.edition, silent)
        settled, share = abs(Kv - share) <= 1e-12, Kv
        if settled:
            break
    else:
        raise CalculationFailed(Status.NOT_CONVERGED, "the viscosity iteration did not settle: too viscous")
    sheet.note("Kv", "iteration", f"Kv {share:.5g} agrees with its own flow", "API 520-1")
    Q = sheet.apply("Q", liquid.volume_flow, W=flow_for(area, K * share, flux, silent), rho=flux.density)
    Kv, Re = liquid.viscosity_correction(request, Q, SG, area, choices, setting.edition, sheet)
    return flow_for(area, sheet.apply("K_all", with_viscosity, K=K, Kv=Kv), flux, sheet), Kv, Re


def _result(
    request: Request, setting: Setting, factors: Mapping[str, float], sheet: Sheet, before: int,
    sized: _Sized | None = None, W: float | None = None, reason: str = "",
) -> Result:  # fmt: skip
    flux, p = setting.flux, setting.pressures
    chosen = sized.selection if sized is not None else None
    area = sized.area if sized is not None and sized.area > 0.0 else None
    return Result(
        Status.OK, "", request.method, setting.standard, setting.edition, flux.regime,
        area,
        chosen.letter if chosen is not None else None,
        reason if sized is not None else "no flow given, so no area",
        chosen.valves if chosen is not None else None,
        chosen.area if chosen is not None else None,
        p.relieving, p.back, factors, flux.mass_flux, W,
        liquid.volume_flow(W=W, rho=flux.density) if W is not None and flux.density is not None else None,
        flux.omega, flux.eta_c, flux.choking_pressure,
        sized.Re if sized is not None else None,
        tuple(sheet.flags[before:]) if len(sheet.flags) > before else (),
    )  # fmt: skip
