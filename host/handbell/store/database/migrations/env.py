"""Runs the steps on the connection that the store hands over, inside the store's transaction."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
