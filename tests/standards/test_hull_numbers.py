"""US hull identification numbers: 33 CFR 181.25 (form), 181.23 (two copies), and the older forms."""

from __future__ import annotations

import pytest

from assistant.domain.hull_numbers import Form, cleaned, find, form

EXAMPLES = [
    ("ABC12345D404", Form.VALID, "April 2004, model 2004"),
    ("ABC0R7K2I324", Form.VALID, "I is a month (September), not a letter of the serial"),
    ("QIO4H7N2L425", Form.VALID, "I, O and Q may stand in the maker's code"),
    ("us-abc12345d404", Form.VALID, "lower case, with the country"),
    ("ABC 12345 D4 04", Form.VALID, "with blanks"),
    ("ABCO2345D404", Form.INVALID, "letter O in the serial"),
    ("ABC1I345D404", Form.INVALID, "letter I in the serial"),
    ("ABCQ2345D404", Form.INVALID, "letter Q in the serial"),
    ("ABC1234D404", Form.INVALID, "eleven characters"),
    ("ABC12345D4041", Form.INVALID, "thirteen characters"),
    ("ABC12345M404", Form.INVALID, "there is no thirteenth month"),
    ("ABC12345D4O4", Form.INVALID, "letter O in the model year"),
    ("AB112345D404", Form.INVALID, "digit in the maker's code"),
    ("ABC12345A510", Form.ASK, "built in a year that ends in 5, model year 10"),
    ("ABC12345M82H", Form.OLD, "before mid-1984: model year 1982, March"),
    ("ABC123450373", Form.OLD, "before mid-1984: March 1973"),
    ("FL1234AB", Form.INVALID, "a bow number"),
    ("", Form.INVALID, "nothing"),
]  # invented numbers
MONTHS = "ABCDEFGHIJKL"


@pytest.mark.parametrize(("typed", "expected", "why"), EXAMPLES)
def test_a_number_is_read_as_the_rule_has_it(typed, expected, why):
    assert form(typed) is expected, why


@pytest.mark.parametrize("letter", "ABCDEFGHIJKLMNOPQRSTUVWXYZ")
def test_the_month_is_a_letter_from_a_to_l(letter):
    assert (form(f"ABC12345{letter}404") is Form.VALID) is (letter in MONTHS)


@pytest.mark.parametrize("letter", "ABCDEFGHIJKLMNOPQRSTUVWXYZ")
def test_the_serial_has_any_letter_but_i_o_and_q(letter):
    for place in range(5):
        serial = "12345"[:place] + letter + "12345"[place + 1 :]
        assert (form(f"ABC{serial}D404") is Form.VALID) is (letter not in "IOQ")


def test_cleaning_takes_blanks_hyphens_and_the_country_only():
    assert cleaned(" us-abc 12345-d4 04 ") == "ABC12345D404"
    assert cleaned("USA12345D404") == "USA12345D404"


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("my hull number is abc12345d404 thanks", "ABC12345D404"),
        ("it says ABC 12345 D4 04 on the transom", "ABC12345D404"),
        ("registration FL 1234 AB", ""),
        ("call me at 305 555 0111 tomorrow", ""),
        ("can i use bleach on the hull", ""),
    ],
)
def test_a_number_is_found_in_a_text(text, number):
    assert find(text) == number
