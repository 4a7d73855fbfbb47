"""People whom the photographer added by hand, where nobody was found."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Tell them apart from those who were found."""
    op.add_column(
        "person", sa.Column("by_hand", sa.Boolean(), nullable=False, server_default=sa.false())
    )


def downgrade() -> None:
    """Take it away; who was added could no longer be removed."""
    raise NotImplementedError("restore a backup made before the upgrade instead")
