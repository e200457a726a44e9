"""Opening a store: found or made, looked at, and brought up to date."""

from __future__ import annotations

from sqlalchemy import URL, inspect

from handbell.base.errors import StoreError

from .database import tables
from .database.connect import HALL, address_of, engine_at, file_of, make_file, plainly
from .database.look import ELSEWHERE, TABLES, NoStoreError, is_store, may_write
from .database.version import stored_version
from .halls import server, session
from .store import Store


def open_store(url: str | None = None, *, make: bool = True, every_hall: bool = False) -> Store:
    """Open a store by address or file path, and bring its tables up to date.

    Without ``url``, the address in HANDBELL_STORE or a file in the user's data folder. Where
    nothing is there yet it is made, or refused without ``make``. What may not be written can be
    read. On a server for many halls it is the store of one; ``every_hall`` is for who goes through
    them. Raises StoreError when it can't be opened, is something else, or a newer program's.
    """
    address = address_of(url)
    path = file_of(address)
    reading = None
    if path is not None:
        if is_store(path):
            reading = None if may_write(path) else path
        elif make:
            make_file(path)
        else:
            raise NoStoreError(
                f"There is no store {path} yet",
                "handbell collect or handbell roster FILE makes one; or name another with --store",
            )
    store = Store(engine_at(address, reading))
    try:
        with plainly(store.engine.url):
            _bring_up_to_date(store, reading is not None)
            _enter_hall(store, address, every_hall)
    except BaseException:
        store.close()
        raise
    return store


def _bring_up_to_date(store: Store, reading: bool) -> None:
    with store.engine.connect() as conn:
        # Names first: another program that builds the tables meanwhile is not taken for a stranger.
        found = inspect(conn)
        names = {*found.get_table_names(), *found.get_view_names()}  # an owner's login has views
        if names and not names >= TABLES:
            raise StoreError(f"{store.name} is a database of something else", ELSEWHERE)
        version = stored_version(conn)
        prepared = server.is_prepared(conn)
        if prepared:
            session.require_login(conn, store.engine.url)
    if version == tables.VERSION:
        return
    if version is not None and version > tables.VERSION:
        raise StoreError(
            f"The store {store.name} was written by a newer handbell (its version {version}, "
            f"here {tables.VERSION})",
            "Update this program, or give another store with --store",
        )
    if reading:
        raise StoreError(
            f"The store {store.name} is of an older handbell and may not be written, so it can't "
            "be brought up to date",
            "Copy it to where you may write, and give the copy with --store",
        )
    if prepared:
        raise StoreError(
            f"The store {store.name} is of an older handbell (its version {version}, here "
            f"{tables.VERSION}), and this login may not change its tables",
            "Ask whoever keeps the server: handbell store server brings it up to date",
        )
    from .migrate import migrate  # alembic is loaded only here

    migrate(store)


def _enter_hall(store: Store, address: URL, every: bool) -> None:
    said = address.query.get(HALL, "")
    said = said if isinstance(said, str) else said[-1]
    with store.engine.connect() as conn:
        prepared = server.is_prepared(conn)
    if prepared:
        session.enter(store, said, every)
    elif said:
        raise StoreError(
            f"The store {store.name} has no halls of its own",
            f"Leave {HALL}= out of its address; on a server handbell store server makes them",
        )
