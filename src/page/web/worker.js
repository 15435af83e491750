// The worker: holds the library. Every message { id, method, args } is answered by { id, value } or { id, error };
// while a plan is made, { id, stage } tells what begins.
import init, { Desk } from 'penstrata-library';
import { unpacked } from './packed.js';

let desk = null;
let panic = null;

const picture = (p) => {
  const { width, height, full_width: fullWidth, full_height: fullHeight } = p;
  const pixels = p.take();
  p.free();
  return { width, height, fullWidth, fullHeight, pixels };
};

const methods = {
  put: (name, bytes) => desk.put(name, bytes),
  plan: (job, id) => desk.plan(JSON.stringify(job), (stage) => postMessage({ id, stage })),
  readJob: (name) => JSON.parse(desk.read_job(name)),
  jobToml: (job) => desk.job_toml(JSON.stringify(job)),
  names: () => desk.names(),
  file: (name) => desk.file(name),
  photo: (name, longest) => picture(desk.photo(name, longest)),
  corners: (name, size) => JSON.parse(desk.corners(name, size)),
  page: (job) => picture(desk.page(JSON.stringify(job))),
  laid: () => picture(desk.laid()),
  cells: (job) => JSON.parse(desk.cells(JSON.stringify(job))),
  pens: (name) => JSON.parse(desk.pens(name)),
  pensCsv: (name, rows) => desk.pens_csv(name, JSON.stringify(rows)),
  backgrounds: () => JSON.parse(desk.backgrounds()),
  offers: (section, count) => JSON.parse(desk.offers(section, count)),
  measure: (name, photos, paper) => JSON.parse(desk.measure(name, photos, paper)),
  measureScrap: (name, photo, patches, paper) => JSON.parse(desk.measure_scrap(name, photo, JSON.stringify(patches), paper)),
  swatchSheets: (name, page) => desk.swatch_sheets(name, page),
};

const told = (error) => {
  if (typeof error === 'string') {
    try { return JSON.parse(error); } catch { /* a string that is no error of the library's */ }
  }
  // A trap: what the library said when it panicked is what helps to find the fault.
  return {
    what: `Something went wrong inside (${panic ?? error?.message ?? error}).`,
    next: 'Your card is kept. Undo the last change; if it happens again, please report it.',
    broken: true,
  };
};

// Answers are moved, not copied, where they are bytes.
const moved = (value) => {
  const bytes = value instanceof Uint8Array ? value : value?.pixels;
  return bytes instanceof Uint8Array ? [bytes.buffer] : [];
};

onmessage = async ({ data: { id, method, args } }) => {
  try {
    if (method === 'start') {
      const [given] = args;
      const module = typeof given === 'string' ? await WebAssembly.compile(await unpacked(given)) : given;
      await init({ module_or_path: module });
      desk = new Desk((text) => { panic = text; });
      postMessage({ id, value: module });
      return;
    }
    const value = methods[method](...(method === 'plan' ? [args[0], id] : args));
    postMessage({ id, value }, moved(value));
  } catch (error) {
    postMessage({ id, error: told(error) });
  }
};
