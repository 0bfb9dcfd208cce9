"""One text's stage: the situation, the knowledge, the day, the language, and the sentences to speak with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from assistant.domain import coatings, wording
from assistant.domain.conversation.decision import Change, HandOver
from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Coating, Knowledge
from assistant.domain.people import Application, Vessel
from assistant.domain.substances import Freshness


@dataclass(frozen=True, slots=True)
class Piece:
    """The answer to one ask. `short` stands in when one text asks several things."""

    text: str
    short: str = ""
    topic: str = ""
    verdict: str | None = None
    changes: tuple[Change, ...] = ()
    why: str = ""
    remember: Mapping[str, object] | None = None
    keeps_question: bool = False
    """What we asked stays open, and what it holds stays held."""

    @property
    def handover(self) -> HandOver | None:
        """The handover among its changes, if any."""
        return next((change for change in self.changes if isinstance(change, HandOver)), None)


@dataclass(frozen=True)
class Scene:
    """Everything a handler needs to answer in the client's words. `now` is aware UTC."""

    situation: Situation
    knowledge: Knowledge
    now: datetime
    language: str
    told_hours: float | None = None
    """Hours since the job by the client's own words; they know it before the record does."""
    text: str = ""
    """The whole text as it came."""

    @cached_property
    def zone(self) -> str:
        """The client's zone, else the business's."""
        client = self.situation.client
        return (client.zone if client else "") or self.situation.business.zone

    @cached_property
    def today(self) -> date:
        """The client's wall day."""
        return self.now.astimezone(ZoneInfo(self.zone)).date()

    @cached_property
    def lives(self) -> list[coatings.Life]:
        """The life of every coat that counts, soonest due first."""
        situation, business = self.situation, self.situation.business
        return coatings.lives(
            situation.vessels, situation.applications, situation.events, self.knowledge, self.today,
            business.life, business.sun_station,
        )  # fmt: skip

    def vessel(self, id: int | None) -> Vessel | None:
        """A vessel by id; without id the only one there is."""
        vessels = self.situation.vessels
        if id is None:
            return vessels[0] if len(vessels) == 1 else None
        return next((vessel for vessel in vessels if vessel.id == id), None)

    def life_of(self, vessel: Vessel | None) -> coatings.Life | None:
        """The soonest due base coat of a vessel, or of any when none is given."""
        mine = [one for one in self.lives if vessel is None or one.application.vessel_id == vessel.id]
        base = [one for one in mine if one.application.coating != "topper"]
        return (base or mine or [None])[0]  # type: ignore[list-item]

    def coating_of(self, vessel: Vessel | None) -> Coating | None:
        """Parameters of the coat that counts on a vessel."""
        found = self.life_of(vessel)
        return self.knowledge.coatings.get(found.application.coating) if found else None

    def freshness(self, vessel: Vessel | None) -> Freshness | None:
        """Hours since the newest coat was finished; None when nothing was put on in the last 60 days."""
        if self.told_hours is not None:
            return Freshness(self.told_hours, self.coating_of(vessel) or self.knowledge.coatings["sealant"])
        coats = [one for one in self.situation.applications if vessel is None or one.vessel_id == vessel.id]
        newest = max(coats, key=lambda one: (one.applied_on, one.id), default=None)
        if newest is None or (self.today - newest.applied_on).days > 60 or newest.applied_on > self.today:
            return None
        coating = self.knowledge.coatings.get(newest.coating)
        return Freshness(self._hours_since(newest), coating) if coating else None

    def _hours_since(self, application: Application) -> float:
        """From the hour of finishing when known, else from 17:00 of that day in the client's zone."""
        finished = application.finished_at
        if finished is None:
            on = application.applied_on
            finished = datetime(on.year, on.month, on.day, 17, tzinfo=ZoneInfo(self.zone))
        return max(0.0, (self.now - finished).total_seconds() / 3600)

    def say(self, id: str, **values: str) -> str:
        """A sentence of the wording table, filled. Business values are always at hand."""
        return wording.fill(self.knowledge.say(id, self.language), {**self.business_values, **values})

    @cached_property
    def business_values(self) -> dict[str, str]:
        """Placeholders that do not depend on the vessel."""
        business = self.situation.business
        country = self.knowledge.country(self.situation.client.country if self.situation.client else business.country)
        language = self.language
        client = self.situation.client
        return {
            "client": client.first_name if client else "",
            "business": business.name,
            "detailer": business.detailer,
            "phone": business.number,
            "soap": self._own_words(business.soap, "default.soap"),
            "topper": self._own_words(business.topper, "default.topper"),
            "payment": business.payment or self.knowledge.say("default.payment", language),
            "emergency": country.emergency or country.name.get(language, ""),
            "poison": country.poison_name.get(language) or country.poison_name.get("en", ""),
            "poison_phone": country.poison_phone,
            "spill_phone": country.spill_phone,
            "places": wording.join_words([place.name for place in business.places], language),
            "services": wording.join_words(
                [service.name.get(language) or service.name.get("en", service.id) for service in business.services.values()],
                language,
            ),
            "card": self.situation.card_url,
        }

    def _own_words(self, own: str, default: str) -> str:
        """The business's product words, where they are in the client's language."""
        if own and self.language == self.situation.business.language:
            return own
        return self.knowledge.say(default, self.language)

    def name_of(self, vessel: Vessel | None) -> str:
        """What to call a vessel."""
        if vessel is not None and vessel.name:
            return vessel.name
        return self.knowledge.say("default.your_boat", self.language)

    def named(self, table: str, id: str) -> str:
        """A substance, surface, soil or coating in the client's language."""
        return self.knowledge.named(table, id, self.language)

    def day(self, day: date) -> str:
        """A date as text."""
        return wording.day_text(day, self.language, self.today)

    def span(self, days: int) -> str:
        """'3 weeks', 'a month', in the client's language."""
        if days <= 0:
            return self.knowledge.say("time.today", self.language)
        for least, size, one, many in (
            (730, 365, "time.year", "time.years"), (60, 30.44, "time.month", "time.months"),
            (14, 7, "time.week", "time.weeks"), (0, 1, "time.day", "time.days"),
        ):  # fmt: skip
            if days >= least:
                count = round(days / size)
                if count == 1 and one == "time.day":
                    return self.say("time.days", count="1").replace("1 days", "1 day").replace("1 días", "1 día")
                return self.say(many, count=str(count)) if count > 1 else self.knowledge.say(one, self.language)
        return ""


def soon(now: datetime, hours: float) -> datetime:
    """An instant some hours ahead."""
    return now + timedelta(hours=hours)
