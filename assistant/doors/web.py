"""The web application: joins the doors that speak HTTP."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from flask import Flask
from flask.typing import ResponseReturnValue
from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from assistant.assembly import Assistant
from assistant.clock import utc_now
from assistant.doors.calendar import calendar_routes
from assistant.doors.care_card import card_routes
from assistant.doors.chat import chat_routes
from assistant.doors.crew import crew_routes
from assistant.doors.webhook import sms_routes

LARGEST_REQUEST = 64 * 1024
"""Octets of one request: the carrier's forms are a few kilobytes."""


def create_app(assistant: Assistant, now: Callable[[], datetime] = utc_now) -> Flask:
    """The Flask application for one assistant. `now` is the clock of everything behind it."""
    app = Flask("assistant")
    app.config.update(MAX_CONTENT_LENGTH=LARGEST_REQUEST, MAX_FORM_MEMORY_SIZE=LARGEST_REQUEST, MAX_FORM_PARTS=200)
    app.register_blueprint(sms_routes(assistant, now))
    app.register_blueprint(card_routes(assistant, now))
    app.register_blueprint(calendar_routes(assistant, now))
    app.register_blueprint(chat_routes(assistant, now))
    app.register_blueprint(crew_routes(assistant, now))

    @app.get("/health")
    def health() -> ResponseReturnValue:
        """Whether the database answers: 200 or 503."""
        try:
            with assistant.database.reading(assistant.business.id) as tx:
                tx.connection.execute(text("SELECT 1"))
        except SQLAlchemyError:
            app.logger.exception("the database does not answer")
            return {"ok": False}, 503
        return {"ok": True}

    return app
