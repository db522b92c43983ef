// The data folder in the browser's private file system: a pool of files that are open for synchronous reading and
// writing, so that SQLite's own `fdatasync` reaches the device. Which file of the pool is which path stands in its
// first 4 KiB, twice, written in turn: a rename or a removal is one such write. SQLite's shared memory stays in memory.
const HEAD = 4096, SLOT = 2048, SPARE = 8;
const HELD_MS = 60_000, AGAIN_MS = 200; // a page that is just being left still holds its files, in the midst of a start too
const SHARED_MEMORY = /-shm$/;
const [NO_SPACE, TOO_MANY, NOT_HERE] = [51, 33, 63];

const crc = (bytes) => bytes.reduce((sum, byte) => Math.imul(sum ^ byte, 16777619) >>> 0, 2166136261);

export async function openHandles(name) {
  const root = await navigator.storage.getDirectory();
  const place = await root.getDirectoryHandle(name.replace(/[^\w-]+/g, "_"), { create: true });
  const names = [];
  for await (const each of place.keys()) names.push(each);
  const pool = new Handles(place);
  await Promise.all(names.map((each) => pool.open(each)));
  pool.sort();
  await pool.grow();
  return pool;
}

class Handles {
  #place;
  #all = []; // { handle, path, generation, slot, size }
  #free = [];
  #kept = [];
  #unflushed = new Set();
  #generation = 0;
  #next = 0;
  flushes = 0;

  constructor(place) {
    this.#place = place;
  }

  async open(name) {
    const file = await this.#place.getFileHandle(name, { create: true });
    for (const began = Date.now(); ;) {
      try {
        this.#all.push({ handle: await file.createSyncAccessHandle() });
        break;
      } catch (error) {
        if (Date.now() - began > HELD_MS) throw error;
        await new Promise((done) => setTimeout(done, AGAIN_MS));
      }
    }
    this.#next = Math.max(this.#next, Number(name) + 1);
  }

  // Find out which file is which; of two for one path the later one counts.
  sort() {
    const latest = new Map();
    for (const entry of this.#all) {
      Object.assign(entry, readHead(entry.handle));
      this.#generation = Math.max(this.#generation, entry.generation);
      if (!entry.path) continue;
      const other = latest.get(entry.path);
      if (!other || other.generation < entry.generation) latest.set(entry.path, entry);
    }
    for (const entry of this.#all) {
      if (latest.get(entry.path) === entry) this.#kept.push(entry);
      else this.#release(entry);
    }
  }

  get isEmpty() {
    return !this.#kept.length;
  }

  async grow() {
    while (this.#free.length < SPARE) {
      await this.open(String(this.#next));
      const entry = Object.assign(this.#all.at(-1), { path: "", generation: 0, slot: 0, size: 0 });
      entry.handle.truncate(HEAD);
      this.#free.push(entry);
    }
  }

  #release(entry) {
    this.#unflushed.delete(entry);
    if (entry.path) this.#name(entry, "");
    entry.handle.truncate(HEAD);
    entry.size = 0;
    this.#free.push(entry);
  }

  #name(entry, path) {
    this.#generation += 1;
    Object.assign(entry, { path, generation: this.#generation, slot: 1 - entry.slot });
    writeHead(entry);
    entry.handle.flush();
  }

  mount(FS, top) {
    const type = this.#type(FS);
    FS.mkdirTree(top);
    FS.mount(type, {}, top);
    for (const entry of this.#kept) {
      FS.mkdirTree(entry.path.slice(0, entry.path.lastIndexOf("/")));
      type.adopt = entry;
      FS.create(entry.path, 0o666);
    }
    this.#kept = [];
  }

  async settle() {
    for (const entry of this.#unflushed) this.#flush(entry);
    if (this.#free.length < SPARE) await this.grow();
  }

  #flush(entry) {
    entry.handle.flush();
    this.#unflushed.delete(entry);
    this.flushes += 1;
  }

  #type(FS) {
    const { MEMFS } = FS.filesystems;
    const { node_ops, stream_ops } = MEMFS;
    const full = (work) => {
      try {
        return work();
      } catch (error) {
        if (error instanceof FS.ErrnoError) throw error;
        throw new FS.ErrnoError(NO_SPACE);
      }
    };
    const leave = (node) => {
      const { entry } = node;
      node.entry = null; // whoever still has it open must not write into what is another file from now on
      if (entry) full(() => this.#release(entry));
    };
    const folderOps = {
      ...node_ops,
      mknod: (parent, name, mode, device) => {
        const node = node_ops.mknod(parent, name, mode, device);
        if (FS.isDir(mode)) node.node_ops = folderOps;
        if (!FS.isFile(mode) || SHARED_MEMORY.test(name)) return node;
        const entry = type.adopt ?? this.#free.pop();
        if (!entry) {
          node_ops.unlink(parent, name);
          FS.hashRemoveNode(node);
          throw new FS.ErrnoError(TOO_MANY);
        }
        if (!type.adopt) full(() => this.#name(entry, FS.getPath(node)));
        type.adopt = null;
        return Object.assign(node, { entry, node_ops: fileOps, stream_ops: streamOps });
      },
      unlink: (parent, name) => {
        const node = FS.lookupNode(parent, name);
        node_ops.unlink(parent, name);
        leave(node);
      },
      rename: (node, parent, name) => {
        if (FS.isDir(node.mode) || !node.entry) throw new FS.ErrnoError(NOT_HERE);
        let replaced = null;
        try {
          replaced = FS.lookupNode(parent, name);
        } catch {
          // Nothing of that name is there.
        }
        node_ops.rename(node, parent, name);
        full(() => this.#name(node.entry, `${FS.getPath(parent)}/${name}`));
        if (replaced) leave(replaced);
      },
    };
    const fileOps = {
      getattr: (node) => {
        const attributes = node_ops.getattr(node);
        const { size } = node.entry;
        return { ...attributes, size, blocks: Math.ceil(size / attributes.blksize) };
      },
      setattr: (node, { size, ...rest }) => {
        node_ops.setattr(node, rest);
        if (size === undefined || size === node.entry.size) return;
        full(() => node.entry.handle.truncate(HEAD + size));
        node.entry.size = size;
        this.#unflushed.add(node.entry);
      },
    };
    const streamOps = {
      read: ({ node }, buffer, offset, length, position) => {
        const count = Math.min(length, node.entry.size - position);
        return count <= 0 ? 0 : node.entry.handle.read(buffer.subarray(offset, offset + count), { at: HEAD + position });
      },
      write: ({ node }, buffer, offset, length, position) => {
        const { entry } = node;
        const count = full(() => entry.handle.write(buffer.subarray(offset, offset + length), { at: HEAD + position }));
        entry.size = Math.max(entry.size, position + count);
        node.mtime = node.ctime = Date.now();
        this.#unflushed.add(entry);
        return count;
      },
      llseek: ({ node, position: now }, offset, whence) => {
        const position = offset + (whence === 1 ? now : whence === 2 ? node.entry.size : 0);
        if (position < 0) throw new FS.ErrnoError(28);
        return position;
      },
      fsync: ({ node }) => {
        full(() => this.#flush(node.entry));
        return 0;
      },
    };
    const type = {
      adopt: null,
      mount: (mount) => Object.assign(MEMFS.mount(mount), { node_ops: folderOps }),
    };
    return type;
  }
}

function readHead(handle) {
  let head = { path: "", generation: 0, slot: 0 };
  const bytes = new Uint8Array(SLOT);
  for (const slot of [0, 1]) {
    if (handle.read(bytes, { at: slot * SLOT }) < 8) continue;
    const view = new DataView(bytes.buffer);
    const text = bytes.subarray(8, 8 + Math.min(view.getUint32(0), SLOT - 8));
    if (crc(text) !== view.getUint32(4)) continue;
    const [path, generation] = text.length ? JSON.parse(new TextDecoder().decode(text)) : ["", 0];
    if (generation > head.generation) head = { path, generation, slot };
  }
  return { ...head, size: Math.max(0, handle.getSize() - HEAD) };
}

function writeHead({ handle, path, generation, slot }) {
  const text = new TextEncoder().encode(JSON.stringify([path, generation]));
  const bytes = new Uint8Array(SLOT);
  const view = new DataView(bytes.buffer);
  view.setUint32(0, text.length);
  bytes.set(text, 8);
  view.setUint32(4, crc(text));
  handle.write(bytes, { at: slot * SLOT });
}
