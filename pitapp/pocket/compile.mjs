// Run by Node: compiles every Python source of a zip with the browser's own Python, into another zip; the templates
// of the Board as well, by the app itself, where the zip holds it: a start waits for them. Of what is not pitapp's
// own the line numbers are left out: nobody reads them on a phone, and every byte is sent. (Templates keep theirs:
// Jinja reads them when one raises an error.)
// node compile.mjs RUNTIME-FOLDER PLACE-ON-THE-PHONE IN.zip OUT.zip [IN.zip OUT.zip ...]
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

// The way to a template is part of the name under which Jinja looks for it compiled.
const TEMPLATES = `
import sys

sys.path.insert(0, place)
with zipfile.ZipFile("/out.zip") as compiled:
    compiled.extractall(place)
from jinja2 import FileSystemBytecodeCache, meta
from pitapp import create_app
from pitapp.pocket.bridge import prepare
from pitapp.web.view.compiled import FOLDER

prepare("UTC")
templates = create_app("/data").jinja_env
templates.cache.clear()
FOLDER.mkdir()
templates.bytecode_cache = FileSystemBytecodeCache(str(FOLDER))
waiting, done = ["macros.html", "_foot.html", "board/page.html"], set()
while waiting:
    name = waiting.pop()
    if name and name not in done:
        done.add(name)
        templates.get_template(name)
        source = templates.loader.get_source(templates, name)[0]
        waiting += meta.find_referenced_templates(templates.parse(source))
with zipfile.ZipFile("/out.zip", "a") as compiled:
    for path in sorted(FOLDER.iterdir()):
        name = path.relative_to(place).as_posix()
        compiled.writestr(zipfile.ZipInfo(name, LONG_AGO), path.read_bytes())
`;

const [runtime, place, ...files] = process.argv.slice(2);
const { loadPyodide } = await import(pathToFileURL(`${runtime}/pyodide.mjs`));
const python = await loadPyodide({ indexURL: runtime });
python.globals.set("place", place);
for (let at = 0; at < files.length; at += 2) {
  python.FS.writeFile("/in.zip", readFileSync(files[at]));
  python.runPython(COMPILE);
  if (python.runPython('"pitapp/__init__.pyc" in compiled.namelist()')) python.runPython(TEMPLATES);
  writeFileSync(files[at + 1], python.FS.readFile("/out.zip"));
}
