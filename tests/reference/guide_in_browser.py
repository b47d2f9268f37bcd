"""Looks at a guide in Chromium: axe-core finds nothing serious, nothing is wider than the window and
nothing is fetched, light and dark, from 360 to 1600 pixels. What Chromium prints has everything on it, on few pages.

Chromium is run once a size and theme, with the page and axe-core in one file; what it finds is read
from the page as it stands afterwards.
"""

import html
import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path

from pypdf import PdfReader

work = Path(sys.argv[1])
page = (work / "out" / "guide.html").read_text()
axe = (work / "axe.min.js").read_text()
WIDTHS = (360, 480, 768, 1024, 1600)
FLAGS = (
    "--headless --no-sandbox --disable-gpu --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync "
    "--hide-scrollbars --virtual-time-budget=20000"
).split()
# The page sits in a frame of the width that is asked for, as windows have a least width of their own.
OUTER = """<!DOCTYPE html><html lang="en" style="color-scheme: light dark"><title>frame</title>
<script>
addEventListener('message', event => {
  const out = document.createElement('pre');
  out.id = 'found';
  out.textContent = event.data;
  document.body.append(out);
});
</script>
<iframe title="guide" src="page.html" style="width: %dpx; height: 900px; border: 0"></iframe>"""
RUN = """
<script>%s</script>
<script>
axe.run(document, { resultTypes: ['violations'] }).then(found => {
  parent.postMessage(JSON.stringify({
    wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    width: innerWidth,
    dark: matchMedia('(prefers-color-scheme: dark)').matches,
    fetched: performance.getEntriesByType('resource').map(one => one.name),
    passes: found.passes.length,
    violations: found.violations.map(one => [one.impact, one.id, one.nodes.map(node => node.html)]),
  }), '*');
});
</script>
"""


def look(width, dark):
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "page.html"
        file.write_text(page.replace("</body>", RUN % axe.replace("</script", "<\\/script") + "</body>"))
        outer = Path(folder) / "outer.html"
        outer.write_text(OUTER % width)
        theme = ["--blink-settings=preferredColorScheme=%d" % (0 if dark else 1)]
        done = subprocess.run(
            ["chromium", *FLAGS, *theme, f"--user-data-dir={folder}/profile",
             "--window-size=1700,1000", "--dump-dom", outer.as_uri()],
            capture_output=True, text=True, timeout=120, check=True,
        )
    found = re.search(r'<pre id="found">(.*?)</pre>', done.stdout, re.DOTALL)
    assert found, f"axe-core did not run: {done.stderr[-500:]}"
    return json.loads(html.unescape(found.group(1)))


for width in WIDTHS:
    for dark in (False, True):
        found = look(width, dark)
        where = f"{width} px, {'dark' if dark else 'light'}"
        assert found["width"] == width, f"{where}: it is {found['width']} wide"
        assert found["dark"] == dark, f"{where}: the theme was not taken"
        assert found["passes"] > 10, f"{where}: axe-core looked at nothing"
        serious = [one for one in found["violations"] if one[0] in ("serious", "critical")]
        assert not serious, f"{where}: {serious}"
        assert found["wide"] <= 0, f"{where}: {found['wide']} pixels too wide at {found['width']}"
        assert not found["fetched"], f"{where}: {found['fetched']}"
        print(f"{where}: {found['passes']} checks pass, {len(found['violations'])} lesser findings")

with tempfile.TemporaryDirectory() as folder:
    printed = (work / "out" / "guide.pdf").resolve()
    subprocess.run(
        ["chromium", *FLAGS, f"--user-data-dir={folder}/profile", "--no-pdf-header-footer",
         f"--print-to-pdf={printed}", (work / "out" / "guide.html").resolve().as_uri()],
        capture_output=True, timeout=120, check=True,
    )
reader = PdfReader(printed)
pages = [page.extract_text() for page in reader.pages]
flat = re.sub(r"\s+", "", "".join(pages))
view = json.loads((work / "out" / "guide.json").read_text())
for place in [view, *view["countries"]]:
    for pick in place["picks"]:
        # Paper has no links to follow, so the addresses stand beside them.
        for said in (pick["name"], pick["link"]):
            assert re.sub(r"\s+", "", said) in flat, f"{said} is not printed"
assert 2 <= len(pages) <= 8, f"{len(pages)} pages"
assert all(len(page) > 200 for page in pages), "a page is all but empty"
print(f"printed on {len(pages)} pages")
