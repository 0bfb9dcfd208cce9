"""What the business knows, as values: substances, surfaces, soils, coatings, answers, wording and the fitted model.

Read from the folder knowledge/ by `storage.knowledge_files`; everything here is plain data with small look-ups.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from assistant.domain.understanding.model import TopicModel
    from assistant.domain.understanding.vocabulary import Vocabulary

Words = Mapping[str, tuple[str, ...]]
"""Language -> what people say."""

COATINGS = ("sealant", "wax", "ceramic", "topper")
SURFACES = (
    "gelcoat", "paint", "nonskid", "vinyl", "clear_vinyl", "acrylic", "stainless", "aluminum", "teak",
    "cowling", "canvas", "inflatable", "below_waterline", "rubber", "screen",
)  # fmt: skip
VERDICTS = ("fine", "dilute", "ask", "avoid")


@dataclass(frozen=True, slots=True)
class Effect:
    """What a substance does to a coating or surface: 0 none ... 3 ruins it; None = no evidence or not applicable."""

    level: int | None
    slippery: bool = False


NO_EVIDENCE = Effect(None)


@dataclass(frozen=True, slots=True)
class Substance:
    """A cleaner, product class, tool or method an owner may ask to use. Effects by coating and surface id."""

    id: str
    kind: str
    cls: str
    ingredients: tuple[str, ...]
    cas: tuple[str, ...]
    ph: tuple[float, float] | None
    effects: Mapping[str, Effect]
    verdict: str
    hazard: str
    mixes_as: frozenset[str]
    name: Mapping[str, str]
    say: Words
    why: Mapping[str, str]
    instead: Mapping[str, str]
    source: str
    sure: str

    def effect(self, on: str) -> Effect:
        """The effect on a coating or surface id."""
        return self.effects.get(on, NO_EVIDENCE)


@dataclass(frozen=True, slots=True)
class Surface:
    """A surface or part. `counts_as` is the base surface whose column applies (itself for a base surface)."""

    id: str
    counts_as: str
    name: Mapping[str, str]
    say: Words
    coated: bool
    slippery_risk: bool
    wash: Mapping[str, str]
    dont: Mapping[str, str]
    source: str


@dataclass(frozen=True, slots=True)
class Soil:
    """A mark or dirt an owner wants off. `topic` is the answer that tells how."""

    id: str
    cls: str
    topic: str
    name: Mapping[str, str]
    say: Words
    verdict: str
    needs_person: bool
    hazard: str
    source: str


@dataclass(frozen=True, slots=True)
class Mixture:
    """Two groups (`Substance.mixes_as`) that must not meet, and what they give off."""

    id: str
    a: str
    b: str
    gas: Mapping[str, str]
    danger: bool
    source: str


@dataclass(frozen=True, slots=True)
class Coating:
    """Parameters of one coating: life in exposed days, waits in hours and days (facts with sources in coatings.csv)."""

    id: str
    name: Mapping[str, str]
    say: Words
    capacity_days: Decimal
    cap_days: int
    topper_credit_days: Decimal
    topper_min_gap_days: int
    topper_credit_max_share: Decimal
    debit_avoid: Decimal
    debit_ask: Decimal
    k: Mapping[str, Decimal]
    soon_percent: int
    range_early_percent: int
    range_late_percent: int
    keep_dry_hours: tuple[int, int]
    no_soap_days: tuple[int, int]
    plain_rinse_after_hours: int
    first_topper_day: int | None
    topper_every_days: int | None
    source: str


@dataclass(frozen=True, slots=True)
class Answer:
    """One topic in one language: how people ask and what we answer. See knowledge/README.md for the format."""

    topic: str
    language: str
    group: str
    title: str
    verdict: str | None
    handover: str
    needs: tuple[str, ...]
    short: str
    text: str
    variants: tuple[tuple[str, str], ...]
    phrasings: tuple[str, ...]
    sources: tuple[str, ...]
    safety: bool = False


@dataclass(frozen=True, slots=True)
class Country:
    """Emergency and reporting numbers of one country; empty strings where none is known."""

    id: str
    name: Mapping[str, str]
    emergency: str
    poison_name: Mapping[str, str]
    poison_phone: str
    spill_phone: str
    spill_name: Mapping[str, str]
    holidays: str


@dataclass(frozen=True, slots=True)
class TextingHours:
    """One legal row on when texts may leave (see hours.csv)."""

    id: str
    country: str
    state: str
    kind: str
    days: str
    start: str
    end: str
    source: str


@dataclass(frozen=True, slots=True)
class LookAlike:
    """A word that fools a match: it means nothing, exactly one thing, or must be asked back."""

    word: str
    language: str
    means: str


@dataclass(frozen=True, slots=True)
class NudgeText:
    """One kind of text we begin ourselves: its rules and its wording in one language."""

    kind: str
    language: str
    consent: str
    text: str
    rules: Mapping[str, str]
    variants: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Knowledge:
    """All of knowledge/, checked. `stamp` is a hash of the files: it names this state in logs and caches."""

    stamp: str
    substances: Mapping[str, Substance]
    surfaces: Mapping[str, Surface]
    soils: Mapping[str, Soil]
    mixtures: tuple[Mixture, ...]
    coatings: Mapping[str, Coating]
    countries: Mapping[str, Country]
    answers: Mapping[str, Mapping[str, Answer]]
    """language -> topic -> answer."""
    wording: Mapping[str, Mapping[str, str]]
    """language -> id -> sentence with placeholders."""
    words: Mapping[str, Mapping[str, Words]]
    """kind -> id -> language -> what people say."""
    look_alikes: tuple[LookAlike, ...] = ()
    signals: Mapping[str, Words] = field(default_factory=dict)
    """Cue words by signal (breathing, eyes, mixed ...) and language."""
    sun: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    """Station -> twelve monthly means of daily sun, kWh per square meter."""
    hours: tuple[TextingHours, ...] = ()
    nudges: Mapping[str, Mapping[str, NudgeText]] = field(default_factory=dict)
    """language -> kind -> nudge."""
    models: Mapping[str, TopicModel] = field(default_factory=dict)
    vocabulary: Vocabulary | None = None
    classes: Mapping[str, str] = field(default_factory=dict)
    """Substance or soil id -> class; derived."""
    about: Mapping[str, str] = field(default_factory=dict)
    """Topic -> the one substance that most of its phrasings name; derived."""
    ingredients: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Folded ingredient name -> substances that hold it; derived."""

    def answer(self, topic: str, language: str) -> Answer | None:
        """The answer for a topic, in the language or else in English."""
        return self.answers.get(language, {}).get(topic) or self.answers.get("en", {}).get(topic)

    def say(self, id: str, language: str) -> str:
        """A sentence of the wording table, in the language or else in English. KeyError if in neither."""
        return self.wording.get(language, {}).get(id) or self.wording["en"][id]

    def country(self, id: str) -> Country:
        """The numbers of a country; the row `other` (no numbers) when we do not know it."""
        return self.countries.get(id) or self.countries["other"]

    def base_surface(self, id: str) -> str:
        """The base surface a part counts as."""
        surface = self.surfaces.get(id)
        return surface.counts_as if surface else id

    def named(self, table: str, id: str, language: str) -> str:
        """How we say a substance, surface, soil or coating inside a sentence."""
        row = getattr(self, table).get(id)
        if row is None:
            return id.replace("_", " ")
        name: str = row.name.get(language) or row.name["en"]
        return name
