"""The record of who did what: undone and standing again, reviewer, issue, lock, files at the lock, who started work"""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_UNKNOWN = "not kept"  # by the versions before
_COLUMNS = (("study", "locked_by"), ("study", "missing"), ("study", "frozen"), ("job", "who"))


def upgrade() -> None:
    """Make the tables and columns, and enter what older rows tell."""
    _make()
    run = op.get_bind().exec_driver_sql
    run(f"update job set who = '{_UNKNOWN}'")
    run(
        "update study set locked_by = coalesce((select who from remark where study_id = study.id and words = 'Locked.' order by id limit 1),"
        f" '{_UNKNOWN}') where locked_at is not null"
    )
    into = "insert into event (plant_id, study_id, kind, row, done, before, after, words, who, made_at) "
    run(
        f"{into} select p.id, null, 'plant', p.id, 'brought in', null, f.name, 'SHA-256 ' || f.sha256, '{_UNKNOWN}', p.made_at"
        " from plant p join file f on f.id = p.file_id"
    )
    run(f"{into} select plant_id, id, 'study', id, 'made', null, null, stage || ', hash ' || hash, '{_UNKNOWN}', made_at from study")
    for table, study in (("mend", "null"), ("decision", "null"), ("pin", "null"), ("remark", "study_id")):
        run(f"{into} select plant_id, {study}, '{table}', id, 'undone', null, null, '', undone_by, undone_at from {table} where undone_at is not null")
    run(
        f"{into} select plant_id, id, 'study', id, 'reviewer', null, reviewer, 'by whom and when was not kept', '{_UNKNOWN}',"
        " coalesce(issued_at, made_at) from study where reviewer is not null"
    )
    run(f"{into} select plant_id, id, 'study', id, 'issued', 'draft', words, '', issued_by, issued_at from study where issued_at is not null")
    run(f"{into} select plant_id, id, 'study', id, 'locked', 'issued', null, '', locked_by, locked_at from study where locked_at is not null")
    run(f"{into} select plant_id, null, 'job', id, 'cancelled', null, null, '', '{_UNKNOWN}', ended_at from job where state = 'cancelled'")
    _freeze()
    for what in ("update", "delete"):  # what is in the record stays, whatever program writes
        run(f"create trigger event_no_{what} before {what} on event begin select raise(abort, 'the record is only added to'); end")


def _make() -> None:
    op.create_table(
        "event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("row", sa.Integer(), nullable=True),
        sa.Column("done", sa.String(length=20), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_event_plant_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_event_study_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_event")),
    )
    op.create_index(op.f("ix_event_plant_id"), "event", ["plant_id"])
    op.create_index(op.f("ix_event_study_id"), "event", ["study_id"])
    op.create_index("ix_event_kind_row", "event", ["kind", "row"])
    op.create_table(
        "sealed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_sealed_study_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sealed")),
        sa.UniqueConstraint("study_id", "name", name=op.f("uq_sealed_study_id_name")),
    )
    op.create_index(op.f("ix_sealed_study_id"), "sealed", ["study_id"])
    op.add_column("study", sa.Column("locked_by", sa.String(length=80), nullable=True))
    op.add_column("study", sa.Column("missing", sa.Text(), nullable=True))
    op.add_column("study", sa.Column("frozen", sa.Text(), nullable=True))
    op.add_column("job", sa.Column("who", sa.String(length=80), nullable=False, server_default=""))
    with op.batch_alter_table("view", schema=None) as batch_op:
        batch_op.add_column(sa.Column("undone_by", sa.String(length=80), nullable=True))
        batch_op.add_column(sa.Column("undone_at", sa.String(length=25), nullable=True))
        batch_op.drop_constraint("uq_view_plant_id_name", type_="unique")


def _freeze() -> None:
    """What a study locked before prints is kept as it stands now."""
    bind = op.get_bind()
    keys = ("number", "stage", "state", "words", "issued_by", "issued_at", "reviewer", "locked_by", "locked_at")
    for study in bind.execute(sa.text("select * from study where locked_at is not null")).mappings().all():
        said = bind.execute(
            sa.text(
                "select tag, words, who, made_at from remark where study_id = :study and made_at <= :at"
                " and (undone_at is null or undone_at > :at) order by id"
            ),
            {"study": study["id"], "at": study["locked_at"]},
        ).mappings()
        frozen = {**{key: study[key] for key in keys}, "missing": [], "remarks": [dict(one) for one in said]}
        bind.execute(sa.text("update study set frozen = :frozen where id = :study"), {"frozen": json.dumps(frozen), "study": study["id"]})


def downgrade() -> None:
    """Drop them; views that were dropped go, and of one name the latest stays."""
    op.drop_table("sealed")
    op.drop_table("event")
    run = op.get_bind().exec_driver_sql
    run("delete from view where undone_at is not null or id not in (select max(id) from view where undone_at is null group by plant_id, name)")
    with op.batch_alter_table("view", schema=None) as batch_op:
        batch_op.drop_column("undone_by")
        batch_op.drop_column("undone_at")
        batch_op.create_unique_constraint("uq_view_plant_id_name", ["plant_id", "name"])
    for table, column in _COLUMNS:  # not by copying the table: its rows are pointed at by others
        run(f"alter table {table} drop column {column}")
