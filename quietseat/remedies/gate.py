"""Does the fluid and the duty allow it? Fouling, polymer and very fast pressure rise are vetoes for pilots,
never a price to be traded; the rest are conditions, or a no with its reason.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from quietseat.model import Suitability
from quietseat.remedies import soft_goods
from quietseat.remedies.trouble import Trouble
from quietseat.tables import table

CELSIUS = 273.15
# Service fields that raise a row of the pilot gate. The order is the order of the reasons.
_ASKED = (
    "fouling", "polymerising", "fast_rise", "viscous", "hydrates", "condensing", "sour", "oxygen", "backflow", "pulsating",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Gate:
    """What the gate says: the verdict for the record, and what still has to be proved.

    proofs hold back a plain yes; the conditions of the suitability are things to build in.
    """

    suitability: Suitability
    proofs: tuple[str, ...] = ()

    @property
    def closed(self) -> str:
        """Why the remedy is out, or ""."""
        return "; ".join(self.suitability.reasons) if self.suitability.verdict == "veto" else ""


OPEN = Gate(Suitability("suitable"))


def pilot_gate(trouble: Trouble) -> Gate:
    """Gate of every pilot at this Location: vetoes, refusals, conditions and what nobody knows.

    Source: table pilot_gate (trade, memory-md).
    """
    service = trouble.location.service
    vetoes = [_veto(field) for field in _ASKED if getattr(service, field) and _row(field)[2] == "veto"]
    if "fouling" in trouble.failing and not service.fouling:
        vetoes.append(f"{_veto('fouling')} (the history reports fouling)")
    vetoes += [reason for rule in _REFUSALS if (reason := rule(trouble))]
    if vetoes:
        return Gate(Suitability("veto", tuple(vetoes)))
    conditions = [_condition(field) for field in _ASKED if getattr(service, field) and _row(field)[2] != "veto"]
    conditions += [words for rule in _CONDITIONS if (words := rule(trouble))]
    proofs = list(_unknowns(trouble))
    verdict = "unknown" if proofs else "with conditions" if conditions else "suitable"
    return Gate(Suitability(verdict, (), (*conditions, *proofs)), tuple(proofs))


def soft_gate(trouble: Trouble) -> Gate:
    """Gate of soft goods in a spring valve: temperature, fluid and dirt."""
    reason = _no_soft_goods(trouble) or (
        "fouling service tears and imprints a soft seat" if trouble.location.service.fouling else ""
    )
    if reason:
        return Gate(Suitability("veto", (reason,)))
    proofs = tuple(filter(None, (_temperature_unknown(trouble), soft_goods.unknown(trouble))))
    return Gate(Suitability("unknown" if proofs else "with conditions", (), (_material_words(trouble), *proofs)), proofs)


def bellows_gate(trouble: Trouble) -> Gate:
    """Gate of a bellows: dirt stiffens it, and its bonnet has to vent somewhere."""
    service = trouble.location.service
    if service.polymerising or service.fouling:
        return Gate(Suitability("veto", ("deposits fill and stiffen a bellows in fouling or polymerising service",)))
    vent = "bonnet vented to a safe place, vent kept open"
    if service.toxic or service.sour:
        vent = "bonnet vented to a closed system: a broken bellows lets toxic fluid out there"
    return Gate(Suitability("with conditions", (), (vent,)))


def disk_gate(trouble: Trouble) -> Gate:
    """Gate of a rupture disk under the valve: pulsation and operating ratio break it early."""
    if trouble.location.service.pulsating:
        return Gate(Suitability("veto", ("a pulsating pressure breaks a rupture disk early",)))
    conditions = (
        "space between disk and valve monitored (gauge or tell-tale)", "disk of a kind that does not fragment",
        "capacity counted with Kc 0.9 unless a combination capacity factor is stamped",
    )  # fmt: skip
    return Gate(Suitability("with conditions", (), conditions))


@lru_cache(maxsize=64)
def _row(field: str) -> tuple[str, str, str, str, str]:
    """Title, rule, verdict, go-with and mark of the gate row a Service field raises."""
    name = "fast-rise" if field == "fast_rise" else field
    row = table("pilot_gate").row(condition=name)
    return row["title"], row["rule"], row["verdict"], row["go_with"], row.mark()


@lru_cache(maxsize=64)
def _veto(field: str) -> str:
    title, rule, *_ = _row(field)
    return f"veto for any pilot: {title[0].lower()}{title[1:]}: {rule}"


@lru_cache(maxsize=64)
def _condition(field: str) -> str:
    title, _, _, go_with, _ = _row(field)
    return f"{title[0].lower() if title[1:2].islower() else title[0]}{title[1:]}: {go_with}"


def _no_soft_goods(trouble: Trouble) -> str:
    """No soft material stands the coldest and hottest temperature known, fire included, and the fluid."""
    temperatures = trouble.temperatures
    if not temperatures or soft_goods.fitting(trouble):
        return ""
    span = f"{min(temperatures) - CELSIUS:.0f} to {max(temperatures) - CELSIUS:.0f} degC (relief and operating temperatures)"
    if soft_goods.spanning(round(min(temperatures)), round(max(temperatures))):
        return f"no soft material of the table stands this fluid at {span}"
    return f"no soft material covers {span}"


def _material_words(trouble: Trouble) -> str:
    checked = "each part checked at fire, steam-out, start-up and the coldest relief temperature against the compound's data"
    if not trouble.temperatures:
        return f"soft goods: {checked}"
    return f"soft goods for the temperatures and the fluid known ({', '.join(soft_goods.fitting(trouble)[:4])}): {checked}"


def _temperature_unknown(trouble: Trouble) -> str:
    return "" if trouble.temperatures else "state the relieving temperature: soft goods hinge on it"


def _hot_body(trouble: Trouble) -> str:
    hottest = max(trouble.temperatures, default=None)
    limit = _pilot_temperature()
    if hottest is not None and hottest > limit:
        return f"{hottest - CELSIUS:.0f} degC is above the {limit - CELSIUS:.0f} degC where the pilot tables stop"
    return ""


@lru_cache(maxsize=1)
def _pilot_temperature() -> float:
    return float(table("body_temperatures").row(body="pilot")["high"])


def _toxic_vent(trouble: Trouble) -> str:
    """A toxic fluid with nowhere closed to send the pilot's vent."""
    if trouble.location.service.toxic and trouble.location.outlet.discharge_to == "atmosphere":
        return "a toxic fluid would leave at the pilot's vent: no closed system to send it to"
    return ""


_REFUSALS = (_no_soft_goods, _hot_body, _toxic_vent)


def _low_set(trouble: Trouble) -> str:
    if trouble.set_gauge is not None and trouble.set_gauge <= 1e5 * float(_limit("low-set")):
        return "low set: diaphragm main valve or low-pressure pilot, not a high-pressure piston design"
    return ""


@lru_cache(maxsize=16)
def _limit(item: str) -> float:
    return float(table("pilot_limits").row(item=item)["high"])


def _header(trouble: Trouble) -> str:
    if trouble.location.outlet.discharge_to in ("flare", "closed", "process"):
        return "discharge into a header: backflow preventer and a pilot balanced against back pressure"
    return ""


def _two_phase(trouble: Trouble) -> str:
    if "two-phase" in trouble.phases:
        return "two-phase inlet: modulating, with capacity certification for it, sensed from the vapour space"
    return ""


def _steam(trouble: Trouble) -> str:
    if "steam" in trouble.phases and not trouble.location.service.condensing:
        return "steam: sense line sloped to the vessel or with a condensate pot, soft goods for steam"
    return ""


def _pressure(trouble: Trouble) -> str:
    if trouble.set_gauge is not None and trouble.set_gauge > 69e5 and "gas" in trouble.phases:
        return "above about 69 bar: soft goods graded for rapid gas decompression"
    return ""


def _toxic(trouble: Trouble) -> str:
    return "toxic: pilot vent to a closed system" if trouble.location.service.toxic else ""


_CONDITIONS = (_low_set, _header, _two_phase, _steam, _pressure, _toxic)


def _unknowns(trouble: Trouble) -> tuple[str, ...]:
    """What nobody said and a pilot hinges on."""
    service = trouble.location.service
    out = []
    if service.fouling is None:
        # Polymer and fast rise are asked only where something points to them: stated clean is enough otherwise.
        out.append("somebody confirms that the service is clean")
    out += filter(None, (_temperature_unknown(trouble), soft_goods.unknown(trouble)))
    if service.fast_rise is None and any(case.cause in ("tube-rupture", "reaction") for case in trouble.cases):
        out.append("show that the pressure rise during the pilot's opening time stays within the accumulation")
    if "two-phase" in trouble.phases:
        out.append("the maker's proof for two-phase inlet")
    if service.pulsating:
        out.append("the pulsation measured: its peaks stay below set, and the snubber keeps them off the pilot")
    return tuple(out)
