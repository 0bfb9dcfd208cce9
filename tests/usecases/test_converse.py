"""One inbound text, from its arrival to its stored answer, with hand-written reading and deciding."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.business import Business
from assistant.domain.conversation.decision import AskClient, BookVisit, Decision, HandOver, HoldSlots
from assistant.domain.conversation.situation import InboundMessage, Situation
from assistant.domain.people import Vessel
from assistant.domain.slots import Diary
from assistant.domain.understanding.reading import Reading
from assistant.domain.visits import Slot
from assistant.settings import Settings
from assistant.storage import care, handovers, visits
from assistant.storage.clients import NewClient, add_client
from assistant.storage.database import Database, ours
from assistant.storage.tables import handovers as handover_rows
from assistant.storage.tables import messages, occupied
from assistant.usecases.converse import FAULT, Outcome, receive

HOUR = timedelta(hours=1)
Decide = Callable[[str, Situation, Diary | None, Slot | None], Decision]


@pytest.fixture
def assistant(database: Database, business: Business, now: datetime, tmp_path: Path) -> Callable[[Decide], Assistant]:
    """An assistant that decides as it is told: `decide(text, situation, diary, lost)`."""
    with database.transaction(1) as tx:
        for name, phone in (("Ana Reyes", "+13055550111"), ("Chidi Obi", "+13055550133")):
            client = add_client(tx, NewClient(name, phone, "en", business.zone, "US"), now)
            care.add_vessel(tx, Vessel(0, client, f"{name}'s boat"), now)
    settings = Settings(home=tmp_path, database_url="")

    def made(decide: Decide) -> Assistant:
        def decided(reading: Any, situation: Any, _k: Any, diary: Any, _now: Any, lost: Any) -> Decision:
            return decide(reading.language, situation, diary, lost)

        knowledge: Any = None
        return Assistant(
            settings, database, business, knowledge, MemoryCarrier(),
            read=lambda text, *_: Reading(language=text), needs_diary=lambda *_: True, decide=decided,
        )  # fmt: skip

    return made


def text_of(words: str, sid: str = "SM1", sender: str = "+13055550111") -> InboundMessage:
    return InboundMessage(sid, sender, "+13055550100", words)


def count(database: Database, table: Any) -> int:
    with database.reading(1) as tx:
        return int(tx.execute(select(func.count()).select_from(table).where(ours(table))).scalar_one())


def at_once(number: int, work: Callable[[int], Any]) -> list[Any]:
    """Results (or faults) of `work` in many threads that begin at the same moment."""
    gate = threading.Barrier(number)
    results: list[Any] = [None] * number

    def run(place: int) -> None:
        gate.wait()
        try:
            results[place] = work(place)
        except Exception as fault:
            results[place] = fault

    threads = [threading.Thread(target=run, args=(place,)) for place in range(number)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return results


def test_a_text_is_answered_and_kept(assistant: Any, database: Database, now: datetime) -> None:
    app = assistant(lambda words, situation, *_: Decision((f"{situation.client.first_name}: {words}",), topic="x"))
    assert receive(app, text_of("hello"), now).replies == ("Ana: hello",)
    assert receive(app, text_of("hello", "SM2", "+13055550133"), now).replies == ("Chidi: hello",)
    assert count(database, messages) == 2


def test_a_repeated_delivery_gets_the_first_answer_and_decides_nothing(
    assistant: Any, database: Database, now: datetime
) -> None:
    decided: list[str] = []
    app = assistant(lambda words, *_: (decided.append(words), Decision((f"answer {len(decided)}",)))[1])
    first = receive(app, text_of("hello"), now)
    again = receive(app, text_of("hello"), now + HOUR)
    assert (first.replies, first.repeated) == (("answer 1",), False)
    assert (again.replies, again.repeated, again.decision) == (("answer 1",), True, None)
    assert count(database, messages) == 1


def test_silence_is_repeated_as_silence(assistant: Any, now: datetime) -> None:
    app = assistant(lambda *_: Decision(()))
    assert receive(app, text_of("STOP"), now).replies == ()
    assert receive(app, text_of("STOP"), now) == Outcome((), None, repeated=True)


@pytest.mark.parametrize("sender", ["+13055550111", "+13055550199"])
def test_fifty_deliveries_at_once_have_one_effect(
    assistant: Any, database: Database, now: datetime, sender: str
) -> None:
    lock, decided = threading.Lock(), []

    def decide(words: str, situation: Situation, *_: Any) -> Decision:
        with lock:
            decided.append(words)
            return Decision((f"answer {len(decided)}",), (HandOver("unknown"),), topic="x")

    app = assistant(decide)
    outcomes = at_once(50, lambda _: receive(app, text_of("hello", sender=sender), now))
    assert {type(outcome) for outcome in outcomes} == {Outcome}
    assert len({outcome.replies for outcome in outcomes}) == 1
    assert sum(not outcome.repeated for outcome in outcomes) == 1
    assert count(database, messages) == 1
    assert count(database, handover_rows) == 1


def test_texts_of_one_client_wait_for_each_other(assistant: Any, database: Database, now: datetime) -> None:
    """Each sees everything the earlier ones left: none answers from a stale picture."""
    app = assistant(lambda _, situation, *__: Decision((str(len(situation.turns) // 2),), topic="x"))
    receive(app, text_of("first", "SM-first"), now)
    outcomes = at_once(10, lambda place: receive(app, text_of("more", f"SM{place}"), now))
    seen = sorted(int(outcome.replies[0]) for outcome in outcomes)
    assert seen == list(range(1, 11))


def test_two_clients_who_pick_the_same_time_get_one_visit_and_one_other_offer(
    assistant: Any, database: Database, now: datetime
) -> None:
    slot = Slot(1, now + 48 * HOUR, now + 50 * HOUR)

    def decide(_: str, situation: Situation, diary: Diary | None, lost: Slot | None) -> Decision:
        if lost:
            assert diary is not None
            assert (diary.busy[0].begins, diary.busy[0].ends) == (slot.begins, slot.ends)
            return Decision(("just taken",), topic="x")
        boats = tuple(vessel.id for vessel in situation.vessels)
        return Decision(("booked",), (BookVisit(slot, "wash", boats, "Pelican Slough", None),), topic="x")

    app = assistant(decide)
    senders = ("+13055550111", "+13055550133")
    outcomes = at_once(2, lambda place: receive(app, text_of("that one", f"SM{place}", senders[place]), now))
    assert sorted(outcome.replies[0] for outcome in outcomes) == ["booked", "just taken"]
    with database.reading(1) as tx:
        assert len(visits.visits_between(tx, now, now + 100 * HOUR)) == 1
    assert count(database, occupied) == 8
    again = [receive(app, text_of("that one", f"SM{place}", senders[place]), now) for place in range(2)]
    assert [outcome.replies for outcome in again] == [outcome.replies for outcome in outcomes]


def test_times_held_for_one_client_are_not_held_for_another(
    assistant: Any, database: Database, now: datetime
) -> None:
    slot = Slot(1, now + 48 * HOUR, now + 50 * HOUR)

    def decide(_: str, situation: Situation, diary: Diary | None, lost: Slot | None) -> Decision:
        assert diary is not None
        if any(busy.begins < slot.ends and busy.ends > slot.begins for busy in diary.busy):
            return Decision(("nothing free",), topic="x")
        changes = (HoldSlots((slot,), now + HOUR), AskClient("offer", {}, now + HOUR))
        return Decision(("this one?",), changes, topic="x")

    app = assistant(decide)
    assert receive(app, text_of("wash?", "SM1"), now).replies == ("this one?",)
    assert receive(app, text_of("wash?", "SM2", "+13055550133"), now).replies == ("nothing free",)
    assert receive(app, text_of("again", "SM3"), now).replies == ("this one?",)
    assert receive(app, text_of("later", "SM4", "+13055550133"), now + HOUR).replies == ("this one?",)


def test_a_text_that_breaks_the_program_is_kept_and_put_before_a_person(
    assistant: Any, database: Database, now: datetime, caplog: pytest.LogCaptureFixture
) -> None:
    def decide(words: str, *_: Any) -> Decision:
        raise ZeroDivisionError

    app = assistant(decide)
    assert receive(app, text_of("hello"), now) == Outcome(())
    assert receive(app, text_of("hello"), now) == Outcome((), repeated=True)
    with database.reading(1) as tx:
        (handover,) = handovers.handovers_in(tx)
    assert (handover.reason, handover.urgent, handover.question) == (FAULT, True, "hello")
    assert "could not be handled" in caplog.text


def test_a_change_that_fails_undoes_the_whole_decision(assistant: Any, database: Database, now: datetime) -> None:
    """Half a decision is worse than none: the visit goes with the handover that could not be written."""
    slot = Slot(1, now + 48 * HOUR, now + 50 * HOUR)
    changes: Any = (BookVisit(slot, "wash", (), "", None), "no change at all")
    app = assistant(lambda *_: Decision(("booked",), changes, topic="x"))
    assert receive(app, text_of("that one"), now).replies == ()
    with database.reading(1) as tx:
        assert visits.visits_between(tx, now, now + 100 * HOUR) == ()
        assert handovers.handovers_in(tx)[0].reason == FAULT
