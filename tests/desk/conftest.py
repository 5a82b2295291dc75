"""A desk that is served on a small folder, and a client that sends just what it is told."""

import shutil
import threading
from contextlib import contextmanager

import pytest

from segue.audition.limits import ClientLimits
from segue.audition.network import listening_socket
from segue.cli.shipped import demo_folder
from segue.desk.desk_server import DeskServer
from segue.desk.house import House, HouseRules
from segue.desk.own_folder import own_folder
from tests.audition.wire import PATIENCE_S, WIDE, Client

TOKEN = "a-token-of-the-tests"
SONGS = ("01 Copper Wire Morning", "02 Low Tide Telegraph")


@contextmanager
def served(folder, scratch, clients=None):
    """A desk in a thread of its own; gives its port and its house."""
    house = House(
        folder=own_folder(folder),
        token=TOKEN,
        scratch=scratch,
        rules=HouseRules(own_recipes=scratch / "recipes"),
        clients=clients or ClientLimits(WIDE),
    )
    server = DeskServer(house)
    with listening_socket("127.0.0.1", 0) as sock:
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]})
        thread.start()
        try:
            yield sock.getsockname()[1], house
        finally:
            server.handle_exit(2, None)
            thread.join(PATIENCE_S)
            assert not thread.is_alive()


@pytest.fixture(scope="module", name="songs")
def _songs(tmp_path_factory):
    """A folder of two demo songs, and what is no song."""
    folder = tmp_path_factory.mktemp("desk") / "songs"
    folder.mkdir()
    for name in SONGS:
        shutil.copytree(demo_folder() / name, folder / name)
    (folder / "broken.wav").write_bytes(b"no sound at all")
    return folder


@pytest.fixture(scope="module", name="desk")
def _desk(songs, tmp_path_factory):
    with served(songs, tmp_path_factory.mktemp("scratch")) as (port, house):
        yield port, house


@pytest.fixture(name="client")
def _client(desk):
    return Client(desk[0])


@pytest.fixture(scope="module", name="run_name")
def _run_name(songs, tmp_path_factory):
    """A run folder in the place where the desk makes them, of one quick recipe."""
    from segue import Wishes, between

    out = songs / "segues" / "Copper Wire Morning to Low Tide Telegraph"
    between(songs / SONGS[0], songs / SONGS[1], out=out, wishes=Wishes(recipes=("throw and land",)))
    return out.relative_to(songs).as_posix()
