"""The frame of the workspace: policy on every answer, own host only, names, running work that can be cancelled and goes on."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from quietseat import demo
from quietseat.basis import load, make
from quietseat.store import Workspace, jobs, open_workspace, plants, rows, studies, tables
from quietseat.study import run
from quietseat.web.app import make_app
from quietseat.web.runner import Runner
from quietseat.web.site import NAME_COOKIE


@pytest.fixture
def space(tmp_path: Path) -> Workspace:
    return open_workspace(tmp_path / "space")


@pytest.fixture
def client(space: Workspace) -> Iterator[TestClient]:
    with TestClient(make_app(space, runs_jobs=False), follow_redirects=False) as made:
        yield made


def test_every_answer_carries_the_policy_and_pages_keep_it(client: TestClient) -> None:
    for address in ("/", "/plant/1/work", "/static/workspace.css", "/static/htmx.min.js", "/blocks.css", "/nowhere"):
        answer = client.get(address)
        policy = answer.headers["content-security-policy"]
        assert "unsafe" not in policy and "default-src 'none'" in policy and answer.headers["x-content-type-options"] == "nosniff"
        if answer.headers["content-type"].startswith("text/html"):
            assert not re.search(r"<script(?! src)|<style|\sstyle=|\son\w+=|https?://", answer.text), address


def test_other_hosts_and_other_pages_are_refused(client: TestClient) -> None:
    assert client.get("/", headers={"host": "plant.example"}).status_code == 421
    assert client.get("/", headers={"host": "localhost:8526"}).status_code == 200
    assert client.post("/demo", headers={"origin": "http://plant.example"}).status_code == 403
    assert client.post("/demo", headers={"sec-fetch-site": "cross-site"}).status_code == 403
    assert client.post("/demo", headers={"sec-fetch-site": "same-origin"}).status_code == 303


def test_a_name_is_kept_and_leads_back_to_this_site_only(client: TestClient) -> None:
    answer = client.post("/name", data={"who": "Ada Ñ", "back": "//plant.example/x"})
    assert answer.status_code == 303 and not answer.headers["location"].startswith("//")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie
    assert 'value="Ada Ñ"' in client.get("/").text


def test_what_does_not_exist_is_said_in_words(client: TestClient) -> None:
    answer = client.get("/plant/7/work")
    assert answer.status_code == 404 and "no such plant" in answer.text and "<h1>" in answer.text
    assert client.get("/plant/seven/work").status_code == 422


def test_every_change_and_every_start_asks_for_a_name(client: TestClient, space: Workspace) -> None:
    """Every address that takes a form, with a plant, a study and a job there; but for the name itself and the demo, which is for looking."""
    client.post("/demo")
    study = run(demo.files().register, make({"time_marching": "none", "money_draws": "100"}), demo.files().mends)
    with space.writing() as connection:
        plants.show_study(connection, 1, studies.save(connection, 1, study, "full"))
    tag = study.records[0].tag
    form = {
        "tag": tag, "words": "x", "why": "x", "name": "x", "remedy": "keep", "changes": '{"valve.blowdown": "10 %"}', "kind": "pin", "row": "1",
        "do": "in", "which": "all", "study": "1", "place": "in", "field": "set_pressure", "value": "10 barg", "sheet": "S", "done": "in.1.1.x",
    }  # fmt: skip
    routes = [route.path for router in client.app.routes for route in _within(router) if "POST" in (route.methods or ())]
    assert len(routes) > 20
    before = _state(space)
    for path in routes:
        if path in ("/name", "/demo"):
            continue
        address = re.sub(r"\{[^}]+\}", "1", path)
        files = {"file": ("list.csv", b"Tag,Set pressure barg\nPSV-1,10\n")} if path == "/register" else None
        answer = client.post(address, data={} if files else {**form, "kind": "cell"} if path.endswith("/mend") else form, files=files)
        assert answer.status_code == 422 and "Give your name first" in answer.text, (path, answer.status_code)
    assert _state(space) == before


def _within(router: Any) -> list[Any]:
    """The routes of a router, those of an included one too."""
    inner = getattr(router, "original_router", None)
    return [one for part in inner.routes for one in _within(part)] if inner else [router] if hasattr(router, "methods") else []


def _state(space: Workspace) -> dict[str, int]:
    with space.reading() as connection:
        return {name: len(rows.listed(connection, table)) for name, table in tables.metadata.tables.items()}


def test_a_register_is_brought_in_under_the_name_of_its_form(client: TestClient, space: Workspace) -> None:
    page = client.get("/").text
    assert re.search(r'<input id="by" name="who" value=""[^>]* required>', page)
    answer = client.post("/register", data={"who": "Ada Ñ", "name": "North"}, files={"file": ("list.csv", b"Tag,Set pressure barg\nPSV-1,10\n")})
    assert answer.status_code == 303 and "quietseat_name=Ada%20%C3%91" in answer.headers["set-cookie"]
    with space.reading() as connection:
        (told,) = rows.noted(connection, 1, kind="plant")
        (job,) = jobs.of_plant(connection, 1)
    assert (told["done"], told["who"], told["after"], job["who"]) == ("brought in", "Ada Ñ", "list.csv", "Ada Ñ")
    assert 'id="by" name="who" value="Ada Ñ"' in client.get("/").text


def test_the_demo_comes_with_its_mends_and_its_choices(client: TestClient, space: Workspace) -> None:
    answer = client.post("/demo")
    assert answer.headers["location"] == "/plant/1/bring-in"
    with space.reading() as connection:
        plant = plants.get(connection, 1)
        (job,) = jobs.of_plant(connection, 1)
        told, came = rows.noted(connection, 1, kind="plant")
    assert "4 mends" in came["after"] and "budget: 300000" in came["words"]
    assert job["who"] == told["who"] == came["who"] == "not named"  # one click at the first start, and recorded as such
    assert plant is not None and plant.demo and job["given"] == {"stage": "first look"}
    assert dict(plant.basis) == dict(load(demo.files().basis).changed())
    mends = plants.inputs(space, plant)[1]
    assert mends is not None and mends.read_text().splitlines() == demo.files().mends.read_text().splitlines()


def wait(space: Workspace, number: int, states: tuple[str, ...], seconds: float = 120.0) -> str:
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        with space.reading() as connection:
            found = jobs.get(connection, number)
        assert found is not None
        if found["state"] in states:
            return str(found["state"])
        time.sleep(0.1)
    raise AssertionError(f"job {number} is {found['state']} after {seconds} s: {found['words']}")


def test_work_is_cancelled_goes_on_and_survives_the_server(client: TestClient, space: Workspace) -> None:
    client.post("/demo")
    runner = Runner(space)
    runner.start()
    try:
        wait(space, 1, ("running",))
        client.cookies.set(NAME_COOKIE, "Ada")
        assert client.post("/plant/1/work/1/cancel").status_code == 303
        assert wait(space, 1, ("cancelled",)) == "cancelled"
        time.sleep(1.0)
        assert "Go on" in client.get("/plant/1/work").text
        client.cookies.set(NAME_COOKIE, "Bo")
        client.post("/plant/1/work/1/resume")
        told = re.sub(r"\s+", " ", client.get("/plant/1/work").text)
        assert re.search(r"started 20\S+ \S+ UTC without a name; cancelled \S+ by Ada; gone on with \S+ by Bo", told)
        wait(space, 1, ("running",))
    finally:
        runner.stop()  # the server ends while the job runs
    second = Runner(space)
    second.start()
    try:
        assert wait(space, 1, ("done", "failed")) == "done"
    finally:
        second.stop()
    with space.reading() as connection:
        plant = plants.get(connection, 1)
    assert plant is not None and plant.study is not None
