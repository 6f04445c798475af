"""What openpyxl's streaming mode leaves out of a sheet: hidden rows and columns, merged ranges, comments."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from typing import IO


def letter(column: int) -> str:
    """The letters of a column, 0 = A."""
    out = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        out = chr(65 + rest) + out
    return out


def index(letters: str) -> int:
    """The column of its letters, A = 0."""
    out = 0
    for char in letters:
        out = out * 26 + ord(char) - 64
    return out - 1


def _chunks(source: IO[bytes], overlap: int = 4096) -> Iterator[bytes]:
    """A stream in pieces that overlap at a tag border, so that no tag is cut in two."""
    rest = b""
    while piece := source.read(1 << 20):
        piece = rest + piece
        cut = piece.rfind(b"<c ", max(0, len(piece) - overlap))
        cut = cut if cut > 0 else piece.rfind(b"<", max(0, len(piece) - overlap))
        cut = cut if cut > 0 else len(piece)
        yield piece[:cut]
        rest = piece[cut:]
    if rest:
        yield rest


_ROW = re.compile(rb"<(?:\w+:)?row\b([^>]*\bhidden=[\"'](?:1|true)[\"'][^>]*)>")
_COL = re.compile(rb"<(?:\w+:)?col\b([^>]*\bhidden=[\"'](?:1|true)[\"'][^>]*)>")
_MERGE = re.compile(rb"<(?:\w+:)?mergeCell\b[^>]*\bref=[\"']\$?([A-Z]+)\$?(\d+):\$?([A-Z]+)\$?(\d+)[\"']")
_BARE = re.compile(
    rb"<(?:\w+:)?c\b[^>]*\br=[\"']([A-Z]+)(\d+)[\"'][^>]*>\s*<(?:\w+:)?f\b(?:[^>]*/>|[^>]*>[^<]*</(?:\w+:)?f>)"
    rb"\s*(?:<(?:\w+:)?v\s*/>|<(?:\w+:)?v>\s*</(?:\w+:)?v>)?\s*</(?:\w+:)?c>"
)
_WHOLE = {word: re.compile(rb"\b" + word + rb"=[\"'](\d+)[\"']") for word in (b"r", b"min", b"max")}
Extras = tuple[frozenset[int], frozenset[int], tuple[tuple[int, int, int, int], ...], list[tuple[int, int]]]


def extras(archive: zipfile.ZipFile, part: str) -> Extras:
    """Hidden rows and columns, merged ranges and formulas without a result, from the text of the sheet's XML.

    A search in the bytes, not a parse: openpyxl parses the same part, and a second parse doubles the time.
    """
    rows: set[int] = set()
    columns: set[int] = set()
    merges: list[tuple[int, int, int, int]] = []
    bare: list[tuple[int, int]] = []
    if part not in archive.namelist():
        return frozenset(), frozenset(), (), []
    with archive.open(part) as source:
        for text in _chunks(source):
            for found in _ROW.finditer(text) if b"hidden" in text else ():
                if number := _WHOLE[b"r"].search(found[1]):
                    rows.add(int(number[1]))
            for found in _COL.finditer(text) if b"hidden" in text else ():
                first, last = (_WHOLE[word].search(found[1]) for word in (b"min", b"max"))
                if first and last:
                    columns.update(range(int(first[1]) - 1, min(int(last[1]), 16384)))
            for a, b, c, d in _MERGE.findall(text) if b"mergeCell" in text else ():
                merges.append((int(b), index(a.decode()), int(d), index(c.decode())))
            if b"<f" in text or b":f" in text:
                bare.extend((int(b), index(a.decode())) for a, b in _BARE.findall(text))
    return frozenset(rows), frozenset(columns), tuple(merges), bare


def comments(archive: zipfile.ZipFile, part: str) -> dict[tuple[int, int], str]:
    """Cell comments, old and threaded, found through the sheet's relations."""
    from xml.etree import ElementTree

    folder, _, leaf = part.rpartition("/")
    relations = f"{folder}/_rels/{leaf}.rels"
    out: dict[tuple[int, int], str] = {}
    if relations not in archive.namelist():
        return out
    for relation in ElementTree.fromstring(archive.read(relations)):
        kind, target = relation.get("Type", ""), relation.get("Target", "")
        if not kind.endswith(("/comments", "/threadedComment")):
            continue
        name = _target(folder, target)
        if name not in archive.namelist():
            continue
        for element in ElementTree.fromstring(archive.read(name)).iter():
            if element.tag.rpartition("}")[2] not in ("comment", "threadedComment"):
                continue
            place = re.fullmatch(r"([A-Z]+)(\d+)", element.get("ref", ""))
            text = " ".join("".join(element.itertext()).split())
            if place and text and not text.startswith("[Threaded comment]"):
                key = (int(place[2]), index(place[1]))
                out[key] = f"{out[key]} / {text}" if key in out and text != out[key] else text
    return out


def _target(folder: str, target: str) -> str:
    if target.startswith("/"):
        return target[1:]
    parts = folder.split("/")
    for piece in target.split("/"):
        if piece == "..":
            parts = parts[:-1]
        else:
            parts.append(piece)
    return "/".join(parts)
