"""The fleet page over a study written by hand: what it finds, counts, sorts, changes and gives away as files.

Expected orders and counts are read off VALVES by eye. Browser tests are skipped with a line where there is no Chromium.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import re
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from conftest import served
from fastapi.testclient import TestClient
from sqlalchemy import insert

from quietseat.store import Workspace, decided, fleet, open_workspace, plants, rows, tables
from quietseat.store.fleet import FACETS, SORTS, Wanted, letter, natural
from quietseat.web.app import make_app
from quietseat.web.fleet import read_asked
from quietseat.web.site import NAME_COOKIE

ODD = "20/PSV-3 [row 7] & <b>"
# tag, verdict, unit, cause, kind, size, fluid, set barg, recommended, title, cost, npv, in plan, open checks
VALVES = (
    ("PSV-9", "misfit", "Unit 1", "chatter", "conventional", "4P6", "propane", 10.0, "bellows", "Balanced bellows", 9000.0, -500.0, True, 0),
    ("PSV-10", "misfit", "Unit 1", "oversized", "bellows", "2J3", "water", 8.0, "restricted-lift", "Restricted lift: 40% of full lift", 7000.0, 100.0, True, 1),
    ("PSV-2", "misfit", "Unit 2", "chatter", "conventional", "2J3", "propane", 12.0, "restricted-lift", "Restricted lift: 60% of full lift", 8000.0, None, False, 0),
    (ODD, "unproven", "Unit 10", "", "conventional", "1.5?2", "propane", None, "measure-first", "Measure first: the set pressure", 2000.0, None, False, 2),
    ("=1+1", "watch", "+Unit", "", "pilot", "1D2", "@SUM(A1)", 5.0, "", "", None, None, False, 0),
    ("PSV-1", "sound", "", "", "conventional", "1D2", "steam", 5.0, "", "", None, None, False, 0),
)  # fmt: skip
HEAD = {
    "hash": "0" * 64,
    "basis": {"choices": [{"name": "pressure_unit", "value": "barg"}, {"name": "currency", "value": "EUR"}]},
}


def _valve(study: int, rank: int, one: tuple[Any, ...]) -> dict[str, Any]:
    tag, verdict, unit, cause, kind, size, fluid, barg, name, title, cost, npv, in_plan, opens = one
    packed = {"assumptions": [{"field": "cases.0.rate_basis", "source": ""}, {"field": "cases.1.rate_basis", "source": ""},
                              {"field": "cases.0.accumulation", "source": "basis"}],
              "findings": [{"outcome": "open", "rests_on": ["valve.set_pressure"]}] if opens else []}  # fmt: skip
    return {
        "study_id": study, "tag": tag, "rank": rank, "verdict": verdict, "severity": "", "unit": unit, "kind": kind, "designation": size, "fluid": fluid,
        "set_pressure": None if barg is None else barg * 1e5 + 101325, "cause_code": cause, "cause": "", "operating_ratio": 0.9, "utilisation": None,
        "inlet_loss": None, "built_up": None, "recommended": name, "recommended_title": title, "clears": "yes" if name else "", "cost": cost, "npv": npv,
        "leak": None, "in_plan": in_plan, "defaults": 0, "opens": opens, "score": 100.0 / rank, "codes": cause,
        "words": f"{tag} rv-{rank}00 {unit} {fluid} {title}".lower(), "summary": "{}", "place": "{}", "packed": zlib.compress(json.dumps(packed).encode()),
        "steps": None,
    }  # fmt: skip


def _filled(folder: Path, valves: tuple[tuple[Any, ...], ...] = VALVES) -> Workspace:
    workspace = open_workspace(folder)
    file = workspace.keep_file("register.csv", b"Tag\n")
    with workspace.writing() as connection:
        plant = plants.add(connection, "Invented", file, {})
        head = zlib.compress(json.dumps(HEAD).encode())
        study = rows.add(
            connection,
            tables.study,
            plant_id=plant,
            number=1,
            stage="full",
            state="draft",
            hash="0" * 64,
            version="0",
            valves=len(valves),
            head=head,
        )
        connection.execute(insert(tables.valve), [_valve(study, rank, one) for rank, one in enumerate(valves, 1)])
        plants.show_study(connection, plant, study)
        plants.add(connection, "Without a study", file, {})
    return workspace


@pytest.fixture
def workspace(tmp_path: Path) -> Workspace:
    return _filled(tmp_path / "ws")


def _client(workspace: Workspace, who: str = "Ada") -> TestClient:
    client = TestClient(make_app(workspace, runs_jobs=False), follow_redirects=False)
    if who:
        client.cookies.set(NAME_COOKIE, who)
    return client


@pytest.fixture
def client(workspace: Workspace) -> TestClient:
    return _client(workspace)


def _tags(text: str) -> list[str]:
    return re.findall(r'<input type="checkbox" name="tag" value="([^"]*)"', text)


def test_what_was_assumed_is_marked_with_its_words(workspace: Workspace) -> None:
    packed = {
        "chatter": {"assumptions": [{"field": "valve.kind", "value": "drawn", "rule": "not the valve's own", "source": "estimate"}]},
        "assumptions": [{"field": "valve.kind", "value": "conventional", "rule": "conventional where nobody says", "source": "estimate"},
                        {"field": "cases.0.accumulation", "value": "110 %", "rule": "a choice", "source": "basis"}],
        "valve": {}, "findings": [],
    }  # fmt: skip
    with workspace.writing() as connection:
        number = rows.listed(connection, tables.valve, tag="PSV-2")[0]["id"]
        rows.change(connection, tables.valve, number, {"packed": zlib.compress(json.dumps(packed, separators=(",", ":")).encode())})
    text = _client(workspace).get("/plant/1/fleet").text
    assert text.count('class="assumed"') == 1 and 'title="assumed: conventional (conventional where nobody says)"' in text


# Search, filters, order ----------------------------------------------------------------------------------------------


def _found(workspace: Workspace, **wanted: Any) -> tuple[list[str], dict[str, dict[str, int]]]:
    known = fleet.of_study(workspace, 1)
    found = known.find(Wanted(**wanted), {"PSV-2": "Balanced bellows"}, {"PSV-9": "out"})
    return [known.tags[at] for at in found.places], {
        name: {v: n for v, n in some if n} for name, some in found.counts.items()
    }


@pytest.mark.parametrize(
    ("sort", "down", "expected"),
    [
        ("tag", False, ["20/PSV-3 [row 7] & <b>", "=1+1", "PSV-1", "PSV-2", "PSV-9", "PSV-10"]),  # numbers as numbers, signs after them
        ("cost", False, [ODD, "PSV-10", "PSV-2", "PSV-9", "=1+1", "PSV-1"]),
        ("cost", True, ["PSV-9", "PSV-2", "PSV-10", ODD, "=1+1", "PSV-1"]),  # no cost: last both ways
        ("verdict", True, ["PSV-1", "=1+1", ODD, "PSV-9", "PSV-10", "PSV-2"]),
        ("decision", False, ["PSV-2", "PSV-9", "PSV-10", ODD, "=1+1", "PSV-1"]),
    ],
)  # fmt: skip
def test_order(workspace: Workspace, sort: str, down: bool, expected: list[str]) -> None:
    assert _found(workspace, sort=sort, down=down)[0] == expected


def test_every_word_must_occur_in_any_order(workspace: Workspace) -> None:
    assert _found(workspace, words="LIFT propane")[0] == ["PSV-2"]
    assert _found(workspace, words="rv-300")[0] == ["PSV-2"]  # the old tag
    assert _found(workspace, words="propane steam")[0] == []


def test_a_filter_counts_what_the_other_filters_leave(workspace: Workspace) -> None:
    tags, counts = _found(workspace, chosen={"verdict": ("misfit",), "kind": ("conventional",)})
    assert tags == ["PSV-9", "PSV-2"]
    assert counts["verdict"] == {"misfit": 2, "unproven": 1, "sound": 1}  # of the conventional ones
    assert counts["kind"] == {"conventional": 2, "bellows": 1}  # of the misfits
    assert counts["cause"] == {"chatter": 2}
    assert counts["decided"] == {"yes": 1, "no": 1} and counts["held"] == {"out": 1, "no": 1}
    assert set(counts) == set(FACETS)


def test_several_values_of_one_filter_widen_it(workspace: Workspace) -> None:
    assert _found(workspace, chosen={"size": ("P", "D")})[0] == ["PSV-9", "=1+1", "PSV-1"]
    assert _found(workspace, chosen={"size": ("none",)})[0] == [ODD]
    assert _found(workspace, chosen={"open": ("yes",)})[0] == ["PSV-10", ODD]
    assert _found(workspace, chosen={"unit": ("nowhere",)})[0] == []


def test_orifice_letters_and_natural_order() -> None:
    assert [letter(text) for text in ("4P6", "1.5G3", "1.5?2", "", "?T?", "12AA16")] == ["P", "G", "", "", "T", "AA"]
    assert sorted(["PSV-10", "PSV-9", "psv-2"], key=natural) == ["psv-2", "PSV-9", "PSV-10"]


def test_an_address_is_read_and_written_back() -> None:
    given = [
        ("q", " lift "),
        ("unit", "Unit 1"),
        ("unit", "+Unit"),
        ("sort", "-cost"),
        ("page", "2"),
        ("per", "100"),
        ("col", "cost"),
    ]
    asked = read_asked(given)
    assert asked.query() == "q=lift&unit=Unit+1&unit=%2BUnit&sort=-cost&page=2&per=100&col=tag&col=cost"
    assert asked.without("unit", "+Unit") == "q=lift&unit=Unit+1&sort=-cost&per=100&col=tag&col=cost"
    assert asked.sorted_by("cost").startswith("q=lift&unit=Unit+1&unit=%2BUnit&sort=cost&")
    assert (
        read_asked([("sort", "nothing"), ("page", "-3"), ("per", "7"), ("col", "nobody"), ("unit", "")]).query() == ""
    )


# The page ------------------------------------------------------------------------------------------------------------


def test_the_page_shows_rows_counts_and_links(client: TestClient) -> None:
    answer = client.get("/plant/1/fleet")
    assert answer.status_code == 200
    assert len(_tags(answer.text)) == 6
    assert "Valves 1 to 6 of 6" in answer.text
    assert f"/plant/1/valve?tag={quote(ODD, safe='')}" in answer.text
    assert "<b>" not in answer.text.replace("<b>(", "")  # the tag's own sign is escaped
    assert "&lt;b&gt;" in answer.text
    assert " style=" not in answer.text and "<script>" not in answer.text
    assert re.search(r"Set, barg", answer.text) and "Whole-life cost, middle, EUR" in answer.text


@pytest.mark.parametrize("sort", SORTS)
def test_every_order_has_a_page(client: TestClient, sort: str) -> None:
    assert len(_tags(client.get(f"/plant/1/fleet?sort=-{sort}").text)) == 6


def test_filters_are_shown_as_chips_that_remove_them(client: TestClient) -> None:
    text = client.get("/plant/1/fleet?q=propane&verdict=misfit&cause=chatter").text
    assert _tags(text) == ["PSV-9", "PSV-2"]
    assert 'aria-label="Remove Cause: Chatters"' in text
    assert 'href="/plant/1/fleet?verdict=misfit&amp;cause=chatter"' in text  # the words' chip


def test_a_page_beyond_the_last_is_the_last_and_nothing_found_says_so(client: TestClient) -> None:
    assert len(_tags(client.get("/plant/1/fleet?page=99").text)) == 6
    assert "No valve matches" in client.get("/plant/1/fleet?q=zzz").text


def test_htmx_gets_the_table_and_the_history_gets_the_page(client: TestClient) -> None:
    head = {"HX-Request": "true", "HX-Request-Type": "partial", "HX-Source": "form#ask"}
    piece = client.get("/plant/1/fleet?q=&verdict=misfit&sort=rank&per=50", headers=head)
    assert piece.text.lstrip().startswith('<div id="found"') and "<html" not in piece.text
    assert piece.headers["HX-Push-Url"] == "/plant/1/fleet?verdict=misfit"
    assert "<html" in client.get("/plant/1/fleet", headers={**head, "HX-Request-Type": "full"}).text


def test_without_a_study_the_page_says_what_to_do(client: TestClient) -> None:
    text = client.get("/plant/2/fleet").text
    assert "no study yet" in text and "/plant/2/study-again" in text
    assert client.get("/plant/2/fleet.csv").status_code == 404


def test_the_first_load_is_small(tmp_path: Path) -> None:
    """Page, styles and scripts together, packed, below 60 kB with 50 rows of long texts."""
    many = tuple((f"AREA-{n:03d}-PSV-{n * 7919 % 9973}", *VALVES[n % 3][1:]) for n in range(400))
    client = _client(_filled(tmp_path / "many", many))
    page = client.get("/plant/1/fleet").text
    assert len(_tags(page)) == 50
    files = re.findall(r'(?:href|src)="(/(?:static/[\w.]+\.(?:css|js)|blocks\.css))"', page)
    assert len(files) == 6
    size = sum(len(gzip.compress(client.get(name).content, 6)) for name in files) + len(gzip.compress(page.encode(), 6))
    assert size < 60_000


# Changes -------------------------------------------------------------------------------------------------------------


def _do(client: TestClient, what: str, **given: Any) -> Any:
    return client.post("/plant/1/fleet/do", data={"study": "1", "do": what, **given})


def test_a_change_needs_a_name(workspace: Workspace) -> None:
    answer = _do(_client(workspace, ""), "decide", tag=["PSV-9"], why="cheap")
    assert answer.status_code == 422 and "name" in answer.text


def test_ticked_rows_are_decided_undone_and_decided_again(workspace: Workspace, client: TestClient) -> None:
    answer = _do(client, "decide", tag=["PSV-9", "PSV-10", "=1+1"], why="cheap", q="psv")
    assert answer.status_code == 303
    with workspace.reading() as connection:
        standing = decided.decisions(connection, 1)
    assert {tag: (row["remedy"], row["who"], row["why"]) for tag, row in standing.items()} == {
        "PSV-9": ("bellows", "Ada", "cheap"), "PSV-10": ("restricted-lift", "Ada", "cheap"),
    }  # fmt: skip
    page = client.get(answer.headers["location"]).text
    assert "2 valves decided as recommended" in page and "1 left as it was" in page and "as recommended</td>" in page
    done = re.search(r'name="done" value="([^"]+)"', page)
    assert done
    back = client.post("/plant/1/fleet/undo", data={"done": done.group(1), "back": "undo", "q": "psv"})
    assert "q=psv" in back.headers["location"]
    with workspace.reading() as connection:
        assert decided.decisions(connection, 1) == {}
    assert "Do it again" in client.get(back.headers["location"]).text
    client.post("/plant/1/fleet/undo", data={"done": done.group(1), "back": "redo"})
    with workspace.reading() as connection:
        assert set(decided.decisions(connection, 1)) == {"PSV-9", "PSV-10"}


def test_all_that_match_are_held_and_freed_and_held_again(workspace: Workspace, client: TestClient) -> None:
    _do(client, "out", which="all", verdict="misfit", kind="conventional")
    with workspace.reading() as connection:
        assert decided.pins(connection, 1) == {"PSV-9": "out", "PSV-2": "out"}
    assert "held out</td>" in client.get("/plant/1/fleet?held=out").text
    freed = _do(client, "free", which="all")
    page = client.get(freed.headers["location"]).text
    assert "2 valves freed" in page
    with workspace.reading() as connection:
        assert decided.pins(connection, 1) == {}
    done = re.search(r'name="done" value="([^"]+)"', page)
    assert done
    client.post("/plant/1/fleet/undo", data={"done": done.group(1), "back": "undo"})
    with workspace.reading() as connection:
        assert decided.pins(connection, 1) == {"PSV-9": "out", "PSV-2": "out"}


def test_only_valves_with_a_remedy_are_held_in_and_the_others_are_counted_with_why(workspace: Workspace, client: TestClient) -> None:
    page = client.get(_do(client, "in", which="all").headers["location"]).text
    with workspace.reading() as connection:
        assert decided.pins(connection, 1) == {"PSV-9": "in", "PSV-10": "in", "PSV-2": "in"}
    assert "3 valves held in the plan. 3 left as they were: 1 sound: nothing to cure, 1 to measure first: no remedy is known yet, " in page
    assert "1 without a remedy that clears every finding." in page  # =1+1, recommended nothing
    page = client.get(_do(client, "in", tag=["PSV-1"]).headers["location"]).text
    assert "Nothing has changed. 1 left as it was: 1 sound: nothing to cure." in page


def test_measuring_and_keeping_are_never_said_to_clear(client: TestClient) -> None:
    page = client.get("/plant/1/fleet?verdict=unproven").text
    assert "settles the verdict first" in page and "subject to proof" not in page


def test_a_change_is_refused_where_nothing_is_ticked_or_the_study_is_another(client: TestClient) -> None:
    assert _do(client, "decide", why="cheap").status_code == 422
    assert "Write why" in _do(client, "decide", which="all").text
    assert _do(client, "scrap", which="all").status_code == 422
    assert client.post("/plant/1/fleet/do", data={"study": "7", "do": "in", "which": "all"}).status_code == 409


def test_views_are_kept_replaced_and_removed(workspace: Workspace, client: TestClient) -> None:
    given = {"name": "Chatter", "cause": "chatter", "sort": "-cost", "page": "3"}
    assert (
        client.post("/plant/1/fleet/views", data=given).headers["location"] == "/plant/1/fleet?cause=chatter&sort=-cost"
    )
    client.post("/plant/1/fleet/views", data={"name": "Chatter", "cause": "oversized"})
    with workspace.reading() as connection:
        (view,) = decided.views(connection, 1)
    assert (view["name"], view["query"], view["who"]) == ("Chatter", "cause=oversized", "Ada")
    assert '<a href="/plant/1/fleet?cause=oversized"' in client.get("/plant/1/fleet").text
    assert client.post("/plant/1/fleet/views", data={"name": "  "}).status_code == 422
    assert _client(workspace, "").post(f"/plant/1/fleet/views/{view['id']}/remove").status_code == 422
    assert client.post(f"/plant/1/fleet/views/{view['id']}/remove").status_code == 303
    assert client.post(f"/plant/1/fleet/views/{view['id']}/remove").status_code == 404


def test_the_latest_standing_decision_holds(workspace: Workspace) -> None:
    with workspace.writing() as connection:
        decided.decide(connection, 1, "PSV-9", "bellows", "Balanced bellows", "", "Ada")
        second = decided.decide(connection, 1, "PSV-9", "keep", "Keep it and watch", "cheaper", "Bo")
        assert decided.decisions(connection, 1)["PSV-9"]["remedy"] == "keep"
        assert decided.undo(connection, 1, "decision", second, "Cy") == 1
        assert decided.undo(connection, 2, "decision", second - 1, "Cy") == 0  # another plant's
        assert decided.titles(connection, 1) == {"PSV-9": "Balanced bellows"}
        assert [(row["remedy"], row["undone_by"]) for row in decided.history(connection, 1, "PSV-9")["decision"]] == [
            ("bellows", None),
            ("keep", "Cy"),
        ]
        decided.pin(connection, 1, "PSV-9", "in", "Ada")
        decided.pin(connection, 1, "PSV-9", "out", "Ada")
        assert decided.pins(connection, 1) == {"PSV-9": "out"}
        decided.pin(connection, 1, "PSV-9", None, "Ada")
        assert decided.pins(connection, 1) == {}
        with pytest.raises(ValueError, match="one of in, out"):
            decided.pin(connection, 1, "PSV-9", "up", "Ada")
        decided.remark(connection, 1, "Seen", "Ada", tag="PSV-9")
        decided.remark(connection, 1, "All of it", "Ada", study=1)
        assert [row["words"] for row in decided.remarks(connection, 1, tag="PSV-9")] == ["Seen"]


# Files ---------------------------------------------------------------------------------------------------------------


def test_no_cell_of_the_csv_runs_as_a_formula(client: TestClient) -> None:
    answer = client.get("/plant/1/fleet.csv?col=tag&col=unit&col=fluid&col=set&col=npv")
    assert answer.headers["content-disposition"] == 'attachment; filename="fleet-1-study-1.csv"'
    lines = list(csv.reader(io.StringIO(answer.content.decode("utf-8-sig"))))
    assert lines[0] == ["Tag", "Unit", "Fluid", "Set, barg", "Net present value, EUR"]
    assert lines[1] == ["PSV-9", "Unit 1", "propane", "10", "-500"]
    assert lines[5] == ["'=1+1", "'+Unit", "'@SUM(A1)", "5", ""]


def test_ticked_shown_and_matching_rows_are_given(client: TestClient) -> None:
    def tags(query: str) -> list[str]:
        lines = csv.reader(io.StringIO(client.get(f"/plant/1/fleet.csv?col=tag&{query}").text.lstrip("\ufeff")))
        return [line[0] for line in lines][1:]

    assert tags("verdict=misfit&sort=-cost") == ["PSV-9", "PSV-2", "PSV-10"]
    assert tags("which=ticked&tag=PSV-1&tag=" + quote(ODD)) == [ODD, "PSV-1"]
    assert client.get("/plant/1/fleet.csv?which=ticked").status_code == 422
    assert len(tags("which=shown&page=1")) == 6


def test_text_in_the_workbook_stays_text(client: TestClient) -> None:
    from openpyxl import load_workbook

    page = load_workbook(io.BytesIO(client.get("/plant/1/fleet.xlsx?col=fluid&col=cost").content)).active
    found = [[(cell.value, cell.data_type) for cell in row] for row in page.iter_rows(min_row=2)]
    assert found[0] == [("PSV-9", "s"), ("propane", "s"), (9000, "n")]
    assert found[4][:2] == [("=1+1", "s"), ("@SUM(A1)", "s")]


# Pictures ------------------------------------------------------------------------------------------------------------


def test_pictures_tell_in_words_and_lead_into_filters(client: TestClient) -> None:
    text = client.get("/plant/1/fleet/pictures").text
    assert text.count("<svg") == 5 and " style=" not in text and "here.invalid" not in text and "xlink" not in text
    assert "Valves by unit and verdict. Unit 1: 2 ■ misfit; Unit 2: 1 ■ misfit;" in text
    assert 'href="/plant/1/fleet?verdict=misfit&amp;cause=chatter" aria-label="Chatters, ■ misfit: 2 valves"' in text
    assert f'href="/plant/1/valve?tag={quote(ODD, safe="").replace("%20", "+")}"' in text
    # Each valve once, though two cases lack the same field; what the Basis settles for all is no gap.
    assert (
        "rate basis: 6 a default stands in; set pressure: 2 a check stays open." in text and "accumulation" not in text
    )


# In a browser --------------------------------------------------------------------------------------------------------

@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    many = tuple((f"X-{n}", *VALVES[n % 3][1:]) for n in range(60))
    workspace = _filled(tmp_path_factory.mktemp("served") / "ws", (*VALVES, *many))
    with served(make_app(workspace, runs_jobs=False)) as root:
        yield root


def _opened(browser: Any, address: str, **options: Any) -> tuple[Any, list[str]]:
    page = browser.new_context(**{"viewport": {"width": 1280, "height": 800}, **options}).new_page()
    errors: list[str] = []
    page.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on(
        "request",
        lambda request: errors.append(request.url) if not request.url.startswith((address[:21], "data:")) else None,
    )
    page.goto(address)
    return page, errors


def test_search_and_filters_change_table_and_address(chromium: Any, address: str) -> None:
    page, errors = _opened(chromium, f"{address}/plant/1/fleet")
    lines = page.locator("[data-rows] tbody tr")
    assert lines.count() == 50
    page.get_by_role("searchbox").type("propane bellows", delay=10)
    page.wait_for_url("**/fleet?q=propane+bellows")
    assert lines.count() == 21 and page.get_by_role("searchbox").input_value() == "propane bellows"
    page.locator("#d-unit summary").click()
    page.get_by_label("Unit 1", exact=False).first.check()
    page.wait_for_url("**unit=Unit+1")
    page.wait_for_selector("#d-unit[open] input:checked:focus")  # an open filter stays open, and the focus in it
    page.go_back()
    page.wait_for_url("**/fleet?q=propane+bellows")
    assert page.locator("h1").count() == 1
    page.get_by_label("Remove “propane bellows”").click()
    page.wait_for_url("**/fleet")
    assert page.get_by_role("searchbox").input_value() == ""  # the box follows what the table shows
    assert errors == []
    page.context.close()


@pytest.mark.parametrize("delay", [0, 120])
def test_enter_in_the_search_opens_the_one_valve_left(chromium: Any, address: str, delay: int) -> None:
    """Typed at once, Enter comes before the table of the search does; typed slowly, after it."""
    page, errors = _opened(chromium, f"{address}/plant/1/fleet")
    page.route("**/valve?tag=*", lambda route: route.fulfill(body="opened"))  # the valves here are no whole ones
    page.keyboard.press("/")
    page.keyboard.type("steam", delay=delay)
    if delay:
        page.wait_for_selector("#found[data-total='1']")
    page.keyboard.press("Enter")
    page.wait_for_url("**/valve?tag=PSV-1")
    assert errors == []
    page.context.close()


def test_rows_are_walked_and_ticked_by_keys(chromium: Any, address: str) -> None:
    page, errors = _opened(chromium, f"{address}/plant/1/fleet")
    for key in ("j", "j", " ", "j", "k", "/"):
        page.keyboard.press(key)
    assert page.locator("input[name=tag]:checked").evaluate_all("boxes => boxes.map((box) => box.value)") == ["PSV-10"]
    assert page.locator("#ticked").text_content() == "(1 ticked)"
    assert page.evaluate("document.activeElement.id") == "q"
    assert errors == []
    page.context.close()


def test_the_arrow_keys_walk_from_a_row_and_the_focus_is_never_lost(chromium: Any, address: str) -> None:
    page, errors = _opened(chromium, f"{address}/plant/1/fleet")
    focus = "document.activeElement.textContent.trim() || document.activeElement.id"
    page.keyboard.press("j")
    page.keyboard.press("ArrowDown")
    assert page.evaluate(focus) == "PSV-10"
    page.keyboard.press("ArrowUp")
    assert page.evaluate(focus) == "PSV-9"
    page.locator("#d-unit summary").click()
    page.locator("#d-unit input").first.focus()
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.tagName") == "SUMMARY" and not page.locator("#d-unit[open]").count()
    page.locator("#sort-cost").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**sort=cost")
    page.wait_for_selector("#sort-cost:focus")
    page.locator("#page-next").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**page=2")
    assert errors == []
    page.context.close()


def test_pictures_come_when_they_are_opened(chromium: Any, address: str) -> None:
    page, errors = _opened(chromium, f"{address}/plant/1/fleet")
    assert page.locator("svg").count() == 0
    page.locator(".overview summary").click()
    page.wait_for_selector(".pictures svg")
    assert page.locator(".pictures svg").count() == 5 and errors == []
    page.context.close()


def test_it_works_without_scripts(chromium: Any, address: str) -> None:
    page, errors = _opened(chromium, f"{address}/plant/1/fleet", java_script_enabled=False)
    page.get_by_role("searchbox").fill("steam")
    page.get_by_role("button", name="Search").click()
    assert page.locator("[data-rows] tbody tr").count() == 1
    page.goto(f"{address}/plant/1/fleet")
    page.get_by_label("misfit").check()
    page.get_by_role("button", name="Show these").click()
    assert "verdict=misfit" in page.url
    page.get_by_role("link", name="Whole-life cost, middle").click()
    assert "sort=cost" in page.url and "verdict=misfit" in page.url
    with page.expect_download() as got:
        page.get_by_role("link", name="CSV").last.click()
    assert (
        Path(got.value.path()).read_text(encoding="utf-8-sig").count("\n") == 64
    )  # 3 and 60 misfits, one line of headings
    assert errors == []
    page.context.close()


@pytest.mark.parametrize("end", ["fleet?q=propane&verdict=misfit", "fleet/pictures", "fleet?q=zzz"])
def test_nothing_scrolls_sideways_and_axe_finds_nothing(chromium: Any, address: str, end: str) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page, errors = _opened(chromium, f"{address}/plant/1/{end}", viewport={"width": 390, "height": 844}, bypass_csp=True)
    page.wait_for_function("!document.querySelector('#work a')")  # the strip of work has been filled
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in Axe().run(page).response["violations"]] == []
    assert errors == []
    page.context.close()
