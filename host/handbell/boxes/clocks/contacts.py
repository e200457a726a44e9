"""Contacts: each time a box's clock was measured, kept to learn the rate of its crystal."""

from __future__ import annotations

from typing import NamedTuple, Protocol, TypeAlias

# A contact as a book keeps it: the fields of Contact in their order.
Row: TypeAlias = tuple[str, int, int, int, int, int, str]


class Contact(NamedTuple):
    """``utc_us`` and ``box_us`` are the same instant, to within ``bound_us``.

    ``boot`` counts the box's starts. ``ahead_us`` is the computer's wall clock minus its
    monotonic one: while it stays the same, it is the same computer and nobody moved its clock.
    ``what`` is the command that made the contact.
    """

    box_id: str
    boot: int
    box_us: int
    utc_us: int
    bound_us: int
    ahead_us: int
    what: str = ""

    @property
    def offset_us(self) -> int:
        """UTC minus the box's own time."""
        return self.utc_us - self.box_us


class Book(Protocol):
    """Where contacts are kept; the store is one. Keeping one twice changes nothing."""

    def add_contact(self, row: Row) -> None:
        """Keep a contact."""
        ...

    def contacts_of(self, box_id: str, since_utc_us: int) -> list[Row]:
        """Return a box's contacts since then, in order of time."""
        ...
