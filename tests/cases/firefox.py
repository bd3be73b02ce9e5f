"""Firefox on a screen in memory, driven over its own remote protocol (Marionette).

Without a screen it has no WebGL, so it runs under Xvfb, where Mesa draws in software.
Messages are a length, a colon and JSON: `[0, number, command, arguments]` out,
`[1, number, error, result]` back.
"""

from __future__ import annotations

import json
import os
import shutil
import socket
import subprocess
import time
from pathlib import Path
from types import TracebackType
from typing import Any

PREFERENCES = {
    "webgl.disabled": False,
    "webgl.force-enabled": True,
    "marionette.port": 0,
    "app.update.disabledForTesting": True,
    "browser.shell.checkDefaultBrowser": False,
    "browser.startup.page": 0,
    "datareporting.policy.dataSubmissionEnabled": False,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "toolkit.telemetry.enabled": False,
}

STARTS_IN = 60.0
"""Seconds that a busy machine may take to start a screen or the browser."""


def missing() -> str:
    """What is not installed, for the reason of a skip; nothing where all is there."""
    wanted = ("firefox", "Xvfb")
    return ", ".join(name for name in wanted if shutil.which(name) is None)


class Firefox:
    """A browser on a screen of its own, until its block ends."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.number = 0
        self.screen, display = _screen()
        settings = (f"user_pref({json.dumps(k)}, {json.dumps(v)});" for k, v in PREFERENCES.items())
        (folder / "user.js").write_text("\n".join(settings), encoding="utf-8")
        self.process = subprocess.Popen(
            ["firefox", "--marionette", "--no-remote", "--profile", str(folder)],
            env=os.environ | {"DISPLAY": display, "HOME": str(folder)},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        self.socket = socket.create_connection(("127.0.0.1", self._port()), timeout=STARTS_IN)
        self.answers = self.socket.makefile("rb")
        self._hear()
        self.send("WebDriver:NewSession", capabilities={"alwaysMatch": {}})

    def _port(self) -> int:
        told = self.folder / "MarionetteActivePort"
        for _ in range(int(STARTS_IN / 0.05)):
            if told.exists() and (text := told.read_text()):
                return int(text)
            time.sleep(0.05)
        raise AssertionError("Firefox does not start")

    def _hear(self) -> Any:
        digits = b""
        while (byte := self.answers.read(1)) != b":":
            digits += byte
        return json.loads(self.answers.read(int(digits)))

    def send(self, command: str, **arguments: Any) -> Any:
        """What a command gives; AssertionError with the browser's word where it fails."""
        self.number += 1
        text = json.dumps([0, self.number, command, arguments]).encode()
        self.socket.sendall(b"%d:%s" % (len(text), text))
        _, _, error, result = self._hear()
        assert not error, error
        return result

    def go(self, address: str) -> None:
        """Open a page."""
        self.send("WebDriver:Navigate", url=address)

    def run(self, body: str, *arguments: Any) -> Any:
        """What the body of an asynchronous function gives in the page."""
        script = f"""const [done, ...given] = [arguments[arguments.length - 1], ...arguments];
          (async () => {{ {body} }})().then((value) => done([value]), (e) => done(String(e)));"""
        answer = self.send(
            "WebDriver:ExecuteAsyncScript",
            script=script,
            args=list(arguments),
            sandbox=None,
            newSandbox=False,
        )["value"]
        assert isinstance(answer, list), answer
        return answer[0]

    def __enter__(self) -> Firefox:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        for process in (self.process, self.screen):
            process.terminate()
            process.wait(STARTS_IN)
        self.socket.close()


def _screen() -> tuple[subprocess.Popen[bytes], str]:
    """A screen in memory under a free number, which it tells on a pipe."""
    reader, writer = os.pipe()
    process = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writer), "-screen", "0", "1280x1024x24", "-nolisten", "tcp"],
        pass_fds=[writer],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writer)
    with os.fdopen(reader) as told:
        return process, f":{told.readline().strip()}"
