"""Writes what a vet would write into an exam that is open at the review desk: invented words, for the demo only.

Usage: desk_words.py ADDRESS
"""

import http.cookiejar
import json
import sys
import urllib.request

WORDS = {
    "owner": "Sample Stud",
    "age": "9 years",
    "use": "show jumping",
    "question": "Swelling behind the left fore cannon for two weeks; lame at the trot.",
    "impression": "Core lesion of the left superficial flexor in zone 2B, about a third of the cross-section. "
    "The right limb is normal where it was scanned.",
    "recommendation": "Box rest with walking in hand, and a scan in eight weeks.\nThe zones that could not be saved should be scanned then.",
}


def main() -> None:
    """Opens the desk as a browser does, then sends each text as a change."""
    address = sys.argv[1]
    home = address.split("/?")[0]
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
    browser.open(address).read()
    for part, text in WORDS.items():
        exam = json.load(browser.open(f"{home}/api/exam"))
        change = {"change": "words", "part": part, "text": text}
        body = json.dumps({"by": "Dr Example", "seen": exam["version"], "change": change}).encode()
        headers = {"Content-Type": "application/json", "Origin": home}
        browser.open(urllib.request.Request(f"{home}/api/change", body, headers)).read()


if __name__ == "__main__":
    main()
