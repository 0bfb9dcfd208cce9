"""Alembic runs this file; the work stands in the package."""

from alembic import context

from assistant.storage.migrations import run

run(context, context.config.attributes["connection"])
