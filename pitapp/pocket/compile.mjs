// Run by Node: compiles every Python source of a zip with the browser's own Python, into another zip. Of what is
// not pitapp's own the line numbers are left out: nobody reads them on a phone, and every byte is sent.
// node compile.mjs RUNTIME-FOLDER IN.zip OUT.zip [IN.zip OUT.zip ...]
import { readFileSync, writeFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const COMPILE = `
import marshal, types, zipfile
from importlib.util import MAGIC_NUMBER, source_hash

LONG_AGO = (1980, 1, 1, 0, 0, 0)
UNCHECKED = (1).to_bytes(4, "little")

def without_lines(code):
    inner = [without_lines(each) if isinstance(each, types.CodeType) else each for each in code.co_consts]
    return code.replace(co_linetable=b"", co_consts=tuple(inner))

def compiled_source(name, source):
    code = compile(source, name, "exec", dont_inherit=True, optimize=2)
    if not name.startswith("pitapp/"):
        code = without_lines(code)
    return MAGIC_NUMBER + UNCHECKED + source_hash(source) + marshal.dumps(code)

with zipfile.ZipFile("/in.zip") as given, zipfile.ZipFile("/out.zip", "w") as compiled:
    for name in sorted(given.namelist()):
        content = given.read(name)
        if name.endswith(".py"):
            name, content = name + "c", compiled_source(name, content)
        if not name.endswith("/"):
            compiled.writestr(zipfile.ZipInfo(name, LONG_AGO), content)
`;

const [runtime, ...files] = process.argv.slice(2);
const { loadPyodide } = await import(pathToFileURL(`${runtime}/pyodide.mjs`));
const python = await loadPyodide({ indexURL: runtime });
for (let at = 0; at < files.length; at += 2) {
  python.FS.writeFile("/in.zip", readFileSync(files[at]));
  python.runPython(COMPILE);
  writeFileSync(files[at + 1], python.FS.readFile("/out.zip"));
}
