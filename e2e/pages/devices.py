"""The Devices screen, and the page on which a device is paired."""

from __future__ import annotations

from playwright.sync_api import Locator

from e2e.pages.base import Screen


class Devices(Screen):
    path = "/devices"

    def code(self) -> str:
        """The code that lets a device in now."""
        return self.figure("pairing-code").inner_text()

    def paired(self) -> Locator:
        return self.page.locator("#devices-part .row-plain")


class Pairing(Screen):
    path = "/pair"

    def pair(self, code: str, name: str) -> None:
        self.fill("Code", code)
        self.fill("Name of this device", name)
        self.press("Pair")
