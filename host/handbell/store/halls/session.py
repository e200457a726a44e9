"""In which hall a session on a prepared server is, among those that its login may use."""

from __future__ import annotations

from typing import Any

from sqlalchemy import URL, Connection, event, text

from handbell.base.errors import StoreError
from handbell.base.words import listed
from handbell.store.database.connect import HALL as IN_ADDRESS
from handbell.store.database.connect import name_of
from handbell.store.database.database import Database
from handbell.store.database.parts import in_hex, signed

from . import roles
from .own import called, own_hall

_KEEPER = text(
    "SELECT rolsuper OR rolbypassrls OR "
    f"pg_has_role(rolname, '{roles.OWNS}', 'MEMBER') FROM pg_roles WHERE rolname = session_user"
)


def require_login(conn: Connection, address: URL) -> None:
    """Raise StoreError for a login that sees the rows of all halls as if they were of one."""
    if conn.scalar(_KEEPER):
        raise StoreError(
            f"This login keeps the server of {name_of(address)}, whose store has many halls",
            "Take a coach's login; handbell store server brings the tables up to date and says who "
            "is of which hall",
        )


def enter(store: Database, said: str, every: bool = False) -> None:
    """Have a store's sessions be in one hall; ``every`` leaves that to whoever goes through them.

    ``said`` is a hall's name or how its number begins. Without it it is the hall of this computer,
    or the only one of this login. Raises StoreError.
    """
    with store.engine.connect() as conn:
        require_login(conn, store.engine.url)
        rows = conn.execute(text("SELECT number, name FROM named_halls() ORDER BY name, number"))
        store.halls = {in_hex(row.number): row.name for row in rows}
    if every and not said:
        return
    chosen = _chosen(store, said)
    store.halls = {chosen: store.halls[chosen]}
    number = str(signed(chosen))

    def be_there(connection: Any, _record: object) -> None:
        connection.execute("SELECT set_config('handbell.hall', %s, false)", (number,))
        connection.commit()

    event.listen(store.engine, "connect", be_there)
    store.engine.dispose()  # what was connected before is in no hall


def _chosen(store: Database, said: str) -> str:
    halls, place = store.halls, name_of(store.engine.url)
    if not halls:
        raise StoreError(
            f"This login is of no hall of {place}",
            "Ask whoever keeps the server: handbell store server --hall FILE --coach LOGIN",
        )
    if said:
        named = [number for number, name in halls.items() if name.casefold() == said.casefold()]
        found = named or [number for number in halls if number.startswith(said.lower())]
    else:
        mine = own_hall() if len(halls) > 1 else None
        found = [number for number in halls if mine is not None and number == mine.number]
        found = found or list(halls)
    if len(found) == 1:
        return found[0]
    what = f"no hall {said!r} is there for this login" if not found else "it is not said which hall"
    there = listed(called(*hall) for hall in halls.items())
    raise StoreError(
        f"In the store {place} {what}",
        f"There {'is' if len(halls) == 1 else 'are'} {there}: add "
        f"'?{IN_ADDRESS}=...' to the store's address, in quotes",
    )
