// The page's module under Node.js: makes the plan of a job and writes its folder.
// usage: node node.mjs MODULE_FOLDER JOB.json OUT NAME=FILE ...
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const [folder, jobFile, out, ...files] = process.argv.slice(2);
const { default: init, Desk } = await import(pathToFileURL(resolve(folder, 'library.js')).href);
await init({ module_or_path: readFileSync(join(folder, 'small.wasm')) });
const desk = new Desk((text) => console.error(text));
for (const given of files) {
  const at = given.indexOf('=');
  desk.put(given.slice(0, at), readFileSync(given.slice(at + 1)));
}
const start = performance.now();
const view = JSON.parse(desk.plan(readFileSync(jobFile, 'utf8'), () => {}));
const planned = performance.now();
for (const name of desk.names()) {
  const path = join(out, name);
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, desk.file(name));
}
console.log(`${view.plan.sections.length} sections; plan ${Math.round(planned - start)} ms, folder ${Math.round(performance.now() - planned)} ms, ${Math.round(process.memoryUsage().rss / 2 ** 20)} MiB`);
