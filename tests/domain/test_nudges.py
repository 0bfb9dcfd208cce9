"""What comes due and when, what answers it, and how it is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.domain import sms
from assistant.domain.consent import kinds_of
from assistant.domain.conversation.situation import OpenQuestion
from assistant.domain.nudge_plan import NO_HOUR, NO_ROOM, Logged, plan, untrue
from assistant.domain.nudge_texts import compose, problems_in, text_of
from assistant.domain.nudge_values import KINDS, OPT_OUT_LINE, PLANNED, Earlier, moment_of, rules_of
from assistant.domain.nudges import foresee, yearly
from assistant.domain.people import CareKind, Consent, Season
from assistant.domain.visits import VisitState
from assistant.storage.knowledge_files.checks import asks_for_carrier_word
from tests.nudging import (
    AGREED,
    ANA,
    BUSINESS,
    MOON,
    THISTLE,
    at,
    due,
    harsh,
    knowledge,
    outlook,
    sealed,
    sprayed,
    visit,
)

JAN_4 = date(2027, 1, 4)
DAY = timedelta(days=1)


def first_days(applications, vessels=(THISTLE,), begin=JAN_4, days=365, **known):
    """(day, kind) on which each occasion comes due, as the days go by and nobody does anything."""
    seen, found = set(), []
    for number in range(days):
        view = outlook(begin + number * DAY, applications, vessels, **known)
        for kind, nudge in due(view).items():
            if nudge.occasion not in seen and not nudge.silenced:
                seen.add(nudge.occasion)
                found.append((begin + number * DAY, kind))
    return found


def planned(view, log=None):
    return plan(foresee(view), log or {}, view)


def test_a_year_of_a_sealed_boat_that_lives_in_the_water():
    """Sealed on 4 January: 180 days of sun are used up on 3 July, 80 % of them on 28 May."""
    assert first_days(sealed(JAN_4)) == [
        (date(2027, 1, 12), "check_in"),
        (date(2027, 2, 3), "first_topper"),
        (date(2027, 3, 5), "monthly_topper"),
        (date(2027, 4, 4), "monthly_topper"),
        (date(2027, 5, 4), "monthly_topper"),
        (date(2027, 5, 28), "reseal_soon"),
        (date(2027, 6, 3), "monthly_topper"),
        (date(2027, 7, 3), "reseal_due"),
        (date(2027, 8, 2), "reseal_overdue"),
    ]


def test_a_year_of_a_boat_that_winters_indoors():
    """Sealed in lay-up: the cap is reached in the next one, so lay-up and launch speak of it; no topper is due indoors."""
    found = first_days(sealed(date(2026, 11, 10), MOON), (MOON,), date(2026, 11, 11), 600)
    assert [entry for entry in found if entry[1] != "monthly_topper"] == [
        (date(2026, 11, 18), "check_in"),
        (date(2027, 4, 15), "launch"),
        (date(2027, 9, 15), "layup"),
        (date(2028, 4, 15), "launch"),
        (date(2028, 5, 29), "reseal_overdue"),
    ]
    sprays = [day for day, kind in found if kind == "monthly_topper"]
    assert sprays
    assert all(MOON.season and MOON.season.holds(day) for day in sprays)


def test_wax_wants_no_topper_and_wears_out_in_sixty_days():
    assert first_days(sealed(JAN_4, coating="wax"), days=120) == [
        (date(2027, 1, 12), "check_in"),
        (date(2027, 2, 21), "reseal_soon"),
        (date(2027, 3, 5), "reseal_due"),
        (date(2027, 4, 4), "reseal_overdue"),
    ]


def test_a_topper_that_was_reported_moves_the_next_one_and_the_reseal():
    view = outlook(date(2027, 3, 6), sealed(JAN_4), events=sprayed(date(2027, 2, 7)))
    assert "first_topper" not in {nudge.kind for nudge in foresee(view)}
    monthly = [nudge.due_on for nudge in foresee(view) if nudge.kind == "monthly_topper"]
    assert monthly == [date(2027, 3, 9), date(2027, 4, 8)]
    assert next(nudge.due_on for nudge in foresee(view) if nudge.kind == "reseal_due") == date(2027, 7, 18)


def test_after_a_harsh_cleaner_we_look_back_and_the_reseal_comes_sooner():
    view = outlook(date(2027, 3, 4), sealed(JAN_4), events=(harsh(date(2027, 3, 1)),))
    nudge = due(view)["after_harsh"]
    assert nudge.due_on == date(2027, 3, 4)
    text = text_of(nudge, view.scene)
    assert "bleach on Sea Thistle" in text
    assert "May 4" in text


def test_a_coat_is_spoken_of_at_its_latest_stage_only():
    view = outlook(date(2027, 8, 3), sealed(JAN_4), snoozes={"reseal_soon": date(2027, 8, 3)})
    said = [nudge.kind for nudge in foresee(view) if nudge.due_on <= view.scene.today <= nudge.last_on and not nudge.silenced]
    assert said == ["reseal_overdue"]


@pytest.mark.parametrize(
    ("service", "kind", "answered"),
    [
        ("reseal", "reseal_due", True),
        ("haul_out", "reseal_due", True),
        ("wash", "reseal_due", False),
        ("topper", "reseal_due", False),
        ("wash", "check_in", False),
    ],
)
def test_a_booked_visit_silences_what_it_answers(service, kind, answered):
    day = date(2027, 7, 5) if kind == "reseal_due" else date(2027, 1, 13)
    view = outlook(day, sealed(JAN_4), visits=(visit(day + 9 * DAY, service),))
    assert due(view)[kind].silenced == (f"visit for {service} on {day + 9 * DAY}" if answered else "")


@pytest.mark.parametrize(
    "booked",
    [
        visit(date(2027, 7, 9), state=VisitState.CALLED_OFF),
        visit(date(2027, 7, 9), vessel_ids=(7,)),
        visit(JAN_4),
        visit(date(2027, 6, 1), state=VisitState.DONE),
    ],
    ids=["called off", "for another boat", "the one that put the coat on", "long ago"],
)
def test_other_visits_silence_nothing(booked):
    assert due(outlook(date(2027, 7, 5), sealed(JAN_4), visits=(booked,)))["reseal_due"].silenced == ""


def test_a_visit_that_has_just_been_answers_even_if_nobody_wrote_down_what_was_put_on():
    view = outlook(date(2027, 7, 5), sealed(JAN_4), visits=(visit(date(2027, 7, 1), state=VisitState.DONE),))
    assert due(view)["reseal_due"].silenced == "visit for reseal on 2027-07-01"


def test_a_topper_visit_far_ahead_does_not_silence_this_months_topper():
    near, far = (outlook(date(2027, 2, 3), sealed(JAN_4), visits=(visit(day, "topper"),))
                 for day in (date(2027, 2, 20), date(2027, 5, 1)))  # fmt: skip
    assert due(near)["first_topper"].silenced
    assert not due(far)["first_topper"].silenced


@pytest.mark.parametrize(
    ("known", "why"),
    [
        ({"planned": [1]}, "a plan looks after it"),
        ({"open_handover": True}, "a person has this thread"),
        ({"paused": True}, "a person has this thread"),
        ({"question": OpenQuestion(1, "slot", {}, at(date(2027, 2, 3)), at(date(2027, 2, 4)))}, "a question is open"),
        ({"snoozes": {"topper": date(2027, 2, 9)}}, "put off until 2027-02-09"),
        ({"consent": Consent(marketing=True)}, "no consent to service texts"),
        ({"consent": replace(AGREED, ended_kinds=frozenset({"topper"}))}, "no more first_topper wanted"),
        ({"client": replace(ANA, closed="sold")}, "the record is closed"),
        ({"business": replace(BUSINESS, nudges_per_month=0)}, "the business sends no nudges"),
    ],
)
def test_a_nudge_stays_unsaid_for_a_reason(known, why):
    view = outlook(date(2027, 2, 3), sealed(JAN_4), **known)
    assert due(view)["first_topper"].silenced == why
    made = planned(view)
    assert made.texts == []
    assert ("first_topper", why) in [(nudge.kind, noted) for nudge, noted in made.notes]
    assert made.moments[1] is not None
    assert made.moments[1] > view.scene.now


def test_what_was_put_off_is_said_on_that_day_once():
    until = date(2027, 2, 17)
    assert due(outlook(until - DAY, sealed(JAN_4), snoozes={"topper": until}))["first_topper"].silenced
    view = outlook(until, sealed(JAN_4), snoozes={"topper": until})
    again = due(view)["first_topper"]
    assert (again.due_on, again.silenced) == (until, "")
    assert again.occasion.endswith("/again-2027-02-17")
    assert planned(view).texts
    assert planned(view, {again.occasion: Logged("queued", 5)}).texts == []
    later = outlook(until + 5 * DAY, sealed(JAN_4), snoozes={"topper": until})
    assert due(later)["first_topper"].occasion == again.occasion


def test_a_visit_reminder_is_never_put_off():
    view = outlook(date(2027, 2, 3), visits=(visit(date(2027, 2, 4)),), snoozes={"visit_reminder": date(2027, 3, 1)})
    assert due(view)["visit_reminder"].silenced == ""


def test_a_visit_is_reminded_of_the_day_before_and_no_later_than_an_hour_ahead():
    tomorrow = outlook(date(2027, 2, 3), visits=(visit(date(2027, 2, 4)),))
    (text,) = planned(tomorrow).texts
    assert (text.kind, text.consent, text.due_at) == ("nudge:visit_reminder", "service", at(date(2027, 2, 3)))
    assert text.not_after == at(date(2027, 2, 4), 0)
    assert "Thu Feb 4, 9 am, Pelican Slough" in text.text
    assert "Sea Thistle" in text.text
    assert planned(outlook(date(2027, 2, 2), visits=(visit(date(2027, 2, 4)),))).texts == []


def test_a_visit_agreed_on_the_day_before_needs_no_reminder():
    view = outlook(date(2027, 2, 3), visits=(visit(date(2027, 2, 4), revised_at=at(date(2027, 2, 3), 8)),))
    assert due(view)["visit_reminder"].silenced == "agreed on less than a day before"


def test_a_moved_visit_is_reminded_of_anew():
    first, second = (outlook(date(2027, 2, 3), visits=(visit(day),)) for day in (date(2027, 2, 4), date(2027, 2, 11)))
    assert {nudge.occasion for nudge in foresee(first)}.isdisjoint(nudge.occasion for nudge in foresee(second))


@pytest.mark.parametrize(
    ("known", "why"),
    [
        ({}, ""),
        ({"plan_id": 3}, "part of a plan"),
    ],
)
def test_thanks_are_said_the_day_after(known, why):
    done = visit(date(2027, 2, 3), "wash", VisitState.DONE, **known)
    assert due(outlook(date(2027, 2, 4), visits=(done,)))["thanks_after_visit"].silenced == why


def test_a_care_pack_says_the_thanks_already():
    done = visit(date(2027, 2, 3), "reseal", VisitState.DONE)
    view = outlook(date(2027, 2, 4), sealed(date(2027, 2, 3)), visits=(done,))
    assert due(view)["thanks_after_visit"].silenced == "the care pack said it"


def test_several_boats_are_told_of_in_one_text():
    ledger = replace(THISTLE, id=7, name="Blue Ledger")
    coats = sealed(JAN_4) + sealed(JAN_4, ledger)
    view = outlook(date(2027, 2, 3), coats, (THISTLE, ledger))
    (text,) = planned(view).texts
    assert "Sea Thistle and Blue Ledger" in text.text
    assert text.kind == "nudge:first_topper"
    assert sorted(nudge.vessel.id for nudge in text.nudges if nudge.vessel) == [1, 7]


def test_different_things_due_at_once_are_one_text_that_needs_every_consent():
    ledger = replace(THISTLE, id=7, name="Blue Ledger")
    coats = sealed(date(2026, 12, 8), coating="wax") + sealed(date(2027, 1, 4), ledger)
    view = outlook(date(2027, 2, 3), coats, (THISTLE, ledger))
    (text,) = planned(view).texts
    assert kinds_of(text.kind) == ("reseal_soon", "first_topper")
    assert text.consent == "marketing"
    assert sms.measure(text.text).segments <= 2
    service_only = outlook(date(2027, 2, 3), coats, (THISTLE, ledger), consent=Consent(service=True))
    (text,) = planned(service_only).texts
    assert (text.kind, text.consent) == ("nudge:first_topper", "service")


def test_names_too_long_for_one_text_are_told_of_in_the_next():
    fleet = [replace(THISTLE, id=number, name=f"Wandering Albatross the {number}th of Pelican Slough") for number in range(1, 8)]
    coats = tuple(coat for vessel in fleet for coat in sealed(JAN_4, vessel))
    made = planned(outlook(date(2027, 2, 3), coats, fleet))
    (text,) = made.texts
    assert sms.measure(text.text).segments == 2
    assert 1 <= len(text.nudges) < 7
    assert sum(noted == NO_ROOM for _, noted in made.notes) == 7 - len(text.nudges)


def test_the_first_marketing_text_tells_how_to_opt_out_and_outside_the_states_each_one_does():
    soon = date(2027, 5, 28)
    british = replace(ANA, country="GB", phone="+442079460123", zone="Europe/London")
    (first,), (second,), (abroad,) = (
        planned(outlook(soon, sealed(JAN_4), marketed=marketed, client=client)).texts
        for marketed, client in ((False, ANA), (True, ANA), (True, british))
    )
    assert first.text.endswith("Text STOP to opt out.")
    assert "STOP" not in second.text
    assert abroad.text.endswith("Text STOP to opt out.")


def test_nudges_keep_their_distance_and_the_rest_waits_with_its_reason():
    view = outlook(date(2027, 2, 3), sealed(JAN_4), earlier=(Earlier(1, "nudge:check_in", "service", at(date(2027, 1, 30))),))
    made = planned(view)
    assert made.texts == []
    assert [noted for nudge, noted in made.notes if nudge.kind == "first_topper"] == [
        "waits until 2027-02-06: nudges come no closer together"
    ]
    assert made.moments[1] == at(date(2027, 2, 6))


def test_a_text_that_still_waits_counts_and_a_visit_reminder_does_not():
    waiting = Earlier(1, "nudge:check_in", "service", at(date(2027, 2, 4)), waits=True)
    reminder = Earlier(2, "nudge:visit_reminder", "service", at(date(2027, 2, 2)))
    assert planned(outlook(date(2027, 2, 3), sealed(JAN_4), earlier=(waiting,))).texts == []
    assert len(planned(outlook(date(2027, 2, 3), sealed(JAN_4), earlier=(reminder,))).texts) == 1


def test_what_would_only_leave_too_late_is_noted_instead():
    """Lay-up is on Sunday 31 January, a day on which nothing that sells may leave."""
    boat = replace(MOON, season=Season((3, 1), (1, 31)))
    view = outlook(date(2027, 1, 31), (), (boat,))
    made = planned(view)
    assert all(nudge.kind != "layup" for text in made.texts for nudge in text.nudges)
    assert [noted for nudge, noted in made.notes if nudge.kind == "layup"] == [NO_HOUR]


def test_what_is_over_is_noted_once_with_its_last_reason():
    view = outlook(date(2027, 3, 1), sealed(JAN_4))
    log = {nudge.occasion: Logged("a person has this thread") for nudge in foresee(view) if nudge.kind == "check_in"}
    (noted,) = [why for nudge, why in planned(view, log).notes if nudge.kind == "check_in"]
    assert noted == "over since 2027-01-19: a person has this thread"
    log = {occasion: Logged(noted) for occasion in log}
    assert all(nudge.kind != "check_in" for nudge, _ in planned(view, log).notes)


def test_a_dropped_text_is_said_again_under_a_new_key_and_one_held_back_is_not():
    view = outlook(date(2027, 2, 3), sealed(JAN_4))
    occasion = due(view)["first_topper"].occasion
    (again,) = planned(view, {occasion: Logged("queued", 5, dropped=True)}).texts
    assert again.key == f"nudge/{occasion}/after-5"
    assert planned(view, {occasion: Logged("queued", 5)}).texts == []


def test_what_is_no_longer_true_must_not_leave():
    view = outlook(date(2027, 2, 3), sealed(JAN_4))
    occasion = due(view)["first_topper"].occasion
    assert untrue([occasion], view) == ""
    done = outlook(date(2027, 2, 3), sealed(JAN_4), events=sprayed(date(2027, 2, 2)))
    assert untrue([occasion], done) == "first_topper is not due any more"
    resealed = outlook(date(2027, 2, 3), sealed(JAN_4) + sealed(date(2027, 2, 1)))
    assert untrue([occasion], resealed) == "first_topper is not due any more"
    booked = outlook(date(2027, 2, 3), sealed(JAN_4), visits=(visit(date(2027, 2, 9)),))
    assert untrue([occasion], booked) == "visit for reseal on 2027-02-09"
    sold = outlook(date(2027, 2, 3), (), ())
    assert untrue([occasion], sold) == "first_topper is not due any more"


def test_lay_up_across_new_year():
    boat = replace(MOON, season=Season((11, 15), (2, 15)))
    assert list(first_days((), (boat,), date(2027, 1, 1), 400)) == [
        (date(2027, 1, 16), "layup"),
        (date(2027, 10, 16), "launch"),
        (date(2028, 1, 16), "layup"),
    ]


def test_a_season_that_ends_on_29_february_ends_on_the_28th_in_other_years():
    assert yearly((2, 29), date(2027, 6, 1)) == (date(2026, 2, 28), date(2027, 2, 28), date(2028, 2, 29), date(2029, 2, 28))
    boat = replace(MOON, season=Season((9, 1), (2, 29)))
    layups = [day for day, kind in first_days((), (boat,), date(2027, 1, 1), 800) if kind == "layup"]
    assert layups == [date(2027, 1, 29), date(2028, 1, 30), date(2029, 1, 29)]


def test_months_end_where_they_end():
    """Sealed on 31 January: toppers come every thirty days from there, whatever the months are like."""
    found = [day for day, kind in first_days(sealed(date(2028, 1, 31)), begin=date(2028, 2, 1), days=130) if "topper" in kind]
    assert found == [date(2028, 3, 1), date(2028, 3, 31), date(2028, 4, 30), date(2028, 5, 30)]


def test_a_reseal_that_is_overdue_in_lay_up_is_brought_up_after_launch():
    coats = sealed(date(2026, 10, 20), MOON)
    view = outlook(date(2027, 12, 1), coats, (MOON,))
    (overdue,) = [nudge for nudge in foresee(view) if nudge.kind == "reseal_overdue"]
    assert overdue.due_on == date(2028, 5, 29)


def test_nudges_are_thought_of_at_the_same_wall_time_on_either_side_of_a_clock_change():
    scene = outlook(JAN_4).scene
    assert [moment_of(day, scene).hour for day in (date(2027, 3, 13), date(2027, 3, 14))] == [15, 14]
    assert [moment_of(day, scene).hour for day in (date(2027, 11, 6), date(2027, 11, 7))] == [14, 15]


@given(
    begun=st.dates(date(2026, 1, 1), date(2029, 12, 31)),
    age=st.integers(0, 800),
    coating=st.sampled_from(["sealant", "wax", "ceramic", "topper"]),
    boat=st.sampled_from([THISTLE, MOON, replace(MOON, season=Season((9, 1), (2, 29)))]),
    sprays=st.lists(st.integers(0, 800), max_size=4),
    put_off=st.none() | st.integers(-40, 40),
)
@settings(max_examples=60, deadline=None)
def test_whatever_happened_every_occasion_has_a_name_of_its_own_and_a_text_or_a_reason(
    begun, age, coating, boat, sprays, put_off
):
    today = begun + age * DAY
    events = sprayed(*(begun + number * DAY for number in sprays), vessel=boat)
    snoozes = {} if put_off is None else {"topper": today + put_off * DAY, "reseal": today + put_off * DAY}
    view = outlook(today, sealed(begun, boat, coating), (boat,), events=events, snoozes=snoozes)
    found = foresee(view)
    assert len({nudge.occasion for nudge in found}) == len(found)
    assert {nudge.kind for nudge in found} <= set(PLANNED)
    made = planned(view)
    settled = {nudge.occasion for nudge, _ in made.notes} | {n.occasion for text in made.texts for n in text.nudges}
    assert settled == {nudge.occasion for nudge in found if nudge.due_on <= today}
    assert sum(text.kind != "nudge:visit_reminder" for text in made.texts) <= 1
    for text in made.texts:
        assert view.scene.now <= text.due_at < text.not_after
        assert sms.measure(text.text).segments <= 2
        assert text.text.startswith(BUSINESS.name)
        assert "{" not in text.text
    for moment in made.moments.values():
        assert moment is None or moment > view.scene.now


def test_the_nudge_files_are_whole_in_both_languages():
    assert list(problems_in(knowledge().nudges)) == []
    assert set(knowledge().nudges["en"]) == set(knowledge().nudges["es"]) == set(KINDS)


def test_a_slip_in_a_nudge_file_is_named():
    english = dict(knowledge().nudges["en"])
    english["check_in"] = replace(english["check_in"], rules={"after_days": "a week"}, text="How are things?")
    english["odd"] = replace(english["check_in"], kind="odd", text="{business}")
    told = {str(problem) for problem in problems_in({"en": english})}
    assert any("check_in.md" in one and "'a week'" in one for one in told)
    assert any("check_in.md" in one and "does not name the business" in one for one in told)
    assert any("odd.md" in one and "nobody sends" in one for one in told)
    with pytest.raises(ValueError, match="after_days"):
        rules_of(english["check_in"])


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_text_fits_asks_for_no_carrier_word_and_in_english_is_plain(language):
    """Filled with longer names than ours: a business, two boats, a soap."""
    business = replace(BUSINESS, name="Halfmoon Harbor Yacht Detail", soap="a pH-neutral boat soap")
    first = replace(MOON, id=1, name="Wandering Albatross")
    second = replace(MOON, id=2, name="Evening Primrose")
    client = replace(ANA, language=language)
    coats = sealed(date(2026, 11, 1), first, "ceramic", "hull", "topsides") + sealed(date(2026, 11, 1), second, "sealant")
    long_visit = visit(date(2027, 9, 16), "haul_out", vessel_ids=(1, 2))
    done = visit(date(2027, 9, 10), "wash", VisitState.DONE, id=2, vessel_ids=(1, 2))
    view = outlook(date(2027, 9, 15), coats, (first, second), client=client, business=business,
                   events=(harsh(date(2027, 9, 10)),), visits=(done, long_visit))  # fmt: skip
    found = {}
    for nudge in foresee(view):
        found.setdefault(nudge.kind, nudge)
    assert set(found) == set(PLANNED)
    for kind, nudge in found.items():
        file = knowledge().nudges[language][kind]
        for holds in ({}, *({condition} for condition, _ in file.variants)):
            pair = [replace(nudge, holds=frozenset(holds), vessel=nudge.vessel and boat) for boat in (first, second)]
            text = compose(pair[: 1 if kind in ("visit_reminder", "thanks_after_visit") else 2], view.scene, False).text
            assert sms.measure(text).segments <= 2, (kind, text)
            assert "{" not in text
            assert asks_for_carrier_word(text) == ""
            assert language != "en" or text.isascii()
    for file in knowledge().nudges[language].values():
        assert asks_for_carrier_word(file.text) == ""
        assert file.kind == OPT_OUT_LINE or "{business}" in file.text


def test_an_inspection_counts_in_what_is_foreseen():
    look = replace(harsh(date(2027, 3, 1)), kind=CareKind.INSPECTION, grade="chalky", substance="")
    assert "reseal_due" in due(outlook(date(2027, 3, 2), sealed(JAN_4), events=(look,)))
