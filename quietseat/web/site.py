"""What every page needs: the workspace, who is looking, the plant, the study it shows, and how a page is printed."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any
from urllib.parse import quote, unquote, urlsplit

from fastapi import HTTPException, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup
from sqlalchemy import select

from quietseat import __version__
from quietseat.basis import Basis
from quietseat.report import html, words
from quietseat.report.document import Block
from quietseat.report.words import Shown
from quietseat.store import Workspace, mends, plants, studies, tables
from quietseat.store.plants import Plant
from quietseat.study import Record

NAME_COOKIE = "quietseat_name"
YEAR = 365 * 86400

# The pages of a plant, in the order of the work: end of the address, title.
PAGES = (
    ("bring-in", "Bring in"), ("fleet", "Fleet"), ("plan", "Plan"), ("ask", "Ask"), ("basis", "Basis"), ("checks", "Checks"), ("study", "Study"),
)  # fmt: skip


@lru_cache(maxsize=1)
def templates() -> Environment:
    """The page templates; an unknown name in one is an error, never a blank."""
    made = Environment(
        loader=PackageLoader("quietseat.web", "templates"), autoescape=select_autoescape(), undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    made.globals.update(version=__version__, pages=PAGES, shapes=words.SHAPES, verdict_words=words.VERDICT_WORDS, nothing_found=words.nothing_found)
    made.filters["code_words"] = words.code
    made.filters["path"] = lambda text: quote(str(text), safe="")
    return made


@dataclass(frozen=True, slots=True)
class Site:
    """One request: workspace and who is looking ("" until a name is given)."""

    request: Request
    workspace: Workspace
    who: str

    def page(self, template: str, *, status: int = 200, **values: Any) -> Response:
        """A page, or a piece of one where htmx asks for it (`partial` is true then)."""
        asked = self.request.headers
        partial = asked.get("hx-request") == "true" and asked.get("hx-boosted") != "true" and asked.get("hx-request-type") != "full"
        given = {"who": self.who, "address": self._address(), "partial": partial, "plant": None, "here": "", **values}
        plant = given["plant"]
        given["behind"] = self.since(plant) if isinstance(plant, Plant) and given["here"] in ("fleet", "plan", "study") and not partial else ""
        return HTMLResponse(templates().get_template(template).render(given), status)

    def _address(self) -> str:
        """Where the name form leads back to: this page, or the one before where this answers a change."""
        url = self.request.url
        if self.request.method not in ("GET", "HEAD"):
            before = urlsplit(self.request.headers.get("referer", ""))
            return f"{before.path or '/'}?{before.query}" if before.query else before.path or "/"
        return f"{url.path}?{url.query}" if url.query else url.path

    def go(self, address: str, who: str | None = None) -> Response:
        """After a change: look at this address. who: a name to keep in this browser from now on ("": forget it)."""
        answer = RedirectResponse(address, 303)
        if who is not None:
            answer.set_cookie(NAME_COOKIE, quote(who.strip()[:80]), max_age=YEAR, httponly=True, samesite="strict")
        return answer

    def plant(self, number: int) -> Plant:
        """The plant of this number. Raises 404 in words."""
        with self.workspace.reading() as connection:
            found = plants.get(connection, number)
        if found is None:
            raise HTTPException(404, "There is no such plant in this workspace.")
        return found

    def study(self, plant: Plant) -> Mapping[str, Any] | None:
        """The study a plant's pages show, with `head`; None before the first one is run."""
        return None if plant.study is None else _study(self.workspace, plant.study)

    def since(self, plant: Plant) -> str:
        """What has been changed since the study a plant's pages show, in words; "" where it holds everything."""
        study = self.study(plant)
        if study is None:
            return ""
        with self.workspace.reading() as connection:
            standing = [row for row in mends.listed(connection, plant.id) if row["undone_at"] is None]
        made, gone = mends.since(standing, (study["head"].get("register") or {}).get("mends") or ())
        left, right = ({name: str(value) for name, value in side.items() if name != "time_marching"} for side in ((study["head"].get("basis") or {}).get("changed") or plant.basis, plant.basis))
        said = [f"{count} mend{'s' if count != 1 else ''} {words}" for count, words in ((made, "made"), (gone, "undone")) if count]
        said += ["choices of the Basis changed"] if left != right else []
        them = "It is" if made + gone == 1 and left == right else "They are"
        return f"Since study {study['number']}: {', '.join(said)}. {them} not in what this page shows; run the study again to see {'it' if them == 'It is' else 'them'}." if said else ""

    def valve(self, study: int, tag: str) -> Record:
        """One valve of a study. Raises 404 in words."""
        with self.workspace.reading() as connection:
            query = select(tables.valve).where(tables.valve.c.study_id == study, tables.valve.c.tag == tag)
            row = connection.execute(query).mappings().first()
        if row is None:
            raise HTTPException(404, f"The study has no valve {tag}.")
        return studies.record(row)

    def named(self, given: str = "") -> str:
        """Who is making a change: the name a form of the page gives, else the one kept. Raises 422 where nobody has given a name."""
        who = given.strip()[:80] or self.who
        if not who:
            raise HTTPException(422, "Give your name first (top of the page): every change is kept with who made it.")
        return who


def site(request: Request) -> Site:
    """The Site of a request, as FastAPI's Depends takes it."""
    return Site(request, request.app.state.workspace, unquote(request.cookies.get(NAME_COOKIE, ""))[:80].strip())


@lru_cache(maxsize=8)
def _study(workspace: Workspace, number: int) -> Mapping[str, Any] | None:
    """A study's columns and head; heads never change, its state does and is read anew."""
    with workspace.reading() as connection:
        return studies.get(connection, number)


def forget_studies() -> None:
    """Call after the state of a study has changed."""
    _study.cache_clear()


def shown(study: Mapping[str, Any]) -> Shown:
    """The units a study's basis prints in."""
    return words.shown(study["head"])


def shown_of(basis: Basis) -> words.Shown:
    """The units a Basis prints in, where there is no study."""
    names = ("pressure_unit", "currency", "atmospheric_pressure")
    return words.shown({"basis": {"choices": [{"name": name, "value": basis.text(name)} for name in names]}})


def signed(show: words.Shown) -> Callable[[float | None], str]:
    """Money as every page prints it: as the report, with a minus sign as long as a digit."""
    return lambda value: show.money(value).replace("-", "−")


def blocks(some: Iterable[Block]) -> Markup:
    """Blocks of a Document as a piece of a page."""
    return Markup(html.fragment(some))  # html.fragment escapes every word
