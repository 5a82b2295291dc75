"""What the musician says about a song, over what the machine hears."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from segue.analysis.facts import EndingKind, OpeningKind
    from segue.audio.clip import SongNotes
    from segue.music.key import Key


@dataclass(frozen=True, slots=True, kw_only=True)
class Overrides:
    """Facts that are given and not heard; None where nothing is said.

    Parameters
    ----------
    tuning_cents : float or None
        Above A4 = 440 Hz.
    tempo_bpm : float or None
        The grid is fitted near it.
    first_downbeat_s : float or None
        A time in the file where a bar starts.
    ending : EndingKind or None
        How the song ends; only for the end of a song.
    opening : OpeningKind or None
        How the song starts; only for the start of a song.
    first_note_midi : float or None
        The first sung note; its time is still heard where a voice is given.
    """

    key: Key | None = None
    tuning_cents: float | None = None
    tempo_bpm: float | None = None
    metre: int | None = None
    first_downbeat_s: float | None = None
    ending: EndingKind | None = None
    opening: OpeningKind | None = None
    first_note_midi: float | None = None

    def over(self, notes: SongNotes) -> Overrides:
        """These words first, and where they say nothing, the song's own notes.

        Parameters
        ----------
        notes : SongNotes
            From what is written beside the song.
        """
        return Overrides(
            key=self.key or notes.key,
            tuning_cents=self.tuning_cents,
            tempo_bpm=self.tempo_bpm or notes.tempo_bpm,
            metre=self.metre or notes.metre,
            first_downbeat_s=(
                notes.first_downbeat_s if self.first_downbeat_s is None else self.first_downbeat_s
            ),
            ending=self.ending or notes.ending,
            opening=self.opening or notes.opening,
            first_note_midi=(
                notes.first_note_midi if self.first_note_midi is None else self.first_note_midi
            ),
        )
