"""Makes the small pictures beside this file, one of each shipped scene.

python scenes/pictures/make.py
"""

from pathlib import Path

from wavesim import expose, load
from wavesim.colorimetry import Rendering, save_png
from wavesim.figures.pictures import drawn

HERE = Path(__file__).parent
COLUMNS, ROWS = 1200, 150
PLAIN = Rendering(dither=False)  # equal rows pack to a tenth of the size


def main() -> None:
    """Expose every scene and write its plate, averaged to 1200 x 150 pixels."""
    for file in sorted(HERE.parent.glob("*.toml")):
        picture = drawn(expose(load(file)), COLUMNS, ROWS, rendering=PLAIN)
        save_png(HERE / f"{file.stem}.png", picture, title=load(file).title)


if __name__ == "__main__":
    main()
