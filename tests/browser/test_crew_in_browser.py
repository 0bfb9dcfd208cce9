"""The crew's pages in a real browser: two widths, light and dark, by keyboard, with and without a script, and the ways
a person goes through a day.

Needs Chromium (`chromium` on the path, or CHROMIUM) and Playwright; the check against WCAG 2.2 AA needs axe-core
(node_modules/axe-core, or AXE as the path of axe.min.js). Screenshots go to the folder SCREENSHOTS, if it is set.
"""

from __future__ import annotations

import os
import re
import shutil
import threading
from dataclasses import replace
from pathlib import Path

import pytest
import waitress

from assistant.doors.web import create_app
from assistant.packaged import packaged
from assistant.storage import handovers, outbox, visits
from assistant.storage.business_file import template_text
from assistant.storage.knowledge_files.reader import prepared, read_without_model
from assistant.usecases import edit_knowledge
from tests.crew_pages import OWNER, PASSWORD, add_person, seed, with_places
from tests.hand_made import hand_made

playwright = pytest.importorskip("playwright.sync_api", reason="the test extra brings Playwright")
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")
AXE = Path(os.environ.get("AXE", "node_modules/axe-core/axe.min.js"))
SCREENSHOTS = os.environ.get("SCREENSHOTS")
LOOKS = [(360, "light"), (360, "dark"), (1280, "light"), (1280, "dark")]
PAGES = (
    "day", "waiting", "waiting/{handover}", "boats", "boats/{boat}", "boats/new", "boats/{boat}/job",
    "boats/{boat}/visit?service=wash", "week", "visits/{visit}", "weather?on=2027-05-04", "going-out", "more", "guide",
    "people", "log", "knowledge?find=teak", "knowledge/file/answers/en/barnacles.md", "business", "bring-in", "numbers",
)  # fmt: skip

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no chromium on the path"),
]


@pytest.fixture(scope="module")
def browser():
    with playwright.sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield opened
        opened.close()


@pytest.fixture(scope="module")
def knowledge():
    """The real one; the models stand for fitted ones, so that no test waits for a fit."""
    return replace(prepared(read_without_model(packaged("knowledge"))[0]), models={"en": None})


@pytest.fixture
def business(business):
    return with_places(business)


@pytest.fixture
def app(database, business, tmp_path, knowledge, now):
    (tmp_path / "business.toml").write_text(template_text(), encoding="utf-8")
    made = hand_made(database, business, tmp_path)
    made = replace(made, knowledge=knowledge, settings=replace(made.settings, public_url=""))
    add_person(made, now)
    return made


@pytest.fixture
def made(app, now):
    return seed(app.database, app.business, now)


@pytest.fixture
def site(app, now):
    """The address of the pages on a real server."""
    server = waitress.create_server(create_app(app, now=lambda: now), host="127.0.0.1", port=0, threads=4)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}/crew/"
    server.close()
    thread.join(5)


def signed_in(browser, site, width=360, scheme="light", **more):
    """A page of somebody who came in; it notes what it complains of and whom it asks."""
    context = browser.new_context(viewport={"width": width, "height": 780}, color_scheme=scheme, **more)
    page = context.new_page()
    page.complaints, page.asked = [], []
    page.on("console", lambda said: said.type in ("error", "warning") and page.complaints.append(said.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    page.goto(site + "sign-in")
    page.get_by_label("Your mobile number").fill(OWNER)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_label("Password").press("Enter")
    page.get_by_role("heading", name="Today").wait_for()
    return page


def addresses(made):
    numbers = {"handover": made["handover"], "boat": made["Sea Thistle"], "visit": made["visit"]}
    return [address.format(**numbers) for address in PAGES]


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_every_page_fits_complains_of_nothing_and_asks_nobody_else(browser, site, made, width, scheme):
    page = signed_in(browser, site, width, scheme)
    for address in addresses(made):
        page.goto(site + address)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, address
        assert page.title().endswith("Fernwake Boat Care"), address
        if SCREENSHOTS:
            name = re.sub(r"\W+", "-", address)
            page.screenshot(path=f"{SCREENSHOTS}/crew-{name}-{width}-{scheme}.png", full_page=True)
    assert [url for url in page.asked if not url.startswith(site)] == []
    assert page.complaints == []
    page.context.close()


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed")
@pytest.mark.parametrize(("width", "scheme"), [LOOKS[0], LOOKS[3]])
def test_every_page_is_accessible(browser, site, made, width, scheme):
    page = signed_in(browser, site, width, scheme, bypass_csp=True)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    for address in ("sign-in", *addresses(made)):
        page.goto(site + address)
        for summary in page.locator("summary").all():
            summary.click()
        page.add_script_tag(path=AXE)
        found = page.evaluate("tags => axe.run({runOnly: tags})", tags)
        told = [(one["id"], [node["html"] for node in one["nodes"]]) for one in found["violations"]]
        assert told == [], address
    page.context.close()


def test_from_the_first_run_to_the_first_care_pack(browser, site, app):
    page = signed_in(browser, site)
    page.goto(site + "guide")
    page.get_by_role("link", name="Write down one client with a boat").click()
    page.get_by_label("Mobile number").fill("305 555 0188")
    page.get_by_label("Name", exact=True).fill("Gil Moran")
    page.get_by_label("Name of the boat").fill("Petrel")
    page.get_by_label("Length in feet").fill("27")
    page.get_by_label("How it is kept").select_option(label="On a lift or trailer")
    page.get_by_role("button", name="Write it down").click()
    page.get_by_role("heading", name="Petrel").wait_for()
    page.get_by_role("link", name="Job finished").click()
    page.locator("[name=coat-hull]").select_option("sealant")
    page.get_by_label("Texts about this work").check()
    page.get_by_label("How", exact=True).fill("told us on the dock")
    page.get_by_role("button", name="Record it").click()
    page.get_by_text("The care pack leaves at the next fit hour").wait_for()
    with app.database.reading(1) as tx:
        (text,) = outbox.texts_in(tx, "queued")
    assert "Petrel" in text.text
    assert text.consent == "service"
    page.goto(site + "guide")
    assert page.get_by_text("Done", exact=True).count() >= 2
    page.context.close()


def test_a_question_is_answered_without_a_script(browser, site, made, app):
    page = signed_in(browser, site, java_script_enabled=False)
    page.get_by_role("link", name="Waiting").click()
    page.get_by_role("link", name="Answer Ana Reyes").click()
    assert page.locator("main").inner_text().count("<script>") >= 1
    page.get_by_label("Your answer").fill("Plain soap, please.")
    page.get_by_role("button", name="Send").click()
    page.get_by_text("Your answer is on its way.").wait_for()
    with app.database.reading(1) as tx:
        assert handovers.find_handover(tx, made["handover"]).answer == "Plain soap, please."
    page.context.close()


def test_what_a_person_answers_is_taught_after_a_look_at_what_changes(browser, site, made, app, monkeypatch):
    monkeypatch.setattr(edit_knowledge, "with_models", lambda knowledge: replace(knowledge, models={"en": None}))
    monkeypatch.setattr(edit_knowledge, "save_models", lambda folder, stamp, models: None)
    page = signed_in(browser, site, 1280)
    page.goto(f"{site}waiting/{made['handover']}")
    page.get_by_label("Your answer").fill("Vinegar stays in the kitchen.")
    page.get_by_label("It is new").check()
    page.get_by_label("What it is about").fill("Kitchen things")
    page.get_by_label("Two or more other ways").fill("can i use salt\nis ketchup ok")
    page.get_by_role("button", name="Send").click()
    page.get_by_role("button", name="Use it from now on").click(timeout=60_000)
    page.get_by_text("Saved and in use.").wait_for()
    assert app.knowledge.answers["en"]["kitchen_things"].text == "Vinegar stays in the kitchen."
    page.context.close()


def test_a_change_of_knowledge_is_refused_with_its_line_then_used_when_it_is_right(browser, site, app, monkeypatch):
    monkeypatch.setattr(edit_knowledge, "save_models", lambda folder, stamp, models: None)
    page = signed_in(browser, site, 1280)
    page.goto(site + "knowledge?find=barnacles")
    page.get_by_role("link", name="Barnacles", exact=False).first.click()
    text = page.locator("textarea").input_value()
    page.locator("textarea").fill(text.replace("verdict:", "verdct:"))
    page.get_by_role("button", name="Try it out").click()
    page.get_by_text("key 'verdct' is unknown").wait_for(timeout=60_000)
    assert page.get_by_role("button", name="Use it from now on").count() == 0
    page.go_back()
    page.locator("textarea").fill(text.replace("handover: never", "handover: always"))
    page.get_by_role("button", name="Try it out").click()
    page.get_by_role("button", name="Use it from now on").click(timeout=60_000)
    page.get_by_text("Saved and in use.").wait_for()
    page.context.close()


def test_a_visit_is_moved_to_a_free_time_with_one_tap(browser, site, made, app):
    page = signed_in(browser, site)
    page.get_by_role("link", name="Week").click()
    page.get_by_role("link", name="9 am wash").click()
    page.locator("button[name=slot]").first.click()
    page.get_by_text("The visit is moved.").wait_for()
    with app.database.reading(1) as tx:
        assert visits.find_visit(tx, made["visit"]).sequence == 1
        assert [text.kind for text in outbox.texts_in(tx, "queued")].count("visit_change") == 1
    page.context.close()


def test_ticks_on_the_days_sheet_stay_on_this_device(browser, site, made):
    page = signed_in(browser, site)
    page.get_by_label("Photos before").first.check()
    page.reload()
    assert page.get_by_label("Photos before").first.is_checked()
    page.context.close()


def test_the_keyboard_alone_leads_through(browser, site, made):
    page = signed_in(browser, site)
    page.reload()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    page.keyboard.press("Tab")
    assert "urgent" in page.evaluate("document.activeElement.textContent")
    page.context.close()
