"""Portraits that can be brought back, stars, and the studio's own strengths."""

import sqlalchemy as sa
from alembic import op

from evenhand.shoots import tables

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add them."""
    op.add_column("portrait", sa.Column("stars", sa.Integer(), nullable=False, server_default="0"))
    op.add_column("portrait", sa.Column("removed_at", tables.Moment(timezone=True), nullable=True))
    op.create_table(
        "preset",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("strengths", sa.JSON(), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_preset"),
        sa.UniqueConstraint("name", name="uq_preset_name"),
    )


def downgrade() -> None:
    """Take them away; portraits that were removed would come back."""
    raise NotImplementedError("restore a backup made before the upgrade instead")
