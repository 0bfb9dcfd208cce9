"""Schema steps, run by Alembic without an ini file: the configuration is these few lines."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.environment import EnvironmentContext
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, text

from assistant.storage.tables import metadata

_LOCK = 0x41465443
"""Number of the advisory lock under which only one process migrates a PostgreSQL database."""


def configuration() -> Config:
    """Alembic's settings: where the steps are."""
    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent))
    config.set_main_option("path_separator", "os")
    return config


def upgrade(engine: Engine) -> None:
    """Take every step that is missing, in one transaction; a second process waits and finds nothing left to do."""
    with _locked(engine) as connection:
        config = configuration()
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def pending(connection: Connection) -> tuple[str, ...]:
    """Names of the missing steps, first one first. Writes nothing."""
    script = ScriptDirectory.from_config(configuration())
    done = MigrationContext.configure(connection).get_current_heads()
    steps = script.iterate_revisions("heads", done or "base")
    return tuple(f"{step.revision} {step.doc}" for step in reversed(list(steps)))


def context_options(connection: Connection) -> dict[str, Any]:
    """What both a migration and the comparison of tables and models need to know."""
    return {
        "connection": connection,
        "target_metadata": metadata,
        "render_as_batch": connection.dialect.name == "sqlite",
        "transaction_per_migration": False,
        "compare_type": True,
        "compare_server_default": False,
        "user_module_prefix": "",
    }


def run(environment: EnvironmentContext | Any, connection: Connection) -> None:
    """Called by env.py: run the steps Alembic picked on this connection."""
    environment.configure(**context_options(connection))
    with environment.begin_transaction():
        environment.run_migrations()


@contextmanager
def _locked(engine: Engine) -> Iterator[Connection]:
    with engine.begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})
        yield connection
