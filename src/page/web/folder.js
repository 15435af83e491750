// The whole card as one ZIP: the job, its files, and the plan's folder, as the command line would write it.
import { unzip, zip } from 'fflate';
import { ask, fileBytes, now, OUT } from './card.js';
import { planned } from './job.js';
import { desk, Told } from './desk.js';

const JOB = 'job.toml';
/** The ZIP's times: the earliest it knows, so that the same card gives the same bytes. */
const TIME = '1980-01-01T00:00:00';

const zipped = (files) => new Promise((resolve, reject) => {
  zip(files, { mtime: TIME, level: 6 }, (error, data) => (error ? reject(error) : resolve(data)));
});

/** Bytes of a ZIP; `tell(done, of)` while it is made. */
export async function wholeFolder(tell) {
  const { job, files } = now.value;
  const out = { [JOB]: new TextEncoder().encode(await ask('jobToml', planned(job))) };
  for (const name of Object.keys(files)) out[name] = fileBytes(name);
  const names = await ask('names');
  for (const [i, name] of names.entries()) {
    tell?.(i, names.length);
    const data = await ask('file', name);
    // Pictures and PDFs are packed already.
    out[`${job.out ?? OUT}/${name}`] = /\.(png|pdf)$/.test(name) ? [data, { level: 0 }] : data;
  }
  return zipped(out);
}

/** A card that was saved as a ZIP: { name, job, given }. */
export async function readCard(file) {
  const data = new Uint8Array(await file.arrayBuffer());
  const files = await new Promise((resolve, reject) => {
    unzip(data, { filter: ({ name, originalSize }) => !name.startsWith(`${OUT}/`) && originalSize < 2 ** 28 }, (error, all) => {
      if (error) reject(new Told({ what: `${file.name} is not a saved card.`, next: 'Choose the ZIP file that was saved here.' }));
      else resolve(all);
    });
  });
  if (!files[JOB]) throw new Told({ what: `${file.name} holds no ${JOB}.`, next: 'Choose the ZIP file that was saved here.' });
  const job = await desk.call('readJob', [JOB], { files: { [JOB]: files[JOB] } });
  delete files[JOB];
  return { name: file.name.replace(/\.zip$/i, ''), job: { ...job, out: OUT }, given: files };
}
