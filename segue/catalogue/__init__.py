"""A catalogue of many songs: the facts of both edges of each, in one SQLite file.

Takes folders; `build_catalogue` hears each song whose content is not in the file yet,
and `neighbours_of` and `write_all_pairs` tell which songs suit before and after which.
"""

from segue.catalogue.filling import NOTHING, Build, CatalogueReport, build_catalogue
from segue.catalogue.neighbours import Neighbour, Neighbourhood, neighbours_of
from segue.catalogue.pairs import best_pairs, write_all_pairs
from segue.catalogue.store import Store, open_store

__all__ = [
    "NOTHING",
    "Build",
    "CatalogueReport",
    "Neighbour",
    "Neighbourhood",
    "Store",
    "best_pairs",
    "build_catalogue",
    "neighbours_of",
    "open_store",
    "write_all_pairs",
]
