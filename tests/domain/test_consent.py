"""Whether a text of our own may leave: consent first, then how often, then the hour in every zone it may be read in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import phonenumbers
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from phonenumbers import geocoder

from assistant.domain.area_codes import AREA_CODES, state_of
from assistant.domain.consent import Drop, Go, Wait, ended, may_send, next_allowed
from assistant.domain.conversation.situation import Situation
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Client, Consent
from assistant.domain.texting_hours import candidate_zones, public_holidays, week_of
from assistant.storage.knowledge_files.reader import read_without_model
from tests.hand_made import NO_KNOWLEDGE

MIAMI = ZoneInfo("America/New_York")
AGREED = Consent(service=True, marketing=True)
DAY = timedelta(days=1)


@cache
def knowledge() -> Knowledge:
    """Our own tables: legal hours and countries are what counts here."""
    return read_without_model(Path(__file__).parents[2] / "knowledge")[0]


@dataclass(frozen=True)
class Draft:
    consent: str = "service"
    kind: str = "nudge:check_in"
    not_before: datetime | None = None
    not_after: datetime | None = None


@pytest.fixture
def ana(business):
    client = Client(1, "Ana Reyes", "+13055550111", "en", "America/New_York", "US")
    return Situation(business, client.phone, client, AGREED)


def at(day, hour, minute=0, zone=MIAMI, month=5, year=2027):
    return datetime(year, month, day, hour, minute, tzinfo=zone)


def verdict(situation, now, consent="service", earlier=(), **draft):
    return may_send(Draft(consent, **draft), situation, knowledge(), now, earlier)


def living_at(situation, number, zone, country="US"):
    """The same client with another number, zone and country."""
    client = replace(situation.client, phone=number, zone=zone, country=country)
    return replace(situation, sender=number, client=client)


def widened(situation, opens, closes):
    return replace(situation, business=replace(situation.business, marketing_window=(time(opens), time(closes))))


def test_in_the_window_a_service_text_goes_and_the_carrier_may_hold_it_until_the_window_closes(ana):
    assert verdict(ana, at(4, 9)) == Go(at(4, 20))


@pytest.mark.parametrize(
    ("now", "expected"),
    [
        (at(4, 7, 59), Wait(at(4, 8))),
        (at(4, 8), Go(at(4, 20))),
        (at(4, 19, 59), Go(at(4, 20))),
        (at(4, 20), Wait(at(5, 8))),
    ],
)
def test_the_window_is_half_open(ana, now, expected):
    assert verdict(ana, now) == expected


def test_a_marketing_text_waits_over_sunday(ana):
    assert verdict(ana, at(8, 18), "marketing") == Wait(at(10, 10))
    assert verdict(ana, at(10, 10), "marketing") == Go(at(10, 17))


def test_a_marketing_text_waits_over_a_public_holiday_and_a_service_text_does_not(ana):
    """Saturday 29 May, then Sunday, then Memorial Day."""
    assert verdict(ana, at(29, 17), "marketing") == Wait(at(1, 10, month=6))
    assert verdict(ana, at(31, 10)) == Go(at(31, 20))


def test_holidays_are_those_of_the_client_not_of_the_business(ana):
    """Boxing Day observed is Tuesday 28 December 2027; Independence Day observed is Monday 5 July."""
    there = ZoneInfo("Europe/London")
    london = living_at(ana, "+442079460123", "Europe/London", "GB")
    assert verdict(london, at(28, 12, month=12, zone=there), "marketing") == Wait(at(29, 10, month=12, zone=there))
    assert verdict(ana, at(28, 12, month=12), "marketing") == Go(at(28, 17, month=12))
    assert verdict(london, at(5, 12, month=7, zone=there), "marketing") == Go(at(5, 17, month=7, zone=there))
    assert verdict(ana, at(5, 12, month=7), "marketing") == Wait(at(6, 10, month=7))


def test_a_state_may_have_holidays_of_its_own_besides_those_of_the_country():
    assert date(2027, 11, 26) in public_holidays("US", "FL", 2027)
    assert date(2027, 11, 26) not in public_holidays("US", "", 2027)
    assert public_holidays("US", "FL", 2027) > public_holidays("US", "", 2027)
    assert public_holidays("ZZ", "", 2027) == frozenset()


@pytest.mark.parametrize("needed", ["reply", "crew"])
def test_answers_and_texts_to_our_own_people_go_at_any_hour(ana, needed):
    assert verdict(ana, at(4, 3), needed) == Go()


@pytest.mark.parametrize(
    ("consent", "draft", "why"),
    [
        (Consent(), Draft(), "no consent to service texts"),
        (Consent(service=True), Draft("marketing"), "no consent to marketing texts"),
        (Consent(marketing=True), Draft(), "no consent to service texts"),
        (replace(AGREED, opted_out_at=at(1, 9)), Draft(), "opted out"),
        (replace(AGREED, opted_out_at=at(1, 9)), Draft("reply"), "opted out"),
        (replace(AGREED, ended_kinds=frozenset({"check_in"})), Draft(), "no more check_in wanted"),
        (AGREED, Draft(not_after=at(4, 9)), "too late"),
    ],
)
def test_without_consent_or_too_late_a_text_is_dropped(ana, consent, draft, why):
    assert may_send(draft, replace(ana, consent=consent), knowledge(), at(4, 9)) == Drop(why)


@pytest.mark.parametrize(
    ("said", "kind", "consent", "expected"),
    [
        ("topper", "nudge:monthly_topper", "service", True),
        ("first_topper", "nudge:monthly_topper", "service", True),
        ("reseal_soon", "nudge:reseal_overdue", "marketing", True),
        ("reseal_due+monthly_topper", "nudge:first_topper", "service", True),
        ("monthly_topper", "nudge:reseal_due+monthly_topper", "marketing", True),
        ("topper", "nudge:reseal_due", "marketing", False),
        ("marketing", "nudge:layup", "marketing", True),
        ("marketing", "nudge:check_in", "service", False),
        ("visit_reminder", "nudge:visit_reminder", "service", True),
        ("visit_reminder", "nudge:thanks_after_visit", "service", False),
    ],
)
def test_who_wants_no_more_of_one_kind_gets_no_more_of_its_family(said, kind, consent, expected):
    assert ended(kind, consent, {said}) is expected


def test_our_own_people_hear_from_us_even_after_opting_out_of_nothing(ana):
    assert verdict(replace(ana, consent=Consent()), at(4, 9), "crew") == Go()


def test_a_closed_record_gets_an_answer_and_where_it_is_right_one_last_word(ana):
    sold, died = (replace(ana, client=replace(ana.client, closed=why)) for why in ("sold", "deceased"))
    assert verdict(sold, at(4, 9)) == Drop("the record is closed")
    assert verdict(sold, at(4, 9), "reply") == Go()
    assert verdict(sold, at(4, 9), kind="nudge:number_closed") == Go(at(4, 20))
    assert verdict(died, at(4, 9), kind="nudge:number_closed") == Drop("the record is closed")


def test_a_text_keeps_its_own_limits(ana):
    assert verdict(ana, at(4, 9), not_before=at(4, 12)) == Wait(at(4, 12))
    assert verdict(ana, at(4, 9), not_after=at(4, 11)) == Go(at(4, 11))


def test_the_hour_must_be_fit_on_record_and_by_area_code(ana):
    west = replace(ana, client=replace(ana.client, zone="America/Los_Angeles"))
    assert candidate_zones(west) == {"America/Los_Angeles", "America/New_York"}
    assert verdict(west, at(4, 9)) == Wait(at(4, 11))
    assert verdict(west, at(4, 19)) == Go(at(4, 20))


def test_a_number_that_says_nothing_leaves_the_zone_on_record(ana):
    toll_free = replace(ana, sender="+18005550100")
    assert candidate_zones(toll_free) == {"America/New_York"}


def test_far_apart_zones_share_the_few_hours_they_have(ana):
    sydney = replace(ana, client=replace(ana.client, zone="Australia/Sydney"))
    assert verdict(sydney, at(4, 9)) == Wait(at(4, 18))
    assert isinstance(verdict(sydney, at(4, 9), "marketing"), Drop)


@pytest.mark.parametrize(
    ("number", "zone", "weekday", "hours"),
    [
        ("+13055550111", "America/New_York", 0, (8, 20)),  # Florida
        ("+12165550122", "America/New_York", 0, (8, 20)),  # Ohio has no row, the business's Florida has
        ("+15125550122", "America/Chicago", 0, (9, 20)),  # Texas on a weekday, and Florida
        ("+14015550122", "America/New_York", 4, (9, 18)),  # Rhode Island
        ("+14015550122", "America/New_York", 5, (10, 17)),
        ("+16065550122", "America/New_York", 2, (10, 20)),  # Kentucky
    ],
)
def test_a_business_that_widens_its_hours_is_held_to_the_law(ana, number, zone, weekday, hours):
    client = widened(living_at(ana, number, zone), 6, 22)
    assert week_of("marketing", client, knowledge())[weekday] == (time(hours[0]), time(hours[1]))
    assert week_of("marketing", client, knowledge())[6] is None


def test_no_legal_row_is_broken_by_our_own_hours(ana):
    """Each state with rows, by its first area code."""
    for state, codes in AREA_CODES.items():
        client = living_at(ana, f"+1{min(codes)}5550123", "America/New_York")
        for weekday, hours in enumerate(week_of("marketing", client, knowledge())):
            named = "mon tue wed thu fri sat sun".split()[weekday]
            rows = [row for row in knowledge().hours if row.kind == "marketing" and row.country == "US"]
            for row in rows if hours else ():
                if row.state in ("", state) and named in row.days:
                    assert time.fromisoformat(row.start) <= hours[0] < hours[1] <= time.fromisoformat(row.end)
            covered = {row.state for row in rows if named in row.days}
            assert not (hours and any(row.state == state for row in rows) and state not in covered)


def test_hours_without_any_left_drop_the_text(ana):
    assert isinstance(verdict(widened(ana, 21, 23), at(4, 21), "marketing"), Drop)


def test_area_codes_agree_with_the_numbering_plan_as_the_library_knows_it():
    names = {"FL": "Florida", "TX": "Texas", "CA": "California", "RI": "Rhode Island", "WA": "Washington State",
             "KY": "Kentucky", "OK": "Oklahoma", "CT": "Connecticut", "MD": "Maryland"}  # fmt: skip
    for code in range(201, 1000):
        number = f"+1{code}5550123"
        described = geocoder.description_for_number(phonenumbers.parse(number), "en")
        for state, name in names.items():
            assert (state_of(number) == state) == (described == name or described.endswith(f", {state}"))
    assert state_of("+442079460123") == ""


def test_without_tables_our_own_hours_hold(ana):
    assert may_send(Draft("marketing"), ana, NO_KNOWLEDGE, at(9, 12)) == Wait(at(10, 10))


def test_one_nudge_in_seven_days_and_two_in_thirty(ana):
    business, now = ana.business, at(20, 12)
    assert next_allowed([], now, business) == now
    assert next_allowed([now - 7 * DAY], now, business) == now
    assert next_allowed([now - 6 * DAY], now, business) == now + DAY
    assert next_allowed([now - 29 * DAY, now - 10 * DAY], now, business) == now + DAY
    assert next_allowed([now - 31 * DAY, now - 10 * DAY], now, business) == now


def test_what_comes_too_soon_waits_for_the_first_fit_hour_after(ana):
    """Sent on Monday 3 May at 16:59; a week later that minute is still a fit one, but after a Sunday it is not."""
    monday, sunday = at(3, 16, 59), at(2, 12)
    assert verdict(ana, at(8, 12), "marketing", [monday]) == Wait(at(10, 16, 59))
    assert verdict(ana, at(8, 12), "marketing", [sunday]) == Wait(at(10, 10))


@pytest.mark.parametrize(
    ("day", "opens_utc"),
    [((3, 13), 13), ((3, 14), 12), ((11, 6), 12), ((11, 7), 13)],
)
def test_the_window_is_counted_for_each_date_so_clock_changes_do_not_move_it(ana, day, opens_utc):
    midnight = datetime(2027, *day, 0, 30, tzinfo=MIAMI)
    assert verdict(ana, midnight) == Wait(datetime(2027, *day, opens_utc, tzinfo=UTC))


@given(
    minutes=st.integers(0, 400 * 24 * 60),
    zone=st.sampled_from(["America/New_York", "Europe/London", "Pacific/Honolulu", "Australia/Lord_Howe"]),
    needed=st.sampled_from(["service", "marketing"]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
def test_whatever_the_moment_a_text_leaves_only_at_a_fit_hour_everywhere(ana, minutes, zone, needed):
    business, situation = ana.business, replace(ana, client=replace(ana.client, zone=zone))
    now = datetime(2027, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    found = verdict(situation, now, needed)
    if isinstance(found, Wait):
        assert found.until > now
        now, found = found.until, verdict(situation, found.until, needed)
        assert isinstance(found, Go)
    if isinstance(found, Go):
        opens, closes = business.marketing_window if needed == "marketing" else business.service_window
        for key in candidate_zones(situation):
            local = now.astimezone(ZoneInfo(key))
            assert opens <= local.time() < closes
            if needed == "marketing":
                assert local.weekday() != 6
                assert local.date() not in public_holidays("US", "FL", local.year)
            assert found.until is not None
            assert now < found.until
