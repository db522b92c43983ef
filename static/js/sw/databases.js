// Which database answers, and whose pages are kept. Every answer of pitapp's names its database: one that names
// none comes from another program at the server's address, and counts as none. Each database's pages are apart.

const DATABASE = "Pitapp-Database";
const MOST_DATABASES = 3;
const ORDER = "/offline/databases";

// Whether another program answered last.
let stranger = false;

const cacheOf = (database, version = PITAPP.version) => `pages-${version}-${database}`;

// The databases whose pages are kept, the one that was seen last first.
async function databases() {
  const kept = await (await caches.open(SHELL)).match(ORDER);
  return kept ? kept.json() : [];
}

const databaseNow = async () => (await databases())[0] ?? "";

const pagesOf = async (database) => caches.open(cacheOf(database ?? (await databaseNow())));

async function noteDatabase(database) {
  const before = await databases();
  if (before[0] === database) return;
  const order = [database, ...before.filter((other) => other !== database)].slice(0, MOST_DATABASES);
  await (await caches.open(SHELL)).put(ORDER, asJson(order));
  const stay = order.map((each) => cacheOf(each));
  const gone = (await caches.keys()).filter((name) => name.startsWith(cacheOf("")) && !stay.includes(name));
  await Promise.all(gone.map((name) => caches.delete(name)));
}

async function noticeAnswer({ headers, status }) {
  const database = headers.get(DATABASE);
  stranger = !database;
  if (stranger) return;
  servedVersion = headers.get("Pitapp-Version") ?? servedVersion;
  if (status !== 401 || !headers.has("Pitapp-Unpaired")) return;
  await caches.delete(cacheOf(database));
  await tell({ unpaired: database });
}

// What pitapp says of itself: its token, which database it is, of which others it holds a copy. Nothing where
// something else answers.
async function askServer(limit) {
  const response = await fetch("/token", { cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(limit) });
  await noticeAnswer(response);
  const { headers, ok } = response;
  if (!headers.has(DATABASE)) return null;
  return {
    token: ok ? await response.text() : "",
    database: headers.get(DATABASE),
    origins: (headers.get("Pitapp-Origins") ?? "").split(" "),
    invented: headers.has("Pitapp-Invented"),
  };
}

// Whether the server answers at all: then a page that takes long is worth waiting for.
const answersNow = (limit) => askServer(limit).then(Boolean, () => false);

// A redirect cannot be looked into: then it is asked who answers.
const fromPitapp = async (response) =>
  response.type === "opaqueredirect" ? answersNow(PING_LIMIT_MS) : response.headers.has(DATABASE);
