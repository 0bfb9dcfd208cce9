"""A client list looked at before it is taken over: what would be new and what would change, nothing written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from assistant.assembly import Assistant
from assistant.storage import imports
from assistant.storage.clients import client_of_phone
from assistant.storage.spreadsheet import read_sheet
from assistant.usecases.take_over_records import known_names

SHOWN = 200


@dataclass(frozen=True, slots=True)
class Line:
    """One client of the file: what it says, and whether the number is new here."""

    phone: str
    name: str
    vessels: tuple[str, ...]
    coats: int
    new: bool


@dataclass(frozen=True, slots=True)
class Preview:
    """What taking the file over would do; `lines` are the first of its clients."""

    taken: imports.Taken
    lines: tuple[Line, ...]
    clients: int


class _Undo(Exception):
    """Ends the transaction without keeping anything."""


def preview(app: Assistant, file: Path, now: datetime) -> Preview:
    """Read the file and go through the motions. Raises ImportRefused naming every bad cell."""
    sheet = read_sheet(file, known_names(app, now))
    with app.database.reading(app.business.id) as tx:
        lines = tuple(
            Line(
                entry.phone,
                entry.facts.get("name", ""),
                tuple(vessel.name for vessel in entry.vessels.values()),
                sum(len(vessel.coats) for vessel in entry.vessels.values()),
                client_of_phone(tx, entry.phone) is None,
            )
            for entry in sheet[:SHOWN]
        )
    try:
        with app.database.transaction(app.business.id) as tx:
            taken = imports.take_over(tx, sheet, app.business, now)
            raise _Undo
    except _Undo:
        return Preview(taken, lines, len(sheet))
