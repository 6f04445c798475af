"""The record of a plant as a page, CSV and JSON: every change with who, when and why, and nothing a spreadsheet would run."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from conftest import served
from fastapi.testclient import TestClient

from quietseat.store import Workspace, chosen, decided, jobs, mends, open_workspace, plants
from quietseat.web import record as record_page
from quietseat.web.app import make_app
from quietseat.web.site import NAME_COOKIE


@pytest.fixture
def space(tmp_path: Path) -> Workspace:
    """A plant with one change of each kind."""
    made = open_workspace(tmp_path / "space")
    file = made.keep_file("list.csv", b"Tag,Set pressure barg\nPSV-1,10\n")
    with made.writing() as connection:
        plants.add(connection, "North", file, {}, who="Ann")
        mends.keep(connection, 1, {"kind": "cell", "sheet": "", "row": 2, "field": "set_pressure", "value": "=1+1", "why": "@home <b>"}, "+Ann")
        mends.undo(connection, 1, 1, "Bo")
        mends.redo(connection, 1, 1, "Cy")
        chosen.choose(connection, 1, {"budget": "90000"}, "new year", "Dee")
        decided.decide(connection, 1, "PSV-1", "keep", "Keep it", "cheap", "Eve")
        decided.save_view(connection, 1, "Worst", "q=PSV", "Gil")
        decided.drop_view(connection, 1, 1, "Hal")
        jobs.add(connection, 1, "study", {"stage": "full"}, "Ida")
    return made


@pytest.fixture
def client(space: Workspace) -> Iterator[TestClient]:
    with TestClient(make_app(space, runs_jobs=False), follow_redirects=False) as out:
        out.cookies.set(NAME_COOKIE, "Ann")
        yield out


def test_the_page_lists_filters_and_searches(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    page = client.get("/plant/1/record").text
    said = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))
    assert "9 lines" in said and "@home &lt;b&gt;" in page and "<b>" not in page.split("<tbody>")[1]
    for words in ("Bo", "undone", "Cy", "stands again", "the default → 90000", "new year", "SHA-256", "study, full"):
        assert words in said, words
    assert "2 lines" in client.get("/plant/1/record?kind=view").text and "1 line." in client.get("/plant/1/record?q=dee+budget").text
    monkeypatch.setattr(record_page, "LINES", 4)
    page = client.get("/plant/1/record?page=2").text
    assert "2 of 3" in page and page.count("<tr>") == 1 + 4
    assert "<h1>" not in client.get("/plant/1/record", headers={"hx-request": "true"}).text
    assert client.get("/plant/9/record").status_code == 404


def test_the_record_is_taken_away_as_csv_and_json(client: TestClient) -> None:
    answer = client.get("/plant/1/record.csv")
    assert "attachment" in answer.headers["content-disposition"]
    lines = list(csv.DictReader(io.StringIO(answer.text.removeprefix("\ufeff"))))
    (made,) = [line for line in lines if line["kind"] == "mend" and line["done"] == "made"]
    assert (made["who"], made["after"], made["why"]) == ("'+Ann", "'=1+1", "'@home <b>")  # no spreadsheet runs them
    assert [(line["done"], line["who"]) for line in lines if line["kind"] == "mend"][1:] == [("undone", "Bo"), ("stands again", "Cy")]
    told = json.loads(client.get("/plant/1/record.json").text)
    assert told["plant"] == "North" and len(told["lines"]) == len(lines) == 9
    assert {line["who"] for line in told["lines"]} >= {"+Ann", "Ann", "Bo", "Cy", "Dee", "Eve", "Gil", "Hal", "Ida"}
    assert len(json.loads(client.get("/plant/1/record.json?kind=mend").text)["lines"]) == 3
    for end in ("csv", "json"):
        assert client.get(f"/plant/9/record.{end}").status_code == 404


def test_a_removed_view_stands_again(client: TestClient, space: Workspace) -> None:
    assert "Views of the fleet that were removed" in client.get("/plant/1/record").text
    assert client.post("/plant/1/view/1/restore").headers["location"] == "/plant/1/record?kind=view"
    with space.reading() as connection:
        assert [view["name"] for view in decided.views(connection, 1)] == ["Worst"]
    assert client.post("/plant/1/view/1/restore").status_code == 404
    assert "Views of the fleet that were removed" not in client.get("/plant/1/record").text


def test_the_record_holds_on_a_phone_and_for_a_screen_reader(space: Workspace, chromium: Any) -> None:
    from axe_playwright_python.sync_playwright import Axe

    with served(make_app(space, runs_jobs=False)) as here:
        for width in (390, 1440):
            context = chromium.new_context(viewport={"width": width, "height": 844}, bypass_csp=True)
            page = context.new_page()
            wrong: list[str] = []
            page.on("console", lambda message, wrong=wrong: wrong.append(message.text) if message.type == "error" else None)
            page.goto(f"{here}/plant/1/record", wait_until="networkidle")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            found = Axe().run(page).response["violations"]
            assert not found, [(one["id"], one["nodes"][0]["html"][:200]) for one in found]
            page.get_by_label("Search").fill("budget")
            page.wait_for_selector("text=1 line.")
            assert wrong == []
            context.close()
