"""How every coating of every client stands on a day."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

from assistant.assembly import Assistant
from assistant.domain.coatings import Life, current, life, parameters, vessel_overrides, with_topper_coats
from assistant.domain.people import Client, Vessel
from assistant.storage import care


@dataclass(frozen=True, slots=True)
class Standing:
    """One application's life, with its owner and vessel. `replaced`: a later coat took its place."""

    client: Client
    vessel: Vessel
    life: Life
    replaced: bool


def list_lives(app: Assistant, today: date) -> list[Standing]:
    """Every application, the soonest due first. `today` is a day in the business's zone."""
    with app.database.reading(app.business.id) as tx:
        standings = [standing for fleet in care.fleets(tx) for standing in _standings(app, fleet, today)]
    return sorted(standings, key=lambda one: (one.replaced, one.life.due_on, one.life.application.id))


def _standings(app: Assistant, fleet: care.Fleet, today: date) -> Iterator[Standing]:
    vessels = {vessel.id: vessel for vessel in fleet.vessels}
    counting = {application.id for application in current(fleet.applications, today)}
    events = with_topper_coats(fleet.applications, fleet.events)
    sun = app.knowledge.sun.get(app.business.sun_station)
    for application in fleet.applications:
        vessel, coating = vessels[application.vessel_id], app.knowledge.coatings.get(application.coating)
        if coating:
            own = parameters(coating, app.business.life, vessel_overrides(vessel))
            found = life(application, vessel, events, own, today, sun)
            replaced = application.applied_on <= today and application.id not in counting
            yield Standing(fleet.client, vessel, found, replaced)
