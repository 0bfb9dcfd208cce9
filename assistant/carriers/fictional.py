"""Numbers set aside for fiction, which belong to nobody: examples and demonstrations use them, so nothing may leave.

United States and Canada: 555-0100 to 555-0199 of every area code (NANPA, 555 line number guidelines). United Kingdom
and Australia: the drama numbers published by Ofcom and ACMA.
"""

from __future__ import annotations

import re

_FICTIONAL = re.compile(
    r"\+1[2-9]\d{2}55501\d{2}"
    r"|\+44(7700900|1632960|2079460|3069990|8081570|1914980|2920180)\d{3}"
    r"|\+44(11[3-8]|1[2-6]1)4960\d{3}"
    r"|\+4428964960\d{2}"
    r"|\+61[2378](5550|7010)\d{4}"
    r"|\+6149157(0006|015[6-9]|0110|0313|0737|1266|1491|1804)"
)


def is_fictional(number: str) -> bool:
    """True when the E.164 `number` lies in a range reserved for fiction."""
    return _FICTIONAL.fullmatch(number) is not None
