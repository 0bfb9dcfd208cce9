"""Days off, conversations taken and given back, new clients and pictures: read back with a code, then done."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from assistant.domain.boat_names import find_name
from assistant.domain.business import Place
from assistant.domain.crew_commands import Block, Command, NewClient, Pause, days_of
from assistant.domain.people import Kept, Vessel
from assistant.domain.times import read_times
from assistant.domain.understanding.text import fold
from assistant.domain.visits import Busy
from assistant.storage import care, clients, crew_texts, handovers, threads, visits
from assistant.usecases.answer_client import TAKES_OVER_FOR
from assistant.usecases.crew_answers import PHOTOS_OF, PHOTOS_WAIT
from assistant.usecases.crew_desk import Desk, Said, found_name, read_back
from assistant.usecases.crew_lists import visit_line, visits_on

NOON = time(12)
NAMED_VISITS = 4
_MORNING = re.compile(r"\bmornings?\b|\bam\b|por la manana")
_AFTERNOON = re.compile(r"\bafternoons?\b|\bpm\b|\btarde\b")


def ask_back(desk: Desk, command: Command) -> Said:
    """Read a change back with the code that makes it."""
    ask: dict[type, Callable[[Desk, Any], Said]] = {Block: _ask_block, Pause: _ask_pause, NewClient: _ask_add}
    return ask[type(command)](desk, command)


def _ask_block(desk: Desk, command: Block) -> Said:
    days = days_of(read_times(command.words, desk.now, desk.zone, desk.language), desk.today)
    if not days:
        return Said(desk.say("which_day"), "crew.ask")
    part = _part(fold(command.words))
    when = desk.join([desk.day(day) for day in days]) + (f" {desk.say(part)}" if part else "")
    data = {"days": [day.isoformat() for day in days], "part": part, "subject": when}
    if command.free:
        return read_back(desk, "free", data, desk.say("free_back", when=when))
    standing = [visit for day in days for visit in visits_on(desk, day, day)]
    text = desk.say("block_back", when=when)
    if standing:
        lines = "; ".join(visit_line(desk, visit, with_day=len(days) > 1) for visit in standing[:NAMED_VISITS])
        text += " " + desk.say("block_visits", count=str(len(standing)), list=lines)
    return read_back(desk, "block", data, text)


def block(desk: Desk, data: Mapping[str, Any]) -> str:
    """Take the days out of what is offered."""
    for day in map(date.fromisoformat, data["days"]):
        stretch = Busy(0, *_stretch(day, data["part"], ZoneInfo(desk.zone)))
        visits.replace_busy_blocks(desk.tx, _source(day, data["part"]), [(_source(day, data["part"]), stretch)])
    return desk.say("blocked", when=data["subject"])


def free(desk: Desk, data: Mapping[str, Any]) -> str:
    """Offer them again; a whole day frees its parts, too."""
    for day in map(date.fromisoformat, data["days"]):
        for part in (data["part"],) if data["part"] else ("", "morning", "afternoon"):
            visits.replace_busy_blocks(desk.tx, _source(day, part), [])
    return desk.say("freed", when=data["subject"])


def _part(plain: str) -> str:
    return "morning" if _MORNING.search(plain) else "afternoon" if _AFTERNOON.search(plain) else ""


def _source(day: date, part: str) -> str:
    return f"text:{day.isoformat()}:{part}" if part else f"text:{day.isoformat()}"


def _stretch(day: date, part: str, zone: ZoneInfo) -> tuple[datetime, datetime]:
    begins = datetime.combine(day, NOON if part == "afternoon" else time(), zone)
    ends = datetime.combine(day, NOON, zone) if part == "morning" else datetime.combine(day + timedelta(days=1), time(), zone)
    return begins, ends


def _ask_pause(desk: Desk, command: Pause) -> Said:
    who, _, question = found_name(desk, command.words, boat=False)
    if who is None:
        return question or Said(desk.say("help"), "crew.help")
    do = "give_back" if command.give_back else "pause"
    data = {"client_id": who.client_id, "name": who.owner, "subject": f"client:{who.client_id}"}
    return read_back(desk, do, data, desk.say(f"{do}_back", client=who.owner, detailer=desk.member.name))


def pause(desk: Desk, data: Mapping[str, Any]) -> str:
    """The assistant stays quiet with this client, on every channel."""
    until = desk.now + TAKES_OVER_FOR
    for thread in _threads(desk, data["client_id"]):
        threads.take_over(desk.tx, thread, desk.member.name, until)
    return desk.say("paused", client=data["name"])


def give_back(desk: Desk, data: Mapping[str, Any]) -> str:
    """The assistant answers this client again."""
    for thread in _threads(desk, data["client_id"]):
        threads.give_back(desk.tx, thread)
    return desk.say("given_back", client=data["name"])


def _threads(desk: Desk, client_id: int) -> set[int]:
    known = {thread.id for thread in threads.threads_of_client(desk.tx, client_id)}
    return known or {threads.thread_of_client(desk.tx, client_id, desk.now)}


def _ask_add(desk: Desk, command: NewClient) -> Said:
    if any(member.phone == command.phone for member in desk.app.business.crew):
        return Said(desk.say("add_crew"), "crew.ask")
    known = clients.client_of_phone(desk.tx, command.phone)
    if known and not command.vessel:
        return Said(desk.say("add_known", client=known.name, phone=command.phone), "crew.ask")
    place, vessel = _place_in(desk, command.vessel)
    place = place or _place_in(desk, command.rest)[0]
    feet = f", {command.length_ft.normalize():f} ft" if command.length_ft else ""
    boat = ", ".join(filter(None, (f"{vessel}{feet}" if vessel else "", place)))
    data = {
        "name": known.name if known else command.name,
        "phone": command.phone,
        "vessel": vessel,
        "length_ft": str(command.length_ft) if command.length_ft else None,
        "place": place,
        "agreed": command.agreed,
        "subject": command.phone,
    }
    text = desk.say("add_back", client=known.name if known else command.name, phone=command.phone, vessel=boat or desk.say("no_boat"))
    return read_back(desk, "add", data, text + (" " + desk.say("add_agreed") if command.agreed else ""))


def add_client(desk: Desk, data: Mapping[str, Any]) -> str:
    """Begin the record; a boat of that name that is there already stays as it is."""
    known = clients.client_of_phone(desk.tx, data["phone"])
    business = desk.app.business
    new = clients.NewClient(data["name"], data["phone"], business.language, business.zone, business.country)
    client_id = known.id if known else clients.add_client(desk.tx, new, desk.now)
    boats = {fold(one.vessel) for one in crew_texts.named(desk.tx) if one.client_id == client_id and one.vessel}
    if data["vessel"] and fold(data["vessel"]) not in boats:
        length = Decimal(data["length_ft"]) if data["length_ft"] else None
        boat = Vessel(0, client_id, data["vessel"], length_ft=length, place=data["place"], kept=Kept.IN_WATER)
        care.add_vessel(desk.tx, boat, desk.now)
    if data["agreed"]:
        thread = threads.thread_of_client(desk.tx, client_id, desk.now)
        threads.record_consent(
            desk.tx, thread, "service", desk.now, medium="told the crew", on=desk.today, noted_by=desk.member.name
        )
    return desk.say("added" if data["agreed"] else "added_quiet", client=data["name"])


def _place_in(desk: Desk, words: str) -> tuple[str, str]:
    """The harbor named behind the boat, and the boat's name without it."""
    for place in desk.app.business.places:
        for name in _called(place):
            found = re.search(rf"[\s,]*\b{re.escape(fold(name))}\b", fold(words))
            if found:
                return place.name, (words[: found.start()] + words[found.end() :]).strip(" ,")
    return "", words


def _called(place: Place) -> tuple[str, ...]:
    return (place.name, *place.also_called)


def keep_photos(desk: Desk, words: str) -> Said:
    """Pictures for a boat's record; they are fetched after this answer."""
    boats = [one for one in find_name(words, desk.names).who if one.vessel_id is not None] if words.strip() else []
    if len(boats) == 1:
        remember = {"vessel_id": boats[0].vessel_id}
        return Said(desk.say("photos_kept", vessel=boats[0].shown), "crew.photos", remember)
    data = {"message_id": desk.message_id}
    until = desk.now + PHOTOS_WAIT
    handovers.ask_client(desk.tx, desk.thread_id, PHOTOS_OF, data, until, desk.now, desk.message_id)
    return Said(desk.say("photos_of"), "crew.photos")
