"""The page of one valve over a study of a small register made here: parts, ways to every number, decisions, what-if, fit files.

Browser tests are skipped with a line where there is no Chromium.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

import pytest
from conftest import served
from fastapi.testclient import TestClient

from quietseat.basis import make
from quietseat.store import decided, jobs, mends, open_workspace, plants, studies
from quietseat.study import run
from quietseat.web.app import make_app
from quietseat.web.site import NAME_COOKIE
from quietseat.work import work

ODD = "PSV-2 [row 4]"  # a tag that stands in two rows
REGISTER = (
    "Tag,Type,Designation,Inlet class,Set pressure (barg),MAWP (barg),Operating pressure (barg),Blowdown (%),Seat,Phase,Fluid,Mol wt,k,Z,"
    "Relieving temp (degC),Required rate (kg/h),Rate basis,Case,Inlet line size,Inlet length (m),Outlet line size,Outlet length (m),Discharge to,Volume (m3)\n"
    "PSV-1,Conventional,3L4,300,10,10,9.6,7,metal,gas,propane,44,1.13,0.9,60,4000,signed,blocked outlet,3,0.9,4,4,atmosphere,20\n"
    "PSV-2,Conventional,3L4,300,10,10,8,10,metal,gas,propane,44,1.13,0.9,60,15000,signed,blocked outlet,6,0.3,8,1,atmosphere,20\n"
    "PSV-2,Conventional,2J3,150,5,,,,,,,,,,,,,,,,,,,\n"
)
PARTS = ("overview", "cases", "steps", "stability", "leakage", "remedies", "money", "history")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A workspace with one studied plant, copied for every test that changes it."""
    folder = tmp_path_factory.mktemp("valve")
    workspace = open_workspace(folder)
    file = workspace.keep_file("register.csv", REGISTER.encode())
    basis = {"time_marching": "none", "money_draws": "100"}
    study = run(workspace.file(file)[1], make(basis))
    with workspace.writing() as connection:
        plant = plants.add(connection, "Invented", file, basis)
        plants.show_study(connection, plant, studies.save(connection, plant, study, "full"))
    workspace.engine.dispose()
    return folder


@pytest.fixture
def client(made: Path, tmp_path: Path) -> TestClient:
    shutil.copytree(made, tmp_path / "ws")
    out = TestClient(make_app(open_workspace(tmp_path / "ws"), runs_jobs=False), follow_redirects=False)
    out.cookies.set(NAME_COOKIE, "Ann%20Body")
    return out


def page(client: TestClient, tag: str = "PSV-1", part: str = "overview", **more: Any) -> str:
    answer = client.get("/plant/1/valve", params={"tag": tag, "part": part, **more})
    assert answer.status_code == 200, answer.text
    return answer.text


@pytest.mark.parametrize("tag", ["PSV-1", "PSV-2", ODD])
@pytest.mark.parametrize("part", PARTS)
def test_every_part_of_every_valve_is_a_page(client: TestClient, tag: str, part: str) -> None:
    text = page(client, tag, part)
    assert text.count("<h1") == 1 and " style=" not in text and 'aria-current="page"' in text
    assert all(f"part={name}" in text for name in PARTS)
    assert "safe" not in re.sub(r"<[^>]*>", " ", text).lower().split()


def test_verdict_and_reasons_stand_before_the_numbers(client: TestClient) -> None:
    text = page(client)
    assert "misfit" in text[: text.index("<h2")] and "■" in text
    assert text.index("close-to-set:") < text.index('id="findings"') < text.index('id="there"')


def test_what_is_not_there_is_told_in_words(client: TestClient) -> None:
    for address in (
        "/plant/1/valve",
        "/plant/1/valve?tag=NO",
        "/plant/1/valve?tag=PSV-1&part=no",
        "/plant/9/valve?tag=PSV-1",
        "/plant/1/source?table=no",
    ):
        answer = client.get(address)
        assert answer.status_code == 404 and "<h1" in answer.text, address


def test_numbers_lead_to_their_steps_and_steps_on_to_cells_and_tables(client: TestClient) -> None:
    steps = page(client, part="steps")
    anchors = set(re.findall(r'id="([^"]+)"', steps))
    for part in ("overview", "cases"):
        links = [unescape(link) for link in re.findall(r'class="from" href="([^"]+)"', page(client, part=part))]
        assert links
        for link in links:
            split = urlsplit(link)
            if dict(parse_qsl(split.query)).get("part") == "steps":
                assert split.fragment in anchors
    assert all(link in anchors for link in re.findall(r'href="#(step-[^"]+|input-[^"]+|group-[^"]+)"', steps))
    assert "/plant/1/bring-in/row?sheet=register&amp;row=2" in steps
    assert "/plant/1/basis#default_roughness" in steps
    table = re.search(r"/plant/1/source\?table=pipe_schedules#(row-\d+)", steps)
    assert table
    source = client.get("/plant/1/source?table=pipe_schedules").text
    assert f'id="{table[1]}"' in source and "B36.10" in source


def test_a_step_names_the_values_put_in(client: TestClient) -> None:
    steps = page(client, part="steps")
    assert "molar_mass = 0.044: case 1 molar mass" in steps and "choice atmospheric pressure" in steps


def test_steps_that_were_not_kept_are_worked_out_on_asking(client: TestClient) -> None:
    workspace = client.app.state.workspace  # type: ignore[attr-defined]
    with workspace.writing() as connection:
        connection.exec_driver_sql("update valve set steps = null")
    assert "work=now" in page(client, part="steps") and "step-0" not in page(client, part="steps")
    assert 'id="step-0"' in page(client, part="steps", work="now")


def test_remedies_stand_side_by_side_as_ticked(client: TestClient) -> None:
    text = page(client, part="remedies")
    names = re.findall(r'name="tick" value="([^"]+)"', text)
    assert len(names) > 4 and 'class="range' in text and "Why it lost" in text
    chosen = page(client, part="remedies", tick=names[2:4])
    assert chosen.count('class="card remedy"') == 2
    assert page(client, part="remedies", tick=names).count('class="card remedy"') == 4


def test_a_decision_is_kept_with_its_reason_and_undone(client: TestClient) -> None:
    workspace = client.app.state.workspace  # type: ignore[attr-defined]
    name = re.findall(r'name="tick" value="([^"]+)"', page(client, part="remedies"))[0]
    assert client.post("/plant/1/valve/decide", data={"tag": "PSV-1", "remedy": name}).status_code == 422
    assert client.post("/plant/1/valve/decide", data={"tag": "PSV-1", "remedy": "no", "why": "x"}).status_code == 422
    answer = client.post("/plant/1/valve/decide", data={"tag": "PSV-1", "remedy": name, "why": "cheapest"})
    assert answer.status_code == 303 and answer.headers["location"] == "/plant/1/valve?tag=PSV-1&part=remedies"
    with workspace.reading() as connection:
        row = decided.decisions(connection, 1)["PSV-1"]
    assert (row["remedy"], row["why"], row["who"]) == (name, "cheapest", "Ann Body") and "cheapest" in page(client)
    undo = {"tag": "PSV-1", "kind": "decision", "row": row["id"]}
    assert client.post("/plant/1/valve/undo", data=undo).status_code == 303 and "cheapest" not in page(client)
    assert "undone by Ann Body" in page(client, part="history")
    assert client.post("/plant/1/valve/undo", data=undo).status_code == 404
    assert client.post("/plant/1/valve/undo", data={**undo, "again": "yes"}).status_code == 303 and "cheapest" in page(
        client
    )


def test_a_valve_is_held_and_remarked_upon(client: TestClient) -> None:
    refused = client.post("/plant/1/valve/hold", data={"tag": "PSV-1", "place": "in"})
    assert refused.status_code == 422 and "no remedy of the study clears" in refused.text  # none does here
    client.post("/plant/1/valve/hold", data={"tag": "PSV-1", "place": "out"})
    assert "by hand" in page(client)
    client.post("/plant/1/valve/hold", data={"tag": "PSV-1", "place": ""})
    assert "by hand" not in page(client)
    assert client.post("/plant/1/valve/hold", data={"tag": "PSV-1", "place": "up"}).status_code == 422
    client.post("/plant/1/valve/remark", data={"tag": "PSV-1", "words": "<b>look</b> again"})
    assert "&lt;b&gt;look&lt;/b&gt; again" in page(client)


def test_nobody_changes_anything_without_a_name(client: TestClient) -> None:
    client.cookies.clear()
    for end, data in (
        ("decide", {"remedy": "keep", "why": "x"}),
        ("hold", {"place": "in"}),
        ("remark", {"words": "x"}),
        ("what-if/keep", {"changes": '{"valve.seat": "soft"}', "why": "x"}),
    ):
        answer = client.post(f"/plant/1/valve/{end}", data={"tag": "PSV-1", **data})
        assert answer.status_code == 422 and "name" in answer.text, end


# -- what if -------------------------------------------------------------------------------------------------------


def test_a_what_if_is_an_address_and_keeps_nothing(client: TestClient) -> None:
    address = {"tag": "PSV-1", "vessel.operating_pressure": "8 barg", "valve.set_pressure": "10 barg"}
    text = client.get("/plant/1/valve/what-if", params=address).text
    assert "Before and after" in text and "Operating maximum: 9.6 barg → 8 barg" in text and "close to set" in text
    assert "Set pressure: 10 barg" not in text  # as it stands is no change
    piece = client.get("/plant/1/valve/what-if", params=address, headers={"hx-request": "true"}).text
    assert "<html" not in piece and "Before and after" in piece and "The money answer" in piece
    with client.app.state.workspace.reading() as connection:  # type: ignore[attr-defined]
        assert mends.listed(connection, 1) == []
    assert "Nothing is changed yet" in client.get("/plant/1/valve/what-if", params={"tag": "PSV-1"}).text


def test_what_cannot_be_read_is_told_beside_the_form(client: TestClient) -> None:
    answer = client.get("/plant/1/valve/what-if", params={"tag": "PSV-1", "valve.set_pressure": "ten"})
    assert answer.status_code == 200 and 'role="alert"' in answer.text and "12.5 barg" in answer.text


def test_kept_it_becomes_a_mend_and_the_study_is_older(client: TestClient) -> None:
    form = {"tag": "PSV-1", "changes": '{"vessel.operating_pressure": "8 barg", "inlet.length": "0.5 m"}'}
    assert client.post("/plant/1/valve/what-if/keep", data=form).status_code == 422  # no reason
    assert client.post("/plant/1/valve/what-if/keep", data={**form, "changes": "{}", "why": "x"}).status_code == 422
    answer = client.post("/plant/1/valve/what-if/keep", data={**form, "why": "operations agreed"})
    assert answer.status_code == 303
    with client.app.state.workspace.reading() as connection:  # type: ignore[attr-defined]
        found = mends.listed(connection, 1)
    assert [(one["row"], one["field"], one["value"], one["who"], one["why"]) for one in found] == [
        (2, "vessel.operating_pressure", "8 barg", "Ann Body", "operations agreed"), (2, "inlet.length", "0.5 m", "Ann Body", "operations agreed"),
    ]  # fmt: skip
    assert "older than the mends" in page(client) and "Run the study again" in page(client)
    text = client.get("/plant/1/valve/what-if", params={"tag": "PSV-1"}).text
    assert 'value="8 barg"' in text and 'value="0.5 m"' in text  # the register as it stands has them


def test_the_full_run_is_a_job_whose_answer_is_shown(client: TestClient) -> None:
    workspace = client.app.state.workspace  # type: ignore[attr-defined]
    answer = client.post("/plant/1/valve/what-if/queue", data={"tag": "PSV-1", "changes": '{"valve.seat": "soft"}'})
    assert answer.status_code == 303
    job = jobs.take(workspace)
    assert job is not None and job["kind"] == "what-if"
    with workspace.writing() as connection:  # few draws: what is tested is the way of the answer
        plants.set_basis(
            connection,
            1,
            {"time_marching": "none", "money_draws": "100", "chatter_samples": "1", "remedy_samples": "1"},
        )
    work(workspace.folder, job["id"])
    with workspace.reading() as connection:
        ended = jobs.get(connection, job["id"])
    assert ended is not None and ended["state"] == "done", ended
    text = client.get(answer.headers["location"]).text
    assert "The full run, all draws" in text and "Before and after" in text and "Seat: metal → soft" in text
    assert "becomes" in client.get("/plant/1/work").text
    assert client.get("/plant/1/valve/what-if", params={"tag": "PSV-2", "job": job["id"]}).status_code == 404


# -- files ---------------------------------------------------------------------------------------------------------


def test_the_fit_drawing_comes_as_svg_and_dxf(client: TestClient) -> None:
    import ezdxf

    names = _names(client)
    shown = "".join(page(client, part="remedies", tick=names[at : at + 4]) for at in range(0, len(names), 4))
    links = re.findall(r"/plant/1/valve/fit\.dxf\?[^\"]+", shown)
    assert links
    answer = client.get(unescape(links[0]))
    assert answer.status_code == 200 and answer.headers["content-disposition"].endswith('.dxf"')
    import io

    assert ezdxf.read(io.StringIO(answer.text)).modelspace()  # an independent reader
    drawn = client.get(unescape(links[0]).replace("fit.dxf", "fit.svg"))
    assert drawn.text.startswith("<svg") and drawn.headers["content-type"].startswith("image/svg")
    for wrong in ("keep", "no-such"):
        assert client.get("/plant/1/valve/fit.dxf", params={"tag": "PSV-1", "remedy": wrong}).status_code == 404


def _names(client: TestClient) -> list[str]:
    return re.findall(r'name="tick" value="([^"]+)"', page(client, part="remedies"))


def test_a_picture_that_is_not_there_is_refused(client: TestClient) -> None:
    answer = client.get("/plant/1/valve/picture.svg", params={"tag": "PSV-1", "what": "map", "study": 1})
    assert answer.status_code == 404  # closed form only: nothing was marched
    assert (
        client.get("/plant/1/valve/picture.svg", params={"tag": "PSV-1", "what": "map", "study": 7}).status_code == 404
    )


# -- in a browser --------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def address(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("browser") / "ws"
    shutil.copytree(made, folder)
    with served(make_app(open_workspace(folder), runs_jobs=False)) as root:
        yield root


def test_the_answer_comes_without_loading_the_page_again(chromium: Any, address: str) -> None:
    tab = chromium.new_page()
    errors: list[str] = []
    asked: list[str] = []
    tab.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    tab.on("pageerror", lambda error: errors.append(str(error)))
    tab.on("request", lambda request: asked.append(request.url))
    tab.goto(f"{address}/plant/1/valve/what-if?tag=PSV-1")
    tab.get_by_label("Operating maximum").fill("8 barg")
    tab.get_by_label("Operating maximum").press("Tab")
    tab.locator("#answer h2", has_text="Before and after").wait_for()
    assert "9.6 barg → 8 barg" in tab.locator("#answer").inner_text() and "8+barg" in tab.url
    assert errors == [] and all(url.startswith(address) for url in asked)
    tab.close()


@pytest.mark.parametrize("width", [390, 1440])
@pytest.mark.parametrize("part", PARTS)
def test_no_errors_no_sideways_scroll(chromium: Any, address: str, part: str, width: int) -> None:
    tab = chromium.new_page(viewport={"width": width, "height": 844})
    errors: list[str] = []
    tab.on("console", lambda message: errors.append(message.text) if message.type == "error" else None)
    tab.goto(f"{address}/plant/1/valve?tag=PSV-1&part={part}")
    assert tab.evaluate("document.documentElement.scrollWidth") <= width and errors == []
    tab.close()


def test_it_works_without_scripts(chromium: Any, address: str) -> None:
    context = chromium.new_context(java_script_enabled=False)
    tab = context.new_page()
    tab.goto(f"{address}/plant/1/valve/what-if?tag=PSV-1")
    tab.get_by_label("Inlet length").fill("2 m")
    tab.get_by_role("button", name="Judge it").click()
    assert "Before and after" in tab.locator("#answer").inner_text()
    context.close()
