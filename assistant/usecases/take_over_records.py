"""Takes a client spreadsheet over: every row of it, or none."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.knowledge import Knowledge
from assistant.storage import imports
from assistant.storage.cells import Known
from assistant.storage.spreadsheet import read_sheet

AHEAD = timedelta(days=730)
"""Days later than this are slips of the finger; work of the coming seasons may be entered ahead."""


def take_over(app: Assistant, file: Path, now: datetime) -> imports.Taken:
    """Read the file and write what is new. Raises ImportRefused naming every bad cell; then nothing is written."""
    sheet = read_sheet(file, known_names(app, now))
    with app.database.transaction(app.business.id) as tx:
        taken = imports.take_over(tx, sheet, app.business, now)
    app.database.refresh_statistics()
    return taken


def known_names(app: Assistant, now: datetime) -> Known:
    """What the cells of a sheet may refer to."""
    today = now.astimezone(ZoneInfo(app.business.zone)).date()
    return Known(
        country=app.business.country,
        latest=today + AHEAD,
        languages=frozenset(app.knowledge.answers) | {app.business.language},
        surfaces=surface_names(app.knowledge),
    )


def surface_names(knowledge: Knowledge) -> dict[str, str]:
    """What people call a surface, in any language and in lower case -> its id; ids win."""
    names = {
        word.lower(): surface.id
        for surface in knowledge.surfaces.values()
        for words in surface.say.values()
        for word in words
    }
    names |= {name.lower(): surface.id for surface in knowledge.surfaces.values() for name in surface.name.values()}
    return names | {id_: id_ for id_ in knowledge.surfaces}
