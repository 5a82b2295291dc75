"""What is uncertain about an edge, said in sentences with the way to settle it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from segue.analysis.envelope import sounds
from segue.analysis.facts import PULSE_CONFIDENCE, SURE_CONFIDENCE
from segue.analysis.metre import FASTEST_BPM, SLOWEST_BPM

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.analysis.facts import EdgeFacts, KeyFact, PulseFact
    from segue.audio.clip import SongEdge

_HALF_SURE = 0.5  # confidence below which a fact is doubted; also seconds of slack; by judgement
_FEWEST_BARS = 4
"""Of fewer bars neither key nor metre can be heard with any certainty. Set by judgement."""
_SAME_RATIO = 0.03  # share by which a tempo may miss the half or double and be it; by judgement
_TUNING_APART_CENTS = 10.0
"""From here on two estimates of a tuning differ audibly. Set by judgement."""


def doubts_about(facts: EdgeFacts) -> tuple[str, ...]:
    """Sentences about the uncertain facts of an edge.

    Returns
    -------
    tuple of str
        Each says what is unsure, what else it may be, and which option settles it.
    """
    side = "a" if facts.edge == "end" else "b"
    said = [
        *_about_length(facts),
        *_about_key(facts.key, side),
        *_about_pulse(facts.pulse, side),
    ]
    if facts.tuning_spread_cents > _TUNING_APART_CENTS:
        said.append(
            f"The tuning is unsure: parts of it lie {facts.tuning_spread_cents:.0f} cents from the "
            f"{facts.tuning_cents:+.0f} taken; check it by ear against the pad."
        )
    if facts.ending is not None and facts.ending.confidence < _HALF_SURE:
        said.append(
            f"How the song ends is unsure ({facts.ending.kind}?); settle it with --ending-a."
        )
    if facts.opening is not None and facts.opening.confidence < _HALF_SURE:
        said.append(
            f"How the song starts is unsure ({facts.opening.kind}?); settle it with --opening-b."
        )
    return tuple(said)


def remarks_on(edge: SongEdge) -> tuple[str, ...]:
    """Sentences about what is odd in the files of an edge, silent stems among it."""
    silent = silent_stems(edge)
    if not silent:
        return edge.remarks
    where = "at the end of the song" if edge.edge == "end" else "at the start of the song"
    if len(silent) == len(edge.stems):
        return (*edge.remarks, f"There is only silence {where}.")
    names = " and ".join(silent)
    verb = "is" if len(silent) == 1 else "are"
    return (*edge.remarks, f"{names} {verb} silent {where}.")


def silent_stems(edge: SongEdge) -> tuple[str, ...]:
    """Files of the stems that do not sound in an edge."""
    return tuple(s.file for s in edge.stems if not sounds(s.clip.samples))


def _about_length(facts: EdgeFacts) -> Iterator[str]:
    if facts.applause_s is not None:
        yield (
            f"There is applause or noise from {facts.applause_s:.1f} s on: the song is taken to "
            "end before it."
            if facts.edge == "end"
            else f"There is applause or noise up to {facts.applause_s:.1f} s: the song is taken to "
            "start after it."
        )
    pulse = facts.pulse
    n_bars = len(pulse.beats_s) // pulse.metre
    if pulse.confidence >= PULSE_CONFIDENCE and n_bars < _FEWEST_BARS:
        whole = facts.edge_end_s - facts.edge_start_s >= facts.duration_s - _HALF_SURE
        hint = "" if whole else " or read more with --edge-seconds"
        bars = f"{n_bars} bar{'' if n_bars == 1 else 's'}" if n_bars else "less than a bar"
        yield f"Only {bars} could be heard: check key, tempo and bar lines{hint}."


def _about_key(key: KeyFact, side: str) -> Iterator[str]:
    if not key.is_known:
        yield f"No key was heard; if there is one, give it with --key-{side}."
    elif key.source == "heard" and key.confidence < SURE_CONFIDENCE:
        rivals = " or ".join(str(k.key) for k in key.runners_up[:2])
        yield (
            f"The key may also be {rivals}; settle it with --key-{side}."
            if rivals
            else f"The key is a guess; settle it with --key-{side}."
        )


def _about_pulse(pulse: PulseFact, side: str) -> Iterator[str]:
    if not pulse.is_known:
        yield f"No clear pulse was heard; if there is one, give it with --tempo-{side}."
        return
    if pulse.source == "heard" and pulse.confidence < SURE_CONFIDENCE:
        rivals = _listed([f"{bpm:.1f}" for bpm in rival_tempi_bpm(pulse)])
        yield f"The tempo may also be {rivals} BPM; settle it with --tempo-{side}."
    if pulse.confidence >= PULSE_CONFIDENCE and pulse.downbeat_confidence < _HALF_SURE:
        yield (
            "The bar lines are unsure; give the time of a downbeat with "
            f"--downbeat-{side}, or the beats a bar with --metre-{side}."
        )


def rival_tempi_bpm(pulse: PulseFact) -> list[float]:
    """The two likeliest other tempi, and its half and its double where they are heard at all."""
    others = pulse.tempo_alternatives_bpm
    named = list(others[:2])
    for ratio in (0.5, 2.0):
        for bpm in others[2:]:
            is_octave = abs(bpm / (ratio * pulse.tempo_bpm) - 1.0) < _SAME_RATIO
            if is_octave and SLOWEST_BPM <= round(bpm) <= FASTEST_BPM:
                named.append(bpm)
    return named


def _listed(words: list[str]) -> str:
    return " or ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
