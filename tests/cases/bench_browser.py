"""A bench in the browser, for the tests that drive one."""

from __future__ import annotations

import shutil
from base64 import b64decode, b64encode
from collections.abc import Callable
from typing import Any

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("chrome")
FLAGS = (
    "--headless --no-sandbox --disable-quic --no-first-run --disable-background-networking "
    "--disable-component-update --disable-sync --use-gl=angle --use-angle=swiftshader "
    "--enable-unsafe-swiftshader --ignore-gpu-blocklist --use-fake-ui-for-media-stream "
    "--use-fake-device-for-media-stream"
)

PIXELS = """
  const {bench} = lutbench;
  const {gl, canvas} = bench.engine;
  await bench.showStill();
  bench.engine.draw(bench.scene());
  const bytes = new Uint8Array(4 * canvas.width * canvas.height);
  gl.bindFramebuffer(gl.FRAMEBUFFER, null);
  gl.readPixels(0, 0, canvas.width, canvas.height, gl.RGBA, gl.UNSIGNED_BYTE, bytes);
  let text = "";
  for (let at = 0; at < bytes.length; at += 32768)
    text += String.fromCharCode(...bytes.subarray(at, at + 32768));
  return [canvas.width, canvas.height, btoa(text)];
"""
"""The body of an asynchronous function of the page: what is shown, for `codes_of`."""


def codes_of(answer: tuple[int, int, str]) -> Any:
    """R G B codes of what `PIXELS` gave, as numpy (height, width, 3), the top line first."""
    import numpy as np

    width, height, text = answer
    codes = np.frombuffer(b64decode(text), np.uint8).reshape(height, width, 4)
    return codes[::-1, :, :3].astype(int)


class Opened:
    """A bench in the browser: what it said, what it asked for, and ways to drive it."""

    def __init__(self, browser: Any, address: str, fragment: str = "", **settings: Any) -> None:
        settings.setdefault("viewport", {"width": 1100, "height": 700})
        self.view = browser.new_page(**settings)
        self.said: list[str] = []
        self.asked: list[str] = []
        self.view.on("console", self._hear)
        self.view.on("pageerror", lambda error: self.said.append(str(error)))
        self.view.on("dialog", lambda dialog: (self.said.append("dialog"), dialog.dismiss()))
        self.view.on("request", lambda request: self.asked.append(request.url))
        self.address = address
        self.view.goto(address + fragment)
        self.wait_for_picture()

    def start_over(self) -> None:
        """The state as when the page was opened."""
        self.view.evaluate(
            "lutbench.bench.swapped = false; lutbench.bench.set(lutbench.bench.start)"
        )

    def wait_for_picture(self) -> None:
        """Until a picture lies on the bench."""
        self.wait("globalThis.lutbench?.bench.engine.width > 0")

    def wait(self, expression: str, argument: Any = None) -> None:
        """Until an expression holds; the page's policy forbids the browser to poll by itself."""
        for _ in range(600):
            if self.view.evaluate(expression, argument):
                return
            self.view.wait_for_timeout(50)
        raise AssertionError(f"still does not hold: {expression}; the page said {self.said}")

    def _hear(self, message: Any) -> None:
        # A driver's word on its own speed is none of the page's.
        if "GL Driver Message" not in message.text:
            self.said.append(message.text)

    def set(self, **state: Any) -> None:
        """Change the state, and wait until its still is there."""
        self.view.evaluate(
            "async (state) => { const {bench} = lutbench; bench.set(state);"
            " await bench.showStill(); }",
            state,
        )

    def pixels(self) -> Any:
        """R G B codes of what is shown, as numpy (height, width, 3)."""
        return codes_of(self.view.evaluate(f"async () => {{ {PIXELS} }}"))

    def drop(self, name: str, data: bytes, kind: str = "") -> str:
        """Drop a file on the page; what the page says of it (nothing where it takes it)."""
        message: str = self.view.evaluate(
            """async ([name, text, kind]) => {
              const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
              const {bench} = lutbench;
              await bench.open(new File([bytes], name, {type: kind}));
              await bench.showStill();
              return bench.message;
            }""",
            [name, b64encode(data).decode("ascii"), kind],
        )
        return message


Open = Callable[..., Opened]
