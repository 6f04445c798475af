"""One more printer over the expression text of a formula: typst maths and MathML, never a second text.

The text is parsed, never evaluated. What cannot be parsed as an expression is printed as plain words.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Sequence
from functools import lru_cache
from html import escape
from typing import Protocol

__all__ = ["mathml", "mathml_symbol", "name_parts", "typst", "typst_string", "typst_symbol", "unit_text"]

_GREEK_NAMES = ["alpha", "beta", "gamma", "delta", "epsilon", "zeta", "eta", "theta", "iota", "kappa", "lambda", "mu", "nu", "xi", "omicron", "pi", "rho", "sigma", "tau", "upsilon", "phi", "chi", "psi", "omega"]
_GREEK_LETTERS = "αβγδεζηθικλμνξοπρστυφχψω"
_GREEK = dict(zip(_GREEK_NAMES, _GREEK_LETTERS, strict=True)) | {
    name.capitalize(): letter.upper() for name, letter in zip(_GREEK_NAMES, _GREEK_LETTERS, strict=True)
}
_SPECIAL = {"inf": "∞", "infinity": "∞"}
_FUNCTIONS = {"log": "ln", "asin": "arcsin", "acos": "arccos", "atan": "arctan"}
_COMPARE: dict[type[ast.cmpop], str] = {
    ast.Lt: "<", ast.LtE: "≤", ast.Gt: ">", ast.GtE: "≥", ast.Eq: "=", ast.NotEq: "≠",
    ast.In: "∈", ast.NotIn: "∉", ast.Is: "=", ast.IsNot: "≠",
}  # fmt: skip

# How tightly a printed piece holds together; a looser piece inside a tighter place gets parentheses.
_ATOM, _POWER, _PRODUCT, _SIGN, _SUM, _RELATION = range(6)

_SYMBOL = re.compile(r"[^\W\d][\w-]*")
_SUPERSCRIPTS = str.maketrans("0123456789-+", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻⁺")


class _NotAnExpression(Exception):
    """The text is not an expression this printer knows."""


class _Writer(Protocol):
    """What one output language has to say about each kind of piece."""

    def name(self, base: str, below: Sequence[str]) -> str: ...
    def number(self, digits: str, exponent: str) -> str: ...
    def word(self, text: str) -> str: ...
    def sign(self, sign: str) -> str: ...
    def row(self, pieces: Sequence[str]) -> str: ...
    def group(self, inner: str) -> str: ...
    def fraction(self, above: str, below: str) -> str: ...
    def root(self, inner: str, degree: str) -> str: ...
    def power(self, base: str, exponent: str) -> str: ...
    def below(self, base: str, index: str) -> str: ...
    def between(self, left: str, inner: str, right: str) -> str: ...
    def function(self, name: str, arguments: Sequence[str]) -> str: ...


class _Typst:
    """Typst maths. Every token stands between spaces; free text stands only inside quoted strings."""

    def name(self, base: str, below: Sequence[str]) -> str:
        text = self._letters(base)
        return f"{text}_({' comma '.join(self._letters(part) for part in below)})" if below else text

    def _letters(self, text: str) -> str:
        plain = (len(text) == 1 and text.isascii() and text.isalnum()) or text in _GREEK.values()
        return text if plain else typst_string(text)

    def number(self, digits: str, exponent: str) -> str:
        text = digits if digits.replace(".", "", 1).isdecimal() and digits[-1] != "." else typst_string(digits)
        return f"{text} times 10^({exponent.replace('-', '−')})" if exponent else text

    def word(self, text: str) -> str:
        return typst_string(text)

    def sign(self, sign: str) -> str:
        return {"⋅": "dot.op", ",": "comma", "%": "percent"}.get(sign, sign)

    def row(self, pieces: Sequence[str]) -> str:
        return " ".join(pieces)

    def group(self, inner: str) -> str:
        return f"lr(( {inner} ))"

    def fraction(self, above: str, below: str) -> str:
        return f"frac({above}, {below})"

    def root(self, inner: str, degree: str) -> str:
        return f"root({degree}, {inner})" if degree else f"sqrt({inner})"

    def power(self, base: str, exponent: str) -> str:
        return f"{base}^({exponent})"

    def below(self, base: str, index: str) -> str:
        return f"{base}_({index})"

    def between(self, left: str, inner: str, right: str) -> str:
        shape = {"|": "abs", "⌊": "floor"}[left]
        return f"{shape}({inner})"

    def function(self, name: str, arguments: Sequence[str]) -> str:
        return f"op({typst_string(name)}) lr(( {' comma '.join(arguments)} ))"


class _MathML:
    """MathML Core; every piece is one element."""

    def name(self, base: str, below: Sequence[str]) -> str:
        letters = f"<mi>{escape(base)}</mi>"
        if not below:
            return letters
        inner = "<mo>,</mo>".join(f"<mn>{p}</mn>" if p.isdigit() else f"<mi>{escape(p)}</mi>" for p in below)
        return f"<msub>{letters}{inner if len(below) == 1 else f'<mrow>{inner}</mrow>'}</msub>"

    def number(self, digits: str, exponent: str) -> str:
        text = f"<mn>{escape(digits)}</mn>"
        if not exponent:
            return text
        raised = escape(exponent.replace("-", "−"))
        return self.row((text, "<mo>×</mo>", f"<msup><mn>10</mn><mn>{raised}</mn></msup>"))

    def word(self, text: str) -> str:
        return f"<mtext>{escape(text)}</mtext>"

    def sign(self, sign: str) -> str:
        return f"<mo>{escape(sign)}</mo>"

    def row(self, pieces: Sequence[str]) -> str:
        return pieces[0] if len(pieces) == 1 else f"<mrow>{''.join(pieces)}</mrow>"

    def group(self, inner: str) -> str:
        return f"<mrow><mo>(</mo>{inner}<mo>)</mo></mrow>"

    def fraction(self, above: str, below: str) -> str:
        return f"<mfrac>{above}{below}</mfrac>"

    def root(self, inner: str, degree: str) -> str:
        return f"<mroot>{inner}{degree}</mroot>" if degree else f"<msqrt>{inner}</msqrt>"

    def power(self, base: str, exponent: str) -> str:
        return f"<msup>{base}{exponent}</msup>"

    def below(self, base: str, index: str) -> str:
        return f"<msub>{base}{index}</msub>"

    def between(self, left: str, inner: str, right: str) -> str:
        return f"<mrow><mo>{left}</mo>{inner}<mo>{right}</mo></mrow>"

    def function(self, name: str, arguments: Sequence[str]) -> str:
        return f"<mrow><mi>{escape(name)}</mi>{self.group('<mo>,</mo>'.join(arguments))}</mrow>"


class _Printer:
    """Walks one parsed expression; returns the printed piece and how tightly it holds together."""

    def __init__(self, text: str, writer: _Writer) -> None:
        self.source = text
        self.one_line = text.isascii() and text.isprintable()
        self.to = writer

    def print(self, node: ast.expr) -> tuple[str, int]:
        """One node, by its kind."""
        handler = getattr(self, f"_{type(node).__name__.lower()}", None)
        if handler is None:
            raise _NotAnExpression(type(node).__name__)
        piece: tuple[str, int] = handler(node)
        return piece

    def inside(self, node: ast.expr, loosest: int) -> str:
        """One node inside a place which takes pieces up to this looseness without parentheses."""
        text, level = self.print(node)
        return text if level <= loosest else self.to.group(text)

    def free(self, node: ast.expr) -> str:
        """One node in a place which needs no parentheses (fraction, radical, argument)."""
        return self.print(node)[0]

    def _name(self, node: ast.Name) -> tuple[str, int]:
        return self.to.name(*_parts(node.id)), _ATOM

    def _attribute(self, node: ast.Attribute) -> tuple[str, int]:
        return self.to.name(*_parts(node.attr)), _ATOM

    def _constant(self, node: ast.Constant) -> tuple[str, int]:
        if isinstance(node.value, (str, bytes)) or node.value is None or isinstance(node.value, bool):
            return self.to.word(str(node.value)), _ATOM
        printed = (self._written(node) or repr(node.value)).strip()
        digits, _, exponent = printed.lower().partition("e")
        if not exponent or not exponent.lstrip("+-").isdigit():
            return self.to.number(printed, ""), _ATOM
        if printed.lower().startswith("0x"):
            return self.to.number(printed, ""), _ATOM
        return self.to.number(digits, str(int(exponent))), _PRODUCT

    def _written(self, node: ast.Constant) -> str | None:
        """The constant as written: cut out at its place, which counts bytes of one line; the slow way for any other text."""
        if self.one_line:
            return self.source[node.col_offset : node.end_col_offset]
        return ast.get_source_segment(self.source, node)

    def _binop(self, node: ast.BinOp) -> tuple[str, int]:
        operator = type(node.op)
        if operator is ast.Div:
            return self.to.fraction(self.free(node.left), self.free(node.right)), _POWER
        if operator is ast.FloorDiv:
            inner = self.to.fraction(self.free(node.left), self.free(node.right))
            return self.to.between("⌊", inner, "⌋"), _ATOM
        if operator is ast.Pow:
            return self.to.power(self.inside(node.left, _ATOM), self.free(node.right)), _POWER
        if operator in (ast.Mult, ast.MatMult):
            return self._chain(node, {ast.Mult: "⋅", ast.MatMult: "⋅"}, _PRODUCT, _SIGN)
        if operator is ast.Mod:
            left, right = self.inside(node.left, _POWER), self.inside(node.right, _POWER)
            return self.to.row((left, self.to.word(" mod "), right)), _SUM
        if operator in (ast.Add, ast.Sub):
            return self._chain(node, {ast.Add: "+", ast.Sub: "−"}, _SUM, _SUM)
        raise _NotAnExpression(operator.__name__)

    def _chain(
        self, node: ast.BinOp, signs: dict[type[ast.operator], str], level: int, first: int
    ) -> tuple[str, int]:
        """A run of products or sums as one row; a right-hand run written in parentheses keeps them."""
        tail: list[str] = []
        left: ast.expr = node
        while isinstance(left, ast.BinOp) and type(left.op) in signs:
            # a power of ten holds a product sign but is one factor
            loosest = _PRODUCT if level == _SUM or isinstance(left.right, ast.Constant) else _POWER
            tail += [self.inside(left.right, loosest), self.to.sign(signs[type(left.op)])]
            left = left.left
        text, looseness = self.print(left)
        head = text if looseness <= first else self.to.group(text)
        signed = level == _PRODUCT and looseness == _SIGN
        return self.to.row((head, *reversed(tail))), _SIGN if signed else level

    def _unaryop(self, node: ast.UnaryOp) -> tuple[str, int]:
        sign = {ast.USub: "−", ast.UAdd: "+"}.get(type(node.op))
        if sign is None:
            raise _NotAnExpression("operator")
        return self.to.row((self.to.sign(sign), self.inside(node.operand, _PRODUCT))), _SIGN

    def _call(self, node: ast.Call) -> tuple[str, int]:
        function = node.func
        name = function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")
        arguments = [self.free(item) for item in node.args]
        for keyword in node.keywords:
            label = self.to.name(*_parts(keyword.arg or ""))
            arguments.append(self.to.row((label, self.to.sign("="), self.free(keyword.value))))
        if not name or any(isinstance(item, ast.Starred) for item in node.args):
            raise _NotAnExpression("call")
        if name in ("sqrt", "cbrt") and len(arguments) == 1:
            return self.to.root(arguments[0], "" if name == "sqrt" else self.to.number("3", "")), _ATOM
        if name in ("abs", "fabs") and len(arguments) == 1:
            return self.to.between("|", arguments[0], "|"), _ATOM
        if not arguments:
            return self.to.row((self.to.word(name), self.to.word("()"))), _POWER
        return self.to.function(_FUNCTIONS.get(name, name.strip("_").replace("_", " ") or name), arguments), _POWER

    def _subscript(self, node: ast.Subscript) -> tuple[str, int]:
        return self.to.below(self.inside(node.value, _ATOM), self.free(node.slice)), _POWER

    def _tuple(self, node: ast.Tuple) -> tuple[str, int]:
        pieces: list[str] = []
        for index, item in enumerate(node.elts):
            pieces += ([self.to.sign(",")] if index else []) + [self.free(item)]
        if not pieces:
            raise _NotAnExpression("empty tuple")
        return self.to.group(self.to.row(pieces)), _ATOM

    def _compare(self, node: ast.Compare) -> tuple[str, int]:
        pieces = [self.inside(node.left, _SUM)]
        for operator, right in zip(node.ops, node.comparators, strict=True):
            pieces += [self.to.sign(_COMPARE[type(operator)]), self.inside(right, _SUM)]
        return self.to.row(pieces), _RELATION


def _parts(name: str) -> tuple[str, tuple[str, ...]]:
    """A name as base letter(s) and what stands below: `p1`, `d_seat_2`, `omega_s`."""
    words = [word for word in name.split("_") if word]
    if not words:
        return name, ()
    base, below = words[0], words[1:]
    letters = base.rstrip("0123456789")
    if letters and letters != base:
        base, below = letters, [words[0][len(letters) :], *below]
    known = _SPECIAL | _GREEK
    return known.get(base, base), tuple(known.get(word, word) for word in below)


def typst_symbol(text: str) -> str:
    """The symbol of a step as typst maths; a hyphen in it joins words (`K_elbow-90`) and never subtracts."""
    return _Typst().name(*_parts(text)) if _SYMBOL.fullmatch(text) else typst(text)


@lru_cache(maxsize=1024)
def mathml_symbol(text: str) -> str:
    """The symbol of a step as MathML, read as `typst_symbol` reads it."""
    return _MathML().name(*_parts(text)) if _SYMBOL.fullmatch(text) else mathml(text)


def name_parts(symbol: str) -> tuple[str, str]:
    """A symbol as the letters on the line and what stands below it; words stay whole."""
    if not _SYMBOL.fullmatch(symbol):
        return symbol, ""
    base, below = _parts(symbol)
    return base, ", ".join(below)


def _printed(text: str, writer: _Writer) -> str:
    """The expression in one output language, or the text as words where it is not an expression."""
    stripped = text.strip()
    try:
        tree = ast.parse(stripped, mode="eval")
        return _Printer(stripped, writer).print(tree.body)[0]
    except (SyntaxError, ValueError, RecursionError, MemoryError, _NotAnExpression):
        return writer.word(stripped)


def typst_string(text: str) -> str:
    """Any text as a typst string literal, which typst never reads as markup."""
    clean = "".join(char if char.isprintable() else " " for char in text)
    return '"' + clean.replace("\\", "\\\\").replace('"', '\\"') + '"'


@lru_cache(maxsize=4096)
def typst(text: str) -> str:
    """An expression, symbol or number as typst maths (without the dollar signs).

    `w / (c * kd) * sqrt(t)` becomes a fraction times a radical; a name gets what follows an underscore, and
    its trailing digits, below the line; Greek names become letters; numbers stay as printed. Text that is
    not an expression comes back as a quoted string. Nothing is evaluated. Source: this tool's own layout.
    """
    return _printed(text, _Typst())


@lru_cache(maxsize=4096)
def mathml(text: str) -> str:
    """The same expression as MathML elements (without the surrounding `math` element)."""
    return _printed(text, _MathML())


@lru_cache(maxsize=512)
def unit_text(unit: str) -> str:
    """A unit of a formula as people write it: `kg/m**2/s` becomes kg/(m²·s); `Pa(a)` says absolute."""
    plain = {"": "", "Pa(a)": "Pa abs", "Pa(g)": "Pa gauge", "delta K": "K", "money": ""}
    if unit in plain:
        return plain[unit]
    if not unit.isascii() or " " in unit:
        return unit
    first, *rest = [_power(part) for part in unit.split("/")]
    if not rest:
        return first
    return f"{first}/{rest[0]}" if len(rest) == 1 else f"{first}/({'·'.join(rest)})"


def _power(part: str) -> str:
    """`m**2*K` with raised figures and centred dots."""
    out: list[str] = []
    for factor in part.replace("**", "^").split("*"):
        base, _, power = factor.partition("^")
        out.append(base + power.translate(_SUPERSCRIPTS))
    return "·".join(out)
