"""Draws the pictures of the README anew, from the demo shop: ``python -m tests.pictures``.

It makes a demo shop of its own in a folder that goes, serves it, signs in as each of four people, opens what the tour
tells of, and writes the pictures with few colours, so that they stay small.
"""

import os
from io import BytesIO

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from tests.served_demo import TOP, demo_site

PICTURES = TOP / "demo_fixtures" / "pictures"
COLOURS = 64
DESK, TABLET = {"width": 1280, "height": 960}, {"width": 1112, "height": 834}


def keep(name: str, page: Page) -> None:
    """Write what stands on the screen as a picture of few colours, once buttons may be touched."""
    page.wait_for_load_state("networkidle")
    page.evaluate("document.activeElement.blur()")
    page.wait_for_timeout(1500)
    shot = Image.open(BytesIO(page.screenshot()))
    PICTURES.mkdir(exist_ok=True)
    shot.quantize(COLOURS, dither=Image.Dither.NONE).save(PICTURES / f"{name}.png", optimize=True)


def planners(page: Page, address: str) -> None:
    """The grid of a batch: which part holds which pumps."""
    page.goto(f"{address}/batches/Easter stop/")
    keep("batch", page)


def clerks(page: Page, address: str) -> None:
    """A line of a round."""
    page.goto(f"{address}/picking/")
    for job in ("J-3101", "J-3102"):
        page.locator(f"input[type=checkbox][value='{job}']").first.check()
    page.wait_for_timeout(1200)
    page.locator("main form button.main, main form button[type=submit]").first.click()
    page.wait_for_load_state("networkidle")
    keep("round", page)


def purchasers(page: Page, address: str) -> None:
    """What to buy, by when."""
    page.goto(f"{address}/shortages/")
    keep("shortages", page)


def leads(page: Page, address: str) -> None:
    """A section of the strip report."""
    page.goto(f"{address}/strip-report/J-3103/")
    keep("strip_report", page)


VISITS = (
    ("planner", DESK, planners),
    ("clerk", TABLET, clerks),
    ("purchaser", DESK, purchasers),
    ("lead", TABLET, leads),
)


def main() -> None:
    with demo_site() as address, sync_playwright() as play:
        chromium = os.environ.get("CHROMIUM", "/usr/bin/chromium")
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for name, size, visit in VISITS:
            page = browser.new_context(viewport=size).new_page()
            page.goto(f"{address}/sign-in/")
            page.get_by_label("Name").fill(name)
            page.get_by_label("Password").fill(f"{name}-of-the-demo")
            page.get_by_role("button", name="Sign in").click()
            page.get_by_role("button", name="Sign out").wait_for()
            visit(page, address)
        browser.close()
    for picture in sorted(PICTURES.glob("*.png")):
        print(f"{picture.relative_to(TOP)}: {picture.stat().st_size // 1000} kB")


if __name__ == "__main__":
    main()
