"""The store: what happened in every class, in a database."""

from .logs.ingest import Ingested, ingest_run
from .store import Store, open_store

__all__ = ["Ingested", "Store", "ingest_run", "open_store"]
