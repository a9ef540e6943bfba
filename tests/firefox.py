"""Debian's own Firefox for the tests of the pages, by Mozilla's marionette_driver.

Marionette is what WebDriver for Firefox stands on: elements are found, clicked and typed in by the
browser's own code, an element that another one covers refuses the click, and keys are real keys.
"""

from __future__ import annotations

import contextlib
import gc
import shutil
import time
from typing import TYPE_CHECKING

from marionette_driver import By
from marionette_driver.errors import NoSuchElementException, StaleElementException
from marionette_driver.marionette import Marionette

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from marionette_driver.marionette import WebElement

_FIREFOX = next(
    (path for name in ("firefox-esr", "firefox") if (path := shutil.which(name))), "firefox-esr"
)
_PATIENCE_SECONDS = 60.0
"""By when what is waited for has come, however busy the machine is."""
_ERRORS = """
return Services.console.getMessageArray()
  .filter((one) => one instanceof Ci.nsIScriptError && one.sourceName.startsWith(arguments[0]))
  .map((one) => one.toString());
"""


class Firefox:
    """Firefox and the page in its window of now."""

    def __init__(self, driver: Marionette) -> None:
        self.driver = driver

    def all(self, css: str) -> list[WebElement]:
        """What a CSS selector finds."""
        found: list[WebElement] = self.driver.find_elements(By.CSS_SELECTOR, css)
        return found

    def text(self, css: str) -> str:
        """The text that a person sees there; none where nothing is or it is just made anew."""
        try:
            return str(self.driver.find_element(By.CSS_SELECTOR, css).text)
        except (NoSuchElementException, StaleElementException):
            return ""

    def run(self, script: str) -> object:
        """What a script of the page's own returns."""
        return self.driver.execute_script(script, sandbox=None)

    def click(self, css: str) -> None:
        """Clicks the first that is found, once it is there and can be pressed."""
        self.until(lambda: any(one.is_enabled() for one in self.all(css)[:1]), f"{css} is enabled")
        self.all(css)[0].click()

    def fill(self, css: str, text: str) -> None:
        """Types a text, key by key, in place of what a field holds."""
        self.until(lambda: bool(self.all(css)), f"{css} is there")
        self.all(css)[0].clear()
        self.all(css)[0].send_keys(text)

    def until(self, true: Callable[[], bool], what: str) -> None:
        """Waits until something is true."""
        end = time.monotonic() + _PATIENCE_SECONDS
        while not true():
            assert time.monotonic() < end, (what, self.text("#told"), self.text("#say"))
            time.sleep(0.05)

    def errors(self, page: str) -> list[str]:
        """What Firefox's console has against the scripts, styles and policy of a server's pages."""
        with self.driver.using_context("chrome"):
            found: list[str] = self.driver.execute_script(_ERRORS, script_args=[page])
        return found


@contextlib.contextmanager
def firefox(folder: Path) -> Iterator[Firefox]:
    """The system's Firefox without a window of its own; its profile and log lie in `folder`."""
    driver = Marionette(
        bin=_FIREFOX,
        headless=True,
        port=0,
        gecko_log=str(folder / "firefox.log"),
        workspace=str(folder),
        startup_timeout=120,
    )
    driver.start_session()
    try:
        driver.set_window_rect(width=1440, height=900)
        yield Firefox(driver)
    finally:
        driver.delete_session()
        driver.cleanup()
        del driver
        gc.collect()
