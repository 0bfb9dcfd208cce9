"""Reading + Situation -> Decision. Pure: everything it may need was read before, everything it wants is written after."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from assistant.domain.conversation import booking, care, questions, records
from assistant.domain.conversation.compose import compose
from assistant.domain.conversation.decision import (
    AskClient,
    Change,
    CloseQuestion,
    Decision,
    EndKind,
    HandOver,
    OptIn,
    OptOut,
    SetLanguage,
    Snooze,
)
from assistant.domain.conversation.scene import Piece, Scene, soon
from assistant.domain.conversation.situation import Situation
from assistant.domain.conversation.values import answer_text, short_text
from assistant.domain.knowledge import Answer, Knowledge
from assistant.domain.people import Vessel
from assistant.domain.slots import Diary
from assistant.domain.understanding import acts
from assistant.domain.understanding.reading import Ask, Keyword, Reading
from assistant.domain.visits import Slot, VisitState

LINE = 0.42
"""Below this certainty a text is not answered but asked back."""
NUDGE_KINDS = (("topper", r"topper"), ("reseal", r"reseal|sealant|sello|sellado"), ("check_in", r"check"),
               ("visit_reminder", r"visit|appointment|cita|visita"))  # fmt: skip
FRESHNESS_TOPICS = frozenset({"first_wash", "keep_dry", "launch_after_job", "cover_after_job", "use_after_job"})
_WH = re.compile(r"^\W*(?:\w+\W+){0,3}?(?:how|when|what|whats|which|where|who|why|como|cuando|que|cual|donde|cada cuanto)\b")
_YES_OR_NO = re.compile(r"^\W*(?:\w+\W+){0,2}?(?:can|could|is|are|do|does|will|would|should|ok|okay|may|any|puedo|es|hay|se puede)\b")
_USES = re.compile(r"\b(?:use|spray|wear|apply|put on|usar|ponerme|echarme)\b")
ACCIDENTS = frozenset({"fuel_on_water"})
RECORDING = frozenset({"topper_done", "used_something", "hin"})
"""Topics that write to one vessel's record: with several vessels the client is asked which."""


def needs_diary(reading: Reading, situation: Situation) -> bool:
    """True when free times may have to be searched for this text."""
    question = situation.question
    waiting = question is not None and question.kind in booking.QUESTIONS
    return waiting or any(ask.topic in booking.HANDLERS for ask in reading.asks)


def decide(
    reading: Reading, situation: Situation, knowledge: Knowledge, diary: Diary | None, now: datetime,
    lost: Slot | None = None,
) -> Decision:  # fmt: skip
    """What to say and change. `lost`: this time was taken by somebody else a moment ago; offer others."""
    told = [acts.finished_hours_ago(ask.words) for ask in reading.asks]
    finished = next((hours for hours in told if hours is not None), None)
    scene = Scene(situation, knowledge, now, reading.language, finished, reading.text)
    if reading.keyword is not None:
        return _keyword(reading, scene)
    if reading.safety:
        return _safety(reading, scene)
    if reading.opt_out:
        return _opt_out(reading, scene, confirm=True)
    if hazard := _hazard_goes_on(reading, scene):
        return _safety(replace(reading, safety=hazard), scene)
    if situation.paused:
        return Decision((), asked=_topics(reading), evidence=reading.evidence, why="a person has this thread")
    if situation.media:
        return _finish([_photo(scene)], reading, scene)
    answered = questions.answer_open(reading, scene, diary, lost)
    if answered is not None:
        asks, pieces = answered
        closes = not any(piece.keeps_question for piece in pieces)
        return _finish([*pieces, *(_piece(ask, scene, diary) for ask in asks)], reading, scene, closes=closes, asks=asks)
    return _finish([_piece(ask, scene, diary) for ask in reading.asks[:4]], reading, scene)


def _keyword(reading: Reading, scene: Scene) -> Decision:
    """The carrier acts and answers; we record and stay silent."""
    words = reading.evidence[0].words
    if reading.keyword is Keyword.OPT_OUT:
        return _opt_out(reading, scene, confirm=False)
    changes: tuple[Change, ...] = (OptIn(words),) if reading.keyword is Keyword.OPT_IN else ()
    return Decision((), changes, ("keyword",), reading.keyword.value if reading.keyword else "", certainty=1.0,
                    evidence=reading.evidence, why="carrier keyword: the carrier answers it")  # fmt: skip


def _opt_out(reading: Reading, scene: Scene, confirm: bool) -> Decision:
    """Everything ends at once; a booked visit is shown to a person, who may call."""
    ahead = [one for one in scene.situation.visits if one.state is VisitState.BOOKED and one.begins > scene.now]
    changes: list[Change] = [OptOut(reading.evidence[0].words, confirm), CloseQuestion()]
    if ahead:
        changes.append(HandOver("opted_out_with_visit", note="Has a visit booked: call, do not text."))
    replies = (scene.say("optout.done"),) if confirm else ()
    return Decision(replies, tuple(changes), ("opt_out_words",), "opt_out_words", certainty=1.0,
                    evidence=reading.evidence, why="opt-out")  # fmt: skip


HAZARD_HOURS = 3
"""After an alarm no leave is given to go back to it for so long."""


def _hazard_goes_on(reading: Reading, scene: Scene) -> str:
    """The alarm that a request for leave right after it still belongs to ('ok to go back and rinse it off?')."""
    last = next((turn for turn in reversed(scene.situation.turns) if turn.inbound and turn.topic), None)
    answer = scene.knowledge.answer(last.topic, "en") if last else None
    if last is None or answer is None or not answer.safety or answer.handover != "urgent":
        return ""
    recent = (scene.now - last.at).total_seconds() < HAZARD_HOURS * 3600
    return last.topic if recent and any(ask.permission for ask in reading.asks) else ""


def _safety(reading: Reading, scene: Scene) -> Decision:
    """The safety answer alone, and a person told at once."""
    answer = scene.knowledge.answer(reading.safety, scene.language)
    if answer is None:
        text = scene.say("handover.urgent")
        return Decision((text,), (HandOver(reading.safety, True),), (reading.safety,), reading.safety, certainty=1.0,
                        evidence=reading.evidence, why="safety, no text on file")  # fmt: skip
    vessel = scene.vessel(None)
    changes = (HandOver(answer.topic, urgent=answer.handover == "urgent"), *_language(scene))
    return Decision((answer_text(answer, scene, vessel, None),), changes, (answer.topic,), answer.topic,
                    _safety_verdict(answer, reading), 1.0, reading.evidence, "safety comes first", {"topic": answer.topic})  # fmt: skip


def _safety_verdict(answer: Answer, reading: Reading) -> str | None:
    """Plans ("may I mix, swim, dilute?") always get their verdict; accidents only where leave is asked."""
    plans = answer.handover == "always" and answer.topic not in ACCIDENTS
    return answer.verdict if plans or reading.permission else None


def _topics(reading: Reading) -> tuple[str, ...]:
    return tuple(dict.fromkeys(ask.topic for ask in reading.asks))


def _photo(scene: Scene) -> Piece:
    text = scene.say("handover.photo")
    return Piece(text, text, "photo_judge", changes=(HandOver("photo_judge", note="sent a photo"),), why="photo")


def _piece(ask: Ask, scene: Scene, diary: Diary | None) -> Piece:
    """The answer to one ask, by the handler of its topic or from its answer file."""
    if ask.certainty < LINE:
        return _unclear(ask, scene)
    unclear_word = care.ask_which(ask, scene)
    if unclear_word is not None:
        return unclear_word
    vessel = _vessel_for(ask, scene)
    if vessel is None and ask.topic in RECORDING and len(scene.situation.vessels) > 1:
        return questions.which_vessel(ask, scene)
    handler = _HANDLERS.get(ask.topic)
    if handler:
        return handler(ask, scene, vessel)
    if (stricter := care.stricter_than_file(ask, scene, vessel)) is not None:
        return stricter
    if ask.topic in booking.HANDLERS:
        return booking.HANDLERS[ask.topic](ask, scene, vessel, diary)
    return _from_file(ask, scene, vessel)


def _vessel_for(ask: Ask, scene: Scene) -> Vessel | None:
    """The vessel named, the only one, or the one just spoken of."""
    named = scene.vessel(ask.vessel_id)
    if named is not None:
        return named
    last = next((turn for turn in reversed(scene.situation.turns) if turn.inbound and turn.data), None)
    if last is not None and last.data and last.data.get("vessel_id") and (scene.now - last.at).total_seconds() < 1800:
        return scene.vessel(int(last.data["vessel_id"]))
    return None


def _from_file(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    answer = scene.knowledge.answer(ask.topic, scene.language)
    if answer is None:
        return _unclear(ask, scene)
    changes: tuple[Change, ...] = ()
    if answer.handover != "never":
        changes = (HandOver(answer.topic, urgent=answer.handover == "urgent"),)
    chosen = vessel or (scene.situation.vessels[0] if scene.situation.vessels else None)
    return Piece(
        answer_text(answer, scene, chosen, ask), short_text(answer, scene, chosen, ask), answer.topic,
        _verdict(answer, ask, scene, chosen), changes, f"answers/{answer.language}/{answer.topic}.md",
    )  # fmt: skip


def _verdict(answer: Answer, ask: Ask, scene: Scene, vessel: Vessel | None) -> str | None:
    """The file's verdict where leave was asked; for waits after a job, what the clock says."""
    if answer.topic in FRESHNESS_TOPICS:
        asked = ask.permission and not _WH.search(ask.words)
        return _fresh_verdict(answer.topic, scene, vessel) if asked else None
    if answer.verdict is None and ask.permission and ask.ids("soil") and _USES.search(ask.words):
        return "careful"  # "ok to use bug spray on board?": the mark it makes is the condition
    if answer.verdict is None or (answer.verdict == "no" and not answer.safety):
        return answer.verdict  # how to do what should not be done: the answer is still no
    yes_or_no = "?" in ask.words or _YES_OR_NO.search(ask.words) or len(ask.words.split()) <= 4
    return answer.verdict if ask.permission or (yes_or_no and not _WH.search(ask.words)) else None


def _fresh_verdict(topic: str, scene: Scene, vessel: Vessel | None) -> str:
    fresh = scene.freshness(vessel)
    if fresh is None:
        return "careful" if not scene.situation.vessels else "yes"
    if fresh.keep_dry:
        return "no"
    return "careful" if fresh.no_soap else "yes"


def _unclear(ask: Ask, scene: Scene) -> Piece:
    """First a clarifying question; the second time in a row a person takes over."""
    if scene.situation.not_understood:
        text = scene.say("handover.unclear")
        return Piece(text, text, "not_understood", changes=(HandOver("not_understood"),), why="not understood twice")
    titles = [scene.knowledge.answer(topic, scene.language) for topic in (ask.topic, ask.runner_up)]
    known = [answer for answer in titles if answer and not answer.safety and answer.group not in {"oos", "out_of_scope"}]
    data = {"topics": [answer.topic for answer in known], "words": ask.words}
    question = AskClient("clarify", data, soon(scene.now, 24))
    if len(known) == 2 and ask.certainty >= 0.2:
        first, second = (_in_a_sentence(answer.title) for answer in known)
        text = scene.say("ask.clarify_two", first=first, second=second)
    else:
        text = scene.say("ask.clarify")
    return Piece(text, text, "clarify", changes=(question,), why=f"certainty {ask.certainty:.2f} is below the line")


def _in_a_sentence(title: str) -> str:
    return title[:1].lower() + title[1:].rstrip(" ?.")


def _stop_one_kind(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    kind = next((kind for kind, pattern in NUDGE_KINDS if re.search(pattern, ask.words)), "")
    if not kind:
        last = next((t for t in reversed(scene.situation.turns) if not t.inbound and t.topic.startswith("nudge:")), None)
        kind = last.topic.removeprefix("nudge:") if last else "marketing"
    text = scene.say("kind.ended")
    return Piece(text, text, "stop_one_kind", changes=(EndKind(kind),), why=f"no more {kind} nudges")


def _snooze(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    last = next((t for t in reversed(scene.situation.turns) if not t.inbound and t.topic.startswith("nudge:")), None)
    kind = last.topic.removeprefix("nudge:") if last else "topper"
    until = soon(scene.now, 24 * 14).date()
    text = scene.say("snooze.done", until=scene.day(until))
    return Piece(text, text, "snooze_later", changes=(Snooze(kind, until),), why=f"{kind} rests until {until}")


def _perhaps_no_texts(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """Not plain enough to opt anybody out: say how, and promise nothing that was not done."""
    text = scene.say("optout.how")
    return Piece(text, text, "clarify", why=f"perhaps an opt-out, certainty {ask.certainty:.2f}")


def _wrong_number(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """Somebody else's number: nothing more goes there, as the answer says."""
    piece = _from_file(ask, scene, vessel)
    return replace(piece, changes=(*piece.changes, OptOut(ask.words, confirm=True)))


def _resume(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    text = scene.say("optin.done")
    return Piece(text, text, "resume_texts", changes=(OptIn(ask.words),), why="wants texts again: service only")


def _done(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """'done' to a topper nudge logs the topper for the boat it named; otherwise it is a plain acknowledgment."""
    last = next((t for t in reversed(scene.situation.turns) if not t.inbound), None)
    if last is None or "topper" not in last.topic:
        return _from_file(ask, scene, vessel)
    vessels = scene.situation.vessels
    named = [one for one in vessels if one.name and one.name in last.text]
    chosen = vessel or (named[0] if len(named) == 1 else scene.vessel(None))
    if chosen is None and len(vessels) > 1:
        return questions.which_vessel(replace(ask, topic="topper_done"), scene)
    return records.topper_done(ask, scene, chosen)


_HANDLERS = {
    "may_use": care.may_use, "used_something": care.used_something, "unknown_product": care.unknown_product,
    "label_read": care.label_read, "stop_one_kind": _stop_one_kind, "snooze_later": _snooze, "resume_texts": _resume,
    "done_reply": _done, "opt_out_words": _perhaps_no_texts, "wrong_number": _wrong_number, **records.HANDLERS,
}  # fmt: skip


def _finish(
    pieces: Sequence[Piece], reading: Reading, scene: Scene, closes: bool = False, asks: Sequence[Ask] = ()
) -> Decision:
    """One composed reply and all changes of its pieces."""
    asks = list(asks) or list(reading.asks)
    changes: list[Change] = [CloseQuestion()] if closes or _answered_enough(scene) else []
    for piece in pieces:
        changes.extend(piece.changes)
    changes = _one_handover(changes)
    verdicts = [piece.verdict for piece in pieces if piece.verdict]
    lead = asks[0] if asks else None
    return Decision(
        replies=compose(pieces),
        changes=(*changes, *_language(scene)),
        asked=tuple(dict.fromkeys(piece.topic for piece in pieces)),
        topic=pieces[0].topic if pieces else "",
        verdict=min(verdicts, key=["no", "careful", "yes"].index, default=None),
        certainty=min((ask.certainty for ask in asks), default=1.0),
        evidence=reading.evidence,
        why="; ".join(piece.why for piece in pieces if piece.why),
        remember=_remember(lead, pieces, scene),
    )


def _answered_enough(scene: Scene) -> bool:
    """A text that was no answer closes what we asked, but not an offer of times: those stay held and may be picked later."""
    question = scene.situation.question
    return question is not None and question.kind not in booking.QUESTIONS


def _one_handover(changes: Sequence[Change]) -> list[Change]:
    """Several reasons to call a person make one handover, as urgent as the most urgent; one open question at most."""
    handovers = [change for change in changes if isinstance(change, HandOver)]
    questions_asked = [change for change in changes if isinstance(change, AskClient)]
    rest: list[Change] = [change for change in changes if not isinstance(change, HandOver | AskClient)]
    if handovers:
        first = max(handovers, key=lambda one: one.urgent)
        rest.append(HandOver(first.reason, first.urgent, " / ".join(dict.fromkeys(h.note or h.reason for h in handovers))))
    return [*rest, *questions_asked[-1:]]


def _language(scene: Scene) -> tuple[Change, ...]:
    client = scene.situation.client
    changed = client is not None and client.language != scene.language
    return (SetLanguage(scene.language),) if changed else ()


def _remember(lead: Ask | None, pieces: Sequence[Piece], scene: Scene) -> dict[str, object]:
    """What a follow-up may need."""
    if lead is None:
        return {"topic": pieces[0].topic} if pieces else {}
    vessel = _vessel_for(lead, scene)
    return {
        "topic": pieces[0].topic if pieces else lead.topic,
        "substance": list(lead.ids("substance")), "soil": list(lead.ids("soil")), "surface": list(lead.ids("surface")),
        "permission": lead.permission, "vessel_id": vessel.id if vessel else None,
        "understood": lead.certainty >= LINE,
    }  # fmt: skip


def knows(knowledge: Knowledge, topic: str) -> bool:
    """True when a topic can be answered."""
    return topic in _HANDLERS or topic in booking.HANDLERS or knowledge.answer(topic, "en") is not None
