"""An outside judge of pages: axe-core, and text of twice the size on a phone."""

from axe_playwright_python.sync_playwright import Axe

AXE = Axe()
PHONE_PX = 360


def faults_of(page):
    """What axe finds with all of its rules; on a phone also text of twice the size that overflows.

    WCAG 2.2, success criterion 1.4.4: text can be resized up to 200 percent.
    """
    found = [
        (rule["id"], node["target"])
        for rule in AXE.run(page).response["violations"]
        for node in rule["nodes"]
    ]
    width = page.viewport_size["width"]
    if width <= PHONE_PX:
        root = "document.documentElement"
        page.evaluate(f"{root}.style.fontSize = '200%'")
        wide = page.evaluate(f"{root}.scrollWidth")
        page.evaluate(f"{root}.style.fontSize = ''")
        if wide > width:
            found.append(("text of twice the size", wide))
    return found
