"""`sweep`: what would leave at an instant, or over a whole year, before anything is switched on."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.clock import utc_now
from assistant.domain.errors import SettingsError
from assistant.domain.year_picture import as_svg, as_words
from assistant.doors.command_line.opening import for_trying
from assistant.settings import Settings
from assistant.usecases.sweep import Swept, rehearse, sweep

YEAR = timedelta(days=365)


def add_commands(commands: Any) -> None:
    """Add this group's command."""
    parser = commands.add_parser(
        "sweep",
        help="show the texts that would leave at an instant, or in a year",
        description="Plans and sends to the screen. Works on a copy of the home's data that is thrown away, so nothing "
        "leaves and nothing changes; --to-home writes the texts of one instant down as sent.",
    )
    parser.add_argument("--json", action="store_true", help="one line of JSON for each text")
    parser.add_argument("--at", metavar="INSTANT", help="like 2027-05-04T10:30 (in the business's zone), default: now")
    parser.add_argument("--year", action="store_true", help="go on day by day for a year, and draw a calendar")
    parser.add_argument("--picture", type=Path, metavar="FILE.svg", help="with --year: write the calendar as a picture")
    parser.add_argument("--to-home", action="store_true", help="keep what is planned and sent in the home's data")
    parser.set_defaults(run=show_sweep)


def show_sweep(given: argparse.Namespace, settings: Settings) -> int:
    """Print each text as it would leave, then the calendar of a year."""
    if given.year and given.to_home:
        raise SettingsError("--year looks ahead and is never kept: leave --to-home out")
    if given.picture and not given.year:
        raise SettingsError("--picture draws a year: add --year")
    with for_trying(settings, to_home=given.to_home) as assistant:
        zone = ZoneInfo(assistant.business.zone)
        begin = _instant(given.at, zone)
        texts = rehearse(assistant, begin, begin + YEAR) if given.year else sweep(assistant, begin)
        shown = [_shown(text, zone, as_json=given.json) for text in texts]
        if given.year:
            _draw_year(shown, assistant, zone, given.picture, as_json=given.json)
        elif not shown and not given.json:
            print(f"Nothing would leave at {begin.astimezone(zone):%Y-%m-%d %H:%M}.")
    return 0


def _shown(text: Swept, zone: ZoneInfo, as_json: bool) -> Swept:
    """Print one text, as soon as it is known."""
    if as_json:
        line = {"to": text.to, "kind": text.kind, "text": text.text, "segments": text.segments, "why": text.why,
                "at": text.at.isoformat()}  # fmt: skip
        print(json.dumps(line, ensure_ascii=False), flush=True)
    else:
        parts = "1 part" if text.segments == 1 else f"{text.segments} parts"
        print(f"{text.at.astimezone(zone):%a %Y-%m-%d %H:%M}  {text.name or text.to}  {text.kind}, {parts}")
        print(f"    {text.text}\n    ({text.why})", flush=True)
    return text


def _draw_year(
    texts: Iterable[Swept], assistant: Assistant, zone: ZoneInfo, picture: Path | None, as_json: bool
) -> None:
    """The calendar below the list, and as a picture where asked for."""
    by_day: dict[Any, list[str]] = {}
    for text in texts:
        by_day.setdefault(text.at.astimezone(zone).date(), []).append(f"{text.name or text.to}: {text.kind}")
    if not as_json:
        count = sum(map(len, by_day.values()))
        print(f"\nTexts in a year: {count}, if nobody writes, books or logs anything meanwhile.\n")
        print(as_words(day for day, told in by_day.items() for _ in told))
    if picture:
        try:
            picture.write_text(as_svg(by_day, f"{assistant.business.name}: texts in a year"), encoding="utf-8")
        except OSError as error:
            raise SettingsError(f"{picture} cannot be written ({error.strerror}): choose another place") from error


def _instant(written: str | None, zone: ZoneInfo) -> datetime:
    """The moment asked for, or the present. Without an offset it is wall time of the business."""
    if written is None:
        return utc_now()
    try:
        moment = datetime.fromisoformat(written)
    except ValueError:
        raise SettingsError(f"--at {written} is no moment: write it like 2027-05-04T10:30") from None
    return (moment if moment.tzinfo else moment.replace(tzinfo=zone)).astimezone(UTC)
