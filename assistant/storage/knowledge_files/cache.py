"""Keeps prepared knowledge and fitted topic models in the home folder, named by what they were made from.

The knowledge is pickled: the folder is the program's own, as trusted as the database beside it, and a file that other
users could have written is not read.
"""

from __future__ import annotations

import contextlib
import json
import os
import pickle
import stat
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from assistant.domain.knowledge import Knowledge
from assistant.domain.understanding.model import TopicModel

FORMAT = 1


def load_knowledge(folder: Path, stamp: str) -> Knowledge | None:
    """Prepared knowledge (without models) made from files of exactly this stamp, or None."""
    path = _path(folder, "knowledge", stamp)
    try:
        if not _only_ours(path):
            return None
        kept = pickle.loads(path.read_bytes())  # noqa: S301 - written by us into our own folder, see above
    except (OSError, pickle.PickleError, AttributeError, EOFError, ImportError, IndexError, TypeError):
        return None
    return kept if isinstance(kept, Knowledge) else None


def save_knowledge(folder: Path, knowledge: Knowledge) -> None:
    """Keep prepared knowledge without its models."""
    _write(folder, "knowledge", knowledge.stamp, lambda file: pickle.dump(knowledge, file, protocol=5))


def load_models(folder: Path, stamp: str) -> dict[str, TopicModel] | None:
    """The models fitted from exactly these phrasings, or None."""
    try:
        with np.load(_path(folder, "topics", stamp), allow_pickle=False) as kept:
            languages = json.loads(str(kept["languages"]))
            return {code: TopicModel.from_arrays({name: kept[f"{code}/{name}"] for name in TopicModel.ARRAYS})
                    for code in languages}  # fmt: skip
    except (OSError, KeyError, ValueError):
        return None


def save_models(folder: Path, stamp: str, models: Mapping[str, TopicModel]) -> None:
    """Keep fitted models."""
    arrays: dict[str, Any] = {"languages": np.array(json.dumps(sorted(models)))}
    for code, model in models.items():
        arrays |= {f"{code}/{name}": array for name, array in model.to_arrays().items()}
    _write(folder, "topics", stamp, lambda file: np.savez(file, **arrays))


def _write(folder: Path, kind: str, stamp: str, write: Callable[[BinaryIO], None]) -> None:
    """Whole or not at all; a folder that can't be written only costs the next start the work again."""
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=folder, suffix=".part")
        with os.fdopen(handle, "wb") as file:
            write(file)
        Path(name).replace(_path(folder, kind, stamp))
        for old in folder.glob(f"{kind}-*"):
            if old != _path(folder, kind, stamp):
                old.unlink(missing_ok=True)


def _only_ours(path: Path) -> bool:
    found = path.stat()
    mine = not hasattr(os, "getuid") or found.st_uid == os.getuid()
    return mine and not found.st_mode & (stat.S_IWGRP | stat.S_IWOTH)


def _path(folder: Path, kind: str, stamp: str) -> Path:
    return folder / f"{kind}-{stamp}-{FORMAT}"
