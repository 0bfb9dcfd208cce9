"""business.toml, edited on a page: read with the same eyes as at the start, and refused whole when anything is wrong."""

from __future__ import annotations

import hashlib
import os
import tempfile
from datetime import datetime
from pathlib import Path

from assistant.assembly import Assistant
from assistant.storage import audit, businesses
from assistant.storage.business_file import read_business


def business_text(app: Assistant) -> str:
    """The file as it stands."""
    return app.settings.business_file.read_text(encoding="utf-8")


def mark(text: str) -> str:
    """Tells one state of the file from another."""
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def save_business(app: Assistant, text: str, made_from: str, who: str, now: datetime) -> bool:
    """Check, write and use it; False when somebody else saved meanwhile. Raises KnowledgeError with every problem."""
    text = text if text.endswith("\n") else text + "\n"
    with tempfile.TemporaryDirectory(prefix="aftercare-") as folder:
        trial = Path(folder) / app.settings.business_file.name
        trial.write_text(text, encoding="utf-8")
        business = read_business(trial, app.business.id)
    if mark(business_text(app)) != made_from:
        return False
    part = app.settings.business_file.with_name("business.toml.part")
    part.write_text(text, encoding="utf-8")
    os.replace(part, app.settings.business_file)
    businesses.register(app.database, business, now)
    app.business = business
    with app.database.transaction(business.id) as tx:
        audit.note(tx, now, who, "changed the business file")
    return True
