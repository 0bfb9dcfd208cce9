"""What waits for a person: each with the client's words, how they were read, answers to choose from, one step to teach."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, request
from flask.typing import ResponseReturnValue

from assistant.doors.crew.door import Door, back_to, field, found, me, page
from assistant.doors.crew.trials import Trials
from assistant.storage import messages, photos
from assistant.storage.clients import find_client
from assistant.storage.handovers import Handover, find_handover, handovers_in
from assistant.storage.lists import asked_in
from assistant.storage.threads import read_thread
from assistant.usecases import answer_client as answering
from assistant.usecases.edit_knowledge import Lesson, try_out
from assistant.usecases.suggest import suggest
from assistant.usecases.teach import NotTaught, another_way_to_ask, topic_of_its_own

REASONS = {
    "fault": "The program failed on this text",
    "not_understood": "Not understood",
    "text_not_delivered": "A text did not arrive",
    "text_uncertain": "A text may not have left",
    "photo_judge": "A photo to look at",
    "book_visit": "Wants a visit",
}
LONGEST = 1600
TURNS = 8


def add_pages(routes: Blueprint, door: Door, trials: Trials) -> None:
    """`/crew/waiting` and below."""

    @routes.get("/waiting")
    def waiting() -> ResponseReturnValue:
        with door.reading() as tx:
            open_ones = handovers_in(tx, limit=100)
            answered = handovers_in(tx, "answered", limit=1000)[-10:]
        return page("waiting", "Waiting for an answer", open_ones=open_ones, answered=answered[::-1], reason=_reason(door))

    @routes.get("/waiting/<int:handover_id>")
    def handover(handover_id: int) -> ResponseReturnValue:
        return _show(door, handover_id)

    _add_answers(routes, door, trials)


def _add_answers(routes: Blueprint, door: Door, trials: Trials) -> None:
    app = door.assistant

    @routes.post("/waiting/<int:handover_id>")
    def answer(handover_id: int) -> ResponseReturnValue:
        text = field("answer", LONGEST * 2)
        if problem := answering.objection(text):
            return _show(door, handover_id, problem, text), 400
        try:
            lesson = _lesson(door, handover_id, text)
        except NotTaught as refused:
            return _show(door, handover_id, f"Nothing was sent yet. {refused}", text), 400
        if answering.answer_client(app, handover_id, text, me().name, door.now) is None:
            return _show(door, handover_id, "Somebody answered or put it aside before you.", text), 409
        if lesson is None:
            return back_to("waiting", "answered")
        return back_to("trial", "answered", name=trials.begin(lambda: try_out(app, *lesson)))

    @routes.post("/waiting/<int:handover_id>/aside")
    def put_aside(handover_id: int) -> ResponseReturnValue:
        put = answering.put_aside(app, handover_id, me().name, door.now)
        return back_to("waiting", "closed" if put else "nothing")

    @routes.post("/conversations/<int:thread_id>")
    def conversation(thread_id: int) -> ResponseReturnValue:
        with door.reading() as tx:
            found(read_thread(tx, thread_id))
        take = field("do") == "take"
        change = answering.take_conversation if take else answering.give_conversation_back
        change(app, thread_id, me().name, door.now)
        done = "paused" if take else "given_back"
        after = request.form.get("handover", "")
        if after.isdecimal():
            return back_to("handover", done, handover_id=int(after))
        return back_to("waiting", done)


def _show(door: Door, handover_id: int, problem: str = "", text: str = "") -> str:
    with door.reading() as tx:
        one: Handover = found(find_handover(tx, handover_id))
        asked = asked_in(tx, handover_id)
        thread = found(read_thread(tx, one.thread_id))
        before = messages.history(tx, one.thread_id, TURNS)
        pictures = photos.of_messages(tx, asked.id).get(asked.id, ()) if asked else ()
        suggestions = suggest(door.assistant, tx, one, door.now) if one.state == "open" else ()
    decision = (asked.decision or {}) if asked else {}
    return page(
        "handover", f"{one.name or one.phone} asks", one=one, asked=asked, thread=thread, problem=problem, text=text,
        turns=_turns(before), suggestions=suggestions, evidence=decision.get("evidence") or (),
        why=decision.get("why", ""), reason=_reason(door), topics=_topics(door, suggestions, asked), pictures=pictures,
    )  # fmt: skip


def _lesson(door: Door, handover_id: int, answer: str) -> tuple[dict[str, str], Lesson] | None:
    """The change of knowledge that was asked for along with the answer, if any. Raises NotTaught."""
    how = field("teach", 20)
    if how not in ("phrasing", "topic"):
        return None
    with door.reading() as tx:
        one: Handover = found(find_handover(tx, handover_id))
        thread = found(read_thread(tx, one.thread_id))
        client = find_client(tx, thread.client_id) if thread.client_id else None
    if not one.question:
        raise NotTaught("There is no question here to learn from.")
    language = client.language if client else door.assistant.business.language
    if how == "phrasing":
        topic = field("topic", 100)
        edits = another_way_to_ask(door.assistant, topic, language, one.question)
    else:
        ways = [one.question, *field("ways", 2000).split("\n")]
        topic, edits = topic_of_its_own(door.assistant, field("title", 100), answer, ways)
    return edits, Lesson(handover_id, topic, language, one.question, answer)


def _reason(door: Door) -> Any:
    def said(reason: str) -> str:
        answer = door.assistant.knowledge.answer(reason, "en")
        return REASONS.get(reason) or (answer.title if answer else reason.replace("_", " ").capitalize())

    return said


def _turns(rows: Sequence[Any]) -> list[dict[str, Any]]:
    """Texts to and fro, oldest first, as the thread showed them."""
    turns: list[dict[str, Any]] = []
    for row in reversed(rows):
        turns.append({"ours": not row.inbound, "text": row.text, "at": row.at, "by": row.written_by, "media": row.media})
        turns += [{"ours": True, "text": reply, "at": row.at, "by": "", "media": None} for reply in row.replies or ()]
    return turns


def _topics(door: Door, suggestions: Sequence[Any], asked: Any) -> list[tuple[str, str]]:
    """Topics a text may be taught as, the likely ones first: never one with a safety answer."""
    answers = door.assistant.knowledge.answers.get("en", {})
    likely = [one.topic for one in suggestions] + ([asked.topic] if asked else [])
    first = [(id_, answers[id_].title) for id_ in dict.fromkeys(likely) if id_ in answers and not answers[id_].safety]
    rest = sorted((a.title, a.topic) for a in answers.values() if not a.safety and a.topic not in dict(first))
    return first + [(topic, title) for title, topic in rest]
