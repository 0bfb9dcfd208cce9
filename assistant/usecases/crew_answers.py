"""Questions that were handed over, answered by text: under their number at once, without a number once confirmed."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from assistant.domain.boat_names import find_name
from assistant.domain.crew_commands import Numbered
from assistant.storage import crew_texts, handovers, photos, threads
from assistant.storage.handovers import Handover
from assistant.usecases.answer_client import answer_in, objection, put_aside_in
from assistant.usecases.crew_desk import Desk, Said, locked, read_back
from assistant.usecases.tell_crew import SPENT_FOR, question_text

SHOWN = 5
"""Open questions named in one text."""
PHOTOS_OF = "crew.photos_of"
"""Kind of the open question which boat the pictures show."""
PHOTOS_WAIT = timedelta(hours=2)


def numbered(desk: Desk, command: Numbered) -> Said:
    """The number was sent to our phones only, so it proves by itself that the text is ours."""
    if locked(desk):
        return Said(desk.say("locked"), "crew.locked")
    numbers = crew_texts.numbers(desk.tx, desk.now - SPENT_FOR)
    found = handovers.find_handover(desk.tx, numbers.get(command.number, 0))
    if found is None:
        return Said(desk.say("no_number", code=str(command.number), list=open_list(desk)), crew_texts.WRONG)
    if found.state != "open":
        return Said(_settled(desk, found), "crew.settled")
    if not command.text:
        return Said(question_text(desk.app, found, command.number), "crew.show")
    if command.settle:
        put_aside_in(desk.tx, found.id, desk.member.name, desk.now)
        return Said(desk.say("put_aside", client=_who(found)), "crew.put_aside")
    return Said(_send(desk, found, command.text), "crew.answer.done")


def unnumbered(desk: Desk, text: str) -> Said:
    """Plain words: the boat that pictures show, or an answer, when it is clear to which question."""
    waiting = crew_texts.pending(desk.tx, desk.thread_id, desk.now)
    if waiting and waiting.kind == PHOTOS_OF:
        named = find_name(text, desk.names)
        boats = [one for one in named.who if one.vessel_id is not None]
        if len(boats) == 1 and boats[0].vessel_id is not None:
            handovers.close_question(desk.tx, desk.thread_id, desk.now)
            crew_texts.tie_to_vessel(desk.tx, waiting.data["message_id"], boats[0].vessel_id)
            photos.show_vessel(desk.tx, waiting.data["message_id"], boats[0].vessel_id)
            return Said(desk.say("photos_kept", vessel=boats[0].shown), "crew.photos")
    open_ones = handovers.handovers_in(desk.tx, limit=2)
    if not open_ones:
        return Said(desk.say("not_understood"), "crew.help")
    if len(open_ones) > 1:
        return Said(desk.say("which_question", list=open_list(desk)), "crew.ask")
    problem = _obstacle(desk, open_ones[0], text)
    if problem:
        return Said(problem, "crew.ask")
    back = desk.say("answer_back", client=_who(open_ones[0]), answer=text)
    data = {"handover": open_ones[0].id, "answer": text, "subject": f"handover:{open_ones[0].id}"}
    return read_back(desk, "answer", data, back)


def send(desk: Desk, data: Mapping[str, Any]) -> str:
    """Send what was confirmed."""
    found = handovers.find_handover(desk.tx, data["handover"])
    if found is None:
        return desk.say("nothing_waits")
    return _settled(desk, found) if found.state != "open" else _send(desk, found, data["answer"])


def open_list(desk: Desk) -> str:
    """'417 Ana Reyes: can I use vinegar; 522 Bert Olsen: ...'."""
    by_id = {id_: number for number, id_ in crew_texts.numbers(desk.tx, desk.now).items()}
    lines = []
    for one in handovers.handovers_in(desk.tx, limit=SHOWN):
        asked = " ".join((one.question or one.note or one.reason.replace("_", " ")).split())
        number = f"{by_id[one.id]} " if one.id in by_id else ""
        lines.append(f"{number}{_who(one)}: {asked[:60]}{'...' if len(asked) > 60 else ''}")
    return "\n".join(lines) or desk.say("none")


def _send(desk: Desk, found: Handover, text: str) -> str:
    problem = _obstacle(desk, found, text)
    if problem:
        return problem
    answer_in(desk.tx, found.id, text, desk.member.name, desk.now)
    return desk.say("answered", client=_who(found))


def _obstacle(desk: Desk, found: Handover, text: str) -> str:
    """Why this answer cannot go to this client; empty when it can."""
    thread = threads.read_thread(desk.tx, found.thread_id)
    if thread is not None and not thread.consent.reachable:
        return desk.say("opted_out", client=_who(found), phone=found.phone)
    return objection(text)


def _settled(desk: Desk, found: Handover) -> str:
    who = found.answered_by or desk.app.business.name
    return desk.say("settled", names=who, client=_who(found), answer=found.answer or desk.say("no_answer_needed"))


def _who(found: Handover) -> str:
    return found.name or found.phone
