"""What stands before every page: the session, proof that a form came from our own page, and the browser's orders.

One cookie carries a random name. Signed out it only ties a form to the browser it was shown in; signing in always
replaces it, so a name planted beforehand opens nothing. A form carries a code derived from the cookie, which another
site can neither read nor make.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from typing import Any
from urllib.parse import urlsplit

from flask import Blueprint, Response, abort, g, redirect, request, url_for
from flask.typing import ResponseReturnValue

from assistant.domain.sms import clean
from assistant.doors.crew.door import Door, Say
from assistant.storage.crew import SESSION_LASTS
from assistant.storage.lists import count_open
from assistant.usecases.sign_in import who

OPEN = frozenset({"crew.sign_in", "crew.signing_in", "crew.invitation", "crew.accepting", "crew.static"})
"""Pages for people who are not signed in."""
LARGER = {"crew.take_over": 8_000_000, "crew.try_file": 1_000_000, "crew.save_settings": 400_000}
"""Octets of the few requests that may be larger than the rest."""
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


def protect(routes: Blueprint, door: Door) -> None:
    """Put the guard before and behind every page of `routes`."""
    secure = door.assistant.settings.public_url.startswith("https:")
    cookie = "__Host-crew" if secure else "crew"

    @routes.before_request
    def let_in() -> ResponseReturnValue | None:
        return None if request.endpoint == "crew.static" else _let_in(door, cookie)

    @routes.after_request
    def give_orders(response: Response) -> Response:
        response.headers.update(HEADERS)
        response.headers["Cache-Control"] = "no-store"
        if request.endpoint in ("crew.static", "crew.photo"):
            response.headers["Cache-Control"] = "private, max-age=3600"
        if secure:
            response.headers["Strict-Transport-Security"] = "max-age=31536000"
        if fresh := g.get("fresh_token"):
            lasts = int(SESSION_LASTS.total_seconds())
            response.set_cookie(cookie, fresh, max_age=lasts, secure=secure, httponly=True, samesite="Lax", path="/")
        return response

    @routes.context_processor
    def shared() -> dict[str, Any]:
        return _shared(door)


def _let_in(door: Door, cookie: str) -> ResponseReturnValue | None:
    """Nothing for who may go on; the way to the sign-in page for everybody else."""
    if request.endpoint in LARGER:
        request.max_content_length = request.max_form_memory_size = LARGER[request.endpoint]
    g.token = request.cookies.get(cookie, "")[:200]
    g.account = who(door.assistant, g.token, door.now)
    if request.method == "POST":
        _came_from_our_page(door)
    if g.account is None and request.endpoint not in OPEN:
        wanted = request.full_path.rstrip("?") if request.method == "GET" else None
        return redirect(url_for("crew.sign_in", then=wanted), code=303)
    return None


def _shared(door: Door) -> dict[str, Any]:
    """What every template knows."""
    account, waiting = g.get("account"), 0
    if account:
        with door.reading() as tx:
            waiting = count_open(tx)
    return {
        "say": Say(door), "account": account, "business": door.assistant.business, "waiting_count": waiting,
        "code": form_code(), "today": door.today, "now": door.now,
    }  # fmt: skip


def form_code() -> str:
    """The code every form of this browser carries; a browser without a cookie gets one."""
    if not g.get("token"):
        g.token = g.fresh_token = secrets.token_urlsafe(24)
    return hmac.new(g.token.encode(), b"form", hashlib.sha256).hexdigest()


def use_session(token: str) -> None:
    """From this answer on the browser carries this session."""
    g.token = g.fresh_token = token


def forget_session() -> None:
    """The browser gets a name that opens nothing."""
    use_session(secrets.token_urlsafe(24))


def _came_from_our_page(door: Door) -> None:
    """403 for a form that our own page did not send."""
    origin = request.headers.get("Origin")
    ours = {request.host, urlsplit(door.assistant.settings.public_url).netloc}
    if origin is not None and urlsplit(origin).netloc not in ours:
        abort(403)
    if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        abort(403)
    given = clean(request.form.get("code", ""))
    if not g.token or not hmac.compare_digest(given.encode(), form_code().encode()):
        abort(403)
