"""Texts that will go out of our own accord, each with what holds it and why; the last word is a person's."""

from __future__ import annotations

from flask import Blueprint
from flask.typing import ResponseReturnValue

from assistant.domain.sms import measure, plain
from assistant.doors.crew.door import Door, back_to, me, page
from assistant.storage import audit, outbox
from assistant.storage.lists import latest_texts, names_of_threads

SHOWN = 100


def add_pages(routes: Blueprint, door: Door) -> None:
    """`/crew/going-out`."""

    @routes.get("/going-out")
    def going_out() -> ResponseReturnValue:
        with door.reading() as tx:
            queued = outbox.texts_in(tx, "queued", "sending", limit=SHOWN + 1)
            uncertain = outbox.texts_in(tx, "unknown", limit=SHOWN)
            past = latest_texts(tx, 20)
            names = names_of_threads(tx, [*(one.thread_id for one in (*queued, *uncertain)), *(row.thread_id for row in past)])
        return page(
            "going_out", "Texts going out", queued=queued[:SHOWN], more=len(queued) > SHOWN, uncertain=uncertain,
            past=past, names=names, size=lambda text: measure(plain(text)), held=lambda text: _held(door, text),
        )  # fmt: skip

    @routes.post("/going-out/<int:text_id>")
    def hold_back(text_id: int) -> ResponseReturnValue:
        with door.writing() as tx:
            try:
                outbox.drop(tx, text_id, f"held back by {me().name}")
            except ValueError:
                return back_to("going_out", "nothing")
            audit.note(tx, door.now, me().name, "held back", f"text:{text_id}")
        return back_to("going_out", "dropped")


def _held(door: Door, text: outbox.Queued) -> str:
    """What stands in the way of a text now, in words; empty when it leaves at its time."""
    if text.consent != outbox.CREW and not text.agreed.reachable:
        return "The client opted out: it will not leave."
    if text.consent in (outbox.SERVICE, outbox.MARKETING) and not getattr(text.agreed, text.consent):
        kind = "texts about work" if text.consent == outbox.SERVICE else "reminders of work"
        return f"The client has not agreed to {kind}: it will not leave."
    if text.closed:
        return f"The record is closed ({text.closed}): it will not leave."
    if text.kind in text.agreed.ended_kinds:
        return "The client wants no more of this kind: it will not leave."
    if text.due_at > door.now:
        return "Waits for its time."
    return "Leaves as soon as the hour is fit."
