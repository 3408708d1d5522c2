// The page: what is on the screen, and what every hand and key does to it.

import { isTelling, onLost, onTelling, pixels, said, told } from "./api.js";
import { LARGEST, anchored, placeOf, rounded, strengthAt, weights } from "./blend.js";
import { Distances } from "./distances.js";
import { HandOut } from "./hand_out.js";
import { Kept } from "./kept.js";
import { Lamps } from "./lamps.js";
import { Loupe } from "./loupe.js";
import { find, made, painted, say, strengthFrom, strengthText } from "./parts.js";
import { Path } from "./path.js";
import { Renders } from "./renders.js";
import { screenOn } from "./screen.js";
import { Watched } from "./watched.js";

const REST_MS = 160, ASK_MS = 2000, MOST_ANCHORS = 6;
const page = {
  state: null, still: null, early: null, isOpening: false, at: 0, active: 0, isWiping: false, line: 0.5, isBare: false, isResting: true,
  sides: [{ look: "", strength: 0.25, over: "", overStrength: 0.25 }, { look: "", strength: 1, over: "", overStrength: 0.25 }], shown: ["", ""],
};
const screen = screenOn(find("picture"));
const renders = new Renders({ wants, answered, arrived });
const kept = new Kept({ renders, show: showKept, changed: takeKept });
const lamps = new Lamps({ changed: takeKept });
const watched = new Watched({ changed: takeChange });
const distances = new Distances({ changed: takeChange });
const number = () => page.at;
const path = new Path({ changed: takeChange, number, top: (more) => { Object.assign(side(), more); changed(); } });
const handOut = new HandOut({ number });
const loupe = new Loupe({ moved: () => { renders.pump(); loupe.draw(renders); } });

const side = () => page.sides[page.active];
const sides = () => (page.isWiping ? page.sides : [side()]);
const lookNamed = (name) => page.state.looks.find((one) => one.name === name);
/** Looks of a side, the outermost first; none is bare. */
const looksOf = ({ look, strength, over, overStrength }) => [[over, overStrength], [look, strength]]
  .filter(([name, s]) => name && s > 0).map(([name, s]) => `${name}:${strengthText(s)}`);
const textOf = (one) => looksOf(one).join("+") || `${one.look}:0`;
const wordsOf = (one) => looksOf(one).map((text) => text.replace(/:(?!.*:)/, " ")).join(" + ") || "bare";
const prefix = (kind) => `${kind}|${page.still.number}|${page.still.light}`;

/** Bare, a still looks as its own light does, be its lamps as they may; a view is put over their light as well. */
const bareKey = ({ number, light, grain, view }) => `bare|${number}|${view ? `lit ${light}` : grain}`;

function exactWant(looks) {
  if (!looks.length) return { key: bareKey(page.still), path: `still/${page.still.number}/exact`, values: {} };
  return { key: `${prefix("exact")}|${looks.join("+")}`, path: `still/${page.still.number}/exact`, values: { look: looks } };
}

/** Strengths that are there already, since a hand has rested at them: by look, and what is on top. */
const anchors = new Map();
const anchorKey = (one, look) => `${prefix("light")}|${looksOf({ ...one, look: "" })}|${look.name}`;
const nodesOf = (one, look) => anchored(look.nodes, anchors.get(anchorKey(one, look)));

function nodeWant(one, look, index) {
  const { strengths, anchors: there } = nodesOf(one, look);
  const strength = there?.includes(strengths[index]) ? strengthText(strengths[index]) : strengths[index];
  const over = looksOf({ ...one, look: "" });
  const key = `${prefix("light")}|${over}|${strength ? `${look.name}|${strength}` : "bare"}`;
  return { key, path: `still/${page.still.number}/light`, values: { look: [...over, `${look.name}:${strength}`] } };
}

function smallWant(name) {
  const looks = name ? [`${name}:1`] : [];
  return { key: `${prefix("small")}|${looks.join("+")}`, path: `still/${page.still.number}/small`, values: { look: looks } };
}

/** What the page lays over a blend; it stays while the still's own light does. */
function grainWant({ number, grain }) {
  return { key: `grain|${number}|${grain}`, path: `still/${number}/grain`, values: {} };
}

/** Light that lamps had lost, of which the page finds what goes straight on. */
const lostWant = ({ number, light }) => ({ key: `lost|${number}|${light}`, path: `still/${number}/lost`, values: {} });

/** Share of red, green and blue that goes straight on through a side's looks; null if that is no power of strength. */
function directOf(one) {
  const over = one.overStrength > 0 ? one.over : "";
  const found = [[one.look, one.strength], [over, one.overStrength]].filter(([name]) => name)
    .map(([name, s]) => lookNamed(name).nodes.depths?.map((depth) => depth * s));
  return found.every(Boolean) ? [0, 1, 2].map((c) => Math.exp(-found.reduce((sum, depths) => sum + depths[c], 0))) : null;
}

/** Pictures of the filmstrip; they are of the stills as they were at the start. */
function filmWants() {
  const { stills } = page.state;
  return stills.length < 2 ? [] : stills.map(({ number }) => ({ key: `film|${number}`, path: `still/${number}/film`, values: {} }));
}

const isBareSide = (one) => !looksOf(one).length;

/** What is wanted, the most wanted first. */
function wants() {
  if (!page.still || page.isOpening) return [];
  if (page.still.problem) return filmWants();
  const list = [];
  if (page.isResting) for (const one of sides()) list.push({ ...exactWant(looksOf(one)), isUrgent: true });
  if (page.isBare || list.every((one) => renders.has(one.key) || renders.problem(one.key))) list.push(exactWant([]));
  if (loupe.isShown && page.isResting) list.push(loupe.want(page.still, looksOf(side())));
  list.push(grainWant(page.still), lostWant(page.still));
  for (const one of new Set([side(), ...sides()])) {
    const look = lookNamed(one.look);
    if (!look) continue;
    const { strengths } = nodesOf(one, look), near = [...strengths.keys()];
    near.sort((a, b) => Math.abs(strengths[a] - one.strength) - Math.abs(strengths[b] - one.strength));
    list.push(...near.map((index) => nodeWant(one, look, index)));
  }
  // Nets take longest: they come last.
  const strip = page.state.looks.toSorted((a, b) => b.nodes.window - a.nodes.window);
  list.push(...kept.wants(page.still), ...["", ...strip.map((one) => one.name)].map(smallWant), ...filmWants());
  return list;
}

/** Before it has come in: what is asked for next hangs on it. */
function answered(key) {
  if (key.startsWith("exact")) for (const one of sides()) anchor(one, key);
}

function arrived(key) {
  if (key.startsWith("small")) { paintStrip(); kept.paint(); return; }
  if (key.startsWith("film")) { paintFilm(); return; }
  if (key.startsWith("tile")) { loupe.draw(renders); return; }
  draw();
}

/** Take exact pictures of a look for strengths that others are blended of; see `anchored`. */
function anchor(one, key) {
  const look = lookNamed(one.look);
  if (!look || !page.still || key !== exactWant(looksOf(one)).key) return;
  const { strengths, window } = look.nodes, known = anchorKey(one, look), before = anchors.get(known);
  const isBetween = one.strength > strengths[0] && one.strength < strengths[strengths.length - 1];
  if (!isBetween || strengths.includes(one.strength)) return;
  if (window < strengths.length) {
    const own = [...(before || []).filter((other) => other !== one.strength), one.strength];
    anchors.set(known, own.slice(-MOST_ANCHORS));
  } else if (!before && !strengths.some((_, k) => k && k < strengths.length - 1 && renders.has(nodeWant(one, look, k).key))) {
    anchors.set(known, [one.strength]);
  }
}

/** What is to be painted of a side: codes of a render, else a blend; null if nothing is there yet. */
function source(one) {
  const exact = exactWant(page.isBare ? [] : looksOf(one)).key;
  const found = renders.get(exact);
  if (found) return { key: exact, codes: new Uint8Array(found.data), said: "" };
  const look = lookNamed(one.look), grain = renders.get(grainWant(page.still).key), lost = renders.get(lostWant(page.still).key);
  if (look && grain && lost && !page.isBare) {
    const nodes = nodesOf(one, look);
    const shares = weights(nodes, (index) => renders.has(nodeWant(one, look, index).key), one.strength);
    if (shares) {
      const planes = shares.map(([index, weight]) => {
        const { key } = nodeWant(one, look, index);
        return { key, weight, data: new Uint16Array(renders.get(key).data) };
      });
      const isRough = shares.length > 1 && (nodes.window < 3 || shares.length < nodes.window);
      const direct = lost.height ? directOf(one) : null;
      return { key: "", planes, grain: grain.width ? grain : null, lost, direct, toScreen: page.still.toScreen, keepsCodes: page.still.keepsCodes, said: isRough ? "about" : "" };
    }
  }
  return null;
}

function draw() {
  if (!page.still || page.still.problem) return;
  const shown = sides().map((one, number) => {
    const found = source(one);
    if (found) { page.shown[number] = found; return found; }
    const before = page.shown[number];
    const late = before && before.light === page.still.light ? before : null;
    const bare = renders.get(exactWant([]).key);
    const instead = late || (bare && { key: exactWant([]).key, codes: new Uint8Array(bare.data) });
    return instead && { ...instead, said: "working" };
  });
  if (shown.some((one) => !one)) return;
  for (const one of shown) one.light = page.still.light;
  const width = find("picture").width;
  const line = page.isWiping ? page.line * width : width + 1;
  // Nothing is painted twice: without a card a frame takes the time of a render.
  const drawn = JSON.stringify([line, shown.map((one) => (one.codes ? one.key : one.planes.map(({ key, weight }) => [key, weight])))]);
  if (drawn !== page.drawn) {
    page.drawn = drawn;
    screen.draw(shown, line);
    watched.paint();
  }
  const isExact = shown.every((one) => one.codes && !one.said);
  find("picture").dataset.shows = isExact ? "exact" : shown.some((one) => one.said === "working") ? "late" : "blend";
  const look = lookNamed(side().look), all = look ? [...nodesOf(side(), look).strengths.keys()] : [];
  const held = all.filter((index) => renders.has(nodeWant(side(), look, index).key));
  Object.assign(find("picture").dataset, { light: page.still.light, still: page.still.number, strengths: `${held.length} of ${all.length}` });
  find("picture").dataset.what = sides().map((one) => (page.isBare ? "bare" : textOf(one))).join(" | ");
  sides().forEach((one, number) => { tag(number, one, shown[number].said); });
  if (!page.isWiping) find("tag1").textContent = "";
  loupe.draw(renders);
  if (isExact && !page.isBare) watched.ask(page.still, looksOf(side()), page.state.scene);
}

function tag(number, one, word) {
  const words = page.isBare ? "bare" : wordsOf(one);
  const problem = page.isBare || isBareSide(one) ? "" : renders.problem(exactWant(looksOf(one)).key);
  const element = find(`tag${number}`), text = problem ? `${words}: ${problem}` : [word, words].filter(Boolean).join(" ");
  if (element.textContent !== text) element.textContent = text; // even the same text is laid out anew
}

let rest = 0;
/** After anything has changed: paint what there is, and the exact render once the hand rests. */
function changed({ moving = false } = {}) {
  page.isResting = !moving;
  clearTimeout(rest);
  if (moving) rest = setTimeout(() => changed(), REST_MS);
  renders.pump(); // before all else: the program works while the page does
  tell();
  requestAnimationFrame(draw);
}

function tell() {
  const one = side(), look = lookNamed(one.look);
  find("look").textContent = one.look || "bare";
  find("watch").textContent = look ? `${look.summary} Watch: ${look.watch}` : "";
  if (document.activeElement !== find("strength")) find("strength").value = strengthText(one.strength);
  const slider = find("slider");
  slider.value = Math.round(1000 * placeOf(one.strength));
  slider.setAttribute("aria-valuetext", strengthText(one.strength));
  slider.disabled = find("strength").disabled = !one.look;
  path.tell(one);
  find("sides").hidden = !page.isWiping;
  for (const button of find("sides").children) {
    button.setAttribute("aria-checked", String(Number(button.dataset.side) === page.active));
    button.tabIndex = Number(button.dataset.side) === page.active ? 0 : -1;
  }
  for (const card of find("looks").children) {
    const isOn = card.dataset.look === one.look;
    card.setAttribute("aria-checked", String(isOn));
    card.tabIndex = isOn ? 0 : -1;
  }
  for (const [name, isOn] of [["wiping", page.isWiping], ["loupes", loupe.isShown], ["lamping", lamps.isShown], ["bare", page.isBare], ["watching", watched.isShown], ["measuring", distances.isShown]]) {
    find(name).setAttribute("aria-pressed", String(isOn));
  }
  find("wipe").hidden = !page.isWiping;
  find("wipe").style.left = `${100 * page.line}%`;
  find("wipe").setAttribute("aria-valuenow", String(Math.round(100 * page.line)));
  localStorage.setItem("frontglass-live", JSON.stringify([page.at, page.active, page.isWiping, page.line, page.sides]));
}

function setStrength(strength, more) {
  if (!side().look) return;
  side().strength = strength;
  changed(more);
}

function stepStrength(direction) {
  const s = side().strength;
  const step = s + direction * 1e-6 < 0.1 ? 0.01 : s + direction * 1e-6 < 1 ? 0.05 : 0.1;
  const next = Math.round((s + direction * step) / step) * step;
  setStrength(rounded(Math.min(LARGEST, Math.max(0, next))), { moving: true });
}

function stepTrade(direction) {
  const all = [0, ...page.state.trade.map((one) => one.strength)];
  const next = direction > 0 ? all.find((one) => one > side().strength) : all.findLast((one) => one < side().strength);
  if (next !== undefined) setStrength(next);
}

function choose(name) {
  side().look = name;
  changed();
  const card = [...find("looks").children].find((one) => one.dataset.look === name);
  if (find("looks").contains(document.activeElement)) card.focus();
  card.scrollIntoView({ block: "nearest", inline: "nearest" });
}

function stepLook(direction) {
  const names = [...find("looks").children].filter((one) => !one.hidden).map((one) => one.dataset.look);
  choose(names[(names.indexOf(side().look) + direction + names.length) % names.length]);
}

function showKept(choice) {
  const [[name, strength], [over, overStrength] = ["", 0.25]] = choice.looks.toReversed().map((text) => {
    const [one, s] = text.split(/:(?!.*:)/);
    return [one, strengthFrom(s || "1")];
  });
  const missing = [name, over].find((one) => one && !lookNamed(one));
  if (missing) { say(`${missing} is not in the strip.`); return; }
  Object.assign(side(), { look: name, strength, over, overStrength });
  if (choice.on.length && !choice.on.includes(page.at)) open(choice.on[0]);
  else changed();
}

// What the program says.

/** After a mark or a setting: take over how the scene stands; null asks what is shown anew. */
async function takeChange(answer) {
  if (answer) await takeKept(answer);
  else if (page.still) { path.update(page.still); changed(); }
}

async function takeKept(answer) {
  const { now, ...state } = answer, isNew = state.scene !== page.state.scene;
  Object.assign(page.state, state);
  if (isNew && now?.number === page.at) await refresh(now); // before all else: the program works while the page does
  kept.update(page.state);
  handOut.update(page.state);
  if (isNew && now?.number !== page.at) await refresh();
  renders.pump();
}

/** Take how the still is shown now, or ask: its lamps, lens or exposure may have changed. */
async function refresh(now = null) {
  const number = page.at;
  const still = now || await said(`still/${number}`);
  if (page.at !== number) return; // another one has been chosen meanwhile
  page.isOpening = false;
  const isOther = !page.still || still.light !== page.still.light || page.still.number !== number;
  if (isOther && !still.problem) screen.view(still.view ? await pixels(`still/${number}/view`) : null);
  if (page.at !== number) return;
  takeStill({ notices: [], ...still, number }, isOther);
}

function fit({ width, height }) {
  document.documentElement.style.setProperty("--shape", String(width / height));
  screen.size(width, height);
  page.drawn = "";
}

function takeStill(still, isOther) {
  const before = page.still || page.early;
  const isSame = before && before.number === still.number && before.width === still.width && before.height === still.height;
  page.still = still;
  page.early = null;
  if (isOther && !still.problem) {
    const keeps = (key) => key === grainWant(still).key || key === bareKey(still)
      || (!/^(grain|bare)/.test(key) && key.split("|")[1] === String(still.number) && key.split("|")[2] === String(still.light));
    anchors.clear();
    renders.clear((key) => keeps(key) || key.startsWith("small") || key.startsWith("film"));
  }
  renders.pump(); // before all else: the program works while the page does
  path.update(still);
  const entry = find("stills").children[still.number];
  if (entry && still.problem) { entry.querySelector(".problem").textContent = still.problem; entry.querySelector("canvas").hidden = true; }
  find("picture").hidden = Boolean(still.problem);
  if (still.problem) {
    say(still.problem);
    find("lamps").replaceChildren();
    find("notices").replaceChildren(made("li", still.problem));
    return;
  }
  lamps.update(still);
  distances.update(still);
  if (!isOther) { changed(); return; } // what is watched may be another part
  if (!isSame) {
    fit(still);
    page.shown = ["", ""];
  } else {
    for (const one of page.shown) if (one) one.light = still.light; // stays until the next is there
  }
  kept.draw();
  paintStrip();
  changed();
}

/** A large still takes a while until its lamps are found: show it bare and without their light. */
async function showDraft(number) {
  const found = await pixels(`still/${number}/draft`).catch(() => null);
  if (!found?.width || page.at !== number || page.still?.number === number) return;
  const codes = { key: `draft|${number}`, codes: new Uint8Array(found.data), said: "" };
  Object.assign(page, { still: null, early: { number, width: found.width, height: found.height }, shown: [codes, { ...codes }] });
  fit(found);
  screen.draw([codes], found.width + 1);
  find("lamps").replaceChildren();
  find("picture").hidden = false;
  Object.assign(find("picture").dataset, { shows: "draft", still: number });
  find("tag0").textContent = "bare, still looking for lamps";
  find("tag1").textContent = "";
}

async function open(number) {
  page.at = number;
  [...find("stills").children].forEach((one, k) => one.setAttribute("aria-pressed", String(k === number)));
  page.isOpening = true;
  renders.pump(); // of the one before nothing is wanted any more
  showDraft(number);
  try { await refresh(); } catch (error) { page.isOpening = false; say(error.message); }
}

function stepStill(direction) {
  const next = page.at + direction;
  if (next >= 0 && next < page.state.stills.length) open(next);
}

function paintStrip() {
  if (!page.still || page.still.problem) return;
  const problems = [];
  for (const card of find("looks").children) {
    const want = smallWant(card.dataset.look), canvas = card.querySelector("canvas");
    const found = renders.get(want.key), problem = renders.problem(want.key);
    if (problem || found) card.hidden = Boolean(problem) && card.dataset.look !== side().look;
    if (problem) problems.push(`${card.dataset.look}: ${problem}`);
    if (found && canvas.dataset.key !== want.key) { canvas.dataset.key = want.key; painted(canvas, found); }
  }
  find("notices").replaceChildren(...[...page.still.notices, ...problems].map((one) => made("li", one)));
}

function paintFilm() {
  for (const want of filmWants()) {
    const entry = find("stills").children[Number(want.key.split("|")[1])];
    const canvas = entry.querySelector("canvas"), found = renders.get(want.key);
    if (found && !canvas.dataset.key) { canvas.dataset.key = want.key; painted(canvas, found); }
    const problem = renders.problem(want.key);
    if (problem) { canvas.hidden = true; entry.querySelector(".problem").textContent = problem; }
  }
}

function layOut(state) {
  find("title").textContent = state.title || "frontglass";
  const card = (name, words) => {
    const button = made("button", "", { type: "button", role: "radio", class: "card", "data-look": name });
    button.append(made("canvas", "", { "aria-hidden": "true" }), made("span", words));
    button.addEventListener("click", () => choose(name));
    return button;
  };
  find("looks").replaceChildren(card("", "bare"), ...state.looks.map((one) => card(one.name, one.name)));
  find("stills").hidden = state.stills.length < 2;
  find("stills").replaceChildren(...state.stills.map((one) => {
    const button = made("button", "", { type: "button" });
    button.append(made("canvas", "", { "aria-hidden": "true" }), made("span", one.name), made("span", "", { class: "problem" }));
    button.addEventListener("click", () => open(one.number));
    return button;
  }));
  if (state.stills.length > 1) document.documentElement.style.setProperty("--rest", "18.5rem");
  for (const part of [lamps, path, handOut]) part.layOut(state);
  find("whom").hidden = state.stills.length < 2;
  find("ticks").replaceChildren(...state.trade.map((one) => {
    const tick = made("button", one.text, { type: "button", "aria-label": `strength ${one.text}` });
    tick.style.left = `${100 * placeOf(one.strength)}%`;
    tick.addEventListener("click", () => setStrength(one.strength));
    return tick;
  }));
}

async function begin() {
  page.state = await said("state");
  layOut(page.state);
  anchors.clear();
  renders.clear();
  page.still = null;
  page.sides[0].look ||= page.state.looks[0].name;
  page.sides[1].look ||= page.state.looks[1 % page.state.looks.length].name;
  for (const one of page.sides) {
    if (one.look && !lookNamed(one.look)) one.look = page.state.looks[0].name;
    if (!lookNamed(one.over)) one.over = "";
  }
  kept.update(page.state);
  handOut.update(page.state);
  const noise = await pixels("noise");
  screen.noise(new Float32Array(noise.data));
  await open(Math.min(page.at, page.state.stills.length - 1));
}

function recall() {
  try {
    const [at, active, isWiping, line, both] = JSON.parse(localStorage.getItem("frontglass-live"));
    Object.assign(page, { at: at || 0, active: active ? 1 : 0, isWiping: Boolean(isWiping), line: Number(line) || 0.5 });
    both.forEach((one, k) => Object.assign(page.sides[k], { look: String(one.look), strength: Number(one.strength) || 0, over: String(one.over || ""), overStrength: Number(one.overStrength) || 0.25 }));
  } catch { /* nothing from before */ }
}

async function ask() {
  try {
    const { session, scene } = await said("alive");
    if (!page.state || session !== page.state.session) await begin();
    else if (!page.still && !page.isOpening) await open(page.at);
    else if (scene !== page.state.scene && !isTelling()) await takeKept({ ...(await said("state")) });
    else renders.pump();
  } catch { /* said already */ }
  setTimeout(ask, ASK_MS);
}

onTelling(() => renders.hush());
onLost((isLost) => {
  find("lost").hidden = !isLost;
  find("lost").textContent = isLost
    ? "The program is gone. Start it again with the same command: the page comes back by itself, and what is kept is in its file." : "";
});

// Hands and keys.

function bare(isBare) {
  if (page.isBare === isBare) return;
  page.isBare = isBare;
  changed();
}

function keepForm(isOpen) {
  // Who has gone on to something else is not called back.
  const isHere = find("keep").contains(document.activeElement);
  find("keep").hidden = !isOpen;
  find("keeping").setAttribute("aria-expanded", String(isOpen));
  if (isOpen) find("why").focus(); else if (isHere) find("keeping").focus();
}

function act(name) {
  if (name === "wiping") page.isWiping = !page.isWiping;
  if (name === "loupes") loupe.next();
  if (name === "watching") { distances.show(false); watched.show(!watched.isShown); }
  if (name === "measuring") { watched.show(false); distances.show(!distances.isShown); }
  if (name === "lamping") lamps.show(!lamps.isShown);
  if (name === "keeping") {
    if (isBareSide(side())) { say("Bare needs no keeping: choose a look."); return; }
    keepForm(find("keep").hidden);
  }
  changed();
}

for (const name of ["wiping", "loupes", "lamping", "watching", "measuring", "keeping"]) find(name).addEventListener("click", () => act(name));
find("slider").addEventListener("input", (event) => setStrength(strengthAt(event.target.value / 1000), { moving: true }));
find("strength").addEventListener("change", (event) => {
  const typed = strengthFrom(event.target.value);
  if (typed === null) say(`A strength is a number from 0 to 64, or 1/4; not ${event.target.value}.`);
  else setStrength(typed);
  event.target.value = strengthText(side().strength);
});
find("strength").addEventListener("focus", (event) => event.target.select());
for (const button of find("sides").children) {
  button.addEventListener("click", () => { page.active = Number(button.dataset.side); changed(); });
}
find("dont").addEventListener("click", () => keepForm(false));
find("keep").addEventListener("submit", async (event) => {
  event.preventDefault();
  const isForAll = page.state.stills.length < 2 || find("all").checked;
  try {
    await takeKept(await told("keep", { still: page.at, looks: looksOf(side()), all: isForAll, why: find("why").value, name: "" }));
  } catch (error) {
    say(`Not kept: ${error.message === "Failed to fetch" ? "the program is gone." : error.message}`);
    return;
  }
  find("why").value = "";
  keepForm(false);
  say(`Kept ${wordsOf(side())}.`);
});

const stage = find("stage");
stage.addEventListener("pointerdown", (event) => { if (event.button === 0 && event.target.id === "picture" && !watched.isShown && !distances.isShown) bare(true); });
find("bare").addEventListener("pointerdown", () => bare(true));
find("bare").addEventListener("keydown", (event) => { if (event.key === " " || event.key === "Enter") bare(true); });
find("bare").addEventListener("keyup", () => bare(false));
for (const name of ["pointerup", "pointercancel", "blur"]) addEventListener(name, () => bare(false));
stage.addEventListener("contextmenu", (event) => { if (event.pointerType !== "mouse") event.preventDefault(); });

function moveLine(line) {
  page.line = Math.min(1, Math.max(0, line));
  changed({ moving: !page.isResting });
}
const wipe = find("wipe");
wipe.addEventListener("pointerdown", (event) => wipe.setPointerCapture(event.pointerId));
wipe.addEventListener("pointermove", (event) => {
  if (!wipe.hasPointerCapture(event.pointerId)) return;
  const box = stage.getBoundingClientRect();
  moveLine((event.clientX - box.left) / box.width);
});
wipe.addEventListener("keydown", (event) => {
  const step = { ArrowLeft: -0.02, ArrowRight: 0.02, Home: -1, End: 1 }[event.key];
  if (!step) return;
  moveLine(page.line + step);
  event.preventDefault();
  event.stopPropagation();
});

const KEYS = {
  ArrowLeft: () => stepStrength(-1), ArrowRight: () => stepStrength(1),
  PageUp: () => stepTrade(1), PageDown: () => stepTrade(-1),
  ArrowUp: () => stepLook(-1), ArrowDown: () => stepLook(1),
  ",": () => stepStill(-1), ".": () => stepStill(1),
  b: () => bare(true), w: () => act("wiping"), l: () => act("loupes"), o: () => act("lamping"), k: () => act("keeping"),
  p: () => act("watching"), d: () => act("measuring"),
  x: () => { if (page.isWiping) { page.active = 1 - page.active; changed(); } },
};
addEventListener("keydown", (event) => {
  const { target } = event;
  if (event.key === "Escape" && !find("keep").hidden) keepForm(false);
  if (!page.state || event.ctrlKey || event.metaKey || event.altKey) return;
  if (target.tagName === "SELECT") return;
  if (target.tagName === "INPUT" && target.type !== "range" && target.type !== "checkbox") return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (!KEYS[key] || (event.repeat && key.length === 1 && !",.".includes(key))) return;
  KEYS[key]();
  event.preventDefault();
});
addEventListener("keyup", (event) => { if (event.key.toLowerCase() === "b") bare(false); });
find("picture").addEventListener("redraw", () => { page.drawn = ""; draw(); });
addEventListener("resize", () => { if (loupe.isShown) loupe.move(0, 0); });

recall();
document.documentElement.dataset.screen = screen.kind;
ask();
