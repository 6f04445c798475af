"""Changes of the choices of a plant's Basis"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "choice",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("plant_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("value", sa.Text(), nullable=True),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("who", sa.String(length=80), nullable=False),
        sa.Column("made_at", sa.String(length=25), nullable=False),
        sa.ForeignKeyConstraint(["plant_id"], ["plant.id"], name=op.f("fk_choice_plant_id"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_choice")),
    )
    with op.batch_alter_table("choice", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_choice_plant_id"), ["plant_id"], unique=False)


def downgrade() -> None:
    """Drop the table."""
    op.drop_table("choice")
