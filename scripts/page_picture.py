"""Takes the picture of a page in Chromium without a window, through the WebDriver standard (W3C).

Usage: page_picture.py ADDRESS WIDTH HEIGHT FILE [SECONDS [KEYS [ZOOM]]]

WIDTH and HEIGHT are those of the window, in pixels; KEYS are typed, one after the other, once it has settled; ZOOM is how
much larger the page is shown, 2 for 200 %.
"""

import base64
import json
import subprocess
import sys
import time
import urllib.request


def ask(driver: str, path: str, body: dict | None = None, method: str = "POST") -> object:
    """One request to the driver; its value."""
    data = json.dumps(body or {}).encode() if method == "POST" else None
    request = urllib.request.Request(driver + path, data, {"Content-Type": "application/json"}, method=method)
    with urllib.request.urlopen(request, timeout=120) as answer:
        return json.load(answer)["value"]


def main() -> None:
    """Opens the page, waits until it has settled, and writes the picture."""
    address, width, height, file, *rest = sys.argv[1:]
    zoom = int(rest[2]) if len(rest) > 2 else 1
    driver = subprocess.Popen(["chromedriver", "--port=0"], stdout=subprocess.PIPE, text=True)
    try:
        line = next(line for line in driver.stdout if "successfully on port" in line)
        base = f"http://127.0.0.1:{line.strip().rstrip('.').rsplit(' ', 1)[1]}"
        options = {"args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", f"--force-device-scale-factor={zoom}"]}
        wanted = {"capabilities": {"alwaysMatch": {"goog:chromeOptions": options}}}
        session = f"/session/{ask(base, '/session', wanted)['sessionId']}"
        edges = "return [outerWidth - innerWidth, outerHeight - innerHeight]"
        across, down = ask(base, f"{session}/execute/sync", {"script": edges, "args": []})
        ask(base, f"{session}/window/rect", {"width": int(width) // zoom + across, "height": int(height) // zoom + down})
        ask(base, f"{session}/url", {"url": address})
        settle = float(rest[0]) if rest else 2.0
        time.sleep(settle)
        for key in rest[1] if len(rest) > 1 else "":
            strokes = [{"type": "keyDown", "value": key}, {"type": "keyUp", "value": key}]
            ask(base, f"{session}/actions", {"actions": [{"type": "key", "id": "keys", "actions": strokes}]})
            time.sleep(settle / 4)
        picture = ask(base, f"{session}/screenshot", method="GET")
        with open(file, "wb") as out:
            out.write(base64.b64decode(picture))
        ask(base, session, method="DELETE")
    finally:
        driver.terminate()


main()
