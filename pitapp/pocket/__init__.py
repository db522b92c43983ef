"""The app in the phone's own browser, with no server: a folder of static files that any web space can hold.

Here are the command that writes the folder (`commands`, `build`, `parts` and its lock file), the
bridge from the browser's requests to the app (`bridge`, run in the browser's Python), and under
`site` the pages and scripts that go into the folder as they are. Other rooms ask only
`pitapp.web.place.in_browser()`. Tests: `tests/test_pocket_*.py` and `e2e/test_pocket*.py`.

The way of a tap: the app's page stands in a frame of the shell (`site/index.html`, `site/shell.js`),
or in a tab beside it. What it asks for goes to the service worker (`site/sw.js`), from there to the
shell that owns Python, and on to its worker (`site/python.js`), where `bridge.Bridge` lets the app
answer. The answer goes back when everything written for it is on the device (`site/files.js`):
synchronous files of the browser's private file system (`site/handles.js`), or one strict
transaction of IndexedDB where there are none (`site/blocks.js`). One page at a time owns Python (a
Web Lock); when it is closed, the next visit starts it anew.

A start waits for as little as may be: the packages are one archive of bytecode, laid into Python's
file system as it is (`site/archive.js`), the Board's templates among them (`compile.mjs`); the data
are opened while the runtime comes, and its code lies unpacked from the first visit on
(`site/runtime.js`).

What the folder holds gives it a version. The service worker keeps all of one version; a newer one
is brought whole and checked by its sums, and takes over when every page of the older is closed.
"""

MARK = "pitapp-pocket.json"  # the file by which such a folder is known: its version, and that of each part
OFFERED_AT = (
    "pitapp.pocket"  # the app's extension that holds the port at which the folder is offered
)
