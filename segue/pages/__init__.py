"""Pages: the templates, style sheets and scripts of everything that opens in a browser.

Templates are in `templates`, style sheets in `styles`, scripts in `scripts`: no other
part of Segue writes HTML. This part knows no music.
"""

from segue.pages.filling_in import FOR_EARS, TURN_DOWN, filled, joined, json_block

__all__ = ["FOR_EARS", "TURN_DOWN", "filled", "joined", "json_block"]
