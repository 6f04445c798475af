"""One row of a sheet: does it count, what do its cells say, and do its size cells stand where they should."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from quietseat.register import cells, fields, headers, shares, sizes, tags
from quietseat.register.cells import Reader
from quietseat.register.columns import Mapped, mended
from quietseat.register.headers import Head
from quietseat.register.parts import letter
from quietseat.register.taken import BLANK, Taken, stated
from quietseat.register.workbook import Cell, Grid, Row
from quietseat.status import Problem, Settles

_TOTAL = re.compile(r"(?:grand |sub ?-?)?totals?\b|sum\b|summe\b|gesamt\b|somme\b|totale?\b|totaal\b|average\b|count\b|(?:no|number)\.? of (?:valves|psv|items)\b", re.I)
_NOTE = re.compile(r"\(?(?:notes?|legend|remarks?|rev(?:ision)?|prepared|checked|approved|issued|source|key|end of|page \d+|continued)\b|\*", re.I)
_SECTION = re.compile(r"(?:unit|area|section|plant|train|phase|block|system|module|process|department)\b", re.I)
SIZE_FIELDS = ("valve.inlet_size", "valve.orifice", "valve.outlet_size", "valve.inlet_class", "valve.outlet_class")
_FREE_FIELDS = frozenset(("location.remarks", "location.old_tag", "history.condition", "history.note"))


@dataclass(slots=True)
class Data:
    """What one row says, by field id, and what is wrong with it."""

    sheet: str
    number: int
    values: dict[str, Taken] = field(default_factory=dict)
    where: dict[str, str] = field(default_factory=dict)  # "Sheet!F12"
    more: list[tuple[str, Taken, str]] = field(default_factory=list)  # second columns, further remark columns
    problems: list[Problem] = field(default_factory=list)
    reasons: list[str] = field(default_factory=list)  # why the row is partial
    comments: list[str] = field(default_factory=list)
    confirmed: dict[str, str] = field(default_factory=dict)  # field -> the mend that says its cell is right as written

    def good(self, ident: str) -> Taken | None:
        """The taken value of a field if it may be used."""
        taken = self.values.get(ident)
        return taken if taken is not None and taken.state == "value" else None

    def complain(
        self, rule: str, mend: str, ident: str, value: str | None = None, where: str = "", settles: tuple[Settles, ...] = ()
    ) -> None:  # fmt: skip
        """One problem of this row; a contradiction about a cell that a mend confirms as written is told and no longer one.

        settles: the fields that decide a contradiction where it is not the field itself alone.
        """
        where = where or self.where.get(ident, "")
        place = where.rpartition("!")[2]
        sheet, number = spot(where) or (self.sheet, self.number)  # a value of another sheet is told where it stands
        if rule.startswith("check: "):
            if ident in self.confirmed:
                rule, mend = f"{rule.removeprefix('check: ')}; right as written, {self.confirmed[ident]}", ""
            elif ident in fields.fields():
                taken = self.good(ident)
                own = Settles(ident, ((stated(taken), "as written"),) if taken is not None and ident != "location.tag" else ())
                settles = tuple(own if one == Settles(ident) else one for one in settles) or (own,)
        if (sheet, number) != (self.sheet, self.number):
            settles = tuple(one if one.sheet or one.field == ident else self._home(one) for one in settles)
        self.problems.append(
            Problem(
                rule, mend or None, None, sheet, number, re.sub(r"\d+$", "", place) or None,
                fields.shown(ident) if ident in fields.fields() else ident or None, value, settles,
            )
        )

    def _home(self, one: Settles) -> Settles:
        """A field that settles a problem of another sheet, with the place its own value has."""
        sheet, number = spot(self.where.get(one.field, "")) or (self.sheet, self.number)
        return replace(one, sheet=sheet, row=number)


def spot(where: str) -> tuple[str, int] | None:
    """Sheet and row of "Sheet!F12"; None for a place that is no cell."""
    sheet, _, cell = where.rpartition("!")
    found = re.fullmatch(r"[A-Z]{1,3}(\d+)", cell)
    return (sheet, int(found[1])) if sheet and found else None


def blank_kind(grid: Grid, number: int, row: Row, head: Head, columns: Sequence[Mapped]) -> str:
    """Why a row does not count: heading, unit, total, section, note, outside; "" if it counts."""
    cells = [(place, cell) for place, cell in enumerate(row) if cell is not None and not cell.merged]
    if not cells:
        return "blank"
    mapped = {m.column: m for m in columns if m.field or m.second}
    inside = [(place, cell) for place, cell in cells if place in mapped]
    if not inside:
        return "outside"
    if len(cells) > 1 and headers.repeats(grid, head, row):
        return "heading"
    tag = next((m.column for m in columns if m.field == "location.tag"), None)
    tag_cell = row[tag] if tag is not None and tag < len(row) else None
    if tag_cell is None and headers._units_row(row):
        return "unit"
    first = (tag_cell or cells[0][1]).text
    if (tag_cell is None or not any(char.isdecimal() for char in first.split()[0])) and _TOTAL.match(first):
        return "total"
    if len(cells) <= 6 and tag_cell is not None and _NOTE.match(first) and not tags.looks_like(first):
        return "note"
    if len(cells) == 1:
        return _lone(grid, number, cells[0], tag)
    return ""


def _lone(grid: Grid, number: int, only: tuple[int, Cell], tag: int | None) -> str:
    """A row with one cell: a section heading or a note, unless it is a tag."""
    place, cell = only
    wide = any(m[0] == number and m[1] == place and m[3] >= m[1] + 2 for m in grid.merges)
    if tags.looks_like(cell.text) and not wide:
        return ""
    if _NOTE.match(cell.text):
        return "note"
    if wide or _SECTION.match(cell.text):
        return "section"
    if place != tag:
        return ""
    if tags.parse(cell.text) is None or len(cell.text.split()) >= 4:
        return "section" if len(cell.text.split()) < 8 else "note"
    return ""


def extract(
    grid: Grid, number: int, row: Row, columns: Sequence[Mapped], reader: Reader, given: Mapping[str, Taken],
    side: str | None = None,
) -> Data:  # fmt: skip
    """Every mapped cell of the row; `given`: values of the mends file, which replace the cell's."""
    data = Data(grid.name, number)
    known = fields.fields()
    width = len(row)
    for mapped in columns:
        ident = mapped.field or mapped.second
        if not ident:
            continue
        if side == "outlet" and ident.startswith("inlet."):
            ident = "outlet." + ident[6:]
        cell = row[mapped.column] if mapped.column < width else None
        unit = mapped.unit
        if mapped.unit_column is not None and mapped.unit_column < width:
            beside = row[mapped.unit_column]
            unit = fields.plain_unit(beside.text) if beside is not None and fields.is_unit(beside.text) else unit
        taken = reader.take(cell, known[ident], unit, mapped.dates) if cell is not None else BLANK
        if mapped.hits and cell is not None:
            taken = mended(mapped, cell, taken, known[ident], reader)
        where = f"{grid.name}!{letter(mapped.column)}{number}"
        if mapped.second or ident in data.values:
            if cell is not None:
                data.more.append((ident, taken, where))
            continue
        data.values[ident] = taken
        data.where[ident] = where
    _fluid_and_phase(data)
    for ident, taken in given.items():
        read = data.values.get(ident, BLANK)
        if read.good and taken.good and ident != "location.tag" and same(read.value, taken.value, band=1e-6):
            data.confirmed[ident] = taken.rule
        data.values[ident] = taken
        data.where[ident] = taken.source
        data.more = [entry for entry in data.more if entry[0] != ident]
    if grid.comments:
        data.comments = [f"{letter(c)}{r}: {text}" for (r, c), text in grid.comments.items() if r == number]
    return data


_PHASE_MARKS = re.compile(r"\s*[/,;()|]\s*|\s+-\s+")


def _fluid_and_phase(data: Data) -> None:
    """A cell "Propane / gas" under "Fluid/State" tells the fluid too, where no other column does."""
    taken = data.values.get("case.phase")
    if taken is None or "case.fluid" in data.values or taken.state not in ("value", "refused") or not taken.text:
        return
    if taken.state == "value" and taken.how != "assumed":
        return
    pieces = [piece for piece in _PHASE_MARKS.split(taken.text) if piece]
    named = [piece for piece in pieces if cells.choice("case.phase", piece).how != "read" or not cells.choice("case.phase", piece).good]
    if named and taken.value != "steam" and any(char.isalpha() for char in "".join(named)):
        words = taken.text
        for piece in pieces:
            words = words if piece in named else re.sub(rf"(?<!\w){re.escape(piece)}(?!\w)", "", words)
        data.values["case.fluid"] = replace(taken, state="value", value=words.strip(" /,;()|-"), how="assumed",
                                            rule="the words beside the phase name the fluid", mend="")  # fmt: skip
        data.where["case.fluid"] = data.where["case.phase"]


def second_columns(data: Data, atmospheric: float) -> None:
    """Second columns of one field: fill a blank, or report the conflict; the first column stays."""
    for ident, taken, where in data.more:
        if ident in _FREE_FIELDS or ident == "location.tag" or taken.state != "value":
            continue
        if fields.fields()[ident].quantity == "text" and data.good(ident):
            continue  # two names are no conflict; the second one is kept among the remarks
        first = data.values.get(ident)
        if first is None or first.state != "value":
            data.values[ident] = replace(taken, how="assumed", rule="the first column of this field is blank: the second one is used")
            data.where[ident] = where
            continue
        if not same(first.value, taken.value, atmospheric if fields.fields()[ident].quantity == "pressure" else 0.0):
            data.complain(
                f"check: two columns of the sheet disagree: {first.text!r} and {taken.text!r}; the first is used",
                "find out which is right and mend it", ident, taken.text, where,
                (Settles(ident, ((stated(first), data.where[ident]), (stated(taken), where))),),
            )  # fmt: skip
            data.reasons.append(f"{fields.shown(ident)} differs between two columns")


def same(a: object, b: object, zero: float = 0.0, band: float = 0.01) -> bool:
    """Whether two values agree (numbers within the band, measured from `zero`)."""
    if isinstance(a, (int, float)) and isinstance(b, (int, float)):
        return abs(a - b) <= band * max(abs(a - zero), abs(b - zero), 1e-12)
    if isinstance(a, tuple) and isinstance(b, tuple) and a[:1] == b[:1]:
        return same(a[-1], b[-1], 0.0, band)
    if isinstance(a, str) and isinstance(b, str):
        return a.strip().lower() == b.strip().lower()
    return a == b


def judge(data: Data) -> None:
    """A problem for every refused, unknown or pending cell."""
    shares.tell(data.values)
    for ident, taken in data.values.items():
        state = taken.state
        if state in ("value", "blank", "not-applicable", "several"):
            continue
        name = fields.shown(ident)
        mend = taken.mend if state == "refused" else "write the value when it is known"
        data.complain(taken.rule, mend, ident, taken.text)
        data.reasons.append(f"{name} {state}: {taken.rule}" if state == "refused" else f"{name} {state}")


# --- sizes -----------------------------------------------------------------------------------------------------


def size_group(data: Data) -> None:
    """Sizes, letter and classes of a row: shifted cells first, then the designation beside the single columns."""
    if any(data.values.get(ident, BLANK).state == "refused" for ident in SIZE_FIELDS):
        _shifted(data)
    parts = ("inlet", "letter", "outlet", "inlet_class", "outlet_class")
    said: dict[str, list[tuple[object, Taken, str]]] = {}
    for ident in ("valve.inlet_size", "valve.orifice", "valve.outlet_size", "valve.inlet_class", "valve.outlet_class",
                  "valve.designation"):  # fmt: skip
        taken = data.good(ident)
        if taken is None:
            continue
        for part, value in _parts(ident, taken, parts):
            if value is not None:
                said.setdefault(part, []).append((value, taken, ident))
    for part, target in zip((*parts, "facing"), (*SIZE_FIELDS, "valve.facing")):
        entries = said.get(part)
        if not entries:
            if part != "facing" and isinstance(data.values.get(target, BLANK).value, sizes.Size):
                data.values[target] = replace(data.values[target], value=None, state="blank")
            continue
        if part == "facing" and data.good("valve.facing"):
            continue
        value, taken, ident = entries[0]
        for other, beside, source in entries[1:]:
            if taken.how == "mended":  # decided, whatever the designation says
                if other == value:
                    data.confirmed[ident] = taken.rule
            elif other != value:
                says = ((_plain_size(value), f"{fields.shown(ident)} as written"), (_plain_size(other), f"as {fields.shown(source)} {beside.text} says"))
                data.complain(
                    f"check: {fields.shown(ident)} says {value if isinstance(value, str) else f'{value:g}'}, "
                    f"{fields.shown(source)} {beside.text!r}; the single column is used",
                    "write the same size in both", source, beside.text, "", (Settles(ident, says), Settles(source)),
                )  # fmt: skip
                data.reasons.append(f"{fields.shown(source)} disagrees with {fields.shown(ident)}")
        where = data.where[ident]
        data.values[target] = replace(taken, value=value)
        data.where[target] = where


def _plain_size(value: object) -> str:
    return f"NPS {value:g}" if isinstance(value, float) else str(value)


def _parts(ident: str, taken: Taken, parts: tuple[str, ...]) -> list[tuple[str, object]]:
    value = taken.value
    if isinstance(value, str):
        return [("letter", value)]
    if not isinstance(value, sizes.Size):
        return [({"valve.inlet_size": "inlet", "valve.outlet_size": "outlet", "valve.inlet_class": "inlet_class",
                  "valve.outlet_class": "outlet_class"}[ident], value)]  # fmt: skip
    if ident == "valve.outlet_size" and value.letter is None and value.outlet is None:
        return [("outlet", value.inlet), ("outlet_class", value.inlet_class)]
    if ident == "valve.outlet_class":
        return [("outlet_class", value.inlet_class)]
    return [(part, getattr(value, part)) for part in (*parts, "facing")]


def _shifted(data: Data) -> None:
    """Letter, sizes and classes in each other's columns: read by content if API 526 knows the result, else refused."""
    found: dict[str, list[tuple[object, str]]] = {"letter": [], "size": [], "class": []}
    count = 0
    for ident in SIZE_FIELDS:
        taken = data.values.get(ident, BLANK)
        if taken.state in ("blank", "not-applicable"):
            continue
        count += 1
        kind, value = _kind(taken.text)
        if not kind:
            return
        found[kind].append((value, ident))
    if len(found["letter"]) != 1 or len(found["size"]) != 2 or len(found["class"]) > 2:
        _hint(data, found)
        return
    letter_, inlet, outlet = found["letter"][0][0], found["size"][0][0], found["size"][1][0]
    if not isinstance(inlet, float) or not isinstance(outlet, float) or not sizes.plausible(str(letter_), inlet, outlet):
        _hint(data, found)
        return
    classes = [value for value, _ in found["class"]]
    rule = "the size cells of this row are shifted: read by their content"
    texts = ", ".join(f"{data.where[i].rpartition('!')[2]} {data.values[i].text!r}" for i in SIZE_FIELDS
                      if data.values.get(i, BLANK).text)  # fmt: skip
    data.complain(
        f"cells shifted ({texts}): read by content as {inlet:g}{letter_}{outlet:g}"
        + (f" class {' x '.join(map(str, classes))}" if classes else ""),
        "put each cell under its own heading", "valve.designation", texts,
        data.where[found["letter"][0][1]],
    )  # fmt: skip
    data.reasons.append("size cells shifted")
    old = {ident: (data.values.get(ident, BLANK), data.where.get(ident, "")) for ident in SIZE_FIELDS}
    placed = [("valve.orifice", letter_, found["letter"][0][1]), ("valve.inlet_size", inlet, found["size"][0][1]),
              ("valve.outlet_size", outlet, found["size"][1][1])]  # fmt: skip
    for target, (value, source) in zip(("valve.inlet_class", "valve.outlet_class"), found["class"]):
        placed.append((target, value, source))
    for ident in SIZE_FIELDS:
        if ident in data.values:
            data.values[ident] = BLANK
    for target, value, source in placed:
        data.values[target] = replace(old[source][0], state="value", value=value, how="assumed", rule=rule)
        data.where[target] = old[source][1]


_HOME = {"valve.inlet_size": "size", "valve.orifice": "letter", "valve.outlet_size": "size", "valve.inlet_class": "class",
         "valve.outlet_class": "class"}  # fmt: skip


def _hint(data: Data, found: Mapping[str, Sequence[tuple[object, str]]]) -> None:
    """Size cells that stand under the wrong headings and cannot be put back by rule: say what each looks like."""
    wrong = [(ident, kind) for kind, entries in found.items() for _, ident in entries if _HOME[ident] != kind]
    if len(wrong) < 2:
        return
    words = {"size": "a pipe size", "letter": "an orifice letter", "class": "a flange class"}
    texts = ", ".join(f"{data.where[i].rpartition('!')[2]} {data.values[i].text!r} is {words[kind]}" for i, kind in wrong)
    data.complain(f"cells shifted: {texts}; they were refused", "put each cell under its own heading", wrong[0][0],
                  data.values[wrong[0][0]].text)  # fmt: skip
    data.reasons.append("size cells shifted")


def _kind(text: str) -> tuple[str, object]:
    up = text.strip().upper()
    if up in sizes.LETTERS:
        return "letter", up
    try:
        size = sizes.flange_class(text)
        if size.inlet_class is not None and size.outlet_class is None:
            return "class", size.inlet_class
    except sizes.SizeError:
        pass
    try:
        return "size", sizes.pipe_size(text).inlet
    except sizes.SizeError:
        return "", None
