"""Who wore which bib in a store, by name, and names put in past the check."""

from sqlalchemy import insert, select

from handbell.store.database import tables
from handbell.store.people.people import People, hall_of_class


def worn_names(store):
    """Return each class, bib and name."""
    w = tables.wearers
    with store.reading() as conn:
        people = People(conn)
        rows = conn.execute(select(w).order_by(w.c.class_id, w.c.bib)).all()
        return [(row.class_id, row.bib, people.label(row.person)) for row in rows]


def wear(conn, class_id, bib, name):
    """Put a name into a class past the check, as earlier versions took it."""
    person = People(conn).meant(name, hall_of_class(conn, class_id))
    row = {"class_id": class_id, "bib": bib, "person": person, "absent": False}
    conn.execute(insert(tables.wearers), row)
