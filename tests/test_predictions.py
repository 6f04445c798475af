"""Predicted against found: counts by hand, intervals against scipy."""

from __future__ import annotations

import pytest
from scipy.stats import binomtest

from quietseat import predictions
from quietseat.model import Event, History, Stability


def test_interval_is_wilson_of_scipy() -> None:
    pairs: list[tuple[str, bool | None]] = [("unstable", True)] * 7 + [("quiet", True)] * 3 + [("unproven", True)] * 2
    pairs += [("unstable", False)] * 2 + [("quiet", False)] * 9 + [("quiet", None)] * 5
    found = predictions.table(pairs)
    assert found is not None
    assert found["found"] == {"unstable": 7, "quiet": 3, "unproven": 2}
    assert found["not_found"] == {"unstable": 2, "quiet": 9, "unproven": 0}
    for count, of, rate, interval in ((7, 10, "hit_rate", "hit_interval"), (2, 11, "false_alarm_rate", "false_alarm_interval")):
        outside = binomtest(count, of).proportion_ci(0.95, method="wilson")
        assert found[rate] == pytest.approx(count / of)
        assert found[interval] == pytest.approx([outside.low, outside.high], rel=1e-6)


def test_nobody_looked_is_not_found_clean() -> None:
    assert predictions.found(History()) is None
    assert predictions.found(History((Event("overhaul"),))) is False
    assert predictions.found(History((), "good")) is False
    for kind in ("chatter", "bellows"):
        assert predictions.found(History((Event("pop"), Event(kind)))) is True
    assert predictions.table([("unstable", None)]) is None


@pytest.mark.parametrize("verdict, word", [("chatters", "unstable"), ("flutters", "unstable"), ("cycles", "unstable"),
                                           ("quiet", "quiet"), ("unproven", "unproven")])  # fmt: skip
def test_prediction_reads_the_verdict_only(verdict: str, word: str) -> None:
    assert predictions.predicted(Stability(verdict=verdict)) == word


def test_no_verdict_no_rate() -> None:
    found = predictions.table([("unproven", True), ("quiet", False)])
    assert found is not None and found["hit_rate"] is None and found["hit_interval"] is None
    assert "nothing to compare" in found["words"]
