"""Make the README's pictures of the app again, from the simulated bench and the invented example history.

Run from anywhere: ``python recordings/app_pictures.py``, with ``--only live`` for one of them. It starts a
server on a folder of its own, drives a browser through it (playwright, and Debian's chromium or the one that
``--chromium`` names), and needs a minute. Looked at once more by a person before they go in.
"""

from __future__ import annotations

import argparse
import io
import re
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from PIL import Image  # comes with streamlit
from playwright.sync_api import Browser, Page, sync_playwright

from balancer.history.example import fill_example
from balancer.history.parts import find_any_part
from balancer.history.store import Store

sys.path.insert(0, str(Path(__file__).parent.parent))
from tests.app_server import running
from tests.browser import walk

PICTURES = Path(__file__).parent / "pictures"
LARGEST = 120_000  # bytes: a README that loads on a phone in a shed
COLOURS = 256  # of a palette: a page has few, and the file is less than half as large
WIDE, PHONE = (1280, 940), (390, 844)


@dataclass(frozen=True)
class Scene:
    """A picture: where it begins, how to get to what is shown, and the size and scheme of the window."""

    path: str
    go: Callable[[Page], None]
    size: tuple[int, int] = WIDE
    scheme: str = "light"


def job(page: Page, until: str) -> None:
    """Walk through a job on the simulated bench up to a step."""
    walk.job(page, until)
    page.get_by_role("img").first.wait_for()


def correction(page: Page) -> None:
    """Show where the correction goes."""
    job(page, "Fit the correction")


def done(page: Page) -> None:
    """Show the end of a job: the verdict and the vectors of all runs."""
    job(page, "Done")
    page.get_by_role("img", name=re.compile("1x vector of each run")).wait_for()


def live(page: Page) -> None:
    """Show the simulated bench turning."""
    page.get_by_role("button", name="Start", exact=True).click()
    page.get_by_role("button", name="Stop", exact=True).wait_for()
    page.locator("[data-figure=amplitude] .value").filter(has_text=re.compile(r"^\d")).wait_for()
    time.sleep(6)  # until the cloud of the last seconds has filled


def recording(page: Page) -> None:
    """Show what is in a recording."""
    walk.idle(page)
    page.get_by_role("radio", name="Example: steady run", exact=True).click()
    page.get_by_text("Phase of 1x against speed").wait_for()
    walk.idle(page)


def part(page: Page) -> None:
    """Show the story of a part."""
    page.get_by_role("heading", name="P6").first.wait_for()
    walk.idle(page)


def matching(page: Page) -> None:
    """Show which propeller belongs on which motor."""
    # the craft from above: it comes when the search is done
    page.locator("[data-testid=stMarkdown] svg[role=img]").first.wait_for()
    walk.idle(page)


def scenes(part_id: str) -> dict[str, Scene]:
    """Give all pictures by the name of their file."""
    return {
        "app-correction": Scene("", correction),
        "app-done": Scene("", done),
        "app-live": Scene("live", live),
        "app-recording": Scene("recordings", recording),
        "app-part": Scene(f"parts?part={part_id}", part),
        "app-matching": Scene("matching", matching),
        "app-phone": Scene("", correction, PHONE, "dark"),
    }


def take(browser: Browser, url: str, scene: Scene) -> bytes:
    """Walk to what is shown, and give the picture as a PNG with few colours."""
    width, height = scene.size
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scene.scheme)
    context.add_init_script(path=walk.RESTS)
    page = context.new_page()
    page.set_default_timeout(120_000)
    page.goto(f"{url}/{scene.path}")
    scene.go(page)
    # to the top of the page, and no button looks as if it were under the hand
    page.mouse.move(0, 0)
    page.evaluate("document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
    page.evaluate("document.activeElement?.blur()")
    time.sleep(0.5)  # charts and their words fade in
    shot = page.screenshot()
    context.close()
    return small(shot)


def small(png: bytes) -> bytes:
    """Give the same picture in a palette."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(
        out, "PNG", optimize=True
    )
    return out.getvalue()


def main() -> None:
    """Write the pictures."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--only", nargs="*", default=[], help="names of pictures, such as live")
    asked.add_argument("--out", type=Path, default=PICTURES, help="folder for them")
    asked.add_argument("--chromium", default="/usr/bin/chromium", help="the browser")
    wish = asked.parse_args()
    wish.out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        home = Path(folder) / "home"
        with Store.open(home) as store:
            fill_example(store, date.today(), seconds=2.0)
            found = find_any_part(store, "P6")
        assert found is not None
        wanted = {
            name: scene
            for name, scene in scenes(found.id).items()
            if not wish.only or name.removeprefix("app-") in wish.only
        }
        with running(Path(folder), walk.with_home(home)) as server:
            browser = playwright.chromium.launch(executable_path=wish.chromium, args=["--no-sandbox"])
            for name, scene in wanted.items():
                picture = take(browser, server.url, scene)
                (wish.out / f"{name}.png").write_bytes(picture)
                print(f"{name}.png: {len(picture) / 1000:.0f} kB", flush=True)
                if len(picture) > LARGEST:
                    raise SystemExit(f"{name}.png is too large: take fewer colours or a smaller window")
            browser.close()


if __name__ == "__main__":
    main()
