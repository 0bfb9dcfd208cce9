"""The GSM 7-bit alphabet against the table of 3GPP TS 23.038, section 6.2.1, written out in code order."""

from __future__ import annotations

from assistant.domain.sms import BASIC, EXTENSION, Encoding, measure

ESCAPE = "ESC"
ROWS = [
    ["@", "£", "$", "¥", "è", "é", "ù", "ì", "ò", "Ç", "\n", "Ø", "ø", "\r", "Å", "å"],
    ["Δ", "_", "Φ", "Γ", "Λ", "Ω", "Π", "Ψ", "Σ", "Θ", "Ξ", ESCAPE, "Æ", "æ", "ß", "É"],
    [" ", "!", '"', "#", "¤", "%", "&", "'", "(", ")", "*", "+", ",", "-", ".", "/"],
    ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", ":", ";", "<", "=", ">", "?"],
    ["¡", "A", "B", "C", "D", "E", "F", "G", "H", "I", "J", "K", "L", "M", "N", "O"],
    ["P", "Q", "R", "S", "T", "U", "V", "W", "X", "Y", "Z", "Ä", "Ö", "Ñ", "Ü", "§"],
    ["¿", "a", "b", "c", "d", "e", "f", "g", "h", "i", "j", "k", "l", "m", "n", "o"],
    ["p", "q", "r", "s", "t", "u", "v", "w", "x", "y", "z", "ä", "ö", "ñ", "ü", "à"],
]
EXTENSION_CODES = {
    0x0A: "\f", 0x14: "^", 0x28: "{", 0x29: "}", 0x2F: "\\", 0x3C: "[", 0x3D: "~", 0x3E: "]", 0x40: "|", 0x65: "€",
}  # fmt: skip


def test_the_basic_table_has_128_codes_and_all_but_the_escape_are_characters():
    codes = [character for row in ROWS for character in row]
    assert len(codes) == 128
    assert set(codes) - {ESCAPE} == BASIC


def test_the_extension_table_is_the_published_one():
    assert set(EXTENSION_CODES.values()) == EXTENSION


def test_every_basic_character_is_one_septet_and_every_extension_character_two():
    assert all(measure(character).units == 1 for character in BASIC)
    assert all(measure(character).units == 2 for character in EXTENSION)


def test_every_other_character_of_the_basic_plane_makes_the_text_ucs_2():
    others = {chr(code) for code in range(0x10000) if not 0xD800 <= code <= 0xDFFF} - BASIC - EXTENSION
    assert len(others) > 63_000
    assert all(measure(character).encoding is Encoding.UCS_2 for character in others)
