"""The first hour is run as it stands: every command line and every line of Python."""

from __future__ import annotations

import doctest
import io
import re
from math import pi, radians, sin
from pathlib import Path

import pytest

from tests.pages import ALIKE, blocks, check, pictures, steps

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "scenes" / "FIRST_HOUR.md").read_text(encoding="utf-8")
FILES = (
    "slits_005.png", "slits_005.h5", "six.png", "mercury.h5", "ghosts.png", "series.png",
    "pair_fit.png", "anomaly.png", "screw.h5", "screw_map.png",
)  # fmt: skip
LIMIT_NM = 1e-3**0.5 * (1e6 / 600) / (2 * pi)  # (pi m A / d)^2 = 1e-3 in order 2


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the shipped scenes in it, for the hour to be spent in."""
    (tmp_path / "scenes").symlink_to(ROOT / "scenes")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.slow
def test_every_command_shows_what_the_page_shows(desk: Path) -> None:
    commands = steps(PAGE)
    assert len(commands) >= 14
    for command, shown in commands:
        check(command, shown)
    for name in FILES:
        assert (desk / name).stat().st_size > 0, name


@pytest.mark.slow
def test_every_line_of_python_gives_what_the_page_gives(desk: Path) -> None:
    text = "\n".join(blocks(PAGE, "pycon"))
    test = doctest.DocTestParser().get_doctest(text, {}, "FIRST_HOUR.md", None, 0)
    said = io.StringIO()
    result = doctest.DocTestRunner(optionflags=ALIKE).run(test, out=said.write)
    assert result.attempted >= 20
    assert result.failed == 0, said.getvalue()
    assert (desk / "series.png").exists()


def test_the_page_is_found_and_its_pictures_are_there() -> None:
    assert "scenes/FIRST_HOUR.md" in (ROOT / "README.md").read_text(encoding="utf-8")
    found = pictures(PAGE)
    assert found
    for picture in found:
        assert (ROOT / "scenes" / picture).exists(), picture


def test_the_numbers_on_the_page_follow_from_the_formulas() -> None:
    """Exposure goes with the count squared (Born & Wolf 8.6); an order passes off where its sine is
    one (grating equation); a first ghost is (pi m A / d)^2 (Rowland 1893)."""
    five, six = (float(per_s) for per_s in re.findall(r"exposure +1/([\d.]+) s", PAGE))
    assert six / five == pytest.approx((6 / 5) ** 2, abs=0.03)
    assert f"`exposed 1/{six} s`" in PAGE
    passing_off = 1e6 / 1200 * (1 + sin(radians(10))) / 2
    assert f"{passing_off:.1f} nm, and" in PAGE
    assert f"A = {LIMIT_NM:.2f} nm" in PAGE
    passing = sum(amplitude < LIMIT_NM for amplitude in range(2, 19, 2)) / 9
    assert f"yield       {100 * passing:.1f} +-" in PAGE
