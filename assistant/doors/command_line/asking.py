"""`ask`: JSON lines in, JSON lines out, through the same use case as a text. Nothing leaves."""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import phonenumbers

from assistant.assembly import Assistant
from assistant.clock import utc_now
from assistant.domain.conversation.decision import Decision
from assistant.domain.conversation.situation import InboundMessage, Media
from assistant.domain.sms import clean
from assistant.doors.command_line.opening import for_trying
from assistant.settings import Settings
from assistant.usecases.converse import Outcome, receive

NOTHING_DECIDED = Decision(replies=())


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    ask = commands.add_parser(
        "ask",
        help="answer JSON lines from standard input",
        description='Reads lines like {"from": "+13055550111", "text": "Can I use bleach?"} (and "at", "media") and '
        "writes one line for each, in order. Works on a copy of the home's data that is thrown away.",
    )
    ask.add_argument("--json", action="store_true", required=True, help="lines of JSON (the only form)")
    ask.add_argument("--to-home", action="store_true", help="keep the conversation in the home's data")
    ask.set_defaults(run=ask_lines)


def ask_lines(given: argparse.Namespace, settings: Settings) -> int:
    """Answer every line; 1 when one of them could not be used (its answer then has "error")."""
    code = 0
    with for_trying(settings, to_home=given.to_home) as assistant:
        for number, line in enumerate(sys.stdin, start=1):
            if not line.strip():
                continue
            try:
                answer = answer_line(assistant, line)
            except ValueError as error:
                answer, code = {"error": f"line {number}: {error}"}, 1
            print(json.dumps(answer, ensure_ascii=False), flush=True)
    return code


def answer_line(assistant: Assistant, line: str) -> dict[str, Any]:
    """The answer to one line. Raises ValueError saying what is wrong with it."""
    try:
        asked = json.loads(line)
    except json.JSONDecodeError as error:
        raise ValueError(f"not JSON ({error})") from None
    if not isinstance(asked, dict):
        raise ValueError('not an object like {"from": "+13055550111", "text": "Hi"}')
    message, now = _message(asked, assistant), _moment(asked.get("at"), assistant.business.zone)
    begun = time.perf_counter()
    outcome = receive(assistant, message, now)
    return _as_json(outcome, elapsed_ms=round((time.perf_counter() - begun) * 1000, 1))


def _as_json(outcome: Outcome, elapsed_ms: float) -> dict[str, Any]:
    decision = outcome.decision or NOTHING_DECIDED
    return {
        "replies": list(outcome.replies),
        "asked": list(decision.asked),
        "topic": decision.topic,
        "verdict": decision.verdict,
        "certainty": round(decision.certainty, 3),
        "handover": decision.handover is not None,
        "evidence": [asdict(step) for step in decision.evidence],
        "elapsed_ms": elapsed_ms,
    }


def _message(asked: Mapping[str, Any], assistant: Assistant) -> InboundMessage:
    text = asked.get("text")
    if not isinstance(text, str):
        raise ValueError('"text" is missing')
    return InboundMessage(
        sid=f"ask-{uuid4().hex}",
        sender=phone(asked.get("from"), assistant.business.country),
        to=assistant.business.number,
        text=clean(text),
        media=tuple(_media(asked.get("media"))),
    )


def _media(listed: Any) -> list[Media]:
    if not isinstance(listed or [], list):
        raise ValueError('"media" is not a list')
    try:
        return [Media(url=str(item["url"]), content_type=str(item["content_type"])) for item in listed or []]
    except (KeyError, TypeError):
        raise ValueError('every one of "media" needs "url" and "content_type"') from None


def _moment(written: Any, zone: str) -> datetime:
    """`at`, or the present. Without an offset it is wall time of the business."""
    if written is None:
        return utc_now()
    try:
        moment = datetime.fromisoformat(str(written))
    except ValueError:
        raise ValueError(f'"at" is no moment like 2027-05-04T09:15:00-04:00: {written!r}') from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)


def phone(written: Any, country: str) -> str:
    """A number as E.164. Raises ValueError when it is none."""
    try:
        number = phonenumbers.parse(str(written or ""), country)
    except phonenumbers.NumberParseException:
        number = None
    if number is None or not phonenumbers.is_possible_number(number):
        raise ValueError(f'"from" is no phone number like +13055550111: {written!r}')
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)
