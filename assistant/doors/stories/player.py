"""Plays a story: every text is a signed request to the real webhook, as the carrier sends it.

Each request is sent twice, as a carrier that lost the first answer would, and the second answer must be the first.
"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from flask.testing import FlaskClient
from twilio.request_validator import RequestValidator

from assistant.assembly import Assistant
from assistant.carriers.memory import MemoryCarrier
from assistant.domain.errors import KnowledgeError, Problem
from assistant.doors.stories.scenes import Scene, scenes_of
from assistant.doors.stories.story import Kind, Paragraph, Story
from assistant.doors.web import create_app
from assistant.doors.worker import work_once
from assistant.storage import handovers

BETWEEN_TEXTS = timedelta(minutes=1)
PHOTO = "[photo]"
NO_ANSWER = "(no answer)"


class Stage:
    """One assistant with a clock of its own, and the people who text it."""

    def __init__(self, assistant: Assistant, carrier: MemoryCarrier, people: dict[str, str], story: Story) -> None:
        self._assistant, self._carrier, self._story = assistant, carrier, story
        self._people = people | story.strangers
        self._names = {number: name for name, number in self._people.items()}
        self._zone = ZoneInfo(assistant.business.zone)
        self._wall = story.starts
        self._texts = self._left = self._handed_over = 0
        self._client: FlaskClient = create_app(assistant, now=self._now).test_client()

    def play(self) -> Iterator[Scene]:
        """Scene after scene, whether or not it happens as written."""
        for step, written in scenes_of(self._story.paragraphs):
            if step.kind is Kind.LATER:
                self._wall = step.after(self._wall)
                work_once(self._assistant, self._now())
                happened = self._left_since()
            else:
                who, text = step.spoken
                happened = [*self._says(self._number_of(who, step), text), *self._asked_since()]
                self._wall += BETWEEN_TEXTS
            yield Scene(step, written, tuple(happened))

    def _number_of(self, who: str, step: Paragraph) -> str:
        """The number behind a name. Raises KnowledgeError for a name that is nobody's."""
        if who not in self._people:
            known = ", ".join(self._people)
            slip = Problem(str(self._story.path), step.line, f"{who} is nobody", f"Name a stranger or one of {known}")
            raise KnowledgeError([slip])
        return self._people[who]

    def _now(self) -> datetime:
        return self._wall.replace(tzinfo=self._zone).astimezone(UTC)

    def _says(self, number: str, text: str) -> list[str]:
        """The answer to a text, a paragraph each. Raises AssertionError when a repeat is answered differently."""
        self._texts += 1
        form = self._form(number, text)
        answer, again = self._post(form), self._post(form)
        if answer != again:
            raise AssertionError(f"the same request was answered {answer!r} and then {again!r}")
        replies = [message.text or "" for message in ET.fromstring(answer).iter("Message")]  # noqa: S314 (our own)
        return [paragraph for reply in replies for paragraph in re.split(r"\n{2,}", reply)] or [NO_ANSWER]

    def _form(self, number: str, text: str) -> dict[str, str]:
        settings = self._assistant.settings
        photos = text.count(PHOTO)
        form = {"MessageSid": f"SM{self._texts:032x}", "AccountSid": settings.account_sid, "From": number,
                "To": self._assistant.business.number, "Body": text.replace(PHOTO, "").strip(),
                "NumMedia": str(photos)}  # fmt: skip
        for place in range(photos):
            form[f"MediaUrl{place}"] = f"https://api.twilio.com/{self._texts}/{place}"
            form[f"MediaContentType{place}"] = "image/jpeg"
        return form

    def _post(self, form: dict[str, str]) -> str:
        settings = self._assistant.settings
        path = "/sms/inbound"
        signature = RequestValidator(settings.auth_token).compute_signature(settings.public_url + path, form)
        response = self._client.post(path, data=form, headers={"X-Twilio-Signature": signature})
        if response.status_code != 200:
            raise AssertionError(f"the webhook answered {response.status}")
        return response.text

    def _asked_since(self) -> list[str]:
        """Which handovers this text opened."""
        with self._assistant.database.reading(self._assistant.business.id) as tx:
            opened = handovers.opened_after(tx, self._handed_over)
        self._handed_over = max([self._handed_over, *(handover.id for handover in opened)])
        detailer = self._assistant.business.detailer
        return [f"({detailer} is asked{' at once' if handover.urgent else ''})" for handover in opened]

    def _left_since(self) -> list[str]:
        """Texts of our own accord that left, with the receiver's name."""
        new, self._left = self._carrier.sent[self._left :], len(self._carrier.sent)
        return [f"To {self._names.get(text.to, text.to)}: {text.text}" for text in new]
