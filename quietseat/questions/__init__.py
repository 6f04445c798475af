"""What to ask for next: what knowing a missing or doubtful value before deciding is worth."""

from __future__ import annotations

from quietseat.questions.ask import Asked, Question, asked
from quietseat.questions.listing import of_fleet, ranked, visits

__all__ = ["Asked", "Question", "asked", "of_fleet", "ranked", "visits"]
