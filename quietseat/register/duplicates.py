"""A tag that stands in two rows: a further case of the valve, the same again, or a contradiction."""

from __future__ import annotations

from collections.abc import Iterable

from quietseat.basis import Basis
from quietseat.register import fields, rows, tags
from quietseat.register.build import Draft
from quietseat.register.cells import Reader
from quietseat.register.others import fill
from quietseat.status import Problem, Settles


def settle(drafts: Iterable[Draft], basis: Basis, reader: Reader) -> tuple[list[Draft], list[Problem]]:
    """The valves, each tag once, and what is told of rows taken as further cases; of two rows that differ the first keeps the tag."""
    first: dict[str, Draft] = {}
    kept: list[Draft] = []
    told: list[Problem] = []
    for draft in drafts:
        earlier = next((first[tags.key(tag)] for tag in draft.tags if tags.key(tag) in first), None)
        if earlier is None:
            for tag in draft.tags:
                first[tags.key(tag)] = draft
            kept.append(draft)
            continue
        if _again(draft, earlier, basis, reader, told):
            continue
        draft.rename = f"{draft.tags[0]} [row {draft.data.number}]" if len(draft.tags) == 1 else f"[row {draft.data.number}]"
        kept.append(draft)
    return kept, told


def _again(draft: Draft, earlier: Draft, basis: Basis, reader: Reader, told: list[Problem]) -> bool:
    """Whether a second row of a tag was taken into the first one's valve."""
    data, other = draft.data, earlier.data
    place = f"{other.sheet} row {other.number}"
    zero = basis.atmospheric_pressure
    clash = []
    for ident, taken in data.values.items():
        have = other.good(ident)
        fixed = ident.startswith(("valve.", "vessel.", "inlet.", "outlet.")) and ident != "valve.designation"
        if taken.state != "value" or have is None or not fixed:
            continue
        if not rows.same(have.value, taken.value, zero if fields.fields()[ident].quantity == "pressure" else 0.0):
            clash.append(ident)
    if clash or draft.tags != earlier.tags:
        said = ", ".join(f"{fields.shown(i).replace('.', ' ').replace('_', ' ')} {other.values[i].text!r} and {data.values[i].text!r}" for i in clash[:5])
        data.complain(
            f"check: the tag also stands in {place}" + (f", with different {said}" if said else "")
            + "; both are kept, the first row keeps the tag", "find out which row is right and mend or delete the other",
            "location.tag", "/".join(draft.tags), settles=_either(draft, earlier),
        )  # fmt: skip
        data.reasons.append(f"the tag also stands in {place}")
        return False
    case = {ident: (t, data.where[ident]) for ident, t in data.values.items() if t.state == "value" and ident.startswith("case.")}
    judged = ("case.name", "case.cause", "case.flow", "case.volume_flow")
    new = [i for i in judged if i in case and (o := other.good(i)) is not None and not rows.same(o.value, case[i][0].value)]
    if new:
        earlier.cases.append(case)
        fill(data, earlier, reader, skip="case.")
        told.append(Problem(
            f"the tag also stands in {place} with the same valve: taken as a further case of it",
            "give the row a tag of its own if it is another valve", None,
            data.sheet, data.number, None, "tag", "/".join(draft.tags),
        ))  # fmt: skip
        return True
    fill(data, earlier, reader)
    data.complain(f"check: the tag also stands in {place} and says the same; it only fills blanks there", "delete one of the rows",
                  "location.tag", "/".join(draft.tags), settles=_either(draft, earlier))  # fmt: skip
    data.reasons.append(f"the tag also stands in {place}")
    return True


def _either(draft: Draft, earlier: Draft) -> tuple[Settles, ...]:
    """What decides between two rows of one tag: one of them is left out, or the second is a valve of its own."""
    one, other = earlier.data, draft.data
    return (
        Settles("location.tag", (("-", f"{one.sheet} row {one.number} is right: leave row {other.number} out"),)),
        Settles("location.tag", (("-", f"{other.sheet} row {other.number} is right: leave row {one.number} out"),), one.sheet, one.number),
    )  # fmt: skip
