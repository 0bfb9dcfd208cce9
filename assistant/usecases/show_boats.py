"""Boats with the life of the coats that count, for the crew's pages."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from assistant.assembly import Assistant
from assistant.domain.coatings import Life, lives, parameters, vessel_overrides, with_topper_coats
from assistant.domain.life_picture import Drawn, drawn
from assistant.domain.people import Client, Vessel
from assistant.storage import care
from assistant.storage.database import Transaction


@dataclass(frozen=True, slots=True)
class Boat:
    """One vessel with its owner and the life of each coat that counts, the soonest due first."""

    vessel: Vessel
    client: Client
    lives: tuple[Life, ...] = field(default=())

    @property
    def base(self) -> Life | None:
        """The coat that is due first, a topper only where nothing lies under it."""
        base = [life for life in self.lives if life.application.coating != "topper"]
        return next(iter(base or self.lives), None)


def life_pictures(app: Assistant, tx: Transaction, boat: Boat) -> dict[int, Drawn]:
    """The picture of each coat's life that counts on a boat, by the application's number."""
    (fleet,) = care.fleets(tx, boat.client.id)
    events = with_topper_coats(fleet.applications, fleet.events)
    sun = app.knowledge.sun.get(app.business.sun_station)
    pictures = {}
    for life in boat.lives:
        coating = app.knowledge.coatings[life.application.coating]
        own = parameters(coating, app.business.life, vessel_overrides(boat.vessel))
        surface = app.knowledge.named("surfaces", life.application.surface, "en")
        title = f"{boat.vessel.name}, {surface}"
        pictures[life.application.id] = drawn(title, life, boat.vessel, events, own, "en", sun)
    return pictures


def boats_of(app: Assistant, tx: Transaction, client_ids: Iterable[int], today: date) -> dict[int, Boat]:
    """Every boat of these clients by its number."""
    wanted = sorted(set(client_ids))
    if not wanted:
        return {}
    found: dict[int, Boat] = {}
    for fleet in care.fleets(tx, *wanted):
        standing = lives(
            fleet.vessels, fleet.applications, fleet.events, app.knowledge, today, app.business.life,
            app.business.sun_station,
        )  # fmt: skip
        for vessel in fleet.vessels:
            mine = tuple(life for life in standing if life.application.vessel_id == vessel.id)
            found[vessel.id] = Boat(vessel, fleet.client, mine)
    return found
