"""Reliability of relief valves: Weibull lives by table, learned from a register's history, and what an interval risks.

`life` and `failure`: by table and modifiers (API RP 581). `setting`: severity and modifiers of a location. `learn`,
`learn_valve`: Bayes on the register's history. `advise`, `compare`: intervals and kinds.
"""

from quietseat.reliability.fleet import Fleet, Pool, learn, learn_valve, of_pool
from quietseat.reliability.intervals import Advice, Change, Costs, Point, advise, cheapest, compare, point
from quietseat.reliability.observed import as_left, observe
from quietseat.reliability.posterior import Learned, Look
from quietseat.reliability.service import Setting, setting
from quietseat.reliability.shares import wilson_high, wilson_low
from quietseat.reliability.weibull import (
    MODES,
    SEVERITIES,
    Failure,
    Life,
    Risk,
    expected_failures,
    failure,
    life,
    modified_life,
    probability,
    renewals,
    yearly_failures,
)

__all__ = [
    "MODES", "SEVERITIES", "Advice", "Change", "Costs", "Failure", "Fleet", "Learned", "Life", "Look", "Point", "Pool", "Risk",
    "Setting", "advise", "as_left", "cheapest", "compare", "expected_failures", "failure", "learn", "learn_valve", "life",
    "modified_life", "observe", "of_pool", "point", "probability", "renewals", "setting", "wilson_high", "wilson_low",
    "yearly_failures",
]  # fmt: skip
