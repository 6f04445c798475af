"""What to do first: one remedy and one window a valve under budgets, outage days, crew hours and lead times."""

from __future__ import annotations

from quietseat.planning.answer import plan_answer, rank
from quietseat.planning.candidates import PLANNED, item
from quietseat.planning.records import Item

__all__ = ["PLANNED", "Item", "item", "plan_answer", "rank"]
