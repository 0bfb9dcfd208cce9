"""Sizes, folding, fitting and cleaning of texts."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.domain.sms import Encoding, cheap, clean, fit, measure, plain

GSM, UCS = Encoding.GSM_7, Encoding.UCS_2
FAMILY = "\U0001f468\u200d\U0001f469\u200d\U0001f467\u200d\U0001f466"

WORKED = [
    ("", GSM, 0, 0),
    ("a" * 160, GSM, 160, 1),
    ("a" * 161, GSM, 161, 2),
    ("a" * 306, GSM, 306, 2),
    ("a" * 307, GSM, 307, 3),
    ("a" * 158 + "€", GSM, 160, 1),
    ("a" * 159 + "€", GSM, 161, 2),
    ("a" * 152 + "€" + "a" * 151, GSM, 305, 2),
    ("a" * 152 + "€" + "a" * 152, GSM, 306, 3),
    ("€" * 80, GSM, 160, 1),
    ("€" * 81, GSM, 162, 2),
    ("€" * 153, GSM, 306, 3),
    ("{[~]}|\\^€", GSM, 18, 1),
    ("A\r\nB" * 40, GSM, 160, 1),
    ("я" * 70, UCS, 70, 1),
    ("я" * 71, UCS, 71, 2),
    ("я" * 135, UCS, 135, 3),
    ("{" + "я" * 69, UCS, 70, 1),
    ("🚤" * 35, UCS, 70, 1),
    ("🚤" * 36, UCS, 72, 2),
    ("я" * 66 + "🚤" + "я" * 65, UCS, 133, 2),
    ("я" * 66 + "🚤" + "я" * 66, UCS, 134, 3),
    ("a" * 69 + "\u2019", UCS, 70, 1),
    ("a" * 70 + "\u2019", UCS, 71, 2),
    (FAMILY * 12 + "яя", UCS, 134, 3),
]


@pytest.mark.parametrize(("text", "encoding", "units", "segments"), WORKED)
def test_a_text_is_counted_as_the_carrier_counts_it(text, encoding, units, segments):
    size = measure(text)
    assert (size.encoding, size.units, size.segments) == (encoding, units, segments)


def test_one_curly_quote_alone_more_than_doubles_a_long_text():
    assert measure("It's fine. " * 25).segments == 2
    assert measure("It\u2019s fine. " * 25).segments == 5


@pytest.mark.parametrize(
    ("text", "folded"),
    [
        ("it\u2019s \u201cfine\u201d", "it's \"fine\""),
        ("12\u201324 hours \u2014 dry\u2026", "12-24 hours - dry..."),
        ("a\u00a0b\tc\u200bd", "a b cd"),
        ("one\r\ntwo", "one\ntwo"),
        ("cafe\u0301", "café"),
        ("¿Mañana? jabón", "¿Mañana? jabón"),
    ],
)
def test_look_alikes_are_folded_and_letters_are_kept(text, folded):
    assert plain(text) == folded


def test_a_text_that_fits_is_left_alone():
    text = "Rinse first. Then soap.\n\nDry it well."
    assert fit(text) == text


def test_a_long_text_loses_whole_sentences_from_its_end():
    first = "Keep it dry for 12 to 24 hours. Come by at 9 a.m. Tuesday if you can."
    kept = fit(first + " More about soap here." * 30, segments=1)
    assert kept == first + " More about soap here." * 4
    assert measure(kept).segments == 1


def test_a_cut_never_falls_inside_a_time_of_day():
    text = "We can come at 9 a.m. on Tuesday and then " + "again and " * 30
    assert not fit(text, segments=1).endswith("a.m.")


def test_one_endless_sentence_is_cut_after_a_word():
    assert fit("word " * 200, segments=1) == ("word " * 32).strip()


@given(st.text(max_size=900), st.integers(1, 4))
def test_whatever_is_fitted_fits_and_is_a_beginning(text, segments):
    kept = fit(text, segments)
    assert measure(kept).segments <= segments
    assert text.startswith(kept)
    assert kept or not text.strip() or segments == 0


def test_acute_accents_go_only_where_they_would_cost_too_much():
    assert cheap("Sí, mañana", segments=1) == "Sí, mañana"
    long = "Aquí está su baño de jabón. " * 6
    assert cheap(long, segments=2) == "Aqui esta su baño de jabon. " * 6


@given(st.text())
def test_cleaned_text_is_legal_in_xml_and_cleaning_twice_changes_nothing(text):
    kept = clean(text)
    escaped = kept.replace("&", "&amp;").replace("<", "&lt;")
    ET.fromstring(f"<t>{escaped}</t>")
    assert clean(kept) == kept


def test_only_forbidden_characters_are_cleaned_away():
    assert clean("a\x00b\x01c\x7fd\ufffe\tñ🚤\n") == "abcd\tñ🚤\n"
