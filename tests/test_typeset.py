"""The expression printer: what it prints, and that whatever it prints is accepted by typst and by an XML reader."""

from __future__ import annotations

import ast
import xml.etree.ElementTree as ET

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from quietseat.typeset import mathml, mathml_symbol, typst, typst_string, typst_symbol, unit_text


@pytest.mark.parametrize(
    ("text", "maths"),
    [
        # the notation asked for: fractions, radicals, raised powers, names with letters below, Greek, printed numbers
        ("w / (c * kd)", 'frac(w, c dot.op "kd")'),
        ("sqrt(t * z / m)", "sqrt(frac(t dot.op z, m))"),
        ("x ** 2", "x^(2)"),
        ("p1", "p_(1)"),
        ("p_set", 'p_("set")'),
        ("rho_2", "ρ_(2)"),
        ("omega", "ω"),
        ("1.23e-05", "1.23 times 10^(−5)"),
        ("2.50", "2.50"),
        ("log(x)", 'op("ln") lr(( x ))'),
        ("log10(x)", 'op("log10") lr(( x ))'),
        ("exp(-x)", 'op("exp") lr(( − x ))'),
        ("abs(x)", "abs(x)"),
        ("min(a, b)", 'op("min") lr(( a comma b ))'),
        ("math.sqrt(x)", "sqrt(x)"),
    ],
)
def test_prints_in_typst(text: str, maths: str) -> None:
    assert typst(text) == maths


@pytest.mark.parametrize(
    ("text", "maths"),
    [
        ("a - (b - c)", "a − lr(( b − c ))"),
        ("a - b - c", "a − b − c"),
        ("(a + b) * c", "lr(( a + b )) dot.op c"),
        ("a * (b * c)", "a dot.op lr(( b dot.op c ))"),
        ("(-3) ** 2", "lr(( − 3 ))^(2)"),
        ("-3 ** 2", "− 3^(2)"),
        ("2 - (-3)", "2 − lr(( − 3 ))"),
        ("2 * (-3)", "2 dot.op lr(( − 3 ))"),
        ("a + (-b) * c", "a + lr(( − b dot.op c ))"),
        ("(a / b) ** k", "lr(( frac(a, b) ))^(k)"),
        ("(1e-05) ** 2", "lr(( 1 times 10^(−5) ))^(2)"),
        ("5 * (1e-05)", "5 dot.op 1 times 10^(−5)"),
        ("(a ** b) ** c", "lr(( a^(b) ))^(c)"),
    ],
)
def test_parentheses_stay_where_the_meaning_needs_them(text: str, maths: str) -> None:
    assert typst(text) == maths


@pytest.mark.parametrize("text", ["critical: 0.15 < 0.58", "inlet loss", "#strong[x] $a$", 'a"b', "", "x := 2", "[1, 2]", "λ x"])
def test_words_stay_words(text: str) -> None:
    assert typst(text) == typst_string(text)
    assert ET.fromstring(f"<math>{mathml(text)}</math>").findtext("mtext", "") == text


def test_mathml_of_the_gas_equation() -> None:
    """The equation 3 form of API 520-1, laid out by hand in MathML Core."""
    fraction = "<mfrac><mi>w</mi><mrow><mi>c</mi><mo>⋅</mo><msub><mi>p</mi><mn>1</mn></msub></mrow></mfrac>"
    root = "<msqrt><mfrac><mrow><mi>t</mi><mo>⋅</mo><mi>z</mi></mrow><mi>m</mi></mfrac></msqrt>"
    assert mathml("w / (c * p1) * sqrt(t * z / m)") == f"<mrow>{fraction}<mo>⋅</mo>{root}</mrow>"


@pytest.mark.parametrize(
    ("symbol", "maths"), [("K_elbow-90", 'K_("elbow-90")'), ("P1", "P_(1)"), ("L/D", "frac(L, D)"), ("flow regime", '"flow regime"')]
)
def test_a_hyphen_in_a_symbol_joins_words(symbol: str, maths: str) -> None:
    assert typst_symbol(symbol) == maths
    ET.fromstring(f"<math>{mathml_symbol(symbol)}</math>")


def test_a_very_deep_expression_becomes_words_instead_of_an_error() -> None:
    text = "(" * 5000 + "x" + ")" * 5000
    assert typst(text) == typst_string(text)


@pytest.mark.parametrize(
    ("unit", "shown"),
    [("kg/m**2/s", "kg/(m²·s)"), ("J/mol/K", "J/(mol·K)"), ("m**2", "m²"), ("1/s", "1/s"), ("Pa(a)", "Pa abs"), ("Pa*s", "Pa·s"), ("", "")],
)
def test_units_are_printed_as_people_write_them(unit: str, shown: str) -> None:
    assert unit_text(unit) == shown


_NAMES = st.sampled_from(
    ["w", "c", "kd", "p1", "p_set", "rho_9", "omega_s", "eta", "Lambda", "d_seat_2", "R", "_x", "x_", "_", "frac", "lr", "op", "sqrt", "Ä", "阀", "e1"]
)
_NUMBERS = st.one_of(
    st.integers(0, 10**7).map(str), st.floats(0, 1e12, allow_nan=False).map(lambda value: f"{value:.6g}"),
    st.sampled_from(["1e-05", "2.", ".5", "1_000", "0x1F", "3j", "1E+20"]),
)  # fmt: skip


def _grown(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    operators = st.sampled_from(["+", "-", "*", "/", "**", "//", "%"])
    functions = st.sampled_from(["sqrt", "log", "log10", "exp", "abs", "sin", "math.cos", "cbrt", "my_function"])
    return st.one_of(
        st.tuples(inner, operators, inner).map(lambda p: f"({p[0]}) {p[1]} ({p[2]})"), st.tuples(inner, operators, inner).map(" ".join),
        st.tuples(functions, inner).map(lambda p: f"{p[0]}({p[1]})"), inner.map(lambda text: f"-({text})"),
        st.tuples(inner, inner).map(lambda p: f"min({p[0]}, {p[1]})"), st.tuples(inner, inner).map(lambda p: f"({p[0]}) < ({p[1]})"),
        inner.map(lambda text: f"table[{text}]"),
    )  # fmt: skip


EXPRESSIONS = st.recursive(st.one_of(_NAMES, _NUMBERS), _grown, max_leaves=14)


@settings(max_examples=4, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.one_of(EXPRESSIONS, st.text(max_size=30)), min_size=150, max_size=250))
def test_whatever_is_printed_compiles_in_typst_and_reads_as_xml(texts: list[str]) -> None:
    import typst as engine

    lines = [f"${typst(text)} = {typst_string(text)}$" for text in texts]
    assert engine.compile("\n\n".join(lines).encode(), format="pdf").startswith(b"%PDF")
    for text in texts:
        if all(char.isprintable() for char in text):
            ET.fromstring(f"<math>{mathml(text)}</math>")


@settings(max_examples=200, deadline=None)
@given(EXPRESSIONS)
def test_every_name_and_number_of_the_expression_is_printed(text: str) -> None:
    """Nothing is evaluated or dropped: each number's digits and each one-letter name stand in the output."""
    printed = "".join(ET.fromstring(f"<math>{mathml(text)}</math>").itertext())
    for node in ast.walk(ast.parse(text, mode="eval")):
        if isinstance(node, ast.Constant):
            digits = (ast.get_source_segment(text, node) or "").lower().partition("e")[0]
            assert digits in printed.lower()
        if isinstance(node, ast.Name) and node.id in ("w", "c", "R", "kd"):
            assert node.id in printed
