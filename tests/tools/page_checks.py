"""What every page must stand in a browser: widths, light and dark, and the accessibility rules of axe."""

from __future__ import annotations

from typing import Any

ALL = ((1280, "light"), (1280, "dark"), (400, "light"), (400, "dark"))
EACH_ONCE = ((1280, "light"), (400, "dark"))  # each width and each scheme; their rules do not depend on each other


def violations_everywhere(page: Any, looks: tuple[tuple[int, str], ...] = EACH_ONCE) -> list[str]:
    """What axe finds, and where something hangs out at the side, at widths in px and schemes."""
    from axe_playwright_python.sync_playwright import Axe

    page.evaluate("() => document.querySelectorAll('details').forEach(one => { one.open = true; })")
    found = []
    for width, scheme in looks:
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(150)
        told = Axe().run(page).response["violations"]
        found += [f"{width} {scheme} {v['id']}: {[n['html'][:150] for n in v['nodes'][:3]]}" for v in told]
        for _ in range(100):  # a plot follows a change of width a little later
            if not page.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
                break
            page.wait_for_timeout(100)
        else:
            found.append(f"{width}: hangs out at the side")
    page.emulate_media(color_scheme="light")
    return found
