"""The Document as one offline HTML file: no request leaves it, every word from outside is escaped."""

from __future__ import annotations

import base64
import hashlib
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from html import escape
from importlib import resources

from quietseat.report.document import (
    Beside,
    Block,
    Bullets,
    Callout,
    Cell,
    Column,
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
from quietseat.report.words import SHAPES, clean, in_print
from quietseat.typeset import mathml, mathml_symbol

_STACK_ROWS = 30  # a longer table scrolls in its own box on a phone; a shorter one with sentences stacks


def render(document: Document) -> str:
    """The whole page as text."""
    style, script = _packaged("page.css"), _packaged("page.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"
    body = "".join(_Page().blocks(document.blocks))
    return clean(
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<title>{escape(document.title)}</title><style>{style}</style></head>\n<body><div class="sheet"><header>'
        f"<h1>{escape(document.title)}</h1><p>{escape(document.subtitle)}</p>"
        f'<p class="small">Hash {escape(document.mark)}</p></header>{_contents(document)}<main>{body}</main></div>'
        f"<script>{script}</script></body></html>\n"
    )


def fragment(blocks: Iterable[Block]) -> str:
    """Blocks as a piece of another page, such as one of the workspace; every word from outside is escaped."""
    return clean("".join(_Page().blocks(blocks)))


def _packaged(name: str) -> str:
    return resources.files("quietseat.report").joinpath(name).read_text(encoding="utf-8")


def _contents(document: Document) -> str:
    headings = [head for head in document.headings("page") if head.anchor]
    links = "".join(f'<li><a href="#{head.anchor}">{_say(head.text)}</a></li>' for head in headings if head.level == 2)
    valves = [head for head in headings if head.level == 3 and head.verdict]
    tags = "".join(f'<li><a href="#{head.anchor}">{_say(head.text)}</a></li>' for head in valves)
    more = (
        f"<details><summary>The worst valves, one by one ({len(valves)})</summary><ul>{tags}</ul></details>"
        if valves
        else ""
    )
    return f'<nav aria-label="Contents"><p class="label">Contents</p><ul>{links}</ul>{more}</nav>'


def _say(text: str, quote: bool = True) -> str:
    """Words of a block in plain words, escaped."""
    return escape(in_print(text), quote)


def _verdict(word: str, text: str) -> str:
    shape = SHAPES.get(word, "")
    return f'<span class="v v-{escape(word)}"><i aria-hidden="true">{shape}</i> {_say(text)}</span>'


class _Page:
    """Prints blocks; keeps the count of figures so that every id inside a drawing is its own."""

    def __init__(self) -> None:
        self.figures = 0
        self.named: Counter[str] = Counter()  # tables of one caption get regions of different names
        self.printers: dict[type, Callable[..., str]] = {
            Heading: self.heading, Prose: self.prose, Bullets: self.bullets, Pairs: self.pairs, TableBlock: self.table,
            Callout: self.callout, Figure: self.figure, Steps: self.steps, Fold: self.fold, SignedBy: self.signed,
            Only: self.only, OnePage: lambda block: "".join(self.blocks(block.blocks)), Beside: self.beside,
            NewPage: lambda block: "", Contents: lambda block: "",
        }  # fmt: skip

    def blocks(self, blocks: Iterable[Block]) -> Iterable[str]:
        for block in blocks:
            yield self.printers[type(block)](block)
            yield "\n"

    def heading(self, block: Heading) -> str:
        anchor = f' id="{escape(block.anchor)}"' if block.anchor else ""
        shape = (
            f'<span class="v v-{escape(block.verdict)}" aria-hidden="true">{SHAPES.get(block.verdict, "")}</span> '
            if block.verdict
            else ""
        )
        return f"<h{block.level}{anchor}>{shape}{_say(block.text)}</h{block.level}>"

    def prose(self, block: Prose) -> str:
        return f'<p class="{block.tone}">{_say(block.text)}</p>' if block.tone else f"<p>{_say(block.text)}</p>"

    def bullets(self, block: Bullets) -> str:
        return "<ul>" + "".join(f"<li>{_say(item)}</li>" for item in block.items) + "</ul>"

    def pairs(self, block: Pairs) -> str:
        return "<dl>" + "".join(f"<dt>{_say(name)}</dt><dd>{_cell(cell)}</dd>" for name, cell in block.items) + "</dl>"

    def callout(self, block: Callout) -> str:
        shape = (
            f'<span class="v v-{block.tone}" aria-hidden="true">{SHAPES[block.tone]}</span> '
            if block.tone in SHAPES
            else ""
        )
        lines = "".join(f"<p>{_say(line)}</p>" for line in block.text)
        return f'<div class="call call-{block.tone}"><p class="what">{shape}{_say(block.title)}</p>{lines}</div>'

    def figure(self, block: Figure) -> str:
        self.figures += 1
        opening = f'<svg role="img" aria-label="{_say(block.alt)}"'
        drawn = _inline(in_print(block.svg), f"f{self.figures}-").replace("<svg", opening, 1)
        return f"<figure>{drawn}<figcaption>{_say(block.caption)}</figcaption></figure>"

    def table(self, block: TableBlock) -> str:
        stack = (
            block.kind != "fleet"
            and len(block.columns) > 3
            and len(block.rows) <= _STACK_ROWS
            and any(column.kind == "wide" for column in block.columns)
        )

        def role(name: str) -> str:
            return f' role="{name}"' if stack else ""

        head = "".join(
            f'<th scope="col"{role("columnheader")}{_class(column, True)}>{_say(column.title)}</th>'
            for column in block.columns
        )
        labels = [f' data-label="{_say(column.title)}"{role("cell")}' if stack else "" for column in block.columns]
        openings = [f"<td{_class(column, False)}{label}>" for column, label in zip(block.columns, labels, strict=True)]
        line = f"<tr{role('row')}>"
        body = "\n".join(line + _cells(openings, row) + "</tr>" for row in block.rows)
        fleet = " data-fleet" if block.kind == "fleet" else ""
        note = f'<p class="note">{_say(block.note)}</p>' if block.note else ""
        self.named[block.caption] += 1
        again = f", {self.named[block.caption]}" if self.named[block.caption] > 1 else ""
        groups, kind = role("rowgroup"), ' class="stack"' if stack else ""
        return (
            f'<div class="block"><div class="scroll" tabindex="0" role="region" aria-label="{_say(block.caption)}{again}"{fleet}>'
            f"<table{kind}{role('table')}><caption>{_say(block.caption)}</caption>"
            f"<thead{groups}><tr{role('row')}>{head}</tr></thead>"
            f"<tbody{groups}>{body}</tbody></table></div>{note}</div>"
        )

    def steps(self, block: Steps) -> str:
        title = f"<h4>{_say(block.title)}</h4>" if block.title else ""
        return title + "".join(_step(line) for line in block.lines)

    def fold(self, block: Fold) -> str:
        return f"<details><summary>{_say(block.title)}</summary>{''.join(self.blocks(block.blocks))}</details>"

    def signed(self, block: SignedBy) -> str:
        return (
            '<div class="signs">'
            + "".join(f"<div>{_say(role)}: name, date, signature</div>" for role in block.roles)
            + "</div>"
        )

    def beside(self, block: Beside) -> str:
        return f'<div class="beside"><div>{"".join(self.blocks(block.left))}</div><div>{"".join(self.blocks(block.right))}</div></div>'

    def only(self, block: Only) -> str:
        return "".join(self.blocks(block.blocks)) if block.medium == "page" else ""


def _class(column: Column, head: bool) -> str:
    short = {"number": "n", "wide": "w"}.get(column.kind, "" if head else "t")
    return f' class="{short}"' if short else ""


def _cells(openings: Sequence[str], row: Sequence[str | Cell]) -> str:
    return "".join(
        f"{opening}{_say(cell, quote=False) if isinstance(cell, str) else _cell(cell)}</td>"
        for opening, cell in zip(openings, row)
    )


def _cell(cell: Cell) -> str:
    text = _verdict(cell.verdict, cell.text) if cell.verdict else _say(cell.text)
    return f'<a href="#{escape(cell.link)}">{text}</a>' if cell.link else text


def _step(line: StepLine) -> str:
    """A formula: name, symbol = expression, = values = result. A given value or a choice in words: one short line."""
    foot = f'<p class="small">{_say(line.source)}</p>' if line.source else ""
    name = _say(line.name)
    if not line.value:
        return f'<div class="step"><p>{name}: <b>{escape(line.substituted or line.expression or "no value")}</b></p>{foot}</div>'
    symbol = mathml_symbol(line.symbol)
    if not line.expression:
        return f'<div class="step"><p>{_math(f"{symbol}<mo>=</mo>{_value(line)}")} &ensp;{name}</p>{foot}</div>'
    first = _math(f"{symbol}<mo>=</mo>{mathml(line.expression)}")
    second = _math(f"<mo>=</mo>{mathml(line.substituted)}<mo>=</mo>{_value(line)}")
    return (
        f'<div class="step"><p>{name}</p><div class="maths">{first}</div><div class="maths">{second}</div>{foot}</div>'
    )


@lru_cache(maxsize=512)
def _unit(unit: str) -> str:
    return f'<mspace width="0.25em"></mspace><mtext>{escape(unit)}</mtext>' if unit else ""


def _value(line: StepLine) -> str:
    return mathml(line.value) + _unit(line.unit)


def _math(inner: str) -> str:
    return f'<math displaystyle="true"><mrow>{inner}</mrow></math>'


def _inline(svg: str, prefix: str) -> str:
    """An SVG for use inside the page: no name spaces needed, ids made its own."""
    start = svg.index("<svg")
    text = re.sub(
        r'\s(?:xmlns(?::\w+)?="[^"]*"|role="graphics-[^"]*"|aria-roledescription="[^"]*")', "", svg[start:]
    )  # the figure as a whole has its words
    if ' id="' in text:
        text = re.sub(r'(\sid="|url\(#|href="#)', lambda found: found.group(1) + prefix, text)
    return text
