'use strict';
// The guide walks through the turns of a plan. What is done, and when, is kept in local storage.
(() => {
  const plan = JSON.parse(document.getElementById('plan').textContent);
  const $ = (id) => document.getElementById(id);
  const svg = $('panel');
  const shape = new Map([...svg.querySelectorAll('path.s')].map((p) => [Number(p.dataset.id), p]));
  const penOf = new Map(plan.pens.map((p) => [p.number, p]));
  // The turns of every section, first coat first.
  const turnsOf = new Map(plan.sections.map((s) => [s[0], []]));
  plan.turns.forEach((t, k) => t.sections.forEach((id) => turnsOf.get(id).push(k)));
  const store = 'penstrata-guide-' + plan.id;

  // ---- what is kept
  let kept = true;
  // A card of stamps is stamped and masked first, and cut and glued last.
  const before = plan.before, finishing = plan.finishing;
  const fresh = () => ({ stamped: null, done: [], skipped: [], step: 0, stepAt: null, end: 0 });
  // What a text of local storage says, as far as it is of this plan.
  const readFrom = (text) => {
    let read = null;
    try { read = text && JSON.parse(text); } catch { /* not ours, or damaged */ }
    if (!read || !Array.isArray(read.done) || !Array.isArray(read.skipped)) return fresh();
    const known = (k) => Number.isInteger(k) && k >= 0 && k < plan.turns.length;
    return {
      stamped: Number.isFinite(read.stamped) ? read.stamped : null,
      done: read.done.filter((d) => Array.isArray(d) && known(d[0]) && Number.isFinite(d[1])),
      skipped: read.skipped.filter((k) => known(k) || k === -1),
      step: Number.isInteger(read.step) ? Math.min(Math.max(read.step, 0), before.length) : 0,
      stepAt: Number.isFinite(read.stepAt) ? read.stepAt : null,
      end: Number.isInteger(read.end) ? Math.min(Math.max(read.end, 0), finishing.length) : 0,
    };
  };
  let state = fresh();
  try {
    state = readFrom(localStorage.getItem(store));
    // Whether anything can be kept is tried beside the progress: it is never written over before something is done.
    localStorage.setItem(store + '-try', '');
    localStorage.removeItem(store + '-try');
  } catch {
    kept = false;
  }
  const keep = () => {
    if (!kept) return;
    try { localStorage.setItem(store, JSON.stringify(state)); } catch { kept = false; tellStorage(); }
  };
  const tellStorage = () => {
    $('storage').textContent = kept
      ? 'Your progress is kept on this device.'
      : 'This browser keeps no progress here: leave the page open until you are done.';
  };

  // ---- when what is dry
  const doneAt = (k) => { const d = state.done.find((e) => e[0] === k); return d ? d[1] : null; };
  const isDone = (k) => doneAt(k) !== null;
  const stampEnd = () => plan.stampRest && state.stamped !== null ? state.stamped + plan.stampRest * 1000 : 0;
  const mayFollow = (k) => !isDone(k) && plan.turns[k].after.every(isDone);
  const dryAt = (k) => Math.max(stampEnd(), 0, ...plan.turns[k].after.map((a) => doneAt(a) + plan.rest * 1000));
  // A pen is capped and the next one opened in any case: a wait no longer than that is none.
  const lastDone = () => Math.max(state.stamped ?? 0, ...state.done.map((d) => d[1]));
  const waits = (k, now) => !state.skipped.includes(k) && dryAt(k) > now && dryAt(k) - lastDone() >= plan.shortWait * 1000;
  // Turns whose ink is wet just across a drawn line from those sections.
  const wetAcross = (k, now) => plan.turns[k].beside.filter((a) => isDone(a) && doneAt(a) + plan.rest * 1000 > now);
  const stamping = () => state.step < before.length && state.done.length === 0 ? before[state.step] : null;
  const stampWait = (now) => { const s = stamping(); return s && s.rest_s && state.stepAt !== null ? Math.max(0, state.stepAt + s.rest_s * 1000 - now) : 0; };
  const gluing = () => current() === null && state.end < finishing.length ? finishing[state.end] : null;
  const atStart = () => plan.stampRest > 0 && state.stamped === null && state.done.length === 0 && !state.skipped.includes(-1);

  let picked = null;
  const current = () => {
    if (picked !== null && mayFollow(picked)) return picked;
    picked = null;
    const k = plan.turns.findIndex((_, i) => mayFollow(i));
    return k < 0 ? null : k;
  };

  // ---- words
  const time = (ms) => { const s = Math.max(0, Math.ceil(ms / 1000)); return Math.floor(s / 60) + ':' + String(s % 60).padStart(2, '0'); };
  const minutes = (s) => s < 90 ? s + ' seconds' : (s / 60).toFixed(s % 60 ? 1 : 0) + ' minutes';
  const count = (n, one) => n + ' ' + one + (n === 1 ? '' : 's');
  // A number's mark and its pen, whatever way the pen's name is written.
  const called = (number) => { const p = penOf.get(number); return p.mark + ' \u2068' + p.name + '\u2069'; };
  const marks = (turns) => [...new Set(turns.map((a) => plan.turns[a].number))].sort((a, b) => a - b)
    .map((n) => (/^\d/.test(penOf.get(n).mark) ? penOf.get(n).mark : called(n))).join(', ');
  const turnName = (k) => called(plan.turns[k].number) + plan.turns[k].part;
  const say = (text) => { $('said').textContent = text; };

  // ---- drawing
  let lit = null;     // number whose pen was tapped
  let chosen = null;  // section
  const turnSections = () => {
    const k = current();
    return k === null ? [] : plan.turns[k].sections;
  };
  const litSections = () => plan.sections.filter((s) => s[1] === lit || turnsOf.get(s[0]).some((k) => plan.turns[k].number === lit)).map((s) => s[0]);
  const paint = () => {
    const step = stamping() || gluing();
    const now = new Set(lit !== null ? litSections() : step ? [] : turnSections());
    // All done: the finished picture, in full color.
    const finished = current() === null && lit === null;
    const k = current();
    const number = lit ?? (k === null ? 0 : plan.turns[k].number);
    for (const [id, path] of shape) {
      const last = turnsOf.get(id).findLast(isDone);
      const shown = now.has(id) ? number : last === undefined ? 0 : plan.turns[last].number;
      const pen = penOf.get(shown);
      path.style.setProperty('--c', pen ? pen.color : '#fff');
      path.classList.toggle('now', now.has(id));
      path.classList.toggle('done', !finished && !now.has(id) && last !== undefined);
      path.classList.toggle('full', finished && last !== undefined);
      path.classList.toggle('chosen', id === chosen);
    }
    // What is stamped or masked stands out; pieces lie where they are glued already.
    svg.classList.toggle('stamping', stamping() !== null && lit === null);
    const lies = new Set();
    for (const s of before.slice(0, state.step)) {
      if (s.does === 'lay_mask') lies.add(s.images[0]);
      if (s.does === 'lift_mask') lies.delete(s.images[0]);
    }
    for (const path of svg.querySelectorAll('path.image')) {
      const k = Number(path.dataset.k);
      path.classList.toggle('on', step !== null && (step.images || []).includes(k));
      path.classList.toggle('masked', lies.has(k));
    }
    const glued = new Set(finishing.slice(0, current() === null ? state.end : 0).filter((s) => s.does === 'glue').flatMap((s) => s.images));
    for (const piece of svg.querySelectorAll('g.piece')) {
      if (glued.has(Number(piece.dataset.k))) piece.setAttribute('transform', piece.dataset.to);
      else piece.removeAttribute('transform');
    }
  };
  const choose = (id) => {
    chosen = id;
    const s = plan.sections.find((e) => e[0] === id);
    if (s) {
      const open = turnsOf.get(id).filter((k) => !isDone(k)).map((k) => k + 1);
      const pen = penOf.get(s[1]);
      const what = s[1] === 0 ? 'Leave this one bare' : 'Number ' + called(s[1]) + (pen.coat.startsWith('second') ? ', ' + pen.coat : '');
      const when = s[1] === 0 ? '' : !open.length ? ', done' : ', ' + (open.length > 1 ? 'turns ' : 'turn ') + open.join(' and ');
      say(what + when + ', ' + (s[2] / 100).toFixed(1) + ' cm\u00b2, at ' + s[3].map((v) => v.toFixed(1)).join(',') + ' mm.');
    }
    render();
  };

  const button = (k, words) => {
    const b = document.createElement('button');
    b.type = 'button';
    const dot = document.createElement('span');
    dot.className = 'dot';
    dot.style.background = penOf.get(plan.turns[k].number).color;
    const text = document.createElement('span');
    text.textContent = words;
    b.append(dot, text);
    return b;
  };

  // What must be dry before a turn, and what is wet beside it.
  const dryFirst = (k, now) => {
    if (k === null) return '';
    if (atStart()) return 'The stamped ink rests ' + minutes(plan.stampRest) + ' first. If it is dry, press Skip below.';
    if (stampEnd() > now) return 'Must be dry before: the stamped ink.';
    const { after } = plan.turns[k];
    const wet = marks(wetAcross(k, now));
    const first = after.length ? 'Must be dry before: ' + [...new Set(after.map((a) => called(plan.turns[a].number)))].join(', ') + '.' : '';
    const across = wet && 'Still wet across a drawn line: ' + wet + '. Keep off that line.';
    return [first, across].filter(Boolean).join(' ') || 'Touches nothing that is wet.';
  };

  let shownMeanwhile = '';
  const tick = () => {
    const now = Date.now();
    const k = current();
    const start = atStart();
    if (stamping() || gluing()) {
      const left = stampWait(now);
      $('wait').hidden = left <= 0;
      if (left > 0) $('wait').textContent = time(left) + ' until it is dry';
      $('meanwhile').hidden = true;
      shownMeanwhile = '';
      const done = $('done');
      const label = left > 0 ? 'Skip the wait' : 'Done';
      if (done.textContent !== label) done.textContent = label;
      done.dataset.waiting = '';
      done.disabled = false;
      return;
    }
    const told = dryFirst(k, now);
    if ($('before').textContent !== told) $('before').textContent = told;
    const waiting = k !== null && waits(k, now);
    $('wait').hidden = !waiting;
    if (waiting) {
      const wet = plan.turns[k].after.filter((a) => doneAt(a) + plan.rest * 1000 > now).map((a) => called(plan.turns[a].number));
      const what = stampEnd() > now ? 'the stamped ink' : [...new Set(wet)].join(', ');
      $('wait').textContent = time(dryAt(k) - now) + ' until ' + what + (stampEnd() > now || wet.length < 2 ? ' is dry' : ' are dry');
    }
    const others = waiting ? plan.turns.map((_, i) => i).filter((i) => i !== k && mayFollow(i) && !waits(i, now)) : [];
    const list = others.join();
    if (list !== shownMeanwhile || $('meanwhile').hidden !== !others.length) {
      shownMeanwhile = list;
      const box = $('meanwhile');
      box.hidden = !others.length;
      box.replaceChildren(...(others.length ? ['Meanwhile: '] : []), ...others.slice(0, 3).map((i) => {
        const b = button(i, turnName(i));
        b.addEventListener('click', () => { picked = i; lit = null; chosen = null; say('Now: ' + turnName(i)); render(); });
        return b;
      }));
    }
    const done = $('done');
    const label = start ? 'Start: stamped just now' : k === null ? 'All done' : waiting ? 'Skip the wait' : 'Done';
    if (done.textContent !== label) {
      if (done.dataset.waiting && !waiting && k !== null) { say('Dry: go on with ' + turnName(k)); if (navigator.vibrate) navigator.vibrate(300); }
      done.textContent = label;
    }
    done.dataset.waiting = waiting ? '1' : '';
    done.disabled = k === null;
  };

  const render = () => {
    const k = current();
    const turn = k === null ? null : plan.turns[k];
    $('head').textContent = turn ? 'Turn ' + (state.done.length + 1) + ' of ' + plan.turns.length : 'Finished';
    $('progress').max = plan.turns.length;
    $('progress').value = state.done.length;
    const pen = turn && penOf.get(turn.number);
    $('swatch').style.background = pen ? pen.color : 'none';
    $('number').textContent = turn ? pen.mark : '';
    $('pen').textContent = turn ? pen.name : 'All turns are done';
    $('facts').textContent = turn
      ? count(turn.sections.length, 'section') + turn.part + ', ' + (turn.area / 100).toFixed(1) + ' cm\u00b2, about ' + minutes(turn.work)
        + (pen.refill ? '' : '; no refill at hand') + (pen.coat ? '; ' + pen.coat : '')
      : 'Let everything dry well before you touch or glue it.';
    const step = stamping() || gluing();
    if (step) {
      const first = stamping() !== null;
      $('head').textContent = first ? 'Stamping, ' + (state.step + 1) + ' of ' + before.length : 'Cutting and gluing, ' + (state.end + 1) + ' of ' + finishing.length;
      $('number').textContent = '';
      $('pen').textContent = step.say;
      $('facts').textContent = step.rest_s ? 'Rest: ' + minutes(step.rest_s) + '.' : '';
      $('before').textContent = '';
    } else if (!turn && finishing.length) {
      $('pen').textContent = 'The card is finished';
      $('facts').textContent = '';
    }
    $('swatch').hidden = $('number').hidden = !turn || step !== null;
    $('pen').classList.toggle('words', step !== null);
    // Words that are shown already are only spoken.
    $('said').classList.toggle('quiet', step !== null || (!turn && finishing.length > 0));
    $('stepping').parentElement.hidden = !turn || step !== null;
    const list = turnSections();
    const at = list.indexOf(chosen);
    $('place').textContent = list.length ? (at < 0 ? count(list.length, 'section') : at + 1 + ' of ' + list.length) : 'none';
    $('last').disabled = $('next').disabled = !list.length;
    const undo = $('undo');
    undo.textContent = atStart() && !stamping() ? 'Skip' : 'Undo';
    undo.disabled = stamping() ? state.step === 0
      : !atStart() && !state.done.length && state.stamped === null && !state.skipped.length && !state.step;
    for (const b of $('list').querySelectorAll('button')) b.setAttribute('aria-pressed', String(Number(b.dataset.number) === lit));
    record();
    paint();
    tick();
  };

  // ---- what was colored, for the record: plan, turns as bits, the minute it began, and a check
  const code = () => {
    if (!state.done.length) return '';
    let bits = 0n;
    for (const [k] of state.done) bits |= 1n << BigInt(k);
    const began = Math.min(...state.done.map((d) => d[1]));
    const minutes = Math.floor(began / 60000) - new Date(began).getTimezoneOffset();
    const text = plan.id + '-' + bits.toString(16) + '-' + minutes.toString(36);
    let hash = 0xcbf29ce484222325n;
    for (const c of text) hash = ((hash ^ BigInt(c.charCodeAt(0))) * 0x100000001b3n) & 0xffffffffffffffffn;
    return text + '-' + (hash & 0xffn).toString(16).padStart(2, '0');
  };
  const record = () => {
    const text = code();
    for (const id of ['code', 'copy', 'save']) $(id).hidden = !text;
    if ($('recording').textContent && $('code').textContent === text) return;
    $('code').textContent = text;
    $('recording').textContent = !text ? 'As soon as a turn is done, a code stands here that adds it to the record of your pens.' : 'So that the record of your pens knows which will run dry, run on your computer: penstrata record, the folder of this plan, and this code. It may be given again later: nothing is counted twice.';
    $('save').href = 'data:text/plain,' + text;
  };
  $('copy').addEventListener('click', async () => {
    try {
      await navigator.clipboard.writeText(code());
      say('The code is copied.');
    } catch {
      getSelection().selectAllChildren($('code'));
      say('The code is marked: copy it.');
    }
  });

  // ---- what a person does
  $('done').addEventListener('click', () => {
    const k = current();
    if (stamping()) {
      state.step += 1;
      state.stepAt = Date.now();
      const next = stamping();
      say(next ? next.say : 'Everything is stamped.');
    } else if (gluing()) {
      state.end += 1;
      const next = gluing();
      say(next ? next.say : 'The card is finished.');
    } else if (k === null) {
      return;
    } else if (atStart()) {
      state.stamped = Date.now();
      say('The stamped ink rests.');
    } else if (waits(k, Date.now())) {
      state.skipped.push(k);
      say('Go on with ' + turnName(k));
    } else {
      state.done.push([k, Date.now()]);
      picked = null;
      const n = current();
      say('Done: ' + turnName(k) + (n === null ? '. That was the last.' : '. Next: ' + turnName(n)));
    }
    lit = null; chosen = null;
    keep(); render();
  });
  $('undo').addEventListener('click', () => {
    if (state.end > 0) {
      state.end -= 1;
      say('Taken back.');
    } else if (stamping()) {
      state.step = Math.max(0, state.step - 1);
      state.stepAt = null;
      say('Taken back.');
    } else if (atStart()) {
      state.skipped.push(-1);
      say('Begin with ' + turnName(current()));
    } else if (state.done.length) {
      const [k] = state.done.pop();
      state.skipped = state.skipped.filter((s) => s !== k);
      picked = k;
      say('Taken back: ' + turnName(k));
    } else if (state.stamped === null && !state.skipped.length && state.step > 0) {
      state.step -= 1;
      state.stepAt = null;
      say('Taken back.');
    } else {
      state.stamped = null;
      state.skipped = [];
      say('Back at the start.');
    }
    lit = null; chosen = null;
    keep(); render();
  });
  $('again').addEventListener('click', () => {
    if (!confirm('Forget what is done and start over?')) return;
    state = fresh();
    picked = lit = chosen = null;
    say('Back at the start.');
    keep(); render();
  });
  const step = (by) => {
    const list = turnSections();
    lit = null;
    if (!list.length) return;
    const at = list.indexOf(chosen);
    choose(list[at < 0 ? (by > 0 ? 0 : list.length - 1) : (at + by + list.length) % list.length]);
  };
  $('last').addEventListener('click', () => step(-1));
  $('next').addEventListener('click', () => step(1));

  for (const pen of plan.pens) {
    const item = document.createElement('li');
    const b = document.createElement('button');
    b.type = 'button';
    b.dataset.number = pen.number;
    b.setAttribute('aria-pressed', 'false');
    const dot = document.createElement('span');
    dot.className = 'dot';
    dot.style.background = pen.color;
    const number = document.createElement('b');
    number.textContent = pen.mark;
    const name = document.createElement('bdi');
    name.textContent = pen.name;
    const more = document.createElement('small');
    more.textContent = (pen.area / 100).toFixed(1) + ' cm\u00b2';
    const words = document.createElement('span');
    words.append(name);
    for (const more of [pen.bands, pen.coat]) {
      if (!more) continue;
      const line = document.createElement('small');
      line.textContent = more;
      words.append(line);
    }
    b.append(dot, number, words, more);
    b.addEventListener('click', () => {
      lit = lit === pen.number ? null : pen.number;
      chosen = null;
      say(lit === null ? 'Back to the turn.' : 'Lit: ' + called(pen.number));
      render();
    });
    item.append(b);
    $('list').append(item);
  }

  // ---- zoom: the view box in hundredths of a millimeter
  const [W, H] = plan.size;
  let box = { x: 0, y: 0, w: W, h: H };
  const show = () => {
    box.w = Math.min(W, Math.max(W / 12, box.w));
    box.h = box.w * H / W;
    box.x = Math.min(W - box.w, Math.max(0, box.x));
    box.y = Math.min(H - box.h, Math.max(0, box.y));
    svg.setAttribute('viewBox', [box.x, box.y, box.w, box.h].map(Math.round).join(' '));
    svg.classList.toggle('near', box.w < W);
  };
  const place = (e) => {
    const r = svg.getBoundingClientRect();
    const scale = Math.max(box.w / r.width, box.h / r.height);
    return [box.x + box.w / 2 + (e.clientX - r.left - r.width / 2) * scale, box.y + box.h / 2 + (e.clientY - r.top - r.height / 2) * scale, scale];
  };
  const zoom = (by, x = box.x + box.w / 2, y = box.y + box.h / 2) => {
    const w = Math.min(W, Math.max(W / 12, box.w / by));
    const k = w / box.w;
    box = { x: x - (x - box.x) * k, y: y - (y - box.y) * k, w, h: box.h * k };
    show();
  };
  $('closer').addEventListener('click', () => zoom(1.6));
  $('farther').addEventListener('click', () => zoom(1 / 1.6));
  $('whole').addEventListener('click', () => { box = { x: 0, y: 0, w: W, h: H }; show(); });
  svg.addEventListener('wheel', (e) => {
    if (!e.ctrlKey && box.w >= W && e.deltaY > 0) return;
    e.preventDefault();
    const [x, y] = place(e);
    zoom(e.deltaY < 0 ? 1.2 : 1 / 1.2, x, y);
  }, { passive: false });
  const fingers = new Map();
  let moved = 0;
  svg.addEventListener('pointerdown', (e) => {
    if (!fingers.size) moved = 0;
    fingers.set(e.pointerId, e);
  });
  svg.addEventListener('pointermove', (e) => {
    const last = fingers.get(e.pointerId);
    if (!last) return;
    const [, , scale] = place(e);
    const dx = e.clientX - last.clientX, dy = e.clientY - last.clientY;
    moved += Math.hypot(dx, dy);
    if (moved > 8) svg.setPointerCapture(e.pointerId);
    if (fingers.size === 1) {
      if (box.w < W && moved > 8) { box.x -= dx * scale; box.y -= dy * scale; show(); }
    } else {
      const other = [...fingers.values()].find((f) => f.pointerId !== e.pointerId);
      const before = Math.hypot(last.clientX - other.clientX, last.clientY - other.clientY);
      const after = Math.hypot(e.clientX - other.clientX, e.clientY - other.clientY);
      const [x, y] = place(other);
      if (before > 0) zoom(after / before, x, y);
    }
    fingers.set(e.pointerId, e);
  });
  const lift = (e) => fingers.delete(e.pointerId);
  svg.addEventListener('pointerup', lift);
  svg.addEventListener('pointercancel', lift);
  svg.addEventListener('click', (e) => {
    if (moved > 8) return;
    const path = e.target.closest('path.s');
    if (path) choose(Number(path.dataset.id));
  });

  // The same guide in another tab, or a browser that hands over late what the page before it kept.
  window.addEventListener('storage', (e) => {
    if (e.key !== store || e.newValue === null) return;
    state = readFrom(e.newValue);
    render();
  });
  tellStorage();
  render();
  setInterval(tick, 500);
})();
