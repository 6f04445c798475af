"""What the remedies look at: one completed Location, its Assessment, and the few figures they all need."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from quietseat import fluids
from quietseat.assess import assess
from quietseat.assess.complete import assumed, complete
from quietseat.basis import Basis
from quietseat.model import Assessment, Case, CaseResult, Finding, Location, Valve
from quietseat.status import CalculationFailed

CHATTER_ROOTS = ("oversized", "inlet-loss", "chatter", "cycling")
Judge = Callable[[Location], Assessment]
INJURIES = ("leaks", "bellows", "stuck", "corrosion")  # what chatter, simmer and back pressure do to a valve


@dataclass(frozen=True, slots=True)
class Trouble:
    """One troubled Location, ready for the remedies. Pressures Pa, temperatures K."""

    location: Location  # with defaults filled in
    assessment: Assessment
    basis: Basis
    failing: dict[str, Finding]  # worst failed finding of each code
    doubtful: frozenset[str]  # codes with an open finding
    set_gauge: float | None
    utilisation: float | None  # largest of the cases that end ok
    required_area: float | None  # m2 effective, largest of the cases
    signed: bool  # every case rests on a signed rate
    complete: bool  # every case has a required area
    temperatures: tuple[float, ...]
    phases: frozenset[str]
    judge: Judge  # assesses a changed Location

    @property
    def valve(self) -> Valve:
        """The installed valve."""
        return self.location.valve

    @property
    def cases(self) -> tuple[Case, ...]:
        """The relief cases."""
        return self.location.cases

    def stated(self, field: str) -> bool:
        """True where a field is somebody's word, not a default."""
        return not assumed(self.location, field)

    @property
    def operating_ratio(self) -> float | None:
        """Operating maximum over set, gauge; None where nobody stated it."""
        operating = self.location.vessel.operating_pressure
        if operating is None or not self.set_gauge or not self.stated("vessel.operating_pressure"):
            return None
        return self.basis.gauge(operating) / self.set_gauge

    @property
    def fouls(self) -> bool:
        """True where the fluid leaves deposits: stated of the service, or found in the history."""
        service = self.location.service
        return bool(service.fouling or service.polymerising) or "fouling" in self.failing

    @property
    def roots(self) -> frozenset[str]:
        """Failing codes that explain the injuries found beside them."""
        code = self.assessment.cause_code
        if code in CHATTER_ROOTS or code == "undersized":
            return frozenset(root for root in CHATTER_ROOTS if root in self.failing)
        if code == "back-pressure":  # the root of a worn bellows even where only the maker could fail it
            return frozenset((code,))
        return frozenset((code,)) if code == "close-to-set" and code in self.failing else frozenset()

    def injuries(self, touches: frozenset[str]) -> frozenset[str]:
        """Injuries that heal when these codes are cured and the valve is overhauled; empty unless all roots are."""
        roots = self.roots
        if not roots or not roots <= touches:
            return frozenset()
        hurt = [*INJURIES, "chatter"] if "back-pressure" in roots else [*INJURIES]
        if self.fouls:  # a quiet valve plugs as before
            hurt.remove("stuck")
        return frozenset(code for code in hurt if code in self.failing)


def _boiling(case: Case, result: CaseResult) -> float | None:
    """Temperature of steam that is stated without one: saturated at the relieving pressure, K."""
    if case.phase != "steam" or case.temperature is not None or result.relieving_pressure is None:
        return None
    try:
        return fluids.saturation_temperature("Water", result.relieving_pressure)
    except CalculationFailed:
        return None


def look(location: Location, assessment: Assessment, basis: Basis, judge: Judge | None = None) -> Trouble:
    """Gather what the remedies need from a Location and its Assessment. judge: None = closed form only."""

    def by_closed_form(changed: Location) -> Assessment:
        return assess(changed, basis, record=False)

    whole, _ = complete(location, basis)
    failing: dict[str, Finding] = {}
    for finding in assessment.findings:
        if finding.outcome == "fail":
            failing.setdefault(finding.code, finding)
    set_pressure = whole.valve.set_pressure
    uses = [case.utilisation for case in assessment.cases if case.utilisation is not None]
    areas = [case.required_area for case in assessment.cases]
    known = [area for area in areas if area is not None]
    temperatures = [case.temperature for case in whole.cases]
    temperatures.append(whole.vessel.operating_temperature)
    temperatures += [_boiling(case, result) for case, result in zip(whole.cases, assessment.cases, strict=False)]
    return Trouble(
        whole, assessment, basis, failing,
        frozenset(finding.code for finding in assessment.findings if finding.outcome == "open"),
        None if set_pressure is None else basis.gauge(set_pressure), max(uses, default=None), max(known, default=None),
        bool(whole.cases) and all(case.rate_basis == "signed" for case in whole.cases),
        bool(areas) and len(known) == len(areas),
        tuple(value for value in temperatures if value is not None),
        frozenset(case.phase for case in whole.cases if case.phase), judge or by_closed_form,
    )  # fmt: skip
