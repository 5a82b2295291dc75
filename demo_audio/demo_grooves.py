"""The drum grooves of the set: a row of sixteenths for each voice (see demo_score)."""

from __future__ import annotations

from typing import Final

Groove = dict[str, str]

ROCK: Final[Groove] = {
    "kick": "X.....x.x.....x.X.....x.x.x...o.",
    "snare": "....X..o.o..X.......X..o.o..X..o",
    "hat": "X.x.x.x.X.x.x.x.X.x.x.x.X.x.x...",
    "open": "..............................x.",
}
ROCK_INTRO: Final[Groove] = {
    "kick": "X.......x.......X.......x.....x.",
    "stick": "....x.......x.......x.......x...",
    "hat": "X.x.x.x.X.x.x.x.X.x.x.x.X.x.x.xo",
}
ROCK_CHORUS: Final[Groove] = {
    "kick": "X.....x.x.x...x.X...x.x.x.....x.",
    "snare": "....X..o.o..X..o....X..o.o..X.oo",
    "ride": "X.x.X.x.X.x.X.x.X.x.X.x.X.x.X.x.",
    "tamb": "....x.......x.......x.......x...",
}
ROCK_BREAK: Final[Groove] = {
    "kick": "X...x...X...x...",
    "floor": "X.x.x.X.x.x.X.x.",
    "pedal": "....x.......x...",
}
ROCK_FILL: Final[Groove] = {
    "kick": "X.......x.......",
    "snare": "....X..oX.oxX.xx",
    "hat": "X.x.x.x.........",
    "floor": "..............X.",
}
TOM_FILL: Final[Groove] = {
    "kick": "X...x...X...x...",
    "pedal": "x...x...x...x...",
    "snare": "xxooX...........",
    "high": "......xx........",
    "tom": "........xXx.....",
    "floor": "...........xXxXX",
}
SLOW: Final[Groove] = {
    "kick": "X......x..x.....X..x....x.x.....",
    "snare": "....X..o.o..X.......X..o.o..X.o.",
    "hat": "XoxoXoxoXoxoXoxoXoxoXoxoXoxoXo..",
    "open": "..............................x.",
}
SLOW_INTRO: Final[Groove] = {
    "kick": "X.........x.....X.........x..x..",
    "stick": "....X.......X..o....X.......X...",
    "hat": "x.xox.xox.xox.xox.xox.xox.xox.xo",
}
SLOW_CHORUS: Final[Groove] = {
    "kick": "X..x...x..x.....X..x....x.x...x.",
    "snare": "....X..o.o..X..o....X..o.o..X.oo",
    "hat": "XoxoXoxoXoxoXoxoXoxoXoxoXoxoXoxo",
    "shaker": "x.x.x.x.x.x.x.x.x.x.x.x.x.x.x.x.",
}
SLOW_FILL: Final[Groove] = {
    "kick": "X......x..x...x.",
    "snare": "....X..o.xoxX.Xx",
    "hat": "XoxoXoxo........",
    "tom": "..........x.....",
}
WALTZ: Final[Groove] = {
    "kick": "X.......o...X.........o.",
    "snare": "....x..ox..o....x.o.x..o",
    "hat": "x...x.o.x...x...x.o.x.o.",
}
WALTZ_INTRO: Final[Groove] = {"kick": "o...........", "pedal": "....o...o..."}
WALTZ_CHORUS: Final[Groove] = {
    "kick": "X.......x.o.X.........x.",
    "snare": "....X..oX..o....X.o.X..o",
    "ride": "X...x.x.x...X...x.x.x.x.",
}
WALTZ_FILL: Final[Groove] = {
    "kick": "X.......x...",
    "snare": "..o.x.oxX.xx",
    "tom": "......x.....",
    "floor": "..........x.",
}
SHUFFLE: Final[Groove] = {
    "kick": "X..x....x..x....X..x....x.....x.",
    "snare": "....X..o....X..o....X..o.o..X...",
    "hat": "X.x.x.x.X.x.x.x.X.x.x.x.X.x.x.x.",
    "shaker": "xoxoxoxoxoxoxoxoxoxoxoxoxoxoxoxo",
}
SHUFFLE_CHORUS: Final[Groove] = {
    "kick": "X..x...xx..x....X..x...xx.....x.",
    "snare": "....X..o.o..X..o....X..o.o..X..o",
    "ride": "X.x.X.x.X.x.X.x.X.x.X.x.X.x.X.x.",
    "tamb": "..x...x...x...x...x...x...x...x.",
}
SHUFFLE_FILL: Final[Groove] = {
    "kick": "X..x....x.......",
    "snare": "....X..oxoxxX.xx",
    "hat": "X.x.x.x.........",
    "tom": ".........x......",
    "floor": ".............x..",
}
DANCE: Final[Groove] = {
    "kick": "X...X...X...X...",
    "clap": "....X.......X...",
    "snare": "....x..o....x.o.",
    "hat": "xo.oxo.oxo.oxo.o",
    "open": "..X...X...X...X.",
}
DANCE_INTRO: Final[Groove] = {
    "kick": "X...X...X...X...",
    "hat": "xo.oxo.oxo.oxo.o",
    "open": "..x...x...x...x.",
}
DANCE_CHORUS: Final[Groove] = {**DANCE, "tamb": "x.x.X.x.x.x.X.x.", "kick": "X...X..oX...X.x."}
DANCE_FILL: Final[Groove] = {
    "kick": "X...X...X...X...",
    "clap": "....X.......X...",
    "snare": "....x.xoX.xxXxXX",
    "high": "........x.......",
    "floor": "..........x...x.",
}
HARD_HIT: Final[Groove] = {
    "kick": "X...............",
    "snare": "X...............",
    "floor": "X...............",
}
LAST_HIT: Final[Groove] = {"kick": "X" + 31 * ".", "crash": "X" + 31 * "."}
LAST_WALTZ: Final[Groove] = {"kick": "X" + 23 * ".", "crash": "o" + 23 * "."}

PICKUP_FILL: Final[Groove] = {"snare": "..o.x.xx", "floor": "......x.", "kick": "x......."}
