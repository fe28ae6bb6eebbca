"""What can be wrong with a page as Chromium shows it: found by axe, by its width, and by its security policy."""

from __future__ import annotations

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import BrowserContext, Page


def objections(page: Page, **options: object) -> list[str]:
    """What axe objects to on the page as it stands: the rule, and where."""
    found = Axe().run(page, options=options or None).response["violations"]
    return [f"{one['id']}: {[node['target'] for node in one['nodes']][:4]}" for one in found]


def too_wide(page: Page) -> list[str]:
    """By how much the page scrolls sideways, if it does."""
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    return [f"scrolls sideways by {wide} px"] if wide > 0 else []


#: Keeps, in the page, what its policy refused from the first line on.
WATCH = """
window.refusedByPolicy = [];
document.addEventListener("securitypolicyviolation", (said) =>
  window.refusedByPolicy.push(`${said.effectiveDirective}: ${said.blockedURI} ${said.sourceFile}:${said.lineNumber}`));
"""


def watch_policy(context: BrowserContext) -> None:
    """From now on every page of this browser keeps what its content security policy refused."""
    context.add_init_script(WATCH)


def refused_by_policy(page: Page) -> list[str]:
    """What the content security policy refused on the page; the context was given to `watch_policy` before."""
    return [f"policy {one}" for one in page.evaluate("window.refusedByPolicy")]


def flaws(page: Page) -> list[str]:
    """Everything at once: axe by day, contrast by night, and nothing that makes the page scroll sideways."""
    found = objections(page) + too_wide(page)
    page.emulate_media(color_scheme="dark")
    found += [f"dark {one}" for one in objections(page, runOnly=["color-contrast"])]
    page.emulate_media(color_scheme="light")
    return found
