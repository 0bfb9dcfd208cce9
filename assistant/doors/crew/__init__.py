"""The detailer's pages at /crew: signed in, made on the server, whole without a script. One module a group of pages."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from flask import Blueprint

from assistant.assembly import Assistant
from assistant.doors.crew import entrance, guard
from assistant.doors.crew.door import Door

GROUPS = (entrance,)


def crew_routes(assistant: Assistant, now: Callable[[], datetime]) -> Blueprint:
    """Every page below /crew."""
    routes = Blueprint(
        "crew", __name__, url_prefix="/crew", template_folder="templates", static_folder="../static"
    )
    door = Door(assistant, now)
    guard.protect(routes, door)
    for group in GROUPS:
        group.add_pages(routes, door)
    return routes
