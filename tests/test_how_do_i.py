"""The page of questions is run as it stands, and its arithmetic is done again from the formulas."""

from __future__ import annotations

import re
from math import asin, atan, cos, degrees, exp, log, pi, radians, sin, tan
from pathlib import Path

import pytest

from tests.pages import check, pictures, steps

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "scenes" / "HOW_DO_I.md").read_text(encoding="utf-8")
PITCH_NM = 1e6 / 600


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the shipped scenes in it, for the commands to write into."""
    (tmp_path / "scenes").symlink_to(ROOT / "scenes")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.slow
@pytest.mark.parametrize(("command", "shown"), steps(PAGE))
def test_the_command_shows_what_the_page_shows(desk: Path, command: str, shown: str) -> None:
    check(command, shown)
    if shown.rstrip("\n. ").splitlines()[-1].startswith("written"):
        for name in re.findall(r"[\w.]+\.(?:h5|png)", shown.split("written")[1]):
            assert (desk / name).stat().st_size > 0, name


def test_every_question_has_one_command_and_a_link() -> None:
    answers = PAGE.split("\n## ")[1:]
    assert len(answers) == 17
    for answer in answers:
        assert len(steps(answer)) == 1, answer.splitlines()[0]
        title = answer.splitlines()[0]
        anchor = re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-")
        assert f"(#{anchor})" in PAGE


def test_the_page_is_found_and_its_pictures_are_there() -> None:
    assert "scenes/HOW_DO_I.md" in (ROOT / "README.md").read_text(encoding="utf-8")
    assert "(HOW_DO_I.md)" in (ROOT / "scenes" / "README.md").read_text(encoding="utf-8")
    for picture in pictures(PAGE):
        assert (ROOT / "scenes" / picture).exists(), picture


def number(pattern: str) -> float:
    """The one number that the page prints where the pattern's group stands."""
    found = re.findall(pattern, PAGE)
    assert found, pattern
    assert len(set(found)) == 1, found
    return float(found[0])


def test_the_numbers_on_the_page_follow_from_the_formulas() -> None:
    """Closed forms of the textbooks (Born & Wolf 8.5, 8.6), and of periodic errors to first order
    (pi m A / d)^2 (Rowland 1893); sodium's D lines at 588.995 and 589.592 nm (CRC Handbook)."""
    measured = number(r"amplitude ([\d.]+) nm \(from")
    assert (pi * measured / PITCH_NM) ** 2 == pytest.approx(2.3e-4, abs=0.05e-4)
    assert measured == pytest.approx(8, rel=0.01)  # as the scene is ruled
    assert number(r"pair needs\s589.3 / 0.597 = (\d+)") == round(589.3 / (589.592 - 588.995))
    assert number(r"=\s+(539\.\d) nm") == pytest.approx(40e3 * sin(radians(0.7727)), abs=0.05)
    allowed = number(r"ghost +0\.0001 +([\d.]+) nm")
    assert (pi * 2 * allowed / PITCH_NM) ** 2 == pytest.approx(1e-4, rel=0.02)
    facet = radians(8.6)
    blaze = 2 * (1e6 / 300) * sin(facet) * cos(facet)
    assert number(r"cos\(8\.6\s+deg\)\s+/\s+m,\s+(\d+) nm") == pytest.approx(blaze, abs=0.5)
    assert number(r"\n +2 +([\d.]+) +5 +86") == pytest.approx(blaze / 2, rel=0.02)
    turn = radians(number(r'"([\d.]+) deg" brings'))
    assert 2 * (1e6 / 1200) * sin(turn) * cos(radians(15)) == pytest.approx(546.1, abs=0.01)
    passing = 100 * (1e-3**0.5 * PITCH_NM / (2 * pi)) / 10
    assert number(r"so\s+([\d.]+)\s+%\s+of\s+errors") == pytest.approx(passing, abs=0.05)
    lean = number(r"rotation +([\d.]+) deg")  # tan(turn) cos(alpha) / cos(beta), 577 nm
    beta = asin(577e-6 * 600)
    assert lean == pytest.approx(degrees(atan(tan(radians(3)) / cos(beta))), abs=0.02)
    metered, counted, cure = 98, number(r"counts as (\d+) s"), number(r"; 4 min (\d+) s")
    curve = [(log(m), log(c)) for m, c in ((15, 26), (60, 145), (240, 850))]  # the page's table
    (m0, c0), (m1, c1), (m2, c2) = curve
    within = m0 + (log(metered) - c0) * (m1 - m0) / (c1 - c0)
    assert counted == pytest.approx(exp(within), abs=0.6)
    beyond = c1 + (log(metered) - m1) * (c2 - c1) / (m2 - m1)
    assert 240 + cure == pytest.approx(exp(beyond), abs=3)
    yield_percent, error = number(r"yield +([\d.]+)"), number(r"yield +[\d.]+ \+- ([\d.]+) %")
    assert abs(yield_percent - passing) < 2 * error
