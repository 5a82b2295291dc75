"""The singer's first note on a staff, as lines, curves and a note head.

Places are in staff spaces, right and up, from the staff's lowest line at the
left. The clef is a G clef on the second line; low notes get the clef with an 8
below, which sounds an octave lower, as tenors read it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from segue.music.key import Key, note_in

_LETTERS: Final = "CDEFGAB"
_G_LINE_STEP: Final = 4 * 7 + 4
"""G4 in steps of the scale from C0: the second line, one space up, two steps."""
_OCTAVE_CLEF_BELOW_MIDI: Final = 57  # lower notes get the treble clef that sounds an octave down

CLEF: Final = (
    (1.9, 0.62), (1.55, 0.45), (1.32, 0.85), (1.5, 1.35), (2.05, 1.55), (2.68, 1.2),
    (2.72, 0.45), (2.1, 0.0), (1.25, 0.15), (0.72, 0.9), (0.9, 1.95), (1.6, 2.85),
    (2.22, 3.75), (2.35, 4.85), (2.05, 5.55), (1.65, 4.95), (1.62, 3.9), (1.85, 2.4),
    (2.12, 0.6), (2.28, -0.75), (2.05, -1.5), (1.45, -1.55), (1.15, -1.15),
)  # fmt: skip
"""A G clef as a smooth line through points, drawn by hand."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StaffNote:
    """A note on a staff.

    Parameters
    ----------
    name : str
        As in 'F#4'.
    y : float
        Of the note head, in staff spaces above the lowest line.
    accidental : str
        '♯', '♭' or nothing.
    is_octave_clef : bool
        Whether the clef sounds an octave lower.
    """

    name: str
    y: float
    accidental: str
    is_octave_clef: bool

    @property
    def ledger_lines(self) -> tuple[float, ...]:
        """Heights of the short lines that the note needs."""
        above = tuple(float(y) for y in range(5, int(self.y) + 1))
        below = tuple(float(y) for y in range(-1, int(self.y // 1) - (self.y % 1 == 0), -1))
        return above if self.y > 0 else tuple(y for y in below if y >= self.y)


def staff_note(midi: float, key: Key | None) -> StaffNote:
    """Where a note stands, spelled as in a key.

    Parameters
    ----------
    midi : float
        Rounded to the nearest semitone.
    key : Key or None
        None where no key was heard: with sharps.

    Examples
    --------
    >>> staff_note(67, Key(tonic=0, mode="major")).y
    1.0
    """
    whole = round(midi)
    is_octave_clef = whole < _OCTAVE_CLEF_BELOW_MIDI
    name = note_in(whole, key)
    spelled = name.rstrip("-0123456789")
    written_octave = int(name.removeprefix(spelled)) + is_octave_clef
    step = written_octave * 7 + _LETTERS.index(spelled[0])
    return StaffNote(
        name=name,
        y=1.0 + (step - _G_LINE_STEP) / 2,
        accidental={"#": "♯", "b": "♭"}.get(spelled[1:], ""),
        is_octave_clef=is_octave_clef,
    )


def smooth_points(n_between: int = 12) -> tuple[tuple[float, float], ...]:
    """The clef as a chain of short lines, for pictures that know no curves."""
    points = []
    for (x0, y0), (x1, y1), (x2, y2), (x3, y3) in _curves(CLEF):
        for n in range(n_between):
            t = n / n_between
            a, b, c, d = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t * t * (1 - t), t**3
            points.append((a * x0 + b * x1 + c * x2 + d * x3, a * y0 + b * y1 + c * y2 + d * y3))
    return (*points, CLEF[-1])


Place = tuple[float, float]


def _curves(points: tuple[Place, ...]) -> list[tuple[Place, Place, Place, Place]]:
    """Bezier curves through points (Catmull-Rom)."""
    padded = (points[0], *points, points[-1])
    curves = []
    for before, a, b, after in zip(padded, padded[1:], padded[2:], padded[3:], strict=False):
        out = (a[0] + (b[0] - before[0]) / 6, a[1] + (b[1] - before[1]) / 6)
        back = (b[0] - (after[0] - a[0]) / 6, b[1] - (after[1] - a[1]) / 6)
        curves.append((a, out, back, b))
    return curves


def clef_path() -> str:
    """The clef as the path of an SVG picture."""
    x, y = CLEF[0]
    return f"M{x:g} {-y:g}" + "".join(
        f"C{p[0]:.3f} {-p[1]:.3f} {q[0]:.3f} {-q[1]:.3f} {r[0]:.3f} {-r[1]:.3f}"
        for _, p, q, r in _curves(CLEF)
    )
