// Writes groups of rows to a database where the app's would be, and says each to the server once it is kept.
import { openFolder } from "../pit/files.js";
import { startPython } from "../pit/runtime.js";

const OPEN = `
import sqlite3
db = sqlite3.connect("/data/kills.sqlite3", isolation_level=None)
db.execute("PRAGMA journal_mode = WAL")
db.execute("PRAGMA synchronous = FULL")
db.execute("CREATE TABLE IF NOT EXISTS rows (grp INTEGER NOT NULL, content BLOB NOT NULL)")
# (last whole group, groups that are not whole, what SQLite says of the file)
def state():
    sizes = dict(db.execute("SELECT grp, count(*) FROM rows GROUP BY grp"))
    missing = [n for n in range(1, max(sizes, default=0) + 1) if sizes.get(n) != 5]
    return [max(sizes, default=0), len(missing), db.execute("PRAGMA integrity_check").fetchone()[0]]
def write(number):
    db.execute("BEGIN IMMEDIATE")
    for _ in range(5):
        db.execute("INSERT INTO rows VALUES (?, randomblob(3000))", (number,))
    db.execute("COMMIT")
`;
const send = self.fetch.bind(self);
const say = (what) => send(`/said/${what}`, { cache: "no-store" });

const { python } = await startPython(() => {});
const folder = await openFolder("kills");
folder.mount(python.FS, "/data");
python.runPython(OPEN);
const [last, partial, sound] = python.runPython("state()").toJs();
postMessage(`opened ${JSON.stringify({ last, partial, sound })}`);
await say(`opened/${last}`);
const write = python.globals.get("write");
for (let number = last + 1; ; number += 1) {
  const before = folder.flushes;
  write(number);
  await folder.settle();
  if (folder.flushes === before) throw new Error("a commit did not reach the device");
  await say(`kept/${number}`);
}
