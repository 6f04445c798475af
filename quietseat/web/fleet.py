"""The fleet of a plant: a table to search, filter, sort and decide in, whose whole state stands in its address."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from markupsafe import Markup
from sqlalchemy import Connection
from starlette.datastructures import FormData

from quietseat.report import figures
from quietseat.report.words import DASH, VERDICTS, Shown
from quietseat.store import Workspace, decided, fleet, jobs, studies
from quietseat.store.fleet import FACETS, NONE, SORTS, Fleet, Found, Wanted
from quietseat.store.plants import Plant
from quietseat.web import columns
from quietseat.web.columns import COLUMNS, USUAL, Column
from quietseat.web.held import NOT_HELD, holdable, left_as_they_were
from quietseat.web.site import Site, blocks, shown, site

router = APIRouter()

PER = (50, 100, 200)
TITLES = {
    "verdict": "Verdict", "unit": "Unit", "cause": "Cause", "kind": "Kind", "size": "Orifice", "remedy": "Recommended remedy",
    "plan": "In plan", "held": "Held by hand", "decided": "Decided", "open": "Open checks",
}  # fmt: skip
_VALUES = {
    ("plan", "in"): "in the plan", ("plan", "out"): "out of it", ("held", "in"): "held in", ("held", "out"): "held out", ("held", "no"): "free",
    ("decided", "yes"): "decided", ("decided", "no"): "not yet", ("open", "yes"): "some open", ("open", "no"): "none open",
}  # fmt: skip
Pairs = Iterable[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Asked:
    """What an address of the fleet page asks for: filters and order, page, rows a page, columns."""

    wanted: Wanted = field(default_factory=Wanted)
    page: int = 1
    per: int = PER[0]
    cols: tuple[str, ...] = USUAL

    @property
    def sort(self) -> str:
        """The order as an address writes it: a leading minus turns it round."""
        return ("-" if self.wanted.down else "") + self.wanted.sort

    def pairs(self) -> list[tuple[str, str]]:
        """Names and values of the address, without what is usual."""
        found = [("q", self.wanted.words)] if self.wanted.words else []
        found += [(name, value) for name in FACETS for value in self.wanted.chosen.get(name, ())]
        found += [("sort", self.sort)] if self.sort != "rank" else []
        found += [("page", str(self.page))] if self.page > 1 else []
        found += [("per", str(self.per))] if self.per != PER[0] else []
        return found + ([("col", name) for name in self.cols] if self.cols != USUAL else [])

    def query(self) -> str:
        """The address's query string."""
        return urlencode(self.pairs())

    def at_page(self, page: int) -> str:
        """The query string of another page."""
        return replace(self, page=page).query()

    def sorted_by(self, name: str) -> str:
        """The query string in the order of a column; of the column it is sorted by, the other way round."""
        down = not self.wanted.down if name == self.wanted.sort else False
        return replace(self, page=1, wanted=replace(self.wanted, sort=name, down=down)).query()

    def without(self, name: str, value: str) -> str:
        """The query string less one value of a filter ("q": less the words)."""
        if name == "q":
            return replace(self, page=1, wanted=replace(self.wanted, words="")).query()
        left = tuple(one for one in self.wanted.chosen.get(name, ()) if one != value)
        return replace(self, page=1, wanted=replace(self.wanted, chosen={**self.wanted.chosen, name: left})).query()

    def cleared(self) -> str:
        """The query string without search and filters."""
        return replace(self, page=1, wanted=replace(self.wanted, words="", chosen={})).query()


def read_asked(pairs: Pairs) -> Asked:
    """What is asked for; a value nobody knows is left out, so that an old link still opens."""
    given: dict[str, list[str]] = {}
    for name, value in pairs:
        given.setdefault(name, []).append(value)
    sort = given.get("sort", ["rank"])[-1]
    down, name = sort.startswith("-"), sort.removeprefix("-")
    chosen = {facet: tuple(dict.fromkeys(value for value in given.get(facet, ()) if value)) for facet in FACETS}
    wanted = Wanted(
        given.get("q", [""])[-1].strip()[:200], {facet: values for facet, values in chosen.items() if values},
        name if name in SORTS else "rank", down and name in SORTS,
    )  # fmt: skip
    per = _whole(given.get("per", [""])[-1], PER[0])
    picked = set(given.get("col", ())) & set(COLUMNS)
    cols = tuple(one for one in COLUMNS if one in picked or one == "tag") if picked else USUAL
    return Asked(wanted, max(1, _whole(given.get("page", [""])[-1], 1)), per if per in PER else PER[0], cols)


def _whole(text: str, default: int) -> int:
    return int(text) if text.isdecimal() and len(text) < 8 else default


@dataclass(frozen=True, slots=True)
class Looked:
    """One look at the fleet: what was asked for and what it found."""

    asked: Asked
    fleet: Fleet
    found: Found
    decided: Mapping[str, str]
    held: Mapping[str, str]

    @property
    def total(self) -> int:
        """How many valves match."""
        return len(self.found.places)

    @property
    def pages(self) -> int:
        """How many pages they fill, at least one."""
        return max(1, -(-self.total // self.asked.per))

    def ids(self, places: Sequence[int] | None = None) -> list[int]:
        """The database's numbers of some places, of all that match without any."""
        return [self.fleet.ids[place] for place in (self.found.places if places is None else places)]

    def tags(self) -> list[str]:
        """The tags of all that match."""
        return [self.fleet.tags[place] for place in self.found.places]

    def shown(self) -> list[int]:
        """The places on the page asked for."""
        first = (self.asked.page - 1) * self.asked.per
        return [int(place) for place in self.found.places[first : first + self.asked.per]]

    def rows(self, connection: Connection, ids: Sequence[int]) -> Iterable[dict[str, Any]]:
        """The rows of these numbers with what was decided and held."""
        for row in fleet.read(connection, ids):
            yield {**row, "decided": self.decided.get(row["tag"], ""), "held": self.held.get(row["tag"], "")}


def look(workspace: Workspace, connection: Connection, plant: Plant, asked: Asked) -> Looked:
    """Search, filter and sort the study a plant shows; a page beyond the last becomes the last."""
    assert plant.study is not None
    chosen, held = decided.titles(connection, plant.id), decided.pins(connection, plant.id)
    known = fleet.of_study(workspace, plant.study)
    found = known.find(asked.wanted, chosen, held)
    last = max(1, -(-len(found.places) // asked.per))
    return Looked(replace(asked, page=min(asked.page, last)), known, found, chosen, held)


@router.get("/plant/{number}/fleet")
def page(at: Annotated[Site, Depends(site)], number: int) -> Response:
    """The table with its filters; for htmx only what has changed."""
    plant, given = at.plant(number), at.request.query_params.multi_items()
    study = at.study(plant)
    if study is None:
        with at.workspace.reading() as connection:
            work = next(iter(jobs.of_plant(connection, number, 1)), None)
        return at.page("fleet_none.html", title="Fleet", plant=plant, here="fleet", work=work)
    show = shown(study)
    with at.workspace.reading() as connection:
        looked = look(at.workspace, connection, plant, read_asked(given))
        numbers = looked.ids(looked.shown())
        known = fleet.assumed(connection, numbers)
        rows = [{**row, "assumed": known[row["id"]]} for row in looked.rows(connection, numbers)]
        saved = decided.views(connection, number)
        done = _done(connection, number, dict(given).get("done", ""))
    labels = _labels(at.workspace, study["id"])
    answer = at.page(
        "fleet.html", title="Fleet", plant=plant, here="fleet", study=study, looked=looked, asked=looked.asked, rows=rows, views=saved, done=done,
        left=left_as_they_were(dict(given).get("left", ""), dict(given).get("done", "").partition(".")[0]), facets=_facets(looked, labels), chips=_chips(looked.asked, labels), columns=COLUMNS,
        show=show, cells=_cells, per=PER, numbers=columns.NUMBERS, partial=_partial(at.request),
    )  # fmt: skip
    if at.request.headers.get("hx-source", "") in ("form#ask", "input#q"):
        address = f"/plant/{number}/fleet?{looked.asked.query()}".rstrip("?")
        answer.headers["HX-Replace-Url" if at.request.headers["hx-source"] == "input#q" else "HX-Push-Url"] = address
    return answer


def _partial(request: Request) -> bool:
    """Whether htmx wants the table only; going back in the history it wants the page."""
    return (
        request.headers.get("hx-request") == "true" and request.headers.get("hx-request-type", "partial") == "partial"
    )


def _cells(row: Mapping[str, Any], cols: Sequence[str], show: Shown) -> Iterator[tuple[str, str, str]]:
    """Name of the column, cell, and what was assumed behind it."""
    known = row["assumed"]
    for name in cols:
        text = COLUMNS[name].text(row, show)
        yield name, text, columns.assumed(name, known) if known and text != DASH else ""


Labels = Mapping[str, Mapping[str, str]]


@lru_cache(maxsize=8)
def _labels(workspace: Workspace, study: int) -> Labels:
    """What the values of causes and remedies are called."""
    known = fleet.of_study(workspace, study)
    titles: dict[str, set[str]] = {}
    for name, title in known.recommended:
        titles.setdefault(name, set()).add(title)
    remedies = {name: _common(name, some) for name, some in titles.items() if name}
    return {
        "cause": {code: columns.cause(code) for code in known.facets["cause"].values if code != NONE},
        "remedy": remedies,
    }


def _common(name: str, titles: set[str]) -> str:
    """One title for a remedy whose titles may carry a figure of the valve ("Restricted lift: 40% of full lift")."""
    heads = {title.partition(":")[0] for title in titles}
    return heads.pop() if len(heads) == 1 else name.replace("-", " ").capitalize()


def _label(name: str, value: str, labels: Labels) -> str:
    if value == NONE:
        return {"cause": "no cause found", "remedy": "no remedy"}.get(name, "not stated")
    return _VALUES.get((name, value)) or labels.get(name, {}).get(value, value)


def _facets(looked: Looked, labels: Labels) -> list[dict[str, Any]]:
    """Each filter with its values, how many valves each leaves, and which are chosen."""
    out = []
    for name in FACETS:
        chosen = looked.asked.wanted.chosen.get(name, ())
        known = looked.found.counts[name]
        values = [
            {"value": value, "label": _label(name, value, labels), "count": count, "chosen": value in chosen}
            for value, count in (*known, *((value, 0) for value in chosen if value not in dict(known)))
        ]  # fmt: skip
        out.append({"name": name, "title": TITLES[name], "values": values, "chosen": len(chosen)})
    return out


def _chips(asked: Asked, labels: Labels) -> list[tuple[str, str]]:
    """Words and address of everything that narrows the table: following one removes it."""
    out = [(f"“{asked.wanted.words}”", asked.without("q", ""))] if asked.wanted.words else []
    for name, values in asked.wanted.chosen.items():
        out += [(f"{TITLES[name]}: {_label(name, value, labels)}", asked.without(name, value)) for value in values]
    return out


# Changes -------------------------------------------------------------------------------------------------------------


async def _form(request: Request) -> FormData:
    return await request.form()


def _text(form: FormData, name: str, most: int = 2000) -> str:
    value = form.get(name)
    return value.strip()[:most] if isinstance(value, str) else ""


def _pairs(form: FormData) -> list[tuple[str, str]]:
    return [(name, value) for name, value in form.multi_items() if isinstance(value, str)]


@router.post("/plant/{number}/fleet/do")
def act(at: Annotated[Site, Depends(site)], number: int, form: Annotated[FormData, Depends(_form)]) -> Response:
    """Decide the recommended remedy of many valves, or hold them in the plan, out of it, or free them."""
    who, plant, what = at.named(), at.plant(number), _text(form, "do")
    if what not in ("decide", "in", "out", "free"):
        raise HTTPException(422, "Say what is to be done: decide, hold in the plan, hold out of it, or free.")
    if plant.study is None or _text(form, "study") != str(plant.study):
        raise HTTPException(409, "The plant shows another study now. Go back to the fleet, look again, then decide.")
    if what == "decide" and not _text(form, "why"):
        raise HTTPException(
            422,
            "Write why these remedies were decided on: the reason is kept with the name. Go back and fill in the line above the table.",
        )
    asked = read_asked(_pairs(form))
    with at.workspace.writing() as connection:
        looked = look(at.workspace, connection, plant, asked)
        places = _touched(looked, form)
        if not places:
            raise HTTPException(422, "No valve was ticked. Tick some rows, or choose all that match.")
        tags, skipped = [looked.fleet.tags[place] for place in places], [0] * len(NOT_HELD)
        if what == "in":  # only a remedy can be held in the plan
            tags, skipped = holdable(looked.fleet, places)
        if what == "decide":
            chosen = [
                (looked.fleet.tags[place], *looked.fleet.recommended[place])
                for place in places
                if looked.fleet.recommended[place][0]
            ]
            batch = decided.decide_all(connection, number, chosen, _text(form, "why"), who)
        else:
            batch = decided.pin_all(connection, number, tags, None if what == "free" else what, who)
    left = [("left", ".".join(map(str, [len(places) - batch.count, *skipped])))] if len(places) > batch.count else []
    told = [("done", f"{what}.{batch.first}.{batch.last}.{batch.at}")]
    return at.go(f"/plant/{number}/fleet?{urlencode([*asked.pairs(), *told, *left])}")


def _touched(looked: Looked, form: FormData) -> list[int]:
    """The places of the ticked rows, or of all that match."""
    if _text(form, "which") == "all":
        return [int(place) for place in looked.found.places]
    ticked = {str(tag) for tag in form.getlist("tag")}
    return [place for place, tag in enumerate(looked.fleet.tags) if tag in ticked]


_DONE = {
    "decide": ("decision", "decided as recommended"),
    "in": ("pin", "held in the plan"),
    "out": ("pin", "held out of the plan"),
    "free": ("pin", "freed"),
}


def _done(connection: Connection, plant: int, text: str) -> dict[str, Any] | None:
    """What a change has brought, read from the address and counted in the database; None where the address names none."""
    what, *rest = text.split(".")
    if what not in _DONE or len(rest) != 3 or not all(part.isdecimal() for part in rest[:2]):
        return None
    kind, words = _DONE[what]
    stand, undone = decided.count(connection, plant, kind, int(rest[0]), int(rest[1]))
    count, stands = (undone, undone > 0) if what == "free" else (stand, stand > 0)
    return {"text": text, "what": what, "words": words, "count": count if stands else stand + undone, "stands": stands}


@router.post("/plant/{number}/fleet/undo")
def undo(at: Annotated[Site, Depends(site)], number: int, form: Annotated[FormData, Depends(_form)]) -> Response:
    """Undo a change of many valves, or do it again."""
    who, told, back = at.named(), _text(form, "done"), _text(form, "back") == "redo"
    at.plant(number)
    what, *rest = told.split(".")
    if what not in _DONE or len(rest) != 3 or not all(part.isdecimal() for part in rest[:2]):
        raise HTTPException(422, "This change is not known; undo it on the page of the valve.")
    kind, first, last = _DONE[what][0], int(rest[0]), int(rest[1])
    with at.workspace.writing() as connection:
        if (what == "free") != back:
            decided.redo(connection, number, kind, first, who, last=last, undone_at=rest[2] if what == "free" else "")
        else:
            decided.undo(connection, number, kind, first, who, last=last)
    return at.go(f"/plant/{number}/fleet?{urlencode([*read_asked(_pairs(form)).pairs(), ('done', told)])}")


@router.post("/plant/{number}/fleet/views")
def keep_view(at: Annotated[Site, Depends(site)], number: int, form: Annotated[FormData, Depends(_form)]) -> Response:
    """Give what the page shows now a name; the same name again stands for the new look."""
    who, name = at.named(), _text(form, "name", 80)
    at.plant(number)
    if not name:
        raise HTTPException(422, "Give the view a name.")
    asked = replace(read_asked(_pairs(form)), page=1)
    with at.workspace.writing() as connection:
        decided.save_view(connection, number, name, asked.query(), who)
    return at.go(f"/plant/{number}/fleet?{asked.query()}".rstrip("?"))


@router.post("/plant/{number}/fleet/views/{view}/remove")
def drop_view(
    at: Annotated[Site, Depends(site)], number: int, view: int, form: Annotated[FormData, Depends(_form)]
) -> Response:
    """Remove a saved view."""
    who = at.named()
    with at.workspace.writing() as connection:
        if not decided.drop_view(connection, number, view, who):
            raise HTTPException(404, "There is no such view; somebody has removed it already.")
    return at.go(f"/plant/{number}/fleet?{read_asked(_pairs(form)).query()}".rstrip("?"))


# Files ---------------------------------------------------------------------------------------------------------------


@router.get("/plant/{number}/fleet.csv")
def as_csv(at: Annotated[Site, Depends(site)], number: int) -> Response:
    """The rows shown, ticked or matching as CSV, in the columns shown."""
    cols, rows, show, name = _file(at, number)
    head = {"Content-Disposition": f'attachment; filename="{name}.csv"'}
    return Response("\ufeff" + columns.csv_text(cols, rows, show), media_type="text/csv; charset=utf-8", headers=head)


@router.get("/plant/{number}/fleet.xlsx")
def as_xlsx(at: Annotated[Site, Depends(site)], number: int) -> Response:
    """The same as a workbook."""
    cols, rows, show, name = _file(at, number)
    head = {"Content-Disposition": f'attachment; filename="{name}.xlsx"'}
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    return Response(columns.xlsx_bytes(cols, rows, show), media_type=kind, headers=head)


def _file(at: Site, number: int) -> tuple[list[Column], list[dict[str, Any]], Shown, str]:
    plant, given = at.plant(number), at.request.query_params.multi_items()
    study = at.study(plant)
    if study is None:
        raise HTTPException(404, "This plant has no study yet, so there is nothing to download.")
    which = dict(given).get("which", "all")
    with at.workspace.reading() as connection:
        looked = look(at.workspace, connection, plant, read_asked(given))
        if which == "ticked":
            ticked = {value for name, value in given if name == "tag"}
            ids = looked.ids([place for place, tag in enumerate(looked.fleet.tags) if tag in ticked])
            if not ids:
                raise HTTPException(422, "No valve was ticked. Tick some rows, or choose all that match.")
        else:
            ids = looked.ids(looked.shown() if which == "shown" else None)
        rows = list(looked.rows(connection, ids))
    return [COLUMNS[name] for name in looked.asked.cols], rows, shown(study), f"fleet-{number}-study-{study['number']}"


# Pictures ------------------------------------------------------------------------------------------------------------


@router.get("/plant/{number}/fleet/pictures")
def pictures(at: Annotated[Site, Depends(site)], number: int) -> Response:
    """Where the trouble is, what it costs, and which data are missing: pictures of the study shown."""
    plant = at.plant(number)
    study = at.study(plant)
    if study is None:
        return at.page("fleet_none.html", title="Fleet", plant=plant, here="fleet", work=None)
    drawn = _pictures(at.workspace, study["id"], number)
    return at.page(
        "fleet_pictures.html",
        title="Where the trouble is",
        plant=plant,
        here="fleet",
        pictures=drawn,
        partial=_partial(at.request),
    )


@lru_cache(maxsize=8)
def _pictures(workspace: Workspace, study: int, plant: int) -> Markup:
    """The pictures of a study, drawn once: some seconds for 10,000 valves."""
    with workspace.reading() as connection:
        missing = fleet.gaps(connection, study, _plain)
        kept = studies.get(connection, study)
    assert kept is not None
    known, labels = fleet.of_study(workspace, study), _labels(workspace, study)
    drawn = (
        figures.trouble_by("Valves by unit and verdict", _crossed(known, "unit", labels, plant)),
        figures.trouble_by("Valves with a cause, by cause and verdict", _crossed(known, "cause", labels, plant)),
        figures.trouble_by("Valves by orifice letter and verdict", _crossed(known, "size", labels, plant)),
        figures.money(_priced(known, plant), shown(kept)), figures.gaps([(one.name, one.default, one.open) for one in missing]),
    )  # fmt: skip
    # Links stand inside: a picture with links is a group of things, not one image.
    return Markup(str(blocks(one for one in drawn if one)).replace('<svg role="img"', '<svg role="group"'))


def _plain(name: str) -> str:
    """A field's name in one form, whichever case or sheet it stands in: cases.0.flow is flow, inlet.size is inlet line.size."""
    return re.sub(r"^(inlet|outlet)\.", r"\1 line.", re.sub(r"^(valve|case|cases)\.(\d+\.)?", "", name))


def _crossed(known: Fleet, name: str, labels: Labels, plant: int) -> list[figures.Line]:
    """Counts of each verdict by the values of a filter; orifice letters in their order, others the most trouble first."""
    counted = Counter(zip(known.labels(name), known.labels("verdict"), strict=True))
    values = [value for value in known.facets[name].values if not (name == "cause" and value == NONE)]
    if name != "size":
        values.sort(
            key=lambda value: (-counted[value, "misfit"], -sum(counted[value, verdict] for verdict in VERDICTS))
        )
    return [
        figures.Line(
            _label(name, value, labels), {verdict: counted[value, verdict] for verdict in VERDICTS},
            {verdict: f"/plant/{plant}/fleet?{urlencode([('verdict', verdict), (name, value)])}" for verdict in VERDICTS},
        )
        for value in values
    ]  # fmt: skip


def _priced(known: Fleet, plant: int) -> list[dict[str, Any]]:
    cost, score, rank, verdicts = (
        known.numbers("cost"),
        known.numbers("score"),
        known.numbers("rank"),
        known.labels("verdict"),
    )
    return [
        {"tag": tag, "verdict": verdicts[at], "rank": int(rank[at]), "cost": float(cost[at]), "score": float(score[at]),
         "link": f"/plant/{plant}/valve?{urlencode({'tag': tag})}"}
        for at, tag in enumerate(known.tags) if verdicts[at] != "sound"
    ]  # fmt: skip
