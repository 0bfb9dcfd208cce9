"""Half sentences and lists that the booking texts share."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.domain import wording
from assistant.domain.business import Service
from assistant.domain.conversation.scene import Scene
from assistant.domain.driving import place_called
from assistant.domain.people import Vessel
from assistant.domain.prices import Quote
from assistant.domain.slots import COATING_CURE_HOURS, Obstacle, Work
from assistant.domain.visits import Slot


def service_name(scene: Scene, service: Service | None) -> str:
    """What the business calls the work, in the client's language."""
    if service is None:
        return scene.say("visit.work")
    return service.name.get(scene.language) or service.name.get("en", service.id)


def names_of(scene: Scene, vessels: Sequence[Vessel]) -> str:
    """'Blue Ledger and Little Ledger'."""
    return wording.join_words([scene.name_of(vessel) for vessel in vessels], scene.language)


def wall_day(scene: Scene, instant: datetime) -> date:
    """The day on the business's clock, where the boats are."""
    return instant.astimezone(ZoneInfo(scene.situation.business.zone)).date()


def when_text(scene: Scene, begins: datetime) -> str:
    """'Tue May 11, 8 am', on the business's clock."""
    return wording.moment_text(begins, scene.situation.business.zone, scene.language, scene.today)


def day_text(scene: Scene, day: date) -> str:
    """'Tue May 11'."""
    return f"{wording.weekday_text(day, scene.language)[:3]} {scene.day(day)}"


def price_text(scene: Scene, found: Quote | None) -> str:
    """'$110', 'about $620 (estimate, confirmed on sight)', or nothing where no length is known."""
    if found is None:
        return ""
    money = wording.money_text(found.total, scene.situation.business.prices.currency)
    return scene.say("price.estimate", price=money) if found.estimate else money


def ready_text(scene: Scene, service: Service) -> str:
    """What to have ready."""
    if service.cure_hours >= COATING_CURE_HOURS:
        return scene.say("visit.ready_coating", count=str(service.cure_hours))
    return scene.say("visit.ready")


def numbered(items: Sequence[str], scene: Scene, link: bool = True) -> str:
    """'1) Blue Ledger or 2) Little Ledger'; without `link` a plain list."""
    told = [f"{number}) {item}" for number, item in enumerate(items, 1)]
    return wording.join_words(told, scene.language, either(scene)) if link else " ".join(f"{one}." for one in told)


def choice(count: int, scene: Scene) -> str:
    """'1, 2 or 3'."""
    return wording.join_words([str(number) for number in range(1, count + 1)], scene.language, either(scene))


def either(scene: Scene) -> str:
    """'or'."""
    return scene.knowledge.say("visit.or", scene.language)


def reason(slots: Sequence[Slot], work: Work, scene: Scene) -> str:
    """Why these times, in one phrase, where there is something to tell."""
    here = [slot for slot in slots if slot.why == "here"]
    if here and len(here) == len(slots):
        return scene.say("visit.why.here", place=work.place)
    if here:
        days = dict.fromkeys(wording.weekday_text(wall_day(scene, slot.begins), scene.language) for slot in here)
        return scene.say("visit.why.some", place=work.place, when=wording.join_words(list(days), scene.language))
    if slots[0].why == "weekday":
        return scene.say("visit.why.weekday", place=work.place, days=weekdays_of(work, scene))
    return ""


def why_not_text(why_not: Obstacle | None, work: Work, scene: Scene) -> str:
    """What stood against the wish."""
    if why_not is None:
        return ""
    return scene.say(f"visit.not.{why_not.value}", place=work.place, days=weekdays_of(work, scene))


def weekdays_of(work: Work, scene: Scene) -> str:
    """The days on which the crew is at that harbor: 'Tuesdays and Thursdays'."""
    place, monday = place_called(scene.situation.business, work.place), date(2027, 1, 4)
    names = [wording.weekday_text(monday + timedelta(days=day), scene.language) for day in sorted(place.weekdays if place else ())]
    return wording.join_words([name if name.endswith("s") else f"{name}s" for name in names], scene.language)


def sentences(*parts: str) -> str:
    """The parts as one text: no double blanks, no commas before nothing, a capital at the beginning of each."""
    told = []
    for part in parts:
        text = " ".join(part.split())
        for slip, mended in ((" ,", ","), (",,", ","), (",.", "."), (" .", "."), ("..", ".")):
            text = text.replace(slip, mended)
        told += [text[:1].upper() + text[1:]] if text else []
    return " ".join(told)
