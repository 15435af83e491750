// Small parts of the page that several steps use.
import { useEffect, useState } from 'preact/hooks';
import { ask } from './card.js';

/** A value that a promise makes; { value, error }. */
export function useLater(make, on) {
  const [state, set] = useState({});
  useEffect(() => {
    let current = true;
    set((before) => ({ value: before.value }));
    Promise.resolve().then(make).then(
      (value) => current && set({ value }),
      (error) => current && set({ error }),
    );
    return () => { current = false; };
  }, on);
  return state;
}

/** The address of a picture in the plan's folder; it is given back when another takes its place. */
export function useSheet(name, of) {
  const picture = useLater(async () => (name ? URL.createObjectURL(new Blob([await ask('file', name)], { type: 'image/png' })) : null), [name, of]);
  useEffect(() => () => { if (picture.value) URL.revokeObjectURL(picture.value); }, [picture.value]);
  return picture;
}

/** A button that takes a file, by choosing it. */
export function FileButton({ label, accept, camera = false, multiple = false, onFiles, kind = '' }) {
  return (
    <label class={`button file ${kind}`}>
      <input
        type="file"
        accept={accept}
        capture={camera ? 'environment' : undefined}
        multiple={multiple}
        onChange={(event) => {
          const files = [...event.currentTarget.files];
          event.currentTarget.value = '';
          if (files.length > 0) onFiles(files);
        }}
      />
      <span>{label}</span>
    </label>
  );
}

/** One of a few: { value: label }. */
export function Choice({ legend, value, options, onChange, hidden = true }) {
  return (
    <fieldset class="choice">
      <legend class={hidden ? 'unseen' : ''}>{legend}</legend>
      {Object.entries(options).map(([key, label]) => (
        <label key={key} class={key === value ? 'on' : ''}>
          <input type="radio" name={legend} checked={key === value} onChange={() => onChange(key)} />
          <span>{label}</span>
        </label>
      ))}
    </fieldset>
  );
}

const UNITS = { mm: 'mm', cm: 'cm', in: 'in' };

/** A length as text with its unit. */
export function LengthField({ label, value, onChange, hint }) {
  const found = /^\s*([\d.]+)\s*(mm|cm|in)?/.exec(value ?? '');
  const [unit, setUnit] = useState(found?.[2] ?? 'mm');
  const number = found?.[1] ?? '';
  return (
    <div class="field">
      <label>
        <span>{label}</span>
        <input
          type="number" inputmode="decimal" min="0" step="any" value={number}
          onChange={(event) => { if (event.currentTarget.value) onChange(`${event.currentTarget.value}${unit}`); }}
        />
      </label>
      <label>
        <span class="unseen">Unit</span>
        <select value={unit} onChange={(event) => { const u = event.currentTarget.value; setUnit(u); if (number) onChange(`${number}${u}`); }}>
          {Object.keys(UNITS).map((u) => <option key={u} value={u}>{u}</option>)}
        </select>
      </label>
      {hint && <small>{hint}</small>}
    </div>
  );
}

/** A number; what is no number, or out of bounds, is not taken as it is. */
export function NumberField({ label, value, min = -Infinity, max = Infinity, step = 'any', onChange }) {
  return (
    <label>
      <span>{label}</span>
      <input
        type="number" inputmode="decimal" value={value} step={step} min={Number.isFinite(min) ? min : undefined} max={Number.isFinite(max) ? max : undefined}
        onChange={(event) => {
          const v = Math.min(Math.max(event.currentTarget.valueAsNumber, min), max);
          if (Number.isFinite(v) && v !== value) onChange(v);
          else event.currentTarget.value = value;
        }}
      />
    </label>
  );
}

/** A slider whose value counts when it is let go. */
export function Slider({ label, value, min, max, step = 1, words, onChange }) {
  const [held, hold] = useState(null);
  const at = held ?? value;
  return (
    <label class="slider">
      <span>{label}<output>{words?.[at - min] ?? at}</output></span>
      <input
        type="range" min={min} max={max} step={step} value={at}
        onInput={(event) => hold(Number(event.currentTarget.value))}
        onChange={(event) => { const v = Number(event.currentTarget.value); hold(null); if (v !== value) onChange(v); }}
      />
    </label>
  );
}

export const Swatch = ({ color, big = false }) => <span class={big ? 'swatch big' : 'swatch'} style={{ background: color }} aria-hidden="true" />;

export const Trouble = ({ error }) => error && (
  <div class="trouble" role="alert">
    <p>{error.what ?? error.message}</p>
    {error.next && <p class="next">{error.next}</p>}
  </div>
);

/** Square centimeters in words. */
export const area = (mm2) => (mm2 < 10 ? `${mm2.toFixed(1)} mm²` : `${(mm2 / 100).toFixed(mm2 < 1000 ? 1 : 0)} cm²`);
export const minutes = (m) => (m < 60 ? `${Math.round(m)} min` : `${Math.floor(m / 60)} h ${Math.round(m % 60)} min`);
/** A distance in CIEDE2000 in words; common practice, no source. */
export const nearness = (d) => (d < 2 ? 'just like it' : d < 5 ? 'very near' : d < 10 ? 'near' : d < 20 ? 'a good way off' : 'far off');
