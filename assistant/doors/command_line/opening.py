"""Opens the assistant for a command: on the home itself, or on a copy that is thrown away afterwards."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from sqlalchemy import inspect
from sqlalchemy.engine import make_url

from assistant.assembly import Assistant, assemble, open_database
from assistant.carriers.carrier import Carrier
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.errors import SettingsError
from assistant.settings import Settings
from assistant.storage.copies import copy_to_file
from assistant.storage.database import Database


@contextmanager
def at_home(settings: Settings, carrier: Carrier | None = None) -> Iterator[Assistant]:
    """The assistant on its own data; without a carrier given, the one that is set up."""
    require_home(settings)
    assistant = assemble(settings, carrier=carrier)
    try:
        yield assistant
    finally:
        assistant.database.dispose()


@contextmanager
def for_trying(settings: Settings, *, to_home: bool) -> Iterator[Assistant]:
    """The assistant for a command that only tries something: nothing leaves, and unless `to_home` nothing is kept."""
    require_home(settings)
    if to_home:
        migrate(settings)
        with at_home(settings, MemoryCarrier()) as assistant:
            yield assistant
        return
    with tempfile.TemporaryDirectory(prefix="aftercare-") as folder:
        copy = Path(folder) / "copy.sqlite3"
        _copy_data(settings, copy)
        elsewhere = replace(settings, database_url=f"sqlite:///{copy}")
        migrate(elsewhere)
        with at_home(elsewhere, MemoryCarrier()) as assistant:
            yield assistant


def require_home(settings: Settings) -> None:
    """Raise SettingsError when there is no home yet."""
    if not settings.business_file.exists():
        raise SettingsError(f"{settings.business_file} does not exist: run `aftercare init`, or set AFTERCARE_HOME")


@contextmanager
def database_of(settings: Settings) -> Iterator[Database]:
    """The home's database alone."""
    database = open_database(settings)
    try:
        yield database
    finally:
        database.dispose()


def migrate(settings: Settings) -> None:
    """Bring the database to the form this version needs."""
    with database_of(settings) as database:
        database.migrate()


def _copy_data(settings: Settings, target: Path) -> None:
    """Copy the home's data; a home without any leaves `target` to be made empty."""
    file = make_url(settings.database_url).database if settings.database_url.startswith("sqlite") else None
    if file and not Path(file).exists():
        return
    with database_of(settings) as database:
        if _in_use(database):
            copy_to_file(database, target)


def _in_use(database: Database) -> bool:
    with database.engine.connect() as connection:
        return inspect(connection).has_table("businesses")
