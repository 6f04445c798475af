"""The Document as a PDF by typst: data go in as JSON, formulas as typeset maths, pictures with words for them.

Tagged for screen readers (PDF/UA-1) and kept for the archive (PDF/A-2a). The bytes depend on the study alone: the document date is fixed and only the fonts inside typst are used, unless a
character of the register is in none of them.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from importlib import resources
from itertools import pairwise
from typing import Any

from quietseat.report.document import (
    Beside,
    Block,
    Bullets,
    Callout,
    Cell,
    Contents,
    Document,
    Figure,
    Fold,
    Heading,
    NewPage,
    OnePage,
    Only,
    Pairs,
    Prose,
    SignedBy,
    StepLine,
    Steps,
    TableBlock,
)  # fmt: skip
from quietseat.report.words import clean, in_print
from quietseat.typeset import name_parts, typst, typst_string, typst_symbol

_WORD = re.compile(r"\S{17,}")
_RARE = re.compile("[^\x00-\u2bff\ufb00-\ufb06\ufffd]")  # scripts and signs outside the fonts that typst carries
_RAISED = str.maketrans("0123456789-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁻")
_JOINT = re.compile(r"([^\s_/.,;:&=-]{12}|[^\s]{3,11}[_/.,;:&=-])")
_TOGETHER, _MOST_TOGETHER = 3, 2400  # rows kept on one page; characters of them that surely fit on it
_KEPT_WITH, _MOST_STICKY = (
    ("table", "pairs", "bullets", "fold"),
    500,
)  # what a paragraph of so many characters stays with
_LONG = 84  # an expression of more characters with a fraction in it may be wider than the page
_STANDARDS = ("ua-1", "a-2a")


def render(document: Document, standards: Sequence[str] = _STANDARDS) -> bytes:
    """The PDF as bytes.

    standards: PDF standards the file keeps to. When a character is in no font of typst, the fonts of the machine are
    tried, then the character is printed by its code; at last the standards are dropped rather than the file.
    """
    import typst as engine

    make: Any = engine.compile  # its stub does not know that the input may be a set of files
    files = sources(document)
    coded = {name: _RARE.sub(_code_point, content.decode()).encode() for name, content in files.items()}
    keep = list(standards)
    for tried, kept, own_fonts in ((files, keep, True), (files, keep, False), (coded, keep, True)):
        try:
            return bytes(make(tried, format="pdf", pdf_standards=kept, ignore_system_fonts=own_fonts))
        except engine.TypstError:
            continue
    return bytes(make(coded, format="pdf", ignore_system_fonts=True))


def _code_point(found: re.Match[str]) -> str:
    return f"(U+{ord(found.group()):04X})"


def sources(document: Document) -> dict[str, bytes]:
    """The files typst compiles: template, data, maths and pictures."""
    paper = _Paper()
    blocks = paper.blocks(document.blocks)
    first = blocks[0]["blocks"] if blocks and blocks[0]["k"] == "onepage" else blocks
    first.insert(0, {"k": "title"})
    data = {
        "title": clean(document.title),
        "subtitle": clean(document.subtitle),
        "mark": document.mark,
        "cut": _cut_at(document.title, 90),
        "blocks": blocks,
    }
    lines = [f"  {formula}," for formula in paper.maths]
    template = resources.files("quietseat.report").joinpath("study.typ").read_bytes()
    return {
        "main.typ": template, "study.json": json.dumps(data, ensure_ascii=False, sort_keys=True).encode(),
        "maths.typ": "\n".join(["#let maths = (", *lines, ")", ""]).encode(), **paper.pictures,
    }  # fmt: skip


def _cut_at(text: str, most: int) -> int:
    """Bytes of the first characters of a text, for typst's byte-wise slice."""
    return len(text[:most].encode())


class _Paper:
    """Turns blocks into JSON for the template; collects maths and pictures."""

    def __init__(self) -> None:
        self.maths: list[str] = []
        self.known: dict[str, int] = {}
        self.pictures: dict[str, bytes] = {}

    def blocks(self, blocks: Iterable[Block]) -> list[dict[str, Any]]:
        """The blocks that belong on paper."""
        out: list[dict[str, Any]] = []
        for block in blocks:
            if isinstance(block, Only):
                out += self.blocks(block.blocks) if block.medium == "paper" else []
            elif isinstance(block, Fold) and block.quiet:
                out += self.blocks(block.blocks)
            else:
                out.append(self.block(block))
        for one, after in pairwise(out):
            if one["k"] == "prose" and after["k"] in _KEPT_WITH:
                one["sticky"] = len(one["text"]) < _MOST_STICKY
        return out

    def block(self, block: Block) -> dict[str, Any]:
        """One block."""
        match block:
            case Heading():
                # the title is the document's own, so a level-2 heading is the first level on paper
                return {
                    "k": "heading",
                    "level": block.level - 1,
                    "text": _soft(block.text),
                    "anchor": block.anchor,
                    "verdict": block.verdict,
                }
            case Prose():
                return {"k": "prose", "text": _soft(block.text), "tone": block.tone, "sticky": False}
            case Bullets():
                return {"k": "bullets", "items": [_soft(item) for item in block.items]}
            case Pairs():
                long = sum(len(cell.text) for _, cell in block.items) > _MOST_TOGETHER
                return {
                    "k": "pairs",
                    "items": [[_soft(name), _cell(cell)] for name, cell in block.items],
                    "breakable": long,
                }
            case Callout():
                return {
                    "k": "callout",
                    "tone": block.tone,
                    "title": _soft(block.title),
                    "text": [_soft(line) for line in block.text],
                    "breakable": sum(map(len, block.text)) > _MOST_TOGETHER,
                }
            case TableBlock():
                return _table(block)
            case Figure():
                return self.figure(block)
            case Steps():
                return {"k": "steps", "title": _soft(block.title), "lines": [self.step(line) for line in block.lines]}
            case Fold():
                inner = self.blocks(block.blocks)
                if len(inner) == 1 and inner[0]["k"] == "table":
                    inner[0]["caption"] = ""  # the title of the fold says it
                return {"k": "fold", "title": _soft(block.title), "blocks": inner}
            case SignedBy():
                return {"k": "signed", "roles": list(block.roles)}
            case NewPage():
                return {"k": "newpage"}
            case OnePage():
                return {"k": "onepage", "blocks": self.blocks(block.blocks)}
            case Contents():
                return {"k": "contents"}
            case Beside():
                return {"k": "beside", "left": self.blocks(block.left), "right": self.blocks(block.right)}
        raise TypeError(type(block).__name__)

    def figure(self, block: Figure) -> dict[str, Any]:
        """A picture becomes a file of its own; its generic font becomes the one of the text."""
        name = f"figure-{len(self.pictures)}.svg"
        self.pictures[name] = (
            clean(in_print(block.svg)).replace('font-family="sans-serif"', 'font-family="Libertinus Serif"').encode()
        )
        found = re.search(r'<svg[^>]*?\swidth="([\d.]+)', block.svg)
        wide = min(float(found.group(1)) * 0.225, 170.0) if found else 110.0
        return {
            "k": "figure",
            "file": name,
            "alt": clean(in_print(block.alt)),
            "caption": _soft(block.caption),
            "width": round(wide, 1),
        }

    def step(self, line: StepLine) -> dict[str, Any]:
        """Rows of maths, each the number of a formula in maths.typ; a value without a formula is one short row."""
        rows: list[dict[str, Any]] = []
        words, given = "", {"base": "", "below": "", "said": ""}
        end = typst(line.value) + (f" space {typst_string(line.unit)}" if line.unit else "")
        said = f"{line.value} {line.unit}".strip()
        symbol, form, put = typst_symbol(line.symbol), typst(line.expression), typst(line.substituted)
        if not line.value:
            words = line.substituted or line.expression or "no value"
        elif not line.expression:
            base, below = name_parts(line.symbol)
            given = {"base": base, "below": below, "said": f"{_plain_number(line.value)} {line.unit}".strip()}
        elif len(line.expression) + len(line.substituted) < _LONG:
            whole = f"{line.symbol} = {line.expression} = {line.substituted} = {said}"
            rows = [self.formula(f"{symbol} = {form} = {put} = {end}", "", whole)]
        else:
            rows = [
                self.formula(f"{symbol} = {form}", line.expression, f"{line.symbol} = {line.expression}"),
                self.formula(f"= {put} = {end}", line.substituted, f"= {line.substituted} = {said}"),
            ]
        return {"name": _soft(line.name), "source": _soft(line.source), "rows": rows, "words": _soft(words), **given}

    def formula(self, maths: str, text: str, said: str) -> dict[str, Any]:
        """The place of a formula in maths.typ, and whether it may be wider than the page; `said` is read aloud."""
        entry = f"math.equation(alt: {typst_string(said)}, $ {maths} $.body)"
        at = self.known.get(entry)
        if at is None:
            at = self.known[entry] = len(self.maths)
            self.maths.append(entry)
        return {"at": at, "wide": len(text) > _LONG and ("/" in text or "sqrt" in text)}


def _plain_number(text: str) -> str:
    """A printed number for running text: 4.6e-05 becomes 4.6 × 10⁻⁵."""
    digits, found, exponent = text.partition("e")
    return f"{digits} × 10{str(int(exponent)).translate(_RAISED)}" if found else text


def _soft(text: str) -> str:
    """Text with places where a very long word may break."""
    return _WORD.sub(lambda found: _JOINT.sub("\\1\u200b", found.group()), clean(in_print(text)))


def _cell(cell: str | Cell) -> str | dict[str, str]:
    if isinstance(cell, str):
        return _soft(cell)
    if not cell.verdict and not cell.link:
        return _soft(cell.text)
    return {"text": _soft(cell.text), "verdict": cell.verdict, "link": cell.link}


def _table(block: TableBlock) -> dict[str, Any]:
    return {
        "k": "table", "caption": _soft(block.caption), "note": _soft(block.note),
        "columns": [{"title": in_print(column.title), "kind": column.kind} for column in block.columns], "widths": _widths(block),
        "breakable": any(len(cell if isinstance(cell, str) else cell.text) > 1200 for row in block.rows for cell in row),
        "ties": _ties(block), "size": 0.84 if len(block.columns) < 8 else 0.76, "rows": [[_cell(cell) for cell in row] for row in block.rows],
    }  # fmt: skip


def _ties(block: TableBlock) -> list[int]:
    """How many rows stand on one page together, from the top: the first three and the last three; () for a table of few or of long rows."""
    count = len(block.rows)
    if count < 2:
        return []
    lengths = [sum(len(cell if isinstance(cell, str) else cell.text) for cell in row) for row in block.rows]
    groups = [count] if count <= 2 * _TOGETHER - 1 else [_TOGETHER, *([1] * (count - 2 * _TOGETHER)), _TOGETHER]
    ends = (lengths[: groups[0]], lengths[-groups[-1] :])
    return groups if all(sum(end) <= _MOST_TOGETHER for end in ends) else []


def _widths(block: TableBlock) -> list[float]:
    """Shares of the page width by what the columns hold: the longest word must fit, sentences get the rest."""
    shares: list[float] = []
    for index, column in enumerate(block.columns):
        texts = [
            cell if isinstance(cell, str) else f"{cell.text}{'   ' if cell.verdict else ''}"
            for cell in (row[index] for row in block.rows)
        ]
        words = max((len(word) for text in (column.title, *texts) for word in text.split()), default=4)
        longest = max((len(text) for text in texts), default=4)
        average = sum(map(len, texts)) / max(len(texts), 1)
        base = min(max(words, 5), 16) + 1.5
        if column.kind == "number" and longest <= 14:
            base = max(base, longest + 1.0)
        shares.append(round(max(base, min((average + longest) / 2, 90) ** 0.5 * 3.4), 2))
    return shares
