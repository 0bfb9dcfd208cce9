"""The life of a coat as a picture: days used against days given, over time; and the same in words.

Plain SVG, as wide as a phone, drawn in the color of the text around it (dark or light); lines differ by their dashes,
so color alone tells nothing. Toppers, washes, lay-up, today and the range of the due day are marked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from xml.sax.saxutils import escape, quoteattr

from assistant.domain import coatings
from assistant.domain.coatings import Life
from assistant.domain.knowledge import Coating
from assistant.domain.people import CareEvent, CareKind, Vessel
from assistant.domain.wording import day_text

WIDTH, HEIGHT = 360, 200
LEFT, RIGHT, TOP, BOTTOM = 30, 352, 22, 158
ONE_DAY = timedelta(days=1)
_WORDS = {
    "en": {
        "used": "used", "life": "life", "today": "today", "due": "due about {0}", "range": "{0} to {1}",
        "days": "days of sun", "toppers": "Toppers: {0}", "washes": "Harsh cleaning: {0}", "looks": "Looked at: {0}",
        "layup": "lay-up", "laid_up": "Laid up: {0}", "stand": "{0}: {1} of {2} days of sun used ({3}%) by {4}.",
        "due_line": "Due about {0}, likely {1} to {2}.",
    },
    "es": {
        "used": "usado", "life": "vida", "today": "hoy", "due": "toca hacia el {0}", "range": "{0} a {1}",
        "days": "días de sol", "toppers": "Topper: {0}", "washes": "Limpieza fuerte: {0}", "looks": "Revisado: {0}",
        "layup": "guardado", "laid_up": "Guardado: {0}", "stand": "{0}: {1} de {2} días de sol usados ({3}%) al {4}.",
        "due_line": "Toca hacia el {0}, probablemente del {1} al {2}.",
    },
}  # fmt: skip
_STYLE = (
    ".used{fill:none;stroke:var(--life-used,currentColor);stroke-width:2.2}"
    ".life{fill:none;stroke:var(--life-given,currentColor);stroke-width:1.4;stroke-dasharray:6 3}"
    ".due{fill:var(--life-due,currentColor);opacity:.16}.layup{fill:currentColor;opacity:.07}"
    ".axis{stroke:currentColor;opacity:.45}.now{stroke:currentColor;stroke-dasharray:2 2}"
    ".mark{fill:none;stroke:currentColor;stroke-width:1.3}text{fill:currentColor;font:9px sans-serif}"
)


@dataclass(frozen=True, slots=True)
class Drawn:
    """What is drawn: one coat of one vessel, with the events that touch it, in one language."""

    title: str
    life: Life
    vessel: Vessel
    events: tuple[CareEvent, ...]
    course: tuple[tuple[date, Decimal, Decimal], ...]
    language: str

    @property
    def first(self) -> date:
        """The day of the application."""
        return self.life.application.applied_on

    @property
    def last(self) -> date:
        """The day at the right edge."""
        return self.course[-1][0]

    def say(self, word: str, *values: object) -> str:
        """A word or sentence in the language."""
        return _WORDS.get(self.language, _WORDS["en"])[word].format(*values)

    def day(self, day: date) -> str:
        """A date in the language."""
        return day_text(day, self.language, self.life.today)


def drawn(
    title: str, life: Life, vessel: Vessel, events: Iterable[CareEvent], coating: Coating, language: str,
    sun: Sequence[float] | None = None,
) -> Drawn:  # fmt: skip
    """Put together what is drawn. `coating` holds the vessel's own parameters, `events` may hold others' events too."""
    mine = [event for event in events if event.vessel_id == vessel.id and event.on >= life.application.applied_on
            and event.surface in ("", life.application.surface)]  # fmt: skip
    until = max(life.today, life.due_to) + timedelta(days=10)
    course = coatings.course(life.application, vessel, mine, coating, until, sun)
    known = tuple(sorted((event for event in mine if event.on <= until), key=lambda event: event.on))
    return Drawn(title, life, vessel, known, tuple(course), language)


def as_svg(picture: Drawn, *, styled: bool = True) -> str:
    """The picture; its words are inside it for those who can't see it. Unstyled for a page that brings the style."""
    parts = [*_layups(picture), *_due(picture), *_axes(picture), *_lines(picture), *_marks(picture)]
    style = f"<style>{_STYLE}</style>" if styled else ""
    label = quoteattr(" ".join(as_words(picture)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" width="100%" role="img" '
        f'aria-label={label} color="currentColor">{style}'
        f'<text x="{LEFT}" y="12" font-weight="bold">{escape(picture.title)}</text>{"".join(parts)}</svg>'
    )


def as_words(picture: Drawn) -> list[str]:
    """The same, a sentence a line."""
    life = picture.life
    stand = picture.say(
        "stand", picture.title, f"{life.used_days:.0f}", f"{life.life_days:.0f}", life.used_percent,
        picture.day(life.today),
    )  # fmt: skip
    due = [picture.day(day) for day in (life.due_on, life.due_from, life.due_to)]
    told = [stand, picture.say("due_line", *due)]
    for word, kinds in _KINDS_OF.items():
        days = [picture.day(event.on) for event in picture.events if event.kind in kinds and event.on <= life.today]
        if days:
            told.append(picture.say(word, ", ".join(days)) + ".")
    if picture.vessel.laid_up:
        rests = [picture.say("range", picture.day(begin), picture.day(end)) for begin, end in _rests(picture)]
        told += [picture.say("laid_up", "; ".join(rests)) + "."] if rests else []
    return told


_KINDS_OF = {
    "toppers": {CareKind.TOPPER},
    "washes": {CareKind.HARSH_WASH, CareKind.MILD_WASH, CareKind.STRIP},
    "looks": {CareKind.INSPECTION},
}


def _x(picture: Drawn, day: date) -> float:
    span = max(1, (picture.last - picture.first).days)
    return LEFT + (RIGHT - LEFT) * (day - picture.first).days / span


def _y(picture: Drawn, amount: Decimal) -> float:
    highest = max(max(used, life) for _, used, life in picture.course) * Decimal("1.08")
    return BOTTOM - (BOTTOM - TOP) * float(amount / highest)


def _lines(picture: Drawn) -> Iterator[str]:
    """Days used up to today in full, further on thinner; days given above it."""
    steps = [point for place, point in enumerate(picture.course) if place % 2 == 0 or point[0] == picture.life.today]
    for style, begin, end, column in (
        ("life", picture.first, picture.last, 2),
        ("used", picture.first, picture.life.today, 1),
        ('used" opacity=".4', picture.life.today, picture.last, 1),
    ):
        points = [f"{_x(picture, step[0]):.1f},{_y(picture, step[column]):.1f}"  # type: ignore[arg-type]
                  for step in steps if begin <= step[0] <= end]  # fmt: skip
        yield f'<polyline class="{style}" points="{" ".join(points)}"/>'
    past = [step for step in picture.course if step[0] <= picture.life.today]
    day, used, _ = past[len(past) * 2 // 5]
    yield _text(LEFT + 4, _y(picture, picture.course[0][2]) - 4, picture.say("life"), "start")
    y = _y(picture, used)
    yield _text(_x(picture, day) + 6, y + 11 if y < BOTTOM - 15 else y - 6, picture.say("used"), "start")


def _axes(picture: Drawn) -> Iterator[str]:
    yield f'<path class="axis" fill="none" d="M{LEFT} {TOP}V{BOTTOM}H{RIGHT}"/>'
    given = picture.course[0][2]
    yield _text(LEFT - 3, _y(picture, given) + 3, f"{given:.0f}", "end")
    yield _text(LEFT - 3, BOTTOM + 3, "0", "end")
    yield _text(LEFT, HEIGHT - 6, picture.day(picture.first), "start")
    yield _text(RIGHT, HEIGHT - 6, picture.day(picture.last), "end")
    now = _x(picture, picture.life.today)
    yield f'<path class="now" d="M{now:.1f} {TOP}V{BOTTOM}"/>'
    yield _text(now, TOP - 2, picture.say("today"), "middle")


def _due(picture: Drawn) -> Iterator[str]:
    life = picture.life
    begin, end = _x(picture, life.due_from), _x(picture, life.due_to)
    yield f'<rect class="due" x="{begin:.1f}" y="{TOP}" width="{end - begin:.1f}" height="{BOTTOM - TOP}"/>'
    due = _x(picture, life.due_on)
    yield f'<path class="axis" d="M{due:.1f} {TOP}V{BOTTOM}"/>'
    anchor = "middle" if LEFT + 50 < due < RIGHT - 50 else "end"
    yield _text(due, HEIGHT - 18, picture.say("due", picture.day(life.due_on)), anchor)


def _layups(picture: Drawn) -> Iterator[str]:
    for begin, end in _rests(picture):
        left, right = _x(picture, begin), _x(picture, end)
        yield f'<rect class="layup" x="{left:.1f}" y="{TOP}" width="{right - left:.1f}" height="{BOTTOM - TOP}"/>'
        if right - left > 36:
            yield _text((left + right) / 2, (TOP + BOTTOM) / 2, picture.say("layup"), "middle")


def _rests(picture: Drawn) -> Iterator[tuple[date, date]]:
    """The stretches in which the vessel is laid up, within the picture."""
    season = picture.vessel.season
    if not picture.vessel.laid_up or season is None:
        return
    begun: date | None = None
    for day, _, _ in picture.course:
        if not season.holds(day) and begun is None:
            begun = day
        if season.holds(day) and begun is not None:
            yield begun, day - ONE_DAY
            begun = None
    if begun is not None:
        yield begun, picture.last


def _marks(picture: Drawn) -> Iterator[str]:
    """A ring for a topper, a cross for a wash or strip, a plus for a look, on a line below the axis."""
    y = BOTTOM + 9
    for event in picture.events:
        x, name = _x(picture, event.on), escape(f"{picture.day(event.on)}: {event.substance or event.kind.value}")
        if event.kind is CareKind.TOPPER:
            shape = f'<circle class="mark" cx="{x:.1f}" cy="{y}" r="3">'
            yield f"{shape}<title>{name}</title></circle>"
        elif event.kind is CareKind.INSPECTION:
            yield f'<path class="mark" d="M{x - 4:.1f} {y}h8M{x:.1f} {y - 4}v8"><title>{name}</title></path>'
        else:
            yield f'<path class="mark" d="M{x - 3:.1f} {y - 3}l6 6m0 -6l-6 6"><title>{name}</title></path>'


def _text(x: float, y: float, words: str, anchor: str) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'
