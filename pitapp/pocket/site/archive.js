// Lays a zip whose files are stored without compression into Python's file system: no byte of it is copied.
const [END, ENTRY, LOCAL] = [22, 46, 30]; // bytes of each record's fixed part

export function unpack(FS, zip, top) {
  const view = new DataView(zip), bytes = new Uint8Array(zip), text = new TextDecoder();
  const end = zip.byteLength - END;
  if (view.getUint32(end, true) !== 0x06054b50) throw new Error("the archive of packages is damaged");
  let at = view.getUint32(end + 16, true), made = "";
  for (let left = view.getUint16(end + 10, true); left; left -= 1) {
    const [name, extra, comment] = [28, 30, 32].map((place) => view.getUint16(at + place, true));
    const [size, head] = [24, 42].map((place) => view.getUint32(at + place, true));
    if (view.getUint16(at + 10, true)) throw new Error("the archive of packages is compressed");
    const path = `${top}/${text.decode(bytes.subarray(at + ENTRY, at + ENTRY + name))}`;
    const folder = path.slice(0, path.lastIndexOf("/"));
    if (folder !== made) FS.mkdirTree(made = folder);
    const from = head + LOCAL + view.getUint16(head + 26, true) + view.getUint16(head + 28, true);
    FS.writeFile(path, bytes.subarray(from, from + size), { canOwn: true });
    at += ENTRY + name + extra + comment;
  }
}
