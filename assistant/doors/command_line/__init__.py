"""The `aftercare` program: one command group a module. Exit codes: 0 done, 1 problems found, 2 wrong use."""

from __future__ import annotations

import argparse
import logging
import os
import sys
from collections.abc import Sequence

from sqlalchemy.exc import OperationalError

from assistant import __version__
from assistant.domain.errors import AftercareError, SettingsError
from assistant.doors.command_line import (
    asking,
    conversing,
    crew,
    keeping,
    playing,
    records,
    serving,
    setting_up,
    sweeping,
)
from assistant.settings import Settings

GROUPS = (playing, setting_up, serving, conversing, asking, records, sweeping, keeping, crew)

DONE, PROBLEMS, WRONG_USE = 0, 1, 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command. Expected trouble becomes one line a problem on standard error, never a traceback."""
    parser = build_parser()
    given = parser.parse_args(arguments)
    logging.basicConfig(level=logging.INFO if given.verbose else logging.WARNING, format="%(levelname)s %(message)s")
    try:
        return int(given.run(given, Settings.from_environment(os.environ)))
    except SettingsError as error:
        return _told(error, WRONG_USE)
    except AftercareError as error:
        return _told(error, PROBLEMS)
    except OperationalError as error:
        return _told(f"the database cannot be used ({error.orig}): check AFTERCARE_DATABASE_URL", PROBLEMS)
    except BrokenPipeError:
        # Whoever read our output has closed it (`aftercare life | head`): nothing is left to say.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return PROBLEMS


def build_parser() -> argparse.ArgumentParser:
    """Every command with its flags and help."""
    parser = argparse.ArgumentParser(
        prog="aftercare",
        description="Aftercare assistant for boat detailers: answers, bookings and reminders by text.",
        epilog="Settings come from the environment: AFTERCARE_HOME, AFTERCARE_DATABASE_URL, AFTERCARE_PUBLIC_URL, "
        "TWILIO_ACCOUNT_SID, TWILIO_AUTH_TOKEN, AFTERCARE_SENDER.",
    )
    parser.add_argument("--version", action="version", version=f"aftercare {__version__}")
    parser.add_argument("--verbose", action="store_true", help="tell more about what is being done")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for group in GROUPS:
        group.add_commands(commands)
    return parser


def _told(problem: object, code: int) -> int:
    print(problem, file=sys.stderr)
    return code
