"""Every state of the page, on a phone and a desk, by day and by night, as pictures to look at.

Usage: python tests/browser/screenshots.py FOLDER [STATE ...]
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.browser.served import chromium, served
from tests.browser.states import STATES, scene_of

SIZES = {"phone": (360, 740), "desk": (1280, 900)}


def main(folder: Path, wanted: list[str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as stores, chromium() as browser:
        for state in wanted or STATES:
            scene, path = scene_of(state, Path(stores))
            with served(scene.store, scene.hub, lambda scene=scene: scene.now_utc_s) as address:
                for size, (width, height) in SIZES.items():
                    for scheme in ("light", "dark"):
                        page = browser.new_page(
                            viewport={"width": width, "height": height}, color_scheme=scheme
                        )
                        page.on("console", lambda message, state=state: print(state, message.text))
                        page.goto(address + path)
                        page.wait_for_timeout(300)
                        page.screenshot(
                            path=folder / f"{state}-{size}-{scheme}.png", full_page=True
                        )
                        page.close()
            scene.store.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
