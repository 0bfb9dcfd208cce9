"""Reads the folder knowledge/ (CSV tables, Markdown texts) into one checked value."""

from assistant.storage.knowledge_files.reader import read_knowledge, read_without_model, with_models

__all__ = ["read_knowledge", "read_without_model", "with_models"]
