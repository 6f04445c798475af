"""The report: what a reviewer must find, nothing from outside is run or fetched, the same study gives the same bytes."""

from __future__ import annotations

import copy
import csv
import io
import itertools
import math
import re
from collections.abc import Iterable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import report_sample as sample

from quietseat import report
from quietseat.report import brief, build, drawing, evidence, figures, html, motion, pdf, problems, sheet, words, xlsx
from quietseat.report.document import Column, Document, Prose, TableBlock

VOID = {"meta", "link", "br", "hr", "img", "input"}


@pytest.fixture(scope="module")
def study() -> sample.Study:
    return sample.study()


@pytest.fixture(scope="module")
def document(study: sample.Study) -> Document:
    return build.build(study)


@pytest.fixture(scope="module")
def page(document: Document) -> str:
    return html.render(document)


@pytest.fixture(scope="module")
def paper(document: Document) -> bytes:
    return pdf.render(document)


@pytest.fixture(scope="module")
def paper_text() -> str:
    """The paper with every step, as the Basis may ask for it."""
    return text_of(pdf.render(build.build(sample.study(pdf_valves="full"))))


def text_of(paper: bytes) -> str:
    return " ".join(pages_of(paper))


def pages_of(paper: bytes) -> list[str]:
    import pypdf

    texts = (part.extract_text() for part in pypdf.PdfReader(io.BytesIO(paper)).pages)
    return [re.sub(r"\s+", " ", text.replace("\u200b", "").replace("\u00a0", " ")) for text in texts]


class Reader(HTMLParser):
    """Collects tags and text; complains about a tag that is closed in the wrong order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open and self.open.pop() == tag, f"</{tag}> closes nothing"

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.fixture(scope="module")
def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    return reader


# --- The page ------------------------------------------------------------------------------------------------


def test_page_is_well_formed_with_headings_in_order(read: Reader) -> None:
    assert read.open == []
    levels = [int(tag[1]) for tag, _ in read.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1 and levels.count(1) == 1
    assert all(after - before <= 1 for before, after in itertools.pairwise(levels))
    assert ("html", {"lang": "en"}) in read.tags


def test_page_loads_nothing_and_says_so_to_the_browser(page: str, read: Reader) -> None:
    for tag, attributes in read.tags:
        assert tag not in ("link", "iframe", "object", "embed", "base", "form", "img", "image", "use")
        for name in ("src", "href", "xlink:href", "action", "data", "poster", "srcset"):
            assert (attributes.get(name) or "#").startswith("#"), (tag, name)
    assert not re.search(r"url\((?!#)|@import|fetch\(|XMLHttpRequest", page)
    policy = next(
        a["content"] or "" for t, a in read.tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'")


def test_links_of_the_page_lead_somewhere_and_ids_are_unique(read: Reader) -> None:
    ids = [a["id"] for _, a in read.tags if a.get("id")]
    assert len(ids) == len(set(ids))
    assert {(a["href"] or "")[1:] for t, a in read.tags if t == "a"} <= set(ids)


def test_register_text_never_becomes_markup(page: str, read: Reader) -> None:
    assert sum(tag == "script" for tag, _ in read.tags) == 1
    assert "<script>alert" not in page and "<b>&" not in page
    said = "".join(read.text)
    for text in (sample.SCRIPT_TEXT, sample.ODD_TAG, sample.FORMULA_TEXT, sample.TYPST_TEXT, sample.UNICODE_TEXT):
        assert text in said


def test_tables_and_pictures_are_readable_without_eyes(read: Reader) -> None:
    heads = [attributes for tag, attributes in read.tags if tag == "th"]
    assert heads and all(attributes.get("scope") == "col" for attributes in heads)
    drawings = [attributes for tag, attributes in read.tags if tag == "svg"]
    assert len(drawings) >= 3 + 3 * 3
    assert all(
        attributes.get("role") == "img" and len(attributes.get("aria-label") or "") > 20 for attributes in drawings
    )


def test_verdict_is_said_in_words_and_shape(page: str) -> None:
    for word, shape in words.SHAPES.items():
        assert f'<i aria-hidden="true">{shape}</i> {word}' in page
    assert len(set(words.SHAPES.values())) == 4


EXPECTED = (
    "What this study is, and what it is not", "The three worst valves", "Where the trouble is", "Partial: usable", "The plan",
    "Recommended: Modulating pilot valve, remote sense, non-bleeding", "Condition: Maker's certificate of stable modulation at 20 % of rated flow.",
    "Best remedy that clears everything without proof: Smaller orifice: 4L6 in place of 4P6.",
    "Fouling service: a pilot plugs before a spring valve does.", "Un-derated", "nameplate", "not stated", "measured", "assumed",
    "Defaults behind this verdict", "Blowdown and ring settings", "7 %, default", "Valves!F7", "common practice, no source", "Prepared by",
    "Checked by", "Approved by", "One hand check for each method used", "Assumptions", "Problems in the data", "Sources", "is not a length",
    "quietseat verify study.json", "omega cannot be formed", "Stability in time", "62 % (95 % interval 55 % to 69 %)", "inlet wave",
    "weigh the moving parts and rate-test the spring", "an inlet line of at most 0.62 m", "a flow of at least 10440 kg/h",
    "nothing here has been compared with a measured map",
    "Not answered: the run diverged", "moving mass 60 %", "Predicted against found", "77.8 % (95 % interval 40 % to 97 %)",
    "148 of 1600 draws and flows (9.25 %", "In doubt and not simulated in time (1)",
)  # fmt: skip


@pytest.mark.parametrize("text", EXPECTED)
def test_both_media_print_what_a_reviewer_looks_for(text: str, read: Reader, paper_text: str) -> None:
    assert text in "".join(read.text)
    assert text in paper_text


def test_the_pressure_ladder_and_three_flows_stand_in_the_section(paper_text: str) -> None:
    for text in ("16.5 barg", "13.5 barg"):  # 1.1 x 15 barg and 90 % of 15 barg, by hand
        assert text in paper_text
    assert re.search(r"7560 36720 40788", paper_text)  # kg/h: 2.1, 10.2 and 11.33 kg/s times 3600, by hand


# --- The paper -----------------------------------------------------------------------------------------------


def test_pdf_has_contents_page_numbers_title_and_no_date_of_today(paper: bytes, document: Document) -> None:
    import pypdf

    reader = pypdf.PdfReader(io.BytesIO(paper))
    assert reader.metadata is not None and str(reader.metadata.title).startswith("Relief valves of Hollin Bay")
    assert reader.metadata.creation_date is not None and reader.metadata.creation_date.year == 2000
    texts = [part.extract_text() for part in reader.pages]
    assert any("Contents" in text for text in texts[:3])
    assert "Management summary" in texts[0]
    for number, text in enumerate(texts, 1):
        assert (
            f"Page {number} of {len(texts)}" in text
            and "hash 9f9f9f9f9f9f" in text
            and "Relief valves of Hollin Bay" in text
        )
    chapters = [entry.title for entry in reader.outline if not isinstance(entry, list)]
    headings = [head.text for head in document.headings("paper") if head.level == 2]
    assert [title for title in chapters if title != "Contents"] == headings


@pytest.mark.parametrize("standard", ["ua-1", "a-2a"])
def test_pdf_keeps_the_standard(document: Document, standard: str) -> None:
    import typst

    made = typst.compile(pdf.sources(document), format="pdf", pdf_standards=[standard], ignore_system_fonts=True)  # type: ignore[call-overload]
    assert made.startswith(b"%PDF")


def test_pdf_says_in_its_metadata_that_it_is_tagged_and_for_the_archive(paper: bytes) -> None:
    import pypdf

    root: Any = pypdf.PdfReader(io.BytesIO(paper)).trailer["/Root"]
    said = root["/Metadata"].get_object().get_data().decode()
    assert (
        "<pdfaid:part>2<" in said and "<pdfaid:conformance>A<" in said and "<pdfuaid:part>1<" in said
    )  # ISO 19005-2 level A, ISO 14289-1
    assert root["/MarkInfo"]["/Marked"] and root["/Lang"] == "en" and "/StructTreeRoot" in root


def test_every_figure_on_paper_has_words_for_it_and_every_table_its_heads(paper: bytes) -> None:
    import pypdf

    root: Any = pypdf.PdfReader(io.BytesIO(paper)).trailer["/Root"]
    found = list(_elements(root["/StructTreeRoot"]))
    figures_found = [one for one in found if one.get("/S") == "/Figure"]
    assert len(figures_found) >= 3 + 3 * 2 and all(len(str(one.get("/Alt", ""))) > 20 for one in figures_found)
    kinds = {str(one.get("/S")) for one in found}
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/Link", "/TOC"} <= kinds


def _elements(node: Any) -> Iterable[Any]:
    """Every element of a structure tree."""
    node = node.get_object()
    yield node
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        child = child.get_object() if hasattr(child, "get_object") else child
        if isinstance(child, dict):
            yield from _elements(child)


# --- The management summary, the sheets, who issued it -----------------------------------------------------------------

ISSUE: dict[str, Any] = {
    "state": "issued", "number": 4, "words": "Revision B", "issued_by": "Ada Noor", "issued_at": "2026-11-20T10:00:00Z", "reviewer": "Kim Roe",
    "remarks": [{"tag": "PSV-0001", "words": f"look at the isometric {sample.TYPST_TEXT}", "who": "Kim Roe", "made_at": "2026-11-21T09:00:00Z"}],
}  # fmt: skip


@pytest.mark.parametrize("count", [0, 1, 3, 60])
@pytest.mark.parametrize("remarks", [0, 40])
def test_the_management_summary_is_two_pages_whatever_stands_in_it(count: int, remarks: int) -> None:
    study = sample.study(max(count, 1))
    if not count:
        study.records.clear()
        study.head.update(plan={}, questions={}, counts={}, causes=[])
    study.head["issue"] = {**ISSUE, "remarks": [{**ISSUE["remarks"][0], "words": sample.LONG_TEXT * 9}] * remarks}
    pages = pages_of(pdf.render(build.summary(study)))
    assert len(pages) == 2 and "Page 2 of 2" in pages[1]
    assert "Management summary" in pages[0] and "What this study is, and what it is not" in pages[1]


def test_the_summary_adds_up_what_leaks() -> None:
    leaks: list[dict[str, float] | None] = [
        {"low": 0.0, "mid": 10.0, "high": 30.0},
        None,
        {"low": 1.0, "mid": 5.0, "high": 9.0},
    ]
    valves: list[dict[str, Any]] = [
        {"leakage": one and {"co2e_kg_a": one, "co2e_parts_kg_a": {"low": 0.5, "mid": 1.0, "high": 2.0}}}
        for one in leaks
    ]
    # 0.5 + 1.5, 11 + 6, 32 + 11; of the middle 10 + 5 through the seats, 1 + 1 beside them
    assert brief.tally(valves) == {"low": 2.0, "mid": 17.0, "high": 43.0, "seat": 15.0, "beside": 2.0, "valves": 2.0}


def test_both_media_say_who_issued_and_reviewed_it_and_neither_changes_the_hash() -> None:
    study = sample.study(2)
    before = build.build(study)
    assert "not issued" in html.render(before)
    study.head["issue"] = ISSUE
    after = build.build(study)
    assert after.mark == before.mark
    for text in (html.render(after), text_of(pdf.render(after))):
        for words_of in (
            "issued",
            "study 4, by Ada Noor on 2026-11-20: Revision B",
            "Kim Roe",
            "ook at the isometric",
            "Remarks of the review",
        ):
            assert words_of in text


def test_paper_has_a_sheet_of_two_pages_at_most_for_each_valve_and_the_page_has_all(
    document: Document, paper: bytes, page: str
) -> None:
    import pypdf

    reader = pypdf.PdfReader(io.BytesIO(paper))
    entries: list[Any] = []
    for entry in reader.outline:
        entries += entry if isinstance(entry, list) else [entry]
    heads = [head.text for head in document.headings("paper") if head.level == 3 and head.verdict]
    starts = [
        reader.get_destination_page_number(entry) for entry in entries if re.match(r"\W*\d+\. ", str(entry.title))
    ]
    assert len(starts) == len(heads) == 3
    assert all(1 <= after - before <= 2 for before, after in itertools.pairwise([*starts, len(reader.pages)]))  # type: ignore[operator]
    said = text_of(paper)
    assert "line by line" not in said and "line by line" in page and "pdf_valves = full" in said
    for text in ("Relief cases", "Pressure ladder", "Recommended:", "net present value", "History"):
        assert text in said


def test_a_sheet_stands_alone_with_drawing_issue_and_remarks() -> None:
    study = sample.study(2)
    head = {
        **study.head,
        "issue": {**ISSUE, "remarks": [{**ISSUE["remarks"][0], "tag": study.records[0].full()["tag"]}]},
    }
    made = sheet.document(study.records[0].full(), head)
    pages = pages_of(pdf.render(made))
    assert len(pages) <= 2 and "ook at the isometric" in pages[0] and "management of change" in pages[0]
    text = html.render(made)
    assert "Fit drawing" in text and study.head["hash"][:12] in text


def test_where_nothing_can_be_drawn_the_report_says_what_to_measure() -> None:
    valve = copy.deepcopy(sample.study(1).records[0].full())
    for remedy in valve["remedies"]:
        if remedy.get("fit"):
            remedy["fit"]["new_inlet_height_m"] = None
    said = [block.text for block in sheet.fit(valve, "ab") if isinstance(block, Prose)]
    assert len(said) == 1 and "A of the new valve, from its maker" in said[0] and "Measure or ask" in said[0]


# --- The palette ---------------------------------------------------------------------------------------------------------


def _luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour. Source: WCAG 2.2, definition of relative luminance."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return float(0.2126 * red + 0.7152 * green + 0.0722 * blue)


def _contrast(one: str, other: str) -> float:
    """Contrast ratio. Source: WCAG 2.2, definition of contrast ratio."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def _lightness(colour: str) -> float:
    """CIE L* of a colour brighter than 0.9 % of white. Source: CIE 15."""
    return float(116 * _luminance(colour) ** (1 / 3) - 16)


def test_black_and_white_are_21_to_1() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2, note to contrast ratio


def test_the_palette_can_be_read_and_survives_grey_print() -> None:
    css = (Path(html.__file__).parent / "page.css").read_text(encoding="utf-8")
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", css))
    grounds = ("#ffffff", named["wash"], "#faf9f5")  # paper, wash, the workspace's page
    for name in ("ink", "soft", "accent", *words.VERDICTS):
        assert all(_contrast(named[name], ground) >= 4.5 for ground in grounds), (
            name
        )  # WCAG 2.2, 1.4.3; marks need 3 (1.4.11)
    levels = sorted(_lightness(named[name]) for name in words.VERDICTS)
    assert all(after - before >= 6.0 for before, after in itertools.pairwise(levels)), levels
    assert {name: named[name] for name in words.VERDICTS} == {name: figures.COLOURS[name] for name in words.VERDICTS}
    template = (Path(html.__file__).parent / "study.typ").read_text(encoding="utf-8")
    assert all(f'{name}: rgb("{named[name]}")' in template for name in words.VERDICTS)


def test_register_text_is_data_for_typst_never_source(document: Document) -> None:
    files = pdf.sources(document)
    template = files["main.typ"].decode()
    assert sample.TYPST_TEXT not in template
    outside = re.sub(r'"(?:[^"\\]|\\.)*"', "", files["maths.typ"].decode())
    assert "#strong" not in outside and "@label" not in outside


@pytest.mark.parametrize(
    "odd", ["阀门 安全", "🔥", "\x00\x0b\x1f\x7f", "\ud800", "\ufffe", "e\u0301 \u202e", "x" * 4000]
)
def test_odd_characters_never_stop_a_file(odd: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sample, "UNICODE_TEXT", f"before {odd} after")
    study = sample.study()
    made = build.build(study)
    assert pdf.render(made).startswith(b"%PDF")
    assert "before " in html.render(made).encode().decode()
    assert xlsx.render(study).startswith(b"PK")
    problems.render([{"value": odd}]).encode()


# --- The workbook and the list of problems ---------------------------------------------------------------------


@pytest.fixture(scope="module")
def workbook(study: sample.Study) -> Any:
    import openpyxl

    return openpyxl.load_workbook(io.BytesIO(xlsx.render(study)))


def _cells(workbook: Any) -> Iterable[Any]:
    for one_sheet in workbook:
        for row in one_sheet.iter_rows():
            yield from (cell for cell in row if cell.value is not None)


def test_workbook_holds_no_link_and_no_formula_but_those_of_money(workbook: Any) -> None:
    cells = list(_cells(workbook))
    assert not [cell.coordinate for cell in cells if cell.hyperlink]
    formulas = [cell for cell in cells if cell.data_type == "f"]
    assert formulas and {cell.parent.title for cell in formulas} == {"Money"}
    assert all(
        re.fullmatch(r"=(?:SUM|PRODUCT|SUMPRODUCT|ROUND|\$?[A-Z]{1,3}\$?\d+|[-+*/^(),:012])+", cell.value)
        for cell in formulas
    )
    assert [cell for cell in cells if cell.value == sample.FORMULA_TEXT and cell.data_type == "s"]


def test_workbook_has_its_sheets_frozen_filtered_with_units(workbook: Any) -> None:
    assert workbook.sheetnames == [
        "Summary", "Fleet", "Findings", "Passed", "Cases", "Stability in time", "Remedies", "Leakage", "Money", "Predicted and found", "Plan",
        "Budget curve", "Until cured", "Ask next", "Problems", "Assumptions", "Basis", "Sources",
    ]  # fmt: skip
    for one_sheet in workbook:
        assert one_sheet.freeze_panes and one_sheet.auto_filter.ref
    fleet = workbook["Fleet"]
    titles = {cell.value: at for at, cell in enumerate(fleet[1])}
    first = [cell.value for cell in fleet[2]]
    assert first[titles["Set pressure, barg"]] == pytest.approx(15.0)
    assert fleet[2][titles["Required / rated flow"]].number_format == "0.0%"
    cases = {cell.value: cell.column for cell in workbook["Cases"][1]}
    assert workbook["Cases"].cell(2, cases["Rated flow, kg/h"]).value == pytest.approx(36720.0)


def test_american_units_are_used_where_the_basis_asks_for_psig() -> None:
    import openpyxl

    study = sample.study(1, pressure_unit="psig")
    book = openpyxl.load_workbook(io.BytesIO(xlsx.render(study)))
    titles = [cell.value for cell in book["Fleet"][1]]
    value = book["Fleet"].cell(2, titles.index("Set pressure, psig") + 1).value
    assert value == pytest.approx(217.557, abs=5e-4)  # 15 bar / 0.0689475729 bar per psi (NIST SP 811)


def test_problems_file_keeps_dangerous_cells_as_text() -> None:
    head = sample.study().head
    rows = list(csv.DictReader(io.StringIO(problems.render(head["problems"]))))
    assert list(rows[0]) == ["file", "sheet", "row", "column", "field", "value", "rule", "mend"]
    assert len(rows) == len(head["problems"])
    assert rows[-1] == {
        "file": "plant.xlsx", "sheet": "'=cmd()", "row": "", "column": "'@x", "field": "", "value": "'" + sample.FORMULA_TEXT,
        "rule": "'-1 is not a size", "mend": "",
    }  # fmt: skip


# --- All files ---------------------------------------------------------------------------------------------------


def test_same_study_same_bytes(tmp_path: Path) -> None:
    first = report.write(sample.study(), tmp_path / "a")
    second = report.write(sample.study(), tmp_path / "b")
    assert {"study.html", "study.pdf", "study.xlsx", "problems.csv"} <= {file.name for file in first}
    for one, two in zip(first, second, strict=True):
        assert one.read_bytes() == two.read_bytes(), one.name


def test_an_empty_study_still_prints() -> None:
    study = sample.study(1)
    study.records.clear()
    study.head.update(problems=[], assumptions=[], causes=[], hand_checks=[], plan={}, counts={})
    document = build.build(study)
    assert "Every valve passed" in html.render(document)
    assert pdf.render(document).startswith(b"%PDF")
    assert xlsx.render(study).startswith(b"PK")


def test_a_valve_with_next_to_nothing_known_prints() -> None:
    study = sample.study(1)
    bare = {"tag": "X", "verdict": "unproven", "rank": 1, "reasons": ["set pressure unknown"], "status": "not-computed"}
    study.records[0]._valve = bare
    study.records[0].summary = {key: None for key in study.records[0].summary} | {
        "tag": "X",
        "verdict": "unproven",
        "rank": 1,
    }
    document = build.build(study)
    assert "set pressure unknown" in html.render(document)
    assert pdf.render(document).startswith(b"%PDF")
    assert xlsx.render(study).startswith(b"PK")


def test_long_lists_say_where_the_rest_is() -> None:
    study = sample.study(1)
    study.head["problems"] = study.head["problems"] * 400
    text = html.render(build.build(study))
    assert "500 of 800 are shown; all of them are in problems.csv." in text


# --- Stability in time ----------------------------------------------------------------------------------------------


def test_marched_valves_have_a_row_each_in_the_workbook(workbook: Any) -> None:
    sheet = workbook["Stability in time"]
    titles = {cell.value: cell.column for cell in sheet[1]}
    rows = [
        {title: sheet.cell(line, column).value for title, column in titles.items()}
        for line in range(2, sheet.max_row + 1)
    ]
    assert len(rows) == 2 and rows[0]["Tag"] == "PSV-0001" and rows[1]["Status"] == "not-converged"
    first = rows[0]
    assert (first["Probability of chatter"], first["95 % interval, low"], first["First share"]) == (0.62, 0.55, 0.6)
    assert first["Smallest quiet flow, kg/h"] == pytest.approx(2.9 * 3600)
    assert first["Lowest inlet pressure, barg"] == pytest.approx((8.3e5 - 101325) / 1e5)
    assert first["First cause of spread"] == "moving mass" and "Blowdown that would cure it" in titles
    assert rows[1]["Probability of chatter"] is None


def test_predicted_and_found_add_up(workbook: Any, read: Reader) -> None:
    rows = [[cell.value for cell in row] for row in workbook["Predicted and found"].iter_rows(min_row=2)]
    assert [row[1:4] for row in rows] == [[7, 2, 3], [4, 31, 9]] and rows[0][4] == pytest.approx(7 / 9)
    said = "".join(read.text)
    assert "Damage found in the shop72312" in said and "None found431944" in said  # 7 + 2 + 3 = 12, 4 + 31 + 9 = 44


def test_nothing_is_said_where_nothing_was_marched() -> None:
    import openpyxl

    study = sample.study(3)
    for record in study.records:
        record._valve.pop("chatter")
    for key in ("marching", "predictions"):
        study.head.pop(key)
    text = html.render(build.build(study))
    assert "Stability in time" not in text and "Predicted against found" not in text
    book = openpyxl.load_workbook(io.BytesIO(xlsx.render(study)))
    assert "Predicted and found" not in book.sheetnames and book["Stability in time"].max_row == 1


def test_pictures_say_in_words_what_they_show(study: sample.Study) -> None:
    shown = words.shown(study.head)
    found = study.records[0].full()["chatter"]
    grid = motion.stability_map("T", found["map"], shown)
    assert grid is not None and "This valve stands at 1.5 m and 7200 kg/h." in grid.alt
    # the sample's map is one half where L = 0.66 m sqrt(flow): 0.933 m at 2 kg/s, read between cells 0.88 and 1.16 m
    assert "more likely than not at 0.94 m" in grid.caption
    worst = motion.trace("T", found["traces"][0], shown, 1101325.0, 0.0125)
    assert worst is not None and "25 % of the rated flow, 3492 kg/h: chatters" in worst.caption  # 0.97 kg/s x 3600
    assert "Lift between 0 and 12 mm" in worst.alt or "Lift between 0 and 13 mm" in worst.alt
    sparse = {
        **found["traces"][0],
        **{key: found["traces"][0][key][::6] for key in ("t_s", "lift_m", "inlet_pressure_pa", "vessel_pressure_pa")},
    }
    assert "Right: the last" in motion.trace("T", found["traces"][0], shown, None, None, 57.3).caption  # type: ignore[union-attr]
    # 400 points in 4 s are two in a cycle of 57 Hz: a zoom would show cycles that are not there
    assert "Right: the last" not in motion.trace("T", sparse, shown, None, None, 57.3).caption  # type: ignore[union-attr]
    assert motion.trace("T", {"t_s": [0.0], "lift_m": [0.0]}, shown) is None
    assert motion.stability_map("T", None, shown) is None


def test_envelope_keeps_every_extreme() -> None:
    times = [0.001 * i for i in range(1000)]
    values = [0.0] * 1000
    values[377], values[802] = 5.0, -3.0
    parts = motion.envelope(times, values, 40)
    assert (
        35 <= len(parts) <= 42 and max(high for _, _, high in parts) == 5.0 and min(low for _, low, _ in parts) == -3.0
    )
    assert parts[0][0] == times[0] and parts[-1][0] == times[-1]


def test_turning_points_ignore_small_ripples() -> None:
    wave = [math.sin(2 * math.pi * 5 * i / 500) + 0.001 * math.sin(2 * math.pi * 150 * i / 500) for i in range(500)]
    assert len(motion.turns(wave)) == 10  # five periods, two turns each


def test_contours_pass_where_the_table_does() -> None:
    """p = x/4 on a 5 x 3 grid passes 0.5 at x = 2, at every y; a plane in both passes on x + y = 2."""
    xs, ys = [0.0, 1.0, 2.5, 3.0, 4.0], [0.0, 1.0, 2.0]
    lines = motion.contour(xs, ys, [[x / 4 for x in xs]] * 3, 0.5)
    assert len(lines) == 2 and all(point[0] == pytest.approx(2.0) for line in lines for point in line)
    lines = motion.contour(xs, ys, [[(x + y) / 4 for x in xs] for y in ys], 0.5)
    assert lines and all(x + y == pytest.approx(2.0) for line in lines for x, y in line)
    saddle = motion.contour(
        [0.0, 1.0], [0.0, 1.0], [[1.0, 0.0], [0.0, 1.0]], 0.4
    )  # the middle is high: the low corners are cut off
    assert len(saddle) == 2 and all(abs((a[0] - b[0]) * (a[1] - b[1])) == pytest.approx(0.16) for a, b in saddle)
    assert motion.contour(xs, ys, [[None] * 5] * 3, 0.5) == []


def test_cells_meet_halfway_between_points() -> None:
    assert motion.edges([1.0, 2.0, 4.0]) == [0.5, 1.5, 3.0, 5.0]
    assert motion.edges([0.1, 1.0]) == pytest.approx([0.0, 0.55, 1.45])
    assert motion.edges([1.0, 4.0, 16.0], True) == pytest.approx([0.5, 2.0, 8.0, 32.0])
    assert motion.round_values(0.3, 12.0) == [0.5, 1.0, 2.0, 5.0, 10.0]


# --- Leakage and money ------------------------------------------------------------------------------------------------


def test_leakage_has_a_row_for_each_valve_and_basis(workbook: Any) -> None:
    rows = [[cell.value for cell in row] for row in workbook["Leakage"].iter_rows()]
    titles = {title: at for at, title in enumerate(rows[0])}
    assert len(rows) == 1 + 2 * 7 + 1  # the second valve has none; the last row is the total
    applies = [row for row in rows[1:] if row[titles["Applies"]] == "yes"]
    assert [row[titles["Leak middle, kg/h"]] for row in applies] == pytest.approx([8e-6 * 3600] * 2)
    assert (
        applies[0][titles["CO2 equivalent through the seat middle, kg a year"]] == 7510
        and rows[1][titles["Product lost middle, kg a year"]] is None
    )
    measured = next(row for row in rows if row[titles["Basis"]] == "measured")
    assert measured[titles["Leak middle, kg/h"]] is None


def test_the_leakage_sheet_the_summary_and_its_rows_come_to_one_total(study: sample.Study, workbook: Any) -> None:
    rows = [[cell.value for cell in row] for row in workbook["Leakage"].iter_rows()]
    titles = {title: at for at, title in enumerate(rows[0])}
    leak = brief.tally(record.full() for record in study.records)
    assert str(rows[-1][titles["Tag"]]) == "All valves (2 with an estimate)"
    for words_of, key in (("in all low", "low"), ("in all middle", "mid"), ("in all high", "high"), ("through the seat middle", "seat"),
                          ("beside the seat middle", "beside")):  # fmt: skip
        column = titles[f"CO2 equivalent {words_of}, kg a year"]
        assert rows[-1][column] == pytest.approx(leak[key])
        assert sum(row[column] or 0.0 for row in rows[1:-1]) == pytest.approx(leak[key])
    assert leak["mid"] == pytest.approx(
        2 * (7510 + 1)
    )  # two valves of the sample leak alike, 7510 kg through the seat and 1 kg beside it
    said = "".join(block.text for block in brief._carbon(leak) if isinstance(block, Prose))
    assert "15.02 t CO2 equivalent" in said and "15.02 t through the seats and 0.002 t beside" in said


def test_the_section_says_what_leaks_and_what_it_costs(read: Reader, paper_text: str) -> None:
    said = "".join(read.text).replace("\u00a0", " ")
    for text in (said, paper_text):
        assert (
            text.count("What it leaks") == 2
            and "CO2 equivalent of a year: 7 510 (0 to 9 000) kg, and 1 (0 to 2) kg beside the seat." in text
        )
        assert "net present value of −680 (−900 to 55) USD" in text and "Probability that it pays: 12 %." in text
        assert "Break-even leak 3.6 kg/h: pays where it leaks more than this." in text  # 1e-3 kg/s x 3600
        assert "Break-even operating gain 273 USD a year (a rise of 0.2 bar): has to be worth this." in text
        assert "outage in words (not computed: hours unknown)" in text
    assert "Residual in words0−301" in said and "Total, middle9701 649" in said and "Total, P901 3332 222" in said
    assert f"{sample.SCRIPT_TEXT} 4" in said and f"{sample.SCRIPT_TEXT} 5USD" not in said  # five bars


def test_studies_without_leakage_and_money_print_as_before() -> None:
    import openpyxl

    study = sample.study(3)
    for record in study.records:
        for key in ("leakage", "money"):
            record._valve.pop(key)
        for remedy in record._valve["remedies"]:
            remedy.pop("life_cycle", None)
    text = html.render(build.build(study))
    assert "What it leaks" not in text and "What it costs over its life" not in text and "Net present value" not in text
    book = openpyxl.load_workbook(io.BytesIO(xlsx.render(study)))
    assert "Money" not in book.sheetnames and book["Leakage"].max_row == 1


def test_accounts_with_holes_still_print() -> None:
    study = sample.study(1)
    valve = study.records[0]._valve
    valve["leakage"] = {"bases": [{"basis": "gap"}], "basis": None, "product_kg_a": None, "co2e_kg_a": None}
    valve["money"] |= {"parts": [{"name": "capital", "title": "t", "yearly": [5.0, None], "tasks": []}], "keep_parts": None, "tornado": None,
                       "keep_total": None, "break_even_leak_kg_s": None, "break_even_operating_gain": None}  # fmt: skip
    assert "What it leaks" in html.render(build.build(study)) and pdf.render(build.build(study)).startswith(b"%PDF")
    assert xlsx.render(study).startswith(b"PK")


# --- Pictures ------------------------------------------------------------------------------------------------------


def motion_specs(study: sample.Study) -> list[dict[str, Any]]:
    shown, found = words.shown(study.head), study.records[0].full()["chatter"]
    return [
        motion.map_spec(found["map"], shown),
        *(motion.trace_spec(line, shown, 1.1e6, 0.0125, 57.3)[0] for line in found["traces"]),
    ]


def test_vega_specs_keep_to_the_schema() -> None:
    import altair

    study = sample.study(12)
    rows = [record.summary for record in study.records]
    many = [dict(rows[0], rank=rank) for rank in range(1, 900)]
    specs = [
        figures.trouble_spec(study.head, rows), figures.trouble_spec(study.head, many), figures.causes_spec(study.head["causes"]),
        figures.use_spec(figures.limits(study.head["plan"])), figures.curve_spec(study.head["plan"]), *motion_specs(study),
    ]  # fmt: skip
    for spec in specs:
        altair.Chart.from_dict(spec, validate=True)
        assert figures.svg(spec) == figures.svg(spec)
        assert "url" not in spec.get("data", {})


def test_ladder_labels_keep_apart_and_marks_keep_to_scale() -> None:
    shown = words.shown(sample.study(1).head)
    close = [
        {"name": f"rung {i}", "pressure_pa": 1.5e6 + 10.0 * (i % 3) + 1e5 * (i == 8), "rests_on": "read"}
        for i in range(9)
    ]
    figure = drawing.ladder("T", close, shown)
    assert figure is not None
    labels = [float(y) for y in re.findall(r'<text x="100\.0" y="([\d.]+)"[^>]*font-weight="bold"', figure.svg)]
    assert len(labels) == 9 and min(b - a for a, b in itertools.pairwise(labels)) >= 32.9
    height = float(re.search(r'height="(\d+)"', figure.svg).group(1))  # type: ignore[union-attr]
    assert max(labels) + 15 <= height
    marks = [float(y) for y in re.findall(r'<circle cx="34" cy="([\d.]+)"', figure.svg)]
    assert marks[0] == pytest.approx(26.0) and marks[-1] == pytest.approx(height - 26.0)


def test_apart_moves_labels_no_more_than_it_must() -> None:
    assert drawing.apart([10, 50, 90], 20, 0, 100) == [10, 50, 90]
    assert drawing.apart([50, 50], 20, 0, 100) == [50, 70]
    assert drawing.apart([95, 99], 20, 0, 100) == [80, 100]


@pytest.mark.parametrize("picture", ["trouble", "causes", "use", "curve", "costs"])
def test_pictures_use_generic_fonts_and_no_address(picture: str) -> None:
    study = sample.study(4)
    shown, valve = words.shown(study.head), study.records[0].full()
    made = {
        "trouble": lambda: figures.trouble(study.head, [record.summary for record in study.records]),
        "causes": lambda: figures.causes(study.head), "use": lambda: figures.use(figures.limits(study.head["plan"]), shown),
        "curve": lambda: figures.curve(study.head["plan"], shown),
        "costs": lambda: drawing.cost_ranges("T", valve["remedies"], valve["recommended"], shown),
    }[picture]()  # fmt: skip
    assert made is not None
    assert set(re.findall(r'font-family="([^"]*)"', made.svg)) == {"sans-serif"}
    assert not re.search(r'(href|src)="(?!#)', made.svg)


def test_a_valve_nothing_could_be_checked_of_never_reads_as_passed() -> None:
    assert words.nothing_found("sound", ()) == "Every check made here was passed with margin."
    said = words.nothing_found("unproven", ("the calculation failed inside",))
    assert "passed" not in said and "the calculation failed inside" in said


# --- What a verdict rests on, in print -------------------------------------------------------------------------------


def _finding(**given: Any) -> dict[str, Any]:
    return {
        "code": "chatter",
        "outcome": "fail",
        "severity": "stop",
        "confidence": "estimate",
        "rests_on": [],
        "words": "It slams shut.",
        **given,
    }


def test_a_predicted_mechanism_is_said_to_be_predicted_and_a_reported_one_is_not() -> None:
    valve = {
        "verdict": "misfit",
        "cause": "It opens and shuts.",
        "cause_code": "cycling",
        "findings": [_finding(code="cycling")],
    }
    assert evidence.headline(valve) == "The model predicts: it opens and shuts."
    assert evidence.words(valve["findings"][0]) == "The model predicts: it slams shut."  # type: ignore[index]
    assert evidence.reworded(["cycling: It slams shut.", "leak reading 900 ppm"], valve) == [
        "cycling: The model predicts: it slams shut.", "leak reading 900 ppm"]  # fmt: skip
    reported = {**valve, "findings": [_finding(code="cycling", rests_on=["history"], confidence="")]}
    assert evidence.headline(reported) == "It opens and shuts."
    assert (
        evidence.headline({**valve, "cause_code": "fouling", "findings": [_finding(code="stuck")]})
        == "It opens and shuts."
    )
    assert (
        evidence.headline({**valve, "cause": "The model predicts that it cycles."})
        == "The model predicts that it cycles."
    )


def test_the_weakest_source_of_a_verdict_is_named() -> None:
    both = {
        "verdict": "misfit",
        "findings": [
            _finding(code="inlet-loss", confidence="memory-hi"),
            _finding(),
            _finding(code="leaks", outcome="open"),
        ],
    }
    assert evidence.rests(both) == "estimate"
    assert evidence.all_sources(both) == "estimate (chatter); from memory, verify (inlet loss)"
    assert (
        evidence.rests({"verdict": "misfit", "findings": [_finding(confidence="", rests_on=["history"])]}) == "history"
    )
    assert (
        evidence.rests({"verdict": "unproven", "findings": [_finding(outcome="open", confidence="")]}) == "data missing"
    )
    assert (
        evidence.rests(
            {"verdict": "sound", "findings": [], "passed": [_finding(outcome="pass", value=1.0, confidence="seen")]}
        )
        == "seen in its source"
    )


def test_why_a_valve_is_not_in_the_plan_is_one_word_and_another_remedy_is_named() -> None:
    row = {"tag": "A", "verdict": "misfit", "recommended": "bellows", "plan_reason": "budget: spent on others"}
    assert evidence.in_plan({**row, "in_plan": True}) == "yes"
    assert evidence.in_plan(row) == "no: budget"
    assert (
        evidence.in_plan({**row, "plan_reason": "budget and crew hours together: neither alone"})
        == "no: budget and crew hours"
    )
    assert evidence.in_plan({**row, "recommended": "measure-first"}) == "no: ask first"
    plan = {"chosen": [], "left_out": [{"tag": "A", "remedy": "soft-seat", "title": "Soft seat"}]}
    assert (
        evidence.other_remedies(plan, [row])
        == "The plan reckons with another remedy than the recommended one at A: Soft seat."
    )
    assert evidence.other_remedies(plan, [{**row, "recommended": "soft-seat"}]) == ""


def test_a_sound_verdict_can_be_checked_on_the_page_on_paper_and_in_the_workbook() -> None:
    import openpyxl

    study = sample.study(3)
    valve = study.records[2]._valve
    check = _finding(code="inlet-loss", outcome="pass", severity="note", value=0.02, limit=0.03, margin=1 / 3, unit="", rule="3 % of set", confidence="memory-md",
                     words="2 % of set at rated flow", case="")  # fmt: skip
    pressure = {
        **check,
        "code": "chatter",
        "value": 198845.81,
        "limit": 56000.0,
        "unit": "Pa",
        "confidence": "estimate",
        "margin": -2.55,
    }
    valve |= {"verdict": "sound", "findings": [], "passed": [check, pressure], "reasons": []}
    study.records[2].summary = {**study.records[2].summary, "verdict": "sound"}
    document = build.build(study)
    for text in (html.render(document), text_of(pdf.render(document))):
        assert "Sound valves and the checks they passed" in text and "inlet loss 2 %, limit 3 %" in text
        assert "estimate" in text
    assert evidence.sound_row(valve, words.shown(study.head))[2] == "estimate"
    rows = [
        [cell.value for cell in row]
        for row in openpyxl.load_workbook(io.BytesIO(xlsx.render(study)))["Passed"].iter_rows()
    ]
    titles = {title: at for at, title in enumerate(rows[0])}
    mine = [row for row in rows if row[titles["Tag"]] == valve["tag"]]
    assert [row[titles["Unit"]] for row in mine] == ["%", "bar"]
    assert [row[titles["Value (unit beside)"]] for row in mine] == pytest.approx(
        [2.0, 1.9884581]
    )  # 198845.81 Pa = 1.9884581 bar


def test_where_data_are_missing_the_sheet_asks_and_sells_nothing() -> None:
    study = sample.study(1)
    valve = copy.deepcopy(study.records[0].full())
    first = {
        **valve["remedies"][0],
        "name": "measure-first",
        "title": "Measure first",
        "condition": "state the phase; read the class",
        "question": "",
    }
    valve |= {
        "verdict": "unproven",
        "recommended": "measure-first",
        "remedies": [first],
        "plan_reason": "Measure first: state the phase",
    }
    said = html.render(sheet.document(valve, study.head))
    assert "No remedy yet: ask first" in said and "1. State the phase." in said and "2. Read the class." in said
    assert "Whole-life cost of keeping the valve as it is: " in said
    for text in ("Probability that it pays", "Break-even", "Not in the plan", "Recommended:"):
        assert text not in said


def test_pressures_of_the_history_are_printed_in_the_unit_of_the_study() -> None:
    shown = words.shown(sample.study(1).head)
    assert sheet._event({"event": "pop", "value": 1_291_325.0}, shown) == "11.9 barg"  # (1291325 - 101325) / 1e5
    assert sheet._event({"event": "leak", "value": 2300.0}, shown) == "2300"
    assert shown.rates("counted with 1.83e-07 kg/s") == "counted with 0.000659 kg/h"  # x 3600


def test_words_of_the_program_are_not_printed() -> None:
    assert words.in_print("practice, memory-md") == "practice, from memory, verify"
    assert (
        words.in_print("a late_cure_factor of 2 (Basis: misfit_cost)") == "a late cure factor of 2 (Basis: misfit_cost)"
    )
    assert (
        words.in_print("Marched in time; cases marched, about every 1.6e+02 s")
        == "Simulated in time; cases simulated in time, about every 160 s"
    )
    assert "relaxation" not in words.in_print("each solved as its linear relaxation")


def test_a_negative_net_value_and_a_cost_above_the_budget_are_said(study: sample.Study) -> None:
    shown = words.shown(study.head)
    plan = {
        "value": -230_000.0,
        "budget": 300_000.0,
        "totals": {"count": 2, "spent_high": 583_000.0, "stop_findings_cured": 22},
    }
    assert "bought to cure 22 stop findings, not for a return" in brief.negative_value(plan, shown)
    assert brief.over_budget(plan, shown).replace("\u00a0", " ") == "OVER BUDGET at the high end, by 283 000 USD"
    assert (
        brief.negative_value({**plan, "value": 5.0}, shown) == ""
        and brief.over_budget({**plan, "budget": 6e5}, shown) == ""
    )


def test_first_and_last_rows_of_a_table_on_paper_keep_together() -> None:
    table = TableBlock("t", (Column("a"),), tuple((str(at),) for at in range(10)))
    assert pdf._ties(table) == [3, 1, 1, 1, 1, 3]
    assert (
        pdf._ties(TableBlock("t", (Column("a"),), table.rows[:5])) == [5]
        and pdf._ties(TableBlock("t", (Column("a"),), (("x" * 3000,),) * 4)) == []
    )
