"""A prepared server with two halls for tests: what South has, North is not to learn."""

import contextlib
import functools

import classes
from store_places import PASSWORD, prepare, require_server, server

from handbell.store import open_store
from handbell.store.halls.own import Hall
from handbell.store.halls.server import Asked
from handbell.store.people.wearers import set_wearers

NORTH, SOUTH = Hall("00000000000000b1", "North"), Hall("f0000000000000b2", "South")
LOGINS = "ann", "sid", "bea", "overall"  # of North, of South, of both, of all without names
AT_US = (classes.START_UTC_MS + 10 * 86_400_000) * 1000


def login(address: str, name: str) -> str:
    return server().address(address.rsplit("/", 1)[1], name)


def prepared() -> str:
    """Make a store with two halls and no class yet; return its keeper's address."""
    return require_server().new_database(_prepared().rsplit("/", 1)[1])


@functools.cache
def _prepared() -> str:
    address = require_server().new_database()
    with open_store(address):
        pass
    prepare(address, Asked(hall=NORTH, coaches=("ann", "bea"), owners=("overall",)))
    prepare(address, Asked(hall=SOUTH, coaches=("sid", "bea")))
    words = [f"ALTER ROLE {name} PASSWORD '{PASSWORD}'" for name in LOGINS]
    server().run(address.rsplit("/", 1)[1], *words)
    return address


def run_sql(address: str, *words: str) -> None:
    """Do statements as the one who keeps the server."""
    server().run(address.rsplit("/", 1)[1], *words)


def fill(address: str, days: int, names: dict[int, str]) -> None:
    """Take classes in as one login, those of the first days the same for all."""
    with open_store(address) as store:
        for day in range(days):
            start_ms = classes.START_UTC_MS + day * 86_400_000
            for box, data, run in classes.make_class(2, 2, day, start_ms, rounds=1):
                store.put_timeline(data)
                store.ingest(run.journal, box, AT_US)
        set_wearers(store, 1, names)


class Session:
    """A login's own words to the server, and all that it is told: rows, notices, errors."""

    def __init__(self, address: str) -> None:
        import psycopg

        self.conn = psycopg.connect(address.replace("+psycopg", "", 1))
        self.told: list[str] = []
        self.conn.add_notice_handler(lambda notice: self.told.append(notice.message_primary))

    def answers(self, script: str) -> list[object]:
        """Say statements in a transaction that is undone, and return all answers."""
        import psycopg

        self.told = found = []
        try:
            for words in script.split(";;"):
                found.append(self._answer(words.strip()))
        except psycopg.Error as error:
            found.append((error.sqlstate, error.diag.message_primary, error.diag.message_detail))
        with contextlib.suppress(psycopg.Error):
            self.conn.rollback()
        return [*found]

    def _answer(self, words: str) -> object:
        if words.startswith("COPY") and words.endswith("STDOUT"):
            with self.conn.cursor().copy(words) as copy:
                return [bytes(some) for some in copy]
        if words.startswith("COPY"):
            with self.conn.cursor().copy(words) as copy:
                copy.write(b"1\n")
            return None
        cursor = self.conn.execute(words)
        return cursor.fetchall() if cursor.description else cursor.rowcount

    def close(self) -> None:
        self.conn.close()
