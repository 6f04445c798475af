"""Ask: what to find out next, by person and place; an answer given here becomes a mend."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, HTTPException, Response

from quietseat.report import asking, html, pdf
from quietseat.report.document import Document
from quietseat.store import mends
from quietseat.store.plants import Plant
from quietseat.web.site import Site, site

router = APIRouter()
Here = Annotated[Site, Depends(site)]

KINDS = {"contradiction": "the register says two things", "worth": "worth money to know", "open check": "a verdict waits for it"}
FILES = {
    "walk-down.html": "text/html; charset=utf-8", "walk-down.pdf": "application/pdf",
    "walk-down.xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "mends-form.csv": "text/csv; charset=utf-8",
}  # fmt: skip


@router.get("/plant/{number}/ask")
def page(at: Here, number: int, who: str = "", where: str = "", kind: str = "", q: str = "") -> Response:
    """The questions of the study shown, filtered by who answers them, where, and why they are asked."""
    plant = at.plant(number)
    found = _questions(at, plant)
    given = {"who": who, "where": where, "kind": kind, "q": q}
    if found is None:
        return at.page("ask.html", title="Ask", plant=plant, here="ask", found=None, listed=[], given=given, answers={}, kinds=KINDS, since=None, words="")
    study = at.study(plant)
    assert study is not None
    with at.workspace.reading() as connection:
        standing = [row for row in mends.listed(connection, number) if row["undone_at"] is None]
    answers = {(row["sheet"], row["row"], row["field"]): row for row in standing}
    made, _ = mends.since(standing, study["head"]["register"].get("mends") or ())
    return at.page(
        "ask.html", title="Ask", plant=plant, here="ask", found=found, listed=[one for one in found["questions"] if _wanted(one, given)],
        given=given, answers=answers, kinds=KINDS, since=(study["number"], made), words=asking.sentence(found),
    )  # fmt: skip


def _questions(at: Site, plant: Plant) -> dict[str, Any] | None:
    study = at.study(plant)
    found = study["head"].get("questions") if study else None
    return {"mark": study["head"]["hash"], **found} if study and found else None


def _wanted(one: Mapping[str, Any], given: Mapping[str, str]) -> bool:
    text = f"{one['tag']} {one['title']} {one['where']} {one['who']} {one['reason']}".lower()
    alike = all(not given[key] or one[key] == given[key] for key in ("who", "where", "kind"))
    return alike and all(word in text for word in given["q"].lower().split())


@router.post("/plant/{number}/ask")
def answer(
    at: Here, number: int, sheet: Annotated[str, Form()], row: Annotated[int, Form()], field: Annotated[str, Form()],
    value: Annotated[str, Form()], why: Annotated[str, Form()] = "",
) -> Response:  # fmt: skip
    """Keep an answer as a mend of its cell. Refused in words: no name, no value, no such question."""
    plant = at.plant(number)
    name = at.named()
    found = _questions(at, plant)
    asked = next((one for one in (found or {}).get("questions", ()) if (one["sheet"], one["row"], one["form_field"]) == (sheet, row, field)), None)
    if asked is None:
        raise HTTPException(404, "The study shown asks no such question: it may have been run again. Open the page anew.")
    if not value.strip():
        raise HTTPException(422, f"Write what was found for {asked['tag']}: {asked['title']}.")
    reason = f"{why.strip()}; {asked['title']}" if why.strip() else asked["title"]
    given = {"kind": "cell", "sheet": sheet, "row": row, "field": field, "value": value.strip()[:500], "why": reason[:500]}
    with at.workspace.writing() as connection:
        mends.keep(connection, number, given, name)
    return at.go(f"/plant/{number}/ask")


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
