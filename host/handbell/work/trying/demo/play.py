"""The demo: a whole class on virtual boxes, from the plan file to the report."""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError

from .people import PEOPLE

if TYPE_CHECKING:
    from handbell.boxes.classes.send import Load
    from handbell.boxes.clocks.clock import Clocks
    from handbell.store import Store
    from handbell.virtual.athletes import Athlete, Truth
    from handbell.virtual.world import World

CRYSTALS_PPM = (-12, 6, 18, -4)
CONTACTS, CONTACT_EVERY_US = 7, 300_000_000  # of the calibration: half an hour
TAIL_US = 90_000_000


@dataclass(frozen=True)
class Counted:
    """One bib: presses made, taps in the store; reps done, in the store and in the report."""

    bib: int
    pressed: int
    tapped: int
    did: int
    stored: int
    reported: int
    rating: int | None


@dataclass(frozen=True)
class BellsApart:
    """By how much the first and the last bell were apart between the boxes."""

    first_us: int
    last_us: int


@dataclass(frozen=True)
class DemoDone:
    """What the demo did and wrote; ``steps`` are its sentences."""

    people: tuple[Counted, ...]
    steps: tuple[str, ...]
    skew: BellsApart
    report: Path
    screen: Path
    seconds: float


@dataclass
class Demo:
    """What the steps of the demo share."""

    out: Path
    tell: Callable[[str], None]
    said: list[str] = field(default_factory=list)
    skew: BellsApart = BellsApart(0, 0)

    def say(self, text: str) -> None:
        """Tell a step, and keep what was told."""
        self.said.append(text)
        self.tell(text)


def plan_path() -> Path:
    """Return the demo's plan file: a checkout's own, else the copy that was installed."""
    here = Path(__file__).resolve()
    checkout = here.parents[5] / "docs" / "examples" / "harbour.toml"
    return checkout if checkout.exists() else here.parents[3] / "virtual" / "harbour.toml"


def play(out: Path, tell: Callable[[str], None]) -> DemoDone:
    """Fill the folder ``out`` with a class; raises HandbellError when any step fails.

    ``tell`` is given a sentence after each step.
    """
    from handbell.boxes.classes.send import Load
    from handbell.boxes.clocks.clock import Clocks
    from handbell.compile import build
    from handbell.plan.files import load_plan
    from handbell.store import open_store
    from handbell.virtual.world import World

    from .folder import make_ready, seal

    began = time.monotonic()
    out = out.resolve()
    _require_parts()
    plan = load_plan(plan_path())
    built = build(plan)
    make_ready(out)
    demo = Demo(out, tell)
    totals = built.totals
    demo.say(
        f"Plan   {plan.title}: {totals.windows} windows on {totals.boxes} boxes, "
        f"{totals.slot_ms // 60_000} min {totals.slot_ms // 1000 % 60} s in all"
    )
    loads = [
        Load(t.station, t.label, t.digest.hex(), t.data, built.buttons) for t in built.timelines
    ]
    with World(out / "boxes") as world, open_store(str(out / "store.sqlite")) as store:
        store.put_plan(plan.source, plan.title)
        for load in loads:
            store.put_timeline(load.data)
        start_utc_us = _load_boxes(demo, world, loads, built.buttons, Clocks(store))
        truths = _play(demo, world, loads, start_utc_us, totals.slot_ms)
        _collect(demo, world, store)
        people = _report(demo, store, truths)
    seal(out)
    return DemoDone(
        people,
        tuple(demo.said),
        demo.skew,
        out / "report.html",
        out / "screen.png",
        round(time.monotonic() - began, 1),
    )


def _require_parts() -> None:
    """Raise HandbellError when something is not installed that the demo needs."""
    from handbell.virtual.process import find_micropython

    find_micropython()
    if importlib.util.find_spec("PIL") is None:
        raise HandbellError(
            "The demo needs Pillow to draw a box's screen, which is not here",
            "Install it: pip install pillow",
        )


def _load_boxes(demo: Demo, world: World, loads: list[Load], buttons: int, clocks: Clocks) -> int:
    """Start the boxes, send, calibrate and arm; return the class start in UTC us."""
    from handbell.boxes.classes.arm import arm, survey
    from handbell.boxes.classes.loaded import LoadedClass
    from handbell.boxes.classes.send import send
    from handbell.boxes.classes.stations import StationMap
    from handbell.boxes.link.fleet import Fleet
    from handbell.virtual.box import BoxSpec

    for n, load in enumerate(loads):
        spec = BoxSpec(
            name=f"box{load.station}",
            unique_id=bytes([0xDE, 0x30, 0, 0, 0, 0, 0, load.station]),
            flash=demo.out / "boxes" / f"box{load.station}.flash",
            buttons=buttons,
            ppm=CRYSTALS_PPM[n % len(CRYSTALS_PPM)],
            tick_origin=(1 << 30) - 400_000_000 * (n % 3),
        )
        world.add_box(spec)
    demo.say(f"Boxes  {len(world.boxes)} started, the real firmware in each")
    stations = StationMap(demo.out / "stations.json")
    with Fleet([box.url for box in world.boxes], world.clock) as fleet:
        for load, box in zip(loads, fleet.connections, strict=True):
            stations.place(load.station, box.who.id)
        outcomes = send(fleet, loads, stations)
        for outcome in outcomes:
            if outcome.error is not None:
                raise outcome.error
    sent = [o.value for o in outcomes if o.value is not None]
    worst_us = max(s.sync.bound_us for s in sent if s.sync is not None)
    demo.say(
        f"Send   {sum(s.size for s in sent)} bytes, every digest right; "
        f"clocks within {worst_us / 1000:.2f} ms"
    )
    _calibrate(demo, world, clocks)
    loaded = LoadedClass.of(
        "demo",
        {load.station: load.digest for load in loads},
        {n: place.box for n, place in stations.stations.items()},
    )
    start_utc_ms = (world.clock.utc_us() // 1_000_000 + 20) * 1000
    with Fleet([box.url for box in world.boxes], world.clock) as fleet:
        arm(fleet, survey(fleet, loaded, clocks), loaded, start_utc_ms)
    demo.say(f"Arm    all {len(loads)} boxes, for one instant; then unplugged")
    return start_utc_ms * 1000


def _calibrate(demo: Demo, world: World, clocks: Clocks) -> None:
    """Measure the clocks for half an hour, as ``boxes --calibrate 30`` would; arming gives rates.

    The boxes are unplugged between: time can't jump while a program has a port open.
    """
    from handbell.boxes.link.fleet import Fleet

    for n in range(CONTACTS):
        if n:
            world.run_for(CONTACT_EVERY_US)
        with Fleet([box.url for box in world.boxes], world.clock) as fleet:
            for outcome in fleet.each(lambda c: clocks.contact(c, "calibrate")):
                if outcome.error is not None:
                    raise outcome.error
    now_us = world.clock.utc_us()
    found = [clocks.estimate(box.spec.unique_id.hex(), now_us).rate for box in world.boxes]
    known = [rate.bound_ppb for rate in found if rate is not None]
    if len(known) < len(found):
        raise HandbellError("The rate of a box's crystal was not learnt")
    minutes = (CONTACTS - 1) * CONTACT_EVERY_US // 60_000_000
    demo.say(f"Watch  the clocks for {minutes} min: rates within {max(known) / 1000:.2f} ppm")


def _play(
    demo: Demo, world: World, loads: list[Load], start_utc_us: int, slot_ms: int
) -> list[Truth]:
    """Let the athletes press through the class at high speed; return what they did."""
    from handbell.virtual.athletes import Athlete, Floor

    people: list[Athlete] = [Athlete(bib, **traits) for bib, _, traits in PEOPLE]
    start_us = start_utc_us - world.clock.start_utc_us
    truths = []
    for load, box in zip(loads, world.boxes, strict=True):
        truth = Floor(load.data, people, seed=load.station).play()
        box.unplug()
        box.edges(
            (start_us + int(class_ms * 1000), slot, 0 if closed else 1)
            for class_ms, slot, closed in truth.edges
        )
        truths.append(truth)
    began = time.monotonic()
    middle_us = start_us + _picture_ms(loads[0].data) * 1000
    world.run_to(middle_us)
    world.boxes[0].screen.png(demo.out / "screen.png")
    world.run_to(start_us + slot_ms * 1000 + TAIL_US)
    seconds = max(0.1, time.monotonic() - began)
    taps = sum(sum(t.taps.values()) for t in truths)
    demo.say(
        f"Class  {slot_ms // 60_000} min in {seconds:.1f} s: {taps} taps, "
        f"{sum(t.take_backs for t in truths)} taken back"
    )
    bells = [box.sound.bells() for box in world.boxes]
    first = [next(us for us in b if us >= start_us - 100_000) for b in bells]
    last = [b[-1] for b in bells]
    demo.skew = BellsApart(max(first) - min(first), max(last) - min(last))
    demo.say(
        f"Skew   first bell {demo.skew.first_us / 1000:.2f} ms between boxes, "
        f"last {demo.skew.last_us / 1000:.2f} ms"
    )
    for box in world.boxes:
        box.plug_in()
    return truths


def _picture_ms(data: bytes) -> int:
    """Return a moment in the middle of a target window, for the picture."""
    import io

    from handbell_core import timeline as tl

    reader = tl.Reader(io.BytesIO(data))
    for index in range(reader.head.spans):
        span = reader.span(index, tl.Span())
        if span.ask == tl.ASK_TARGET and span.tap == tl.TAP_EACH and span.round == 2:
            return span.start_ms + 9_400
    return reader.head.slot_ms // 2


def _collect(demo: Demo, world: World, store: Store) -> None:
    from handbell.boxes.classes.collect import collect
    from handbell.boxes.link.fleet import Fleet

    with Fleet([box.url for box in world.boxes], world.clock) as fleet:
        outcomes = collect(fleet, store)
    notes: list[str] = []
    for outcome in outcomes:
        if outcome.error is not None:
            raise outcome.error
        if outcome.value is not None:
            notes += outcome.value.notes
    if notes:
        raise HandbellError(f"The boxes and the host count differently: {notes[0]}")
    runs = sum(len(o.value.runs) for o in outcomes if o.value is not None)
    demo.say(f"Collect {runs} logs, safe in the store, then erased on the boxes")


def _report(demo: Demo, store: Store, truths: list[Truth]) -> tuple[Counted, ...]:
    """Name the bibs, write the page, and compare it with what the athletes did, bib by bib."""
    from handbell.report import class_report
    from handbell.report.page import write_page
    from handbell.store.classes.newest import newest
    from handbell.store.people.wearers import set_wearers
    from handbell.store.results.totals import totals_of

    set_wearers(store, newest(store)[0], {bib: name for bib, name, _ in PEOPLE})
    report = class_report(store)
    write_page(report, demo.out / "report.html")
    shown = {person.bib: person for person in report.people}
    rows = []
    for truth in truths:
        for bib in sorted(truth.taps):
            did = sum(n for (b, _), n in truth.reps.items() if b == bib)
            tapped, stored = totals_of(store, bib)
            reps, rating = shown[bib].reps, shown[bib].rating
            row = Counted(bib, truth.taps[bib], tapped, did, stored, reps, rating)
            if row.pressed != tapped or len({did, stored, reps}) != 1:
                raise HandbellError(f"Bib {bib} was not counted right: {row}")
            if rating != truth.ratings.get(bib):
                raise HandbellError(f"Bib {bib} was rated wrongly: {row}")
            rows.append(row)
    demo.say(f"Report {sum(row.did for row in rows)} reps of {len(rows)} people, all as pressed")
    return tuple(rows)
