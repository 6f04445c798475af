"""What cannot be done is said in words, inside the plant's own pages, with what was sent and the way back."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from quietseat.store import open_workspace, plants
from quietseat.web import bring_in, guard
from quietseat.web.app import make_app
from quietseat.web.refused import plain


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    space = open_workspace(tmp_path / "space")
    number = space.keep_file("list.csv", b"Tag,Set pressure (barg)\nPSV-1,9\n")
    with space.writing() as connection:
        plants.add(connection, "Plant A", number, {})
    with TestClient(make_app(space, runs_jobs=False), follow_redirects=False, raise_server_exceptions=False) as made:
        made.cookies.set("quietseat_name", "Ada")
        yield made


def words(answer: Any) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)))


def test_a_refused_page_keeps_the_menu_shows_what_was_sent_and_leads_back(client: TestClient) -> None:
    given = {"kind": "cell", "sheet": "list", "row": "2", "field": "set_pressure", "value": "9 furlong", "why": "", "back": "/plant/1/bring-in", "token": "hidden"}
    answer = client.post("/plant/1/mend", data=given, headers={"referer": "http://testserver/plant/1/bring-in?show=rows"})
    said = words(answer)
    assert answer.status_code == 422 and 'aria-label="Pages of this plant"' in answer.text and "Plant A" in said
    assert "Write why" in said and 'value="9 furlong"' in answer.text and 'value="set_pressure"' in answer.text and 'value="hidden"' not in answer.text
    assert 'href="/plant/1/bring-in?show=rows">Back to where you were' in answer.text
    assert '<a href="/plant/1/bring-in" aria-current="page">' in answer.text


def test_unreadable_values_are_told_in_plain_words(client: TestClient) -> None:
    answer = client.get("/plant/1/bring-in?page=0")
    assert answer.status_code == 422 and "Page of the list '0': it is below 1. To mend it: write 1 or more." in words(answer)
    answer = client.post("/plant/1/mend", data={"kind": "cell", "sheet": "list", "row": "two"})
    assert "Row 'two': it is no whole number. To mend it: write a whole number, such as 12." in words(answer)
    answer = client.post("/plant/1/mend", data={"row": "2"})
    assert "Sheet: nothing was given. To mend it: fill it in." in words(answer) and "Kind of mend: nothing was given" in words(answer)
    answer = client.get("/plant/one/fleet")
    assert "Number in the address 'one': it is no whole number" in words(answer)
    for page in (answer.text, client.get("/plant/1/bring-in?page=0").text):
        assert "Input should" not in page and "valid" not in page


@pytest.mark.parametrize("kind", ["missing", "int_parsing", "float_parsing", "bool_parsing", "string_too_long", "greater_than", "less_than_equal", "enum", "of a new kind"])
def test_every_kind_names_field_rule_and_mend(kind: str) -> None:
    said = plain({"type": kind, "loc": ("query", "page"), "input": "x", "msg": "Input should be x", "ctx": {"gt": 0, "le": 5.0, "max_length": 9, "expected": "a or b"}})
    assert said.startswith("Page of the list 'x': ") and ". To mend it: " in said and "Input" not in said and "{" not in said


@pytest.mark.parametrize(("address", "words_"), [("/nothing", "no page at this address"), ("/plant/1/nothing", "no page at this address"), ("/plant/99/fleet", "no such plant")])
def test_an_address_that_leads_nowhere(client: TestClient, address: str, words_: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 404 and words_ in words(answer) and "Not Found" not in answer.text
    assert ("Pages of this plant" in answer.text) == address.startswith("/plant/1/")


def test_a_way_back_leads_to_no_other_host(client: TestClient) -> None:
    answer = client.get("/plant/1/nothing", headers={"referer": "http://elsewhere.example/plant/1/fleet"})
    assert 'href="/plant/1/fleet">Back' in answer.text and "elsewhere" not in answer.text


def test_a_piece_says_it_in_the_page_that_asked(client: TestClient) -> None:
    answer = client.get("/plant/1/basis/effect", headers={"HX-Request": "true"})
    assert answer.status_code == 422 and "<html" not in answer.text and "<h1" not in answer.text and "nothing would change" in answer.text


def test_a_fault_of_the_program_keeps_the_page(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("inside")

    monkeypatch.setattr(bring_in, "_since", broken)
    answer = client.get("/plant/1/bring-in")
    assert answer.status_code == 500 and "ZeroDivisionError" in words(answer) and "Pages of this plant" in answer.text
    assert answer.headers["content-security-policy"] == guard.POLICY
