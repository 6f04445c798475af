"""What the records of a valve say of its leakage: readings, surveys, and the facts the bases ask for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

from quietseat import fluids
from quietseat.basis import Basis
from quietseat.emissions import LeakFacts, Lifts, Split, leak_rate, split
from quietseat.formula import Sheet
from quietseat.leakage.simulated import simulated
from quietseat.model import Assumption, Case, Chatter, Event, Location, Problem
from quietseat.piping.sonic import sound_speed_gas
from quietseat.sizing.letters import letters
from quietseat.sizing.rated import flow_through, full_pair, pair_of
from quietseat.sizing.request import Request
from quietseat.status import CalculationFailed

WATER = 0.01801528  # kg/mol
METHANE = 0.0160428  # kg/mol, where neither fluid nor molar mass is stated
PLAIN_K = {"steam": 1.3}
DEFAULT_K = 1.3
AMBIENT = 288.15  # K


@dataclass(slots=True)
class Known:
    """What was gathered of one valve; problems and assumptions grow while it is read."""

    ppm: float | None = None
    read_on: date | None = None
    found_leaking: bool = False
    survey: date | None = None
    problems: list[Problem] = field(default_factory=list)
    assumptions: list[Assumption] = field(default_factory=list)

    def complain(self, key: str, value: object, rule: str, mend: str) -> None:
        """One thing wrong with the history."""
        self.problems.append(Problem(rule, mend, field=f"history.{key}", value=str(value)))

    def uncounted(self, reason: str) -> None:
        """One emission that could not be worked out."""
        self.problems.append(Problem(f"not counted: {reason}", "give what the sentence says is missing", field="history"))

    def assume(self, key: str, value: object, rule: str, source: str) -> None:
        """One value nobody gave."""
        self.assumptions.append(Assumption(key, str(value), rule, source))


def day_of(text: str | None) -> date | None:
    """A date as the records hold it, or None where it names no day."""
    try:
        return date.fromisoformat((text or "").strip()[:10])
    except ValueError:
        return None


def history(location: Location, basis: Basis, today: date) -> Known:
    """The reading that counts, whether it was found leaking, and the last clean survey; faults become problems."""
    known = Known()
    past = location.history
    survey = day_of(past.last_clean_survey)
    if past.last_clean_survey is not None and survey is None:
        known.complain("last_clean_survey", past.last_clean_survey, "is no date", "write it as 2026-03-01")
    elif survey is not None and survey > today:
        mend = "give the day the survey was made; it is not used"
        known.complain("last_clean_survey", survey, f"lies in the future (today is {today})", mend)
    else:
        known.survey = survey
    leaks = [event for event in past.events if event.event == "leak"]
    readings = [event for event in leaks if event.value is not None and _usable(event, known, today)]
    if readings:
        last = max(readings, key=lambda event: (day_of(event.date) or date.min, event.value or 0.0))
        known.ppm, known.read_on = last.value, day_of(last.date)
    words = [event for event in leaks if event.value is None]
    known.found_leaking = bool(words) or (known.ppm is not None and known.ppm >= basis.leak_ppm)
    if known.read_on is None and words:
        known.read_on = max((day for event in words if (day := day_of(event.date)) is not None), default=None)
    _superseded(known)
    if not past.events and past.measured_rate is None and survey is None:
        rule = "no reading, no survey and no report of a leak: nothing is known of its leakage"
        known.assume("history", "empty", rule, "this tool's rule")
    return known


def _usable(event: Event, known: Known, today: date) -> bool:
    """Whether a reading may be used; says why not."""
    value, day = event.value, day_of(event.date)
    if value is None or not value >= 0:
        known.complain("reading_ppm", value, "a concentration cannot be negative", "give the reading above background; it is not used")
        return False
    if event.date is not None and day is None:
        known.complain("reading_date", event.date, "names no day", "write it as 2026-03-01; the reading is used without a date")
    if day is not None and day > today:
        mend = "give the day of the reading; the reading is not used"
        known.complain("reading_date", day, f"lies in the future (today is {today})", mend)
        return False
    return True


def _superseded(known: Known) -> None:
    """A clean survey after the reading: the valve was found tight since, or the two dates are mixed up."""
    if known.survey is None or known.read_on is None or known.survey <= known.read_on:
        return
    known.complain(
        "last_clean_survey", known.survey,
        f"is later than the reading of {known.read_on}: by it the valve was tight again, so the reading no longer counts",
        "if the two dates are mixed up, swap them; else give the reading of that survey",
    )  # fmt: skip
    known.ppm, known.read_on, known.found_leaking = None, None, False


def facts_of(location: Location, basis: Basis, known: Known, mended: bool) -> tuple[LeakFacts, Split | None]:
    """The facts the bases ask for, and the composition; every stand-in is an assumption of `known`."""
    valve, vessel = location.valve, location.vessel
    case = location.cases[0] if location.cases else Case()
    liquid = case.phase == "liquid"
    made = _split(case, known)
    discharge = location.outlet.discharge_to
    if discharge is None:
        known.assume("outlet.discharge_to", "atmosphere", "discharge not stated", "this tool's rule")
    operating = vessel.operating_pressure
    if operating is None and valve.set_pressure is not None:
        ratio = basis.default_operating_ratio
        operating = basis.atmospheric_pressure + ratio * basis.gauge(valve.set_pressure)
        known.assume(
            "vessel.operating_pressure", f"{100 * ratio:g} % of set", "operating pressure not stated", "Basis: default_operating_ratio"
        )
    temperature = vessel.operating_temperature or case.temperature
    if temperature is None:
        temperature = AMBIENT
        known.assume("vessel.operating_temperature", "15 degC", "temperature not stated", "estimate")
    seat = valve.seat or basis.default_seat
    if valve.seat is None:
        known.assume("valve.seat", seat, "seat not stated", "Basis: default_seat")
    molar_mass = _molar_mass(case, made, known) if not liquid else case.molar_mass
    facts = LeakFacts(
        valve.set_pressure, basis.atmospheric_pressure, operating, valve.effective_area or letter_area(valve.orifice), valve.inlet_size,
        seat, "liquid" if liquid else "gas", molar_mass, None if liquid else _k(case, operating, temperature, known), temperature,
        _read(case.density, case, operating, temperature, lambda at: at.density) if liquid else None, discharge,
        Z=None if liquid else _read(case.Z, case, operating, temperature, lambda at: at.Z), sector=basis.leak_sector if basis.leak_sector != "any" else None,
        found_leaking=known.found_leaking, ppm=known.ppm, measured=location.history.measured_rate, back_pressure=case.superimposed_max,
        mended=mended,
    )  # fmt: skip
    return facts, made


def specified(location: Location, basis: Basis) -> float | None:
    """The largest leak a seat of this kind may have by its specification (API 527), kg/s; None where it cannot be worked out."""
    facts, _ = facts_of(location, basis, Known(), False)
    try:
        return leak_rate("api-527", facts).high
    except CalculationFailed:
        return None


def _split(case: Case, known: Known) -> Split | None:
    if case.phase == "steam":
        return split("steam", WATER)
    try:
        made = split(case.fluid, case.molar_mass, case.phase or "gas")
    except CalculationFailed as failed:
        mend = "name the components of the fluid and their mole per cent"
        known.problems.append(Problem(failed.reason, mend, field="case.fluid", value=case.fluid))
        return None
    if made.confidence == "estimate":
        known.assume("case.fluid", f"methane {100 * made.methane:.3g} % by mass", made.words, "estimate")
    return made


def _molar_mass(case: Case, made: Split | None, known: Known) -> float:
    if case.phase == "steam":
        return WATER
    found = case.molar_mass or (made.molar_mass if made else None)
    if found is not None:
        return found
    known.assume("case.molar_mass", "16.04 g/mol", "neither fluid nor molar mass known: taken as methane", "estimate")
    return METHANE


def _k(case: Case, pressure: float | None, temperature: float | None, known: Known) -> float:
    if case.k is not None:
        return case.k
    if fluids.resolve(case.fluid) and pressure is not None and temperature is not None:
        try:
            return fluids.state(str(case.fluid), pressure, temperature).k_ideal
        except CalculationFailed:
            pass
    known.assume("case.k", f"{DEFAULT_K:g}", "ratio of specific heats not known", "estimate")
    return PLAIN_K.get(case.phase or "", DEFAULT_K)


def _read(
    stated: float | None, case: Case, pressure: float | None, temperature: float | None, get: Callable[[fluids.FluidState], float]
) -> float | None:  # fmt: skip
    """A property as stated for relief, else of the property library at operating pressure and temperature, else None."""
    if stated is not None or not fluids.resolve(case.fluid) or pressure is None or temperature is None:
        return stated
    try:
        return get(fluids.state(str(case.fluid), pressure, temperature))
    except CalculationFailed:
        return None


@lru_cache(maxsize=32)
def letter_area(letter: str | None) -> float | None:
    """Effective area of an API 526 letter, m2, or None."""
    return letters().get(letter) if letter else None


def lifts_of(location: Location, basis: Basis, facts: LeakFacts, chatter: Chatter | None = None) -> Lifts | None:
    """What is known of the lifts, or None without a set pressure. chatter: of the valve marched in time, where it was."""
    if facts.set_pressure is None:
        return None
    valve = location.valve
    modulating = valve.kind == "pilot" and valve.pilot_action == "modulating"
    case = location.cases[0] if location.cases else Case()
    speed = case.sound_speed
    if speed is None and facts.phase == "gas" and facts.k and facts.molar_mass and facts.temperature:
        speed = sound_speed_gas(k=facts.k, Z=facts.Z or 1.0, temperature=facts.temperature, molar_mass=facts.molar_mass)
    blowdown = valve.blowdown
    if blowdown is None and valve.kind == "pilot":
        blowdown = basis.default_blowdown_modulating if modulating else basis.default_blowdown_snap
    elif blowdown is None:
        blowdown = basis.default_blowdown_liquid if facts.phase == "liquid" else basis.default_blowdown
    return Lifts(
        lifts_a_year(location.history.events), basis.gauge(facts.set_pressure), blowdown, location.vessel.volume, speed,
        _valve_flow(location, basis, facts), case.flow, modulating, simulated(chatter, location.vessel.volume, speed),
    )  # fmt: skip


def _valve_flow(location: Location, basis: Basis, facts: LeakFacts) -> float | None:
    """What the valve passes at 110 % of set (kg/s, not derated), by the sizing equations; else as stamped, or None."""
    stamped = location.valve.nameplate_flow
    if facts.phase != "gas" or facts.set_pressure is None:
        return stamped
    pressure = basis.atmospheric_pressure + 1.1 * basis.gauge(facts.set_pressure)
    request = Request("gas", relieving_pressure=pressure, temperature=facts.temperature, molar_mass=facts.molar_mass, k=facts.k, Z=facts.Z)
    try:
        return flow_through(full_pair(pair_of(location.valve, "gas")), request, basis, Sheet(record=False)).flow or stamped
    except CalculationFailed:
        return stamped


def lifts_a_year(events: tuple[Event, ...]) -> float:
    """Lifts in a year: the counts the register states, else dated lifts over the span of the history, at least a year."""
    counted = [event.value for event in events if event.event == "lift" and event.value is not None]
    if counted:
        return max(counted)
    seen = sum(1 for event in events if event.event == "lift")
    days = [day for event in events if (day := day_of(event.date)) is not None]
    span = (max(days) - min(days)).days / 365.25 if days else 1.0
    return seen / max(span, 1.0)
