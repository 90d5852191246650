"""Run by Alembic. The service hands its own open connection over; nothing here opens one."""

from __future__ import annotations

from alembic import context

from service.store import (  # noqa: F401 - their tables join the metadata
    schema_outcome,
    schema_procedure,
)
from service.store.schema import metadata

connection = context.config.attributes["connection"]

context.configure(
    connection=connection,
    target_metadata=metadata,
    render_as_batch=True,
    # The caller has begun a transaction that holds the whole upgrade: killed in the middle,
    # the database is as it was before.
    transactional_ddl=True,
)
context.run_migrations()
