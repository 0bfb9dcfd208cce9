"""Booking by text, decided purely: what is asked back, offered, booked, moved and called off, and in which words."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

import pytest

from assistant.domain.business import Business, Place, Prices, Service
from assistant.domain.conversation.booking import HANDLERS, QUESTIONS
from assistant.domain.conversation.booking_request import merged, services_named, slot_from, vessels_named
from assistant.domain.conversation.decide import decide, needs_diary
from assistant.domain.conversation.decision import (
    AskClient,
    BookVisit,
    CallOffVisit,
    ChangePlan,
    CloseQuestion,
    Decision,
    HandOver,
    HoldSlots,
    JoinWaitingList,
    MoveVisit,
    NoteVessel,
)
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import OpenQuestion, Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Client, Consent, Vessel
from assistant.domain.slots import Diary
from assistant.domain.sms import measure
from assistant.domain.understanding.reading import Ask, Reading
from assistant.domain.visits import Busy, Slot, TimeWish, Visit
from assistant.packaged import packaged
from assistant.storage.knowledge_files.reader import read_without_model

NOW = datetime(2027, 5, 4, 14, 30, tzinfo=UTC)  # Tuesday 4 May 2027, 10:30 in New York
TODAY = date(2027, 5, 4)
ZONE = "America/New_York"
SERVICES = {
    "wash": Service("wash", {"en": "wash", "es": "lavado"}, Decimal(4), Decimal(90), Decimal("0.06"), 20),
    "topper": Service("topper", {"en": "wash and topper", "es": "lavado y topper"}, Decimal(7), Decimal(150), cure_hours=2),
    "reseal": Service(
        "reseal", {"en": "decontamination, polish and sealant", "es": "pulido y sellador"}, Decimal(22), Decimal(480),
        on_sight=True, cure_hours=24,
    ),
    "teak_care": Service("teak_care", {"en": "teak care"}, Decimal(9), Decimal(120), add_ons={"extra_oil": Decimal(40)}),
}  # fmt: skip
BUSINESS = Business(
    id=1, name="Fernwake Boat Care", detailer="Nola", number="+13055550100", zone=ZONE, country="US", language="en",
    hours={weekday: (time(8), time(17)) for weekday in range(5)}, services=SERVICES,
    places=(Place("Pelican Slough", also_called=("the slough",)), Place("Cutter's Bight"), Place("Juniper Point", no_wash=True)),
)  # fmt: skip
ANA = Client(1, "Ana Reyes", "+13055550111", "en", ZONE, "US")
THISTLE = Vessel(1, 1, "Sea Thistle", "center console", Decimal(28), place="Pelican Slough")
LEDGER = Vessel(2, 1, "Blue Ledger", "bay boat", Decimal(24), place="the slough")
DINGHY = Vessel(3, 1, "Little Ledger", "inflatable", Decimal(12), place="Pelican Slough")


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    found, problems = read_without_model(packaged("knowledge"))
    assert not problems
    return found


@dataclass
class Talk:
    """A conversation without a database: what a decision asks and books is kept for the next text."""

    knowledge: Knowledge
    situation: Situation
    busy: list[Busy] = field(default_factory=list)
    now: datetime = NOW

    def say(self, text: str, topic: str = "book_visit", language: str = "en", lost: Slot | None = None) -> Decision:
        asks = (Ask(topic, 0.9, text.lower()),)
        reading = Reading(language, asks=asks, text=text)
        diary = Diary(tuple(self.busy), TODAY, TODAY + timedelta(days=120))
        assert needs_diary(reading, self.situation)
        decision = decide(reading, self.situation, self.knowledge, diary, self.now, lost)
        self._keep(decision)
        for reply in decision.replies:
            assert measure(reply).segments <= 2, reply
        return decision

    def _keep(self, decision: Decision) -> None:
        for change in decision.changes:
            if isinstance(change, CloseQuestion):
                self.situation = replace(self.situation, question=None)
            if isinstance(change, AskClient):
                question = OpenQuestion(1, change.kind, change.data, self.now, change.expires_at)
                self.situation = replace(self.situation, question=question)
            if isinstance(change, BookVisit):
                visit = Visit(
                    len(self.situation.visits) + 1, 1, change.vessel_ids, change.service, change.slot.crew, change.slot.begins,
                    change.slot.ends, ZONE, change.place, price=change.price,
                )  # fmt: skip
                self.situation = replace(self.situation, visits=(*self.situation.visits, visit))
                self.busy.append(Busy(visit.crew, visit.begins, visit.ends, visit.place))


@pytest.fixture
def talk(knowledge: Knowledge) -> Callable[..., Talk]:
    def begin(*vessels: Vessel, client: Client | None = ANA, business: Business = BUSINESS, **more: Any) -> Talk:
        return Talk(knowledge, Situation(business, "+13055550111", client, Consent(service=True), vessels, **more))

    return begin


def one(decision: Decision, kind: type) -> Any:
    found = [change for change in decision.changes if isinstance(change, kind)]
    assert len(found) == 1, decision
    return found[0]


def at(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2027, 5, day, hour + 4, minute, tzinfo=UTC)


def test_every_topic_and_question_of_the_contract_is_there() -> None:
    assert set(HANDLERS) == set(
        "book_visit move_visit drop_visit when_is_visit pick_slot no_slot_fits two_boats waiting_list plan_begin plan_pause"
        " plan_finish quote_length price_wash price_reseal price_topper".split()
    )
    assert {"pick_slot", "confirm_drop", "which_service", "confirm_time"} <= set(QUESTIONS)


def test_an_offer_names_work_boat_price_three_times_and_how_long_they_are_held(talk: Callable[..., Talk]) -> None:
    said = talk(THISTLE).say("can you wash it next week, mornings")
    assert said.replies == (
        "Wash for Sea Thistle, $112: 1) Mon May 10, 8 am. 2) Tue May 11, 8 am. 3) Wed May 12, 8 am."
        " Reply 1, 2 or 3. I'll hold these until 12:30 pm.",
    )  # fmt: skip
    held = one(said, HoldSlots)
    assert [slot.begins for slot in held.slots] == [at(10, 8), at(11, 8), at(12, 8)]
    assert {slot.place for slot in held.slots} == {"Pelican Slough"}
    assert held.until == NOW + timedelta(hours=2)


def test_a_pick_is_confirmed_with_all_one_needs_to_know(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    ana.say("can you wash it next week")
    said = ana.say("the second one", "pick_slot")
    assert said.replies[0] == (
        "You're set: wash for Sea Thistle, Tue May 11, 8 am, Pelican Slough, $112. Please leave the cover off and a hose in"
        " reach, and text me any gate code. Text MOVE or DROP if plans change."
    )
    booked = one(said, BookVisit)
    assert (booked.slot.begins, booked.service, booked.vessel_ids, booked.price) == (at(11, 8), "wash", (1,), Decimal(112))
    assert "can you wash it" in booked.note


def test_an_estimate_says_so_and_a_coat_says_how_long_it_stays_dry(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    ana.say("reseal the first week of june please")
    reply = ana.say("1", "pick_slot").replies[0]
    assert "about $616 (estimate, confirmed on sight)" in reply
    assert "dry for 24 hours" in reply


def test_a_question_in_between_leaves_the_offer_open(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    ana.say("can you wash it next week")
    between = Reading("en", asks=(Ask("covers", 0.9, "do you sell covers"),), text="do you sell covers for boats like mine by the way")
    diary = Diary((), TODAY, TODAY + timedelta(days=60))
    answer = decide(between, ana.situation, ana.knowledge, diary, NOW)
    assert not [change for change in answer.changes if isinstance(change, CloseQuestion | AskClient | BookVisit)]
    assert one(ana.say("2", "acknowledge"), BookVisit).slot.begins == at(11, 8)


def test_what_is_missing_is_asked_for_one_thing_at_a_time(talk: Callable[..., Talk]) -> None:
    chidi = talk(replace(LEDGER, length_ft=None), DINGHY)
    assert chidi.say("can you come friday morning").replies == ("Which boat is it for: 1) Blue Ledger or 2) Little Ledger?",)
    assert chidi.say("the bay boat").replies[0].startswith("What does Blue Ledger need? 1) wash. 2) wash and topper.")
    asked = one(chidi.say("wash and topper"), AskClient)
    assert asked.kind == "boat_length"
    said = chidi.say("24")
    assert one(said, NoteVessel).value == "24"
    assert said.replies[0].startswith("Wash and topper for Blue Ledger, $168: 1) Fri May 7, 8 am.")


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("visit_vessel", {}), ("which_service", {"vessel_ids": [1]}), ("boat_length", {"vessel_ids": [4], "service": "wash"}),
        ("confirm_time", {"vessel_ids": [1], "service": "wash", "days": ["2027-06-08", "2027-06-09"]}),
        ("confirm_drop", {"visit_id": 1}), ("which_visit", {"visit_ids": [1], "to": "drop"}), ("plan_vessel", {"words": "the plan"}),
        ("begin_plan", {"vessel_ids": [1], "service": "topper", "every_days": 30, "begins": "2027-05-07"}),
        ("pick_slot", {"vessel_ids": [1], "service": "wash", "slots": [[1, "2027-05-11T12:00:00+00:00", "2027-05-11T14:15:00+00:00", "", ""]]}),
    ],
)
@pytest.mark.parametrize(
    "text",
    ["can i wash sea thistle with vinegar on tuesday?", "ok is the first wash fine after 2 weeks", "how long does a 28 ft wax last on the second boat"],
)
def test_a_care_question_answers_none_of_our_questions(talk: Callable[..., Talk], kind: str, data: dict[str, Any], text: str) -> None:
    ana = booked(talk, THISTLE, replace(DINGHY, id=4, length_ft=None))
    ana.situation = replace(ana.situation, question=OpenQuestion(1, kind, data, NOW, NOW + timedelta(days=1)))
    said = ana.say(text, "covers")
    assert not [change for change in said.changes if not isinstance(change, HandOver)]
    assert ana.situation.question is not None


def test_both_boats_of_one_harbor_are_one_visit_and_of_two_harbors_are_two(talk: Callable[..., Talk]) -> None:
    chidi = talk(LEDGER, DINGHY)
    said = chidi.say("wash both boats next week", "two_boats")
    assert said.replies[0].startswith("Wash for Blue Ledger and Little Ledger, $186: 1) Mon May 10, 8 am.")
    assert one(chidi.say("1", "pick_slot"), BookVisit).vessel_ids == (2, 3)
    apart = talk(LEDGER, replace(DINGHY, place="Cutter's Bight")).say("wash both boats next week", "two_boats")
    assert apart.replies[0].startswith("Those boats lie at different harbors, so that takes two visits. Which boat")


def test_a_wish_that_cannot_be_met_is_answered_with_the_reason_and_what_is_near(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    assert ana.say("wash on saturday").replies[0].startswith("We're closed then, so here's what's nearest. Wash for")
    assert ana.say("wash today please").replies[0].startswith("That's sooner than we can make it")
    ana.busy = [Busy(0, at(10, 7), at(10, 18))]
    full = ana.say("wash on monday the 10th")
    assert full.replies[0].startswith("We're booked up then, so here's what's nearest.")
    assert full.replies[0].endswith("Or reply 4 and I'll tell you if that time opens up.")
    joined = one(ana.say("4", "acknowledge"), JoinWaitingList)
    assert (joined.service, joined.vessel_ids, joined.wish.days) == ("wash", (1,), (date(2027, 5, 10),))
    far = ana.say("wash next january")
    assert one(far, HandOver).reason == "no_free_time"
    assert far.replies[0].startswith("Our calendar runs to Sep 1 so far")


def test_other_times_on_none_later_sooner_and_new_words(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    ana.say("wash next week")
    other = one(ana.say("none of those", "no_slot_fits"), HoldSlots).slots
    assert [slot.begins.day for slot in other] == [13, 13, 14]
    later = one(ana.say("anything later", "no_slot_fits"), HoldSlots).slots
    assert min(slot.begins for slot in later) >= at(15, 0)
    june = one(ana.say("what about june, after 2", "no_slot_fits"), HoldSlots).slots
    assert [(slot.begins.month, slot.begins.hour) for slot in june] == [(6, 18)] * 3
    same_day = one(ana.say("the first one but not that late", "pick_slot"), HoldSlots).slots
    assert same_day[0].begins.date() == june[0].begins.date()
    assert same_day[0].begins < june[0].begins


def test_an_unclear_pick_is_asked_again_and_an_unclear_date_is_read_back(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    ana.say("wash on thursday")
    again = ana.say("thursday works", "pick_slot")
    assert again.replies == ("Which one do you mean? Reply 1, 2 or 3.",)
    assert not again.changes
    assert ana.say("7", "acknowledge").replies == again.replies
    back = ana.say("tuesday june 9 at 10", "book_visit")
    assert back.replies == ("Just to be sure, which day: 1) Tue Jun 8 or 2) Wed Jun 9?",)
    assert [slot.begins for slot in one(ana.say("2", "pick_slot"), HoldSlots).slots] == [datetime(2027, 6, 9, 14, tzinfo=UTC)]
    assert ana.say("the 32nd").replies == ("I can't find the 32nd on the calendar. Which day do you mean?",)


def test_a_lost_time_is_regretted_and_replaced(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    slots = one(ana.say("wash next week"), HoldSlots).slots
    ana.busy = [Busy(1, slots[0].begins, slots[0].ends)]
    said = ana.say("1", "pick_slot", lost=slots[0])
    assert said.replies[0].startswith("Sorry, somebody else took that time a moment ago. Wash for Sea Thistle, $112: 1)")
    assert slots[0].begins not in [slot.begins for slot in one(said, HoldSlots).slots]


def booked(talk: Callable[..., Talk], *vessels: Vessel) -> Talk:
    """A talk in which a wash on Tuesday 11 May at 8 is on the calendar."""
    ana = talk(*(vessels or (THISTLE,)))
    ana.say("wash sea thistle on tuesday may 11 at 8")
    assert one(ana.say("1", "pick_slot"), BookVisit).slot.begins == at(11, 8)
    return ana


def test_moving_keeps_the_old_time_until_another_is_picked(talk: Callable[..., Talk]) -> None:
    ana = booked(talk)
    said = ana.say("move it to friday", "move_visit")
    assert said.replies[0].startswith("Your wash on Tue May 11, 8 am stays yours until you pick another: 1) Fri May 7, 8 am.")
    moved = ana.say("1", "pick_slot")
    assert one(moved, MoveVisit).slot.begins == at(7, 8)
    assert moved.replies[0].startswith("Moved: wash for Sea Thistle is now Fri May 7, 8 am, Pelican Slough.")


@pytest.mark.parametrize(
    ("text", "begins"),
    [("can you come 2 hours later", at(11, 10)), ("push it back a week", at(18, 8)), ("bring it forward", at(5, 10, 30)),
     ("same day but in the afternoon", at(11, 12)), ("reschedule please", at(12, 8)), ("at 1 instead of 8", at(11, 13)),
     ("make it the following thursday", at(13, 8))],
)  # fmt: skip
def test_a_move_is_counted_from_the_visit(talk: Callable[..., Talk], text: str, begins: datetime) -> None:
    offered = one(booked(talk).say(text, "move_visit"), AskClient).data["slots"]
    assert slot_from(offered[0]).begins == begins


def test_times_that_overlap_the_visit_itself_are_held_around_it_only(talk: Callable[..., Talk]) -> None:
    ana = booked(talk)
    [visit] = ana.situation.visits
    held = one(ana.say("an hour later please", "move_visit"), HoldSlots).slots
    assert [(slot.begins, slot.ends) for slot in held] == [(visit.ends, at(11, 11, 15))]


def test_calling_off_takes_one_question_or_the_word_drop(talk: Callable[..., Talk]) -> None:
    ana = booked(talk)
    asked = ana.say("something came up, cancel my tuesday visit", "drop_visit")
    assert asked.replies[0].endswith("Text DROP to call it off, MOVE for another day, or KEEP.")
    assert ana.say("keep it", "acknowledge").replies[0].startswith("Good, it stays")
    said = ana.say("DROP", "drop_visit")
    assert one(said, CallOffVisit).visit_id == 1
    assert not [change for change in said.changes if isinstance(change, HandOver)]
    ana.situation = replace(ana.situation, question=None)
    ana.now = at(10, 18)
    assert one(ana.say("DROP", "drop_visit"), HandOver).reason == "late_change"


def test_move_as_the_answer_to_drop_leads_to_other_times(talk: Callable[..., Talk]) -> None:
    ana = booked(talk)
    ana.say("cancel my visit", "drop_visit")
    assert one(ana.say("MOVE to the 14th", "move_visit"), HoldSlots).slots[0].begins == at(14, 8)


def test_of_several_visits_the_one_that_is_spoken_of_is_found_or_asked_for(talk: Callable[..., Talk]) -> None:
    ana = booked(talk, THISTLE, DINGHY)
    ana.say("wash little ledger on wednesday may 12 at 8")
    ana.say("1", "pick_slot")
    assert one(ana.say("drop the wednesday one", "drop_visit"), CallOffVisit).visit_id == 2
    assert one(ana.say("drop sea thistle", "drop_visit"), CallOffVisit).visit_id == 1
    asked = ana.say("move my visit", "move_visit")
    assert asked.replies == ("Which visit do you mean? 1) wash for Sea Thistle, Tue May 11, 8 am. 2) wash for Little Ledger, Wed May 12, 8 am.",)
    assert one(ana.say("2", "acknowledge"), HoldSlots)
    assert ana.say("when are you coming", "when_is_visit").replies[0].startswith(
        "Coming up: wash for Sea Thistle, Tue May 11, 8 am, Pelican Slough; wash for Little Ledger, Wed May 12, 8 am, Pelican Slough."
    )


def test_without_a_visit_moving_asking_and_dropping_say_so(talk: Callable[..., Talk]) -> None:
    for topic in ("move_visit", "drop_visit", "when_is_visit"):
        assert talk(THISTLE).say("about my visit", topic).replies[0].startswith("I don't see a visit on the calendar")


def test_who_we_do_not_know_is_asked_who_they_are_and_a_person_told(talk: Callable[..., Talk]) -> None:
    new = talk(client=None)
    said = new.say("can you wash my boat friday")
    assert "your name, the boat and its length, and the harbor" in said.replies[0]
    assert one(said, HandOver).reason == "new_client"
    told = new.say("Jo, Lazy Day 30 ft, Pelican Slough", "update_contact")
    assert "Lazy Day 30 ft" in one(told, HandOver).note


def test_where_washing_is_not_allowed_a_person_decides(talk: Callable[..., Talk]) -> None:
    said = talk(replace(THISTLE, place="Juniper Point")).say("wash next week")
    assert one(said, HandOver).reason == "no_wash"
    assert not [change for change in said.changes if isinstance(change, HoldSlots)]


def test_a_plan_is_proposed_with_its_price_and_begins_on_a_number(talk: Callable[..., Talk]) -> None:
    ana = talk(THISTLE)
    said = ana.say("i want the plan every other week from june", "plan_begin")
    assert said.replies[0].startswith("A plan for Sea Thistle: wash and topper every 2 weeks, $196 a visit, from about Jun 1.")
    change = one(ana.say("1", "acknowledge"), ChangePlan)
    assert (change.to, change.every_days, change.service, change.begins) == ("active", 14, "topper", date(2027, 6, 1))
    ana.say("plan please", "plan_begin")
    assert not [change for change in ana.say("2", "acknowledge").changes if isinstance(change, ChangePlan)]


@pytest.mark.parametrize(
    ("text", "until"),
    [("pause the plan until april", date(2028, 4, 1)), ("pause it for two months", date(2027, 7, 3)),
     ("skip june", date(2027, 7, 1)), ("rest the plan", None), ("pause from june 1 to sept 15", date(2027, 9, 15))],
)  # fmt: skip
def test_a_pause_ends_when_the_client_says(talk: Callable[..., Talk], text: str, until: date | None) -> None:
    change = one(talk(THISTLE, plan_states={7: "active"}).say(text, "plan_pause"), ChangePlan)
    assert (change.to, change.plan_id, change.begins) == ("paused", 7, until)


def test_leaving_a_plan_tells_the_detailer_and_names_the_visit_that_stays(talk: Callable[..., Talk]) -> None:
    ana = booked(talk)
    ana.situation = replace(ana.situation, plan_states={7: "active"})
    said = ana.say("stop the plan", "plan_finish")
    assert one(said, ChangePlan).to == "finished"
    assert "The visit on Tue May 11, 8 am is still set" in said.replies[0]
    assert one(said, HandOver).reason == "plan_finish"


@pytest.mark.parametrize(
    ("topic", "text", "reply"),
    [
        ("price_wash", "how much is a wash", "Wash for Sea Thistle (28 ft): $112. Good until Jun 3."),
        ("price_reseal", "price to reseal", "Decontamination, polish and sealant for Sea Thistle (28 ft): about $616 (estimate, confirmed on sight)."),
        ("price_wash", "wash for a 34 footer", "Wash for a boat that size (34 ft): $136."),
        ("quote_length", "how do you price", "We price by overall length, rounded up to the foot: 28 ft at $4 a foot makes $112 for a wash"),
    ],
)
def test_prices_come_from_the_list_with_their_last_day(talk: Callable[..., Talk], topic: str, text: str, reply: str) -> None:
    assert talk(THISTLE).say(text, topic).replies[0].startswith(reply)


def test_condition_and_extras_of_the_list_are_priced_when_they_are_told(talk: Callable[..., Talk]) -> None:
    business = replace(BUSINESS, prices=Prices(condition={"heavy": Decimal("1.5")}), services=SERVICES | {
        "wash": replace(SERVICES["wash"], add_ons={"nonskid": Decimal(45)})})  # fmt: skip
    said = talk(THISTLE, business=business).say("how much is a wash with the nonskid, heavy dirt", "price_wash")
    assert "$213." in said.replies[0]  # 28 x 4 x 1.5 + 45


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("wash please", ["wash"]), ("wash + topper", ["topper"]), ("just the topper", ["topper"]), ("needs a polish", ["reseal"]),
        ("seal it", ["reseal"]), ("ceramic?", ["reseal"]), ("can you do the teak", ["teak_care"]), ("un lavado", ["wash"]),
        ("encerar el casco", ["reseal"]), ("can you come friday", []), ("lavado y topper", ["topper"]),
    ],
)  # fmt: skip
def test_work_is_known_by_its_name_on_the_list_and_by_common_words(knowledge: Knowledge, text: str, found: list[str]) -> None:
    scene = Scene(Situation(BUSINESS, "", ANA, Consent()), knowledge, NOW, "en")
    assert [service.id for service in services_named(text, scene)] == found


@pytest.mark.parametrize(
    ("text", "listed", "ids"),
    [("sea thistle", False, (1,)), ("the inflatable", False, (3,)), ("both boats", False, (1, 2, 3)), ("2", True, (2,)), ("2", False, ()),
     ("blue please", False, (2,)), ("tuesday", True, ()), ("the second", True, (2,))],
)  # fmt: skip
def test_boats_are_known_by_name_kind_and_place_in_the_list(text: str, listed: bool, ids: tuple[int, ...]) -> None:
    assert vessels_named(text, [THISTLE, LEDGER, DINGHY], listed) == ids


def test_a_later_wish_replaces_what_an_earlier_one_said_on_the_same() -> None:
    first = TimeWish(first=date(2027, 5, 10), last=date(2027, 5, 16), latest=705, not_weekdays=frozenset({4}))
    assert merged(first, TimeWish(days=(date(2027, 6, 1),))) == TimeWish(days=(date(2027, 6, 1),), latest=705, not_weekdays=frozenset({4}))
    assert merged(first, TimeWish(earliest=720)) == replace(first, latest=None, earliest=720)
    assert merged(first, TimeWish(weekdays=frozenset({4}))).not_weekdays == frozenset()


def test_no_text_asks_for_a_word_the_carrier_reads_as_opting_out_or_in(knowledge: Knowledge) -> None:
    words = re.compile(r"\b(?:STOP|STOPALL|UNSUBSCRIBE|CANCEL|END|QUIT|REVOKE|OPTOUT|START|YES|UNSTOP|BAJA|ALTO)\b")
    ours = [
        (language, id, text) for language, rows in knowledge.wording.items() for id, text in rows.items()
        if id.partition(".")[0] in {"visit", "plan", "price", "wait"}
    ]  # fmt: skip
    assert len(ours) >= 2 * 60
    assert [row for row in ours if words.search(row[2])] == []


def test_spanish_is_answered_in_spanish(talk: Callable[..., Talk]) -> None:
    elena = talk(THISTLE, client=replace(ANA, language="es"))
    offer = elena.say("pueden lavarla la semana que viene?", language="es")
    assert offer.replies[0].startswith("Lavado de Sea Thistle, $112: 1) lun 10 may, 8:00.")
    assert elena.say("la 2", "pick_slot", "es").replies[0].startswith("Listo: lavado de Sea Thistle, mar 11 may, 8:00, Pelican Slough, $112.")
    assert elena.say("cancela la cita", "drop_visit", "es").replies[0].endswith("Escribe QUITAR para quitarla, MOVER para otro día o DEJAR para que siga.")
    assert one(elena.say("quitar", "drop_visit", "es"), CallOffVisit).visit_id == 1
