"""How long after a save the page shows it. Not a test: run it by hand; it needs watchfiles, playwright and a browser.

    python tests/bench/watch_speed.py [SESSION] [--file measurements/response.csv] [--saves 10]

The session is copied and watched by a process of its own; a browser without a window has its page open. A save changes
the levels of one sweep and is moved in whole. The clock stops when the page has decoded the new picture and has the new
figure in its text, by the browser's clock; it is the same machine's.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

from playwright.sync_api import Page, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
NAMES = ("chromium", "chromium-browser")
FLAGS = ["--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-sync"]
PROMISED_S = 1.0
SHOWN = """([picture, text]) => new Promise((done) => {
    const look = () => {
        const now = document.getElementById("picture");
        if (now.getAttribute("src") !== picture && document.querySelector("article[data-latest]").textContent !== text)
            now.decode().then(() => done(performance.timeOrigin + performance.now()), () => setTimeout(look, 2));
        else setTimeout(look, 2);
    };
    look();
})"""


@contextmanager
def watched(folder: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The program watching a session, after its first build, and its page's address."""
    command = [sys.executable, "-u", "-m", "reviewkit", "watch", str(folder)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as process:
        assert process.stdout
        address = re.search(r"http:\S+", process.stdout.readline())
        assert address
        print(f"first build: {process.stdout.readline()[:6]}")
        yield process, address[0]
        process.terminate()


def saved(place: Path, text: str, step: int) -> float:
    """Save the sweep with its second half shifted; the time just before."""
    lines = text.splitlines()
    changed = []
    for line in lines:
        cells = line.split(",")
        if re.fullmatch(r"[\d.]+", cells[0]) and len(changed) > len(lines) / 2:
            cells[1] = f"{float(cells[1]) + 0.2 * step:.4g}"
        changed.append(",".join(cells))
    beside = place.with_name(".beside")
    beside.write_text("\n".join(changed) + "\n", encoding="utf-8")
    now = time.time()
    os.replace(beside, place)  # noqa: PTH105
    return now


def asked_and_shown(page: Page, place: Path, text: str, step: int) -> float:
    picture = page.get_attribute("#picture", "src")
    said = page.text_content("article[data-latest]")
    page.evaluate(f"([given]) => {{ window.shown = ({SHOWN})(given); }}", [[picture, said]])
    start = saved(place, text, step)
    return page.evaluate("window.shown") / 1000 - start


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("session", type=Path, nargs="?", default=ROOT / "sample_session")
    parser.add_argument("--file", default="measurements/response.csv")
    parser.add_argument("--saves", type=int, default=10)
    asked = parser.parse_args()
    chromium = next(filter(None, map(shutil.which, NAMES)))
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as driver:
        folder = Path(temporary) / "session"
        shutil.copytree(asked.session, folder, ignore=shutil.ignore_patterns("out", "__pycache__"))
        place = folder / asked.file
        text = place.read_text(encoding="utf-8")
        browser = driver.chromium.launch(executable_path=chromium, args=FLAGS)
        with watched(folder) as (process, address):
            assert process.stdout
            page = browser.new_page(viewport={"width": 1280, "height": 720})
            page.goto(address)
            page.wait_for_selector("#picture")
            asked_and_shown(page, place, text, -1)  # the first one draws what was not in memory yet
            process.stdout.readline()
            times = []
            for step in range(1, asked.saves + 1):
                time.sleep(0.5)
                times.append(asked_and_shown(page, place, text, step))
                told = process.stdout.readline().strip()
                print(f"{times[-1]:.2f} s from save to page; {told}; load {os.getloadavg()[0]:.1f}")
        browser.close()
    print(f"{os.cpu_count()} cores, median of {len(times)}: {median(times):.2f} s (at most {PROMISED_S:g})")
    sys.exit(median(times) > PROMISED_S)


if __name__ == "__main__":
    main()
