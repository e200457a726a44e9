"""The store: what happened in every class, in a database."""

from .logs.ingest import Ingested, ingest_run
from .opening import open_store
from .store import Store

__all__ = ["Ingested", "Store", "ingest_run", "open_store"]
