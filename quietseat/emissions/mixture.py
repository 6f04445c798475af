"""What a product is made of, as far as carbon counts: methane, carbon that burns, CO2 already in the gas."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

from quietseat import fluids
from quietseat.emissions.formulas import carbon_share, chain_carbon, heavier_share, mass_share
from quietseat.status import CalculationFailed, Status
from quietseat.tables import table

CARBON, HYDROGEN = 0.0120107, 0.00100794  # kg/mol, atomic masses
LINK = CARBON + 2 * HYDROGEN  # CH2
METHANE, ETHANE, PROPANE, BUTANE = 0.0160428, 0.0300690, 0.0440956, 0.0581222  # kg/mol
UTILITIES = ("water", "steam", "air")
GASES = ("natural gas", "fuel gas")  # names of mixtures that are mostly methane
_PART = re.compile(r"^([0-9.]+)\s*(?:mol|vol)?\s*%?\s+(?:mol\s+|vol\s+)?([a-z].*)$|^([a-z].*?)\s+([0-9.]+)\s*(?:mol|vol)?\s*%?$", re.I)


@dataclass(frozen=True, slots=True)
class Split:
    """Mass shares of a product. carbon: what burns to CO2 in a flare, without the CO2 already there."""

    methane: float
    methane_low: float
    methane_high: float
    carbon: float
    co2: float
    confidence: str
    words: str
    molar_mass: float | None = None  # kg/mol, of a stated composition
    utility: bool = False  # water, steam or air: priced as such, not as product


@lru_cache(maxsize=1024)
def split(fluid: str | None, molar_mass: float | None, phase: str = "gas") -> Split:
    """What a fluid is made of.

    fluid: a name of the fluids table, or components in mole per cent ("90 % methane, 6 % ethane, 4 % carbon dioxide").
    molar_mass kg/mol helps where the name is a mixture or unknown: the gas is then taken as methane with heavier
    paraffins (estimate). Raises CalculationFailed for a composition that names an unknown component or does not sum to 100 %.
    """
    parts = _parts(fluid or "")
    if parts:
        return _mixture(parts)
    row = fluids.entry(fluid) if fluid else None
    held = table("gas_components").get(name=str(row["name"])) if row is not None else None
    if held is not None:
        return _pure(str(held["name"]), str(fluid))
    named = str(row["name"]) if row is not None else ""
    if phase in ("liquid", "two-phase") and named not in GASES:
        words = f"{fluid or 'liquid'}: composition unknown, taken as chains of CH2 without methane"
        return Split(0.0, 0.0, 0.0, _atoms(1, LINK), 0.0, "estimate", words)
    if molar_mass is None:
        words = f"{fluid or 'fluid not stated'}: composition and molar mass unknown, taken as methane"
        return Split(1.0, 0.0, 1.0, _atoms(1, METHANE), 0.0, "estimate", words)
    return _by_molar_mass(molar_mass, fluid or "gas", None if named in GASES else 0.0)


def _atoms(atoms: float, molar_mass: float) -> float:
    return carbon_share(atoms=atoms, carbon=CARBON, molar_mass=molar_mass)


def _pure(name: str, fluid: str) -> Split:
    row = table("gas_components").row(name=name)
    entry = fluids.entry(name)
    molar_mass = float(entry["molar_mass"]) / 1000 if entry is not None and entry["molar_mass"] else None
    methane = 1.0 if name == "methane" else 0.0
    co2 = 1.0 if name == "carbon dioxide" else 0.0
    carbon = 0.0 if co2 or molar_mass is None else _atoms(float(row["carbon"]), molar_mass)
    words = f"{fluid}: by its chemical formula" + (f"; {row['note']}" if row["note"] else "")
    return Split(methane, methane, methane, carbon, co2, "computed", words, molar_mass, name in UTILITIES)


def _parts(text: str) -> list[tuple[str, float]]:
    """Components and their shares as written; empty where the text is a plain name."""
    pieces = [piece.strip() for piece in re.split(r"[,;+]\s+|\s+\+\s+", text) if piece.strip()]
    found = [_PART.match(piece) for piece in pieces]
    if len(pieces) < 2 or not all(found):
        return []
    return [(m[2] or m[3], float(m[1] or m[4])) for m in found if m is not None]


def _mixture(parts: list[tuple[str, float]]) -> Split:
    """A composition in mole per cent or mole shares."""
    total = sum(share for _, share in parts)
    scale = 100.0 if abs(total - 100.0) <= 1.0 else 1.0
    if abs(total / scale - 1.0) > 0.01:
        raise CalculationFailed(Status.OUT_OF_RANGE, f"the composition sums to {total:g}, not to 100 (mole per cent)")
    pures = []
    for name, share in parts:
        row = fluids.entry(name)
        held = table("gas_components").get(name=str(row["name"])) if row is not None else None
        if held is None or row is None or not row["molar_mass"]:
            raise CalculationFailed(Status.NOT_COMPUTED, f"component {name!r} of the composition is not known by name")
        pures.append((_pure(str(row["name"]), name), share / total))
    molar = sum(share * (pure.molar_mass or 0.0) for pure, share in pures)
    shares = [(pure, mass_share(mole_share=share, molar_mass=pure.molar_mass or 0.0, mixture=molar)) for pure, share in pures]
    methane = sum(pure.methane * share for pure, share in shares)
    return Split(
        methane, methane, methane, sum(pure.carbon * share for pure, share in shares),
        sum(pure.co2 * share for pure, share in shares), "computed", "from the stated composition, mole per cent", molar,
    )  # fmt: skip


def _by_molar_mass(molar_mass: float, fluid: str, low: float | None) -> Split:
    """Methane with propane (low end: ethane, high end: butane) of this molar mass. low: 0 where it may be another gas."""

    def methane(heavy: float) -> float:
        share = min(max(heavier_share(molar_mass=molar_mass, light=METHANE, heavy=heavy), 0.0), 1.0)
        return mass_share(mole_share=1 - share, molar_mass=METHANE, mixture=(1 - share) * METHANE + share * heavy)

    said = f"of {molar_mass * 1e3:.4g} g/mol"
    if molar_mass < METHANE:  # only hydrogen or helium make a gas lighter
        share = heavier_share(molar_mass=max(molar_mass, 2 * HYDROGEN), light=2 * HYDROGEN, heavy=METHANE)
        found = mass_share(mole_share=share, molar_mass=METHANE, mixture=max(molar_mass, 2 * HYDROGEN))
        words = f"{fluid}: composition unknown, taken as methane with hydrogen {said}"
        return Split(found, 0.0, found, found * _atoms(1, METHANE), 0.0, "estimate", words)
    light, mid, heavy = methane(ETHANE), methane(PROPANE), methane(BUTANE)
    carbon = chain_carbon(molar_mass=molar_mass, ends=2 * HYDROGEN, link=LINK, carbon=CARBON)
    words = f"{fluid}: composition unknown, taken as methane with propane {said}"
    return Split(mid, light if low is None else low, heavy, carbon, 0.0, "estimate", words)
