"""Web chat behind the owner's link: the same conversation as by text, without a script too.

What is written here enters where texts do. It is a thread of its own: whoever has the link reads what was written
on the page, not the owner's texts.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from datetime import datetime, timedelta

from flask import Blueprint, abort, jsonify, redirect, render_template, request
from flask.typing import ResponseReturnValue

from assistant.assembly import Assistant
from assistant.carriers.pages import WEB
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.people import Client
from assistant.domain.sms import clean
from assistant.doors import link_pages
from assistant.storage import chats, clients
from assistant.usecases import converse

LONGEST = 1000
"""Characters of one message."""
A_WHILE, MOST = timedelta(minutes=5), 20
"""So many messages in so long a time are a person's; more are not."""
_ONCE = re.compile(r"[A-Za-z0-9_-]{8,40}")


def chat_routes(assistant: Assistant, now: Callable[[], datetime]) -> Blueprint:
    """`/chat/<token>`: read, write, and what is new."""
    pages = Blueprint("chat", __name__, url_prefix="/chat", template_folder="templates")
    link_pages.protect(pages)

    @pages.get("/<token>")
    def chat(token: str) -> str:
        """The conversation, with a field to write in."""
        client = _client(assistant, token)
        with assistant.database.reading(assistant.business.id) as tx:
            lines = chats.lines(tx, client.phone, WEB)
        language = link_pages.chosen_language() or client.language
        language = language if language in link_pages.LANGUAGES else "en"
        return render_template(
            "chat.html", lines=lines, token=token, once=secrets.token_urlsafe(12), longest=LONGEST, up=link_pages.up(),
            language=language, say=link_pages.speaker(assistant, language), business=assistant.business,
            lang=f"?lang={request.args['lang']}" if link_pages.chosen_language() else "",
        )  # fmt: skip

    @pages.post("/<token>")
    def write(token: str) -> ResponseReturnValue:
        """One message. The form carries a name used once, so that sending it twice says it once."""
        client = _client(assistant, token)
        once, text = request.form.get("once", ""), clean(request.form.get("text", "")).strip()
        if not _ONCE.fullmatch(once) or len(text) > LONGEST:
            abort(400)
        if text:
            with assistant.database.reading(assistant.business.id) as tx:
                if chats.written_since(tx, client.phone, WEB, now() - A_WHILE) >= MOST:
                    abort(429)
            message = InboundMessage(f"web:{client.id}:{once}", client.phone, assistant.business.number, text, channel=WEB)
            converse.receive(assistant, message, now())
        if request.headers.get("X-Script"):
            return "", 204
        language = link_pages.chosen_language()
        return redirect(f"./{token}{f'?lang={language}' if language else ''}#latest", 303)

    @pages.get("/<token>/new")
    def new(token: str) -> ResponseReturnValue:
        """Lines after the one the page has last, for its script."""
        client = _client(assistant, token)
        after = request.args.get("after", "0")
        with assistant.database.reading(assistant.business.id) as tx:
            lines = chats.lines(tx, client.phone, WEB, after=int(after) if after.isdecimal() and len(after) < 12 else 0)
        return jsonify(
            once=secrets.token_urlsafe(12),
            lines=[{"id": line.id, "mine": line.by_client, "text": line.text, "who": line.who} for line in lines],
        )

    return pages


def _client(assistant: Assistant, token: str) -> Client:
    client_id = link_pages.owner(assistant, token)
    with assistant.database.reading(assistant.business.id) as tx:
        client = clients.find_client(tx, client_id)
    return client or abort(404)
