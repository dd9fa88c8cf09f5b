"""What alembic runs to migrate: on the connection it is handed, in that one transaction.

The caller has begun the transaction, so a migration and the note that it was made stand or
fall together. There is no stand-alone mode: migrations run only from inside the package.
"""

from __future__ import annotations

from alembic import context

from harness.records.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
)
context.run_migrations()
