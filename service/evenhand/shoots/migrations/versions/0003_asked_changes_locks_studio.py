"""Changes that a client asks for, locks of what is signed, forms of finals, the studio's mark."""

import sqlalchemy as sa
from alembic import op

from evenhand.shoots import tables

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add tables and columns; what was signed before is locked from now on."""
    op.add_column("sign_off", sa.Column("applied", sa.JSON(), nullable=False, server_default="[]"))
    op.add_column("sign_off", sa.Column("unlocked_at", tables.Moment(timezone=True), nullable=True))
    op.add_column(
        "final",
        sa.Column("format", sa.String(length=255), nullable=False, server_default="original"),
    )
    op.add_column("final", sa.Column("longest_side", sa.Integer(), nullable=True))
    op.create_table(
        "studio",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("mark", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_studio"),
    )
    _asked_change()


def _asked_change() -> None:
    table = "asked_change"
    op.create_table(
        table,
        sa.Column("id", sa.String(length=32), nullable=False),
        _of(table, "proof"),
        _of(table, "portrait"),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("round", sa.Integer(), nullable=False),
        sa.Column("asked_by", sa.String(length=255), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("places", sa.JSON(), nullable=False),
        sa.Column("choices", sa.JSON(), nullable=False),
        sa.Column("state_sha256", sa.String(length=64), nullable=False),
        sa.Column("image_sha256", sa.String(length=64), nullable=True),
        sa.Column("rendering", sa.String(length=64), nullable=False),
        sa.Column("asked_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("standing", sa.String(length=255), nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.Column("answered_at", tables.Moment(timezone=True), nullable=True),
        sa.Column(
            "answered_in",
            sa.String(length=32),
            sa.ForeignKey("proof.id", ondelete="SET NULL", name=op.f(f"fk_{table}_answered_in")),
            nullable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
    )
    for column in ("proof_id", "portrait_id", "answered_in"):
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column])


def _of(table: str, other: str) -> sa.Column[str]:
    column = f"{other}_id"
    return sa.Column(
        column,
        sa.String(length=32),
        sa.ForeignKey(f"{other}.id", ondelete="CASCADE", name=op.f(f"fk_{table}_{column}")),
        nullable=False,
    )


def downgrade() -> None:
    """Not offered: what was asked for and locked would be lost."""
    raise NotImplementedError("restore a backup made before the upgrade instead")
