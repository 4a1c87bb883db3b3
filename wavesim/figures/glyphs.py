"""Letters that the house's font lacks, lent by other fonts of this machine that have them."""

from __future__ import annotations

import logging
from functools import lru_cache

from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, fontManager
from matplotlib.ft2font import FT2Font
from matplotlib.text import Text

from wavesim.figures.lettering import FONT

_MOST_FONTS = 500  # looked through; each takes a few milliseconds


def lend_glyphs(figure: Figure) -> None:
    """Let every text with foreign letters fall back on fonts that have them.

    Where no font of this machine has a letter, it stays a box.
    """
    logging.getLogger("matplotlib.font_manager").setLevel(logging.ERROR)  # of lacking weights
    own = _letters_of(findfont(FontProperties(family=FONT)))
    for text in figure.findobj(Text):
        if not isinstance(text, Text):
            continue
        missing = frozenset(map(ord, text.get_text())) - own - {ord("\n")}
        if missing:
            text.set_fontfamily([FONT, *_fonts_with(missing)])


@lru_cache(64)
def _fonts_with(letters: frozenset[int]) -> tuple[str, ...]:
    """Families that together have as many of the letters as can be had."""
    wanted, families = set(letters), []
    upright = [
        f for f in fontManager.ttflist
        if f.style == "normal" and f.name != FONT and not f.name.startswith("Last Resort")
    ]  # fmt: skip
    for font in sorted(upright, key=lambda f: (f.name, str(f.weight), f.fname))[:_MOST_FONTS]:
        found = wanted & _letters_of(font.fname)
        if found:
            families.append(font.name)
            wanted -= found
        if not wanted:
            break
    return tuple(dict.fromkeys(families))


@lru_cache(_MOST_FONTS)
def _letters_of(file: str) -> frozenset[int]:
    try:
        return frozenset(FT2Font(file).get_charmap())
    except (OSError, RuntimeError):  # a font that cannot be read lends nothing
        return frozenset()
