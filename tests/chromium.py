"""A page in Chromium without a window, driven over its own debugging pipe: nothing else is needed."""

from __future__ import annotations

import base64
import json
import os
import select
import shutil
import subprocess
import time

LONGEST = 120.0  # seconds for one answer


class Chromium:
    """A browser with one page; a context manager.

    `requests` are the addresses that pages asked for, `complaints` what stood in the console or went wrong.
    """

    def __init__(self, profile, width=1280, height=900):
        program = shutil.which("chromium") or shutil.which("chromium-browser")
        assert program, "install chromium for the tests marked browser"
        self.requests, self.complaints = [], []
        self._count, self._rest, self._size = 0, b"", (width, height)
        read, self._out = os.pipe()
        self._in, write = os.pipe()
        command = f'exec "$@" 3<&{read} 4>&{write}'
        options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--remote-debugging-pipe"]
        options += [f"--user-data-dir={profile}", "--disable-background-networking", "about:blank"]
        self._process = subprocess.Popen(
            ["bash", "-c", command, "chromium", program, *options],
            pass_fds=(read, write),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.close(read)
        os.close(write)

    def __enter__(self):
        targets = self._ask("Target.getTargets")["targetInfos"]
        page = next(target["targetId"] for target in targets if target["type"] == "page")
        self._session = self._ask("Target.attachToTarget", targetId=page, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Network", "Log"):
            self.ask(f"{domain}.enable")
        self.resize(*self._size)
        return self

    def __exit__(self, *_):
        try:
            self._ask("Browser.close")
            self._process.wait(20)
        finally:
            self._process.kill()
            self._process.wait()
            os.close(self._out)
            os.close(self._in)

    # ---- what is asked of it

    def ask(self, method, **params):
        return self._ask(method, self._session, **params)

    def open(self, address):
        self.ask("Page.navigate", url=address)
        self._loaded()

    def reload(self):
        self.ask("Page.reload")
        self._loaded()

    def _loaded(self):
        until = time.monotonic() + LONGEST
        while self.run("document.readyState === 'complete' && location.href !== 'about:blank'") is not True:
            assert time.monotonic() < until, "the page did not load"

    def run(self, script):
        """What an expression, or a promise, comes to."""
        found = self.ask("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in found, found["exceptionDetails"]
        return found["result"].get("value")

    def resize(self, width, height, scale=1):
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=scale,
            mobile=width < 600,
        )

    def press(self, key, text=""):
        codes = {"Tab": 9, "Enter": 13, " ": 32, "ArrowRight": 39, "ArrowLeft": 37}
        common = {"key": key, "code": "Space" if key == " " else key, "windowsVirtualKeyCode": codes[key]}
        text = text or {" ": " ", "Enter": "\r"}.get(key, "")
        self.ask("Input.dispatchKeyEvent", type="keyDown" if text else "rawKeyDown", text=text, **common)
        self.ask("Input.dispatchKeyEvent", type="keyUp", **common)

    def type(self, text):
        self.ask("Input.insertText", text=text)

    def picture(self, place, whole=True):
        found = self.ask("Page.captureScreenshot", captureBeyondViewport=whole)
        place.write_bytes(base64.b64decode(found["data"]))

    # ---- the pipe: JSON, ended by a zero

    def _ask(self, method, session=None, **params):
        self._count += 1
        message = {"id": self._count, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        os.write(self._out, json.dumps(message).encode() + b"\0")
        while True:
            found = self._next()
            if found.get("id") == self._count:
                assert "error" not in found, (method, found["error"])
                return found["result"]
            self._hear(found.get("method"), found.get("params", {}))

    def _next(self):
        while b"\0" not in self._rest:
            assert select.select([self._in], [], [], LONGEST)[0], "the browser does not answer"
            more = os.read(self._in, 1 << 20)
            assert more, "the browser has gone"
            self._rest += more
        one, _, self._rest = self._rest.partition(b"\0")
        return json.loads(one)

    def _hear(self, method, params):
        if method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(params["exceptionDetails"].get("exception", {}).get("description", "?"))
        elif method == "Runtime.consoleAPICalled":
            self.complaints.append(str(params["args"]))
        elif method == "Log.entryAdded":
            self.complaints.append(params["entry"]["text"])
