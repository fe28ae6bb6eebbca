"""People who work with the running product in Chromium, each with a browser of their own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.urls import reverse
from playwright.sync_api import Browser, Locator, Page, Response

from commissioning.models import User
from tests.support.browser import sign_in

#: Longest wait, in seconds, for something to stand on the page; everything is waited for by its words.
PATIENCE = 20.0


@dataclass
class Person:
    """Somebody with a browser, signed in, in one project."""

    user: User
    page: Page
    code: str
    broken: list[str] = field(default_factory=list)

    def come_in(self) -> Person:
        """Sign in; errors of server and scripts are noted from now on."""
        self.page.set_default_timeout(PATIENCE * 1000)
        self.page.on("pageerror", lambda error: self.broken.append(f"script: {error}"))
        self.page.on("response", self._note)
        sign_in(self.page, self.user)
        return self

    def _note(self, response: Response) -> None:
        if response.status >= 500:
            self.broken.append(f"{response.status} {response.url}")

    def open(self, name: str, *args: Any, query: str = "") -> Person:
        """Go to a page of the project by its name."""
        self.page.goto(reverse(name, args=[self.code, *args]) + query)
        return self

    def press(self, words: str) -> Person:
        """Press a button that sends something, and wait for the page that answers."""
        with self.page.expect_navigation():
            self.page.get_by_role("button", name=words, exact=True).click()
        return self

    def follow(self, words: str) -> Person:
        """Follow a link, and wait for its page."""
        with self.page.expect_navigation():
            self.page.get_by_role("link", name=words).first.click()
        return self

    def type(self, **fields: str) -> Person:
        """Type into fields by their names."""
        for name, text in fields.items():
            self.page.fill(f"[name={name}]", text)
        return self

    def sees(self, *words: str, patience: float = PATIENCE) -> Person:
        """Wait until each of these stands on the page where it can be read."""
        for one in words:
            self.within("body").get_by_text(one).filter(visible=True).first.wait_for(timeout=patience * 1000)
        return self

    def does_not_see(self, words: str) -> Person:
        assert words not in self.text(), f"{self.user} sees '{words}'"
        return self

    def within(self, selector: str) -> Locator:
        return self.page.locator(selector)

    def text(self) -> str:
        """What can be read on the page now."""
        return self.within("body").inner_text()

    def energy(self) -> str:
        """What the banner says of the system's energy."""
        return self.within(".energy").inner_text()


@contextmanager
def browsers(
    chromium: Browser, address: str, code: str, wanted: Sequence[tuple[User, dict[str, int]]], folder: Path
) -> Iterator[list[Person]]:
    """A browser for each person. When the story breaks off, each one's page is kept as a picture and told as text."""
    contexts = [
        chromium.new_context(base_url=address, viewport=size, has_touch=size["width"] < 500) for _, size in wanted
    ]
    people = [Person(user, context.new_page(), code) for (user, _), context in zip(wanted, contexts, strict=True)]
    try:
        for person in people:
            person.come_in()
        yield people
    except BaseException as error:
        for person in people:
            error.add_note(_last_seen(person, folder))
        raise
    finally:
        for context in contexts:
            context.close()


def _last_seen(person: Person, folder: Path) -> str:
    picture = folder / f"{person.user.username}.png"
    try:
        person.page.screenshot(path=picture, full_page=True)
        text = person.text()
    except Exception as error:  # the browser may be what broke
        text = f"could not be read: {error}"
    return f"\n--- {person.user} at {person.page.url}, picture {picture}, broken: {person.broken}\n{text[:3000]}"
