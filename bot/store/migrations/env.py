"""Alembic's entry point: runs the migrations on the connection that `upgrade` hands in."""

from alembic import context

from bot.store.tables_content import METADATA

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=METADATA,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
