// A number in a sentence: drag it, type it, step it with the arrows.

const MINUS = '\u2212';

export function shown(value, step, signed) {
  const digits = step >= 1 ? 0 : step >= 0.1 ? 1 : 2;
  const short = Number(value.toFixed(digits)), text = Math.abs(value - short) > 1e-9
    ? String(Number(Math.abs(value).toFixed(4))) : Math.abs(value).toFixed(digits);
  return (value < 0 && Number(text) !== 0 ? MINUS : signed && value > 0 ? '+' : '') + text;
}

function held(value, part) {
  if (part.lo !== null && part.lo !== undefined) value = Math.max(value, part.lo);
  if (part.hi !== null && part.hi !== undefined) value = Math.min(value, part.hi);
  return Math.round(value * 1e6) / 1e6;
}

// on: {move(value, show), done(value, before), back(), rest()}; returns the element. `show`, where given,
// writes the number into the page; `rest` is told when the hand lets go.
export function number(part, title, on) {
  const input = document.createElement('input');
  input.className = 'number' + (part.channel !== undefined ? ' channel' + part.channel : '');
  input.type = 'text';
  input.inputMode = 'decimal';
  input.autocomplete = 'off';
  input.spellcheck = false;
  input.readOnly = true;
  input.setAttribute('role', 'spinbutton');
  const name = `${title}, ${part.name}`;
  input.setAttribute('aria-label', name);
  input.title = [part.help, part.unit && `in ${part.unit}`, part.d !== null && part.d !== undefined && `default ${part.d}`]
    .filter(Boolean).join('; ');
  let value = part.v, before = part.v, timer = null, changed = false, drag = null;
  const signed = (part.lo === null || part.lo === undefined || part.lo < 0) && part.d === 0;

  function put(next) { value = held(next, part); show(); }
  function show() {
    input.value = shown(value, part.step, signed);
    input.style.width = Math.max(input.value.replace(/[.]/, '').length + (input.value.includes('.') ? 0.5 : 0), 1) * 1.06 + 0.25 + 'ch';
    input.setAttribute('aria-valuenow', value);
    input.setAttribute('aria-valuetext', input.value + (part.unit ? ' ' + part.unit : ''));
    for (const [limit, key] of [['aria-valuemin', 'lo'], ['aria-valuemax', 'hi']])
      if (part[key] !== null && part[key] !== undefined) input.setAttribute(limit, part[key]);
    const base = part.d ?? before, reach = Math.max(part.step * 60, Math.abs(base) * 0.6);
    const place = Math.max(0, Math.min(1, 0.5 + (value - base) / (2 * reach)));
    input.style.setProperty('--from', `${100 * Math.min(0.5, place)}%`);
    input.style.setProperty('--to', `${100 * Math.max(0.5, place)}%`);
  }
  function move(next) { put(next); changed = true; on.move(value); }
  function follow(next) { value = held(next, part); changed = true; on.move(value, show); }
  function done() {
    clearTimeout(timer);
    timer = null;
    if (!changed) return;
    changed = false;
    const was = before;
    before = value;
    if (value === was) on.back(); else on.done(value, was);
  }
  function later() { clearTimeout(timer); timer = setTimeout(done, 600); }
  function edit(text) { input.readOnly = false; if (text !== undefined) input.value = text; input.select(); if (text !== undefined) input.setSelectionRange(text.length, text.length); }
  function typed() {
    if (input.readOnly) return;
    input.readOnly = true;
    const found = Number(input.value.replace(MINUS, '-').replace(',', '.').trim());
    if (input.value.trim() === '' || !Number.isFinite(found)) { put(value); return; }
    move(found);
    done();
  }
  function back() {
    input.readOnly = true;
    clearTimeout(timer);
    drag = null;
    input.classList.remove('held');
    put(before);
    if (changed) on.back();
    changed = false;
    on.rest();
  }
  function plain() { input.readOnly = true; if (part.d !== null && part.d !== undefined) { move(part.d); done(); } }

  // A drag changes the number: it does not select its text, which costs the browser milliseconds.
  input.addEventListener('mousedown', (event) => { if (!event.button && input.readOnly) event.preventDefault(); });
  input.addEventListener('pointerdown', (event) => {
    if (event.button || !input.readOnly) return;
    drag = {x: event.clientX, value, moved: false};
    input.classList.add('held');
    input.focus({preventScroll: true});
    input.setPointerCapture(event.pointerId);
  });
  input.addEventListener('pointermove', (event) => {
    if (!drag) return;
    const way = event.clientX - drag.x;
    if (!drag.moved && Math.abs(way) < 3) return;
    drag.moved = true;
    const fine = event.shiftKey ? 10 : event.altKey ? 0.1 : 1;
    const step = part.step * fine / (part.step >= 1 ? 2 : 2.5);
    follow(Math.round((drag.value + way * step) / part.step / Math.min(fine, 1) * 5) * part.step * Math.min(fine, 1) / 5);
  });
  const release = (event) => {
    if (!drag) return;
    const was = drag;
    drag = null;
    input.classList.remove('held');
    if (was.moved) { show(); done(); }
    else if (event.type === 'pointerup') edit();
    on.rest();
  };
  input.addEventListener('pointerup', release);
  input.addEventListener('pointercancel', release);
  input.addEventListener('dblclick', plain);
  input.addEventListener('blur', () => { typed(); done(); on.rest(); });
  input.addEventListener('keydown', (event) => {
    const by = part.step * (event.shiftKey ? 10 : event.altKey ? 0.1 : 1);
    if (event.key === 'ArrowUp' || event.key === 'ArrowDown') {
      event.preventDefault();
      typed();
      move(value + (event.key === 'ArrowUp' ? by : -by));
      later();
    } else if (event.key === 'Enter') {
      event.preventDefault();
      if (input.readOnly) edit(); else typed();
    } else if (event.key === 'Escape') back();
    else if (input.readOnly && (event.key === 'Delete' || event.key === 'Backspace')) { event.preventDefault(); plain(); }
    else if (input.readOnly && /^[-+0-9.,]$/.test(event.key) && !event.ctrlKey && !event.metaKey) { event.preventDefault(); edit(event.key); }
  });
  input.take = (next) => { before = next; put(next); };
  put(value);
  return input;
}
