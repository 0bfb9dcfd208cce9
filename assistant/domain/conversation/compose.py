"""One reply from the pieces of an answer: whole texts where they fit three segments, else the short forms."""

from __future__ import annotations

from collections.abc import Sequence

from assistant.domain.conversation.scene import Piece
from assistant.domain.sms import cheap, fit, measure, plain

LONGEST = 3
"""Segments of one reply (facts: a third segment is where owners begin to skip)."""


def compose(pieces: Sequence[Piece]) -> tuple[str, ...]:
    """At most one text. Empty pieces are left out; repeated sentences are said once."""
    texts = list(dict.fromkeys(piece.text for piece in pieces if piece.text))
    if not texts:
        return ()
    whole = cheap(plain(" ".join(texts)), LONGEST)
    if len(texts) > 1 and measure(whole).segments > LONGEST:
        shorts = dict.fromkeys(piece.short or piece.text for piece in pieces if piece.text)
        whole = cheap(plain(" ".join(shorts)), LONGEST)
    return (fit(whole, LONGEST),)
