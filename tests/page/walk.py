"""Random actions on the page, as an impatient hand makes them.

By hand, the long ones: `python -m tests.page.walk`, 20 walks of 200 actions.
"""

import random
import sys
import tempfile
import time
from pathlib import Path


def walk(tab, seed: int, steps: int) -> None:
    """Make random actions; nothing is expected of them but that no error comes."""
    rng = random.Random(seed)
    for _ in range(steps):
        act = rng.choice(
            ["drag", "drag", "arrow", "type", "press", "press", "pick", "undo", "wheel"]
        )
        if act in ("drag", "arrow", "type"):
            fields = tab.locator("input.number:visible")
            count = fields.count()
            if not count:
                continue
            field = fields.nth(rng.randrange(count))
            box = field.bounding_box()
            if box is None:
                continue
            if act == "drag":
                field.evaluate("(one) => one.scrollIntoView({block: 'center'})")
                box = field.bounding_box() or box
                tab.mouse.move(box["x"] + 5, box["y"] + 8)
                tab.mouse.down()
                tab.mouse.move(box["x"] + rng.randint(-80, 80), box["y"] + 8, steps=3)
                tab.mouse.up()
                continue
            field.evaluate("(one) => one.focus()")
            if act == "arrow":
                tab.keyboard.press(rng.choice(["ArrowUp", "ArrowDown", "Shift+ArrowUp", "Delete"]))
            else:
                tab.keyboard.press("Enter")
                tab.keyboard.type(rng.choice(["0.5", "-3", "x", "", "1e9", "0,7"]))
                tab.keyboard.press(rng.choice(["Enter", "Escape", "Tab"]))
        elif act == "press":
            buttons = tab.locator("#recipe button, #below button, #other")
            count = buttons.count()
            if count:
                buttons.nth(rng.randrange(count)).evaluate("(one) => one.click()")
        elif act == "pick":
            pictures = tab.locator(".picture")
            if pictures.count():
                pictures.nth(rng.randrange(pictures.count())).evaluate("(one) => one.focus()")
                tab.keyboard.press(rng.choice(["Enter", "ArrowLeft", "f", "Escape"]))
        elif act == "undo":
            tab.keyboard.press(rng.choice(["Control+z", "Control+Shift+z"]))
        else:
            tab.mouse.wheel(0, rng.choice([-300, 300]))
        time.sleep(rng.choice([0, 0, 0.05, 0.2]))


def main(walks: int, steps: int) -> None:
    from playwright.sync_api import sync_playwright

    import lookkit
    from tests.page.browser import CHROMIUM, EXACT, FLAGS, Served, until
    from tests.page.film import make_film

    told: list[str] = []

    def tell(what: object) -> None:
        text = str(getattr(what, "text", what))
        # A driver tells that reading pixels back, as miniatures are made, is slow.
        if "GPU stall" not in text:
            told.append(text)

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as made:
        recipe, files = make_film(Path(folder))
        server = Served(recipe, files)
        browser = made.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        for seed in range(walks):
            tab = browser.new_page(viewport={"width": 1200, "height": 900})
            tab.on("console", tell)
            tab.on("pageerror", tell)
            tab.goto(server.url)
            until(tab, EXACT)
            walk(tab, seed, steps)
            told += tab.evaluate("page.errors")
            lookkit.load(recipe)
            tab.close()
            print(f"walk {seed + 1}: {len(told)} errors", flush=True)
        browser.close()
        server.close()
    print("\n".join(told))
    sys.exit(bool(told))


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:3]) if len(sys.argv) > 2 else (20, 200))
