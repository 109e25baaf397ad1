// The recipe as sentences: steps, their numbers, their drawings, what can be done with them.

import {drawing} from './drawing.js';
import {number} from './number.js';

export function make(name, attributes = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  element.append(...children);
  return element;
}

const nameOf = (one) => one.getAttribute('aria-label') ?? one.textContent;

// Make a part of the page anew; who works by keys stays where they were: at the same number, handle or
// button, or where that is gone, at the head of its step.
export function keepingFocus(root, rebuild) {
  const had = document.activeElement, inside = had !== root && root.contains(had);
  const at = had?.dataset?.at, box = inside ? had.closest('.step')?.dataset.at : null, name = inside ? nameOf(had) : '';
  rebuild();
  if (!inside) return;
  const boxes = [...root.querySelectorAll('.step')].filter((one) => one.dataset.at === box || one.dataset.at === recipe.open);
  const same = [...root.querySelectorAll('button, summary, select, input, [tabindex]')].filter((one) => at ? one.dataset.at === at : nameOf(one) === name);
  const found = same.find((one) => boxes.includes(one.closest('.step'))) ?? (box && !at ? null : same[0]);
  (found ?? boxes[0]?.querySelector('.title') ?? root.querySelector('button, summary'))?.focus({preventScroll: true});
}

let hands = null, state = null;
const CLOSE = /^[°.,:;]+/;
const numbers = new Map(), drawings = new Map();

function words(parts, step, into) {
  for (const part of parts) {
    if (part.t === 'text') into.append(parts[parts.indexOf(part) - 1]?.t === 'number' ? part.text.replace(CLOSE, '') : part.text);
    else if (part.t === 'number') {
      const label = (value, was) => `${step.title}: ${part.name} ${was} → ${value}`;
      const input = number(part, step.title, {
        move: (value, show) => hands.move(step, part.key, value, show),
        done: (value, was) => hands.done(step, part.key, value, was, label(value, was)),
        back: () => hands.back(),
        rest: () => recipe.settle(),
      });
      input.dataset.at = JSON.stringify([step.path, part.key]);
      input.dataset.key = JSON.stringify(part.key);
      numbers.set(input.dataset.at, input);
      // What follows a number at once stays on its line.
      const after = parts[parts.indexOf(part) + 1];
      const close = after && after.t === 'text' ? after.text.match(CLOSE)?.[0] ?? '' : '';
      into.append(make('span', {class: 'close'}, input, close));
      if (part.channel !== undefined && part.channel < 2) into.append(' ');
    } else if (part.t === 'choice') {
      const select = make('select', {'aria-label': `${step.title}, ${part.name}`});
      for (const word of Object.keys(part.options)) select.append(make('option', {value: word}, word));
      select.value = part.v;
      select.dataset.key = JSON.stringify(part.key);
      select.addEventListener('change', () => hands.edit({do: 'set', base: step.base, step: step.path, key: part.key, value: part.options[select.value], label: `${step.title}: ${part.name} ${select.value}`}));
      into.append(select);
    } else if (part.t === 'do') {
      const button = make('button', {type: 'button', class: 'small', title: part.help, 'aria-label': `${step.title}, ${part.key.at(-1)}: ${part.text}`}, part.text);
      button.addEventListener('click', () => hands.edit({do: 'set', base: step.base, step: step.path, key: part.key, value: part.value, label: `${step.title}: ${part.key.at(-1)} ${part.text}`}));
      into.append(' ', button);
    } else if (part.t === 'rows') {
      const list = make('div', {class: part.short ? 'rows short' : 'rows'});
      for (const row of part.rows) {
        const line = make(part.short ? 'span' : 'p', {class: 'line-of'});
        words(row.parts, step, line);
        if (!part.short && part.rows.length > 1) {
          const away = make('button', {type: 'button', class: 'small away', 'aria-label': 'remove this line'}, 'without it');
          away.addEventListener('click', () => hands.edit({do: 'set', base: step.base, step: step.path, key: part.key, value: copies(part).filter((one, k) => k !== row.key.at(-1)), label: `${step.title}: one less`}));
          line.append(' ', away);
        }
        list.append(line, part.short ? ' ' : '');
      }
      into.append(list);
      if (!part.short && !('matrix' in {[part.key[0]]: 0})) {
        const more = make('button', {type: 'button', class: 'small'}, 'one more');
        more.addEventListener('click', () => hands.edit({do: 'set', base: step.base, step: step.path, key: part.key, value: [...copies(part), further(part)], label: `${step.title}: one more`}));
        into.append(more);
      }
    }
  }
}

// The rows as tables again, from the numbers in their sentences.
function copies(part) {
  return part.rows.map((row) => {
    const table = {};
    for (const one of row.parts) {
      if (one.t !== 'number' && one.t !== 'choice') continue;
      const inner = one.key.slice(row.key.length);
      const value = one.t === 'number' ? one.v : one.options[one.v];
      let at = table;
      inner.slice(0, -1).forEach((key, k) => { at[key] ??= typeof inner[k + 1] === 'number' ? [] : {}; at = at[key]; });
      at[inner.at(-1)] = value;
    }
    return table;
  });
}
function further(part) {
  const rows = copies(part), last = structuredClone(rows.at(-1));
  for (const key of Object.keys(last)) if (['exposure', 'shift', 'turn'].includes(key)) last[key] = 0; else if (key === 'saturation') last[key] = 1;
  const unit = part.rows[0].parts.find((one) => one.name === 'centre')?.unit ?? '';
  if ('centre' in last) last.centre = unit.includes('degrees') ? (last.centre + 60) % 360 : last.centre + 2;
  return last;
}

function context() {
  const point = hands.page.point;
  return {levels: state.levels, hues: state.hues, point: point ? point.stops : null, pickedHue: point ? point.hue : null};
}

function section(step, place) {
  const at = JSON.stringify(step.path), open = recipe.open === at;
  const box = make('section', {class: 'step' + (open ? ' open' : '') + (step.enabled === false ? ' off' : ''), 'data-at': at});
  const title = make('button', {type: 'button', class: 'title', 'aria-expanded': open}, `${place} `, make('b', {}, step.title));
  title.title = step.help;
  title.addEventListener('click', () => { recipe.open = open ? null : at; recipe.refresh(); document.querySelector(`.step[data-at='${at}'] .title`)?.focus(); });
  const head = make('h3', {}, title);
  if (!step.own) head.append(make('span', {class: 'from'}, `from ${step.from}`));
  const text = make('div', {class: 'sentence'});
  words(step.parts, step, text);
  if (!step.parts.length) for (const field of step.more.slice(0, open ? 0 : 3)) { text.append(field.name + ': '); words(field.parts, step, text); text.append('. '); }
  box.append(head, text);
  if (!open) return box;
  if (step.drawing) {
    const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
    svg.setAttribute('class', 'drawing');
    svg.setAttribute('role', 'group');
    svg.setAttribute('aria-label', `drawing of ${step.title}`);
    drawings.set(at, {svg, step});
    drawing(svg, step.drawing, context(), handsOf(step));
    const what = {tone: 'What it adds to the light at each level, in stops; beneath, the levels of each scene.', hues: 'The pictures’ hues around grey; a wedge is a band, an arc its turn.', print: 'The signal at each level of light; beneath, the levels of each scene.'}[step.drawing.form];
    box.append(svg, make('p', {class: 'hint'}, what));
  }
  for (const field of step.more) {
    if (!field.parts.length) continue;
    const line = make('p', {class: 'field'}, make('span', {title: field.help}, field.name + ' '));
    words(field.parts, step, line);
    box.append(line);
  }
  if (step.mix) acting(step, box);
  return box;
}

function handsOf(step) {
  return {
    move: (key, value, show) => hands.move(step, key, value, show),
    done: (key, value, was) => hands.done(step, key, value, was, `${step.title}: ${key.at(-1)} ${value}`),
    rest: () => recipe.settle(),
    place: (key) => JSON.stringify([step.path, key, 'handle']),
  };
}

function acting(step, box) {
  const line = make('p', {class: 'acting'}, 'Of this step ');
  words([step.mix], step, line);
  line.append(' acts');
  const button = (text, what, help) => { const b = make('button', {type: 'button', class: 'small'}, text); if (help) b.title = help; b.addEventListener('click', what); return b; };
  const set = (key, value, label) => hands.edit({do: 'set', base: step.base, step: step.path, key, value, label});
  if (step.only.length) {
    line.append(', only where ');
    words(step.only, step, line);
    line.append(' ', button('everywhere', () => hands.edit({do: 'set', base: step.base, step: step.path, key: ['only'], label: `${step.title}: everywhere`})));
  } else line.append(', everywhere. ',
    button('only in some lights', () => set(['only'], {stops: {from: 0, soft: 4}}, `${step.title}: limited`)), ' ',
    button('only in some hues', () => set(['only'], {hue: {centre: 40, width: 60}}, `${step.title}: limited`)));
  box.append(line);
  const acts = make('p', {class: 'acts'});
  acts.append(button(step.enabled ? 'switch off' : 'switch on', () => set(['enabled'], !step.enabled, `${step.title} ${step.enabled ? 'off' : 'on'}`)));
  if (step.own) {
    const place = step.path.at(-1), shift = (to) => { recipe.open = JSON.stringify([...step.path.slice(0, -1), to]); hands.edit({do: 'shift', base: step.base, step: step.path, to, label: `${step.title} moved`}); };
    if (place > 0) acts.append(button('earlier', () => shift(place - 1)));
    if (place + 1 < step.count) acts.append(button('later', () => shift(place + 1)));
    acts.append(button('remove', () => { recipe.open = null; hands.edit({do: 'remove', base: step.base, step: step.path, label: `${step.title} removed`}); }));
  }
  box.append(acts);
}

export const recipe = {
  open: null,
  start(given) { hands = given; },
  take(given) {
    state = given;
    // A change says on which text it was made.
    for (const step of [...state.steps, state.rendering, ...[...state.scenes, ...state.cameras, ...state.shots].flatMap((one) => [...one.trims, ...(one.overrides ?? [])])])
      step.base = state.text;
  },
  show() {
    if (recipe.open === null && !recipe.shown) recipe.open = state.steps.length ? JSON.stringify(state.steps[Math.min(1, state.steps.length - 1)].path) : null;
    recipe.shown = true;
    recipe.refresh();
  },
  refresh() {
    if (!state) return;
    const root = document.getElementById('recipe');
    recipe.late = recipe.busy();
    if (recipe.late) return;
    const top = root.scrollTop;
    numbers.clear();
    drawings.clear();
    const parts = [make('h2', {id: 'look-title'}, 'The look'), make('p', {class: 'hint'}, 'Drag an underlined number, or type it. What a scene lets in goes through these steps, one after the other.')];
    state.steps.forEach((step, k) => parts.push(section(step, k + 1)));
    parts.push(adder(['look', state.steps.length]));
    parts.push(section(state.rendering, state.steps.length + 1));
    if (state.extends) {
      const bring = make('button', {type: 'button'}, 'bring these steps into this file');
      bring.addEventListener('click', () => hands.edit({do: 'bring-in'}));
      parts.push(make('p', {class: 'hint'}, 'Steps of an extended look stay in their own file; what you change of them is kept here. ', bring));
    }
    const scene = state.scenes.filter((one) => one.trims.some((trim) => trim.path));
    if (scene.length || state.scenes.length) {
      parts.push(make('h2', {}, 'Scene by scene'));
      for (const one of state.scenes) {
        parts.push(make('h3', {class: 'scene-name', 'data-at': JSON.stringify(['scenes', one.name])}, one.name + (one.light ? `, ${one.light}${/^\d+$/.test(one.light) ? ' K' : ''}` : '')));
        one.trims.forEach((step, k) => parts.push(section(step, k + 1)));
        one.overrides.forEach((step) => parts.push(otherwise(step)));
        parts.push(adder(['scenes', one.name, 'trims', one.trims.length]));
        state.shots.forEach((shot, place) => {
          if (shot.scene !== one.name) return;
          if (shot.trims.length) parts.push(make('p', {class: 'hint'}, `in ${shot.name} alone, after these`));
          shot.trims.forEach((step, k) => parts.push(section(step, k + 1)));
          parts.push(adder(['shots', place, 'trims', shot.trims.length], shot.name));
        });
      }
    }
    parts.push(make('h2', {}, 'Camera by camera'), make('p', {class: 'hint'}, 'What a camera has of its own comes before all scenes.'));
    for (const camera of state.cameras) {
      parts.push(make('h3', {class: 'scene-name', 'data-at': JSON.stringify(['cameras', camera.name])}, `camera ${camera.name}, ${camera.encoding}${camera.matched ? ', matched' : ''}`));
      camera.trims.forEach((step, k) => parts.push(section(step, k + 1)));
      parts.push(adder(['cameras', camera.name, 'trims', camera.trims.length]));
    }
    keepingFocus(root, () => root.replaceChildren(...parts));
    recipe.mark();
    root.scrollTop = top;
  },
  // Problems of the file stand at the words that they are about; where the sentence has no such
  // word, at its step, its scene or its camera.
  mark() {
    const root = document.getElementById('recipe');
    state.problems.forEach((one, k) => {
      const place = [...root.querySelectorAll('[data-at]')].find((at) => at.dataset.at === JSON.stringify(one.path) && at.matches('.step, .scene-name'))
        ?? [...root.querySelectorAll('.scene-name')].find((at) => at.dataset.at === JSON.stringify(one.path.slice(0, 2)));
      if (!place) return;
      const starts = (key) => one.key.length > 0 && key.length > 0 && (one.key.every((part, n) => key[n] === undefined || key[n] === part));
      const words = [...place.querySelectorAll('[data-key]')].filter((at) => starts(JSON.parse(at.dataset.key)));
      const told = make('span', {class: 'refused', id: `problem-${k}`}, one.text);
      for (const word of words) { word.classList.add('wrong'); word.setAttribute('aria-invalid', 'true'); word.setAttribute('aria-describedby', told.id); }
      place.classList.add('wrong');
      if (words.length) words.at(-1).closest('.line-of, .field, .acting, .sentence').append(told);
      else if (place.matches('.step')) place.append(told);
      else place.after(told);
    });
  },
  // What a hand holds stays under it: the sentences are made anew when it lets go.
  busy() { return hands.moving() || !!document.querySelector('input.number:not([readonly]), .held'); },
  settle() { if (recipe.late && !recipe.busy()) { recipe.refresh(); hands.captions(); } },
  // What a scene lets in, above its pictures: its first number at hand, the rest in the recipe.
  trims(caption, scene) {
    caption.replaceChildren(make('b', {}, scene.name), scene.light ? ` ${scene.light}${/^\d+$/.test(scene.light) ? ' K' : ''}` : '');
    const first = scene.trims.find((step) => step.kind === 'exposure');
    if (first) { caption.append(', '); const text = make('span', {class: 'sentence'}); words(lower(first.parts), first, text); caption.append(text); }
    const more = scene.trims.length - (first ? 1 : 0);
    if (more) caption.append(` and ${more} more step${more > 1 ? 's' : ''}`);
  },
  // While a hand moves, a drawing follows with the pictures, no more than ten times a second.
  drawn(path, data) {
    const kept = drawings.get(JSON.stringify(path));
    if (!kept || !data) return;
    if (kept.waiting) { kept.data = data; return; }
    kept.waiting = true;
    kept.data = data;
    setTimeout(() => hands.along(() => {
      kept.waiting = false;
      if (kept.svg.isConnected && !kept.svg.contains(document.activeElement)) drawing(kept.svg, kept.data, context(), handsOf(kept.step));
    }), 100);
  },
  refused(why) {
    const root = document.getElementById('recipe');
    root.querySelector('.refused[role=alert]')?.remove();
    const at = document.activeElement?.closest?.('.step') ?? root.querySelector('.step.open') ?? root;
    at.append(make('p', {class: 'refused', role: 'alert'}, why));
  },
};

// What a scene has otherwise than the look.
function otherwise(step) {
  const box = make('section', {class: 'step', 'data-at': JSON.stringify(step.path)}), text = make('div', {class: 'sentence'});
  words(step.parts, step, text);
  const away = make('button', {type: 'button', class: 'small', 'aria-label': `as everywhere: ${step.title}`}, 'as everywhere');
  away.addEventListener('click', () => hands.edit({do: 'set', base: step.base, step: step.path.slice(0, 3), key: [step.path[3]], label: `${step.title} as everywhere`}));
  box.append(make('h3', {}, make('b', {}, `${step.title}, here only`)), text, make('p', {class: 'acts'}, away));
  return box;
}

// The same sentence inside another one: small first letter, no full stop.
function lower(parts) {
  return parts.map((part, k) => part.t !== 'text' ? part : {...part, text: (k === 0 ? part.text[0].toLowerCase() + part.text.slice(1) : part.text).replace(/\.$/, '')});
}

function adder(path, name = path[1]) {
  const box = make('details', {class: 'adder'}, make('summary', {}, path[0] === 'look' ? 'one more step' : `one more step for ${name}`));
  for (const kind of state.addable) {
    const button = make('button', {type: 'button'}, make('b', {}, kind.title), ` ${kind.help}`);
    button.addEventListener('click', () => { recipe.open = JSON.stringify(path); hands.edit({do: 'add', base: state.text, step: path, kind: kind.kind}); });
    box.append(button);
  }
  return box;
}
