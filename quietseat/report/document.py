"""The Document: frozen blocks which the page, the PDF and the web pages print alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

PAGE_ROWS, PAPER_ROWS = 500, 100  # of a table that may be long


@dataclass(frozen=True, slots=True)
class Cell:
    """One table cell. verdict adds the verdict's shape; link names an anchor; sort overrides the text in sorting."""

    text: str
    verdict: str = ""
    link: str = ""
    sort: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """A table column; the unit stands in the title. kind: text, wide (wraps), number."""

    title: str
    kind: str = "text"


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; levels 2 to 4 (1 is the title)."""

    level: int
    text: str
    anchor: str = ""
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class Prose:
    """A paragraph. tone: "", lead, small."""

    text: str
    tone: str = ""


@dataclass(frozen=True, slots=True)
class Bullets:
    """A list of sentences."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pairs:
    """Names and values."""

    items: tuple[tuple[str, Cell], ...]


@dataclass(frozen=True, slots=True)
class TableBlock:
    """A table. kind fleet = may be searched and sorted on the page; size small = many narrow columns."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str | Cell, ...], ...]
    kind: str = "plain"
    note: str = ""


@dataclass(frozen=True, slots=True)
class Callout:
    """Words that must be seen. tone: caution, cure, or a verdict."""

    tone: str
    title: str
    text: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Figure:
    """A picture as SVG text, with the words that stand for it."""

    svg: str
    alt: str
    caption: str


@dataclass(frozen=True, slots=True)
class StepLine:
    """One step: its expression texts are typeset by the printer, everything else is plain text."""

    symbol: str
    name: str
    expression: str
    substituted: str
    value: str
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps of one group, in order."""

    title: str
    lines: tuple[StepLine, ...]


@dataclass(frozen=True, slots=True)
class Fold:
    """Blocks that start closed on the page and stand open on paper; quiet = paper does not print the title."""

    title: str
    blocks: tuple[Block, ...]
    quiet: bool = False


@dataclass(frozen=True, slots=True)
class SignedBy:
    """Blank lines for names, dates and signatures."""

    roles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Only:
    """Blocks for one medium: page or paper."""

    medium: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class NewPage:
    """Paper starts a new page here."""


@dataclass(frozen=True, slots=True)
class OnePage:
    """Blocks that fill one page of paper, set smaller where they would not fit; on the page nothing special."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Contents:
    """Paper prints the contents here, on pages of its own; the page has them at its side."""


@dataclass(frozen=True, slots=True)
class Beside:
    """Two groups of blocks side by side; a narrow screen puts the right one below."""

    left: tuple[Block, ...]
    right: tuple[Block, ...]


Block = (
    Heading | Prose | Bullets | Pairs | TableBlock | Callout | Figure | Steps | Fold | SignedBy | Only | NewPage
    | OnePage | Contents | Beside
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Document:
    """A whole document; `mark` is the short hash printed on every page."""

    title: str
    subtitle: str
    mark: str
    blocks: tuple[Block, ...]

    def headings(self, medium: str) -> list[Heading]:
        """The headings that one medium, page or paper, prints outside folds, in order."""
        return list(_headings(self.blocks, medium))


def _headings(blocks: Iterable[Block], medium: str) -> Iterator[Heading]:
    for block in blocks:
        if isinstance(block, Heading):
            yield block
        elif isinstance(block, OnePage) or (isinstance(block, Only) and block.medium == medium):
            yield from _headings(block.blocks, medium)


def long_table(
    caption: str, columns: tuple[Column, ...], rows: Sequence[tuple[str | Cell, ...]], where: str, note: str = ""
) -> tuple[Block, ...]:
    """A table that may be long: its first rows on the page, fewer of them on paper, and where the rest is."""
    if len(rows) <= PAPER_ROWS:
        return (TableBlock(caption, columns, tuple(rows), note=note),)
    return tuple(
        Only(
            medium,
            (TableBlock(caption, columns, tuple(rows[:most]), note=f"{note} {rest(len(rows), most, where)}".strip()),),
        )
        for medium, most in (("page", PAGE_ROWS), ("paper", PAPER_ROWS))
    )


def rest(found: int, most: int, where: str) -> str:
    """Where the rows are that a table leaves out; nothing if it leaves none out."""
    return f"{most} of {found} are shown; all of them are in {where}." if found > most else ""
