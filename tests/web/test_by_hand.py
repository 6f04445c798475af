"""What was decided and held by hand stands in the files of a study, with a plan that takes it, as it stood at the lock."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from quietseat.report import by_hand
from quietseat.report.document import Callout, Prose, TableBlock
from quietseat.report.words import shown
from quietseat.store import decided, issued, open_workspace, studies
from quietseat.work import _by_hand


def stands(workspace: Any) -> tuple[dict[str, Any], Any]:
    with workspace.reading() as connection:
        return issued.by_hand(connection, 1), studies.items(connection, 1)


def test_a_plan_takes_what_was_decided_and_the_report_says_who(space_copy: Path) -> None:
    """The demo: its dearest chosen pilot held out, and another remedy decided on where one other clears."""
    workspace = open_workspace(space_copy)
    with workspace.reading() as connection:
        found = studies.load(connection, 1)
        before = issued.mark(issued.as_data(connection, 1))
    assert found is not None
    chosen = found.head["plan"]["chosen"]
    out = max(chosen, key=lambda one: one["cost"]["mid"])["tag"]
    item = next(one for one in stands(workspace)[1] if len(one.options) > 1 and one.tag != out and one.stops)
    other = next(option for option in item.options if not option.recommended)
    with workspace.writing() as connection:
        decided.decide(connection, 1, item.tag, other.remedy, other.title, "spares are in store", "Kim")
        decided.pin(connection, 1, out, "out", "Kim")
    with workspace.reading() as connection:
        assert issued.mark(issued.as_data(connection, 1)) != before  # files made before are older now
    kept, items = stands(workspace)
    told = _by_hand(found.head, items, kept)
    assert told is not None and told["fits"]
    taken = {one["tag"]: one["remedy"] for one in told["plan"]["chosen"]}
    assert out not in taken and taken.get(item.tag, other.remedy) == other.remedy
    head = {**found.head, "issue": {"by_hand": told}}
    rows = [record.summary for record in found.records]
    blocks = list(by_hand.section(head, rows, shown(head), {}))
    words = " ".join(str(cell) for block in blocks if isinstance(block, TableBlock) for row in block.rows for cell in row)
    assert item.tag in words and "spares are in store" in words and "Kim" in words and out in words
    assert by_hand.counted(head) == "1 remedy and 1 place in the plan"
    (line,) = by_hand.of_valve(head, {"tag": item.tag})
    assert isinstance(line, Prose) and other.title in str(line)
    workspace.engine.dispose()


def test_nothing_is_printed_where_nothing_was_decided(space_copy: Path) -> None:
    workspace = open_workspace(space_copy)
    with workspace.reading() as connection:
        head = (studies.get(connection, 1) or {})["head"]
    kept, items = stands(workspace)
    assert _by_hand(head, items, kept) is None and list(by_hand.section(head, [], shown(head), {})) == [] and by_hand.counted(head) == ""
    workspace.engine.dispose()


def test_holds_that_do_not_fit_are_said(space_copy: Path) -> None:
    workspace = open_workspace(space_copy)
    with workspace.reading() as connection:
        head = (studies.get(connection, 1) or {})["head"]
    items = [one for one in stands(workspace)[1] if one.options]
    kept = {"decisions": [], "holds": [{"tag": one.tag, "place": "in", "who": "Kim", "made_at": "2026-01-02T00:00:00Z"} for one in items]}
    told = _by_hand(head, items, kept)  # every valve held in: far beyond 300 000 USD
    assert told is not None and not told["fits"]
    blocks = list(by_hand.section({**head, "issue": {"by_hand": told}}, [], shown(head), {}))
    assert any(isinstance(block, Callout) and "does not fit" in str(block) for block in blocks)
    workspace.engine.dispose()
