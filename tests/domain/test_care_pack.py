"""What a client is told after a job, and the picture of how the finish wears."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from xml.etree import ElementTree

import pytest

from assistant.domain import coatings, sms
from assistant.domain.care_pack import care_pack, needs_care
from assistant.domain.life_picture import as_svg, as_words, drawn
from assistant.domain.people import Kept
from assistant.domain.year_picture import as_svg as year_svg
from assistant.domain.year_picture import as_words as year_words
from assistant.storage.knowledge_files.checks import asks_for_carrier_word
from tests.nudging import ANA, BUSINESS, MOON, THISTLE, at, harsh, knowledge, outlook, sealed, sprayed

JUNE_9 = date(2027, 6, 9)
FINISHED = at(JUNE_9, 15)
CARD = "https://care.example.com/card/AbCdEfGhIjKlMnOpQrStUvWx"


def pack(coats, vessel=THISTLE, now=FINISHED, **known):
    coats = tuple(replace(coat, finished_at=FINISHED) for coat in coats)
    view = outlook(now, coats, (vessel,), card_url=CARD, **known)
    return care_pack(view.scene, vessel, coats)


def test_a_care_pack_counts_from_the_hour_of_finishing():
    """Sealant: dry for 24 hours, no soap for 7 days, topper from day 30, 180 days of sun."""
    assert pack(sealed(JUNE_9, THISTLE, "sealant", "hull", "topsides")) == (
        "Fernwake Boat Care: Sea Thistle now has polymer sealant on the hull and topsides. Keep it dry until Thu Jun 10, "
        "3 pm. No soap before Jun 16, then only a pH-neutral boat soap. First topper about Jul 9. Next reseal about Dec 6. "
        "Keep bleach, degreasers and scrub pads off it. Any question, just text me here. " + CARD
    )


def test_wax_is_waxed_again_and_wants_no_topper():
    text = pack(sealed(JUNE_9, coating="wax"))
    assert "Next wax about Aug 8." in text
    assert "topper" not in text


def test_the_strictest_wait_holds_where_several_coatings_went_on():
    text = pack(sealed(JUNE_9, coating="wax") + sealed(JUNE_9, THISTLE, "ceramic", "console"))
    assert "carnauba wax on the hull and ceramic coating on the console" in text
    assert "Keep it dry until Fri Jun 11, 3 pm. No soap before Jun 23" in text


def test_a_boat_that_is_laid_up_when_it_comes_due_is_resealed_then():
    indoors = replace(MOON, kept=Kept.IN_WATER)
    assert "Next reseal at lay-up or before launch." in pack(sealed(date(2026, 11, 10), indoors), indoors)


def test_what_is_over_when_the_text_leaves_is_left_out():
    """Finished at 3 pm, told after the two hours that wax stays dry and the day it goes without soap."""
    text = pack(sealed(JUNE_9, coating="wax"), now=FINISHED + timedelta(days=2))
    assert "Keep it dry" not in text
    assert "No soap" not in text
    assert "Wash with a pH-neutral boat soap only." in text


def test_without_an_hour_the_working_day_ends_at_five():
    view = outlook(at(JUNE_9, 18), sealed(JUNE_9), card_url="")
    assert "dry until Thu Jun 10, 5 pm" in care_pack(view.scene, THISTLE, sealed(JUNE_9))


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_care_pack_is_three_parts_at_most_before_the_link_whatever_was_done(language):
    every = ["hull", "topsides", "transom", "cabin_sides", "hardtop", "windshield", "swim_platform", "gunwale", "console"]
    coats = sealed(JUNE_9, THISTLE, "sealant", *every) + sealed(JUNE_9, THISTLE, "ceramic", *every[:4])
    client = replace(ANA, language=language)
    business = replace(BUSINESS, name="Halfmoon Harbor Yacht Detail")
    text = pack(coats, replace(THISTLE, name="Wandering Albatross"), client=client, business=business)
    before_the_link = text.removesuffix(" " + CARD)
    assert sms.measure(before_the_link).segments <= 3
    assert before_the_link != text
    assert text.startswith("Halfmoon Harbor Yacht Detail: Wandering Albatross")
    assert asks_for_carrier_word(text) == ""
    assert language != "en" or text.isascii()


def test_a_topper_alone_needs_no_care_pack():
    assert needs_care(sealed(JUNE_9, coating="topper")) == []


def picture(today, events=(), vessel=THISTLE, language="en", begun=date(2027, 1, 4)):
    coating = knowledge().coatings["sealant"]
    (coat,) = sealed(begun, vessel)
    life = coatings.life(coat, vessel, events, coating, today)
    return drawn(f"{vessel.name} & <friends>", life, vessel, events, coating, language)


def test_the_life_picture_says_the_same_in_words():
    events = (*sprayed(date(2027, 2, 3), date(2027, 3, 5)), harsh(date(2027, 4, 1), "dish_soap", "0.3"))
    assert as_words(picture(date(2027, 4, 14), events)) == [
        "Sea Thistle & <friends>: 118 of 210 days of sun used (56%) by Apr 14.",
        "Due about Jul 15, likely May 28 to Aug 12.",
        "Toppers: Feb 3, Mar 5.",
        "Harsh cleaning: Apr 1.",
    ]


def test_the_life_picture_is_well_formed_marks_everything_and_takes_the_color_of_the_text():
    events = (*sprayed(date(2027, 6, 3), vessel=MOON), replace(harsh(date(2027, 6, 20)), vessel_id=MOON.id))
    svg = as_svg(picture(date(2027, 7, 1), events, MOON, begun=date(2026, 11, 10)))
    root = ElementTree.fromstring(svg)
    names = [element.tag.partition("}")[2] for element in root.iter()]
    assert names.count("circle") == 1
    assert names.count("polyline") == 3
    classes = [element.get("class") for element in root.iter()]
    assert classes.count("layup") == 2
    assert classes.count("due") == 1
    assert classes.count("mark") == 2
    assert "currentColor" in svg
    assert not {"#", "rgb"} & set(svg)
    assert root.get("viewBox", "").split()[2] == "360"
    label = root.get("aria-label", "")
    assert all(line in label for line in as_words(picture(date(2027, 7, 1), events, MOON, begun=date(2026, 11, 10))))


def test_the_life_picture_speaks_spanish():
    assert as_words(picture(date(2027, 4, 14), language="es"))[1].startswith("Toca hacia el 3 jul")


def test_a_picture_of_the_first_day_and_one_long_after_can_be_drawn():
    for today in (date(2027, 1, 4), date(2030, 1, 4)):
        ElementTree.fromstring(as_svg(picture(today)))


def test_the_calendar_of_a_year_counts_texts_by_day():
    days = [date(2027, 12, 31), date(2027, 12, 31), date(2028, 2, 29), *[date(2028, 1, 1)] * 12]
    lines = year_words(days).splitlines()
    assert [line[:7] for line in lines[1:]] == ["2027-12", "2028-01", "2028-02"]
    assert lines[1].split()[1:] == ["."] * 30 + ["2", "2"]
    assert lines[2].split()[1] == "+"
    assert lines[3].split()[1:] == ["."] * 28 + ["1", "1"]
    assert year_words([]) == "No texts."


def test_the_calendar_as_a_picture_tells_each_day():
    svg = year_svg({date(2027, 12, 31): ["Ana Reyes: check_in", "B & C: layup"]}, "Texts")
    root = ElementTree.fromstring(svg)
    titles = [element.text for element in root.iter() if element.tag.endswith("title")]
    assert "2027-12-31: Ana Reyes: check_in; B & C: layup" in titles
    assert len(titles) == 1 + 31


def test_moments_are_in_the_clients_zone():
    """Nine in the evening in Miami is the next day in UTC."""
    late = datetime(2027, 6, 10, 1, tzinfo=UTC)
    coats = tuple(replace(coat, finished_at=late) for coat in sealed(JUNE_9))
    view = outlook(late, coats)
    assert "Thu Jun 10, 9 pm" in care_pack(view.scene, THISTLE, coats)
