"""A finished job, texted from the dock: read back with a code, then recorded."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from assistant.domain import wording
from assistant.domain.boat_names import Named
from assistant.domain.crew_jobs import JobWords, Keeping, read_job
from assistant.domain.people import Application, Kept, Season, Vessel
from assistant.domain.understanding.text import fold
from assistant.storage import care, crew_texts, visits
from assistant.storage.care import Fleet
from assistant.usecases.crew_desk import Desk, Said, found_name, read_back
from assistant.usecases.hand_over_job import queue_care_pack

Coats = list[tuple[str, list[str]]]


def ask_back(desk: Desk, words: str) -> Said:
    """Read the job back with the code that records it."""
    boat, rest, question = found_name(desk, words, boat=True)
    if boat is None:
        return question or Said(desk.say("help"), "crew.help")
    if desk.message.media and boat.vessel_id is not None:
        crew_texts.tie_to_vessel(desk.tx, desk.message_id, boat.vessel_id)
    job = read_job(rest, desk.app.knowledge, desk.today)
    if not job.coats and not job.note:
        return Said(desk.say("job_what", vessel=boat.shown), "crew.ask")
    fleet, vessel = _records(desk, boat.client_id, boat.vessel_id)
    coats = _whole(job, fleet, vessel)
    bare = [coating for coating, surfaces in coats if not surfaces]
    if bare:
        return Said(desk.say("job_where", coating=desk.named("coatings", bare[0]), vessel=boat.shown), "crew.ask")
    season = job.keeping.season(vessel.season) if job.keeping else None
    data = {
        "client_id": boat.client_id,
        "vessel_id": vessel.id,
        "coats": coats,
        "on": (job.on or desk.today).isoformat(),
        "kept": job.keeping.kept.value if job.keeping else None,
        "season": [season.begins, season.ends] if season else None,
        "note": job.note,
        "subject": f"vessel:{vessel.id}",
    }
    return read_back(desk, "job", data, _told(desk, boat, job, coats, season))


def record(desk: Desk, data: Mapping[str, Any]) -> str:
    """Write the job down: the coats, how the boat is kept from now on, the visit it was booked as; then the care pack."""
    client_id, vessel_id, on = data["client_id"], data["vessel_id"], date.fromisoformat(data["on"])
    _, vessel = _records(desk, client_id, vessel_id)
    finished = desk.now if on == desk.today else None
    visit_id = _finish_visit(desk, client_id, vessel_id, on)
    job_id = care.add_job(
        desk.tx, client_id, vessel_id, on, desk.now, service=_service(desk, data["note"]), visit_id=visit_id,
        finished_at=finished, place=vessel.place, note=data["note"], done_by=desk.member.name,
    )  # fmt: skip
    for coating, surfaces in data["coats"]:
        for surface in surfaces:
            care.add_application(
                desk.tx, Application(0, vessel_id, surface, coating, on, finished, job_id), desk.now
            )
    if data["kept"]:
        care.change_vessel(desk.tx, vessel_id, desk.now, **_kept_columns(Kept(data["kept"]), data["season"]))
    text, why_none = queue_care_pack(desk.app, desk.tx, client_id, job_id, desk.now)
    sent = desk.say("care_pack") if text else desk.say("no_care_pack", why=why_none)
    return f"{desk.say('job_recorded', vessel=vessel.name)} {sent}"


def _records(desk: Desk, client_id: int, vessel_id: int | None) -> tuple[Fleet, Vessel]:
    fleet = next(care.fleets(desk.tx, client_id))
    return fleet, next(vessel for vessel in fleet.vessels if vessel.id == vessel_id)


def _whole(job: JobWords, fleet: Fleet, vessel: Vessel) -> Coats:
    """A coating without a surface goes where it went last time."""
    coats: Coats = []
    for coating, surfaces in job.coats:
        earlier = [one for one in fleet.applications if one.vessel_id == vessel.id and one.coating == coating]
        latest = max((one.applied_on for one in earlier), default=None)
        same_as_then = [one.surface for one in earlier if one.applied_on == latest]
        coats.append((coating, list(surfaces or same_as_then)))
    return coats


def _told(desk: Desk, boat: Named, job: JobWords, coats: Coats, season: Season | None) -> str:
    parts = [
        desk.say("job_coat", coating=desk.named("coatings", coating),
                 surface=desk.join([desk.named("surfaces", surface) for surface in surfaces]))
        for coating, surfaces in coats
    ]  # fmt: skip
    parts += [job.note] if job.note else []
    told = desk.say("job_back", vessel=boat.shown, list="; ".join(parts), when=desk.day(job.on or desk.today))
    return f"{told} {_kept_text(desk, job.keeping, season)}" if job.keeping else told


def _kept_text(desk: Desk, keeping: Keeping, season: Season | None) -> str:
    kept = desk.app.knowledge.say(f"kept.{keeping.kept.value}", desk.language)
    if season is None:
        return desk.say("job_kept", what=kept)
    first, last = keeping.begins or season.ends, keeping.ends or season.begins
    year = desk.today.year
    return desk.say(
        "job_kept_from" if keeping.ends else "job_kept_until", what=kept,
        first=wording.day_text(date(year, *first), desk.language), second=wording.day_text(date(year, *last), desk.language),
    )  # fmt: skip


def _kept_columns(kept: Kept, season: list[list[int]] | None) -> dict[str, Any]:
    """In-season keeping stays as it was when the new one is for a part of the year."""
    if season is None:
        return {"kept": kept.value, "season_from": None, "season_to": None, "kept_off_season": None}
    begins, ends = (f"{month:02d}-{day:02d}" for month, day in season)
    return {"season_from": begins, "season_to": ends, "kept_off_season": kept.value}


def _service(desk: Desk, note: str) -> str:
    """The kind of work on the price list that the note names, if any."""
    plain = fold(note)
    for service in desk.app.business.services.values():
        if any(fold(name) in plain for name in service.name.values()):
            return service.id
    return ""


def _finish_visit(desk: Desk, client_id: int, vessel_id: int, on: date) -> int | None:
    """The visit of that day for that boat is done."""
    for visit in visits.visits_of_client(desk.tx, client_id):
        same_day = visit.begins.astimezone(ZoneInfo(desk.zone)).date() == on
        if visit.state == "booked" and same_day and vessel_id in visit.vessel_ids:
            visits.finish_visit(desk.tx, visit.id, desk.now)
            return visit.id
    return None
