"""Visits, holds and the quarters of an hour they occupy. The key of `occupied` makes a double booking impossible:
booking inserts the quarters first and asks nobody."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import Select, bindparam, delete, func, insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from assistant.domain.errors import SlotTaken
from assistant.domain.slots import Diary
from assistant.domain.visits import QUARTER, Busy, Slot, Visit, VisitState
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import busy_blocks, holds, occupied, threads, visit_vessels, visits

LATEST_VISITS = 20
"""How many visits of a client a decision can look at."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def _with_boats(query: Select[Any]) -> Select[Any]:
    """The same visits, a row for each of their vessels, by time."""
    chosen = query.subquery()
    boats = (visit_vessels.c.visit_id == chosen.c.id) & ours(visit_vessels)
    return (
        select(chosen, visit_vessels.c.vessel_id)
        .outerjoin(visit_vessels, boats)
        .order_by(chosen.c.begins_at, chosen.c.id, visit_vessels.c.vessel_id)
    )


_VISITS = select(visits).where(ours(visits))
_LATEST = _with_boats(
    _VISITS.where(visits.c.client_id == bindparam("client")).order_by(visits.c.begins_at.desc()).limit(LATEST_VISITS)
)


def hold_slots(
    tx: Transaction, thread_id: int, slots: Sequence[Slot], until: datetime, now: datetime, message_id: int | None
) -> None:
    """Keep these times free for one client; what was held for them before is freed. Raises SlotTaken."""
    free_expired_holds(tx, now)
    free_holds(tx, thread_id)
    by_place: dict[tuple[int, int], int] = {}
    for slot in slots:
        row = {"crew": slot.crew, "begins_at": slot.begins, "ends_at": slot.ends, "until": until, "place": slot.place}
        hold_id = tx.insert(insert(holds), {**row, "thread_id": thread_id, "message_id": message_id})
        for quarter in quarters(slot.begins, slot.ends):
            by_place.setdefault((slot.crew, quarter), hold_id)
    _occupy(tx, [{"crew": crew, "quarter": quarter, "hold_id": id_} for (crew, quarter), id_ in by_place.items()])


def free_holds(tx: Transaction, thread_id: int, but_not_of: int | None = None) -> None:
    """Free what is held for a client, except what was offered with message `but_not_of`."""
    others = [or_(holds.c.message_id.is_(None), holds.c.message_id != but_not_of)] if but_not_of is not None else []
    tx.execute(delete(holds).where(ours(holds), holds.c.thread_id == thread_id, *others))


def free_expired_holds(tx: Transaction, now: datetime) -> None:
    """Free what is held no longer."""
    tx.execute(delete(holds).where(ours(holds), holds.c.until <= now))


def book_visit(
    tx: Transaction,
    client_id: int,
    slot: Slot,
    service: str,
    vessel_ids: Iterable[int],
    zone: str,
    now: datetime,
    *,
    place: str = "",
    price: Decimal | None = None,
    note: str = "",
    plan_id: int | None = None,
) -> int:
    """Book the time and return the visit's number. Raises SlotTaken when any quarter of it is occupied."""
    free_expired_holds(tx, now)
    visit_id = tx.insert(
        insert(visits),
        {
            "client_id": client_id,
            "plan_id": plan_id,
            "uid": f"{tx.new_token()}@aftercare",
            "service": service,
            **_when(slot, zone),
            "place": place,
            "price": price,
            "note": note,
            "created_at": now,
            "revised_at": now,
        },
    )
    _occupy(tx, _places(slot, visit_id))
    rows = [{"visit_id": visit_id, "vessel_id": vessel_id} for vessel_id in vessel_ids]
    if rows:
        tx.execute(insert(visit_vessels), rows)
    return visit_id


def move_visit(tx: Transaction, visit_id: int, slot: Slot, now: datetime) -> None:
    """Move a booked visit. Raises SlotTaken when the new time is occupied or the visit is no longer booked."""
    free_expired_holds(tx, now)
    _vacate(tx, visit_id)
    zone = tx.execute(select(visits.c.zone).where(ours(visits), visits.c.id == visit_id)).scalar_one()
    _revise(tx, visit_id, now, **_when(slot, zone))
    _occupy(tx, _places(slot, visit_id))


def call_off_visit(tx: Transaction, visit_id: int, reason: str, now: datetime) -> None:
    """Call a booked visit off and free its time. Raises SlotTaken when it is no longer booked."""
    _revise(tx, visit_id, now, state=VisitState.CALLED_OFF.value, called_off_why=reason)
    _vacate(tx, visit_id)


def finish_visit(tx: Transaction, visit_id: int, now: datetime) -> None:
    """The work was done. Raises SlotTaken when the visit is no longer booked."""
    _revise(tx, visit_id, now, state=VisitState.DONE.value)


def find_visit(tx: Transaction, visit_id: int) -> Visit | None:
    """One visit by its number."""
    found = _visits(tx.execute(_with_boats(_VISITS.where(visits.c.id == visit_id))))
    return found[0] if found else None


def visits_of_client(tx: Transaction, client_id: int) -> tuple[Visit, ...]:
    """The latest visits of a client, past and to come, by time."""
    return _visits(tx.execute(_LATEST, {"client": client_id}))


def visits_of_plan(tx: Transaction, plan_id: int) -> tuple[Visit, ...]:
    """Visits that a plan booked and nobody called off, by time."""
    mine = (visits.c.plan_id == plan_id, visits.c.state != "called_off")
    return _visits(tx.execute(_with_boats(_VISITS.where(*mine))))


def visits_between(
    tx: Transaction, first: datetime, last: datetime, *, booked_only: bool = True
) -> tuple[Visit, ...]:
    """Visits that begin in [first, last), by time."""
    query = _VISITS.where(visits.c.begins_at >= first, visits.c.begins_at < last)
    return _visits(tx.execute(_with_boats(query.where(visits.c.state == "booked") if booked_only else query)))


def busy_between(
    tx: Transaction, first: datetime, last: datetime, now: datetime, but_not_client: int | None = None
) -> tuple[Busy, ...]:
    """What is taken in [first, last): visits, holds of others, the detailer's own calendar. `crew` 0 means all."""
    during = (visits.c.begins_at < last, visits.c.ends_at > first, visits.c.state != "called_off")
    booked = tx.execute(
        select(visits.c.crew, visits.c.begins_at, visits.c.ends_at, visits.c.place).where(ours(visits), *during)
    )
    held = (
        select(holds.c.crew, holds.c.begins_at, holds.c.ends_at, holds.c.place)
        .join(threads, threads.c.id == holds.c.thread_id)
        .where(ours(holds), ours(threads), holds.c.begins_at < last, holds.c.ends_at > first, holds.c.until > now)
    )
    if but_not_client is not None:
        held = held.where(or_(threads.c.client_id.is_(None), threads.c.client_id != but_not_client))
    own = select(busy_blocks).where(ours(busy_blocks), busy_blocks.c.begins_at < last, busy_blocks.c.ends_at > first)
    busy = [Busy(row.crew, row.begins_at, row.ends_at, row.place) for row in booked]
    busy += [Busy(row.crew, row.begins_at, row.ends_at, row.place, held=True) for row in tx.execute(held)]
    busy += [Busy(row.crew or 0, row.begins_at, row.ends_at, row.place) for row in tx.execute(own)]
    return tuple(sorted(busy, key=lambda stretch: (stretch.begins, stretch.crew)))


def take_turns(tx: Transaction) -> None:
    """Whoever looks for a time waits for whoever looks now, until the end of the transaction.

    The key of `occupied` makes visits that overlap impossible; that the drive between two visits fits as well is decided
    on the diary, which must not change in between. SQLite has one writer anyhow.
    """
    if tx.connection.dialect.name == "postgresql":
        tx.connection.execute(select(func.pg_advisory_xact_lock(_CALENDAR, tx.business_id)))


_CALENDAR = 1
"""Which of our locks this is; the other half of its name is the business."""


def load_diary(tx: Transaction, first: date, last: date, now: datetime, but_not_client: int | None = None) -> Diary:
    """Everything that is taken from the day `first` to the day `last`, but for what is held for one client.

    The days are the business's; a day more on either side is read, which covers every zone.
    """
    begins = datetime.combine(first, time(), UTC) - timedelta(days=1)
    ends = datetime.combine(last, time(), UTC) + timedelta(days=2)
    return Diary(busy_between(tx, begins, ends, now, but_not_client), first, last)


def replace_busy_blocks(tx: Transaction, source: str, blocks: Iterable[tuple[str, Busy]]) -> None:
    """Take over the detailer's own calendar `source` as (uid, stretch) pairs; what it held before goes."""
    tx.execute(delete(busy_blocks).where(ours(busy_blocks), busy_blocks.c.source == source))
    rows = [
        {
            "source": source,
            "uid": uid,
            "crew": b.crew or None,
            "begins_at": b.begins,
            "ends_at": b.ends,
            "place": b.place,
        }
        for uid, b in blocks
    ]
    if rows:
        tx.execute(insert(busy_blocks), rows)


def quarters(begins: datetime, ends: datetime) -> range:
    """Numbers of the quarters of an hour, counted from 1970 UTC, that [begins, ends) touches."""
    return range((begins - _EPOCH) // QUARTER, -((_EPOCH - ends) // QUARTER))


def visit_from(row: AnyRow, vessel_ids: tuple[int, ...]) -> Visit:
    """A row of the table as a value."""
    return Visit(
        id=row.id,
        client_id=row.client_id,
        vessel_ids=vessel_ids,
        service=row.service,
        crew=row.crew,
        begins=row.begins_at,
        ends=row.ends_at,
        zone=row.zone,
        place=row.place,
        state=VisitState(row.state),
        price=row.price,
        sequence=row.sequence,
        uid=row.uid,
        note=row.note,
        revised_at=row.revised_at,
        plan_id=row.plan_id,
    )


def _visits(rows: Iterable[AnyRow]) -> tuple[Visit, ...]:
    found: dict[int, tuple[AnyRow, list[int]]] = {}
    for row in rows:
        vessel_ids = found.setdefault(row.id, (row, []))[1]
        vessel_ids += [row.vessel_id] if row.vessel_id else []
    return tuple(visit_from(row, tuple(vessel_ids)) for row, vessel_ids in found.values())


def _when(slot: Slot, zone: str) -> dict[str, Any]:
    wall = slot.begins.astimezone(ZoneInfo(zone))
    return {
        "crew": slot.crew,
        "begins_at": slot.begins,
        "ends_at": slot.ends,
        "wall_begins": wall.strftime("%Y-%m-%dT%H:%M"),
        "zone": zone,
    }


def _revise(tx: Transaction, visit_id: int, now: datetime, **values: Any) -> None:
    booked = (visits.c.id == visit_id, visits.c.state == "booked")
    change = update(visits).where(ours(visits), *booked)
    if not tx.execute(change.values(sequence=visits.c.sequence + 1, revised_at=now, **values)).rowcount:
        raise SlotTaken(f"visit {visit_id} is no longer booked")


def _vacate(tx: Transaction, visit_id: int) -> None:
    tx.execute(delete(occupied).where(ours(occupied), occupied.c.visit_id == visit_id))


def _places(slot: Slot, visit_id: int) -> list[dict[str, int]]:
    return [
        {"crew": slot.crew, "quarter": quarter, "visit_id": visit_id} for quarter in quarters(slot.begins, slot.ends)
    ]


def _occupy(tx: Transaction, places: Sequence[Mapping[str, int]]) -> None:
    """Take the quarters. Raises SlotTaken when one of them is taken; the caller's savepoint undoes the rest.

    Everybody takes them in the same order, so that two who want the same time wait for each other, never in a circle.
    """
    try:
        tx.execute(insert(occupied), sorted(places, key=lambda place: (place["crew"], place["quarter"])))
    except IntegrityError as fault:
        raise SlotTaken("somebody else has a part of this time") from fault
