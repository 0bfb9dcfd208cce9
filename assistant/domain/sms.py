"""How a text travels as SMS: which alphabet, how many parts, and how to make it fit. Pure.

The GSM 7-bit alphabet and its extension are those of 3GPP TS 23.038, section 6.2.1; a text with any other character
travels as UCS-2 (UTF-16 units). A text of several parts gives up six octets a part to the header that joins them
(3GPP TS 23.040, section 9.2.3.24.1), and no character is cut in two by the end of a part.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""Characters of one septet."""

EXTENSION = frozenset("\f^{}\\[~]|€")
"""Characters of two septets: an escape and a code."""

_LOOK_ALIKES = str.maketrans({
    "\u2018": "'", "\u2019": "'", "\u201a": "'", "\u201b": "'", "\u2032": "'", "`": "'", "\u00b4": "'",
    "\u201c": '"', "\u201d": '"', "\u201e": '"', "\u2033": '"', "\u00ab": '"', "\u00bb": '"',
    "\u2010": "-", "\u2011": "-", "\u2012": "-", "\u2013": "-", "\u2014": "-", "\u2015": "-", "\u2212": "-",
    "\u2022": "-", "\u00b7": "-", "\u2026": "...", "\u00d7": "x", "\u2044": "/",
    "\u00a0": " ", "\u2007": " ", "\u2009": " ", "\u202f": " ", "\t": " ",
    "\u200b": "", "\u200c": "", "\u2060": "", "\ufeff": "", "\u00ad": "",
})  # fmt: skip

_ACUTE = str.maketrans("áíóúÁÍÓÚ", "aiouAIOU")

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]|\x7f")
"""What XML 1.0, section 2.2, forbids (and DEL): no answer to the carrier may hold it; PostgreSQL stores no NUL."""

_SENTENCE_END = re.compile(r"(?<![\s.][A-Za-z])[.!?][\"')]?(?=\s|$)|(?=\n)|\Z")
"""The end of a sentence or a line; not the dots of "9 a.m."."""


class Encoding(StrEnum):
    """The two alphabets an SMS can travel in."""

    GSM_7 = "GSM-7"
    UCS_2 = "UCS-2"


@dataclass(frozen=True, slots=True)
class Size:
    """What a text costs: `units` are septets in GSM-7 and UTF-16 units in UCS-2; `segments` are billed parts."""

    encoding: Encoding
    units: int
    segments: int


def measure(text: str) -> Size:
    """The alphabet, units and parts of `text`. An empty text has no parts."""
    if all(character in BASIC or character in EXTENSION for character in text):
        widths = [2 if character in EXTENSION else 1 for character in text]
        return Size(Encoding.GSM_7, sum(widths), _parts(widths, alone=160, joined=153))
    widths = [2 if ord(character) > 0xFFFF else 1 for character in text]
    return Size(Encoding.UCS_2, sum(widths), _parts(widths, alone=70, joined=67))


def plain(text: str) -> str:
    """`text` with typographic look-alikes (curly quotes, dashes, ellipsis, odd spaces) as GSM-7 characters.

    Letters stay as they are: an accent belongs to its word, even where it costs a part.
    """
    return unicodedata.normalize("NFC", text).replace("\r\n", "\n").translate(_LOOK_ALIKES)


def fit(text: str, segments: int = 3) -> str:
    """`text`, or as many whole sentences of its beginning as travel in `segments` parts.

    A first sentence that is too long by itself is cut after a word, and one word too long anywhere.
    """
    if measure(text).segments <= segments:
        return text
    ends = [match.end() for match in _SENTENCE_END.finditer(text)]
    words = [match.start() for match in re.finditer(r"\s+", text)]
    for cuts in (ends, words, range(len(text))):
        kept = _longest(text, cuts, segments)
        if kept:
            return kept
    return ""


def cheap(text: str, segments: int = 3) -> str:
    """`text` with its acute accents if it travels in `segments` parts that way, else without them.

    á í ó ú are not in the GSM alphabet: one of them triples the cost of a long Spanish text. Short texts keep them.
    """
    return text if measure(text).segments <= segments else text.translate(_ACUTE)


def clean(text: str) -> str:
    """`text` without the control characters and lone surrogates that XML 1.0 forbids."""
    return _NOT_XML.sub("", text)


def _parts(widths: list[int], alone: int, joined: int) -> int:
    """Parts needed, filled one after the other, where a character of two units is never cut."""
    if sum(widths) <= alone:
        return 1 if widths else 0
    parts, used = 1, 0
    for width in widths:
        if used + width > joined:
            parts, used = parts + 1, 0
        used += width
    return parts


def _longest(text: str, cuts: Iterable[int], segments: int) -> str:
    """The longest beginning of `text` up to one of `cuts` that fits."""
    for cut in sorted(cuts, reverse=True):
        kept = text[:cut].rstrip()
        if kept and measure(kept).segments <= segments:
            return kept
    return ""
