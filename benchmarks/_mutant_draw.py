"""Small damages to source files, drawn by seed: changes that nobody meant.

Cosmic Ray's operators make them, one a place. Left out is what no test could see: annotations
(never evaluated), `if TYPE_CHECKING`, decorators (caches, slots), `strict=` of `zip`, and lines
whose comment says that their number changes no sample (how much is worked on at once).
"""

import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from cosmic_ray.ast import get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators.operator import Operator
from cosmic_ray.plugins import get_operator
from parso.python.tree import Number
from parso.tree import BaseNode, NodeOrLeaf

NAMES: Final = (
    "NumberReplacer",
    *(
        f"ReplaceBinaryOperator_{pair}"
        for pair in (
            "Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Div", "Mod_Mul", "Pow_Mul",
            "BitAnd_BitOr", "BitOr_BitAnd",
        )
    ),
    *(
        f"ReplaceComparisonOperator_{pair}"
        for pair in (
            "Eq_NotEq", "NotEq_Eq", "Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE",
            "GtE_Gt", "GtE_Lt", "Is_IsNot", "IsNot_Is",
        )
    ),
    *(f"ReplaceUnaryOperator_{pair}" for pair in ("USub_UAdd", "Delete_Not")),
    "AddNot", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr",
    "ReplaceOrWithAnd", "ReplaceBreakWithContinue", "ReplaceContinueWithBreak",
    "ExceptionReplacer", "ZeroIterationForLoop",
)  # fmt: skip
"""Of the binary operators one opposite each: further ones fail for their types alone."""
LARGE: Final = 10
"""One more or less says nothing of a number above this: it is halved instead."""


NO_SAMPLE: Final = "changes no sample"
"""Comment of a number that only parts the work; other tests hold that it does no more."""
_STARS: Final = ("*", "**", "/")
_PRODUCTS: Final = ("term", "power", "atom_expr")
"""Where these signs calculate; elsewhere they unpack, or part kinds of parameters."""


class HalveNumber(Operator):
    """A number that is halved."""

    def mutation_positions(self, node: NodeOrLeaf) -> Iterator[tuple]:
        if isinstance(node, Number):
            yield node.start_pos, node.end_pos

    def mutate(self, node: NodeOrLeaf, index: int) -> NodeOrLeaf:  # noqa: ARG002 (the interface)
        value = _value(node) / 2
        is_whole = "." not in node.value and "e" not in node.value.lower()
        return Number(f" {int(value) if is_whole else value}", node.start_pos)

    @classmethod
    def examples(cls) -> tuple:
        return ()


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Mutant:
    """One damage to one file: `path` is relative to the tree, `line` counts from one."""

    path: str
    line: int
    operator: str
    occurrence: int

    @property
    def room(self) -> str:
        """Part of the program that is damaged."""
        return Path(self.path).parts[1]

    def damaged(self, source: str) -> str:
        """The source with the damage in it."""
        text = mutate_code(source, _operator(self.operator), self.occurrence)
        if text is None or text == source:
            raise ValueError(f"{self}: nothing was changed")
        return text

    def told(self, source: str) -> str:
        """File, line, and what became of it."""
        before, after = source.splitlines(), self.damaged(source).splitlines()
        changed = [n for n, pair in enumerate(zip(before, after, strict=False)) if len({*pair}) > 1]
        first = changed[0]
        return f"{self.path}:{first + 1}  {before[first].strip()}  ->  {after[first].strip()}"


def drawn(root: Path, rooms: tuple[str, ...], n_mutants: int, seed: int) -> list[Mutant]:
    """Mutants of some rooms: lines are drawn alike, and one damage of those each allows."""
    draw = random.Random(seed)
    lines: dict[tuple[str, int], list[Mutant]] = {}
    for room in rooms:
        for path in sorted((root / "segue" / room).rglob("*.py")):
            for mutant in _mutants_of(path, str(path.relative_to(root))):
                lines.setdefault((mutant.path, mutant.line), []).append(mutant)
    chosen = draw.sample(sorted(lines), min(n_mutants, len(lines)))
    return [draw.choice(sorted(lines[line])) for line in chosen]


def _operator(name: str) -> Operator:
    return HalveNumber() if name == "HalveNumber" else get_operator(f"core/{name}")()


def _mutants_of(path: Path, name: str) -> Iterator[Mutant]:
    source = path.read_text(encoding="utf-8")
    unseen = {n for n, text in enumerate(source.splitlines(), start=1) if NO_SAMPLE in text}
    tree = get_ast(source)
    for operator in (*NAMES, "HalveNumber"):
        occurrence = -1
        for node, is_seen in _nodes(tree):
            for start, _ in _operator(operator).mutation_positions(node):
                occurrence += 1
                if is_seen and start[0] not in unseen and _says_something(operator, node):
                    yield Mutant(
                        path=name,
                        line=start[0],
                        operator=operator,
                        occurrence=occurrence,
                    )


def _nodes(node: NodeOrLeaf, *, is_seen: bool = True) -> Iterator[tuple[NodeOrLeaf, bool]]:
    """All nodes in Cosmic Ray's order, and whether a test could see them change."""
    is_seen = is_seen and not _is_unseen(node)
    yield node, is_seen
    if isinstance(node, BaseNode):
        for child in node.children:
            yield from _nodes(child, is_seen=is_seen)


def _is_unseen(node: NodeOrLeaf) -> bool:
    if node.type in ("decorator", "decorators"):
        return True
    if node.type == "if_stmt" and node.children[1].get_code().strip() == "TYPE_CHECKING":
        return True
    if node.type == "argument" and node.children[0].get_code().strip() == "strict":
        return True
    parent, before = node.parent, node.get_previous_sibling()
    if node.type == "operator" and node.value in _STARS and parent.type not in _PRODUCTS:
        return True
    if before is None or before.type != "operator":
        return False
    is_annotation = parent.type in ("annassign", "tfpdef") and before.value == ":"
    return is_annotation or (parent.type == "funcdef" and before.value == "->")


def _says_something(operator: str, node: NodeOrLeaf) -> bool:
    if operator == "HalveNumber":
        return abs(_value(node)) > LARGE
    return operator != "NumberReplacer" or abs(_value(node)) <= LARGE


def _value(node: NodeOrLeaf) -> complex:
    return complex(node.value) if "j" in node.value else float(_plain(node.value))


def _plain(text: str) -> float:
    text = text.replace("_", "").lower()
    return float(int(text, 0)) if text[:2] in ("0x", "0b", "0o") else float(text)
