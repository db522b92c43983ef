// A run-through with no server: the steps were kept, and each answer leads to the next of them.

const STEP = /^\/checks\/walks\/([\w-]+)\/steps\/(\d+)$/;
const RUN = /^\/checks\/lists\/(\d+)\/run$/;

async function keptRuns() {
  const kept = await (await caches.open(PAGES)).match("/offline/runs");
  return kept ? kept.json() : [];
}

const runOf = (runs, stepId) => runs.find((run) => run.steps.some(([id]) => id === stepId));

function fragment(run, stepId, uuid) {
  const found = run.steps.find(([id]) => id === stepId);
  return found[1].replaceAll(run.uuid, uuid);
}

const stepPath = (uuid, stepId) => `/checks/walks/${uuid}/steps/${stepId}`;

// Where an answer that was saved on this phone leads: the same step while its timer runs, else the next one.
async function stepAfter(path, body) {
  const match = path.match(STEP);
  if (!match) return null;
  const [, uuid, id] = match;
  const run = runOf(await keptRuns(), Number(id));
  if (!run) return null;
  const at = run.steps.findIndex(([stepId]) => stepId === Number(id));
  const next = run.steps[body.has("timer") ? at : at + 1];
  return next ? { path: stepPath(uuid, next[0]), html: fragment(run, next[0], uuid) } : { path: "/checks", html: null };
}

// Where a run-through of this list is taken up: where it was left half-way on this phone, else at its start.
async function takenUp(run) {
  const last = (await box.unsent()).findLast((entry) => {
    const match = new URL(entry.url).pathname.match(STEP);
    return match && runOf([run], Number(match[2]));
  });
  if (!last) return stepPath(run.begun ? run.uuid : crypto.randomUUID(), run.first);
  const next = await stepAfter(new URL(last.url).pathname, new URLSearchParams(last.body));
  return next.html ? next.path : stepPath(crypto.randomUUID(), run.steps[0][0]);
}

async function runThroughPage(url) {
  const runs = await keptRuns();
  const listed = url.pathname.match(RUN);
  if (listed) {
    const run = runs.find((each) => each.list === Number(listed[1]));
    return run ? Response.redirect(await takenUp(run), 302) : null;
  }
  const step = url.pathname.match(STEP);
  const run = step && runOf(runs, Number(step[2]));
  const frame = run && (await (await caches.open(PAGES)).match(`/checks/lists/${run.list}/run`));
  if (!frame) return null;
  const html = (await frame.text()).replace(
    /<div id="walk-part">[\s\S]*?<\/main>/,
    () => `${fragment(run, Number(step[2]), step[1])}</main>`,
  );
  return htmlResponse(html, 200, { "Kept-At": frame.headers.get("Kept-At") });
}
