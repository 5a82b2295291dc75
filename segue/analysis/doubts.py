"""What is uncertain about an edge, said in sentences, and what would settle it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from segue.analysis.envelope import sounds
from segue.analysis.facts import PULSE_CONFIDENCE, SURE_CONFIDENCE, EdgeFacts, KeyFact, PulseFact
from segue.errors import counted, listed

if TYPE_CHECKING:
    from collections.abc import Iterator

    from segue.audio.clip import SongEdge

_HALF_SURE = 0.5  # confidence below which a fact is doubted; also seconds of slack; by judgement
_FEWEST_BARS = 4
"""Of fewer bars neither key nor metre can be heard with any certainty. Set by judgement."""
_SAME_RATIO = 0.03  # share by which a tempo may miss the half or double and be it; by judgement
_TUNING_APART_CENTS = 10.0
"""From here on two estimates of a tuning differ audibly. Set by judgement."""


Settling = Literal["key", "tempo", "downbeat", "metre", "ending", "opening", "edge_seconds"]
"""What a person can say, or do, to settle a doubt."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """What is unsure, in a sentence.

    Parameters
    ----------
    sentence : str
        What is unsure and what else it may be. It names no option: it is read on pages, too.
    settled_by : tuple of str
        What settles it; empty where a person can only listen.
    """

    sentence: str
    settled_by: tuple[Settling, ...] = ()


def doubts_about(facts: EdgeFacts) -> tuple[str, ...]:
    """Sentences about the uncertain facts of an edge."""
    return tuple(doubt.sentence for doubt in _doubts(facts))


def settling(facts: EdgeFacts, sentence: str) -> tuple[Settling, ...]:
    """What settles a doubt of an edge; nothing for a remark, or one of an older Segue."""
    known = {doubt.sentence: doubt.settled_by for doubt in _doubts(facts)}
    return known.get(sentence, ())


def _doubts(facts: EdgeFacts) -> tuple[Doubt, ...]:
    said = [*_about_length(facts), *_about_key(facts.key), *_about_pulse(facts.pulse)]
    if facts.tuning_spread_cents > _TUNING_APART_CENTS:
        said.append(
            Doubt(
                sentence=(
                    f"The tuning is unsure: parts of it lie {facts.tuning_spread_cents:.0f} cents "
                    f"from the {facts.tuning_cents:+.0f} taken. Check it by ear against the pad."
                )
            )
        )
    if facts.ending is not None and facts.ending.confidence < _HALF_SURE:
        sentence = f"How the song ends is unsure ({facts.ending.kind}?)."
        said.append(Doubt(sentence=sentence, settled_by=("ending",)))
    if facts.opening is not None and facts.opening.confidence < _HALF_SURE:
        sentence = f"How the song starts is unsure ({facts.opening.kind}?)."
        said.append(Doubt(sentence=sentence, settled_by=("opening",)))
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


def _about_length(facts: EdgeFacts) -> Iterator[Doubt]:
    if facts.applause_s is not None:
        where, does = ("from", "end before") if facts.edge == "end" else ("up to", "start after")
        yield Doubt(
            sentence=f"Applause or noise is heard {where} {facts.applause_s:.1f} s: the song is "
            f"taken to {does} it."
        )
    if facts.died_away_s is not None:
        yield Doubt(
            sentence=f"It has died away by {facts.died_away_s:.1f} s: what follows is too soft for "
            "a room, and is left out."
        )
    pulse = facts.pulse
    n_bars = len(pulse.beats_s) // pulse.metre
    if pulse.confidence >= PULSE_CONFIDENCE and n_bars < _FEWEST_BARS:
        whole = facts.edge_end_s - facts.edge_start_s >= facts.duration_s - _HALF_SURE
        bars = counted(n_bars, "bar") if n_bars else "less than a bar"
        yield Doubt(
            sentence=f"Only {bars} could be heard: check key, tempo and bar lines.",
            settled_by=() if whole else ("edge_seconds",),
        )


def _about_key(key: KeyFact) -> Iterator[Doubt]:
    if not key.is_known:
        yield Doubt(sentence="No key was heard.", settled_by=("key",))
    elif key.source == "heard" and key.confidence < SURE_CONFIDENCE:
        rivals = " or ".join(str(k.key) for k in key.runners_up[:2])
        sentence = f"The key may also be {rivals}." if rivals else "The key is a guess."
        yield Doubt(sentence=sentence, settled_by=("key",))


def _about_pulse(pulse: PulseFact) -> Iterator[Doubt]:
    if not pulse.is_known:
        yield Doubt(sentence="No clear pulse was heard.", settled_by=("tempo",))
        return
    if pulse.source == "heard" and pulse.confidence < SURE_CONFIDENCE:
        rivals = listed([f"{bpm:.0f}" for bpm in rival_tempi_bpm(pulse)], "or")
        yield Doubt(sentence=f"The tempo may also be {rivals} BPM.", settled_by=("tempo",))
    if pulse.confidence >= PULSE_CONFIDENCE and pulse.downbeat_confidence < _HALF_SURE:
        yield Doubt(sentence="The bar lines are unsure.", settled_by=("downbeat", "metre"))


def rival_tempi_bpm(pulse: PulseFact) -> list[float]:
    """The two likeliest other tempi, and its half and its double where they are heard at all."""
    from segue.analysis.metre import FASTEST_BPM, SLOWEST_BPM  # heavy: all that hears beats

    others = pulse.tempo_alternatives_bpm
    named = list(others[:2])
    for ratio in (0.5, 2.0):
        for bpm in others[2:]:
            is_octave = abs(bpm / (ratio * pulse.tempo_bpm) - 1.0) < _SAME_RATIO
            if is_octave and SLOWEST_BPM <= round(bpm) <= FASTEST_BPM:
                named.append(bpm)
    return named
