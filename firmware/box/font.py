"""The characters: a small proportional face for Latin-1, and numerals of any height.

The small face is 7 rows high above the baseline and 2 below; an accent takes up to 3 rows more.
``y`` is always the top row of a capital. The numerals are built from bars, bows and slants, so
that they scale; they are drawn apart where a glance confuses them: 1 stands on a foot and 7 does
not, 3 has a flat top and a slant, 6 and 9 have straight legs, 8 is narrower above.
"""

from array import array

import framebuf

ELLIPSIS = b"\x7f"
NO_CODE = 31  # "?"

# Six bytes a glyph: width in the low half, rows to drop in the high half of the first; then five
# columns from the left, the top row in the lowest bit. In order of code from 32 to 127 (an
# ellipsis), 0xA1 to 0xBF, then the letters and signs above that are not letter and accent, then an
# i without its dot and the accents.
_GLYPHS = (
    b"\x02\x00\x00\x00\x00\x00\x01\x5f\x00\x00\x00\x00\x03\x07\x00\x07\x00\x00"  # space ! "
    b"\x05\x14\x7f\x14\x7f\x14\x05\x24\x2a\x7f\x2a\x12\x05\x63\x13\x08\x64\x63"  # # $ %
    b"\x05\x36\x49\x59\x26\x50\x01\x07\x00\x00\x00\x00\x02\x3e\x41\x00\x00\x00"  # & ' (
    b"\x02\x41\x3e\x00\x00\x00\x05\x14\x08\x3e\x08\x14\x05\x08\x08\x3e\x08\x08"  # ) * +
    b"\x52\x04\x03\x00\x00\x00\x03\x08\x08\x08\x00\x00\x01\x60\x00\x00\x00\x00"  # , - .
    b"\x04\x60\x10\x0c\x03\x00\x05\x1c\x22\x41\x22\x1c\x05\x44\x42\x7f\x40\x40"  # / 0 1
    b"\x05\x42\x61\x51\x49\x46\x05\x21\x41\x45\x4b\x31\x05\x18\x14\x12\x7f\x10"  # 2 3 4
    b"\x05\x27\x45\x45\x45\x39\x05\x3c\x4a\x49\x49\x30\x05\x01\x01\x71\x0d\x03"  # 5 6 7
    b"\x05\x36\x49\x49\x49\x36\x05\x06\x49\x49\x29\x1e\x01\x6c\x00\x00\x00\x00"  # 8 9 :
    b"\x22\x40\x33\x00\x00\x00\x04\x00\x08\x14\x22\x00\x04\x14\x14\x14\x14\x00"  # ; < =
    b"\x04\x22\x14\x08\x00\x00\x05\x02\x01\x51\x09\x06\x05\x3e\x41\x5d\x55\x5e"  # > ? @
    b"\x05\x7e\x09\x09\x09\x7e\x05\x7f\x49\x49\x49\x36\x05\x3e\x41\x41\x41\x22"  # A B C
    b"\x05\x7f\x41\x41\x41\x3e\x04\x7f\x49\x49\x41\x00\x04\x7f\x09\x09\x01\x00"  # D E F
    b"\x05\x3e\x41\x49\x49\x3a\x05\x7f\x08\x08\x08\x7f\x03\x41\x7f\x41\x00\x00"  # G H I
    b"\x04\x20\x40\x40\x3f\x00\x05\x7f\x08\x14\x22\x41\x04\x7f\x40\x40\x40\x00"  # J K L
    b"\x05\x7f\x02\x0c\x02\x7f\x05\x7f\x06\x08\x30\x7f\x05\x3e\x41\x41\x41\x3e"  # M N O
    b"\x05\x7f\x09\x09\x09\x06\x05\x3e\x41\x51\x21\x5e\x05\x7f\x09\x19\x29\x46"  # P Q R
    b"\x05\x26\x49\x49\x49\x32\x05\x01\x01\x7f\x01\x01\x05\x3f\x40\x40\x40\x3f"  # S T U
    b"\x05\x0f\x30\x40\x30\x0f\x05\x7f\x20\x18\x20\x7f\x05\x63\x14\x08\x14\x63"  # V W X
    b"\x05\x03\x04\x78\x04\x03\x05\x61\x51\x49\x45\x43\x02\x7f\x41\x00\x00\x00"  # Y Z [
    b"\x04\x03\x0c\x10\x60\x00\x02\x41\x7f\x00\x00\x00\x05\x04\x02\x01\x02\x04"  # \ ] ^
    b"\x05\x40\x40\x40\x40\x40\x02\x01\x02\x00\x00\x00\x04\x20\x54\x54\x78\x00"  # _ ` a
    b"\x04\x7f\x44\x44\x38\x00\x04\x38\x44\x44\x44\x00\x04\x38\x44\x44\x7f\x00"  # b c d
    b"\x04\x38\x54\x54\x58\x00\x03\x7e\x05\x05\x00\x00\x24\x4e\x51\x51\x3f\x00"  # e f g
    b"\x04\x7f\x04\x04\x78\x00\x01\x7d\x00\x00\x00\x00\x12\x80\x7d\x00\x00\x00"  # h i j
    b"\x04\x7f\x10\x28\x44\x00\x02\x3f\x40\x00\x00\x00\x05\x7c\x04\x7c\x04\x78"  # k l m
    b"\x04\x7c\x04\x04\x78\x00\x04\x38\x44\x44\x38\x00\x24\x7f\x11\x11\x0e\x00"  # n o p
    b"\x24\x0e\x11\x11\x7f\x00\x03\x7c\x08\x04\x00\x00\x04\x48\x54\x54\x24\x00"  # q r s
    b"\x03\x3f\x44\x44\x00\x00\x04\x3c\x40\x40\x7c\x00\x05\x0c\x30\x40\x30\x0c"  # t u v
    b"\x05\x3c\x40\x3c\x40\x3c\x04\x6c\x10\x10\x6c\x00\x24\x4f\x50\x50\x3f\x00"  # w x y
    b"\x04\x64\x54\x54\x4c\x00\x03\x08\x77\x41\x00\x00\x01\x7f\x00\x00\x00\x00"  # z { |
    b"\x03\x41\x77\x08\x00\x00\x05\x08\x04\x08\x10\x08\x05\x40\x00\x40\x00\x40"  # } ~ ellipsis
    b"\x21\x7d\x00\x00\x00\x00\x05\x18\x24\x7f\x24\x24\x05\x48\x7e\x49\x41\x42"  # ¡ ¢ £
    b"\x05\x22\x1c\x14\x1c\x22\x05\x15\x16\x7c\x16\x15\x01\x77\x00\x00\x00\x00"  # ¤ ¥ ¦
    b"\x04\x4a\x55\x55\x29\x00\x03\x01\x00\x01\x00\x00\x05\x3e\x41\x5d\x55\x3e"  # § ¨ ©
    b"\x03\x12\x15\x17\x00\x00\x05\x10\x28\x54\x28\x44\x04\x04\x04\x04\x1c\x00"  # ª « ¬
    b"\x03\x08\x08\x08\x00\x00\x05\x3e\x4d\x55\x41\x3e\x03\x01\x01\x01\x00\x00"  # soft hyphen ® ¯
    b"\x03\x02\x05\x02\x00\x00\x05\x44\x44\x5f\x44\x44\x03\x09\x0d\x0a\x00\x00"  # ° ± ²
    b"\x03\x09\x0b\x07\x00\x00\x02\x02\x01\x00\x00\x00\x24\x7f\x10\x10\x0f\x00"  # ³ ´ µ
    b"\x05\x06\x0f\x7f\x01\x7f\x01\x10\x00\x00\x00\x00\x72\x02\x01\x00\x00\x00"  # ¶ · ¸
    b"\x02\x02\x0f\x00\x00\x00\x03\x12\x15\x12\x00\x00\x05\x44\x28\x54\x28\x10"  # ¹ º »
    b"\x05\x27\x10\x08\x74\x22\x05\x27\x10\x08\x54\x72\x05\x25\x17\x08\x74\x22"  # ¼ ½ ¾
    b"\x25\x30\x48\x45\x40\x20\x05\x7e\x09\x7f\x49\x49\x05\x08\x7f\x49\x41\x3e"  # ¿ Æ Ð
    b"\x05\x44\x28\x10\x28\x44\x05\x7e\x61\x5d\x43\x3f\x05\x7f\x12\x12\x12\x0c"  # × Ø Þ
    b"\x05\x7e\x01\x49\x76\x00\x05\x24\x54\x78\x54\x58\x04\x25\x52\x55\x38\x00"  # ß æ ð
    b"\x05\x08\x08\x2a\x08\x08\x05\x78\x64\x54\x4c\x3c\x14\xff\x48\x48\x30\x00"  # ÷ ø þ
    b"\x01\x7c\x00\x00\x00\x00\x02\x02\x04\x00\x00\x00"  # dotless i, grave
    b"\x02\x04\x02\x00\x00\x00"  # acute
    b"\x03\x04\x02\x04\x00\x00\x04\x04\x02\x04\x02\x00"  # circumflex, tilde
    b"\x03\x04\x00\x04\x00\x00"  # diaeresis
    b"\x03\x02\x05\x02\x00\x00\x02\x04\x02\x00\x00\x00"  # ring, cedilla
)

# Codes 0xC0 to 0xFF: the letter that carries an accent, or a digit or letter below 32 that counts
# the glyphs of their own; and the accent, by its place among the accents.
_BASE = (
    b"AAAAAA\x00CEEEEIIII\x01NOOOOO\x02\x03UUUUY\x04\x05"
    b"aaaaaa\x06ceeee\x0b\x0b\x0b\x0b\x07nooooo\x08\x09uuuuy\x0ay"
)
_ACCENT = (
    b"\x01\x02\x03\x04\x05\x06\x00\x07\x01\x02\x03\x05\x01\x02\x03\x05"
    b"\x00\x04\x01\x02\x03\x04\x05\x00\x00\x01\x02\x03\x05\x02\x00\x00"
    b"\x01\x02\x03\x04\x05\x06\x00\x07\x01\x02\x03\x05\x01\x02\x03\x05"
    b"\x00\x04\x01\x02\x03\x04\x05\x00\x00\x01\x02\x03\x05\x02\x00\x05"
)
_ACUTE, _RING, _CEDILLA = 2, 6, 7
_OWN = 127  # the first glyph of its own
_SIGNS = 138  # the glyph before the first accent
_DOUBLED = b"\x00\x03\x0c\x0f\x30\x33\x3c\x3f\xc0\xc3\xcc\xcf\xf0\xf3\xfc\xff"

# All glyphs side by side as one picture, and a cell to which one of them is taken at C speed.
_strip = (_GLYPHS, len(_GLYPHS), 8, framebuf.MONO_VLSB)
_cell = bytearray(5)
_cell_fb = framebuf.FrameBuffer(_cell, 5, 8, framebuf.MONO_VLSB)
_large = bytearray(20)
_large_fb = framebuf.FrameBuffer(_large, 10, 16, framebuf.MONO_VLSB)


def _index(code):
    """Return which glyph draws ``code``."""
    if 32 <= code < 128:
        return code - 32
    if code >= 0xC0:
        base = _BASE[code - 0xC0]
        return base - 32 if base >= 32 else _OWN + base
    if code > 0xA0:
        return code - 0xA1 + 96
    return 0 if code == 0xA0 else NO_CODE


def _advance(code):
    """Return the columns that ``code`` takes, without the gap after it."""
    columns = _GLYPHS[6 * _index(code)] & 15
    if code >= 0xC0:
        accent = _ACCENT[code - 0xC0]
        if accent:
            return max(columns, _GLYPHS[6 * (_SIGNS + accent)])
    return columns


def width(s, scale=1):
    """Return the columns that the Latin-1 bytes ``s`` take at ``scale`` 1 or 2."""
    total = 0
    for code in s:
        total += _advance(code) + 1
    return max(0, total - 1) * scale


def fit(s, room, scale=1):
    """Return ``s``, or as much of it as ``room`` columns hold with an ellipsis at its end."""
    if width(s, scale) <= room:
        return s
    room = room // scale - 6  # an ellipsis and the gap before it
    end = 0
    for code in s:
        room -= _advance(code) + 1
        if room < -1:
            break
        end += 1
    while end and s[end - 1] == 32:
        end -= 1
    return s[:end] + ELLIPSIS


def text(canvas, x, y, s, scale=1):
    """Draw the Latin-1 bytes ``s`` at ``scale`` 1 or 2; return the columns it took."""
    at = x
    for code in s:
        glyph = 6 * (code - 32 if 32 <= code < 128 else _index(code))
        size = _GLYPHS[glyph]
        columns = take = size & 15
        accent = _ACCENT[code - 0xC0] if code >= 0xC0 else 0
        if accent:
            sign = 6 * (_SIGNS + accent)
            wide = _GLYPHS[sign]
            take = max(columns, wide)
            if accent == _CEDILLA:
                rows = 6
            elif code >= 0xE0:
                rows = -2
            else:
                rows = -3 if accent == _RING else -4
            left = at + (take - wide + (accent == _ACUTE)) // 2 * scale
            _stamp(canvas, left, y + rows * scale, sign, scale)
        left = at + (take - columns) // 2 * scale
        _stamp(canvas, left, y + (size >> 4) * scale, glyph, scale)
        at += (take + 1) * scale
    return max(0, at - x - scale)


def _stamp(canvas, x, y, glyph, scale):
    """Draw a glyph's five columns of eight rows onto what is there."""
    _cell_fb.blit(_strip, -glyph - 1, 0)  # type: ignore[arg-type] # the stubs lack tuples
    if scale == 1:
        canvas.blit(_cell_fb, x, y, 0)
        return
    for i in range(5):
        bits = _cell[i]
        _large[2 * i] = _large[2 * i + 1] = _DOUBLED[bits & 15]
        _large[2 * i + 10] = _large[2 * i + 11] = _DOUBLED[bits >> 4]
    canvas.blit(_large_fb, x, y, 0)


# Numerals

_corners = array("h", (0, 0, 0, 0, 0, 0, 0, 0))


def digits_width(height, s):
    """Return the columns that the numerals ``s`` take at ``height`` rows."""
    total = 0
    for c in s:
        total += _numeral_width(height, c) + _gap(height)
    return max(0, total - _gap(height))


def digits_height(s, room, most):
    """Return the largest height up to ``most`` at which ``s`` takes at most ``room`` columns."""
    height = most
    while height > 7 and digits_width(height, s) > room:
        height -= 1
    return height


def digits(canvas, x, y, height, s):
    """Draw ``s`` (0 to 9, ":", "-") in numerals ``height`` rows high; return the columns."""
    at = x
    thick = _thick(height)
    for c in s:
        wide = _numeral_width(height, c)
        _NUMERALS[c](canvas, at, y, wide, height, thick)
        at += wide + _gap(height)
    return at - x - _gap(height) if s else 0


def _numeral_width(height, c):
    if c == ":":
        return _thick(height)
    return (height * 9 + 8) // 16


def _thick(height):
    return max(1, (height * 5 + 3) // 32)


def _gap(height):
    return max(1, height // 10)


def _round(canvas, x, y, w, h, r, ink):
    """Fill a box whose corners are bows of radius ``r``."""
    r = min(r, (w - 1) // 2, (h - 1) // 2)
    right, low = x + w - 1 - r, y + h - 1 - r
    canvas.ellipse(right, y + r, r, r, ink, True, 1)
    canvas.ellipse(x + r, y + r, r, r, ink, True, 2)
    canvas.ellipse(x + r, low, r, r, ink, True, 4)
    canvas.ellipse(right, low, r, r, ink, True, 8)
    canvas.fill_rect(x + r, y, w - 2 * r, h, ink)
    canvas.fill_rect(x, y + r, w, h - 2 * r, ink)


def _ring(canvas, x, y, w, h, t):
    """Draw a ring ``t`` thick, clearing its inside."""
    _round(canvas, x, y, w, h, w // 2, 1)
    _round(canvas, x + t, y + t, w - 2 * t, h - 2 * t, w // 2 - t, 0)


def _slant(canvas, x0, x1, y0, x2, x3, y1):
    """Fill from the columns ``x0`` to ``x1`` of row ``y0`` to ``x2`` to ``x3`` of row ``y1``."""
    p = _corners
    p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7] = x0, y0, x1, y0, x3, y1, x2, y1
    canvas.poly(0, 0, p, 1, True)


def _zero(canvas, x, y, w, h, t):
    _ring(canvas, x, y, w, h, t)


def _unity(canvas, x, y, w, h, t):
    left = x + (w - t + 1) // 2
    canvas.fill_rect(left, y, t, h, 1)
    reach = max(2, w // 3)
    _slant(canvas, left, left + t - 1, y, left - reach, left - reach + t // 2, y + reach + t // 2)
    canvas.fill_rect(x, y + h - t, w, t, 1)


def _two_(canvas, x, y, w, h, t):
    r = w // 2
    _ring(canvas, x, y, w, h * 5 // 8, t)
    canvas.fill_rect(x, y + r, w, h * 5 // 8 - r, 0)
    canvas.fill_rect(x, y + r, t, max(0, t // 2 - 1), 1)
    _slant(canvas, x + w - t, x + w - 1, y + r, x, x + t, y + h - t)
    canvas.fill_rect(x, y + h - t, w, t, 1)


def _three(canvas, x, y, w, h, t):
    top = h * 3 // 8
    low = y + h - 1 - (h - top) // 2
    _ring(canvas, x, y + top, w, h - top, t)
    canvas.fill_rect(x, y + top, w // 2 - 1, (h - top) * 5 // 8, 0)
    canvas.fill_rect(x, y, w, t, 1)
    _slant(
        canvas, x + w - t - 1, x + w - 1, y + t - 1, x + w // 2 - t // 2 - 1, x + w // 2, y + top
    )
    canvas.fill_rect(x + w // 2 - t // 2 - 1, y + top, t // 2 + 2, t, 1)
    return low


def _four(canvas, x, y, w, h, t):
    stem = x + w - t - max(1, w // 6)
    bar = y + h * 5 // 8
    _slant(canvas, stem, stem + t - 1, y, x, x + t - 1, bar)
    canvas.fill_rect(x, bar, w, t, 1)
    canvas.fill_rect(stem, y, t, h, 1)


def _five(canvas, x, y, w, h, t):
    top = h * 3 // 8
    _ring(canvas, x, y + top, w, h - top, t)
    canvas.fill_rect(x, y + top, w // 2, (h - top) * 5 // 8, 0)
    canvas.fill_rect(x, y, w - 1, t, 1)
    canvas.fill_rect(x, y, t, top + t, 1)
    canvas.fill_rect(x, y + top, w // 2 + 1, t, 1)


def _six(canvas, x, y, w, h, t):
    top = h * 3 // 8
    bow = y + top + (h - top) // 2
    _slant(canvas, x + w // 2, x + w // 2 + t, y, x, x + t, bow)
    _ring(canvas, x, y + top, w, h - top, t)


def _seven(canvas, x, y, w, h, t):
    canvas.fill_rect(x, y, w, t, 1)
    _slant(canvas, x + w - t - 1, x + w - 1, y + t - 1, x + w // 4, x + w // 4 + t, y + h - 1)


def _eight(canvas, x, y, w, h, t):
    narrow = max(1, w // 12) if w > 6 else 0
    half = (h - t) // 2
    _ring(canvas, x + narrow, y, w - 2 * narrow, half + t - 1, t)
    _ring(canvas, x, y + half - 1, w, h - half + 1, t)


def _nine(canvas, x, y, w, h, t):
    bowl = h - h * 3 // 8
    _slant(canvas, x + w - t - 1, x + w - 1, y + bowl // 2, x + w // 2 - t, x + w // 2, y + h - 1)
    _ring(canvas, x, y, w, bowl, t)


def _colon(canvas, x, y, w, h, t):
    canvas.fill_rect(x, y + h // 4, t, t, 1)
    canvas.fill_rect(x, y + h - h // 4 - t, t, t, 1)


def _dash(canvas, x, y, w, h, t):
    canvas.fill_rect(x + w // 8, y + (h - t) // 2, w - w // 4, t, 1)


_NUMERALS = {
    "0": _zero,
    "1": _unity,
    "2": _two_,
    "3": _three,
    "4": _four,
    "5": _five,
    "6": _six,
    "7": _seven,
    "8": _eight,
    "9": _nine,
    ":": _colon,
    "-": _dash,
}
