// What the racer does with an entry on the Outbox screen.

const decisions = (() => {
  /**
   * Drop an entry, or send it again: as it is, with the racer's version over another's ("mine"), or to the database
   * that answers ("here").
   * @param {{act: "drop" | "again" | "mine" | "here", key: string}} decision
   */
  async function take({ act, key }) {
    const entry = await outbox.find(key);
    if (!entry) return;
    if (act === "drop") await outbox.remove(entry.id);
    else {
      if (act === "here") entry.database = entry.elsewhere;
      const body = new URLSearchParams(entry.body);
      const { saw, version } = writes.refusalOf(entry);
      if (act === "again" && saw !== null) body.set("saw", String(saw));  // the racer has read what there is now
      if (act === "mine") body.set("version", version);
      await outbox.put({ ...entry, body: body.toString(), state: "waiting", tries: 0, why: undefined, elsewhere: undefined });
      await writes.replay();
    }
    await writes.tellPages({ changed: true });
  }

  /** An entry as a file to keep, for who reads it or writes it down elsewhere. @param {string} key */
  async function asFile(key) {
    const { label, url, body, madeAt, database } = await outbox.find(key);
    const fields = [...new URLSearchParams(body)];
    const address = runs.pathOf(url);
    const file = { entry: label, made_at: new Date(madeAt).toISOString(), made_for: database, address, fields, key };
    return JSON.stringify(file, null, 2);
  }

  return { take, asFile };
})();
