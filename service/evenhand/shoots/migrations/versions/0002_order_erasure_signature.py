"""Order by the record's counter, erasing, signed records, what jobs wait for, tokens that end."""

import json

import sqlalchemy as sa
from alembic import context, op

from evenhand.shoots import tables
from evenhand.shoots.tokens import STUDIO_LASTS

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

TOLD_BY = (
    ("portrait", "portrait added", "portrait"),
    ("mask_edit", "mask painted", "edit"),
    ("sign_off", "signed off", "sign_off"),
    ("final", "final made", "final"),
)
# Table, action of the entry that tells of a row, and the fact that names the row.

SQLITE_GUARDS = (
    "DROP TRIGGER record_is_never_changed",
    """
    CREATE TRIGGER record_is_never_changed BEFORE UPDATE ON record
    WHEN EXISTS (SELECT 1 FROM shoot WHERE id = OLD.shoot_id AND erasing_at IS NULL)
    BEGIN SELECT RAISE(ABORT, 'the record is never changed'); END
    """,
    "DROP TRIGGER permission_is_never_changed",
    """
    CREATE TRIGGER permission_is_never_changed BEFORE UPDATE ON permission
    WHEN EXISTS (SELECT 1 FROM shoot WHERE id = OLD.shoot_id AND erasing_at IS NULL)
    BEGIN SELECT RAISE(ABORT, 'what was said is never changed'); END
    """,
)
# Entries are changed only while a person is erased from their shoot.

POSTGRESQL_GUARDS = """
CREATE OR REPLACE FUNCTION evenhand_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' THEN
        IF EXISTS (SELECT 1 FROM shoot WHERE id = OLD.shoot_id AND erasing_at IS NULL) THEN
            RAISE EXCEPTION '% is never changed', TG_TABLE_NAME;
        END IF;
        RETURN NEW;
    END IF;
    IF EXISTS (SELECT 1 FROM shoot WHERE id = OLD.shoot_id AND deleting_at IS NULL) THEN
        RAISE EXCEPTION '% stays as long as its shoot', TG_TABLE_NAME;
    END IF;
    RETURN OLD;
END $$;
"""
# The same for PostgreSQL.


def upgrade() -> None:
    """Add columns, number what there is as its record tells, and open the guards to erasing."""
    for table, _, _ in TOLD_BY:
        op.add_column(table, _number("number"))
    op.add_column("shoot", sa.Column("erasing_at", tables.Moment(timezone=True), nullable=True))
    op.add_column("shoot", sa.Column("record_signature", sa.String(length=128), nullable=True))
    op.add_column("job", _number("deaths"))
    op.add_column(
        "job", sa.Column("waits_for", sa.String(length=255), nullable=False, server_default="")
    )
    _end_tokens()
    _number_rows()
    _sign_records()
    if op.get_bind().dialect.name == "sqlite":
        for guard in SQLITE_GUARDS:
            op.execute(guard)
    else:
        op.execute(POSTGRESQL_GUARDS)


def _number(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=False, server_default="0")


def _number_rows() -> None:
    connection = op.get_bind()
    found = connection.execute(sa.text("SELECT number, action, facts FROM record")).all()
    for table, told_by, fact in TOLD_BY:
        for number, action, facts in found:
            if action == told_by:
                told = json.loads(facts) if isinstance(facts, str) else facts
                connection.execute(
                    sa.text(f"UPDATE {table} SET number = :number WHERE id = :id"),
                    {"number": number, "id": told.get(fact)},
                )


def _end_tokens() -> None:
    """Let studio tokens that never ended end as new ones do."""
    token = sa.table(
        "token", sa.column("scope"), sa.column("expires_at", tables.Moment(timezone=True))
    )
    op.execute(
        sa.update(token)
        .where(token.c.scope == "studio", token.c.expires_at.is_(None))
        .values(expires_at=tables.now() + STUDIO_LASTS)
    )


def _sign_records() -> None:
    """Sign each record as it is found."""
    key = context.config.attributes.get("key")
    if key is None:
        return
    connection = op.get_bind()
    ends = "SELECT shoot_id, number, sha256 FROM record ORDER BY number"
    rows = connection.execute(sa.text(ends))
    for shoot_id, (number, sha256) in {row[0]: (row[1], row[2]) for row in rows}.items():
        connection.execute(
            sa.text("UPDATE shoot SET record_signature = :signature WHERE id = :id"),
            {"signature": key.sign(shoot_id, number, sha256), "id": shoot_id},
        )


def downgrade() -> None:
    """Not offered: the signatures would be lost."""
    raise NotImplementedError("restore a backup made before the upgrade instead")
