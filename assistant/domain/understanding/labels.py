"""Reading a label that an owner typed: CAS numbers, ingredient names, pH and signal word; never the product's name.

Signal words and the pictogram's meaning: Globally Harmonized System (29 CFR 1910.1200 App. C). CAS check digit:
CAS Registry rule (sum of digits times place from the right, modulo 10).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.text import fold
from assistant.domain.understanding.vocabulary import is_negated

_CAS = re.compile(r"(?<![\d-])(\d{2,7})-(\d{2})-(\d)(?![\d-])")
_PH = re.compile(r"\bp\.?h\.?(?: value| level| range)?\s*(?:of|is|=|:|about|around|approx|es|de|entre|between|~)*\s*(\d{1,2}(?:[.,]\d+)?)(?:\s*(?:-|to|a|y|and)\s*(\d{1,2}(?:[.,]\d+)?))?")
_NEUTRAL = re.compile(r"\b(?:ph[ -]?neutral|neutral ph|ph[ -]?balanced|ph neutro)\b")
_SIGNAL = re.compile(r"\b(danger|warning|caution|corrosive|corrosion|peligro|advertencia|atencion|corrosivo)\b")
_LABEL_CONTEXT = re.compile(r"\b(?:label|says|contains|ingredients?|it has|made of|bottle|lists|active|cas|etiqueta|dice|contiene|ingredientes?|lleva|trae|frasco|botella)\b|:")
_SHORT_NAMES = re.compile(r"^(?:water|agua|salt|sal|alcohol|wax|oil|soap|polymer|silicone|dye|iron|surfactants?|fragrance|enzymes?|solvents?|detergent|carbon|protein)$")


@dataclass(frozen=True, slots=True)
class Label:
    """What a typed label told. `substances` are rows whose ingredients or CAS numbers were found."""

    cas: tuple[str, ...] = ()
    bad_cas: tuple[str, ...] = ()
    ingredients: tuple[str, ...] = ()
    substances: tuple[str, ...] = ()
    ph: float | None = None
    signal: str = ""

    @property
    def says_something(self) -> bool:
        """True when anything of a label was found."""
        return bool(self.cas or self.bad_cas or self.ingredients or self.ph is not None or self.signal)


def cas_is_valid(number: str) -> bool:
    """The CAS check digit holds."""
    found = _CAS.fullmatch(number)
    if not found:
        return False
    digits = (found[1] + found[2])[::-1]
    return sum(int(digit) * place for place, digit in enumerate(digits, 1)) % 10 == int(found[3])


def read_label(folded: str, knowledge: Knowledge) -> Label:
    """Everything of a label in a folded text. A bare ingredient maps to the rows that hold it; strictest rules later."""
    numbers = ["-".join(match.groups()) for match in _CAS.finditer(folded)]
    cas = tuple(number for number in numbers if cas_is_valid(number))
    names = _ingredients(folded, knowledge)
    rows = [row.id for row in knowledge.substances.values() if row.kind == "substance" and (set(cas) & set(row.cas))]
    by_name = [id for name in names for id in knowledge.ingredients[name]]
    signal = _SIGNAL.search(folded)
    context = bool(_LABEL_CONTEXT.search(folded))
    return Label(
        cas=cas,
        bad_cas=tuple(number for number in numbers if number not in cas),
        ingredients=names if context or cas or len(names) > 1 else (),
        substances=tuple(dict.fromkeys(rows + by_name)),
        ph=_ph(folded),
        signal=signal[1] if signal and context else "",
    )


def _ph(folded: str) -> float | None:
    found = _PH.search(folded)
    if not found:
        return 7.0 if _NEUTRAL.search(folded) and _LABEL_CONTEXT.search(folded) else None
    values = [float(part.replace(",", ".")) for part in found.groups() if part]
    worst = max(values, key=lambda value: abs(value - 7))
    return worst if 0 <= worst <= 14 else None


def _ingredients(folded: str, knowledge: Knowledge) -> tuple[str, ...]:
    found = []
    for name in knowledge.ingredients:
        place = folded.find(name)
        whole = place >= 0 and re.search(rf"(?<!\w){re.escape(name)}(?!\w)", folded)
        if whole and not is_negated(folded, place, place + len(name)):
            found.append(name)
    return tuple(found)


def ingredient_index(knowledge: Knowledge) -> dict[str, tuple[str, ...]]:
    """Folded ingredient name -> substance rows that hold it."""
    index: dict[str, list[str]] = {}
    for row in knowledge.substances.values():
        for name in row.ingredients:
            plain = fold(name)
            if row.kind == "substance" and len(plain) > 3 and not _SHORT_NAMES.match(plain):
                index.setdefault(plain, []).append(row.id)
    return {name: tuple(rows) for name, rows in index.items()}
