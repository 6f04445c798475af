"""The sheets beside the valves: cases, lines and history, attached by tag; a row without its valve is a problem."""

from __future__ import annotations

import re
from collections.abc import Mapping

from quietseat import units
from quietseat.model import Event, Origin
from quietseat.register import fields, tags, words
from quietseat.register.build import Draft, origin
from quietseat.register.cells import Reader, choice
from quietseat.register.rows import Data, same
from quietseat.register.taken import BLANK, Taken, stated
from quietseat.status import Settles


class Index:
    """Drafts by the key of every tag and alias; the short key counts where it names one valve only."""

    def __init__(self, drafts: list[Draft]) -> None:
        self._full: dict[str, list[Draft]] = {}
        self._short: dict[str, list[Draft]] = {}
        self._alias: dict[str, list[Draft]] = {}
        for draft in drafts:
            for tag in draft.tags:
                self._full.setdefault(tags.key(tag), []).append(draft)
                self._add(self._short, tags.short_key(tag), draft)
            if len(draft.tags) > 1:  # "PSV-101" names the pair PSV-101A and PSV-101B
                self._add(self._short, re.sub(r"[A-F]$", "", tags.short_key(draft.tags[0])), draft)
                self._add(self._short, re.sub(r"[A-F]$", "", tags.key(draft.tags[0])), draft)
            for name in draft.alias:
                self._add(self._alias, tags.key(name), draft)

    @staticmethod
    def _add(where: dict[str, list[Draft]], key: str, draft: Draft) -> None:
        known = where.setdefault(key, [])
        if draft not in known:
            known.append(draft)

    def find(self, tag: str) -> tuple[Draft | None, str]:
        """The draft of a tag, and by which rule if not by its plain key."""
        if found := self._full.get(tags.key(tag)):
            return found[0], ""
        for table, rule in ((self._alias, "old tag"), (self._short, "tag without its plant prefix or letter")):
            found = table.get(tags.key(tag)) or table.get(tags.short_key(tag))
            if found and len(found) == 1:
                return found[0], rule
        return None, ""


def attach(data: Data, role: str, index: Index, reader: Reader) -> bool:
    """Give the row's values to its valves. False, and a problem, where no valve or no tag is found."""
    taken = data.values.get("location.tag", BLANK)
    named = tags.parse(taken.text) if taken.state == "value" else None
    if named is None:
        data.complain("the row names no valve", "write the tag", "location.tag", taken.text or None)
        return False
    matched = False
    done: list[Draft] = []
    where = data.where.get("location.tag", "")
    for tag in named.tags:
        draft, rule = index.find(tag)
        if draft is None:
            data.complain(f"no valve of the register has the tag {tag!r}", "write the tag as the register has it",
                          "location.tag", taken.text)  # fmt: skip
            continue
        matched = True
        if any(draft is other for other in done):
            continue
        done.append(draft)
        if rule:
            draft.matches.append((tag, Origin("assumed", where, tag, f"taken for {draft.tags[0]}: {rule}")))
        if role == "cases":
            _case(data, draft)
        elif role == "lines":
            fill(data, draft, reader)
        else:
            _event(data, draft, reader)
    return matched


def _case(data: Data, draft: Draft) -> None:
    given = {
        ident: (taken, data.where[ident]) for ident, taken in data.values.items()
        if taken.state == "value" and ident.startswith("case.")
    }  # fmt: skip
    if given:
        draft.cases.append(given)
    fill(data, draft, None, skip="case.")


def fill(data: Data, draft: Draft, reader: Reader | None, skip: str = "") -> None:
    """Values of another sheet fill the blanks of the register's row; a conflict is told, the register's row stays."""
    for ident, taken in data.values.items():
        # a designation was taken apart: its size, letter and classes are filled one by one
        if taken.state != "value" or ident in ("location.tag", "valve.designation") or (skip and ident.startswith(skip)):
            continue
        if ident.startswith(("location.", "history.date", "history.event", "history.note")):
            if ident == "location.remarks":
                draft.notes.append(taken.text)
            continue
        have = draft.data.values.get(ident, BLANK)
        if have.state == "value":
            zero = reader.atmospheric if reader and fields.fields()[ident].quantity == "pressure" else 0.0
            if not same(have.value, taken.value, zero):
                draft.data.complain(
                    f"check: {data.where[ident]} says {taken.text!r}, {draft.data.where[ident]} says {have.text!r}; "
                    "the register's own row is used", "find out which is right and mend it", ident, have.text, "",
                    (Settles(ident, ((stated(have), draft.data.where[ident]), (stated(taken), data.where[ident]))),),
                )  # fmt: skip
                draft.data.reasons.append(f"{fields.shown(ident)} differs between two sheets")
            continue
        if have.state == "refused":
            continue
        draft.data.values[ident] = taken
        draft.data.where[ident] = data.where[ident]


_COUNTED: Mapping[str, str] = {
    "history.as_found": "pop", "history.ppm": "leak", "history.lifts": "lift", "history.overhauls": "overhaul",
    "history.bellows_replaced": "bellows",
}  # fmt: skip


def _event(data: Data, draft: Draft, reader: Reader) -> None:
    """One row of a history sheet: one event, or several where its columns are the register's own."""
    texts = [str(t.value) for i in ("history.note", "history.condition", "location.remarks", "history.as_found_leak")
             if (t := data.good(i))]  # fmt: skip
    note = " / ".join(texts) or None
    date = next((str(t.value) for i in ("history.date", "history.last_test") if (t := data.good(i))), None)
    cost = data.good("history.repair_cost")
    money = float(cost.value) if cost else None
    where = data.where.get("history.event") or data.where.get("location.tag", "")
    found = False
    for ident, kind in _COUNTED.items():
        if (taken := data.good(ident)) and taken.value:
            draft.events.append((Event(kind, date, float(taken.value), note or "as found", money), origin(taken, data.where[ident])))
            money, found = None, True
    said = data.good("history.event")
    value = data.good("history.value")
    kinds: dict[str, Origin] = {}
    if said is not None:
        named = choice("history.event", str(said.value))
        if named.state == "value" and named.value != "other":
            kinds[named.value] = Origin(named.how, where, str(said.value), named.rule)
        texts.insert(0, str(said.value))
    for kind, word in words.events(" / ".join(texts)):
        kinds.setdefault(kind, Origin("assumed", where, " / ".join(texts), f"word found in history: {word!r}"))
    if not kinds and not found:
        kinds["other"] = Origin("read", where, " / ".join(texts))
    if value is not None and re.search(r"[A-Za-z]{3}", str(value.value)):
        texts.append(str(value.value))  # "fail", "pass": words, not a reading
    for place, (kind, source) in enumerate(kinds.items()):
        number = _reading(data, draft, kind, value, reader) if place == 0 else None
        if number is not None and kind in ("pop", "stuck") and re.fullmatch(r"[0-9.,]+", str(value.value) if value else ""):
            source = Origin("assumed", data.where["history.value"], str(value.value) if value else "",
                            "a bare reading is in the unit of the set pressure")  # fmt: skip
        text = " / ".join(dict.fromkeys(texts)) or None
        draft.events.append((Event(kind, date, number, text, money), source))
        money = None


def _reading(data: Data, draft: Draft, kind: str, value: Taken | None, reader: Reader) -> float | None:
    """The reading of an event: a pressure for a pop, ppm for a leak, else a plain number."""
    if value is None:
        return None
    text = str(value.value)
    bare = re.fullmatch(r"[0-9.,]+", text) is not None
    try:
        if kind in ("pop", "stuck"):
            have = draft.data.good("valve.set_pressure")
            unit = have.unit if bare and have else ""
            return reader.measured(text, "pressure", unit).value
        if kind == "leak":
            return units.parse(text, "concentration", unit="ppm").value * 1e6
        return units.parse(text, "number").value
    except units.UnitError as error:
        if not re.search(r"\d", text):
            return None  # "pass", "fail": the words are kept in the note
        data.complain(*error.parts, "history.value", text)
        return None
