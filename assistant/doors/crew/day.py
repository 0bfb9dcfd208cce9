"""The day: stops in driving order, what each boat needs, boxes to tick. Printed, it is the sheet for the truck."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from flask import Blueprint, request
from flask.typing import ResponseReturnValue

from assistant.domain.business import Business
from assistant.domain.day_sheet import Box, boxes
from assistant.domain.driving import drive_minutes
from assistant.domain.visits import Visit, VisitState
from assistant.doors.crew.door import Door, day_of, page
from assistant.storage.handovers import handovers_in
from assistant.storage.visits import visits_between
from assistant.usecases.show_boats import Boat, boats_of


@dataclass(frozen=True, slots=True)
class Stop:
    """One visit of the day, with the drive to it and each boat's boxes."""

    visit: Visit
    drive: int
    boats: tuple[tuple[Boat, tuple[Box, ...]], ...]

    @property
    def done(self) -> bool:
        """The work is on record."""
        return self.visit.state is VisitState.DONE


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/` and `/crew/day`."""

    @routes.get("/")
    @routes.get("/day")
    def day() -> ResponseReturnValue:
        shown = day_of(request.args.get("on", "")) or door.today
        with door.reading() as tx:
            visits = of_day(visits_between(tx, *bounds(shown, door.assistant.business), booked_only=False))
            boats = boats_of(door.assistant, tx, [visit.client_id for visit in visits], shown)
            urgent = [one for one in handovers_in(tx, limit=20) if one.urgent]
        crews = {crew: _stops(door, visits, crew, boats, shown) for crew in sorted({v.crew for v in visits})}
        title = "Today" if shown == door.today else f"{shown:%A}, {shown:%B} {shown.day}"
        return page(
            "day", title, shown=shown, crews=crews, urgent=urgent,
            before=shown - timedelta(days=1), after=shown + timedelta(days=1),
        )  # fmt: skip


def bounds(day: date, business: Business, days: int = 1) -> tuple[datetime, datetime]:
    """The instants between which `days` days lie, from `day` on, where the business is."""
    zone = ZoneInfo(business.zone)
    first = datetime.combine(day, time(), zone).astimezone(UTC)
    return first, datetime.combine(day + timedelta(days=days), time(), zone).astimezone(UTC)


def of_day(visits: Sequence[Visit]) -> list[Visit]:
    """Visits that take place."""
    return [visit for visit in visits if visit.state is not VisitState.CALLED_OFF]


def _stops(door: Door, visits: Sequence[Visit], crew: int, boats: dict[int, Boat], today: date) -> list[Stop]:
    business, knowledge = door.assistant.business, door.assistant.knowledge
    stops, here = [], ""
    for visit in visits:
        if visit.crew != crew:
            continue
        mine = [boats[id_] for id_ in visit.vessel_ids if id_ in boats]
        needs = tuple((boat, boxes(visit.service, boat.lives, business, knowledge, today)) for boat in mine)
        stops.append(Stop(visit, drive_minutes(business, here, visit.place), needs))
        here = visit.place
    return stops
