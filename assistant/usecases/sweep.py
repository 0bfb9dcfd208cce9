"""A rehearsal: what would leave at an instant, or day by day over a year. Nothing leaves; the data says it did."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.consent import NUDGE
from assistant.storage import nudges, outbox
from assistant.usecases.plan_nudges import plan_nudges, plan_visit_texts
from assistant.usecases.send_due import send_due

LONGEST_STEP = timedelta(days=1)
SHORTEST_STEP = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Swept:
    """One text that would leave: when, to whom, and why."""

    at: datetime
    to: str
    kind: str
    text: str
    segments: int
    why: str
    name: str = ""


def sweep(app: Assistant, now: datetime) -> tuple[Swept, ...]:
    """Plan and "send" all that may leave at `now`, in the order in which it would."""
    carrier = MemoryCarrier()
    app = replace(app, carrier=carrier)
    with app.database.reading(app.business.id) as tx:
        before = {text.id for text in nudges.left_at(tx, now)}
    plan_visit_texts(app, now)
    while plan_nudges(app, now):
        pass
    while send_due(app, now, worker="rehearsal"):
        pass
    with app.database.reading(app.business.id) as tx:
        left = [text for text in nudges.left_at(tx, now) if text.id not in before]
    return tuple(
        Swept(now, text.phone, text.kind.removeprefix(NUDGE), text.text, text.segments, text.why, text.name)
        for text in left
    )


def rehearse(app: Assistant, begin: datetime, end: datetime) -> Iterator[Swept]:
    """Everything that would leave from `begin` to `end` if nobody wrote, booked or did anything meanwhile."""
    now = begin
    while now < end:
        yield from sweep(app, now)
        with app.database.reading(app.business.id) as tx:
            ahead = [moment for moment in (nudges.next_moment(tx), outbox.next_moment(tx)) if moment]
        soonest = min(ahead, default=now + LONGEST_STEP)
        now = min(max(soonest, now + SHORTEST_STEP), now + LONGEST_STEP)
