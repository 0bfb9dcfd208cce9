"""What the assistant knows: read, changed, tried on old texts, and only then put to use."""

from __future__ import annotations

import difflib

from flask import Blueprint, request, url_for
from flask.typing import ResponseReturnValue

from assistant.doors.crew.door import Door, back_to, found, me, only, page
from assistant.doors.crew.trials import Trials
from assistant.usecases import edit_knowledge as editing

LOOK_FOR_SECONDS = 1.5
"""How long a page waits for a trial that is nearly done."""
SHOWN = 200


def add_pages(routes: Blueprint, door: Door, trials: Trials) -> None:
    """`/crew/knowledge` and below."""
    app = door.assistant

    @routes.get("/knowledge")
    def knowledge() -> ResponseReturnValue:
        words = request.args.get("find", "")[:80].lower().strip()
        names = [name for name in editing.files(app) if _matches(door, name, words)]
        return page("knowledge", "Knowledge", names=names[:SHOWN], more=len(names) > SHOWN, words=words, about=_about(door))

    @routes.get("/knowledge/file/<path:name>")
    def file(name: str) -> ResponseReturnValue:
        text = found(editing.file_text(app, name))
        return page("file", name, name=name, text=text, fixed=editing.gives_safety_answer(app, name))

    @routes.post("/knowledge/file/<path:name>")
    def try_file(name: str) -> ResponseReturnValue:
        only("owner", "office")
        found(editing.file_text(app, name))
        text = request.form.get("text", "").replace("\r\n", "\n")
        trial = trials.begin(lambda: editing.try_out(app, {name: text}))
        return back_to("trial", name=trial)

    @routes.get("/knowledge/trials/<name>")
    def trial(name: str) -> ResponseReturnValue:
        found(trials.known(name) or None)
        outcome = trials.outcome(name, LOOK_FOR_SECONDS)
        if outcome is None:
            return page("trial_runs", "Trying it out", again=url_for("crew.trial", name=name))
        diffs = {path: _diff(editing.file_text(app, path) or "", text) for path, text in outcome.edits.items()}
        return page("trial", "What would change", trial=outcome, name=name, diffs=diffs, shown=SHOWN)

    @routes.post("/knowledge/trials/<name>")
    def use_trial(name: str) -> ResponseReturnValue:
        found(trials.known(name) or None)
        outcome = found(trials.outcome(name))
        if outcome.lesson is None:
            only("owner", "office")
        if outcome.refused:
            return back_to("trial", name=name)
        if not editing.put_to_use(app, outcome, me().name, door.now):
            problem = "Knowledge was changed meanwhile. Try this change again on what is in use now."
            return page("trial_runs", "Not put to use", problem=problem, again=None), 409
        return back_to("waiting" if outcome.lesson else "knowledge", "saved")


def _matches(door: Door, name: str, words: str) -> bool:
    return not words or words in name.replace("_", " ") or words in _about(door).get(name, "").lower()


def _about(door: Door) -> dict[str, str]:
    """File -> the title of the answer in it."""
    return {
        f"answers/{language}/{topic}.md": answer.title
        for language, answers in door.assistant.knowledge.answers.items()
        for topic, answer in answers.items()
    }


def _diff(before: str, after: str) -> list[tuple[str, str]]:
    """Lines that go and come, each with its sign."""
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=1)
    return [(line[:1], line[1:]) for line in lines if not line.startswith(("---", "+++", "@@"))]
