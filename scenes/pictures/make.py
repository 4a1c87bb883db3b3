"""Makes the small pictures beside this file, one of each shipped scene.

python scenes/pictures/make.py [NAME...]
"""

import math
import sys
from pathlib import Path

from wavesim import Plate, expose, load
from wavesim.colorimetry import Rendering, save_png
from wavesim.figures.pictures import drawn

HERE = Path(__file__).parent
PIXELS = 180_000  # 1200 x 150 of a long plate
MOST_BYTES = 60_000
PLAIN = Rendering(dither=False)  # equal rows pack to a tenth of the size


def main() -> None:
    """Expose every scene, or those named, and write their plates averaged to few pixels."""
    names = sys.argv[1:] or sorted(file.stem for file in HERE.parent.glob("*.toml"))
    for name in names:
        plate = expose(load(HERE.parent / f"{name}.toml"))
        pixels = PIXELS
        while draw(plate, HERE / f"{name}.png", pixels) > MOST_BYTES:
            pixels = pixels * 4 // 5


def draw(plate: Plate, path: Path, pixels: int) -> int:
    """Write the plate in about that many pixels; the file's size in bytes."""
    rows, columns = plate.irradiance.shape
    shrink = min(1.0, math.sqrt(pixels / (rows * columns)))
    small = drawn(plate, round(columns * shrink), round(rows * shrink), rendering=PLAIN)
    save_png(path, small, title=plate.scene.title)
    return path.stat().st_size


if __name__ == "__main__":
    main()
