"""The `aftercare` program: what it prints, what it keeps, and how it ends."""

from __future__ import annotations

import io
import json
import sqlite3
from functools import cache
from pathlib import Path

import pytest

from assistant.doors.command_line import main
from assistant.storage.business_file import read_business
from assistant.storage.knowledge_files import read_knowledge

CSV = (
    "phone,name,language,service_consent,marketing_consent,consent_on,consent_how,vessel,hin,length_ft,boat_type,"
    "water,place,kept,season_from,season_to,kept_off_season,surface,coating,applied_on\n"
    "+13055550111,Ana Reyes,en,yes,no,2027-03-02,work order,Sea Thistle,,28,center console,salt,Pelican Slough,"
    "in_water,,,,hull,sealant,2027-03-02\n"
    "+12165550122,Bert Olsen,en,yes,no,2027-04-20,work order,Paper Moon,,34,cabin cruiser,fresh,Juniper Point,"
    "in_water,05-01,10-15,indoors,hull,sealant,2027-04-20\n"
    "+13055550155,Elena Prats,es,yes,no,2027-03-30,work order,Golondrina,,26,bowrider,salt,Cutter's Bight,"
    "lift,,,,hull,wax,2027-03-30\n"
)
ASKED = {"from": "+13055550111", "text": "when is my reseal due?", "at": "2027-05-04T09:15:00-04:00"}
ANSWERED = {"replies", "asked", "topic", "verdict", "certainty", "handover", "evidence", "elapsed_ms"}


@cache
def knowledge_once(folder):
    """Reading and fitting takes a second a command; what it gives is the same for all."""
    return read_knowledge(folder)


@pytest.fixture
def home(tmp_path, monkeypatch):
    """An empty home named by the environment, which says nothing else."""
    for name in ("AFTERCARE_DATABASE_URL", "AFTERCARE_PUBLIC_URL", "AFTERCARE_SENDER", "TWILIO_ACCOUNT_SID",
                 "TWILIO_AUTH_TOKEN"):  # fmt: skip
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("AFTERCARE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    monkeypatch.setattr("assistant.assembly.read_knowledge", lambda folder, _cache: knowledge_once(folder))
    (tmp_path / "home").mkdir()
    return tmp_path / "home"


@pytest.fixture
def run(home, capsys, monkeypatch):
    """Run a command; gives (code, standard output, standard error)."""

    def command(*arguments, stdin=""):
        monkeypatch.setattr("sys.stdin", io.StringIO(stdin))
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as left:
            code = left.code
        return code, *capsys.readouterr()

    return command


@pytest.fixture
def with_clients(run, tmp_path):
    """A home with three clients."""
    sheet = tmp_path / "clients.csv"
    sheet.write_text(CSV, encoding="utf-8")
    assert run("init")[0] == 0
    assert run("import", sheet)[0] == 0
    return sheet


def lines(output):
    return [json.loads(line) for line in output.splitlines()]


def ask(run, *asked, home=False):
    stdin = "".join(json.dumps(one) + "\n" for one in asked)
    return run("ask", "--json", *(["--to-home"] if home else []), stdin=stdin)


def kept_messages(home):
    with sqlite3.connect(home / "aftercare.sqlite3") as connection:
        return connection.execute("SELECT count(*) FROM messages").fetchone()[0]


def test_init_without_a_terminal_makes_a_home_with_defaults(run, home):
    code, told, _ = run("init")
    assert code == 0
    assert "aftercare serve" in told
    assert read_business(home / "business.toml").detailer == "Sam"
    assert (home / "aftercare.sqlite3").exists()


def test_init_takes_flags_and_writes_them_where_they_belong(run, home):
    code, _, _ = run(
        "init", "--business", 'The "Slough" Care', "--detailer", "Nola", "--number", "(305) 555-0100",
        "--owner-phone", "+13055550109", "--zone", "America/Chicago", "--language", "es",
    )  # fmt: skip
    business = read_business(home / "business.toml")
    assert code == 0
    assert (business.name, business.detailer, business.number) == ('The "Slough" Care', "Nola", "+13055550100")
    assert (business.zone, business.country, business.language) == ("America/Chicago", "US", "es")
    assert [(one.name, one.phone, one.role) for one in business.crew] == [("Nola", "+13055550109", "owner")]


def test_init_never_overwrites(run, home):
    run("init")
    (home / "business.toml").write_text((home / "business.toml").read_text() + "\n# my own words\n")
    before = (home / "business.toml").read_bytes()
    code, told, _ = run("init", "--business", "Another")
    assert code == 0
    assert "stays as it is" in told
    assert (home / "business.toml").read_bytes() == before


@pytest.mark.parametrize(
    "wrong",
    [("--zone", "Mars"), ("--country", "XX"), ("--language", "tlh"), ("--number", "12"), ("--owner-phone", "no")],
)
def test_init_refuses_a_wrong_answer_by_the_name_of_its_flag(run, home, wrong):
    code, _, told = run("init", *wrong)
    assert code == 2
    assert wrong[0] in told
    assert not (home / "business.toml").exists()


@pytest.mark.parametrize("arguments", [(), ("fly",), ("serve", "--port", "many"), ("life", "--at", "soon"), ("ask",)])
def test_wrong_use_ends_with_2(run, arguments):
    code, _, told = run(*arguments)
    assert code == 2
    assert "usage: aftercare" in told


@pytest.mark.parametrize("arguments", [("life",), ("check",), ("ask", "--json"), ("chat",), ("import", __file__)])
def test_without_a_home_the_remedy_is_named(run, arguments):
    code, _, told = run(*arguments)
    assert code == 2
    assert "aftercare init" in told


def test_a_wrong_setting_is_named_with_its_remedy(run, monkeypatch):
    monkeypatch.setenv("AFTERCARE_PUBLIC_URL", "texts.example.com")
    code, _, told = run("life")
    assert code == 2
    assert "AFTERCARE_PUBLIC_URL" in told


def test_serve_names_every_setting_that_is_missing(run):
    run("init")
    code, _, told = run("serve")
    assert code == 2
    for name in ("AFTERCARE_PUBLIC_URL", "TWILIO_ACCOUNT_SID", "TWILIO_AUTH_TOKEN", "AFTERCARE_SENDER"):
        assert name in told


def test_check_finds_nothing_in_a_new_home_and_names_file_line_and_remedy_of_a_slip(run, home):
    run("init")
    assert run("check")[0] == 0
    file = home / "business.toml"
    file.write_text(file.read_text().replace('monday = "08:00-17:00"', 'monday = "late"'))
    code, told, _ = run("check")
    line = next(number for number, text in enumerate(file.read_text().splitlines(), 1) if text.startswith("monday"))
    assert code == 1
    assert f"business.toml:{line}: " in told


def test_migrate_says_what_it_did_and_then_that_nothing_is_left(run, home):
    code, told, _ = run("migrate")
    assert (code, told.splitlines()[0][:5]) == (0, "done:")
    assert run("migrate")[:2] == (0, "The database is up to date.\n")


def test_import_takes_a_sheet_over_once(run, with_clients):
    code, told, _ = run("import", with_clients)
    assert (code, told) == (0, "nothing new\n")


def test_import_refuses_a_sheet_with_bad_cells_and_names_them(run, home, tmp_path):
    run("init")
    sheet = tmp_path / "bad.csv"
    sheet.write_text(CSV.replace("hull,wax,2027-03-30", "hull,varnish,30.3.2027"), encoding="utf-8")
    code, _, told = run("import", sheet)
    assert code == 1
    assert len(told.splitlines()) == 2
    assert "applied_on" in told
    assert "[]" in run("life", "--json")[1]


def test_import_of_a_missing_file_is_wrong_use(run, home):
    run("init")
    code, _, told = run("import", "nowhere.csv")
    assert code == 2
    assert "nowhere.csv" in told


def test_life_lists_every_coating_the_soonest_due_first(run, with_clients):
    code, told, _ = run("life", "--json", "--at", "2027-05-04")
    rows = json.loads(told)
    assert code == 0
    assert {row["client"] for row in rows} == {"Ana Reyes", "Bert Olsen", "Elena Prats"}
    assert [row["due_on"] for row in rows] == sorted(row["due_on"] for row in rows)
    assert {"client", "vessel", "surface", "coating", "applied_on", "used_percent", "due_on", "due_from", "due_to",
            "next_topper_on"} <= rows[0].keys()  # fmt: skip
    assert "Sea Thistle" in run("life", "--at", "2027-05-04")[1]


def test_ask_answers_with_the_date_and_the_reason(run, with_clients):
    code, told, _ = ask(run, ASKED)
    (answer,) = lines(told)
    assert code == 0
    assert set(answer) == ANSWERED
    lives = json.loads(run("life", "--json", "--at", "2027-05-04")[1])
    due = next(row for row in lives if row["client"] == "Ana Reyes")
    month, day = {"08": "Aug", "09": "Sep"}[due["due_on"][5:7]], str(int(due["due_on"][8:]))
    assert f"{month} {day}" in " ".join(answer["replies"])


def test_ask_answers_every_line_in_order_and_says_what_is_wrong_with_a_bad_one(run, with_clients):
    good = json.dumps({**ASKED, "text": "thanks!"})
    wrong = [
        "nonsense",
        "[1]",
        '{"from": "x", "text": "Hi"}',
        '{"from": "+13055550111"}',
        json.dumps({**ASKED, "at": "soon"}),
        json.dumps({**ASKED, "media": [{"url": "x"}]}),
    ]
    code, told, _ = run("ask", "--json", stdin="\n".join([good, *wrong, good]) + "\n")
    answers = lines(told)
    assert code == 1
    assert ["error" in answer for answer in answers] == [False, *[True] * len(wrong), False]
    assert [answer["error"].split(":")[0] for answer in answers[1:-1]] == [f"line {n}" for n in range(2, 8)]


def test_ask_keeps_nothing_unless_told_to(run, home, with_clients):
    before = kept_messages(home)
    ask(run, ASKED, ASKED)
    assert kept_messages(home) == before
    ask(run, ASKED, ASKED, home=True)
    assert kept_messages(home) == before + 2


def test_texts_of_one_number_are_one_conversation(run, home, with_clients):
    first, second = {**ASKED, "text": "Please stop texting me"}, {**ASKED, "text": "thanks!"}
    ask(run, first, second, home=True)
    with sqlite3.connect(home / "aftercare.sqlite3") as connection:
        assert connection.execute("SELECT count(DISTINCT thread_id) FROM messages").fetchone() == (1,)
        assert connection.execute(
            "SELECT opted_out_at IS NOT NULL FROM threads WHERE phone = '+13055550111'"
        ).fetchone() == (1,)


def test_ask_works_in_a_home_without_a_database(run, home):
    run("init")
    (home / "aftercare.sqlite3").unlink()
    code, told, _ = ask(run, ASKED)
    assert code == 0
    assert set(lines(told)[0]) == ANSWERED
    assert not (home / "aftercare.sqlite3").exists()


def test_chat_answers_until_the_input_ends_and_keeps_nothing(run, home, with_clients):
    before = kept_messages(home)
    code, told, _ = run("chat", "--as", "+13055550111", stdin="thanks!\n")
    assert code == 0
    assert "You are Ana Reyes" in told
    assert len(told.splitlines()) >= 2
    assert kept_messages(home) == before


def test_backup_makes_a_database_that_can_be_used(run, with_clients, tmp_path, monkeypatch):
    target = tmp_path / "safe" / "copy.sqlite3"
    target.parent.mkdir()
    assert run("backup", target)[0] == 0
    assert run("backup", target)[0] == 2, "an earlier backup stays as it is"
    monkeypatch.setenv("AFTERCARE_DATABASE_URL", f"sqlite:///{target}")
    assert "Sea Thistle" in run("life")[1]
    assert list(target.parent.glob("*.part")) == []


def test_a_client_is_handed_out_and_erased(run, home, with_clients):
    ask(run, ASKED, home=True)
    code, told, _ = run("export-client", "(305) 555-0111")
    exported = json.loads(told)
    assert code == 0
    assert exported["clients"][0]["name"] == "Ana Reyes"
    assert exported["messages"][0]["text"] == ASKED["text"]
    assert run("erase-client", "+13055550111")[0] == 2, "nobody is there to agree"
    assert run("erase-client", "+13055550111", "--sure")[0] == 0
    assert run("export-client", "+13055550111")[0] == 2
    assert "Ana" not in run("life")[1]
    assert b"Sea Thistle" not in _live_rows(home)


def _live_rows(home: Path) -> bytes:
    with sqlite3.connect(home / "aftercare.sqlite3") as connection:
        return "\n".join(connection.iterdump()).encode()


@pytest.mark.postgres
def test_the_same_commands_work_on_postgresql(run, database_url, tmp_path, monkeypatch):
    monkeypatch.setenv("AFTERCARE_DATABASE_URL", database_url)
    sheet = tmp_path / "clients.csv"
    sheet.write_text(CSV, encoding="utf-8")
    assert run("init")[0] == 0
    assert run("import", sheet)[0] == 0
    before = json.loads(run("export-client", "+13055550111")[1])
    code, told, _ = ask(run, ASKED)
    assert (code, set(lines(told)[0])) == (0, ANSWERED)
    assert json.loads(run("export-client", "+13055550111")[1]) == before, "asking left something behind"
    assert run("backup", tmp_path / "copy.sqlite3")[0] == 0
    assert run("erase-client", "+13055550111", "--sure")[0] == 0
    assert "Sea Thistle" not in run("life")[1]
    monkeypatch.setenv("AFTERCARE_DATABASE_URL", f"sqlite:///{tmp_path / 'copy.sqlite3'}")
    assert "Sea Thistle" in run("life")[1]
