"""What to ask for next: what knowing a missing or doubtful value before deciding is worth."""

from __future__ import annotations

from quietseat.questions.ask import Asked, Question, asked

__all__ = ["Asked", "Question", "asked"]
