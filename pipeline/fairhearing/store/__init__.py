"""The store: one DuckDB file with sessions, measurements, trials and results."""

from fairhearing.store.connection import Store, open_store

__all__ = ["Store", "open_store"]
