"""Signing in and out, and accepting an invitation."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Blueprint, g, redirect, request
from flask.typing import ResponseReturnValue

from assistant.doors.crew.door import Door, back_to, found, page
from assistant.doors.crew.guard import forget_session, use_session
from assistant.storage.crew import invited
from assistant.usecases import sign_in as entrance

REFUSALS = {
    "wrong": "That number and password do not go together. Look at both again.",
    "too_often": "Too many tries. Wait a quarter of an hour, then try again.",
    "short": f"Take at least {entrance.SHORTEST} characters: three or four words in a row are easy to remember.",
    "long": f"At most {entrance.LONGEST} characters, please.",
}


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/sign-in`, `/crew/sign-out`, `/crew/invitation/<token>`."""
    app = door.assistant

    @routes.get("/sign-in")
    def sign_in() -> ResponseReturnValue:
        return page("sign_in", "Sign in", then=_ours(request.args.get("then", "")))

    @routes.post("/sign-in")
    def signing_in() -> ResponseReturnValue:
        phone, password = request.form.get("phone", ""), request.form.get("password", "")
        entry = entrance.sign_in(app, phone, password, request.remote_addr or "", door.now)
        then = _ours(request.form.get("then", ""))
        if entry.refused:
            status = 429 if entry.refused == "too_often" else 403
            return page("sign_in", "Sign in", problem=REFUSALS[entry.refused], phone=phone[:40], then=then), status
        use_session(entry.token)
        return redirect(then, code=303) if then else back_to("day")

    @routes.post("/sign-out")
    def sign_out() -> ResponseReturnValue:
        entrance.sign_out(app, g.token, door.now)
        forget_session()
        return back_to("sign_in", "signed_out")

    @routes.get("/invitation/<token>")
    def invitation(token: str) -> ResponseReturnValue:
        with door.reading() as tx:
            account = found(invited(tx, token, door.now))
        return page("invitation", "Welcome", invited=account, token=token)

    @routes.post("/invitation/<token>")
    def accepting(token: str) -> ResponseReturnValue:
        with door.reading() as tx:
            account = found(invited(tx, token, door.now))
        entry = entrance.set_password(app, token, request.form.get("password", ""), door.now)
        if entry.refused:
            problem = REFUSALS.get(entry.refused, "This link was used or is too old: ask for a new one.")
            return page("invitation", "Welcome", invited=account, token=token, problem=problem), 400
        use_session(entry.token)
        return back_to("guide")


def _ours(address: str) -> str:
    """The address, if it is one of our own pages; else nothing. Browsers read a backslash as a slash."""
    parts = urlsplit(address)
    inside = address.startswith("/crew/") and not parts.netloc and not parts.scheme and "\\" not in address
    return address if inside and address.isprintable() else ""
