"""Opening a workspace: its folder, its database brought up to date, its connections."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import resources
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, insert, select

from quietseat.status import InputUnusable
from quietseat.store import tables

DATABASE = "workspace.db"
BUSY = 30.0  # seconds a write waits for another process's


def now() -> str:
    """This moment as stored: UTC to the second, ISO 8601."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass(frozen=True, slots=True)
class Workspace:
    """One folder with its database. Reading and writing go through `reading` and `writing`."""

    folder: Path
    engine: Engine

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A connection to read with."""
        with self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A connection whose changes are kept together, or not at all where an exception leaves the block."""
        with self.engine.connect() as connection, connection.execution_options(writes=True).begin():
            yield connection

    def keep_file(self, name: str, content: bytes) -> int:
        """Keep a file by its content; the same content is kept once. Returns its number."""
        digest = hashlib.sha256(content).hexdigest()
        place = self._place(digest)
        if not place.exists():
            write_whole(place, content)
        with self.writing() as connection:
            found = connection.execute(select(tables.file.c.id).where(tables.file.c.sha256 == digest)).scalar()
            if found is not None:
                return int(found)
            row = {"sha256": digest, "name": name, "size": len(content), "made_at": now()}
            return int(connection.execute(insert(tables.file).values(row)).inserted_primary_key[0])  # type: ignore[index]

    def file(self, number: int) -> tuple[str, Path]:
        """Name and path of a kept file. The path's last part is the name, so that messages name the file as its owner does."""
        with self.reading() as connection:
            row = connection.execute(select(tables.file).where(tables.file.c.id == number)).mappings().one()
        place = self._place(str(row["sha256"]))
        named = place.parent / "named" / place.stem / _safe(str(row["name"]))
        if not named.exists() or named.stat().st_size != row["size"]:  # cut short by an earlier version
            write_whole(named, place.read_bytes())
        return str(row["name"]), named

    def by_hash(self, digest: str) -> Path | None:
        """Where the content of a kept file lies; None where it is not kept, or gone."""
        place = self._place(digest)
        return place if digest.isalnum() and place.is_file() else None

    def _place(self, digest: str) -> Path:
        return self.folder / "files" / digest[:2] / f"{digest}.bin"


def write_whole(place: Path, content: bytes) -> None:
    """Write a file at once: whoever looks, in this process or another, sees all of it or none. Several may write the same."""
    place.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=place.parent, suffix=".part", delete=False) as draft:
        draft.write(content)
    Path(draft.name).replace(place)


def _safe(name: str) -> str:
    """A file name without folders or signs a file system stumbles over."""
    last = name.replace("\\", "/").rpartition("/")[2].strip() or "register"
    return "".join(sign if sign.isalnum() or sign in " ._-()+" else "_" for sign in last)[-120:]


def open_workspace(folder: str | Path) -> Workspace:
    """Open a workspace, made where the folder holds none, brought to the newest migration where it is older.

    Raises InputUnusable where the folder cannot be written or the database is newer than this program or no workspace.
    """
    from alembic import command
    from alembic.util import CommandError
    from sqlalchemy.exc import SQLAlchemyError

    place = Path(folder)
    try:
        place.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputUnusable(f"{place}: cannot be made ({error.strerror}); choose another folder with --folder.") from error
    engine = create_engine(f"sqlite:///{place / DATABASE}", connect_args={"timeout": BUSY, "check_same_thread": False})
    event.listen(engine, "connect", _pragmas)
    event.listen(engine, "begin", _begin)
    try:
        with engine.begin() as connection:
            config = _config()
            config.attributes["connection"] = connection
            command.upgrade(config, "head")
    except (SQLAlchemyError, CommandError) as error:
        raise InputUnusable(f"{place / DATABASE}: is no workspace this version can open ({_first_line(error)}).") from error
    return Workspace(place, engine)


def _config() -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(resources.files("quietseat.store").joinpath("migrations")))
    return config


def _begin(connection: Connection) -> None:
    """A transaction that will write takes the right to at once: one that reads first and is overtaken by another process would fail."""
    connection.exec_driver_sql("BEGIN IMMEDIATE" if connection.get_execution_options().get("writes") else "BEGIN")


def _pragmas(connection: Any, record: Any) -> None:
    connection.isolation_level = None  # transactions are begun by _begin alone
    cursor = connection.cursor()
    for line in ("journal_mode = WAL", "synchronous = NORMAL", "foreign_keys = ON", f"busy_timeout = {int(1000 * BUSY)}"):
        cursor.execute(f"PRAGMA {line}")
    cursor.close()


def _first_line(error: Exception) -> str:
    return str(error).strip().splitlines()[0]
