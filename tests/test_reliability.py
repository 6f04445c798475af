"""Weibull failure probabilities of API RP 581 against the recomputed table of the module."""

from __future__ import annotations

import pytest

from quietseat.formula import Sheet
from quietseat.reliability import failure
from quietseat.status import CalculationFailed

# Recomputed from the remembered lives (eta, beta memory-md): probability after 1, 2, 3 and 10 years.
PRINTED = {
    ("conventional", "open", "mild"): (0.0009, 0.0030, 0.0062, 0.0528),
    ("conventional", "open", "moderate"): (0.0033, 0.0114, 0.0236, 0.1881),
    ("conventional", "open", "severe"): (0.0057, 0.0198, 0.0405, 0.3034),
    ("pilot", "open", "mild"): (0.0018, 0.0062, 0.0128, 0.1062),
    ("pilot", "open", "moderate"): (0.0234, 0.0792, 0.1573, 0.7756),
    ("pilot", "open", "severe"): (0.0996, 0.3059, 0.5313, 0.9987),
    ("conventional", "leak", "mild"): (0.0102, 0.0306, 0.0578, 0.3353),
    ("pilot", "leak", "moderate"): (0.0124, 0.0371, 0.0697, 0.3910),
    ("conventional", "leak", "severe"): (0.0162, 0.0482, 0.0902, 0.4775),
    ("bellows", "leak", "mild"): (0.0118, 0.0353, 0.0664, 0.3759),
    ("bellows", "leak", "moderate"): (0.0146, 0.0435, 0.0815, 0.4422),
    ("bellows", "leak", "severe"): (0.0199, 0.0591, 0.1100, 0.5505),
}


@pytest.mark.parametrize("case", PRINTED, ids="-".join)
def test_table(case: tuple[str, str, str]) -> None:
    for years, expected in zip((1, 2, 3, 10), PRINTED[case], strict=True):
        assert failure(*case, time=years).probability == pytest.approx(expected, abs=6e-5)


# Check case 22: at 5 years.
@pytest.mark.parametrize(
    ("case", "expected"),
    [(("conventional", "open", "severe"), 0.0986), (("pilot", "open", "moderate"), 0.3489),
     (("bellows", "leak", "severe"), 0.2319)],
)  # fmt: skip
def test_five_years(case: tuple[str, str, str], expected: float) -> None:
    found = failure(*case, time=5)
    assert found.probability == pytest.approx(expected, abs=6e-5)
    assert found.confidence == "memory-md"


def test_modifiers() -> None:
    """Section 8: chatter halves both lives; closed discharge 0.75 for conventional valves only; soft seat 1.25 on leaks."""
    assert failure("conventional", "open").eta == 23.9
    assert failure("conventional", "open", modifiers=["chatter"]).eta == pytest.approx(11.95)
    assert failure("conventional", "leak", modifiers=["chatter"]).eta == pytest.approx(7.75)
    assert failure("conventional", "open", modifiers=["close-to-set"]).eta == 23.9
    assert failure("conventional", "leak", modifiers=["close-to-set", "vibration"]).eta == pytest.approx(
        15.5 * 0.5 * 0.8
    )
    assert failure("conventional", "leak", modifiers=["soft-seat"]).eta == pytest.approx(15.5 * 1.25)
    assert failure("conventional", "open", discharge="flare").eta == pytest.approx(23.9 * 0.75)
    assert failure("bellows", "open", discharge="flare").eta == 23.9
    assert failure("conventional", "open", discharge="atmosphere").eta == 23.9
    assert "chatter 0.5" in failure("conventional", "open", modifiers=["chatter"]).words


def test_a_pilot_is_not_flattered() -> None:
    """The life of a pilot failing to open is the shorter one: the words say so."""
    pilot, spring = (failure(kind, "open", time=5) for kind in ("pilot", "conventional"))
    assert pilot.probability > 5 * spring.probability
    assert "clean service only" in pilot.words and "clean service only" not in spring.words


def test_start_and_refusals() -> None:
    assert failure("pilot", "open", time=0).probability == 0.0
    for case, change in (
        (("spring", "open"), {}), (("pilot", "burst"), {}), (("pilot", "open", "awful"), {}),
        (("pilot", "open"), {"modifiers": ["rust"]}), (("pilot", "open"), {"time": -1}),
    ):  # fmt: skip
        with pytest.raises(CalculationFailed):
            failure(*case, **change)


def test_steps_name_their_tables() -> None:
    sheet = Sheet()
    failure("conventional", "leak", modifiers=["chatter"], sheet=sheet)
    assert [step.symbol for step in sheet.steps()] == ["eta", "F_env", "eta_mod", "P_f"]
