"""The pages Plan, Ask, Basis and Checks: what they say agrees with the commands, changes are kept with who, nothing unreadable passes."""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from quietseat.basis import make
from quietseat.planning import rank
from quietseat.store import decided, issued, jobs, open_workspace, plants, rows, studies, tables
from quietseat.web import checks as checks_page
from quietseat.web.app import make_app
from quietseat.web.site import NAME_COOKIE


@pytest.fixture
def client(space_copy: Path) -> Iterator[TestClient]:
    with TestClient(make_app(open_workspace(space_copy), runs_jobs=False), follow_redirects=False) as made:
        made.cookies.set(NAME_COOKIE, "Ann%20Body")
        yield made


def text(client: TestClient, address: str, **headers: str) -> str:
    answer = client.get(address, headers=headers)
    assert answer.status_code == 200, answer.text
    return answer.text


# -- plan ------------------------------------------------------------------------------------------------------


def test_the_exact_plan_is_that_of_the_command(client: TestClient, space_copy: Path) -> None:
    space = open_workspace(space_copy)
    with space.reading() as connection:
        plant = plants.get(connection, 1)
        assert plant is not None
        items = studies.items(connection, 1)
    answer = rank(items, make(plant.basis))
    table = list(csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)))
    assert [line["tag"] for line in table if line["place"] == "in"] == [one["tag"] for one in answer["chosen"]]
    assert len(table) == len(answer["chosen"]) + len(answer["left_out"])
    page = text(client, "/plant/1/plan/exact")
    assert answer["words"] in page and "Until they are cured" in page


def test_limits_in_the_address_move_the_plan_and_come_back_in_the_form(client: TestClient) -> None:
    page = text(client, "/plant/1/plan?budget=20000&outage=5&crew=60")
    assert 'value="20000"' in page and 'value="5"' in page and 'value="60"' in page
    piece = text(client, "/plant/1/plan?budget=20000&outage=5&crew=60", **{"HX-Request": "true"})
    assert "<html" not in piece and "stop findings cured" in piece and "/plan/exact?budget=20000" in piece
    assert "Nothing is chosen" in text(client, "/plant/1/plan/exact?budget=0")
    assert client.get("/plant/1/plan?budget=-1").status_code == 422


def test_a_valve_held_out_leaves_the_plan_with_its_price_and_comes_back(client: TestClient, space_copy: Path) -> None:
    first = next(csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)))["tag"]
    given = {"tag": first, "budget": "300000", "outage": "12", "crew": "240"}
    assert client.post("/plant/1/plan/hold", data={**given, "place": "out"}).status_code == 303
    page = text(client, "/plant/1/plan/exact?budget=300000&outage=12&crew=240")
    assert "against the best plan without this hold" in page and "held out by hand" in page
    with open_workspace(space_copy).reading() as connection:
        assert decided.pins(connection, 1) == {first: "out"}
        assert rows.listed(connection, tables.pin)[0]["who"] == "Ann Body"
    client.post("/plant/1/plan/hold", data={**given, "place": "free"})
    assert "held out by hand" not in text(client, "/plant/1/plan/exact")


def test_what_cannot_be_held_is_refused_in_words(client: TestClient) -> None:
    given = {"budget": "300000", "outage": "12", "crew": "240", "place": "in"}
    assert client.post("/plant/1/plan/hold", data={**given, "tag": "NO-SUCH"}).status_code == 404
    unproven = next(line["tag"] for line in csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)) if not line["cost middle USD"])
    answer = client.post("/plant/1/plan/hold", data={**given, "tag": unproven})
    assert answer.status_code == 422 and "no remedy of the study clears" in answer.text
    client.cookies.clear()
    assert client.post("/plant/1/plan/hold", data={**given, "tag": unproven}).status_code == 422  # nobody named


def test_more_held_in_than_the_limits_bear_is_said(client: TestClient) -> None:
    tags = [line["tag"] for line in csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)) if line["place"] == "in"][:4]
    for tag in tags:
        client.post("/plant/1/plan/hold", data={"tag": tag, "place": "in", "budget": "1000", "outage": "12", "crew": "240"})
    assert "does not fit into these limits" in text(client, "/plant/1/plan?budget=1000")
    assert "does not fit" in text(client, "/plant/1/plan/exact?budget=1000")


def test_the_curve_has_words_for_who_cannot_see_it(client: TestClient) -> None:
    page = text(client, "/plant/1/plan/curve")
    assert re.search(r'<svg role="img" aria-label="[^"]*udget', page) and "How often each valve is in the best set" in page


def test_large_sums_stay_whole_in_addresses_and_forms(client: TestClient) -> None:
    page = text(client, "/plant/1/plan?budget=1234567.5&outage=12&crew=2400000")
    assert 'value="1234567.5"' in page and "budget=1234567.5&amp;outage=12&amp;crew=2400000" in page and "e+0" not in page
    assert client.get("/plant/1/plan/exact?budget=1234567.5&outage=12&crew=2400000").status_code == 200


def test_the_plan_takes_the_remedy_decided_on(client: TestClient, space_copy: Path) -> None:
    space = open_workspace(space_copy)
    with space.reading() as connection:
        items = studies.items(connection, 1)
    item = next(one for one in items if len({option.remedy for option in one.options}) > 1)
    dearest = max(item.options, key=lambda option: option.spend.mid)
    with space.writing() as connection:
        decided.decide(connection, 1, item.tag, dearest.remedy, dearest.title, "site standard", "Ann Body")
    table = {line["tag"]: line for line in csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv?budget=9000000&crew=90000").text))}
    assert table[item.tag]["place"] == "in" and table[item.tag]["remedy"] == dearest.title


def test_a_hold_without_a_remedy_binds_nothing(client: TestClient, space_copy: Path) -> None:
    unproven = next(line["tag"] for line in csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)) if not line["cost middle USD"])
    assert client.post("/plant/1/valve/hold", data={"tag": unproven, "place": "in"}).status_code == 422
    with open_workspace(space_copy).writing() as connection:
        decided.pin(connection, 1, unproven, "in", "Ann Body")  # as a bulk action may do
    page = text(client, "/plant/1/plan/exact")
    assert "without effect" in page and unproven in page and "valves chosen" in page


def test_pages_say_what_the_study_they_show_does_not_hold(client: TestClient) -> None:
    assert "Since study" not in text(client, "/plant/1/fleet")
    client.post("/plant/1/basis", data={"to.budget": "50000", "why": "cut"})
    for end in ("fleet", "plan", "study"):
        assert "Since study 1: choices of the Basis changed" in text(client, f"/plant/1/{end}"), end


def test_a_first_change_without_a_name_leads_back(client: TestClient) -> None:
    client.cookies.clear()
    answer = client.post("/plant/1/basis", data={"to.budget": "1", "why": "x"}, headers={"referer": "http://testserver/plant/1/basis?to.budget=1"})
    assert answer.status_code == 422 and 'name="back" value="/plant/1/basis?to.budget=1"' in answer.text


# -- ask -------------------------------------------------------------------------------------------------------


def test_questions_are_filtered_and_the_form_is_a_mends_file(client: TestClient) -> None:
    page = text(client, "/plant/1/ask")
    every = len(re.findall(r'<tr><th scope="row"><a href="/plant/1/valve', page))
    few = text(client, "/plant/1/ask?who=field%20technician")
    assert 0 < len(re.findall(r'<tr><th scope="row"><a href="/plant/1/valve', few)) < every
    assert "No question matches" in text(client, "/plant/1/ask?q=zzzz")
    form = list(csv.DictReader(io.StringIO(client.get("/plant/1/ask/mends-form.csv").text)))
    assert form and set(form[0]) == {"sheet", "row", "field", "value", "who", "when", "why"}
    assert client.get("/plant/1/ask/walk-down.pdf").content.startswith(b"%PDF")
    assert client.get("/plant/1/ask/walk-down.xlsx").content.startswith(b"PK")
    assert client.get("/plant/1/ask/other.txt").status_code == 404


def test_an_answer_is_a_mend_with_who_and_when(client: TestClient, space_copy: Path) -> None:
    line = next(one for one in csv.DictReader(io.StringIO(client.get("/plant/1/ask/mends-form.csv").text)) if one["field"] == "inlet.length")
    given = {"sheet": line["sheet"], "row": line["row"], "field": line["field"], "value": "2.4 m", "why": "tape"}
    assert client.post("/plant/1/ask", data=given).status_code == 303
    with open_workspace(space_copy).reading() as connection:
        (mend,) = [row for row in rows.listed(connection, tables.mend, plant_id=1) if row["value"] == "2.4 m"]
    assert mend["who"] == "Ann Body" and mend["why"].startswith("tape; ") and mend["kind"] == "cell"
    assert "2.4 m" in text(client, "/plant/1/ask") and "since study" in text(client, "/plant/1/ask")
    assert client.post("/plant/1/ask", data={**given, "value": " "}).status_code == 422
    assert client.post("/plant/1/ask", data={**given, "row": "9999"}).status_code == 404


# -- basis -----------------------------------------------------------------------------------------------------


def test_a_change_is_listed_before_it_is_applied(client: TestClient, space_copy: Path) -> None:
    page = text(client, "/plant/1/basis?to.operating_limit_metal=80 %25")
    assert "What this would change" in page and "Tried on all 77 valves" in page and "valves change" in page
    with open_workspace(space_copy).reading() as connection:
        before = plants.get(connection, 1)
    assert before is not None and "operating_limit_metal" not in before.basis
    assert client.post("/plant/1/basis", data={"to.operating_limit_metal": "80 %", "why": "site rule"}).status_code == 303
    space = open_workspace(space_copy)
    with space.reading() as connection:
        after = plants.get(connection, 1)
        (kept,) = rows.listed(connection, tables.choice)
        queued = jobs.of_plant(connection, 1)
    assert after is not None and after.basis["operating_limit_metal"] == "80 %"
    assert (kept["who"], kept["before"], kept["value"], kept["why"]) == ("Ann Body", None, "80 %", "site rule")
    assert queued[0]["state"] == "waiting"
    page = text(client, "/plant/1/basis")
    assert "Changes made" in page and "other choices than stand now" in page
    client.post("/plant/1/basis", data={"to.operating_limit_metal": "", "why": "back"})  # the default again
    with space.reading() as connection:
        back = plants.get(connection, 1)
    assert back is not None and "operating_limit_metal" not in back.basis


def test_a_value_that_cannot_be_used_is_refused_in_words(client: TestClient) -> None:
    page = text(client, "/plant/1/basis?to.budget=plenty")
    assert "cannot be used" in page and "plenty" in page and "Apply" not in page
    assert client.post("/plant/1/basis", data={"to.budget": "plenty", "why": "x"}).status_code == 422
    assert client.post("/plant/1/basis", data={"why": "nothing"}).status_code == 422
    for beyond in ("0 %", "200 %", "-5 %"):
        assert "cannot be used" in text(client, f"/plant/1/basis?to.operating_limit_metal={beyond.replace('%', '%25')}")
    assert client.get(f"/plant/{2**70}/basis").status_code == 404


# -- checks ----------------------------------------------------------------------------------------------------


def test_checks_are_run_once_in_the_background_and_listed(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    line = {"topic": "t", "name": "One", "case": None, "source": "S", "page": "p. 1", "confidence": "seen", "unit": "m", "expected": 1.0,
            "tolerance": 0.1, "obtained": 1.05, "difference": 0.05, "result": "pass"}  # fmt: skip
    runs = []

    def slow() -> dict[str, object]:
        runs.append(1)
        time.sleep(0.2)
        return {"checks": [line, {**line, "name": "Two", "result": "fail"}]}

    monkeypatch.setattr("quietseat.checks.run", slow)
    monkeypatch.setattr(checks_page, "RUN", checks_page.Run())
    assert "being run" in text(client, "/plant/1/checks")
    table = client.get("/plant/1/checks.csv").text.splitlines()
    page = text(client, "/plant/1/checks?result=fail")
    assert "1 pass, 1 fail, 0 skipped" in page and "Two" in page and "t: One" not in page and "p. 1" in page
    assert len(table) == 3 and len(runs) == 1


def test_without_a_study_the_pages_say_so(tmp_path: Path) -> None:
    space = open_workspace(tmp_path / "empty")
    file = space.keep_file("list.csv", b"Tag,Set pressure barg\nPSV-1,10\n")
    with space.writing() as connection:
        plants.add(connection, "New", file, {})
    with TestClient(make_app(space, runs_jobs=False)) as client:
        assert "No study to plan yet" in text(client, "/plant/1/plan")
        assert "No study with questions yet" in text(client, "/plant/1/ask")
        assert "Every choice behind the study" in text(client, "/plant/1/basis")


# -- a locked study --------------------------------------------------------------------------------------------


def test_a_locked_study_takes_no_remark_from_any_page(client: TestClient, space_copy: Path) -> None:
    tag = next(csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)))["tag"]
    assert client.post("/plant/1/valve/remark", data={"tag": tag, "words": "before"}).status_code == 303
    space = open_workspace(space_copy)
    with space.writing() as connection:
        issued.issue(connection, 1, "Rev A", "Ann Body")
        issued.lock(connection, 1, "Ann Body")
        (said,) = [row for row in issued.remarks(connection, 1) if row["words"] == "before"]
    answer = client.post("/plant/1/valve/remark", data={"tag": tag, "words": "after"})
    assert answer.status_code == 422 and "locked" in answer.text
    answer = client.post("/plant/1/valve/undo", data={"tag": tag, "kind": "remark", "row": said["id"]})
    assert answer.status_code == 422 and "locked" in answer.text
    with space.reading() as connection:
        assert [row["words"] for row in issued.remarks(connection, 1)] == ["before", "Locked."]
        assert issued.remarks(connection, 1)[0]["undone_at"] is None
