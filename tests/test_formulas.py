"""Every formula at once: dimensions by pint, a source, a title, and a finite number at sample values."""

from __future__ import annotations

import importlib
import math
import pkgutil
import random

import pint
import pytest

import quietseat
from quietseat import formula
from quietseat.formula import Facts, Function

TOPICS = ("assess", "remedies", "register", "catalogue", "sizing", "piping", "loads", "dynamics", "units", "emissions", "leakage", "reliability", "worklog", "economics", "lifecycle", "cost", "planning", "fluids")
SPOKEN = {"Pa(a)": "Pa", "Pa(g)": "Pa", "delta K": "K"}  # what the annotations say beyond pint's own words


def _import_all() -> None:
    """Import every module of the topics which exists; one that cannot be imported yet is another test's concern."""
    for topic in TOPICS:
        try:
            module = importlib.import_module(f"quietseat.{topic}")
        except ModuleNotFoundError as error:
            if error.name and error.name.startswith(quietseat.__name__):
                continue
            raise
        for found in pkgutil.iter_modules(getattr(module, "__path__", [])):
            importlib.import_module(f"quietseat.{topic}.{found.name}")


_import_all()
FORMULAS = {name: facts for name, facts in sorted(formula.registered().items()) if name.startswith("quietseat.")}
UREG = pint.UnitRegistry()
UREG.define("money = [money]")
Q = UREG.Quantity
MATHS = {
    "sqrt": lambda q: q**0.5, "exp": lambda q: math.exp(_bare(q)), "log": lambda q: math.log(_bare(q)),
    "log10": lambda q: math.log10(_bare(q)), "tanh": lambda q: math.tanh(_bare(q)), "pi": math.pi,
    "sin": lambda q: math.sin(_bare(q)), "cos": lambda q: math.cos(_bare(q)), "atan": lambda q: math.atan(_bare(q)),
    "min": lambda *q: min(q), "max": lambda *q: max(q), "abs": abs, "math": math,
}  # fmt: skip


def _bare(quantity: object) -> float:
    """A pure number; anything with a dimension is refused."""
    return float(Q(quantity).m_as("dimensionless"))


def _unit(text: str) -> str:
    for spoken, plain in SPOKEN.items():
        text = text.replace(spoken, plain)
    return text or "dimensionless"


def sample(facts: Facts, called: Function) -> dict[str, float]:
    """Arguments at which the formula has a finite value: 1.3 each, else the first of a fixed row of random draws.

    Many formulas hold a root or logarithm that 1.3 everywhere leaves; a formula with no such arguments fails.
    """
    names = [name for name in facts.units if name != "return"]
    draw = random.Random(20)
    for trial in range(2000):
        given = {}
        for name in names:
            low, high = facts.valid.get(name, (0.05, 3.0))
            given[name] = min(max(1.3 if trial == 0 else draw.uniform(low, min(high, low + 1e6)), low), high)
        try:
            value = called(**given)
        except (ValueError, ZeroDivisionError, OverflowError):
            continue
        if isinstance(value, (int, float)) and math.isfinite(value):
            return given
    raise AssertionError(f"{facts.name}: no arguments give a finite number")


def dimensions_agree(facts: Facts, arguments: dict[str, float]) -> bool:
    """Evaluate the formula's own text on quantities and compare with the unit it claims."""
    given = {name: Q(value, _unit(facts.units[name])) for name, value in arguments.items()}
    constants = {
        name: Q(value, _unit(formula.CONSTANT_UNITS.get(name, ""))) for name, value in facts.constants.items()
    }  # fmt: skip
    value = eval(facts.text, {"__builtins__": {}}, MATHS | constants | given)
    return bool(Q(value).check(Q(1, _unit(facts.units["return"])).dimensionality))


def test_there_are_formulas() -> None:
    assert len(FORMULAS) > 40


@pytest.mark.parametrize("name", FORMULAS)
def test_formula(name: str) -> None:
    facts = FORMULAS[name]
    assert facts.source.strip(), "no source"
    assert facts.title and "return" in facts.units
    module, _, function = name.rpartition(".")
    arguments = sample(facts, getattr(importlib.import_module(module), function))
    if not facts.empirical:
        assert dimensions_agree(facts, arguments), f"{facts.text} is not in {facts.units['return']}"


def test_a_wrong_dimension_is_caught() -> None:
    """The check itself: a product where a quotient belongs must fail."""
    right = FORMULAS["quietseat.sizing.area.required_area"]
    wrong = Facts(
        right.name, right.title, "W * K * G", right.units, right.source, {}, False, {}, right.names, right.pieces
    )  # fmt: skip
    arguments = {"W": 1.3, "G": 1.3, "K": 1.3}
    assert dimensions_agree(right, arguments)
    assert not dimensions_agree(wrong, arguments)
