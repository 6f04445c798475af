"""The pages Plan, Ask, Basis and Checks: what they say agrees with the commands, changes are kept with who, nothing unreadable passes."""

from __future__ import annotations

import csv
import io
import re
import time
from collections.abc import Callable, Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from conftest import served
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
    given, hold = {"tag": first}, "/plant/1/plan/hold?budget=300000&outage=12&crew=240"
    answer = client.post(hold, data={**given, "place": "out"})
    assert answer.status_code == 303 and answer.headers["location"] == "/plant/1/plan?budget=300000&outage=12&crew=240"
    page = text(client, "/plant/1/plan/exact?budget=300000&outage=12&crew=240")
    assert "against the best plan without this hold" in page and "held out by hand" in page and "Ann Body, 20" in page
    with open_workspace(space_copy).reading() as connection:
        assert decided.pins(connection, 1) == {first: "out"}
        assert rows.listed(connection, tables.pin)[0]["who"] == "Ann Body"
    client.post(hold, data={**given, "place": "free"})
    assert "held out by hand" not in text(client, "/plant/1/plan/exact")


def test_a_valve_held_out_shows_its_remedy_and_price(client: TestClient) -> None:
    first = next(csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)))
    client.post("/plant/1/plan/hold", data={"tag": first["tag"], "place": "out"})
    held = next(line for line in csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)) if line["tag"] == first["tag"])
    assert held["remedy"] and float(held["cost middle USD"]) > 0
    assert (held["place"], held["why"], held["what would let it in"]) == ("out", "held out by hand", "in once freed")


def test_money_is_printed_one_way_and_never_broken(client: TestClient) -> None:
    address = "/plant/1/plan{}?budget=300000&outage=12&crew=240"
    for page in (text(client, address.format(""), **{"HX-Request": "true"}), text(client, address.format("/exact"))):
        told = page.partition("Assumed:")[0]
        assert re.search("\u00a0USD", told) and not re.search(r"\d k USD|\d USD|\d \d{3}\b|-\d+\u00a0", told)


def test_what_cannot_be_held_is_refused_in_words(client: TestClient) -> None:
    given = {"place": "in"}
    assert client.post("/plant/1/plan/hold", data={**given, "tag": "NO-SUCH"}).status_code == 404
    unproven = next(line["tag"] for line in csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)) if not line["cost middle USD"])
    answer = client.post("/plant/1/plan/hold", data={**given, "tag": unproven})
    assert answer.status_code == 422 and "no remedy of the study clears" in answer.text
    client.cookies.clear()
    assert client.post("/plant/1/plan/hold", data={**given, "tag": unproven}).status_code == 422  # nobody named


def test_more_held_in_than_the_limits_bear_is_said(client: TestClient) -> None:
    tags = [line["tag"] for line in csv.DictReader(io.StringIO(client.get("/plant/1/plan.csv").text)) if line["place"] == "in"][:4]
    for tag in tags:
        client.post("/plant/1/plan/hold", data={"tag": tag, "place": "in"})
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


def test_dated_windows_in_the_address_are_planned_and_kept_in_the_form(client: TestClient) -> None:
    spring, autumn = f"{date.today() + timedelta(days=400)}", f"{date.today() + timedelta(days=700)}"
    limits = f"budget=300000&outage=5&crew=240&window=spring&start={spring}&days=12&hours=90&money=100000&window=autumn&start={autumn}&days=&hours=&money="
    page = text(client, f"/plant/1/plan?{limits}")
    assert 'value="spring"' in page and f'value="{autumn}"' in page and page.count("<legend>Window") == 3 and "stop findings cured" in page
    table = list(csv.DictReader(io.StringIO(client.get(f"/plant/1/plan.csv?{limits}").text)))
    inside = {name: [line for line in table if line["place"] == "in" and line["window"] == name] for name in ("spring", "autumn")}
    assert inside["spring"] and inside["autumn"]
    assert sum(float(line["hours"]) for line in inside["spring"]) <= 90 and sum(float(line["cost middle USD"]) for line in inside["spring"]) <= 100000
    assert sum(float(line["hours"]) for line in inside["autumn"]) <= 240  # the hours above stand for a window without its own
    answer = client.post(f"/plant/1/plan/hold?{limits}", data={"tag": inside["spring"][0]["tag"], "place": "out"})
    assert f"window=autumn&start={autumn}" in answer.headers["location"]
    assert "order by" in text(client, f"/plant/1/plan/exact?{limits}")


def test_windows_that_cannot_be_used_are_refused_in_words(client: TestClient) -> None:
    page = text(client, "/plant/1/plan?window=old&start=2001-01-01")
    assert "The windows cannot be used" in page and "lies before now" in page and 'value="2001-01-01"' in page and "/plan/exact" not in page
    assert client.get("/plant/1/plan/exact?window=old&start=2001-01-01").status_code == 422
    assert "start is missing" in text(client, "/plant/1/plan?window=spring", **{"HX-Request": "true"})


def test_the_answer_at_once_names_whole_valves_and_parts(client: TestClient) -> None:
    piece = text(client, "/plant/1/plan?budget=100000&outage=12&crew=240", **{"HX-Request": "true"})
    whole, part = (re.search(rf"<b>{word}:</b>(.*?)</p>", piece) for word in ("Whole", "In part"))
    assert whole and part and len(re.findall("<a ", whole[1])) + len(re.findall("<a ", part[1])) == int(re.search(r"(\d+) valves", piece)[1])
    assert re.search(r"</a> \d+ %", part[1])


def test_a_hold_on_a_valve_the_plan_no_longer_has_can_be_freed(client: TestClient, space_copy: Path) -> None:
    space = open_workspace(space_copy)
    with space.writing() as connection:
        decided.pin(connection, 1, "GONE-1", "in", "Ann Body")
    page = text(client, "/plant/1/plan/exact")
    assert "GONE-1" in page and "without effect" in page and "valves chosen" in page
    assert client.post("/plant/1/plan/hold", data={"tag": "GONE-1", "place": "free"}).status_code == 303
    with space.reading() as connection:
        assert decided.pins(connection, 1) == {}


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
    assert "What this would change" in page and "/plant/1/basis/effect?to.operating_limit_metal=80" in page and "Apply" not in page
    piece = text(client, "/plant/1/basis/effect?to.operating_limit_metal=80 %25", **{"HX-Request": "true"})
    assert "<html" not in piece and "Tried on all 77 valves" in piece and "valves change" in piece and "Apply, and run the study again" in piece
    assert client.get("/plant/1/basis/effect").status_code == 422
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


def test_limits_and_choice_of_a_row_stand_apart(client: TestClient) -> None:
    with_choice = re.search(r'<span class="small">chosen here; default', text(client, "/plant/1/basis"))
    assert with_choice and text(client, "/plant/1/basis")[with_choice.start() - 4 : with_choice.start()] == "<br>"


def test_a_value_that_cannot_be_used_is_refused_in_words(client: TestClient) -> None:
    page = text(client, "/plant/1/basis?to.budget=plenty")
    assert "cannot be used" in page and "Apply" not in page
    row = page.partition('<tr id="budget">')[2].partition("</tr>")[0]  # the words stand beside the field, which keeps what was written
    assert 'aria-describedby="wrong-budget"' in row and 'value="plenty"' in row and "plenty&#39; is not" in row.partition('id="wrong-budget"')[2]
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

    def slow() -> list[dict[str, object]]:
        runs.append(1)
        time.sleep(0.2)
        return [line, {**line, "name": "Two", "result": "fail"}]

    monkeypatch.setattr(checks_page, "RUN", checks_page.Run(slow))
    assert "being run" in text(client, "/plant/1/checks")
    table = client.get("/plant/1/checks.csv").text.splitlines()
    page = text(client, "/plant/1/checks?result=fail")
    assert "1 pass, 1 fail, 0 skipped" in page and "Two" in page and "t: One" not in page and "p. 1" in page
    assert len(table) == 3 and len(runs) == 1


def test_checks_that_cannot_be_run_say_so(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken() -> list[dict[str, object]]:
        raise RuntimeError("no such table")

    monkeypatch.setattr(checks_page, "RUN", checks_page.Run(broken))
    client.get("/plant/1/checks.csv")
    assert "could not be run: RuntimeError: no such table" in text(client, "/plant/1/checks")


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
        issued.review_by(connection, 1, "Kim Roe", "Ann Body")
        files = issued.Made(issued.mark(issued.as_data(connection, 1)), [(name, 1, "0" * 64) for name in issued.FILES])
        issued.lock(connection, 1, "Ann Body", lambda: files, reviewed=True)
        (said,) = [row for row in issued.remarks(connection, 1) if row["words"] == "before"]
    answer = client.post("/plant/1/valve/remark", data={"tag": tag, "words": "after"})
    assert answer.status_code == 422 and "locked" in answer.text
    answer = client.post("/plant/1/valve/undo", data={"tag": tag, "kind": "remark", "row": said["id"]})
    assert answer.status_code == 422 and "locked" in answer.text
    with space.reading() as connection:
        assert [row["words"] for row in issued.remarks(connection, 1)] == ["before"]
        assert issued.remarks(connection, 1)[0]["undone_at"] is None


# -- in a browser ----------------------------------------------------------------------------------------------


@pytest.fixture
def opened(chromium: Any, space_copy: Path) -> Iterator[Callable[..., tuple[Any, list[str]]]]:
    """Opens an end of the demo plant's addresses in a browser; gives the page and the errors it made."""
    contexts = []
    with served(make_app(open_workspace(space_copy), runs_jobs=False)) as base:

        def go(end: str, **given: Any) -> tuple[Any, list[str]]:
            context = chromium.new_context(**given)
            contexts.append(context)
            context.add_cookies([{"name": NAME_COOKIE, "value": "Ann%20Body", "url": base}])
            tab, errors = context.new_page(), []
            tab.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
            tab.on("request", lambda request: None if request.url.startswith((base, "data:")) else errors.append(request.url))
            tab.goto(f"{base}/plant/1/{end}", wait_until="networkidle")
            return tab, errors

        yield go
        for context in contexts:
            context.close()


def test_the_last_place_of_a_slider_holds_and_a_dragged_valve_is_held(opened: Callable[..., tuple[Any, list[str]]]) -> None:
    tab, errors = opened("plan?budget=300000&outage=12&crew=240")
    tab.wait_for_selector(".lists")
    tab.evaluate("""async () => { const slider = document.querySelector("[data-slider=budget]");
        for (let step = 1; step <= 20; step++) {
            slider.value = step * 6000; slider.dispatchEvent(new Event("input", { bubbles: true }));
            await new Promise((next) => setTimeout(next, 20)); } }""")
    tab.wait_for_selector("#exact:not(.old) >> text=/budget 120\\s000\\sUSD/")
    assert tab.url.endswith("/plan?budget=120000&outage=12&crew=240") and tab.input_value("#budget") == "120000"
    row = tab.locator("section[data-place=in] tr[data-tag]").first
    tag = row.get_attribute("data-tag")
    row.drag_to(tab.locator("section[data-place=out]"), source_position={"x": 4, "y": 4}, target_position={"x": 20, "y": 120})
    assert tag in tab.locator("[aria-label='Held by hand']").inner_text()
    assert errors == []


@pytest.mark.parametrize("end", ["plan?window=spring&start=2099-05-10&money=90000", "ask", "basis?to.operating_limit_metal=80 %25", "basis?to.budget=plenty"])
def test_a_phone_shows_it_without_sideways_scroll_and_axe_finds_nothing(opened: Callable[..., tuple[Any, list[str]]], end: str) -> None:
    import axe_playwright_python

    tab, errors = opened(end, viewport={"width": 390, "height": 844}, bypass_csp=True)
    if end.startswith("plan"):
        tab.wait_for_selector("#curve svg")
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390
    tab.evaluate(next(Path(axe_playwright_python.__file__).parent.rglob("axe.min.js")).read_text(encoding="utf-8"))
    found = tab.evaluate("axe.run(document)")["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in found] == [] and errors == []
