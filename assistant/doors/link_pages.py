"""What the pages behind an owner's link share: whose link it is, in which language, and how carefully they are sent."""

from __future__ import annotations

from collections.abc import Callable

from flask import Blueprint, Response, abort, render_template, request

from assistant.assembly import Assistant
from assistant.domain import wording
from assistant.storage.clients import owner_of_card

LANGUAGES = ("en", "es")
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; "
    "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)


def protect(pages: Blueprint) -> None:
    """The link is the key: it is told to nobody, kept by no cache in between, and the page runs nothing but ours."""

    @pages.after_request
    def with_headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = POLICY
        response.headers["Referrer-Policy"] = "no-referrer"
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["X-Robots-Tag"] = "noindex, nofollow"
        if request.endpoint != f"{pages.name}.static":
            response.headers["Cache-Control"] = "private, no-cache"
        return response

    @pages.errorhandler(404)
    def nobodys(_error: Exception) -> tuple[str, int]:
        return render_template("card_gone.html", up=up()), 404


def owner(assistant: Assistant, token: str) -> int:
    """The client whose link it is; 404 for anything else."""
    found = owner_of_card(assistant.database, token) if len(token) <= 80 else None
    if found is None or found[0] != assistant.business.id:
        abort(404)
    return found[1]


def chosen_language() -> str:
    """The language asked for in the address; empty for the owner's own."""
    language = request.args.get("lang", "")
    return language if language in LANGUAGES else ""


def up() -> str:
    """The way from this page to the root of the site, also behind a proxy that serves it below a path."""
    return "../" * (request.path.count("/") - 1) or "./"


def speaker(assistant: Assistant, language: str) -> Callable[..., str]:
    """`say(id, ...)` for templates, with the business's own values at hand."""
    business = assistant.business
    known = {"business": business.name, "detailer": business.detailer, "phone": business.number}

    def say(id: str, **values: object) -> str:
        filled = {**known, **{name: str(value) for name, value in values.items()}}
        return wording.fill(assistant.knowledge.say(id, language), filled)

    return say
