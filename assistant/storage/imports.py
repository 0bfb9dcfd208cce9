"""Takes a client spreadsheet over into the records: all of it or nothing, and a second time nothing changes.

A blank cell says nothing and erases nothing. An opt-out is never lifted by a file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import phonenumbers
from sqlalchemy import select, text

from assistant.domain.business import Business
from assistant.domain.people import Application, Kept, Season, Vessel
from assistant.storage import care, threads
from assistant.storage.clients import NewClient, add_client, change_client, client_of_phone
from assistant.storage.database import Transaction, ours
from assistant.storage.spreadsheet import SheetClient, SheetVessel
from assistant.storage.tables import vessels

_LOCK = 0x41465449
"""Number of the advisory lock under which only one file at a time is taken over on PostgreSQL."""


@dataclass(slots=True)
class Taken:
    """What was new in a file."""

    new_clients: int = 0
    new_vessels: int = 0
    new_applications: int = 0
    changed: int = 0
    """Clients and vessels known before about whom the file said something else."""
    opted_out: int = 0
    """Clients whose consent in the file was left aside, because they opted out here."""

    def __str__(self) -> str:
        parts = [
            (self.new_clients, "new clients"),
            (self.new_vessels, "new vessels"),
            (self.new_applications, "new coatings"),
            (self.changed, "changed records"),
            (self.opted_out, "clients who had opted out and stay so"),
        ]
        return ", ".join(f"{count} {what}" for count, what in parts if count) or "nothing new"


def take_over(tx: Transaction, sheet: Sequence[SheetClient], business: Business, now: datetime) -> Taken:
    """Write everything the sheet says that is not known yet."""
    if tx.postgres:
        tx.connection.execute(text("SELECT pg_advisory_xact_lock(:number)"), {"number": _LOCK})
    taken = Taken()
    for entry in sheet:
        client_id = _client(tx, entry, business, now, taken)
        _consent(tx, client_id, entry.facts, now, taken)
        known = {vessel.name.lower(): vessel for vessel in _vessels(tx, client_id)}
        for key, described in entry.vessels.items():
            vessel_id = _vessel(tx, client_id, described, known.get(key), now, taken)
            for surface, coating, day in described.coats:
                coat = Application(0, vessel_id, surface, coating, day)
                taken.new_applications += care.add_application(tx, coat, now) is not None
    return taken


def _client(tx: Transaction, entry: SheetClient, business: Business, now: datetime, taken: Taken) -> int:
    known = client_of_phone(tx, entry.phone)
    if known is None:
        taken.new_clients += 1
        country = phonenumbers.region_code_for_number(phonenumbers.parse(entry.phone)) or business.country
        facts = entry.facts
        language = facts.get("language", business.language)
        new = NewClient(facts.get("name", ""), entry.phone, language, business.zone, country)
        return add_client(tx, new, now)
    said = {column: entry.facts[column] for column in ("name", "language") if column in entry.facts}
    different = {column: value for column, value in said.items() if getattr(known, column) != value}
    if different:
        change_client(tx, known.id, **different)
        taken.changed += 1
    return known.id


def _consent(tx: Transaction, client_id: int, facts: dict[str, Any], now: datetime, taken: Taken) -> None:
    """Note consent given or refused, unless this very statement is on record, or the client opted out here."""
    thread_id = threads.thread_of_client(tx, client_id, now)
    thread = threads.read_thread(tx, thread_id)
    log = {(row.kind, row.given, row.on_date, row.wording) for row in threads.consent_log(tx, thread_id)}
    on, wording = facts.get("consent_on"), facts.get("consent_how", "")
    for kind in ("service", "marketing"):
        given = facts.get(f"{kind}_consent")
        if given is None or thread is None or (kind, given, on, wording) in log:
            continue
        if not thread.consent.reachable:
            taken.opted_out += kind == "service"
        elif given or getattr(thread.consent, kind):
            threads.record_consent(tx, thread_id, kind, now, given=given, medium="file", wording=wording, on=on)


def _vessels(tx: Transaction, client_id: int) -> list[Vessel]:
    query = select(vessels).where(ours(vessels), vessels.c.client_id == client_id)
    return [care.vessel_from(row) for row in tx.execute(query)]


def _vessel(
    tx: Transaction, client_id: int, described: SheetVessel, known: Vessel | None, now: datetime, taken: Taken
) -> int:
    said = _columns(described.facts)
    if known is None:
        taken.new_vessels += 1
        blank = Vessel(0, client_id, described.name, kept=Kept.IN_WATER)
        vessel_id = care.add_vessel(tx, blank, now)
        if said:
            care.change_vessel(tx, vessel_id, now, **said)
        return vessel_id
    before = care.vessel_columns(known)
    different = {column: value for column, value in said.items() if before[column] != value}
    if different:
        care.change_vessel(tx, known.id, now, **different)
        taken.changed += 1
    return known.id


def _columns(facts: dict[str, Any]) -> dict[str, Any]:
    """Facts of the sheet as columns of the table."""
    plain = ("hin", "length_ft", "boat_type", "water", "place")
    columns: dict[str, Any] = {name: facts[name] for name in plain if name in facts}
    columns |= {name: facts[name].value for name in ("kept", "kept_off_season") if name in facts}
    if "season_from" in facts:
        season = Season(facts["season_from"], facts["season_to"])
        whole = Vessel(0, 0, "", season=season)
        columns |= {name: care.vessel_columns(whole)[name] for name in ("season_from", "season_to")}
    return columns
