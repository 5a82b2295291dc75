"""Advice on moving one of two songs to a nearer key, before anyone plays a note."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from segue.music.interval import effort
from segue.music.tonal_space import key_distance
from segue.music.transposition_costs import STEP_WORDS, Cost, SungNotes, costs_of_moving

if TYPE_CHECKING:
    from segue.music.key import Key

MovedSong = Literal["outgoing", "incoming"]

FAR_DISTANCE: Final = 0.5
"""From this key distance on, moving a song is worth a thought: a whole tone and more.

Our judgement of what a band would notice."""

MOVES_SEMITONES: Final = (-2, -1, 0, 1, 2)
"""Moves that a band will consider."""

_SONG_WORDS: Final[dict[MovedSong, str]] = {
    "outgoing": "the old song",
    "incoming": "the new song",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One of the songs moved, and what comes of it.

    Parameters
    ----------
    semitones : int
        -2..2; 0 leaves the song where it is.
    key : Key
        Key of the song after the move.
    distance : float
        Distance of the two keys after the move, 0..1.
    costs : tuple of Cost
        Empty where nothing moves.
    """

    semitones: int
    key: Key
    distance: float
    costs: tuple[Cost, ...]
    sentence: str

    @property
    def effort(self) -> float:
        """Weights of all costs added up."""
        return sum(cost.weight for cost in self.costs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What moving one song by up to a whole tone does to a pair.

    Parameters
    ----------
    old, new : Key
        Keys as the songs are.
    moved : {'outgoing', 'incoming'}
        Which song the moves are about.
    moves : tuple of Move
        One for each of `MOVES_SEMITONES`.
    """

    old: Key
    new: Key
    moved: MovedSong
    moves: tuple[Move, ...]

    @property
    def best(self) -> Move:
        """The nearest pair of keys; among equals the smaller move, then the cheaper."""
        return min(
            self.moves,
            key=lambda move: (round(move.distance, 9), abs(move.semitones), move.effort),
        )

    @property
    def sentence(self) -> str:
        """The advice in one sentence."""
        if self.best.semitones == 0:
            return f"Moving {_SONG_WORDS[self.moved]} by up to a whole tone brings it no nearer."
        return self.best.sentence


def transposition_advice(
    old: Key, new: Key, *, moved: MovedSong = "incoming", sung: SungNotes | None = None
) -> Advice:
    """What moving one song by -2..2 semitones does to the distance, and what it costs.

    Parameters
    ----------
    old, new : Key
        Keys of the outgoing and the incoming song.
    moved : {'outgoing', 'incoming'}
        Which song to move.
    sung : SungNotes or None
        What is known of the tune of the song that is moved.

    Examples
    --------
    >>> from segue.music.key import parse_key
    >>> advice = transposition_advice(parse_key("E minor"), parse_key("F minor"))
    >>> advice.sentence
    'With the new song a semitone down, in E minor, the change is easy (0.00, not 0.84).'
    """
    moves = tuple(_move(old, new, semitones, moved, sung) for semitones in MOVES_SEMITONES)
    return Advice(old=old, new=new, moved=moved, moves=moves)


def _move(old: Key, new: Key, semitones: int, moved: MovedSong, sung: SungNotes | None) -> Move:
    song = new if moved == "incoming" else old
    key = song.transposed(semitones)
    before = key_distance(old, new)
    distance = key_distance(old, key) if moved == "incoming" else key_distance(key, new)
    word = _SONG_WORDS[moved]
    return Move(
        semitones=semitones,
        key=key,
        distance=distance,
        costs=costs_of_moving(song, semitones, song=word, sung=sung),
        sentence=f"With {word} {_where(semitones)}, in {key}, {_change(before, distance)}.",
    )


def _where(semitones: int) -> str:
    if semitones == 0:
        return "where it is"
    return f"{STEP_WORDS[abs(semitones)]} {'up' if semitones > 0 else 'down'}"


def _change(before: float, after: float) -> str:
    if f"{before:.2f}" == f"{after:.2f}":
        return f"the change is as {effort(after)} as it was ({after:.2f})"
    return f"the change is {effort(after)} ({after:.2f}, not {before:.2f})"
