"""`backup`, `export-client`, `erase-client`: what the business owes its data and its clients."""

from __future__ import annotations

import argparse
import json
import os
import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from assistant.assembly import Assistant
from assistant.domain.errors import SettingsError
from assistant.domain.people import Client
from assistant.doors.command_line.asking import phone
from assistant.doors.command_line.opening import at_home, database_of, require_home
from assistant.settings import Settings
from assistant.storage import clients, one_client
from assistant.storage.copies import copy_to_file


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    backup = commands.add_parser("backup", help="copy the whole database into one new file, also while serving")
    backup.add_argument("file", type=Path, metavar="FILE")
    backup.set_defaults(run=back_up)
    export = commands.add_parser("export-client", help="write everything kept about one client as JSON")
    export.add_argument("phone", metavar="NUMBER")
    export.set_defaults(run=export_client)
    erase = commands.add_parser("erase-client", help="delete everything kept about one client, for good")
    erase.add_argument("phone", metavar="NUMBER")
    erase.add_argument("--sure", action="store_true", help="do not ask again")
    erase.set_defaults(run=erase_client)


def back_up(given: argparse.Namespace, settings: Settings) -> int:
    """Copy, then give the copy its name: a backup that was cut short never looks like one."""
    require_home(settings)
    if given.file.exists():
        raise SettingsError(f"{given.file} is there already: choose another name")
    unfinished = given.file.with_name(given.file.name + ".part")
    unfinished.unlink(missing_ok=True)
    try:
        with database_of(settings) as database:
            copy_to_file(database, unfinished)
        os.replace(unfinished, given.file)
    except (OSError, sqlite3.OperationalError) as error:
        raise SettingsError(f"{given.file} cannot be written ({error}): choose another place") from error
    print(f"Wrote {given.file}. To use it: AFTERCARE_DATABASE_URL=sqlite:///{given.file.absolute()}")
    return 0


def export_client(given: argparse.Namespace, settings: Settings) -> int:
    """Print the rows of every table that belong to the client."""
    with (
        _client(given.phone, settings) as (assistant, client),
        assistant.database.reading(assistant.business.id) as tx,
    ):
        found = one_client.everything_about(tx, client.id)
    tables = {table.name: [dict(row) for row in rows] for table, rows in found.items()}
    print(json.dumps(tables, ensure_ascii=False, indent=2, default=str))
    return 0


def erase_client(given: argparse.Namespace, settings: Settings) -> int:
    """Delete them, and the pictures they sent."""
    with _client(given.phone, settings) as (assistant, client):
        if not given.sure and not _agreed(client):
            print("Nothing was deleted.")
            return 1
        with assistant.database.transaction(assistant.business.id) as tx:
            found = one_client.erase(tx, client.id)
        for picture in _pictures(found, settings):
            picture.unlink(missing_ok=True)
    rows = sum(map(len, found.values()))
    print(f"Deleted everything about {client.phone}: {rows} rows. Backups made earlier still hold it.")
    return 0


@contextmanager
def _client(written: str, settings: Settings) -> Iterator[tuple[Assistant, Client]]:
    """The assistant and the client with that number. Raises SettingsError when there is none."""
    with at_home(settings) as assistant:
        try:
            number = phone(written, assistant.business.country)
        except ValueError:
            raise SettingsError(f"{written} is no phone number: write it like +13055550111") from None
        with assistant.database.reading(assistant.business.id) as tx:
            client = clients.client_of_phone(tx, number)
        if client is None:
            raise SettingsError(f"no client has the number {number}: write it as in the list of clients")
        yield assistant, client


def _agreed(client: Client) -> bool:
    if not sys.stdin.isatty():
        raise SettingsError("nobody is here to ask: add --sure to delete without asking")
    return input(f"Delete everything about {client.name} ({client.phone})? Type the number again: ") == client.phone


def _pictures(found: one_client.Found, settings: Settings) -> Iterator[Path]:
    for table, rows in found.items():
        if table.name == "photos":
            yield from (settings.home / "media" / row["file"] for row in rows if row["file"])
