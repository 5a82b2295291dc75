"""Where the first note stands on a staff. Common practice, no source: a G clef, middle C below."""

import numpy as np
import pytest

from segue.music.key import parse_key
from segue.stage.staff import CLEF, clef_path, smooth_points, staff_note


@pytest.mark.parametrize(
    ("midi", "key", "name", "y", "accidental", "ledger_lines"),
    [
        # the lines of the staff, from below, are E4 G4 B4 D5 F5
        pytest.param(64, "C major", "E4", 0.0, "", (), id="on the lowest line"),
        pytest.param(67, "C major", "G4", 1.0, "", (), id="on the line of the clef"),
        pytest.param(77, "C major", "F5", 4.0, "", (), id="on the highest line"),
        pytest.param(62, "C major", "D4", -0.5, "", (), id="below the staff"),
        pytest.param(60, "C major", "C4", -1.0, "", (-1.0,), id="middle C has a line"),
        pytest.param(59, "C major", "B3", -1.5, "", (-1.0,), id="below it as well"),
        pytest.param(57, "C major", "A3", -2.0, "", (-1.0, -2.0), id="two lines"),
        pytest.param(79, "C major", "G5", 4.5, "", (), id="above the staff"),
        pytest.param(81, "C major", "A5", 5.0, "", (5.0,), id="a line above"),
        pytest.param(84, "C major", "C6", 6.0, "", (5.0, 6.0), id="two lines above"),
        pytest.param(66, "G major", "F#4", 0.5, "♯", (), id="sharp"),
        pytest.param(70, "F major", "Bb4", 2.0, "♭", (), id="flat"),
        pytest.param(66.4, None, "F#4", 0.5, "♯", (), id="no key, to the nearest"),
    ],
)
def test_a_note_stands_where_it_is_read(midi, key, name, y, accidental, ledger_lines):
    note = staff_note(midi, parse_key(key) if key else None)
    assert (note.name, note.y, note.accidental) == (name, y, accidental)
    assert note.ledger_lines == ledger_lines
    assert not note.is_octave_clef


def test_low_notes_are_read_an_octave_up_as_tenors_do():
    low, high = (staff_note(midi, parse_key("C major")) for midi in (56, 57))
    assert (low.is_octave_clef, high.is_octave_clef) == (True, False)
    assert low.name == "G#3"
    assert low.y == 1.0  # written an octave above
    assert staff_note(48, parse_key("C major")).y == -1.0  # C3 is written as middle C


def test_the_clef_runs_through_its_points():
    points = smooth_points(4)
    assert len(points) == 4 * (len(CLEF) - 1) + 1
    assert np.allclose(points[::4], CLEF)
    # between two of them it is nearer to both than they are to each other
    for (x0, y0), (x, y), (x1, y1) in zip(points[::4], points[2::4], points[4::4], strict=False):
        apart = (x1 - x0) ** 2 + (y1 - y0) ** 2
        assert max((x - x0) ** 2 + (y - y0) ** 2, (x - x1) ** 2 + (y - y1) ** 2) < apart
    path = clef_path()
    assert path.startswith("M1.9 -0.62C")
    assert path.count("C") == len(CLEF) - 1
    assert path.endswith("1.150 1.150")


def test_the_clef_leaves_each_point_as_it_came():
    """One sixth of the way from the point before to the one behind, to either side."""
    (before, here, behind) = CLEF[4:7]
    sixth = [(b - a) / 6 for a, b in zip(before, behind, strict=True)]
    pieces = clef_path().split("C")[1:]
    back, out = pieces[4].split()[2:4], pieces[5].split()[:2]
    assert [float(v) for v in back] == pytest.approx(
        [here[0] - sixth[0], -(here[1] - sixth[1])], abs=1e-3
    )
    assert [float(v) for v in out] == pytest.approx(
        [here[0] + sixth[0], -(here[1] + sixth[1])], abs=1e-3
    )
