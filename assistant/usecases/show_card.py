"""What an owner's care card shows: each boat's finish, what suits it and what does not, the next topper, the visits."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from assistant.assembly import Assistant
from assistant.domain.coatings import Life, parameters, vessel_overrides, with_topper_coats
from assistant.domain.conversation.records import explain
from assistant.domain.conversation.scene import Scene
from assistant.domain.conversation.situation import InboundMessage
from assistant.domain.conversation.values import tidy, values_for
from assistant.domain.life_picture import Drawn, drawn
from assistant.domain.people import CareEvent, CareKind, Client, Vessel
from assistant.domain.substances import judge
from assistant.domain.visits import Visit, VisitState
from assistant.domain.wording import join_words
from assistant.storage import cards, care, clients
from assistant.storage.situations import load_situation

ASKED_MOST = (
    "fresh_water_rinse", "neutral_boat_soap", "soft_brush", "sio2_topper", "quick_detailer", "dish_soap", "chlorine_bleach",
    "vinegar", "alkaline_degreaser", "ammonia_glass_cleaner", "acetone", "oxalic_hull_cleaner", "scouring_pad",
    "melamine_sponge", "abrasive_cleaner",
)  # fmt: skip
"""Rows of substances.csv that a card sorts into what suits the boat and what does not, in this order."""
BEFORE_FIRST_TOPPER = timedelta(days=3)
"""How much earlier than its day the first topper may go on."""


@dataclass(frozen=True, slots=True)
class Shown:
    """A substance or tool with the reason for its verdict."""

    name: str
    why: str


@dataclass(frozen=True, slots=True)
class BoatOnCard:
    """One boat as its owner sees it. Texts are in the language of the card."""

    vessel: Vessel
    name: str
    coats: tuple[tuple[str, str, str], ...]
    """(coating, surfaces, day), the newest first."""
    life: Life | None
    picture: Drawn | None
    """The days used against the days given, for the curve and for its words."""
    why: str
    toppers: tuple[date, ...]
    fresh: str
    """What holds only in the first days after a job; empty later."""
    fine: tuple[Shown, ...]
    careful: tuple[Shown, ...]
    avoid: tuple[Shown, ...]
    topper_today: bool
    may_top: bool
    """A topper makes sense today, so the card offers to note one."""


@dataclass(frozen=True, slots=True)
class Card:
    """One client's card."""

    client: Client
    scene: Scene
    boats: tuple[BoatOnCard, ...]
    visits: tuple[Visit, ...]
    calendar_token: str

    @property
    def care(self) -> tuple[tuple[str, BoatOnCard], ...]:
        """Boats that bear the same, together: (their names, one of them)."""
        alike: dict[object, list[BoatOnCard]] = {}
        for boat in self.boats:
            alike.setdefault((boat.fine, boat.careful, boat.avoid), []).append(boat)
        language = self.scene.language
        return tuple((join_words([boat.name for boat in boats], language), boats[0]) for boats in alike.values())


def show_card(app: Assistant, client_id: int, language: str, now: datetime) -> Card | None:
    """The card of a client as of now; None when there is no such client. `language` empty: the client's own."""
    with app.database.reading(app.business.id) as tx:
        client = clients.find_client(tx, client_id)
        if client is None:
            return None
        nobody_wrote = InboundMessage("", client.phone, app.business.number, "", channel=client.channel)
        situation = load_situation(tx, app.business, nobody_wrote, now, app.settings.public_url)
        calendar_token = clients.tokens(tx, client_id)[1]
    scene = Scene(situation, app.knowledge, now, language or client.language or app.business.language)
    ahead = tuple(one for one in situation.visits if one.state is VisitState.BOOKED and one.ends > now)
    boats = tuple(_boat(scene, vessel) for vessel in situation.vessels)
    return Card(client, scene, boats, ahead, calendar_token)


def note_topper(app: Assistant, client_id: int, vessel_id: int, now: datetime) -> bool:
    """The owner put topper on today; a second tap on the same day adds nothing. False when it is not their boat."""
    with app.database.transaction(app.business.id) as tx:
        client = clients.find_client(tx, client_id)
        if client is None or not cards.lock_own_vessel(tx, client_id, vessel_id):
            return False
        today = now.astimezone(ZoneInfo(client.zone or app.business.zone)).date()
        if not cards.topped_on(tx, vessel_id, today):
            care.add_event(tx, CareEvent(0, vessel_id, CareKind.TOPPER, today), now)
        return True


def _boat(scene: Scene, vessel: Vessel) -> BoatOnCard:
    life = scene.life_of(vessel)
    mine = [event for event in scene.situation.events if event.vessel_id == vessel.id and event.kind is CareKind.TOPPER]
    toppers = tuple(sorted({event.on for event in mine if life and event.on >= life.application.applied_on}))
    fine, careful, avoid = _sorted(scene, vessel)
    first = scene.coating_of(vessel).first_topper_day if life else None  # type: ignore[union-attr]
    from_day = life.application.applied_on + timedelta(days=first) - BEFORE_FIRST_TOPPER if life and first else None
    return BoatOnCard(
        vessel=vessel,
        name=scene.name_of(vessel),
        coats=_coats(scene, vessel),
        life=life,
        picture=_picture(scene, vessel, life) if life else None,
        why=tidy(explain(life, scene, vessel)) if life else "",
        toppers=toppers,
        fresh=_fresh(scene, vessel),
        fine=fine,
        careful=careful,
        avoid=avoid,
        topper_today=scene.today in toppers,
        may_top=from_day is not None and scene.today >= from_day,
    )


def _picture(scene: Scene, vessel: Vessel, life: Life) -> Drawn:
    """With the same numbers and events that the estimate was made from."""
    situation, id = scene.situation, life.application.coating
    own = parameters(scene.knowledge.coatings[id], situation.business.life, vessel_overrides(vessel))
    events = with_topper_coats(situation.applications, situation.events)
    title = f"{scene.name_of(vessel)}, {scene.named('coatings', id)}"
    return drawn(title, life, vessel, events, own, scene.language, scene.knowledge.sun.get(situation.business.sun_station))


def _coats(scene: Scene, vessel: Vessel) -> tuple[tuple[str, str, str], ...]:
    """What was put on, by coating and day, the newest first, at most four."""
    groups: dict[tuple[date, str], list[str]] = {}
    for one in sorted(scene.situation.applications, key=lambda coat: coat.applied_on, reverse=True):
        if one.vessel_id == vessel.id:
            groups.setdefault((one.applied_on, one.coating), []).append(scene.named("surfaces", one.surface))
    return tuple(
        (scene.named("coatings", coating), join_words(list(dict.fromkeys(surfaces)), scene.language), scene.day(on))
        for (on, coating), surfaces in list(groups.items())[:4]
    )


def _fresh(scene: Scene, vessel: Vessel) -> str:
    fresh = scene.freshness(vessel)
    if fresh is None or not (fresh.keep_dry or fresh.no_soap):
        return ""
    return tidy(scene.say("card.keep_dry" if fresh.keep_dry else "card.no_soap", **values_for(scene, vessel)))


def _begun(name: str) -> str:
    """With a capital, but for 'pH' and its like."""
    return name if name[1:2].isupper() else name[:1].upper() + name[1:]


def _sorted(scene: Scene, vessel: Vessel) -> tuple[tuple[Shown, ...], tuple[Shown, ...], tuple[Shown, ...]]:
    """Fine, only with care, and to be kept off, by the same verdicts that answer texts. Days after a job aside: the
    card says those by themselves."""
    life = scene.life_of(vessel)
    coating = life.application.coating if life else ""
    by_verdict: dict[str, list[Shown]] = {"yes": [], "careful": [], "no": []}
    for id in ASKED_MOST:
        substance = scene.knowledge.substances.get(id)
        if substance:
            verdict = judge(substance, "", coating, None, scene.knowledge).verdict
            why = substance.why.get(scene.language) or substance.why.get("en", "")
            by_verdict[verdict].append(Shown(_begun(scene.named("substances", id)), why))
    return tuple(by_verdict["yes"]), tuple(by_verdict["careful"]), tuple(by_verdict["no"])
