"""Ask: an answer goes into the field it decides, is read before it is kept, and says who told it."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from registers import make

from quietseat.basis import make as basis
from quietseat.register import read
from quietseat.store import Workspace, open_workspace, plants, rows, studies, tables
from quietseat.study import run
from quietseat.web.app import make_app

HEADS = ("Tag", "Type", "Size", "Inlet class", "Set pressure (barg)", "MAWP (barg)", "Fluid", "Phase", "Mol wt", "k", "Z", "Temperature (degC)",
         "Required rate (kg/h)", "Rated capacity (kg/h)", "Set press (psig)")  # fmt: skip


def line(tag: str, **changes: Any) -> list[Any]:
    plain = {"Tag": tag, "Type": "conventional", "Size": "4P6", "Inlet class": 150, "Set pressure (barg)": 10, "MAWP (barg)": 10, "Fluid": "propane",
             "Phase": "gas", "Mol wt": 44.1, "k": 1.13, "Z": 0.9, "Temperature (degC)": 60, "Required rate (kg/h)": 24000}  # fmt: skip
    return [{**plain, **{key.replace("_", " "): value for key, value in changes.items()}}.get(head) for head in HEADS]


LIST = [
    HEADS,
    line("PSV-1", **{"Set pressure (barg)": 10.5}),
    line("PSV-2", **{"Rated capacity (kg/h)": 24000}),
    line("PSV-3", **{"Set press (psig)": 100}),
    line("PSV-4", Phase="two-phase"),
]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("ask")
    file = make.xlsx(folder / "reg.xlsx", {"PSV": LIST})
    space = open_workspace(folder / "space")
    number = space.keep_file("reg.xlsx", file.read_bytes())
    with space.writing() as connection:
        plant = plants.add(connection, "Plant A", number, {"time_marching": "none"})
        study = run(file, basis({"time_marching": "none"}), None, workers=1)
        plants.show_study(connection, plant, studies.save(connection, plant, study, "full"))
    space.engine.dispose()
    return folder / "space"


@pytest.fixture
def space(made: Path, tmp_path: Path) -> Workspace:
    import shutil

    shutil.copytree(made, tmp_path / "space")
    return open_workspace(tmp_path / "space")


@pytest.fixture
def client(space: Workspace) -> Iterator[TestClient]:
    with TestClient(make_app(space, runs_jobs=False), follow_redirects=False) as one:
        one.cookies.set("quietseat_name", "Ada")
        one.get("/plant/1/bring-in")
        yield one


def text(answer: Any) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)))


def kept(space: Workspace) -> list[tuple[str, int, str, str]]:
    with space.reading() as connection:
        return [(row["sheet"], row["row"], row["field"], row["value"]) for row in rows.listed(connection, tables.mend) if row["undone_at"] is None]


def asked(space: Workspace, tag: str, words: str) -> dict[str, Any]:
    with space.reading() as connection:
        plant = plants.get(connection, 1)
        assert plant is not None and plant.study is not None
        head = studies.get(connection, plant.study)
    assert head is not None
    return next(one for one in head["head"]["questions"]["questions"] if one["tag"] == tag and words in one["title"])


def form(question: dict[str, Any], **given: str) -> dict[str, str]:
    return {"tag": question["tag"], "title": question["title"], "why": "T. Field, nameplate", **given}


def test_an_additional_valve_is_settled_by_how_many_are_needed(client: TestClient, space: Workspace) -> None:
    question = asked(space, "PSV-1", "additional valve")
    assert [one["field"] for one in question["answers"]] == ["required", "set_pressure", "mawp"]
    assert client.post("/plant/1/ask", data=form(question, **{"value.0": "2"})).status_code == 303
    assert kept(space) == [("PSV", 2, "required", "2")]
    page = text(client.get("/plant/1/ask"))
    assert "Answer anew" in page and "Ada" in page


def test_a_choice_is_picked_and_only_one_offered(client: TestClient, space: Workspace) -> None:
    question = asked(space, "PSV-2", "stamped capacity")
    page = client.get("/plant/1/ask?q=stamped").text
    assert 'type="radio" name="pick.0" value="signed"' in page and 'value="nameplate"' in page
    assert client.post("/plant/1/ask", data=form(question, **{"pick.0": "guessed"})).status_code == 422
    assert client.post("/plant/1/ask", data=form(question, **{"pick.0": "nameplate"})).status_code == 303
    assert kept(space) == [("PSV", 3, "rate_basis", "nameplate")]
    both = client.post("/plant/1/ask", data=form(question, **{"pick.0": "signed", "value.1": "9000 kg/h"}))
    assert both.status_code == 303 and kept(space) == [("PSV", 3, "rate_basis", "signed"), ("PSV", 3, "flow", "9000 kg/h")]


def test_two_stated_values_are_offered_with_where_they_stand(client: TestClient, space: Workspace, tmp_path: Path) -> None:
    question = asked(space, "PSV-3", "two columns")
    page = client.get("/plant/1/ask?q=PSV-3").text
    assert 'value="10 barg"' in page and 'value="100 psig"' in page
    refused = client.post("/plant/1/ask", data=form(question, **{"pick.0": "10 barg", "value.0": "11 barg"}))
    assert refused.status_code == 422 and "Give one of them" in text(refused)
    assert client.post("/plant/1/ask", data=form(question, **{"pick.0": "100 psig"})).status_code == 303
    with space.reading() as connection:
        plant = plants.get(connection, 1)
    assert plant is not None
    found = read(*plants.inputs(space, plant)[:1], basis(), plants.inputs(space, plant)[1])
    assert found.locations[2].valve.set_pressure == pytest.approx(101325 + 100 * 6894.757)  # NIST SP 811
    assert not any("two columns" in p.rule for p in found.problems if p.row == 4)


@pytest.mark.parametrize(("given", "words"), [
    ({"value.1": "ten"}, "PSV-1, set_pressure: 'ten' is not a number with a unit. To mend it: write for example"),
    ({"value.1": "1e9 barg"}, "0 to 10 000 bar"),
    ({"value.0": "many"}, "PSV-1, required: 'many' is not a whole number"),
    ({"value.2": "tbc"}, "says that it is not known"),
    ({"value.1": "10 barg", "why": " "}, "PSV-1: write how you know"),
    ({}, "Write what was found"),
    ({"value.1": "9" * 600}, "longer than 500"),
])  # fmt: skip
def test_what_its_field_cannot_take_is_refused_in_words(client: TestClient, space: Workspace, given: dict[str, str], words: str) -> None:
    answer = client.post("/plant/1/ask", data=form(asked(space, "PSV-1", "additional valve"), **given))
    assert answer.status_code == 422 and words in text(answer) and "Back to where you were" in text(answer)
    assert kept(space) == []


def test_an_answer_without_a_unit_takes_that_of_its_column(client: TestClient, space: Workspace) -> None:
    for _ in range(50):
        answer = client.post("/plant/1/ask", data=form(asked(space, "PSV-1", "additional valve"), **{"value.1": "10"}))
        if answer.status_code == 303:
            break
    assert answer.status_code == 303 and kept(space) == [("PSV", 2, "set_pressure", "10")]


def test_what_no_field_holds_is_kept_as_a_remark_and_said_so(client: TestClient, space: Workspace) -> None:
    with space.reading() as connection:
        study = studies.get(connection, 1)
    assert study is not None
    question = next(one for one in study["head"]["questions"]["questions"] if [each["field"] for each in one["answers"]] == ["answer"])
    assert "kept as a remark of the valve" in text(client.get("/plant/1/ask"))
    assert client.post("/plant/1/ask", data=form(question, **{"value.0": "the maker proves it in letter 12"})).status_code == 303
    assert kept(space) == [("PSV", question["row"], "answer", "the maker proves it in letter 12")]
    assert "the maker proves it in letter 12" in text(client.get("/plant/1/ask"))


def test_nobody_answers_without_a_name_or_a_question_nobody_asked(client: TestClient, space: Workspace) -> None:
    question = asked(space, "PSV-1", "additional valve")
    assert client.post("/plant/1/ask", data={**form(question, **{"value.0": "2"}), "title": "What colour is it?"}).status_code == 404
    client.cookies.clear()
    answer = client.post("/plant/1/ask", data=form(question, **{"value.0": "2"}))
    assert answer.status_code == 422 and "Give your name" in text(answer) and kept(space) == []
