"""The workspace on disk: migrations both ways, files, mends, jobs, and a study that comes back as it went in."""

from __future__ import annotations

import sqlite3
import threading
import time
from pathlib import Path

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext

from quietseat import demo, planning
from quietseat.basis import load, make
from quietseat.register import read
from quietseat.status import InputUnusable
from quietseat.store import Workspace, jobs, open_workspace, plants, rows, studies, tables, workspace
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
        assert not rows.redo(connection, tables.mend, mend, plant=number + 1)  # of another plant
        assert rows.redo(connection, tables.mend, mend, plant=number)
        assert len(rows.listed(connection, tables.mend)) == 1


def test_a_job_is_taken_once_cancelled_and_goes_on(space: Workspace) -> None:
    plant = a_plant(space)
    with space.writing() as connection:
        first = jobs.add(connection, plant, "study", {"stage": "full"})
        assert jobs.add(connection, plant, "study", {"stage": "full"}) == first  # waits already
    taken = jobs.take(space)
    assert taken is not None and taken["id"] == first and jobs.take(space) is None
    assert jobs.beat(space, first, 1, 2, "valves")
    with space.writing() as connection:
        assert jobs.cancel(connection, first)
    assert not jobs.beat(space, first, 2, 2, "valves")
    jobs.end(space, first, "done", "done")  # too late: it was cancelled
    with space.writing() as connection:
        found = jobs.get(connection, first)
        assert found is not None and found["state"] == "cancelled"
        assert jobs.resume(connection, first)
    assert jobs.take(space) is not None
    assert jobs.orphans(space) == 1  # the server ended while it ran
    with space.reading() as connection:
        found = jobs.get(connection, first)
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
        jobs.add(connection, plant, "study", {"stage": "first look"})
    job = jobs.take(space)
    assert job is not None
    work(space.folder, job["id"])
    with space.reading() as connection:
        ended, shown = jobs.get(connection, job["id"]), plants.get(connection, plant)
        waiting = [one for one in jobs.of_plant(connection, plant) if one["state"] == "waiting"]
    assert ended is not None and ended["state"] == "done" and shown is not None and shown.study == ended["result"]["study"]
    assert [one["given"] for one in waiting] == [{"stage": "full"}]


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


def test_two_that_write_at_once_wait_for_each_other(space: Workspace) -> None:
    """Each reads and then writes; without taking the right to write first, the one overtaken fails with "database is locked"."""
    plant = a_plant(space)
    failed: list[Exception] = []

    def many(other: Workspace, name: str) -> None:
        for number in range(40):
            try:
                with other.writing() as connection:
                    rows.listed(connection, tables.view)
                    time.sleep(0.002)  # the others come in between
                    rows.add(connection, tables.view, plant_id=plant, name=f"{name} {number}", query="", who=name)
            except Exception as error:
                failed.append(error)

    threads = [threading.Thread(target=many, args=(open_workspace(space.folder), name)) for name in ("a", "b", "c")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failed == []
    with space.reading() as connection:
        assert len(rows.listed(connection, tables.view)) == 120
