"""Working with no server: the service worker, what it keeps on the phone, and writes that arrive late.

The worker's own strategies stand in `static/js/sw/`, one a file. Making a write happen once belongs
to `web.writes`.

`pitapp/offline/worker.py` joins `static/js/sw/*.js` (one strategy a file) into `/sw.js`; its
version changes with any static file, strategy or late write.
- Scripts of a screen that few open (`LATER`) are kept when that screen first asks for them.
- Another page to keep: `pitapp/offline/bundle.py`. All kept pages and run-through steps come in one
  answer, rendered inside without token or notices.
- Run-throughs: one engine (`checks/engine.py`) judges checklists and the cautions before a charge,
  which are its firm steps (`packs/charging/steps.py`). A phone gets them from the two
  `offline_steps.py`, each step with its fragment, its limits in the racer's unit and the sentence
  against a reading; `static/js/sw/runs.js` walks both kinds and has no limit of its own. A start of
  a charge waits only when the phone has judged everything before it; in doubt it is refused.
- Another write that may come late: `WRITES` in `pitapp/offline/queued_writes.py`, with the address
  that shows it while it waits. It needs nothing else, if it is a plain form post wrapped in
  `@write` whose dates come from `web.clock.now()`: for a late write that is the moment it was made
  (`X-Waited-Seconds`).
- Order of a write: put down in IndexedDB, sent, removed when the server confirms (2xx). An answer
  says something of an entry only if it names the entry's database: without a name it is another
  program's, with another name the entry waits for its own (`static/js/sw/databases.js`); one from
  before entries named a database goes to the first that is no demo. A worker cannot look into a
  redirect, so pitapp gives it as a header where `Pitapp-No-Redirect` is sent, and a real one is
  never pitapp's. 401, 408, 425, 429 and 5xx wait; other 4xx are kept as refused with the server's
  own page, which Mend opens again. Why it was refused comes beside that page as JSON
  (`Pitapp-Refusal`, `web/writes/refusals.py`). The page makes the key before the first attempt; the
  worker moves it, the token and the database into headers.
- The worker reads no markup. What it changes in a page is marked by the server: its token is named
  in a header (`Pitapp-Token`), notices stand between two comments, a fragment has names in braces
  for what is put there, `offline/frame.html` is the page around one. What waits changes a kept form
  for a new run in the page itself (`static/js/waiting-run.js`).
- An outbox that cannot be written (a full phone, a store that does not open at the second try
  either) stops no save: the write is sent straight. What is neither sent nor kept is answered with
  204 and a message to the page, which stays as it is with all that is typed. One that cannot be
  read hides no page.
- Kept pages are apart for each database, the last three of them; those of the one that answered
  last are shown. A page is kept only from a server of the worker's own version (`Pitapp-Version`);
  a newer server's pages go to the cache of the worker that waits, which takes over when the racer
  says so or when every page is closed.
- Tests of it: `e2e/test_offline.py` kills (`e2e/forking.py`: in milliseconds) and freezes servers.
  All other browser tests block workers.
"""
