"""One text gives the number, the line, the compiled form; what is no formula is refused."""

from __future__ import annotations

import math

import pytest

from quietseat import formula as f
from quietseat.formula import One, Sheet, compiled, facts_of, formula, kg_m2s, kg_s, m2, substituted


@formula("definition")
def required_area(w: kg_s, g: kg_m2s, kd: One) -> m2:
    """Required area."""
    return w / (kd * g)


@formula("test", valid={"x": (0.0, 1.0)})
def bent(x: One) -> One:
    """A formula with a range and a constant."""
    return x**2 - f.GRAVITY * x


def test_number_line_and_compiled_form_agree() -> None:
    given = {"w": 5.0, "g": 2465.0, "kd": 0.9}
    sheet = Sheet()
    value = sheet.apply("A", required_area, **given)
    assert value == 5.0 / (0.9 * 2465.0)
    step = sheet.steps()[0]
    assert step.expression == "w / (kd * g)"
    assert step.substituted == "5 / (0.9 * 2465)"
    assert step.unit == "m**2" and step.source == "definition" and step.name == "Required area"
    assert compiled(required_area)(5.0, 2465.0, 0.9) == value


def test_negative_and_exponent_values_stand_in_parentheses() -> None:
    assert substituted(facts_of(bent), {"x": -3.0}).startswith("(-3) ** 2")
    assert "(1e-09)" in substituted(facts_of(bent), {"x": 1e-9})


def test_printed_line_works_out_to_the_value() -> None:
    """The substituted text is arithmetic: worked out again it gives the value to the printed digits."""
    sheet = Sheet()
    value = sheet.apply("A", required_area, w=5.0, g=2465.0, kd=0.975)
    assert eval(sheet.steps()[0].substituted) == pytest.approx(value, rel=1e-5)


def test_outside_its_range_is_flagged_not_silent() -> None:
    sheet = Sheet()
    sheet.apply("y", bent, x=2.0)
    assert sheet.flags == ["y: x = 2 is outside 0 to 1 (test)"]
    quiet = Sheet(record=False)
    quiet.apply("y", bent, x=2.0)
    assert quiet.flags and len(quiet) == 0


def test_a_branch_is_refused() -> None:
    with pytest.raises(TypeError, match="no branch"):

        @formula("x")
        def branched(x: One) -> One:
            return x if x > 0 else -x


def test_two_statements_are_refused() -> None:
    with pytest.raises(TypeError, match="one return expression"):

        @formula("x")
        def two(x: One) -> One:
            y = x + 1
            return y


def test_untagged_function_is_no_formula() -> None:
    with pytest.raises(TypeError, match="not a formula"):
        facts_of(math.sqrt)


def test_a_step_knows_which_step_handed_a_value_on_and_chance_links_nothing() -> None:
    @formula("definition")
    def doubled(a: One) -> One:
        """Twice."""
        return 2.0 * a

    sheet = Sheet()
    first = sheet.given("a", "one value", float("0.123456"), "", "given")
    sheet.given("other", "equal by chance", float("0.123456"), "", "given")
    b = sheet.apply("b", doubled, a=first)
    sheet.given("c", "the same again", b, "", "given")
    sheet.apply("d", doubled, a=float("0.246912"))  # equals b and c, handed on by neither
    taken = [dict(step.taken) for step in sheet.steps()]
    assert taken == [{}, {}, {"a": 0}, {"c": 2}, {}]


def test_a_round_number_is_taken_from_a_step_of_its_own_name_only() -> None:
    @formula("definition")
    def squared(z: One) -> One:
        """Square."""
        return z**2

    one = 1.0
    sheet = Sheet()
    sheet.given("Kc", "no disk", one, "", "table")
    sheet.apply("x", squared, z=one)  # one object of the program, two meanings
    sheet.given("z", "compressibility", one, "", "table")
    sheet.apply("x", squared, z=one)
    assert [dict(step.taken) for step in sheet.steps()] == [{}, {}, {}, {"z": 2}]


def test_notes_and_given_values_are_steps() -> None:
    sheet = Sheet()
    sheet.section("Group")
    sheet.given("Kd", "coefficient", 0.975, "", "API 520-1")
    sheet.note("regime", "flow regime", "critical: 0.15 < 0.58", "API 520-1")
    lines = [step.line() for step in sheet.steps()]
    assert lines == ["Kd = 0.975   [API 520-1]", "regime: critical: 0.15 < 0.58  [API 520-1]"]
    assert {step.group for step in sheet.steps()} == {"Group"}
