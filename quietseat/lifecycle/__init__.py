"""Life-cycle cost: yearly parts with distributions, for a valve as it stands and for each of its remedies."""

from __future__ import annotations

from quietseat.lifecycle.compare import Pricing, compare, npv_draws
from quietseat.lifecycle.ranking import by_account, propose, ranked
from quietseat.lifecycle.records import PARTS, Band, Comparison, LifeCycle, Part, Swing

__all__ = ["PARTS", "Band", "Comparison", "LifeCycle", "Part", "Pricing", "Swing", "by_account", "compare", "npv_draws", "propose", "ranked"]
