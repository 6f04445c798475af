"""The walk-down list and its blank form: a page and paper to carry, a workbook and a CSV to fill and hand back as mends."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from quietseat.celltext import quiet
from quietseat.questions import answers
from quietseat.report import html, pdf
from quietseat.report.document import (
    Block,
    Bullets,
    Callout,
    Column,
    Document,
    Heading,
    NewPage,
    Prose,
    SignedBy,
    TableBlock,
)
from quietseat.report.money import whole
from quietseat.report.words import field_words

FORM = ("sheet", "row", "tag", "field", "what", "where", "unit", "now", "value", "who", "when", "why")
_MENDS = ("sheet", "row", "field", "value", "who", "when", "why")
_LIST = (
    Column("Tag"), Column("What to find out", "wide"), Column("Taken now", "wide"), Column("Answer", "wide"), Column("Unit"),
    Column("Hours", "number"), Column("Worth", "number"), Column("Why it matters", "wide"),
)  # fmt: skip


def write(answer: Mapping[str, Any], folder: str | Path) -> list[Path]:
    """Write walk-down.html, walk-down.pdf, walk-down.xlsx and mends-form.csv; returns their paths. Raises OSError."""
    place = Path(folder)
    place.mkdir(parents=True, exist_ok=True)
    document = build(answer)
    files = {
        "walk-down.html": html.render(document).encode(), "walk-down.pdf": pdf.render(document), "walk-down.xlsx": workbook(answer),
        "mends-form.csv": mends_form(answer["questions"]).encode(),
    }  # fmt: skip
    for name, content in files.items():
        (place / name).write_bytes(content)
    return [place / name for name in files]


def build(answer: Mapping[str, Any]) -> Document:
    """The list as a Document, one page a person and place."""
    currency, visits = answer["currency"], answer["visits"]
    blocks: list[Block] = [
        Prose(sentence(answer), "lead"), Prose(answer["rule"], "small"), *([Bullets(tuple(answer["notes"]))] if answer["notes"] else []),
        Callout("caution", "Mind", ("Worth is what knowing brings on average, from ranges that are estimates; it orders the questions and promises nothing.",
                                    "An answer changes a record only as a signed mend.")),
        who_where(answer),
    ]  # fmt: skip
    for one in visits:
        members = [q for q in answer["questions"] if (q["who"], q["where"]) == (one["who"], one["where"])]
        title = f"{one['who'].capitalize()}: {one['where']}"
        lines = tuple(
            (q["tag"], q["title"], q["now"], "", q["unit"], f"{q['hours']:g}", worth(q["value"]), q["reason"]) for q in members
        )
        count = "1 question" if one["count"] == 1 else f"{one['count']} questions"
        blocks += [NewPage(), Heading(3, title), TableBlock(f"{count}, {one['hours']:.4g} h; worth in {currency}", _LIST, lines),
                   SignedBy(("Asked by", "Answered by"))]  # fmt: skip
    return Document("What to ask for next", "Walk-down list and blank form", answer["mark"][:12], tuple(blocks))


def who_where(answer: Mapping[str, Any], most: int | None = None) -> TableBlock:
    """Who walks where with how many questions. most: tags printed of one visit (all if not given)."""
    def row(one: Mapping[str, Any]) -> tuple[str, ...]:
        tags = one["tags"][:most]
        more = f" and {len(one['tags']) - len(tags)} more" if len(tags) < len(one["tags"]) else ""
        return (one["who"], one["where"], str(one["count"]), f"{one['hours']:.4g}", worth(one["value"]), ", ".join(tags) + more)

    columns = (
        Column("Who"), Column("Where"), Column("Questions", "number"), Column("Hours", "number"),
        Column(f"Worth, {answer['currency']}", "number"), Column("Valves", "wide"),
    )  # fmt: skip
    return TableBlock("Who walks where", columns, tuple(row(one) for one in answer["visits"]))


def sentence(answer: Mapping[str, Any]) -> str:
    """How many questions, their hours, and what the answers are worth."""
    questions = answer["questions"]
    if not questions:
        return f"Nothing to ask: of {answer['valves_asked']} valves none has a missing or doubtful value that would change a decision."
    hours, value = sum(q["hours"] for q in questions), sum(q["value"] or 0.0 for q in questions)
    return (
        f"{len(questions)} questions about {len({q['tag'] for q in questions})} of {answer['valves_asked']} valves, {hours:.4g} hours of asking. "
        f"Knowing before deciding is worth about {worth(value)} {answer['currency']} on average (values of one valve overlap)."
    )


def worth(value: Any) -> str:
    """Money of one question as printed; some are asked whatever they are worth."""
    return "not valued" if value is None else whole(value)


def mends_form(questions: Sequence[Mapping[str, Any]]) -> str:
    """The blank form as a mends file, a line for each field an answer may go into: fill `value who when why` of those you can and give
    it to --mends. A line without who and when is listed there as not applied."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_MENDS)
    for one in questions:
        for answer in answers.of_saved(one):
            writer.writerow(map(quiet, (answer["sheet"], answer["row"], answer["field"], "", "", "", one["title"])))
    return out.getvalue()


def workbook(answer: Mapping[str, Any]) -> bytes:
    """The same list as a workbook: sheets "Walk-down" (to fill) and "Who walks where"."""
    import datetime

    import xlsxwriter

    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"created": datetime.datetime(2026, 1, 1), "title": "What to ask for next"})
    head, wrap, blank = (book.add_format(style) for style in (
        {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}, {"text_wrap": True, "valign": "top"},
        {"text_wrap": True, "valign": "top", "border": 1, "bg_color": "#FFF9E5"}))  # fmt: skip
    sheet = book.add_worksheet("Walk-down")
    titles = (*FORM, "hours", f"worth ({answer['currency']})", "why it matters")
    widths = (14, 6, 16, 20, 34, 22, 8, 22, 16, 16, 12, 20, 7, 12, 60)
    for column, (title, width) in enumerate(zip(titles, widths, strict=True)):
        sheet.set_column(column, column, width)
        sheet.write(0, column, title, head)
    for line, one in enumerate(answer["questions"], 1):
        known = (one["sheet"], one["row"], one["tag"], one["form_field"] or field_words(one["field"]), one["title"], one["where"], one["unit"],
                 one["now"], None, None, None, None, one["hours"], one["value"], one["reason"])  # fmt: skip
        for column, value in enumerate(known):
            sheet.write(line, column, value, blank if titles[column] in ("value", "who", "when", "why") else wrap)
    sheet.freeze_panes(1, 3)
    sheet.autofilter(0, 0, max(1, len(answer["questions"])), len(titles) - 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    other = book.add_worksheet("Who walks where")
    for column, (key, width) in enumerate((("who", 20), ("where", 26), ("count", 10), ("hours", 8), ("value", 12), ("tags", 80))):
        other.set_column(column, column, width)
        other.write(0, column, key, head)
        for line, visit in enumerate(answer["visits"], 1):
            value = visit[key]
            other.write(line, column, ", ".join(value) if isinstance(value, list) else value, wrap)
    book.close()
    return out.getvalue()
