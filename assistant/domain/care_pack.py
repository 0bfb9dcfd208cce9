"""The care pack: what a client is told after a job, so that they leave the finish alone while it cures and keep it up.

Waits are counted from the hour of finishing, and the strictest of what was put on holds for the whole boat.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain import coatings, sms, wording
from assistant.domain.coatings import Life
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.values import tidy
from assistant.domain.knowledge import Coating, NudgeText
from assistant.domain.nudge_texts import nudge_text
from assistant.domain.people import Application, Vessel

KIND = "care_pack"
SEGMENTS = 3
END_OF_DAY = 17
"""The hour of finishing where none is on record."""


def needs_care(coats: Sequence[Application]) -> list[Application]:
    """What a care pack is about: a topper alone needs none."""
    return [one for one in coats if one.coating != "topper"]


def care_pack(scene: Scene, vessel: Vessel, coats: Sequence[Application]) -> str:
    """The text of at most three segments, and the link to the care card after it.

    `coats` is what the job put on, at least one of it no topper. What is over at `scene.now` is left out.
    """
    about = needs_care(coats)
    text = _text(scene, vessel, about, list_surfaces=True)
    if sms.measure(text).segments > SEGMENTS:
        text = _text(scene, vessel, about, list_surfaces=False)
    return f"{text} {scene.situation.card_url}".strip()


def _text(scene: Scene, vessel: Vessel, coats: Sequence[Application], list_surfaces: bool) -> str:
    file = nudge_text(KIND, scene)
    sentences = " ".join(_sentences(file, scene, vessel, coats))
    values = scene.business_values | {
        "vessel": scene.name_of(vessel),
        "list": _listed(file, scene, coats, list_surfaces),
        "what": sentences,
    }
    return sms.cheap(sms.plain(tidy(wording.fill(file.text, values))), SEGMENTS)


def _sentences(file: NudgeText, scene: Scene, vessel: Vessel, coats: Sequence[Application]) -> Iterator[str]:
    """What holds for these coats from now on, in the order in which it matters."""
    kinds = [scene.knowledge.coatings[one.coating] for one in coats]
    finished = max(finished_at(one, scene.zone) for one in coats)
    dry_until = finished + timedelta(hours=max(kind.keep_dry_hours[1] for kind in kinds))
    soap_on = (finished + timedelta(days=max(kind.no_soap_days[1] for kind in kinds))).astimezone(ZoneInfo(scene.zone))
    values = {
        "soap": scene.business_values["soap"],
        "dry_until": wording.moment_text(dry_until, scene.zone, scene.language, scene.today),
        "first_soap_on": scene.day(soap_on.date()),
    }
    if dry_until > scene.now:
        yield wording.fill(file.rules["keep_dry"], values)
    yield wording.fill(file.rules["no_soap" if soap_on > scene.now else "soap"], values)
    first = [one.applied_on + timedelta(days=kind.first_topper_day)
             for one, kind in zip(coats, kinds, strict=True) if kind.first_topper_day]  # fmt: skip
    if first:
        yield wording.fill(file.rules["topper"], {"next_topper_on": scene.day(min(first))})
    lives = [_life(one, kind, vessel, scene) for one, kind in zip(coats, kinds, strict=True)]
    yield _next_job(file, min(lives, key=lambda life: life.due_on), scene)


def finished_at(coat: Application, zone: str) -> datetime:
    """When the coat was finished; the end of that working day where the hour is not on record."""
    if coat.finished_at:
        return coat.finished_at
    day = coat.applied_on
    return datetime(day.year, day.month, day.day, END_OF_DAY, tzinfo=ZoneInfo(zone))


def _life(coat: Application, kind: Coating, vessel: Vessel, scene: Scene) -> Life:
    business = scene.situation.business
    own = coatings.parameters(kind, business.life, coatings.vessel_overrides(vessel))
    sun = scene.knowledge.sun.get(business.sun_station)
    return coatings.life(coat, vessel, scene.situation.events, own, scene.today, sun)


def _next_job(file: NudgeText, life: Life, scene: Scene) -> str:
    """When to renew the coat that is used up first."""
    rule = "wax" if life.application.coating == "wax" else "reseal_at_layup" if life.at_layup else "reseal"
    return wording.fill(file.rules[rule], {"due_on": scene.day(life.due_on)})


def _listed(file: NudgeText, scene: Scene, coats: Sequence[Application], list_surfaces: bool) -> str:
    """'polymer sealant on the hull and topsides', or only the coatings where that gets too long."""
    surfaces: dict[str, list[str]] = {}
    for coat in coats:
        surfaces.setdefault(coat.coating, []).append(scene.named("surfaces", coat.surface))
    told = []
    for coating, names in surfaces.items():
        named = scene.named("coatings", coating)
        where = wording.join_words(list(dict.fromkeys(names)), scene.language)
        told.append(wording.fill(file.rules["coat"], {"coating": named, "surface": where}) if list_surfaces else named)
    return wording.join_words(told, scene.language)
