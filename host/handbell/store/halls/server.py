"""A server for many halls: prepared by who keeps it, with a hall and its logins."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from sqlalchemy import Connection, select, text

from handbell.base.errors import StoreError, UsageError
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.database.parts import in_hex, lay_out, signed

from . import roles
from .own import Hall

OLDEST = 15  # PostgreSQL's first version in which a view can run as the caller

_PREPARED = text("SELECT to_regprocedure('seen_halls()') IS NOT NULL")
_KEEPS = text(
    "SELECT rolsuper OR rolcreaterole, current_setting('server_version_num')::int / 10000 "
    "FROM pg_roles WHERE rolname = current_user"
)
_TOO_MIGHTY = text(
    "SELECT rolsuper OR rolbypassrls OR rolcreaterole OR rolname = current_user "
    f"OR pg_has_role(rolname, '{roles.OWNS}', 'MEMBER') "
    "OR EXISTS (SELECT FROM pg_database WHERE datname = current_database() "
    "AND datdba = pg_roles.oid) FROM pg_roles WHERE rolname = :login"
)
_NEW = text(
    "SELECT relname FROM pg_class WHERE relrowsecurity = false AND relkind = 'r' "
    "AND relnamespace = 'public'::regnamespace"
)


@dataclass(frozen=True)
class Asked:
    """What a keeper says: a hall, logins that come to it or go, and logins that see all halls."""

    hall: Hall | None = None
    coaches: tuple[str, ...] = ()
    owners: tuple[str, ...] = ()
    without: tuple[str, ...] = ()


@dataclass
class Script:
    """Statements that are done in a transaction, and kept to be shown."""

    conn: Connection
    said: list[str] = field(default_factory=list)

    def do(self, some: Iterable[str]) -> None:
        """Do statements one by one."""
        for words in some:
            self.conn.execute(text(words))
            self.said.append(words)


def is_prepared(conn: Connection) -> bool:
    """Whether a store is on a server that was prepared for many halls."""
    return conn.dialect.name == "postgresql" and bool(conn.scalar(_PREPARED))


@contextmanager
def changing_tables(conn: Connection) -> Iterator[None]:
    """Let tables be changed within; on a prepared server all is done to new ones afterwards."""
    prepared = is_prepared(conn)
    if prepared:
        Script(conn).do(roles.no_views())
    yield
    lay_out(conn)
    if prepared:
        _secure(Script(conn))


def hall_by_hall(conn: Connection, work: Callable[[], None]) -> None:
    """Do work for each hall as if there were no other; once where a store has no halls."""
    if not is_prepared(conn):
        work()
        return
    conn.execute(text(f"SET LOCAL ROLE {roles.OWNS}"))  # for whom the policies hold
    for number in conn.scalars(text("SELECT number FROM server_halls ORDER BY number")).all():
        say_hall(conn, number)
        work()
    conn.execute(text("SET LOCAL handbell.hall = ''"))
    conn.execute(text("RESET ROLE"))


def say_hall(conn: Connection, number: int) -> None:
    """Be in one hall until the transaction ends."""
    conn.execute(text("SELECT set_config('handbell.hall', :n, true)"), {"n": str(number)})


def require_keeper(conn: Connection) -> None:
    """Raise StoreError unless this login may prepare the server."""
    may, version = conn.execute(_KEEPS).one()
    if version < OLDEST:
        raise StoreError(
            f"The server is PostgreSQL {version}, too old for many halls",
            f"It needs PostgreSQL {OLDEST} or newer",
        )
    if not may:
        raise StoreError(
            "This login may not make roles, so it can't prepare a server",
            "Take the login of whoever keeps the server",
        )


def prepare(store: Database, asked: Asked, dry_run: bool) -> list[str]:
    """Prepare a server and do what is asked, in one transaction; return the statements.

    All of it may be done again. With ``dry_run`` it is undone. Raises StoreError and UsageError.
    """
    with store.writing() as conn:
        first = not is_prepared(conn)
        script = Script(conn)
        script.do(roles.roles())
        script.do(roles.members())
        if asked.hall is not None:
            _add_hall(script, asked.hall)
        if first:
            _take_over(script, asked.hall)
        _secure(script)
        _members(script, asked)
        if dry_run:
            conn.rollback()
    return script.said


def _secure(script: Script) -> None:
    new = set(script.conn.scalars(_NEW))
    for table in tables.metadata.sorted_tables:
        script.do(roles.secured(table, table.name in new))
    script.do(roles.views())


def _add_hall(script: Script, hall: Hall) -> None:
    number, name = signed(hall.number), _quoted(script.conn, hall.name)
    script.do(
        [
            f"INSERT INTO server_halls VALUES ({number}, {name}) "
            f"ON CONFLICT (number) DO UPDATE SET name = coalesce(NULLIF(EXCLUDED.name, ''), "
            "server_halls.name)"
        ]
    )
    script.do(roles.numbers(hall.number))


def _take_over(script: Script, hall: Hall | None) -> None:
    """Give the rows that are there to a hall; an empty server needs none."""
    there = (script.conn.execute(select(t).limit(1)).first() for t in tables.metadata.sorted_tables)
    if not any(row is not None for row in there):
        return
    if hall is None:
        raise UsageError(
            "The store has classes already, and it is not said of which hall",
            "Say it: handbell store server --hall FILE, with the file that handbell hall --share "
            "wrote on a computer of that hall",
        )
    script.do(roles.taken_over(signed(hall.number), hall.number))


def _members(script: Script, asked: Asked) -> None:
    if (asked.coaches or asked.without) and asked.hall is None:
        raise UsageError("It is not said of which hall", "Add --hall FILE, or the hall's number")
    hall = 0 if asked.hall is None else signed(asked.hall.number)
    for login in (*asked.coaches, *asked.owners):
        _login(script, login)
    for login in asked.coaches:
        script.do(
            [
                f"GRANT {roles.COACH} TO {_name(script.conn, login)}",
                f"INSERT INTO server_members VALUES ({hall}, {_quoted(script.conn, login)}) "
                "ON CONFLICT DO NOTHING",
            ]
        )
    for login in asked.owners:
        _owner(script, login)
    for login in asked.without:
        script.do(
            [
                f"DELETE FROM server_members WHERE hall = {hall} "
                f"AND login = {_quoted(script.conn, login)}"
            ]
        )


def _login(script: Script, login: str) -> None:
    mighty = script.conn.scalar(_TOO_MIGHTY, {"login": login})
    if mighty:
        raise UsageError(
            f"The login {login} may see or change all halls by itself, whatever is said here",
            "Name a login that owns nothing and may make no roles",
        )
    name = _name(script.conn, login)
    if mighty is None:
        script.do([f"CREATE ROLE {name} LOGIN"])
    database = _name(script.conn, script.conn.engine.url.database or "")
    script.do([f"GRANT CONNECT ON DATABASE {database} TO {name}"])


def _owner(script: Script, login: str) -> None:
    name = _name(script.conn, login)
    database = _name(script.conn, script.conn.engine.url.database or "")
    coach = f"SELECT pg_has_role({_quoted(script.conn, login)}, '{roles.COACH}', 'MEMBER')"
    if script.conn.scalar(text(coach)):
        raise UsageError(
            f"The login {login} is a coach's, which sees names",
            "Name another login for who sees all halls",
        )
    script.do(
        [
            f"GRANT {roles.OWNER} TO {name}",
            f"ALTER ROLE {name} IN DATABASE {database} SET search_path = {roles.NAMELESS}, public",
        ]
    )


def halls_there(conn: Connection) -> list[tuple[Hall, list[str]]]:
    """Return the halls of a prepared server, each with its logins, as its keeper sees them."""
    words = (
        "SELECT number, name, array_remove(array_agg(login ORDER BY login), NULL) "
        "FROM server_halls LEFT JOIN server_members ON hall = number "
        "GROUP BY number, name ORDER BY name, number"
    )
    return [(Hall(in_hex(n), name), list(logins)) for n, name, logins in conn.execute(text(words))]


def _name(conn: Connection, name: str) -> str:
    return str(conn.dialect.identifier_preparer.quote_identifier(name))


def _quoted(conn: Connection, words: str) -> str:
    return str(conn.scalar(text("SELECT quote_literal(:words)"), {"words": words}))
