"""`import` and `life`: the clients' records in, and how their coatings stand."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from assistant.clock import utc_now
from assistant.domain.errors import SettingsError
from assistant.doors.command_line.opening import at_home, migrate, require_home
from assistant.settings import Settings
from assistant.usecases.list_lives import Standing, list_lives
from assistant.usecases.take_over_records import take_over

COLUMNS = ("due", "about", "used", "client", "vessel", "surface", "coating", "applied", "next topper")


def add_commands(commands: Any) -> None:
    """Add this group's commands."""
    take = commands.add_parser(
        "import",
        help="take over clients, vessels and coatings from a spreadsheet",
        description="A row for each coating on each surface. All rows are taken over, or none; taking the same file "
        "over again changes nothing.",
    )
    take.add_argument("file", type=Path, metavar="FILE.csv")
    take.set_defaults(run=import_records)
    life = commands.add_parser("life", help="show how every coating stands, the soonest due first")
    life.add_argument("--json", action="store_true", help="as JSON, one list")
    life.add_argument("--at", type=_day, metavar="DATE", help="the day to show, like 2027-05-04 (default: today)")
    life.set_defaults(run=show_lives)


def import_records(given: argparse.Namespace, settings: Settings) -> int:
    """Take the file over and say what is new. ImportRefused names every bad cell."""
    require_home(settings)
    if not given.file.is_file():
        raise SettingsError(f"{given.file} does not exist: give the path of the spreadsheet, saved as CSV")
    migrate(settings)
    with at_home(settings) as assistant:
        print(take_over(assistant, given.file, utc_now()))
    return 0


def show_lives(given: argparse.Namespace, settings: Settings) -> int:
    """List every coating."""
    with at_home(settings) as assistant:
        today = given.at or utc_now().astimezone(ZoneInfo(assistant.business.zone)).date()
        standings = list_lives(assistant, today)
    if given.json:
        print(json.dumps([_as_json(standing) for standing in standings], ensure_ascii=False, indent=2))
    else:
        print(_as_table([standing for standing in standings if not standing.replaced]))
    return 0


def _as_json(standing: Standing) -> dict[str, Any]:
    life = standing.life
    return {
        "client": standing.client.name,
        "phone": standing.client.phone,
        "vessel": standing.vessel.name,
        "surface": life.application.surface,
        "coating": life.application.coating,
        "applied_on": life.application.applied_on.isoformat(),
        "used_percent": life.used_percent,
        "due_on": life.due_on.isoformat(),
        "due_from": life.due_from.isoformat(),
        "due_to": life.due_to.isoformat(),
        "next_topper_on": life.next_topper_on.isoformat() if life.next_topper_on else None,
        "replaced": standing.replaced,
    }


def _as_table(standings: Sequence[Standing]) -> str:
    if not standings:
        return "No coatings are on record: bring them with `aftercare import FILE.csv`."
    rows = [COLUMNS, *(_row(standing) for standing in standings)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(COLUMNS))]
    return "\n".join("  ".join(map(str.ljust, row, widths)).rstrip() for row in rows)


def _row(standing: Standing) -> tuple[str, ...]:
    life, application = standing.life, standing.life.application
    return (
        str(life.due_on),
        f"{life.due_from} to {life.due_to}",
        f"{life.used_percent} %",
        standing.client.name or standing.client.phone,
        standing.vessel.name,
        application.surface,
        application.coating,
        str(application.applied_on),
        str(life.next_topper_on or "-"),
    )


def _day(written: str) -> date:
    try:
        return date.fromisoformat(written)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{written!r} is no day like 2027-05-04") from None
