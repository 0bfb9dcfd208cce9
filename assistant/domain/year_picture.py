"""The texts of a year as a picture: a row for each month, a cell for each day; for a terminal and as SVG."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from html import escape

CELL = 11
LEFT, TOP = 38, 24
MOST_SHADES = 4
"""Days with this many texts or more look the same."""


def as_words(days: Iterable[date]) -> str:
    """How many texts leave on each day: `.` for none, the number, `+` for ten and more. One day for each text."""
    counts = Counter(days)
    if not counts:
        return "No texts."
    header = "         " + "".join(f"{day:>2}" for day in range(1, 32))
    return "\n".join([header, *(_month_line(year, month, counts) for year, month in _months(counts))])


def as_svg(texts: Mapping[date, list[str]], title: str) -> str:
    """The same as SVG, as wide as a phone; pointing at a day tells its texts (`texts`: day -> one line each)."""
    months = list(_months(texts))
    width, height = LEFT + 31 * CELL + 2, TOP + len(months) * CELL + 4
    cells = [_day_numbers(), *(part for row, month in enumerate(months) for part in _month_cells(row, *month, texts))]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" fill="currentColor" '
        f'font-family="sans-serif" font-size="7"><title>{escape(title)}</title>'
        f'<text x="2" y="9" font-size="9">{escape(title)}</text>{"".join(cells)}</svg>'
    )


def _months(days: Iterable[date]) -> Iterator[tuple[int, int]]:
    """Every month from the first day to the last."""
    listed = sorted(days)
    if not listed:
        return
    year, month = listed[0].year, listed[0].month
    while (year, month) <= (listed[-1].year, listed[-1].month):
        yield year, month
        year, month = (year + 1, 1) if month == 12 else (year, month + 1)


def _month_line(year: int, month: int, counts: Mapping[date, int]) -> str:
    cells = []
    for day in range(1, 32):
        here = _real(year, month, day)
        number = counts.get(here, 0) if here else 0
        cells.append("  " if here is None else " ." if not number else f"{number:>2}" if number < 10 else " +")
    total = sum(number for day, number in counts.items() if (day.year, day.month) == (year, month))
    return f"{year}-{month:02d} {''.join(cells):<63} {total:>4}"


def _day_numbers() -> str:
    return "".join(
        f'<text x="{LEFT + (day - 0.5) * CELL}" y="{TOP - 3}" text-anchor="middle" opacity="0.7">{day}</text>'
        for day in (1, 5, 10, 15, 20, 25, 30)
    )


def _month_cells(row: int, year: int, month: int, texts: Mapping[date, list[str]]) -> Iterator[str]:
    y = TOP + row * CELL
    yield f'<text x="2" y="{y + 8}">{year}-{month:02d}</text>'
    for day in range(1, 32):
        here = _real(year, month, day)
        if here is None:
            continue
        told = texts.get(here, [])
        shade = 0.07 + 0.9 * min(len(told), MOST_SHADES) / MOST_SHADES
        words = escape(f"{here}: " + ("; ".join(told) or "-"))
        yield (f'<rect x="{LEFT + (day - 1) * CELL}" y="{y}" width="{CELL - 1}" height="{CELL - 1}" rx="1.5" '
               f'opacity="{shade:.2f}"><title>{words}</title></rect>')  # fmt: skip


def _real(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
