// The page: what the server says, what the hand does, and the film under it.

import {BEFORE, Film, NOW, OTHER} from './gl.js';
import {keepingFocus, make, recipe} from './recipe.js';

const $ = (id) => document.getElementById(id);
const VIEW = 0xFFFF, LIVE_POINTS = 25, RESTING_POINTS = 57, REST = 120, SLOW = 33;
const canvas = $('canvas'), table = $('table'), one = $('one'), section = $('film');

const page = globalThis.page = {
  state: null, seq: 0, exactSeq: -1, exact: false, times: [], errors: [],
  sizes: {live: 1, drawn: [0, 0]}, progress: [], view: null, point: null, looked: 0,
};
let film = null, socket = null, flying = null, pending = null, rest = null, moving = false;
let other = null, apart = false, line = 0.5, cells = [], slow = 0, coarse = false, tries = 0, sized = 0, waitingEdits = [];

// ---------------------------------------------------------------- talking

function say(message) {
  if (socket && socket.readyState === 1) { socket.send(JSON.stringify(message)); return true; }
  return false;
}

function connect() {
  socket = new WebSocket(`ws://${location.host}${location.pathname}socket`);
  socket.binaryType = 'arraybuffer';
  socket.onmessage = (event) => typeof event.data === 'string' ? heard(JSON.parse(event.data)) : taken(event.data);
  socket.onclose = () => {
    flying = pending = null;
    sized = 0;
    status('the server is gone; waiting for it');
    document.body.classList.add('alone');
    tries = Math.min(tries + 1, 6);
    setTimeout(connect, 250 * tries);
  };
  socket.onopen = () => { tries = 0; document.body.classList.remove('alone'); };
}

function edit(message) {
  if (!say({what: 'edit', ...message})) waitingEdits.push(message);
}

function heard(message) {
  if (message.what === 'state') {
    page.state = message;
    recipe.take(message);
    layout();
    words();
    if (message.first) {
      for (const kept of waitingEdits.splice(0)) edit(kept);
      ask(true);
      if (other && other !== BEFORE) say({what: 'other', take: other, n: film.most});
    } else resting(0);
  } else if (message.what === 'sized') { resting(0); minis(); }
  else if (message.what === 'read') { ask(true); if (page.view) askView(); }
  else if (message.what === 'drawing') recipe.drawn(message.step, message.drawing);
  else if (message.what === 'exact') { if (message.seq === page.seq && !moving) { page.exact = true; page.exactSeq = message.seq; words(); paint(); } }
  else if (message.what === 'refused') { flying = null; refused(message.why); next(); }
  else if (message.what === 'unclear') { flying = pending = null; status('the file was changed meanwhile: let go, and decide', true); }
  else if (message.what === 'question') { flying = null; question(message); }
  else if (message.what === 'picked') { page.point = message; below(); recipe.refresh(); spot(); }
  else if (message.what === 'progress') { page.progress.push(message.text); $('progress').hidden = false; $('progress').max = message.total; $('progress').value = message.done; $('made').textContent = message.text + ' …'; }
  else if (message.what === 'made') { $('progress').hidden = true; $('made').textContent = message.text; $('made').classList.toggle('bad', !!message.failed); }
}

function taken(data) {
  const [kind, seq, index, w, h] = new Uint32Array(data, 0, 5);
  if (kind === 1) film.frame(index, 'light', w, h, new Uint16Array(data, 20));
  else if (kind === 5) film.frame(index, 'trimmed', w, h, new Uint16Array(data, 20));
  else if (kind === 2) { film.frame(index, 'before', w, h, new Uint8Array(data, 20)); measure(); paint(); }
  else if (kind === 3) {
    const trip = performance.now();
    film.lattices(index, w, data);
    if (index === 1) { paint(); return; }
    if (index > 1) { mini(index); return; }
    film.stale();
    page.exact = false;
    follow();
    paint();
    if (flying && flying.seq === seq) {
      const from = flying.from, drawn = performance.now();
      requestAnimationFrame(() => {
        const channel = new MessageChannel();
        channel.port1.onmessage = () => {
          const total = performance.now() - from;
          page.times.push({total, trip: trip - from, draw: drawn - trip, made: h / 1000});
          if (page.sizes.scale === 1 && moving) slow = total > SLOW ? slow + 1 : 0;
          if (slow >= 2) coarse = true;
          flying = null;
          next();
        };
        channel.port2.postMessage(0);
      });
    }
  } else if (kind === 4) {
    if (seq !== page.seq || moving) return;
    film.frame(index, 'exact', w, h, new Uint8Array(data, 20));
    paint();
  }
}

// ---------------------------------------------------------------- changing

function move(step, key, value, show) {
  moving = true;
  if (show) along(show);
  page.exact = false;
  clearTimeout(rest);
  status(`live · ${page.state.file}`);
  pending = {what: 'move', base: step.base, step: step.path, key, value, n: LIVE_POINTS, label: `${step.title}, ${key.at(-1)}`, from: performance.now()};
  next();
}

// What follows a hand beside the pictures changes in their frame: on a machine without a graphics
// card each frame of the page costs as much as the pictures in it.
const LATE = 150;
let beside = new Set(), besideTimer = null;
function along(show) {
  beside.add(show);
  besideTimer ??= setTimeout(follow, LATE);
}
function follow() {
  clearTimeout(besideTimer);
  besideTimer = null;
  const shows = beside;
  beside = new Set();
  for (const show of shows) show();
}

function next() {
  if (flying || !pending) return;
  const {from, ...message} = pending;
  pending = null;
  flying = {seq: ++page.seq, from};
  if (!say({...message, seq: flying.seq})) flying = null;
}

function done(step, key, value, was, label) {
  back(false);
  edit({do: 'set', base: step.base, step: step.path, key, value, was, label});
}

// The hand lets go; without a change, the pictures go back to what the recipe says.
function back(again = true) {
  pending = null;
  moving = false;
  if (again) resting(0);
}

function resting(wait = REST) {
  clearTimeout(rest);
  rest = setTimeout(() => {
    if (moving) return;
    page.seq++;
    page.exact = false;
    film.stale();
    const seen = cells.map((cell) => cell.index);
    const order = [...new Set([page.view ? VIEW : page.looked, ...seen])].filter((index) => film.frames.has(index));
    say({what: 'rest', seq: page.seq, order, n: film.most});
    words();
  }, wait);
}

function refused(why) {
  back();
  status(why, true);
  recipe.settle();
  recipe.refused(why);
}

// What only the user can decide: the words of the server, and a button for each choice. Keys stay in
// it until it is answered, Escape takes the last choice, and then they are where they were before.
let camefrom = null;
function question(asked) {
  back();
  for (const held of document.querySelectorAll('.held')) held.classList.remove('held');
  const at = $('question');
  if (!at.hidden && at.firstChild?.textContent === asked.text) return;
  if (at.hidden) {
    const had = document.activeElement;
    camefrom = {had, at: had.dataset.at, within: had.closest('section[id]')};
  }
  const close = (message) => {
    at.hidden = true;
    at.replaceChildren();
    if (message) edit(message);
    recipe.late = true;
    recipe.settle();
    const again = camefrom.at && [...(camefrom.within ?? document).querySelectorAll('[data-at]')].find((one) => one.dataset.at === camefrom.at);
    const home = camefrom.had.isConnected && camefrom.had !== document.body ? camefrom.had : again;
    (home || document.querySelector('#recipe .title'))?.focus({preventScroll: true});
  };
  const buttons = asked.choices.map((one) => {
    const button = make('button', {type: 'button', 'aria-describedby': 'asked'}, one.text);
    button.addEventListener('click', () => close(one.edit));
    return button;
  });
  at.onkeydown = (event) => {
    const place = buttons.indexOf(document.activeElement), last = buttons.length - 1;
    if (event.key === 'Escape') buttons[last].click();
    else if (event.key === 'Tab') buttons[(place + (event.shiftKey ? last : 1)) % buttons.length].focus();
    else return;
    event.preventDefault();
    event.stopPropagation();
  };
  at.replaceChildren(make('p', {id: 'asked'}, asked.text), make('p', {class: 'acts'}, ...buttons));
  at.hidden = false;
  buttons[0].focus();
}

// ---------------------------------------------------------------- the film

function ask(force) {
  const width = page.view ? 0 : pictureWidth();
  if (!width || (!force && width === sized)) return;
  sized = width;
  say({what: 'size', width, space: film.space});
}

function pictureWidth() {
  const first = table.querySelector('.picture');
  return first ? Math.round(first.getBoundingClientRect().width * devicePixelRatio) : 0;
}

let shape = '';
function layout() {
  const s = page.state, scenes = [...s.scenes.map((scene) => scene.name), null];
  const now = JSON.stringify([s.pictures, s.cameras.map((c) => [c.name, c.encoding, c.matched]), s.scenes.map((x) => x.name)]);
  if (now === shape) { captions(); return; }
  shape = now;
  sized = 0;
  const cameras = s.cameras.filter((camera) => s.pictures.some((p) => p.camera === camera.name));
  const rows = [];
  for (const scene of scenes) {
    const here = s.pictures.map((p, index) => ({...p, index})).filter((p) => p.scene === scene);
    const most = Math.max(0, ...cameras.map((c) => here.filter((p) => p.camera === c.name).length));
    for (let k = 0; k < most; k++) rows.push({scene, first: k === 0, at: cameras.map((c) => here.filter((p) => p.camera === c.name)[k])});
  }
  table.replaceChildren();
  table.style.setProperty('--columns', cameras.length);
  const heads = make('div', {class: 'row heads'});
  for (const camera of cameras)
    heads.append(make('h2', {class: 'camera'}, make('b', {}, camera.name), ` ${camera.encoding}${camera.matched ? ', matched' : ''}`));
  table.append(heads);
  for (const row of rows) {
    if (row.first && row.scene !== null) table.append(make('div', {class: 'caption', 'data-scene': row.scene}));
    const line = make('div', {class: 'row'});
    for (const picture of row.at) {
      if (!picture) { line.append(make('div', {class: 'nothing'}, 'no frame')); continue; }
      const button = make('div', {class: 'picture', tabindex: 0, role: 'button', 'data-index': picture.index,
        'aria-label': `${picture.scene ?? 'no scene'}, camera ${picture.camera}, ${picture.name}. Enter tells a point, F shows it large`});
      button.style.aspectRatio = picture.aspect;
      hand(button, picture.index);
      line.append(make('figure', {}, button, make('figcaption', {}, picture.name)));
    }
    table.append(line);
  }
  captions();
  measure();
  requestAnimationFrame(() => ask(false));
}

function captions() {
  for (const caption of table.querySelectorAll('.caption')) {
    const scene = page.state.scenes.find((one) => one.name === caption.dataset.scene);
    if (scene && !caption.querySelector('.held, input.number:not([readonly])') && !(moving && caption.contains(document.activeElement))) {
      const focus = caption.contains(document.activeElement) ? document.activeElement.dataset.at : null;
      recipe.trims(caption, scene);
      if (focus) caption.querySelector(`[data-at='${focus}']`)?.focus({preventScroll: true});
    }
  }
}

// What the hand does on a picture: a click tells the point, a drag moves the line, F shows it large.
function hand(element, index) {
  let down = null;
  const place = (event) => { const box = element.getBoundingClientRect(); return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height]; };
  element.addEventListener('pointerdown', (event) => { if (event.button) return; down = {x: event.clientX, y: event.clientY, moved: false}; element.setPointerCapture(event.pointerId); looked(index); });
  element.addEventListener('pointermove', (event) => {
    if (!down) return;
    if (!down.moved && Math.hypot(event.clientX - down.x, event.clientY - down.y) < 4) return;
    const [dx, dy] = [event.clientX - down.x, event.clientY - down.y];
    if (index === VIEW && other === null) { down.moved = true; pan(dx, dy); down.x = event.clientX; down.y = event.clientY; return; }
    down.moved = true;
    if (other !== null) { line = Math.max(0, Math.min(1, place(event)[0])); paint(); }
  });
  element.addEventListener('pointerup', (event) => { if (down && !down.moved) pick(index, ...place(event)); down = null; });
  element.addEventListener('pointercancel', () => { down = null; });
  element.addEventListener('dblclick', () => index === VIEW ? small() : large(index));
  element.addEventListener('focus', () => looked(index));
  element.addEventListener('keydown', (event) => {
    const way = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[event.key];
    const at = page.point && page.point.index === index ? page.point : {x: 0.5, y: 0.5};
    if (event.key === 'Enter') pick(index, at.x, at.y);
    else if (way && other !== null && event.shiftKey && way[0]) { line = Math.max(0, Math.min(1, line + way[0] * 0.05)); paint(); }
    else if (way && page.point && page.point.index === index) pick(index, at.x + way[0] * 0.01, at.y + way[1] * 0.01);
    else if (event.key === 'f' || event.key === 'F') index === VIEW ? small() : large(index);
    else if (event.key === 'Escape' && index === VIEW) small();
    else if (index === VIEW && (event.key === '+' || event.key === '-')) zoom(event.key === '+' ? 1.5 : 1 / 1.5, 0.5, 0.5);
    else return;
    event.preventDefault();
  });
}

function looked(index) { if (index !== VIEW) page.looked = index; }
function pick(index, x, y) { say({what: 'pick', index, x: Math.max(0, Math.min(0.9999, x)), y: Math.max(0, Math.min(0.9999, y))}); }

function spot() {
  for (const mark of document.querySelectorAll('.spot')) mark.remove();
  if (!page.point) return;
  const cell = document.querySelector(`.picture[data-index="${page.point.index}"]`);
  if (!cell) return;
  const mark = make('span', {class: 'spot'});
  mark.style.left = 100 * page.point.x + '%';
  mark.style.top = 100 * page.point.y + '%';
  cell.append(mark);
}

// The full view: one picture, or a part of it, in the file's own pixels.
function large(index) {
  page.view = {index, x0: 0, y0: 0, x1: 1, y1: 1};
  const picture = page.state.pictures[index];
  table.hidden = true;
  one.hidden = false;
  const cell = make('div', {class: 'picture whole', tabindex: 0, role: 'button', 'data-index': VIEW, 'aria-label': `${picture.name} in full view. Plus and minus zoom, Escape goes back`});
  cell.style.aspectRatio = picture.aspect;
  hand(cell, VIEW);
  cell.addEventListener('wheel', (event) => {
    event.preventDefault();
    const box = cell.getBoundingClientRect();
    zoom(event.deltaY < 0 ? 1.25 : 0.8, (event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height);
  }, {passive: false});
  const back = make('button', {type: 'button'}, 'back to the film');
  back.addEventListener('click', small);
  one.replaceChildren(make('p', {class: 'caption'}, make('b', {}, picture.name), ` ${picture.size[0]} × ${picture.size[1]}; wheel zooms, a drag moves `, back), cell);
  cell.focus({preventScroll: true});
  measure();
  askView();
}
function small() { page.view = null; film.frames.delete(VIEW); one.hidden = true; table.hidden = false; measure(); ask(false); resting(0); const cell = table.querySelector(`[data-index="${page.looked}"]`); if (cell) cell.focus({preventScroll: true}); }
function zoom(by, x, y) {
  const v = page.view, w = Math.min(1, (v.x1 - v.x0) / by), size = Math.max(w, 0.02);
  const ax = v.x0 + x * (v.x1 - v.x0), ay = v.y0 + y * (v.y1 - v.y0);
  v.x0 = ax - x * size; v.x1 = v.x0 + size; v.y0 = ay - y * size; v.y1 = v.y0 + size;
  keep();
}
function pan(dx, dy) {
  const v = page.view, box = one.querySelector('.picture').getBoundingClientRect();
  const mx = -dx / box.width * (v.x1 - v.x0), my = -dy / box.height * (v.y1 - v.y0);
  v.x0 += mx; v.x1 += mx; v.y0 += my; v.y1 += my;
  keep();
}
function keep() {
  const v = page.view, w = v.x1 - v.x0, h = v.y1 - v.y0;
  v.x0 = Math.max(0, Math.min(1 - w, v.x0)); v.x1 = v.x0 + w;
  v.y0 = Math.max(0, Math.min(1 - h, v.y0)); v.y1 = v.y0 + h;
  askView();
}
let viewTimer = null;
function askView() {
  clearTimeout(viewTimer);
  viewTimer = setTimeout(() => {
    if (!page.view) return;
    const cell = one.querySelector('.picture');
    say({what: 'view', ...page.view, width: Math.round(cell.getBoundingClientRect().width * devicePixelRatio)});
    resting(REST);
  }, 40);
}

// Where pictures lie on the canvas, and the canvas in the window.
let place = {top: 0, width: 1, height: 1};
function measure() {
  const base = section.getBoundingClientRect(), ratio = devicePixelRatio;
  cells = [...document.querySelectorAll('.picture')].filter((cell) => cell.offsetParent !== null).map((cell) => {
    const box = cell.getBoundingClientRect(), index = Number(cell.dataset.index), frame = film.frames.get(index);
    const w = Math.round(box.width * ratio);
    return {index, of: index === VIEW ? page.view.index : index,
      x: Math.round((box.left - base.left) * ratio), y: Math.round((box.top - base.top) * ratio),
      w: frame && Math.abs(frame.w - w) < 2 ? frame.w : w,
      h: frame && Math.abs(frame.w - w) < 2 ? frame.h : Math.round(box.height * ratio)};
  });
  place = {top: base.top, width: section.clientWidth, height: section.clientHeight};
  canvas.style.width = place.width + 'px';
  canvas.style.height = place.height + 'px';
}

let asked = false;
function paint() {
  if (moving) { draw(); return; }
  if (asked) return;
  asked = true;
  requestAnimationFrame(() => { asked = false; draw(); });
}

function draw() {
  const ratio = devicePixelRatio, scale = moving && coarse ? 0.4 : 1;
  const w = Math.round(place.width * ratio * scale), h = Math.round(place.height * ratio * scale);
  if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
  const top = -place.top * ratio, bottom = top + innerHeight * ratio;
  const seen = cells.filter((cell) => cell.y + cell.h > top - 50 && cell.y < bottom + 50);
  // Side by side: each picture twice in its place, what it is compared with on the left.
  const twice = (cell) => [OTHER, NOW].map((all, k) => ({...cell, all, x: cell.x + k * Math.round(cell.w / 2), y: cell.y + Math.round(cell.h / 4), w: Math.round(cell.w / 2) - 1, h: Math.round(cell.h / 2)}));
  film.draw(apart && other !== null ? seen.flatMap(twice) : seen, {scale, line, other: other === null ? null : other === BEFORE ? BEFORE : OTHER, live: moving});
  page.sizes = {scale, canvas: [w, h], cell: seen[0] ? [Math.round(seen[0].w * scale), Math.round(seen[0].h * scale)] : null, pictures: seen.length};
  rule();
}

// The line across which pictures are compared.
let ruled = null;
function rule() {
  const now = other === null || apart ? null : line;
  if (now === null && ruled === null) return;
  ruled = now;
  for (const cell of document.querySelectorAll('.picture')) {
    let mark = cell.querySelector('.line');
    if (now === null) { if (mark) mark.remove(); continue; }
    if (!mark) { mark = make('span', {class: 'line'}); cell.append(mark); }
    mark.style.left = 100 * line + '%';
  }
}

// ---------------------------------------------------------------- words

function status(text, bad) { const at = $('status'); if (at.textContent !== text) at.textContent = text; at.classList.toggle('bad', !!bad); }

function words() {
  const s = page.state;
  document.title = `${s.name}, ${s.show}`;
  $('name').textContent = s.name;
  $('about').replaceChildren('for ', make('b', {}, s.show), `, seen on ${s.output} (${s.outputName})`,
    s.hdr ? '; a high range, shown in standard range: judge its lights elsewhere' : '');
  status(`${page.exact ? 'exact' : 'live'} · ${s.file} ${s.problems.length ? 'has problems' : 'is saved'}`);
  $('undo').disabled = !s.undo;
  $('redo').disabled = !s.redo;
  $('undo').title = s.undo ? `take back: ${s.undo}` : '';
  $('redo').title = s.redo ? `again: ${s.redo}` : '';
  $('problems').hidden = !s.problems.length;
  $('problems').replaceChildren(...(s.problems.length ? [make('b', {}, 'The recipe as it is in its file cannot be used; the pictures show the last one that could.'),
    ...s.problems.map((one) => make('p', {}, one.text))] : []));
  $('left').hidden = !s.leftOut.length;
  if ($('left').dataset.had !== s.leftOut.join('\n')) {
    $('left').dataset.had = s.leftOut.join('\n');
    const many = s.leftOut.length;
    $('left').replaceChildren(make('summary', {}, many === 1 ? 'one file was left out' : `${many} files were left out`), ...s.leftOut.map((one) => make('p', {}, one)));
  }
  const select = $('other'), kept = select.value;
  const options = [['', 'nothing'], ['before', 'as recorded'], ...s.takes.map((take) => ['take:' + take.name, `“${take.name}”`])];
  if (JSON.stringify(options) !== select.dataset.had) {
    select.dataset.had = JSON.stringify(options);
    select.replaceChildren(...options.map(([value, text]) => make('option', {value}, text)));
    select.value = options.some(([value]) => value === kept) ? kept : '';
  }
  if (page.drawnRevision !== s.revision) { page.drawnRevision = s.revision; recipe.show(); below(); }
}

$('other').addEventListener('change', (event) => compare(event.target.value));
function compare(value, beside = false) {
  $('other').value = value;
  apart = beside && value !== '';
  other = value === '' ? null : value === 'before' ? BEFORE : value.slice(5);
  if (other !== null && other !== BEFORE) say({what: 'other', take: other, n: film.most});
  paint();
}

function below() {
  const at = $('below'), s = page.state, parts = [];
  if (page.point) parts.push(point(page.point));
  const takes = make('div', {class: 'takes'}, make('h2', {}, 'Takes'));
  const form = make('form', {}, make('label', {}, 'keep this as ', make('input', {type: 'text', name: 'name', maxlength: 60, required: ''})), make('button', {}, 'keep'));
  form.addEventListener('submit', (event) => { event.preventDefault(); edit({do: 'keep', name: form.elements.name.value}); form.reset(); });
  for (const take of s.takes) {
    const row = make('p', {class: 'take' + (take.now ? ' now' : '')}, make('b', {}, take.name), take.now ? ' is what you see ' : ' ');
    const act = (text, what) => { const b = make('button', {type: 'button', 'aria-label': `${text}: ${take.name}`}, text); b.addEventListener('click', what); row.append(b); };
    act('across the line', () => compare('take:' + take.name));
    act('side by side', () => compare('take:' + take.name, true));
    if (!take.now) act('go back to it', () => edit({do: 'back', name: take.name}));
    act('forget', () => edit({do: 'forget', name: take.name}));
    row.append(make('span', {class: 'differs'}, take.differs.join('; ')));
    const small = make('canvas', {width: 1, height: 1, class: 'mini', role: 'img', 'aria-label': `the film as ${take.name}`, 'data-take': take.name});
    takes.append(make('div', {class: 'kept'}, small, row));
  }
  takes.append(form);
  keepingFocus(at, () => at.replaceChildren(...parts, takes));
  minis();
}

// Takes as miniatures of the film: asked for one by one, drawn aside from the frames that are here.
const MINI = 48;
let waiting = [];
function minis() {
  if (!film || !page.state || sized === 0) return;
  waiting = page.state.takes.map((take, k) => ({name: take.name, slot: 2 + k})).slice(0, 60);
  for (const one of waiting) say({what: 'other', take: one.name, slot: one.slot, n: 17});
}
function mini(slot) {
  const one = waiting.find((take) => take.slot === slot);
  const to = one && document.querySelector(`.mini[data-take="${CSS.escape(one.name)}"]`);
  if (!to) return;
  const rows = [...table.querySelectorAll('.row:not(.heads)')], cells = [];
  let y = 0, wide = 0;
  for (const row of rows) {
    let x = 0, high = 0;
    for (const cell of row.querySelectorAll('.picture')) {
      const index = Number(cell.dataset.index), frame = film.frames.get(index);
      if (!frame) continue;
      const w = Math.round(MINI * frame.w / frame.h);
      cells.push({index, of: index, x, y, w, h: MINI});
      x += w + 1;
      high = MINI;
    }
    wide = Math.max(wide, x - 1);
    y += high && high + 1;
  }
  if (!cells.length) return;
  to.width = wide;
  to.height = y - 1;
  to.getContext('2d', {colorSpace: film.space}).putImageData(film.miniature(slot, cells, wide, y - 1), 0, 0);
}

const sign = (v, digits = 1) => (v < 0 ? '\u2212' : '+') + Math.abs(v).toFixed(digits);
function level(one) {
  if (one.luminance !== null) return `${one.luminance.toFixed(1)} cd/m²`;
  return one.stops === null ? '' : `${sign(one.stops, 2)} stops`;
}
function point(p) {
  const swatch = make('span', {class: 'swatch', 'aria-hidden': 'true'});
  swatch.style.background = `rgb(${p.shown.join(' ')})`;
  const box = make('div', {class: 'point-told'}, make('h2', {}, `The point in ${p.scene ?? 'the film'}, camera ${p.camera}`));
  box.append(make('p', {}, swatch, make('b', {}, `${sign(p.stops)} stops`), ' from mid-grey',
    p.hue === null ? ', neutral' : `, hue ${Math.round(p.hue)}°, chroma ${p.chroma.toFixed(2)}`, `; on ${page.state.output} `, make('b', {}, p.code.join(' ')), ` of ${2 ** p.bits - 1}`));
  const list = make('ol', {class: 'way'});
  p.steps.forEach((one, k) => {
    const was = p.steps[k - 1], notes = [...one.notes];
    const same = was && was.stops === one.stops && was.hue === one.hue && was.luminance === one.luminance;
    list.append(make('li', {class: same ? 'same' : ''}, make('b', {}, one.label), ` ${same ? 'leaves it' : [level(one), one.hue === null ? '' : `hue ${Math.round(one.hue)}°`, one.chroma === null ? '' : `chroma ${one.chroma.toFixed(2)}`].filter(Boolean).join(', ')}`, notes.length ? make('em', {}, ' ' + notes.join('; ')) : ''));
  });
  box.append(list);
  const where = p.scene === null ? ['look', 0] : ['scenes', p.scene, 'trims', 0];
  const act = (text, what) => { const b = make('button', {type: 'button'}, text); b.addEventListener('click', what); return b; };
  const grey = p.light.map((v) => Math.max(1e-5, Number(v.toPrecision(4))));
  const target = make('input', {type: 'number', step: 0.1, value: Math.round(p.stops * 10) / 10, 'aria-label': 'stops from mid-grey'});
  const acts = make('p', {class: 'acts'},
    act('make this neutral', () => edit({do: 'add', base: page.state.text, step: where, kind: 'white-balance', table: {kind: 'white-balance', grey}})),
    make('span', {}, act('bring this to', () => {
      const by = Math.round((Number(target.value) - p.stops) * 100) / 100;
      if (!Number.isFinite(by)) return;
      const trims = p.scene === null ? page.state.steps : page.state.scenes.find((one) => one.name === p.scene).trims;
      const at = trims.find((one) => one.kind === 'exposure' && one.own && one.enabled);
      const now = at && at.parts.find((part) => part.t === 'number');
      if (now) edit({do: 'set', base: at.base, step: at.path, key: now.key, value: Math.round((now.v + by) * 100) / 100, label: 'light of the point'});
      else edit({do: 'add', base: page.state.text, step: where, kind: 'exposure', table: {kind: 'exposure', stops: by}});
    }), ' ', target, ' stops'));
  if (p.hue !== null && p.chroma > 0.005) {
    const hue = Math.round(p.hue);
    acts.append(act('a band around this hue', () => { recipe.open = JSON.stringify(['look', page.state.steps.length]); edit({do: 'add', base: page.state.text, step: ['look', page.state.steps.length], kind: 'hue-bands', table: {kind: 'hue-bands', bands: [{centre: hue, width: 40, soft: 30, turn: 0}]}}); }));
    const open = page.state.steps.find((one) => JSON.stringify(one.path) === recipe.open);
    if (open && !open.only.length) acts.append(act(`this is skin: ${open.title.toLowerCase()} keeps it`, () => edit({do: 'set', base: open.base, step: open.path, key: ['only'], value: {hue: {centre: hue, width: 40, soft: 30}, invert: true}, label: 'skin kept'})));
  }
  acts.append(act('done', () => { page.point = null; spot(); below(); recipe.refresh(); }));
  box.append(acts);
  return box;
}

// ---------------------------------------------------------------- start

$('undo').addEventListener('click', () => edit({do: 'undo'}));
$('redo').addEventListener('click', () => edit({do: 'redo'}));
for (const button of document.querySelectorAll('[data-job]'))
  button.addEventListener('click', () => { $('made').textContent = 'starting …'; say({what: 'job', kind: button.dataset.job}); });
document.addEventListener('keydown', (event) => {
  if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== 'z') return;
  if (event.target.matches('input[type=text]:not([readonly])')) return;
  event.preventDefault();
  edit({do: event.shiftKey ? 'redo' : 'undo'});
});
addEventListener('error', (event) => page.errors.push(event.message));
addEventListener('scroll', () => { place.top = section.getBoundingClientRect().top; paint(); }, {passive: true});
for (const scroller of [table, section]) scroller.addEventListener('scroll', () => { measure(); paint(); }, {passive: true});
let resized = null;
new ResizeObserver(() => { if (!film || !page.state) return; measure(); paint(); clearTimeout(resized); resized = setTimeout(() => { measure(); page.view ? askView() : ask(false); }, 200); }).observe(section);

try {
  film = page.film = new Film(canvas, RESTING_POINTS);
  film.onrestored = () => paint();
  recipe.start({move, along, done, back, edit, page, captions, moving: () => moving});
  if (matchMedia('(color-gamut: p3)').matches) film.widen('display-p3');
  connect();
} catch (error) {
  status(error.message, true);
}

// For tests and measurements: the canvas's pixels of one picture, as they are drawn now.
page.pixels = (index) => {
  draw();
  const cell = cells.find((one) => one.index === index), gl = film.gl, scale = page.sizes.scale;
  const [x, y, w, h] = [cell.x, cell.y, cell.w, cell.h].map((one) => Math.round(one * scale));
  const data = new Uint8Array(w * h * 4);
  gl.readPixels(x, canvas.height - y - h, w, h, gl.RGBA, gl.UNSIGNED_BYTE, data);
  return {w, h, data: Array.from(data), exact: page.exact};
};
page.compare = compare;
