"""Alembic's entry: runs the migrations on the connection that `matcher.storage.database` passes in."""

from alembic import context

from matcher.storage.schema import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
