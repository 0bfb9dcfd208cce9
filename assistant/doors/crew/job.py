"""A finished job: what went on which surface, and the care pack that follows from it."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from decimal import Decimal, InvalidOperation
from typing import Any
from zoneinfo import ZoneInfo

from flask import Blueprint, request
from flask.typing import ResponseReturnValue

from assistant.doors.crew.door import Door, field, found, me, number_of, page
from assistant.storage import audit, lists, threads
from assistant.storage.visits import find_visit
from assistant.usecases.hand_over_job import Agreed, FinishedJob, hand_over_job
from assistant.usecases.show_boats import Boat, boats_of

COMMON = ("hull", "topsides", "deck")
"""Surfaces shown first on a boat that has no coat on record."""
GRADES = {"sharp": "Sharp: the finish is alive", "soft": "Soft: it is going", "chalky": "Chalky: it is gone"}


class _Unclear(ValueError):
    """What is missing in the form; the message is for the person."""


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/boats/<id>/job`."""
    app = door.assistant

    @routes.get("/boats/<int:vessel_id>/job")
    def job(vessel_id: int) -> ResponseReturnValue:
        return _form(door, vessel_id)

    @routes.post("/boats/<int:vessel_id>/job")
    def finishing(vessel_id: int) -> ResponseReturnValue:
        boat = _boat(door, vessel_id)
        try:
            done = _finished(door, boat)
        except _Unclear as unclear:
            return _form(door, vessel_id, str(unclear)), 400
        handed = hand_over_job(app, done, door.now)
        if not handed.repeated:
            with door.writing() as tx:
                audit.note(tx, door.now, me().name, "finished a job", f"vessel:{vessel_id}", job=handed.job_id)
        return page("job_done", "The job is on record", boat=boat, handed=handed)


def _form(door: Door, vessel_id: int, problem: str = "") -> str:
    boat, local = _boat(door, vessel_id), door.now.astimezone(ZoneInfo(door.assistant.business.zone))
    knowledge = door.assistant.knowledge
    mine = [life.application.surface for life in boat.lives]
    coated = [surface.id for surface in knowledge.surfaces.values() if surface.coated]
    first = list(dict.fromkeys([*mine, *(id_ for id_ in COMMON if id_ in coated)])) or coated[:4]
    visit_id = number_of("visit")
    with door.reading() as tx:
        visit = find_visit(tx, visit_id) if visit_id else None
        mine_threads = threads.threads_of_client(tx, boat.client.id)
    return page(
        "job", f"Finished: {boat.vessel.name}", boat=boat, problem=problem, visit=visit, grades=GRADES, first=first,
        rest=[id_ for id_ in coated if id_ not in first], coatings=knowledge.coatings, local=local, form=request.form,
        agreed=any(thread.consent.service for thread in mine_threads),
        reachable=all(thread.consent.reachable for thread in mine_threads),
    )  # fmt: skip


def _finished(door: Door, boat: Boat) -> FinishedJob:
    knowledge, business = door.assistant.knowledge, door.assistant.business
    chosen = {name.removeprefix("coat-"): coating for name, coating in request.form.items() if name.startswith("coat-")}
    coats = tuple(
        (surface, coating)
        for surface, coating in chosen.items()
        if coating in knowledge.coatings and surface in knowledge.surfaces
    )
    service, note = field("service", 60), field("note", 1000)
    if not coats and not service and not note:
        raise _Unclear("Say what was done: the work, a coat, or a note.")
    visit = field("visit", 12)
    return FinishedJob(
        client_id=boat.client.id,
        vessel_id=boat.vessel.id,
        finished_at=_moment(door),
        coats=coats,
        service=service if service in business.services else "",
        visit_id=_own_visit(door, boat, int(visit)) if visit.isdecimal() else None,
        place=boat.vessel.place,
        note=note,
        product=field("product", 100),
        done_by=me().name,
        price=_price(),
        grade=field("grade", 10) if field("grade", 10) in GRADES else "",
        agreed=_agreed(),
    )


def _moment(door: Door) -> datetime:
    try:
        day, hour = date.fromisoformat(field("day")), time.fromisoformat(field("time") or "17:00")
    except ValueError:
        raise _Unclear("Write the day like 2027-06-09 and the time like 16:30.") from None
    moment = datetime.combine(day, hour, ZoneInfo(door.assistant.business.zone)).astimezone(UTC)
    if day > door.today:
        raise _Unclear("A finished job lies in the past: look at the day.")
    return moment


def _price() -> Decimal | None:
    written = field("price", 20).replace(",", "")
    try:
        price = Decimal(written) if written else None
    except InvalidOperation:
        raise _Unclear("Write the price as a plain number, like 640.") from None
    if price is not None and not (price.is_finite() and 0 <= price < 1_000_000):
        raise _Unclear("Write the price as a plain number, like 640.")
    return price


def _agreed() -> Agreed | None:
    """What the owner agreed to on the dock; None when nothing was ticked."""
    service, marketing = request.form.get("service_consent") == "on", request.form.get("marketing_consent") == "on"
    if not service and not marketing:
        return None
    how = field("consent_how", 200)
    if not how:
        raise _Unclear("Write how the owner agreed, in a few words: it must be provable.")
    return Agreed(service, marketing, "in person", how, me().name)


def _own_visit(door: Door, boat: Boat, visit_id: int) -> int | None:
    """The visit, if it is one of this owner's."""
    with door.reading() as tx:
        visit = find_visit(tx, visit_id)
    return visit_id if visit is not None and visit.client_id == boat.client.id else None


def _boat(door: Door, vessel_id: int) -> Boat:
    with door.reading() as tx:
        row: Any = found(lists.boat_row(tx, vessel_id))
        boat: Boat = found(boats_of(door.assistant, tx, [row.client_id], door.today).get(vessel_id))
    return boat
