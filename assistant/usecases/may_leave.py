"""Asked right before a text of ours is handed over: is it still true, still agreed to, not too soon, at a fit hour?"""

from __future__ import annotations

from datetime import datetime

from assistant.assembly import Assistant
from assistant.domain import nudge_plan
from assistant.domain.consent import MARKETING, NUDGE, Drop, Go, Wait, may_send
from assistant.domain.conversation.situation import Situation
from assistant.domain.nudge_values import Outlook
from assistant.storage import outbox
from assistant.storage.database import Transaction
from assistant.usecases.plan_nudges import outlook_for, think_again


def may_leave(
    app: Assistant, tx: Transaction, text: outbox.Queued, situation: Situation, now: datetime
) -> Go | Wait | Drop:
    """Go, wait or drop. What else a dropped nudge had to tell is thought of anew at once."""
    if not text.kind.startswith(NUDGE) and text.consent != MARKETING:
        return may_send(text, situation, app.knowledge, now)
    view = outlook_for(app, tx, situation, now)
    why = nudge_plan.untrue(text.data.get("occasions", ()), view)
    verdict = Drop(why) if why else may_send(text, situation, app.knowledge, now, _earlier(app, text, view))
    if isinstance(verdict, Drop):
        think_again(tx, text.data.get("vessel_ids", ()), now)
    return verdict


def _earlier(app: Assistant, text: outbox.Queued, view: Outlook) -> list[datetime]:
    """When the other texts left that this one must keep its distance from."""
    if not nudge_plan.counts(text.kind, text.consent, app.knowledge):
        return []
    left = [one for one in view.earlier if one.outbox_id != text.id and not one.waits]
    return [one.at for one in left if nudge_plan.counts(one.kind, one.consent, app.knowledge)]
