"""What people read, collected: sentences of the source, text of pages, templates and scripts."""

import ast
import re
import tomllib
from html.parser import HTMLParser
from pathlib import Path

import segue

PACKAGE = Path(segue.__file__).parent
ROOT = Path(__file__).parents[2]
FOR_PROGRAMMERS = {"AttributeError", "AssertionError", "RuntimeError", "TypeError", "ValueError"}
"""What is raised as one of these is a fault of the caller's code, and no person reads it."""
READ_ALOUD = {"aria-label", "alt", "title", "placeholder", "aria-valuetext"}
UNREAD = {"script", "style"}


def sentences_of(path):
    """Line and text of every string of a module that has more than one word.

    Docstrings are left out, and what is raised for programmers. Holes of an f-string are shown
    as they are written.
    """
    tree = ast.parse(path.read_text(encoding="utf-8"))
    unread = {part for node in ast.walk(tree) for part in _unread(node)}
    for node in ast.walk(tree):
        text = "" if node in unread else _text_of(node)
        if " " in text.strip():
            yield node.lineno, text


def _unread(node):
    """Docstrings, what programmers alone are told, and the parts of an f-string by themselves."""
    match node:
        case ast.Expr(value=ast.Constant(value=str())):
            return {node.value}
        case ast.Raise(exc=ast.Call(func=ast.Name(id=name))) if name in FOR_PROGRAMMERS:
            return set(ast.walk(node))
        case ast.JoinedStr():
            return set(node.values)
    return set()


def _text_of(node):
    match node:
        case ast.JoinedStr():
            return "".join(
                part.value if isinstance(part, ast.Constant) else f"{{{ast.unparse(part.value)}}}"
                for part in node.values
            )
        case ast.Constant(value=str()):
            return node.value
    return ""


class _Text(HTMLParser):
    def __init__(self):
        super().__init__()
        self.words, self.unread = [], 0

    def handle_starttag(self, tag, attrs):
        self.unread += tag in UNREAD
        self.words += [value for name, value in attrs if name in READ_ALOUD and value]

    def handle_endtag(self, tag):
        self.unread -= tag in UNREAD

    def handle_data(self, data):
        if not self.unread and data.strip():
            self.words.append(data)


def text_of_page(html):
    """What a page shows or has read aloud, as one text."""
    reader = _Text()
    reader.feed(html)
    return " ".join(" ".join(reader.words).split())


def text_of_template(path):
    """What a template says by itself: no comments, no statements, and names of holes left out."""
    text = path.read_text(encoding="utf-8")
    text = re.sub(r"\{#.*?#\}|\{%.*?%\}", " ", text, flags=re.DOTALL)
    spoken = " ".join(
        re.findall(r'"([^"{}]* [^"{}]*)"', " ".join(re.findall(r"\{\{(.*?)\}\}", text)))
    )
    return f"{text_of_page(re.sub(r'{{.*?}}', '…', text, flags=re.DOTALL))} {spoken}"


def text_of_script(path):
    """Strings of a script with more than one word, the names of classes and selectors left out."""
    code = re.sub(r"^\s*//.*$", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
    found = re.findall(r"tell\(([^;]*)\)|textContent = ([^;]*);|new Error\(([^;]*)\)", code)
    return " ".join(" ".join(parts) for parts in found)


def text_of_recipe(path):
    """Name, sentences and layers of a recipe."""
    recipe = tomllib.loads(path.read_text(encoding="utf-8"))
    layers = " ; ".join(layer.get("name", "") for layer in recipe["layers"])
    return f"{recipe['name']} ; {recipe['summary']} ; {recipe['why']} ; {layers}"
