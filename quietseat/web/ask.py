"""Ask: what to find out next, by person and place; an answer given here becomes a mend."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Depends, HTTPException, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData

from quietseat.basis import make
from quietseat.questions.answers import REMARK, of_saved
from quietseat.register.trial import refusal, tells
from quietseat.report import asking, html, pdf
from quietseat.report.document import Document
from quietseat.store import mends
from quietseat.store.plants import Plant
from quietseat.store.rows import Row
from quietseat.web.site import Site, site

router = APIRouter()
Here = Annotated[Site, Depends(site)]

KINDS = {"contradiction": "the register says two things", "worth": "worth money to know", "open check": "a verdict waits for it"}
FILES = {
    "walk-down.html": "text/html; charset=utf-8", "walk-down.pdf": "application/pdf",
    "walk-down.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "mends-form.csv": "text/csv; charset=utf-8",
}  # fmt: skip
LONGEST = 500  # characters of an answer or a reason
TITLE = 200  # characters of a question kept beside its answer


@router.get("/plant/{number}/ask")
def page(at: Here, request: Request, number: int, who: str = "", where: str = "", kind: str = "", q: str = "") -> Response:
    """The questions of the study shown, filtered by who answers them, where, and why they are asked."""
    plant = at.plant(number)
    found = _questions(at, plant)
    given = {"who": who, "where": where, "kind": kind, "q": q}
    if found is None:
        return at.page("ask.html", title="Ask", plant=plant, here="ask", found=None, listed=[], given=given, kinds=KINDS, since=None, words="")
    study = at.study(plant)
    assert study is not None
    with at.workspace.reading() as connection:
        standing = [row for row in mends.listed(connection, number) if row["undone_at"] is None]
    made, _ = mends.since(standing, study["head"]["register"].get("mends") or ())
    request.app.state.registers.look(plant, 0.0)  # read by the time an answer comes: the units of its columns are wanted then
    listed = [
        {**one, "answers": of_saved(one), "held": _held(one, standing), "id": place} for place, one in enumerate(found["questions"]) if _wanted(one, given)
    ]  # fmt: skip
    return at.page(
        "ask.html", title="Ask", plant=plant, here="ask", found=found, listed=listed, given=given, kinds=KINDS, since=(study["number"], made),
        words=asking.sentence(found), remark=REMARK,
    )  # fmt: skip


def _questions(at: Site, plant: Plant) -> dict[str, Any] | None:
    study = at.study(plant)
    found = study["head"].get("questions") if study else None
    return {"mark": study["head"]["hash"], **found} if study and found else None


def _wanted(one: Mapping[str, Any], given: Mapping[str, str]) -> bool:
    text = f"{one['tag']} {one['title']} {one['where']} {one['who']} {one['reason']}".lower()
    alike = all(not given[key] or one[key] == given[key] for key in ("who", "where", "kind"))
    return alike and all(word in text for word in given["q"].lower().split())


def _held(one: Mapping[str, Any], standing: Sequence[Row]) -> list[Row]:
    """The standing mends that answer a question: those of its fields, and the remarks made in answer to it."""
    places = {(answer["sheet"], answer["row"], answer["field"]) for answer in of_saved(one)}
    return [
        row for row in standing
        if (row["sheet"], row["row"], row["field"]) in places and (row["field"] != REMARK or row["why"].endswith(one["title"][:TITLE]))
    ]  # fmt: skip


# --- answers ---------------------------------------------------------------------------------------------------------


@router.post("/plant/{number}/ask")
async def answer(request: Request, number: int) -> Response:
    """Keep an answer as a mend of each field it was given for.

    Form: `title` the question (may be left out where the field tells it), `sheet row field value` for one field, or `value.N` and `pick.N`
    for the N-th field of the question; `why`: who told you, where it stands. Refused in words: no name, no reason, no such question, a
    value its field cannot take.
    """
    form = await request.form()
    return await run_in_threadpool(_answer, request, number, form)


def _answer(request: Request, number: int, form: FormData) -> Response:
    at = site(request)
    plant = at.plant(number)
    name = at.named()
    said = {key: " ".join(str(value).split()) for key, value in form.items()}
    asked = _asked(_questions(at, plant), said)
    given = _given(asked, said)
    if not said.get("why"):
        raise HTTPException(422, f"{asked['tag']}: write how you know: who told you, or where it stands (nameplate, data sheet, relief study).")
    if max(len(text) for text in (said["why"], *(value for _, value, _ in given))) > LONGEST:
        raise HTTPException(422, f"{asked['tag']}: that is longer than {LONGEST} characters. Write it shorter.")
    units = _units(request, plant)
    for target, value, offered in given:
        _check(plant, asked, target, value, offered, units.get((target["sheet"], target["field"]), ""))
    reason = f"{said['why']}; {asked['title'][:TITLE]}"
    with at.workspace.writing() as connection:
        for target, value, _ in given:
            kind = REMARK if target["field"] == REMARK else "cell"
            mends.keep(connection, number, {"kind": kind, **{key: target[key] for key in ("sheet", "row", "field")}, "value": value, "why": reason}, name)
    return at.go(f"/plant/{number}/ask")


def _asked(found: Mapping[str, Any] | None, said: Mapping[str, str]) -> Mapping[str, Any]:
    """The question a form answers. Raises 404 in words."""
    title, place = said.get("title", ""), (said.get("sheet"), said.get("row"), said.get("field"))
    for one in (found or {}).get("questions", ()):
        places = {(answer["sheet"], str(answer["row"]), answer["field"]) for answer in of_saved(one)}
        if (title and (one["tag"], " ".join(one["title"].split())) == (said.get("tag"), title)) or (not title and place in places):
            asked: Mapping[str, Any] = one
            return asked
    raise HTTPException(404, "The study shown asks no such question: it may have been run again. Open the page anew.")


def _given(asked: Mapping[str, Any], said: Mapping[str, str]) -> list[tuple[Mapping[str, Any], str, bool]]:
    """The fields answered, each with its value and whether it was one of those offered. Raises 422 where there is none."""
    out: list[tuple[Mapping[str, Any], str, bool]] = []
    for place, target in enumerate(of_saved(asked)):
        offered = [value for value, _ in target["offers"]]
        picked, typed = said.get(f"pick.{place}", ""), said.get(f"value.{place}", "")
        if not said.get("title") and (target["sheet"], str(target["row"]), target["field"]) == (said.get("sheet"), said.get("row"), said.get("field")):
            typed = said.get("value", "")
        if picked and typed and picked != typed:
            raise HTTPException(422, f"{asked['tag']}, {target['field']}: {picked!r} is chosen and {typed!r} is written. Give one of them.")
        if picked and picked not in offered:
            raise HTTPException(422, f"{asked['tag']}, {target['field']}: {picked!r} is none of the values offered. Open the page anew.")
        if picked or typed:
            out.append((target, picked or typed, (picked or typed) in offered))
    if not out:
        raise HTTPException(422, f"Write what was found for {asked['tag']}: {asked['title']}.")
    return out


def _units(request: Request, plant: Plant) -> dict[tuple[str, str], str]:
    """The units of the columns of the register as it was read last."""
    loaded = request.app.state.registers.last(plant)
    return {(one.sheet, one.field): one.unit for one in loaded.register.columns if one.field} if loaded is not None else {}


def _check(plant: Plant, asked: Mapping[str, Any], target: Mapping[str, Any], value: str, offered: bool, unit: str) -> None:
    """Raises 422 with valve, field, value, rule and mend where an answer cannot be read as a cell of its field."""
    field = target["field"]
    if field == REMARK or (offered and value == "-"):
        return
    basis = make(plant.basis)
    wrong = refusal(field, value, basis, unit)
    if wrong is not None:
        raise HTTPException(422, f"{asked['tag']}, {field}: {wrong.rule}. To mend it: {wrong.mend or 'write it as a cell of the register holds it'}.")
    if not tells(field, value, basis, unit) and not offered:
        raise HTTPException(422, f"{asked['tag']}, {field}: {value!r} says that it is not known. Leave the question open until somebody knows.")


@router.get("/plant/{number}/ask/{name}")
def file(at: Here, number: int, name: str) -> Response:
    """The walk-down list as page, paper or workbook, and the blank form that is a mends file."""
    found = _questions(at, at.plant(number))
    if name not in FILES or found is None:
        raise HTTPException(404, "There is no such file; run a study first, then open the page Ask.")
    return Response(_content(name, found), media_type=FILES[name], headers={"Content-Disposition": f'attachment; filename="{name}"'})


def _content(name: str, found: Mapping[str, Any]) -> bytes:
    if name == "mends-form.csv":
        return asking.mends_form(found["questions"]).encode()
    if name == "walk-down.xlsx":
        return asking.workbook(found)
    document: Document = asking.build(found)
    return html.render(document).encode() if name == "walk-down.html" else pdf.render(document)
