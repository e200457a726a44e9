"""A server for many halls: prepared, halls and logins added, tables brought up to date."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import StoreError, UsageError
from handbell.store import Store
from handbell.store.database import tables
from handbell.store.database.connect import address_of, engine_at, file_of, name_of
from handbell.store.database.version import stored_version
from handbell.store.halls import server
from handbell.store.halls.own import Hall, is_number, read_hall


@dataclass(frozen=True)
class HallOfServer:
    """A hall of a server, with the logins of its coaches."""

    number: str
    name: str
    coaches: tuple[str, ...]


@dataclass(frozen=True)
class ServerTold:
    """A server as it is prepared now; with ``dry_run`` as it was, ``statements`` would be done."""

    store: str
    dry_run: bool
    halls: tuple[HallOfServer, ...]
    statements: tuple[str, ...]


def prepare_server(
    hall: str | None = None,
    coaches: tuple[str, ...] = (),
    owners: tuple[str, ...] = (),
    without: tuple[str, ...] = (),
    dry_run: bool = False,
    store_at: str | None = None,
) -> ServerTold:
    """Prepare a server for many halls, and say who is of which; twice changes nothing.

    ``hall`` is a file that ``handbell hall --share`` wrote, or a hall's number. Raises UsageError,
    and StoreError for a file, or a login that may not prepare a server.
    """
    address = address_of(store_at)
    if file_of(address) is not None or address.get_backend_name() == "sqlite":
        raise UsageError(
            f"{name_of(address)} is a file, not a server",
            "Give the server's address: --store postgresql://keeper@host/name",
        )
    asked = server.Asked(_hall(hall), coaches, owners, without)
    with Store(engine_at(address)) as store:
        _bring_up(store, dry_run)
        said = server.prepare(store, asked, dry_run)
        with store.reading() as conn:
            there = server.halls_there(conn) if server.is_prepared(conn) else []
    halls = (HallOfServer(one.number, one.name, tuple(logins)) for one, logins in there)
    return ServerTold(name_of(address), dry_run, tuple(halls), tuple(said))


def _hall(said: str | None) -> Hall | None:
    if said is None:
        return None
    try:
        return read_hall(Path(said))
    except FileNotFoundError:
        if is_number(said):
            return Hall(said)
        raise UsageError(
            f"{said} is no file and no hall's number",
            "Name the file that handbell hall --share wrote on a computer of the hall",
        ) from None


def _bring_up(store: Store, dry_run: bool) -> None:
    from handbell.store.migrate import migrate  # alembic is loaded only here

    with store.reading() as conn:
        server.require_keeper(conn)
        version = stored_version(conn)
    if version is not None and version > tables.VERSION:
        raise StoreError(
            f"The store {store.name} was written by a newer handbell", "Update this program first"
        )
    if version != tables.VERSION and dry_run:
        raise UsageError(
            "Its tables are to be built or brought up to date first",
            "Leave --dry-run out, or do that alone: handbell store server",
        )
    if version != tables.VERSION:
        migrate(store)
