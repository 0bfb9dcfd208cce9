"""Tells the business's own people by text what was handed over, each thing under a number of its own.

The number is drawn, not counted: it is known only to the phones it was sent to, so a forged sender cannot answer a
client under it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Container
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain import wording
from assistant.domain.business import Business, CrewMember
from assistant.domain.sms import measure, plain
from assistant.storage import crew_texts, outbox
from assistant.storage.database import Transaction
from assistant.storage.handovers import Handover
from assistant.storage.threads import open_thread

SPENT_FOR = timedelta(days=14)
"""How long a number is not given to another question."""
PARTS = 3


def tell_crew(app: Assistant, now: datetime) -> int:
    """Queue a text for every handover that nobody was told of. Returns how many handovers that were."""
    phones = [member.phone for member in app.business.crew]
    if not phones:
        return 0
    with app.database.reading(app.business.id) as tx:
        if not crew_texts.untold(tx, phones, limit=1):
            return 0
    with app.database.transaction(app.business.id) as tx:
        found = crew_texts.untold(tx, phones)
        taken = set(crew_texts.numbers(tx, now - SPENT_FOR))
        for handover in found:
            number = _fresh_number(tx, taken)
            taken.add(number)
            for member in who_is_told(app.business, handover.urgent):
                _tell(app, tx, member, handover, number, now)
    return len(found)


def who_is_told(business: Business, urgent: bool) -> tuple[CrewMember, ...]:
    """The owner and the office hear of everything, the others of what is urgent; all, where there is no owner."""
    answering = tuple(member for member in business.crew if member.role in ("owner", "office"))
    return business.crew if urgent or not answering else answering


def drawn(tx: Transaction, digits: int) -> int:
    """An unguessable number of so many digits, the first one not 0."""
    spread = int.from_bytes(hashlib.sha256(tx.new_token().encode()).digest()[:8])
    least: int = 10 ** (digits - 1)
    return least + spread % (9 * least)


def _fresh_number(tx: Transaction, taken: Container[int]) -> int:
    first = drawn(tx, 3) - 100
    return next((100 + (first + n) % 900 for n in range(900) if 100 + (first + n) % 900 not in taken), 100 + first)


def _tell(
    app: Assistant, tx: Transaction, member: CrewMember, handover: Handover, number: int, now: datetime
) -> None:
    due = now if handover.urgent else waking_hour(app.business, now)
    draft = outbox.Draft(
        thread_id=open_thread(tx, member.phone, "sms", now),
        consent=outbox.CREW,
        kind=crew_texts.TOLD,
        text=question_text(app, handover, number),
        dedupe_key=f"{crew_texts.TOLD}:{handover.id}:{member.phone}",
        due_at=due,
        why=f"handed over: {handover.reason}",
        handover_id=handover.id,
        data={"number": number},
    )
    outbox.enqueue(tx, draft, now)


def waking_hour(business: Business, now: datetime) -> datetime:
    """Now, or when the business's hours for texts begin next (UTC)."""
    opens, closes = business.service_window
    local = now.astimezone(ZoneInfo(business.zone))
    if opens <= local.time() < closes:
        return now
    day = local.date() + timedelta(days=local.time() >= closes)
    return datetime.combine(day, opens, ZoneInfo(business.zone)).astimezone(UTC)


def question_text(app: Assistant, handover: Handover, number: int) -> str:
    """Who asks what, and how to answer, in at most three parts; a long question is cut."""
    say, language = app.knowledge.say, app.business.language
    asked = " ".join((handover.question or handover.note or handover.reason.replace("_", " ")).split())
    if handover.question and handover.note:
        asked = f"{asked} [{handover.note}]"
    form = say("crew.told_urgent" if handover.urgent else "crew.told", language)
    values = {"client": handover.name or handover.phone, "phone": handover.phone, "code": str(number)}
    while True:
        text = plain(wording.fill(form, {**values, "what": asked}))
        if measure(text).segments <= PARTS or len(asked) < 40:
            return text
        asked = f"{asked[: len(asked) * 9 // 10].rstrip(' .')}..."
