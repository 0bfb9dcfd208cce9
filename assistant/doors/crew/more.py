"""The way to all other pages, and the first-run guide from nothing to the first care pack."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from flask import Blueprint, url_for
from flask.typing import ResponseReturnValue

from assistant.doors.crew.door import Door, page
from assistant.storage.lists import first_steps


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the guide: what to do, why, where, and whether it is done."""

    title: str
    why: str
    address: str
    done: bool


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/more` and `/crew/guide`."""

    @routes.get("/more")
    def more() -> ResponseReturnValue:
        return page("more", "More")

    @routes.get("/guide")
    def guide() -> ResponseReturnValue:
        steps = list(_steps(door))
        following = next((step for step in steps if not step.done), None)
        return page("guide", "From nothing to the first care pack", steps=steps, following=following)


def _steps(door: Door) -> Iterator[Step]:
    """In the order a new business takes them."""
    business, settings = door.assistant.business, door.assistant.settings
    with door.reading() as tx:
        have = first_steps(tx)
    fresh = business.name == "My Boat Care" or not business.places
    yield Step(
        "Say who you are", "Name, hours, harbors and prices: the assistant only offers what stands there.",
        url_for("crew.settings"), not fresh,
    )  # fmt: skip
    yield Step(
        "Write down one client with a boat", "Your own boat or a friend's will do. A whole list can come from a "
        "spreadsheet instead.", url_for("crew.new_boat"), have["client"] and have["boat"],
    )  # fmt: skip
    yield Step(
        "Finish a job on it", "Say what went on which surface. The owner gets the care pack: what to use, what to "
        "leave alone, when soap may touch it.", url_for("crew.boats"), have["job"],
    )  # fmt: skip
    yield Step(
        "Let the carrier reach you", "Set AFTERCARE_PUBLIC_URL, TWILIO_ACCOUNT_SID, TWILIO_AUTH_TOKEN and "
        "AFTERCARE_SENDER, so that texts leave and answers come in.", url_for("crew.going_out"),
        bool(settings.public_url and settings.account_sid and settings.sender),
    )  # fmt: skip
