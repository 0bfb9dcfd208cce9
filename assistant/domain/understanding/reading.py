"""The result of understanding one text: frames (asks), not a canned-answer look-up."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from assistant.domain.visits import TimeWish


class Keyword(StrEnum):
    """Words the carrier itself acts on; we record them and stay silent."""

    OPT_OUT = "opt_out"
    OPT_IN = "opt_in"
    HELP = "help"


class Slant(StrEnum):
    """Which answer the sender leans to: 'that's fine, right?' leans to yes."""

    NONE = "none"
    TO_YES = "to_yes"
    TO_NO = "to_no"


@dataclass(frozen=True, slots=True)
class Spotted:
    """One term found in the text. `kind` is a vocabulary (substance, soil, surface, ...), `id` its row."""

    kind: str
    id: str
    words: str
    begin: int
    end: int
    exact: bool = True
    negated: bool = False


@dataclass(frozen=True, slots=True)
class Evidence:
    """One step of the reasoning: these words, read as this term, by this rule."""

    words: str
    term: str
    rule: str


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing wanted or told. `permission` True when it asks "may I?"; `report` True when already done."""

    topic: str
    certainty: float
    words: str
    spotted: tuple[Spotted, ...] = ()
    permission: bool = False
    report: bool = False
    slant: Slant = Slant.NONE
    vessel_id: int | None = None
    wish: TimeWish = TimeWish()
    area: str = ""
    dilution: str = ""
    runner_up: str = ""

    def ids(self, kind: str) -> tuple[str, ...]:
        """Ids of the spotted terms of one kind, in order, without those that are negated away."""
        seen = dict.fromkeys(term.id for term in self.spotted if term.kind == kind and not term.negated)
        return tuple(seen)


@dataclass(frozen=True, slots=True)
class Reading:
    """What one text means. Exactly one of `keyword`, `safety`, `opt_out`, or `asks` leads; evidence always."""

    language: str
    keyword: Keyword | None = None
    safety: str = ""
    """Topic id of the safety answer that comes before everything else."""
    opt_out: bool = False
    asks: tuple[Ask, ...] = ()
    evidence: tuple[Evidence, ...] = ()
    permission: bool = False
    """A safety text that asks "may I?" (an ask carries its own)."""
    text: str = ""
    """The text as it came, where something is asked: times and picks are read from the whole of it."""
