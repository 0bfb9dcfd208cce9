"""What the carrier reports about a text it took. What did not arrive goes before a person, as `send_due` tells."""

from __future__ import annotations

import logging
from datetime import datetime

from assistant.assembly import Assistant
from assistant.storage import outbox

log = logging.getLogger(__name__)


def note_status(app: Assistant, sid: str, status: str, code: int | None, now: datetime) -> None:
    """Keep one delivery status. Statuses come late, twice or out of order; a text never moves back."""
    with app.database.transaction(app.business.id) as tx:
        state = outbox.note_receipt(tx, sid, status, code, now)
    if state == "failed":
        log.warning("the carrier could not deliver %s (%s)", sid, code)
