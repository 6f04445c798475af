"""Valves as a plan sees them, so that a plan page need not unpack the whole fleet"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column."""
    with op.batch_alter_table("valve", schema=None) as batch_op:
        batch_op.add_column(sa.Column("item", sa.Text(), nullable=True))


def downgrade() -> None:
    """Drop the column."""
    with op.batch_alter_table("valve", schema=None) as batch_op:
        batch_op.drop_column("item")
