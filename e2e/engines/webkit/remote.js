// What a page's own script world answers to WebDriver BiDi's script commands: values go in and out as
// "remote values" (WebDriver BiDi, 7.1.3), objects and nodes stay in the page behind a handle.
(() => {
  const place = Symbol.for("pitapp.e2e.remote");
  if (globalThis[place]) return globalThis[place];
  const handles = new Map();
  const nodes = new Map();
  const nodeIds = new WeakMap();
  let last = 0;

  const hold = (value) => {
    const id = `h${(last += 1)}`;
    handles.set(id, value);
    return id;
  };
  const nodeId = (node) => {
    if (!nodeIds.has(node)) {
      const id = `n${(last += 1)}`;
      nodeIds.set(node, id);
      nodes.set(id, new WeakRef(node));
    }
    return nodeIds.get(node);
  };

  const special = { NaN, "-0": -0, Infinity, "-Infinity": -Infinity };
  const local = (remote) => {
    if (remote.handle) {
      if (!handles.has(remote.handle)) throw new Error("no such handle");
      return handles.get(remote.handle);
    }
    if (remote.sharedId) {
      const node = nodes.get(remote.sharedId)?.deref();
      if (!node) throw new Error("no such node");
      return node;
    }
    const { type, value } = remote;
    switch (type) {
      case "undefined": return undefined;
      case "null": return null;
      case "number": return typeof value === "number" ? value : special[value];
      case "bigint": return BigInt(value);
      case "array": return value.map(local);
      case "set": return new Set(value.map(local));
      case "object": return Object.fromEntries(value.map(pair));
      case "map": return new Map(value.map(pair));
      case "date": return new Date(value);
      case "regexp": return new RegExp(value.pattern, value.flags);
      case "channel": return (said) => webkit.messageHandlers.remote.postMessage(
        JSON.stringify({ channel: value.channel, data: remoteValue(said, Infinity, false) }),
      );
      default: return value;
    }
  };
  const pair = ([key, value]) => [typeof key === "string" ? key : local(key), local(value)];

  const named = { Date: "date", RegExp: "regexp", Map: "map", Set: "set", Promise: "promise" };
  const kind = (value) => {
    if (typeof value === "function") return "function";
    if (value instanceof Node) return "node";
    if (value === window) return "window";
    if (Array.isArray(value)) return "array";
    if (value instanceof Error) return "error";
    if (value instanceof NodeList) return "nodelist";
    return named[Object.prototype.toString.call(value).slice(8, -1)] ?? "object";
  };
  const contents = (type, value, deeper) => {
    switch (type) {
      case "node": return { localName: value.localName, nodeType: value.nodeType };
      case "date": return value.toISOString();
      case "regexp": return { pattern: value.source, flags: value.flags };
      case "array": case "nodelist": case "set": return deeper && [...value].map(deeper);
      case "map": return deeper && [...value].map(([key, item]) => [deeper(key), deeper(item)]);
      case "object": return deeper && Object.entries(value).map(([key, item]) => [key, deeper(item)]);
      default: return undefined;
    }
  };
  const remoteValue = (value, depth, owned) => {
    if (value === undefined || value === null) return { type: String(value) };
    if (typeof value === "number") {
      const text = Object.is(value, -0) ? "-0" : String(value);
      return { type: "number", value: text in special ? text : value };
    }
    if (typeof value === "bigint") return { type: "bigint", value: String(value) };
    if (typeof value === "string" || typeof value === "boolean") return { type: typeof value, value };
    if (typeof value === "symbol") return { type: "symbol", handle: owned ? hold(value) : undefined };
    const type = kind(value);
    const deeper = depth > 0 ? (item) => remoteValue(item, depth - 1, false) : null;
    return {
      type,
      value: contents(type, value, deeper) ?? undefined,
      sharedId: type === "node" ? nodeId(value) : undefined,
      handle: owned ? hold(value) : undefined,
    };
  };

  const remote = {
    async run(work, asked) {
      const { args = [], depth, owned } = JSON.parse(asked);
      let given;
      try {
        given = args.map(local);
      } catch (error) {
        return JSON.stringify({ type: "missing", text: error.message }); // it belonged to the page before
      }
      try {
        const result = await work(...given);
        return JSON.stringify({ type: "success", result: remoteValue(result, depth ?? Infinity, owned) });
      } catch (error) {
        const text = String(error);
        return JSON.stringify({
          type: "exception",
          exceptionDetails: {
            text, columnNumber: 0, lineNumber: 0, stackTrace: { callFrames: [] },
            exception: { type: "error" },
          },
        });
      }
    },
    // The page's policy allows no eval, which Playwright's own script lives on. What it is about to
    // evaluate comes along with each call, compiled by the engine and not by the page.
    compiled(texts) {
      for (const [text, evaluated] of texts) known.set(text, evaluated);
    },
    disown(ids) {
      for (const id of ids) handles.delete(id);
    },
    local,
  };
  const known = new Map();
  const ownEval = globalThis.eval;
  globalThis.eval = (text) => {
    const part = [...known.keys()].find((each) => each.includes("module.exports") && text.includes(each));
    const evaluated = known.get(text) ?? known.get(part);
    return evaluated ? evaluated() : ownEval(text);
  };
  Object.defineProperty(globalThis, place, { value: remote });
  return remote;
})()
