"""Cautions for eyes and skin that belong in a summary and on a labelled figure.

Short on purpose, and never the last word: local rules and a qualified supervisor are.
Wording after IEC 60825-1 (laser classes), ISO 12312-2 (filters for looking at the Sun) and IEC
62471 (lamps), from secondary sources.
"""

from __future__ import annotations

from wavesim.scene import BlackBody, Lamp, Laser, Led, Source, Sun

_DEFER = "Local rules and a qualified supervisor decide."

_SUN = (
    "Sunlight: never look at the Sun or its image through a slit, lens or grating, nor through "
    "filters not made for the purpose (ISO 12312-2); a lens can burn skin, eyes and paper. "
    + _DEFER
)
_MERCURY = (
    "Mercury lamp: a bare lamp gives ultraviolet that harms eyes and skin (IEC 62471); keep it "
    "in its housing or behind glass and do not look into it. " + _DEFER
)
_BRIGHT = "Bright lamp: do not stare into it or its image. " + _DEFER

# continuous visible beam, by power [W]: (limit, class, warning)
_CLASSES = (
    (0.39e-3, "1 or 2", "do not stare into the beam"),
    (1e-3, "2", "never stare into the beam; only the blink reflex protects the eye"),
    (5e-3, "3R", "looking into the beam may harm the eye"),
    (0.5, "3B", "the beam and its mirror reflections harm the eye"),
    (float("inf"), "4", "even scattered light harms the eye; it can burn skin and start fires"),
)
_BRIGHT_KELVIN = 3000.0  # filaments and arcs beyond this dazzle: common practice, no source


def cautions(source: Source) -> tuple[str, ...]:
    """What to tell about a source; empty where there is nothing to say."""
    match source:
        case Sun():
            return (_SUN,)
        case Laser():
            return (_laser(source.power_W),)
        case Lamp(element="Hg"):
            return (_MERCURY,)
        case Led() | Lamp(element="Na"):
            return (_BRIGHT,)
        case BlackBody() if source.temperature_K >= _BRIGHT_KELVIN:
            return (_BRIGHT,)
        case _:
            return ()


def _laser(power_w: float) -> str:
    _, name, warning = next(row for row in _CLASSES if power_w <= row[0])
    return (
        f"Laser of {power_w * 1e3:.3g} mW: judged by its power alone, about class {name} (IEC "
        f"60825-1): {warning}. The label on the laser decides. " + _DEFER
    )
