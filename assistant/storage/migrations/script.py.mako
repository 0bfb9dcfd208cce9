"""${message}

There is no way back but the backup taken before it.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from assistant.storage.tables.columns import Exact, Moment

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = ${repr(branch_labels)}
depends_on = ${repr(depends_on)}


def upgrade() -> None:
    """Take the step."""
    ${upgrades if upgrades else "pass"}
