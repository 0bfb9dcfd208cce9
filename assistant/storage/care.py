"""Vessels, jobs, applications and what happened to a finish. Every write that can change when a vessel is next worth
a thought marks it in `next_due`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import groupby
from operator import attrgetter
from typing import Any

from sqlalchemy import insert, select, update

from assistant.domain.people import Application, CareEvent, CareKind, Client, Kept, Season, Vessel
from assistant.storage.clients import client_from
from assistant.storage.database import AnyRow, Transaction, ours
from assistant.storage.tables import applications, care_events, clients, jobs, next_due, vessels


@dataclass(frozen=True, slots=True)
class Fleet:
    """One client with their vessels and everything known about the finishes."""

    client: Client
    vessels: tuple[Vessel, ...]
    applications: tuple[Application, ...]
    events: tuple[CareEvent, ...]


_VESSELS = select(vessels).where(ours(vessels), vessels.c.gone.is_(None))
_APPLICATIONS = (
    select(applications, vessels.c.client_id)
    .join(vessels, vessels.c.id == applications.c.vessel_id)
    .where(ours(applications), ours(vessels), vessels.c.gone.is_(None))
)
_EVENTS = (
    select(care_events, vessels.c.client_id)
    .join(vessels, vessels.c.id == care_events.c.vessel_id)
    .where(ours(care_events), ours(vessels), vessels.c.gone.is_(None))
)


def add_vessel(tx: Transaction, vessel: Vessel, now: datetime) -> int:
    """Keep a new vessel; its own `id` is ignored."""
    vessel_id = tx.insert(
        insert(vessels), {"client_id": vessel.client_id, "created_at": now, **vessel_columns(vessel)}
    )
    mark_due(tx, vessel_id, now)
    return vessel_id


def vessels_of_client(tx: Transaction, client_id: int) -> tuple[Vessel, ...]:
    """All boats of a client, in the order they came."""
    query = select(vessels).where(ours(vessels), vessels.c.client_id == client_id).order_by(vessels.c.id)
    return tuple(vessel_from(row) for row in tx.execute(query))


def change_vessel(tx: Transaction, vessel_id: int, now: datetime, **values: Any) -> None:
    """Write columns of a vessel anew."""
    tx.execute(update(vessels).where(ours(vessels), vessels.c.id == vessel_id).values(**values))
    mark_due(tx, vessel_id, now)


def add_application(tx: Transaction, application: Application, now: datetime, product: str = "") -> int | None:
    """Keep a coating that went on; None when the same one is known already."""
    row = {
        "vessel_id": application.vessel_id,
        "surface": application.surface,
        "coating": application.coating,
        "applied_on": application.applied_on,
        "finished_at": application.finished_at,
        "job_id": application.job_id,
        "product": product,
    }
    made = tx.insert_if_new(applications, row, "vessel_id", "surface", "coating", "applied_on")
    if made is not None:
        mark_due(tx, application.vessel_id, now)
    return made


def add_event(
    tx: Transaction, event: CareEvent, now: datetime, message_id: int | None = None, job_id: int | None = None
) -> int:
    """Keep something done to a finish; its own `id` is ignored."""
    event_id = tx.insert(
        insert(care_events),
        {
            "vessel_id": event.vessel_id,
            "kind": event.kind.value,
            "on": event.on,
            "area": event.area,
            "substance": event.substance,
            "surface": event.surface,
            "grade": event.grade,
            "message_id": message_id,
            "job_id": job_id,
            "noted_at": now,
        },
    )
    mark_due(tx, event.vessel_id, now)
    return event_id


def add_job(tx: Transaction, client_id: int, vessel_id: int, done_on: date, now: datetime, **details: Any) -> int:
    """Keep a finished job. Details: service, visit_id, finished_at, place, note, detail, price, done_by."""
    row = {"client_id": client_id, "vessel_id": vessel_id, "done_on": done_on, "created_at": now, **details}
    return tx.insert(insert(jobs), row)


def mark_due(tx: Transaction, vessel_id: int, at: datetime) -> None:
    """Say when the vessel is next worth a thought; a moment that has come means: think of it at the next chance."""
    moved = update(next_due).where(ours(next_due), next_due.c.vessel_id == vessel_id).values(at=at)
    if not tx.execute(moved).rowcount:
        owner = select(vessels.c.client_id).where(ours(vessels), vessels.c.id == vessel_id)
        client_id = tx.execute(owner).scalar_one()
        tx.execute(insert(next_due), {"vessel_id": vessel_id, "client_id": client_id, "at": at})


def due_vessels(tx: Transaction, now: datetime, limit: int = 200) -> tuple[tuple[int, int], ...]:
    """(vessel, client) pairs whose moment has come, the longest waiting first."""
    query = select(next_due.c.vessel_id, next_due.c.client_id).where(ours(next_due), next_due.c.at <= now)
    rows = tx.execute(query.order_by(next_due.c.at).limit(limit))
    return tuple((row.vessel_id, row.client_id) for row in rows)


def fleets(tx: Transaction, *client_ids: int) -> Iterator[Fleet]:
    """Clients with all that is known about their boats; every client when no number is given."""
    wanted = [clients.c.id.in_(client_ids)] if client_ids else []
    owners = tx.execute(select(clients).where(ours(clients), *wanted).order_by(clients.c.id)).all()
    of_client = vessels.c.client_id.in_(client_ids) if client_ids else vessels.c.client_id.is_not(None)
    boats = _by("client_id", tx.execute(_VESSELS.where(of_client).order_by(vessels.c.client_id, vessels.c.id)))
    coats = _by("client_id", tx.execute(_APPLICATIONS.where(of_client).order_by(vessels.c.client_id)))
    marks = _by("client_id", tx.execute(_EVENTS.where(of_client).order_by(vessels.c.client_id)))
    for owner in owners:
        yield Fleet(
            client_from(owner),
            tuple(map(vessel_from, boats.get(owner.id, ()))),
            tuple(sorted(map(application_from, coats.get(owner.id, ())), key=attrgetter("applied_on", "id"))),
            tuple(sorted(map(event_from, marks.get(owner.id, ())), key=attrgetter("on", "id"))),
        )


def _by(column: str, rows: Any) -> dict[int, list[AnyRow]]:
    return {owner: list(group) for owner, group in groupby(rows, key=attrgetter(column))}


def vessel_columns(vessel: Vessel) -> dict[str, Any]:
    """A vessel as columns of its table, without its owner."""
    return {
        "name": vessel.name,
        "boat_type": vessel.boat_type,
        "length_ft": vessel.length_ft,
        "hin": vessel.hin,
        "water": vessel.water,
        "place": vessel.place,
        "kept": vessel.kept.value,
        "season_from": _month_day(vessel.season.begins) if vessel.season else None,
        "season_to": _month_day(vessel.season.ends) if vessel.season else None,
        "kept_off_season": vessel.kept_off_season.value if vessel.kept_off_season else None,
        "life_factors": vessel.life_factors,
    }


def vessel_from(row: AnyRow) -> Vessel:
    """A row of the table as a value."""
    season = Season(_pair(row.season_from), _pair(row.season_to)) if row.season_from and row.season_to else None
    return Vessel(
        id=row.id,
        client_id=row.client_id,
        name=row.name,
        boat_type=row.boat_type,
        length_ft=row.length_ft,
        hin=row.hin,
        water=row.water,
        place=row.place,
        kept=Kept(row.kept),
        season=season,
        kept_off_season=Kept(row.kept_off_season) if row.kept_off_season else None,
        life_factors=row.life_factors,
    )


def application_from(row: AnyRow) -> Application:
    """A row of the table as a value."""
    return Application(
        id=row.id,
        vessel_id=row.vessel_id,
        surface=row.surface,
        coating=row.coating,
        applied_on=row.applied_on,
        finished_at=row.finished_at,
        job_id=row.job_id,
    )


def event_from(row: AnyRow) -> CareEvent:
    """A row of the table as a value."""
    return CareEvent(
        id=row.id,
        vessel_id=row.vessel_id,
        kind=CareKind(row.kind),
        on=row.on,
        area=Decimal(1) if row.area is None else row.area,
        substance=row.substance,
        surface=row.surface,
        grade=row.grade,
    )


def _month_day(pair: tuple[int, int]) -> str:
    return f"{pair[0]:02d}-{pair[1]:02d}"


def _pair(text: str) -> tuple[int, int]:
    month, _, day = text.partition("-")
    return int(month), int(day)
