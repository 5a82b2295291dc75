"""An evening as people read it: rows, page, picture, sheets, pack."""
