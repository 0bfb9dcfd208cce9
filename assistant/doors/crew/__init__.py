"""The detailer's pages at /crew: signed in, made on the server, whole without a script. One module a group of pages."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from flask import Blueprint

from assistant.assembly import Assistant
from assistant.doors.crew import (
    boats,
    business,
    day,
    entrance,
    going_out,
    guard,
    job,
    knowledge,
    more,
    numbers,
    people,
    waiting,
    week,
)
from assistant.doors.crew.door import Door
from assistant.doors.crew.trials import Trials
from assistant.usecases.order_by_life import LifeOrder


def crew_routes(assistant: Assistant, now: Callable[[], datetime]) -> Blueprint:
    """Every page below /crew."""
    routes = Blueprint("crew", __name__, url_prefix="/crew", template_folder="templates", static_folder="../static")
    door, order, trials = Door(assistant, now), LifeOrder(assistant), Trials()
    guard.protect(routes, door)
    for group in (entrance, day, job, week, going_out, more, people, business):
        group.add_pages(routes, door)
    waiting.add_pages(routes, door, trials)
    boats.add_pages(routes, door, order)
    knowledge.add_pages(routes, door, trials)
    numbers.add_pages(routes, door, order)
    return routes
