"""What is answered where a request cannot be met: the plant's own page around it, what was sent, in words what is wrong, and the way back."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any
from urllib.parse import urlsplit

from fastapi import FastAPI, HTTPException, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException as Refused

from quietseat.status import InputUnusable
from quietseat.store import plants
from quietseat.store.plants import Plant
from quietseat.web.guard import HEADERS
from quietseat.web.site import PAGES, Site, site

LONGEST = 300  # characters of a value that are shown
LARGEST = 1_000_000  # bytes of a form that is read again to show it
_PLANT = re.compile(r"/plant/(\d{1,15})(?:/([^/]*))?")
_BELONGS = {"mend": "bring-in", "valve": "fleet"}  # addresses that are part of a page of another name
_MEND = re.compile(r"/plant/\d{1,15}/mend")
_OF_A_MEND = ("kind", "sheet", "row", "field", "code", "back", "seen", "replace")
_VALUES = {
    "split": "Tags of its valves, a bar between", "unit": "Unit of the whole column", "code": "Meaning of the code", "column": "Field, or: not used",
    "headings": "Row of the headings",
}  # fmt: skip
_UNSAID = re.compile(r"back$|^seen$|^replace$|password|passphrase|secret|token|cookie", re.I)
_NAMES = {
    "who": "name", "why": "why", "sheet": "sheet", "row": "row", "field": "field", "value": "value", "code": "code", "kind": "kind of mend",
    "q": "search", "tag": "valve", "name": "name of the plant", "page": "page of the list", "number": "number in the address",
}  # fmt: skip
_DETAILS = {
    "Not Found": "There is no page at this address. Choose one from the menu.",
    "Method Not Allowed": "This address is not opened in this way. Choose a page from the menu.",
}  # fmt: skip

# Kinds of unreadable values: the rule it breaks and how to mend it, with what the limits are.
_RULES: Mapping[str, tuple[str, str]] = {
    "missing": ("nothing was given", "fill it in"),
    "int_parsing": ("it is no whole number", "write a whole number, such as 12"),
    "int_type": ("it is no whole number", "write a whole number, such as 12"),
    "int_from_float": ("it is no whole number", "write a whole number, such as 12"),
    "int_parsing_size": ("it is too large a number", "write a smaller one"),
    "float_parsing": ("it is no number", "write a number, such as 12.5"),
    "float_type": ("it is no number", "write a number, such as 12.5"),
    "finite_number": ("it is no number", "write a number, such as 12.5"),
    "bool_parsing": ("it is neither yes nor no", "write yes or no"),
    "string_type": ("it is no text", "write it in words"),
    "string_too_long": ("it is longer than {max_length} characters", "write it shorter"),
    "string_too_short": ("it is shorter than {min_length} characters", "write it in full"),
    "greater_than_equal": ("it is below {ge}", "write {ge} or more"),
    "greater_than": ("it is not above {gt}", "write more than {gt}"),
    "less_than_equal": ("it is above {le}", "write {le} or less"),
    "less_than": ("it is not below {lt}", "write less than {lt}"),
    "literal_error": ("it is none of {expected}", "write one of them"),
    "enum": ("it is none of {expected}", "write one of them"),
}  # fmt: skip


def answers(app: FastAPI) -> None:
    """Let the application answer in words what it cannot do."""
    app.add_exception_handler(Refused, _refused)
    app.add_exception_handler(RequestValidationError, _unreadable)
    app.add_exception_handler(InputUnusable, _unusable)
    app.add_exception_handler(OverflowError, _too_large)
    app.add_exception_handler(Exception, _broken)


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException | Refused)
    words = str(error.detail)
    title = "Not there" if error.status_code == 404 else "Not possible"
    return await _page(request, error.status_code, title, [_DETAILS.get(words, words)])


async def _unreadable(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    return await _page(request, 422, "Not understood", [plain(one) for one in error.errors()])


async def _too_large(request: Request, error: Exception) -> Response:
    return await _page(request, 404, "Not there", ["There is nothing under so large a number."])


async def _unusable(request: Request, error: Exception) -> Response:
    return await _page(request, 422, "Not usable", [str(error)])


async def _broken(request: Request, error: Exception) -> Response:
    """A fault of this program: it is written to the terminal, and the page stays usable."""
    words = (
        f"This program failed ({type(error).__name__}). Look whether what you wanted was done before you send it again. "
        "The lines on the terminal it was started from tell where it failed; please pass them on."
    )
    answer = await _page(request, 500, "A fault of this program", [words])
    answer.headers.update(HEADERS)  # this answer goes past the guard
    return answer


def plain(error: Mapping[str, Any]) -> str:
    """A value that could not be read, in words: field, value, rule, how to mend it. error: as pydantic tells it."""
    name = str(error["loc"][-1]) if error.get("loc") else ""
    value = error.get("input")
    rule, mend = _RULES.get(str(error.get("type")), ("it cannot be used here", "go back and write it anew"))
    known = {key: f"{limit:g}" if isinstance(limit, float) else limit for key, limit in (error.get("ctx") or {}).items()}
    said = f" {str(value)[:LONGEST]!r}" if isinstance(value, (str, int, float)) and not _UNSAID.search(name) else ""
    field = _label(name)
    return f"{field[:1].upper()}{field[1:]}{said}: {_filled(rule, known)}. To mend it: {_filled(mend, known)}."


def _filled(text: str, known: Mapping[str, Any]) -> str:
    return re.sub(r"\{(\w+)\}", lambda found: str(known.get(found[1], "what is allowed")), text)


def _label(name: str) -> str:
    return _NAMES.get(name, name.replace("_", " ") or "what was sent")


async def _page(request: Request, status: int, title: str, words: list[str]) -> Response:
    at = site(request)
    plant, here = _place(at, request.url.path)
    back = _back(request, plant, here)
    return at.page("refused.html", status=status, title=title, words=words, plant=plant, here=here, sent=await _sent(request), back=back, sure=status < 500,
                   again=await _again(request, at, back) if status == 422 and plant is not None else None)  # fmt: skip


def _place(at: Site, path: str) -> tuple[Plant | None, str]:
    """The plant an address names, and the page of its menu it belongs to."""
    found = _PLANT.match(path)
    if found is None:
        return None, ""
    with at.workspace.reading() as connection:
        plant = plants.get(connection, int(found[1]))
    end = _BELONGS.get(found[2] or "", found[2] or "")
    return plant, end if plant is not None and end in dict(PAGES) else ""


async def _again(request: Request, at: Site, back: str) -> dict[str, Any] | None:
    """The form of a mend as it was sent, to be corrected; None for any other request. What a form holds hidden stays hidden, save what can be wrong in it."""
    if request.method != "POST" or not _MEND.fullmatch(request.url.path):
        return None
    given = {name: value for name, value in (await _form(request)).items() if isinstance(value, str)}
    kind = given.get("kind", "")
    labels = {"row": "Row", "field": "Field", "code": "Code, as it stands in the cell", "value": _VALUES.get(kind, "Value, with its unit where it has one"),
              "why": "Why: who told you, or where it stands", "who": "Your name"}  # fmt: skip
    seen = {"value", "why", *({"code"} if kind == "code" else ()), *({"row"} if kind in ("cell", "split") else ()), *({"field"} if kind == "cell" else ())}
    if not at.who:
        seen.add("who")
    held = {"back": back, **given}
    names = [name for name in held if name not in seen and name in _OF_A_MEND] + [name for name in labels if name in seen]
    return {"action": request.url.path, "fields": [
        {"name": name, "value": held.get(name, ""), "label": labels.get(name, ""), "hidden": name not in seen} for name in names
    ]}  # fmt: skip


async def _form(request: Request) -> Mapping[str, str | UploadFile]:
    """What a form of a page sent; empty for a body that is none, was taken before, or is too large to be shown."""
    size = request.headers.get("content-length", "")
    try:
        return await request.form() if size.isdecimal() and int(size) <= LARGEST else {}
    except Exception:
        return {}


async def _sent(request: Request) -> list[tuple[str, str]]:
    """Each field that was sent and its value, for a person who would have to type it again; no addresses, no secrets."""
    given = list(request.query_params.multi_items())
    if request.method not in ("GET", "HEAD"):
        form = await _form(request)
        given += [(name, value.filename or "" if isinstance(value, UploadFile) else value) for name, value in (form.multi_items() if isinstance(form, FormData) else ())]
    return [(_label(name), value[:LONGEST]) for name, value in given if value.strip() and not _UNSAID.search(name)]


def _back(request: Request, plant: Plant | None, here: str) -> str:
    """The page the request came from, where it is one of ours; else the page of the menu it belongs to."""
    before = urlsplit(request.headers.get("referer", ""))
    if before.path and before.netloc == request.headers.get("host") and (before.path, before.query) != (request.url.path, request.url.query):
        return f"{before.path}?{before.query}" if before.query else before.path
    return f"/plant/{plant.id}/{here or 'fleet'}" if plant is not None else "/"
