"""Alembic's entry: runs migrations on the connection it is given."""

from alembic import context

from evenhand.shoots.tables import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    version_table="evenhand_version",
    render_as_batch=True,
    user_module_prefix="tables.",
    transaction_per_migration=False,
)
context.run_migrations()
