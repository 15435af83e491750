// The page's end of the worker: calls are promises; work can be stopped, and a worker that broke is made anew.

import { unpacked } from './packed.js';

/** An error of the library's: what is wrong, and what to do. */
export class Told extends Error {
  constructor({ what, next, broken = false, stopped = false }) {
    super(what);
    this.next = next;
    this.broken = broken;
    this.stopped = stopped;
  }
}

/** The whole page is there: its blocks come after the script that shows the first screen. */
const whole = new Promise((resolve) => {
  if (document.readyState === 'loading') document.addEventListener('DOMContentLoaded', resolve, { once: true });
  else resolve();
});
const text = (id) => document.getElementById(id).textContent.trim();

export async function example(name) {
  await whole;
  return unpacked(text(`example-${name}`));
}

export class Desk {
  #worker = null;
  #ready = null;
  #module = null;
  #calls = new Map();
  #next = 1;
  /** What the worker has: name to the very bytes. */
  #has = new Map();

  #code = null;

  async #start() {
    await whole;
    this.#has.clear();
    this.#code ??= URL.createObjectURL(new Blob([await unpacked(text('worker'))], { type: 'text/javascript' }));
    const worker = new Worker(this.#code, { name: 'penstrata' });
    worker.onmessage = ({ data }) => this.#heard(data);
    worker.onerror = (event) => {
      event.preventDefault();
      this.#drop({ what: `The library did not start (${event.message}).`, next: 'Open the page in a newer browser.', broken: true });
    };
    this.#worker = worker;
    // The first worker unpacks and compiles the module, which takes long; those after it get it as it is.
    this.#module = await this.#post(worker, 'start', [this.#module ?? text('module')]);
    return worker;
  }

  #heard({ id, stage, value, error }) {
    const call = this.#calls.get(id);
    if (!call) return;
    if (stage !== undefined) {
      call.stage?.(stage);
      return;
    }
    this.#calls.delete(id);
    if (error?.broken) {
      call.reject(new Told(error));
      this.#drop(error);
    } else if (error) call.reject(new Told(error));
    else call.resolve(value);
  }

  #post(worker, method, args, stage, move = []) {
    const id = this.#next++;
    return new Promise((resolve, reject) => {
      this.#calls.set(id, { resolve, reject, stage });
      worker.postMessage({ id, method, args }, move);
    });
  }

  /** Ends the worker; what waits for it is told `error`. */
  #drop(error) {
    this.#worker?.terminate();
    this.#worker = null;
    this.#ready = null;
    const waiting = [...this.#calls.values()];
    this.#calls.clear();
    for (const { reject } of waiting) reject(new Told(error));
  }

  /** Loads the library, so that the first plan does not wait for it. */
  warm() {
    if (!this.#ready) {
      this.#ready = this.#start();
      this.#ready.catch(() => {});
    }
    return this.#ready;
  }

  async call(method, args = [], { files = {}, stage } = {}) {
    const worker = await this.warm();
    if (worker !== this.#worker) throw new Told({ what: 'The work was stopped.', next: 'Go on when you like.', stopped: true });
    for (const [name, bytes] of Object.entries(files)) {
      if (this.#has.get(name) === bytes) continue;
      this.#has.set(name, bytes);
      const copy = bytes.slice();
      await this.#post(worker, 'put', [name, copy], undefined, [copy.buffer]);
    }
    return this.#post(worker, method, args, stage);
  }

  /** Stops what is being done. */
  stop() {
    this.#drop({ what: 'The work was stopped.', next: 'Go on when you like.', stopped: true });
  }
}

export const desk = new Desk();
