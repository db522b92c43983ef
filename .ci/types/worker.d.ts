// What the worker's files share: the server's manifest, and the shapes of what is kept and sent.

interface WriteRule {
  match: string;
  then: string;
  judged?: boolean;
}

declare const PITAPP: {
  version: string;
  files: string[];
  later: string[];
  writes: WriteRule[];
  policy: string;
};

interface Reason {
  field: string;
  name: string;
  text: string;
}

/** `pitapp/web/writes/refusals.py: Refusal`. */
interface Refusal {
  reasons: Reason[];
  version: string | null;
  saw: number | null;
  form: boolean;
}

interface Entry {
  id?: number;
  key: string;
  label: string;
  database: string;
  url: string;
  body: string;
  type: string;
  then: string | null;
  madeAt: number;
  state: "trying" | "waiting" | "refused";
  tries: number;
  elsewhere?: string;
  holds?: boolean;
  status?: number;
  html?: string;
  refusal?: Refusal;
  /** What an entry of an earlier version has in place of its refusal. */
  reasons?: Reason[];
  why?: string;
}

/** `pitapp/checks/offline_steps.py: OfflineLimit`. */
interface Limit {
  least?: number;
  most?: number;
  only?: string;
  words?: Record<string, number | null>;
  number?: string;
  unit?: string;
  sensible?: [number, number];
  under?: string;
  over?: string;
  discharging?: Limit;
}

/** `pitapp/checks/offline_steps.py: OfflineStep`. */
interface Step {
  key: string;
  html: string;
  limits: Record<string, Limit>;
  title?: string;
  stopped?: string;
  doubt?: Doubt;
  apart?: { most: number; text: string };
  expected?: string;
  group?: string;
}

/** `pitapp/checks/offline_steps.py: OfflineDoubt`. */
interface Doubt {
  least?: number;
  most?: number;
  known: string[];
  likes: Record<string, string>;
  text: string;
  yes: string;
}

/** `pitapp/packs/charging/offline_steps.py: _start`. */
interface ChargeStart {
  ready: string;
  running: string;
  /** The uuid of the charge that the pack is on now; empty for none. */
  busy: string;
  points: [number, number][];
  target: number;
  rests: number[];
  mah: number;
  most: number;
  stale: string;
  changed: string;
  taken: string;
  there: string;
  /** Of a charge as last time alone: why it is not offered while something about its pack waits here. */
  again?: string;
}

/** `pitapp/checks/offline_steps.py: OfflineRun`, with the database that it was kept of. */
interface RunThrough {
  at: string;
  begin: string;
  frame: string;
  title: string;
  values: Record<string, string>;
  uuid: string;
  since: number;
  good_for: number;
  known_for?: number;
  reason?: { words: number; text: string; skipped: string };
  steps: Step[];
  settled: string[];
  given: Record<string, Record<string, string>>;
  then: string;
  start?: ChargeStart;
  database?: string;
}

/** A run-through with what was answered in it; what the server has settled has no fields. */
interface Walk {
  run: RunThrough;
  uuid: string;
  entries: Entry[];
  given: Record<string, { fields?: Record<string, string>; at: number }>;
  known: string[];
}

// The worker's own scope, which the library of all workers does not know.
interface WorkerGlobalScope {
  readonly clients: Clients;
  skipWaiting(): Promise<void>;
  addEventListener(type: "install" | "activate", listener: (event: ExtendableEvent) => void): void;
  addEventListener(type: "fetch", listener: (event: FetchEvent) => void): void;
  addEventListener(type: "message", listener: (event: ExtendableMessageEvent) => void): void;
}

/** What becomes of an answer that no server took. */
interface Judgement {
  then?: string;
  html?: string;
  walk?: Walk;
  refused?: boolean;
}
