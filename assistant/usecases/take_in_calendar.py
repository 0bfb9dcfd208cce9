"""The business's own appointments, from any calendar file or feed: what is in them is not offered to anybody."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.busy_times import read_busy
from assistant.storage.visits import replace_busy_blocks

SOURCE = "calendar:"
"""How the source of such time begins; the name of the calendar follows."""
AHEAD = timedelta(days=400)
LONGEST_UID = 255


@dataclass(frozen=True, slots=True)
class TakenIn:
    """How many stretches block time from now on, and which events could not be read."""

    stretches: int
    unread: tuple[str, ...]


def take_in_calendar(app: Assistant, name: str, octets: bytes, now: datetime, crew: int = 0) -> TakenIn:
    """Replace what the calendar `name` blocked before by what it says now. `crew` 0 blocks all crews.

    Raises ValueError when `octets` are no calendar; what was blocked before stays then.
    """
    today = now.astimezone(ZoneInfo(app.business.zone)).date()
    found = read_busy(octets, today, today + AHEAD, app.business.zone, crew)
    blocks = [(uid[:LONGEST_UID], busy) for uid, busy in found.blocks if busy.begins < busy.ends]
    with app.database.transaction(app.business.id) as tx:
        replace_busy_blocks(tx, f"{SOURCE}{name}", blocks)
    return TakenIn(len(blocks), found.unread)
