"""Keeps fitted topic models beside the data, named by what they were fitted from. Plain arrays, no pickles."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from assistant.domain.understanding.model import TopicModel


def load_models(folder: Path, stamp: str) -> dict[str, TopicModel] | None:
    """The models fitted from exactly this knowledge, or None."""
    path = _path(folder, stamp)
    try:
        with np.load(path, allow_pickle=False) as kept:
            languages = json.loads(str(kept["languages"]))
            return {code: TopicModel.from_arrays({name: kept[f"{code}/{name}"] for name in TopicModel.ARRAYS})
                    for code in languages}  # fmt: skip
    except (OSError, KeyError, ValueError):
        return None


def save_models(folder: Path, stamp: str, models: Mapping[str, TopicModel]) -> None:
    """Write whole or not at all; a folder that can't be written only costs the next start a new fit."""
    arrays = {f"{code}/{name}": array for code, model in models.items() for name, array in model.to_arrays().items()}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=folder, suffix=".part")
        with os.fdopen(handle, "wb") as file:
            np.savez(file, languages=json.dumps(sorted(models)), **arrays)  # type: ignore[arg-type]
        Path(name).replace(_path(folder, stamp))
        for old in folder.glob("topics-*.npz"):
            if old != _path(folder, stamp):
                old.unlink(missing_ok=True)
    except OSError:
        return


def _path(folder: Path, stamp: str) -> Path:
    return folder / f"topics-{stamp}.npz"
