"""Compiled inner loops of the picture: one pass over pixels, no temporaries.

Every pixel is worked out alone, so the blocks that threads take do not change any value.
"""

# mypy: allow-untyped-defs, allow-untyped-calls

from __future__ import annotations

import math

from wavesim.compiled import compiled

LINEAR, TABLE = 0, 1  # how the tone is given
SMOOTH, CSS = 0, 1  # how colours are brought into the gamut; any other number: clipped
TONE_LOWEST = -24.0  # stops: start of a tone table
TONE_PER_STOP = 64
JND, CLOSE = 0.02, 1e-4  # CSS Color 4, 2024 draft: just noticeable OKLab step, and the end
RIDGE = 0.1  # rounding of ridges where a light is too strong: yellow stops 5 % short
ROUNDED = 0.12  # beyond the gamut's edge its rounded one is taken; the locus lies farther out
COLOUR, LUMINANCE = 0, 1  # what is kept of a light too strong for its colour
PALED = (0.3, 0.9)  # beyond the gamut's edge: up to where it does, and how it ends
GREENISH = 0.02  # of blue: less green than that, and violets would turn purple
EMPTY = 1e-5  # of the fullest channel: below that a negative one is rounding
_HALVINGS = 24  # of saturation, for a luminance
HUGE = 1e30  # relative light beyond which nothing changes any more

_jit = compiled(fastmath=False)


@_jit
def _position(a, b):
    p = b / (abs(a) + abs(b))
    if a < 0:
        return 2 - p
    return p if p >= 0 else 4 + p


@_jit
def _read(table, x):
    i = min(max(int(x), 0), table.size - 2)
    return table[i] + (x - i) * (table[i + 1] - table[i])


@_jit
def _root(x):
    return x ** (1 / 3) if x >= 0 else -((-x) ** (1 / 3))


@_jit
def _rgb(light, a, b, to_roots, to_rgb):
    p = light + to_roots[0, 1] * a + to_roots[0, 2] * b
    q = light + to_roots[1, 1] * a + to_roots[1, 2] * b
    r = light + to_roots[2, 1] * a + to_roots[2, 2] * b
    p, q, r = p * p * p, q * q * q, r * r * r
    return (
        to_rgb[0, 0] * p + to_rgb[0, 1] * q + to_rgb[0, 2] * r,
        to_rgb[1, 0] * p + to_rgb[1, 1] * q + to_rgb[1, 2] * r,
        to_rgb[2, 0] * p + to_rgb[2, 1] * q + to_rgb[2, 2] * r,
    )


@_jit
def _fullest(red, green, blue):
    """Largest channel with the ridge between two equal channels rounded; exact for grey."""
    top, low = max(red, green, blue), min(red, green, blue)
    second = red + green + blue - top - low
    bend = RIDGE * (top - low)
    return 0.5 * (top + second + math.sqrt((top - second) ** 2 + bend * bend))


@_jit
def _step(x):
    """From 0 to 1 without a corner."""
    x = min(max(x, 0.0), 1.0)
    return x * x * (3 - 2 * x)


@_jit
def _toned(peak, tone, table):
    if tone == LINEAR:
        return min(peak, 1.0)
    return _read(table, (math.log2(max(peak, 1e-12)) - TONE_LOWEST) * TONE_PER_STOP)


@_jit
def _knee(ratio, knee):
    """Ratio to the gamut's edge, unchanged up to the knee, then bent to stop at 1."""
    end = 2 - knee
    if ratio <= knee:
        return ratio
    if ratio >= end:
        return 1.0
    return 1 - (end - ratio) ** 2 / (4 * (1 - knee))


@_jit
def _luminance(red, green, blue, weight):
    return weight[0] * red + weight[1] * green + weight[2] * blue


@_jit
def _whitening(red, green, blue, near, over):
    """How far a colour just beyond blue's cliff is paled with white, 0 to 1 (`gamut.cliff`)."""
    if near <= 0 or red > green or green <= 0:
        return 0.0
    return near * (1 - _step((over - PALED[0]) / PALED[1])) * _step(green / blue / GREENISH)


@_jit
def smooth_pixel(
    light, a, b, saturation, to_roots, to_rgb, to_lms, to_oklab, weight, tone, table, knee,
    crosstalk, keep,
):  # fmt: skip
    """Linear RGB 0..1 of an OKLab colour of any strength, its hue kept.

    What the display can show is left as it is. A colour too saturated keeps its luminance; one
    too strong keeps that (`keep` LUMINANCE) or keeps its colour and pales as film does (COLOUR).
    """
    if light <= 0:
        return 0.0, 0.0, 0.0
    red, green, blue = _rgb(light, a, b, to_roots, to_rgb)
    asked = _luminance(red, green, blue, weight)
    top = max(red, green, blue)
    chroma = math.sqrt(a * a + b * b)
    s, part, grey = 0.0, 0.0, 1.0
    if chroma > 1e-9 * light:
        a, b = a / chroma, b / chroma
        s = chroma / light
        position = _position(a, b) * ((saturation.shape[1] - 1) / 4)
        edge, rounded = _read(saturation[0], position), _read(saturation[1], position)
        part = _knee(s / edge, knee)
        grey = (1 - max(part, min(s / rounded, 1.0))) ** 2
        if min(red, green, blue) < -EMPTY * top or part < min(s / edge, 1.0):
            paled = _whitening(red, green, blue, _read(saturation[2], position), s / edge - 1)
            beyond = _step((s / edge - 1) / ROUNDED)
            s = part * (edge + beyond * (rounded - edge))
            r, g, v = _rgb(1.0, s * a, s * b, to_roots, to_rgb)
            scale = max(asked, 0.0) / _luminance(r, g, v, weight)
            if paled > 0:
                white = -red / (asked - red)
                r = (1 - paled) * r * scale
                g = (1 - paled) * g * scale + paled * (green + white * (asked - green))
                v = (1 - paled) * v * scale + paled * (blue + white * (asked - blue))
                light, a, b = _oklab(r, g, v, to_lms, to_oklab)
                chroma = math.sqrt(a * a + b * b)
                a, b, s, scale = a / chroma, b / chroma, chroma / light, 1.0
            red, green, blue = r * scale, g * scale, v * scale
            top = max(red, green, blue)
    if top <= 0:
        return 0.0, 0.0, 0.0
    shown = _toned(top, tone, table)
    lost = top - shown
    if lost <= 0 or part <= 0:
        scale = shown / top
        return max(red * scale, 0.0), max(green * scale, 0.0), max(blue * scale, 0.0)
    if keep == LUMINANCE:
        goal = min(_toned(asked, tone, table), 1.0)
        return _paler(goal, s, a, b, to_roots, to_rgb, weight)
    spread = crosstalk * (red + green + blue) / top
    filled = lost * (grey + spread) / (1 - grey)
    s *= max(1 - filled / 2, 0.0) ** 2
    red, green, blue = _rgb(1.0, s * a, s * b, to_roots, to_rgb)
    top = max(red, green, blue)
    scale = shown / (top + _step(lost / 8) * (_fullest(red, green, blue) - top))
    return max(red * scale, 0.0), max(green * scale, 0.0), max(blue * scale, 0.0)


@_jit
def _paler(goal, s, a, b, to_roots, to_rgb, weight):
    """The most saturated colour of that hue and luminance that the display can show."""
    low, high = 0.0, s
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        red, green, blue = _rgb(1.0, middle * a, middle * b, to_roots, to_rgb)
        if goal * max(red, green, blue) > _luminance(red, green, blue, weight):
            high = middle
        else:
            low = middle
    red, green, blue = _rgb(1.0, low * a, low * b, to_roots, to_rgb)
    scale = goal / _luminance(red, green, blue, weight)
    return (
        min(max(red * scale, 0.0), 1.0),
        min(max(green * scale, 0.0), 1.0),
        min(max(blue * scale, 0.0), 1.0),
    )


@_jit
def _clip1(x):
    return min(max(x, 0.0), 1.0)


@_jit
def _oklab(red, green, blue, to_lms, to_oklab):
    p = _root(to_lms[0, 0] * red + to_lms[0, 1] * green + to_lms[0, 2] * blue)
    q = _root(to_lms[1, 0] * red + to_lms[1, 1] * green + to_lms[1, 2] * blue)
    r = _root(to_lms[2, 0] * red + to_lms[2, 1] * green + to_lms[2, 2] * blue)
    return (
        to_oklab[0, 0] * p + to_oklab[0, 1] * q + to_oklab[0, 2] * r,
        to_oklab[1, 0] * p + to_oklab[1, 1] * q + to_oklab[1, 2] * r,
        to_oklab[2, 0] * p + to_oklab[2, 1] * q + to_oklab[2, 2] * r,
    )


@_jit
def _inside(red, green, blue, slack):
    low, high = -slack, 1 + slack
    return low <= min(red, green, blue) and max(red, green, blue) <= high


@_jit
def css_pixel(light, a, b, to_roots, to_rgb, to_lms, to_oklab):
    """Linear RGB 0..1 by CSS Color 4, binary search with local MINDE (2024 draft)."""
    if light >= 1:
        return 1.0, 1.0, 1.0
    if light <= 0:
        return 0.0, 0.0, 0.0
    red, green, blue = _rgb(light, a, b, to_roots, to_rgb)
    if _inside(red, green, blue, 1e-12):
        return _clip1(red), _clip1(green), _clip1(blue)
    low, high, part = 0.0, 1.0, 1.0
    chroma = math.sqrt(a * a + b * b)
    low_inside, first = True, True
    while first or (high - low) * chroma > CLOSE:
        if not first:
            part = (low + high) / 2
        red, green, blue = _rgb(light, a * part, b * part, to_roots, to_rgb)
        if not first and low_inside and _inside(red, green, blue, 1e-12):
            low = part
            continue
        red, green, blue = _clip1(red), _clip1(green), _clip1(blue)
        l1, a1, b1 = _oklab(red, green, blue, to_lms, to_oklab)
        step = math.sqrt((l1 - light) ** 2 + (a1 - a * part) ** 2 + (b1 - b * part) ** 2)
        if step >= JND:
            high = high if first else part
        elif first or JND - step < CLOSE:
            break
        else:
            low_inside, low = False, part
        first = False
    return red, green, blue


@_jit
def _colour(
    x, y, z, to_lms_in, saturation, to_roots, to_rgb, to_lms, to_oklab, weight, mode, tone, table,
    knee, crosstalk, keep,
):  # fmt: skip
    """Linear RGB of an exposure relative to white."""
    p = _root(to_lms_in[0, 0] * x + to_lms_in[0, 1] * y + to_lms_in[0, 2] * z)
    q = _root(to_lms_in[1, 0] * x + to_lms_in[1, 1] * y + to_lms_in[1, 2] * z)
    r = _root(to_lms_in[2, 0] * x + to_lms_in[2, 1] * y + to_lms_in[2, 2] * z)
    light = to_oklab[0, 0] * p + to_oklab[0, 1] * q + to_oklab[0, 2] * r
    a = to_oklab[1, 0] * p + to_oklab[1, 1] * q + to_oklab[1, 2] * r
    b = to_oklab[2, 0] * p + to_oklab[2, 1] * q + to_oklab[2, 2] * r
    if mode == SMOOTH:
        return smooth_pixel(
            light, a, b, saturation, to_roots, to_rgb, to_lms, to_oklab, weight, tone, table, knee,
            crosstalk, keep,
        )  # fmt: skip
    if light > 0 and tone != LINEAR:
        strength = light**3
        gain = _root(_toned(strength, tone, table) / strength)
        light, a, b = light * gain, a * gain, b * gain
        light = 1.0 if light > 1 - 1e-9 else light
    if mode == CSS:
        return css_pixel(light, a, b, to_roots, to_rgb, to_lms, to_oklab)
    return _rgb(light, a, b, to_roots, to_rgb)


@_jit
def _limited(x, scale):
    return min(max(x * scale, -HUGE), HUGE)


@_jit
def render(
    xyz, start, stop, width, scale, to_lms_in, saturation, to_roots, to_rgb, to_lms, to_oklab,
    weight, mode, tone, table, knee, crosstalk, keep, encoding, mask, full, out,
):  # fmt: skip
    """Fill out (n, 3) from xyz (n, 3), rows of `width`; the first non-finite pixel, or -1.

    Rows start .. stop - 1 of the upper half are taken, each with its mirror image in the lower
    one; where pixels that mirror each other are equal, as on most plates, the colour is found
    once. `scale` makes white 1; `to_lms_in` takes that XYZ, white balance included, to OKLab's
    cones; `encoding` is the display's curve over the square root of light; `mask` the dither
    pattern 0..1, its sides powers of two.
    """
    nodes = encoding.size - 1
    tall, wide = mask.shape[0] - 1, mask.shape[1] - 1
    height = xyz.shape[0] // width
    bad = -1
    for top in range(start, stop):
        for left in range((width + 1) // 2):
            x, y, z = math.nan, math.nan, math.nan
            red, green, blue = 0.0, 0.0, 0.0
            for image in range(4):
                row = height - 1 - top if image % 2 else top
                column = width - 1 - left if image >= 2 else left
                if (image % 2 and row == top) or (image >= 2 and column == left):
                    continue
                i = row * width + column
                if not (xyz[i, 0] == x and xyz[i, 1] == y and xyz[i, 2] == z):
                    x, y, z = xyz[i, 0], xyz[i, 1], xyz[i, 2]
                    if not (math.isfinite(x) and math.isfinite(y) and math.isfinite(z)):
                        bad = i if bad < 0 else min(bad, i)
                        continue
                    red, green, blue = _colour(
                        _limited(x, scale), _limited(y, scale), _limited(z, scale),
                        to_lms_in, saturation, to_roots, to_rgb, to_lms, to_oklab,
                        weight, mode, tone, table, knee, crosstalk, keep,
                    )  # fmt: skip
                    red = full * _read(encoding, math.sqrt(_clip1(red)) * nodes)
                    green = full * _read(encoding, math.sqrt(_clip1(green)) * nodes)
                    blue = full * _read(encoding, math.sqrt(_clip1(blue)) * nodes)
                u = mask[row & tall, column & wide]
                out[i, 0] = int(red + u)
                out[i, 1] = int(green + u)
                out[i, 2] = int(blue + u)
    return bad
