"""The bases of leakage side by side, and the rule which of them applies.

The bases differ by two to four orders of magnitude; none is the truth about one valve, so each answer is a range with
the name of its basis. What leaks into a flare or closed system is not a fugitive emission: no survey factor applies.
"""

from __future__ import annotations

from collections.abc import Callable

from quietseat.emissions.carbon import route
from quietseat.emissions.formulas import correlation, middle, volume_to_mass
from quietseat.emissions.records import Leak, LeakFacts, LeakRate, base_row, year_of
from quietseat.emissions.seat import QUIET, allowance, density, gap
from quietseat.formula import Sheet
from quietseat.sizing.constants import FOOT, HOUR
from quietseat.status import CalculationFailed, Status
from quietseat.tables import Row, sources, weakest

BASES = ("history", "api-527", "population", "leaker", "correlation", "gap")  # words of the Basis
NAMES = ("in-spec", "average", "screening", "leaker", "population", "measured", "gap")  # all that stand side by side
SURVEY = ("average", "screening", "leaker", "population")  # counted at a vent to atmosphere
PEGGED_LOW, PEGGED_HIGH = 10_000.0, 100_000.0  # ppm where instruments end
RULE = "measured rate, else reading, else found leaking, else population (this tool's rule, estimate)"
# Where the figures of a basis stand: document and year, for a basis that has no figure for a valve.
_HOMES = {
    "in-spec": "api_527", "average": "epa_453", "screening": "epa_453", "leaker": "subpart_w", "population": "subpart_w",
    "measured": "", "gap": "computed",
}  # fmt: skip
_OLD = {"api-527": "in-spec", "correlation": "screening"}


def leak_rate(basis_name: str, facts: LeakFacts, sheet: Sheet = QUIET) -> LeakRate:
    """Leakage of one valve by a stated basis, kg/s.

    basis_name: one of NAMES, or api-527 (= in-spec), correlation (= screening), or history: a measured rate, else screening
    with a reading, leaker (or gap, where the discharge is closed) if found leaking, else the allowance of API 527. Raises
    CalculationFailed for an unknown basis, a fact that is missing, and a survey factor on a closed discharge.
    """
    if basis_name not in (*BASES, *NAMES):
        raise CalculationFailed(Status.NOT_COMPUTED, f"leak basis {basis_name!r} is not one of {', '.join(BASES)}")
    chosen = basis_name
    fugitive = route(facts.discharge_to).fugitive
    if basis_name == "history":
        chosen = "api-527"
        if facts.measured is not None:
            chosen = "measured"
        elif facts.ppm is not None and fugitive:
            chosen = "correlation"
        elif facts.found_leaking:
            chosen = "leaker" if fugitive else "gap"
        if sheet.record:
            sheet.note("basis", "leak basis by the history", chosen, "this tool's rule (estimate)")
    name = _OLD.get(chosen, chosen)
    if name in SURVEY and not fugitive:
        raise CalculationFailed(
            Status.NOT_COMPUTED,
            f"the {chosen} basis counts leaks to atmosphere; this valve discharges to {facts.discharge_to}: "
            "use api-527 or gap",
        )
    return _RULES[name](facts, sheet)


def side_by_side(facts: LeakFacts, sheet: Sheet = QUIET, asked: str = "history") -> tuple[Leak, ...]:
    """Every basis of NAMES with its range, or the reason why it has none; at most one applies.

    asked: the Basis's leak_basis; "history" lets the rule of `choose` decide, another word takes that basis.
    """
    fugitive = route(facts.discharge_to).fugitive
    wanted, why = choose(facts, asked)
    if sheet.record:
        sheet.note("basis", "leak basis that applies", f"{wanted}: {why}", RULE)
    out = []
    for name in NAMES:
        sheet.section(f"leakage, {name}")
        out.append(_leak(name, facts, wanted, why, fugitive, sheet))
    sheet.section("")
    return tuple(out)


def _leak(name: str, facts: LeakFacts, wanted: str, why: str, fugitive: bool, sheet: Sheet) -> Leak:
    applies = name == wanted
    try:
        rate = leak_rate(name, facts, sheet)
    except CalculationFailed as failed:
        home = sources().get(_HOMES[name])
        reason = f"{why}; but {failed.reason}" if applies else failed.reason
        if name in SURVEY and not fugitive:
            reason = f"counts leaks to atmosphere; this valve discharges to {facts.discharge_to}"
        return Leak(name, home.short if home else "measured at this valve", home.year if home else None, None, None, None, applies, reason)
    said = why if applies else f"{_not(name, facts, wanted)}; {rate.words}"
    return Leak(name, rate.source, rate.year, rate.low, rate.mid, rate.high, applies, said, rate.confidence)


def _not(name: str, facts: LeakFacts, wanted: str) -> str:
    """Why a basis that has a value does not apply."""
    if name == "leaker" and not facts.found_leaking:
        return "nobody found it leaking"
    if name == "gap" and facts.gap is None:
        return "nobody measured the gap"
    return f"{wanted} comes first"


def choose(facts: LeakFacts, asked: str = "history") -> tuple[str, str]:
    """The basis that applies to a valve, and why. asked: the Basis's choice, "history" for the rule.

    Rule: a measured mass rate beats all; a reading in ppm goes through the correlation; a valve only found leaking takes
    the leaker factor; nothing known takes the population factor. A closed discharge takes no survey factor.
    """
    fugitive = route(facts.discharge_to).fugitive
    if facts.measured is not None:
        return "measured", "a measured mass rate beats every estimate"
    if facts.mended:
        return "in-spec", "the seat has just passed its test"
    if asked != "history" and (fugitive or asked not in SURVEY):
        return _OLD.get(asked, asked), "the Basis asks for it"
    if not fugitive:
        if facts.found_leaking or facts.gap is not None:
            return "gap", f"found leaking; it discharges to {facts.discharge_to}, where no survey factor counts"
        return "in-spec", f"nothing says it leaks; it discharges to {facts.discharge_to}, where no survey factor counts"
    if facts.ppm is not None:
        return "screening", f"the last reading is {facts.ppm:g} ppm"
    if facts.found_leaking:
        return "leaker", "found leaking, but nobody measured how much"
    if facts.phase == "liquid":
        return "in-spec", "nothing says it leaks, and population factors are for gas"
    return "population", "nothing is known of its leakage"


def _gas_only(facts: LeakFacts, name: str) -> None:
    if facts.phase == "liquid":
        raise CalculationFailed(Status.NOT_COMPUTED, f"the {name} factors are for gas and vapour")


def factor_rate(name: str, facts: LeakFacts, sheet: Sheet = QUIET) -> float:
    """One factor of the table leak_bases in kg/s, for the gas of the facts. Raises CalculationFailed."""
    row = base_row(name)
    cite = f"{row['title']} ({row['provenance']})"
    if row["rate_kg_h"] is not None:
        return sheet.given("W_leak", "leak factor", float(row["rate_kg_h"]) / HOUR, "kg/s", cite)
    volume = sheet.given("V_leak", "leak factor", float(row["rate_scf_h"]) * FOOT**3 / HOUR, "m**3/s", cite)
    return sheet.apply("W_leak", volume_to_mass, volume_flow=volume, density=density(facts, sheet))


def _cited(rows: list[Row]) -> tuple[str, str, int | None]:
    """Sources, weakest mark and newest year of some rows."""
    titles = "; ".join(f"{row['title']} ({sources()[row['source']].short}, {row['place']})" for row in rows)
    years = [year for row in rows if (year := year_of(row)) is not None]
    return titles, weakest(str(row["provenance"]) for row in rows), max(years, default=None)


def _spread(names: tuple[str, str, str], basis: str, words: str, facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Low, middle and high from three factors of the table; repeated names are one figure."""
    values = {name: factor_rate(name, facts, sheet) for name in dict.fromkeys(names)}
    low, mid, high = (values[name] for name in names)
    source, mark, year = _cited([base_row(name) for name in values])
    return LeakRate(min(low, mid), mid, max(mid, high), basis, source, mark, words, year)


def _average(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Average emission factor of the US EPA protocol, by industry."""
    if facts.phase == "liquid":
        names = ("epa-oilgas-average-heavy", "epa-oilgas-average-light", "epa-oilgas-average-water")
    else:
        names = {
            "refinery": ("epa-refinery-average",) * 3, "chemical": ("epa-socmi-average",) * 3,
            "oil-gas": ("epa-oilgas-average-gas",) * 3,
        }.get(facts.sector or "", ("epa-oilgas-average-gas", "epa-socmi-average", "epa-refinery-average"))  # fmt: skip
    words = "average over all valves of such plants, most of which do not leak"
    if "epa-refinery-average" in names:
        words += "; the refinery factor counts no methane: add it by weight"
    return _spread(names, "average", words, facts, sheet)


def _population(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Population factor of US reporting, oil and gas; for other industries the average factor stands in."""
    _gas_only(facts, "population")
    words = "average over all valves of such plants, most of which do not leak"
    if facts.sector in ("refinery", "chemical"):
        name = "epa-refinery-average" if facts.sector == "refinery" else "epa-socmi-average"
        return _spread((name,) * 3, "population", words, facts, sheet)
    ends = ("subpart-w-population-east", "subpart-w-population-west")
    low, high = (factor_rate(name, facts, sheet) for name in ends)
    source, mark, year = _cited([base_row(name) for name in ends])
    mid = sheet.apply("W_leak", middle, low=low, high=high)
    return LeakRate(low, mid, high, "population", source, weakest((mark, "estimate")), f"{words}; middle: geometric mean", year)


def _leaker(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Average of valves found leaking."""
    _gas_only(facts, "leaker")
    if facts.sector in ("refinery", "chemical"):
        names = ("epa-oilgas-leaking", "epa-screening-leaking", "epa-screening-leaking")
    elif facts.compressor:
        names = ("subpart-w-leaker-compressor-m21", "subpart-w-leaker-compressor", "subpart-w-2024-leaker")
    else:
        names = ("subpart-w-leaker-other-m21", "subpart-w-leaker-other", "subpart-w-leaker-compressor")
    return _spread(names, "leaker", "average of valves found leaking: only if it really leaks", facts, sheet)


def _screening(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    """Leak rate from a screening value by two published correlations; pegged and zero readings by their factors."""
    ppm = facts.ppm
    if ppm is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "no leak reading in ppm: the correlation needs one")
    if ppm < 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "leak reading is negative")
    first, second = ("socmi", "petroleum") if facts.sector == "chemical" else ("petroleum", "socmi")
    values = [_screened(family, ppm, facts, sheet) for family in (first, second)]
    mid, words = values[0], f"from a reading of {ppm:g} ppm"
    if ppm == PEGGED_LOW:  # many instruments end here: the true value may be far above
        values += [factor_rate(f"epa-{family}-pegged-10k", facts, sheet) for family in (first, second)]
        words += "; the high end holds if the instrument ended there"
    source = base_row(f"epa-{first}-correlation")
    return LeakRate(
        min(values), mid, max(values), "correlation", f"EPA-453/R-95-017, {first} correlation; {second} as the other end",
        str(source["provenance"]), words, year_of(source),
    )  # fmt: skip


def _screened(family: str, ppm: float, facts: LeakFacts, sheet: Sheet) -> float:
    if ppm == 0:
        return factor_rate(f"epa-{family}-zero", facts, sheet)
    if ppm >= PEGGED_HIGH:
        return factor_rate(f"epa-{family}-pegged-100k", facts, sheet)
    row = base_row(f"epa-{family}-correlation")
    return sheet.apply(
        "W_leak", correlation, coefficient=float(row["coefficient"]), ppm=ppm, exponent=float(row["exponent"])
    )


def _measured(facts: LeakFacts, sheet: Sheet) -> LeakRate:
    rate = facts.measured
    if rate is None:
        raise CalculationFailed(Status.NOT_COMPUTED, "no leak rate was measured")
    if rate < 0:
        raise CalculationFailed(Status.OUT_OF_RANGE, "the measured leak rate is negative")
    sheet.given("W_leak", "measured leak rate", rate, "kg/s", "as given")
    return LeakRate(rate, rate, rate, "measured", "measured at this valve", "seen", "as measured on the day")


_RULES: dict[str, Callable[[LeakFacts, Sheet], LeakRate]] = {
    "in-spec": allowance, "average": _average, "screening": _screening, "leaker": _leaker, "population": _population,
    "measured": _measured, "gap": gap,
}  # fmt: skip
