"""Names beside a picture, with a line from each to what it names."""

from __future__ import annotations

from typing import Any

from .render import View

MARGIN_PX = 190
TEXT_PX = 17
LINE_PX = 23


def _spread(wanted: list[float], heights: list[int], room: int) -> list[float]:
    """Return tops near the wanted ones, in order, none over another, all within the room."""
    tops: list[float] = []
    next_free = 4.0
    for want, high in zip(wanted, heights, strict=True):
        tops.append(max(want, next_free))
        next_free = tops[-1] + high + 8
    last = float(room - 4)
    for n in range(len(tops) - 1, -1, -1):
        tops[n] = min(tops[n], last - heights[n])
        last = tops[n] - 8
    return tops


def labelled(view: View, names: list[tuple[str, tuple[float, float, float]]]) -> Any:
    """Return the view's image with each name beside it; a name may have several lines."""
    from PIL import Image, ImageDraw, ImageFont

    image = view.image()
    page = Image.new("RGB", (image.width + 2 * MARGIN_PX, image.height), "white")
    page.paste(image, (MARGIN_PX, 0))
    draw, font = ImageDraw.Draw(page), ImageFont.load_default(TEXT_PX)
    points = sorted(((*view.pixel(point), text) for text, point in names), key=lambda p: p[1])
    for left in (True, False):
        side = [p for p in points if (p[0] < image.width / 2) == left]
        heights = [LINE_PX * (text.count("\n") + 1) for _, _, text in side]
        wanted = [y - high / 2 for (_, y, _), high in zip(side, heights, strict=True)]
        tops = _spread(wanted, heights, image.height)
        for (x, y, text), top, high in zip(side, tops, heights, strict=True):
            wide = max(draw.textlength(line, font=font) for line in text.split("\n"))
            at = 6 if left else page.width - 6 - wide
            start = at + wide + 6 if left else at - 6
            _line(draw, (start, top + high / 2), (x + MARGIN_PX, y))
            draw.multiline_text((at, top), text, fill=(20, 22, 28), font=font, spacing=4)
    return page


def _line(draw: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    draw.line((start, end), fill="white", width=4)
    draw.line((start, end), fill=(20, 22, 28), width=2)
    x, y = end
    draw.ellipse((x - 4, y - 4, x + 4, y + 4), fill=(20, 22, 28), outline="white")
