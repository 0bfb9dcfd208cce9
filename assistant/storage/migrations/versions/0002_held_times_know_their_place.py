"""held times know their place

There is no way back but the backup taken before it.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Take the step."""
    op.add_column("holds", sa.Column("place", sa.Text(), server_default="", nullable=False))
