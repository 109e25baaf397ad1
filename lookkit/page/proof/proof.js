import {BEFORE, Film, OTHER} from '../static/gl.js';
// A proof: the film under its takes, a line to draw across, and what the client likes, as text.

const $ = (id) => document.getElementById(id);
const canvas = document.createElement('canvas');
const proof = globalThis.proof = {ready: false, errors: [], take: 0, left: null, line: 0.5};
const liked = new Map();
addEventListener('error', (event) => proof.errors.push(event.message));

function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

// Text to integers: undo base64 and deflate, put the bytes together, add up along each row.
async function unpacked(text, rows, n, times) {
  const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('deflate'));
  const planes = new Uint8Array(await new Response(stream).arrayBuffer());
  const count = rows * n, codes = new Uint16Array(3 * count);
  for (let channel = 0; channel < 3; channel++) {
    const low = channel * count, high = (3 + channel) * count;
    for (let row = 0, at = 0; row < rows; row++) {
      let sum = 0;
      for (let x = 0; x < n; x++, at++) {
        sum = (sum + planes[low + at] + 256 * planes[high + at]) & 65535;
        codes[3 * at + channel] = Math.round(sum * times);
      }
    }
  }
  return codes;
}

async function recorded(frame) {
  const image = new Image();
  image.src = frame.before;
  await image.decode();
  const flat = new OffscreenCanvas(frame.w, frame.h).getContext('2d', {willReadFrequently: true});
  flat.drawImage(image, 0, 0);
  const data = flat.getImageData(0, 0, frame.w, frame.h).data, out = new Uint8Array(3 * frame.w * frame.h);
  for (let i = 0, j = 0; i < data.length; i += 4, j += 3) { out[j] = data[i]; out[j + 1] = data[i + 1]; out[j + 2] = data[i + 2]; }
  return out;
}

let film = null;
const cubes = PROOF.takes.map(() => null);
async function lattices(take) {
  const n = PROOF.points;
  cubes[take] ??= Promise.all(PROOF.takes[take].lattices.map((text) => unpacked(text, n * n, n, 1)));
  return cubes[take];
}
async function put(slot, take) {
  const codes = await lattices(take), count = codes.length, which = PROOF.takes[take].which;
  const words = [which.length, count, ...which, ...which.map(() => 0), ...codes.map((_, k) => 1000 * take + k), ...codes.map(() => 1)];
  const each = 3 * PROOF.points ** 3, data = new ArrayBuffer(20 + 4 * words.length + 2 * each * count);
  new Uint32Array(data, 20, words.length).set(words);
  codes.forEach((one, k) => new Uint16Array(data, 20 + 4 * words.length + 2 * each * k, each).set(one));
  film.lattices(slot, PROOF.points, data);
}

// Each picture is drawn at its own size and copied into its place: no count of them is too many.
const places = [];
function draw(index) {
  const frame = PROOF.frames[index];
  canvas.width = frame.w;
  canvas.height = frame.h;
  film.draw([{index, of: index, x: 0, y: 0, w: frame.w, h: frame.h}],
    {line: proof.left === null ? 0 : proof.line, other: proof.left === null ? null : proof.left === 'before' ? BEFORE : OTHER});
  places[index].to.drawImage(canvas, 0, 0);
  places[index].mark.hidden = proof.left === null;
  places[index].mark.style.left = 100 * proof.line + '%';
}
let asked = false;
function paint() {
  if (asked || !film) return;
  asked = true;
  requestAnimationFrame(() => {
    asked = false;
    places.forEach((place, index) => { if (place.ready) draw(index); });
  });
}

async function show(take) {
  proof.take = take;
  [...$('takes').children].forEach((one, k) => one.setAttribute('aria-pressed', k === take));
  await put(0, take);
  paint();
}
async function against(value) {
  proof.left = value === '' ? null : value === 'before' ? 'before' : Number(value);
  if (typeof proof.left === 'number') await put(1, proof.left);
  $('line').disabled = proof.left === null;
  paint();
}
function lineAt(value) { proof.line = Math.max(0, Math.min(1, value)); $('line').value = 100 * proof.line; paint(); }

function answer() {
  const lines = [`${PROOF.show}, “${PROOF.name}”`];
  for (const [scene, names] of liked) if (names.size) lines.push(`${scene}: I like ${[...names].map((name) => `“${name}”`).join(' and ')}`);
  if (lines.length === 1) lines.push('Nothing is marked yet.');
  const words = $('words').value.trim();
  if (words) lines.push('', words);
  $('text').value = lines.join('\n');
}

function sections() {
  const scenes = [...new Set(PROOF.frames.map((frame) => frame.scene))];
  for (const scene of scenes) {
    const name = scene ?? 'the film', pictures = make('div', {class: 'pictures'});
    PROOF.frames.forEach((frame, index) => {
      if (frame.scene !== scene) return;
      const own = make('canvas', {width: frame.w, height: frame.h, role: 'img', 'aria-label': `${name}, camera ${frame.camera}`});
      const mark = make('span', {class: 'mark'}), box = make('div', {class: 'picture'}, own, mark);
      mark.hidden = true;
      places[index] = {to: own.getContext('2d'), own, mark, ready: false};
      let held = false;
      const move = (event) => { const area = box.getBoundingClientRect(); lineAt((event.clientX - area.left) / area.width); };
      box.addEventListener('pointerdown', (event) => { if (event.button) return; held = true; box.setPointerCapture(event.pointerId); move(event); });
      box.addEventListener('pointermove', (event) => { if (held) move(event); });
      for (const end of ['pointerup', 'pointercancel']) box.addEventListener(end, () => { held = false; });
      pictures.append(make('figure', {}, box, make('figcaption', {}, `camera ${frame.camera}, ${frame.name}`)));
    });
    pictures.style.setProperty('--count', Math.min(3, pictures.children.length));
    const likes = make('p', {class: 'likes', role: 'group', 'aria-label': `what I like of ${name}`}, 'I like ');
    liked.set(name, new Set());
    for (const take of PROOF.takes) {
      const button = make('button', {type: 'button', 'aria-pressed': 'false'}, take.name);
      button.addEventListener('click', () => {
        const names = liked.get(name), on = !names.has(take.name);
        if (on) names.add(take.name); else names.delete(take.name);
        button.setAttribute('aria-pressed', on);
        answer();
      });
      likes.append(button);
    }
    $('film').append(make('section', {class: 'scene'}, make('h2', {}, name), pictures, likes));
  }
}

async function start() {
  $('show').textContent = PROOF.show;
  const count = PROOF.takes.length, look = count === 1 ? 'One look' : `${count} looks to choose from`;
  $('what').textContent = `${look}. Touch a picture and draw the line across to see it as it was filmed.`
    + (PROOF.hdr ? ' The film is made for a high range, which this page cannot show.' : '')
    + (PROOF.texture ? ' Halation, softness and grain of the film are left out here: they are in the finished pictures.' : '');
  PROOF.takes.forEach((take, k) => {
    const button = make('button', {type: 'button', 'aria-pressed': k === 0}, take.name);
    button.addEventListener('click', () => show(k));
    $('takes').append(button);
  });
  $('left').append(make('option', {value: 'before'}, 'as filmed'), make('option', {value: ''}, 'the same'),
    ...PROOF.takes.map((take, k) => make('option', {value: k}, take.name)));
  $('left').addEventListener('change', (event) => against(event.target.value));
  $('line').addEventListener('input', (event) => lineAt(event.target.value / 100));
  $('words').addEventListener('input', answer);
  $('copy').addEventListener('click', async () => {
    try { await navigator.clipboard.writeText($('text').value); }
    catch { $('text').select(); document.execCommand('copy'); }
    $('copied').textContent = 'copied';
  });
  sections();
  answer();
  film = proof.film = new Film(canvas);
  film.onrestored = paint;
  await put(0, 0);
  await against('before');
  for (let index = 0; index < PROOF.frames.length; index++) {
    const frame = PROOF.frames[index];
    film.frame(index, 'light', frame.w, frame.h, await unpacked(frame.light, frame.h, frame.w, 65535 / frame.top));
    film.frame(index, 'before', frame.w, frame.h, await recorded(frame));
    places[index].ready = true;
    draw(index);
  }
  proof.ready = true;
}
start().catch((error) => { proof.errors.push(String(error)); $('what').textContent = `This browser cannot show it: ${error.message}`; });

// For tests: the pixels of one picture as it is shown.
proof.pixels = (index) => {
  draw(index);
  const {own, to} = places[index];
  return {w: own.width, h: own.height, data: Array.from(to.getImageData(0, 0, own.width, own.height).data)};
};
