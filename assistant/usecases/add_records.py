"""A client and a boat written into a form: read with the same eyes as a row of a spreadsheet, taken over the same way."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from assistant.assembly import Assistant
from assistant.domain.errors import ImportRefused
from assistant.storage import audit
from assistant.storage.cells import COLUMNS
from assistant.storage.clients import client_of_phone
from assistant.storage.imports import Taken
from assistant.storage.lists import boats
from assistant.usecases.sign_in import as_number
from assistant.usecases.take_over_records import take_over


def add_record(app: Assistant, cells: Mapping[str, str], who: str, now: datetime) -> tuple[Taken, int | None]:
    """Take one row over; what was new, and the boat's number. Raises ImportRefused naming every bad field."""
    with tempfile.TemporaryDirectory(prefix="aftercare-") as folder:
        file = Path(folder) / "form.csv"
        with file.open("w", newline="", encoding="utf-8") as out:
            writer = csv.DictWriter(out, list(COLUMNS))
            writer.writeheader()
            writer.writerow({name: " ".join(cells.get(name, "").split()) for name in COLUMNS})
        taken = take_over(app, file, now)
    phone = as_number(app, cells.get("phone", "")) or ""
    with app.database.transaction(app.business.id) as tx:
        audit.note(tx, now, who, "wrote a record", phone, vessel=cells.get("vessel", ""))
        client = client_of_phone(tx, phone)
        mine = [row for row in boats(tx, phone) if client and row.client_id == client.id]
        named = [row.id for row in mine if row.name.lower() == cells.get("vessel", "").strip().lower()]
    return taken, next(iter(named), None)


def by_field(refused: ImportRefused) -> dict[str, str]:
    """What is wrong with each field of the form."""
    told: dict[str, str] = {}
    for problem in refused.problems:
        column, _, what = problem.problem.removeprefix("column ").partition(": ")
        told.setdefault(column, f"{what}: {problem.remedy}")
    return told
