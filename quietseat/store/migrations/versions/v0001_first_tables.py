"""The first tables of a workspace"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "file",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("size", sa.Integer(), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_file")),
        sa.UniqueConstraint("sha256", name=op.f("uq_file_sha256")),
    )
    op.create_table(
        "plant",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("file_id", sa.Integer(), nullable=False),
        sa.Column("basis", sa.Text(), nullable=False),
        sa.Column("demo", sa.Boolean(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=True),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.ForeignKeyConstraint(["file_id"], ["file.id"], name=op.f("fk_plant_file_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_plant")),
        sa.UniqueConstraint("name", name=op.f("uq_plant_name")),
    )
    op.create_table(
        "decision",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(length=80), nullable=False),
        sa.Column("remedy", sa.String(length=80), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.Column("undone_by", sa.String(length=80), nullable=True),
        sa.Column("undone_at", sa.String(length=25), nullable=True),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_decision_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_decision")),
    )
    with op.batch_alter_table("decision", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_decision_plant_id"), ["plant_id"], unique=False)

    op.create_table(
        "job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("given", sa.Text(), nullable=False),
        sa.Column("result", sa.Text(), nullable=True),
        sa.Column("done", sa.Integer(), nullable=False),
        sa.Column("total", sa.Integer(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("error", sa.Text(), nullable=True),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.Column("started_at", sa.String(length=25), nullable=True),
        sa.Column("ended_at", sa.String(length=25), nullable=True),
        sa.Column("beat_at", sa.String(length=25), nullable=True),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_job_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
    )
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_job_plant_id"), ["plant_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_job_state"), ["state"], unique=False)

    op.create_table(
        "mend",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("sheet", sa.String(length=80), nullable=False),
        sa.Column("row", sa.Integer(), nullable=True),
        sa.Column("field", sa.String(length=80), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.Column("undone_by", sa.String(length=80), nullable=True),
        sa.Column("undone_at", sa.String(length=25), nullable=True),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_mend_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mend")),
    )
    with op.batch_alter_table("mend", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_mend_plant_id"), ["plant_id"], unique=False)

    op.create_table(
        "part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_part_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part")),
        sa.UniqueConstraint("plant_id", "key", name=op.f("uq_part_plant_id_key")),
    )
    with op.batch_alter_table("part", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_part_plant_id"), ["plant_id"], unique=False)

    op.create_table(
        "pin",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(length=80), nullable=False),
        sa.Column("place", sa.String(length=3), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.Column("undone_by", sa.String(length=80), nullable=True),
        sa.Column("undone_at", sa.String(length=25), nullable=True),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_pin_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_pin")),
    )
    with op.batch_alter_table("pin", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_pin_plant_id"), ["plant_id"], unique=False)

    op.create_table(
        "study",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("stage", sa.String(length=12), nullable=False),
        sa.Column("state", sa.String(length=12), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("version", sa.String(length=20), nullable=False),
        sa.Column("valves", sa.Integer(), nullable=False),
        sa.Column("head", sa.LargeBinary(), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.Column("issued_by", sa.String(length=80), nullable=True),
        sa.Column("issued_at", sa.String(length=25), nullable=True),
        sa.Column("reviewer", sa.String(length=80), nullable=True),
        sa.Column("locked_at", sa.String(length=25), nullable=True),
        sa.Column("words", sa.Text(), server_default="", nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_study_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_study")),
        sa.UniqueConstraint("plant_id", "number", name=op.f("uq_study_plant_id_number")),
    )
    with op.batch_alter_table("study", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_study_plant_id"), ["plant_id"], unique=False)

    op.create_table(
        "view",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("query", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_view_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_view")),
        sa.UniqueConstraint("plant_id", "name", name=op.f("uq_view_plant_id_name")),
    )
    with op.batch_alter_table("view", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_view_plant_id"), ["plant_id"], unique=False)

    op.create_table(
        "remark",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=True),
        sa.Column("tag", sa.String(length=80), nullable=True),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.Column("undone_by", sa.String(length=80), nullable=True),
        sa.Column("undone_at", sa.String(length=25), nullable=True),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_remark_plant_id"), ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_remark_study_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_remark")),
    )
    with op.batch_alter_table("remark", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_remark_plant_id"), ["plant_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_remark_study_id"), ["study_id"], unique=False)

    op.create_table(
        "valve",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(length=80), nullable=False),
        sa.Column("rank", sa.Integer(), nullable=False),
        sa.Column("verdict", sa.String(length=10), nullable=False),
        sa.Column("severity", sa.String(length=6), nullable=False),
        sa.Column("unit", sa.String(length=80), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("designation", sa.String(length=20), nullable=False),
        sa.Column("fluid", sa.String(length=80), nullable=False),
        sa.Column("set_pressure", sa.Float(), nullable=True),
        sa.Column("cause_code", sa.String(length=20), nullable=False),
        sa.Column("cause", sa.Text(), nullable=False),
        sa.Column("operating_ratio", sa.Float(), nullable=True),
        sa.Column("utilisation", sa.Float(), nullable=True),
        sa.Column("inlet_loss", sa.Float(), nullable=True),
        sa.Column("built_up", sa.Float(), nullable=True),
        sa.Column("recommended", sa.String(length=80), nullable=False),
        sa.Column("recommended_title", sa.Text(), nullable=False),
        sa.Column("clears", sa.String(length=20), nullable=False),
        sa.Column("cost", sa.Float(), nullable=True),
        sa.Column("npv", sa.Float(), nullable=True),
        sa.Column("leak", sa.Float(), nullable=True),
        sa.Column("in_plan", sa.Boolean(), nullable=False),
        sa.Column("defaults", sa.Integer(), nullable=False),
        sa.Column("opens", sa.Integer(), nullable=False),
        sa.Column("score", sa.Float(), nullable=False),
        sa.Column("codes", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sa.Column("steps", sa.LargeBinary(), nullable=True),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_valve_study_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_valve")),
    )
    with op.batch_alter_table("valve", schema=None) as batch_op:
        batch_op.create_index("ix_valve_study_rank", ["study_id", "rank"], unique=False)
        batch_op.create_index("ix_valve_study_tag", ["study_id", "tag"], unique=False)
        batch_op.create_index("ix_valve_study_verdict", ["study_id", "verdict", "rank"], unique=False)


def downgrade() -> None:
    """Drop the tables."""
    with op.batch_alter_table("valve", schema=None) as batch_op:
        batch_op.drop_index("ix_valve_study_verdict")
        batch_op.drop_index("ix_valve_study_tag")
        batch_op.drop_index("ix_valve_study_rank")

    op.drop_table("valve")
    with op.batch_alter_table("remark", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_remark_study_id"))
        batch_op.drop_index(batch_op.f("ix_remark_plant_id"))

    op.drop_table("remark")
    with op.batch_alter_table("view", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_view_plant_id"))

    op.drop_table("view")
    with op.batch_alter_table("study", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_study_plant_id"))

    op.drop_table("study")
    with op.batch_alter_table("pin", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_pin_plant_id"))

    op.drop_table("pin")
    with op.batch_alter_table("part", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_part_plant_id"))

    op.drop_table("part")
    with op.batch_alter_table("mend", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_mend_plant_id"))

    op.drop_table("mend")
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_job_state"))
        batch_op.drop_index(batch_op.f("ix_job_plant_id"))

    op.drop_table("job")
    with op.batch_alter_table("decision", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_decision_plant_id"))

    op.drop_table("decision")
    op.drop_table("plant")
    op.drop_table("file")
