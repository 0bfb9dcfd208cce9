"""A day at the business, through the pages: each test does what a person does and looks at what came of it."""

from __future__ import annotations

import io
import itertools
from datetime import timedelta

import pytest

from assistant.storage import audit, handovers, lists, outbox, threads, visits
from assistant.storage.business_file import template_text
from assistant.storage.clients import client_of_phone
from tests.crew_pages import NASTY, Crew, add_person, come_in, keep_photo, seed, with_places
from tests.hand_made import hand_made


@pytest.fixture
def business(business):
    return with_places(business)


@pytest.fixture
def assistant(database, business, tmp_path):
    (tmp_path / "business.toml").write_text(template_text(), encoding="utf-8")
    return hand_made(database, business, tmp_path)


@pytest.fixture
def made(database, business, now):
    return seed(database, business, now)


@pytest.fixture
def nola(assistant, web, made, now):
    add_person(assistant, now)
    come_in(web)
    return Crew(web)


def test_the_day_shows_stops_in_order_with_the_drive_and_what_each_boat_needs(nola):
    html = nola.get("/day").text
    assert html.index("Sea Thistle") < html.index("Blue Ledger")
    assert "min drive" in html
    assert "Photos before" in html
    assert "Golondrina" not in html
    assert "Golondrina" in nola.get("/day?on=2027-05-05").text


def test_urgent_questions_stand_first(nola):
    html = nola.get("/waiting").text
    assert html.index("Bert Olsen") < html.index("Ana Reyes")


def test_an_answer_goes_out_and_the_assistant_answers_again(nola, made, database, now):
    nola.post(f"/conversations/{made['Ana Reyes']}", {"do": "take"})
    page = f"/waiting/{made['handover']}"
    assert nola.post(page, {"answer": "Plain soap instead, please.", "teach": ""}, page).status_code == 303
    with database.reading(1) as tx:
        one = handovers.find_handover(tx, made["handover"])
        queued = [text for text in outbox.texts_in(tx, "queued") if text.kind == "answer"]
        assert threads.read_thread(tx, made["Ana Reyes"]).paused_until is None
    assert (one.state, one.answered_by) == ("answered", "Nola")
    assert [(text.text, text.consent, text.written_by) for text in queued] == [
        ("Plain soap instead, please.", "reply", "Nola")
    ]


def test_a_question_is_answered_once(nola, made, database):
    page = f"/waiting/{made['handover']}"
    nola.post(page, {"answer": "First."}, page)
    assert nola.post(page, {"answer": "Second."}, "/more").status_code == 409
    with database.reading(1) as tx:
        assert [text.text for text in outbox.texts_in(tx, "queued") if text.kind == "answer"] == ["First."]


@pytest.mark.parametrize("answer", ["", "   ", "Reply YES to confirm", "word " * 400])
def test_an_answer_that_cannot_go_out_is_refused_and_kept_in_the_form(nola, made, database, answer):
    page = f"/waiting/{made['handover']}"
    refused = nola.post(page, {"answer": answer}, page)
    assert refused.status_code == 400
    assert answer.strip() in refused.text
    with database.reading(1) as tx:
        assert handovers.find_handover(tx, made["handover"]).state == "open"


def test_putting_aside_sends_nothing(nola, made, database):
    nola.post(f"/waiting/{made['handover']}/aside")
    with database.reading(1) as tx:
        assert handovers.find_handover(tx, made["handover"]).state == "closed"
        assert not [text for text in outbox.texts_in(tx, "queued") if text.kind == "answer"]


def test_script_in_a_text_or_a_name_stays_text(nola, made):
    for path in (f"/waiting/{made['handover']}", "/waiting", f"/boats/{made['Sea Thistle']}", "/going-out"):
        html = nola.get(path).text
        assert NASTY not in html
        assert "&lt;script&gt;" in html


def test_a_photo_stands_beside_the_text_and_in_the_boats_story(nola, made, database, assistant, now):
    with database.transaction(1) as tx:
        asked = lists.asked_in(tx, made["handover"])
        keep_photo(tx, assistant.settings.home, asked.id, made["Sea Thistle"], made["client Ana Reyes"], now)
    for path in (f"/waiting/{made['handover']}", f"/boats/{made['Sea Thistle']}"):
        assert "/crew/photos/picture1" in nola.get(path).text
    with nola.get("/photos/picture1") as picture:
        assert (picture.content_type, picture.data[:2]) == ("image/jpeg", b"\xff\xd8")
    assert nola.get("/photos/picture2").status_code == 404


def test_a_client_and_boat_are_written_in_by_hand_with_the_eyes_of_the_import(nola, database):
    row = {"phone": "305 555 0166", "name": NASTY, "vessel": NASTY, "length_ft": "30", "kept": "lift"}
    answer = nola.post("/boats/new", row)
    assert answer.status_code == 303
    html = nola.get(answer.location.removeprefix("/crew").partition("?")[0]).text
    assert NASTY not in html
    assert "&lt;script&gt;" in html
    with database.reading(1) as tx:
        assert client_of_phone(tx, "+13055550166").name == NASTY


def test_a_bad_field_is_named_and_nothing_is_written(nola, database):
    answer = nola.post("/boats/new", {"phone": "305 555 0166", "vessel": "Tern", "length_ft": "300"})
    assert answer.status_code == 400
    assert 'id="about-length_ft"' in answer.text
    with database.reading(1) as tx:
        assert client_of_phone(tx, "+13055550166") is None


def test_boats_are_found_by_name_owner_number_and_harbor(nola):
    for words in ("paper moo", "olsen", "2165550122", "juniper"):
        html = nola.get(f"/boats?find={words}&by=name").text
        assert "Paper Moon" in html
        assert "Sea Thistle" not in html
    assert "Nothing found" in nola.get("/boats?find=%25").text


def test_a_visit_is_moved_by_hand_and_the_time_is_taken(nola, made, database, now):
    page = f"/visits/{made['visit']}"
    form = {"day": "2027-05-06", "time": "10:00", "hours": "2", "do": "move"}
    assert nola.post(page, form, page).status_code == 303
    with database.reading(1) as tx:
        moved = visits.find_visit(tx, made["visit"])
    assert moved.begins.isoformat() == "2027-05-06T14:00:00+00:00"
    other = nola.post(f"/boats/{made['Saltbox']}/visit", {**form, "service": "wash"}, page)
    assert other.status_code == 409
    assert "Choose another" in other.text


@pytest.mark.parametrize("form", [{"day": "yesterday", "time": "10:00"}, {"day": "2027-05-06", "time": "10:00", "hours": "-2"},
                                  {"day": "2027-05-06", "time": "10:00", "hours": "nan"}, {"slot": "x/y"}, {}])  # fmt: skip
def test_a_time_that_cannot_be_read_moves_nothing(nola, made, form):
    page = f"/visits/{made['visit']}"
    assert nola.post(page, {**form, "do": "move"}, page).status_code == 400


def test_a_visit_called_off_frees_its_time(nola, made, database, now):
    page = f"/visits/{made['visit']}"
    nola.post(page, {"do": "off", "reason": "engine out"}, page)
    with database.reading(1) as tx:
        assert visits.find_visit(tx, made["visit"]).state == "called_off"
        lines = [(deed.actor, deed.action) for deed in audit.deeds(tx)]
    assert ("Nola", "called off") in lines


def test_a_weather_day_finds_new_times_and_never_two_at_once(nola, database, now):
    assert "Sea Thistle" in nola.get("/weather?on=2027-05-04").text
    nola.post("/weather", {"on": "2027-05-04"})
    with database.reading(1) as tx:
        day = list(visits.visits_between(tx, now.replace(hour=4), now.replace(hour=4) + timedelta(days=1)))
        later = visits.visits_between(tx, now + timedelta(days=1) - timedelta(hours=10), now + timedelta(days=30))
    assert day == []
    assert all(a.ends <= b.begins for a, b in itertools.pairwise(later))


def test_a_blocked_day_is_offered_to_nobody_until_it_is_freed(nola, database, now):
    nola.post("/blocks", {"on": "2027-05-07", "do": "block", "crew": "0"})
    html = nola.get("/week?on=2027-05-07").text
    assert "Blocked" in html
    with database.reading(1) as tx:
        assert [b for b in visits.busy_between(tx, now + timedelta(days=3), now + timedelta(days=3, hours=1), now) if b.crew == 0]
    source = html.split('name="source" value="')[1].split('"')[0]
    nola.post("/blocks", {"on": "2027-05-07", "do": "free", "source": source})
    assert "Blocked" not in nola.get("/week?on=2027-05-07").text


def test_a_text_is_held_back_once(nola, database):
    with database.reading(1) as tx:
        (text,) = (one for one in outbox.texts_in(tx, "queued") if one.kind == "reminder")
    assert nola.post(f"/going-out/{text.id}").location.endswith("dropped")
    assert nola.post(f"/going-out/{text.id}").location.endswith("nothing")


def test_the_business_file_is_refused_with_line_and_remedy_and_stays_as_it_was(nola, assistant):
    page = nola.get("/business").text
    made_from = page.split('name="made_from" value="')[1].split('"')[0]
    bad = template_text().replace('zone = "America/New_York"', 'zone = "Atlantis"')
    refused = nola.post("/business", {"text": bad, "made_from": made_from})
    assert refused.status_code == 400
    assert "Line 8" in refused.text
    assert assistant.settings.business_file.read_text() == template_text()
    good = template_text().replace('name = "My Boat Care"', 'name = "Tern Boat Care"')
    assert nola.post("/business", {"text": good, "made_from": made_from}).status_code == 303
    assert assistant.business.name == "Tern Boat Care"
    assert nola.post("/business", {"text": good, "made_from": made_from}).status_code == 409


def test_a_list_is_looked_at_before_it_is_taken_over(nola, database):
    data = b"phone,name,vessel\n+13055550177,Faye Lund,Tern\n"
    seen = nola.post("/bring-in", {"file": (io.BytesIO(data), "../../x.csv")}, content_type="multipart/form-data")
    assert "Faye Lund" in seen.text
    with database.reading(1) as tx:
        assert client_of_phone(tx, "+13055550177") is None
    token = seen.text.split('name="token" value="')[1].split('"')[0]
    assert nola.post("/bring-in", {"token": token}).status_code == 303
    with database.reading(1) as tx:
        assert client_of_phone(tx, "+13055550177").name == "Faye Lund"


def test_a_bad_list_names_its_cells(nola):
    data = b"phone,vessel,length_ft\n12,Tern,900\n"
    refused = nola.post("/bring-in", {"file": (io.BytesIO(data), "x.csv")}, content_type="multipart/form-data")
    assert refused.status_code == 400
    assert "Line 2" in refused.text


@pytest.mark.parametrize("path", ["/knowledge/file/..%2f..%2fbusiness.toml", "/knowledge/file//etc/passwd",
                                  "/photos/..%2f..%2fbusiness.toml", "/static/..%2fcrew%2fguard.py"])  # fmt: skip
def test_no_path_leads_out_of_its_folder(nola, path):
    assert nola.get(path).status_code in (404, 308, 400)


def test_the_numbers_count_and_come_as_a_file(nola):
    assert "of 2 texts" in nola.get("/numbers").text
    rows = nola.get("/numbers.csv").text.splitlines()
    assert rows[0].startswith("\ufeffmonth")
    assert any(row.startswith("2027-05,2,0,2") for row in rows)


def test_the_guide_ends_when_everything_is_done(nola):
    html = nola.get("/guide").text
    assert html.count("Done") >= 2


def test_the_log_says_who_did_what(nola, made):
    nola.post(f"/waiting/{made['handover']}/aside")
    html = nola.get("/log?find=nola").text
    assert "put aside" in html
    assert "put aside" not in nola.get("/log?find=somebodyelse").text


def test_many_rows_come_in_pages(nola, database, business, now):
    from assistant.domain.people import Vessel
    from assistant.storage import care

    with database.transaction(1) as tx:
        client = client_of_phone(tx, "+13055550111").id
        for number in range(60):
            care.add_vessel(tx, Vessel(0, client, f"Tender {number:02}"), now)
    for by in ("", "&by=name"):
        seen = [name for page in (1, 2, 3) for name in _tenders(nola.get(f"/boats?find=tender&page={page}{by}").text)]
        assert sorted(seen) == [f"Tender {number:02}" for number in range(60)]


def _tenders(html: str) -> list[str]:
    return [part.split("<")[0] for part in html.split(">") if part.startswith("Tender ")]
