"""`chat`: text the assistant from the terminal."""

from __future__ import annotations

import argparse
import sys
from typing import Any
from uuid import uuid4

from assistant.clock import utc_now
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.errors import SettingsError
from assistant.domain.sms import clean
from assistant.doors.command_line.asking import phone
from assistant.doors.command_line.opening import for_trying
from assistant.settings import Settings
from assistant.storage import clients
from assistant.usecases.converse import receive

A_STRANGER = "+13055550199"


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    chat = commands.add_parser(
        "chat",
        help="text the assistant from the terminal; nothing leaves",
        description="You text as one of your clients and see what the assistant would answer. Works on a copy of "
        "the home's data that is thrown away.",
    )
    chat.add_argument("--as", dest="sender", metavar="NUMBER", default=A_STRANGER, help="the number you text from")
    chat.add_argument("--to-home", action="store_true", help="keep the conversation in the home's data")
    chat.set_defaults(run=converse)


def converse(given: argparse.Namespace, settings: Settings) -> int:
    """Read texts until the input ends, and print the answers."""
    with for_trying(settings, to_home=given.to_home) as assistant:
        try:
            sender = phone(given.sender, assistant.business.country)
        except ValueError:
            raise SettingsError(f"--as {given.sender} is no phone number: write it like +13055550111") from None
        with assistant.database.reading(assistant.business.id) as tx:
            client = clients.client_of_phone(tx, sender)
        print(f"You are {client.name if client else 'nobody we know'} ({sender}). Ctrl-D leaves.")
        while (text := _next_line()) is not None:
            message = InboundMessage(f"chat-{uuid4().hex}", sender, assistant.business.number, clean(text))
            outcome = receive(assistant, message, utc_now())
            print("\n\n".join(outcome.replies) or "(no answer)")
            if outcome.decision and outcome.decision.handover:
                print(f"({assistant.business.detailer} is asked: {outcome.decision.handover.reason})")
    return 0


def _next_line() -> str | None:
    """The next text, or None at the end of the input."""
    try:
        return input("> " if sys.stdin.isatty() else "")
    except EOFError:
        return None
