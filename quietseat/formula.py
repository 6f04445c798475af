"""A formula is its only copy: one return expression gives the number, the report line, the dimension
check (tests) and the compiled form. A Sheet records the steps of one calculation; nothing is global.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
import typing
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Annotated, Any

# Units of the annotations. All are SI; `Pa` is absolute, `PaG` gauge, `PaD` a difference.
Pa = Annotated[float, "Pa(a)"]
PaG = Annotated[float, "Pa(g)"]
PaD = Annotated[float, "Pa"]
K = Annotated[float, "K"]
KD = Annotated[float, "delta K"]
m = Annotated[float, "m"]
m2 = Annotated[float, "m**2"]
m3 = Annotated[float, "m**3"]
kg = Annotated[float, "kg"]
kg_s = Annotated[float, "kg/s"]
m3_s = Annotated[float, "m**3/s"]
kg_m3 = Annotated[float, "kg/m**3"]
m3_kg = Annotated[float, "m**3/kg"]
kg_m2s = Annotated[float, "kg/m**2/s"]
kg_mol = Annotated[float, "kg/mol"]
Pa_s = Annotated[float, "Pa*s"]
m2_s = Annotated[float, "m**2/s"]
m_s = Annotated[float, "m/s"]
m_s2 = Annotated[float, "m/s**2"]
s = Annotated[float, "s"]
Hz = Annotated[float, "1/s"]
rad_s = Annotated[float, "1/s"]
N = Annotated[float, "N"]
N_m = Annotated[float, "N/m"]
J_kg = Annotated[float, "J/kg"]
J_kgK = Annotated[float, "J/kg/K"]
W = Annotated[float, "W"]
W_m2K = Annotated[float, "W/m**2/K"]
One = Annotated[float, ""]
Money = Annotated[float, "money"]

R = 8.31446261815324  # J/mol/K, CODATA 2018 (exact)
GRAVITY = 9.80665  # m/s2, standard acceleration
CONSTANT_UNITS = {"R": "J/mol/K", "GRAVITY": "m/s**2"}

Function = Callable[..., float]


@dataclass(frozen=True, slots=True)
class Facts:
    """What the tag read from a formula's text: used by the report, the tests and the compiler."""

    name: str
    title: str
    text: str
    units: Mapping[str, str]
    source: str
    valid: Mapping[str, tuple[float, float]]
    empirical: bool
    constants: Mapping[str, float]
    names: frozenset[str]
    pieces: tuple[str, ...]  # the expression cut at its names, for quick substitution


_REGISTER: dict[str, Facts] = {}


def formula(
    source: str, valid: Mapping[str, tuple[float, float]] | None = None, *, empirical: bool = False
) -> Callable[[Function], Function]:
    """Tag a function of SI floats with one return expression as a formula.

    source: document, edition and equation, with its confidence mark. valid: closed range of an argument
    inside which the formula holds (outside, the step is flagged, never silently used). empirical: the
    constants hide units, so the dimension check is not made. Raises TypeError when the body is not one
    return expression or holds a conditional expression (a branch belongs in the calculation).
    """

    def mark(function: Function) -> Function:
        tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
        if not isinstance(tree, ast.FunctionDef):
            raise TypeError(f"{function.__name__}: a formula is a def, not a lambda or class")
        body = [node for node in tree.body if not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))]
        if len(body) != 1 or not isinstance(body[0], ast.Return) or body[0].value is None:
            raise TypeError(f"{function.__name__}: a formula is one return expression")
        expression = body[0].value
        if any(isinstance(node, (ast.IfExp, ast.BoolOp, ast.Compare)) for node in ast.walk(expression)):
            raise TypeError(f"{function.__name__}: a formula holds no branch; choose in the calculation and note it")
        hints = typing.get_type_hints(function, include_extras=True)
        units = {name: hint.__metadata__[0] for name, hint in hints.items()}
        title = (inspect.getdoc(function) or function.__name__.replace("_", " ")).split("\n")[0].rstrip(".")
        names = {node.id for node in ast.walk(expression) if isinstance(node, ast.Name)}
        constants = {
            name: float(function.__globals__[name])
            for name in names - units.keys()
            if isinstance(function.__globals__.get(name), (int, float))
        }
        text = ast.unparse(expression)
        facts = Facts(
            function.__name__, title, text, units, source, dict(valid or {}), empirical, constants,
            frozenset(names), _cut(text, set(units) | set(constants)),
        )  # fmt: skip
        function.facts = facts  # type: ignore[attr-defined]
        _REGISTER[f"{function.__module__}.{function.__name__}"] = facts
        return function

    return mark


def facts_of(function: Function) -> Facts:
    """The facts of a tagged formula. Raises TypeError if the function is not tagged."""
    facts = getattr(function, "facts", None)
    if not isinstance(facts, Facts):
        raise TypeError(f"{getattr(function, '__name__', function)!r} is not a formula")
    return facts


def registered() -> Mapping[str, Facts]:
    """Every formula imported so far, by module and name."""
    return dict(_REGISTER)


def compiled(function: Function) -> Callable[..., Any]:
    """The same formula compiled by numba from the same source: works on floats and inside kernels."""
    import numba

    return typing.cast(Callable[..., Any], numba.njit(function))


def _cut(text: str, known: set[str]) -> tuple[str, ...]:
    """Cut an expression into alternating plain text and known names (odd places hold the names)."""
    places = [
        (node.col_offset, node.end_col_offset, node.id)
        for node in ast.walk(ast.parse(text, mode="eval"))
        if isinstance(node, ast.Name) and node.id in known and node.end_col_offset is not None
    ]
    pieces: list[str] = []
    encoded, at = text.encode(), 0
    for start, end, name in sorted(places):
        pieces += [encoded[at:start].decode(), name]
        at = end
    return (*pieces, encoded[at:].decode())


def number(value: float) -> str:
    """A number as it is printed in a step: six significant digits."""
    return f"{value:.6g}"


def substituted(facts: Facts, given: Mapping[str, float]) -> str:
    """The expression with the values put in; negative values stand in parentheses."""
    out: list[str] = []
    for index, piece in enumerate(facts.pieces):
        if index % 2 == 0:
            out.append(piece)
            continue
        value = given.get(piece, facts.constants.get(piece))
        if value is None:
            out.append(piece)
        else:
            text = number(value)
            out.append(f"({text})" if text.startswith("-") or "e" in text else text)
    return "".join(out)


@dataclass(frozen=True, slots=True)
class Step:
    """One line of a calculation as it is saved and printed."""

    symbol: str
    name: str
    expression: str
    substituted: str
    value: float | None
    unit: str
    source: str
    group: str = ""
    taken: tuple[tuple[str, int], ...] = ()  # a name put in, and the place of the step in its sheet whose value it is

    def as_dict(self) -> dict[str, object]:
        """The keys of the contract, plus the group the step belongs to and what it took from which step."""
        return {**asdict(self), "taken": dict(self.taken)}

    def line(self) -> str:
        """The step as one line of plain text."""
        if self.value is None:
            return f"{self.symbol}: {self.substituted or self.expression}  [{self.source}]"
        middle = f" = {self.expression} = {self.substituted}" if self.expression else ""
        return f"{self.symbol}{middle} = {number(self.value)} {self.unit}  [{self.source}]"


def _handed(places: Mapping[int, list[int]], given: Mapping[str, Any], steps: Sequence[Step]) -> tuple[tuple[str, int], ...]:
    """Which of some values were recorded by an earlier step: the last one of the same symbol, else the last one.

    A round number may be one object in many places of the program; it is taken from a step of the same symbol only.
    """
    out = []
    for name, value in given.items():
        found = places.get(id(value), []) if isinstance(value, float) else []
        named = [place for place in found if steps[place].symbol == name] or ([] if found and _common(value) else found)
        if named:
            out.append((name, named[-1]))
    return tuple(out)


def _common(value: float) -> bool:
    """Whether a number is written in few digits, so that the program may hold one object for many uses of it."""
    return len(f"{abs(value):.10g}".partition("e")[0].replace(".", "").strip("0")) < 3


class Sheet:
    """The steps of one calculation, in order. Recording is a tuple on a list; rendering comes later.

    With record=False the same calculation runs without keeping steps (remedies of a large fleet).
    """

    __slots__ = ("_group", "_steps", "flags", "record")

    def __init__(self, record: bool = True) -> None:
        self.record = record
        self._steps: list[tuple[Any, ...]] = []
        self._group = ""
        self.flags: list[str] = []

    def section(self, title: str) -> None:
        """Steps from here on belong under this title."""
        self._group = title

    def apply(self, symbol: str, function: Function, **given: float) -> float:
        """Call a formula and record it; an argument outside the formula's valid range is flagged."""
        value = function(**given)
        facts: Facts = function.facts  # type: ignore[attr-defined]
        if facts.valid:
            for name, (low, high) in facts.valid.items():
                if not low <= given[name] <= high:
                    self.flags.append(
                        f"{symbol}: {name} = {number(given[name])} is outside {number(low)} to {number(high)} "
                        f"({facts.source})"
                    )
        if self.record:
            self._steps.append((self._group, symbol, facts, given, value))
        return value

    def given(self, symbol: str, name: str, value: float, unit: str, source: str) -> float:
        """Record a value that was read, chosen or looked up, not calculated; returns it."""
        if self.record:
            self._steps.append((self._group, Step(symbol, name, "", "", value, unit, source, self._group)))
        return value

    def note(self, symbol: str, name: str, words: str, source: str) -> None:
        """Record a choice made on the way, in words: "critical: 0.15 < 0.58"."""
        if self.record:
            self._steps.append((self._group, Step(symbol, name, "", words, None, "", source, self._group)))

    def steps(self) -> list[Step]:
        """The recorded steps, rendered, each with the steps its values were handed on from.

        A value was handed on where it is the same object, not where it is equal: two numbers that agree by chance stay apart.
        """
        out: list[Step] = []
        places: dict[int, list[int]] = {}  # of the steps that recorded a value, by the value's identity; the sheet keeps every value alive
        for place, entry in enumerate(self._steps):
            step = entry[1]
            if isinstance(step, Step):
                before = _handed(places, {step.symbol: step.value}, out)
                out.append(replace(step, taken=before) if before else step)
            else:
                group, symbol, facts, given, value = entry
                out.append(
                    Step(symbol, facts.title, facts.text, substituted(facts, given), value,
                         facts.units.get("return", ""), facts.source, group, _handed(places, given, out))
                )  # fmt: skip
            if isinstance(out[-1].value, float):
                places.setdefault(id(out[-1].value), []).append(place)
        return out

    def __len__(self) -> int:
        return len(self._steps)
