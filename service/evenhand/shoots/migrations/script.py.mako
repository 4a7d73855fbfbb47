"""${message}."""

import sqlalchemy as sa
from alembic import op

from evenhand.shoots import tables

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Bring the tables from the version before to this one."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """Bring the tables back."""
    ${downgrades if downgrades else "pass"}
