"""Runs migrations on the connection that server/store/migration.py hands over."""

from alembic import context

from server.store.migration import ALL_TABLES

connection = context.config.attributes["connection"]
context.configure(connection=connection, target_metadata=ALL_TABLES, render_as_batch=True)
context.run_migrations()
