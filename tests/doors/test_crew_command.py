"""`aftercare crew`: the way in from the computer the program runs on."""

from __future__ import annotations

import re

import pytest

from assistant.assembly import assemble
from assistant.doors.command_line import main
from assistant.doors.command_line.crew import NOTHING
from assistant.doors.web import create_app
from assistant.settings import Settings
from tests.crew_pages import code_in


@pytest.fixture
def home(tmp_path, monkeypatch):
    monkeypatch.setenv("AFTERCARE_HOME", str(tmp_path))
    assert main(["init"]) == 0
    return tmp_path


def link(out: str) -> str:
    return re.search(r"/crew/invitation/\S+", out)[0]


def test_the_printed_link_lets_the_owner_in(home, capsys):
    assert main(["crew", "add", "+13055550101"]) == 0
    address = link(capsys.readouterr().out)
    app = assemble(Settings.from_environment({"AFTERCARE_HOME": str(home)}), knowledge=NOTHING)
    web = create_app(app).test_client()
    code = code_in(web.get(address).text)
    assert web.post(address, data={"code": code, "password": "a good long one"}).status_code == 303
    assert web.get("/crew/people").status_code == 200
    assert main(["crew", "list"]) == 0
    assert "owner   Sam" in capsys.readouterr().out
    app.database.dispose()


def test_a_reset_needs_an_account_and_makes_a_new_link(home, capsys):
    assert main(["crew", "reset", "+13055550102"]) == 2
    main(["crew", "add", "+13055550102", "--name", "Ines"])
    first = link(capsys.readouterr().out)
    assert main(["crew", "reset", "(305) 555-0102"]) == 0
    assert link(capsys.readouterr().out) != first


@pytest.mark.parametrize("number", ["12", "nobody", "+13055550177"])
def test_a_number_that_is_none_or_nobodys_is_refused(home, number):
    assert main(["crew", "add", number]) == 2
