"""Web chat: the conversation of texts on a page, without a script too, for the link's owner, each message once."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sqlalchemy import func, select

from assistant.carriers.memory import MemoryCarrier
from assistant.carriers.pages import WithPages
from assistant.doors.web import create_app
from assistant.packaged import packaged
from assistant.storage import clients, handovers, threads
from assistant.storage.clients import NewClient
from assistant.storage.knowledge_files.reader import read_without_model
from assistant.storage.tables import messages
from assistant.usecases.answer_client import answer_client
from assistant.usecases.send_due import send_due
from tests.hand_made import hand_made


@pytest.fixture(scope="module")
def knowledge():
    return read_without_model(packaged("knowledge"))[0]


@pytest.fixture
def carrier():
    return MemoryCarrier()


@pytest.fixture
def app(database, business, knowledge, carrier, tmp_path):
    return replace(hand_made(database, business, tmp_path, carrier=WithPages(carrier)), knowledge=knowledge)


@pytest.fixture
def web(app, now):
    return create_app(app, now=lambda: now).test_client()


def link(app, now, name="Ana Reyes", phone="+13055550111"):
    with app.database.transaction(1) as tx:
        return clients.tokens(tx, clients.add_client(tx, NewClient(name, phone, "en", "", "US"), now))[0]


def write(web, token, text, once="abcdefgh1234", **more):
    return web.post(f"/chat/{token}", data={"text": text, "once": once}, **more)


def count(app):
    with app.database.engine.connect() as connection:
        return connection.execute(select(func.count()).select_from(messages)).scalar()


def test_a_message_is_answered_on_the_page_without_a_script(app, web, now):
    token = link(app, now)
    response = write(web, token, "may I use vinegar?")
    assert (response.status_code, response.headers["Location"]) == (303, f"./{token}#latest")
    page = web.get(f"/chat/{token}").text
    assert page.count("may I use vinegar?") == 2, "what was asked, and the answer, which here repeats it"


def test_a_message_sent_twice_is_said_once(app, web, now):
    token = link(app, now)
    write(web, token, "hello")
    write(web, token, "hello")
    assert count(app) == 1
    write(web, token, "hello", once="another-name-1")
    assert count(app) == 2


def test_the_same_name_used_by_two_owners_is_two_messages(app, web, now):
    write(web, link(app, now), "hello")
    write(web, link(app, now, "Bert Olsen", "+12165550122"), "hello")
    assert count(app) == 2


def test_new_lines_come_by_themselves(app, web, now):
    token = link(app, now)
    assert web.get(f"/chat/{token}/new").json["lines"] == []
    assert write(web, token, "hello", headers={"X-Script": "1"}).status_code == 204
    found = web.get(f"/chat/{token}/new?after=0").json
    assert [(line["mine"], line["text"]) for line in found["lines"]] == [(True, "hello"), (False, "hello")]
    last = found["lines"][-1]["id"]
    assert web.get(f"/chat/{token}/new?after={last}").json["lines"] == []
    assert found["once"] != web.get(f"/chat/{token}/new").json["once"]


def test_an_answer_of_a_person_appears_on_the_page_and_is_not_texted(app, web, carrier, now):
    token = link(app, now)
    write(web, token, "I want a person")
    with app.database.reading(1) as tx:
        (waiting,) = handovers.handovers_in(tx)
    answer_client(app, waiting.id, "Rinse it first", "Nola", now)
    send_due(app, now)
    assert web.get(f"/chat/{token}/new").json["lines"][-1] | {"id": 0} == {
        "id": 0, "mine": False, "text": "Rinse it first", "who": "Nola",
    }  # fmt: skip
    assert carrier.sent == []


def test_an_owner_who_takes_texts_gets_a_persons_answer_as_one_too(app, web, carrier, now):
    token = link(app, now)
    with app.database.transaction(1) as tx:
        threads.record_consent(tx, threads.open_thread(tx, "+13055550111", "sms", now), "service", now)
    write(web, token, "I want a person")
    with app.database.reading(1) as tx:
        (waiting,) = handovers.handovers_in(tx)
    answer_client(app, waiting.id, "Rinse it first", "Nola", now)
    send_due(app, now)
    assert [(text.to, text.text) for text in carrier.sent] == [("+13055550111", "Rinse it first")]
    assert web.get(f"/chat/{token}/new").json["lines"][-1]["text"] == "Rinse it first"


def test_the_page_shows_what_was_written_on_it_and_not_the_owners_texts(app, web, now):
    from assistant.domain.conversation.situation import InboundMessage
    from assistant.usecases.converse import receive

    token = link(app, now)
    receive(app, InboundMessage("SM" + "1" * 32, "+13055550111", "", "my gate code is secret"), now)
    assert "gate code" not in web.get(f"/chat/{token}").text
    assert web.get(f"/chat/{token}/new").json["lines"] == []


def test_opting_out_on_the_page_holds_for_texts_too(app, web, now):
    from assistant.domain.conversation.decision import Decision, OptOut

    token = link(app, now)
    stops = replace(app, decide=lambda *_: Decision(("You're off the list.",), (OptOut("STOP", True),)))
    write(create_app(stops, now=lambda: now).test_client(), token, "STOP")
    with app.database.transaction(1) as tx:
        thread = threads.read_thread(tx, threads.open_thread(tx, "+13055550111", "sms", now))
    assert not thread.consent.reachable


@pytest.mark.parametrize("text", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "{{ 7 * 7 }}", "a\x00b"])
def test_script_in_a_message_is_shown_and_not_run(app, web, now, text):
    token = link(app, now)
    write(web, token, text)
    page = web.get(f"/chat/{token}").text
    assert "<script>alert" not in page
    assert "<img" not in page
    assert "49" not in page.split('class="talk"')[1].split("</div>")[0]


@pytest.mark.parametrize(
    "form", [{}, {"text": "hi"}, {"text": "hi", "once": "short"}, {"text": "hi", "once": "../../etc"},
             {"text": "x" * 1001, "once": "abcdefgh1234"}],
)  # fmt: skip
def test_a_form_that_is_not_ours_is_refused(app, web, now, form):
    assert web.post(f"/chat/{link(app, now)}", data=form).status_code == 400
    assert count(app) == 0


def test_an_empty_message_says_nothing(app, web, now):
    assert write(web, link(app, now), "   ").status_code == 303
    assert count(app) == 0


def test_a_flood_is_slowed_down(app, web, now):
    token = link(app, now)
    codes = [write(web, token, "hello", once=f"name-number-{n}").status_code for n in range(25)]
    assert codes.count(303) == 20
    assert codes[-1] == 429


@pytest.mark.parametrize("after", ["", "-1", "x", "9" * 30, "1 OR 1=1"])
def test_an_odd_place_in_the_conversation_is_its_beginning(app, web, now, after):
    token = link(app, now)
    write(web, token, "hello")
    assert len(web.get(f"/chat/{token}/new?after={after}").json["lines"]) == 2


def test_another_owners_link_reads_nothing_of_it(app, web, now):
    token = link(app, now)
    write(web, token, "the key is under the mat")
    other = link(app, now, "Bert Olsen", "+12165550122")
    assert "under the mat" not in web.get(f"/chat/{other}").text
    assert web.get(f"/chat/{other}/new").json["lines"] == []
