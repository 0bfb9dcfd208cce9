"""Whether a text of our own may leave: consent first, then the hour in every zone the client may be in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.domain.consent import Drop, Go, Wait, candidate_zones, may_send
from assistant.domain.conversation.situation import Situation
from assistant.domain.people import Client, Consent

MIAMI = ZoneInfo("America/New_York")
AGREED = Consent(service=True, marketing=True)


@dataclass(frozen=True)
class Draft:
    consent: str = "service"
    kind: str = "reminder"
    not_before: datetime | None = None
    not_after: datetime | None = None


@pytest.fixture
def ana(business):
    client = Client(1, "Ana Reyes", "+13055550111", "en", "America/New_York", "US")
    return Situation(business, client.phone, client, AGREED)


def at(day, hour, minute=0, zone=MIAMI):
    return datetime(2027, 5, day, hour, minute, tzinfo=zone)


def test_in_the_window_a_service_text_goes_and_the_carrier_may_hold_it_until_the_window_closes(ana):
    assert may_send(Draft(), ana, at(4, 9)) == Go(at(4, 20))


@pytest.mark.parametrize(
    ("now", "verdict"),
    [
        (at(4, 7, 59), Wait(at(4, 8))),
        (at(4, 8), Go(at(4, 20))),
        (at(4, 19, 59), Go(at(4, 20))),
        (at(4, 20), Wait(at(5, 8))),
    ],
)
def test_the_window_is_half_open(ana, now, verdict):
    assert may_send(Draft(), ana, now) == verdict


def test_a_marketing_text_waits_over_sunday(ana):
    assert may_send(Draft("marketing"), ana, at(8, 18)) == Wait(at(10, 10))
    assert may_send(Draft("marketing"), ana, at(10, 10)) == Go(at(10, 17))


@pytest.mark.parametrize("needed", ["reply", "crew"])
def test_answers_and_texts_to_our_own_people_go_at_any_hour(ana, needed):
    assert may_send(Draft(needed), ana, at(4, 3)) == Go()


@pytest.mark.parametrize(
    ("consent", "draft", "why"),
    [
        (Consent(), Draft(), "no consent to service texts"),
        (Consent(service=True), Draft("marketing"), "no consent to marketing texts"),
        (Consent(marketing=True), Draft(), "no consent to service texts"),
        (replace(AGREED, opted_out_at=at(1, 9)), Draft(), "opted out"),
        (replace(AGREED, opted_out_at=at(1, 9)), Draft("reply"), "opted out"),
        (replace(AGREED, ended_kinds=frozenset({"reminder"})), Draft(), "no more reminder wanted"),
        (AGREED, Draft(not_after=at(4, 9)), "too late"),
    ],
)
def test_without_consent_or_too_late_a_text_is_dropped(ana, consent, draft, why):
    assert may_send(draft, replace(ana, consent=consent), at(4, 9)) == Drop(why)


def test_our_own_people_hear_from_us_even_after_opting_out_of_nothing(ana):
    assert may_send(Draft("crew"), replace(ana, consent=Consent()), at(4, 9)) == Go()


def test_a_closed_record_gets_no_more_texts_but_an_answer(ana):
    sold = replace(ana, client=replace(ana.client, closed="sold"))
    assert may_send(Draft(), sold, at(4, 9)) == Drop("the record is closed")
    assert may_send(Draft("reply"), sold, at(4, 9)) == Go()


def test_a_text_keeps_its_own_limits(ana):
    assert may_send(Draft(not_before=at(4, 12)), ana, at(4, 9)) == Wait(at(4, 12))
    assert may_send(Draft(not_after=at(4, 11)), ana, at(4, 9)) == Go(at(4, 11))


def test_the_hour_must_be_fit_on_record_and_by_area_code(ana):
    west = replace(ana, client=replace(ana.client, zone="America/Los_Angeles"))
    assert candidate_zones(west) == {"America/Los_Angeles", "America/New_York"}
    assert may_send(Draft(), west, at(4, 9)) == Wait(at(4, 11))
    assert may_send(Draft(), west, at(4, 19)) == Go(at(4, 20))


def test_a_number_that_says_nothing_leaves_the_zone_on_record(ana):
    toll_free = replace(ana, sender="+18005550100")
    assert candidate_zones(toll_free) == {"America/New_York"}


def test_far_apart_zones_share_the_few_hours_they_have(ana):
    sydney = replace(ana, client=replace(ana.client, zone="Australia/Sydney"))
    verdict = may_send(Draft(), sydney, at(4, 9))
    assert verdict == Wait(at(4, 18))
    marketing = may_send(Draft("marketing"), sydney, at(4, 9))
    assert isinstance(marketing, Drop)


@pytest.mark.parametrize(
    ("day", "opens_utc"),
    [((3, 13), 13), ((3, 14), 12), ((11, 6), 12), ((11, 7), 13)],
)
def test_the_window_is_counted_for_each_date_so_clock_changes_do_not_move_it(ana, day, opens_utc):
    midnight = datetime(2027, *day, 0, 30, tzinfo=MIAMI)
    assert may_send(Draft(), ana, midnight) == Wait(datetime(2027, *day, opens_utc, tzinfo=UTC))


@given(
    minutes=st.integers(0, 400 * 24 * 60),
    zone=st.sampled_from(["America/New_York", "Europe/London", "Pacific/Honolulu", "Australia/Lord_Howe"]),
    needed=st.sampled_from(["service", "marketing"]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_the_moment_a_text_leaves_only_at_a_fit_hour_everywhere(ana, minutes, zone, needed):
    business, situation = ana.business, replace(ana, client=replace(ana.client, zone=zone))
    now = datetime(2027, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    verdict = may_send(Draft(needed), situation, now)
    if isinstance(verdict, Wait):
        assert verdict.until > now
        now, verdict = verdict.until, may_send(Draft(needed), situation, verdict.until)
        assert isinstance(verdict, Go)
    if isinstance(verdict, Go):
        opens, closes = business.marketing_window if needed == "marketing" else business.service_window
        for key in candidate_zones(situation):
            local = now.astimezone(ZoneInfo(key))
            assert opens <= local.time() < closes
            assert not (needed == "marketing" and local.weekday() == 6)
            assert verdict.until is not None
            assert now < verdict.until
