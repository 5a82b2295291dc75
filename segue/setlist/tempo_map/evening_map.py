"""An evening on one ruler: song after song and segue after segue, laid by a fold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from segue.errors import OptionError
from segue.plan.edges import song_start
from segue.plan.grid import SAME_BEAT
from segue.setlist.tempo_map.evening_ruler import (
    signatures,
    with_free_time,
    with_lead_in,
    with_plan_part,
)
from segue.setlist.tempo_map.laid_songs import (
    TOLD_S,
    Crossing,
    EveningMap,
    Laid,
    PlayedSong,
    begun,
    ended,
    entered,
    entry_s,
    exit_s,
    here,
    hold_beat,
    signed,
    with_song,
)
from segue.stage.midi_score import (
    TICKS_A_BEAT,
    Marker,
    MidiScore,
    markers_of,
    notes_moved,
    plan_score,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from segue.plan import Plan


def evening_map(songs: Sequence[PlayedSong], crossings: Sequence[Crossing]) -> EveningMap:
    """Lay an evening on one ruler.

    Parameters
    ----------
    songs : sequence of PlayedSong
        In order; at least one.
    crossings : sequence of Crossing
        One fewer.

    Raises
    ------
    OptionError
        If a song is left before its bar one.
    """
    laid = begun(songs[0])
    for old, new, crossing, after in zip(
        songs, songs[1:], crossings, [*crossings[1:], None], strict=False
    ):
        laid = with_song(laid, old, _left_s(old, crossing))
        laid = _with_crossing(laid, crossing, old, new, new_out_s=_left_s(new, after))
    return _map_of(ended(with_song(laid, songs[-1], _left_s(songs[-1], None)), songs[-1]))


@dataclass(frozen=True, slots=True, kw_only=True)
class _LaidPlan:
    """A plan as it lies: from which beat and second on, and what its files wait for.

    Parameters
    ----------
    hold_beat : float
        Beat of the plan from which on everything waits.
    late_beats, free_s : float
        How long, on the ruler and by the clock.
    """

    plan: Plan
    beat: float
    start_s: float
    hold_beat: float
    late_beats: float
    free_s: float

    def waits(self, beat: float) -> bool:
        """Whether a beat of the plan comes after the wait."""
        return beat >= self.hold_beat - SAME_BEAT


def _left_s(song: PlayedSong, crossing: Crossing | None) -> float:
    """Second of a song's file at which it is left."""
    if crossing is not None and crossing.leave_s is not None:
        return min(crossing.leave_s, exit_s(song.end, None))
    return exit_s(song.end, None if crossing is None else crossing.plan)


def _with_crossing(
    laid: Laid, crossing: Crossing, old: PlayedSong, new: PlayedSong, *, new_out_s: float
) -> Laid:
    """From the old song to bar one of the new, or to the end of the bars that a plan has of it."""
    into_s = entry_s(new.start)
    if new_out_s <= into_s:
        raise OptionError(
            f"{new.title} is left at {new_out_s:.1f} s of its file but entered at "
            f"{into_s:.1f} s: it is too short for two segues; choose shorter options."
        )
    place, plan = here(laid.ruler, f"{old.title} to {new.title}"), crossing.plan
    if plan is None:
        laid = replace(laid, joins=(*laid.joins, place))
        return _with_stop(laid, crossing, old, new)
    start_s = laid.zero_s + exit_s(old.end, plan)
    laid = replace(laid, joins=(*laid.joins, replace(place, time_s=start_s)))
    laid, lies = _with_bridge(laid, crossing, plan, new, start_s=start_s)
    return _with_new_bars(_with_marks(laid, lies, new), lies, new, for_s=new_out_s - into_s)


def _with_stop(laid: Laid, crossing: Crossing, old: PlayedSong, new: PlayedSong) -> Laid:
    """The rest of the old song's file, free time, and the new one's file up to its bar one."""
    left_s = old.end.duration_s if crossing.leave_s is None else crossing.leave_s
    rest_s = laid.zero_s + left_s - laid.ruler.time_s
    laid = _with_free(laid, crossing, new, rest_s=rest_s)
    from_s = crossing.enter_s or 0.0
    if entry_s(new.start) - from_s > TOLD_S:
        told = (laid.ruler.time_s, f"file of {new.title} starts")
        laid = replace(laid, free=(*laid.free, told))
    start = song_start(new.start)
    ruler = with_lead_in(laid.ruler, start.grid, start.entry_index, from_s=from_s)
    return entered(replace(laid, ruler=ruler), new)


def _with_free(laid: Laid, crossing: Crossing, new: PlayedSong, *, rest_s: float = 0.0) -> Laid:
    """Free time at the new song's tempo, after the rest of an old one."""
    start = song_start(new.start)
    bpm, metre = start.grid.bpm_at(start.entry_index), start.grid.metre
    ruler, free = with_free_time(laid.ruler, rest_s, bpm=bpm, metre=metre), [*laid.free]
    for name, seconds in crossing.free:
        free.append((ruler.time_s, f"{name}, {seconds:.0f} s, free time"))
        ruler = with_free_time(ruler, seconds, bpm=bpm, metre=metre)
    return replace(laid, ruler=ruler, free=tuple(free))


def _with_bridge(
    laid: Laid, crossing: Crossing, plan: Plan, new: PlayedSong, *, start_s: float
) -> tuple[Laid, _LaidPlan]:
    """A plan up to its entry, with the free time that its music does not cover."""
    beat, hold = laid.ruler.beat, hold_beat(plan, new.start)
    ruler = with_plan_part(laid.ruler, plan, 0.0, hold, start_s=start_s)
    held = ruler.beat
    laid = _with_free(replace(laid, ruler=ruler), crossing, new)
    lies = _LaidPlan(
        plan=plan,
        beat=beat,
        start_s=start_s,
        hold_beat=hold,
        late_beats=laid.ruler.beat - held,
        free_s=sum(seconds for _, seconds in crossing.free),
    )
    if lies.free_s:
        where = "at" if hold == plan.entry_beat else "before the count-in or the pick-up to"
        words = (
            f"The files of segue {len(laid.joins)} play straight on into {new.title}: hold them "
            f"{where} its bar one for the {lies.free_s:.0f} s of free time."
        )
        laid = replace(laid, notes=(*laid.notes, words))
    if plan.entry_beat > hold:
        after_s = start_s + lies.free_s
        ruler = with_plan_part(laid.ruler, plan, hold, plan.entry_beat, start_s=after_s)
        laid = replace(laid, ruler=ruler)
    return laid, lies


def _with_marks(laid: Laid, lies: _LaidPlan, new: PlayedSong) -> Laid:
    """Names, keys and notes of a plan; what comes after its wait is as much later."""
    found = markers_of(
        lies.plan,
        from_title=f"files of segue {len(laid.joins)} start",
        to_title=new.title,
        is_free=not new.start.pulse.is_known,
    )
    markers = tuple(
        Marker(
            beat=lies.beat + mark.beat + lies.waits(mark.beat) * lies.late_beats,
            time_s=lies.start_s + mark.time_s + lies.waits(mark.beat) * lies.free_s,
            name=mark.name,
        )
        for mark in found
    )
    before, after = (_part_of(lies, waits=waits) for waits in (False, True))
    played = (
        notes_moved(before, lies.beat),
        notes_moved(after, lies.beat + lies.late_beats),
    )
    laid = replace(laid, markers=(*laid.markers, *markers), played=(*laid.played, *played))
    entry_beat = lies.beat + lies.plan.entry_beat + lies.late_beats
    return signed(laid, new, entry_beat, lies.plan.key_to)


def _part_of(lies: _LaidPlan, *, waits: bool) -> MidiScore:
    """Click, cue and chords of a plan that come after its wait, or all others."""
    score = plan_score(lies.plan, ())
    return replace(
        score,
        click=tuple(hit for hit in score.click if lies.waits(hit.beat) is waits),
        cue=tuple(note for note in score.cue if lies.waits(note.start_beat) is waits),
        voicings=tuple(v for v in score.voicings if lies.waits(v.start_beat) is waits),
    )


def _with_new_bars(laid: Laid, lies: _LaidPlan, new: PlayedSong, *, for_s: float) -> Laid:
    """The bars of the new song that a plan has, as far as the song is played."""
    plan, start_s = lies.plan, lies.start_s + lies.free_s
    enter_s = plan.tempo.seconds_at(plan.entry_beat)
    until = min(plan.end_beat, plan.tempo.beat_at(enter_s + for_s))
    song = replace(here(laid.ruler, new.title), time_s=start_s + enter_s)
    into_s = entry_s(new.start)
    return replace(
        laid,
        ruler=with_plan_part(laid.ruler, plan, plan.entry_beat, until, start_s=start_s),
        songs=(*laid.songs, song),
        zero_s=start_s + enter_s - into_s,
        from_s=into_s + plan.tempo.seconds_at(until) - enter_s,
    )


def _map_of(laid: Laid) -> EveningMap:
    """Everything that is laid, in the order of the clock."""
    ruler = laid.ruler
    free = [Marker(beat=ruler.beat_at(s), time_s=s, name=name) for s, name in laid.free]
    markers = sorted([*laid.markers, *free], key=lambda mark: mark.time_s)
    last_tick, last_beats = ruler.bars[-1]
    return EveningMap(
        score=MidiScore(
            ruler=tuple((tick / TICKS_A_BEAT, s) for tick, s in ruler.points),
            metres=tuple(signatures(ruler.bars, last_tick + last_beats * TICKS_A_BEAT)),
            keys=laid.keys,
            markers=tuple((mark.beat, mark.name) for mark in markers),
            click=tuple(hit for score in laid.played for hit in score.click),
            voicings=tuple(v for score in laid.played for v in score.voicings),
            cue=tuple(note for score in laid.played for note in score.cue),
        ),
        songs=laid.songs,
        joins=laid.joins,
        markers=tuple(markers),
        notes=laid.notes,
    )
