"""What every page must stand in a browser: widths, light and dark, and the accessibility rules of axe."""

from __future__ import annotations

from typing import Any

WIDTHS, SCHEMES = (1280, 400), ("light", "dark")


def violations_everywhere(page: Any) -> list[str]:
    """What axe finds, and where something hangs out at the side, at each width in each scheme."""
    from axe_playwright_python.sync_playwright import Axe

    page.evaluate("() => document.querySelectorAll('details').forEach(one => { one.open = true; })")
    found = []
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        for scheme in SCHEMES:
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
