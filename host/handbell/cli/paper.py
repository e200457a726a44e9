"""``cards`` and ``rehearse``: a plan on paper, and its bells to listen to."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, UsageError
from handbell.base.times import clock
from handbell.cli.plans import CAUTION, compiled, library_argument
from handbell.cli.render import Result

if TYPE_CHECKING:
    from rich.console import Console

    from handbell.compile import CompiledClass

HOW_TO_PRINT = (
    "Open the pages in any browser and print them: {paper}, scale 100 %, no headers, with "
    "backgrounds. Cards lie on their side."
)


# cards


def cards_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``cards``."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")
    parser.add_argument(
        "--out", type=Path, metavar="FOLDER", help="where to (default: PLAN-cards, here)"
    )
    parser.add_argument("--size", choices=("a4", "letter"), default="a4", help="of the paper")
    parser.add_argument(
        "--pdf", action="store_true", help="PDF files too, if a browser is found that prints them"
    )
    library_argument(parser)
    parser.epilog = (
        "examples:\n"
        "  handbell cards monday.toml\n"
        "  handbell cards monday.toml --size letter --pdf --out print"
    )


def cards_run(args: argparse.Namespace) -> Result:
    """Write station cards and a timetable, as pages to print."""
    from handbell.base.files import whole_file
    from handbell.coach.library.shelf import load_library
    from handbell.paper.layout import PAPERS
    from handbell.paper.page import cards_page, timetable_page
    from handbell.paper.printing import find_browser, print_pdf

    built, library = compiled(args.plan), load_library(args.library)
    paper = PAPERS[args.size]
    folder: Path = args.out or Path(f"{args.plan.stem}-cards")
    cards, count = cards_page(built, library, paper)
    table, made = timetable_page(built, library, paper, CAUTION)
    paths = [folder / "cards.html", folder / "timetable.html"]
    for path, page in zip(paths, (cards, table), strict=True):
        with whole_file(path, own_sort=True) as file:
            file.write(page.encode("utf-8"))
    browser = find_browser() if args.pdf else None
    if browser is not None:
        for path in paths[:2]:
            pdf = path.with_suffix(".pdf")
            print_pdf(browser, path, pdf)
            paths.append(pdf)
    data: dict[str, Any] = {
        "title": built.plan.title,
        "size": args.size,
        "cards": count,
        "timetable_over_a_page": made.over,
        "browser": browser,
        "written": [str(path) for path in paths],
    }
    no_pdf = args.pdf and browser is None
    return Result(data, lambda out: _print_cards(data, paper.name, no_pdf, out), ok=not no_pdf)


def _print_cards(data: dict[str, Any], paper: str, no_pdf: bool, out: Console) -> None:
    count = data["cards"]
    cards = "1 card" if count == 1 else f"{count} cards"
    out.print(f"{data['title']}: {cards} and a timetable, {paper}.", markup=False)
    for path in data["written"]:
        out.print(f"  {path}", markup=False)
    if data["timetable_over_a_page"]:
        out.print("  note: the timetable is too long for one page and goes on to the next")
    if no_pdf:
        out.print("No browser was found that prints PDF; HANDBELL_BROWSER may name one.")
    elif data["browser"]:
        out.print(f"PDF by {data['browser']}.", markup=False)
    if not data["browser"]:
        out.print(HOW_TO_PRINT.format(paper=paper), markup=False)
    out.print(CAUTION, markup=False)


# rehearse


def rehearse_arguments(parser: argparse.ArgumentParser) -> None:
    """Define the command line of ``rehearse``."""
    parser.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (TOML)")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="the sound file (default: PLAN.wav, here)"
    )
    parser.add_argument("--box", type=int, default=1, metavar="N", help="the box of station N")
    parser.add_argument("--from", dest="start", default="0", metavar="M:SS", help="begin there")
    parser.add_argument("--to", dest="end", metavar="M:SS", help="end there")
    parser.add_argument(
        "--speed",
        type=int,
        choices=range(1, 9),
        default=1,
        help="bells as they are, the time between them shorter",
    )
    parser.epilog = (
        "examples:\n"
        "  handbell rehearse monday.toml\n"
        "  handbell rehearse monday.toml --from 4:00 --to 7:30\n"
        "  handbell rehearse monday.toml --speed 4"
    )


def rehearse_run(args: argparse.Namespace) -> Result:
    """Write the bells of a box as a sound file."""
    from handbell.base.files import whole_file
    from handbell.paper.out_files import require_apart
    from handbell.paper.rehearsal import GATE_MS, bells, part, write_wav

    require_apart(args.plan, args.out)
    built = compiled(args.plan)
    timeline = _timeline(args, built)
    ringing = bells(timeline)
    if not ringing:
        raise HandbellError(f"{args.plan} is silent, so there is nothing to hear")
    start_ms = _ms("--from", args.start)
    end_ms = None if args.end is None else _ms("--to", args.end)
    heard = part(ringing, start_ms, end_ms)
    if not heard:
        raise UsageError(
            "No bell rings in that part",
            f"The bells ring from {clock(ringing[0].at_ms)} to {clock(ringing[-1].at_ms)}",
        )
    path: Path = args.out or Path(f"{args.plan.stem}.wav")
    with whole_file(path, own_sort=True) as file:
        length_ms = write_wav(file, heard, args.speed)
    data = {
        "title": built.plan.title,
        "bells": len(heard),
        "length_ms": length_ms,
        "written": str(path),
    }
    gates = sum(block.gate for block in built.plan.blocks)

    def text(out: Console) -> None:
        long = clock(length_ms // 1000 * 1000)
        out.print(f"Written to {path}: {len(heard)} bells in {long}.", markup=False)
        if gates:
            out.print(f"A gate, where the class waits for the coach, is {GATE_MS // 1000} s here.")
        out.print("Turn the sound down before you play it; start low with headphones.")

    return Result(data, text)


def _timeline(args: argparse.Namespace, built: CompiledClass) -> bytes:
    boxes = len(built.timelines)
    if not 1 <= args.box <= boxes:
        raise UsageError(f"{args.plan} has no box {args.box}", f"Name a station from 1 to {boxes}")
    data: bytes = built.timelines[args.box - 1].data
    return data


def _ms(option: str, word: str) -> int:
    match = re.fullmatch(r"(?:(\d{1,4}):)?(\d{1,5})", word)
    if match is None:
        raise UsageError(f"{option} {word} is no time", "Say minutes and seconds, such as 4:30")
    return (int(match[1] or 0) * 60 + int(match[2])) * 1000
