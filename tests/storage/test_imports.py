"""The client spreadsheet: read with tolerance, refused cell by cell, taken over once."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from assistant.domain.business import Business
from assistant.domain.errors import ImportRefused
from assistant.domain.people import Kept, Season
from assistant.storage import care, threads
from assistant.storage.cells import COLUMNS, BadCell, Known, read_cell
from assistant.storage.database import Database
from assistant.storage.imports import take_over
from assistant.storage.spreadsheet import SheetClient, read_sheet

KNOWN = Known(
    country="US",
    latest=date(2029, 5, 4),
    languages=frozenset({"en", "es"}),
    surfaces={"hull": "hull", "topsides": "topsides", "casco": "hull", "swim platform": "swim_platform"},
)
HEAD = ",".join(COLUMNS)
ANA = (
    "+13055550111,Ana Reyes,en,yes,yes,2026-11-03,work order,"
    "Sea Thistle,ABC12345D404,28,center console,salt,Pelican Slough,in_water,,,,"
)
BERT = (
    "+12165550122,Bert Olsen,en,yes,no,2026-05-05,work order,"
    "Paper Moon,,34,cruiser,fresh,Juniper Point,in_water,05-01,10-15,indoors,"
)
ROWS = (HEAD, ANA + "hull,sealant,2027-03-02", ANA + "topsides,sealant,2027-03-02", BERT + "hull,sealant,2027-04-20")


@pytest.fixture
def sheet(tmp_path: Path) -> Callable[..., tuple[SheetClient, ...]]:
    def read(*rows: str, encoding: str = "utf-8") -> tuple[SheetClient, ...]:
        path = tmp_path / "clients.csv"
        path.write_bytes("\r\n".join(rows).encode(encoding))
        return read_sheet(path, KNOWN)

    return read


def refusal(sheet: Callable[..., object], *rows: str) -> list[tuple[int | None, str]]:
    with pytest.raises(ImportRefused) as refused:
        sheet(*rows)
    assert all(problem.file == "clients.csv" and problem.remedy for problem in refused.value.problems)
    return [(problem.line, problem.problem) for problem in refused.value.problems]


def test_a_sheet_becomes_clients_with_vessels_and_coatings(
    sheet: Callable[..., tuple[SheetClient, ...]], database: Database, business: Business, now: datetime
) -> None:
    with database.transaction(1) as tx:
        taken = take_over(tx, sheet(*ROWS), business, now)
        assert str(taken) == "2 new clients, 2 new vessels, 3 new coatings"
        ana, bert = care.fleets(tx)
        assert (ana.client.name, ana.client.zone, ana.client.country) == ("Ana Reyes", "America/New_York", "US")
        assert [coat.surface for coat in ana.applications] == ["hull", "topsides"]
        (boat,) = bert.vessels
        assert (boat.length_ft, boat.water, boat.place) == (Decimal(34), "fresh", "Juniper Point")
        assert (boat.season, boat.kept_off_season) == (Season((5, 1), (10, 15)), Kept.INDOORS)
        thread = threads.read_thread(tx, threads.thread_of_client(tx, ana.client.id, now))
        assert thread is not None
        assert (thread.consent.service, thread.consent.marketing) == (True, True)
        log = threads.consent_log(tx, thread.id)
        assert [(row.kind, row.on_date, row.wording) for row in log] == [
            ("service", date(2026, 11, 3), "work order"), ("marketing", date(2026, 11, 3), "work order"),
        ]  # fmt: skip
        other = threads.read_thread(tx, threads.thread_of_client(tx, bert.client.id, now))
        assert other is not None
        assert (other.consent.service, other.consent.marketing) == (True, False)


def test_taking_the_same_sheet_over_again_changes_nothing(
    sheet: Callable[..., tuple[SheetClient, ...]], database: Database, business: Business, now: datetime
) -> None:
    with database.transaction(1) as tx:
        take_over(tx, sheet(*ROWS), business, now)
    before = _everything(database)
    with database.transaction(1) as tx:
        assert str(take_over(tx, sheet(*ROWS), business, now)) == "nothing new"
    assert _everything(database) == before


def test_changes_are_taken_over_and_blank_cells_erase_nothing(
    sheet: Callable[..., tuple[SheetClient, ...]], database: Database, business: Business, now: datetime
) -> None:
    later = "phone,name,vessel,length_ft,kept,surface,coating,applied_on"
    row = "+13055550111,Ana Reyes-Gil,sea thistle,29,lift,hull,ceramic,2027-05-01"
    with database.transaction(1) as tx:
        take_over(tx, sheet(*ROWS), business, now)
        assert str(take_over(tx, sheet(later, row), business, now)) == "1 new coatings, 2 changed records"
        (ana,) = list(care.fleets(tx))[:1]
    (boat,) = ana.vessels
    assert (ana.client.name, ana.client.language) == ("Ana Reyes-Gil", "en")
    assert (boat.name, boat.length_ft, boat.kept, boat.hin) == ("Sea Thistle", Decimal(29), Kept.LIFT, "ABC12345D404")


def test_a_file_never_lifts_an_opt_out_nor_a_withdrawn_consent(
    sheet: Callable[..., tuple[SheetClient, ...]], database: Database, business: Business, now: datetime
) -> None:
    with database.transaction(1) as tx:
        take_over(tx, sheet(*ROWS), business, now)
        ana, bert = (fleet.client.id for fleet in care.fleets(tx))
        threads.opt_out(tx, threads.thread_of_client(tx, ana, now), "STOP", None, now)
        threads.record_consent(tx, threads.thread_of_client(tx, bert, now), "service", now, given=False)
        newer = [row.replace("2026-11-03", "2027-05-01") for row in ROWS]
        assert take_over(tx, sheet(*newer), business, now).opted_out == 1
        for client in (ana, bert):
            thread = threads.read_thread(tx, threads.thread_of_client(tx, client, now))
            assert thread is not None
            assert (thread.consent.service, thread.consent.marketing) == (False, False)


def test_headers_and_cells_may_be_untidy(sheet: Callable[..., tuple[SheetClient, ...]]) -> None:
    head = " Phone ;NAME;Service Consent;vessel;Length_ft;kept;surface;Coating;applied on"
    (ana,) = sheet(
        "\ufeff" + head, " (305) 555-0111 ; Ana   Reyes ;Yes; Sea Thistle;8.5 m;In Water;CASCO; Wax ;2027/3/2", ";;;"
    )
    assert (ana.phone, ana.facts) == ("+13055550111", {"name": "Ana Reyes", "service_consent": True})
    (boat,) = ana.vessels.values()
    assert boat.facts == {"length_ft": Decimal("27.9"), "kept": Kept.IN_WATER}
    assert boat.coats == [("hull", "wax", date(2027, 3, 2))]


@pytest.mark.parametrize(
    ("column", "cell", "value"),
    [
        ("length_ft", "24'", Decimal(24)), ("length_ft", "24ft", Decimal(24)),
        ("length_ft", "24'6\"", Decimal("24.5")),
        ("length_ft", "24-6", Decimal("24.5")), ("length_ft", "7,3 m", Decimal(24)),
        ("length_ft", "120", Decimal(120)),
        ("hin", "us-abc12345d404", "ABC12345D404"), ("hin", "ABC 12345 D4 04", "ABC12345D404"),
        ("hin", "ABC0R7K2I324", "ABC0R7K2I324"), ("hin", "QIO4H7N2L425", "QIO4H7N2L425"),
        ("hin", "ABC12345M82H", "ABC12345M82H"), ("hin", "GB-ABC00042-A3-03", "GBABC00042A303"),
        ("phone", "305.555.0111", "+13055550111"), ("phone", "+44 20 7946 0123", "+442079460123"),
        ("water", "Salt water", "salt"), ("season_from", "5-1", (5, 1)), ("season_to", "02-29", (2, 29)),
        ("applied_on", "2027-3-2", date(2027, 3, 2)), ("applied_on", "2027-03-02 00:00:00", date(2027, 3, 2)),
        ("service_consent", "N", False), ("marketing_consent", "sí", True),
        ("surface", "Swim Platform", "swim_platform"),
    ],
)  # fmt: skip
def test_a_cell_may_be_spelled_in_the_usual_ways(column: str, cell: str, value: object) -> None:
    assert read_cell(column, cell, KNOWN) == value


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("phone", "555-0111"), ("phone", "1.30556E+10"), ("phone", "22395"), ("phone", "305-555-0111 ext 4"),
        ("phone", "none"), ("length_ft", "7"), ("length_ft", "121"), ("length_ft", "24'13\""), ("length_ft", "long"),
        ("hin", "ABCO2345D404"), ("hin", "ABC1234D404"), ("hin", "ABC12345D4041"), ("hin", "ABC12345M404"),
        ("hin", "FL1234AB"), ("kept", "garage"), ("coating", "teflon"), ("surface", "sofa"), ("language", "fr"),
        ("applied_on", "3/2/2027"), ("applied_on", "2027-02-30"), ("applied_on", "2072-03-02"),
        ("applied_on", "1927-03-02"), ("applied_on", "2027-03-02 14:00:00"), ("season_from", "13-01"),
        ("season_to", "02-30"), ("service_consent", "maybe"), ("water", "brine"),
    ],
)  # fmt: skip
def test_a_cell_without_a_clear_meaning_is_refused(column: str, cell: str) -> None:
    with pytest.raises(BadCell):
        read_cell(column, cell, KNOWN)


def test_every_bad_cell_is_named_by_row_and_column(sheet: Callable[..., object]) -> None:
    bad = (
        BERT.replace("Juniper Point,in_water", "Juniper Point,garage").replace("34,", "340,")
        + "hull,sealant,20270420"
    )
    assert refusal(sheet, *ROWS[:3], "", bad, "12,Chidi" + "," * 18) == [
        (5, "column length_ft: '340' is no boat's length in feet"),
        (5, "column kept: 'garage' is not known here"),
        (5, "column applied_on: '20270420' is not a date like 2027-05-04"),
        (6, "column phone: '12' is too short or too long for a phone number"),
    ]


def test_cells_that_belong_together_are_asked_for(sheet: Callable[..., object]) -> None:
    head = "phone,marketing_consent,vessel,season_from,season_to,surface,coating,applied_on"
    found = refusal(
        sheet, head, "305-555-0111,yes,,,,hull,wax,2027-03-02", ",no,Paper Moon,,10-15,,sealant,",
    )  # fmt: skip
    assert found == [
        (2, "column vessel: is blank"),
        (2, "column consent_on: is blank"),
        (2, "column consent_how: is blank"),
        (3, "column phone: is blank"),
        (3, "column surface: is blank"),
        (3, "column applied_on: is blank"),
        (3, "column season_from: is blank"),
    ]


def test_rows_that_contradict_each_other_are_refused(sheet: Callable[..., object]) -> None:
    other = ANA.replace("Ana Reyes", "Ann Reyes").replace(",28,", ",29,") + "hull,wax,2027-03-02"
    twin = BERT.replace("Paper Moon,", "Paper Moon,ABC12345D404") + "hull,sealant,2027-04-20"
    assert refusal(sheet, ROWS[0], ROWS[1], other, twin) == [
        (3, "column name: 'Ann Reyes' differs from row 2"),
        (3, "column length_ft: '29' differs from row 2"),
        (4, "column hin: 'ABC12345D404' is also in row 2"),
    ]


@pytest.mark.parametrize(
    ("rows", "problem"),
    [
        ((), (1, "there is no column phone")),
        (("phone,colour", "305-555-0111,red"), (1, "colour is not known")),
        (("phone,name,name", "305-555-0111,a,b"), (1, "name stands there twice")),
        (("phone,name",), (None, "the file has no rows")),
        (("phone,name", "305-555-0111,Reyes, Ana"), (2, "the row has more cells than the header")),
    ],
)
def test_a_file_of_another_form_is_refused(
    sheet: Callable[..., object], rows: tuple[str, ...], problem: tuple[int | None, str]
) -> None:
    assert refusal(sheet, *rows)[0] == problem


def test_a_file_in_another_encoding_is_refused(sheet: Callable[..., object]) -> None:
    with pytest.raises(ImportRefused, match="not UTF-8"):
        sheet("phone,name", "305-555-0111,Señora Prats", encoding="latin-1")


def _everything(database: Database) -> list[object]:
    with database.reading(1) as tx:
        fleets = list(care.fleets(tx))
        logs = [
            threads.consent_log(tx, thread.id)
            for f in fleets
            for thread in threads.threads_of_client(tx, f.client.id)
        ]
    return [fleets, logs]
