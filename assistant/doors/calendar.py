"""GET /calendar/<token>.ics: a client's visits for their phone's calendar. The link is the key; renewing it revokes it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from datetime import datetime
from urllib.parse import urlsplit

from flask import Blueprint, Response, abort, request

from assistant.assembly import Assistant
from assistant.domain import calendar_feed, wording
from assistant.domain.visits import Visit
from assistant.storage.care import vessels_of_client
from assistant.storage.clients import owner_of_calendar
from assistant.storage.visits import visits_of_client


def calendar_routes(assistant: Assistant, now: Callable[[], datetime]) -> Blueprint:
    """The feed's one route."""
    routes = Blueprint("calendar", __name__)

    @routes.get("/calendar/<token>.ics")
    def visits(token: str) -> Response:
        found = owner_of_calendar(assistant.database, token) if len(token) <= 80 else None
        if found is None or found[0] != assistant.business.id:
            abort(404)
        response = Response(_feed(assistant, found[1], now()), content_type="text/calendar; charset=utf-8")
        response.set_etag(hashlib.sha256(response.get_data()).hexdigest()[:32])
        response.headers["Cache-Control"] = "private, no-cache"
        response.headers["X-Robots-Tag"] = "noindex, nofollow"
        response.make_conditional(request)
        return response

    return routes


def _feed(assistant: Assistant, client_id: int, now: datetime) -> bytes:
    business = assistant.business
    with assistant.database.reading(business.id) as tx:
        visits = visits_of_client(tx, client_id)
        boats = {vessel.id: vessel.name for vessel in vessels_of_client(tx, client_id)}
    language = business.language

    def summary(visit: Visit) -> str:
        service = business.services.get(visit.service)
        work = (service.name.get(language) or service.name.get("en", service.id)) if service else visit.service
        names = wording.join_words([boats.get(id, "") for id in visit.vessel_ids], language)
        return f"{business.name}: {work}{', ' + names if names else ''}"

    host = urlsplit(assistant.settings.public_url).hostname or "localhost"
    return calendar_feed.feed(visits, business.name, summary, host, now)
