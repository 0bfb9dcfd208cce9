"""Who may come in, invitations, and the log of who did what."""

from __future__ import annotations

from flask import Blueprint, request, url_for
from flask.typing import ResponseReturnValue

from assistant.doors.crew.door import Door, back_to, field, found, me, number_of, only, page
from assistant.storage import audit, crew
from assistant.usecases import sign_in as entrance

ROLES = ("crew", "office", "owner")
LINES = 50


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/people` and `/crew/log`."""
    app = door.assistant

    @routes.get("/people")
    def people() -> ResponseReturnValue:
        only("owner")
        return _show(door)

    @routes.post("/people")
    def inviting() -> ResponseReturnValue:
        only("owner")
        name, role = field("name", 80), field("role", 20)
        phone = entrance.as_number(app, field("phone", 40))
        if not name or not phone or role not in ROLES:
            return _show(door, "Write a name and a phone number, like +1 305 555 0102."), 400
        token = entrance.invite(app, name, phone, role, me().name, door.now)
        base = app.settings.public_url or request.host_url.rstrip("/")
        return _show(door, link=base + url_for("crew.invitation", token=token), invited=name)

    @routes.post("/people/<int:account_id>")
    def changing(account_id: int) -> ResponseReturnValue:
        only("owner")
        with door.reading() as tx:
            account = found(crew.find_account(tx, account_id))
        if account.id == me().id:
            return _show(door, "You can't shut yourself out. Let another owner do it."), 400
        entrance.lock(app, account_id, field("do") == "lock", me().name, door.now)
        return back_to("people", "shut")

    @routes.get("/log")
    def log() -> ResponseReturnValue:
        only("owner")
        words = request.args.get("find", "")[:80]
        with door.reading() as tx:
            deeds = audit.deeds(tx, words, number_of("before"), LINES + 1)
        return page("log", "Who did what", deeds=deeds[:LINES], more=len(deeds) > LINES, words=words)


def _show(door: Door, problem: str = "", link: str = "", invited: str = "") -> str:
    with door.reading() as tx:
        accounts = crew.accounts(tx)
    known = {account.phone for account in accounts}
    named = [member for member in door.assistant.business.crew if member.phone not in known]
    return page("people", "Your crew", accounts=accounts, named=named, problem=problem, link=link, invited=invited)
