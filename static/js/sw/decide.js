// What the racer does with an entry on the Outbox screen.
async function decide({ act, key }) {
  const entry = await box.find(key);
  if (!entry) return;
  if (act === "drop") await box.remove(entry.id);
  else {
    if (act === "here") entry.database = entry.elsewhere;
    const body = new URLSearchParams(entry.body);
    const saw = entry.html?.split(`action="${pathOf(entry.url)}"`)[1]?.match(/name="saw" value="(\d+)"/);
    if (act === "again" && saw) body.set("saw", saw[1]);  // the racer has read what there is now
    if (act === "mine") body.set("version", versionIn(entry.html));
    await box.put({ ...entry, body: body.toString(), state: "waiting", tries: 0, why: undefined, elsewhere: undefined });
    await replay();
  }
  await tell({ changed: true });
}

// An entry as a file to keep, for who reads it or writes it down elsewhere.
async function asFile(key) {
  const { label, url, body, madeAt, database } = await box.find(key);
  const fields = [...new URLSearchParams(body)];
  const file = { entry: label, made_at: new Date(madeAt).toISOString(), made_for: database, address: pathOf(url), fields, key };
  return JSON.stringify(file, null, 2);
}
