"""Safety comes before everything; opting out is never fuzzy and never missed in plain words."""

from dataclasses import replace

import pytest

from assistant.domain.conversation.decide import decide
from assistant.domain.conversation.decision import EndKind, HandOver, LogCare, OptIn, OptOut
from assistant.domain.conversation.situation import Turn
from assistant.domain.understanding.read import read
from assistant.domain.understanding.reading import Keyword
from tests.development.replay import CLIENTS, DIARY, NOW
from tests.domain.understanding.conftest import Say


@pytest.mark.parametrize(
    ("text", "topic"),
    [
        ("I mixed bleach and toilet cleaner and it smells", "mixed_cleaners"),
        ("mezclé cloro con ácido y huele fuerte", "mixed_cleaners"),
        ("can i mix bleach and vinegar for the mildew", "mixing_ask"),
        ("got hull cleaner in my eye it burns", "eyes"),
        ("my dog drank some of the boat soap", "swallowed"),
        ("my skin is burning from the teak cleaner", "skin_burn"),
        ("wheel cleaner acid on my hand doesnt hurt yet", "fluoride_skin"),
        ("feel a tingle in the water by the dock", "shock_in_water"),
        ("kinda dizzy and headache, generator is running", "carbon_monoxide"),
        ("cant stop coughing after spraying cleaner in the cabin", "fumes"),
        ("pressure washer cut my finger, tiny hole", "washer_wound"),
        ("theres a rainbow sheen on the water should i squirt dish soap", "fuel_on_water"),
        ("is it ok to wash it while swimming next to the dock", "wash_from_water"),
    ],
)
def test_hazards_are_seen_and_a_person_is_told(say: Say, text: str, topic: str) -> None:
    decision = say(text)
    assert decision.topic == topic
    assert decision.handover is not None


def test_emergency_numbers_fit_the_country(say: Say) -> None:
    reply = say("I mixed bleach and toilet cleaner and it smells").replies[0]
    assert "911" in reply
    assert "1-800-222-1222" in reply


def test_never_soap_on_a_sheen(say: Say) -> None:
    decision = say("diesel went in the water, can i put dish soap on it")
    assert decision.verdict == "no"
    assert "1-800-424-8802" in decision.replies[0]


@pytest.mark.parametrize(
    "text",
    ["STOP", "stop.", " Quit ", "CANCEL", "End", "revoke", "unsubscribe", "STOPALL", "optout"],
)
def test_carrier_keywords_opt_out_in_silence(say: Say, text: str) -> None:
    decision = say(text, "bert")
    assert decision.replies == ()
    assert any(isinstance(change, OptOut) for change in decision.changes)


@pytest.mark.parametrize(
    "text",
    [
        "take me off this", "stop texting me please", "no more texts", "lose my number", "please remove me from your list",
        "dont text me anymore", "I want to opt out", "quit messaging me", "leave me alone", "ya no me manden mensajes",
        "dejen de escribirme", "quítenme de la lista",
    ],
)  # fmt: skip
def test_plain_words_opt_out_with_one_confirmation(say: Say, text: str) -> None:
    decision = say(text, "bert")
    assert len(decision.replies) == 1
    assert any(isinstance(change, OptOut) for change in decision.changes)


@pytest.mark.parametrize(
    "text",
    [
        "can you stop by tuesday?", "dont cancel my visit", "how do i stop the mildew", "when does the season end",
        "stop the topper reminders", "bow to end?", "should i stop using soap", "take me off the schedule tuesday",
        "can i quit rinsing in the rain",
    ],
)  # fmt: skip
def test_look_alikes_opt_nobody_out(say: Say, text: str) -> None:
    assert not any(isinstance(change, OptOut) for change in say(text, "bert").changes)


def test_start_restores_service_only_and_help_is_silent(say: Say) -> None:
    assert say("START").changes == (OptIn("START"),)
    assert say("help").replies == ()
    assert say("help").topic == Keyword.HELP


def test_an_opt_out_with_a_visit_ahead_is_shown_to_a_person(say: Say) -> None:
    decision = say("STOP", "ana")
    assert any(isinstance(change, HandOver) and change.reason == "opted_out_with_visit" for change in decision.changes)


@pytest.mark.parametrize("text", ["no", "nope", "not now", "la lista"])
def test_nobody_is_told_that_texts_end_without_their_ending(say: Say, text: str) -> None:
    decision = say(text, "bert")
    ended = any(isinstance(change, OptOut) for change in decision.changes)
    assert ended == any("no more texts" in reply or "off the list" in reply for reply in decision.replies)
    assert not ended


@pytest.mark.parametrize("text", ["stop these", "no more of those please", "Stop this."])
def test_said_to_a_nudge_only_that_kind_ends(knowledge, text: str) -> None:
    nudge = Turn(NOW, False, "Fernwake Boat Care: topper time for Paper Moon.", "nudge:monthly_topper")
    situation = replace(CLIENTS["bert"], turns=(nudge,))
    decision = decide(read(text, situation, knowledge), situation, knowledge, DIARY, NOW)
    assert not any(isinstance(change, OptOut) for change in decision.changes)
    assert any(isinstance(change, EndKind) for change in decision.changes)


def test_done_is_logged_for_the_boat_that_the_nudge_named(knowledge) -> None:
    nudge = Turn(NOW, False, "Fernwake Boat Care: topper time for Little Ledger.", "nudge:monthly_topper")
    situation = replace(CLIENTS["chidi"], turns=(nudge,))
    decision = decide(read("done", situation, knowledge), situation, knowledge, DIARY, NOW)
    assert [change.vessel_id for change in decision.changes if isinstance(change, LogCare)] == [4]
