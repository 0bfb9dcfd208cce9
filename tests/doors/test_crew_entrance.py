"""Who gets in to the crew's pages, and who does not, however they try."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy import select

from assistant.doors.web import create_app
from assistant.storage import crew as accounts
from assistant.storage import tables
from assistant.usecases import sign_in
from tests.crew_pages import OWNER, PASSWORD, Crew, add_person, code_in, come_in, seed

AT = {"base_url": "https://texts.example.com"}


@pytest.fixture
def nola(assistant, web, now):
    """A browser in which the owner is signed in."""
    add_person(assistant, now)
    assert come_in(web).status_code == 303
    return Crew(web)


def test_the_right_number_and_password_lead_in(nola):
    assert nola.get("/day").status_code == 200


def test_a_number_is_known_however_it_is_written(assistant, web, now):
    add_person(assistant, now)
    assert come_in(web, phone="(305) 555-0101").status_code == 303


@pytest.mark.parametrize(("phone", "password"), [(OWNER, "wrong words here"), ("+13055550109", PASSWORD), ("", "")])
def test_anything_else_stays_outside(assistant, web, now, phone, password):
    add_person(assistant, now)
    assert come_in(web, phone, password).status_code == 403
    assert web.get("/crew/day", **AT).status_code == 303


@pytest.mark.parametrize("path", ["/", "/day", "/waiting", "/waiting/1", "/boats/1", "/log", "/numbers.csv", "/photos/x"])
def test_no_page_opens_for_a_stranger(web, path):
    answer = web.get(f"/crew{path}", **AT)
    assert answer.status_code == 303
    assert answer.location.startswith("/crew/sign-in")


def test_after_signing_in_the_page_asked_for_opens_but_never_another_site(assistant, web, now):
    add_person(assistant, now)
    for then, leads_to in {
        "/crew/boats?find=moon": "/crew/boats?find=moon", "https://evil.example/crew/": "/crew/", "//evil.example": "/crew/",
        "/crew/\\evil.example": "/crew/", "/crew/../sms": "/crew/",
    }.items():  # fmt: skip
        code = code_in(web.get("/crew/sign-in", **AT).text)
        form = {"phone": OWNER, "password": PASSWORD, "code": code, "then": then}
        assert web.post("/crew/sign-in", data=form, **AT).location.startswith(leads_to.split("..")[0])
        assert "evil" not in web.post("/crew/sign-in", data=form | {"code": ""}, **AT).headers.get("Location", "")


def test_a_session_name_planted_beforehand_opens_nothing(assistant, web, now):
    add_person(assistant, now)
    web.set_cookie("__Host-crew", "planted-by-somebody", domain="texts.example.com", secure=True)
    assert come_in(web).status_code == 303
    assert web.get_cookie("__Host-crew", domain="texts.example.com").value != "planted-by-somebody"
    other = create_app(assistant, now=lambda: now).test_client()
    other.set_cookie("__Host-crew", "planted-by-somebody", domain="texts.example.com", secure=True)
    assert other.get("/crew/day", **AT).status_code == 303


def test_the_cookie_is_kept_from_scripts_other_sites_and_plain_http(assistant, web, now):
    add_person(assistant, now)
    cookie = come_in(web).headers["Set-Cookie"]
    assert {"Secure", "HttpOnly", "SameSite=Lax", "Path=/"} <= {part.strip() for part in cookie.split(";")}


def test_signing_out_ends_the_session_for_whoever_kept_its_name(nola, web):
    kept = web.get_cookie("__Host-crew", domain="texts.example.com").value
    nola.post("/sign-out")
    web.set_cookie("__Host-crew", kept, domain="texts.example.com", secure=True)
    assert nola.get("/day").status_code == 303


def test_a_session_that_rests_too_long_has_ended(assistant, now, nola, web):
    later = create_app(assistant, now=lambda: now + accounts.SESSION_RESTS + timedelta(minutes=1)).test_client()
    kept = web.get_cookie("__Host-crew", domain="texts.example.com").value
    later.set_cookie("__Host-crew", kept, domain="texts.example.com", secure=True)
    assert later.get("/crew/day", **AT).status_code == 303


def test_guessing_stops_after_a_few_tries_even_with_the_right_word_at_last(assistant, web, now):
    add_person(assistant, now)
    for _ in range(sign_in.TRIES):
        assert come_in(web, password="guess after guess").status_code == 403
    assert come_in(web).status_code == 429


def test_after_a_quarter_of_an_hour_the_right_word_counts_again(assistant, now):
    add_person(assistant, now)
    for _ in range(sign_in.TRIES):
        sign_in.sign_in(assistant, OWNER, "guess", "203.0.113.9", now)
    assert sign_in.sign_in(assistant, OWNER, PASSWORD, "203.0.113.9", now).refused == "too_often"
    assert sign_in.sign_in(assistant, OWNER, PASSWORD, "203.0.113.9", now + sign_in.WINDOW + timedelta(seconds=1)).token


def test_one_address_cannot_try_many_numbers(assistant, now):
    for number in range(sign_in.TRIES_OF_ADDRESS):
        sign_in.sign_in(assistant, f"+130555502{number:02}", "guess", "203.0.113.9", now)
    assert sign_in.sign_in(assistant, OWNER, "guess", "203.0.113.9", now).refused == "too_often"


def test_no_secret_is_kept_as_it_is(assistant, web, now, nola):
    with assistant.database.reading(1) as tx:
        rows = [tx.connection.execute(select(table)).all() for table in (
            tables.crew_accounts, tables.sessions, tables.invitations, tables.audit_log, tables.sign_in_attempts)]  # fmt: skip
    kept = web.get_cookie("__Host-crew", domain="texts.example.com").value
    assert "$argon2id$" in str(rows)
    assert PASSWORD not in str(rows)
    assert kept not in str(rows)


def test_an_invitation_works_once(assistant, web, now):
    token = sign_in.invite(assistant, "Ines", "+13055550102", "crew", "Nola", now)
    page = web.get(f"/crew/invitation/{token}", **AT)
    form = {"code": code_in(page.text), "password": "long enough words"}
    assert web.post(f"/crew/invitation/{token}", data=form, **AT).status_code == 303
    assert web.get("/crew/day", **AT).status_code == 200
    assert web.get(f"/crew/invitation/{token}", **AT).status_code == 404


def test_a_short_password_is_refused_and_the_invitation_stays_good(assistant, web, now):
    token = sign_in.invite(assistant, "Ines", "+13055550102", "crew", "Nola", now)
    form = {"code": code_in(web.get(f"/crew/invitation/{token}", **AT).text), "password": "short"}
    assert web.post(f"/crew/invitation/{token}", data=form, **AT).status_code == 400
    assert web.get(f"/crew/invitation/{token}", **AT).status_code == 200


def test_a_new_link_makes_the_older_one_worthless(assistant, web, now):
    first, second = (sign_in.invite(assistant, "Ines", "+13055550102", "crew", "Nola", now) for _ in range(2))
    assert web.get(f"/crew/invitation/{first}", **AT).status_code == 404
    assert web.get(f"/crew/invitation/{second}", **AT).status_code == 200


def test_a_new_password_signs_every_other_device_out(assistant, now, nola):
    sign_in.set_password(assistant, sign_in.invite(assistant, "Nola", OWNER, "owner", "cli", now), "quite another one", now)
    assert nola.get("/day").status_code == 303


def test_whoever_is_shut_out_is_out_at_once(assistant, now, nola):
    with assistant.database.reading(1) as tx:
        account = accounts.account_of_phone(tx, OWNER)
    sign_in.lock(assistant, account.id, True, "somebody", now)
    assert nola.get("/day").status_code == 303
    assert sign_in.sign_in(assistant, OWNER, PASSWORD, "", now).refused == "wrong"


@pytest.mark.parametrize("path", ["/people", "/log", "/business", "/bring-in"])
def test_crew_members_do_not_see_what_is_the_owners(assistant, web, now, path):
    add_person(assistant, now, "Dov", "+13055550103", "crew")
    come_in(web, "+13055550103")
    assert Crew(web).get(path).status_code == 403


POSTS = (
    "/sign-out", "/waiting/1", "/waiting/1/aside", "/conversations/1", "/boats/new", "/boats/1/job", "/boats/1/visit",
    "/visits/1", "/weather", "/blocks", "/going-out/1", "/people", "/people/1", "/bring-in", "/business",
    "/knowledge/file/words.csv", "/knowledge/trials/x", "/sign-in",
)  # fmt: skip


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize("code", [None, "", "0" * 64, "ñ"])
def test_a_form_without_the_pages_code_changes_nothing(nola, web, path, code):
    data = {} if code is None else {"code": code}
    assert web.post(f"/crew{path}", data=data, **AT).status_code == 403


def test_every_page_that_takes_a_form_is_tried_above(web):
    rules = [rule for rule in web.application.url_map.iter_rules() if rule.endpoint.startswith("crew.") and "POST" in rule.methods]
    assert len(rules) == len(POSTS) + 1  # and the invitation, which is tried by itself


def test_another_sites_form_is_refused_even_with_the_right_code(nola, web):
    code = code_in(nola.get("/more").text)
    for headers in ({"Origin": "https://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"},
                    {"Sec-Fetch-Site": "same-site"}):  # fmt: skip
        assert web.post("/crew/sign-out", data={"code": code}, headers=headers, **AT).status_code == 403
    assert nola.get("/day").status_code == 200


def test_one_browsers_code_is_worthless_in_another(assistant, web, now, nola):
    other = create_app(assistant, now=lambda: now).test_client()
    code = code_in(other.get("/crew/sign-in", **AT).text)
    assert web.post("/crew/sign-out", data={"code": code}, **AT).status_code == 403


def test_every_answer_forbids_inline_script_frames_and_keeping(nola):
    for path in ("/day", "/sign-in", "/boats/999"):
        headers = nola.get(path).headers
        assert "script-src 'self'" in headers["Content-Security-Policy"]
        assert "unsafe" not in headers["Content-Security-Policy"]
        assert headers["X-Frame-Options"] == "DENY"
        assert headers["Cache-Control"] == "no-store"


def test_pages_hold_no_inline_script_no_style_and_no_foreign_address(assistant, database, business, now, nola):
    made = seed(database, business, now)
    for path in ("/day", "/waiting", f"/waiting/{made['handover']}", f"/boats/{made['Sea Thistle']}", "/week", "/numbers"):
        html = nola.get(path).text
        assert "<script>" not in html
        assert " style=" not in html
        assert " onerror=alert" not in html.replace("&lt;img src=x onerror=alert", "")
        assert "http://" not in html.replace("http://www.w3.org", "")
        assert "https://" not in html
