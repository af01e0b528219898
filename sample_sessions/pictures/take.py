"""Takes the picture of the report that README shows: runs a sample session and photographs the top of its page."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
WIDTH, HEIGHT = 1100, 1500


def main() -> None:
    """Write report.png beside this program. Needs Chromium and the package playwright."""
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "fairhearing", "run", str(HERE.parent / "filter-as-set"), "--out", folder]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
            page = browser.new_context(offline=True, viewport={"width": WIDTH, "height": HEIGHT}).new_page()
            page.goto((Path(folder) / "report.html").as_uri())
            page.wait_for_selector("figure svg")
            page.screenshot(path=HERE / "report.png")
            browser.close()


if __name__ == "__main__":
    main()
