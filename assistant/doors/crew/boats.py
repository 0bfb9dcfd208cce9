"""Boats by life left, one boat's whole story, and writing a client or boat in by hand."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, request, send_file
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from assistant.domain.errors import ImportRefused
from assistant.domain.life_picture import as_svg
from assistant.doors.crew.door import Door, back_to, found, me, number_of, page
from assistant.storage import lists, photos
from assistant.storage.cells import COLUMNS
from assistant.storage.visits import visits_of_client
from assistant.usecases.add_records import add_record, by_field
from assistant.usecases.order_by_life import LifeOrder
from assistant.usecases.photos import photo_file
from assistant.usecases.show_boats import Boat, boats_of, life_pictures

PHOTOS = 24
"""The latest pictures shown in a boat's story."""
WHY = {
    "kept": "kept {0}", "laid_up": "laid up {0}", "toppers": "{0} toppers counted",
    "debit": "{0} took about {1} days", "strip": "stripped {0}", "inspection": "looked at: {0}",
    "cap": "never counted on beyond {0} days",
}  # fmt: skip


def add_pages(routes: Blueprint, door: Door, order: LifeOrder) -> None:
    """`/crew/boats` and below."""
    app = door.assistant

    @routes.get("/boats")
    def boats() -> ResponseReturnValue:
        words, by_name = request.args.get("find", "")[:80], request.args.get("by") == "name"
        number = max(1, number_of("page", 1) or 1)
        rows, left = _of_page(door, order, words, number, by_name)
        with door.reading() as tx:
            lives = boats_of(app, tx, [row.client_id for row in rows], door.today)
        return page(
            "boats", "Boats", rows=rows[: lists.PAGE], lives=lives, words=words, by_name=by_name, page=number,
            more=len(rows) > lists.PAGE, left=left,
        )  # fmt: skip

    @routes.get("/boats/<int:vessel_id>")
    def boat(vessel_id: int) -> ResponseReturnValue:
        with door.reading() as tx:
            row = found(lists.boat_row(tx, vessel_id))
            mine: Boat = found(boats_of(app, tx, [row.client_id], door.today).get(vessel_id))
            pictures = life_pictures(app, tx, mine)
            story = {
                "jobs": lists.jobs_of(tx, vessel_id), "events": lists.events_of(tx, vessel_id),
                "photos": photos.of_vessel(tx, vessel_id, PHOTOS), "texts": lists.texts_to_and_fro(tx, row.client_id),
                "visits": [v for v in visits_of_client(tx, row.client_id) if vessel_id in v.vessel_ids][::-1],
            }  # fmt: skip
        drawings = {id_: Markup(as_svg(picture, styled=False)) for id_, picture in pictures.items()}  # noqa: S704
        return page("boat", row.name, row=row, boat=mine, because=_because, drawings=drawings, **story)

    @routes.get("/photos/<token>")
    def photo(token: str) -> ResponseReturnValue:
        return send_file(found(photo_file(app, token)), mimetype="image/jpeg", max_age=3600)

    @routes.get("/boats/new")
    def new_boat() -> ResponseReturnValue:
        return _form(door, {name: request.args.get(name, "")[:80] for name in COLUMNS}, {})

    @routes.get("/boats/<int:vessel_id>/edit")
    def edit_boat(vessel_id: int) -> ResponseReturnValue:
        with door.reading() as tx:
            row = found(lists.boat_row(tx, vessel_id))
        known = {name: _written(row, name) for name in COLUMNS}
        return _form(door, known | {"phone": row.phone, "name": row.client_name, "vessel": row.name}, {})

    @routes.post("/boats/new")
    def adding_boat() -> ResponseReturnValue:
        cells = {name: request.form.get(name, "")[:200] for name in COLUMNS}
        try:
            _, vessel_id = add_record(app, cells, me().name, door.now)
        except ImportRefused as refused:
            return _form(door, cells, by_field(refused)), 400
        return back_to("boat", "added", vessel_id=vessel_id) if vessel_id else back_to("boats", "added")


def _of_page(
    door: Door, order: LifeOrder, words: str, number: int, by_name: bool
) -> tuple[tuple[lists.BoatRow, ...], int]:
    """The rows of one page, one more when there is a next one, and how many boats have no place in the order yet."""
    if by_name:
        with door.reading() as tx:
            return lists.boats(tx, words, number), 0
    with door.reading() as tx:
        among = lists.boat_ids(tx, words) if words.strip() else None
    ids, left = order.first_to_last(door.today, among)
    mine = ids[(number - 1) * lists.PAGE : number * lists.PAGE + 1]
    with door.reading() as tx:
        rows = {row.id: row for row in lists.boats(tx, ids=mine)}
    return tuple(rows[id_] for id_ in mine if id_ in rows), left


def _form(door: Door, cells: Mapping[str, str], problems: Mapping[str, str]) -> str:
    knowledge = door.assistant.knowledge
    surfaces = sorted((s.name.get("en", s.id), s.id) for s in knowledge.surfaces.values() if s.coated)
    coatings = [(c.name.get("en", c.id), c.id) for c in knowledge.coatings.values()]
    places = [place.name for place in door.assistant.business.places]
    return page(
        "boat_form", "A client and a boat", cells=cells, problems=problems, surfaces=surfaces, coatings=coatings,
        places=places, languages=sorted(knowledge.answers) or ["en"],
    )  # fmt: skip


def _written(row: Any, name: str) -> str:
    value = getattr(row, name, None)
    return "" if value is None else str(value)


def _because(step: str) -> str:
    """One reason of an estimate in words."""
    kind, *parts = step.split(":")
    said = WHY.get(kind)
    return said.format(*(part.replace("_", " ") for part in (*parts, ""))) if said else step.replace("_", " ")
