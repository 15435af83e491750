// The page: the shelf of cards, and the steps of the one on the table.
import { render } from 'preact';
import { effect } from '@preact/signals';
import { useEffect } from 'preact/hooks';
import * as table from './card.js';
import { desk } from './desk.js';
import { Shelf } from './shelf.jsx';
import { Bring, takeFiles } from './steps/bring.jsx';
import { Flatten } from './steps/flatten.jsx';
import { Card } from './steps/card.jsx';
import { Lay } from './steps/lay.jsx';
import { Sections } from './steps/sections.jsx';
import { Pens } from './steps/pens.jsx';
import { Around } from './steps/around.jsx';
import { Extras } from './steps/extras.jsx';
import { Color } from './steps/color.jsx';
import { Trouble } from './parts.jsx';
import { imagesOf, isCard } from './stamps.js';

/** The steps in their order: what each is called, and when it is part of this card. */
const STEPS = [
  { id: 'bring', name: 'Pictures', draw: Bring },
  { id: 'flatten', name: 'Panel', draw: Flatten, when: (job) => job.panel && job.art },
  { id: 'card', name: 'Card', draw: Card, when: isCard },
  { id: 'lay', name: 'Fit', draw: Lay, when: (job) => job.art || imagesOf(job).length > 0 },
  { id: 'sections', name: 'Sections', draw: Sections },
  { id: 'pens', name: 'Pens', draw: Pens },
  { id: 'around', name: 'Background', draw: Around, when: (job) => job.art || isCard(job) },
  { id: 'extras', name: 'Extras', draw: Extras },
  { id: 'color', name: 'Color it', draw: Color },
];

function Steps({ steps, at }) {
  return (
    <nav class="ruler" aria-label="Steps">
      <ol>
        {steps.map((s, i) => (
          <li key={s.id}>
            <button type="button" aria-current={s.id === at ? 'step' : undefined} onClick={() => table.goTo(s.id)}>
              <i>{i + 1}</i> <span>{s.name}</span>
            </button>
          </li>
        ))}
      </ol>
    </nav>
  );
}

/** Where one is among the steps, on a screen that has no room for the ruler: a mark for each. */
function Place({ steps, at }) {
  return (
    <p class="place">
      <span>Step {at + 1} of {steps.length}: <b>{steps[at].name}</b></span>
      <span class="marks" aria-hidden="true">{steps.map((s, i) => <i key={s.id} class={i < at ? 'past' : i === at ? 'here' : ''} />)}</span>
    </p>
  );
}

function Head({ steps, at }) {
  return (
    <header class="head">
      <h1 class="unseen">{table.card.value.name}</h1>
      <button type="button" class="quiet" onClick={() => table.putAway()} aria-label="All cards">&lsaquo; <span>Cards</span></button>
      <input
        class="title" aria-label="Name of this card" value={table.card.value.name}
        onChange={(event) => table.rename(event.currentTarget.value.trim() || 'Card')}
      />
      <button type="button" class="quiet" disabled={!table.canUndo.value} onClick={table.undo} title={table.undoes.value} aria-label={`Undo ${table.undoes.value}`}>&#8630;</button>
      <button type="button" class="quiet" disabled={!table.canRedo.value} onClick={table.redo} title={table.redoes.value} aria-label={`Redo ${table.redoes.value}`}>&#8631;</button>
      <Place steps={steps} at={at} />
    </header>
  );
}

function Working() {
  const busy = table.busy.value;
  const said = table.said.value;
  useEffect(() => {
    if (!said) return undefined;
    const timer = setTimeout(() => { table.said.value = null; }, 6000);
    return () => clearTimeout(timer);
  }, [said]);
  return (
    <div class="working" role="status">
      {busy && <p class="busy"><span class="spin" aria-hidden="true" />{busy.stage} <button type="button" onClick={table.stop}>Stop</button></p>}
      {!busy && said && <p>{said.text}</p>}
    </div>
  );
}

function Table() {
  const job = table.job.value;
  const steps = STEPS.filter((s) => !s.when || s.when(job));
  const at = Math.max(0, steps.findIndex((s) => s.id === table.step.value));
  const Draw = steps[at].draw;
  const before = steps[at - 1];
  const next = steps[at + 1];
  // A drawing is enough to go on: its colors can be given in the step Fit.
  const waits = at === 0 && !table.ready.value && !job.art && !isCard(job);
  return (
    <div class="table">
      <Head steps={steps} at={at} />
      <Steps steps={steps} at={steps[at].id} />
      <main class={`step ${steps[at].id}`} aria-label={steps[at].name}>
        <Draw key={steps[at].id} />
      </main>
      <Working />
      {table.storageSays.value && <div class="storage"><Trouble error={{ what: table.storageSays.value }} /></div>}
      <footer class="foot">
        {before ? <button type="button" class="back" onClick={() => table.goTo(before.id)}>&lsaquo; <span>{before.name}</span></button> : <span />}
        {next && <button type="button" class="main" disabled={waits} onClick={() => table.goTo(next.id)}>{next.name} &rsaquo;</button>}
      </footer>
    </div>
  );
}

const typing = (target) => target.closest?.('input:not([type=range],[type=radio],[type=checkbox],[type=color]), textarea, select');

function App() {
  useEffect(() => {
    desk.warm().catch(() => {});
    const key = (event) => {
      if (!(event.ctrlKey || event.metaKey) || event.altKey || typing(event.target) || !table.card.value) return;
      const k = event.key.toLowerCase();
      if (k === 'z' && !event.shiftKey) table.undo();
      else if (k === 'y' || (k === 'z' && event.shiftKey)) table.redo();
      else return;
      event.preventDefault();
    };
    const paste = (event) => {
      const files = [...(event.clipboardData?.files ?? [])];
      if (files.length > 0 && !typing(event.target)) { event.preventDefault(); takeFiles(files); }
    };
    const over = (event) => event.preventDefault();
    const drop = (event) => { event.preventDefault(); takeFiles([...(event.dataTransfer?.files ?? [])]); };
    const all = { keydown: key, paste, dragover: over, drop };
    for (const [name, f] of Object.entries(all)) addEventListener(name, f);
    return () => { for (const [name, f] of Object.entries(all)) removeEventListener(name, f); };
  }, []);
  return table.card.value ? <Table /> : <Shelf />;
}

// For whoever drives the page: whether something is being made, told at once, before it is drawn.
effect(() => { document.documentElement.toggleAttribute('data-working', table.busy.value !== null); });
render(<App />, document.getElementById('page'));
if ('serviceWorker' in navigator && isSecureContext && /^https?:/.test(location.protocol)) navigator.serviceWorker.register('penstrata-worker.js').catch(() => {});
