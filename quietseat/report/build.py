"""Study -> Document: what is said, in which order. The only place with the wording of the study as a whole."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from quietseat.report import brief, by_hand, evidence, figures, in_time, planning, sheet
from quietseat.report.document import (
    PAGE_ROWS,
    PAPER_ROWS,
    Block,
    Bullets,
    Cell,
    Column,
    Contents,
    Document,
    Fold,
    Heading,
    NewPage,
    OnePage,
    Only,
    Pairs,
    Prose,
    SignedBy,
    TableBlock,
    rest,
)  # fmt: skip
from quietseat.report.valve import anchor, heading, problem_table, section
from quietseat.report.words import (
    DASH,
    MARKS,
    Shown,
    choice_number,
    choices,
    clears,
    cut,
    field_words,
    percent,
    plain,
    shown,
)  # fmt: skip

_PAPER_FLEET = 300


class RecordLike(Protocol):
    """One valve of a study: its summary at hand, the rest unpacked on demand."""

    @property
    def summary(self) -> Mapping[str, Any]: ...
    def full(self) -> Mapping[str, Any]: ...


class StudyLike(Protocol):
    """What the report needs of a Study."""

    @property
    def head(self) -> Mapping[str, Any]: ...
    @property
    def records(self) -> Sequence[RecordLike]: ...
    def ranked(self) -> Sequence[RecordLike]: ...


@dataclass(frozen=True, slots=True)
class Survey:
    """What one pass over the valves gives the papers: rows (summaries in words of print, worst first), leak (`brief.tally`), sound valves."""

    rows: tuple[Mapping[str, Any], ...]
    leak: Mapping[str, float]
    sound: tuple[tuple[str | Cell, ...], ...]


def survey(study: StudyLike) -> Survey:
    """Unpack every valve once. Each row is a summary with its cause as headline, and `rests`: the weakest source of its verdict."""
    show, leak = shown(study.head), brief.tally(())
    rows: list[Mapping[str, Any]] = []
    sound: list[tuple[str | Cell, ...]] = []
    for record in study.ranked():
        valve = record.full()
        brief.add_leak(leak, valve)
        rows.append(
            {
                **record.summary,
                "cause": evidence.headline(valve),
                "rests": evidence.rests(valve),
                "reasons": evidence.reworded(record.summary.get("reasons") or (), valve),
            }
        )
        if record.summary["verdict"] == "sound" and len(sound) < PAGE_ROWS:
            sound.append(evidence.sound_row(valve, show))
    return Survey(tuple(rows), leak, tuple(sound))


def build(study: StudyLike, found: Survey | None = None) -> Document:
    """The whole document of a study, for page and paper. found: what `survey` gave, where it is known already."""
    head, ranked = study.head, list(study.ranked())
    found = found or survey(study)
    show, rows = shown(head), found.rows
    worst = [record for record in ranked if record.summary["verdict"] != "sound"]
    worst = worst[: int(choice_number(head, "worst_valves", "number", 50))]
    linked = {record.summary["rank"] for record in worst}
    links = {
        str(record.summary["tag"]): anchor(record.summary["rank"]) for record in reversed(worst)
    }  # the worse of two of one tag
    blocks: list[Block] = [*brief.pages(head, rows, found.leak, show, links), Contents()]
    for part in (
        _ten(head, rows, linked), _trouble(head, rows), in_time.marching(head), in_time.predictions(head), _register(head),
        planning.section(head, show, links, rows), by_hand.section(head, rows, show, links), planning.questions(head, show, links),
        _fleet(rows, linked, show), _sound(rows, found.sound), _assumptions(head), _problems(head), _basis(head), _sources(head),
        _checking(head), _remarks(head), _sign(), _worst(head, worst, show),
    ):  # fmt: skip
        blocks += part
    return Document(brief.title(head), brief.subtitle(head), str(head["hash"])[:12], tuple(blocks))


def summary(study: StudyLike, found: Survey | None = None) -> Document:
    """The management summary of a study, two pages that stand alone. found: as for `build`."""
    found = found or survey(study)
    return brief.document(study.head, found.rows, found.leak, shown(study.head))


def _ten(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]], linked: set[int]) -> Iterable[Block]:
    ten = [row for row in rows if row["verdict"] != "sound"][:10]
    yield Heading(2, f"The {_count_words(len(ten))} worst valves" if len(ten) != 1 else "The worst valve", "ten-worst")
    if not ten:
        yield Prose("Every valve passed the checks listed here.")
        return
    yield TableBlock(
        "Worst first: what endangers people, then what pays",
        (Column("Rank", "number"), Column("Tag"), Column("Verdict"), Column("Rests on"), Column("Cause", "wide"), Column("Recommended cure", "wide"),
         Column("Does it clear everything?", "wide"), Column("In plan")),
        tuple(
            (str(row["rank"]), _tag(row, linked), Cell(row["verdict"], row["verdict"]), plain(row.get("rests")), plain(row.get("cause")),
             plain(row.get("recommended_title")) if row.get("recommended") else "none tried here clears every finding", _clears(row),
             evidence.in_plan(row))
            for row in ten
        ),
        note=f"Rests on: the weakest source behind the verdict. {evidence.other_remedies(head.get('plan') or {}, ten)}".strip(),
    )  # fmt: skip


def _count_words(count: int) -> str:
    words = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"]
    return words[count]


def _tag(row: Mapping[str, Any], linked: set[int]) -> Cell:
    return Cell(str(row["tag"]), link=anchor(row["rank"]) if row["rank"] in linked else "")


def _clears(row: Mapping[str, Any]) -> str:
    if not row.get("recommended"):
        return DASH
    text = clears(row.get("clears"), row.get("recommended"))
    if row.get("recommended") == "measure-first":
        return f"{text}: {plain(row.get('condition')).rstrip('.')}."
    if row.get("clears") == "subject-to-proof":
        text += f": {plain(row.get('condition')).rstrip('.')}."
        text += (
            f" Without proof: {row['best_yes_title']}."
            if row.get("best_yes")
            else " Nothing tried does so without proof."
        )
    return text


def _trouble(head: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Iterable[Block]:
    yield Heading(2, "Where the trouble is", "trouble")
    found = [figure for figure in (figures.trouble(head, rows), figures.causes(head)) if figure]
    if not found:
        yield Prose("No valve has the numbers for a picture.")
    yield from found


def _register(head: Mapping[str, Any]) -> Iterable[Block]:
    register = head["register"]
    yield Heading(2, "What was read", "register")
    yield TableBlock(
        "Rows of the register",
        (Column("File"), Column("Found", "number"), Column("Read", "number"), Column("Partial", "number"), Column("Refused", "number"),
         Column("Valves", "number")),
        ((plain(register.get("file")), *(str(register.get(key, DASH)) for key in
          ("rows_found", "rows_read", "rows_partial", "rows_refused", "valves_found"))),),
        note="Found = read + partial + refused. Partial: usable, with a cell refused or missing. One row may hold two valves.",
    )  # fmt: skip
    incomplete = sorted(register.get("rows") or (), key=lambda row: (row["state"] != "refused",))
    for medium, most in (("page", PAGE_ROWS), ("paper", PAPER_ROWS)):
        table = TableBlock(
            "Rows that were refused or read in part", (Column("Sheet and row"), Column("State"), Column("Tags"), Column("Reason", "wide")),
            tuple((f"{plain(row['sheet'])}, row {plain(row['row'])}", plain(row["state"]), plain(row.get("tags")), cut(plain(row.get("reason")), 400))
                  for row in incomplete[:most]), note=rest(len(incomplete), most, "study.json"),
        )  # fmt: skip
        if incomplete:
            yield Only(medium, (Fold(f"Rows refused or read in part ({len(incomplete)})", (table,)),))
    columns = register.get("columns") or ()
    if columns:
        yield Fold(f"How the columns were read ({len(columns)})", (TableBlock(
            "Columns", (Column("Sheet"), Column("Heading", "wide"), Column("Field"), Column("Unit"), Column("How")),
            tuple((plain(c.get("sheet")), plain(c.get("heading")), field_words(str(c.get("field") or "not used")), plain(c.get("unit")), plain(c.get("how")))
                  for c in columns),
        ),))  # fmt: skip
    mends = register.get("mends") or ()
    if mends:
        keys = ("sheet", "row", "field", "value", "who", "when", "why", "applied")
        yield Fold(f"Mends on top of the register ({len(mends)})", (TableBlock(
            "Mends", tuple(Column(key.capitalize()) for key in keys), tuple(tuple(plain(mend.get(key)) for key in keys) for mend in mends),
        ),))  # fmt: skip


def _fleet(rows: Sequence[Mapping[str, Any]], linked: set[int], show: Shown) -> Iterable[Block]:
    yield Heading(2, "All valves", "fleet")
    columns = (
        Column("Rank", "number"), Column("Tag"), Column("Verdict"), Column("Rests on"), Column("Cause", "wide"), Column("Recommended cure", "wide"),
        Column("Clears"), Column("In plan"), Column(f"Whole-life cost, middle, {show.currency}", "number"), Column("Unit"), Column("Size"),
        Column("Fluid"), Column(f"Set, {show.pressure}", "number"), Column("Operating / set", "number"), Column("Required / rated", "number"),
        Column("Inlet loss, of set", "number"), Column("Built-up, of set", "number"), Column("Defaults", "number"),
    )  # fmt: skip
    note = "Whole-life cost: present value over the horizon with the recommended cure; for “measure first” and “keep” that of keeping the valve as it is."
    table = TableBlock(
        "Every valve, worst first", columns, tuple(_fleet_row(row, linked, show) for row in rows), "fleet", note
    )
    yield Only("page", (table,))
    if len(rows) > _PAPER_FLEET:
        yield Only("paper", (Prose(f"The table of all {len(rows)} valves stands in study.html and study.xlsx."),))
        return
    slim = (0, 1, 2, 3, 4, 5, 7, 8)
    yield Only("paper", (TableBlock(table.caption, tuple(columns[i] for i in slim),
                                    tuple(tuple(row[i] for i in slim) for row in table.rows), note=note),))  # fmt: skip


def _fleet_row(row: Mapping[str, Any], linked: set[int], show: Shown) -> tuple[str | Cell, ...]:
    recommended = bool(row.get("recommended"))
    return (
        str(row["rank"]), _tag(row, linked), Cell(row["verdict"], row["verdict"]), plain(row.get("rests")), plain(row.get("cause")),
        plain(row.get("recommended_title")) if recommended else DASH, clears(row.get("clears"), row.get("recommended")) if recommended else DASH, evidence.in_plan(row),
        show.money(row.get("cost_mid")) if recommended else DASH, plain(row.get("unit")), plain(row.get("designation")), plain(row.get("fluid")),
        show.pressure_of(row.get("set_pressure_pa"), False), percent(row.get("operating_ratio")), percent(row.get("utilisation")),
        percent(row.get("inlet_loss_rated")), percent(row.get("built_up_ratio")), plain(row.get("defaults")),
    )  # fmt: skip


def _sound(rows: Sequence[Mapping[str, Any]], found: Sequence[tuple[str | Cell, ...]]) -> Iterable[Block]:
    """The sound valves with what they passed, so that a reader can check that verdict too."""
    count = sum(row["verdict"] == "sound" for row in rows)
    if not count:
        return
    yield Heading(2, "Sound valves: what was checked", "sound")
    for medium, most in (("page", PAGE_ROWS), ("paper", PAPER_ROWS)):
        table = evidence.sound_table(found[:most], rest(count, most, "study.xlsx, sheet Passed"))
        yield Only(
            medium,
            (Fold(f"Sound valves and the checks they passed ({count})", (table,)) if medium == "page" else table,),
        )


def _worst(head: Mapping[str, Any], worst: Sequence[RecordLike], show: Shown) -> Iterable[Block]:
    """Each of the worst valves: whole on the page; on paper a sheet, or whole where the Basis asks for it."""
    if not worst:
        return
    whole = choices(head).get("pdf_valves") == "full"
    study = str(head.get("hash") or "")
    title = Heading(2, "The worst valves, one by one", "worst")
    words = Prose(
        f"{len(worst)} valves that are not sound, the worst first, in rank order. Numbers are computed from unrounded values."
    )
    sheets = Prose(
        "A sheet for each valve; every step, input and remedy stands in study.html and study.json (printed here with pdf_valves = full)."
    )
    yield NewPage()
    yield from (title, words) if whole else (Only("page", (title, words)),)
    for index, record in enumerate(worst):
        valve = record.full()
        body = (heading(valve), *by_hand.of_valve(head, valve), *section(valve, show, study))
        if whole:
            yield from body if not index else (NewPage(), *body)
        else:
            before = () if index else (title, words, sheets)
            front = OnePage((*before, heading(valve), *sheet.front(valve, show), *by_hand.of_valve(head, valve)))
            yield Only("page", body)
            yield Only("paper", (front, *sheet.fit(valve, study)))


def _remarks(head: Mapping[str, Any]) -> Iterable[Block]:
    said = brief.remarks(head.get("issue") or {})
    if said:
        yield Heading(2, "Remarks of the review", "remarks")
        yield Bullets(tuple(said))


def _assumptions(head: Mapping[str, Any]) -> Iterable[Block]:
    yield Heading(2, "Assumptions", "assumptions")
    found = head.get("assumptions") or ()
    if not found:
        yield Prose("No value was assumed.")
        return
    yield Prose("Values nobody gave. A check that tests the very value that was assumed is open, never passed.")
    yield TableBlock(
        "What was taken instead", (Column("Field"), Column("Taken"), Column("Valves", "number"), Column("For example", "wide"),
                                   Column("Rule", "wide"), Column("Source", "wide")),
        tuple((field_words(str(item["field"])), plain(item.get("value")), plain(item.get("count")), plain(item.get("tags")),
               plain(item.get("rule")), plain(item.get("source"))) for item in found),
    )  # fmt: skip


def _problems(head: Mapping[str, Any]) -> Iterable[Block]:
    yield Heading(2, "Problems in the data", "problems")
    found = head.get("problems") or ()
    if not found:
        yield Prose("No problem was found in the register.")
        return
    yield Prose(
        f"{len(found)} problems were found. No row is lost: each one stands here or in problems.csv with the way to mend it."
    )
    for medium, most in (("page", PAGE_ROWS), ("paper", PAPER_ROWS)):
        yield Only(medium, (problem_table(found[:most], "Problems", rest(len(found), most, "problems.csv")),))


def _basis(head: Mapping[str, Any]) -> Iterable[Block]:
    yield Heading(2, "Basis: every choice behind this study", "basis")
    rows = head["basis"]["choices"]
    changed = head["basis"].get("changed") or {}
    yield Prose(f"{len(rows)} choices, {len(changed)} of them made for this study, the others defaults of the tool.")
    yield Fold(f"All {len(rows)} choices", (TableBlock(
        "Choices", (Column("Group"), Column("Choice", "wide"), Column("Value"), Column("Made by"), Column("Source", "wide"), Column("Confidence")),
        tuple((plain(row.get("group")), f"{plain(row.get('description'))} ({row['name']})", plain(row.get("value")), plain(row.get("made_by")),
               plain(row.get("source")), MARKS.get(str(row.get("confidence")), plain(row.get("confidence")))) for row in rows),
    ),))  # fmt: skip


def _sources(head: Mapping[str, Any]) -> Iterable[Block]:
    yield Heading(2, "Sources", "sources")
    yield Prose(
        "What was read, and how. Rows taken from memory of a document are to be verified in it before they decide anything."
    )
    yield TableBlock(
        "Documents used", (Column("Document", "wide"), Column("Edition"), Column("How it was read"), Column("Note", "wide")),
        tuple((plain(item.get("title") or item.get("id")), plain(item.get("edition") or item.get("year")),
               MARKS.get(str(item.get("read")), plain(item.get("read"))), plain(item.get("note") or item.get("used_for")))
              for item in head.get("sources") or ()),
    )  # fmt: skip


def _checking(head: Mapping[str, Any]) -> Iterable[Block]:
    yield Heading(2, "How to check this study", "checking")
    yield Bullets((
        "Every step prints its formula, the values put in, the result and its source: redo any line with a calculator.",
        "Run “quietseat verify study.json”: it calculates the study again and names every difference.",
        "Run “quietseat checks”: it compares the tool with published examples.",
        "Every input names the cell it was read from; compare it with the nameplate and the isometric.",
    ))  # fmt: skip
    checks = head.get("hand_checks") or ()
    if checks:
        yield TableBlock(
            "One hand check for each method used", (Column("Method"), Column("Valve"), Column("Line to redo", "wide")),
            tuple((plain(item.get("method")), plain(item.get("tag")), plain(item.get("line"))) for item in checks),
        )  # fmt: skip
    yield Pairs(
        (
            ("Program version", Cell(plain(head.get("version")))),
            ("Hash of inputs, Basis and version", Cell(plain(head.get("hash")))),
        )
    )


def _sign() -> Iterable[Block]:
    yield Heading(2, "Prepared, checked, approved", "signed")
    yield Prose("This study holds only once a competent engineer has checked and signed it.")
    yield SignedBy(("Prepared by", "Checked by", "Approved by"))
