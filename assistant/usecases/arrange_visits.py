"""Visits as the business arranges them: booked, moved or called off by a person, a day lost to weather, time blocked.

A person may put a visit where the offers' rules would not (early, late, on a Sunday); two visits at once stay impossible.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.business import Service
from assistant.domain.conversation.booking_request import work_of
from assistant.domain.errors import SlotTaken
from assistant.domain.people import Client, Vessel
from assistant.domain.slots import Diary, Work, free_slots
from assistant.domain.visits import Busy, Slot, TimeWish, Visit
from assistant.domain.wording import day_text, fill, join_words, moment_text
from assistant.storage import audit, outbox, threads, visits
from assistant.storage.clients import find_client
from assistant.storage.database import Transaction
from assistant.storage.lists import vessel_names
from assistant.usecases.show_boats import Boat

HORIZON = timedelta(days=60)
BLOCK = "page:"
"""How the source of time blocked here begins; the day and the crew follow."""
BY_HAND = (BLOCK, "text:")
"""How sources begin that a person may free on the pages: blocked here, or by text."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A visit and the time found for it; None when none is free."""

    visit: Visit
    slot: Slot | None


def book(
    app: Assistant, boat: Boat, service: str, slot: Slot, note: str, who: str, now: datetime
) -> int:
    """Book a visit. Raises SlotTaken when the time is occupied."""
    with app.database.transaction(app.business.id) as tx:
        visit_id = visits.book_visit(
            tx, boat.client.id, slot, service, [boat.vessel.id], app.business.zone, now, place=slot.place, note=note
        )
        audit.note(tx, now, who, "booked", f"visit:{visit_id}", boat=boat.vessel.name, begins=slot.begins)
        return visit_id


def move(app: Assistant, visit: Visit, slot: Slot, tell: bool, who: str, now: datetime) -> None:
    """Move a visit and tell the client. Raises SlotTaken."""
    with app.database.transaction(app.business.id) as tx:
        visits.move_visit(tx, visit.id, slot, now)
        audit.note(tx, now, who, "moved", f"visit:{visit.id}", begins=slot.begins)
        if tell:
            _tell(app, tx, visit, "crew.moved", slot.begins, who, now)


def call_off(app: Assistant, visit: Visit, reason: str, tell: bool, who: str, now: datetime) -> None:
    """Call a visit off and tell the client. Raises SlotTaken when it is no longer booked."""
    with app.database.transaction(app.business.id) as tx:
        visits.call_off_visit(tx, visit.id, reason, now)
        outbox.drop_queued(tx, "the visit is called off", visit_id=visit.id)
        audit.note(tx, now, who, "called off", f"visit:{visit.id}", reason=reason)
        if tell:
            _tell(app, tx, visit, "crew.called_off", visit.begins, who, now)


def weather_shifts(app: Assistant, tx: Transaction, day: date, now: datetime) -> list[Shift]:
    """A new time for every outdoor visit of a day, on later days, none of them twice."""
    business, shifts = app.business, []
    diary = visits.load_diary(tx, day + timedelta(days=1), day + HORIZON, now)
    for visit in _of_day(app, tx, day):
        service = business.services.get(visit.service)
        if service is not None and not service.outdoor:
            continue
        later = TimeWish(first=day + timedelta(days=1))
        slot = next(iter(free_slots(business, diary, _work_of(visit, service), later, now, 1)), None)
        shifts.append(Shift(visit, slot))
        if slot:
            taken = Busy(slot.crew, slot.begins, slot.ends, visit.place)
            diary = replace(diary, busy=(*diary.busy, taken))
    return shifts


def lose_to_weather(app: Assistant, day: date, who: str, now: datetime) -> tuple[int, int]:
    """Move what can be moved and tell each client. Returns how many moved, and how many found no time."""
    with app.database.transaction(app.business.id) as tx:
        shifts = weather_shifts(app, tx, day, now)
        moved = [shift for shift in shifts if _shifted(app, tx, shift, day, who, now)]
        audit.note(tx, now, who, "weather day", day.isoformat(), moved=len(moved), left=len(shifts) - len(moved))
        return len(moved), len(shifts) - len(moved)


def block(app: Assistant, day: date, begins: datetime, ends: datetime, crew: int, who: str, now: datetime) -> None:
    """Nothing is offered in that stretch; what is booked there stays. One stretch a day and crew."""
    with app.database.transaction(app.business.id) as tx:
        source = f"{BLOCK}{day.isoformat()}/{crew}"
        visits.replace_busy_blocks(tx, source, [(source, Busy(crew, begins, ends))])
        audit.note(tx, now, who, "blocked", day.isoformat(), crew=crew)


def unblock(app: Assistant, source: str, who: str, now: datetime) -> None:
    """What was blocked by hand under this name can be offered again; the business's own calendars stay."""
    if source.startswith(BY_HAND):
        with app.database.transaction(app.business.id) as tx:
            visits.replace_busy_blocks(tx, source, [])
            audit.note(tx, now, who, "freed", source.partition(":")[2])


def suggested_times(
    app: Assistant, tx: Transaction, work: Work, now: datetime, but_not_client: int | None = None
) -> Sequence[Slot]:
    """Free times that keep every rule, the best of the next weeks."""
    today = now.astimezone(ZoneInfo(app.business.zone)).date()
    diary: Diary = visits.load_diary(tx, today, today + HORIZON, now, but_not_client)
    return free_slots(app.business, diary, work, TimeWish(), now, 4)


def work_of_visit(app: Assistant, visit: Visit) -> Work:
    """The same work at another time."""
    return _work_of(visit, app.business.services.get(visit.service))


def work_of_boat(app: Assistant, service: Service, vessel: Vessel) -> Work:
    """How long the work takes on that boat, and its rules."""
    return work_of(service, [vessel], app.business)


def _work_of(visit: Visit, service: Service | None) -> Work:
    minutes = int((visit.ends - visit.begins).total_seconds() // 60)
    outdoor, cure = (service.outdoor, service.cure_hours) if service else (True, 0)
    return Work(visit.place, minutes, outdoor, cure)


def _of_day(app: Assistant, tx: Transaction, day: date) -> Iterable[Visit]:
    zone = ZoneInfo(app.business.zone)
    first = datetime(day.year, day.month, day.day, tzinfo=zone)
    after = day + timedelta(days=1)
    return visits.visits_between(tx, first, datetime(after.year, after.month, after.day, tzinfo=zone))


def _shifted(app: Assistant, tx: Transaction, shift: Shift, day: date, who: str, now: datetime) -> bool:
    if shift.slot is None:
        return False
    try:
        with tx.savepoint():
            visits.move_visit(tx, shift.visit.id, shift.slot, now)
    except SlotTaken:
        return False
    _tell(app, tx, shift.visit, "crew.weather", shift.slot.begins, who, now, day)
    return True


def _tell(
    app: Assistant, tx: Transaction, visit: Visit, wording: str, when: datetime, who: str, now: datetime,
    day: date | None = None,
) -> None:  # fmt: skip
    """Queue the news; consent and hours are checked when it leaves."""
    client = find_client(tx, visit.client_id)
    if client is None or wording not in app.knowledge.wording.get("en", {}):
        return
    draft = outbox.Draft(
        thread_id=threads.thread_of_client(tx, client.id, now),
        consent=outbox.SERVICE,
        kind="visit_change",
        text=_news(app, tx, visit, client, wording, when, day),
        dedupe_key=f"{wording}:{visit.id}:{visit.sequence}:{when.isoformat()}",
        due_at=now,
        why=f"{who} changed the visit",
        visit_id=visit.id,
        written_by=who,
    )
    outbox.enqueue(tx, draft, now)


def _news(
    app: Assistant, tx: Transaction, visit: Visit, client: Client, wording: str, when: datetime, day: date | None
) -> str:
    business, language = app.business, client.language
    service = business.services.get(visit.service)
    names = [name for name in vessel_names(tx, visit.vessel_ids) if name] if visit.vessel_ids else []
    said = (service.name.get(language) or service.name.get("en", visit.service)) if service else visit.service
    return fill(app.knowledge.say(wording, language), {
        "detailer": business.detailer,
        "service": said,
        "vessel": join_words(names, language) or app.knowledge.say("default.your_boat", language),
        "when": moment_text(when, visit.zone, language),
        "place": visit.place or business.name,
        "visit_on": day_text(day, language) if day else "",
    })  # fmt: skip
