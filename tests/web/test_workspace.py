"""The frame of the workspace: policy on every answer, own host only, names, running work that can be cancelled and goes on."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from quietseat import demo
from quietseat.basis import load
from quietseat.store import Workspace, jobs, open_workspace, plants
from quietseat.web.app import make_app
from quietseat.web.runner import Runner


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


def test_the_demo_comes_with_its_mends_and_its_choices(client: TestClient, space: Workspace) -> None:
    answer = client.post("/demo")
    assert answer.headers["location"] == "/plant/1/bring-in"
    with space.reading() as connection:
        plant = plants.get(connection, 1)
        (job,) = jobs.of_plant(connection, 1)
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
        assert client.post("/plant/1/work/1/cancel").status_code == 303
        assert wait(space, 1, ("cancelled",)) == "cancelled"
        time.sleep(1.0)
        assert "Go on" in client.get("/plant/1/work").text
        client.post("/plant/1/work/1/resume")
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
