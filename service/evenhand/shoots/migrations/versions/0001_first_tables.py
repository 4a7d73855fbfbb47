"""First tables."""

import sqlalchemy as sa
from alembic import op

from evenhand.shoots import tables

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

SQLITE_GUARDS = (
    """
    CREATE TRIGGER record_is_never_changed BEFORE UPDATE ON record
    BEGIN SELECT RAISE(ABORT, 'the record is never changed'); END
    """,
    """
    CREATE TRIGGER record_stays_with_its_shoot BEFORE DELETE ON record
    WHEN EXISTS (SELECT 1 FROM shoot WHERE id = OLD.shoot_id AND deleting_at IS NULL)
    BEGIN SELECT RAISE(ABORT, 'the record stays as long as its shoot'); END
    """,
    """
    CREATE TRIGGER permission_is_never_changed BEFORE UPDATE ON permission
    BEGIN SELECT RAISE(ABORT, 'what was said is never changed'); END
    """,
    """
    CREATE TRIGGER permission_stays_with_its_shoot BEFORE DELETE ON permission
    WHEN EXISTS (SELECT 1 FROM shoot WHERE id = OLD.shoot_id AND deleting_at IS NULL)
    BEGIN SELECT RAISE(ABORT, 'what was said stays as long as its shoot'); END
    """,
    """
    CREATE TRIGGER shoot_is_marked_before_it_goes BEFORE DELETE ON shoot
    WHEN OLD.deleting_at IS NULL
    BEGIN SELECT RAISE(ABORT, 'a shoot is marked as being deleted first'); END
    """,
)
# SQLite refuses to change an entry, and to delete one while its shoot stands.

POSTGRESQL_GUARDS = """
CREATE FUNCTION evenhand_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'UPDATE' THEN
        RAISE EXCEPTION '% is never changed', TG_TABLE_NAME;
    END IF;
    IF EXISTS (SELECT 1 FROM shoot WHERE id = OLD.shoot_id AND deleting_at IS NULL) THEN
        RAISE EXCEPTION '% stays as long as its shoot', TG_TABLE_NAME;
    END IF;
    RETURN OLD;
END $$;
CREATE FUNCTION evenhand_shoot_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF OLD.deleting_at IS NULL THEN
        RAISE EXCEPTION 'a shoot is marked as being deleted first';
    END IF;
    RETURN OLD;
END $$;
CREATE TRIGGER shoot_guard BEFORE DELETE ON shoot
    FOR EACH ROW EXECUTE FUNCTION evenhand_shoot_guard();
CREATE TRIGGER record_guard BEFORE UPDATE OR DELETE ON record
    FOR EACH ROW EXECUTE FUNCTION evenhand_guard();
CREATE TRIGGER permission_guard BEFORE UPDATE OR DELETE ON permission
    FOR EACH ROW EXECUTE FUNCTION evenhand_guard();
"""
# The same for PostgreSQL.


def upgrade() -> None:
    """Create all tables, and let the database guard the records."""
    op.create_table(
        "audit",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("at", tables.Moment(timezone=True), nullable=False),
        sa.Column("actor", sa.String(length=255), nullable=False),
        sa.Column("action", sa.String(length=255), nullable=False),
        sa.Column("subject", sa.String(length=255), nullable=False),
        sa.Column("outcome", sa.String(length=255), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit")),
    )
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_audit_at"), ["at"], unique=False)

    op.create_table(
        "shoot",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("client", sa.String(length=255), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("deleting_at", tables.Moment(timezone=True), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shoot")),
    )
    op.create_table(
        "worker",
        sa.Column("id", sa.String(length=64), nullable=False),
        sa.Column("host", sa.String(length=255), nullable=False),
        sa.Column("started_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("seen_at", tables.Moment(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_worker")),
    )
    op.create_table(
        "permission",
        sa.Column(
            "number",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("shoot_id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("given", sa.Boolean(), nullable=False),
        sa.Column("steps", sa.JSON(), nullable=False),
        sa.Column("said_by", sa.String(length=255), nullable=False),
        sa.Column("role", sa.String(length=255), nullable=True),
        sa.Column("how", sa.String(length=255), nullable=False),
        sa.Column("said_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("recorded_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("recorded_by", sa.String(length=255), nullable=False),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_permission_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("number", name=op.f("pk_permission")),
        sa.UniqueConstraint("id", name=op.f("uq_permission_id")),
    )
    with op.batch_alter_table("permission", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_permission_shoot_id"), ["shoot_id"], unique=False)

    op.create_table(
        "portrait",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("shoot_id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("media_type", sa.String(length=255), nullable=False),
        sa.Column("width", sa.Integer(), nullable=True),
        sa.Column("height", sa.Integer(), nullable=True),
        sa.Column("trouble", sa.Text(), nullable=True),
        sa.Column("found_at", tables.Moment(timezone=True), nullable=True),
        sa.Column("layers_key", sa.String(length=64), nullable=True),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_portrait_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_portrait")),
        sa.UniqueConstraint("shoot_id", "sha256", name=op.f("uq_portrait_shoot_id")),
    )
    with op.batch_alter_table("portrait", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_portrait_shoot_id"), ["shoot_id"], unique=False)

    op.create_table(
        "proof",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("shoot_id", sa.String(length=32), nullable=False),
        sa.Column("strengths", sa.JSON(), nullable=False),
        sa.Column("message", sa.Text(), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_proof_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_proof")),
    )
    with op.batch_alter_table("proof", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_proof_shoot_id"), ["shoot_id"], unique=False)

    op.create_table(
        "record",
        sa.Column(
            "id",
            sa.BigInteger().with_variant(sa.Integer(), "sqlite"),
            autoincrement=True,
            nullable=False,
        ),
        sa.Column("shoot_id", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("at", tables.Moment(timezone=True), nullable=False),
        sa.Column("actor", sa.String(length=255), nullable=False),
        sa.Column("action", sa.String(length=255), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("previous", sa.String(length=64), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_record_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_record")),
        sa.UniqueConstraint("shoot_id", "number", name=op.f("uq_record_shoot_id")),
    )
    op.create_table(
        "stored_file",
        sa.Column("shoot_id", sa.String(length=32), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("media_type", sa.String(length=255), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_stored_file_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("shoot_id", "sha256", name=op.f("pk_stored_file")),
    )
    op.create_table(
        "upload",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("shoot_id", sa.String(length=32), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("length", sa.BigInteger(), nullable=False),
        sa.Column("offset", sa.BigInteger(), nullable=False),
        sa.Column("parts", sa.JSON(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("portrait_id", sa.String(length=32), nullable=True),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("expires_at", tables.Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_upload_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_upload")),
    )
    with op.batch_alter_table("upload", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_upload_expires_at"), ["expires_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_upload_shoot_id"), ["shoot_id"], unique=False)

    op.create_table(
        "job",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("shoot_id", sa.String(length=32), nullable=False),
        sa.Column("portrait_id", sa.String(length=32), nullable=True),
        sa.Column("kind", sa.String(length=255), nullable=False),
        sa.Column("arguments", sa.JSON(), nullable=False),
        sa.Column("state", sa.String(length=255), nullable=False),
        sa.Column("progress", sa.Double(), nullable=False),
        sa.Column("doing", sa.String(length=255), nullable=False),
        sa.Column("result", sa.JSON(), nullable=True),
        sa.Column("trouble", sa.Text(), nullable=True),
        sa.Column("advice", sa.Text(), nullable=True),
        sa.Column("attempt", sa.Integer(), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("started_at", tables.Moment(timezone=True), nullable=True),
        sa.Column("finished_at", tables.Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["portrait_id"], ["portrait.id"], name=op.f("fk_job_portrait_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_job_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job")),
    )
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_job_portrait_id"), ["portrait_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_job_shoot_id"), ["shoot_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_job_state"), ["state"], unique=False)

    op.create_table(
        "person",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("portrait_id", sa.String(length=32), nullable=False),
        sa.Column("index", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=255), nullable=True),
        sa.Column("child", sa.Boolean(), nullable=False),
        sa.Column("face", sa.JSON(), nullable=True),
        sa.Column("confidence", sa.Double(), nullable=True),
        sa.Column("mm_per_pixel", sa.Double(), nullable=False),
        sa.Column("regions", sa.JSON(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["portrait_id"], ["portrait.id"], name=op.f("fk_person_portrait_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_person")),
        sa.UniqueConstraint("portrait_id", "index", name=op.f("uq_person_portrait_id")),
    )
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_person_portrait_id"), ["portrait_id"], unique=False)

    op.create_table(
        "proof_portrait",
        sa.Column("proof_id", sa.String(length=32), nullable=False),
        sa.Column("portrait_id", sa.String(length=32), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["portrait_id"],
            ["portrait.id"],
            name=op.f("fk_proof_portrait_portrait_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["proof_id"], ["proof.id"], name=op.f("fk_proof_portrait_proof_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("proof_id", "portrait_id", name=op.f("pk_proof_portrait")),
    )
    with op.batch_alter_table("proof_portrait", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_proof_portrait_portrait_id"), ["portrait_id"], unique=False
        )

    op.create_table(
        "sign_off",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("proof_id", sa.String(length=32), nullable=False),
        sa.Column("portrait_id", sa.String(length=32), nullable=False),
        sa.Column("signed_by", sa.String(length=255), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("choices", sa.JSON(), nullable=False),
        sa.Column("state_sha256", sa.String(length=64), nullable=False),
        sa.Column("image_sha256", sa.String(length=64), nullable=False),
        sa.Column("rendering", sa.String(length=64), nullable=False),
        sa.Column("signed_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("voided_at", tables.Moment(timezone=True), nullable=True),
        sa.Column("void_reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["portrait_id"],
            ["portrait.id"],
            name=op.f("fk_sign_off_portrait_id"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(
            ["proof_id"], ["proof.id"], name=op.f("fk_sign_off_proof_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_off")),
    )
    with op.batch_alter_table("sign_off", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_off_portrait_id"), ["portrait_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_sign_off_proof_id"), ["proof_id"], unique=False)

    op.create_table(
        "token",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("scope", sa.String(length=255), nullable=False),
        sa.Column("label", sa.String(length=255), nullable=False),
        sa.Column("proof_id", sa.String(length=32), nullable=True),
        sa.Column("shoot_id", sa.String(length=32), nullable=True),
        sa.Column("person_name", sa.String(length=255), nullable=True),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("expires_at", tables.Moment(timezone=True), nullable=True),
        sa.Column("revoked_at", tables.Moment(timezone=True), nullable=True),
        sa.ForeignKeyConstraint(
            ["proof_id"], ["proof.id"], name=op.f("fk_token_proof_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["shoot_id"], ["shoot.id"], name=op.f("fk_token_shoot_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_token")),
        sa.UniqueConstraint("sha256", name=op.f("uq_token_sha256")),
    )
    with op.batch_alter_table("token", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_token_proof_id"), ["proof_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_token_shoot_id"), ["shoot_id"], unique=False)

    op.create_table(
        "final",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("portrait_id", sa.String(length=32), nullable=False),
        sa.Column("sign_off_id", sa.String(length=32), nullable=True),
        sa.Column("override", sa.Text(), nullable=True),
        sa.Column("name", sa.String(length=255), nullable=False),
        sa.Column("media_type", sa.String(length=255), nullable=False),
        sa.Column("layers", sa.JSON(), nullable=False),
        sa.Column("state_sha256", sa.String(length=64), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=True),
        sa.Column("size", sa.BigInteger(), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.Column("voided_at", tables.Moment(timezone=True), nullable=True),
        sa.Column("void_reason", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(
            ["portrait_id"], ["portrait.id"], name=op.f("fk_final_portrait_id"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["sign_off_id"], ["sign_off.id"], name=op.f("fk_final_sign_off_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_final")),
    )
    with op.batch_alter_table("final", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_final_portrait_id"), ["portrait_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_final_sign_off_id"), ["sign_off_id"], unique=False)

    op.create_table(
        "layer",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("step", sa.String(length=255), nullable=False),
        sa.Column("box", sa.JSON(), nullable=False),
        sa.Column("cap", sa.Double(), nullable=False),
        sa.Column("strength", sa.Double(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_layer_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_layer")),
        sa.UniqueConstraint("person_id", "step", name=op.f("uq_layer_person_id")),
    )
    with op.batch_alter_table("layer", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_layer_person_id"), ["person_id"], unique=False)

    op.create_table(
        "mark",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=255), nullable=False),
        sa.Column("region", sa.String(length=255), nullable=False),
        sa.Column("size_mm", sa.Double(), nullable=False),
        sa.Column("row", sa.Double(), nullable=False),
        sa.Column("column", sa.Double(), nullable=False),
        sa.Column("confidence", sa.Double(), nullable=False),
        sa.Column("proposed", sa.String(length=255), nullable=False),
        sa.Column("decision", sa.String(length=255), nullable=True),
        sa.Column("wish", sa.String(length=255), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_mark_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mark")),
        sa.UniqueConstraint("person_id", "number", name=op.f("uq_mark_person_id")),
    )
    with op.batch_alter_table("mark", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_mark_person_id"), ["person_id"], unique=False)

    op.create_table(
        "mask_edit",
        sa.Column("id", sa.String(length=32), nullable=False),
        sa.Column("person_id", sa.String(length=32), nullable=False),
        sa.Column("region", sa.String(length=255), nullable=False),
        sa.Column("paint", sa.String(length=255), nullable=False),
        sa.Column("box", sa.JSON(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("created_at", tables.Moment(timezone=True), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"], ["person.id"], name=op.f("fk_mask_edit_person_id"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mask_edit")),
    )
    with op.batch_alter_table("mask_edit", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_mask_edit_person_id"), ["person_id"], unique=False)
    if op.get_bind().dialect.name == "sqlite":
        for statement in SQLITE_GUARDS:
            op.execute(statement)
    else:
        op.execute(POSTGRESQL_GUARDS)


def downgrade() -> None:
    """Drop all tables."""
    if op.get_bind().dialect.name != "sqlite":
        op.execute("DROP FUNCTION evenhand_guard, evenhand_shoot_guard CASCADE")
    with op.batch_alter_table("mask_edit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_mask_edit_person_id"))

    op.drop_table("mask_edit")
    with op.batch_alter_table("mark", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_mark_person_id"))

    op.drop_table("mark")
    with op.batch_alter_table("layer", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_layer_person_id"))

    op.drop_table("layer")
    with op.batch_alter_table("final", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_final_sign_off_id"))
        batch_op.drop_index(batch_op.f("ix_final_portrait_id"))

    op.drop_table("final")
    with op.batch_alter_table("token", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_token_shoot_id"))
        batch_op.drop_index(batch_op.f("ix_token_proof_id"))

    op.drop_table("token")
    with op.batch_alter_table("sign_off", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_off_proof_id"))
        batch_op.drop_index(batch_op.f("ix_sign_off_portrait_id"))

    op.drop_table("sign_off")
    with op.batch_alter_table("proof_portrait", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_proof_portrait_portrait_id"))

    op.drop_table("proof_portrait")
    with op.batch_alter_table("person", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_person_portrait_id"))

    op.drop_table("person")
    with op.batch_alter_table("job", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_job_state"))
        batch_op.drop_index(batch_op.f("ix_job_shoot_id"))
        batch_op.drop_index(batch_op.f("ix_job_portrait_id"))

    op.drop_table("job")
    with op.batch_alter_table("upload", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_upload_shoot_id"))
        batch_op.drop_index(batch_op.f("ix_upload_expires_at"))

    op.drop_table("upload")
    op.drop_table("stored_file")
    op.drop_table("record")
    with op.batch_alter_table("proof", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_proof_shoot_id"))

    op.drop_table("proof")
    with op.batch_alter_table("portrait", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_portrait_shoot_id"))

    op.drop_table("portrait")
    with op.batch_alter_table("permission", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_permission_shoot_id"))

    op.drop_table("permission")
    op.drop_table("worker")
    op.drop_table("shoot")
    with op.batch_alter_table("audit", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_audit_at"))

    op.drop_table("audit")
