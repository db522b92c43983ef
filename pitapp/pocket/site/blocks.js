// The data folder in IndexedDB, for a browser without a private file system: files in memory, each change noted by
// blocks of 64 KiB, and at `settle` all changes kept in one strict transaction: all of them or none.
const BLOCK = 65536;
const SHARED_MEMORY = /-shm$/; // SQLite makes it anew

const asked = (request) => new Promise((resolve, reject) => {
  request.onsuccess = () => resolve(request.result);
  request.onerror = () => reject(request.error);
});

function openStore(name) {
  const opening = indexedDB.open(name, 1);
  opening.onupgradeneeded = () => {
    opening.result.createObjectStore("files"); // path → size
    opening.result.createObjectStore("blocks"); // [path, number] → bytes
  };
  return asked(opening);
}

export async function openBlocks(name) {
  const store = await openStore(name);
  const reading = store.transaction(["files", "blocks"]);
  const [paths, sizes, places, blocks] = await Promise.all(["files", "blocks"].flatMap((each) => {
    const all = reading.objectStore(each);
    return [asked(all.getAllKeys()), asked(all.getAll())];
  }));
  return new Blocks(name, store, paths.map((path, at) => [path, sizes[at]]), places.map((place, at) => [place, blocks[at]]));
}

class Blocks {
  #name; #store; #kept; #blocks; #fs;
  #changed = new Map(); // path → numbers of the blocks that differ from what is kept
  #gone = new Set();
  flushes = 0;

  constructor(name, store, files, blocks) {
    this.#name = name;
    this.#store = store;
    this.#kept = files;
    this.#blocks = blocks;
  }

  get isEmpty() {
    return !this.#kept.length;
  }

  mount(FS, top) {
    this.#fs = FS;
    FS.mkdirTree(top);
    FS.mount(this.#type(FS), {}, top);
    for (const [path, size] of this.#kept) {
      FS.mkdirTree(path.slice(0, path.lastIndexOf("/")));
      FS.writeFile(path, new Uint8Array(size));
    }
    for (const [[path, number], bytes] of this.#blocks) FS.lookupPath(path).node.contents.set(bytes, number * BLOCK);
    this.#kept = this.#blocks = null;
    this.#changed.clear();
    this.#gone.clear();
  }

  async settle() {
    if (!this.#changed.size && !this.#gone.size) return;
    const [changed, gone] = [this.#changed, this.#gone];
    [this.#changed, this.#gone] = [new Map(), new Set()];
    try {
      await this.#keep(changed, gone).catch(async (error) => {
        if (error?.name !== "InvalidStateError") throw error;
        this.#store = await openStore(this.#name); // some phones cut the connection while the page is not seen
        await this.#keep(changed, gone);
      });
      this.flushes += 1;
    } catch (error) {
      for (const [path, numbers] of changed) for (const number of numbers) this.#note(path, number);
      for (const path of gone) this.#gone.add(path);
      throw error;
    }
  }

  async #keep(changed, gone) {
    const writing = this.#store.transaction(["files", "blocks"], "readwrite", { durability: "strict" });
    const ended = new Promise((resolve, reject) => {
      writing.oncomplete = resolve;
      writing.onabort = () => reject(writing.error);
    });
    try {
      this.#put(writing.objectStore("files"), writing.objectStore("blocks"), changed, gone);
    } catch (error) {
      ended.catch(() => {});
      writing.abort(); // or what was asked for so far would be kept without the rest
      throw error;
    }
    return ended;
  }

  #put(files, blocks, changed, gone) {
    for (const path of gone) {
      files.delete(path);
      blocks.delete(IDBKeyRange.bound([path, 0], [path, Infinity]));
    }
    for (const [path, numbers] of changed) {
      const { contents, usedBytes } = this.#fs.lookupPath(path).node;
      files.put(usedBytes, path);
      blocks.delete(IDBKeyRange.bound([path, Math.ceil(usedBytes / BLOCK)], [path, Infinity]));
      for (const number of numbers) {
        const end = Math.min(usedBytes, (number + 1) * BLOCK);
        if (number * BLOCK < end) blocks.put(contents.slice(number * BLOCK, end), [path, number]);
      }
    }
  }

  #note(path, first, last = first) {
    if (SHARED_MEMORY.test(path)) return;
    const numbers = this.#changed.get(path) ?? this.#changed.set(path, new Set()).get(path);
    for (let number = first; number <= last; number += 1) numbers.add(number);
  }

  #forget(path) {
    if (SHARED_MEMORY.test(path)) return;
    this.#changed.delete(path);
    this.#gone.add(path);
  }

  // Files in memory as the runtime has them, with an ear at whatever changes one.
  #type(FS) {
    const { MEMFS } = FS.filesystems;
    const blocksOf = (node, from, to) => this.#note(FS.getPath(node), Math.floor(from / BLOCK), Math.floor(Math.max(from, to - 1) / BLOCK));
    const { node_ops, stream_ops } = MEMFS;
    const folderOps = {
      ...node_ops,
      mknod: (parent, name, mode, device) => {
        const node = dressed(node_ops.mknod(parent, name, mode, device));
        if (FS.isFile(mode)) blocksOf(node, 0, 1);
        return node;
      },
      unlink: (parent, name) => {
        this.#forget(`${FS.getPath(parent)}/${name}`);
        node_ops.unlink(parent, name);
      },
      rename: (node, parent, name) => {
        if (FS.isDir(node.mode)) throw new FS.ErrnoError(63);
        this.#forget(FS.getPath(node));
        node_ops.rename(node, parent, name);
        this.#note(`${FS.getPath(parent)}/${name}`, 0, Math.floor(node.usedBytes / BLOCK));
      },
    };
    const fileOps = {
      getattr: node_ops.getattr,
      setattr: (node, attributes) => {
        const before = node.usedBytes;
        node_ops.setattr(node, attributes);
        if (node.usedBytes !== before) blocksOf(node, Math.min(before, node.usedBytes), Math.max(before, node.usedBytes));
      },
    };
    const streamOps = {
      ...stream_ops,
      write: (stream, buffer, offset, length, position, own) => {
        const count = stream_ops.write(stream, buffer, offset, length, position, own);
        if (count) blocksOf(stream.node, position, position + count);
        return count;
      },
    };
    const dressed = (node) => {
      if (FS.isDir(node.mode)) node.node_ops = folderOps;
      if (FS.isFile(node.mode)) [node.node_ops, node.stream_ops] = [fileOps, streamOps];
      return node;
    };
    return { mount: (mount) => dressed(MEMFS.mount(mount)) };
  }
}
