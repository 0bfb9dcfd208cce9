"""US hull identification numbers: 33 CFR 181.25 (form), 181.23 (two copies, unique); older forms before mid-1984.

A hull number identifies property: show only its last four characters.
"""

from __future__ import annotations

import re
from enum import StrEnum

_NOW = re.compile(r"^[A-Z]{3}[A-HJ-NPR-Z0-9]{5}[A-L][0-9][0-9]{2}$")
_OLD_MONTH = re.compile(r"^[A-Z]{3}[A-HJ-NPR-Z0-9]{5}M[0-9]{2}[A-L]$")
_OLD_DIGITS = re.compile(r"^[A-Z]{3}[A-HJ-NPR-Z0-9]{5}(0[1-9]|1[0-2])[0-9]{2}$")
_WORD = re.compile(r"[a-z0-9-]+", re.IGNORECASE)
LONGEST_IN_WORDS = 5
"""A hull number typed with blanks comes in its parts: maker, serial, month, year, model year."""


class Form(StrEnum):
    """What a typed hull number looks like."""

    VALID = "valid"
    OLD = "old"
    ASK = "ask"
    INVALID = "invalid"


def cleaned(typed: str) -> str:
    """Upper case, without a leading US-, blanks and hyphens."""
    plain = typed.strip().upper()
    plain = plain.removeprefix("US-")
    return re.sub(r"[\s-]", "", plain)


def form(typed: str) -> Form:
    """VALID, OLD (before mid-1984), ASK (year digit and model year disagree) or INVALID."""
    plain = cleaned(typed)
    if _NOW.match(plain):
        gap = (int(plain[11]) - int(plain[9])) % 10
        return Form.VALID if gap in {0, 1} else Form.ASK
    if _OLD_MONTH.match(plain) or _OLD_DIGITS.match(plain):
        return Form.OLD
    return Form.INVALID


def find(text: str) -> str:
    """The first hull number in a text, cleaned; empty when there is none. Blanks may stand in one of today's form."""
    words = _WORD.findall(text)
    for start in range(len(words)):
        for size in range(1, LONGEST_IN_WORDS + 1):
            joined = cleaned("".join(words[start : start + size]))
            meant = {Form.VALID, Form.ASK} if size > 1 else {Form.VALID, Form.ASK, Form.OLD}
            if form(joined) in meant:
                return joined
    return ""
