"""What is heard in a candidate, measured once and shared by all measures.

Everything here comes from the rendered sound. The plan lends its ruler (which
second is which beat) and nothing else. Times are seconds from the first frame
of the candidate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from segue.analysis.envelope import mono_of
from segue.score.bridge import (
    AROUND_S,
    LEVEL_HOP_S,
    BridgeSound,
    Curve,
    RoomCurves,
    bridge_of,
    room_curves,
)
from segue.score.rendered_pulse import Pulse, beat_lengths_s, heard_pulse
from segue.score.tones import SideSpectra, Tones, heard_tones, side_spectra

if TYPE_CHECKING:
    from segue.analysis.facts import EdgeFacts
    from segue.arrays import Flags, Floats
    from segue.audio.clip import Clip
    from segue.plan.plan import Plan, Section
    from segue.render.candidate import Candidate
    from segue.score.weights import Purpose


_HOPS_AT_ONCE: Final = 128  # to hold little memory; changes no value
SILENT_DB: Final = -90.0
"""Music that never rises above this power is silence."""
SIDES: Final[tuple[Section, ...]] = ("outgoing", "interlude", "incoming")
NO_BEAT: Final = 0.2  # of the songs' own hits: less is no beat; by judgement
LEAST_HITS_DB: Final = 0.5  # songs whose hits stand out less have none to hold a bridge against
SOUNDING_DB: Final = 35.0
"""A side this far below the loud moments of the music is not counted as sounding."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listened:
    """A candidate as heard.

    Parameters
    ----------
    facts : (EdgeFacts, EdgeFacts)
        What is known of the old song and of the new one.
    aim : {'talk', 'lift', 'calm', 'dance'} or None
        What it is for.
    tones : Tones
        Chroma of the music.
    new_tones : Tones
        Chroma of the new song alone.
    pulse : Pulse
        Beats of the music against the ruler.
    beat_lengths_s : ndarray, shape (n_beats,)
        Length of each beat of `pulse`.
    brightness : Curve
        Mean of the magnitude spectrum in octaves above 1 kHz, at the times of the loudness; NaN
        where it is silent.
    sides : dict
        Spectra of 'outgoing', 'interlude' and 'incoming'.
    loud_db : float
        Level of the loud moments of the sides.
    room : RoomCurves
        Loudness, onsets and bands of the music.
    bridge : BridgeSound
        What lies between the songs.
    songs_s : ((float, float), (float, float))
        From when to when the old and the new song are held against the bridge.
    songs_hits_db : float
        How far the hits of the songs stand out there.
    """

    candidate: Candidate
    facts: tuple[EdgeFacts, EdgeFacts]
    aim: Purpose | None
    tones: Tones
    new_tones: Tones
    pulse: Pulse
    beat_lengths_s: Floats
    brightness: Curve
    sides: dict[Section, SideSpectra]
    loud_db: float
    room: RoomCurves
    bridge: BridgeSound
    songs_s: tuple[tuple[float, float], tuple[float, float]]
    songs_hits_db: float

    @property
    def level(self) -> Curve:
        """Momentary loudness of the music in LUFS."""
        return self.room.level

    @property
    def plan(self) -> Plan:
        """The ruler."""
        return self.candidate.plan

    @property
    def is_silent(self) -> bool:
        """Whether there is no sound at all."""
        return self.loud_db < SILENT_DB

    @property
    def exit_s(self) -> float:
        """Where the interlude starts."""
        return self.plan.seconds_at(self.plan.exit_beat)

    @property
    def entry_s(self) -> float:
        """Where bar one of the new song is."""
        return self.plan.seconds_at(self.plan.entry_beat)

    @property
    def metre(self) -> int:
        """Beats a bar of the new song."""
        lines = self.plan.bar_lines
        return next((line.metre for line in lines if line.beat >= self.plan.entry_beat), 4)

    def hits(self, low_s: float, high_s: float) -> float:
        """How far the hits of a stretch stand out, against those of the songs."""
        return self.room.hits_db(low_s, high_s) / max(self.songs_hits_db, LEAST_HITS_DB)

    def together(self, one: Section, other: Section, within_db: float) -> Flags:
        """Hops of `sides` in which two sides sound and neither is masked by the other."""
        apart_db = self.sides[one].level_db - self.sides[other].level_db
        is_near = np.abs(apart_db) < within_db
        return np.asarray(self.sounding(one) & self.sounding(other) & is_near)

    def sounding(self, side: Section) -> Flags:
        """Hops of `sides` in which a side is loud enough to count."""
        level_db = self.sides[side].level_db
        return np.asarray(level_db > max(self.loud_db - SOUNDING_DB, SILENT_DB))


def hear(
    candidate: Candidate,
    outgoing: EdgeFacts,
    incoming: EdgeFacts,
    *,
    purpose: Purpose | None = None,
) -> Listened:
    """Measure a candidate once, for all measures.

    Parameters
    ----------
    purpose : {'talk', 'lift', 'calm', 'dance'} or None
        What it is for; one that was planned for a talk is for talking where nothing is said.
    """
    plan = candidate.plan
    sides = {side: side_spectra(getattr(candidate, side)) for side in SIDES}
    together_db = np.max([side.level_db for side in sides.values()], axis=0)
    pulse, room = heard_pulse(candidate), room_curves(candidate.music)
    exit_s, entry_s = plan.seconds_at(plan.exit_beat), plan.seconds_at(plan.entry_beat)
    songs_s = (exit_s - AROUND_S, exit_s), (entry_s, entry_s + AROUND_S)
    return Listened(
        candidate=candidate,
        facts=(outgoing, incoming),
        aim=purpose or ("talk" if plan.talk_s is not None else None),
        tones=heard_tones(candidate),
        new_tones=heard_tones(candidate, "incoming"),
        pulse=pulse,
        beat_lengths_s=beat_lengths_s(pulse, plan),
        brightness=Curve(room.level.times_s, _centroids(candidate.music, room.level.times_s)),
        sides=sides,
        loud_db=float(np.quantile(together_db, 0.9)),
        room=room,
        bridge=bridge_of(plan, candidate.music, room),
        songs_s=songs_s,
        songs_hits_db=float(np.mean([room.hits_db(*span) for span in songs_s])),
    )


def _centroids(music: Clip, times_s: Floats) -> Floats:
    from scipy import fft

    mono = mono_of(music.samples)
    n_window = fft.next_fast_len(round(LEVEL_HOP_S * music.rate_hz))
    starts = np.round(times_s * music.rate_hz).astype(int) - n_window // 2
    starts = np.clip(starts, 0, max(0, len(mono) - n_window))
    if len(mono) < n_window:
        mono = np.pad(mono, (0, n_window - len(mono)))
    windows = np.lib.stride_tricks.sliding_window_view(mono, n_window)
    shape = np.hanning(n_window).astype(np.float32)
    octaves = np.log2(fft.rfftfreq(n_window, 1.0 / music.rate_hz)[1:] / 1000.0)
    total, weighted = np.zeros(len(starts)), np.zeros(len(starts))
    for first in range(0, len(starts), _HOPS_AT_ONCE):  # some at a time, to hold little memory
        hops = slice(first, first + _HOPS_AT_ONCE)
        magnitude = np.abs(fft.rfft(windows[starts[hops]] * shape, axis=1))[:, 1:]
        total[hops] = magnitude.sum(axis=1)
        weighted[hops] = magnitude @ octaves
    is_silent = total <= 1e-4 * max(float(total.max(initial=0.0)), 1e-6)
    return np.where(is_silent, np.nan, weighted / np.where(is_silent, 1.0, total))
