"""Times as people text them: a table of phrases, answers to an offer, and what nobody can know."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.domain.times import read_times
from assistant.domain.times.offers import picked_by_place
from assistant.domain.times.words import normal
from assistant.domain.visits import Slot, TimeWish
from assistant.packaged import packaged
from assistant.storage.knowledge_files.reader import read_without_model

ZONE = "America/New_York"
WEEKDAYS = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
TABLE = Path(__file__).with_name("time_phrases.csv")
with TABLE.open(encoding="utf-8") as file:
    PHRASES = list(csv.DictReader(file))


def at_ten(day: str) -> datetime:
    return datetime.fromisoformat(f"{day}T10:30").replace(tzinfo=ZoneInfo(ZONE)).astimezone(UTC)


def expected_wish(notation: str) -> TimeWish:
    """'first=2027-06-01 weekdays=tue|thu latest=11:45' as a wish."""
    values: dict[str, object] = {}
    for part in notation.split():
        name, _, value = part.partition("=")
        values[name] = _value(name, value)
    return TimeWish(**values)  # type: ignore[arg-type]


def _value(name: str, value: str) -> object:
    if name in {"first", "last", "needed_on"}:
        return date.fromisoformat(value)
    if name in {"days", "not_days"}:
        days = tuple(_days(value))
        return days if name == "days" else frozenset(days)
    if name in {"weekdays", "not_weekdays"}:
        return frozenset(WEEKDAYS.index(word) for word in value.split("|"))
    if name in {"earliest", "latest"}:
        hour, minute = value.split(":")
        return 60 * int(hour) + int(minute)
    return int(value) if name == "pick" else value or True


def _days(value: str) -> Iterator[date]:
    for part in value.split("|"):
        first, _, last = part.partition("..")
        day = date.fromisoformat(first)
        while day <= date.fromisoformat(last or first):
            yield day
            day += timedelta(days=1)


def test_the_table_is_large_and_in_both_languages() -> None:
    assert len(PHRASES) >= 200
    assert sum(row["language"] == "es" for row in PHRASES) >= 50


@pytest.mark.parametrize("row", PHRASES, ids=[f"{row['today']} {row['text']}" for row in PHRASES])
def test_a_phrase_is_read_as_people_mean_it(row: dict[str, str]) -> None:
    wish = read_times(row["text"], at_ten(row["today"]), ZONE, row["language"])
    if row["expected"] == "ask":
        assert wish.ambiguous
        return
    assert replace(wish, words="") == expected_wish(row["expected"])


with TABLE.with_name("offer_phrases.csv").open(encoding="utf-8") as file:
    ANSWERS = list(csv.DictReader(file))


def offered() -> list[Slot]:
    """Tuesday the 11th at 8, Thursday the 13th at 10, Tuesday the 18th at 1 pm."""
    begins = [datetime(2027, 5, day, hour, tzinfo=ZoneInfo(ZONE)) for day, hour in ((11, 8), (13, 10), (18, 13))]
    return [Slot(1, begin.astimezone(UTC), begin.astimezone(UTC) + timedelta(hours=2)) for begin in begins]


@pytest.mark.parametrize("row", ANSWERS, ids=[row["text"] for row in ANSWERS])
def test_an_answer_to_an_offer_picks_refuses_or_wishes_anew(row: dict[str, str]) -> None:
    wish = read_times(row["text"], at_ten("2027-05-04"), ZONE, row["language"], offered())
    if row["expected"] == "ask":
        assert (wish.pick, wish.ambiguous) == (None, "pick")
        return
    assert replace(wish, words="") == expected_wish(row["expected"])


@pytest.mark.parametrize(
    ("text", "day"),
    [("push me back a week", 18), ("a week earlier", 4), ("2 days later", 13), ("same day but in the afternoon", 11),
     ("make it the following friday", 14), ("aplaza la cita dos semanas", 25)],
)  # fmt: skip
def test_shifts_count_from_the_day_that_is_to_move(text: str, day: int) -> None:
    wish = read_times(text, at_ten("2027-05-04"), ZONE, "en", anchor=date(2027, 5, 11))
    assert wish.days == (date(2027, 5, day),)


@pytest.mark.parametrize(
    ("zone", "language", "days"),
    [("America/New_York", "en", {date(2027, 6, 9)}), ("Europe/London", "en", {date(2027, 9, 6)}),
     ("Europe/Madrid", "es", {date(2027, 9, 6)}), ("America/New_York", "es", set())],
)  # fmt: skip
def test_a_date_in_figures_is_read_as_the_place_and_language_write_it(
    zone: str, language: str, days: set[date]
) -> None:
    wish = read_times("6/9", at_ten("2027-05-04"), zone, language)
    assert set(wish.days) == days or wish.ambiguous == "2027-06-09 2027-09-06"
    assert bool(days) != bool(wish.ambiguous)


def test_the_wall_day_of_the_business_counts_not_the_utc_day() -> None:
    late_evening = datetime(2027, 5, 5, 2, 30, tzinfo=UTC)  # still Tuesday the 4th in New York
    assert read_times("tomorrow", late_evening, ZONE, "en").days == (date(2027, 5, 5),)


def other_questions() -> Iterator[tuple[str, str]]:
    """(language, text) of every way of asking that the shipped answers know, but for bookings and small talk."""
    found, _ = read_without_model(packaged("knowledge"))
    for language, answers in found.answers.items():
        for answer in answers.values():
            if answer.group not in {"booking", "people", "consent"} and answer.topic != "change_answer":
                yield from ((language, phrasing) for phrasing in answer.phrasings)


def test_no_question_of_another_kind_is_taken_for_a_pick() -> None:
    """A pick books a visit: 'which first?', 'does it last?' and '2 weeks after' must never be one."""
    questions = list(other_questions())
    assert len(questions) > 10_000
    now, times = at_ten("2027-05-04"), offered()
    hold_a_number = [one for one in questions if picked_by_place(normal(one[1]), 3)]
    questions = [*hold_a_number, *questions[::8]]
    assert [text for language, text in questions if read_times(text, now, ZONE, language, times).pick] == []


@given(st.text(max_size=160), st.sampled_from(["en", "es"]))
def test_any_text_is_read_without_a_fault(text: str, language: str) -> None:
    wish = read_times(text, at_ten("2027-05-04"), ZONE, language, offered())
    assert wish.pick is None or 1 <= wish.pick <= 3


@given(st.lists(st.sampled_from(
    "next week the 15th after before not but fri tues am pm 9 june 2 - to and or la semana que viene el 9 de no hasta <0> 31/2 /".split()
), max_size=9).map(" ".join))  # fmt: skip
def test_any_string_of_time_words_is_read_without_a_fault(text: str) -> None:
    wish = read_times(text, at_ten("2027-05-04"), ZONE, "en", offered())
    assert wish.first is None or wish.last is None or wish.first <= wish.last
