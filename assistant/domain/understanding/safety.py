"""Safety before every other reading: mixtures, fumes, eyes, swallowing, shock in the water, carbon monoxide, falls.

Cue words stand in knowledge/signals.csv; the rules that combine them stand here. A miss is worse than a false alarm,
but a question about a harmless thing must not be drowned in warnings, so each rule wants a context.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache

from assistant.domain.knowledge import Knowledge, Mixture
from assistant.domain.understanding import acts
from assistant.domain.understanding.reading import Evidence, Spotted

MIXED = re.compile(
    r"\b(?:mix(?:ed|ing|es|ture)?|combin(?:e|ed|ing)|together|blend(?:ed)?|add(?:ed|ing)?|pour(?:ed)? (?:in|into|on)|plus|on top of|with|and|then|after|followed by|over|into|&|\+|"
    r"mezcl\w*|junt\w*|combin\w*|con|y|luego|despues|encima)\b"
)
MIX_WORD = re.compile(r"\b(?:mix(?:ed|ing|ture)?|combin(?:e|ed|ing)|blend(?:ed)?|together|mezcl\w*|combin\w*|junt\w*)\b")


_POURED = re.compile(r"\b(?:mixed|combined|poured|added|dumped|put|sprayed|mezcle|eche|junte|combine)\b")
BODY = frozenset("breathing dizzy swallow eye_contact skin_contact skin_hurt tingle electric fell overboard fire wound".split())
"""Signals that somebody is hurt or in danger now."""


def signals_in(folded: str, knowledge: Knowledge) -> dict[str, str]:
    """Signal -> the words that gave it, over both languages."""
    found = {}
    for signal, pattern in _patterns(_Key(knowledge.signals)).items():
        match = pattern.search(folded)
        if match:
            found[signal] = match[0]
    return found


class _Key:
    """Wraps the signals so that compiled patterns are kept per knowledge."""

    def __init__(self, signals: Mapping[str, Mapping[str, tuple[str, ...]]]) -> None:
        self.signals = signals

    def __hash__(self) -> int:
        return id(self.signals)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Key) and other.signals is self.signals


@lru_cache(maxsize=4)
def _patterns(key: _Key) -> dict[str, re.Pattern[str]]:
    return {
        signal: re.compile(r"(?<!\w)(?:" + "|".join(_cue(cue) for said in by.values() for cue in said) + r")(?!\w)")
        for signal, by in key.signals.items()
    }


def _cue(cue: str) -> str:
    """A cue as a pattern: blanks match any white space, * any word ending."""
    from assistant.domain.understanding.text import fold

    return re.escape(fold(cue)).replace(r"\ ", r"\s+").replace(r"\*", r"\w*")


def mixture(folded: str, spotted: Sequence[Spotted], knowledge: Knowledge) -> tuple[Mixture, Spotted, Spotted] | None:
    """Two named things of groups that must not meet, in one breath with a word of joining."""
    named = [term for term in spotted if term.kind == "substance" and not term.negated and term.id in knowledge.substances]
    harmless = None
    for i, first in enumerate(named):
        for second in named[i + 1 :]:
            same = first.id == second.id and not {"drain_opener", "pool_chlorine"} & knowledge.substances[first.id].mixes_as
            if same or not MIXED.search(folded[min(first.end, second.end) - 1 : second.end]):
                continue
            found = _mixture_of(first.id, second.id, knowledge)
            if found and found.danger:
                return found, first, second
            harmless = harmless or ((found, first, second) if found else None)
    return harmless


def _mixture_of(a: str, b: str, knowledge: Knowledge) -> Mixture | None:
    one, other = knowledge.substances[a].mixes_as, knowledge.substances[b].mixes_as
    matches = [
        row for row in knowledge.mixtures
        if (row.a in one and row.b in other) or (row.b in one and row.a in other)
    ]  # fmt: skip
    return next((row for row in matches if row.danger), matches[0] if matches else None)


def safety_topic(folded: str, spotted: Sequence[Spotted], knowledge: Knowledge) -> tuple[str, Evidence] | None:
    """The safety answer this text needs, with its evidence, or None."""
    cues = signals_in(folded, knowledge)
    for topic, needed, any_of in _RULES:
        if all(cue in cues for cue in needed) and (not any_of or any(cue in cues for cue in any_of)):
            words = " / ".join(cues[cue] for cue in (*needed, *(c for c in any_of if c in cues)))
            if not (topic in _QUIET_WHEN_CALM and "calm" in cues):
                return topic, Evidence(words, topic, "safety cue words")
    return _mixing(folded, spotted, knowledge, cues)


_RULES: tuple[tuple[str, tuple[str, ...], tuple[str, ...]], ...] = (
    ("person_overboard", ("overboard",), ("person", "fell")),
    ("shock_in_water", ("tingle", "water_contact"), ()),
    ("shock_in_water", ("electric", "water_contact"), ()),
    ("fluoride_skin", ("fluoride",), ("skin_contact", "skin_hurt")),
    ("washer_wound", ("washer", "wound"), ()),
    ("swallowed", ("swallow",), ("chemical", "person")),
    ("eyes", ("eye_contact",), ()),
    ("carbon_monoxide", ("dizzy",), ("engine", "cabin")),
    ("carbon_monoxide", ("monoxide_alarm",), ()),
    ("fumes", ("breathing",), ("chemical", "fume", "cabin")),
    ("fumes", ("dizzy",), ("chemical", "fume")),
    ("skin_burn", ("skin_hurt",), ()),
    ("skin_burn", ("skin_contact",), ("chemical",)),
    ("fire", ("fire",), ()),
    ("slip_fall", ("fell",), ()),
    ("sinking_or_flooding", ("sinking",), ()),
    ("wash_from_water", ("in_the_water", "washing"), ()),
    ("swim_at_dock", ("swim",), ("dock",)),
    ("shore_power_wash", ("shore_power", "wet"), ()),
    ("co_prevention", ("engine_on", "washing"), ()),
    ("ladder", ("ladder", "climb"), ()),
    ("oily_rags", ("rag", "drying_oil"), ()),
    ("over_water", ("hanging", "washing"), ()),
    ("enclosed_space", ("closed_up", "chemical"), ()),
    ("pets_kids_chemicals", ("little_ones", "chemical"), ()),
    ("fuel_on_water", ("sheen",), ()),
    ("fuel_on_water", ("fuel", "on_the_water"), ()),
)
_QUIET_WHEN_CALM = frozenset({"fire", "slip_fall"})


def _mixing(
    folded: str, spotted: Sequence[Spotted], knowledge: Knowledge, cues: Mapping[str, str]
) -> tuple[str, Evidence] | None:
    met = mixture(folded, spotted, knowledge)
    if met is None or not met[0].danger:
        return None
    row, first, second = met
    between = folded[min(first.end, second.end) - 1 : second.end]
    joined = bool(MIX_WORD.search(folded)) or bool(re.search(r"\b(?:then|after|followed by|on top|into|luego|despues)\b", folded))
    groups = knowledge.substances[first.id].mixes_as | knowledge.substances[second.id].mixes_as
    said = bool(MIX_WORD.search(folded)) or bool(_SAME_PLACE.search(folded))
    specific = "other_cleaner" not in {row.a, row.b}
    bleachy = bool({"bleach", "pool_chlorine", "peroxide"} & groups)
    likely = (bleachy and (specific or joined)) or (specific and joined)
    if not said and (not likely or _apart(between, first, second, spotted)):
        return None
    poured = bool(_POURED.search(folded)) and not acts.asks_leave(folded)
    done = acts.reports(folded) or poured or "fume" in cues or "breathing" in cues
    topic = "mixed_cleaners" if done and not re.search(r"\b(?:can|could|should|ok|safe|puedo) (?:i|we|to)?\b", between) else "mixing_ask"
    return topic, Evidence(f"{first.words} + {second.words}", row.id, "dangerous mixture")


_SAME_PLACE = re.compile(r"\b(?:on top of|over it|on the same|right after|at the same time|encima de|al mismo tiempo)\b")
_NOT_TOGETHER = re.compile(r"\b(?:or|vs|versus|instead|o|next day|day after|week|weeks|days? later|month|dia siguiente|semana)\b")


def _apart(between: str, first: Spotted, second: Spotted, spotted: Sequence[Spotted]) -> bool:
    """'bleach or vinegar?', 'bleach on the seats and vinegar on the hull', one a week after the other: not one mixture."""
    low, high = min(first.end, second.end), max(first.begin, second.begin)
    between_them = any(term.kind == "surface" and low <= term.begin < high for term in spotted)
    behind = any(term.kind == "surface" and term.begin >= max(first.end, second.end) for term in spotted)
    return bool(_NOT_TOGETHER.search(between)) or (between_them and behind)

