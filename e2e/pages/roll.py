"""The screens of the parked car."""

from __future__ import annotations

from playwright.sync_api import expect

from e2e.pages.base import Screen


class ParkedCar(Screen):
    path = "/roll"

    def more(self, name: str) -> None:
        """Tap the + beside a figure."""
        self.page.get_by_role("button", name=f"{name}: more").tap()

    def less(self, name: str) -> None:
        """Tap the − beside a figure."""
        self.page.get_by_role("button", name=f"{name}: less").tap()

    def expect_says(self, sentence: str) -> None:
        """Wait until the screen says so."""
        expect(self.page.get_by_text(sentence).first).to_be_visible()


class TiltTest(Screen):
    path = "/roll/test"

    def lean(self, beta: float, gamma: float = 0) -> None:
        """Let the phone's sensor say so, often enough for its smoothing to settle."""
        self.page.evaluate(
            """([beta, gamma]) => {
                for (let n = 0; n < 80; n += 1) {
                    dispatchEvent(new DeviceOrientationEvent("deviceorientation", {
                        alpha: 0, beta, gamma,
                    }));
                }
            }""",
            [beta, gamma],
        )
