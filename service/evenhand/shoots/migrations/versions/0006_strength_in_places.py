"""Strength painted in places: the strokes, and each layer's file as it was computed."""

import sqlalchemy as sa
from alembic import op

from evenhand.shoots import tables

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add them."""
    op.add_column("layer", sa.Column("plain_sha256", sa.String(length=64), nullable=True))
    op.create_table(
        "strength_stroke",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("step", sa.String(length=255), nullable=False),
        sa.Column("paint", sa.String(length=255), nullable=False),
        sa.Column("amount", sa.Double(), nullable=False),
        sa.Column("box", sa.JSON(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name="fk_strength_stroke_person_id", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_strength_stroke"),
    )
    op.create_index("ix_strength_stroke_person_id", "strength_stroke", ["person_id"])


def downgrade() -> None:
    """Take them away; what was painted less would be whole again."""
    raise NotImplementedError("restore a backup made before the upgrade instead")
