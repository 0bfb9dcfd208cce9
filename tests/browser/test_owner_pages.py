"""The owner's pages in a real browser: seen at two widths, light and dark, used by keyboard, with and without a script.

Needs Chromium (`chromium` on the path, or CHROMIUM) and Playwright; the check against WCAG 2.2 AA needs axe-core
(node_modules/axe-core, or AXE as the path of axe.min.js). Screenshots go to the folder SCREENSHOTS, if it is set.
"""

from __future__ import annotations

import os
import re
import shutil
import threading
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
import waitress

from assistant.carriers.memory import MemoryCarrier
from assistant.carriers.pages import WithPages
from assistant.domain.people import Application, CareEvent, CareKind, Vessel
from assistant.domain.visits import Slot
from assistant.doors.web import create_app
from assistant.packaged import packaged
from assistant.storage import care, clients, handovers, visits
from assistant.storage.clients import NewClient
from assistant.storage.knowledge_files.reader import read_without_model
from assistant.usecases.answer_client import answer_client
from assistant.usecases.send_due import send_due
from tests.hand_made import hand_made

playwright = pytest.importorskip("playwright.sync_api", reason="the test extra brings Playwright")
CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")
AXE = Path(os.environ.get("AXE", "node_modules/axe-core/axe.min.js"))
SCREENSHOTS = os.environ.get("SCREENSHOTS")
LOOKS = [(360, "light"), (360, "dark"), (1280, "light"), (1280, "dark")]
PAGES = ["card/{0}", "card/{0}?lang=es", "card/{0}/print", "chat/{0}", "card/nobodys"]

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


@pytest.fixture
def app(database, business, tmp_path):
    made = hand_made(database, business, tmp_path, carrier=WithPages(MemoryCarrier()))
    return replace(made, knowledge=read_without_model(packaged("knowledge"))[0])


@pytest.fixture
def token(app, now):
    """Ana's link: a boat half through its life, with toppers and a visit."""
    with app.database.transaction(1) as tx:
        client = clients.add_client(tx, NewClient("Ana Reyes", "+13055550111", "en", "America/New_York", "US"), now)
        vessel = care.add_vessel(tx, Vessel(0, client, "Sea Thistle", length_ft=Decimal(28)), now)
        for surface in ("hull", "topsides"):
            care.add_application(tx, Application(0, vessel, surface, "sealant", date(2027, 1, 12)), now)
        care.add_event(tx, CareEvent(0, vessel, CareKind.TOPPER, date(2027, 2, 20)), now)
        slot = Slot(1, now + timedelta(days=9), now + timedelta(days=9, hours=2))
        visits.book_visit(tx, client, slot, "wash", [vessel], "America/New_York", now, place="Pelican Slough")
        return clients.tokens(tx, client)[0]


@pytest.fixture
def site(app, now):
    """The address of a real server."""
    server = waitress.create_server(create_app(app, now=lambda: now), host="127.0.0.1", port=0, threads=4)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.effective_port}/"
    server.close()
    thread.join(5)


def page_in(browser, width=360, scheme="light", **more):
    """A page that notes what it complains of and whom it asks."""
    context = browser.new_context(viewport={"width": width, "height": 780}, color_scheme=scheme, **more)
    page = context.new_page()
    page.complaints, page.asked = [], []
    page.on("console", lambda said: said.type in ("error", "warning") and page.complaints.append(said.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.on("request", lambda request: page.asked.append(request.url))
    return page


@pytest.mark.parametrize(("width", "scheme"), LOOKS)
def test_every_page_fits_complains_of_nothing_and_asks_nobody_else(browser, site, token, width, scheme):
    page = page_in(browser, width, scheme)
    for address in PAGES:
        page.goto(site + address.format(token), wait_until="load")
        if page.locator("summary").count():
            page.locator("summary").first.click()
        assert page.evaluate("document.documentElement.scrollWidth") <= width, address
        if SCREENSHOTS:
            name = address.format("ana").replace("/", "-").replace("?", "-")
            page.screenshot(path=f"{SCREENSHOTS}/owner-{name}-{width}-{scheme}.png", full_page=True)
    assert [url for url in page.asked if not url.startswith(site)] == []
    assert [said for said in page.complaints if "404" not in said] == []
    page.context.close()


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_accessible(browser, site, token, scheme):
    page = page_in(browser, 360, scheme, bypass_csp=True)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    for address in PAGES:
        page.goto(site + address.format(token), wait_until="load")
        for summary in page.locator("summary").all():
            summary.click()
        page.add_script_tag(path=AXE)
        found = page.evaluate("tags => axe.run({runOnly: tags})", tags)
        told = [(one["id"], [node["html"] for node in one["nodes"]]) for one in found["violations"]]
        assert told == [], address
    page.context.close()


def test_the_topper_is_noted_by_keyboard_without_a_script(browser, site, token):
    page = page_in(browser, java_script_enabled=False)
    page.goto(f"{site}card/{token}")
    page.get_by_role("button", name="I put topper on today").focus()
    page.keyboard.press("Enter")
    page.get_by_text("Noted for today").wait_for()
    assert page.get_by_role("button", name="I put topper on today").count() == 0
    assert page.get_by_text("Toppers since then: Feb 20, May 4").count() == 1
    page.context.close()


def test_a_question_is_asked_without_a_script(browser, site, token):
    page = page_in(browser, java_script_enabled=False)
    page.goto(f"{site}card/{token}")
    page.get_by_role("link", name="Ask a question").click()
    page.get_by_label("Your question").fill("May I use <b>vinegar</b>?")
    page.get_by_role("button", name="Send").click()
    assert page.locator(".talk p").all_inner_texts() == [
        "You\nMay I use <b>vinegar</b>?", "Fernwake Boat Care\nMay I use <b>vinegar</b>?",
    ]  # fmt: skip
    page.context.close()


def test_with_a_script_the_page_stays_and_a_persons_answer_comes_by_itself(browser, site, app, token, now):
    page = page_in(browser)
    page.goto(f"{site}chat/{token}")
    page.get_by_label("Your question").fill("a person please")
    page.get_by_role("button", name="Send").click()
    page.locator(".talk p").nth(1).wait_for()
    with app.database.reading(1) as tx:
        (waiting,) = handovers.handovers_in(tx)
    answer_client(app, waiting.id, "Rinse it & wait <i>an hour</i>", "Nola", now)
    send_due(app, now)
    page.locator(".talk p", has_text="Nola").wait_for(timeout=20_000)
    assert page.locator(".talk p").last.inner_text() == "Nola\nRinse it & wait <i>an hour</i>"
    assert page.get_by_label("Your question").input_value() == ""
    assert page.complaints == []
    page.context.close()


def test_when_the_line_drops_the_words_stay(browser, site, token):
    page = page_in(browser)
    page.goto(f"{site}chat/{token}")
    page.get_by_label("Your question").fill("is it still wet?")
    page.context.set_offline(True)
    page.get_by_role("button", name="Send").click()
    page.get_by_text("Your words are still there").wait_for()
    page.context.set_offline(False)
    page.get_by_role("button", name="Send").click()
    page.locator(".talk p").nth(1).wait_for()
    assert page.locator(".talk .mine").count() == 1
    page.context.close()


@pytest.mark.parametrize(("country", "points"), [("US", (396, 612)), ("ES", (420, 595))])
def test_the_sheet_is_one_small_page(browser, site, app, token, country, points):
    with app.database.transaction(1) as tx:
        (client,) = clients.search(tx, "Ana")
        clients.change_client(tx, client.id, country=country)
    page = page_in(browser)
    page.goto(f"{site}card/{token}/print")
    pdf = page.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox *\[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert [(round(float(wide)), round(float(high))) for wide, high in boxes] == [points]
    page.context.close()
