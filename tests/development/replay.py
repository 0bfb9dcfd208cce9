"""Replays the development set through reading and deciding, and scores each row. No database: conversations are kept
in memory the way storage keeps them (turns, open question, texts not understood)."""

from __future__ import annotations

import csv
import re
import time as clock
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time
from decimal import Decimal
from pathlib import Path

from assistant.domain.business import Business, CrewMember, Place, Prices, Service
from assistant.domain.conversation.decide import decide
from assistant.domain.conversation.decision import AskClient, CloseQuestion, Decision
from assistant.domain.conversation.situation import OpenQuestion, Situation, Turn
from assistant.domain.knowledge import Knowledge
from assistant.domain.people import Application, Client, Consent, Kept, Season, Vessel
from assistant.domain.slots import Diary
from assistant.domain.understanding.read import read
from assistant.domain.visits import Visit

HERE = Path(__file__).parent
NOW = datetime(2026, 6, 10, 14, 0, tzinfo=UTC)
ZONE = "America/New_York"

BUSINESS = Business(
    id=1, name="Fernwake Boat Care", detailer="Nola", number="+13055550100", zone=ZONE, country="US", language="en",
    hours=dict.fromkeys(range(5), (time(8), time(17))),
    crew=(CrewMember("Nola", "+13055550101", "owner"),),
    places=(Place("Pelican Slough"), Place("Cutter's Bight"), Place("Juniper Point")),
    services={
        "wash": Service("wash", {"en": "wash", "es": "lavado"}, Decimal("4"), Decimal(120)),
        "reseal": Service("reseal", {"en": "reseal", "es": "resellado"}, Decimal("18"), Decimal(400), on_sight=True),
        "topper": Service("topper", {"en": "topper visit", "es": "visita de topper"}, Decimal("3"), Decimal(90)),
    },
    prices=Prices(),
)  # fmt: skip
ALL_SEASON = Season((5, 1), (10, 31))


def _client(id: int, name: str, phone: str, language: str = "en") -> Client:
    return Client(id, name, phone, language, ZONE, "US")


CLIENTS: dict[str, Situation] = {
    "ana": Situation(
        BUSINESS, "+13055550111", _client(1, "Ana Reyes", "+13055550111"), Consent(True, True),
        (Vessel(1, 1, "Sea Thistle", "center console", Decimal(28), place="Pelican Slough"),),
        (Application(1, 1, "hull", "sealant", date(2026, 3, 2)), Application(2, 1, "topsides", "sealant", date(2026, 3, 2))),
        visits=(Visit(1, 1, (1,), "wash", 1, datetime(2026, 6, 18, 13, tzinfo=UTC), datetime(2026, 6, 18, 16, tzinfo=UTC),
                      ZONE, "Pelican Slough"),),
        card_url="https://care.example/card/a"),
    "bert": Situation(
        BUSINESS, "+12165550122", _client(2, "Bert Olsen", "+12165550122"), Consent(True, True),
        (Vessel(2, 2, "Paper Moon", "cruiser", Decimal(34), place="Juniper Point", season=ALL_SEASON,
                kept_off_season=Kept.INDOORS),),
        (Application(3, 2, "hull", "sealant", date(2026, 5, 5)),), card_url="https://care.example/card/b"),
    "chidi": Situation(
        BUSINESS, "+13055550133", _client(3, "Chidi Obi", "+13055550133"), Consent(True, False),
        (Vessel(3, 3, "Blue Ledger", "bay boat", Decimal(24), place="Cutter's Bight", kept=Kept.LIFT),
         Vessel(4, 3, "Little Ledger", "inflatable", Decimal(12), place="Cutter's Bight", kept=Kept.LIFT)),
        (Application(4, 3, "hull", "sealant", date(2026, 6, 4)),), card_url="https://care.example/card/c"),
    "dana": Situation(
        BUSINESS, "+13055550144", _client(4, "Dana Whit", "+13055550144"), Consent(True, True),
        (Vessel(5, 4, "Saltbox", "trawler", Decimal(41), place="Cutter's Bight", kept=Kept.COVERED),),
        (Application(5, 5, "hull", "ceramic", date(2025, 9, 15)),), card_url="https://care.example/card/d"),
    "elena": Situation(
        BUSINESS, "+13055550155", _client(5, "Elena Prats", "+13055550155", "es"), Consent(True, True),
        (Vessel(6, 5, "Golondrina", "runabout", Decimal(26), place="Pelican Slough"),),
        (Application(6, 6, "hull", "wax", date(2026, 5, 20)),), card_url="https://care.example/card/e"),
    "stranger": Situation(BUSINESS, "+13055550199", None, Consent()),
}  # fmt: skip
DIARY = Diary((), date(2026, 6, 10), date(2026, 9, 1))


@dataclass(frozen=True)
class Row:
    """One text of the set with what a first-rate detailer would make of it."""

    text: str
    language: str
    writer: str
    topics: tuple[tuple[str, ...], ...]
    """Accepted readings; each a tuple of topics that must all be there (several questions in one text)."""
    verdicts: tuple[str, ...]
    handover: str
    says: tuple[str, ...]
    never: tuple[str, ...]
    client: str
    context: tuple[str, ...]
    file: str


@dataclass
class Scored:
    """What came out for a row, and each way in which it fell short."""

    row: Row
    decision: Decision
    certainty: float
    elapsed_ms: float
    faults: list[str] = field(default_factory=list)

    @property
    def reply(self) -> str:
        return " / ".join(self.decision.replies)

    @property
    def abstained(self) -> bool:
        """Asked back or handed over as not understood."""
        return self.decision.topic in {"clarify", "not_understood"}

    @property
    def dangerous(self) -> bool:
        """A yes where no is right, or a safety text not seen as one."""
        return "dangerous" in self.faults


def rows(folder: Path = HERE) -> Iterator[Row]:
    """All rows of all files, in order."""
    for path in sorted(folder.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for cells in csv.DictReader(file):
                if cells["text"]:
                    yield _row(cells, path.stem)


def _row(cells: dict[str, str], file: str) -> Row:
    def many(key: str, separator: str = ";") -> tuple[str, ...]:
        return tuple(part.strip() for part in (cells.get(key) or "").split(separator) if part.strip())

    return Row(
        cells["text"], cells["lang"], cells["writer"],
        tuple(tuple(part.split("+")) for part in many("topics")), many("verdict", "/"), cells["handover"] or "any",
        many("says"), many("never"), cells.get("client") or "ana", many("context", "||"), file,
    )  # fmt: skip


def replay(row: Row, knowledge: Knowledge) -> Scored:
    """Run the row's context and text through one conversation, and score the last answer."""
    situation = CLIENTS[row.client]
    for earlier in row.context:
        situation = _after(situation, earlier, _answer(earlier, situation, knowledge))
    begun = clock.perf_counter()
    decision = _answer(row.text, situation, knowledge)
    scored = Scored(row, decision, decision.certainty, (clock.perf_counter() - begun) * 1000)
    scored.faults.extend(faults(row, decision, knowledge))
    return scored


def _answer(text: str, situation: Situation, knowledge: Knowledge) -> Decision:
    return decide(read(text, situation, knowledge), situation, knowledge, DIARY, NOW)


def _after(situation: Situation, text: str, decision: Decision) -> Situation:
    question = situation.question
    for change in decision.changes:
        if isinstance(change, CloseQuestion):
            question = None
        elif isinstance(change, AskClient):
            question = OpenQuestion(1, change.kind, change.data, NOW, change.expires_at)
    turns = (
        *situation.turns, Turn(NOW, True, text, decision.topic, decision.remember),
        *(Turn(NOW, False, reply, decision.topic) for reply in decision.replies),
    )  # fmt: skip
    unclear = situation.not_understood + 1 if decision.topic in {"clarify", "not_understood"} else 0
    return replace(situation, question=question, turns=turns, not_understood=unclear)


ALIKE = {
    "label_read": "unknown_product", "what_applied": "last_job", "pick_slot": "no_slot_fits",
}  # fmt: skip
"""Readings of the engine that lead to the same kind of answer."""


def faults(row: Row, decision: Decision, knowledge: Knowledge) -> Iterator[str]:
    """Everything that a first-rate detailer would not have done."""
    got = set(decision.asked) | {decision.topic}
    if any(topic.startswith("oos_") for topic in got):
        got |= {topic for wanted in row.topics for topic in wanted if topic.startswith("oos_")}
    got |= {alike for one in got for alike in (ALIKE.get(one),) if alike}
    if not any(set(wanted) <= got for wanted in row.topics):
        yield "topic"
    verdict = decision.verdict or "none"
    if row.verdicts and verdict not in row.verdicts:
        yield "verdict"
    if verdict == "yes" and "no" in row.verdicts:
        yield "dangerous"
    handover = decision.handover
    handed = handover is not None and handover.reason != "opted_out_with_visit"
    if (row.handover == "yes" and not handed) or (row.handover == "no" and handed):
        yield "handover"
    safety = [topic for wanted in row.topics for topic in wanted if _safety(topic, knowledge)]
    if safety and row.handover == "yes" and not any(_safety(topic, knowledge) for topic in got):
        yield "dangerous"
    reply = " ".join(decision.replies)
    if any(not re.search(pattern, reply, re.IGNORECASE) for pattern in row.says):
        yield "says"
    if any(re.search(pattern, reply, re.IGNORECASE) for pattern in row.never):
        yield "never"


def _safety(topic: str, knowledge: Knowledge) -> bool:
    answer = knowledge.answer(topic, "en")
    return bool(answer and answer.safety)


def replay_all(knowledge: Knowledge, chosen: Iterable[Row] | None = None) -> list[Scored]:
    """Every row scored."""
    return [replay(row, knowledge) for row in (rows() if chosen is None else chosen)]


def right(scored: Scored) -> bool:
    """Right as a reader would judge: verdict, facts and handover; the topic only where nothing else tells."""
    serious = [fault for fault in scored.faults if fault != "topic"]
    told_by_facts = bool(scored.row.says) or scored.row.verdicts not in {(), ("none",)}
    return not serious and (told_by_facts or "topic" not in scored.faults)
