"""The evening on the desk: what is known of a set, what mends what is warned of, and its making."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from segue.audition.limits import RequestRefusalError
from segue.desk.house import EVENINGS, House
from segue.desk.maker import OrderedRun, SetOrder
from segue.desk.orders import Name  # noqa: TC001 - pydantic reads the types
from segue.desk.own_folder import NOT_FOUND, safe_name
from segue.errors import SegueError
from segue.setlist.cautions import Mend, slot_cautions
from segue.setlist.set_document import SET_NAME, read_evening
from segue.setlist.set_file import read_set, set_text
from segue.setlist.set_request import SetRequest

if TYPE_CHECKING:
    from pathlib import Path

    from segue.setlist.evening import Evening, EveningJoin
    from segue.setlist.set_list import SetList


@dataclass(frozen=True, slots=True, kw_only=True)
class SetBody:
    """Wants an evening planned, or made with every join."""

    set: Name
    plan_only: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningVoteBody:
    """Wants one ballot on every segue of an evening."""

    set: Name
    blind: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class WayToMend:
    """A button that leads to where something is mended.

    Parameters
    ----------
    target : str
        Kind of the place, as `segue.setlist.cautions.Mend` has it.
    at : int
        Place of the song, from 0.
    """

    words: str
    target: str
    at: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownCaution:
    """A sentence to look out for, and the ways to mend it."""

    words: str
    ways: tuple[WayToMend, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EveningView:
    """A set as the desk shows it.

    Parameters
    ----------
    evening : Evening or None
        As it was last planned or made in this very order; None where it was not.
    song_names : tuple of str
        Of its songs below the desk's folder; empty for one that lies elsewhere.
    """

    name: str
    set_list: SetList
    evening: Evening | None
    making: OrderedRun | None
    song_names: tuple[str, ...]
    folder: str

    @property
    def cautions(self) -> tuple[ShownCaution, ...]:
        """What is to be said of the evening as a whole."""
        if self.evening is None:
            return ()
        of_slot = [self._shown(c.words, c.mends) for c in slot_cautions(self.evening)]
        return (*of_slot, *self._all_shown(self.evening))

    def cautions_of(self, number: int) -> tuple[ShownCaution, ...]:
        """What is to be said of a join, from 1."""
        if self.evening is None:
            return ()
        join, songs = self.evening.joins[number - 1], self.evening.songs
        shown = self._all_shown(join)
        if join.problem and join.problem not in (songs[number - 1].problem, songs[number].problem):
            shown.append(ShownCaution(words=join.problem))
        return tuple(shown)

    @property
    def unchosen(self) -> tuple[int, ...]:
        """Numbers of the joins that are made and not chosen yet."""
        joins = () if self.evening is None else self.evening.joins
        return tuple(j.number for j in joins if j.document is not None and not j.document.choice)

    @property
    def n_made(self) -> int:
        """How many joins there are options for."""
        joins = () if self.evening is None else self.evening.joins
        return sum(join.document is not None for join in joins)

    def _all_shown(self, told: Evening | EveningJoin) -> list[ShownCaution]:
        mends = dict(enumerate(told.mends))
        return [self._shown(words, mends.get(n, ())) for n, words in enumerate(told.warnings)]

    def _shown(self, words: str, mends: tuple[Mend, ...]) -> ShownCaution:
        titles = [song.title for song in self.set_list.songs]
        ways = tuple(
            WayToMend(words=_MENDS[kind].format(titles[n - 1]), target=kind, at=n - 1)
            for kind, n in mends
        )
        return ShownCaution(words=words, ways=ways)


_MENDS: Final = {
    "order": "Move {}",
    "fewer": "Take {} out",
    "more": "Add a song",
    "between": "Talk or stop after {}",
    "file": "Show the file of {}",
}
"""What is pressed, by what mends it."""


def set_names(house: House) -> tuple[str, ...]:
    """Set files that lie in the folder itself."""
    found = []
    for path in sorted(house.folder.root.glob("*.toml")):
        is_song = path.name == "song.toml" or path.name.endswith(".song.toml")
        if is_song or path.name.startswith(".") or path.is_symlink() or not path.is_file():
            continue
        try:
            if "[[songs]]" in set_text(path):
                found.append(path.name)
        except SegueError:
            continue
    return tuple(found)


def evening_view(house: House, name: str) -> EveningView:
    """A set and what is known of its evening.

    Raises
    ------
    RequestRefusalError
        If there is no such set, or a song of it lies outside of the folder.
    SegueError
        If the set file is faulty.
    """
    set_list = read_set_of(house, name)
    out = evening_folder(house, name)
    return EveningView(
        name=name,
        set_list=set_list,
        evening=_known(out, set_list),
        making=house.maker.latest(lambda m: isinstance(m.request, SetOrder) and m.run == name),
        song_names=tuple(_name_of(house, song.path) for song in set_list.songs),
        folder=house.folder.name_of(out),
    )


def order_evening(house: House, body: SetBody) -> None:
    """Have an evening planned, or made with every join.

    Raises
    ------
    SegueError
        If the set file is faulty, or another thing lies where the evening should be.
    """
    from segue.setlist.set_request import check_request

    request = SetRequest(
        set_list=read_set_of(house, body.set),
        out=evening_folder(house, body.set),
        own_recipes=house.rules.own_recipes,
        own_weights=house.rules.own_weights,
    )
    check_request(request)
    house.maker.order(SetOrder(request=request, plan_only=body.plan_only), body.set)
    house.tell("evening")


def set_path(house: House, name: str) -> Path:
    """A set file of the folder.

    Raises
    ------
    RequestRefusalError
        If there is none of that name.
    """
    path = house.folder.inside(name)
    if path.suffix != ".toml" or path.parent != house.folder.root or not path.is_file():
        raise RequestRefusalError("There is no such set.", status=NOT_FOUND)
    return path


def read_set_of(house: House, name: str) -> SetList:
    """What a set file says.

    Raises
    ------
    RequestRefusalError
        If there is none of that name, or a song of it lies outside of the folder.
    SegueError
        If it is faulty.
    """
    set_list = read_set(set_path(house, name))
    for song in set_list.songs:
        if not house.folder.holds(song.path):
            raise RequestRefusalError(
                f"'{song.title}' lies outside of the folder: move it in, or make this evening "
                "with 'segue set'.",
                status=NOT_FOUND,
            )
    return set_list


def evening_folder(house: House, name: str) -> Path:
    """Where the evening of a set file lies, or will lie.

    Raises
    ------
    RequestRefusalError
        If the name leads out of the folder.
    """
    return house.folder.inside(
        f"{EVENINGS}/{safe_name(name.removesuffix('.toml'), fallback='set')}"
    )


def _known(out: Path, set_list: SetList) -> Evening | None:
    if not (out / SET_NAME).is_file():
        return None
    try:
        evening = read_evening(out)
    except SegueError:
        return None
    titles = [song.title for song in evening.songs]
    return evening if titles == [song.title for song in set_list.songs] else None


def _name_of(house: House, path: Path) -> str:
    from segue.catalogue.scan import absolute

    place = absolute(path)
    return house.folder.name_of(place) if place.is_relative_to(house.folder.root) else ""
