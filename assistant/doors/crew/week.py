"""Visits week by week: book, move, call off, a day lost to weather, time blocked."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal, InvalidOperation
from zoneinfo import ZoneInfo

from flask import Blueprint, request
from flask.typing import ResponseReturnValue

from assistant.domain.errors import SlotTaken
from assistant.domain.slots import Work
from assistant.domain.visits import Slot, Visit
from assistant.doors.crew.day import bounds, of_day
from assistant.doors.crew.door import Door, back_to, day_of, field, found, me, page
from assistant.storage import visits as stored
from assistant.storage.lists import blocks_between, boat_row
from assistant.usecases import arrange_visits as arrange
from assistant.usecases.show_boats import Boat, boats_of

TAKEN = "Somebody else has a part of that time. Choose another one."
NO_TIME = "Write a day and a time, like 2027-06-09 and 09:30, and how long it takes."
LONGEST_HOURS = Decimal(14)


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/week`, `/crew/visits`, `/crew/weather`, `/crew/blocks`."""
    _add_week(routes, door)
    _add_visit(routes, door)
    _add_new(routes, door)


def _add_week(routes: Blueprint, door: Door) -> None:
    app = door.assistant

    @routes.get("/week")
    def week() -> ResponseReturnValue:
        asked = day_of(request.args.get("on", "")) or door.today
        monday = asked - timedelta(days=asked.weekday())
        first, last = bounds(monday, app.business, 7)
        with door.reading() as tx:
            visits = of_day(stored.visits_between(tx, first, last, booked_only=False))
            boats = boats_of(app, tx, [visit.client_id for visit in visits], door.today)
            blocks = blocks_between(tx, first, last)
        zone = ZoneInfo(app.business.zone)
        days = [
            (
                day,
                [v for v in visits if v.begins.astimezone(zone).date() == day],
                [b for b in blocks if b.begins_at.astimezone(zone).date() <= day <= _last_day(b.ends_at, zone)],
            )
            for day in (monday + timedelta(days=number) for number in range(7))
        ]
        return page(
            "week", "The week", days=days, boats=boats, monday=monday, before=monday - timedelta(days=7),
            after=monday + timedelta(days=7), by_hand=arrange.BY_HAND,
        )  # fmt: skip

    @routes.get("/weather")
    def weather() -> ResponseReturnValue:
        day = found(day_of(request.args.get("on", "")))
        with door.reading() as tx:
            shifts = arrange.weather_shifts(app, tx, day, door.now)
            boats = boats_of(app, tx, [shift.visit.client_id for shift in shifts], door.today)
        return page("weather", f"Weather day, {day:%A}", day=day, shifts=shifts, boats=boats)

    @routes.post("/weather")
    def losing_day() -> ResponseReturnValue:
        day = found(day_of(field("on")))
        arrange.lose_to_weather(app, day, me().name, door.now)
        return back_to("week", "weather", on=day)

    @routes.post("/blocks")
    def block() -> ResponseReturnValue:
        day, crew = found(day_of(field("on"))), int(field("crew")) if field("crew").isdecimal() else 0
        if field("do") == "free":
            arrange.unblock(app, field("source", 200), me().name, door.now)
            return back_to("week", "freed", on=day)
        begins, ends = bounds(day, app.business)
        arrange.block(app, day, begins, ends, crew, me().name, door.now)
        return back_to("week", "blocked", on=day)


def _add_visit(routes: Blueprint, door: Door) -> None:
    app = door.assistant

    @routes.get("/visits/<int:visit_id>")
    def visit(visit_id: int) -> ResponseReturnValue:
        return _show(door, visit_id)

    @routes.post("/visits/<int:visit_id>")
    def change_visit(visit_id: int) -> ResponseReturnValue:
        with door.reading() as tx:
            one: Visit = found(stored.find_visit(tx, visit_id))
        tell = request.form.get("tell") == "on"
        try:
            if field("do") == "off":
                arrange.call_off(app, one, field("reason", 300), tell, me().name, door.now)
                return back_to("visit", "called_off", visit_id=visit_id)
            slot = _slot(door, arrange.work_of_visit(app, one))
            if slot is None:
                return _show(door, visit_id, NO_TIME), 400
            arrange.move(app, one, slot, tell, me().name, door.now)
        except SlotTaken:
            return _show(door, visit_id, TAKEN), 409
        return back_to("visit", "moved", visit_id=visit_id)


def _add_new(routes: Blueprint, door: Door) -> None:
    app = door.assistant

    @routes.get("/boats/<int:vessel_id>/visit")
    def new_visit(vessel_id: int) -> ResponseReturnValue:
        return _new(door, vessel_id, request.args.get("service", ""))

    @routes.post("/boats/<int:vessel_id>/visit")
    def booking_visit(vessel_id: int) -> ResponseReturnValue:
        boat, service = _boat(door, vessel_id), field("service", 60)
        if service not in app.business.services:
            return _new(door, vessel_id, "", "Choose the work first."), 400
        slot = _slot(door, arrange.work_of_boat(app, app.business.services[service], boat.vessel))
        if slot is None:
            return _new(door, vessel_id, service, NO_TIME), 400
        try:
            made = arrange.book(app, boat, service, slot, field("note", 500), me().name, door.now)
        except SlotTaken:
            return _new(door, vessel_id, service, TAKEN), 409
        return back_to("visit", "booked", visit_id=made)


def _show(door: Door, visit_id: int, problem: str = "") -> str:
    with door.reading() as tx:
        one: Visit = found(stored.find_visit(tx, visit_id))
        boats = boats_of(door.assistant, tx, [one.client_id], door.today)
        times: Iterable[Slot] = ()
        if one.state == "booked":
            times = arrange.suggested_times(
                door.assistant, tx, arrange.work_of_visit(door.assistant, one), door.now, one.client_id
            )
    mine = [boats[id_] for id_ in one.vessel_ids if id_ in boats]
    hours = Decimal((one.ends - one.begins).seconds) / 3600
    return page("visit", "A visit", one=one, boats=mine, times=times, problem=problem, hours=hours.normalize())


def _new(door: Door, vessel_id: int, service: str, problem: str = "") -> str:
    boat, services = _boat(door, vessel_id), door.assistant.business.services
    times: Iterable[Slot] = ()
    if service in services:
        with door.reading() as tx:
            work = arrange.work_of_boat(door.assistant, services[service], boat.vessel)
            times = arrange.suggested_times(door.assistant, tx, work, door.now)
    return page(
        "new_visit", f"A visit for {boat.vessel.name}", boat=boat, services=services, service=service, times=times,
        problem=problem,
    )  # fmt: skip


def _boat(door: Door, vessel_id: int) -> Boat:
    with door.reading() as tx:
        row = found(boat_row(tx, vessel_id))
        boat: Boat = found(boats_of(door.assistant, tx, [row.client_id], door.today).get(vessel_id))
    return boat


def _slot(door: Door, work: Work) -> Slot | None:
    """The time a person chose: a suggested one, or a day and time of their own. None when it is not readable."""
    business = door.assistant.business
    try:
        if request.form.get("slot"):
            crew, written = field("slot").split("/")
            begins = datetime.fromisoformat(written).astimezone(UTC)
            minutes = work.minutes
        else:
            crew, hours = field("crew") or "1", Decimal(field("hours") or str(Decimal(work.minutes) / 60))
            wall = datetime.combine(date.fromisoformat(field("day")), time.fromisoformat(field("time")))
            begins = wall.replace(tzinfo=ZoneInfo(business.zone)).astimezone(UTC)
            minutes = int(hours * 60) if 0 < hours <= LONGEST_HOURS else 0
        number = int(crew)
    except (ValueError, InvalidOperation):
        return None
    if not minutes or not 1 <= number <= max(1, business.crews):
        return None
    return Slot(number, begins, begins + timedelta(minutes=minutes), place=work.place)


def _last_day(ends: datetime, zone: ZoneInfo) -> date:
    return (ends - timedelta(microseconds=1)).astimezone(zone).date()
