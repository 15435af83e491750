// What nobody needs, and some like: the same card in other colors, and things to put on it.
import * as table from '../card.js';
import { bytesOf, nameFor, PICTURES, TABLES } from '../files.js';
import { FileButton, Slider, Swatch, Trouble, useLater, useSheet } from '../parts.jsx';

/** What may stand in a variant's name: it is a folder's, too. */
const plain = (text) => text.replace(/[^\p{L}\p{N} _-]+/gu, ' ').replace(/\s+/g, ' ').trim().slice(0, 60);

const edit = (about, i, change) => table.edit(about, (job) => change(job.variant[i], job));
const setNumber = (variant, key, v) => { if (v === 0) delete variant[key]; else variant[key] = v; };

/** Of these files those that nothing in the job names any more, to be taken off the card. */
const unused = (job, ...names) => Object.fromEntries(names.filter((file) => file && !JSON.stringify(job).includes(JSON.stringify(file))).map((file) => [file, null]));

function Variant({ variant, i, names, unserved }) {
  const { name } = variant;
  const { job, files } = table.now.value;
  const tableOfPens = variant.pens ?? table.PENS;
  const rows = useLater(() => (files[tableOfPens] ? table.ask('pens', tableOfPens) : []), [files[tableOfPens]]);
  const pens = (rows.value ?? []).map((r) => r.name);
  const own = async (key, about, [file]) => {
    const taken = nameFor(file, Object.keys(files));
    const data = await bytesOf(file);
    const before = variant[key];
    edit(about, i, (next, whole) => { next[key] = taken; return { [taken]: data, ...unused(whole, before) }; });
  };
  const without = (key, about) => edit(about, i, (next, whole) => { const file = next[key]; delete next[key]; return unused(whole, file); });
  const forbidden = variant.forbid ?? [];
  const called = (event) => {
    const next = plain(event.currentTarget.value);
    if (next && !names.some((other, k) => k !== i && other.toLowerCase() === next.toLowerCase())) edit('a name', i, (v) => { v.name = next; });
    else {
      event.currentTarget.value = name;
      table.said.value = { text: 'Give it a name of its own, of letters and digits.' };
    }
  };
  return (
    <li aria-label={name}>
      <div class="row">
        <input class="name" aria-label="Name" value={name} maxLength={60} onChange={called} />
        <button type="button" onClick={() => table.edit(`without ${name}`, (next) => { next.variant.splice(i, 1); if (next.variant.length === 0) delete next.variant; return unused(next, variant.pens, variant.reference); })}>Remove</button>
      </div>
      {unserved && <Trouble error={{ what: unserved }} />}
      <div class="row">
        <FileButton label={variant.pens ? 'Another table of pens' : 'From other pens'} accept={TABLES} onFiles={(list) => own('pens', `pens of its own for ${name}`, list)} />
        {variant.pens && <button type="button" onClick={() => without('pens', `the card's pens for ${name}`)}>The card’s pens</button>}
        {typeof job.reference === 'string' && <FileButton label={variant.reference ? 'Another photo' : 'From another photo'} accept={PICTURES} onFiles={(list) => own('reference', `a photo for ${name}`, list)} />}
        {variant.reference && <button type="button" onClick={() => without('reference', `the card's photo for ${name}`)}>The card’s photo</button>}
      </div>
      <Slider label="Hues turned, in degrees" min={-180} max={180} step={5} value={variant.hue ?? 0} onChange={(v) => edit(`the hues of ${name}`, i, (next) => setNumber(next, 'hue', v))} />
      <Slider label="Darker or lighter" min={-40} max={40} step={2} value={variant.lighter ?? 0} onChange={(v) => edit(`how light ${name} is`, i, (next) => setNumber(next, 'lighter', v))} />
      <div class="row">
        <label class="field"><span class="unseen">Leave a pen out of {name}</span>
          <select value="" onChange={(event) => { const pen = event.currentTarget.value; event.currentTarget.value = ''; edit(`${name} without ${pen}`, i, (next) => { next.forbid = [...forbidden, pen]; }); }}>
            <option value="">Leave a pen out…</option>
            {pens.filter((pen) => !forbidden.includes(pen)).map((pen) => <option key={pen} value={pen}>{pen}</option>)}
          </select>
        </label>
        {forbidden.map((pen) => (
          <button key={pen} type="button" aria-label={`Use ${pen} again in ${name}`} onClick={() => edit(`${pen} again`, i, (next) => { next.forbid = forbidden.filter((p) => p !== pen); if (next.forbid.length === 0) delete next.forbid; })}>
            <bdi>{pen}</bdi> &times;
          </button>
        ))}
      </div>
    </li>
  );
}

/** A picture of the plan's folder, made when it is looked at. */
function Sheet({ name, alt, view }) {
  const picture = useSheet(name, view.of);
  if (picture.error) return <Trouble error={{ what: picture.error.message, next: picture.error.next }} />;
  return picture.value ? <img class="sheet" src={picture.value} alt={alt} /> : <p class="hint">Drawing it…</p>;
}

const Things = ({ title, things }) => things.length > 0 && (
  <>
    <h3>{title}</h3>
    <ul class="lay-out">{things.map((t) => <li key={t.name}><Swatch color={t.color} /> <span><bdi>{t.name}</bdi> <small>{t.kind} · {t.why}</small></span></li>)}</ul>
  </>
);

export function Extras() {
  const { job, files } = table.now.value;
  const view = table.plan.value;
  if (!view) return table.trouble.value ? <Trouble error={table.trouble.value} /> : <p class="hint">Making the plan…</p>;
  const variants = job.variant ?? [];
  const names = variants.map((v) => v.name);
  const made = view.plan.variants ?? [];
  const { accents } = view.plan;
  const add = () => table.edit('other colors', (next) => {
    let n = names.length + 1;
    while (names.includes(`Colors ${n}`)) n += 1;
    next.variant = [...(next.variant ?? []), { name: `Colors ${n}`, hue: 60 }];
  });
  const things = async ([file]) => {
    const name = job.accents ?? nameFor({ name: 'accents.csv' }, Object.keys(files));
    const data = await bytesOf(file);
    table.edit('things to match', (next) => { next.accents = name; return { [name]: data }; });
  };
  return (
    <div class="extras">
      {table.trouble.value && <Trouble error={table.trouble.value} />}
      <p class="hint">None of this is needed. Go on to Color it whenever you like.</p>
      <section aria-labelledby="others">
        <h2 id="others">The same card in other colors</h2>
        <p>The sections and the overlay stay as they are; the pens are others. Each gets its own key and guide when you save the card.</p>
        {variants.length > 0 && made.length > 0 && <Sheet name="variants.png" alt={`The card as planned, and ${names.join(', ')}`} view={view} />}
        <ul class="sources">
          {variants.map((variant, i) => <Variant key={i} variant={variant} i={i} names={names} unserved={made.find((m) => m.name === variant.name)?.unserved} />)}
        </ul>
        <div class="row"><button type="button" onClick={add}>Other colors</button></div>
      </section>
      <section aria-labelledby="things">
        <h2 id="things">Things that go with it</h2>
        <p>Thread, gems, ribbon, ink pads, card to mount it on: a table of what you own, with the columns name, color (such as #9a86b8) and kind.</p>
        {job.accents && accents && <Sheet name="accents.png" alt="Things that match the card, and things that stand out against it" view={view} />}
        {accents && (
          <details><summary>Why these</summary>
            <Things title="They match" things={accents.matching} />
            <Things title="They stand out" things={accents.standing_out} />
            <Things title="Card that matches" things={accents.base_matching} />
            <Things title="Card that stands out" things={accents.base_standing_out} />
          </details>
        )}
        <div class="row">
          <FileButton label={job.accents ? 'Another table' : 'Choose a table'} accept={TABLES} onFiles={things} />
          {job.accents && <button type="button" onClick={() => table.edit('no things to match', (next) => { const name = next.accents; delete next.accents; return { [name]: null }; })}>Remove</button>}
        </div>
      </section>
    </div>
  );
}
