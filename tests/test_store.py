"""The workspace on disk: migrations both ways, files, mends, jobs, and a study that comes back as it went in."""

from __future__ import annotations

import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy.exc import IntegrityError

from quietseat import demo, planning
from quietseat.basis import load, make
from quietseat.register import read
from quietseat.status import InputUnusable
from quietseat.store import (
    Workspace,
    chosen,
    decided,
    issued,
    jobs,
    mends,
    open_workspace,
    plants,
    record,
    rows,
    studies,
    tables,
    workspace,
)
from quietseat.study import run
from quietseat.work import work


@pytest.fixture
def space(tmp_path: Path) -> Workspace:
    return open_workspace(tmp_path / "space")


def a_plant(space: Workspace, text: str = "Tag,Set pressure barg\nPSV-1,10\n") -> int:
    number = space.keep_file("list.csv", text.encode())
    with space.writing() as connection:
        return plants.add(connection, "North", number, {"time_marching": "none"})


def test_migrations_go_up_down_and_up_and_match_the_tables(space: Workspace) -> None:
    config = workspace._config()
    with space.engine.begin() as connection:
        assert compare_metadata(MigrationContext.configure(connection), tables.metadata) == []
        config.attributes["connection"] = connection
        command.downgrade(config, "base")
        left = MigrationContext.configure(connection)
        assert left.get_current_revision() is None
        command.upgrade(config, "head")
        assert compare_metadata(MigrationContext.configure(connection), tables.metadata) == []


def test_a_file_that_is_no_workspace_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "workspace.db").write_bytes(b"this is no database at all, only words in a file of that name")
    with pytest.raises(InputUnusable, match=r"workspace\.db.*is no workspace"):
        open_workspace(tmp_path)


def test_a_workspace_of_a_newer_program_is_refused(space: Workspace) -> None:
    with sqlite3.connect(space.folder / workspace.DATABASE) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(InputUnusable, match="9999"):
        open_workspace(space.folder)


def test_the_same_content_is_kept_once_under_its_first_name(space: Workspace) -> None:
    first, again = space.keep_file("a b/../list.csv", b"x"), space.keep_file("other.csv", b"x")
    assert first == again
    name, path = space.file(first)
    assert name == "a b/../list.csv" and path.name == "list.csv" and path.read_bytes() == b"x"
    assert space.folder in path.parents


def test_content_kept_by_many_at_once_is_whole_for_all(space: Workspace) -> None:
    """A server and its jobs keep the same mends at the same moment: nobody may read half a file, or stumble over another's draft."""
    together = threading.Barrier(4)

    def keep(content: bytes) -> bytes:
        together.wait(30)
        return space.file(space.keep_file("mends.csv", content))[1].read_bytes()

    with ThreadPoolExecutor(4) as pool:
        for number in range(60):
            content = f"{number},".encode() * 2000
            assert [future.result() == content for future in [pool.submit(keep, content) for _ in range(4)]] == [True] * 4
    assert not list(space.folder.rglob("*.part"))


def test_plants_get_free_names(space: Workspace) -> None:
    a_plant(space), a_plant(space)
    with space.reading() as connection:
        assert [one.name for one in plants.listed(connection)] == ["North", "North 2"]


def test_mends_are_kept_undone_and_given_to_the_reader(space: Workspace) -> None:
    number = a_plant(space)
    given = {"kind": "cell", "sheet": "", "row": 2, "field": "set_pressure", "value": "12 barg", "why": "nameplate"}
    with space.writing() as connection:
        mend = plants.mend(connection, number, given, "A. Reader")
        plant = plants.get(connection, number)
    assert plant is not None
    register, mends = plants.inputs(space, plant)
    found = read(register, make(), mends)
    assert found.mends[0].applied and found.mends[0].who == "A. Reader"
    assert found.locations[0].valve.set_pressure == pytest.approx(12e5 + 101325.0, rel=1e-6)
    with space.writing() as connection:
        assert rows.undo(connection, tables.mend, mend, "B. Reader", plant=number)
        assert not rows.undo(connection, tables.mend, mend, "B. Reader", plant=number)  # undone already
    assert plants.inputs(space, plant)[1] is None
    with space.writing() as connection:
        assert not rows.redo(connection, tables.mend, mend, "C. Reader", plant=number + 1)  # of another plant
        assert rows.redo(connection, tables.mend, mend, "C. Reader", plant=number)
        (kept,) = rows.with_acts(connection, number, "mend", rows.listed(connection, tables.mend))
    assert kept["undone_at"] is None and [(act["done"], act["who"]) for act in kept["acts"]] == [("undone", "B. Reader"), ("stands again", "C. Reader")]
    assert all(act["made_at"] for act in kept["acts"])


def test_who_undid_and_who_redid_stays_whatever_comes_after(space: Workspace) -> None:
    plant = a_plant(space)
    with space.writing() as connection:
        batch = decided.decide_all(connection, plant, [(f"PSV-{n}", "keep", "Keep it") for n in range(3)], "bulk", "Ann")
        assert decided.undo(connection, plant, "decision", batch.first, "Bo", last=batch.last) == 3
        assert decided.redo(connection, plant, "decision", batch.first, "Cy", last=batch.last) == 3
        assert decided.redo(connection, plant, "decision", batch.first, "Dee", last=batch.last) == 0  # they stand
        decided.pin(connection, plant, "PSV-1", "in", "Ann")
        freed = decided.pin_all(connection, plant, ["PSV-1"], None, "Bo")
        assert decided.redo(connection, plant, "pin", freed.first, "Cy", last=freed.last, undone_at=freed.at) == 1
        first = mends.keep(connection, plant, {"kind": "cell", "sheet": "", "row": 2, "field": "set_pressure", "value": "11 barg", "why": "a"}, "Ann")
        second = mends.keep(connection, plant, {"kind": "cell", "sheet": "", "row": 2, "field": "set_pressure", "value": "12 barg", "why": "b"}, "Bo")
        assert mends.redo(connection, plant, first, "Cy")
    with space.reading() as connection:
        told = {
            kind: [(one["row"], one["done"], one["who"]) for one in rows.noted(connection, plant, kind=kind)] for kind in ("decision", "pin", "mend")
        }
        (history,) = decided.history(connection, plant, "PSV-1")["pin"]
    numbers = range(batch.first, batch.last + 1)
    assert told["decision"] == [*((n, "undone", "Bo") for n in numbers), *((n, "stands again", "Cy") for n in numbers)]
    assert told["pin"] == [(freed.first, "undone", "Bo"), (freed.first, "stands again", "Cy")]
    assert [(act["done"], act["who"]) for act in history["acts"]] == [("undone", "Bo"), ("stands again", "Cy")]
    assert told["mend"] == [(first, "undone", "Bo"), (second, "undone", "Cy"), (first, "stands again", "Cy")]


def test_views_are_removed_replaced_and_stand_again(space: Workspace) -> None:
    plant = a_plant(space)
    with space.writing() as connection:
        decided.save_view(connection, plant, "Worst", "q=1", "Ann")
        decided.save_view(connection, plant, "Worst", "q=2", "Bo")
        (view,) = decided.views(connection, plant)
        assert view["query"] == "q=2"
        assert decided.drop_view(connection, plant, view["id"], "Cy") and not decided.drop_view(connection, plant, view["id"], "Cy")
        assert decided.views(connection, plant) == []
        assert [(one["query"], one["undone_by"]) for one in decided.removed_views(connection, plant)] == [("q=2", "Cy"), ("q=1", "Bo")]
        first = view["id"] - 1
        assert decided.restore_view(connection, plant, view["id"], "Dee") and decided.restore_view(connection, plant, first, "Dee")
        assert not decided.restore_view(connection, plant, first, "Dee") and not decided.restore_view(connection, plant + 1, view["id"], "Dee")
        assert [one["query"] for one in decided.views(connection, plant)] == ["q=1"]  # one of a name


def test_the_record_tells_everything_with_who_and_why(space: Workspace) -> None:
    plant = a_plant(space)
    with space.writing() as connection:
        mends.keep(connection, plant, {"kind": "cell", "sheet": "S", "row": 2, "field": "set_pressure", "value": "12 barg", "why": "nameplate"}, "Ann")
        chosen.choose(connection, plant, {"budget": "90000"}, "new year", "Bo")
        decided.decide(connection, plant, "PSV-1", "keep", "Keep it", "cheap", "Cy")
        decided.pin(connection, plant, "PSV-1", "in", "Dee")
        decided.undo(connection, plant, "pin", 1, "Eve")
        decided.remark(connection, plant, "look at it", "Fay", tag="PSV-1")
        decided.save_view(connection, plant, "Worst", "q=1", "Gil")
        job = jobs.add(connection, plant, "study", {"stage": "full"}, "Hal")
        jobs.cancel(connection, job, "Ida")
        jobs.resume(connection, job, "Jon")
    with space.reading() as connection:
        lines = record.lines(connection, plant)
    told = {(line.kind, line.done, line.who): line for line in lines}
    assert set(told) == {
        ("plant", "brought in", "the program"), ("mend", "made", "Ann"), ("choice", "made", "Bo"), ("decision", "made", "Cy"), ("pin", "made", "Dee"),
        ("pin", "undone", "Eve"), ("remark", "made", "Fay"), ("view", "made", "Gil"), ("job", "started", "Hal"), ("job", "cancelled", "Ida"),
        ("job", "goes on", "Jon"),
    }  # fmt: skip
    assert (told["mend", "made", "Ann"].about, told["mend", "made", "Ann"].after, told["mend", "made", "Ann"].why) == (
        "S, row 2, set_pressure", "12 barg", "nameplate",
    )  # fmt: skip
    assert (told["choice", "made", "Bo"].before, told["choice", "made", "Bo"].after) == ("the default", "90000")
    assert told["pin", "undone", "Eve"].about == "PSV-1" and told["job", "cancelled", "Ida"].about == "study, full"
    assert told["job", "goes on", "Jon"].before.startswith("cancelled, 20")
    assert [line.when for line in lines] == sorted(line.when for line in lines)


def test_the_record_is_only_added_to(space: Workspace) -> None:
    a_plant(space)
    for statement in ("update event set who = 'somebody else'", "delete from event"):
        with pytest.raises(IntegrityError, match="only added to"), space.writing() as connection:
            connection.exec_driver_sql(statement)


def test_a_workspace_of_the_version_before_opens_with_what_it_knew(tmp_path: Path) -> None:
    space = open_workspace(tmp_path / "space")
    with space.engine.begin() as connection:
        config = workspace._config()
        config.attributes["connection"] = connection
        command.downgrade(config, "0003")
    with sqlite3.connect(space.folder / workspace.DATABASE) as raw:
        raw.execute("insert into file values (1, 'abc', 'list.csv', 3, '2026-01-01T00:00:00Z')")
        raw.execute("insert into plant values (1, 'North', 1, '{}', 0, 1, '2026-01-01T00:00:00Z')")
        raw.execute(
            "insert into study (id, plant_id, number, stage, state, hash, version, valves, head, made_at, issued_by, issued_at, reviewer, locked_at, words)"
            " values (1, 1, 1, 'full', 'locked', 'h', '0.4.0', 0, x'', '2026-01-02T00:00:00Z', 'Ann', '2026-01-03T00:00:00Z', 'Kim', '2026-01-04T00:00:00Z', 'A')"
        )
        remark = "insert into remark (plant_id, study_id, tag, words, who, made_at, undone_by, undone_at) values (1, 1, null, ?, ?, ?, ?, ?)"
        raw.execute(remark, ("stood", "Kim", "2026-01-03T01:00:00Z", None, None))
        raw.execute(remark, ("undone before", "Kim", "2026-01-03T01:00:00Z", "Bo", "2026-01-03T02:00:00Z"))
        raw.execute(remark, ("Locked.", "Lou", "2026-01-04T00:00:00Z", None, None))
        raw.execute("insert into job (plant_id, kind, state, given, done, total, words, made_at) values (1, 'study', 'done', '{}', 1, 1, 'done', '2026')")
        raw.execute("insert into view (plant_id, name, query, who, made_at) values (1, 'Worst', 'q=1', 'Ann', '2026')")
    raw.close()
    space.engine.dispose()
    again = open_workspace(space.folder)
    with again.reading() as connection:
        study, state = rows.one(connection, tables.study, 1), issued.as_data(connection, 1)
        told = [(one["kind"], one["done"], one["who"]) for one in rows.noted(connection, 1)]
        (job,) = jobs.of_plant(connection, 1)
        (view,) = decided.views(connection, 1)
    assert study is not None and study["locked_by"] == state["locked_by"] == "Lou" and job["who"] == "not kept" and view["name"] == "Worst"
    assert [one["words"] for one in state["remarks"]] == ["stood", "Locked."]
    assert told == [
        ("plant", "brought in", "not kept"), ("study", "made", "not kept"), ("remark", "undone", "Bo"), ("study", "reviewer", "not kept"),
        ("study", "issued", "Ann"), ("study", "locked", "Lou"),
    ]  # fmt: skip


def test_a_job_is_taken_once_cancelled_and_goes_on(space: Workspace) -> None:
    plant = a_plant(space)
    with space.writing() as connection:
        first = jobs.add(connection, plant, "study", {"stage": "full"}, who="Ann")
        assert jobs.add(connection, plant, "study", {"stage": "full"}, who="Bo") == first  # waits already
    taken = jobs.take(space)
    assert taken is not None and taken["id"] == first and jobs.take(space) is None
    assert jobs.beat(space, first, 1, 2, "valves")
    with space.writing() as connection:
        assert jobs.cancel(connection, first, "Cy") and not jobs.cancel(connection, first, "Cy")
    assert not jobs.beat(space, first, 2, 2, "valves")
    jobs.end(space, first, "done", "done")  # too late: it was cancelled
    with space.writing() as connection:
        found = jobs.get(connection, first)
        assert found is not None and found["state"] == "cancelled"
        assert jobs.resume(connection, first, "Dee") and not jobs.resume(connection, first, "Dee")
        (kept,) = jobs.of_plant(connection, plant)
    assert kept["who"] == "Ann" and [(act["done"], act["who"]) for act in kept["acts"]] == [
        ("asked for again", "Bo"), ("cancelled", "Cy"), ("goes on", "Dee"),
    ]  # fmt: skip
    assert jobs.take(space) is not None
    assert jobs.orphans(space) == 1  # the server ended while it ran
    with space.reading() as connection:
        found = jobs.get(connection, first)
        assert jobs.of_plant(connection, plant)[0]["acts"][-1]["done"] == "stopped"
    assert found is not None and found["state"] == "waiting"


def test_a_study_comes_back_as_it_was_run(space: Workspace) -> None:
    files = demo.files()
    basis = make({**load(files.basis).changed(), "time_marching": "none"})
    found = run(files.register, basis, files.mends)
    plant = a_plant(space)
    with space.writing() as connection:
        number = studies.save(connection, plant, found, "full")
    with space.reading() as connection:
        again = studies.load(connection, number)
        (listed,) = studies.of_plant(connection, plant)
    assert again is not None and again.head == found.head
    assert [record.json() for record in again.records] == [record.json() for record in found.records]
    assert [record.tag for record in again.ranked()] == [record.tag for record in found.ranked()]
    with space.reading() as connection:
        kept = studies.items(connection, number)
    plain = [planning.item(record.full(), basis, basis.act_finding_cost) for record in found.records]
    assert kept == [one for one in plain if one is not None] and len(kept) > 20  # as `quietseat plan` reads them from study.json
    assert listed["number"] == 1 and listed["valves"] == len(found.records) and listed["hash"] == found.head["hash"]


def test_a_first_look_is_run_shown_and_followed_by_the_full_study(space: Workspace) -> None:
    plant = a_plant(space, "Tag,Orifice,Set pressure barg,MAWP barg\nPSV-1,J,10,11\nPSV-2,,ten,11\n")
    with space.writing() as connection:
        jobs.add(connection, plant, "study", {"stage": "first look"}, "Ann")
    job = jobs.take(space)
    assert job is not None
    work(space.folder, job["id"])
    with space.reading() as connection:
        ended, shown = jobs.get(connection, job["id"]), plants.get(connection, plant)
        told = [(one["done"], one["who"], one["after"]) for one in rows.noted(connection, plant, kind="study")]
        waiting = [one for one in jobs.of_plant(connection, plant) if one["state"] == "waiting"]
    assert ended is not None and ended["state"] == "done" and shown is not None and shown.study == ended["result"]["study"]
    assert [(one["given"], one["who"]) for one in waiting] == [({"stage": "full"}, "Ann")]
    assert told == [("made", "Ann", None), ("shown", "", "study 1")]


def test_a_job_that_fails_says_why(space: Workspace) -> None:
    plant = a_plant(space, "nothing a reader knows\n")
    with space.writing() as connection:
        jobs.add(connection, plant, "study", {"stage": "full"})
    job = jobs.take(space)
    assert job is not None
    work(space.folder, job["id"])
    with space.reading() as connection:
        ended = jobs.get(connection, job["id"])
    assert ended is not None and ended["state"] == "failed" and "list.csv" in ended["error"]


def test_one_that_would_write_waits_until_another_has_written(space: Workspace) -> None:
    """Each reads and then writes. A second one that may read meanwhile would write first, and the first then fails: "database is locked"."""
    plant = a_plant(space)
    ended: list[str] = []
    other = open_workspace(space.folder)

    def second() -> None:
        with other.writing() as connection:
            known = len(rows.listed(connection, tables.view))
            rows.add(connection, tables.view, plant_id=plant, name=f"second after {known}", query="", who="b")
        ended.append("second")

    thread = threading.Thread(target=second)
    with space.writing() as connection:
        rows.listed(connection, tables.view)
        thread.start()
        thread.join(0.5)  # time enough to read, write and be done, were it let
        assert ended == []
        rows.add(connection, tables.view, plant_id=plant, name="first", query="", who="a")
    thread.join(10)
    assert ended == ["second"]
    with space.reading() as connection:
        assert [row["name"] for row in rows.listed(connection, tables.view)] == ["first", "second after 1"]
