"""The business's own file, edited as it is, and client lists brought in after a look at what they would change."""

from __future__ import annotations

import re
import secrets
from pathlib import Path

from flask import Blueprint, request
from flask.typing import ResponseReturnValue

from assistant.domain.errors import ImportRefused, KnowledgeError
from assistant.doors.crew.door import Door, back_to, field, me, only, page
from assistant.storage import audit
from assistant.storage.cells import COLUMNS
from assistant.usecases.bring_in import preview
from assistant.usecases.edit_business import business_text, mark, save_business
from assistant.usecases.take_over_records import take_over as take_over_file

_TOKEN = re.compile(r"[A-Za-z0-9_-]{16,40}")


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/business` and `/crew/bring-in`."""
    app = door.assistant

    @routes.get("/business")
    def settings() -> ResponseReturnValue:
        only("owner", "office")
        text = business_text(app)
        return page("settings", "Your business", text=text, made_from=mark(text), problems=())

    @routes.post("/business")
    def save_settings() -> ResponseReturnValue:
        only("owner", "office")
        text = request.form.get("text", "").replace("\r\n", "\n")
        made_from = field("made_from", 40)
        try:
            saved = save_business(app, text, made_from, me().name, door.now)
        except KnowledgeError as error:
            return page("settings", "Your business", text=text, made_from=made_from, problems=error.problems), 400
        if not saved:
            problem = "Somebody else saved this file meanwhile. Yours is below: copy what you need, then load the page anew."
            return page("settings", "Your business", text=text, made_from=made_from, problems=(), problem=problem), 409
        return back_to("settings", "saved")

    @routes.get("/bring-in")
    def bring_in() -> ResponseReturnValue:
        only("owner", "office")
        return page("bring_in", "Bring in a client list", columns=COLUMNS, problems=())

    @routes.post("/bring-in")
    def take_over() -> ResponseReturnValue:
        only("owner", "office")
        token = request.form.get("token", "")
        if _TOKEN.fullmatch(token) and _kept(door, token).is_file():
            return _take(door, _kept(door, token))
        return _look(door)


def _look(door: Door) -> ResponseReturnValue:
    """Keep the uploaded file for a moment and say what it would change."""
    uploaded = request.files.get("file")
    data = uploaded.read() if uploaded else b""
    if not data:
        return page("bring_in", "Bring in a client list", columns=COLUMNS, problems=(), problem="Choose a file first."), 400
    token = secrets.token_urlsafe(18)
    file = _kept(door, token)
    file.parent.mkdir(parents=True, exist_ok=True)
    for old in file.parent.glob("list-*.csv"):
        old.unlink(missing_ok=True)
    file.write_bytes(data)
    try:
        seen = preview(door.assistant, file, door.now)
    except ImportRefused as refused:
        file.unlink()
        return page("bring_in", "Bring in a client list", columns=COLUMNS, problems=refused.problems), 400
    return page("bring_in_preview", "What the list would change", seen=seen, token=token)


def _take(door: Door, file: Path) -> ResponseReturnValue:
    try:
        taken = take_over_file(door.assistant, file, door.now)
    except ImportRefused as refused:
        return page("bring_in", "Bring in a client list", columns=COLUMNS, problems=refused.problems), 400
    finally:
        file.unlink(missing_ok=True)
    with door.writing() as tx:
        audit.note(tx, door.now, me().name, "brought in a client list", str(taken))
    return back_to("boats", "taken")


def _kept(door: Door, token: str) -> Path:
    return door.assistant.settings.home / "cache" / f"list-{token}.csv"
