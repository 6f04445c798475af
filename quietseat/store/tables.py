"""The tables of a workspace. Their history stands in migrations/versions; change both together."""

from __future__ import annotations

from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)  # fmt: skip

metadata = MetaData(naming_convention={
    "ix": "ix_%(table_name)s_%(column_0_N_name)s", "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s", "pk": "pk_%(table_name)s",
})  # fmt: skip


def _id() -> Column[int]:
    return Column("id", Integer, primary_key=True)


def _of(name: str, *, null: bool = False, index: bool = True) -> Column[int]:
    return Column(f"{name}_id", Integer, ForeignKey(f"{name}.id", ondelete="CASCADE"), nullable=null, index=index)


def _who() -> tuple[Column[str], Column[str]]:
    return Column("who", String(80), nullable=False), Column("made_at", String(25), nullable=False)


def _undone() -> tuple[Column[str], Column[str]]:
    return Column("undone_by", String(80)), Column("undone_at", String(25))


# A file as it was brought in; its content lies in files/<sha256>.
file = Table(
    "file", metadata, _id(), Column("sha256", String(64), nullable=False, unique=True), Column("name", String(255), nullable=False),
    Column("size", Integer, nullable=False), Column("made_at", String(25), nullable=False),
)  # fmt: skip

# A register being worked on with its choices. basis: changed choices as JSON. study_id: the one its pages show.
plant = Table(
    "plant", metadata, _id(), Column("name", String(120), nullable=False, unique=True), Column("file_id", Integer, ForeignKey("file.id"), nullable=False),
    Column("basis", Text, nullable=False), Column("demo", Boolean, nullable=False), Column("study_id", Integer),
    Column("made_at", String(25), nullable=False),
)  # fmt: skip

# Every mend of a cell, column, code or row, in order; an undone one stays on record.
mend = Table(
    "mend", metadata, _id(), _of("plant"), Column("kind", String(20), nullable=False), Column("sheet", String(80), nullable=False),
    Column("row", Integer), Column("field", String(80), nullable=False), Column("value", Text, nullable=False),
    Column("why", Text, nullable=False), *_who(), *_undone(),
)  # fmt: skip

# A study that was run. stage: first look (closed form only) or full. state: draft, issued or locked. head: study.json less its valves, packed.
# missing: what was changed since it was run and is not in it, as noted at its issue or lock, a JSON list. frozen: `issued.as_data` at the lock, JSON.
study = Table(
    "study", metadata, _id(), _of("plant"), Column("number", Integer, nullable=False), Column("stage", String(12), nullable=False),
    Column("state", String(12), nullable=False), Column("hash", String(64), nullable=False), Column("version", String(20), nullable=False),
    Column("valves", Integer, nullable=False), Column("head", LargeBinary, nullable=False), Column("made_at", String(25), nullable=False),
    Column("issued_by", String(80)), Column("issued_at", String(25)), Column("reviewer", String(80)), Column("locked_at", String(25)),
    Column("words", Text, nullable=False, server_default=""), Column("locked_by", String(80)), Column("missing", Text), Column("frozen", Text),
    UniqueConstraint("plant_id", "number"),
)  # fmt: skip

# One valve of a study: what the fleet page sorts, filters and shows, and the whole of it packed.
valve = Table(
    "valve", metadata, _id(), _of("study", index=False), Column("tag", String(80), nullable=False), Column("rank", Integer, nullable=False),
    Column("verdict", String(10), nullable=False), Column("severity", String(6), nullable=False), Column("unit", String(80), nullable=False),
    Column("kind", String(20), nullable=False), Column("designation", String(20), nullable=False), Column("fluid", String(80), nullable=False),
    Column("set_pressure", Float), Column("cause_code", String(20), nullable=False), Column("cause", Text, nullable=False),
    Column("operating_ratio", Float), Column("utilisation", Float), Column("inlet_loss", Float), Column("built_up", Float),
    Column("recommended", String(80), nullable=False), Column("recommended_title", Text, nullable=False), Column("clears", String(20), nullable=False),
    Column("cost", Float), Column("npv", Float), Column("leak", Float), Column("in_plan", Boolean, nullable=False), Column("defaults", Integer, nullable=False),
    Column("opens", Integer, nullable=False), Column("score", Float, nullable=False), Column("codes", Text, nullable=False),
    Column("words", Text, nullable=False), Column("summary", Text, nullable=False), Column("place", Text, nullable=False),
    Column("packed", LargeBinary, nullable=False), Column("steps", LargeBinary),
    Column("item", Text),  # as a plan sees it, JSON; NULL: nothing to plan, or kept before this column was
    Index("ix_valve_study_rank", "study_id", "rank"), Index("ix_valve_study_tag", "study_id", "tag"),
    Index("ix_valve_study_verdict", "study_id", "verdict", "rank"),
)  # fmt: skip

# Long work. state: waiting, running, done, failed, cancelled. given, result: JSON. beat_at: last sign of life. who: who started it ("": the program).
job = Table(
    "job", metadata, _id(), _of("plant"), Column("kind", String(20), nullable=False), Column("state", String(12), nullable=False, index=True),
    Column("given", Text, nullable=False), Column("result", Text), Column("done", Integer, nullable=False), Column("total", Integer, nullable=False),
    Column("words", Text, nullable=False), Column("error", Text), Column("made_at", String(25), nullable=False), Column("started_at", String(25)),
    Column("ended_at", String(25)), Column("beat_at", String(25)), Column("who", String(80), nullable=False, server_default=""),
)  # fmt: skip

# What a job has finished so far, so that it can go on after a stop: plain text under a key of all that went in.
part = Table(
    "part", metadata, _id(), _of("plant"), Column("key", String(64), nullable=False), Column("content", LargeBinary, nullable=False),
    UniqueConstraint("plant_id", "key"),
)  # fmt: skip

# A remedy somebody decided on for a valve.
decision = Table(
    "decision", metadata, _id(), _of("plant"), Column("tag", String(80), nullable=False), Column("remedy", String(80), nullable=False),
    Column("title", Text, nullable=False), Column("why", Text, nullable=False), *_who(), *_undone(),
)  # fmt: skip

# A valve held in or out of the plan by hand. place: in or out.
pin = Table(
    "pin", metadata, _id(), _of("plant"), Column("tag", String(80), nullable=False), Column("place", String(3), nullable=False), *_who(), *_undone(),
)  # fmt: skip

# A name for the address of a fleet page with its search, filters and order; of one name only the latest stands.
view = Table(
    "view", metadata, _id(), _of("plant"), Column("name", String(80), nullable=False), Column("query", Text, nullable=False), *_who(), *_undone(),
)  # fmt: skip

# What a reviewer said about a study, or one valve of it.
remark = Table(
    "remark", metadata, _id(), _of("plant"), _of("study", null=True), Column("tag", String(80)), Column("words", Text, nullable=False), *_who(), *_undone(),
)  # fmt: skip

# A change of a choice of the Basis. before, value: as written; NULL: the default.
choice = Table(
    "choice", metadata, _id(), _of("plant"), Column("name", String(80), nullable=False), Column("before", Text), Column("value", Text),
    Column("why", Text, nullable=False), *_who(),
)  # fmt: skip

# What was done beside adding a row: undone, stands again, shown, issued, locked, started ... Only added to, never changed.
# kind: name of the table it is about; row: the row there; before, after: what it was and became; words: reason, or what was noted.
event = Table(
    "event", metadata, _id(), _of("plant"), _of("study", null=True), Column("kind", String(20), nullable=False), Column("row", Integer),
    Column("done", String(20), nullable=False), Column("before", Text), Column("after", Text), Column("words", Text, nullable=False), *_who(),
    Index("ix_event_kind_row", "kind", "row"),
)  # fmt: skip

# A file of a locked study as it was at the lock.
sealed = Table(
    "sealed", metadata, _id(), _of("study"), Column("name", Text, nullable=False), Column("size", Integer, nullable=False),
    Column("sha256", String(64), nullable=False), UniqueConstraint("study_id", "name"),
)  # fmt: skip
