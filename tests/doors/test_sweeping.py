"""`sweep`: what would leave at an instant, or in a year, on a copy unless told otherwise."""

from __future__ import annotations

import io
import json
import sqlite3
from xml.etree import ElementTree

import pytest

from assistant.doors.command_line import main
from tests.nudging import knowledge

CSV = (
    "phone,name,language,service_consent,marketing_consent,consent_on,consent_how,vessel,kept,season_from,season_to,"
    "kept_off_season,surface,coating,applied_on\n"
    "+13055550111,Ana Reyes,en,yes,yes,2027-03-02,work order,Sea Thistle,in_water,,,,hull,sealant,2027-03-02\n"
    "+12165550122,Bert Olsen,en,yes,no,2027-04-20,work order,Paper Moon,in_water,05-01,10-15,indoors,hull,sealant,2027-04-20\n"
    "+13055550155,Elena Prats,es,no,no,2027-03-30,work order,Golondrina,lift,,,,hull,wax,2027-03-30\n"
)


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A home with three clients; Elena has agreed to nothing."""
    for name in ("AFTERCARE_DATABASE_URL", "AFTERCARE_PUBLIC_URL", "AFTERCARE_SENDER", "TWILIO_ACCOUNT_SID",
                 "TWILIO_AUTH_TOKEN"):  # fmt: skip
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("AFTERCARE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    monkeypatch.setattr("assistant.assembly.read_knowledge", lambda *_: knowledge())
    (tmp_path / "clients.csv").write_text(CSV, encoding="utf-8")
    assert main(["init"]) == 0
    assert main(["import", str(tmp_path / "clients.csv")]) == 0
    return tmp_path / "home"


@pytest.fixture
def run(home, capsys):
    capsys.readouterr()

    def command(*arguments):
        code = main(["sweep", *map(str, arguments)])
        return code, *capsys.readouterr()

    return command


def kept(home):
    with sqlite3.connect(home / "aftercare.sqlite3") as connection:
        return connection.execute("SELECT kind, state FROM outbox ORDER BY id").fetchall()


def test_one_line_of_json_for_each_text_that_would_leave(run, home):
    code, told, _ = run("--json", "--at", "2027-05-04T10:30")
    assert code == 0
    topper, look_back = map(json.loads, told.splitlines())
    assert (topper["to"], topper["kind"], topper["segments"]) == ("+13055550111", "monthly_topper", 1)
    assert topper["text"].startswith("My Boat Care: topper time for Sea Thistle.")
    assert topper["why"] == "monthly_topper due 2027-05-01: Sea Thistle, sealant of 2027-03-02, due about 2027-08-29"
    assert (look_back["to"], look_back["kind"]) == ("+12165550122", "check_in")
    assert kept(home) == []


def test_at_night_nothing_leaves(run):
    assert run("--json", "--at", "2027-05-04T03:00") == (0, "", "")
    assert "Nothing would leave at 2027-05-04 03:00." in run("--at", "2027-05-04T03:00")[1]


def test_an_instant_with_an_offset_is_that_instant(run):
    assert run("--json", "--at", "2027-05-04T16:30:00+02:00")[1] == run("--json", "--at", "2027-05-04T10:30")[1]


def test_to_home_keeps_what_was_swept_and_does_not_sweep_it_again(run, home):
    assert len(run("--json", "--at", "2027-05-04T10:30", "--to-home")[1].splitlines()) == 2
    assert kept(home) == [("nudge:monthly_topper", "sent"), ("nudge:check_in", "sent")]
    assert run("--json", "--at", "2027-05-04T10:30", "--to-home")[1] == ""
    assert run("--json", "--at", "2027-05-04T11:30")[1] == ""


def test_a_year_is_a_list_a_calendar_and_a_picture(run, home, tmp_path):
    picture = tmp_path / "year.svg"
    code, told, _ = run("--year", "--at", "2027-04-21T09:00", "--picture", picture)
    assert code == 0
    listed, _, calendar = told.partition("\nTexts in a year: ")
    count = int(calendar.split(",")[0])
    assert listed.count(", 1 part\n") + listed.count(", 2 parts\n") == count > 10
    assert "Elena" not in listed
    months = [line for line in calendar.splitlines() if line[:5] in ("2027-", "2028-")]
    assert sum(int(line.split()[-1]) for line in months) == count
    titles = [element.text for element in ElementTree.parse(picture).iter() if element.tag.endswith("title")]
    assert any("Ana Reyes: reseal_due" in (title or "") for title in titles)
    assert kept(home) == []


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["--at", "tomorrow"], "2027-05-04T10:30"),
        (["--year", "--to-home"], "--to-home"),
        (["--picture", "x.svg"], "--year"),
        (["--year", "--at", "2027-04-21", "--picture", "/nowhere/x.svg"], "another place"),
    ],
)
def test_wrong_use_names_the_remedy(run, arguments, named):
    code, _, trouble = run(*arguments)
    assert code == 2
    assert named in trouble
