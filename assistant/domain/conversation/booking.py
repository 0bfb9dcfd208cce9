"""Booking by text: which topics lead here, and which questions of ours are answered here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from assistant.domain.conversation import booking_change, booking_plans, booking_steps, quotes
from assistant.domain.conversation.booking_pick import pick_slot
from assistant.domain.conversation.booking_request import Request, add_ons_named, services_named, vessels_named
from assistant.domain.conversation.decision import Change, HandOver
from assistant.domain.conversation.scene import Piece, Scene
from assistant.domain.conversation.values import answer_text, short_text
from assistant.domain.people import Vessel
from assistant.domain.slots import Diary
from assistant.domain.times import read_times
from assistant.domain.understanding.reading import Ask, Reading
from assistant.domain.visits import Slot

Handler = Callable[[Ask, Scene, Vessel | None, Diary | None], Piece]


def book_visit(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """A wish for a visit: what it says already is taken, what is missing is asked for."""
    text = _text(ask, scene)
    if scene.situation.client is None or not scene.situation.vessels:
        return booking_steps.stranger(scene, text)
    ids = vessels_named(text, scene.situation.vessels) or ((vessel.id,) if vessel else ())
    named = services_named(text, scene)
    services = scene.situation.business.services
    only = next(iter(services)) if len(services) == 1 else ""
    service = named[0] if len(named) == 1 else services.get(only)
    extras = add_ons_named(text, service) if service else ()
    request = Request(service.id if service else "", ids, ((scene.now.isoformat(), text),), add_ons=extras)
    return booking_steps.next_step(request, scene, diary)


def two_boats(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """Several boats in one visit."""
    if len(scene.situation.vessels) < 2 or ("?" in ask.words and not services_named(_text(ask, scene), scene)):
        return from_file(ask, scene, vessel)
    ids = tuple(one.id for one in scene.situation.vessels)
    named = services_named(_text(ask, scene), scene)
    request = Request(named[0].id if len(named) == 1 else "", ids, ((scene.now.isoformat(), _text(ask, scene)),))
    return booking_steps.next_step(request, scene, diary)


def times_without_offer(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """A pick or a refusal with no offer open: a day that is named leads to new offers."""
    wish = read_times(_text(ask, scene), scene.now, scene.situation.business.zone, scene.language)
    if replace(wish, words="").empty or scene.situation.client is None:
        return from_file(ask, scene, vessel)
    return book_visit(ask, scene, vessel, diary)


def move_visit(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """Another time for a visit."""
    return booking_change.move_visit(_text(ask, scene), scene, diary)


def drop_visit(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """No visit after all."""
    return booking_change.drop_visit(_text(ask, scene), scene)


def when_is_visit(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """What is on the calendar."""
    return booking_change.when_is_visit(scene) or from_file(ask, scene, vessel)


def plan_begin(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """A plan from now on."""
    return booking_plans.plan_begin(_text(ask, scene), scene, vessel) or from_file(ask, scene, vessel)


def plan_pause(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """A plan that rests."""
    return booking_plans.plan_pause(_text(ask, scene), scene) or from_file(ask, scene, vessel)


def plan_finish(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """A plan that ends."""
    return booking_plans.plan_finish(_text(ask, scene), scene) or from_file(ask, scene, vessel)


def waiting_list(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """To be told when a time comes free."""
    return booking_plans.waiting_list(_text(ask, scene), scene, vessel) or from_file(ask, scene, vessel)


def quote_length(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
    """How the price comes about."""
    return quotes.how_priced(ask.words, scene, vessel) or from_file(ask, scene, vessel)


def _price(service_id: str) -> Handler:
    def told(ask: Ask, scene: Scene, vessel: Vessel | None, diary: Diary | None) -> Piece:
        return quotes.price(ask.topic, service_id, ask.words, scene, vessel) or from_file(ask, scene, vessel)

    return told


def from_file(ask: Ask, scene: Scene, vessel: Vessel | None) -> Piece:
    """The answer of knowledge/, where computing has nothing to add."""
    answer = scene.knowledge.answer(ask.topic, scene.language)
    if answer is None:
        text = scene.say("visit.ask_person")
        return Piece(text, text, ask.topic, changes=(HandOver(ask.topic),), why="no answer on file")
    chosen = vessel or next(iter(scene.situation.vessels), None)
    changes: tuple[Change, ...] = () if answer.handover == "never" else (HandOver(answer.topic, answer.handover == "urgent"),)
    return Piece(
        answer_text(answer, scene, chosen, ask), short_text(answer, scene, chosen, ask), answer.topic, changes=changes,
        why=f"answers/{answer.language}/{answer.topic}.md",
    )  # fmt: skip


def besides(reading: Reading) -> list[Ask]:
    """What a text asks besides answering us: 'the second one, and can I use vinegar?'."""
    if len(reading.asks) < 2 and ("?" not in reading.text or len(reading.text.split()) < 5):
        return []
    return [ask for ask in reading.asks if ask.certainty >= SURE and ask.topic not in HANDLERS and ask.topic not in _PART_OF_AN_ANSWER]


SURE = 0.6
_PART_OF_AN_ANSWER = frozenset({"acknowledge", "thanks", "greeting", "goodbye", "compliment", "done_reply", "change_answer", "need_be_there"})


def _text(ask: Ask, scene: Scene) -> str:
    """The whole text: a day may stand in another sentence than the wish."""
    return scene.text or ask.words


HANDLERS: dict[str, Handler] = {
    "book_visit": book_visit, "two_boats": two_boats, "pick_slot": times_without_offer, "no_slot_fits": times_without_offer,
    "move_visit": move_visit, "drop_visit": drop_visit, "when_is_visit": when_is_visit, "waiting_list": waiting_list,
    "plan_begin": plan_begin, "plan_pause": plan_pause, "plan_finish": plan_finish, "quote_length": quote_length,
    "price_wash": _price("wash"), "price_reseal": _price("reseal"), "price_topper": _price("topper"),
}  # fmt: skip
QUESTIONS: dict[str, Callable[[Reading, Scene, Diary | None, Slot | None], Piece | None]] = {
    "pick_slot": pick_slot, "visit_vessel": booking_steps.visit_vessel, "which_service": booking_steps.which_service,
    "boat_length": booking_steps.boat_length, "confirm_time": booking_steps.confirm_time, "new_client": booking_steps.new_client,
    "plan_vessel": booking_plans.plan_vessel, "begin_plan": booking_plans.begin_plan, **booking_change.ANSWERS,
}  # fmt: skip
